"""What packs cost, beside each other and in a swap, against sums worked by hand."""

from __future__ import annotations

from typing import Any

import pytest
from households import House
from packs import day_of, loin_lot, lot_in, put, si, told_lot

from saltfare.actions.context import Settings
from saltfare.actions.pack_worth import PackWorth, pack_worth
from saltfare.core.errors import NotFound, Refused
from saltfare.journal import events_lot as lots
from saltfare.journal import events_shelf as shelf
from saltfare.journal.codes import code_of


def worth_of(house: House, code: str, day: float = 70) -> PackWorth:
    return pack_worth(house.context(day), lot_in(house, code))


def lines(found: PackWorth) -> dict[str, int]:
    return {line.what: line.minor for line in found.lines}


def codes(found: Any) -> set[str]:
    return {note.code for note in found.notes}


def bought_lot(house: House, number: int, *, price: int | None = 895, **made: Any) -> str:
    body = shelf.BoughtDescribed(name="Meal (invented)", what="meal", mass=si(0.13), price_minor=price)
    now = house.context(50).now
    house.journal.append(f"bought/meal{number}", body, at=now, zone="UTC", actor="household", recorded_at=now)
    code = code_of(number)
    told: dict[str, Any] = {
        "name": "Meal (invented)", "bought": f"meal{number}", "packs": 2, "mass": si(0.13), "sealed": "air",
        "place": "pantry", "packed_on": day_of(50),
    }  # fmt: skip
    put(house, code, lots.LotMade(**{**told, **made}), 50)
    return code


def test_a_loin_is_costed_by_hand(house: House) -> None:
    code = loin_lot(house)  # 1.62 kg green to 1.06 kg; 42 g of salt, 3.9 g of mix; four packs of 200 g
    none = worth_of(house, code)
    assert none.cost_minor is None and none.missing == ("meat",) and codes(none) == {"worth_price_missing"}
    house.do("set_price", 62, what="meat", name="pork_loin", price="11.00")
    least = worth_of(house, code)
    # by hand: 1.62 kg at 11.00 is 17.82; cure, electricity and pouches have no price yet
    assert lines(least) == {"meat": 1782} and least.lot_minor == 1782
    assert set(least.missing) == {"salt", "cure_mix", "electricity", "chamber_energy", "pouch"}
    assert codes(least) >= {"worth_at_least"} and least.cost_minor == 446  # 1782 / 4 = 445.5, half up
    house.do("set_price", 62, what="salt", price="0.80", mass="500 g")
    house.do("set_price", 62, what="cure_mix", name="jar", price="9.00", mass="250 g")
    house.do("set_price", 62, what="pouch", price="0.35")
    found = worth_of(house, code)
    # salt 42 g at 1.60/kg = 6.72; mix 3.9 g at 36.00/kg = 14.04: 20.76 together; pouches 4 x 35 = 140
    assert lines(found) == {"meat": 1782, "cure": 21, "pouches": 140}
    assert found.lot_minor == sum(lines(found).values()) == 1943
    assert set(found.missing) == {"electricity", "chamber_energy"}
    # dried off: 1 - 1.06/1.62 = 34.6 % of 17.82 = 6.16
    assert {one.what: one.minor for one in found.of_loss} == {"trimmed_off": 0, "dried_off": 616}
    assert found.per_kg is not None and found.per_kg.value == pytest.approx(486 / 0.2)


def test_one_piece_may_have_a_price_of_its_own(house: House) -> None:
    code = loin_lot(house)
    piece = lot_in(house, code).made.piece
    house.do("set_price", 62, what="meat", name="pork_loin", price="11.00")
    did = house.do("set_price", 62, what="meat", name=piece, price="20.00")
    assert lines(worth_of(house, code))["meat"] == 3240
    house.do("correct", 63, event_id=did.events[0], what="withdraw")
    assert lines(worth_of(house, code, 64))["meat"] == 1782


def test_the_chambers_electricity_is_shared_by_what_hung_there_each_day(house: House) -> None:
    house.do("describe_chamber", 1, name="Fridge", temperature="13 C", humidity="75 %", air_speed="0.2 m/s")
    house.do("set_price", 62, what="electricity", price="0.40")
    house.do("set_price", 62, what="chamber", name="fridge", energy="1.2 kWh")

    def loin(begin: float, end: float) -> str:
        code = house.started()
        house.do("salt_piece", begin - 21, code=code, salt="42 g", mix="3.9 g")
        house.do("hang_piece", begin, code=code, mass="1.55 kg", chamber="fridge")
        house.do("weigh_in", end - 1, code=code, mass="1.1 kg", reasons={"mass": "a test"})
        portion = {"packs": 1, "mass": "500 g", "sealed": "air", "place": "pantry"}
        reasons = {"mass": "a test", "portions.0.mass": "a test"}
        did = house.do("take_down", end, code=code, mass="1.1 kg", portions=[portion], reasons=reasons)
        return str(did.codes[0])

    house.do("set_price", 62, what="meat", name="pork_loin", price="10.00")
    first, second = loin(21, 61), loin(41, 61)
    # by hand: 20 days alone and 20 days by half: 24 + 12 = 36 kWh at 0.40 = 14.40; the other 12 kWh = 4.80
    assert lines(worth_of(house, first))["electricity"] == 1440
    assert lines(worth_of(house, second))["electricity"] == 480


def test_labour_is_a_line_of_its_own_and_never_in_the_cost(house: House) -> None:
    code = loin_lot(house)
    house.do("set_price", 62, what="meat", name="pork_loin", price="11.00")
    before = worth_of(house, code)
    assert before.labour_minor is None
    house.do("tell_work", 62, code=code, time="90 min")
    untold = worth_of(house, code)
    assert "labour" in untold.missing and untold.labour_minor == 0
    house.do("set_price", 62, what="labour", price="12.00")
    found = worth_of(house, code)
    assert found.labour_minor == 1800 and found.lot_minor == before.lot_minor
    assert found.cost_minor == before.cost_minor


def test_two_lots_of_one_piece_share_its_cost_by_mass(house: House) -> None:
    code = house.hung()
    house.do("weigh_in", 60, code=code, mass="1.06 kg", reasons={"mass": "a test"})
    portions = [
        {"packs": 3, "mass": "200 g", "sealed": "no_oxygen", "place": "pantry"},
        {"packs": 1, "mass": "400 g", "sealed": "air", "place": "pantry"},
    ]
    did = house.do("take_down", 61, code=code, mass="1.06 kg", portions=portions, reasons={"mass": "a test"})
    house.do("set_price", 62, what="meat", name="pork_loin", price="11.00")
    first, second = (lines(worth_of(house, one))["meat"] for one in did.codes)
    assert first + second == pytest.approx(1782, abs=1) and first == pytest.approx(1782 * 0.6, abs=1)


def test_a_bought_pack_costs_what_was_paid_and_stands_beside_ours_by_energy(house: House) -> None:
    dear, cheap = bought_lot(house, 201, price=895), bought_lot(house, 202, price=645)
    mine = told_lot(house)
    assert worth_of(house, dear).cost_minor == 895 and worth_of(house, dear).origin == "bought"
    assert worth_of(house, dear).per_kg.value == pytest.approx(895 / 0.13)  # type: ignore[union-attr]
    unpaid = bought_lot(house, 203, price=None)
    assert worth_of(house, unpaid).cost_minor is None
    own = bought_lot(house, 204, price_minor=500)
    assert worth_of(house, own).cost_minor == 500  # what this lot cost, not the last price of the product
    shown = house.do("worth", 70, code=mine)
    assert {one.code for one in shown.beside} == {dear, cheap, unpaid, own}
    with pytest.raises(NotFound):
        house.do("worth", 70, code=code_of(999))


def test_what_was_paid_in_other_money_is_not_counted_as_ours(house: House) -> None:
    code = bought_lot(house, 205, price_minor=500, currency="SEK")
    assert worth_of(house, code).cost_minor is None
    loin = loin_lot(house)
    house.do("set_price", 62, what="meat", name="pork_loin", price="11.00")
    assert worth_of(house, loin).cost_minor is not None
    house.settings = Settings(currency="SEK")
    assert worth_of(house, loin).cost_minor is None
    assert house.do("prices", 70).foreign == ("meat-pork_loin",)


def test_a_mixed_pack_costs_what_its_parts_did(house: House) -> None:
    meat, grain = loin_lot(house, mass="0.62 kg", packs=3), bought_lot(house, 206, price=260)
    house.do("set_price", 62, what="meat", name="pork_loin", price="11.00")
    house.do("set_price", 62, what="pouch", price="0.35")
    parts = [{"code": meat, "mass": "30 g"}, {"code": grain, "mass": "65 g"}]
    did = house.do("mix_pack", 65, name="x", packs=2, parts=parts, sealed="air", place="pantry")
    each = worth_of(house, meat)
    assert each.lot_minor is not None
    # by hand: 60 g of 600 g of the loin's lot, 130 g of a meal of 260 for 130 g, and two pouches
    by_hand = each.lot_minor * 0.06 / 0.6 + 260
    found = worth_of(house, did.code)
    assert lines(found)["ingredients"] == pytest.approx(by_hand, abs=1)
    assert lines(found)["pouches"] == 70 and found.lot_minor == sum(lines(found).values())


def test_the_price_book_tells_what_it_holds_and_the_last_word_counts(house: House) -> None:
    house.do("set_price", 1, what="electricity", price="0.31")
    house.do("set_price", 2, what="electricity", price="0.36")
    house.do("set_price", 2, what="food", name="Pearl barley", price="1.90", mass="500 g")
    found = house.do("prices", 3)
    assert [(one.what, one.minor, one.mass_kg) for one in found.prices] == [
        ("electricity", 36, None),
        ("food", 190, 0.5),
    ]
    assert found.currency == "EUR" and found.foreign == ()


@pytest.mark.parametrize(
    ("given", "problem", "field"),
    [
        ({"what": "meat", "name": "pork_loin", "price": -5}, "price_negative", "price"),
        ({"what": "meat", "name": "pork_loin", "price": "-5.00"}, "price_negative", "price"),
        ({"what": "meat", "name": "pork_loin"}, "missing", "price"),
        ({"what": "meat", "name": "unicorn", "price": "5.00"}, "meat_not_named", "name"),
        ({"what": "food", "price": "5.00"}, "missing", "name"),
        ({"what": "chamber", "name": "nowhere", "energy": "1 kWh"}, "chamber_unknown", "name"),
        ({"what": "chamber", "name": "nowhere"}, "missing", "energy"),
        ({"what": "gold", "price": "5.00"}, "not_one_of", "what"),
        ({"what": "salt", "price": "5.00", "mass": "0 g"}, "impossible", "mass"),
    ],
)
def test_a_price_that_cannot_be_is_refused(
    house: House, given: dict[str, Any], problem: str, field: str
) -> None:
    with pytest.raises(Refused) as raised:
        house.do("set_price", 1, **given)
    assert [(p.code, p.field) for p in raised.value.problems] == [(problem, field)]
    assert house.journal.head() == 0


# swaps


def test_a_swap_has_two_numbers_a_band_and_what_goes_along(house: House) -> None:
    mine = told_lot(house, printed_on=day_of(170), name="Venison (invented)")
    theirs = told_lot(house, 301, printed_on=day_of(170), name="Stew (invented)")
    asked = {
        "code": mine, "packs": 2, "cost": "6.00", "elsewhere": "12.00",
        "other": theirs, "other_cost": "3.00", "other_elsewhere": "8.00",
    }  # fmt: skip
    found = house.do("swap_band", 70, **asked)
    # by hand: by cost 2 x 6/3 = 4; by what each would pay elsewhere 2 x 12/8 = 3; the band between
    assert found.by_cost.value == pytest.approx(4.0) and found.by_elsewhere.value == pytest.approx(3.0)
    assert (found.band.low, found.band.high) == pytest.approx((3.0, 4.0))
    left = found.mine.left_frac
    assert left is not None and 0.0 < left < 1.0 and found.mine.days_left == found.theirs.days_left
    # outside 2 x 6/(8 left) and 2 x 12 left/3 one side would do better not to
    assert found.least == pytest.approx(2 * 6 / (8 * left)) and found.most == pytest.approx(2 * 12 * left / 3)
    assert set(found.along) >= {"name", "ingredients", "allergens", "planning_date", "kept_how", "lot_code"}
    assert "giving_cured_meat_may_be_regulated" not in codes(found)
    assert {"swap_keeping_counted", "labelling_law_first"} <= codes(found)
    assert found.whole[-1] == (2, 3, pytest.approx(0.0, abs=1e-9))  # 2 x 12 for 3 x 8


def test_meat_cured_at_home_carries_its_caution_also_inside_a_mix(house: House) -> None:
    meat, grain = loin_lot(house, mass="0.62 kg", packs=3), told_lot(house)
    parts = [{"code": meat, "mass": "30 g"}, {"code": grain, "mass": "110 g"}]
    did = house.do("mix_pack", 65, name="x", packs=2, parts=parts, sealed="air", place="pantry")
    prices = {"cost": "6.00", "elsewhere": "12.00", "other_cost": "3.00", "other_elsewhere": "8.00"}
    for code in (meat, did.code):
        found = house.do("swap_band", 66, code=code, packs=1, other_name="Jam (invented)", **prices)
        assert found.mine.home_cured and "giving_cured_meat_may_be_regulated" in codes(found)
        assert found.theirs.left_frac is None and "swap_keeping_not_known" in codes(found)
    theirs = house.do(
        "swap_band", 66, code=grain, packs=1, other_name="Ham (invented)", other_home_cured=True, **prices
    )
    assert "giving_cured_meat_may_be_regulated" in codes(theirs)


def test_our_cost_is_taken_from_its_worth_where_it_is_not_typed(house: House) -> None:
    code = loin_lot(house)
    asked = {
        "code": code, "packs": 1, "elsewhere": "12.00",
        "other_name": "Jam (invented)", "other_cost": "3.00", "other_elsewhere": "8.00",
    }  # fmt: skip
    with pytest.raises(Refused) as raised:
        house.do("swap_band", 62, **asked)
    assert [(p.code, p.field) for p in raised.value.problems] == [("missing", "cost")]
    house.do("set_price", 62, what="meat", name="pork_loin", price="11.00")
    found = house.do("swap_band", 62, **asked)
    assert found.mine.cost_from == "worth" and found.mine.cost_minor == 446
    assert "worth_at_least" in codes(found)


@pytest.mark.parametrize(
    ("changes", "problem", "field"),
    [
        ({"packs": 7}, "swap_above_lot", "packs"),
        ({"cost": 0}, "swap_price_not_positive", "cost"),
        ({"other_elsewhere": "-8.00"}, "price_negative", "other_elsewhere"),
        ({"elsewhere": None}, "missing", "elsewhere"),
    ],
)
def test_a_swap_that_cannot_be_is_refused(
    house: House, changes: dict[str, Any], problem: str, field: str
) -> None:
    code = told_lot(house)
    asked = {
        "code": code, "packs": 1, "cost": "6.00", "elsewhere": "12.00",
        "other_name": "Jam (invented)", "other_cost": "3.00", "other_elsewhere": "8.00",
    }  # fmt: skip
    with pytest.raises(Refused) as raised:
        house.do("swap_band", 66, **{**asked, **changes})
    assert [(p.code, p.field) for p in raised.value.problems] == [(problem, field)]


def test_a_lot_is_not_swapped_for_itself_nor_past_its_planning_date(house: House) -> None:
    code = told_lot(house, printed_on=day_of(65))
    prices = {"cost": "6.00", "elsewhere": "12.00", "other_cost": "3.00", "other_elsewhere": "8.00"}
    with pytest.raises(Refused) as raised:
        house.do("swap_band", 66, code=code, packs=1, other=code, **prices)
    assert raised.value.problems[0].code == "swap_with_itself"
    with pytest.raises(Refused) as raised:
        house.do("swap_band", 66, code=code, packs=1, other_name="Jam (invented)", **prices)
    assert raised.value.problems[0].code == "swap_out_of_time"
