"""A raw cut at another share of fat, and what curing leaves of it."""

from __future__ import annotations

import pytest

from saltfare.core import foods
from saltfare.core.errors import OutOfRange, Refused
from saltfare.models.composition import Amounts, Food
from saltfare.models.cured_food import cured_amounts, cut_at_fat

WATER = Food.from_row(foods.package_row("14411"))
LOIN = Food.from_row(foods.package_row("10062"))


def test_lean_brought_to_the_fat_of_lean_and_fat_agrees_with_usda_sr28() -> None:
    """Every raw cut the table gives both as lean and as lean with fat (pork, beef, lamb and game).

    Protein within 5 % for 99 of 100 of the 215 pairs, water and energy within 3 % for as many.
    """
    named = {one.name: one for one in foods.names()}
    apart: dict[str, list[float]] = {"protein": [], "water": [], "energy": []}
    for name, lean in named.items():
        if (
            "separable lean only" not in name
            or not name.endswith("raw")
            or lean.group not in ("10", "13", "17")
        ):
            continue
        both = named.get(name.replace("separable lean only", "separable lean and fat"))
        if both is None:
            continue
        printed = Food.from_row(foods.package_row(both.id)).per_kg
        made = cut_at_fat(
            food=Food.from_row(foods.package_row(lean.id)), mass_kg=1.0, fat_frac=printed["fat"]
        )
        for nutrient, found in apart.items():
            found.append(abs(made.known[nutrient] / printed[nutrient] - 1.0))
    assert len(apart["protein"]) == 215
    for nutrient, within in (("protein", 0.05), ("water", 0.03), ("energy", 0.03)):
        close = sum(value < within for value in apart[nutrient])
        assert close / 215 > 0.985, nutrient


def test_a_cut_at_its_own_fat_is_the_row() -> None:
    made = cut_at_fat(food=LOIN, mass_kg=2.0, fat_frac=LOIN.per_kg["fat"])
    assert made.known["energy"] == pytest.approx(2.0 * LOIN.per_kg["energy"])
    assert made.known["protein"] == pytest.approx(2.0 * LOIN.per_kg["protein"])
    assert made.known["iron"] == pytest.approx(2.0 * LOIN.per_kg["iron"])


def test_dry_matter_is_kept_and_water_is_what_the_mass_says() -> None:
    """usda_sr28 10062: 70.38 % water, 21.55 % protein; dried from 1000 g with 30 g of salt to 650 g."""
    meat = cut_at_fat(food=LOIN, mass_kg=1.0, fat_frac=LOIN.per_kg["fat"])
    salt = Amounts(0.030, {**dict.fromkeys(meat.known, 0.0), "sodium": 0.0118, "ash": 0.030}, {})
    cured = cured_amounts(parts=[meat, salt], water=WATER, mass_kg=0.650)
    assert cured.mass_kg == 0.650
    assert cured.known["protein"] == pytest.approx(0.2155)
    assert cured.known["water"] == pytest.approx(0.7038 + 0.650 - 1.030)
    assert cured.known["sodium"] == pytest.approx(0.0118 + 0.00048)
    assert cured.known["energy"] == pytest.approx(LOIN.per_kg["energy"])


def test_a_piece_heavier_than_its_parts_took_up_water() -> None:
    meat = cut_at_fat(food=LOIN, mass_kg=1.0, fat_frac=LOIN.per_kg["fat"])
    cured = cured_amounts(parts=[meat], water=WATER, mass_kg=1.080)
    assert cured.known["water"] == pytest.approx(0.7038 + 0.999 * 0.080)
    assert cured.known["protein"] == pytest.approx(0.2155)


def test_a_piece_lighter_than_its_dry_matter_is_refused() -> None:
    meat = cut_at_fat(food=LOIN, mass_kg=1.0, fat_frac=LOIN.per_kg["fat"])
    with pytest.raises(Refused) as told:
        cured_amounts(parts=[meat], water=WATER, mass_kg=0.25)
    assert told.value.problems[0].code == "cooked_lighter_than_solids"


@pytest.mark.parametrize("fat", [-0.1, 1.0, float("nan")])
def test_a_share_of_fat_that_cannot_be(fat: float) -> None:
    with pytest.raises(OutOfRange):
        cut_at_fat(food=LOIN, mass_kg=1.0, fat_frac=fat)
