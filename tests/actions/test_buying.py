"""The buying card: what it asks for, what it answers, what it will not answer."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from households import BEGAN, House

from saltfare.core.errors import Refused

ASKED: dict[str, Any] = {
    "packs": 12,
    "pack": "80 g",
    "cut": "pork_loin",
    "purpose": "home_cold",
    "dates": False,
}
AIR = {"chamber_temperature": "13 C", "chamber_humidity": "75 %"}


def test_it_says_how_much_to_buy_with_its_band(house: House) -> None:
    """By hand, with the usual shares: 0.96 / (0.94 x 0.955 x 0.62 x 0.98), and with the ends."""
    card = house.do("buying", **ASKED)
    assert card.buy.value == pytest.approx(0.96 / (0.94 * 0.955 * 0.62 * 0.98))
    assert card.buy.low == pytest.approx(0.96 / (0.98 * 0.97 * 0.65 * 1.0))
    assert card.buy.high == card.enough_kg == pytest.approx(0.96 / (0.88 * 0.94 * 0.58 * 0.94))
    assert card.green.value == pytest.approx(0.94 * card.buy.value)
    assert card.traces[card.buy.trace].model == "plans.buying.bought_from_finished"
    assert card.thicknesses == () and card.notes == ()


def test_what_the_person_knows_replaces_the_band(house: House) -> None:
    card = house.do("buying", **ASKED, trim="10 %", end_trim="0 %", target_loss="40 %")
    told = {share.quantity: (share.figure.value, share.told, share.figure.low) for share in card.shares}
    assert told["green_trim_share"] == (pytest.approx(0.10), True, None)
    assert told["loss_from_hanging"] == (pytest.approx(0.40), True, None)
    assert told["net_loss_in_salt"][1] is False
    assert card.buy.low == pytest.approx(0.96 / (0.9 * 0.97 * 0.6))


@pytest.mark.parametrize("packs", [1, 7, 12, 40])
def test_what_it_says_to_buy_gives_those_packs(house: House, packs: int) -> None:
    asked = {**ASKED, "packs": packs}
    card = house.do("buying", **asked)
    back = house.do("buying", **asked, offered=card.buy.value).offered
    assert (back.packs, back.finished.value) == (packs, pytest.approx(packs * 0.08))
    assert house.do("buying", **asked, offered=card.enough_kg).offered.packs_low == packs
    assert house.do("buying", **asked, offered=card.buy.low).offered.packs_high == packs


def test_carried_without_cold_asks_for_the_salt_and_then_for_dry_air(house: House) -> None:
    carried = {**ASKED, "purpose": "carried"}
    with pytest.raises(Refused) as refused:
        house.do("buying", **carried)
    assert [(p.code, p.field) for p in refused.value.problems] == [("missing", "salt_share")]
    card = house.do("buying", **carried, salt_share="3.2 %", **AIR)
    loss = next(share.figure for share in card.shares if share.quantity == "loss_from_hanging")
    assert loss.low < loss.value < loss.high
    assert card.buy.value > house.do("buying", **ASKED).buy.value
    with pytest.raises(Refused) as damp:
        house.do("buying", **carried, salt_share="3.2 %", chamber_temperature="13 C", chamber_humidity="84 %")
    assert damp.value.problems[0].code == "carried_needs_drier_air"


def test_a_loss_the_air_never_allows_is_refused(house: House) -> None:
    with pytest.raises(Refused) as refused:
        house.do(
            "buying",
            **ASKED,
            salt_share="3 %",
            chamber_temperature="13 C",
            chamber_humidity="90 %",
            target_loss="55 %",
        )
    assert refused.value.problems[0].code == "target_beyond_ceiling"


def test_without_salt_or_air_it_says_what_the_dates_need(house: House) -> None:
    asked = {**ASKED, "dates": True}
    assert [n.code for n in house.do("buying", **asked).notes] == ["no_dates_without_salt"]
    assert [n.code for n in house.do("buying", **asked, salt_share="3 %").notes] == ["no_dates_without_air"]


def test_thicker_is_later_and_the_chance_by_a_day_falls(house: House) -> None:
    asked = {**ASKED, "dates": True, "salt_share": "3 %", **AIR, "wanted_on": date(2026, 5, 1)}
    card = house.do("buying", **asked)
    assert [one.thickness_m for one in card.thicknesses] == [0.04, 0.06, 0.08, 0.10]
    assert [one.salt_days for one in card.thicknesses] == sorted(one.salt_days for one in card.thicknesses)
    today = BEGAN.date()
    for one in card.thicknesses:
        assert one.hang_on == today + timedelta(days=one.salt_days)
        known = [day for day in (one.early, one.likely, one.late) if day is not None]
        assert known == sorted(known) and (not known or known[0] > one.hang_on)
    early = [one.early for one in card.thicknesses if one.early]
    assert early == sorted(early) and len(early) >= 3
    chances = [one.by_wanted_frac for one in card.thicknesses]
    assert chances == sorted(chances, reverse=True) and chances[0] > 0.5 > chances[-1]
    # the same pieces on another day are the same pieces: nothing is computed anew
    again = house.do("buying", 3, **asked)
    assert again.thicknesses[0].early - card.thicknesses[0].early == timedelta(days=3)


def test_the_last_piece_lends_its_salt(house: House) -> None:
    house.started()
    card = house.do("buying", **{**ASKED, "dates": True})
    assert card.salt_frac == pytest.approx(0.028)
    assert [n.code for n in card.notes] == ["salt_as_last_piece", "no_dates_without_air"]


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"cut": "unicorn"}, "not_one_of"),
        ({"chamber": "nowhere"}, "chamber_unknown"),
        ({"pack": "80"}, "unit_missing"),
        ({"trim": "95 %"}, "impossible"),
    ],
)
def test_what_it_cannot_use_is_refused(house: House, changes: dict[str, Any], code: str) -> None:
    with pytest.raises(Refused) as refused:
        house.do("buying", **{**ASKED, **changes})
    assert refused.value.problems[0].code == code


def test_packs_are_counted_between_one_and_five_hundred(house: House) -> None:
    for packs in (0, -3, 501):
        with pytest.raises(Refused):
            house.do("buying", **{**ASKED, "packs": packs})
