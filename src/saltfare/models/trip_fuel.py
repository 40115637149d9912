"""Fuel of a day: heat to bring water to the boil at the height of the camp, snow to melt, time to simmer."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Self

from saltfare.core.tables import Row
from saltfare.models.trip_energy import positive, within

# Handbook heats: liquid water between 0 and 100 °C, ice near its melting point, melting.
_WATER_J_PER_KG_K = 4186.0
_ICE_J_PER_KG_K = 2100.0
_MELT_J_PER_KG = 334_000.0


def pressure_standard(*, altitude_m: float) -> float:
    """Pressure of the standard atmosphere.

    Parameters
    ----------
    altitude_m : height, -500 to 11000 [m]

    Returns
    -------
    pressure [Pa]

    Raises
    ------
    OutOfRange

    Source
    ------
    isa_1976, below 11 km
    """
    within(value=altitude_m, low=-500.0, high=11_000.0, model="pressure_standard", quantity="altitude_m")
    return float(101_325.0 * (1.0 - 0.0065 * altitude_m / 288.15) ** 5.25588)


def boiling_temp_if97(*, pressure_pa: float) -> float:
    """Boiling point of water.

    Parameters
    ----------
    pressure_pa : pressure, 611.2 Pa to 22 MPa [Pa]

    Returns
    -------
    temperature [°C]

    Raises
    ------
    OutOfRange

    Source
    ------
    iapws_if97, region 4, equation 31
    """
    within(value=pressure_pa, low=611.213, high=22.064e6, model="boiling_temp_if97", quantity="pressure_pa")
    n1, n2, n3, n4, n5 = 1167.0521452767, -724213.16703206, -17.073846940092, 12020.82470247, -3232555.0322333
    n6, n7, n8, n9, n10 = (
        14.91510861353,
        -4823.2657361591,
        405113.40542057,
        -0.23855557567849,
        650.17534844798,
    )
    b = math.sqrt(math.sqrt(pressure_pa / 1e6))
    e = b * b + n3 * b + n6
    f = n1 * b * b + n4 * b + n7
    g = n2 * b * b + n5 * b + n8
    d = 2.0 * g / (-f - math.sqrt(f * f - 4.0 * e * g))
    return (n10 + d - math.sqrt((n10 + d) ** 2 - 4.0 * (n9 + n10 * d))) / 2.0 - 273.15


@dataclass(frozen=True, slots=True)
class Stove:
    """Heat of the fuel, share of it that reaches the water (from low to high), and what wind and cold add
    to the fuel (from low to high)."""

    fuel_j_per_kg: float
    low_frac: float
    high_frac: float
    added_low_frac: float
    added_high_frac: float

    @classmethod
    def from_rows(cls, *, fuel: Row, stove: Row, conditions: tuple[Row, ...]) -> Self:
        """From rows of `fuels`, `stoves` and `stove_conditions`; conditions add up."""
        return cls(
            fuel.number("mj_per_kg"),
            stove.number("pct_low"),
            stove.number("pct_high"),
            math.fsum(row.number("pct_low") for row in conditions),
            math.fsum(row.number("pct_high") for row in conditions),
        )


def heat_to_boil(
    *, water_kg: float, start_temp_c: float, snow_kg: float, snow_temp_c: float, altitude_m: float
) -> float:
    """Heat that brings water, and snow melted for water, to the boil.

    Parameters
    ----------
    water_kg : liquid water [kg]
    start_temp_c : its temperature, 0 to 60 [°C]
    snow_kg : snow or ice to melt and boil [kg]
    snow_temp_c : its temperature, -60 to 0 [°C]
    altitude_m : height of the camp [m]

    Returns
    -------
    heat into the water [J]

    Raises
    ------
    OutOfRange

    Source
    ------
    water_handbook, specific heats and heat of melting
    iapws_if97, region 4, equation 31
    """
    model = "heat_to_boil"
    within(value=start_temp_c, low=0.0, high=60.0, model=model, quantity="start_temp_c")
    within(value=snow_temp_c, low=-60.0, high=0.0, model=model, quantity="snow_temp_c")
    within(value=water_kg, low=0.0, high=1000.0, model=model, quantity="water_kg")
    within(value=snow_kg, low=0.0, high=1000.0, model=model, quantity="snow_kg")
    boil_c = boiling_temp_if97(pressure_pa=pressure_standard(altitude_m=altitude_m))
    liquid = _WATER_J_PER_KG_K * (water_kg * (boil_c - start_temp_c) + snow_kg * boil_c)
    return liquid + snow_kg * (_MELT_J_PER_KG - _ICE_J_PER_KG_K * snow_temp_c)


def fuel_mass(
    *, heat_j: float, simmer_power_w: float, simmer_time_s: float, stove: Stove
) -> tuple[float, float]:
    """Fuel for a heat into the pot and a time of simmering, least and most.

    Parameters
    ----------
    heat_j : heat into the water [J]
    simmer_power_w : heat a simmering pot loses [W]
    simmer_time_s : time of simmering [s]
    stove : fuel, burner and conditions

    Returns
    -------
    least and most fuel [kg, kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_derived, heat over heating value and efficiency
    """
    model = "fuel_mass"
    positive(value=stove.fuel_j_per_kg, model=model, quantity="fuel_j_per_kg")
    within(value=stove.low_frac, low=0.01, high=stove.high_frac, model=model, quantity="low_frac")
    within(value=stove.high_frac, low=stove.low_frac, high=0.95, model=model, quantity="high_frac")
    needed = (heat_j + simmer_power_w * simmer_time_s) / stove.fuel_j_per_kg
    return (
        needed / stove.high_frac * (1.0 + stove.added_low_frac),
        needed / stove.low_frac * (1.0 + stove.added_high_frac),
    )
