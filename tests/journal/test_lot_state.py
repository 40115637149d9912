"""A lot from its making to the last pack. Counts worked out by hand; all lots are invented."""

from __future__ import annotations

from datetime import date

import pytest
from journal_bench import Bench, kg

from saltfare.core.errors import NotFound
from saltfare.journal.events import Corrected
from saltfare.journal.events_judged import VerdictActed
from saltfare.journal.events_lot import (
    LotCounted,
    LotMade,
    LotMoved,
    OpenedFinished,
    PacksDrawn,
    PacksReserved,
    PacksReturned,
    TastingNoted,
)
from saltfare.journal.lot import lot, lots


def made(**more):
    return LotMade(
        name="Invented loin", packs=6, mass=kg(0.15), sealed="no_oxygen", place="larder",
        packed_on=date(2026, 3, 1), **more,
    )  # fmt: skip


@pytest.fixture
def shelf(bench: Bench) -> Bench:
    bench.put("lot/A", made())
    return bench


def test_packs_leave_for_reasons_and_come_back(shelf: Bench):
    shelf.put("lot/A", PacksDrawn(packs=1, why="eaten"))
    shelf.put("lot/A", PacksDrawn(packs=2, why="on_trip", trip="T"))
    shelf.put("lot/A", PacksReturned(packs=1, trip="T"))
    found = lot(shelf.journal, "A")
    assert (found.packs_left, found.free, found.state) == (4, 4, "whole")
    assert [(move.packs, move.why) for move in found.moves] == [
        (-1, "eaten"),
        (-2, "on_trip"),
        (1, "returned"),
    ]


def test_a_menu_holds_packs_and_taking_them_uses_up_what_it_held(shelf: Bench):
    shelf.put("lot/A", PacksReserved(trip="T", packs=4))
    shelf.put("lot/A", PacksReserved(trip="U", packs=1))
    assert lot(shelf.journal, "A").free == 1
    shelf.put("lot/A", PacksDrawn(packs=3, why="on_trip", trip="T"))
    found = lot(shelf.journal, "A")
    assert (found.packs_left, found.reserved, found.free) == (3, {"T": 1, "U": 1}, 1)
    shelf.put("lot/A", PacksReserved(trip="T", packs=0))
    assert lot(shelf.journal, "A").reserved == {"U": 1}


def test_an_opened_pack_leaves_the_count_once(shelf: Bench):
    shelf.put("lot/A", PacksDrawn(packs=6, why="opened"))
    assert (lot(shelf.journal, "A").state, lot(shelf.journal, "A").opened) == ("opened", 6)
    shelf.put("lot/A", OpenedFinished(packs=6, why="thrown_out", reason="slimy"))
    found = lot(shelf.journal, "A")
    assert (found.packs_left, found.opened, found.state, found.is_gone) == (0, 0, "thrown_out", True)


def test_a_count_says_what_is_there_and_can_be_taken_back(shelf: Bench):
    event = shelf.put("lot/A", LotCounted(packs=4))
    assert lot(shelf.journal, "A").moves[-1].packs == -2
    shelf.put("lot/A", Corrected(what="withdraw"), corrects=event.id)
    assert lot(shelf.journal, "A").packs_left == 6


def test_what_was_done_on_an_answer_takes_packs_too(shelf: Bench):
    shelf.put(
        "lot/A",
        VerdictActed(question="eaten", answer="meets", verdicts={}, done="given_away", packs=2, receiver="R"),
    )
    found = lot(shelf.journal, "A")
    assert (found.packs_left, found.moves[-1].receiver) == (4, "R")


def test_where_it_is_what_it_is_and_how_it_was(shelf: Bench):
    shelf.put("lot/A", LotMoved(place="cellar"))
    shelf.put("lot/A", TastingNoted(who="Ida", liked="liked"))
    shelf.put("lot/B", made(dish="D", piece="P"))
    found, other = lots(shelf.journal)
    assert (found.place, found.origin, found.tastings[0].body.liked) == ("cellar", "other", "liked")
    assert (other.origin, other.place) == ("piece", "larder")
    with pytest.raises(NotFound):
        lot(shelf.journal, "C")
