"""What cooking does to one ingredient: what drips off, what evaporates, which nutrients are kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Self

from saltfare.core.errors import OutOfRange, Problem, Refused
from saltfare.core.tables import Row
from saltfare.models.composition import (
    DERIVED,
    NUTRIENTS,
    Amounts,
    Food,
    energies_known,
    missing_all,
)

# Nutrients with a factor of their own name in the retention table; folate as equivalents goes with folate.
_FACTORS = (
    *("alcohol", "calcium", "iron", "magnesium", "phosphorus", "potassium", "sodium", "zinc", "copper"),
    *("vitamin_a", "vitamin_c", "thiamin", "riboflavin", "niacin", "vitamin_b6", "folate", "vitamin_b12"),
    "choline",
)
# What is part of what: when fat or the other solids drip off, these go with them.
_IN_FAT = ("saturates", "monounsaturates", "polyunsaturates", "trans_fat", "cholesterol", "vitamin_e")
_IN_CARBOHYDRATE = ("fibre", "sugars")
_OTHER_SOLIDS = ("protein", "carbohydrate", "ash")
# Chosen: drippings carry off no more than this of the raw mass as protein and salts; the consistent rows of
# the table stay within it. Solids are never gained.
_SOLIDS_LOST_MOST = 0.05


@dataclass(frozen=True, slots=True)
class Retention:
    """Shares of nutrients that are still there after a way of cooking. ref: "retention:code"."""

    ref: str
    kept_frac: Mapping[str, float]

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of the table `retention`."""
        kept = {name: row.number_or_none(name) for name in _FACTORS}
        kept["folate_dfe"] = kept["folate"]
        return cls(row.ref, {name: value for name, value in kept.items() if value is not None})


@dataclass(frozen=True, slots=True)
class CookingChange:
    """Change of mass of one ingredient cooked by itself and drained. ref: "yields:id".

    yield_frac: cooked over raw mass. water_change, fat_change: kg per kg raw, negative where lost; None
    where not printed, and then the whole change of mass is taken as water.

    The yield is weighed and is kept to. Two in five of the table's rows print a change of moisture that
    does not fit it (with bone or skin on, it was reckoned on another basis): there water is
    what the yield and the fat leave.
    """

    ref: str
    yield_frac: float
    water_change: float | None
    fat_change: float | None

    @property
    def solids_lost(self) -> float:
        """Solids but fat that drip off, kg per kg raw, 0 or negative."""
        if self.water_change is None or self.fat_change is None:
            return 0.0
        rest = self.yield_frac - 1.0 - self.water_change - self.fat_change
        return rest if -_SOLIDS_LOST_MOST <= rest <= 0.0 else 0.0

    @property
    def water_lost(self) -> float:
        """Water that goes, kg per kg raw, negative where lost."""
        return self.yield_frac - 1.0 - (self.fat_change or 0.0) - self.solids_lost

    @property
    def moisture_fits(self) -> bool:
        """Whether the printed change of moisture is the one used, to the rounding of the yield."""
        return self.water_change is not None and abs(self.water_lost - self.water_change) <= 0.01

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of the table `yields`."""
        return cls(
            row.ref,
            row.number("yield"),
            row.number_or_none("water_change"),
            row.number_or_none("fat_change"),
        )


@dataclass(frozen=True, slots=True)
class Ingredient:
    """One line of a recipe.

    food: None where no composition is known. mass_kg: as weighed. edible_frac: the share of that which
    goes into the pot. retention, change: what cooking does to it, None where nothing is counted.
    """

    name: str
    food: Food | None
    mass_kg: float
    edible_frac: float
    retention: Retention | None
    change: CookingChange | None

    @property
    def edible_kg(self) -> float:
        """What goes into the pot."""
        return self.mass_kg * self.edible_frac


def ingredient_problems(*, ingredient: Ingredient, field: str) -> tuple[Problem, ...]:
    """What is wrong with an ingredient as typed, as problems of `field`.

    Source
    ------
    saltfare_chosen, what a mass and an edible share can be
    """
    out = []
    if not 0.0 < ingredient.mass_kg < float("inf"):
        out.append(Problem("mass_not_positive", f"{field}.mass", f"{ingredient.mass_kg:.6g} kg"))
    if not 0.0 < ingredient.edible_frac <= 1.0:
        out.append(
            Problem("edible_share_impossible", f"{field}.edible_share", f"{ingredient.edible_frac:.6g}")
        )
    return tuple(out)


def ingredient_amounts(*, ingredient: Ingredient, cooked: bool) -> Amounts:
    """What one ingredient brings to the pot, raw, or after its own cooking and with what is kept.

    Nutrients without a retention factor are taken as kept. Fat that drips off takes its fatty acids,
    cholesterol and vitamin E along; other solids lost take fibre and sugars.

    Parameters
    ----------
    ingredient : the line
    cooked : whether change and retention are applied

    Returns
    -------
    amounts, everything named missing where there is no composition

    Raises
    ------
    Refused for a mass or share that cannot be; OutOfRange where a change takes more than is there

    Source
    ------
    usda_r6_2007, application of retention factors to the raw ingredient
    usda_r2_2014, yield, moisture and fat change
    saltfare_chosen, the yield is kept to where the moisture printed does not fit it
    greenfield_southgate_2003, calculation of recipes
    """
    problems = ingredient_problems(ingredient=ingredient, field="ingredient")
    if problems:
        raise Refused(*problems)
    edible_kg, food = ingredient.edible_kg, ingredient.food
    if food is None:
        return Amounts(edible_kg, {}, missing_all(name=ingredient.name, nutrients=(*NUTRIENTS, *DERIVED)))
    known = {name: value * edible_kg for name, value in food.per_kg.items()}
    listed_j = known.pop("energy", None)
    mass_kg = edible_kg
    if cooked and ingredient.change is not None:
        mass_kg = _changed(known, edible_kg, ingredient.change)
    if cooked and ingredient.retention is not None:
        before = known.get("alcohol", 0.0)
        for name, kept in ingredient.retention.kept_frac.items():
            if name in known:
                known[name] *= kept
        mass_kg -= before - known.get("alcohol", 0.0)
    known |= energies_known(food=food, mass_kg=edible_kg, known=known, listed_j=listed_j)
    missing = {name: (ingredient.name,) for name in (*NUTRIENTS, *DERIVED) if name not in known}
    return Amounts(mass_kg, known, missing)


def _changed(known: dict[str, float], edible_kg: float, change: CookingChange) -> float:
    """Apply a change of mass in place; the mass after it."""
    _add(known, "water", edible_kg * change.water_lost, change)
    in_fat = _add(known, "fat", edible_kg * (change.fat_change or 0.0), change)
    _scale(known, _IN_FAT, in_fat)
    solids_kg = sum(known.get(name, 0.0) for name in _OTHER_SOLIDS)
    lost_kg = edible_kg * change.solids_lost
    if lost_kg < -solids_kg:
        raise OutOfRange(change.ref, "solids", lost_kg, -solids_kg, float("inf"))
    if lost_kg < 0.0:
        _scale(known, (*_OTHER_SOLIDS, *_IN_CARBOHYDRATE), 1.0 + lost_kg / solids_kg)
    return edible_kg * change.yield_frac


def _add(known: dict[str, float], name: str, change_kg: float, change: CookingChange) -> float:
    """Add to a known amount; what it became over what it was. Nothing where it is missing."""
    if name not in known:
        return 1.0
    before = known[name]
    known[name] = before + change_kg
    if known[name] < 0.0:
        raise OutOfRange(change.ref, name, change_kg, -before, float("inf"))
    return known[name] / before if before > 0.0 else 1.0


def _scale(known: dict[str, float], parts: tuple[str, ...], ratio: float) -> None:
    for name in parts:
        if name in known:
            known[name] *= ratio


def mass_change(*, yield_frac: float, raw_frac: float, cooked_frac: float) -> float:
    """Change of water or fat per kg raw, from its share before and after and the yield.

    Parameters
    ----------
    yield_frac : cooked over raw mass [-]
    raw_frac, cooked_frac : share of water, or of fat, before and after [kg/kg]

    Returns
    -------
    change, negative where lost [kg per kg raw]

    Source
    ------
    usda_r2_2014, definition of moisture and fat gain or loss
    """
    return cooked_frac * yield_frac - raw_frac


def true_retention(*, yield_frac: float, raw_per_kg: float, cooked_per_kg: float) -> float:
    """Share of a nutrient still there, from its content before and after and the yield.

    Parameters
    ----------
    yield_frac : cooked over raw mass [-]
    raw_per_kg, cooked_per_kg : contents [kg/kg]

    Returns
    -------
    share kept [-]

    Source
    ------
    murphy_1975, true retention
    """
    return cooked_per_kg * yield_frac / raw_per_kg


def yield_from_solids(*, water_raw_frac: float, water_cooked_frac: float) -> float:
    """Yield of a food that loses and gains water only: solids before are solids after.

    Parameters
    ----------
    water_raw_frac, water_cooked_frac : share of water before and after, below 1 [kg/kg]

    Returns
    -------
    cooked over raw mass [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_derived, mass balance of solids
    """
    if not water_raw_frac < 1.0 or not water_cooked_frac < 1.0:
        raise OutOfRange("yield_from_solids", "water", max(water_raw_frac, water_cooked_frac), 0.0, 1.0)
    return (1.0 - water_raw_frac) / (1.0 - water_cooked_frac)


def concentrated(*, per_kg: float, water_from_frac: float, water_to_frac: float) -> float:
    """Content of something that stays, when water goes from one share to another.

    Parameters
    ----------
    per_kg : content before [per kg]
    water_from_frac, water_to_frac : share of water before and after, below 1 [kg/kg]

    Returns
    -------
    content after [per kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_derived, mass balance of solids
    """
    return per_kg / yield_from_solids(water_raw_frac=water_from_frac, water_cooked_frac=water_to_frac)
