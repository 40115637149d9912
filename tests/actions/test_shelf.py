"""The shelf through its actions. Counts are worked out by hand; every lot, price and name is invented."""

from __future__ import annotations

import threading
from datetime import date
from typing import Any

import pytest
from households import BEGAN, House
from judged_household import Larder

from saltfare.actions.settings import settings_of
from saltfare.core.errors import Conflict, NotFound, Refused
from saltfare.journal.events_lot import PacksReserved

PACKED = date(2026, 2, 10)


def stored(house: House, name: str = "Invented beans", packs: int = 6, **more: Any) -> str:
    given = {"mass": "150 g", "sealed": "no_oxygen", "place": "Larder", "packed_on": PACKED, **more}
    return str(house.do("store_lot", name=name, packs=packs, **given).code)


def refused(house: House, action: str, /, **given: Any) -> tuple[str, str]:
    """The code and field of the one thing wrong."""
    with pytest.raises(Refused) as raised:
        house.do(action, **given)
    (problem,) = raised.value.problems
    return problem.code, problem.field


def line(house: House, code: str, day: float = 0.0) -> Any:
    return house.do("lot", day, code=code).line


def test_packs_are_opened_eaten_given_and_thrown_out(house: House) -> None:
    code = stored(house)
    assert house.do("draw_packs", 1, code=code, packs=2, why="opened").opened == 2
    house.do("finish_opened", 2, code=code, packs=1, why="eaten")
    house.do("finish_opened", 2, code=code, packs=1, why="thrown_out", reason="smelt sour")
    given = house.do("draw_packs", 3, code=code, packs=1, why="given_away", receiver="Neighbour (invented)")
    assert {note.code for note in given.notes} >= {"labelling_law_first", "hand_over_along"}
    house.do("draw_packs", 4, code=code, packs=3, why="eaten")
    found = line(house, code, 5)
    assert (found.packs_left, found.opened, found.state) == (0, 0, "eaten")
    assert code not in [one.code for one in house.do("shelf", 5).lots]
    assert code in [one.code for one in house.do("shelf", 5, gone=True).lots]
    assert house.do("draw_packs", 5, **given_again(house, code)).packs_left == 0


def given_again(house: House, code: str) -> dict[str, Any]:
    """The last draw, sent twice under one name."""
    house.do("return_packs", 5, code=code, packs=1, reason="not wanted")
    sent = {"code": code, "packs": 1, "why": "eaten", "request_id": "once"}
    assert house.do("draw_packs", 5, **sent).packs_left == 0
    return sent


@pytest.mark.parametrize(
    ("given", "code", "field"),
    [
        ({"packs": 7, "why": "eaten"}, "more_than_left", "packs"),
        ({"packs": 0, "why": "eaten"}, "packs_out_of_range", "packs"),
        ({"packs": -1, "why": "eaten"}, "packs_out_of_range", "packs"),
        ({"packs": 501, "why": "eaten"}, "packs_out_of_range", "packs"),
        ({"packs": "two", "why": "eaten"}, "packs_not_whole", "packs"),
        ({"packs": "1.5", "why": "eaten"}, "packs_not_whole", "packs"),
        ({"packs": 1, "why": "given_away"}, "receiver_missing", "receiver"),
        ({"packs": 1, "why": "given_away", "receiver": "  "}, "receiver_missing", "receiver"),
        ({"packs": 1, "why": "thrown_out"}, "thrown_out_why", "reason"),
        ({"packs": 1, "why": "sold"}, "not_one_of", "why"),
        ({"packs": 1, "why": "eaten", "at": "2031-01-01T10:00:00Z"}, "in_the_future", "at"),
        ({"packs": 1, "why": "eaten", "at": "2026-02-09T10:00:00Z"}, "before_packing", "at"),
    ],
)
def test_what_cannot_leave_the_shelf_is_refused(
    house: House, given: dict[str, Any], code: str, field: str
) -> None:
    lot = stored(house)
    assert refused(house, "draw_packs", code=lot, **given) == (code, field)
    assert line(house, lot).packs_left == 6


def test_what_is_left_is_told_where_more_is_asked_for(house: House) -> None:
    lot = stored(house, packs=2)
    with pytest.raises(Refused) as raised:
        house.do("draw_packs", code=lot, packs=3, why="eaten")
    assert (raised.value.problems[0].params["left"], raised.value.problems[0].allowed) == (2, "2")
    house.do("draw_packs", code=lot, packs=2, why="eaten")
    assert refused(house, "draw_packs", code=lot, packs=1, why="eaten")[0] == "none_left"
    assert refused(house, "finish_opened", code=lot, packs=1, why="eaten")[0] == "more_than_opened"
    assert refused(house, "return_packs", code=lot, packs=1)[0] == "more_than_out"
    assert refused(house, "move_lot", code=lot, place="Cellar")[0] == "nothing_left"


def test_a_wrong_code_leads_nowhere(house: House) -> None:
    with pytest.raises(NotFound):
        house.do("lot", code="0000000")
    assert refused(house, "draw_packs", code="0000001", packs=1, why="eaten") == ("code_check", "code")
    with pytest.raises(NotFound):
        house.do("open_code", code="0000000")


def test_two_people_who_take_the_last_pack_do_not_both_have_it(house: House) -> None:
    lot = stored(house, packs=3)
    start, told = threading.Barrier(6), []

    def take() -> None:
        start.wait()
        try:
            told.append(house.do("draw_packs", code=lot, packs=1, why="eaten").packs_left)
        except (Refused, Conflict) as error:
            told.append(type(error).__name__)

    threads = [threading.Thread(target=take) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(told) == 6
    taken = [one for one in told if isinstance(one, int)]
    found = house.do("lot", code=lot)
    assert (len(taken), found.line.packs_left, found.line.state) == (3, 0, "eaten")
    assert sum(1 for entry in found.log if entry.kind == "packs_drawn") == 3


def test_who_says_what_they_saw_is_told_that_it_moved_on(house: House) -> None:
    lot = stored(house, packs=2)
    seen = line(house, lot).version
    house.do("draw_packs", code=lot, packs=1, why="eaten")
    with pytest.raises(Conflict):
        house.do("draw_packs", code=lot, packs=1, why="eaten", seen_version=seen)
    assert line(house, lot).packs_left == 1


def test_acting_on_an_answer_and_taking_a_pack_are_one_account(larder: Larder) -> None:
    lot = larder.lot(day=60, place="fridge") if hasattr(larder, "lot") else stored(larder)
    packs = line(larder, lot, 70).packs_left
    larder.do("draw_packs", 70, code=lot, packs=packs - 1, why="eaten")
    with pytest.raises(Refused) as raised:
        larder.do("act_on_verdict", 70, code=lot, question="carried", done="eaten", packs=2)
    assert raised.value.problems[0].params["left"] == 1
    larder.do("act_on_verdict", 70, code=lot, question="carried", done="given_away", receiver="A", packs=1)
    card = larder.do("criteria_card", 71, code=lot)
    assert card.state == line(larder, lot, 71).state == "given_away"
    reached = larder.do("recall", 71, code=lot).reached
    assert [(r.name, r.packs) for r in reached[0].receivers] == [("A", 1)]


def test_whom_packs_went_to_is_known_to_a_recall_and_moves_to_an_incident(house: House) -> None:
    lot = stored(house, place="fridge")
    house.do("draw_packs", 2, code=lot, packs=1, why="given_away", receiver="Neighbour (invented)")
    house.do("move_lot", 3, code=lot, place="Cellar")
    (reached,) = house.do("recall", 5, code=lot).reached
    assert (reached.where, [r.name for r in reached.receivers]) == ("Cellar", ["Neighbour (invented)"])
    before, after = "2026-03-04T09:00:00Z", "2026-03-07T09:00:00Z"
    told = {"what": "fridge_warm", "warmest": "9 C"}
    early = house.do("report_incident", 6, place="Fridge", since=before, until="2026-03-04T12:00:00Z", **told)
    late = house.do("report_incident", 6, place="fridge", since=after, until="2026-03-07T15:00:00Z", **told)
    touched = [[t.code for t in house.do("incident", 6, incident=i.code).touched] for i in (early, late)]
    assert touched == [[lot], []]


def test_a_move_asks_for_a_place_and_a_new_one(house: House) -> None:
    lot = stored(house)
    assert refused(house, "move_lot", code=lot, place="  ") == ("place_missing", "place")
    assert refused(house, "move_lot", code=lot, place="larder") == ("stands_there", "place")
    house.do("move_lot", 1, code=lot, place="Cellar (invented)")
    found = house.do("lot", 2, code=lot)
    assert (found.line.place, [stay.place for stay in found.stays]) == (
        "Cellar (invented)",
        ["Larder", "Cellar (invented)"],
    )


def test_a_count_puts_the_books_right_and_says_by_how_much(house: House) -> None:
    first, second, third = stored(house), stored(house, "Peas"), stored(house, "Lentils")
    house.do("draw_packs", code=first, packs=1, why="eaten")
    rows = [{"code": first, "packs": 4}, {"code": second, "packs": 7}]
    found = house.do("count_shelf", 1, rows=rows, place="LARDER", reason="spring cleaning")
    assert [(one.expected, one.counted, one.difference) for one in found.lines] == [(5, 4, -1), (6, 7, 1)]
    assert ([one.code for one in found.missing], found.expected, found.counted) == ([third], 17, 11)
    assert [line(house, one, 2).packs_left for one in (first, second, third)] == [4, 7, 6]
    again = house.do("count_lot", 2, code=first, packs=4)
    assert again.lines[0].difference == 0


def test_a_count_is_whole_or_not_at_all(house: House) -> None:
    first, second = stored(house), stored(house, "Peas")
    seen = line(house, second).version
    house.do("draw_packs", code=second, packs=1, why="eaten")
    rows = [{"code": first, "packs": 1}, {"code": second, "packs": 6, "seen_version": seen}]
    with pytest.raises(Conflict):
        house.do("count_shelf", rows=rows)
    assert line(house, first).packs_left == 6
    assert refused(house, "count_shelf", rows=[{"code": first, "packs": 501}])[0] == "packs_out_of_range"
    assert refused(house, "count_shelf", rows=[]) == ("nothing_counted", "rows")
    twice = [{"code": first, "packs": 1}, {"code": first.lower(), "packs": 2}]
    assert refused(house, "count_shelf", rows=twice) == ("counted_twice", "rows.1.code")
    assert house.do("count_lot", code=first, packs=0).counted == 0
    assert line(house, first).state == "lost"


def test_what_is_stored_is_asked_for_what_it_needs(house: House) -> None:
    given = {"name": "X", "packs": 1, "mass": "100 g", "sealed": "air", "place": "", "packed_on": PACKED}
    assert refused(house, "store_lot", **given) == ("place_missing", "place")
    given["place"] = "Larder"
    assert refused(house, "store_lot", **{**given, "packed_on": "2027-01-01"})[0] == "in_the_future"
    assert refused(house, "store_lot", **{**given, "price": "-3"}) == ("price_negative", "price")
    assert refused(house, "store_lot", **{**given, "price": -300}) == ("price_negative", "price")
    assert refused(house, "store_lot", **{**given, "packs": 600})[0] == "packs_out_of_range"


def test_everything_told_of_a_lot_can_be_taken_back(house: House) -> None:
    lot = stored(house)
    draw = house.do("draw_packs", 1, code=lot, packs=2, why="lost")
    back = house.do("return_packs", 2, code=lot, packs=2, reason="behind the jars")
    house.do("draw_packs", 3, code=lot, packs=6, why="eaten")
    with pytest.raises(Refused) as raised:
        house.do("correct", 4, event_id=back.events[0], what="withdraw")
    assert raised.value.problems[0].code == "below_zero_after"
    eaten = next(e for e in house.do("lot", 4, code=lot).log if e.params.get("why_drawn") == "eaten")
    undone = house.do("correct", 4, event_id=eaten.event_id, what="withdraw", why="that was the other lot")
    assert line(house, lot, 5).packs_left == 6
    house.do("correct", 5, event_id=back.events[0], what="withdraw")
    house.do("correct", 5, event_id=draw.events[0], what="withdraw")
    assert line(house, lot, 6).packs_left == 6
    log = house.do("lot", 6, code=lot).log
    taken_back = [e for e in log if e.withdrawn_by]
    assert len(taken_back) == 3 and "that was the other lot" in {e.withdrawn_why for e in taken_back}
    house.do("correct", 6, event_id=undone.events[0], what="withdraw")  # the undoing undone
    assert line(house, lot, 7).state == "eaten"


def test_tastings_are_kept_in_words_on_lots_pieces_and_bought_packs(house: House) -> None:
    lot = stored(house)
    for who, liked in (("Ida", "loved"), ("Jon", "so_so"), ("Mia", "liked"), ("Ola", "disliked")):
        house.do("note_tasting", 1, code=lot, who=f"{who} (invented)", liked=liked, would_carry_again=True)
    found = house.do("lot", 2, code=lot)
    assert (found.liked.people, found.liked.middle) == (4, "so_so")
    assert found.tastings[0].who == "Ola (invented)"
    assert refused(house, "note_tasting", code=lot) == ("tasting_says_nothing", "liked")
    assert refused(house, "note_tasting", liked="loved") == ("tasting_of_what", "code")
    piece = house.started()
    house.do("note_tasting", 1, code=piece, who="Ida", too_wet=True)
    with pytest.raises(NotFound):
        house.do("note_tasting", code="0000000", liked="loved")


LABEL: dict[str, Any] = {
    "name": "Pot meal (invented)",
    "mass": "130 g",
    "energy": "1700 kJ",
    "protein": "14 g",
    "fat": "12 g",
    "carbohydrate": "58 g",
    "salt": "2.5 g",
    "allergens": ["wheat", "milk"],
    "water": "350 ml",
    "wait": "9 min",
}


def test_a_bought_pack_is_its_label_and_its_packs(house: House) -> None:
    made = house.do(
        "add_bought",
        label=LABEL,
        packs=2,
        place="Cellar",
        printed_on="2027-05-01",
        price="6.90",
        bought_on="2026-02-20",
    )
    found = line(house, made.code)
    assert (found.kind, found.product, found.packs_left, found.printed_on) == (
        "bought", "pot-meal-invented", 2, date(2027, 5, 1),
    )  # fmt: skip
    assert found.answers == {}
    again = house.do("add_bought", product=made.product, packs=1, place="Cellar")
    assert line(house, again.code).packs == 1
    (product,) = house.do("bought").products
    assert (product.price_minor, product.packs, len(product.lots)) == (690, 3, 2)
    house.do("note_tasting", product=made.product, liked="liked")
    assert line(house, made.code).liked.people == line(house, again.code).liked.people == 1
    with pytest.raises(Refused) as raised:
        house.do("correct", event_id=product.described_id, what="withdraw")
    assert raised.value.problems[0].code == "bought_in_use"


@pytest.mark.parametrize(
    ("given", "code", "field"),
    [
        ({"packs": 1, "place": "x"}, "label_missing", "label.name"),
        ({"label": None, "product": "pot-meal-invented"}, "nothing_bought", "packs"),
        ({"label": LABEL, "packs": 1, "place": " "}, "place_missing", "place"),
        ({"label": LABEL, "packs": 1, "place": "x", "price": "-1"}, "price_negative", "price"),
        ({"label": LABEL, "packs": 1, "place": "x", "bought_on": "2026-12-01"}, "in_the_future", "bought_on"),
        ({"label": {**LABEL, "allergens": ["kryptonite"]}}, "label_word_unknown", "label.allergens"),
        ({"label": {**LABEL, "protein": "60 g"}}, "label_outweighs", "label.mass"),
        ({"label": {**LABEL, "sugars": "59.9 g"}}, "sugars_above_carbohydrate", "label.sugars"),
    ],
)
def test_a_label_that_cannot_be_is_refused(
    house: House, given: dict[str, Any], code: str, field: str
) -> None:
    assert refused(house, "add_bought", **given) == (code, field)
    assert house.journal.head() == 0


def test_places_tell_their_air_and_a_chamber_uses_its_readings(house: House) -> None:
    house.do("describe_place", name="Cellar (invented)", coldest="6 C", warmest="15 C", warmest_month=8)
    house.do("describe_chamber", name="Cupboard", temperature="12 C", humidity="75 %", air_speed="0.1 m/s")
    rows = [
        {"at": f"2026-03-02T0{h}:00:00Z", "temperature": f"{10 + h} C", "humidity": "70 %"} for h in (1, 2, 3)
    ]
    house.do("read_air", 0, key="cupboard", rows=rows)
    lot = stored(house, place="cellar invented", packed_on=date(2026, 1, 10))
    house.do("move_lot", 0, code=lot, place="Cupboard", at="2026-03-02T00:30:00Z")
    cellar, cupboard = house.do("lot", 1, code=lot).stays
    assert (cellar.basis, cupboard.basis, cupboard.readings) == ("described", "read", 3)
    # between the mean of the coldest month and that of the warmest, near the colder one in winter
    assert 6.0 <= cellar.low_c <= cellar.high_c < 10.5
    assert (cupboard.low_c, cupboard.mean_c, cupboard.high_c) == (11.0, 12.0, 13.0)
    found = {one.name: one for one in house.do("places", 1).places}
    assert (found["Cupboard"].basis, found["Cupboard"].packs) == ("read", 6)
    assert (found["Cellar (invented)"].basis, found["Cellar (invented)"].lots) == ("described", 0)
    bad = {"name": "Attic", "coldest": "20 C", "warmest": "5 C"}
    assert refused(house, "describe_place", **bad) == ("coldest_above_warmest", "coldest")
    assert refused(house, "describe_place", name=" ", coldest="1 C", warmest="2 C")[0] == "place_missing"


def test_what_to_eat_first_is_what_is_open_and_then_what_is_oldest(house: House) -> None:
    old = stored(house, "Old", packed_on=date(2025, 9, 1))
    new = stored(house, "New", packed_on=date(2026, 3, 1))
    opened = stored(house, "Opened", packed_on=date(2026, 2, 1))
    house.do("draw_packs", code=opened, packs=1, why="opened")
    found = house.do("shelf").lots
    assert [one.code for one in found] == [opened, old, new]
    assert [one.rank for one in found] == [1, 2, 3]
    assert [one.why for one in found] == ["opened", "answer", "answer"]
    assert [one.code for one in house.do("shelf", text="ol").lots] == [old]
    assert [one.code for one in house.do("shelf", text=new[:4].lower()).lots] == [new]
    assert house.do("shelf", place="elsewhere").lots == ()
    assert len(house.do("shelf", place="LARDER", kind="other").lots) == 3


SWAP: dict[str, Any] = {
    "partner": "Mill (invented)",
    "came": [{"name": "Bars", "packs": 3, "mass": "70 g", "sealed": "air", "place": "Larder"}],
}


def test_a_swap_leaves_no_half_behind(house: House) -> None:
    lot = stored(house, packs=3, price="2.00")
    swap = {**SWAP, "went": [{"code": lot, "packs": 2, "elsewhere": "3.00"}]}
    made = house.do("swap_packs", 1, **swap)
    assert (line(house, lot, 2).packs_left, line(house, made.codes[0], 2).maker) == (1, "Mill (invented)")
    (told,) = house.do("swaps", 2, code=made.code).swaps
    assert told.missing == ("came_cost", "came_elsewhere") and told.band is None
    assert told.not_handed[:2] == ("name", "ingredients")
    eaten = house.do("draw_packs", 3, code=made.codes[0], packs=1, why="eaten")
    with pytest.raises(Refused) as raised:
        house.do("correct", 4, event_id=told.event_id, what="withdraw")
    assert raised.value.problems[0].code == "went_on"
    house.do("correct", 4, event_id=eaten.events[0], what="withdraw")
    with pytest.raises(Refused):  # what was taken back still stands in the history of the bars
        house.do("swap_packs", 4, **{**swap, "went": [{"code": lot, "packs": 2}]})
    drawn = next(e for e in house.do("lot", 4, code=lot).log if e.kind == "packs_drawn")
    house.do("correct", 5, event_id=drawn.event_id, what="withdraw")  # from either side, both go
    assert line(house, lot, 6).packs_left == 3 and house.do("swaps", 6).swaps == ()
    with pytest.raises(NotFound):
        house.do("lot", 6, code=made.codes[0])


def test_a_swap_and_a_supper_cannot_both_have_the_last_packs(house: House) -> None:
    lot = stored(house, packs=2)
    start, told = threading.Barrier(2), []

    def swap() -> None:
        start.wait()
        try:
            house.do("swap_packs", **SWAP, went=[{"code": lot, "packs": 2}])
            told.append("swapped")
        except (Refused, Conflict) as error:
            told.append(type(error).__name__)

    def eat() -> None:
        start.wait()
        try:
            house.do("draw_packs", code=lot, packs=1, why="eaten")
            told.append("eaten")
        except (Refused, Conflict) as error:
            told.append(type(error).__name__)

    threads = [threading.Thread(target=one) for one in (swap, eat)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    left = line(house, lot).packs_left
    assert ("swapped" in told, left) in ((True, 0), (False, 1))
    assert len(house.do("swaps").swaps) == (1 if "swapped" in told else 0)


@pytest.mark.parametrize(
    ("change", "code", "field"),
    [
        ({"partner": " "}, "swap_with_nobody", "partner"),
        ({"went": []}, "swap_of_nothing", "went"),
        ({"came": []}, "swap_of_nothing", "came"),
        ({"at": "2031-01-01T10:00:00Z"}, "in_the_future", "at"),
    ],
)
def test_a_swap_of_nothing_is_none(house: House, change: dict[str, Any], code: str, field: str) -> None:
    lot = stored(house)
    given = {**SWAP, "went": [{"code": lot, "packs": 1}], **change}
    assert refused(house, "swap_packs", **given) == (code, field)
    assert line(house, lot).packs_left == 6


def test_packs_a_trip_holds_are_taken_for_a_reason_only(house: House) -> None:
    lot = stored(house, packs=3)
    body = PacksReserved(trip="0000000", packs=2)
    house.journal.append(f"lot/{lot}", body, at=BEGAN, zone="UTC", actor="household", recorded_at=BEGAN)
    assert refused(house, "draw_packs", code=lot, packs=2, why="eaten") == ("held_by_trip", "packs")
    house.do("draw_packs", code=lot, packs=1, why="eaten")
    did = house.do("draw_packs", code=lot, packs=2, why="eaten", reasons={"packs": "the trip is off"})
    assert (did.packs_left, did.free) == (0, 0)


def test_money_follows_the_currency_of_the_house(house: House) -> None:
    assert house.do("settings").currency == "EUR"
    assert refused(house, "set_settings", currency="euros")[0] == "currency_unknown"
    house.do("set_settings", currency="jpy")
    house.settings = settings_of(house.journal, "UTC")
    assert house.settings.currency == "JPY"
    assert refused(house, "store_lot", name="X", packs=1, mass="100 g", sealed="air", place="Larder",
                   packed_on=PACKED, price="4.50")[0] == "price_too_fine"  # fmt: skip
    lot = stored(house, price="450")
    assert house.do("worth", code=lot).worth.cost_minor == 450


def test_the_bench_tells_what_is_open_and_what_is_near_its_date(house: House) -> None:
    opened, near, far = stored(house, "Open"), *_dated(house)
    house.do("draw_packs", code=opened, packs=1, why="opened")
    first = house.do("bench")
    assert first.shelf_open == 3 and [one.code for one in first.shelf] == [opened]
    house.do("shelf")
    assert house.do("bench").shelf_open == 0
    found = {one.code: one.why for one in house.do("bench").shelf}
    assert found == {opened: "opened", near: "near"} and far not in found


def _dated(house: House) -> tuple[str, str]:
    """A bought pack whose printed date is in three weeks, and one of next year."""
    first = house.do("add_bought", label=LABEL, packs=1, place="Larder", printed_on="2026-03-23")
    other = house.do("add_bought", product=first.product, packs=1, place="Larder", printed_on="2027-03-23")
    return str(first.code), str(other.code)
