"""The films of air about a hanging piece: what they carry of heat, vapour and radiation."""

from __future__ import annotations

import numpy as np

from saltfare.core.numerics import Array, Floats, check_range
from saltfare.models.air import (
    DRY_AIR_J_PER_KG_K,
    HIGH_C,
    LOW_C,
    ZERO_C_K,
    conductivity_sutherland,
    heat_capacity_air,
    vapour_diffusivity_ashrae,
    viscosity_sutherland,
)

STEFAN_BOLTZMANN = 5.670374419e-8  # CODATA 2018, W/(m2 K4)
GRAVITY = 9.80665  # standard acceleration, m/s2


def _temp(temp_c: Floats, model: str) -> Array:
    return check_range(temp_c, low=LOW_C, high=HIGH_C, model=model, quantity="temp_c")


def _pressure(pressure_pa: Floats, model: str) -> Array:
    return check_range(pressure_pa, low=5e4, high=1.1e5, model=model, quantity="pressure_pa")


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
