"""What a change to a chamber would do to a piece that hangs there: its courses, run again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from saltfare.models.drying import Air, DryingParameters, Hanging, Members, hang
from saltfare.models.sorption import ProteinIsotherm
from saltfare.plans.forecast_air import AirProgramme

Floats = NDArray[np.float64]
DAY_S = 86400.0
# a moved humidity stops where the isotherm does, short of dry and of saturated air
_DRIEST, _WETTEST = 0.10, 0.995


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One change, from a moment on; None leaves a thing as it is.

    rh_frac, temp_c, speed_m_per_s: what the air becomes; rh_shift_frac: added to its humidity.
    casing_s_per_m: what the piece is wrapped in. lasts_s: how long, None for good.
    """

    name: str
    rh_frac: float | None = None
    rh_shift_frac: float = 0.0
    temp_c: float | None = None
    speed_m_per_s: float | None = None
    casing_s_per_m: float | None = None
    lasts_s: float | None = None


@dataclass(frozen=True, slots=True)
class Kind:
    """A piece by its two multipliers."""

    diffusivity: float
    resistance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """What a change does; times from hanging.

    ready_s: when the likeliest piece is at its mass, None beyond the horizon. crust_m: the deepest crust
    of a piece that closes easily, from when the change has settled until that one is at its mass.
    crust_from_m: its crust when the change begins.
    """

    name: str
    ready_s: float | None
    crust_m: float
    crust_from_m: float


def effects(
    *,
    piece: Hanging,
    programme: AirProgramme,
    speed_m_per_s: float,
    parameters: DryingParameters,
    protein: ProteinIsotherm,
    likeliest: Kind,
    closes_easily: Kind,
    target_mass_kg: float,
    from_s: float,
    settles_s: float,
    changes: Sequence[Change],
) -> tuple[Effect, ...]:
    """The course as it is, then with each change; one run for all.

    Parameters
    ----------
    piece, parameters, protein
        As the forecast has them.
    programme : AirProgramme
        The air read so far and assumed from there.
    speed_m_per_s : float
        Of the air past the piece [m/s].
    likeliest, closes_easily : Kind
        The piece whose date is told, and the one whose crust is.
    target_mass_kg : float
        The mass it comes down at [kg].
    from_s : float
        When the changes begin [s from hanging].
    settles_s : float
        How long after that, or after a change that passes, its crust is judged from [s].
    changes : sequence of Change

    Raises
    ------
    OutOfRange, NotConverged
        From the model.

    Source
    ------
    saltfare_chosen, two courses of the posterior; the air a piece itself moistens is left out
    """
    horizon = programme.horizon_s
    tried = (Change(name=""), *changes)
    ends = {horizon, from_s, *programme.end_time_s.tolist()}
    ends |= {from_s + c.lasts_s for c in tried if c.lasts_s is not None}
    end_s = np.array(sorted(t for t in ends if 0 < t <= horizon))
    of = np.searchsorted(programme.end_time_s, end_s)
    begins = np.append(0.0, end_s[:-1])
    shape = (end_s.size, len(tried))
    temp = np.repeat(programme.temp_c[of][:, None], shape[1], axis=1)
    rh = np.repeat(programme.rh_frac[of][:, None], shape[1], axis=1)
    speed = np.full(shape, speed_m_per_s)
    casing = np.full(shape, piece.casing_resistance_s_per_m)
    for i, change in enumerate(tried):
        until = horizon if change.lasts_s is None else from_s + change.lasts_s
        on = (begins >= from_s) & (end_s <= until)
        if change.rh_frac is not None:
            rh[on, i] = change.rh_frac
        moved = rh[on, i] + change.rh_shift_frac
        rh[on, i] = np.where(moved < _DRIEST, _DRIEST, np.where(moved > _WETTEST, _WETTEST, moved))
        if change.temp_c is not None:
            temp[on, i] = change.temp_c
        if change.speed_m_per_s is not None:
            speed[on, i] = change.speed_m_per_s
        if change.casing_s_per_m is not None:
            casing[on, i] = change.casing_s_per_m
    time = np.unique(np.append(np.arange(0.0, horizon, DAY_S / 2), [from_s, horizon]))
    count = len(tried)
    kinds = (likeliest, closes_easily)
    course = hang(
        piece=piece,
        air=Air(end_s, *(np.tile(told, 2) for told in (temp, rh, speed, casing))),
        members=Members(
            np.repeat([kind.diffusivity for kind in kinds], count),
            np.repeat([kind.resistance for kind in kinds], count),
        ),
        parameters=parameters,
        protein=protein,
        out_time_s=time,
    )
    now = int(np.searchsorted(time, from_s))
    out = []
    for i, change in enumerate(tried):
        hard = count + i
        judged = from_s + (change.lasts_s or settles_s)
        down = _reached(time, course.mass_kg[:, hard], target_mass_kg)
        within = (time >= judged) & (time <= (horizon if down is None else max(down, judged)))
        crust = course.crust_m[:, hard]
        out.append(
            Effect(
                name=change.name,
                ready_s=_reached(time, course.mass_kg[:, i], target_mass_kg),
                crust_m=float(crust[within].max()) if within.any() else float(crust[-1]),
                crust_from_m=float(crust[now]),
            )
        )
    return tuple(out)


def _reached(time_s: Floats, mass_kg: Floats, target_kg: float) -> float | None:
    below = np.flatnonzero(mass_kg <= target_kg)
    if not below.size:
        return None
    i = int(below[0])
    if i == 0:
        return float(time_s[0])
    share = (mass_kg[i - 1] - target_kg) / (mass_kg[i - 1] - mass_kg[i])
    return float(time_s[i - 1] + share * (time_s[i] - time_s[i - 1]))
