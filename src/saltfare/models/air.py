"""Humid air: vapour, wet bulb, transport properties, and the films that carry heat and vapour.

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
STEFAN_BOLTZMANN = 5.670374419e-8  # CODATA 2018, W/(m2 K4)
GRAVITY = 9.80665  # standard acceleration, m/s2
_LOW_C, _HIGH_C = -20.0, 90.0
# ASHRAE 2017, chapter 1, equations 5 (over ice) and 6 (over water); pascal, kelvin
_ICE = (-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019)
_WATER = (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 6.5459673)


def _temp(temp_c: Floats, model: str) -> Array:
    return check_range(temp_c, low=_LOW_C, high=_HIGH_C, model=model, quantity="temp_c")


def _rh(rh_frac: Floats, model: str) -> Array:
    return check_range(rh_frac, low=0.0, high=1.0, model=model, quantity="rh_frac")


def saturation_over_water(temp_k: Array) -> tuple[Array, Array]:
    """Saturation pressure over water and its slope [Pa, Pa/K], unchecked: the inner loop of a solver.

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
    return np.where(t < ZERO_C_K, ice, saturation_over_water(t)[0])[()]


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
    ends = saturation_pressure_ashrae(temp_c=np.array([_LOW_C, _HIGH_C]))
    given = check_range(vapour_pa, low=float(ends[0]), high=float(ends[1]),
                        model="dew_point_from_vapour_pressure", quantity="vapour_pa")  # fmt: skip
    target = np.log(given)
    low, high = np.full(given.shape, _LOW_C), np.full(given.shape, _HIGH_C)
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
        check_range(float(np.min(np.where(excess(low) > 0, -1.0, 0.0))), low=0.0, high=_HIGH_C,
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
    return latent_heat_at(_temp(temp_c, "latent_heat"))[()]


def latent_heat_at(temp_c: Array) -> Array:
    """`latent_heat` without the range check: the inner loop of a solver.

    Source
    ------
    latent_heat_linear, 2.501e6 - 2361 t
    """
    return 2.501e6 - 2361.0 * temp_c


def nusselt_cylinder_churchill_bernstein(*, reynolds: Floats, prandtl: Floats) -> Array:
    """Forced flow across a cylinder, on its diameter.

    Parameters
    ----------
    reynolds : 0 to 1e6; the product with `prandtl` should be above 0.2, below which still air rules
    prandtl : 0.5 to 100

    Returns
    -------
    Nusselt number [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    churchill_bernstein_1977, equation 9
    """
    re = check_range(
        reynolds, low=0.0, high=1e6, model="nusselt_cylinder_churchill_bernstein", quantity="reynolds"
    )
    pr = check_range(
        prandtl, low=0.5, high=100.0, model="nusselt_cylinder_churchill_bernstein", quantity="prandtl"
    )
    lean = 0.62 * np.sqrt(re) * np.cbrt(pr) / (1.0 + (0.4 / pr) ** (2.0 / 3.0)) ** 0.25
    return (0.3 + lean * (1.0 + (re / 282000.0) ** 0.625) ** 0.8)[()]


def nusselt_cylinder_churchill_chu(*, rayleigh: Floats, prandtl: Floats) -> Array:
    """Natural convection about a level cylinder, on its diameter.

    Parameters
    ----------
    rayleigh : 0 to 1e12
    prandtl : 0.5 to 100

    Returns
    -------
    Nusselt number [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    churchill_chu_1975_cylinder, equation for all Rayleigh numbers
    """
    ra = check_range(
        rayleigh, low=0.0, high=1e12, model="nusselt_cylinder_churchill_chu", quantity="rayleigh"
    )
    pr = check_range(prandtl, low=0.5, high=100.0, model="nusselt_cylinder_churchill_chu", quantity="prandtl")
    return ((0.60 + 0.387 * ra ** (1 / 6) / (1.0 + (0.559 / pr) ** (9 / 16)) ** (8 / 27)) ** 2)[()]


def nusselt_plate_churchill_chu(*, rayleigh: Floats, prandtl: Floats) -> Array:
    """Natural convection along an upright plate, on its height.

    Parameters
    ----------
    rayleigh : 0 to 1e12
    prandtl : 0.5 to 100

    Returns
    -------
    Nusselt number [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    churchill_chu_1975_plate, equation for all Rayleigh numbers
    """
    ra = check_range(rayleigh, low=0.0, high=1e12, model="nusselt_plate_churchill_chu", quantity="rayleigh")
    pr = check_range(prandtl, low=0.5, high=100.0, model="nusselt_plate_churchill_chu", quantity="prandtl")
    return ((0.825 + 0.387 * ra ** (1 / 6) / (1.0 + (0.492 / pr) ** (9 / 16)) ** (8 / 27)) ** 2)[()]


def nusselt_plate_laminar(*, reynolds: Floats, prandtl: Floats) -> Array:
    """Forced laminar flow along a plate, mean over its length.

    Parameters
    ----------
    reynolds : 0 to 5e5
    prandtl : 0.6 to 60

    Returns
    -------
    Nusselt number [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    mechanical_engineers_handbook, volume 4, page 170: 0.664 Re^0.5 Pr^(1/3)
    """
    re = check_range(reynolds, low=0.0, high=5e5, model="nusselt_plate_laminar", quantity="reynolds")
    pr = check_range(prandtl, low=0.6, high=60.0, model="nusselt_plate_laminar", quantity="prandtl")
    return (0.664 * np.sqrt(re) * np.cbrt(pr))[()]


def heat_film(
    *,
    shape: str,
    size_m: Floats,
    speed_m_per_s: Floats,
    temp_c: Floats,
    buoyancy_k: Floats,
    pressure_pa: Floats,
) -> Array:
    """Heat film about a hanging piece: forced and natural convection blended by cubes.

    Parameters
    ----------
    shape : "cylinder" (air across it) or "slab" (air along it)
    size_m : diameter of the cylinder, length of the slab along the air [m]
    speed_m_per_s : of the air past the piece, 0 to 5 [m/s]
    temp_c : of the air [°C]
    buoyancy_k : difference of temperature that would drive the same natural flow [K]
    pressure_pa : of the air [Pa]

    Returns
    -------
    film coefficient for heat, without radiation [W/(m2 K)]

    Raises
    ------
    OutOfRange

    Source
    ------
    churchill_bernstein_1977, equation 9
    churchill_chu_1975_cylinder, equation for all Rayleigh numbers
    churchill_chu_1975_plate, equation for all Rayleigh numbers
    mechanical_engineers_handbook, volume 4, page 170
    """
    size = check_range(size_m, low=0.002, high=2.0, model="heat_film", quantity="size_m")
    speed = check_range(speed_m_per_s, low=0.0, high=5.0, model="heat_film", quantity="speed_m_per_s")
    lift = check_range(buoyancy_k, low=0.0, high=50.0, model="heat_film", quantity="buoyancy_k")
    kelvin = _temp(temp_c, "heat_film") + ZERO_C_K
    conductivity = conductivity_sutherland(temp_c=temp_c)
    density = _pressure(pressure_pa, "heat_film") / (DRY_AIR_J_PER_KG_K * kelvin)
    kinematic = viscosity_sutherland(temp_c=temp_c) / density
    thermal = conductivity / (density * heat_capacity_air(temp_c=temp_c))
    prandtl = kinematic / thermal
    reynolds = speed * size / kinematic
    rayleigh = GRAVITY * lift / kelvin * size**3 / (kinematic * thermal)
    if shape == "cylinder":
        forced = nusselt_cylinder_churchill_bernstein(reynolds=reynolds, prandtl=prandtl)
        natural = nusselt_cylinder_churchill_chu(rayleigh=rayleigh, prandtl=prandtl)
    elif shape == "slab":
        forced = nusselt_plate_laminar(reynolds=reynolds, prandtl=prandtl)
        natural = nusselt_plate_churchill_chu(rayleigh=rayleigh, prandtl=prandtl)
    else:
        raise ValueError(f"no film for the shape {shape!r}")
    return (np.cbrt(forced**3 + natural**3) * conductivity / size)[()]


def vapour_film_lewis(*, heat_film_w_per_m2_k: Floats, temp_c: Floats, pressure_pa: Floats) -> Array:
    """Vapour film that goes with a heat film, by the analogy of heat and mass transfer.

    Parameters
    ----------
    heat_film_w_per_m2_k : film coefficient for heat, without radiation [W/(m2 K)]
    temp_c : of the air [°C]
    pressure_pa : of the air [Pa]

    Returns
    -------
    film coefficient for vapour, on concentration [m/s]

    Raises
    ------
    OutOfRange

    Source
    ------
    chilton_colburn_1934, h / k_m = density * heat capacity * Le^(2/3)
    """
    film = check_range(
        heat_film_w_per_m2_k, low=0.0, high=500.0, model="vapour_film_lewis", quantity="heat film"
    )
    kelvin = _temp(temp_c, "vapour_film_lewis") + ZERO_C_K
    heat = (
        _pressure(pressure_pa, "vapour_film_lewis")
        / (DRY_AIR_J_PER_KG_K * kelvin)
        * heat_capacity_air(temp_c=temp_c)
    )
    lewis = (
        conductivity_sutherland(temp_c=temp_c)
        / heat
        / vapour_diffusivity_ashrae(temp_c=temp_c, pressure_pa=pressure_pa)
    )
    return (film / (heat * np.cbrt(lewis * lewis)))[()]


def radiation_film(*, temp_c: Floats, emissivity: Floats) -> Array:
    """Radiation to surroundings near the air's temperature, as a film coefficient.

    Parameters
    ----------
    temp_c : of the surroundings [°C]
    emissivity : of the surface, 0 to 1

    Returns
    -------
    film coefficient [W/(m2 K)]

    Raises
    ------
    OutOfRange

    Source
    ------
    codata_2018, Stefan-Boltzmann constant; 4 e s T^3 is the slope of e s T^4
    """
    kelvin = _temp(temp_c, "radiation_film") + ZERO_C_K
    grey = check_range(emissivity, low=0.0, high=1.0, model="radiation_film", quantity="emissivity")
    return (4.0 * grey * STEFAN_BOLTZMANN * kelvin**3)[()]
