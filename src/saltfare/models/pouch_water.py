"""Water through a film into a pouch, over months of the air where it is kept.

The parts of the pouch share one activity; the film is the only resistance. That holds where the film
lets water in slower than the food takes it up, which a dry pack in a film does.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from saltfare.core.errors import NotConverged, OutOfRange, Problem, Refused
from saltfare.core.numerics import Array, check_range
from saltfare.models.air import saturation_pressure_ashrae
from saltfare.models.isotherms import AW_FLOOR, Blend, Doubt, Gab, Isotherm
from saltfare.models.isotherms_gab import gab
from saltfare.models.mixing import Part
from saltfare.models.pouch import Film
from saltfare.models.pouch_place import Place

Held = Callable[[Array, float], tuple[Array, Array]]
# A substep moves the activity by no more than this, and by no more than this share of its own way.
_LARGEST_MOVE_AW, _LARGEST_SHARE = 0.001, 0.25
# An activity is found where Newton's rule moves it by less.
_ROOT_AW = 1e-13


def ingress_time_linear(
    *,
    permeance_kg_per_m2_s_pa: float,
    area_m2: float,
    solids_kg: float,
    saturation_pa: float,
    slope: float,
    outside_ratio: float,
    start_ratio: float,
    end_ratio: float,
) -> float:
    """Time for a food with a straight isotherm to take up water through a film, air being steady.

    Parameters
    ----------
    permeance_kg_per_m2_s_pa : of the film to vapour [kg/(m2 s Pa)]
    area_m2 : both faces [m2]
    solids_kg : dry solids inside [kg]
    saturation_pa : at the temperature [Pa]
    slope : dX/daw of the isotherm [kg/kg]
    outside_ratio : on the same line at the humidity outside [kg/kg]
    start_ratio, end_ratio : water of the food [kg/kg]

    Returns
    -------
    time [s]

    Raises
    ------
    OutOfRange : the end does not lie between start and outside

    Source
    ------
    taoukis_1988, ln[(m_e - m_i)/(m_e - m)] = (k/x)(A/W)(p_0/b) t
    """
    low, high = sorted((start_ratio, outside_ratio))
    if not (low <= end_ratio <= high) or end_ratio == outside_ratio:
        raise OutOfRange("ingress_time_linear", "end_ratio", end_ratio, low, high)
    rate = permeance_kg_per_m2_s_pa * area_m2 * saturation_pa / (solids_kg * slope)
    return float(np.log((outside_ratio - start_ratio) / (outside_ratio - end_ratio)) / rate)


@dataclass(frozen=True, slots=True)
class WaterPath:
    """Activity and water inside, at the start and at the end of every step of the place.

    The first axis is the film's low, middle and high permeance. doubts: of the isotherms on the way.
    """

    times_s: Array
    aw: Array  # (3, steps + 1)
    water_kg: Array  # (3, steps + 1)
    doubts: tuple[Doubt, ...]


def water_through_film(
    *, parts: Sequence[Part], film: Film, area_m2: float, place: Place, leak_kg_per_s_pa: float
) -> WaterPath:
    """Water activity inside a pouch over the air where it is kept.

    Parameters
    ----------
    parts : what is in it
    film : the film
    area_m2 : both faces inside the seals [m2]
    place : steps of air outside
    leak_kg_per_s_pa : what a hole adds, 0 where there is none [kg/(s Pa)]

    Returns
    -------
    the path, for low, middle and high permeance

    Raises
    ------
    Refused: mix_empty; OutOfRange : wetter than the isotherms hold; NotConverged

    Source
    ------
    taoukis_1988, water balance of a packed food
    ashrae_2017, saturation pressure
    """
    if not parts:
        raise Refused(Problem("mix_empty", "parts"))
    check_range(area_m2, low=0.0, high=10.0, model="water_through_film", quantity="area_m2")

    held = _held_by(parts)
    conductance = film.vapour_permeance(place.temp_c) * area_m2 + leak_kg_per_s_pa
    drive = conductance * np.asarray(saturation_pressure_ashrae(temp_c=place.temp_c))
    steps = place.ends_s.size
    aw, water = np.empty((3, steps + 1)), np.empty((3, steps + 1))
    water[:, 0] = sum(part.water_kg for part in parts)
    temp_now = float(place.temp_c[0])
    now = aw[:, 0] = _activity(held, water[:, 0], np.full(3, 0.4), _ceiling(parts, temp_now), temp_now)
    for step, (span, temp, rh) in enumerate(zip(place.spans_s, place.temp_c, place.rh_frac, strict=True)):
        temp_c, high = float(temp), _ceiling(parts, float(temp))
        if temp_c != temp_now:
            now, temp_now = _activity(held, water[:, step], now, high, temp_c), temp_c
        now = _step(held, drive[:, step], now, float(rh), float(span), temp_c, high)
        aw[:, step + 1] = now
        water[:, step + 1] = held(now, temp_c)[0]
    doubts = dict.fromkeys(
        doubt for part in parts for doubt in part.isotherm.within.doubts(aw=aw, temp_c=place.temp_c)
    )
    return WaterPath(np.append(0.0, place.ends_s), aw, water, tuple(doubts))


def _held_by(parts: Sequence[Part]) -> Held:
    """Water all parts hold at an activity, and its slope. Those that follow GAB, blends of them too, are
    asked in one array, with their constants worked out once for a temperature."""
    gabs: list[tuple[float, Gab]] = []
    others: list[tuple[float, Isotherm]] = []
    left = [(part.solids_kg, part.isotherm) for part in parts]
    while left:
        solids, one = left.pop()
        if isinstance(one, Blend):
            left += [(solids * share, part) for share, part in one.parts]
        elif isinstance(one, Gab):
            gabs.append((solids, one))
        else:
            others.append((solids, one))

    @lru_cache(maxsize=1)
    def constants(temp_c: float) -> Array:
        return np.array([one.at(temp_c) for _, one in gabs], dtype=np.float64).T[:, :, None]

    weights = np.array([solids for solids, _ in gabs])

    def held(aw: Array, temp_c: float) -> tuple[Array, Array]:
        water, slope = np.zeros(aw.shape), np.zeros(aw.shape)
        if gabs:
            monolayer, guggenheim, k = constants(temp_c)
            ratios, rises = gab(aw=aw, monolayer=monolayer, guggenheim=guggenheim, k=k)
            water, slope = weights @ ratios, weights @ rises
        for solids, one in others:
            ratio, rise = one.water(aw=aw, temp_c=temp_c)
            water, slope = water + solids * ratio, slope + solids * rise
        return water, slope

    return held


def _ceiling(parts: Sequence[Part], temp_c: float) -> float:
    return min(part.isotherm.ceiling(temp_c) for part in parts)


def _activity(held: Held, water: Array, start: Array, high: float, temp_c: float) -> Array:
    """Activity at which so much water is held, member by member: Newton inside a bracket."""
    low, top = np.full(water.shape, AW_FLOOR), np.full(water.shape, high)
    most = held(top, temp_c)[0]
    if (water > most).any():
        at = int(np.argmax(water - most))
        raise OutOfRange("water_through_film", "water_kg", float(water[at]), 0.0, float(most[at]))
    x = np.minimum(np.maximum(start, AW_FLOOR), high)
    for _ in range(80):
        value, slope = held(x, temp_c)
        gap = value - water
        low, top = np.where(gap < 0, x, low), np.where(gap < 0, top, x)
        fresh = x - gap / slope
        # a member that has its root waits for the others: rounding must not send it bisecting
        sound = ((fresh > low) & (fresh < top)) | (np.abs(fresh - x) < _ROOT_AW)
        fresh = np.where(sound, fresh, 0.5 * (low + top))
        moved, x = np.abs(fresh - x), fresh
        if (moved < _ROOT_AW).all():
            return x
    raise NotConverged("activity inside the pouch", int(np.argmax(moved)), float(moved.max()))


def _step(
    held: Held, drive: Array, start: Array, rh: float, span_s: float, temp_c: float, high: float
) -> Array:
    """One step of constant air, by Runge-Kutta in as many substeps as the way needs."""

    def rate(a: Array) -> Array:
        inside = np.minimum(np.maximum(a, AW_FLOOR), high)
        return drive * (rh - a) / held(inside, temp_c)[1]

    a, left = start, span_s
    while left > 0.0:
        speed = rate(a)
        # the longest substep that keeps every member's move small, and short of the outside
        with np.errstate(divide="ignore", invalid="ignore"):
            by_move = _LARGEST_MOVE_AW / np.abs(speed)
            by_share = _LARGEST_SHARE * np.abs((rh - a) / speed)
        slow = np.abs(rh - a) < 1e-9
        allowed = np.where(slow, np.inf, np.maximum(by_move, 0.0))
        h = min(left, float(allowed.min()), float(np.where(slow, np.inf, by_share).min()))
        k2 = rate(a + 0.5 * h * speed)
        k3 = rate(a + 0.5 * h * k2)
        k4 = rate(a + h * k3)
        a = np.where(slow, a, a + h / 6.0 * (speed + 2.0 * k2 + 2.0 * k3 + k4))
        left -= h
        if a.max() > high:
            raise OutOfRange("water_through_film", "aw", float(a.max()), AW_FLOOR, high)
    return a
