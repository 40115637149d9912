"""How long a lot keeps, as its pages and its labels are told."""

from __future__ import annotations

import time
from datetime import date, timedelta
from typing import Any

import pytest
from households import BEGAN, House
from packs import day_of, loin_lot, lot_in, put, si, told_lot

from saltfare.actions.pack_keeping import PackKeeping, pack_keeping
from saltfare.core.errors import NotFound, Refused
from saltfare.core.figure import Answer
from saltfare.journal import events_lot as lots
from saltfare.journal import events_shelf as shelf
from saltfare.journal.codes import code_of


def kept(house: House, code: str, day: float = 70) -> PackKeeping:
    return pack_keeping(house.context(day), lot_in(house, code))


def codes(found: Any) -> set[str]:
    return {note.code for note in found.notes}


def assumed(found: PackKeeping) -> dict[str, str]:
    return {one.what: one.taken for one in found.assumed}


def place(house: House, key: str, **told: Any) -> None:
    body = shelf.PlaceDescribed(
        name=key, **{k: si(v) if isinstance(v, float) else v for k, v in told.items()}
    )
    house.journal.append(
        f"place/{key}", body, at=BEGAN, zone="UTC", actor="household", recorded_at=house.context(50).now
    )


def days(found: PackKeeping, packed: float = 60) -> int:
    assert found.planning_date is not None
    return (found.planning_date - day_of(packed)).days


def test_what_nobody_said_is_taken_as_the_worse_and_named(house: House) -> None:
    found = kept(house, told_lot(house))
    assert assumed(found) == {
        "film": "pe_50",
        "pouch_size": "160 x 230 mm",
        "place_temperature": "",
        "place_humidity": "",
    }
    assert found.basis == "assumed" and found.doubtful
    assert "planning_date_no_promise" in codes(found)


def test_the_planning_date_is_the_earliest_end_and_never_beyond_what_an_agency_prints(house: House) -> None:
    place(house, "cellar", coldest=8.0, warmest=8.0, humidity=0.5)
    warm, cool = kept(house, told_lot(house)), kept(house, told_lot(house, 5, place="Cellar"))
    for found in (warm, cool):
        ends = [one.earliest for one in found.limits if one.earliest is not None and one.counted]
        assert found.planning_date == found.low == min(ends)
    # dried foods: 4 months to a year (nchfp_storing); colder does not go beyond the four
    guide = next(one for one in cool.limits if one.mode == "guide")
    assert cool.first_limit == "guide" and guide.earliest == cool.planning_date
    assert days(cool) == pytest.approx(121.75, abs=1)
    assert warm.first_limit == "oxidation" and days(warm) < days(cool)


def test_fat_of_a_dish_lasts_as_lard_does_at_its_temperature(house: House) -> None:
    # kosfa_2018_38_664, table 6: lard in air at 298 K between 6.04 and 7.48 months
    place(house, "room", coldest=24.85, warmest=24.85, humidity=0.3)
    found = kept(house, told_lot(house, place="room"))
    fat = next(one for one in found.limits if one.mode == "oxidation")
    assert fat.earliest is not None and fat.latest is not None
    # at 0.30 of activity the row's own: its three ends within a step of air and the film's drift
    assert (fat.earliest - day_of(60)).days == pytest.approx(183.8, abs=8)
    assert (fat.latest - day_of(60)).days == pytest.approx(227.7, abs=8)


def test_a_place_told_by_its_coldest_and_warmest_month_swings_about_them(house: House) -> None:
    place(house, "loft", coldest=2.0, warmest=30.0, warmest_month=7, humidity=0.5)
    found = kept(house, told_lot(house, place="loft"))
    temps = [point.temp_c for point in found.curve]
    assert found.basis == "described" and not {"place_temperature"} & set(assumed(found))
    assert max(temps) == pytest.approx(30.0, abs=0.3) and min(temps) == pytest.approx(2.0, abs=0.3)
    hottest = max(found.curve, key=lambda point: point.temp_c).on
    assert abs((hottest.replace(year=2026) - date(2026, 7, 15)).days) < 60
    # where nobody said which month is warmest, it is warm all along
    place(house, "attic", coldest=2.0, warmest=30.0, humidity=0.5)
    always = kept(house, told_lot(house, 6, place="attic"))
    assert {round(point.temp_c, 6) for point in always.curve} == {30.0}
    assert days(always) < days(found)


def test_a_chamber_that_was_read_counts_as_read_and_ahead_as_its_warmest_month(house: House) -> None:
    house.do("describe_chamber", 1, name="Cupboard", temperature="14 C", humidity="60 %", air_speed="0.1 m/s")
    rows = [
        {
            "at": (BEGAN + timedelta(days=60 + d)).isoformat(),
            "temperature": f"{12 if d < 40 else 22} C",
            "humidity": "50 %",
        }
        for d in range(80)
    ]
    kept_dry = {f"rows.{n}.{of}": "a cupboard" for n in range(80) for of in ("temperature", "humidity")}
    house.do("read_air", 145, key="cupboard", rows=rows, reasons=kept_dry)
    found = kept(house, told_lot(house, place="cupboard"), 145)
    assert "place_ahead" in assumed(found) and found.basis == "described"
    by_day = {point.on: point.temp_c for point in found.curve}
    assert by_day[min(by_day)] == pytest.approx(12.0)
    assert list(by_day.values())[-1] == pytest.approx(22.0)  # not the cool of spring for the years to come


def test_cured_meat_is_told_by_its_masses_and_set_right_by_a_measured_activity(house: House) -> None:
    code = loin_lot(house)
    first = kept(house, code)
    assert {"keeping_water_by_mass", "keeping_moist_food", "vacuum_counted_as_air"} <= codes(first)
    assert first.aw is not None and first.aw.value is not None and 0.85 < first.aw.value < 0.97
    guide = next(one for one in first.limits if one.mode == "guide")
    assert guide.row == "keeping_guides:country_ham_cut"
    house.do(
        "record_measurement",
        62,
        code=code,
        water_activity="0.80",
        aw_error="0.01",
        part="wettest_thickest",
    )
    again = kept(house, code)
    assert again.aw is not None and again.aw.value == pytest.approx(0.80, abs=1e-6)
    assert "keeping_measured_aw" in codes(again) and "keeping_water_by_mass" not in codes(again)


def test_meat_dried_until_it_keeps_is_held_to_what_is_practised_at_home(house: House) -> None:
    code = loin_lot(house, mass="0.62 kg", packs=3)
    found = kept(house, code)
    guide = next(one for one in found.limits if one.mode == "guide")
    assert guide.row == "keeping_guides:jerky_home"
    assert days(found, 61) <= 30


def test_a_whole_piece_is_not_held_to_times_of_fat_laid_open(house: House) -> None:
    code = loin_lot(house, packs=1, mass_of="1.05 kg")
    found = kept(house, code)
    assert {one.mode for one in found.limits} == {"guide", "vitamin"}
    # a whole uncut country ham: a year (foodsafety_ham_chart)
    assert found.first_limit == "guide" and days(found, 61) == pytest.approx(365, abs=1)


def test_an_absorber_lengthens_what_oxygen_spoils_and_the_tighter_film_more(house: House) -> None:
    def lot(number: int, film: str, absorber: float | None) -> PackKeeping:
        pouch = lots.Pouch(
            film=film, width=si(0.15), height=si(0.2), absorber=None if absorber is None else si(absorber)
        )
        sealed = "no_oxygen" if absorber else "air"
        return kept(house, told_lot(house, number, pouch=pouch, sealed=sealed, place="cold"))

    place(house, "cold", coldest=20.0, warmest=20.0, humidity=0.5)
    air, thin, foil = lot(1, "pe_100", None), lot(2, "pe_100", 3e-4), lot(3, "foil_pe", 3e-4)

    def fat(found: PackKeeping) -> date:
        return next(one.likely or date.max for one in found.limits if one.mode == "oxidation")

    assert fat(air) <= fat(thin) < fat(foil)
    # the course of oxygen is told, and does not set the date: an absorber never shortens one
    oxygen = next(one for one in thin.limits if one.mode == "oxygen")
    assert not oxygen.counted and "oxygen_limit_shown_only" in codes(thin)
    assert (thin.planning_date or date.max) >= (air.planning_date or date.max)
    assert thin.curve[0].oxygen_frac == (0.0, 0.0, 0.0) and air.curve[0].oxygen_frac[0] > 0.2


def test_colder_tighter_and_drier_never_keep_shorter(house: House) -> None:
    def found(number: int, temp: float, film: str, humidity: float, water: float) -> PackKeeping:
        place(house, f"p{number}", coldest=temp, warmest=temp, humidity=humidity)
        pouch = lots.Pouch(film=film, width=si(0.15), height=si(0.2))
        return kept(house, told_lot(house, number, place=f"p{number}", pouch=pouch, water=water))

    base = found(20, 28.0, "pe_50", 0.7, 0.08)
    others = [
        found(21, 22.0, "pe_50", 0.7, 0.08),
        found(22, 28.0, "pe_100", 0.7, 0.08),
        found(23, 28.0, "pe_50", 0.5, 0.08),
        found(24, 28.0, "pe_50", 0.7, 0.075),
    ]
    for other in others:
        assert (other.planning_date or date.max) >= (base.planning_date or date.max)
        for mine, theirs in zip(_by_mode(other), _by_mode(base), strict=True):
            assert mine >= theirs


def _by_mode(found: PackKeeping) -> list[date]:
    return [
        end or date.max
        for one in sorted(found.limits, key=lambda one: one.row)
        for end in (one.earliest, one.likely, one.latest)
    ]


def test_the_date_its_maker_printed_is_never_gone_beyond(house: House) -> None:
    printed = day_of(100)
    code = told_lot(house, 30, printed_on=printed)
    assert kept(house, code).planning_date == printed and kept(house, code).first_limit == "label"
    bought = code_of(31)
    made = lots.LotMade(
        name="Meal (invented)", bought="meal", packs=2, mass=si(0.1), sealed="air", place="pantry",
        packed_on=day_of(60), printed_on=printed,
    )  # fmt: skip
    put(house, bought, made, 60)
    found = kept(house, bought)
    assert found.planning_date == printed and codes(found) == {"food_not_told"}


def test_a_lot_nobody_told_anything_of_has_no_date(house: House) -> None:
    code = code_of(40)
    made = lots.LotMade(
        name="?", packs=2, mass=si(0.1), sealed="air", place="", packed_on=day_of(60)
    )  # fmt: skip
    put(house, code, made, 60)
    found = kept(house, code)
    assert found.planning_date is None and found.first_limit == "" and codes(found) == {"food_not_told"}
    house.do("tell_food", 61, code=code, food="fruit", water="12 %")
    told = kept(house, code)
    assert told.planning_date is not None and told.limits[0].mode in ("eating_quality", "browning")


def test_told_food_is_refused_where_it_cannot_be(house: House) -> None:
    code = told_lot(house)
    for given, field in (
        ({"food": "gravel", "water": "10 %"}, "food"),
        ({"food": "fruit", "isotherm": "none-such", "water": "10 %"}, "isotherm"),
        ({"food": "fruit", "water": "60 %", "fat": "45 %"}, "parts"),
    ):
        with pytest.raises(Refused) as refused:
            house.do("tell_food", 61, code=code, reasons={"water": "a test"}, **given)
        assert [p.field for p in refused.value.problems] == [field]


def test_the_criteria_answer_first_and_apart_and_otherwise_is_worked_out_beside(house: House) -> None:
    code = loin_lot(house)
    shown = house.do("keeping", 70, code=code)
    assert set(shown.answers) == {"kept_air", "sealed", "eaten_uncooked"}
    assert Answer.MEETS not in shown.answers.values()  # nothing was measured
    assert shown.otherwise is None and shown.food_told == "meat_cut"
    cold = house.do("keeping", 70, code=code, temperature="4 C", film="foil_pe", absorber="300 ml")
    assert cold.kept == shown.kept and cold.answers == shown.answers
    assert cold.otherwise.planning_date > cold.kept.planning_date
    with pytest.raises(Refused):
        house.do("keeping", 70, code=code, film="cling wrap")
    with pytest.raises(NotFound):
        house.do("keeping", 70, code=code_of(999))


def test_years_in_a_warm_cupboard_brown_and_spoil_what_they_do(house: House) -> None:
    found = kept(house, told_lot(house, 50, food="vegetable_sweet", water=0.08))
    three = {one.row: one for one in found.aged if one.years == 3}
    brown, vitamin = three["keeping_kinetics:browning"], three["keeping_kinetics:vitamin_c"]
    assert brown.share[0] > 1.0 and brown.left_frac is None
    assert vitamin.left_frac is not None and 0.0 < vitamin.left_frac[0] < vitamin.left_frac[2] < 1.0
    one = next(o for o in found.aged if o.years == 1 and o.row == "keeping_kinetics:browning")
    assert one.share[1] == pytest.approx(brown.share[1] / 3, rel=0.02)


def test_an_open_pack_in_moist_air_may_be_mouldy_any_day(house: House) -> None:
    place(house, "damp", coldest=15.0, warmest=15.0, humidity=0.7)
    found = kept(house, told_lot(house, 60, sealed="open", place="damp"))
    water = next(one for one in found.limits if one.mode == "water")
    assert water.earliest == day_of(60) and found.planning_date == day_of(60)
    assert found.curve == ()


def test_a_mixed_pack_is_its_parts(house: House) -> None:
    meat, grain = loin_lot(house, mass="0.62 kg", packs=3), told_lot(house)
    parts = [{"code": meat, "mass": "30 g"}, {"code": grain, "mass": "110 g"}]
    did = house.do(
        "mix_pack", 65, name="Barley with loin", packs=2, parts=parts, sealed="air", place="pantry"
    )
    found = kept(house, did.code)
    rows = {one.row for one in found.limits}
    assert {
        "keeping_kinetics:animal_fat_oxidation",
        "keeping_water:mould",
        "keeping_guides:jerky_home",
    } <= rows
    assert found.aw is not None and found.aw.value is not None and 0.3 < found.aw.value < 0.75


def test_a_kept_answer_is_quick_and_changes_with_its_lot_alone(house: House) -> None:
    code, other = told_lot(house), told_lot(house, 70)
    first = kept(house, code)
    kept(house, other)
    began = time.perf_counter()
    for _ in range(10):
        assert kept(house, code) == first
    assert (time.perf_counter() - began) / 10 < 0.05
    house.do("tell_food", 71, code=other, food="fruit", water="15 %")
    assert kept(house, code) == first
    house.do("tell_food", 71, code=code, food="fruit", water="15 %")
    assert kept(house, code, 72) != first


def test_what_was_told_can_be_taken_back(house: House) -> None:
    code = told_lot(house)
    first = kept(house, code)
    did = house.do("tell_food", 71, code=code, food="nut", water="5 %", fat="50 %")
    assert kept(house, code, 72).limits != first.limits
    house.do("correct", 73, event_id=did.events[0], what="withdraw")
    assert kept(house, code, 74).limits == first.limits
