"""A raw cut at another share of fat than the food table's, and what curing leaves of it."""

from __future__ import annotations

from collections.abc import Sequence

from saltfare.core.errors import OutOfRange
from saltfare.models.composition import DERIVED, NUTRIENTS, Amounts, Food, energies_known
from saltfare.models.dish import dish_cooked

# What goes with the fat of a cut; everything else goes with what is not fat.
_IN_FAT = ("fat", "saturates", "monounsaturates", "polyunsaturates", "trans_fat", "vitamin_e")


def cut_at_fat(*, food: Food, mass_kg: float, fat_frac: float) -> Amounts:
    """A raw cut of a given share of fat, its lean as the food table's.

    Cholesterol, which lies in lean and fat alike, is left as it is.

    Parameters
    ----------
    food : the cut as listed, its fat known and not 0
    mass_kg : of the cut, without bone [kg]
    fat_frac : its share of fat [kg/kg]

    Returns
    -------
    amounts; energy moved by the food's own factors

    Raises
    ------
    OutOfRange where the share is none, or the table gives the cut no fat

    Source
    ------
    saltfare_derived, mass balance of fat and what is not fat
    """
    listed = food.per_kg.get("fat", 0.0)
    if not 0.0 <= fat_frac < 1.0 or not 0.0 < listed < 1.0:
        raise OutOfRange("cut_at_fat", "fat", fat_frac, 0.0, 1.0)
    lean = (1.0 - fat_frac) / (1.0 - listed)
    known = {}
    for name, value in food.per_kg.items():
        scale = fat_frac / listed if name in _IN_FAT else 1.0 if name == "cholesterol" else lean
        known[name] = value * scale * mass_kg
    listed_j = food.per_kg.get("energy")
    known.pop("energy", None)
    known |= energies_known(
        food=food, mass_kg=mass_kg, known=known, listed_j=None if listed_j is None else listed_j * mass_kg
    )
    missing = {name: (food.name,) for name in (*NUTRIENTS, *DERIVED) if name not in known}
    return Amounts(mass_kg, known, missing)


def cured_amounts(*, parts: Sequence[Amounts], water: Food, mass_kg: float) -> Amounts:
    """What a cured piece holds: its dry matter and the salt and sugar it took up are kept, water is the rest.

    Parameters
    ----------
    parts : the raw cut, and salt and sugar taken up
    water : what a piece that weighs more than its parts has taken up
    mass_kg : of the piece now, nothing cut off [kg]

    Returns
    -------
    amounts in the piece

    Raises
    ------
    Refused: mass_not_positive, cooked_lighter_than_solids

    Source
    ------
    saltfare_derived, mass balance: dry matter, salt and sugar stay
    """
    gained = mass_kg - sum(part.mass_kg for part in parts)
    if gained > 0.0:
        known = {name: value * gained for name, value in water.per_kg.items()}
        known |= energies_known(food=water, mass_kg=gained, known=known, listed_j=known.get("energy"))
        parts = (*parts, Amounts(gained, known, {}))
    return dish_cooked(parts=parts, cooked_mass_kg=mass_kg, left_behind_kg=0.0)
