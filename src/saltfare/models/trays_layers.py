"""Thin layers: the equations papers fit to drying curves, their fit, and diffusion in a slab.

`mr` is the share of the water still to go, (X - X_end) / (X_0 - X_end). Papers print rates per minute;
here they are per second: a rate of t^n goes by 60^n.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Self

import numpy as np
from scipy.optimize import least_squares

from saltfare.core.errors import NotConverged, NotFound, Problem, Refused
from saltfare.core.numerics import Array, Floats, check_range
from saltfare.core.tables import Row

GAS_J_PER_MOL_K = 8.314462618  # CODATA 2018
ZERO_C_K = 273.15
_TERMS = 60


def mr_newton(*, time_s: Floats, rate: float) -> Array:
    """exp(-k t).

    Parameters
    ----------
    time_s : [s]
    rate : k [1/s]

    Returns
    -------
    share of the water still to go

    Source
    ------
    sour_cherry_2023, table 1, equation of Newton
    """
    return np.exp(-rate * np.asarray(time_s, np.float64))


def mr_page(*, time_s: Floats, rate: float, power: float) -> Array:
    """exp(-k t^n).

    Parameters
    ----------
    time_s : [s]
    rate, power : k [1/s^n], n

    Returns
    -------
    share of the water still to go

    Source
    ------
    sour_cherry_2023, table 1, equation of Page
    """
    return np.exp(-rate * np.asarray(time_s, np.float64) ** power)


def mr_henderson(*, time_s: Floats, start: float, rate: float) -> Array:
    """a exp(-k t).

    Parameters
    ----------
    time_s : [s]
    start, rate : a, k [1/s]

    Returns
    -------
    share of the water still to go

    Source
    ------
    sour_cherry_2023, table 1, equation of Henderson and Pabis
    """
    return start * np.exp(-rate * np.asarray(time_s, np.float64))


def mr_logarithmic(*, time_s: Floats, start: float, rate: float, offset: float) -> Array:
    """a exp(-k t) + c.

    Parameters
    ----------
    time_s : [s]
    start, rate, offset : a, k [1/s], c

    Returns
    -------
    share of the water still to go

    Source
    ------
    sour_cherry_2023, table 1, logarithmic equation
    """
    return start * np.exp(-rate * np.asarray(time_s, np.float64)) + offset


def mr_midilli(*, time_s: Floats, start: float, rate: float, power: float, slope: float) -> Array:
    """a exp(-k t^n) + b t.

    Parameters
    ----------
    time_s : [s]
    start, rate, power, slope : a, k [1/s^n], n, b [1/s]

    Returns
    -------
    share of the water still to go

    Source
    ------
    sour_cherry_2023, table 1, equation of Midilli
    """
    t = np.asarray(time_s, np.float64)
    return start * np.exp(-rate * t**power) + slope * t


def mr_wang_singh(*, time_s: Floats, slope: float, bend: float) -> Array:
    """1 + a t + b t^2.

    Parameters
    ----------
    time_s : [s]
    slope, bend : a [1/s], b [1/s^2]

    Returns
    -------
    share of the water still to go

    Source
    ------
    sour_cherry_2023, table 1, equation of Wang and Singh
    """
    t = np.asarray(time_s, np.float64)
    return 1.0 + t * (slope + t * bend)


# Equation, its constants in order, and which of them are above zero.
_EQUATIONS: Mapping[str, tuple[Callable[..., Array], tuple[str, ...], frozenset[str]]] = {
    "newton": (mr_newton, ("rate",), frozenset({"rate"})),
    "page": (mr_page, ("rate", "power"), frozenset({"rate", "power"})),
    "henderson": (mr_henderson, ("start", "rate"), frozenset({"start", "rate"})),
    "logarithmic": (mr_logarithmic, ("start", "rate", "offset"), frozenset({"start", "rate"})),
    "midilli": (mr_midilli, ("start", "rate", "power", "slope"), frozenset({"start", "rate", "power"})),
    "wang_singh": (mr_wang_singh, ("slope", "bend"), frozenset()),
}
EQUATIONS = tuple(_EQUATIONS)


@dataclass(frozen=True, slots=True)
class Fit:
    """A fitted equation: its constants by name, per second, and the sum of squared errors."""

    equation: str
    constants: Mapping[str, float]
    sse: float


def fit_thin_layer(*, equation: str, time_s: Sequence[float], mr: Sequence[float]) -> Fit:
    """Least squares of one equation on a drying curve.

    Time is scaled by the last one while fitting, and what must be above zero is fitted in its logarithm,
    so that the start is the same for minutes and for days.

    Parameters
    ----------
    equation : one of `EQUATIONS`
    time_s : rising, from 0 on, one more than the equation has constants at least [s]
    mr : share of the water still to go at each

    Returns
    -------
    the fit

    Raises
    ------
    NotFound, Refused: curve_too_short, curve_not_in_order, NotConverged

    Source
    ------
    saltfare_derived, least squares
    """
    if equation not in _EQUATIONS:
        raise NotFound("thin-layer equation", equation)
    model, names, positive = _EQUATIONS[equation]
    t, seen = np.asarray(time_s, np.float64), np.asarray(mr, np.float64)
    if t.size != seen.size or t.size <= len(names):
        raise Refused(Problem("curve_too_short", "weights", f"{t.size}", f"{len(names) + 1}"))
    if not (np.diff(t) > 0.0).all() or t[0] < 0.0 or not np.isfinite(seen).all():
        raise Refused(Problem("curve_not_in_order", "weights"))
    span = float(t[-1])
    guess = {"rate": 2.0, "power": 0.9, "start": 1.0, "offset": 0.05, "slope": -1.0, "bend": 0.3}
    if equation == "midilli":
        guess["slope"] = -0.05
    start = [math.log(guess[n]) if n in positive else guess[n] for n in names]

    def constants(x: Array) -> dict[str, float]:
        return {n: math.exp(v) if n in positive else float(v) for n, v in zip(names, x, strict=True)}

    def error(x: Array) -> Array:
        return np.asarray(model(time_s=t / span, **constants(x)) - seen)

    found = least_squares(error, start, xtol=1e-13, ftol=1e-13, gtol=1e-13)
    if not found.success:
        raise NotConverged(f"fit of {equation}", 0, float(found.cost))
    scaled = constants(found.x)
    power = scaled.get("power", 1.0)
    by_name = {"rate": span**-power, "slope": 1.0 / span, "bend": span**-2}
    return Fit(equation, {n: v * by_name.get(n, 1.0) for n, v in scaled.items()}, float(2.0 * found.cost))


def mr_slab(*, time_s: Floats, diffusivity_m2_per_s: Floats, half_thickness_m: Floats) -> Array:
    """Diffusion out of a slab whose faces are dry from the start, both faces open.

    For a layer on a solid tray the half thickness is the whole of its depth.

    Parameters
    ----------
    time_s : 0 or more [s]
    diffusivity_m2_per_s : above 0 [m2/s]
    half_thickness_m : above 0 [m]

    Returns
    -------
    share of the water still to go

    Raises
    ------
    OutOfRange

    Source
    ------
    crank_1975, slab with a constant surface
    """
    model = "mr_slab"
    t = check_range(time_s, low=0.0, high=np.inf, model=model, quantity="time_s")
    d = check_range(diffusivity_m2_per_s, low=1e-16, high=1e-3, model=model, quantity="diffusivity_m2_per_s")
    half = check_range(half_thickness_m, low=1e-6, high=10.0, model=model, quantity="half_thickness_m")
    fourier = t * d / half**2
    odd = 2.0 * np.arange(_TERMS) + 1.0
    rate = 0.25 * (odd * np.pi) ** 2
    series = (8.0 / np.pi**2) * (np.exp(-np.multiply.outer(fourier, rate)) / odd**2).sum(axis=-1)
    # below this the series is slow and the half-space is exact to 1e-12
    early = 1.0 - 2.0 * np.sqrt(fourier / np.pi)
    return np.where(fourier < 0.005, early, series)[()]


def slab_time(*, mr_frac: float, diffusivity_m2_per_s: float, half_thickness_m: float) -> float:
    """Time of `mr_slab` by its first term, as handbooks work it; below a share of 0.6 within 1 %.

    Parameters
    ----------
    mr_frac : share of the water still to go, above 0 and below 0.6
    diffusivity_m2_per_s : [m2/s]
    half_thickness_m : [m]

    Returns
    -------
    time [s]

    Raises
    ------
    OutOfRange

    Source
    ------
    geankoplis_1993, example 9.9-1
    """
    share = float(check_range(mr_frac, low=1e-12, high=0.6, model="slab_time", quantity="mr_frac"))
    return 4.0 * half_thickness_m**2 / (math.pi**2 * diffusivity_m2_per_s) * math.log(8 / math.pi**2 / share)


@dataclass(frozen=True, slots=True)
class Diffusivity:
    """Of water in a food in the thin-layer sense, at a temperature, and how it goes with temperature.

    ref: "diffusion_trays:id".
    """

    at_ref_m2_per_s: float
    ref_temp_c: float
    activation_j_per_mol: float
    ref: str

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of the table: the geometric mean of its range, at the middle of its temperatures as the
        Arrhenius law counts them, by their inverse."""
        printed = row.number_or_none("ea_printed")
        low_k, high_k = row.number("temp_low_c") + ZERO_C_K, row.number("temp_high_c") + ZERO_C_K
        return cls(
            math.sqrt(row.number("d_low") * row.number("d_high")),
            2.0 / (1.0 / low_k + 1.0 / high_k) - ZERO_C_K,
            printed if printed is not None else row.number("ea_taken"),
            row.ref,
        )


def diffusivity_arrhenius(*, diffusivity: Diffusivity, temp_c: Floats) -> Array:
    """Diffusivity at the temperature of the air.

    Parameters
    ----------
    diffusivity : of a food
    temp_c : of the air, 0 to 110 [°C]

    Returns
    -------
    diffusivity [m2/s]

    Raises
    ------
    OutOfRange

    Source
    ------
    sadaka_2022, Arrhenius equation of diffusivity
    """
    t = check_range(temp_c, low=0.0, high=110.0, model="diffusivity_arrhenius", quantity="temp_c") + ZERO_C_K
    ref_k = diffusivity.ref_temp_c + ZERO_C_K
    gap = 1.0 / t - 1.0 / ref_k
    return (diffusivity.at_ref_m2_per_s * np.exp(-diffusivity.activation_j_per_mol / GAS_J_PER_MOL_K * gap))[
        ()
    ]


def activation_energy(*, low: float, low_temp_c: float, high: float, high_temp_c: float) -> float:
    """Activation energy between two values of a rate or diffusivity.

    Parameters
    ----------
    low, high : values, in one unit
    low_temp_c, high_temp_c : their temperatures [°C]

    Returns
    -------
    activation energy [J/mol]

    Raises
    ------
    OutOfRange

    Source
    ------
    akoy_2014, activation energy of diffusivity
    """
    for value in (low, high):
        check_range(value, low=1e-300, high=1e300, model="activation_energy", quantity="value")
    gap = 1.0 / (low_temp_c + ZERO_C_K) - 1.0 / (high_temp_c + ZERO_C_K)
    check_range(abs(gap), low=1e-9, high=1.0, model="activation_energy", quantity="gap of temperatures")
    return GAS_J_PER_MOL_K * math.log(high / low) / gap
