"""Water and salt across a hanging piece: one likeliest piece, now and when it reaches its mass."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from saltfare.models.drying import Air, DryingParameters, Hanging, Members, hang
from saltfare.models.sorption import ProteinIsotherm
from saltfare.plans.forecast_air import AirProgramme
from saltfare.plans.forecast_ensemble import DAY_S

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Section:
    """A piece cut across at one time, from the middle (or from where nothing flows) to the surface.

    depth_m (m,): from there, rising; the first is 0 and the last the surface. water_frac (m,): of the
    meat. brine_frac (m,): salt in salt and water together. mass_kg: of the piece, nothing cut off.
    """

    time_s: float
    mass_kg: float
    depth_m: Floats
    water_frac: Floats
    brine_frac: Floats


def sections(
    *,
    piece: Hanging,
    programme: AirProgramme,
    speed_m_per_s: float,
    parameters: DryingParameters,
    protein: ProteinIsotherm,
    diffusivity_multiplier: float,
    resistance_multiplier: float,
    now_s: float,
    until_s: float,
    target_mass_kg: float,
) -> tuple[Section, Section | None]:
    """The piece cut across now, and when it comes to its target mass.

    Parameters
    ----------
    piece : at hanging
    programme : air from hanging to the horizon; it reaches `now_s`
    speed_m_per_s : of the air [m/s]
    parameters, protein : of the drying model
    diffusivity_multiplier, resistance_multiplier : as its weigh-ins have them
    now_s : time from hanging [s]
    until_s : how far the target is looked for, within the programme [s from hanging]
    target_mass_kg : nothing cut off [kg]

    Returns
    -------
    the section now, and at the target; None where it is not reached by then

    Raises
    ------
    OutOfRange, NotConverged

    Source
    ------
    saltfare_hanging_model, the shells of one member
    """
    times = np.unique(np.concatenate([np.arange(0.0, until_s, DAY_S), [now_s, until_s]]))
    course = hang(
        piece=piece,
        air=Air(
            programme.end_time_s,
            programme.temp_c,
            programme.rh_frac,
            np.full(programme.end_time_s.size, speed_m_per_s),
        ),
        members=Members(np.array([diffusivity_multiplier]), np.array([resistance_multiplier])),
        parameters=parameters,
        protein=protein,
        out_time_s=times,
        profiles=True,
    )
    across = course.profiles
    if across is None:
        raise AssertionError("profiles were asked for")
    fat, salt = float(across.fat_ratio[0]), float(course.salt_ratio[0])
    mass = course.mass_kg[:, 0]

    def at(before: int, after: int, share: float) -> Section:
        def between(values: Floats) -> Floats:
            return np.asarray(values[before] + share * (values[after] - values[before]))

        edges = between(across.edges_m[:, 0])
        depth = np.concatenate([[0.0], (edges[1:] + edges[:-1]) / 2, edges[-1:]])
        ratio = np.concatenate(
            [
                np.atleast_1d(between(course.water_core[:, 0])),
                between(across.water_ratio[:, 0]),
                np.atleast_1d(between(course.water_surface[:, 0])),
            ]
        )
        return Section(
            float(between(times)),
            float(between(mass)),
            depth,
            ratio / (1.0 + ratio + fat + salt),
            salt / (salt + ratio),
        )

    here = int(np.flatnonzero(times == now_s)[0])
    reached = np.flatnonzero(mass <= target_mass_kg)
    if not reached.size:
        return at(here, here, 0.0), None
    after = max(int(reached[0]), 1)
    part = float((mass[after - 1] - target_mass_kg) / (mass[after - 1] - mass[after]))
    return at(here, here, 0.0), at(after - 1, after, min(max(part, 0.0), 1.0))
