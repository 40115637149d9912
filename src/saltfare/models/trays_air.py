"""Air over trays: balances of a dryer, the constant rate, and a surface that dries out.

The heat that reaches a wet surface gives the water that leaves. Both go with the same film, so the
water that leaves per unit of film depends on the activity of the surface alone, and is tabulated once
for the air of a run.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Self

import numpy as np

from saltfare.core.errors import OutOfRange
from saltfare.core.numerics import Array, Floats, check_range
from saltfare.core.tables import Row
from saltfare.models import air as humid
from saltfare.models import air_film, isotherms_gab

_POINTS = 400


def moisture_dry_basis(*, water_frac: Floats) -> Array:
    """Water per kg of solids from the share of water.

    Parameters
    ----------
    water_frac : share of water, 0 to below 1 [kg/kg]

    Returns
    -------
    kg of water per kg of solids

    Raises
    ------
    OutOfRange

    Source
    ------
    singh_heldman_dryers, example 12.3, moisture on a dry basis
    """
    w = check_range(water_frac, low=0.0, high=0.9999, model="moisture_dry_basis", quantity="water_frac")
    return (w / (1.0 - w))[()]


def dryer_air(
    *,
    water_from_frac: float,
    water_to_frac: float,
    in_temp_c: float,
    in_rh_frac: float,
    out_temp_c: float,
    out_rh_frac: float,
    pressure_pa: float,
) -> float:
    """Dry air that carries off the water of one kg of solids.

    Parameters
    ----------
    water_from_frac, water_to_frac : share of water before and after [kg/kg]
    in_temp_c, in_rh_frac : air that comes in [°C, -]
    out_temp_c, out_rh_frac : air that goes out [°C, -]
    pressure_pa : [Pa]

    Returns
    -------
    kg of dry air per kg of solids

    Raises
    ------
    OutOfRange where the air that goes out holds no more than what comes in

    Source
    ------
    singh_heldman_dryers, example 12.3
    """
    came = humid.humidity_ratio_ideal(temp_c=in_temp_c, rh_frac=in_rh_frac, pressure_pa=pressure_pa)
    goes = humid.humidity_ratio_ideal(temp_c=out_temp_c, rh_frac=out_rh_frac, pressure_pa=pressure_pa)
    carried = float(goes - came)
    if carried <= 0.0:
        raise OutOfRange("dryer_air", "humidity gained", carried, 0.0, math.inf)
    gone = moisture_dry_basis(water_frac=water_from_frac) - moisture_dry_basis(water_frac=water_to_frac)
    return float(gone) / carried


def drying_heat(
    *,
    water_from_frac: float,
    water_to_frac: float,
    start_temp_c: float,
    end_temp_c: float,
    heat_capacity_j_per_kg_k: float,
    latent_j_per_kg: float,
) -> float:
    """Heat that warms a kg of food and evaporates its water, with nothing lost.

    Parameters
    ----------
    water_from_frac, water_to_frac : share of water before and after [kg/kg]
    start_temp_c, end_temp_c : [°C]
    heat_capacity_j_per_kg_k : of the food before [J/(kg K)]
    latent_j_per_kg : heat of evaporation [J/kg]

    Returns
    -------
    heat per kg of food before drying [J/kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    earle_unit_operations, example 7.1
    """
    check_range(water_to_frac, low=0.0, high=water_from_frac, model="drying_heat", quantity="water_to_frac")
    gone = 1.0 - (1.0 - water_from_frac) / (1.0 - water_to_frac)
    return heat_capacity_j_per_kg_k * (end_temp_c - start_temp_c) + gone * latent_j_per_kg


def constant_rate_time(
    *, solids_kg: float, water_from_kg_per_kg: float, water_to_kg_per_kg: float, area_m2: float, rate: float
) -> float:
    """Time of the constant rate.

    Parameters
    ----------
    solids_kg : dry solids [kg]
    water_from_kg_per_kg, water_to_kg_per_kg : water per kg of solids [kg/kg]
    area_m2 : that dries [m2]
    rate : water leaving [kg/(m2 s)]

    Returns
    -------
    time [s]

    Source
    ------
    singh_heldman_dryers, constant-rate drying of a cube
    """
    return solids_kg * (water_from_kg_per_kg - water_to_kg_per_kg) / (area_m2 * rate)


def film_parallel_geankoplis(*, speed_m_per_s: Floats, density_kg_per_m3: Floats) -> Array:
    """Heat film of air along a tray, the handbook's power law: 0.0204 G^0.8, G in kg/(m2 h).

    Parameters
    ----------
    speed_m_per_s : 0.61 to 7.6 [m/s]
    density_kg_per_m3 : of the air [kg/m3]

    Returns
    -------
    film coefficient [W/(m2 K)]

    Raises
    ------
    OutOfRange

    Source
    ------
    geankoplis_1993, equation 9.6-9
    """
    model = "film_parallel_geankoplis"
    speed = check_range(speed_m_per_s, low=0.61, high=7.6, model=model, quantity="speed_m_per_s")
    flow = 3600.0 * speed * np.asarray(density_kg_per_m3, np.float64)
    return np.asarray(0.0204 * flow**0.8)[()]


def constant_rate(*, film_w_per_m2_k: Floats, temp_c: Floats, wet_bulb_c: Floats) -> Array:
    """Water leaving a wet surface at the wet bulb, heated by air alone.

    Parameters
    ----------
    film_w_per_m2_k : heat film [W/(m2 K)]
    temp_c, wet_bulb_c : of the air [°C]

    Returns
    -------
    water leaving [kg/(m2 s)]

    Source
    ------
    geankoplis_1993, example 9.6-3
    """
    gap = np.asarray(temp_c, np.float64) - np.asarray(wet_bulb_c, np.float64)
    return np.asarray(np.asarray(film_w_per_m2_k) * gap / humid.latent_heat(temp_c=wet_bulb_c))[()]


def room_air_heated_rh(
    *, room_temp_c: float, room_rh_frac: float, temp_c: float, pressure_pa: float
) -> float:
    """Relative humidity of the air of a room, heated.

    Parameters
    ----------
    room_temp_c, room_rh_frac : of the room [°C, -]
    temp_c : heated to [°C]
    pressure_pa : of the air; it does not change [Pa]

    Returns
    -------
    relative humidity

    Raises
    ------
    OutOfRange

    Source
    ------
    ashrae_2017, chapter 1, equation 22
    """
    humid.humidity_ratio_ideal(temp_c=room_temp_c, rh_frac=room_rh_frac, pressure_pa=pressure_pa)
    vapour = humid.vapour_pressure(temp_c=room_temp_c, rh_frac=room_rh_frac)
    return float(vapour / humid.saturation_pressure_ashrae(temp_c=temp_c))


@dataclass(frozen=True, slots=True)
class Gab:
    """GAB constants of one food at one temperature: X = M C K a / ((1 - K a)(1 - K a + C K a))."""

    temp_c: float
    monolayer: float
    c: float
    k: float

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of the table `tray_isotherms`."""
        return cls(row.number("temp_c"), row.number("monolayer"), row.number("c"), row.number("k"))


def water_gab(*, gab: Gab, aw: Floats) -> Array:
    """Water a food holds at an activity.

    Beyond the points the constants were fitted to, up to an activity of 1, it is the curve's own end:
    there it stands for where a surface stops being wet.

    Parameters
    ----------
    gab : constants
    aw : water activity, 0 to 1

    Returns
    -------
    kg of water per kg of solids

    Raises
    ------
    OutOfRange

    Source
    ------
    andrieu_1985, GAB equation
    """
    a = check_range(aw, low=0.0, high=1.0, model="water_gab", quantity="aw")
    return isotherms_gab.gab(aw=a, monolayer=gab.monolayer, guggenheim=gab.c, k=gab.k)[0][()]


def gab_at(*, curves: tuple[Gab, ...], temp_c: float) -> Gab:
    """Constants between two temperatures, in a straight line.

    Parameters
    ----------
    curves : in order of temperature
    temp_c : within them [°C]

    Returns
    -------
    constants at that temperature

    Raises
    ------
    OutOfRange

    Source
    ------
    andrieu_1985, constants at each temperature
    saltfare_chosen, a straight line between
    """
    temps = [curve.temp_c for curve in curves]
    check_range(temp_c, low=temps[0], high=temps[-1], model="gab_at", quantity="temp_c")
    return Gab(temp_c, *(float(np.interp(temp_c, temps, [getattr(c, n) for c in curves]))
                         for n in ("monolayer", "c", "k")))  # fmt: skip


@dataclass(frozen=True, slots=True)
class DryingSurface:
    """A surface under one air: water leaving per unit of film, and its temperature, by the water it holds.

    water (m,): equal steps from what is in balance with the air to what is held at saturation.
    leaving (m,): [kg/(m2 s) per W/(m2 K)]. temp_c (m,). A wetter surface stays as the last one is; a drier
    one takes up water along the first step.
    """

    water: Array
    leaving: Array
    temp_c: Array

    def flow(self, *, water: Array) -> tuple[Array, Array]:
        """Water leaving per unit of film and its slope in the water held, for any water."""
        step = (self.water[1] - self.water[0]) or 1.0
        at = (water - self.water[0]) / step
        cell = np.clip(at, 0, self.water.size - 2).astype(np.intp)  # of the table; the ends go on straight
        slope = (self.leaving[cell + 1] - self.leaving[cell]) / step
        wet = water >= self.water[-1]
        flow = self.leaving[cell] + slope * (water - self.water[cell])
        return np.where(wet, self.leaving[-1], flow), np.where(wet, 0.0, slope)

    def temperature(self, *, water: Array) -> Array:
        """Temperature of a surface that holds so much [°C]; beyond the table as at its ends."""
        return np.interp(water, self.water, self.temp_c)


def drying_surface(
    *, gab: Gab, temp_c: float, rh_frac: float, pressure_pa: float, heat_ratio: float
) -> DryingSurface:
    """Heat and vapour in balance at a surface of each activity.

    Parameters
    ----------
    gab : isotherm at the temperature of the air
    temp_c : of the air, 20 to 90 [°C]
    rh_frac : of the air
    pressure_pa : of the air [Pa]
    heat_ratio : area that takes up heat over area that gives off water, 1 or more

    Returns
    -------
    the surface

    Raises
    ------
    OutOfRange

    Source
    ------
    quasi_steady_wet_surface, heat and vapour in balance
    chilton_colburn_1934, h / k_m = density * heat capacity * Le^(2/3)
    """
    check_range(temp_c, low=20.0, high=90.0, model="drying_surface", quantity="temp_c")
    check_range(rh_frac, low=1e-3, high=0.9, model="drying_surface", quantity="rh_frac")
    check_range(heat_ratio, low=1.0, high=2.0, model="drying_surface", quantity="heat_ratio")
    vapour = float(humid.vapour_pressure(temp_c=temp_c, rh_frac=rh_frac))
    # both films go together: per W/(m2 K) of heat film so much of vapour film
    vapour_film = float(
        air_film.vapour_film_lewis(heat_film_w_per_m2_k=1.0, temp_c=temp_c, pressure_pa=pressure_pa)
    )
    least = float(water_gab(gab=gab, aw=rh_frac))
    water = np.linspace(least, float(water_gab(gab=gab, aw=1.0)), _POINTS)
    aw = isotherms_gab.aw_gab(water_ratio=water, monolayer=gab.monolayer, guggenheim=gab.c, k=gab.k)
    air_k = temp_c + humid.ZERO_C_K
    low, high = np.full(_POINTS, humid.ZERO_C_K - 15.0), np.full(_POINTS, air_k)
    for _ in range(60):
        middle = 0.5 * (low + high)
        full = humid.saturation_over_water(temp_k=middle)[0]
        gives = vapour_film * (aw * full - vapour) / (humid.VAPOUR_J_PER_KG_K * middle)
        takes = heat_ratio * (air_k - middle) / humid.latent_heat_at(temp_c=middle - humid.ZERO_C_K)
        under = gives < takes
        low, high = np.where(under, middle, low), np.where(under, high, middle)
    temp_k = 0.5 * (low + high)
    leaving = heat_ratio * (air_k - temp_k) / humid.latent_heat_at(temp_c=temp_k - humid.ZERO_C_K)
    return DryingSurface(water, leaving, temp_k - humid.ZERO_C_K)


def crowding(
    *,
    film_w_per_m2_k: float,
    wet_area_m2: float,
    heating_w: float | None,
    temp_c: float,
    room_temp_c: float,
) -> float:
    """What is left of the drying when the air cools and moistens on its way over the trays.

    The heater warms a stream of room air to the temperature of the dryer, and that stream passes every
    tray: the mean of the drive along it over the drive at its start.

    Parameters
    ----------
    film_w_per_m2_k : heat film [W/(m2 K)]
    wet_area_m2 : that gives off water, all trays [m2]
    heating_w : mean power that goes into the air, None where it is not known [W]
    temp_c, room_temp_c : of the dryer and of the room [°C]

    Returns
    -------
    factor, 1 where the power is not known

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_derived, exchange along a stream past a wet surface
    """
    if heating_w is None:
        return 1.0
    check_range(heating_w, low=1.0, high=1e5, model="crowding", quantity="heating_w")
    warmed = float(check_range(temp_c - room_temp_c, low=1.0, high=90.0, model="crowding",
                               quantity="warming of the air"))  # fmt: skip
    units = film_w_per_m2_k * wet_area_m2 * warmed / heating_w
    return -math.expm1(-units) / units if units > 0.0 else 1.0


def vented_efficiency(*, in_temp_c: float, out_temp_c: float, room_temp_c: float) -> float:
    """Share of the heat put into the air that evaporates water, air passing once.

    Parameters
    ----------
    in_temp_c, out_temp_c, room_temp_c : onto the trays, off them, in the room [°C]

    Returns
    -------
    share

    Raises
    ------
    OutOfRange

    Source
    ------
    earle_unit_operations, dryer efficiency
    """
    check_range(out_temp_c, low=room_temp_c, high=in_temp_c, model="vented_efficiency", quantity="out_temp_c")
    return (in_temp_c - out_temp_c) / (in_temp_c - room_temp_c)
