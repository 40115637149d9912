"""A dish with own meat beside it on a trip: one item of the menu, drawn from both lots, given back from both.

Everything of the household is invented; sums are worked by hand beside each case.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import ceil
from pathlib import Path
from typing import Any

import pytest
from dish_batches import dish
from packs import loin_lot
from trip_household import ANNA, BO, DAY, Camp

from saltfare.actions.pack_content import pack_content
from saltfare.core.errors import Refused
from saltfare.core.figure import Answer
from saltfare.journal.lot import lot
from saltfare.journal.store import Journal
from saltfare.journal.trip import trip

START = 62.0
LEAVES = 80.0  # 2026-05-21 of a house that began on 2026-03-02
EACH_G, PACK_G = 60, 100


@pytest.fixture
def camp(tmp_path: Path) -> Iterator[Camp]:
    with Journal.open(tmp_path / "trips.db") as journal:
        yield Camp(journal, tmp_path)


class Larder:
    """Four packs of hash, each with 60 g of a loin in four packs of 100 g beside it, and a trip of a day."""

    def __init__(self, camp: Camp, *, loins: int = 4, **trip: Any) -> None:
        self.camp = camp
        self.meat = loin_lot(camp, packs=loins, mass_of=f"{PACK_G} g")
        beside = [{"own": self.meat, "amount": f"{EACH_G} g"}]
        # as many of the dish as there is meat for; what is sown up later is told by each test
        made = dish(packs=min(4, loins * PACK_G // EACH_G), beside=beside)
        self.batch = str(camp.do("start_dish", START, name="Hash", **made).code)
        camp.do("cook_dish", START + 0.1, code=self.batch, mass="2050 g", tare="550 g")
        camp.do("tray_dish", START + 0.2, code=self.batch, mass="3500 g", tare="2 kg")
        camp.do("condition_dish", START + 1, code=self.batch, step="in_jar", mass="375 g")
        portions = [{"packs": 4, "mass": "90 g", "sealed": "air", "place": "larder"}]
        self.dish = str(camp.do("pack_dish", START + 8, code=self.batch, portions=portions).codes[0])
        day = {"plan": {"departure": "2026-05-21"}, "people": [ANNA], "days_told": [DAY], "staples": []}
        self.trip = camp.trip(**{**day, **trip})

    def items(self, day: float = LEAVES - 5) -> dict[str, Any]:
        return {one.key: one for one in self.camp.do("trip_items", day, code=self.trip).items}

    def chosen(self) -> None:
        """Kept cold for the day, on their own decision: whether it will be cold nobody knows beforehand."""
        for code in (self.dish, self.meat):
            self.camp.do(
                "set_item",
                LEAVES - 5,
                code=self.trip,
                item=f"lot/{code}",
                handling="kept_cold",
                cold_until=0,
                decided=True,
                why="a test",
            )

    def committed(self) -> Any:
        self.chosen()
        shown = self.camp.do("plan_menu", LEAVES - 5, code=self.trip, preset="lightest", wait_s=60)
        self.camp.do("commit_menu", LEAVES - 5, code=self.trip, key=shown.key, short=bool(shown.short))
        return shown

    def left(self) -> tuple[int, int]:
        return tuple(lot(self.camp.journal, code).packs_left for code in (self.dish, self.meat))  # type: ignore[return-value]

    def held(self) -> tuple[int, int]:
        return tuple(  # type: ignore[return-value]
            lot(self.camp.journal, code).reserved.get(self.trip, 0) for code in (self.dish, self.meat)
        )


def test_the_dish_and_its_meat_are_one_item_with_the_figures_of_both(camp: Camp) -> None:
    larder = Larder(camp)
    items = larder.items()
    made, meat = items[larder.dish], items[larder.meat]
    context = camp.context(LEAVES - 5)
    alone = pack_content(context, lot(camp.journal, larder.dish))
    loin = pack_content(context, lot(camp.journal, larder.meat))
    assert alone.kcal is not None and loin.kcal is not None and loin.sodium_mg is not None
    assert made.kcal * made.servings == pytest.approx(alone.kcal + 0.6 * loin.kcal, abs=made.servings)
    sodium = (alone.sodium_mg or 0.0) + 0.6 * loin.sodium_mg
    assert made.sodium_mg * made.servings == pytest.approx(sodium, abs=made.servings)
    assert made.pack_g == 90 + EACH_G and made.water_ml * made.servings == pytest.approx(
        alone.water_to_add_ml, abs=made.servings
    )
    assert [(one.lot, one.each_kg, one.pack_kg) for one in made.beside] == [
        (larder.meat, pytest.approx(0.06), pytest.approx(0.1))
    ]
    # a loin three weeks in a pantry fails for the way, and the dish with it; it is raw until it was cooked
    assert meat.answer is Answer.DOES_NOT_MEET
    assert made.answer is Answer.DOES_NOT_MEET and made.uncooked_cured and not made.enters
    # 4 x 60 g are three packs of 100 g: one is left to be taken by itself
    assert (made.stock, meat.stock) == (4, 1)


def test_who_eats_no_pork_is_not_given_the_dish(camp: Camp) -> None:
    larder = Larder(camp, people=[ANNA, BO])
    made = larder.items()[larder.dish]
    assert "Bo" in made.not_for and made.not_for["Bo"].startswith("excluded:") and "Anna" not in made.not_for


def test_a_menu_holds_both_lots_and_taking_along_draws_from_both(camp: Camp) -> None:
    larder = Larder(camp)
    shown = larder.committed()
    (pack,) = [one for one in shown.packs if one.key == larder.dish]
    own = sum(one.packs for one in shown.packs if one.key == larder.meat)
    with_it = ceil(pack.packs * EACH_G / PACK_G)
    assert pack.packs >= 1
    assert [(one.code, one.packs) for one in pack.beside] == [(larder.meat, with_it)]
    assert larder.held() == (pack.packs, with_it + own)
    assert not camp.do("menu", LEAVES - 4, code=larder.trip).changed
    taken = camp.do("take_along", LEAVES - 1, code=larder.trip)
    assert taken.missing == {}
    assert larder.left() == (4 - pack.packs, 4 - with_it - own) and larder.held() == (0, 0)
    (entry,) = trip(camp.journal, larder.trip).taken
    assert [(one.dish, one.lot, one.packs) for one in entry.body.beside] == [
        (larder.dish, larder.meat, with_it)
    ]
    # taken back: both are on the shelf again, and held as before
    camp.do("correct", LEAVES - 1, event_id=taken.events[0], what="withdraw")
    assert larder.left() == (4, 4) and larder.held() == (pack.packs, with_it + own)
    camp.do("release_menu", LEAVES - 1, code=larder.trip)
    assert larder.held() == (0, 0)


def test_named_packs_take_their_meat_and_what_comes_back_brings_it(camp: Camp) -> None:
    larder = Larder(camp)
    item = f"lot/{larder.dish}"
    camp.do("take_along", LEAVES - 1, code=larder.trip, packs={item: 1})
    assert larder.left() == (3, 3)  # 60 g of a pack of 100 g
    camp.do("take_along", LEAVES - 1, code=larder.trip, packs={item: 2})
    assert larder.left() == (1, 2)  # 180 g in all: two packs, one of them open already
    did = camp.do("after_trip", LEAVES + 3, code=larder.trip, left={item: 2})
    assert larder.left() == (3, 3)  # one pack of the dish eaten took one of the meat
    camp.do("correct", LEAVES + 3, event_id=did.events[0], what="withdraw")
    assert larder.left() == (1, 2)


def test_without_meat_for_it_the_dish_stays_and_says_so(camp: Camp) -> None:
    larder = Larder(camp)
    camp.do("draw_packs", LEAVES - 6, code=larder.meat, packs=3, why="eaten", reasons={"packs": "a test"})
    one_left = larder.items()[larder.dish]
    assert one_left.stock == 1  # 100 g
    with pytest.raises(Refused) as found:
        camp.do("take_along", LEAVES - 1, code=larder.trip, packs={f"lot/{larder.dish}": 2})
    assert [problem.code for problem in found.value.problems] == ["trip_beside_short"]
    assert larder.left() == (4, 1)
    camp.do("draw_packs", LEAVES - 5, code=larder.meat, packs=1, why="thrown_out", reason="a test")
    gone = larder.items(LEAVES - 4)[larder.dish]
    assert (gone.enters, gone.stock) == (False, 0)
    assert "trip_beside_not_had" in {note.code for note in gone.notes}


def test_two_dishes_do_not_both_count_on_the_same_packs(camp: Camp) -> None:
    larder = Larder(camp)
    other = [{"own": larder.meat, "amount": "100 g"}]
    camp.do("start_dish", LEAVES - 6, name="More hash", **dish(packs=1, beside=other))
    items = larder.items()
    batch = next(one for one in items.values() if one.origin == "dish")
    assert items[larder.dish].stock == 4 and batch.stock == 1
    assert items[larder.meat].stock == 0 and items[larder.meat].why == "beside_dish"


def test_a_food_beside_counts_and_is_said_to_be_brought_along(camp: Camp) -> None:
    cheese = [{"food": "parmesan", "amount": "20 g"}]
    camp.do("start_dish", START, name="Cheese hash", **dish(beside=cheese))
    camp.do("start_dish", START, name="Plain hash", **dish())
    code = camp.trip(plan={"departure": "2026-05-21"}, people=[ANNA], days_told=[DAY], staples=[])
    items = {one.name: one for one in camp.do("trip_items", START, code=code).items}
    made, plain = items["Cheese hash"], items["Plain hash"]
    # usda_sr28 01033, parmesan: 392 kcal in 100 g
    assert made.kcal - plain.kcal == pytest.approx(0.2 * 392, rel=0.03)
    assert made.pack_g - plain.pack_g == pytest.approx(20, abs=1) and "milk" in made.allergens
    assert [note.params["names"] for note in made.notes if note.code == "trip_beside_food"] == ["parmesan"]
