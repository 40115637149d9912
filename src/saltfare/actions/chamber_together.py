"""All pieces of a chamber together: which air from today on brings them to their mass by a day."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from typing import Annotated, Any

import numpy as np
from pydantic import Field

from saltfare.actions.chamber_advice import ColdPlace, cold_place
from saltfare.actions.context import Context
from saltfare.actions.piece_forecast import Cast, cast
from saltfare.actions.shapes import Output, Query
from saltfare.core.errors import NotConverged, OutOfRange, Problem, Refused
from saltfare.core.fields import Frozen, Measured, Quantity
from saltfare.core.figure import Note
from saltfare.jobs import key_of, model_version
from saltfare.journal.chamber import chamber as chamber_of
from saltfare.journal.piece import PieceState, State, pieces
from saltfare.journal.plan import room
from saltfare.models.drying import DryingParameters
from saltfare.models.sorption import ProteinIsotherm
from saltfare.plans.chamber_changes import Kind
from saltfare.plans.chamber_together import HangsHere, Outcome, Regime, best_of, outcomes, regimes_tried

_TABLE = "chamber_changes"
_BEYOND = timedelta(days=14)  # what is late is looked at so much longer
_MOST_DAYS = 150


class TogetherGiven(Query):
    """A chamber by its key, the day everything in it is wanted, and the deepest crust that will do."""

    key: str = Field(max_length=60)
    by: date
    crust: Annotated[Measured, Quantity("crust_depth")] | None = None


class FateShown(Frozen):
    """A piece: when it is likely at its mass and the deepest crust should it close easily, left alone and
    as advised; None beyond what is looked at."""

    code: str
    name: str
    hung_days: int
    ready_before: date | None
    ready_after: date | None
    crust_before_m: float
    crust_after_m: float


class TogetherShown(Output):
    """What to hold, and what comes of it. says: it as one note. given_off_kg: water all give off in the
    first days, a day; over_days: days on which they give off more than the chamber takes away, so that its
    air is wetter than meant; held_frac: the wettest it gets."""

    key: str
    name: str
    by: date
    crust_m: float
    says: Note
    rh_first_frac: float
    rh_then_frac: float
    first_days: int
    temp_c: float
    resting: tuple[str, ...]
    pieces: tuple[FateShown, ...]
    given_off_before_kg: float
    given_off_kg: float
    takes_away_kg: float | None
    over_days_before: float
    over_days: float
    held_frac: float


def chamber_together(context: Context, given: TogetherGiven) -> TogetherShown:
    """What air would bring all pieces of a chamber to their mass by a day, crusts kept below a limit."""
    name = chamber_of(context.journal, given.key).name
    if given.by <= context.today:
        raise Refused(Problem("day_gone_by", "by", given.by.isoformat(), context.today.isoformat()))
    if (given.by - context.today).days > _MOST_DAYS:
        raise Refused(Problem("day_too_far", "by", given.by.isoformat(), str(_MOST_DAYS)))
    cold = cold_place(context)
    limit = given.crust.value if given.crust else _number(context, "together_crust", "length")
    key = key_of(
        action="chamber_together",
        given={
            "chamber": given.key,
            "by": given.by.isoformat(),
            "crust": limit,
            "on": context.today.isoformat(),
            "zone": context.settings.zone,
            "cold": cold.model_dump() if cold else None,
        },
        heads={"journal": context.journal.head_hash()},
        version=model_version(context.library.version),
    )

    def compute() -> Any:
        return _together(context, given, name, limit, cold).model_dump(mode="json")

    return TogetherShown.model_validate(context.cache.cached(key, compute))


def _together(
    context: Context, given: TogetherGiven, name: str, limit: float, cold: ColdPlace | None
) -> TogetherShown:
    found: list[tuple[PieceState, Cast]] = []
    notes: list[Note] = []
    for state in pieces(context.journal):
        if state.chamber != given.key or state.state is not State.HANGING:
            continue
        try:
            made = cast(context, state)
        except (Refused, OutOfRange, NotConverged) as error:
            code = error.problems[0].code if isinstance(error, Refused) else type(error).__name__
            notes.append(Note("no_forecast", {"reason": code}))
            continue
        if made is not None:
            found.append((state, made))
    if not found:
        raise Refused(Problem("nothing_hangs", "key", name))
    law, body, meat = found[0][1].rows
    parameters, protein = DryingParameters.from_rows(law=law, body=body), ProteinIsotherm.from_row(meat)
    here = [_here(state, made) for state, made in found]
    air = found[0][1].forecast.air
    first_s = _number(context, "together_first", "time")
    as_it_is = Regime(
        rh_first_frac=round(air.rh_frac, 4), rh_then_frac=round(air.rh_frac, 4), first_s=first_s,
        temp_c=air.temp_c,
    )  # fmt: skip
    closed = frozenset(
        state.code
        for state, made in found
        if float(made.forecast.crust_frac.max()) >= _number(context, "crust_chance", "share")
    )
    rest = None
    if cold is not None and closed:
        rest = Regime(
            rh_first_frac=as_it_is.rh_first_frac, rh_then_frac=as_it_is.rh_then_frac, first_s=first_s,
            temp_c=air.temp_c, rest_s=_number(context, "sealed_rest", "time"), rest_temp_c=cold.temp_c,
            resting=closed,
        )  # fmt: skip
    step, steps = (
        _number(context, "together_step", "humidity_points"),
        _number(context, "together_steps", "count"),
    )
    degrees = _number(context, "together_temp", "count")
    tried = regimes_tried(
        as_it_is=as_it_is,
        steps_frac=[step * n for n in range(-round(steps), round(steps) + 1)],
        driest_frac=_number(context, "together_driest", "share"),
        wettest_frac=_number(context, "together_wettest", "share"),
        temps_c=[air.temp_c - degrees, air.temp_c + degrees],
        rest=rest,
    )
    midnight = datetime.combine(context.today, time(), context.zone)
    by_s = (datetime.combine(given.by, time(), context.zone) - midnight).total_seconds()
    takes = room(context.journal).takes_away.get(given.key)
    before, *after = outcomes(
        pieces=here,
        regimes=[as_it_is, *tried],
        horizon_s=by_s + _BEYOND.total_seconds(),
        settles_s=_number(context, "settles", "time"),
        takes_away_kg_per_s=takes.value / 86400.0 if takes else None,
        sealed_s_per_m=_number(context, "sealed", "resistance"),
        parameters=parameters,
        protein=protein,
    )
    best = best_of(found=after, as_it_is=before, by_s=by_s, limit_m=limit)
    if takes is None:
        notes.append(Note("takes_away_not_told"))
    notes.append(Note("two_courses"))
    return _told(context, given, name, limit, found, before, best, by_s, takes, tuple(notes))


def _told(
    context: Context,
    given: TogetherGiven,
    name: str,
    limit: float,
    found: list[tuple[PieceState, Cast]],
    before: Outcome,
    best: Outcome,
    by_s: float,
    takes: Measured | None,
    notes: tuple[Note, ...],
) -> TogetherShown:
    regime = best.regime
    names = {state.code: state.name for state, _ in found}

    def on(ready_s: float | None) -> date | None:
        return (
            None
            if ready_s is None
            else context.today + timedelta(days=int(np.ceil(ready_s / 86400.0 - 1e-9)))
        )

    return TogetherShown(
        key=given.key,
        name=name,
        by=given.by,
        crust_m=limit,
        says=_says(best, before, by_s, limit, [names[code] for code in sorted(regime.resting)], given.by),
        rh_first_frac=regime.rh_first_frac,
        rh_then_frac=regime.rh_then_frac,
        first_days=round(regime.first_s / 86400.0),
        temp_c=regime.temp_c if regime.temp_c is not None else 0.0,
        resting=tuple(sorted(regime.resting)),
        pieces=tuple(
            FateShown(
                code=state.code,
                name=state.name,
                hung_days=int(made.hung_s // 86400),
                ready_before=on(was.ready_s),
                ready_after=on(will.ready_s),
                crust_before_m=was.crust_m,
                crust_after_m=will.crust_m,
            )
            for (state, made), was, will in zip(found, before.fates, best.fates, strict=True)
        ),
        given_off_before_kg=float(before.given_off_kg_per_s[0]) * 86400.0,
        given_off_kg=float(best.given_off_kg_per_s[0]) * 86400.0,
        takes_away_kg=takes.value if takes else None,
        over_days_before=before.over_s / 86400.0,
        over_days=best.over_s / 86400.0,
        held_frac=float(best.rh_frac.max()),
        notes=notes,
    )


def _says(best: Outcome, before: Outcome, by_s: float, limit: float, resting: list[str], by: date) -> Note:
    """One sentence: what to hold, and what it gains over leaving it alone."""
    regime, count = best.regime, len(best.fates)
    params: dict[str, str | float | int] = {
        "first_frac": regime.rh_first_frac,
        "then_frac": regime.rh_then_frac,
        "days_s": regime.first_s,
        "temp_c": regime.temp_c if regime.temp_c is not None else 0.0,
        "there": count - best.late(by_s=by_s),
        "there_before": count - before.late(by_s=by_s),
        "of": count,
        "crusted": best.crusted(limit_m=limit),
        "crusted_before": before.crusted(limit_m=limit),
        "by": by.isoformat(),
        "limit_m": limit,
        "resting": ", ".join(resting),
        "rest_s": regime.rest_s,
    }
    if best is before:
        return Note("together_leave", params)
    if regime.resting:
        return Note("together_rest", params)
    if regime.rh_first_frac != regime.rh_then_frac:
        return Note("together_then", params)
    return Note("together_hold", params)


def _here(state: PieceState, made: Cast) -> HangsHere:
    forecast = made.forecast
    return HangsHere(
        code=state.code,
        piece=made.piece,
        programme=made.run.programme,
        speed_m_per_s=made.run.speed_m_per_s,
        likeliest=Kind(forecast.diffusivity.median, forecast.resistance.median),
        closes_easily=Kind(forecast.diffusivity.low, forecast.resistance.low),
        target_mass_kg=forecast.target_mass_kg,
        now_s=max(made.hung_s, 1.0),
    )


def _number(context: Context, row: str, column: str) -> float:
    return context.library.row(_TABLE, row).number(column)
