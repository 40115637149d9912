"""A hanging piece as the drying model and the forecast take it: its body, its air, its weigh-ins."""

from __future__ import annotations

import base64
import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np

from saltfare.actions.context import Context
from saltfare.actions.piece_start import replanned
from saltfare.core.tables import Row
from saltfare.jobs import key_of, model_version
from saltfare.journal.chamber import chamber
from saltfare.journal.piece import PieceState
from saltfare.journal.piece import piece as piece_of
from saltfare.models.drying import DryingParameters, Hanging
from saltfare.models.sorption import ProteinIsotherm
from saltfare.plans.forecast_air import AirProgramme, AirReadings, UsualAir, air_programme
from saltfare.plans.forecast_drying import HangingPiece
from saltfare.plans.forecast_ensemble import Ensemble, ensemble
from saltfare.plans.forecast_posterior import WeighIn
from saltfare.plans.forecast_priors import ForecastPriors

_RULES = "hanging_rules"


@dataclass(frozen=True, slots=True)
class Simulated:
    """A piece simulated over its air, and what it was simulated from. key: of the simulation, by which
    what rests on it is kept."""

    piece: Hanging
    programme: AirProgramme
    ensemble: Ensemble
    rows: tuple[Row, ...]
    key: str
    speed_m_per_s: float


def simulated(
    context: Context, state: PieceState, priors: ForecastPriors, *, until: datetime, horizon_s: float
) -> Simulated:
    """The piece simulated with the air known `until`, to a horizon; kept until something of it changes.

    Raises Refused, OutOfRange, NotConverged where the models do not hold the piece or its air.
    """
    law = context.library.row("diffusion", "lean_default")
    body = context.library.row("drying_body", "whole_muscle")
    meat = context.library.row("isotherms", "lean_meat")
    piece = hanging_of(context, state)
    programme, speed = _programme(context, state, priors, until, horizon_s)
    key = key_of(
        action="hanging_ensemble",
        given={
            "piece": repr(piece),
            "speed": speed,
            "air": packed(_arrays(programme)),
            "assumed": repr(programme.assumed),
        },
        heads={},
        version=model_version(context.library.version),
    )
    simulate = HangingPiece(
        piece, speed, DryingParameters.from_rows(law=law, body=body), ProteinIsotherm.from_row(meat)
    )
    kept = context.cache.cached(
        key, lambda: packed(ensemble(simulate=simulate, programme=programme, priors=priors).arrays())
    )
    return Simulated(piece, programme, Ensemble.from_arrays(unpacked(kept)), (law, body, meat), key, speed)


def hung_as(context: Context, state: PieceState) -> WeighIn:
    """The mass at hanging as a weighing at time 0."""
    return WeighIn(0.0, state.hung[-1].body.mass.value, _step_kg(context))


def weighed_as(context: Context, state: PieceState) -> list[WeighIn]:
    """The weigh-ins as of one piece nothing was cut from, on the clock of its hanging."""
    out, usual = [], _step_kg(context)
    for one in state.weigh_ins:
        seconds = state.hanging_s(one.at)
        if seconds > 0:
            mass = one.body.mass.value
            whole = state.comparable_kg(mass, one.at)
            step = one.body.scale_step.value if one.body.scale_step else usual
            out.append(WeighIn(seconds, whole, step * whole / mass))
    return out


def _step_kg(context: Context) -> float:
    return context.library.row(_RULES, "kitchen_scale").number("mass")


@dataclass(frozen=True, slots=True)
class Made:
    """What a piece is made of at hanging (kg)."""

    water_kg: float
    fat_kg: float
    salt_kg: float
    solids_kg: float

    @property
    def dry_kg(self) -> float:
        """Everything but water."""
        return self.fat_kg + self.salt_kg + self.solids_kg


def made_of(context: Context, state: PieceState) -> Made:
    """What a piece is made of at hanging: by its plan from the mass weighed, or from its parts.

    Of a piece tied from others only water left since each was hung. Raises Refused where the plan no
    longer holds.
    """
    hung_kg = state.hung[-1].body.mass.value
    if not state.parts:
        of = replanned(context, state, hanging_kg=hung_kg).hanging
        return Made(of.water_kg, of.fat_kg, of.salt_kg, of.solids_kg + of.sugar_kg)
    parts = [(part, made_of(context, part)) for part in (piece_of(context.journal, c) for c in state.parts)]
    fat, salt, solids = (
        sum(getattr(made, name) * part.kept_frac for part, made in parts)
        for name in ("fat_kg", "salt_kg", "solids_kg")
    )
    return Made(hung_kg - fat - salt - solids, fat, salt, solids)


def hanging_of(context: Context, state: PieceState) -> Hanging:
    """The piece at hanging as the drying model takes it, from its measures, its cut and what it weighed."""
    begun, hung = state.started, state.hung[-1].body
    made, mass = made_of(context, state), hung.mass.value
    casing = 0.0
    if hung.casing is not None:
        casing = context.library.row("drying_casings", hung.casing).number("resistance")
    return Hanging(
        shape=begun.shape,
        thickness_m=(hung.thickness or begun.thickness).value,
        length_m=begun.length.value,
        width_m=begun.width.value if begun.width else 0.0,
        mass_kg=mass,
        water_frac=made.water_kg / mass,
        fat_frac=made.fat_kg / mass,
        salt_frac=made.salt_kg / mass,
        open_frac=1.0,
        casing_resistance_s_per_m=casing,
        drying_faces=1 if begun.skin_on else 2,
    )


def _programme(
    context: Context, state: PieceState, priors: ForecastPriors, until: datetime, horizon_s: float
) -> tuple[AirProgramme, float]:
    """The air from hanging to the horizon, read `until` at the latest, and the speed it moves at."""
    hung, begun = state.hung[-1], state.started
    usual = UsualAir(begun.air.temperature.value, begun.air.humidity.value)
    speed = context.library.row(_RULES, "air_speed").number("speed")
    readings = None
    if state.chamber is not None:
        described = chamber(context.journal, state.chamber).described
        if described is not None:
            if described.temperature and described.humidity:
                usual = UsualAir(described.temperature.value, described.humidity.value)
            if described.air_speed:
                speed = described.air_speed.value
        if state.taken_down:
            until = min(until, state.taken_down[-1].at)
        found = context.journal.readings.range(state.chamber, hung.at, until)
        timed = [(state.hanging_s(air.at), air) for air in found]
        # through a sealed rest the clock of hanging stands still: its air never met the piece
        met = [one for before, one in zip([(-1.0, None), *timed], timed, strict=False) if one[0] > before[0]]
        if met:
            readings = AirReadings(
                np.array([time for time, _ in met]),
                np.array([air.temp_c for _, air in met]),
                np.array([air.rh_frac for _, air in met]),
            )
    return air_programme(readings=readings, usual=usual, horizon_s=horizon_s, priors=priors), speed


def horizon_s(context: Context, hung_s: float) -> float:
    """How far a forecast reaches of a piece that has hung so long [s from hanging]."""
    least = context.library.row(_RULES, "horizon").number("time")
    step = context.library.row(_RULES, "horizon_step").number("time")
    return max(least, math.ceil((hung_s + least / 2) / step) * step)


def _arrays(programme: AirProgramme) -> dict[str, Any]:
    return {
        "end_time_s": programme.end_time_s,
        "temp_c": programme.temp_c,
        "rh_frac": programme.rh_frac,
        "read": programme.read.astype(np.float64),
    }


def packed(arrays: Mapping[str, Any]) -> dict[str, Any]:
    """Arrays as plain JSON: kind, shape, and their bytes."""
    return {
        name: [str(a.dtype), list(a.shape), base64.b64encode(np.ascontiguousarray(a).tobytes()).decode()]
        for name, a in arrays.items()
    }


def unpacked(kept: Mapping[str, Any]) -> dict[str, Any]:
    """The arrays again."""
    return {
        name: np.frombuffer(base64.b64decode(text), dtype=dtype).reshape(shape)
        for name, (dtype, shape, text) in kept.items()
    }
