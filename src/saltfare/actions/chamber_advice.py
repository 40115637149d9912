"""What could be changed about a chamber, in the owner's own terms, and what that would do to each piece."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, time, timedelta
from typing import Literal

from pydantic import Field

from saltfare.actions.context import Context
from saltfare.actions.piece_forecast import Cast, cast
from saltfare.actions.shapes import Output, Query
from saltfare.core.errors import NotConverged, OutOfRange, Refused
from saltfare.core.fields import Frozen
from saltfare.core.figure import Note
from saltfare.jobs import key_of, model_version
from saltfare.journal.chamber import chamber as chamber_of
from saltfare.journal.chamber import chambers
from saltfare.journal.events_chamber import Changeable
from saltfare.journal.piece import PieceState, State, pieces
from saltfare.models.drying import DryingParameters
from saltfare.models.sorption import ProteinIsotherm
from saltfare.plans.chamber_changes import Change, Effect, Kind, effects

_TABLE = "chamber_changes"
Need = Literal["crust", "wet", "none"]


class AdviceGiven(Query):
    """A chamber by its key."""

    key: str = Field(max_length=60)


class EffectShown(Frozen):
    """A change and what it would do: when the likeliest piece is at its mass, before and after (None beyond
    what is looked at), and the deepest crust of one that closes easily, from when the change has settled.

    change: what is done. by: which of the owner's things it uses. advised, reason: whether, and why or
    why not. place: the cold place it needs.
    """

    change: str
    by: Changeable
    advised: bool
    reason: str
    ready_before: datetime | None
    ready_after: datetime | None
    crust_before_m: float
    crust_after_m: float
    place: str = ""


class PieceAdvice(Frozen):
    """What one piece needs of its air, if anything. rh_frac: the humidity assumed from here.
    crust_chance_frac: the greatest its forecast gives until it is likely to be at its mass. crust_m: the
    deepest crust, should it close easily and nothing be changed."""

    code: str
    name: str
    need: Need
    rh_frac: float
    crust_chance_frac: float
    crust_m: float
    ready: datetime | None
    effects: tuple[EffectShown, ...]


class AdviceShown(Output):
    """Advice in terms of what the owner has listed. cautions stand beside it, advised or not."""

    key: str
    listed: tuple[Changeable, ...]
    pieces: tuple[PieceAdvice, ...]
    cautions: tuple[Note, ...]


class ColdPlace(Frozen):
    """A place read at or below the cold limit all through the last day; its mean air."""

    key: str
    name: str
    temp_c: float
    rh_frac: float
    highest_c: float
    speed_m_per_s: float


def chamber_advice(context: Context, given: AdviceGiven) -> AdviceShown:
    """What to change about a chamber for the pieces in it, and the expected effect of each change."""
    described = chamber_of(context.journal, given.key).described
    listed = (described.changeable or ()) if described else ()
    cold = cold_place(context) if "fridge" in listed else None  # of this hour, never from a cache
    key = key_of(
        action="chamber_advice",
        given={
            "chamber": given.key,
            "on": context.today.isoformat(),
            "zone": context.settings.zone,
            "cold": cold.model_dump() if cold else None,
        },
        heads={"journal": context.journal.head_hash()},
        version=model_version(context.library.version),
    )
    kept = context.cache.cached(
        key, lambda: _advice(context, given.key, listed, cold).model_dump(mode="json")
    )
    return AdviceShown.model_validate(kept)


def _advice(
    context: Context, key: str, listed: tuple[Changeable, ...], cold: ColdPlace | None
) -> AdviceShown:
    notes, cautions, found = [], [], []
    if not listed:
        notes.append(Note("nothing_listed"))
    if "fridge" in listed:
        # said whether a sealed rest is offered or not: it is what goes wrong with one
        cautions.append(Note("sealed_without_oxygen"))
        if cold is None:
            limit = context.library.row("salting_rules", "cold_limit").number("temp_c")
            notes.append(Note("no_cold_place", {"limit_c": limit}))
    for state in pieces(context.journal):
        if state.chamber != key or state.state is not State.HANGING:
            continue
        try:
            made = cast(context, state)
            if made is not None:
                found.append(_for_piece(context, state, made, listed, cold))
        except (Refused, OutOfRange, NotConverged) as error:
            code = error.problems[0].code if isinstance(error, Refused) else type(error).__name__
            notes.append(Note("no_forecast", {"reason": code}))
    if found:
        notes.append(Note("likeliest_course"))
    return AdviceShown(
        key=key, listed=listed, pieces=tuple(found), cautions=tuple(cautions), notes=tuple(notes)
    )


def _for_piece(
    context: Context,
    state: PieceState,
    made: Cast,
    listed: tuple[Changeable, ...],
    cold: ColdPlace | None,
) -> PieceAdvice:
    forecast = made.forecast
    likely = forecast.ready_s[0.5]  # what the outside does after it has come down is nobody's trouble
    hangs = forecast.time_s <= (likely if likely is not None else forecast.time_s[-1])
    chance = float(forecast.crust_frac[hangs].max())
    need: Need = "none"
    if chance >= _number(context, "crust_chance", "share"):
        need = "crust"
    elif forecast.air.rh_frac >= _number(context, "wet_air", "share"):
        need = "wet"
    law, body, meat = made.rows
    protein = ProteinIsotherm.from_row(meat)
    tried = list(_tried(context, made, need, listed, cold, protein)) if need != "none" else []
    midnight = datetime.combine(context.today, time(), context.zone)
    from_s = max(state.hanging_s(max(midnight, made.hung_at)), 1.0)
    before, *after = effects(
        piece=made.piece,
        programme=made.run.programme,
        speed_m_per_s=made.run.speed_m_per_s,
        parameters=DryingParameters.from_rows(law=law, body=body),
        protein=protein,
        likeliest=Kind(forecast.diffusivity.median, forecast.resistance.median),
        # of its 80 % intervals the ends at which the outside dries faster than the inside follows
        closes_easily=Kind(forecast.diffusivity.low, forecast.resistance.low),
        target_mass_kg=forecast.target_mass_kg,
        from_s=from_s,
        settles_s=_number(context, "settles", "time"),
        changes=[change for _, change in tried],
    )
    shown = [
        _effect(context, made, need, by, before, one, cold) for (by, _), one in zip(tried, after, strict=True)
    ]
    return PieceAdvice(
        code=state.code,
        name=state.name,
        need=need,
        rh_frac=forecast.air.rh_frac,
        crust_chance_frac=chance,
        crust_m=before.crust_m,
        ready=made.at(before.ready_s),
        effects=tuple(sorted(shown, key=lambda one: (not one.advised, one.crust_after_m))),
    )


def _tried(
    context: Context,
    made: Cast,
    need: Need,
    listed: tuple[Changeable, ...],
    cold: ColdPlace | None,
    protein: ProteinIsotherm,
) -> Iterator[tuple[Changeable, Change]]:
    """The changes that go the way that is needed, of those that are the owner's to make."""
    slower = need == "crust"
    rh, speed = made.forecast.air.rh_frac, made.run.speed_m_per_s
    brine = protein.crystal_aw
    if "wrap" in listed and slower:
        bag = context.library.row("drying_casings", "breathing_bag").number("resistance")
        if made.piece.casing_resistance_s_per_m < bag:
            yield "wrap", Change(name="wrap", casing_s_per_m=bag)
    if "salt_tray" in listed and (rh < brine) == slower:
        yield "salt_tray", Change(name="salt_tray", rh_frac=brine)
    if "fan" in listed:
        to = _number(context, "fan_off" if slower else "fan_on", "speed")
        if (to < speed) == slower and to != speed:
            yield "fan", Change(name="fan_off" if slower else "fan_on", speed_m_per_s=to)
    if "door" in listed:
        name = "door_shut" if slower else "door_ajar"
        yield "door", Change(name=name, rh_shift_frac=_number(context, name, "humidity_points"))
    if "shelf" in listed:
        name = "shelf_out" if slower else "shelf_in"
        yield "shelf", Change(name=name, speed_m_per_s=speed * _number(context, name, "factor"))
    if cold is not None and slower:
        yield (
            "fridge",
            Change(
                name="fridge_open",
                temp_c=cold.temp_c,
                rh_frac=cold.rh_frac,
                speed_m_per_s=cold.speed_m_per_s,
            ),
        )
        yield (
            "fridge",
            Change(
                name="sealed_rest",
                temp_c=cold.temp_c,
                casing_s_per_m=_number(context, "sealed", "resistance"),
                lasts_s=_number(context, "sealed_rest", "time"),
            ),
        )


def _effect(
    context: Context,
    made: Cast,
    need: Need,
    by: Changeable,
    before: Effect,
    after: Effect,
    cold: ColdPlace | None,
) -> EffectShown:
    eased = before.crust_m - after.crust_m
    sooner = (before.ready_s or made.run.programme.horizon_s) - (
        after.ready_s or made.run.programme.horizon_s
    )
    if need == "crust":
        least = _number(context, "least_gain", "share") * before.crust_m
        advised = eased >= max(least, _number(context, "least_crust", "length"))
        reason = "eases_crust" if advised else "hardly_eases_crust"
    else:
        advised = sooner >= _number(context, "least_days", "time")
        reason = "dries_sooner" if advised else "hardly_dries_sooner"
    return EffectShown(
        change=after.name,
        by=by,
        advised=advised,
        reason=reason,
        ready_before=made.at(before.ready_s),
        ready_after=made.at(after.ready_s),
        crust_before_m=before.crust_m,
        crust_after_m=after.crust_m,
        place=cold.name if cold is not None and by == "fridge" else "",
    )


def cold_place(context: Context) -> ColdPlace | None:
    """The coldest place that was read at or below the cold limit all through the last day; None where
    there is none, whatever a place is described as."""
    limit = context.library.row("salting_rules", "cold_limit").number("temp_c")
    least = _number(context, "cold_log", "count")
    begin = context.now - timedelta(seconds=_number(context, "cold_log", "time"))
    found = []
    for state in chambers(context.journal):
        read = context.journal.readings.range(state.key, begin, context.now)
        if len(read) < least or max(r.temp_c for r in read) > limit:
            continue
        # a logger that fell silent says nothing of the hours since
        if (context.now - read[-1].at) * 2 > timedelta(seconds=_number(context, "cold_log", "time")):
            continue
        speed = state.described.air_speed if state.described else None
        found.append(
            ColdPlace(
                key=state.key,
                name=state.name,
                temp_c=sum(r.temp_c for r in read) / len(read),
                rh_frac=sum(r.rh_frac for r in read) / len(read),
                highest_c=max(r.temp_c for r in read),
                speed_m_per_s=speed.value if speed else _number(context, "fan_off", "speed"),
            )
        )
    return min(found, key=lambda place: place.highest_c, default=None)


def _number(context: Context, row: str, column: str) -> float:
    return context.library.row(_TABLE, row).number(column)
