"""Bringing a dried dish back: how much water, and how long it soaks.

Water follows from the balance to the dish as cooked. Minutes are told for near-boiling water and for a
size of piece, from practice; temperature acts by the published activation energies, over the course of
the pouch, however it cools.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Self

import numpy as np

from saltfare.core.errors import Problem, Refused
from saltfare.core.numerics import Array, Floats, check_range
from saltfare.core.tables import Row
from saltfare.models.trays_end import Band
from saltfare.models.trays_layers import GAS_J_PER_MOL_K, ZERO_C_K, mr_slab


def water_to_add(
    *, dry_kg: float, dry_water_frac: float, dish_water_frac: float, taste_factor: float
) -> float:
    """Water that makes the dried dish what it was when cooked, more or less to taste.

    Parameters
    ----------
    dry_kg : dried dish [kg]
    dry_water_frac, dish_water_frac : share of water dried, and as cooked
    taste_factor : 1 as cooked, more for a soup

    Returns
    -------
    water [kg]

    Raises
    ------
    Refused: mass_not_positive, target_wetter_than_dish; OutOfRange

    Source
    ------
    saltfare_derived, mass balance of solids
    """
    if not 0.0 < dry_kg < math.inf:
        raise Refused(Problem("mass_not_positive", "pack_mass", f"{dry_kg:.6g} kg"))
    check_range(dish_water_frac, low=0.0, high=0.99, model="water_to_add", quantity="dish_water_frac")
    check_range(dry_water_frac, low=0.0, high=0.99, model="water_to_add", quantity="dry_water_frac")
    check_range(taste_factor, low=0.2, high=5.0, model="water_to_add", quantity="taste_factor")
    if dry_water_frac > dish_water_frac:
        shares: dict[str, str | float | int] = {"target_frac": dry_water_frac, "dish_frac": dish_water_frac}
        raise Refused(Problem("target_wetter_than_dish", "target_water", params=shares))
    return taste_factor * dry_kg * ((1.0 - dry_water_frac) / (1.0 - dish_water_frac) - 1.0)


def rehydration_ratio(*, dry_kg: float, wet_kg: float) -> float:
    """Mass brought back over dry mass.

    Parameters
    ----------
    dry_kg, wet_kg : [kg]

    Returns
    -------
    ratio

    Source
    ------
    saltfare_derived, its definition
    """
    return wet_kg / dry_kg


@dataclass(frozen=True, slots=True)
class FirstPour:
    """Water poured at once and water held back, and the whole as cups of one's own mug."""

    first_kg: float
    held_back_kg: float
    volume_m3: float
    cups: float | None


def first_pour(
    *,
    water_kg: float,
    doubt_frac: float,
    least_held_frac: float,
    density_kg_per_m3: float,
    cup_m3: float | None,
) -> FirstPour:
    """Part of the water now, the rest when it is seen how it takes it up.

    Parameters
    ----------
    water_kg : all of it [kg]
    doubt_frac : relative doubt of the water that is right
    least_held_frac : share held back at least
    density_kg_per_m3 : of the water as it is measured, before it boils [kg/m3]
    cup_m3 : volume of one's own mug, None where not known [m3]

    Returns
    -------
    the pour

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_chosen, held back: the doubt, and a tenth at least
    """
    model = "first_pour"
    check_range(doubt_frac, low=0.0, high=0.9, model=model, quantity="doubt_frac")
    check_range(least_held_frac, low=0.0, high=0.9, model=model, quantity="least_held_frac")
    check_range(water_kg, low=0.0, high=1e3, model=model, quantity="water_kg")
    held = water_kg * max(doubt_frac, least_held_frac)
    volume = water_kg / density_kg_per_m3
    return FirstPour(water_kg - held, held, volume, None if cup_m3 is None else volume / cup_m3)


@dataclass(frozen=True, slots=True)
class Peleg:
    """Peleg's constants at one temperature: k1 [s per kg/kg], k2 [per kg/kg]."""

    k1: float
    k2: float

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of the table `soaking_peleg`."""
        return cls(row.number("k1"), row.number("k2"))


def water_peleg(*, peleg: Peleg, time_s: Floats) -> Array:
    """Water taken up, t / (k1 + k2 t).

    Parameters
    ----------
    peleg : constants
    time_s : 0 or more [s]

    Returns
    -------
    water gained [kg/kg of solids]

    Raises
    ------
    OutOfRange

    Source
    ------
    peleg_1988, equation of sorption
    """
    t = check_range(time_s, low=0.0, high=1e9, model="water_peleg", quantity="time_s")
    return (t / (peleg.k1 + peleg.k2 * t))[()]


def capacity_peleg(*, peleg: Peleg) -> float:
    """Water taken up in the end, 1 / k2.

    Parameters
    ----------
    peleg : constants

    Returns
    -------
    water gained [kg/kg of solids]

    Source
    ------
    peleg_1988, equation of sorption
    """
    return 1.0 / peleg.k2


def time_peleg(*, peleg: Peleg, share_frac: float) -> float:
    """Time to a share of what is taken up in the end, f k1 / ((1 - f) k2).

    Parameters
    ----------
    peleg : constants
    share_frac : of the capacity, 0 to below 1

    Returns
    -------
    time [s]

    Raises
    ------
    OutOfRange

    Source
    ------
    peleg_1988, equation of sorption
    """
    check_range(share_frac, low=0.0, high=0.9999, model="time_peleg", quantity="share_frac")
    return share_frac * peleg.k1 / ((1.0 - share_frac) * peleg.k2)


def soak_speed(*, temp_c: Floats, ref_temp_c: float, activation_j_per_mol: float) -> Array:
    """How fast a dish softens at a temperature, over what it does at another.

    Parameters
    ----------
    temp_c : 0 to 101 [°C]
    ref_temp_c : [°C]
    activation_j_per_mol : [J/mol]

    Returns
    -------
    ratio of rates

    Raises
    ------
    OutOfRange

    Source
    ------
    garcia_pascual_2005, activation energy of rehydration
    cimini_2021, activation energy of soaking
    """
    t = check_range(temp_c, low=0.0, high=101.0, model="soak_speed", quantity="temp_c") + ZERO_C_K
    return np.exp(-activation_j_per_mol / GAS_J_PER_MOL_K * (1.0 / t - 1.0 / (ref_temp_c + ZERO_C_K)))[()]


@dataclass(frozen=True, slots=True)
class Softening:
    """Time a part takes at the reference temperature, from and to [s], for a piece of size_m (None: any)."""

    low_s: float
    high_s: float
    size_m: float | None

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of the table `soaking_foods`."""
        return cls(row.number("min_low"), row.number("min_high"), row.number_or_none("size_mm"))


def softening_time(*, softening: Softening, size_m: float | None) -> Band:
    """Time of a part at the reference temperature, its size reckoned with.

    Water must go in as deep as the piece is thick: time goes with the square.

    Parameters
    ----------
    softening : of the kind of part
    size_m : of the piece, None where it has none or is of the usual size [m]

    Returns
    -------
    time, in the middle the geometric mean [s]

    Raises
    ------
    OutOfRange

    Source
    ------
    common_practice, minutes near the boil
    crank_1975, time with the square of thickness
    """
    scale = 1.0
    if size_m is not None and softening.size_m is not None:
        ratio = size_m / softening.size_m
        scale = float(check_range(ratio, low=0.05, high=10.0, model="softening_time", quantity="size")) ** 2
    low, high = softening.low_s * scale, softening.high_s * scale
    return Band(low, math.sqrt(low * high), high)


def soaked_time(
    *, time_s: Array, temp_c: Array, needed_s: float, ref_temp_c: float, activation_j_per_mol: float
) -> float | None:
    """When a cooling pouch has done as much as a time at the reference temperature would.

    Parameters
    ----------
    time_s : (k,), rising from 0 [s]
    temp_c : of the pouch, (k,) [°C]
    needed_s : at the reference temperature [s]
    ref_temp_c : [°C]
    activation_j_per_mol : [J/mol]

    Returns
    -------
    time, None where the course ends before [s]

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_derived, sum of rates over the course
    """
    speed = soak_speed(temp_c=temp_c, ref_temp_c=ref_temp_c, activation_j_per_mol=activation_j_per_mol)
    done = np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]) * np.diff(time_s))])
    if done[-1] < needed_s:
        return None
    return float(np.interp(needed_s, done, time_s))


def unstirred_dry(*, time_s: float, diffusivity_m2_per_s: float, clump_half_m: float) -> float:
    """Share of a clump nobody broke up that the water has not reached.

    Parameters
    ----------
    time_s : soaked [s]
    diffusivity_m2_per_s : of water into it [m2/s]
    clump_half_m : half its thickness [m]

    Returns
    -------
    share still dry

    Raises
    ------
    OutOfRange

    Source
    ------
    crank_1975, slab with a constant surface
    """
    return float(
        mr_slab(time_s=time_s, diffusivity_m2_per_s=diffusivity_m2_per_s, half_thickness_m=clump_half_m)
    )


def wet_clock(*, air_temp_c: float, hot_above_c: float, allowed_s: float, allowed_hot_s: float) -> float:
    """Time from the pour within which the dish is eaten.

    Parameters
    ----------
    air_temp_c : at camp [°C]
    hot_above_c : air above which the shorter time holds [°C]
    allowed_s, allowed_hot_s : times [s]

    Returns
    -------
    time [s]

    Source
    ------
    usda_two_hours, two hours out of the cold, one above 90 F
    """
    return allowed_hot_s if air_temp_c > hot_above_c else allowed_s
