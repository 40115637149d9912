"""How a piece was frozen against parasites, and how a lot was kept, incidents counted."""

from __future__ import annotations

from saltfare.actions.context import Context
from saltfare.actions.judged_items import Item, incidents, key_of_place, told_of, touched
from saltfare.actions.judged_known import Gathered
from saltfare.actions.judged_logs import logs_for
from saltfare.core.figure import Note, Provenance
from saltfare.journal import events_judged as judged
from saltfare.models.criteria_facts import Fact

MEASURED, ESTIMATED = Provenance.MEASURED, Provenance.ESTIMATED
_DAY_S = 86400.0


def freezing(context: Context, item: Item, known: Gathered) -> None:
    """A freezing against parasites; a freezer that was off meanwhile breaks it."""
    steps = item.of(judged.ParasiteStep)
    for name in ("freezer", "frozen_core"):
        for happened in logs_for(item, (name,)):
            body = told_of(happened)
            if body.thickness is not None:
                known.put(
                    "thickness", body.thickness.value, MEASURED, by=happened, typed=body.thickness.typed
                )
            if body.deep_freezer is not None:
                known.put("deep_freezer", body.deep_freezer, MEASURED, by=happened)
    if not steps:
        return
    last, body = steps[-1], told_of(steps[-1])
    known.put("freezing_done", body.frozen, MEASURED, by=last)
    if body.thickness is not None:
        known.put("thickness", body.thickness.value, MEASURED, by=last, typed=body.thickness.typed)
    if body.deep_freezer is not None:
        known.put("deep_freezer", body.deep_freezer, MEASURED, by=last)
    if body.warmest is not None:
        error = body.error.value if body.error else None
        known.put(
            "freezer_temperature",
            body.warmest.value,
            MEASURED,
            error=error,
            by=last,
            typed=body.warmest.typed,
        )
    if body.begun is None:
        return
    until = body.ended or context.now
    place = key_of_place(body.place) if body.place else None
    for _, happened in incidents(context):
        told = told_of(happened)
        same = place is None or key_of_place(told.place) == place or item.code in told.also
        if (
            same
            and told.what == "freezer_off"
            and told.since <= until
            and (told.until or context.now) > body.begun
        ):
            known.notes.append(Note("freezing_broken"))
            return
    known.put("freezing_time", (until - body.begun).total_seconds(), MEASURED, by=last)


def storage(context: Context, item: Item, known: Gathered) -> None:
    """How warm a lot was kept and how long; what went wrong in its place counts, told or not."""
    if item.lot is not None:
        packed = item.lot.packed_on
        days = (context.today - packed).days
        known.put("storage_time", days * _DAY_S, MEASURED, typed=packed.isoformat())
    warmest = known.found.get("storage_temperature")
    for _, happened in incidents(context):
        told = told_of(happened)
        hit = touched(context, item, told, context.now)
        if (
            hit is False
            or (hit is None and item.lot is None)
            or told.what in ("dryer_stopped", "chamber_warm")
        ):
            continue
        if hit is None or told.warmest is None:
            known.forget("storage_temperature")
            known.notes.append(Note("storage_warmest_not_told"))
            return
        kept = float(warmest.value) if isinstance(warmest, Fact) and warmest.value is not None else None
        if kept is None or told.warmest.value > kept:
            error = told.error.value if told.error else None
            known.put("storage_temperature", told.warmest.value, MEASURED, error=error, by=happened)
            warmest = known.found["storage_temperature"]
            if kept is None:
                # what it was at other times is not known from this: it may fail, it may not meet
                known.put("storage_temperature", told.warmest.value, ESTIMATED, error=error, by=happened)
