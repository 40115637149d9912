"""Thermal properties of unfrozen food from what it is made of.

Component polynomials in °C; densities add by volume, heat capacities by mass, conductivities in
parallel by volume.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from saltfare.core.numerics import Array, Floats, check_range

# Choi & Okos 1986 as tabled in ASHRAE Refrigeration 2006, chapter 9, table 1: polynomials in °C for
# unfrozen food, constant first. Conductivity W/(m K), density kg/m3, heat capacity kJ/(kg K).
_CONDUCTIVITY = {
    "water_frac": (5.7109e-1, 1.7625e-3, -6.7036e-6),
    "protein_frac": (1.7881e-1, 1.1958e-3, -2.7178e-6),
    "fat_frac": (1.8071e-1, -2.7604e-4, -1.7749e-7),
    "carbohydrate_frac": (2.0141e-1, 1.3874e-3, -4.3312e-6),
    "ash_frac": (3.2962e-1, 1.4011e-3, -2.9069e-6),
}
_DENSITY = {
    "water_frac": (9.9718e2, 3.1439e-3, -3.7574e-3),
    "protein_frac": (1.3299e3, -5.1840e-1, 0.0),
    "fat_frac": (9.2559e2, -4.1757e-1, 0.0),
    "carbohydrate_frac": (1.5991e3, -3.1046e-1, 0.0),
    "ash_frac": (2.4238e3, -2.8063e-1, 0.0),
}
_HEAT_CAPACITY = {
    "water_frac": (4.1289, -9.0864e-5, 5.4731e-6),
    "protein_frac": (2.0082, 1.2089e-3, -1.3129e-6),
    "fat_frac": (1.9842, 1.4733e-3, -4.8008e-6),
    "carbohydrate_frac": (1.5488, 1.9625e-3, -5.9399e-6),
    "ash_frac": (1.0926, 1.8896e-3, -3.6817e-6),
}
_LOW_C, _HIGH_C = 0.0, 150.0


@dataclass(frozen=True, slots=True)
class Composition:
    """Mass fractions of an unfrozen food; salt counts as ash. They add to 1 within 2 %."""

    water_frac: float
    protein_frac: float
    fat_frac: float
    carbohydrate_frac: float
    ash_frac: float

    def __post_init__(self) -> None:
        """Refuse fractions that are none or do not add up."""
        for field in fields(self):
            check_range(
                getattr(self, field.name), low=0.0, high=1.0, model="composition", quantity=field.name
            )
        check_range(sum(self.shares.values()), low=0.98, high=1.02, model="composition", quantity="sum")

    @property
    def shares(self) -> dict[str, float]:
        """Fractions by component name."""
        return {field.name: float(getattr(self, field.name)) for field in fields(self)}


def _polynomial(coefficients: tuple[float, float, float], t: Array) -> Array:
    a, b, c = coefficients
    return np.asarray(a + t * (b + t * c))


def _checked(temp_c: Floats, model: str) -> Array:
    return check_range(temp_c, low=_LOW_C, high=_HIGH_C, model=model, quantity="temp_c")


def heat_capacity_choi_okos(*, composition: Composition, temp_c: Floats) -> Array:
    """Heat capacity of unfrozen food.

    Parameters
    ----------
    composition : mass fractions
    temp_c : 0 to 150 [°C]

    Returns
    -------
    heat capacity [J/(kg K)], shape of `temp_c`

    Raises
    ------
    OutOfRange

    Source
    ------
    choi_okos_1986, table of heat capacities of components, unfrozen
    """
    t = _checked(temp_c, "heat_capacity_choi_okos")
    shares = composition.shares
    return np.asarray(1e3 * sum(x * _polynomial(_HEAT_CAPACITY[name], t) for name, x in shares.items()))


def density_choi_okos(*, composition: Composition, temp_c: Floats) -> Array:
    """Density of unfrozen food without pores.

    Parameters
    ----------
    composition : mass fractions
    temp_c : 0 to 150 [°C]

    Returns
    -------
    density [kg/m3], shape of `temp_c`

    Raises
    ------
    OutOfRange

    Source
    ------
    choi_okos_1986, table of densities of components
    """
    t = _checked(temp_c, "density_choi_okos")
    shares = composition.shares
    return np.asarray(
        sum(shares.values()) / sum(x / _polynomial(_DENSITY[name], t) for name, x in shares.items())
    )


def conductivity_choi_okos(*, composition: Composition, temp_c: Floats) -> Array:
    """Thermal conductivity of unfrozen food, components in parallel by volume.

    Parameters
    ----------
    composition : mass fractions
    temp_c : 0 to 150 [°C]

    Returns
    -------
    conductivity [W/(m K)], shape of `temp_c`

    Raises
    ------
    OutOfRange

    Source
    ------
    choi_okos_1986, table of conductivities of components, parallel model
    """
    t = _checked(temp_c, "conductivity_choi_okos")
    volumes = {name: x / _polynomial(_DENSITY[name], t) for name, x in composition.shares.items()}
    total = sum(volumes.values())
    return np.asarray(sum(v / total * _polynomial(_CONDUCTIVITY[name], t) for name, v in volumes.items()))
