"""A recipe to the dish as cooked, as dried and as packed."""

from __future__ import annotations

import dataclasses

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from saltfare.core import foods, tables
from saltfare.core.errors import Refused
from saltfare.models import composition, dish
from saltfare.models.composition import Food
from saltfare.models.cooking import Ingredient, Retention

WATER = Food(
    "foods:pure", "water", {**dict.fromkeys(composition.NUTRIENTS, 0.0), "water": 1.0}, (None,) * 3, None, 0.0
)


def line(name: str, food_id: str, grams: float, code: str = "") -> Ingredient:
    retention = Retention.from_row(tables.load("retention").row(code)) if code else None
    return Ingredient(name, Food.from_row(foods.package_row(food_id)), grams / 1000, 1.0, retention, None)


def stew() -> list[Ingredient]:
    return [
        line("lentils", "16069", 120, "502"),
        line("brown rice", "20036", 60, "432"),
        line("onion", "11282", 100, "3776"),
        line("tomato", "11529", 250, "3751"),
        line("carrot", "11124", 80, "3456"),
        line("olive oil", "04053", 15),
        line("salt", "02047", 6),
        Ingredient("water", WATER, 0.650, 1.0, None, None),
    ]


def made(ingredients: list[Ingredient], **changes: object) -> dish.Dish:
    given_: dict[str, object] = {
        "cooked_mass_kg": 1.050,
        "left_behind_kg": 0.0,
        "target_water_frac": 0.06,
        "drying": None,
    }
    return dish.dish(ingredients=ingredients, **(given_ | changes))  # type: ignore[arg-type]


def test_the_stew_worked_out_by_hand_comes_out_the_same() -> None:
    # worked by another reader from the release and the retention table, in g, mg and kcal
    found = made(stew())
    raw, cooked, dried = found.put_in, found.cooked, found.dried
    assert dried is not None
    for name, grams in (("protein", 38.12), ("fat", 18.98), ("carbohydrate", 148.50), ("ash", 12.34)):
        assert raw.value(name) == pytest.approx(grams / 1000, abs=1e-5), name
    assert raw.value("fibre") == pytest.approx(0.02194, abs=1e-5)
    assert raw.value("sodium") == pytest.approx(2.408e-3, abs=1e-6)
    assert raw.value("potassium") == pytest.approx(1.9575e-3, abs=1e-7)
    assert raw.value("energy") == pytest.approx(893 * 4184, rel=1e-3)
    for name, milligrams in (("potassium", 1787.6), ("vitamin_c", 46.1), ("thiamin", 1.170)):
        # printed to the last digit shown
        assert cooked.value(name) == pytest.approx(milligrams * 1e-6, rel=2e-3), name
    assert cooked.value("folate") == pytest.approx(437.8e-9, rel=1e-3)
    assert cooked.value("water") == pytest.approx(0.8320, abs=1e-4)
    assert dish.water_frac(amounts=cooked) == pytest.approx(0.7924, abs=1e-4)
    assert found.water_gone_kg == pytest.approx(0.231)
    assert dried.mass_kg == pytest.approx(0.2319, abs=5e-5)
    assert found.dried_off_kg == pytest.approx(0.8181, abs=5e-5)
    per_100_g = composition.portion(amounts=dried, mass_kg=0.1)
    assert per_100_g.value("energy") == pytest.approx(385 * 4184, rel=1e-3)
    packs = dish.dish_packs(amounts=dried, count=4, pack_mass_kg=None)
    assert packs.each.mass_kg == pytest.approx(0.0580, abs=5e-5)
    assert packs.each.value("energy") == pytest.approx(223 * 4184, rel=2e-3)
    assert packs.each.value("sodium") == pytest.approx(602e-6, rel=1e-3)
    assert packs.each.value("protein") == pytest.approx(0.0095, abs=5e-5)


@pytest.mark.parametrize(("water", "grams"), [(0.05, 229.4), (0.08, 236.9)])
def test_the_dried_mass_follows_the_target(water: float, grams: float) -> None:
    dried = made(stew(), target_water_frac=water).dried
    assert dried is not None
    assert dried.mass_kg * 1000 == pytest.approx(grams, abs=0.05)


@pytest.mark.parametrize(
    ("fresh", "dry", "ratio"),
    # raw over dried mass by solids: onion 8.82, apple 6.72 and 4.73, banana 3.87, egg 4.08, milk 8.22
    [
        ("11282", "11284", 8.82),
        ("09003", "09009", 6.72),
        ("09003", "09011", 4.73),
        ("09040", "09041", 3.87),
        ("01123", "01133", 4.08),
        ("01077", "01090", 8.22),
    ],
)
def test_raw_food_dried_is_the_dried_food_of_usda_sr28(fresh: str, dry: str, ratio: float) -> None:
    printed = foods.package_row(dry)
    found = made([line("x", fresh, 1000)], cooked_mass_kg=None, target_water_frac=printed.number("water"))
    assert found.dried is not None
    assert 1.0 / found.dried.mass_kg == pytest.approx(ratio, abs=0.01)
    energy = composition.portion(amounts=found.dried, mass_kg=1.0).value("energy")
    # fresh and dried samples are of different cultivars
    assert energy == pytest.approx(printed.number("energy"), rel=0.02)


def test_tomato_is_the_known_miss() -> None:
    printed = foods.package_row("11955")
    found = made([line("x", "11529", 1000)], cooked_mass_kg=None, target_water_frac=printed.number("water"))
    assert found.dried is not None
    energy = composition.portion(amounts=found.dried, mass_kg=1.0).value("energy")
    assert energy is not None
    assert 1.06 < energy / printed.number("energy") < 1.12


def test_solids_and_salt_stay_through_cooking_and_drying() -> None:
    found = made(stew())
    assert found.dried is not None
    solids = dish.solids_kg(amounts=found.put_in)
    assert dish.solids_kg(amounts=found.cooked) == pytest.approx(solids)
    assert dish.solids_kg(amounts=found.dried) == pytest.approx(solids)
    for name in ("protein", "fat", "carbohydrate", "ash", "energy", "energy_eu", "fibre"):
        assert found.dried.value(name) == pytest.approx(found.cooked.value(name))
    # what is put in closes to half a gram in the kilogram, and stays as close
    gap = composition.closure_gap(amounts=found.dried)
    assert gap is not None
    assert abs(gap * found.dried.mass_kg) < 5e-4


@settings(max_examples=40, deadline=None)
@given(
    cooked=st.floats(0.5, 1.281),
    left=st.floats(0.0, 0.1),
    water=st.floats(0.0, 0.4),
)
def test_mass_is_never_made_or_lost(cooked: float, left: float, water: float) -> None:
    if cooked + left > 1.281:
        return
    found = made(stew(), cooked_mass_kg=cooked, left_behind_kg=left, target_water_frac=water)
    assert found.dried is not None
    assert found.dried_off_kg is not None
    assert found.dried.mass_kg + found.dried_off_kg == pytest.approx(cooked)
    assert found.cooked.mass_kg + left + found.water_gone_kg == pytest.approx(1.281)
    assert dish.water_frac(amounts=found.dried) == pytest.approx(water, abs=1e-9)
    solids = dish.solids_kg(amounts=found.put_in)
    assert solids is not None
    assert dish.solids_kg(amounts=found.dried) == pytest.approx(solids * cooked / (cooked + left))


def test_a_pot_that_was_not_weighed_is_said_to_be_so() -> None:
    found = made(stew(), cooked_mass_kg=None)
    assert not found.weighed
    assert found.cooked.mass_kg == pytest.approx(1.281)
    assert found.water_gone_kg == 0.0


def test_drying_takes_vitamins_by_the_only_factors_there_are() -> None:
    # usda_r6_2007, code 158, fruits dried: vitamin C 20, thiamin 70, iron 100
    drying = Retention.from_row(tables.load("retention").row("158"))
    found = made(stew(), drying=drying)
    assert found.drying_estimated
    assert found.dried is not None
    for name, share in (("vitamin_c", 0.20), ("thiamin", 0.70), ("iron", 1.0)):
        assert found.dried.value(name) == pytest.approx(share * (found.cooked.value(name) or 0.0))
    assert found.dried.value("protein") == found.cooked.value("protein")


def test_an_ingredient_without_composition_is_named_and_never_zero() -> None:
    unknown = Ingredient("invented herb mix", None, 0.010, 1.0, None, None)
    found = made([*stew(), unknown], cooked_mass_kg=1.060)
    assert found.without_composition == ("invented herb mix",)
    assert found.dried is None
    assert found.dried_off_kg is None
    assert dish.water_frac(amounts=found.cooked) is None
    for name in ("energy", "protein", "water", "sodium", "energy_eu"):
        assert found.cooked.value(name) is None
        assert "invented herb mix" in found.cooked.missing[name]
        least = found.cooked.at_least(name)
        assert least is not None
        assert least > 0.0
    assert found.cooked.mass_kg == pytest.approx(1.060)


def test_water_of_which_more_went_than_was_known_is_not_known() -> None:
    unknown = Ingredient("invented broth", None, 0.5, 1.0, None, None)
    found = made([line("onion", "11282", 100), unknown], cooked_mass_kg=0.2, target_water_frac=None)
    assert found.cooked.value("water") is None
    assert found.cooked.at_least("water") is None
    assert found.cooked.at_least("protein") == pytest.approx(0.0011)


def test_alcohol_dries_off_with_the_water() -> None:
    found = made(
        [line("rice", "20044", 100), line("wine", "14096", 400)], cooked_mass_kg=None, target_water_frac=0.08
    )
    assert found.dried is not None
    assert dish.water_frac(amounts=found.dried) == pytest.approx(0.08)
    wine, water = found.cooked.known["alcohol"], found.cooked.known["water"]
    assert found.dried.known["alcohol"] / wine == pytest.approx(found.dried.known["water"] / water)
    assert found.dried.known["energy"] < found.cooked.known["energy"]


@pytest.mark.parametrize(
    ("changes", "code", "field"),
    [
        ({"cooked_mass_kg": 1.300}, "cooked_heavier_than_put_in", "cooked_mass"),
        ({"cooked_mass_kg": 1.250, "left_behind_kg": 0.05}, "cooked_heavier_than_put_in", "cooked_mass"),
        ({"cooked_mass_kg": 0.200}, "cooked_lighter_than_solids", "cooked_mass"),
        ({"cooked_mass_kg": 0.0}, "mass_not_positive", "cooked_mass"),
        ({"cooked_mass_kg": float("nan")}, "mass_not_positive", "cooked_mass"),
        ({"left_behind_kg": -0.01}, "mass_not_positive", "left_behind"),
        ({"target_water_frac": -0.05}, "target_water_impossible", "target_water"),
        ({"target_water_frac": 1.0}, "target_water_impossible", "target_water"),
        ({"target_water_frac": float("nan")}, "target_water_impossible", "target_water"),
        ({"target_water_frac": 0.85}, "target_wetter_than_dish", "target_water"),
    ],
)
def test_what_cannot_be_is_refused(changes: dict[str, object], code: str, field: str) -> None:
    with pytest.raises(Refused) as error:
        made(stew(), **changes)
    assert [(problem.code, problem.field) for problem in error.value.problems] == [(code, field)]


def test_a_wrong_target_is_refused_where_the_solids_are_unknown_too() -> None:
    with pytest.raises(Refused):
        made([Ingredient("x", None, 1.0, 1.0, None, None)], cooked_mass_kg=None, target_water_frac=-0.1)


def test_every_wrong_line_is_told_at_once() -> None:
    wrong = [dataclasses.replace(one, mass_kg=-1.0) for one in stew()[:2]]
    with pytest.raises(Refused) as error:
        made([*wrong, *stew()[2:]])
    assert [problem.field for problem in error.value.problems] == ["ingredients.0.mass", "ingredients.1.mass"]
    with pytest.raises(Refused):
        made([])


@pytest.mark.parametrize(
    ("count", "pack_mass_kg", "code"),
    [
        (0, None, "packs_not_positive"),
        (-1, 0.1, "packs_not_positive"),
        (2, 0.0, "packs_not_positive"),
        (2, float("nan"), "packs_not_positive"),
        (3, 0.11, "packs_exceed_dish"),
    ],
)
def test_packs_that_cannot_be_are_refused(count: int, pack_mass_kg: float | None, code: str) -> None:
    whole = composition.Amounts(0.3, {"protein": 0.03}, {})
    with pytest.raises(Refused) as error:
        dish.dish_packs(amounts=whole, count=count, pack_mass_kg=pack_mass_kg)
    assert error.value.problems[0].code == code


def test_packs_and_what_is_left_over_are_the_dish() -> None:
    whole = composition.Amounts(0.3, {"protein": 0.03}, {})
    packs = dish.dish_packs(amounts=whole, count=2, pack_mass_kg=0.12)
    assert packs.left_over_kg == pytest.approx(0.06)
    assert packs.each.value("protein") == pytest.approx(0.012)
    assert dish.dish_packs(amounts=whole, count=3, pack_mass_kg=0.1).left_over_kg == 0.0


def test_ingredients_stand_in_descending_mass() -> None:
    found = dish.ingredient_order(
        masses_kg=[("salt", 0.006), ("onion", 0.1), ("carrot", 0.1), ("tomato", 0.2), ("tomato", 0.05)],
        water_kg=0.5,
        finished_kg=0.12,
        water_name="water",
    )
    assert [name for name, _ in found] == ["tomato", "onion", "carrot", "salt"]


@pytest.mark.parametrize(
    ("finished_kg", "named"),
    # eu_1169_2011, Annex VII part A: water put in is what the finished food weighs above the rest, named
    # above 5 % of it
    [(0.90, True), (0.476, False), (0.481, True), (0.2, False)],
)
def test_added_water_is_named_as_the_eu_says(finished_kg: float, named: bool) -> None:
    found = dish.ingredient_order(
        masses_kg=[("onion", 0.456)], water_kg=0.5, finished_kg=finished_kg, water_name="water"
    )
    assert ("water" in dict(found)) is named
    if named:
        assert dict(found)["water"] == pytest.approx(finished_kg - 0.456)


@given(st.integers(0, 10**7), st.lists(st.floats(0.01, 100.0), min_size=1, max_size=30))
def test_shared_money_adds_up(total_minor: int, weights: list[float]) -> None:
    parts = dish.shares_minor(total_minor=total_minor, weights=weights)
    assert sum(parts) == total_minor
    whole = sum(weights)
    assert all(
        abs(part - total_minor * weight / whole) < 1.0 + 1e-6
        for part, weight in zip(parts, weights, strict=True)
    )


def test_cost_is_whole_minor_units_and_names_what_has_no_price() -> None:
    found = dish.ingredients_cost(
        bought_kg=[("lentils", 0.12), ("rice", 0.06), ("salt", 0.006), ("salt", 0.001)],
        price_minor_per_kg={"lentils": 398.0, "rice": 250.0},
    )
    assert found == dish.Cost(63, ("salt",))  # 47.76 + 15.00
    half = dish.ingredients_cost(bought_kg=[("x", 0.5), ("x", 0.5)], price_minor_per_kg={"x": 1.0})
    assert half.known_minor == 1
    assert dish.ingredients_cost(bought_kg=[("x", 0.005)], price_minor_per_kg={"x": 100.0}).known_minor == 1
