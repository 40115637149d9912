"""A hanging piece cut across: water and salt now and at its mass, as computed from its weigh-ins."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Literal

from pydantic import Field

from saltfare.actions.context import Context
from saltfare.actions.piece_forecast import Cast, cast
from saltfare.actions.piece_work import found
from saltfare.actions.shapes import Output, Query, Tracer
from saltfare.core.errors import Problem, Refused
from saltfare.core.fields import Frozen
from saltfare.core.figure import Note
from saltfare.jobs import key_of, model_version
from saltfare.journal.piece import PieceState
from saltfare.models.drying import DryingParameters
from saltfare.models.sorption import ProteinIsotherm
from saltfare.plans.forecast import LEVELS
from saltfare.plans.section import Section, sections

_CLOCK_S = 6 * 3600.0  # nothing inside a piece moves much in less


class SectionGiven(Query):
    """A piece by the code on its tag."""

    code: str = Field(max_length=40)


class Place(Frozen):
    """What lies at one depth, from the middle (or from the closed face): water of the meat, and salt in
    salt and water together."""

    depth_m: float
    water_frac: float
    brine_frac: float


class CutAcross(Frozen):
    """The piece cut across at one time. thickness_m: through the middle. at: None where the clock of
    hanging stands still."""

    at: datetime | None
    mass_kg: float
    loss_frac: float
    thickness_m: float
    places: tuple[Place, ...]


class SectionShown(Output):
    """now: as computed for this moment. target: when it comes to its mass, None beyond the horizon.

    weigh_ins, last_weigh_in: what it was computed from. one_sided: it dries on one face only.
    """

    code: str
    shape: Literal["slab", "cylinder"]
    one_sided: bool
    weigh_ins: int
    last_weigh_in: datetime | None
    now: CutAcross
    target: CutAcross | None
    target_kg: float
    trace: str


def section(context: Context, given: SectionGiven) -> SectionShown:
    """Water and salt across a hanging piece, now and at its mass. Computed, never measured."""
    state = found(context, given.code)
    made = cast(context, state)
    target = state.target_mass_kg
    if made is None or target is None:
        raise Refused(Problem("nothing_to_cut_across", "code", state.code, params={"name": state.name}))
    tracer = Tracer()
    now_s = state.hanging_s(state.taken_down[-1].at if state.taken_down else context.now)
    now_s = max(0.0, now_s // _CLOCK_S * _CLOCK_S)
    forecast, horizon = made.forecast, made.run.programme.horizon_s
    late = forecast.ready_s[LEVELS[-1]]
    inputs: dict[str, str | float | int | None] = {
        "diffusivity_multiplier": forecast.diffusivity.median,
        "resistance_multiplier": forecast.resistance.median,
        "now_s": now_s,
        "until_s": max(now_s, min(late or horizon, horizon)),
        "target_mass_kg": target,
    }
    version = model_version(context.library.version)
    key = key_of(action="section", given=[made.run.key, inputs], heads={}, version=version)
    kept = context.cache.cached(key, lambda: _computed(context, made, inputs))
    trace = tracer.trace(sections, {**inputs, "weigh_ins": len(forecast.weigh_ins)}, made.rows)
    reached = None if kept[1] is None else _shown(kept[1], made)
    notes = [] if reached else [Note("section_target_beyond_horizon")]
    if any(rest.body.sealed for rest in state.rests):
        notes.append(Note("section_without_rest"))
    return SectionShown(
        code=state.code,
        shape=made.piece.shape,
        one_sided=made.piece.drying_faces == 1,
        weigh_ins=len(state.weigh_ins),
        last_weigh_in=_last(state),
        now=_shown(kept[0], made),
        target=reached,
        target_kg=state.target_now_kg or target,
        trace=trace,
        notes=tuple(notes),
        traces=tracer.traces,
    )


def _last(state: PieceState) -> datetime | None:
    return state.weigh_ins[-1].at if state.weigh_ins else None


def _computed(context: Context, made: Cast, inputs: dict[str, Any]) -> list[Any]:
    law, body, meat = made.rows
    found = sections(
        piece=made.piece,
        programme=made.run.programme,
        speed_m_per_s=made.run.speed_m_per_s,
        parameters=DryingParameters.from_rows(law=law, body=body),
        protein=ProteinIsotherm.from_row(meat),
        **inputs,
    )
    return [None if one is None else _plain(one) for one in found]


def _plain(one: Section) -> dict[str, Any]:
    return {
        "time_s": one.time_s,
        "mass_kg": one.mass_kg,
        "places": [
            [float(d), float(w), float(b)]
            for d, w, b in zip(one.depth_m, one.water_frac, one.brine_frac, strict=True)
        ],
    }


def _shown(kept: dict[str, Any], made: Cast) -> CutAcross:
    edge = kept["places"][-1][0]
    return CutAcross(
        at=made.at(kept["time_s"]),
        mass_kg=kept["mass_kg"] * made.kept_frac,
        loss_frac=1.0 - kept["mass_kg"] / made.piece.mass_kg,
        thickness_m=edge if made.piece.drying_faces == 1 and made.piece.shape == "slab" else 2.0 * edge,
        places=tuple(Place(depth_m=d, water_frac=w, brine_frac=b) for d, w, b in kept["places"]),
    )
