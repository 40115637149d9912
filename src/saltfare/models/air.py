"""Humid air: vapour, dew point, wet bulb, transport properties.

Vapour is an ideal gas in ideal air; the enhancement of real air (0.4 to 0.5 % in vapour pressure at
room conditions) is left out, as in the hygrometers whose readings come in.
"""

from __future__ import annotations

import numpy as np

from saltfare.core.errors import NotConverged
from saltfare.core.numerics import Array, Floats, check_range

ZERO_C_K = 273.15
# Gas constants from the molar gas constant (CODATA 2018) and molar masses of water and dry air.
VAPOUR_J_PER_KG_K = 461.523
DRY_AIR_J_PER_KG_K = 287.055
MOLAR_RATIO = 0.621945  # ASHRAE 2017, chapter 1, equation 20
LOW_C, HIGH_C = -20.0, 90.0
# ASHRAE 2017, chapter 1, equations 5 (over ice) and 6 (over water); pascal, kelvin
_ICE = (-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019)
_WATER = (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 6.5459673)


def _temp(temp_c: Floats, model: str) -> Array:
    """Temperatures within the properties' range. Raises OutOfRange."""
    return check_range(temp_c, low=LOW_C, high=HIGH_C, model=model, quantity="temp_c")


def _rh(rh_frac: Floats, model: str) -> Array:
    return check_range(rh_frac, low=0.0, high=1.0, model=model, quantity="rh_frac")


def saturation_over_water(*, temp_k: Array) -> tuple[Array, Array]:
    """Saturation pressure over water and its slope [Pa, Pa/K], unchecked: the inner loop of a solver.

    Parameters
    ----------
    temp_k : [K]

    Returns
    -------
    pressure and slope

    Source
    ------
    ashrae_2017, chapter 1, equation 6
    """
    c = _WATER
    t = temp_k
    log = c[0] / t + c[1] + t * (c[2] + t * (c[3] + t * c[4])) + c[5] * np.log(t)
    pressure = np.exp(log)
    return pressure, pressure * (-c[0] / (t * t) + c[2] + t * (2.0 * c[3] + 3.0 * t * c[4]) + c[5] / t)


def saturation_pressure_ashrae(*, temp_c: Floats) -> Array:
    """Pressure of saturated vapour, over ice below 0 °C and over water above.

    Parameters
    ----------
    temp_c : -20 to 90 [°C]

    Returns
    -------
    pressure [Pa]

    Raises
    ------
    OutOfRange

    Source
    ------
    ashrae_2017, chapter 1, equations 5 and 6
    """
    t = _temp(temp_c, "saturation_pressure_ashrae") + ZERO_C_K
    c = _ICE
    ice = np.exp(c[0] / t + c[1] + t * (c[2] + t * (c[3] + t * (c[4] + t * c[5]))) + c[6] * np.log(t))
    return np.where(t < ZERO_C_K, ice, saturation_over_water(temp_k=t)[0])[()]


def vapour_pressure(*, temp_c: Floats, rh_frac: Floats) -> Array:
    """Partial pressure of vapour in air of a relative humidity.

    Parameters
    ----------
    temp_c : -20 to 90 [°C]
    rh_frac : relative humidity, 0 to 1

    Returns
    -------
    pressure [Pa]

    Raises
    ------
    OutOfRange

    Source
    ------
    ashrae_2017, chapter 1, equation 22
    """
    return _rh(rh_frac, "vapour_pressure") * saturation_pressure_ashrae(temp_c=temp_c)


def humidity_ratio_ideal(*, temp_c: Floats, rh_frac: Floats, pressure_pa: Floats) -> Array:
    """Mass of vapour per mass of dry air.

    Parameters
    ----------
    temp_c : -20 to 90 [°C]
    rh_frac : relative humidity, 0 to 1
    pressure_pa : 50000 to 110000 [Pa]

    Returns
    -------
    humidity ratio [kg/kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    ashrae_2017, chapter 1, equation 20
    """
    vapour = vapour_pressure(temp_c=temp_c, rh_frac=rh_frac)
    total = _pressure(pressure_pa, "humidity_ratio_ideal")
    check_range(vapour / total, low=0.0, high=0.9, model="humidity_ratio_ideal", quantity="vapour share")
    return (MOLAR_RATIO * vapour / (total - vapour))[()]


def _pressure(pressure_pa: Floats, model: str) -> Array:
    """Air pressures where people live. Raises OutOfRange."""
    return check_range(pressure_pa, low=5e4, high=1.1e5, model=model, quantity="pressure_pa")


def dew_point_from_vapour_pressure(*, vapour_pa: Floats) -> Array:
    """Temperature at which vapour of this pressure is saturated (frost point below 0 °C).

    Parameters
    ----------
    vapour_pa : from saturation at -20 °C to that at 90 °C [Pa]

    Returns
    -------
    dew point [°C]

    Raises
    ------
    OutOfRange, NotConverged

    Source
    ------
    ashrae_2017, chapter 1, equations 5 and 6 solved for temperature
    """
    ends = saturation_pressure_ashrae(temp_c=np.array([LOW_C, HIGH_C]))
    given = check_range(vapour_pa, low=float(ends[0]), high=float(ends[1]),
                        model="dew_point_from_vapour_pressure", quantity="vapour_pa")  # fmt: skip
    target = np.log(given)
    low, high = np.full(given.shape, LOW_C), np.full(given.shape, HIGH_C)
    for _ in range(60):  # the curve has a kink at 0 °C: halving does not mind
        middle = 0.5 * (low + high)
        under = np.log(saturation_pressure_ashrae(temp_c=middle)) < target
        low, high = np.where(under, middle, low), np.where(under, high, middle)
    return np.asarray(0.5 * (low + high))[()]


def wet_bulb_ashrae(*, temp_c: Floats, rh_frac: Floats, pressure_pa: Floats) -> Array:
    """Thermodynamic wet-bulb temperature (the adiabatic saturation of the handbook), above 0 °C.

    Parameters
    ----------
    temp_c : 0 to 90 [°C]
    rh_frac : relative humidity, 0 to 1
    pressure_pa : 50000 to 110000 [Pa]

    Returns
    -------
    wet-bulb temperature [°C]

    Raises
    ------
    OutOfRange where it would lie below 0 °C, NotConverged

    Source
    ------
    ashrae_2017, chapter 1, equation 33
    """
    dry, total = np.broadcast_arrays(
        _temp(temp_c, "wet_bulb_ashrae"), _pressure(pressure_pa, "wet_bulb_ashrae")
    )
    held = humidity_ratio_ideal(temp_c=dry, rh_frac=rh_frac, pressure_pa=total)
    dry, total, held = np.broadcast_arrays(dry, total, held)
    low, high = np.zeros(held.shape), np.array(dry)

    def excess(wet: Array) -> Array:
        full = humidity_ratio_ideal(temp_c=wet, rh_frac=1.0, pressure_pa=total)
        return ((2501.0 - 2.326 * wet) * full - 1.006 * (dry - wet)) / (
            2501.0 + 1.86 * dry - 4.186 * wet
        ) - held

    if (excess(low) > 0).any():
        check_range(float(np.min(np.where(excess(low) > 0, -1.0, 0.0))), low=0.0, high=HIGH_C,
                    model="wet_bulb_ashrae", quantity="wet bulb")  # fmt: skip
    for _ in range(60):
        middle = 0.5 * (low + high)
        under = excess(middle) < 0
        low, high = np.where(under, middle, low), np.where(under, high, middle)
    gap = np.abs(high - low)
    if not (gap <= 1e-9).all():
        raise NotConverged("wet bulb", int(np.argmax(gap)), float(np.max(gap)))
    return np.asarray(0.5 * (low + high))[()]


def density_moist_air(*, temp_c: Floats, rh_frac: Floats, pressure_pa: Floats) -> Array:
    """Mass of moist air per volume.

    Parameters
    ----------
    temp_c : -20 to 90 [°C]
    rh_frac : relative humidity, 0 to 1
    pressure_pa : 50000 to 110000 [Pa]

    Returns
    -------
    density [kg/m3]

    Raises
    ------
    OutOfRange

    Source
    ------
    ashrae_2017, chapter 1, equations 24 and 26
    """
    kelvin = _temp(temp_c, "density_moist_air") + ZERO_C_K
    vapour = vapour_pressure(temp_c=temp_c, rh_frac=rh_frac)
    dry = _pressure(pressure_pa, "density_moist_air") - vapour
    return (dry / (DRY_AIR_J_PER_KG_K * kelvin) + vapour / (VAPOUR_J_PER_KG_K * kelvin))[()]


def viscosity_sutherland(*, temp_c: Floats) -> Array:
    """Dynamic viscosity of air; vapour at room conditions lowers it by less than 1 %.

    Parameters
    ----------
    temp_c : -20 to 90 [°C]

    Returns
    -------
    viscosity [Pa s]

    Raises
    ------
    OutOfRange

    Source
    ------
    white_viscous_flow, Sutherland's law for air: 1.716e-5 Pa s at 273 K, 111 K
    """
    t = _temp(temp_c, "viscosity_sutherland") + ZERO_C_K
    return (1.716e-5 * (t / 273.0) ** 1.5 * (273.0 + 111.0) / (t + 111.0))[()]


def conductivity_sutherland(*, temp_c: Floats) -> Array:
    """Thermal conductivity of air.

    Parameters
    ----------
    temp_c : -20 to 90 [°C]

    Returns
    -------
    conductivity [W/(m K)]

    Raises
    ------
    OutOfRange

    Source
    ------
    white_viscous_flow, Sutherland's law for air: 0.0241 W/(m K) at 273 K, 194 K
    """
    t = _temp(temp_c, "conductivity_sutherland") + ZERO_C_K
    return (0.0241 * (t / 273.0) ** 1.5 * (273.0 + 194.0) / (t + 194.0))[()]


def heat_capacity_air(*, temp_c: Floats) -> Array:
    """Heat capacity of air at constant pressure, taken as one number over room temperatures.

    Parameters
    ----------
    temp_c : -20 to 90 [°C]

    Returns
    -------
    heat capacity [J/(kg K)]

    Raises
    ------
    OutOfRange

    Source
    ------
    ashrae_2017, chapter 1, equation 30: 1.006 kJ/(kg K)
    """
    return np.full_like(_temp(temp_c, "heat_capacity_air"), 1006.0)[()]


def vapour_diffusivity_ashrae(*, temp_c: Floats, pressure_pa: Floats) -> Array:
    """Diffusivity of vapour in air.

    Parameters
    ----------
    temp_c : -20 to 90 [°C]
    pressure_pa : 50000 to 110000 [Pa]

    Returns
    -------
    diffusivity [m2/s]

    Raises
    ------
    OutOfRange

    Source
    ------
    ashrae_2017, chapter 6, equation 10: (0.926 / p) T^2.5 / (T + 245) mm2/s with p in kPa
    """
    t = _temp(temp_c, "vapour_diffusivity_ashrae") + ZERO_C_K
    kilo = _pressure(pressure_pa, "vapour_diffusivity_ashrae") / 1e3
    return (1e-6 * 0.926 / kilo * t**2.5 / (t + 245.0))[()]


def latent_heat(*, temp_c: Floats) -> Array:
    """Heat that evaporates water.

    Parameters
    ----------
    temp_c : -20 to 90 [°C]

    Returns
    -------
    latent heat [J/kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    latent_heat_linear, 2.501e6 - 2361 t
    """
    return latent_heat_at(temp_c=_temp(temp_c, "latent_heat"))[()]


def latent_heat_at(*, temp_c: Array) -> Array:
    """`latent_heat` without the range check: the inner loop of a solver.

    Parameters
    ----------
    temp_c : [°C]

    Returns
    -------
    latent heat [J/kg]

    Source
    ------
    latent_heat_linear, 2.501e6 - 2361 t
    """
    return 2.501e6 - 2361.0 * temp_c
