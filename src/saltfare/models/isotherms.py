"""Sorption isotherms of dry foods: how much water a food holds at a water activity and temperature.

Every isotherm here, the salted meat and the syrup beside it, answers the same question in the same
basis: kg of water per kg of dry solids free of fat (and of salt, in meat). Fat sorbs next to nothing,
so an isotherm measured on a fatty food is told per fat-free solids by dividing. An isotherm keeps the
range its source covers: within it is a figure, outside it a marked one that feeds no verdict. Outside
the range of temperature it is held at the nearer end, and marked.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol, Self

import numpy as np

from saltfare.core.errors import BadTable
from saltfare.core.library import Library
from saltfare.core.numerics import Array, Floats, check_range
from saltfare.core.tables import Row
from saltfare.models.isotherms_gab import GAS_J_PER_MOL_K, KELVIN, gab
from saltfare.models.sorption import ProteinIsotherm, water_of_salted_meat

# Where an isotherm is still evaluated, marked, so that a balance can be struck: never an answer by itself.
AW_FLOOR, AW_CEILING = 1e-4, 0.9995

# Chung-Pfost turns negative towards zero activity; below this it is a straight line to the origin.
_STRAIGHT_BELOW = 0.15

Doubt = Literal["aw_outside", "temp_outside", "range_not_read"]


@dataclass(frozen=True, slots=True)
class Range:
    """Where the source of an isotherm measured; an end is None where that was not read."""

    aw_low: float | None
    aw_high: float | None
    temp_low_c: float | None
    temp_high_c: float | None

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From the columns aw_low, aw_high, temp_low, temp_high of an isotherm table."""
        return cls(*(row.number_or_none(c) for c in ("aw_low", "aw_high", "temp_low", "temp_high")))

    def doubts(self, *, aw: Floats, temp_c: Floats) -> tuple[Doubt, ...]:
        """What lies outside; empty where everything lies inside."""
        found: list[Doubt] = []
        a, t = np.asarray(aw), np.asarray(temp_c)
        if self.aw_low is not None and self.aw_high is not None:
            if not ((a >= self.aw_low) & (a <= self.aw_high)).all():
                found.append("aw_outside")
        else:
            found.append("range_not_read")
        if self.temp_low_c is not None and self.temp_high_c is not None:
            if not ((t >= self.temp_low_c) & (t <= self.temp_high_c)).all():
                found.append("temp_outside")
        elif "range_not_read" not in found:
            found.append("range_not_read")
        return tuple(found)

    def held(self, temp_c: Floats) -> Array:
        """The temperature at which the equation is used; `doubts` says where it is not the one asked."""
        t = np.asarray(temp_c, dtype=np.float64)
        if self.temp_low_c is None or self.temp_high_c is None:
            return t
        return np.minimum(np.maximum(t, self.temp_low_c), self.temp_high_c)


class Isotherm(Protocol):
    """Anything that holds water at an activity and a temperature."""

    @property
    def within(self) -> Range:
        """Range of its source."""
        ...

    def ceiling(self, temp_c: float) -> float:
        """Highest activity at which the equation has a finite answer."""
        ...

    def water(self, *, aw: Array, temp_c: Floats) -> tuple[Array, Array]:
        """Water ratio and its slope in activity [kg/kg]; the range is not checked."""
        ...


def _fat_free(row: Row) -> float:
    """What turns a ratio per kg of dry solids as measured into one per kg of them without fat."""
    fat = row.number_or_none("fat_dry")
    return 1.0 / (1.0 - (fat or 0.0))


@dataclass(frozen=True, slots=True)
class Gab:
    """GAB; with k = 1 it is BET. Each constant is `value exp(heat / (R T))`, heats in J/mol."""

    monolayer: float
    monolayer_heat_j_per_mol: float
    guggenheim: float
    guggenheim_heat_j_per_mol: float
    k: float
    k_heat_j_per_mol: float
    within: Range
    fat_free: float = 1  # per kg of solids as measured

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of `isotherms_gab`, whose heats are printed in kJ/mol or as kelvin (over R)."""

        def heat(name: str) -> float:
            kelvin = row.number_or_none(f"{name}_kelvin")
            return (
                kelvin * GAS_J_PER_MOL_K if kelvin is not None else row.number_or_none(f"{name}_heat") or 0.0
            )

        return cls(
            row.number("monolayer"),
            heat("monolayer"),
            row.number("guggenheim"),
            heat("guggenheim"),
            row.number("k"),
            heat("k"),
            Range.from_row(row),
            _fat_free(row),
        )

    def at(self, temp_c: Floats) -> tuple[Array, Array, Array]:
        """Monolayer, Guggenheim constant and k at a temperature."""
        rt = GAS_J_PER_MOL_K * (self.within.held(temp_c) + KELVIN)
        return (
            self.fat_free * self.monolayer * np.exp(self.monolayer_heat_j_per_mol / rt),
            self.guggenheim * np.exp(self.guggenheim_heat_j_per_mol / rt),
            self.k * np.exp(self.k_heat_j_per_mol / rt),
        )

    def ceiling(self, temp_c: float) -> float:
        """Below 1/k, where the equation runs to infinity."""
        return min(AW_CEILING, 0.998 / float(self.at(temp_c)[2]))

    def water(self, *, aw: Array, temp_c: Floats) -> tuple[Array, Array]:
        """Water ratio and its slope."""
        monolayer, c, k = self.at(temp_c)
        return gab(aw=aw, monolayer=monolayer, guggenheim=c, k=k)


@dataclass(frozen=True, slots=True)
class Oswin:
    """Oswin: `X = (level + level_per_c t) (a / (1 - a))^(power + power_per_c t)`, t in °C."""

    level: float
    level_per_c: float
    power: float
    power_per_c: float
    within: Range
    fat_free: float = 1

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of `isotherms_oswin`; some print the level per 100 kg of solids."""
        per = row.number("per")
        return cls(
            per * row.number("level"),
            per * row.number("level_per_c"),
            row.number("power"),
            row.number("power_per_c"),
            Range.from_row(row),
            _fat_free(row),
        )

    def ceiling(self, temp_c: float) -> float:
        """Below pure water."""
        return AW_CEILING

    def water(self, *, aw: Array, temp_c: Floats) -> tuple[Array, Array]:
        """Water ratio and its slope."""
        t = self.within.held(temp_c)
        power = self.power + self.power_per_c * t
        ratio = self.fat_free * (self.level + self.level_per_c * t) * (aw / (1.0 - aw)) ** power
        return ratio, ratio * power / (aw * (1.0 - aw))


@dataclass(frozen=True, slots=True)
class ModifiedHenderson:
    """Modified Henderson: `1 - a = exp(-scale (t + offset) M^power)`, M in per cent of dry solids."""

    scale: float
    power: float
    offset_c: float
    within: Range
    fat_free: float = 1

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of `isotherms_henderson`."""
        scale, power, offset_c = (row.number(c) for c in ("scale", "power", "offset"))
        return cls(scale, power, offset_c, Range.from_row(row), _fat_free(row))

    def ceiling(self, temp_c: float) -> float:
        """Below pure water."""
        return AW_CEILING

    def water(self, *, aw: Array, temp_c: Floats) -> tuple[Array, Array]:
        """Water ratio and its slope."""
        t = self.within.held(temp_c)
        depth = -np.log1p(-aw)
        ratio = self.fat_free * 0.01 * (depth / (self.scale * (t + self.offset_c))) ** (1.0 / self.power)
        return ratio, ratio / (self.power * depth * (1.0 - aw))


@dataclass(frozen=True, slots=True)
class ChungPfost:
    """Chung-Pfost: `X = e - f ln(-(t + offset) ln a)`."""

    e: float
    f: float
    offset_c: float
    within: Range
    fat_free: float = 1

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of `isotherms_chung_pfost`.

        Some print `a = exp(-A / (t + offset) exp(-B M))` with M in per cent: the same equation.
        """
        b = row.number_or_none("b")
        if b is None:
            e, f = row.number("e"), row.number("f")
        else:
            e, f = 0.01 * float(np.log(row.number("a"))) / b, 0.01 / b
        return cls(e, f, row.number("offset"), Range.from_row(row), _fat_free(row))

    def ceiling(self, temp_c: float) -> float:
        """Below pure water."""
        return AW_CEILING

    def water(self, *, aw: Array, temp_c: Floats) -> tuple[Array, Array]:
        """Water ratio and its slope; straight to the origin where the equation would turn negative."""
        t = self.within.held(temp_c)
        a = np.maximum(aw, _STRAIGHT_BELOW)
        ratio = self.fat_free * (self.e - self.f * np.log(-(t + self.offset_c) * np.log(a)))
        dry = np.asarray(aw) < _STRAIGHT_BELOW
        slope = np.where(dry, ratio / _STRAIGHT_BELOW, -self.fat_free * self.f / (a * np.log(a)))
        return np.where(dry, slope * aw, ratio), slope


@dataclass(frozen=True, slots=True)
class SaltedMeat:
    """Salted meat per kg of fat-free salt-free solids, at a salt ratio in kg/kg of the same."""

    protein: ProteinIsotherm
    salt_ratio: float
    temp_low_c: float
    temp_high_c: float

    @property
    def within(self) -> Range:
        """The range of the lean isotherm; no effect of temperature was seen inside it."""
        return Range(self.protein.aw_low, self.protein.aw_high, self.temp_low_c, self.temp_high_c)

    def ceiling(self, temp_c: float) -> float:
        """Below pure water."""
        return AW_CEILING

    def water(self, *, aw: Array, temp_c: Floats) -> tuple[Array, Array]:
        """Water ratio and its slope."""
        a = np.asarray(aw, dtype=np.float64)
        return water_of_salted_meat(aw=a, salt_ratio=np.full(a.shape, self.salt_ratio), protein=self.protein)


@dataclass(frozen=True, slots=True)
class Scaled:
    """A class's isotherm moved by a factor to a person's own pairs."""

    isotherm: Isotherm
    factor: float
    within: Range

    def ceiling(self, temp_c: float) -> float:
        """As of the class."""
        return self.isotherm.ceiling(temp_c)

    def water(self, *, aw: Array, temp_c: Floats) -> tuple[Array, Array]:
        """Water ratio and its slope."""
        ratio, slope = self.isotherm.water(aw=aw, temp_c=temp_c)
        return self.factor * ratio, self.factor * slope


@dataclass(frozen=True, slots=True)
class Blend:
    """A dish: isotherms of its parts by share of its fat-free solids; the shares add up to 1."""

    parts: tuple[tuple[float, Isotherm], ...]

    @property
    def within(self) -> Range:
        """Where every part is within its own range."""
        return Range(
            _end([p.within.aw_low for _, p in self.parts], low=True),
            _end([p.within.aw_high for _, p in self.parts], low=False),
            _end([p.within.temp_low_c for _, p in self.parts], low=True),
            _end([p.within.temp_high_c for _, p in self.parts], low=False),
        )

    def ceiling(self, temp_c: float) -> float:
        """The lowest of the parts."""
        return min(part.ceiling(temp_c) for _, part in self.parts)

    def water(self, *, aw: Array, temp_c: Floats) -> tuple[Array, Array]:
        """Water ratio and its slope: the parts by mass."""
        ratio, slope = np.zeros(np.shape(aw)), np.zeros(np.shape(aw))
        for share, part in self.parts:
            one, rise = part.water(aw=aw, temp_c=temp_c)
            ratio, slope = ratio + share * one, slope + share * rise
        return ratio, slope


def _end(ends: list[float | None], *, low: bool) -> float | None:
    known = [end for end in ends if end is not None]
    if len(known) < len(ends):
        return None
    return max(known) if low else min(known)


_TABLES: dict[str, type[Gab] | type[Oswin] | type[ModifiedHenderson] | type[ChungPfost]] = {
    "isotherms_gab": Gab,
    "isotherms_oswin": Oswin,
    "isotherms_henderson": ModifiedHenderson,
    "isotherms_chung_pfost": ChungPfost,
}


def isotherm_of(*, library: Library, ref: str) -> Isotherm:
    """The isotherm of a row, such as "isotherms_gab:potato".

    Parameters
    ----------
    library : where rows come from
    ref : table and id of the row

    Returns
    -------
    the isotherm

    Raises
    ------
    NotFound, BadTable

    Source
    ------
    saltfare_chosen, one shape for every equation; each row names its own source
    """
    table, _, row_id = ref.partition(":")
    if table not in _TABLES:
        raise BadTable(f"{ref}: no table of isotherms")
    return _TABLES[table].from_row(library.row(table, row_id))


@dataclass(frozen=True, slots=True)
class FoodClass:
    """The isotherm taken for a class of foods, and how far authors differ for one food of it."""

    ref: str
    isotherm: Isotherm
    row: str
    spread_frac: float


def food_class(*, library: Library, class_id: str) -> FoodClass:
    """The isotherm chosen for a class of foods.

    Parameters
    ----------
    library : where rows come from
    class_id : id in the table `food_classes`

    Returns
    -------
    the class

    Raises
    ------
    NotFound, BadTable

    Source
    ------
    saltfare_chosen, the choice among rows that disagree stands in the table with its reason
    """
    row = library.row("food_classes", class_id)
    ref = row.text("isotherm")
    return FoodClass(row.ref, isotherm_of(library=library, ref=ref), ref, row.number("spread"))


def water_ratio(*, aw: Floats, temp_c: Floats, isotherm: Isotherm) -> Array:
    """Water held by an isotherm, within its range only: what a verdict may rest on.

    Parameters
    ----------
    aw : water activity [-]
    temp_c : [°C]
    isotherm : of any form

    Returns
    -------
    kg of water per kg of fat-free dry solids [kg/kg]

    Raises
    ------
    OutOfRange : also where the range was not read

    Source
    ------
    saltfare_chosen, the range is that of the isotherm's row
    """
    within = isotherm.within
    nothing = (np.inf, -np.inf)
    aw_ends = nothing if within.aw_low is None or within.aw_high is None else (within.aw_low, within.aw_high)
    temp_ends = (
        nothing
        if within.temp_low_c is None or within.temp_high_c is None
        else (within.temp_low_c, within.temp_high_c)
    )
    a = check_range(aw, low=aw_ends[0], high=aw_ends[1], model="water_ratio", quantity="aw")
    t = check_range(temp_c, low=temp_ends[0], high=temp_ends[1], model="water_ratio", quantity="temp_c")
    return isotherm.water(aw=a, temp_c=t)[0][()]
