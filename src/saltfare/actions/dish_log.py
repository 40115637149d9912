"""What has happened to a batch, line by line: what counts, and what was taken back."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from saltfare.actions.context import Context
from saltfare.actions.piece_log import LogLine
from saltfare.core.fields import Measured
from saltfare.journal import events_dish as kinds
from saltfare.journal.dish import DishState
from saltfare.journal.events import Corrected
from saltfare.journal.fold import Fact, effective, withdrawn

_Told = dict[str, Measured | str | None]


def _seen(body: kinds.PouchTried) -> _Told:
    seen = body.seen
    return {
        "water": seen.water,
        "hard_at": seen.hard_at,
        "soft_at": seen.soft_at,
        "off": seen.off if seen.too_wet or seen.off else None,
        "added": seen.added,
        "text": body.text or None,
    }


_TOLD: dict[str, Callable[[Any], _Told]] = {
    "dish_planned": lambda b: {"again_of": b.again_of},
    "recipe_changed": lambda b: {"lines": str(len(b.dish.lines))},
    "dish_cooked": lambda b: {"mass": b.mass, "left_behind": b.left_behind},
    "dish_cooled": lambda b: {"how_cooled": b.how or None},
    "dish_trayed": lambda b: {"mass": b.mass},
    "trays_weighed": lambda b: {
        "trays": " + ".join(f"{one.gross.typed} - {one.tare.typed}" for one in b.each),
        "brittle": None if b.brittle is None else "yes" if b.brittle else "no",
    },
    "spoonful_dried": lambda b: {"wet": b.wet, "dry": b.dry},
    "dish_conditioned": lambda b: {"step": b.step, "mass": b.mass, "damp": "yes" if b.damp else None},
    "pouch_tried": _seen,
    "dish_packed": lambda b: {
        "packs": ", ".join(f"{one.packs} x {one.mass.typed} ({one.lot})" for one in b.portions)
    },
    "dish_discarded": lambda b: {"why": b.why},
    "temperature_log": lambda b: {"log_of": b.of, "readings": str(len(b.readings))},
    "measurement": lambda b: {"measured": b.quantity, "value": b.value},
    "tasting_noted": lambda b: {"who": b.who or None, "text": b.text or None},
    "noted": lambda b: {"text": b.text},
}


def dish_log(context: Context, state: DishState) -> tuple[LogLine, ...]:
    """What happened, newest first, what was taken back among it."""
    events = context.journal.events(kinds.STREAM + state.code)
    by_id = {event.id: event for event in events}
    out = [_line(fact) for fact in effective(events) if not isinstance(fact.body, Corrected)]
    for fact in withdrawn(events):
        back = by_id[fact.corrected_by or ""]
        why = back.body.reason if isinstance(back.body, Corrected) else ""
        gone = {"corrected": False, "withdrawable": False, "withdrawn_by": back.id}
        out.append(
            _line(fact).model_copy(update={**gone, "withdrawn_at": back.recorded_at, "withdrawn_why": why})
        )
    out.sort(key=lambda line: (line.at, line.recorded_at))
    out.reverse()
    return tuple(out)


def _line(fact: Fact) -> LogLine:
    kind, body = fact.event.kind, fact.body
    told = _TOLD[kind](body) if kind in _TOLD else {}
    return LogLine(
        event_id=fact.event.id,
        kind=kind,
        at=fact.at,
        recorded_at=fact.event.recorded_at,
        params={
            name: value.typed if isinstance(value, Measured) else value
            for name, value in told.items()
            if value is not None
        },
        reasons=dict(body.reasons),
        corrected=fact.corrected_by is not None,
        withdrawable=kind != kinds.DishPlanned.kind,
    )
