"""The heat of a pouch: what the pour makes of it, and how it cools bare, wrapped, in a cosy, in wind."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Self

import numpy as np

from saltfare.core.errors import BadTable
from saltfare.core.numerics import Array, Floats, check_range
from saltfare.core.tables import Row
from saltfare.models import air, air_film
from saltfare.models.thermal import (
    Composition,
    conductivity_choi_okos,
    density_choi_okos,
    heat_capacity_choi_okos,
)
from saltfare.models.trip_fuel import boiling_temp_if97, pressure_standard


@dataclass(frozen=True, slots=True)
class Cover:
    """What is around a pouch, as a resistance to heat [m2 K/W]."""

    resistance_m2_k_per_w: float

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of the table `pouch_covers`: as given, or thickness over conductivity."""
        given = row.number_or_none("resistance")
        if given is not None:
            return cls(given)
        conductivity = row.number("conductivity")
        if conductivity <= 0.0:
            raise BadTable(f"{row.ref}: conductivity")
        return cls(row.number("thickness_mm") / conductivity)


def boiling_temp(*, altitude_m: float) -> float:
    """Boiling point of water at a height in the standard atmosphere.

    Parameters
    ----------
    altitude_m : -500 to 11000 [m]

    Returns
    -------
    temperature [°C]

    Raises
    ------
    OutOfRange

    Source
    ------
    isa_1976, below 11 km
    iapws_if97, region 4, equation 31
    """
    return boiling_temp_if97(pressure_pa=pressure_standard(altitude_m=altitude_m))


def mixed_temp(
    *,
    water_kg: float,
    water_temp_c: float,
    dry_kg: float,
    dry_temp_c: float,
    water_j_per_kg_k: float,
    dry_j_per_kg_k: float,
) -> float:
    """Temperature of the pouch once the water is in, before anything is lost.

    Parameters
    ----------
    water_kg, water_temp_c : the pour [kg, °C]
    dry_kg, dry_temp_c : what is in the pouch [kg, °C]
    water_j_per_kg_k, dry_j_per_kg_k : heat capacities [J/(kg K)]

    Returns
    -------
    temperature [°C]

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_derived, balance of heat
    """
    for mass_kg in (water_kg, dry_kg):
        check_range(mass_kg, low=1e-6, high=1e3, model="mixed_temp", quantity="mass")
    hot, cold = water_kg * water_j_per_kg_k, dry_kg * dry_j_per_kg_k
    return (hot * water_temp_c + cold * dry_temp_c) / (hot + cold)


def pouch_loss(
    *,
    temp_c: float,
    air_temp_c: float,
    wind_m_per_s: float,
    size_m: float,
    cover: Cover,
    emissivity: float,
    pressure_pa: float,
) -> float:
    """Heat a pouch loses per area and kelvin: film and radiation behind the cover.

    The film is reckoned for the pouch's own temperature; behind a cover the outside is cooler, but there
    the cover decides.

    Parameters
    ----------
    temp_c, air_temp_c : of pouch and air [°C]
    wind_m_per_s : 0 to 5 [m/s]
    size_m : height of the pouch [m]
    cover : around it
    emissivity : of its outside
    pressure_pa : of the air [Pa]

    Returns
    -------
    loss [W/(m2 K)]

    Raises
    ------
    OutOfRange

    Source
    ------
    churchill_chu_1975_plate, equation for all Rayleigh numbers
    mechanical_engineers_handbook, volume 4, page 170
    codata_2018, Stefan-Boltzmann constant
    """
    gap = temp_c - air_temp_c
    check_range(gap, low=0.0, high=150.0, model="pouch_loss", quantity="pouch above air")
    film_c = min(0.5 * (temp_c + air_temp_c), air.HIGH_C)
    film = air_film.heat_film(
        shape="slab", size_m=size_m, speed_m_per_s=wind_m_per_s, temp_c=film_c,
        buoyancy_k=min(gap, 50.0), pressure_pa=pressure_pa,
    ) + air_film.radiation_film(temp_c=film_c, emissivity=emissivity)  # fmt: skip
    return 1.0 / (1.0 / float(film) + cover.resistance_m2_k_per_w)


def pouch_temp(
    *, time_s: Floats, start_temp_c: float, air_temp_c: float, loss_w_per_k: float, heat_j_per_k: float
) -> Array:
    """Temperature of a stirred pouch that loses heat in proportion to how much warmer it is.

    Parameters
    ----------
    time_s : 0 or more [s]
    start_temp_c, air_temp_c : [°C]
    loss_w_per_k : loss per kelvin over its whole area, above 0 [W/K]
    heat_j_per_k : heat it holds [J/K]

    Returns
    -------
    temperature [°C]

    Raises
    ------
    OutOfRange

    Source
    ------
    incropera_2011, lumped capacitance
    """
    t = check_range(time_s, low=0.0, high=1e9, model="pouch_temp", quantity="time_s")
    check_range(loss_w_per_k, low=1e-9, high=1e4, model="pouch_temp", quantity="loss_w_per_k")
    return (air_temp_c + (start_temp_c - air_temp_c) * np.exp(-t * loss_w_per_k / heat_j_per_k))[()]


def time_above(
    *, temp_c: float, start_temp_c: float, air_temp_c: float, loss_w_per_k: float, heat_j_per_k: float
) -> float:
    """How long a pouch stays above a temperature; infinite where the air is as warm.

    Parameters
    ----------
    temp_c : [°C]
    start_temp_c, air_temp_c : [°C]
    loss_w_per_k : [W/K]
    heat_j_per_k : [J/K]

    Returns
    -------
    time [s]

    Source
    ------
    incropera_2011, lumped capacitance
    """
    if start_temp_c <= temp_c:
        return 0.0
    if air_temp_c >= temp_c:
        return math.inf
    return heat_j_per_k / loss_w_per_k * math.log((start_temp_c - air_temp_c) / (temp_c - air_temp_c))


def evening_time(*, composition: Composition, temp_c: float, half_thickness_m: float) -> float:
    """Time heat takes through what is not stirred: half thickness squared over the diffusivity of heat.

    Parameters
    ----------
    composition : of what is in the pouch
    temp_c : 0 to 150 [°C]
    half_thickness_m : [m]

    Returns
    -------
    time [s]

    Raises
    ------
    OutOfRange

    Source
    ------
    choi_okos_1986, conductivity, density and heat capacity of components
    """
    stores = density_choi_okos(composition=composition, temp_c=temp_c) * heat_capacity_choi_okos(
        composition=composition, temp_c=temp_c
    )
    return half_thickness_m**2 * float(
        stores / conductivity_choi_okos(composition=composition, temp_c=temp_c)
    )
