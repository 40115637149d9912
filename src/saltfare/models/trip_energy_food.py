"""Shares of energy, protein and sodium of a day's food, beside what is published of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

from saltfare.core.tables import Row
from saltfare.models.trip_energy import KCAL_J, positive, within

# Sodium in salt, from the standard atomic weights 22.990 and 35.453.
SODIUM_IN_SALT = 22.990 / (22.990 + 35.453)


def food_energy_general(*, protein_kg: float, fat_kg: float, carbohydrate_kg: float) -> float:
    """Energy of food by the general factors 4, 9 and 4 kcal/g.

    Parameters
    ----------
    protein_kg, fat_kg, carbohydrate_kg : masses [kg]

    Returns
    -------
    energy [J]

    Source
    ------
    atwater_general, 4-9-4 kcal a gram
    """
    return KCAL_J * 1000.0 * (4.0 * protein_kg + 9.0 * fat_kg + 4.0 * carbohydrate_kg)


@dataclass(frozen=True, slots=True)
class Shares:
    """Shares of the energy; they add up to 1."""

    protein_frac: float
    fat_frac: float
    carbohydrate_frac: float


def energy_shares(*, protein_kg: float, fat_kg: float, carbohydrate_kg: float) -> Shares:
    """Shares of energy from protein, fat and carbohydrate.

    Parameters
    ----------
    protein_kg, fat_kg, carbohydrate_kg : masses [kg]

    Returns
    -------
    shares of the energy of the three [-]

    Raises
    ------
    OutOfRange : nothing to share out

    Source
    ------
    atwater_general, 4-9-4 kcal a gram
    """
    total = food_energy_general(protein_kg=protein_kg, fat_kg=fat_kg, carbohydrate_kg=carbohydrate_kg)
    positive(value=total, model="energy_shares", quantity="energy_j")
    unit = 4.0 * KCAL_J * 1000.0 / total
    return Shares(unit * protein_kg, 2.25 * unit * fat_kg, unit * carbohydrate_kg)


@dataclass(frozen=True, slots=True)
class Band:
    """A published range of a quantity."""

    low: float
    high: float

    @classmethod
    def shares_from_row(cls, row: Row) -> Self:
        """A range of energy shares, from a row of `trip_nutrition` [-]."""
        return cls(row.number("pct_low"), row.number("pct_high"))

    @classmethod
    def per_kg_from_row(cls, row: Row) -> Self:
        """A range for each kg of body mass, from a row of `trip_nutrition` [kg/kg]."""
        return cls(row.number("g_per_kg_low"), row.number("g_per_kg_high"))

    @classmethod
    def sodium_from_row(cls, row: Row) -> Self:
        """A range of sodium a day, or in a litre of sweat, from a row of `trip_nutrition` [kg]."""
        return cls(row.number("mg_low"), row.number("mg_high"))

    def stands(self, value: float) -> str:
        """`below`, `inside` or `above`."""
        return "below" if value < self.low else "above" if value > self.high else "inside"


def protein_day_range(*, mass_kg: float, per_kg: Band) -> Band:
    """Protein of a day for a person.

    Parameters
    ----------
    mass_kg : body mass [kg]
    per_kg : a range for each kg, a row of `trip_nutrition` [kg/kg]

    Returns
    -------
    range of protein [kg]

    Source
    ------
    iom_2005, RDA of protein
    ar_40_25_2001, notes on protein
    """
    positive(value=mass_kg, model="protein_day_range", quantity="mass_kg")
    return Band(per_kg.low * mass_kg, per_kg.high * mass_kg)


def sodium_sweat_range(*, sweat_m3: float, per_litre: Band) -> Band:
    """Sodium lost in sweat.

    Parameters
    ----------
    sweat_m3 : sweat, up to 20 litres [m3]
    per_litre : sodium in a litre, a row of `trip_nutrition` [kg]

    Returns
    -------
    range of sodium lost [kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    acsm_2007, sodium of sweat
    """
    litres = 1000.0 * within(
        value=sweat_m3, low=0.0, high=0.02, model="sodium_sweat_range", quantity="sweat_m3"
    )
    return Band(per_litre.low * litres, per_litre.high * litres)


def sodium_from_salt(*, salt_kg: float) -> float:
    """Sodium in a mass of salt.

    Parameters
    ----------
    salt_kg : sodium chloride [kg]

    Returns
    -------
    sodium [kg]

    Source
    ------
    saltfare_derived, share of sodium by atomic weights
    """
    return SODIUM_IN_SALT * salt_kg
