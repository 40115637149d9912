"""One piece: how it stands, what is to come, its log, and how we know."""

from __future__ import annotations

from dataclasses import asdict, replace
from datetime import date, datetime
from typing import Any

import numpy as np
from pydantic import Field

from saltfare.actions.bench import AmountDue, amounts_of
from saltfare.actions.context import Context
from saltfare.actions.due import due
from saltfare.actions.piece_forecast import Cast, cast
from saltfare.actions.piece_log import LogLine, log_of
from saltfare.actions.piece_shapes import Line, lines_of
from saltfare.actions.piece_stages import open_acts
from saltfare.actions.piece_start import replanned
from saltfare.actions.piece_work import found
from saltfare.actions.shapes import Output, Query, Tracer
from saltfare.core.errors import NotConverged, OutOfRange, Refused
from saltfare.core.fields import Frozen
from saltfare.core.figure import Figure, Note, Verdict
from saltfare.journal.piece import PieceState
from saltfare.models.drying import hang
from saltfare.models.salting import loss_between
from saltfare.plans.forecast import forecast
from saltfare.plans.forecast_posterior import posterior
from saltfare.plans.piece_parts import Amount

_CURVE_POINTS = 120


class PieceGiven(Query):
    """A piece by the code on its tag."""

    code: str = Field(max_length=40)


class CurvePoint(Frozen):
    """The forecast at one instant: the true mass with the ends of its 80 and 95 % bands (kg)."""

    at: datetime
    median_kg: float
    low_80_kg: float
    high_80_kg: float
    low_95_kg: float
    high_95_kg: float
    ready_frac: float
    crust_frac: float


class WeighInShown(Frozen):
    """A weigh-in with what was expected of it, by all the others."""

    event_id: str
    at: datetime
    mass_kg: float
    typed: str
    loss_frac: float
    expected_kg: float | None
    surprise_sd: float | None
    in_error_frac: float | None
    notes: tuple[Note, ...]


class ReadyShown(Frozen):
    """When it will be at its mass: the 80 % interval and the middle; None beyond the horizon."""

    early: datetime | None
    likely: datetime | None
    late: datetime | None
    within_horizon_frac: float
    horizon_at: datetime


class ForecastShown(Frozen):
    """What is forecast, and of what air."""

    ready: ReadyShown
    curve: tuple[CurvePoint, ...]
    diffusivity: Figure
    resistance: Figure
    crust_now: Figure
    crust_most: Figure
    crust_most_at: datetime
    air_temp_c: float
    air_rh_frac: float
    air_basis: str
    last_reading_at: datetime | None
    model: str
    notes: tuple[Note, ...]


class NextStep(Frozen):
    """What the piece asks for next."""

    step: str
    act: str
    on: date
    reason: str
    amounts: tuple[AmountDue, ...]
    cautions: tuple[Note, ...]


class IssuedShown(Frozen):
    """A forecast as it was issued."""

    at: datetime
    early: datetime | None
    likely: datetime | None
    late: datetime | None
    model: str


class PieceShown(Output):
    """A piece. forecast: None until it hangs, and where none can be made (a note says why).

    acts: the commands open to it now, the likeliest first. weighed: as it was last typed on the
    scale. tare_kg, scale_step_kg: as last told of it.
    """

    code: str
    name: str
    version: int
    state: str
    purpose: str
    cut: str
    chamber: str | None
    green_kg: float
    last_kg: float | None
    started_at: datetime
    salted_at: datetime | None
    hung_at: datetime | None
    taken_down_at: datetime | None
    loss_from_hanging: Figure | None
    loss_from_green: Figure | None
    target: tuple[Line, ...]
    hanging: tuple[Line, ...]
    target_kg: float | None
    is_intact: bool
    kept_frac: float
    parent: str | None
    parts: tuple[str, ...]
    ended: str | None
    ended_at: datetime | None
    became: tuple[str, ...]
    lots: tuple[str, ...]
    target_loss_frac: float | None
    claims: tuple[Verdict, ...]
    cautions: tuple[Note, ...]
    forecast: ForecastShown | None
    weigh_ins: tuple[WeighInShown, ...]
    next: tuple[NextStep, ...]
    log: tuple[LogLine, ...]
    acts: tuple[str, ...]
    weighed: str | None
    tare_kg: float | None
    scale_step_kg: float | None
    issued: tuple[IssuedShown, ...]


def piece(context: Context, given: PieceGiven) -> PieceShown:
    """One piece with its forecast as known now."""
    state = found(context, given.code)
    tracer, notes = Tracer(), []
    target: tuple[Line, ...] = ()
    hanging: tuple[Line, ...] = ()
    claims: tuple[Verdict, ...] = ()
    cautions: tuple[Note, ...] = ()
    hung_kg = state.hung[-1].body.mass.value if state.hung else None
    try:
        plan = replanned(context, state, hanging_kg=hung_kg)
        at = plan.target
        target = lines_of(
            (
                _less_cuts(at.mass, state.kept_frac),
                at.loss_from_hanging,
                at.loss_from_green,
                at.ceiling,
                at.aw,
            ),
            tracer,
        )
        made = plan.hanging
        hanging = lines_of((made.mass, made.water, made.fat, made.salt), tracer)
        claims, cautions = at.claims, plan.cautions
    except Refused as refused:
        notes += [Note("plan_no_longer_holds", {"problem": p.code}) for p in refused.problems]
    made_cast: Cast | None = None
    if state.ended:  # nothing is to come of it, and nothing is to be said of it
        claims = ()
    try:
        made_cast = None if state.ended else cast(context, state)
    except (Refused, OutOfRange, NotConverged) as error:
        codes = [p.code for p in error.problems] if isinstance(error, Refused) else [type(error).__name__]
        notes += [Note("no_forecast", {"reason": code}) for code in codes]
    told = state.hung[-1].body.target if state.hung else state.started.target
    coming = due(context, state, made=made_cast)
    notes += [one.note for one in coming if one.note]
    return PieceShown(
        code=state.code,
        name=state.name,
        version=state.version,
        state=state.state.value,
        purpose=state.started.purpose,
        cut=state.started.cut,
        chamber=state.chamber,
        green_kg=state.green_weight_kg,
        last_kg=state.last_mass_kg,
        started_at=state.started_at,
        salted_at=state.salting_begun_at,
        hung_at=state.hung[-1].at if state.hung else None,
        taken_down_at=state.taken_down[-1].at if state.taken_down else None,
        loss_from_hanging=_loss(state, hung_kg, tracer),
        loss_from_green=_loss(state, state.green_weight_kg if hung_kg else None, tracer),
        target=target,
        hanging=hanging,
        target_kg=state.target_now_kg,
        is_intact=state.is_intact,
        kept_frac=state.kept_frac,
        parent=state.parent,
        parts=state.parts,
        ended=state.ended,
        ended_at=state.ended_at,
        became=state.became,
        lots=state.taken_down[-1].body.lots if state.taken_down else (),
        target_loss_frac=told.loss_from_hanging.value if told and told.loss_from_hanging else None,
        claims=claims,
        cautions=cautions,
        forecast=_forecast(context, made_cast, tracer) if made_cast else None,
        weigh_ins=_weigh_ins(state, made_cast),
        next=tuple(
            NextStep(
                step=one.step,
                act=one.act,
                on=one.on,
                reason=one.reason,
                amounts=amounts_of(one.amounts),
                cautions=one.cautions,
            )
            for one in coming
        ),
        log=log_of(context, state),
        acts=open_acts(state),
        weighed=state.weighed_as,
        tare_kg=state.tare.value if state.tare else None,
        scale_step_kg=state.scale_step.value if state.scale_step else None,
        issued=tuple(
            IssuedShown(
                at=entry.at,
                early=entry.body.ready_early,
                likely=entry.body.ready_at,
                late=entry.body.ready_late,
                model=entry.body.model_version,
            )
            for entry in reversed(state.forecasts)
        ),
        notes=tuple(notes),
        traces=tracer.traces,
    )


def _less_cuts(amount: Amount, kept_frac: float) -> Amount:
    """The mass to reach, of what is left after tastes and cuts."""
    if kept_frac == 1.0:
        return amount
    low, high = (None if one is None else one * kept_frac for one in (amount.low, amount.high))
    inputs = {**amount.inputs, "kept_frac": kept_frac}
    return replace(amount, value=amount.value * kept_frac, low=low, high=high, inputs=inputs)


def _loss(state: PieceState, from_kg: float | None, tracer: Tracer) -> Figure | None:
    last = state.last_weight
    if from_kg is None or last is None:
        return None
    whole = state.comparable_kg(last[1], last[0])  # what was cut off did not dry away
    loss = loss_between(before_kg=from_kg, after_kg=whole)
    return tracer.figure(
        loss, "fraction", tracer.trace(loss_between, {"before_kg": from_kg, "after_kg": whole})
    )


def _forecast(context: Context, made: Cast, tracer: Tracer) -> ForecastShown:
    found = made.forecast
    low_80, high_80 = found.band_kg(band="band_80")
    low_95, high_95 = found.band_kg(band="band_95")
    late = found.ready_s[0.9]
    until = min(found.time_s[-1], 1.15 * late if late is not None else found.time_s[-1])
    hung_s = made.hung_s
    until = max(until, hung_s + 5 * 86400.0)
    shown = [i for i, time in enumerate(found.time_s) if time <= until]
    shown = shown[:: max(1, len(shown) // _CURVE_POINTS)]
    now_s = min(hung_s, float(found.time_s[-1]))
    crust = float(np.interp(now_s, found.time_s, found.crust_frac))
    # what the outside does after the piece has come down is nobody's trouble
    hangs = found.time_s <= (late if late is not None else found.time_s[-1])
    most = int(np.argmax(np.where(hangs, found.crust_frac, -1.0)))
    inputs: dict[str, str | float | int | None] = {
        **asdict(made.piece),
        "weigh_ins": len(found.weigh_ins),
        "target_mass_kg": found.target_mass_kg,
        "air_temp_c": found.air.temp_c,
        "air_rh_frac": found.air.rh_frac,
    }
    by_hanging = tracer.trace(hang, inputs, made.rows)
    by_posterior = tracer.trace(posterior, inputs, made.rows)
    tracer.trace(forecast, inputs, made.rows)

    def multiplier(found: Any) -> Figure:
        return tracer.figure(
            found.median, "ratio", by_posterior, span=(found.low, found.high), interval="band_80"
        )

    early, likely, last = made.ready
    horizon = made.at(float(found.time_s[-1]))
    crust_at = made.at(float(found.time_s[most]))
    if horizon is None or crust_at is None:
        raise AssertionError("a time of the forecast has an instant")
    return ForecastShown(
        ready=ReadyShown(
            early=early,
            likely=likely,
            late=last,
            within_horizon_frac=found.within_horizon_frac,
            horizon_at=horizon,
        ),
        curve=tuple(
            CurvePoint(
                at=instant,
                median_kg=made.kept_frac * float(found.median_kg[i]),
                low_80_kg=made.kept_frac * float(low_80[i]),
                high_80_kg=made.kept_frac * float(high_80[i]),
                low_95_kg=made.kept_frac * float(low_95[i]),
                high_95_kg=made.kept_frac * float(high_95[i]),
                ready_frac=float(found.ready_frac[i]),
                crust_frac=float(found.crust_frac[i]),
            )
            for i in shown
            if (instant := made.at(float(found.time_s[i]))) is not None
        ),
        diffusivity=multiplier(found.diffusivity),
        resistance=multiplier(found.resistance),
        crust_now=tracer.figure(crust, "fraction", by_hanging),
        crust_most=tracer.figure(float(found.crust_frac[most]), "fraction", by_hanging),
        crust_most_at=crust_at,
        air_temp_c=found.air.temp_c,
        air_rh_frac=found.air.rh_frac,
        air_basis=found.air.basis,
        last_reading_at=made.at(found.last_reading_s),
        model=made.model,
        notes=found.notes,
    )


def _weigh_ins(state: PieceState, made: Cast | None) -> tuple[WeighInShown, ...]:
    if not state.hung:
        return ()
    hung = state.hung[-1]
    seen = {}
    if made is not None:
        seen = {(round(w.time_s), round(w.mass_kg, 9)): w for w in made.forecast.weigh_ins}
    out = []
    for entry in state.weigh_ins:
        mass = entry.body.mass.value
        whole = state.comparable_kg(mass, entry.at)
        one = seen.get((round(state.hanging_s(entry.at)), round(whole, 9)))
        out.append(
            WeighInShown(
                event_id=entry.event_id,
                at=entry.at,
                mass_kg=mass,
                typed=entry.body.mass.typed,
                loss_frac=1 - whole / hung.body.mass.value,
                expected_kg=one.expected_kg * mass / whole if one else None,
                surprise_sd=one.surprise_sd if one else None,
                in_error_frac=one.in_error_frac if one else None,
                notes=one.notes if one else (),
            )
        )
    return tuple(reversed(out))
