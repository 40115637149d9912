"""What is kept in memory and on disk follows every stream it was read from, whoever writes to it.

After each change the answers of a house that has kept everything it ever worked out are those of one that
has kept nothing. Every name and figure is invented.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from dish_batches import HASH, packed, recipe
from households import BEGAN, House
from packs import loin_lot, told_lot

from saltfare.actions.worked_once import Once
from saltfare.journal.store import Journal

DAY = 62.0
READ_AT = (BEGAN + timedelta(days=61.5)).isoformat()
SOUP: dict[str, Any] = {
    "name": "Soup powder (invented)",
    "energy": "1450 kJ",
    "fat": "9 g",
    "carbohydrate": "52 g",
    "protein": "11 g",
    "salt": "12 g",
    "water": "5 %",
    "reasons": {"water": "a powder"},
}


class Household:
    """Three lots in the cupboard: dried loin, a dish with an own food in it, grain whose food was told."""

    def __init__(self, house: House) -> None:
        self.house = house
        air = {"temperature": "13 C", "humidity": "75 %", "air_speed": "0.1 m/s"}
        house.do("describe_chamber", name="Cupboard", **air)
        self.food = str(house.do("keep_food", **SOUP).food)
        self.batch, self.dish = packed(house, lines=recipe(*HASH, (self.food, "60 g")))
        house.do("move_lot", 9, code=self.dish, place="Cupboard")
        self.loin = loin_lot(house, place="Cupboard")
        self.grain = told_lot(house, place="Cupboard")
        self.do("set_price", what="meat", name="pork_loin", price="12")

    def do(self, action: str, /, **given: Any) -> Any:
        return self.house.do(action, DAY, **given)

    def answers(self, house: House) -> dict[str, Any]:
        """All that a page says of the shelf, of each lot, of what hangs and of what is offered."""
        asked = [("shelf", {}), ("bench", {}), ("pieces", {}), ("dishes", {}), ("foods", {}), ("prices", {})]
        asked += [(name, {"code": code}) for name in ("lot", "keeping") for code in self.lots]
        asked += [("find_food", {"name": "soup powder"}), ("places", {})]
        return {
            f"{name} {given}": house.do(name, DAY, **given).model_dump(mode="json") for name, given in asked
        }

    @property
    def lots(self) -> tuple[str, ...]:
        return self.dish, self.loin, self.grain


CHANGES: dict[str, Callable[[Household], object]] = {
    "a lot moved": lambda h: h.do("move_lot", code=h.grain, place="Shed"),
    "packs opened": lambda h: h.do("draw_packs", code=h.dish, packs=1, why="opened"),
    "a price set": lambda h: h.do("set_price", what="meat", name="pork_loin", price="15"),
    "the price of a pouch set": lambda h: h.do("set_price", what="pouch", price="0.40"),
    "a chamber described anew": lambda h: h.do(
        "describe_chamber",
        name="Cupboard",
        temperature="18 C",
        humidity="60 %",
        air_speed="0.1 m/s",
    ),
    "a reading taken": lambda h: h.do(
        "read_air",
        key="cupboard",
        rows=[{"at": READ_AT, "temperature": "15 C", "humidity": "70 %"}],
    ),
    "a food typed anew": lambda h: h.do("keep_food", food=h.food, **{**SOUP, "fat": "30 g"}),
    "a food dropped": lambda h: h.do("drop_food", food=h.food),
    "a food told": lambda h: h.do("tell_food", code=h.grain, food="starch_cooked", water="11 %", fat="3 %"),
    "work told": lambda h: h.do("tell_work", code=h.loin, time="2 h"),
    "a tasting noted": lambda h: h.do("note_tasting", code=h.loin, who="Ida (invented)", liked="loved"),
    "a piece begun": lambda h: h.house.started(name="Another loin"),
}


@pytest.fixture
def household(house: House) -> Household:
    return Household(house)


def afresh(household: Household, folder: Path, monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """The answers of a house that opens the same file and has kept nothing."""
    with monkeypatch.context() as patched, Journal.open(household.house.journal.path) as journal:
        patched.setattr(Once, "__call__", lambda self, request, library: self._make(request, library))
        return household.answers(House(journal, folder / "nothing kept"))


def test_every_answer_follows(household: Household, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = household.answers(household.house)
    assert household.answers(household.house) == before
    for number, (change, make) in enumerate(CHANGES.items()):
        make(household)
        after = household.answers(household.house)
        assert after != before, change
        assert after == afresh(household, tmp_path / str(number), monkeypatch), change
        before = after


def test_every_answer_follows_what_another_process_writes(
    household: Household, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = household.answers(household.house)
    ours = household.house
    with Journal.open(ours.journal.path) as theirs:
        household.house = House(theirs, tmp_path / "theirs")
        household.house.entropy = lambda count: bytes([7] * count)  # type: ignore[method-assign]
        for change in ("a lot moved", "a price set", "a reading taken", "a food typed anew"):
            CHANGES[change](household)
            household.house, other = ours, household.house
            after = household.answers(ours)
            assert after != before
            household.house, before = other, after
    household.house = ours
    assert before == afresh(household, tmp_path, monkeypatch)


def test_what_was_worked_out_is_not_worked_out_again(
    household: Household, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same answers, and neither a plan nor a march behind them."""
    before = household.answers(household.house)

    def refuse(*_given: Any, **_named: Any) -> Any:
        raise AssertionError("worked out again")

    for name in ("piece_start._planned", "dish_request._planned", "judged_card._criteria"):
        module, _, one = name.partition(".")
        kept = getattr(__import__(f"saltfare.actions.{module}", fromlist=[one]), one)
        monkeypatch.setattr(kept, "_make", refuse)
    monkeypatch.setattr("saltfare.actions.pack_keeping._made", refuse)
    assert household.answers(household.house) == before
