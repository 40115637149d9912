"""Allergens and ways of eating carried up: known, not known, and never from silence."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from saltfare.core import tables
from saltfare.core.errors import BadTable
from saltfare.core.figure import Answer
from saltfare.core.tables import Row
from saltfare.models.declared import UNKNOWN, Declared, Presence, allergens_found, diet_found

US = {row.text("id"): row.text("us") for row in tables.load("allergens")}
EU = {row.text("id"): row.text("eu") for row in tables.load("allergens")}


def usual(*ids: str) -> list[tuple[str, Declared]]:
    return [(row.text("label"), Declared.from_row(row)) for row in map(tables.load("pantry").row, ids)]


def presences(ingredients: list[tuple[str, Declared]], classes: dict[str, str]) -> dict[str, Presence]:
    return {
        found.allergen_class: found.presence
        for found in allergens_found(ingredients=ingredients, classes=classes)
    }


def leaves_out(diet: str) -> frozenset[str]:
    return frozenset(tables.load("diets").row(diet).text("leaves_out").split())


def test_all_nine_and_all_fourteen_are_answered() -> None:
    found = presences(usual("lentils_red"), US)
    assert set(found) == {
        *("milk", "egg", "fish", "crustacean_shellfish", "tree_nuts"),
        *("peanuts", "wheat", "soybeans", "sesame"),
    }
    assert len(presences(usual("lentils_red"), EU)) == 14
    assert set(found.values()) == {Presence.NOT_PUT_IN}


@pytest.mark.parametrize(
    ("usual_id", "us", "eu"),
    # what the laws name: barley is a cereal containing gluten and no US class; soy sauce holds two of either
    [
        ("barley_pearl", set(), {"gluten_cereals"}),
        ("oats_rolled", set(), {"gluten_cereals"}),
        ("bulgur", {"wheat"}, {"gluten_cereals"}),
        ("noodles_egg", {"wheat", "egg"}, {"gluten_cereals", "eggs"}),
        ("soy_sauce", {"wheat", "soybeans"}, {"gluten_cereals", "soybeans"}),
        ("parmesan", {"milk"}, {"milk"}),
        ("almonds", {"tree_nuts"}, {"nuts"}),
        ("celery", set(), {"celery"}),
        ("apricots_dried", set(), {"sulphites"}),
        ("sesame_seeds", {"sesame"}, {"sesame"}),
        ("peanut_butter", {"peanuts"}, {"peanuts"}),
        ("cod", {"fish"}, {"fish"}),
    ],
)
def test_usual_ingredients_hold_what_the_laws_name(usual_id: str, us: set[str], eu: set[str]) -> None:
    for classes, expected in ((US, us), (EU, eu)):
        found = presences(usual(usual_id), classes)
        assert {name for name, presence in found.items() if presence is Presence.CONTAINS} == expected


def test_pine_nuts_are_a_tree_nut_to_one_law_only() -> None:
    pine = [("pine nuts", Declared(frozenset({"pine_nut"}), frozenset(), frozenset(), frozenset()))]
    assert presences(pine, US)["tree_nuts"] is Presence.CONTAINS
    assert presences(pine, EU)["nuts"] is Presence.NOT_PUT_IN


def test_silence_is_never_free_of() -> None:
    ingredients = [*usual("lentils_red", "parmesan"), ("invented spice", UNKNOWN)]
    for classes in (US, EU):
        found = {f.allergen_class: f for f in allergens_found(ingredients=ingredients, classes=classes)}
        assert found["milk"].presence is Presence.CONTAINS
        assert found["milk"].by == (("parmesan", "milk"),)
        for name, one in found.items():
            assert "invented spice" in one.unsure
            if name != "milk":
                assert one.presence is Presence.CANNOT_TELL


def test_what_only_may_be_in_it_leaves_its_own_class_open() -> None:
    found = presences(usual("lemon_juice", "lentils_red"), EU)
    assert found["sulphites"] is Presence.CANNOT_TELL
    assert {presence for name, presence in found.items() if name != "sulphites"} == {Presence.NOT_PUT_IN}


def test_stock_powder_is_not_known() -> None:
    assert set(presences(usual("stock_powder"), US).values()) == {Presence.CANNOT_TELL}
    for diet in tables.load("diets"):
        found = diet_found(ingredients=usual("stock_powder"), leaves_out=leaves_out(diet.text("id")))
        assert found.answer is Answer.CANNOT_TELL


@pytest.mark.parametrize(
    ("diet", "ids", "answer", "because"),
    [
        ("no_gluten", ("barley_pearl", "lentils_red"), Answer.DOES_NOT_MEET, ("pearl barley",)),
        ("no_gluten", ("polenta", "pepper_red", "beans_white"), Answer.MEETS, ()),
        ("no_gluten", ("oats_rolled", "apple"), Answer.DOES_NOT_MEET, ("rolled oats",)),
        ("no_pork", ("lard", "potato", "leek"), Answer.DOES_NOT_MEET, ("lard",)),
        ("no_pork", ("beef_mince",), Answer.MEETS, ()),
        ("no_meat", ("chicken_breast",), Answer.DOES_NOT_MEET, ("chicken breast",)),
        ("no_meat", ("cod",), Answer.MEETS, ()),
        ("vegetarian", ("cod",), Answer.DOES_NOT_MEET, ("cod",)),
        ("vegetarian", ("parmesan", "pasta_dry"), Answer.DOES_NOT_MEET, ("parmesan",)),
        ("vegetarian", ("cheddar", "pasta_dry"), Answer.CANNOT_TELL, ()),
        ("vegan", ("honey", "oats_rolled"), Answer.DOES_NOT_MEET, ("honey",)),
        ("vegan", ("lentils_red", "onion", "olive_oil", "salt", "water"), Answer.MEETS, ()),
        ("no_dairy", ("butter", "stock_powder"), Answer.DOES_NOT_MEET, ("butter",)),
        ("no_alcohol", ("wine_red",), Answer.DOES_NOT_MEET, ("red wine",)),
        ("no_pork", ("salami",), Answer.CANNOT_TELL, ()),
        ("no_pork", (), Answer.CANNOT_TELL, ()),
    ],
)
def test_ways_of_eating(diet: str, ids: tuple[str, ...], answer: Answer, because: tuple[str, ...]) -> None:
    found = diet_found(ingredients=usual(*ids), leaves_out=leaves_out(diet))
    assert (found.answer, found.because) == (answer, because)


@given(st.lists(st.sampled_from(sorted(tables.load("pantry").rows)), max_size=8), st.booleans())
def test_adding_an_unknown_never_comforts(ids: list[str], first: bool) -> None:
    known = usual(*ids)
    more = [("x", UNKNOWN), *known] if first else [*known, ("x", UNKNOWN)]
    for name, presence in presences(known, EU).items():
        then = presences(more, EU)[name]
        assert then is (Presence.CONTAINS if presence is Presence.CONTAINS else Presence.CANNOT_TELL)
    for diet in tables.load("diets"):
        wanted = leaves_out(diet.text("id"))
        before = diet_found(ingredients=known, leaves_out=wanted).answer
        after = diet_found(ingredients=more, leaves_out=wanted).answer
        assert after is (Answer.DOES_NOT_MEET if before is Answer.DOES_NOT_MEET else Answer.CANNOT_TELL)


def test_a_row_that_says_none_and_something_is_refused() -> None:
    cells = {"allergens": "none milk", "allergens_unsure": "", "holds": "none", "holds_unsure": ""}
    with pytest.raises(BadTable):
        Declared.from_row(Row("pantry:x", dict(cells), cells))
