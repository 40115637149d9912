"""Own foods: off their labels into recipes and the search, corrected, dropped, and labels that cannot be."""

from __future__ import annotations

from typing import Any

import pytest
from households import House

from saltfare.actions.food_book import find, food_row, known_by_name
from saltfare.actions.own_foods import own_foods
from saltfare.core.errors import Refused
from saltfare.models.composition import Food, energy_eu
from saltfare.models.declared import UNKNOWN

# Invented: a soup powder as an EU label prints it, no expected value of anything.
SOUP: dict[str, Any] = {
    "name": "Marrow Fold soup powder (invented)",
    "law": "eu",
    "energy": "1450 kJ",
    "fat": "9 g",
    "saturates": "4.5 g",
    "carbohydrate": "52 g",
    "sugars": "9 g",
    "fibre": "6 g",
    "protein": "11 g",
    "salt": "12 g",
    "allergens": ["celery", "milk"],
    "may_contain": ["mustard"],
}


def refused(house: House, /, **changes: Any) -> dict[str, str]:
    """Field -> code of what stands against a label."""
    with pytest.raises(Refused) as told:
        house.do("keep_food", **{**SOUP, **changes})
    return {problem.field: problem.code for problem in told.value.problems}


def kept(house: House, /, **changes: Any) -> str:
    return str(house.do("keep_food", **{**SOUP, **changes}).food)


def test_a_kept_food_is_a_row_of_the_table_for_everyone(house: House) -> None:
    food = kept(house)
    row = food_row(house.context(), food)
    per_kg = Food.from_row(row).per_kg
    assert per_kg["energy"] == pytest.approx(14.5e6)
    # eu_1169_2011, Annex I: carbohydrate is without fibre, salt is 2.5 times sodium
    assert per_kg["carbohydrate"] == pytest.approx(0.58)
    assert per_kg["sodium"] == pytest.approx(0.048)
    assert row.cite == f"own_label, {SOUP['name']}"
    # eu_1169_2011, Annex XIV factors on what was typed
    reckoned = energy_eu(protein_kg=0.11, fat_kg=0.09, available_kg=0.52, fibre_kg=0.06, alcohol_kg=0.0)
    assert per_kg["energy"] == pytest.approx(reckoned, rel=0.01)


def test_the_search_finds_it_mistyped_and_ahead_of_the_table(house: House) -> None:
    food = kept(house)
    assert find(house.context(), "marow fold soup").foods[0].food == food
    assert find(house.context(), "soup powder").foods[0].known_as == "own"


def test_what_a_label_does_not_say_stays_missing(house: House) -> None:
    food = kept(house, fibre=None, salt=None)
    per_kg = Food.from_row(food_row(house.context(), food)).per_kg
    assert not {"carbohydrate", "fibre", "sodium", "water"} & set(per_kg)
    (shown,) = house.do("foods").foods
    assert shown.water.value is None
    assert set(shown.missing) == {
        *("trans_fat", "cholesterol", "carbohydrate", "fibre", "sodium", "potassium", "calcium", "iron")
    }
    assert {note.code for note in shown.water.notes} == {"label_fibre_missing", "label_water_missing"}


def test_per_serving_is_the_same_food_and_the_serving_a_measure_of_it(house: House) -> None:
    amounts = {k: v for k, v in SOUP.items() if k not in ("name", "law", "allergens", "may_contain")}
    serving = {name: f"{float(text.split()[0]) * 0.35:g} {text.split()[1]}" for name, text in amounts.items()}
    per_100_g = Food.from_row(food_row(house.context(), kept(house))).per_kg
    food = kept(house, name="By the serving", per="serving", serving="35 g", pack="70 g", **serving)
    assert Food.from_row(food_row(house.context(), food)).per_kg == pytest.approx(dict(per_100_g))
    (measure,) = own_foods(house.context())[food].measures
    assert (measure.name, measure.mass_kg) == ("serving", pytest.approx(0.035))


def test_what_is_declared_reaches_the_recipe(house: House) -> None:
    food = kept(house)
    declared = own_foods(house.context())[food].declared
    assert declared.allergens == {"celery", "milk"}
    assert declared.allergens_unsure == {"mustard"}
    assert declared.holds is None
    assert known_by_name(house.context(), " marrow FOLD soup powder (invented)") == declared
    assert known_by_name(house.context(), "mustard seed of a neighbour") is UNKNOWN
    assert known_by_name(house.context(), "Black pepper").allergens == frozenset()


def test_a_label_typed_anew_stands_and_the_first_stays_readable(house: House) -> None:
    food = kept(house)
    house.do("keep_food", 1, **{**SOUP, "food": food, "energy": "1480 kJ"})
    (shown,) = house.do("foods", 1).foods
    assert shown.energy.value == pytest.approx(1480e3)
    assert [event.body.amounts["energy"].typed for event in house.journal.events(f"food/{food}")] == [
        "1450 kJ",
        "1480 kJ",
    ]
    house.do("correct", 2, event_id=shown.kept_id, what="withdraw", why="the wrong packet")
    (shown,) = house.do("foods", 2).foods
    assert shown.energy.value == pytest.approx(1450e3)
    house.do("correct", 3, event_id=shown.kept_id, what="withdraw")
    assert house.do("foods", 3).foods == ()
    assert food not in own_foods(house.context(3))


def test_a_dropped_food_is_offered_no_more_and_recipes_keep_it(house: House) -> None:
    food = kept(house)
    house.do("drop_food", 1, food=food, why="no longer made")
    assert house.do("foods", 1).foods == ()
    (shown,) = house.do("foods", 1, all=True).foods
    assert shown.dropped
    assert food not in {one.food for one in find(house.context(1), "Marrow Fold soup powder").foods}
    assert food_row(house.context(1), food).text("name") == SOUP["name"]
    with pytest.raises(Refused) as told:
        house.do("drop_food", 1, food=food)
    assert told.value.problems[0].code == "food_dropped_already"
    house.do("correct", 2, event_id=shown.dropped_id, what="withdraw")
    assert len(house.do("foods", 2).foods) == 1


def test_names_in_any_script_get_an_id_and_no_two_the_same(house: House) -> None:
    names = ("Суп", "湯の素", "Grün", "grun", "=#$ [x]")
    ids = [kept(house, name=name) for name in names]
    assert len(set(ids)) == len(names)
    assert [one.label.name for one in house.do("foods").foods] == list(names)


def test_energy_far_from_its_nutrients_is_kept_with_a_warning_of_its_size(house: House) -> None:
    done = house.do("keep_food", **{**SOUP, "energy": "3450 kJ"})
    (note, _) = done.notes
    assert note.code == "label_energy_above"
    # Annex XIV: 17 x (11 + 52) + 37 x 9 + 8 x 6 = 1452 kJ
    assert note.params["apart_j"] == pytest.approx((3450 - 1452) * 1e3)


@pytest.mark.parametrize(
    ("changes", "field", "code"),
    [
        ({"per": "serving", "serving": "80 g", "pack": "60 g"}, "serving", "serving_above_pack"),
        ({"per": "serving"}, "serving", "serving_missing"),
        ({"protein": "-3 g"}, "protein", "impossible"),
        ({"protein": -0.003}, "protein", "impossible"),
        ({"protein": "3 ml"}, "protein", "unit_wrong_kind"),
        ({"protein": "3 smidgens"}, "protein", "unit_unknown"),
        ({"energy": "350 g"}, "energy", "unit_wrong_kind"),
        ({"protein": "3 g 5 g"}, "protein", "parts_disagree"),
        ({"protein": float("nan")}, "protein", "not_a_quantity"),
        ({"saturates": "12 g"}, "saturates", "label_part_exceeds_whole"),
        ({"protein": "48 g"}, "energy", "label_exceeds_basis"),
        ({"allergens": ["gold"]}, "allergens", "not_one_of"),
        ({"holds": ["gold"]}, "holds", "not_one_of"),
        ({"group": "99"}, "group", "not_one_of"),
        ({"food": "own-nobody"}, "food", "food_unknown"),
        ({"name": ""}, "name", "empty"),
        ({"name": "x" * 121}, "name", "too_long"),
        ({"water": "120 %"}, "water", "impossible"),
    ],
)
def test_a_label_that_cannot_be(house: House, changes: dict[str, Any], field: str, code: str) -> None:
    assert refused(house, **changes)[field] == code
    assert house.do("foods").foods == ()


def test_a_label_with_nothing_on_it(house: House) -> None:
    with pytest.raises(Refused) as told:
        house.do("keep_food", name="Bare")
    assert [(p.code, p.field) for p in told.value.problems] == [("label_empty", "energy")]


def test_the_same_name_twice_is_asked_about(house: House) -> None:
    kept(house)
    assert refused(house, name=SOUP["name"].upper())["name"] == "own_food_exists"
