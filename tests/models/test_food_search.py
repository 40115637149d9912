"""Search finds the food people mean, mistyped or not, and at once."""

from __future__ import annotations

import time
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from saltfare.core import foods, tables
from saltfare.core.foods import Named
from saltfare.models.food_search import FoodIndex, Hit, Usual, build_index, search


@cache
def index() -> FoodIndex:
    return build_index(
        foods=foods.names(),
        usual=[Usual.from_row(row) for row in tables.load("pantry")],
        own=[Named("mine", "Aunt's invented lentil powder", "", False)],
        means={row.text("id"): row.text("means") for row in tables.load("food_words")},
    )


def find(query: str, limit: int = 5) -> tuple[Hit, ...]:
    return search(index=index(), query=query, limit=limit)


def test_red_lentils_are_found_at_once() -> None:
    index()
    times = []
    for _ in range(9):
        start = time.perf_counter()
        first = find("red lentils")[0]
        times.append(time.perf_counter() - start)
    # 16144 is "Lentils, pink or red, raw"
    assert (first.food_id, first.usual_id) == ("16144", "lentils_red")
    assert sorted(times)[4] < 0.020


@pytest.mark.parametrize(
    "query",
    ["red lentils", "red lentls", "rde lentils", "Red Lentil", "lentils, red", "LENTILS red", "red len"],
)
def test_red_lentils_are_found_however_typed(query: str) -> None:
    assert find(query)[0].food_id == "16144"


# numbers of the release
FIRST = {
    "onion": "11282",
    "onions": "11282",
    "carot": "11124",
    "carrots": "11124",
    "potatos": "11352",
    "olive oil": "04053",
    "tomatos": "11529",
    "brown rice": "20036",
    "white rice": "20044",
    "courgette": "11477",
    "courgete": "11477",
    "zucchini": "11477",
    "aubergine": "11209",
    "eggplant": "11209",
    "porridge oats": "08120",
    "parmesan": "01033",
    "chedar": "01009",
    "brocoli": "11090",
    "spagetti": "20420",
    "chick peas": "16056",
    "swede": "11435",
    "beetroot": "11080",
    "turnips": "11564",
    "raspberries": "09302",
    "pork belly": "10005",
    "ground turkey": "05305",
    "turkey mince": "05305",
    "salmon": "15076",
    "sun dried tomatoes": "11955",
    "garlic powder": "02020",
    "pine nuts": "12147",
    "salt": "02047",
    "water": "14411",
    "cinnamon": "02010",
    "bacon": "10123",
    "rutabaga": "11435",
    "asparagus": "11011",
    "hazelnuts": "12120",
    "wallnuts": "12155",
    "crème fraîche": "",
}


@pytest.mark.parametrize("query", [query for query in FIRST if FIRST[query]])
def test_the_plain_food_stands_first(query: str) -> None:
    assert find(query)[0].food_id == FIRST[query], [hit.name for hit in find(query)]


@pytest.mark.parametrize(
    "query", ["tuna", "lamb", "plums", "parsnips", "trout", "millet", "leeks", "cherries"]
)
def test_raw_stands_before_cooked_and_made(query: str) -> None:
    name = find(query)[0].name.lower()
    assert "cooked" not in name
    assert "canned" not in name
    assert "raw" in name or find(query)[0].usual_id


@pytest.mark.parametrize("query", ["cookies", "soup", "cheese", "cereals", "pizza", "chocolate"])
def test_makers_foods_stand_behind(query: str) -> None:
    makers = {food.id for food in foods.names() if food.maker}
    assert not {hit.food_id for hit in find(query, 8)} & makers


def test_a_food_is_found_once_and_as_usual_where_it_is_usual() -> None:
    hits = find("lentils", 30)
    assert len({hit.food_id for hit in hits}) == len(hits)
    assert hits[0].usual_id == "lentils_brown"
    assert {"16069", "16144"} <= {hit.food_id for hit in hits[:3]}


def test_a_persons_own_food_is_found_ahead_of_the_table() -> None:
    assert find("lentil powder")[0].food_id == "mine"
    assert "mine" in {hit.food_id for hit in find("lentils", 4)}


def test_unfinished_words_are_found_while_typing() -> None:
    for typed in ("pars", "parsn", "parsni", "parsnip"):
        assert any(hit.food_id == "11298" for hit in find(typed, 10)), typed


@pytest.mark.parametrize("query", ["", "   ", "xqzzt", "and with", "!!", "日本", "x" * 500, "q w z"])
def test_what_matches_nothing_gives_nothing(query: str) -> None:
    assert find(query) == ()


def test_every_food_without_a_maker_is_found_by_its_own_name() -> None:
    some = [food for food in foods.names() if not food.maker][::40]
    for food in some:
        # rows of the same name share it: any of them will do
        hits = find(food.name, 40)
        assert food.id in {hit.food_id for hit in hits} or food.name in {hit.name for hit in hits}, food


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=60), st.integers(1, 20))
def test_any_text_is_answered(query: str, limit: int) -> None:
    hits = find(query, limit)
    assert len(hits) <= limit
    assert [hit.score for hit in hits] == sorted((hit.score for hit in hits), reverse=True)


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(["broccoli", "courgette", "chickpeas", "parsnips", "quinoa", "spinach"]), st.data())
def test_one_slip_is_forgiven(word: str, data: st.DataObject) -> None:
    at = data.draw(st.integers(1, len(word) - 2))
    kind = data.draw(st.sampled_from(["drop", "swap", "double", "change"]))
    slips = {
        "drop": word[:at] + word[at + 1 :],
        "swap": word[:at] + word[at + 1] + word[at] + word[at + 2 :],
        "double": word[:at] + word[at] + word[at:],
        "change": word[:at] + "x" + word[at + 1 :],
    }
    wanted = {hit.food_id for hit in find(word, 3)}
    assert wanted & {hit.food_id for hit in find(slips[kind], 5)}, slips[kind]
