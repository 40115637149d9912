"""How the middle of a piece warms and cools: conduction in a slab, cylinder or sphere.

Two models stand side by side: the series solution for constant properties and constant
surroundings, and a finite volume solution for properties that follow temperature and surroundings
that vary. Both leave out evaporation: an unwrapped surface in dry air stays near the wet bulb
temperature, so the surroundings given for an oven or smoker should reach down to it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product
from typing import Literal

import numpy as np
from scipy.optimize import brentq
from scipy.special import j0, j1, jn_zeros

from saltfare.core.errors import OutOfRange
from saltfare.core.numerics import Array, check_range, solve_tridiagonals
from saltfare.models.thermal import (
    Composition,
    conductivity_choi_okos,
    density_choi_okos,
    heat_capacity_choi_okos,
)

Shape = Literal["slab", "cylinder", "sphere"]
_POWER: dict[Shape, int] = {"slab": 0, "cylinder": 1, "sphere": 2}


@dataclass(frozen=True, slots=True)
class Spread:
    """A quantity known between two ends; low <= middle <= high."""

    low: float
    middle: float
    high: float

    def __post_init__(self) -> None:
        """Refuse ends in the wrong order."""
        if not self.low <= self.middle <= self.high:
            raise OutOfRange("spread", "middle", self.middle, self.low, self.high)


@dataclass(frozen=True, slots=True)
class Course:
    """Temperatures over time: time_s (times), core_temp_c and surface_temp_c (members, times)."""

    time_s: Array
    core_temp_c: Array
    surface_temp_c: Array


@dataclass(frozen=True, slots=True)
class Reach:
    """When the middle reaches a temperature.

    low_s, middle_s, high_s: earliest, at the middle of every spread, latest; infinite where it is not
    reached within the time computed. alone_s: width left if only that input were uncertain.
    """

    low_s: float
    middle_s: float
    high_s: float
    alone_s: Mapping[str, float]


def eigenvalue_series(*, shape: Shape, biot: float, index: int) -> float:
    """Root of the boundary condition of a convectively heated body.

    Parameters
    ----------
    shape : slab (half thickness), cylinder or sphere (radius)
    biot : surface coefficient x half thickness or radius / conductivity, 1e-6 to 1e6 [-]
    index : which root, from 0

    Returns
    -------
    root [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    incropera_table_5_1, boundary conditions of the series solutions
    """
    check_range(biot, low=1e-6, high=1e6, model="eigenvalue_series", quantity="biot")
    tiny = 1e-12
    if shape == "slab":
        low, high = index * np.pi, (index + 0.5) * np.pi

        def residual(z: float) -> float:
            return float(z * np.sin(z) - biot * np.cos(z))
    elif shape == "sphere":
        low, high = index * np.pi, (index + 1) * np.pi

        def residual(z: float) -> float:
            return float((1.0 - biot) * np.sin(z) - z * np.cos(z))
    else:
        low = 0.0 if index == 0 else float(jn_zeros(1, index)[-1])
        high = float(jn_zeros(0, index + 1)[-1])

        def residual(z: float) -> float:
            return float(z * j1(z) - biot * j0(z))

    return float(brentq(residual, low + tiny, high - tiny, xtol=1e-13))


def amplitude_series(*, shape: Shape, biot: float, index: int) -> float:
    """Weight of one term of the series solution at the middle.

    Parameters
    ----------
    shape : slab, cylinder or sphere
    biot : 1e-6 to 1e6 [-]
    index : which term, from 0

    Returns
    -------
    weight [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    incropera_table_5_1, coefficients of the series solutions
    """
    z = eigenvalue_series(shape=shape, biot=biot, index=index)
    if shape == "slab":
        return float(4.0 * np.sin(z) / (2.0 * z + np.sin(2.0 * z)))
    if shape == "sphere":
        return float(4.0 * (np.sin(z) - z * np.cos(z)) / (2.0 * z - np.sin(2.0 * z)))
    return float(2.0 / z * j1(z) / (j0(z) ** 2 + j1(z) ** 2))


def core_excess_series(*, shape: Shape, biot: float, fourier: float, terms: int) -> float:
    """Temperature excess of the middle over its surroundings, as a share of the first excess.

    Parameters
    ----------
    shape : slab, cylinder or sphere
    biot : 1e-6 to 1e6 [-]
    fourier : diffusivity x time / (half thickness or radius)^2, 0.005 upwards [-]
    terms : terms summed; 20 settle the fifth decimal at 0.01

    Returns
    -------
    share [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    incropera_table_5_1, series solutions at the middle
    """
    check_range(fourier, low=0.005, high=1e6, model="core_excess_series", quantity="fourier")
    total = 0.0
    for index in range(terms):
        z = eigenvalue_series(shape=shape, biot=biot, index=index)
        total += amplitude_series(shape=shape, biot=biot, index=index) * np.exp(-z * z * fourier)
    return float(total)


def course_conduction(
    *,
    shape: Shape,
    half_m: Array,
    composition: Composition,
    start_temp_c: Array,
    surround_time_s: Array,
    surround_temp_c: Array,
    surface_w_per_m2_k: Array,
    end_s: float,
    steps: int,
    cells: int,
) -> Course:
    """Middle and surface temperature of bodies in surroundings that vary, an ensemble at once.

    Finite volumes in space; a trapezoidal half step and a second-order backward half step in time,
    which damps the jump at the surface; properties follow the temperature of the step before.

    Parameters
    ----------
    shape : slab (half thickness), cylinder or sphere (radius)
    half_m : half thickness or radius, (members) [m]
    composition : mass fractions
    start_temp_c : even temperature at the start, (members), 0 to 150 [°C]
    surround_time_s : times of the surroundings, rising, (points) [s]
    surround_temp_c : their temperature, straight between points, (members, points), 0 to 150 [°C]
    surface_w_per_m2_k : surface coefficient, (members) [W/(m2 K)]
    end_s : time computed; within the surroundings given [s]
    steps : time steps
    cells : finite volumes from middle to surface

    Returns
    -------
    Course of steps + 1 times

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_derived, heat balance of shells with surface convection
    """
    model = "course_conduction"
    check_range(half_m, low=5e-4, high=0.5, model=model, quantity="half_m")
    check_range(surface_w_per_m2_k, low=0.5, high=20000.0, model=model, quantity="surface_w_per_m2_k")
    check_range(surround_temp_c, low=0.0, high=150.0, model=model, quantity="surround_temp_c")
    check_range(start_temp_c, low=0.0, high=150.0, model=model, quantity="start_temp_c")
    check_range(end_s, low=1e-9, high=float(surround_time_s[-1]), model=model, quantity="end_s")
    if float(surround_time_s[0]) > 0.0 or bool((np.diff(surround_time_s) <= 0).any()):
        raise OutOfRange(model, "surround_time_s", float(surround_time_s[0]), 0.0, 0.0)
    members = len(half_m)
    power = _POWER[shape]
    edges = np.linspace(0.0, 1.0, cells + 1)
    volume = (edges[1:] ** (power + 1) - edges[:-1] ** (power + 1)) / (power + 1)
    area = edges[1:] ** power
    dr = half_m[:, None] / cells
    temp = np.repeat(np.asarray(start_temp_c, dtype=float)[:, None], cells, axis=1)
    dt = end_s / steps
    gamma = 2.0 - np.sqrt(2.0)
    times = np.linspace(0.0, end_s, steps + 1)
    core, surface = np.empty((members, steps + 1)), np.empty((members, steps + 1))

    def outside(time_s: float) -> Array:
        return np.array([np.interp(time_s, surround_time_s, row) for row in surround_temp_c])

    def system(at: Array) -> tuple[Array, Array, Array]:
        """Conductances between cells, from surface to air, and heat held, per unit of geometry."""
        k = conductivity_choi_okos(composition=composition, temp_c=at)
        held = density_choi_okos(composition=composition, temp_c=at) * heat_capacity_choi_okos(
            composition=composition, temp_c=at
        )
        between = 0.5 * (k[:, 1:] + k[:, :-1]) * area[:-1] / dr
        last = area[-1] / (1.0 / surface_w_per_m2_k + 0.5 * dr[:, 0] / k[:, -1])
        return between, last, held * volume * half_m[:, None]

    def flow(at: Array, between: Array, last: Array, air: Array) -> Array:
        step = between * np.diff(at, axis=1)
        out = np.zeros_like(at)
        out[:, :-1] += step
        out[:, 1:] -= step
        out[:, -1] += last * (air - at[:, -1])
        return out

    def implicit(right: Array, weight: float, between: Array, last: Array, held: Array, air: Array) -> Array:
        """Solve held T - weight * flow(T) = right."""
        lower, upper = np.zeros_like(right), np.zeros_like(right)
        lower[:, 1:] = upper[:, :-1] = -weight * between
        diagonal = held - lower - upper
        diagonal[:, -1] += weight * last
        known = right.copy()
        known[:, -1] += weight * last * air
        return solve_tridiagonals(lower=lower, diagonal=diagonal, upper=upper, right=known)

    for index, time_s in enumerate(times):
        between, last, held = system(temp)
        air = outside(float(time_s))
        middle = (9.0 * temp[:, 0] - temp[:, 1]) / 8.0 if cells > 1 else temp[:, 0]
        core[:, index] = middle
        surface[:, index] = air - last / (area[-1] * surface_w_per_m2_k) * (air - temp[:, -1])
        if index == steps:
            break
        half = outside(float(time_s) + gamma * dt)
        full = outside(float(times[index + 1]))
        weight = 0.5 * gamma * dt
        first = implicit(
            held * temp + weight * flow(temp, between, last, air), weight, between, last, held, half
        )
        a, b = 1.0 / (gamma * (2.0 - gamma)), (1.0 - gamma) ** 2 / (gamma * (2.0 - gamma))
        temp = implicit(
            held * (a * first - b * temp), (1.0 - gamma) / (2.0 - gamma) * dt, between, last, held, full
        )
    return Course(times, core, surface)


def time_reached(*, time_s: Array, temp_c: Array, target_c: float) -> float:
    """First time a course stands at a temperature it rises or falls to; infinite where it never does.

    Parameters
    ----------
    time_s : rising, (times) [s]
    temp_c : (times) [°C]
    target_c : the temperature [°C]

    Returns
    -------
    time [s]

    Source
    ------
    saltfare_derived, straight between computed points
    """
    rising = bool(temp_c[0] <= target_c)
    there = temp_c >= target_c if rising else temp_c <= target_c
    if not there.any():
        return float("inf")
    at = int(np.argmax(there))
    if at == 0:
        return float(time_s[0])
    share = (target_c - temp_c[at - 1]) / (temp_c[at] - temp_c[at - 1])
    return float(time_s[at - 1] + share * (time_s[at] - time_s[at - 1]))


def reach_conduction(
    *,
    shape: Shape,
    half_m: Spread,
    composition: Composition,
    start_temp_c: Spread,
    surround_temp_c: Spread,
    surface_w_per_m2_k: Spread,
    target_c: float,
    end_s: float,
    steps: int,
    cells: int,
) -> Reach:
    """Between which two times the middle reaches a temperature, and which input widens it most.

    Every corner of the spreads is computed; the interval holds all of them.

    Parameters
    ----------
    shape : slab, cylinder or sphere
    half_m : half thickness or radius [m]
    composition : mass fractions
    start_temp_c : even temperature at the start [°C]
    surround_temp_c : temperature of air or water, steady [°C]
    surface_w_per_m2_k : surface coefficient [W/(m2 K)]
    target_c : temperature asked about [°C]
    end_s : time computed [s]
    steps : time steps
    cells : finite volumes

    Returns
    -------
    Reach

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_derived, all corners of the spreads given
    """
    spreads = {
        "half_m": half_m,
        "start_temp_c": start_temp_c,
        "surround_temp_c": surround_temp_c,
        "surface_w_per_m2_k": surface_w_per_m2_k,
    }
    middle = {name: s.middle for name, s in spreads.items()}
    cases = [middle]
    cases += [middle | {name: end} for name, s in spreads.items() for end in (s.low, s.high)]
    cases += [
        dict(zip(spreads, corner, strict=True))
        for corner in product(*((s.low, s.high) for s in spreads.values()))
    ]
    columns = {name: np.array([case[name] for case in cases]) for name in spreads}
    course = course_conduction(
        shape=shape,
        half_m=columns["half_m"],
        composition=composition,
        start_temp_c=columns["start_temp_c"],
        surround_time_s=np.array([0.0, end_s]),
        surround_temp_c=np.repeat(columns["surround_temp_c"][:, None], 2, axis=1),
        surface_w_per_m2_k=columns["surface_w_per_m2_k"],
        end_s=end_s,
        steps=steps,
        cells=cells,
    )
    times = np.array(
        [time_reached(time_s=course.time_s, temp_c=row, target_c=target_c) for row in course.core_temp_c]
    )
    alone = {}
    for index, name in enumerate(spreads):
        low, high = times[1 + 2 * index], times[2 + 2 * index]
        both = np.array([low, high, times[0]])
        alone[name] = float(both.max() - both.min()) if np.isfinite(both).all() else float("inf")
    return Reach(float(times.min()), float(times[0]), float(times.max()), alone)
