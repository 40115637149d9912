"""Sugars and polyols in water: Norrish, and the square-root rule for several at once.

The rule holds to a few thousandths down to a water activity of 0.60; below, it was measured to fail and
is refused. A dried fruit below that is told by its own isotherm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

import numpy as np

from saltfare.core.errors import OutOfRange
from saltfare.core.numerics import Array, Floats, check_range, root_increasing
from saltfare.core.tables import Row
from saltfare.models.isotherms import AW_CEILING, Range
from saltfare.models.sorption import WATER_KG_PER_MOL

# Where the mixture rule stops: sucrose with glycerol was measured 0.006 off at 0.62 and 0.03 off at 0.59.
SYRUP_AW_LOW = 0.60


@dataclass(frozen=True, slots=True)
class Solute:
    """A sugar or polyol: its molar mass and its Norrish constant, zero or above."""

    kg_per_mol: float
    norrish: float

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of `solutes`."""
        return cls(row.number("molar_mass"), row.number("norrish"))


def aw_norrish(*, molality_mol_per_kg: Floats, solute: Solute) -> Array:
    """Water activity of one sugar or polyol in water.

    Parameters
    ----------
    molality_mol_per_kg : moles per kg of water, 0 or more [mol/kg]
    solute : which

    Returns
    -------
    water activity [-]

    Raises
    ------
    OutOfRange : below 0.60, where the equation fails

    Source
    ------
    norrish_1966, ln aw = ln x_w - K x_s^2
    chirife_1980, the constants
    robinson_stokes_1961, against which sucrose and mannitol were tested
    """
    m = check_range(
        molality_mol_per_kg, low=0.0, high=np.inf, model="aw_norrish", quantity="molality_mol_per_kg"
    )
    return _aw(m * WATER_KG_PER_MOL, solute.norrish, "aw_norrish")


def osmotic_coefficient_norrish(*, molality_mol_per_kg: float, solute: Solute) -> float:
    """Osmotic coefficient of one sugar or polyol, as measurements are printed.

    Parameters
    ----------
    molality_mol_per_kg : moles per kg of water, above 0 [mol/kg]
    solute : which

    Returns
    -------
    osmotic coefficient [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    norrish_1966, ln aw = ln x_w - K x_s^2
    """
    check_range(
        molality_mol_per_kg,
        low=1e-9,
        high=np.inf,
        model="osmotic_coefficient_norrish",
        quantity="molality_mol_per_kg",
    )
    aw = float(aw_norrish(molality_mol_per_kg=molality_mol_per_kg, solute=solute))
    return float(-np.log(aw) / (WATER_KG_PER_MOL * molality_mol_per_kg))


def aw_norrish_by_mass(*, solute_frac: float, solute: Solute) -> float:
    """Water activity of one sugar or polyol by its share of the mass.

    Parameters
    ----------
    solute_frac : kg of it per kg of solution, 0 to below 1 [kg/kg]
    solute : which

    Returns
    -------
    water activity [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    norrish_1966, ln aw = ln x_w - K x_s^2
    """
    check_range(solute_frac, low=0.0, high=1.0 - 1e-9, model="aw_norrish_by_mass", quantity="solute_frac")
    molality = solute_frac / (1.0 - solute_frac) / solute.kg_per_mol
    return float(aw_norrish(molality_mol_per_kg=molality, solute=solute))


def aw_norrish_mixture(*, molality_mol_per_kg: Sequence[float], norrish: Sequence[float]) -> float:
    """Water activity of several sugars and polyols in the same water.

    Parameters
    ----------
    molality_mol_per_kg : of each, per kg of water [mol/kg]
    norrish : constant of each, zero or above [-]

    Returns
    -------
    water activity [-]

    Raises
    ------
    OutOfRange : below 0.60, or a constant below zero

    Source
    ------
    norrish_1966, ln aw = ln x_w - (sum sqrt(K_i) x_i)^2
    stokes_robinson_1966, against which the rule was tested
    """
    m = check_range(
        np.asarray(molality_mol_per_kg, dtype=np.float64),
        low=0.0,
        high=np.inf,
        model="aw_norrish_mixture",
        quantity="molality_mol_per_kg",
    )
    k = check_range(
        np.asarray(norrish, dtype=np.float64),
        low=0.0,
        high=np.inf,
        model="aw_norrish_mixture",
        quantity="norrish",
    )
    total = float(m.sum())
    if total == 0.0:
        return 1.0
    bow = float((np.sqrt(k) * m).sum() / total) ** 2
    return float(_aw(np.asarray(total * WATER_KG_PER_MOL), bow, "aw_norrish_mixture"))


def aw_ross(*, aw_alone: Sequence[float]) -> float:
    """Water activity of a mixture as the product of what each solute makes alone in all the water.

    Reads high, by 0.001 to 0.007 where it was measured: the cautious side.

    Parameters
    ----------
    aw_alone : activity with each solute alone [-]

    Returns
    -------
    water activity [-]

    Source
    ------
    ross_1975, aw = product of aw_i
    """
    return float(np.prod(np.asarray(aw_alone, dtype=np.float64)))


def _aw(per_water_mol: Array, bow: float, model: str) -> Array:
    """Norrish with moles of solute per mole of water."""
    water = 1.0 / (1.0 + per_water_mol)
    aw = water * np.exp(-bow * (1.0 - water) ** 2)
    low = np.asarray(aw < SYRUP_AW_LOW)
    if low.any():
        raise OutOfRange(
            model, "aw", float(np.ravel(aw)[np.flatnonzero(np.ravel(low))[0]]), SYRUP_AW_LOW, 1.0
        )
    return np.asarray(aw)[()]


@dataclass(frozen=True, slots=True)
class Syrup:
    """A syrup as an isotherm, per kg of its solutes: shares of them by mass, adding up to 1."""

    solutes: tuple[tuple[float, Solute], ...]
    within: Range

    @property
    def _mol_and_bow(self) -> tuple[float, float]:
        moles = [share / solute.kg_per_mol for share, solute in self.solutes]
        total = sum(moles)
        root = sum(n * solute.norrish**0.5 for n, (_, solute) in zip(moles, self.solutes, strict=True))
        return total, (root / total) ** 2

    def ceiling(self, temp_c: float) -> float:
        """Below pure water."""
        return AW_CEILING

    def water(self, *, aw: Array, temp_c: Floats) -> tuple[Array, Array]:
        """Water ratio and its slope in activity."""
        total, bow = self._mol_and_bow
        flat = np.ravel(np.asarray(aw, dtype=np.float64))
        target = np.log(flat)

        def gap(water: Array) -> tuple[Array, Array]:
            rest = 1.0 - water
            return np.log(water) - bow * rest * rest - target, 1.0 / water + 2.0 * bow * rest

        share = root_increasing(
            gap,
            low=np.full(flat.shape, 1e-12),
            high=np.full(flat.shape, 1.0 + 1e-9),
            start=flat.copy(),
            tolerance=1e-14,
            what="mole fraction of water in syrup",
        )
        per_kg = total * WATER_KG_PER_MOL
        ratio = per_kg * share / (1.0 - share)
        rise = gap(share)[1] * flat  # d aw / d mole fraction
        slope = per_kg / (1.0 - share) ** 2 / rise
        shape = np.shape(aw)
        return ratio.reshape(shape), slope.reshape(shape)
