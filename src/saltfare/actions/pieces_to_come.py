"""A piece under way as a plan counts it: the days until it is at its mass, in each world."""

from __future__ import annotations

import math
from datetime import date, datetime
from typing import Any

import numpy as np

from saltfare.actions.back_wants import air_of
from saltfare.actions.context import Context
from saltfare.actions.lessons import shares
from saltfare.actions.piece_drying import packed, unpacked
from saltfare.actions.piece_forecast import Cast, cast
from saltfare.actions.piece_start import replanned
from saltfare.core.errors import NotConverged, OutOfRange, Refused
from saltfare.core.tables import Row
from saltfare.jobs import key_of, model_version
from saltfare.journal.learning import LearningState, learning
from saltfare.journal.piece import PieceState, State
from saltfare.models.drying import DryingParameters
from saltfare.models.sorption import ProteinIsotherm
from saltfare.plans.back_plan_belief import multipliers
from saltfare.plans.back_plan_chance import (
    Days,
    HumidityFan,
    ToHang,
    drawn_from,
    hanging_time,
    time_at_mass,
    whole_days,
)
from saltfare.plans.back_plan_courses import Bench, ChamberAir, hung_piece
from saltfare.plans.back_plan_shapes import UnderWay
from saltfare.plans.forecast import LEVELS
from saltfare.plans.forecast_air import UsualAir, air_programme
from saltfare.plans.forecast_drying import HangingPiece
from saltfare.plans.forecast_posterior import posterior

_DAY_S = 86400.0


def piece_under_way(context: Context, state: PieceState, want: str, bench: Bench) -> UnderWay | None:
    """A piece that is not yet taken down; None where no forecast of it can be made.

    A hanging one has the days of its forecast, one before hanging those of its plan and of a piece not
    yet hung.
    """
    try:
        if state.state is State.AT_ITS_MASS:
            days = Days(np.zeros(1))
        elif state.hung:
            made = cast(context, state)
            if made is None:
                return None
            time = time_at_mass(
                name=state.code,
                found=posterior(
                    ensemble=made.run.ensemble,
                    hanging=made.hanging,
                    weigh_ins=sorted(made.weigh_ins, key=lambda w: w.time_s),
                    priors=made.priors,
                    belief=made.belief,
                ),
                target_mass_kg=made.forecast.target_mass_kg,
                fan=_fan(context, made),
                humidity_sd_frac=made.forecast.air.humidity_sd_frac,
            )
            left = np.maximum(time - made.hung_s, 0.0)
            days = whole_days(time_s=left)
        else:
            days = _before_hanging(context, state, bench)
    except (Refused, OutOfRange, NotConverged):
        return None
    hook = state.chamber or ""
    return UnderWay(code=state.code, name=state.name, want=want, days=days, hook=hook)


def _fan(context: Context, made: Cast) -> HumidityFan:
    """What an error of the air not read does to a hanging piece; kept with its simulation."""
    run, priors = made.run, made.priors
    key = key_of(
        action="humidity_fan", given=run.key, heads={}, version=model_version(context.library.version)
    )
    law, body, meat = run.rows

    def compute() -> dict[str, Any]:
        fan = HumidityFan.simulate(
            simulate=HangingPiece(
                run.piece,
                run.speed_m_per_s,
                DryingParameters.from_rows(law=law, body=body),
                ProteinIsotherm.from_row(meat),
            ),
            programme=run.programme,
            sd_frac=math.hypot(priors.hygrometer_bias_frac, run.programme.assumed.humidity_sd_frac),
            priors=priors,
            time_s=run.ensemble.time_s,
        )
        return packed({"shift": fan.shift_frac, "loss": fan.loss_frac})

    arrays = unpacked(context.cache.cached(key, compute))
    return HumidityFan(arrays["shift"], arrays["loss"])


def hook_taken(context: Context, state: PieceState, bench: Bench) -> UnderWay | None:
    """A piece that serves no want, for the hook it has: by the forecast issued at its last weigh-in, which
    costs nothing; by a new one where none was issued."""
    told = state.forecasts[-1].body.result.get("ready") if state.hung and state.forecasts else None
    if state.state is State.AT_ITS_MASS or not isinstance(told, dict):
        return piece_under_way(context, state, "", bench)
    levels, left = [0.0], [0.0]
    for level in LEVELS:
        at = told.get(f"{level:g}")
        if not isinstance(at, str):
            break
        levels.append(level)
        left.append(max((datetime.fromisoformat(at) - context.now).total_seconds(), left[-1]))
    time = drawn_from(name=f"under way {state.code}", time_s=np.array(left), ready_frac=np.array(levels))
    return UnderWay(
        code=state.code, name=state.name, want="", days=whole_days(time_s=time), hook=state.chamber or ""
    )


def _before_hanging(context: Context, state: PieceState, bench: Bench) -> Days:
    plan = replanned(context, state, hanging_kg=None)
    air = None
    if state.chamber is not None:
        air = air_of(context, state.chamber, bench.priors)
    if air is None:
        begun = state.started.air
        usual = UsualAir(begun.temperature.value, begun.humidity.value)
        speed = context.library.row("hanging_rules", "air_speed").number("speed")
        assumed = air_programme(readings=None, usual=usual, horizon_s=_DAY_S, priors=bench.priors).assumed
        air = ChamberAir(key=state.chamber or f"piece/{state.code}", air=assumed, speed_m_per_s=speed)
    rows: tuple[Row, Row, Row] = (
        context.library.row("diffusion", "lean_default"),
        context.library.row("drying_body", "whole_muscle"),
        context.library.row("isotherms", "lean_meat"),
    )
    ensemble, fan = bench.simulated(
        HangingPiece(
            hung_piece(plan=plan),
            air.speed_m_per_s,
            DryingParameters.from_rows(law=rows[0], body=rows[1]),
            ProteinIsotherm.from_row(rows[2]),
        ),
        air.air,
    )
    chamber, cut = _keys(state, learning(context.journal))
    time = hanging_time(
        piece=ToHang(
            name=state.code,
            chamber=air.key,
            ensemble=ensemble,
            fan=fan,
            humidity_sd_frac=air.air.humidity_sd_frac,
            multipliers=multipliers(learned=bench.learned, piece=state.code, chamber=chamber, cut=cut),
            target_loss_frac=plan.target.loss_from_hanging.value,
        ),
        priors=bench.priors,
    )
    waits = max((_hang_on(context, state, plan.hang_on) - context.today).days, 0)
    return Days(whole_days(time_s=time).worlds + waits)


def _keys(state: PieceState, decided: LearningState) -> tuple[str, str]:
    """Keys of chamber and cut; nothing that was reset, since it has not hung yet."""
    if state.hung:
        return shares(state, decided)
    return state.chamber or f"piece/{state.code}", state.started.cut


def _hang_on(context: Context, state: PieceState, planned: date) -> date:
    """The day it will hang: as planned, later by what its salting began later."""
    begun = state.salting_begun_at
    told = state.started.plan
    step = next((s for s in told.steps if s.code == "weigh_out"), None) if told else None
    if begun is None or step is None or step.on is None:
        return planned
    return planned + (begun.astimezone(context.zone).date() - step.on)
