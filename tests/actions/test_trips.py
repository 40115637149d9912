"""A trip as told, what everybody needs, and every way of telling it wrong."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from trip_household import ANNA, BO, DAY, STAPLES, Camp, staple

from saltfare.core.errors import NotFound, Refused
from saltfare.journal.store import Journal

KCAL = 4184.0


@pytest.fixture
def camp(tmp_path: Path) -> Iterator[Camp]:
    with Journal.open(tmp_path / "trips.db") as journal:
        yield Camp(journal, tmp_path)


def refused(camp: Camp, name: str, **given: Any) -> set[str]:
    with pytest.raises(Refused) as caught:
        camp.do(name, **given)
    return {problem.code for problem in caught.value.problems}


def test_a_trip_is_told_shown_and_listed(camp: Camp) -> None:
    code = camp.trip(days=3)
    shown = camp.do("trip", code=code.lower())
    assert (shown.stand.value, len(shown.days), len(shown.party), shown.lacks) == ("planned", 3, 2, ())
    assert [str(day.on) for day in shown.days] == ["2026-04-10", "2026-04-11", "2026-04-12"]
    listed = camp.do("trips").trips
    assert [(one.code, one.days, one.people, one.days_until) for one in listed] == [(code, 3, 2, 39)]
    assert {note.code for note in shown.cautions} >= {"trip_needs_healthy", "trip_found_water", "trip_stove"}
    again = camp.do("plan_trip", request_id="once", name="A", departure="2026-05-01", day="9 C", night="1 C")
    twice = camp.do("plan_trip", request_id="once", name="A", departure="2026-05-01", day="9 C", night="1 C")
    assert again.code == twice.code and twice.already


def test_the_time_on_the_way_follows_the_rule_of_1892(camp: Camp) -> None:
    """Naismith 1892: three miles an hour, and an hour for each 2000 feet of climb."""
    way = {"walking": f"{4 * 1609.344 * 3} m", "ascent": f"{609.6} m", "descent": "0 m"}
    code = camp.trip(days_told=[way])
    assert camp.do("trip", code=code).days[0].moving.value == pytest.approx(5 * 3600.0, rel=1e-6)
    told = camp.trip(days_told=[{**way, "time": "7 h"}])
    assert camp.do("trip", code=told).days[0].moving.value == pytest.approx(7 * 3600.0)


def test_a_day_of_rest_is_led_by_the_equation_of_2023(camp: Camp) -> None:
    """NASEM 2023, table S-3: a woman of 30, 168 cm, 62 kg, active needs 2363.75 kcal; a man of 40 as of the
    same."""
    people = [{**ANNA, "age": 30}]
    need = camp.do(
        "trip_need", code=camp.trip(days_told=[{}], people=people, plan={"day": "22 C", "night": "20 C"})
    )
    day = need.people[0].days[0]
    assert day.lead == "dri_2023"
    assert day.energy.value / KCAL == pytest.approx(2363.75, abs=0.01)
    assert need.share == pytest.approx(0.875)
    assert day.ration.value == pytest.approx(0.875 * day.energy.value)


def test_a_day_under_a_pack_is_a_ledger_with_rivals_beside_it(camp: Camp) -> None:
    need = camp.do("trip_need", code=camp.trip())
    day = need.people[1].days[0]
    by_name = {one.model: one for one in day.models}
    assert set(by_name) == {"looney_2022", "pandolf", "looney_2019", "compendium", "dri_2023", "dri_2005"}
    assert day.lead == "looney_2022"
    assert by_name["dri_2023"].habitual and not by_name["pandolf"].habitual
    energies = [one.energy.value for one in day.models if one.energy and not one.habitual]
    assert day.energy.low <= min(energies) + 1 and day.energy.high >= max(energies) - 1
    assert day.energy.low <= day.energy.value <= day.energy.high
    for figure in (day.energy, day.ration, day.drink, by_name["pandolf"].energy):
        assert need.traces[figure.trace].cites
    heavier = camp.do("trip_need", code=camp.trip(days_told=[{**DAY, "load_share": "35 %"}]))
    assert heavier.people[1].days[0].energy.value > day.energy.value


def test_what_the_place_adds_is_a_range_and_only_ours_is_counted(camp: Camp) -> None:
    warm = camp.do("trip_need", code=camp.trip(plan={"day": "24 C", "night": "21 C"}))
    cold = camp.do("trip_need", code=camp.trip(plan={"day": "4 C", "night": "-6 C", "altitude": "3000 m"}))
    rows = {one.row: one for one in cold.adders[0]}
    assert {row for row, one in rows.items() if one.counted} == {
        "trip_adders:cold_chosen", "trip_adders:altitude_chosen",
    }  # fmt: skip
    assert rows["trip_adders:altitude"].high == pytest.approx(0.5)
    ratio = cold.people[0].days[0].energy.value / warm.people[0].days[0].energy.value
    assert ratio == pytest.approx(1.2)  # ten and ten per cent, added
    assert [one.row for one in warm.adders[0]] == ["trip_adders:temperate"]


def test_a_child_is_led_by_the_larger_of_two_and_said_to_be_one(camp: Camp) -> None:
    people = [{**ANNA, "name": "Cleo", "age": 12, "height": "150 cm", "mass": "42 kg"}]
    code = camp.trip(people=people)
    day = camp.do("trip_need", code=code).people[0].days[0]
    energies = {one.model: one.energy.value for one in day.models if one.energy}
    assert day.energy.value == pytest.approx(max(energies["compendium"], energies["dri_2023_very_active"]))
    assert "looney_2022" not in energies
    assert "trip_children" in {note.code for note in camp.do("trip", code=code).cautions}


def test_age_alone_makes_somebody_vulnerable(camp: Camp) -> None:
    """CDC: children younger than 5 and adults aged 65 and older."""
    for age, wanted in ((4, True), (5, False), (64, False), (65, True)):
        body = {"height": "105 cm", "mass": "17 kg"} if age < 18 else {}
        reasons = {f"people.0.{name}": "it is so" for name in ("age", "height", "mass")}
        code = camp.trip(people=[{**ANNA, **body, "age": age}], reasons=reasons)
        person = camp.do("trip_need", code=code).people[0]
        assert (person.vulnerable, person.by_age) == (wanted, wanted), age


def test_water_above_the_caps_is_marked(camp: Camp) -> None:
    """TB MED 507: hard work at a heat index of 31.5 C is a quart an hour; 12 quarts a day is the most."""
    hot = {**DAY, "walking": "25 km", "time": "11 h", "camp": "1 h", "load_share": "30 %"}
    code = camp.trip(days_told=[hot], plan={"day": "35 C", "night": "20 C", "heat": "31.5 C"})
    need = camp.do("trip_need", code=code)
    day = need.people[1].days[0]
    assert day.drink_work == "hard"
    quarts = day.drink.high * 1000 / 0.946352946
    assert quarts == pytest.approx(11.0 + 3.0 * 5 / 16 / 0.946352946, rel=1e-6)
    assert day.above_cap == (quarts > 12)
    longer = camp.trip(
        days_told=[{**hot, "time": "13 h"}], plan={"day": "35 C", "night": "20 C", "heat": "31.5 C"}
    )
    shown = camp.do("trip_need", code=longer).people[1]
    assert shown.days[0].above_cap
    assert "trip_above_cap" in {note.code for note in shown.cautions}


def test_long_trips_plan_the_whole_need_and_a_typed_ration_stands(camp: Camp) -> None:
    need = camp.do("trip_need", code=camp.trip(days=9))
    assert need.share == 1.0 and need.people[0].ration.value == pytest.approx(need.people[0].energy.value)
    typed = camp.do("trip_need", code=camp.trip(people=[{**ANNA, "ration": "2000 kcal"}]))
    assert typed.people[0].days[0].ration.value == pytest.approx(2000 * KCAL)


PIN = {"item": "food/almonds", "sitting": "move"}


@pytest.mark.parametrize(
    ("action", "given", "code"),
    [
        ("set_days", {"days": []}, "menu_no_days"),
        ("set_days", {"days": [{**DAY, "terrain": "lava"}]}, "trip_no_such_row"),
        ("set_days", {"days": [{**DAY, "sittings": []}]}, "menu_no_sittings"),
        ("set_days", {"days": [{**DAY, "sittings": [{"name": "supper"}] * 2}]}, "trip_sitting_twice"),
        ("set_days", {"days": [{**DAY, "resupply": True}]}, "trip_resupply_first"),
        ("set_days", {"days": [{"spare": True}]}, "trip_only_spare"),
        ("set_days", {"days": [{**DAY, "camp": "13 h"}]}, "trip_day_over_full"),
        ("set_days", {"days": [{"ascent": "300 m"}]}, "trip_climb_without_way"),
        ("set_days", {"days": [{"walking": "2 km", "ascent": "1000 m"}]}, "trip_too_steep"),
        ("set_days", {"days": [{**DAY, "time": "30 min"}]}, "trip_too_fast"),
        ("set_days", {"days": [{**DAY, "snow": "2 h"}]}, "trip_snow_by"),
        ("set_days", {"days": [{**DAY, "day": "2 C", "night": "9 C"}]}, "day_upside_down"),
        ("set_days", {"days": [{**DAY, "walking": "12"}]}, "unit_missing"),
        ("set_party", {"people": []}, "menu_nobody"),
        ("set_party", {"people": [ANNA, {**BO, "name": " anna"}]}, "menu_twice"),
        ("set_party", {"people": [{**ANNA, "mass": "900 kg"}]}, "impossible"),
        ("set_party", {"people": [{**ANNA, "mass": "26 kg", "height": "200 cm"}]}, "trip_mass_and_height"),
        ("set_party", {"people": [{**ANNA, "eats_no": {"diets": ["no_moon"]}}]}, "trip_no_such_row"),
        ("set_party", {"people": [{**ANNA, "eats_no": {"allergens": ["moon"]}}]}, "trip_no_such_row"),
        ("set_kitchen", {"pots": 1, "pot": "2 l", "stove": "sun", "fuel": "isobutane"}, "trip_no_such_row"),
        ("set_staples", {"staples": [staple("moonrock", "1 kg", "50 g")]}, "trip_no_such_row"),
        ("set_staples", {"staples": [staple("almonds", "100 g", "150 g")]}, "trip_portion_above_pack"),
        ("set_staples", {"staples": [staple("almonds", "100 g", "50 g")] * 2}, "menu_twice"),
        ("set_item", {"item": "food/almonds", "handling": "kept_cold"}, "menu_cold_until"),
        ("set_item", {"item": "food/almonds", "decided": True}, "trip_decided_without_why"),
        ("hold_item", {**PIN, "person": "Nobody", "day": 0}, "menu_pin_leads_nowhere"),
        ("hold_item", {**PIN, "person": "Bo", "day": 9}, "menu_pin_leads_nowhere"),
        ("bar_item", PIN, "trip_sitting_without_day"),
        ("let_go", {}, "trip_nothing_to_let_go"),
        ("release_menu", {}, "trip_no_menu"),
        ("take_along", {}, "trip_no_menu"),
        ("after_trip", {}, "trip_not_begun"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_by_name(camp: Camp, action: str, given: dict[str, Any], code: str) -> None:
    assert code in refused(camp, action, code=camp.trip(), **given)


def test_an_unusual_body_is_kept_only_with_a_reason(camp: Camp) -> None:
    heavy = {**ANNA, "mass": "180 kg"}
    code = camp.trip()
    assert refused(camp, "set_party", code=code, people=[heavy]) == {"implausible"}
    camp.do("set_party", code=code, people=[heavy], reasons={"people.0.mass": "weighed twice"})


def test_a_trip_that_is_over_is_planned_no_more(camp: Camp) -> None:
    code = camp.trip()
    camp.do("cancel_trip", code=code, reason="rain")
    assert refused(camp, "set_days", code=code, days=[DAY]) == {"trip_closed"}
    with pytest.raises(NotFound):
        camp.do("trip", code="0000000")


def test_nothing_is_planned_of_a_trip_that_is_half_told(camp: Camp) -> None:
    made = camp.do("plan_trip", name="Bare", departure="2026-04-10", day="16 C", night="6 C")
    assert refused(camp, "plan_menu", code=made.code) == {"menu_no_days", "menu_nobody", "trip_no_kitchen"}
    assert camp.do("trip", code=made.code).lacks == (
        "trip_lacks_days", "trip_lacks_party", "trip_lacks_kitchen",
    )  # fmt: skip
    assert STAPLES


@pytest.mark.parametrize("departure", ["1999-01-01", "9999-12-31", "2031-01-01"])
def test_a_departure_that_was_hardly_meant_is_refused(camp: Camp, departure: str) -> None:
    told = {"name": "Far", "day": "10 C", "night": "0 C"}
    with pytest.raises(Refused) as caught:
        camp.do("plan_trip", departure=departure, **told)
    assert [(p.code, p.field) for p in caught.value.problems] == [("trip_departure_far", "departure")]
    # a trip under way can be told
    assert camp.do("plan_trip", departure="2026-02-20", **told).code
