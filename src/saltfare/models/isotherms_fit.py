"""Isotherms from a person's own pairs of water and water activity, by least squares."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy.optimize import least_squares

from saltfare.core.errors import NotConverged, Problem, Refused
from saltfare.core.numerics import Array, Floats, check_range
from saltfare.models.isotherms import Gab, Isotherm, Oswin, Range, Scaled
from saltfare.models.isotherms_gab import water_ratio_gab


@dataclass(frozen=True, slots=True)
class GabFit:
    """Constants of GAB fitted at one temperature; rms in kg/kg; errors are one standard deviation.

    errors: of monolayer, Guggenheim constant and k, None where the points leave none over.
    """

    monolayer: float
    guggenheim: float
    k: float
    rms: float
    errors: tuple[float, float, float] | None


@dataclass(frozen=True, slots=True)
class OswinFit:
    """Constants of Oswin with its temperature terms; rms in kg/kg."""

    level: float
    level_per_c: float
    power: float
    power_per_c: float
    rms: float


def _pairs(aw: Floats, water_ratio: Floats, least: int) -> tuple[Array, Array]:
    a = check_range(aw, low=1e-6, high=1.0 - 1e-6, model="isotherm fit", quantity="aw").ravel()
    x = check_range(water_ratio, low=1e-9, high=np.inf, model="isotherm fit", quantity="water_ratio").ravel()
    if a.size != x.size:
        raise Refused(Problem("pairs_uneven", "pairs", f"{a.size} and {x.size}"))
    if np.unique(a).size < least:
        raise Refused(Problem("pairs_too_few", "pairs", str(np.unique(a).size), params={"least": least}))
    return a, x


def fit_gab(*, aw: Floats, water_ratio: Floats) -> GabFit:
    """GAB through pairs measured at one temperature.

    Parameters
    ----------
    aw : four activities or more, between 0 and 1 [-]
    water_ratio : kg of water per kg of dry solids at each [kg/kg]

    Returns
    -------
    constants, misfit and errors

    Raises
    ------
    Refused: pairs_too_few, pairs_uneven; OutOfRange; NotConverged

    Source
    ------
    andrieu_1985, GAB equation; unweighted least squares in the water ratio reproduces its constants
    """
    a, x = _pairs(aw, water_ratio, 4)
    top = float(a.max())

    # in logarithms of monolayer and C, and k as a share of what the wettest pair allows
    def constants(p: Array) -> tuple[float, float, float]:
        return float(np.exp(p[0])), float(np.exp(p[1])), float(0.999 / top / (1.0 + np.exp(-p[2])))

    def misfit(p: Array) -> Array:
        monolayer, guggenheim, k = constants(p)
        return water_ratio_gab(aw=a, monolayer=monolayer, guggenheim=guggenheim, k=k) - x

    best = None
    for c0, share in product((3.0, 15.0, 60.0), (0.5, 0.8)):
        start = np.array(
            [np.log(np.interp(0.3, np.sort(a), np.sort(x))), np.log(c0), np.log(share / (1 - share))]
        )
        found = least_squares(
            misfit,
            start,
            bounds=([-14.0, np.log(1e-3), -6.0], [2.0, np.log(1e4), 12.0]),
            xtol=1e-12,
            ftol=1e-13,
        )
        if found.success and (best is None or found.cost < best.cost):
            best = found
    if best is None:
        raise NotConverged("fit of GAB", 0, float("nan"))
    monolayer, guggenheim, k = constants(best.x)
    rms = float(np.sqrt(2.0 * best.cost / a.size))
    errors = None
    if a.size > 3:
        scale = 0.999 / top
        turn = np.diag([monolayer, guggenheim, k * (1.0 - k / scale)])
        slope = np.asarray(best.jac)
        normal = slope.T @ slope
        if np.linalg.cond(normal) < 1e14:
            spread = turn @ np.linalg.inv(normal) @ turn * 2.0 * best.cost / (a.size - 3)
            errors = tuple(float(v) for v in np.sqrt(np.diag(spread)))
    return GabFit(
        monolayer, guggenheim, k, rms, errors if errors is None else (errors[0], errors[1], errors[2])
    )


def fit_bet(*, aw: Floats, water_ratio: Floats) -> GabFit:
    """BET through pairs at or below 0.5: GAB with k held at 1.

    Parameters
    ----------
    aw : activities; three or more at or below 0.5 are used, the rest is left out [-]
    water_ratio : at each [kg/kg]

    Returns
    -------
    constants and misfit, k = 1

    Raises
    ------
    Refused: pairs_too_few, pairs_uneven; OutOfRange

    Source
    ------
    vitae_2011_review, BET holds from 0.05 to about 0.45
    """
    a_all, x_all = _pairs(aw, water_ratio, 3)
    a, x = _pairs(a_all[a_all <= 0.5], x_all[a_all <= 0.5], 3)

    def misfit(p: Array) -> Array:
        monolayer, guggenheim = np.exp(p)
        return water_ratio_gab(aw=a, monolayer=float(monolayer), guggenheim=float(guggenheim), k=1.0) - x

    found = least_squares(
        misfit,
        np.array([np.log(x.mean()), np.log(15.0)]),
        bounds=([-14.0, np.log(1e-3)], [2.0, np.log(1e4)]),
        xtol=1e-12,
        ftol=1e-13,
    )
    rms = float(np.sqrt(2.0 * found.cost / a.size))
    return GabFit(float(np.exp(found.x[0])), float(np.exp(found.x[1])), 1.0, rms, None)


def fit_oswin(*, aw: Floats, water_ratio: Floats, temp_c: Floats) -> OswinFit:
    """Oswin through pairs at one or several temperatures.

    Parameters
    ----------
    aw : activities [-]
    water_ratio : at each [kg/kg]
    temp_c : of each; with one temperature the terms in temperature are zero [°C]

    Returns
    -------
    constants and misfit

    Raises
    ------
    Refused: pairs_too_few, pairs_uneven; OutOfRange

    Source
    ------
    andrieu_1985, its points fitted by Oswin here: the printed constants do not fit them
    """
    a, x = _pairs(aw, water_ratio, 3)
    t = np.broadcast_to(np.asarray(temp_c, dtype=np.float64).ravel(), a.shape)
    several = np.unique(t).size > 1
    odds = a / (1.0 - a)

    def misfit(p: Array) -> Array:
        level, per_c, power, power_per_c = (*p, 0.0, 0.0)[:4] if several else (p[0], 0.0, p[1], 0.0)
        return np.asarray((level + per_c * t) * odds ** (power + power_per_c * t) - x)

    start = [float(x.mean()), 0.0, 0.4, 0.0] if several else [float(x.mean()), 0.4]
    scale = [0.1, 1e-3, 0.1, 1e-3] if several else [0.1, 0.1]
    found = least_squares(misfit, np.array(start), x_scale=np.array(scale), xtol=1e-14, ftol=1e-14)
    if not found.success:
        raise NotConverged("fit of Oswin", 0, float(found.cost))
    p = found.x if several else np.array([found.x[0], 0.0, found.x[1], 0.0])
    level, per_c, power, power_per_c = (float(v) for v in p)
    return OswinFit(level, per_c, power, power_per_c, float(np.sqrt(2.0 * found.cost / a.size)))


@dataclass(frozen=True, slots=True)
class OwnIsotherm:
    """The isotherm that a person's pairs support, how it was made, and its misfit in kg/kg."""

    isotherm: Isotherm
    form: str
    rms: float


def isotherm_from_pairs(
    *, aw: Floats, water_ratio: Floats, temp_c: float, span_c: float, like: Isotherm
) -> OwnIsotherm:
    """The isotherm of a person's own food from as many pairs as there are.

    Five pairs or more give GAB, three or four Oswin, one or two move the class's isotherm by a factor.
    The range is what was measured: those activities, and some kelvin either way.

    Parameters
    ----------
    aw : measured activities [-]
    water_ratio : kg of water per kg of fat-free dry solids at each [kg/kg]
    temp_c : of the measurements [°C]
    span_c : taken either way as within range [K]
    like : isotherm of the food's class

    Returns
    -------
    isotherm, form and misfit

    Raises
    ------
    Refused: pairs_too_few, pairs_uneven; OutOfRange; NotConverged

    Source
    ------
    saltfare_chosen, no more constants than the pairs carry
    """
    a, x = _pairs(aw, water_ratio, 1)
    within = Range(float(a.min()), float(a.max()), temp_c - span_c, temp_c + span_c)
    count = np.unique(a).size
    if count >= 5:
        gab = fit_gab(aw=a, water_ratio=x)
        return OwnIsotherm(Gab(gab.monolayer, 0.0, gab.guggenheim, 0.0, gab.k, 0.0, within), "gab", gab.rms)
    if count >= 3:
        oswin = fit_oswin(aw=a, water_ratio=x, temp_c=temp_c)
        return OwnIsotherm(Oswin(oswin.level, 0.0, oswin.power, 0.0, within), "oswin", oswin.rms)
    base = like.water(aw=a, temp_c=temp_c)[0]
    factor = float((base * x).sum() / (base * base).sum())
    rms = float(np.sqrt(np.mean((factor * base - x) ** 2)))
    return OwnIsotherm(Scaled(like, factor, within), "scaled", rms)
