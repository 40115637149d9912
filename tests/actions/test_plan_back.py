"""Wishes, room, days away, the plan of them, its acceptance and its calendar, as a household uses them."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from households import BEGAN, House

from saltfare.actions.back_wants import air_of
from saltfare.core.errors import NotFound, Refused
from saltfare.plans.forecast_air import RECENT, USUAL, AssumedAir
from saltfare.plans.forecast_priors import ForecastPriors

TODAY = BEGAN.date()
BY = TODAY + timedelta(days=150)
ROUND: dict[str, Any] = {
    "cut": "beef_eye_round", "mass": "200 g", "thickness": "50 mm", "salt_share": "2.8 %",
    "mix": {"name": "jar", "nitrite": "6.25 %"},
}  # fmt: skip
STEW: dict[str, Any] = {"packs": 6, "tray_mass": "450 g", "soak": True}


def furnished(house: House, hooks: int = 4, **more: Any) -> None:
    house.do("describe_chamber", name="Pantry", temperature="13 C", humidity="70 %", air_speed="0.1 m/s")
    told = {"hooks": {"pantry": hooks}, "fridge_places": 4, "freezer_temperature": "-18 C",
            "trays_area": "0.6"}  # fmt: skip
    house.do("set_capacity", **{**told, **more})


def wished(house: House, **more: Any) -> str:
    given = {"name": "Round", "cured": ROUND, "needed_by": BY.isoformat(), **more}
    return str(house.do("wish_stock", **given).key)


def codes(error: pytest.ExceptionInfo[Refused]) -> set[str]:
    return {problem.code for problem in error.value.problems}


def test_a_wish_is_planned_back_to_named_days(house: House) -> None:
    furnished(house)
    key = wished(house)
    shown = house.do("back_plan")
    (want,) = shown.wants
    assert want.key == key and not want.late and want.missing_kg == pytest.approx(0.2)
    begin = [want.start_by[level] for level in ("level_low", "level_mid", "level_high")]
    assert begin[0] > begin[1] and (begin[2] is None or begin[1] > begin[2])
    assert want.chance >= 0.8 and shown.chance == pytest.approx(want.chance)
    (make,) = want.makes
    days = {task.code: task.on for task in shown.tasks if task.make == make.id and task.code != "look"}
    order = ["buy", "salt", "wash_dress", "hang", "take_down", "pack"]
    assert sorted(days, key=lambda code: days[code])[0] == "buy"
    assert [days[code] for code in order] == sorted(days[code] for code in order)
    assert days["pack"] == BY and make.chamber == "pantry"
    # asked for another chance, another day; the same answer from the cache
    sure = house.do("back_plan", chance="level_low").wants[0].makes[0]
    assert sure.start > make.start
    assert house.do("back_plan") == shown


def test_pork_eaten_uncooked_is_frozen_by_the_table_where_the_freezer_is_known(house: House) -> None:
    house.do("describe_chamber", name="Pantry", temperature="13 C", humidity="70 %", air_speed="0.1 m/s")
    house.do("set_capacity", hooks={"pantry": 2})
    pork = {**ROUND, "cut": "pork_loin"}
    wished(house, name="Loin", cured=pork)
    (want,) = house.do("back_plan").wants
    assert [a.code for a in want.against] == ["freezer_not_told"] and want.chance == 0.0 and not want.makes
    house.do("set_capacity", freezer_temperature="-18 C")
    shown = house.do("back_plan")
    days = {task.code: task for task in shown.tasks}
    # 20 days at 5 F (-15 C) for up to 6 inches, 9 CFR 318.10 (c)(2), and one to settle
    assert (days["thaw"].on - days["freeze"].on).days == 21
    assert "trichinella_only" in days["freeze"].cautions
    # to be cooked, nothing asks for it
    house.do(
        "wish_stock", key="loin", name="Loin", cured={**pork, "purpose": "pot"}, needed_by=BY.isoformat()
    )
    assert "freeze" not in {task.code for task in house.do("back_plan").tasks}


def test_what_is_under_way_is_counted_and_weigh_ins_plan_anew(house: House) -> None:
    furnished(house)
    code = house.hung(chamber="pantry", cut="beef_eye_round", mass="1.55 kg")
    house.do("wish_stock", 22, name="Round", cured=ROUND, needed_by=BY.isoformat())
    (want,) = house.do("back_plan", 22).wants
    assert [u.code for u in want.under_way] == [code] and not want.makes
    before = want.under_way[0].chance
    house.do("weigh_in", 45, code=code, mass="1.20 kg", reasons={"mass": "as it is"})
    after = house.do("back_plan", 45).wants[0].under_way[0]
    assert after.ready[1] is not None and after.chance != before
    assert {"take_down", "pack"} <= {task.code for task in house.do("back_plan", 45).tasks}


def test_a_plan_taken_on_stands_on_the_bench_and_in_the_calendar(house: House) -> None:
    furnished(house)
    wished(house, name="Stew", cured=None, dish=STEW, needed_by=(TODAY + timedelta(days=14)).isoformat())
    plan = house.do("back_plan")
    assert not plan.accepted and plan.differs
    took = house.do("accept_plan")
    assert took.tasks == len(plan.tasks) and not house.do("back_plan").differs
    feed = house.do("calendar_feed").entries
    assert {entry.id for entry in feed} == {task.id for task in plan.tasks}
    assert {entry.sequence for entry in feed} == {0}
    bench = house.do("bench").planned
    assert [d.code for d in bench][:1] == ["shop"]
    first = bench[0]
    house.do("task_done", task=first.id)
    assert first.id not in {d.id for d in house.do("bench").planned}
    entry = next(e for e in house.do("calendar_feed").entries if e.id == first.id)
    assert (entry.status, entry.sequence) == ("done", 1)
    with pytest.raises(Refused) as refused:
        house.do("task_done", task=first.id)
    assert codes(refused) == {"nothing_changed"}
    with pytest.raises(NotFound):
        house.do("task_done", task="nothing")


def test_calendar_entries_move_and_are_cancelled_and_keep_their_names(house: House) -> None:
    furnished(house)
    near = (TODAY + timedelta(days=20)).isoformat()
    key = wished(house, name="Stew", cured=None, dish=STEW, needed_by=near)
    house.do("accept_plan")
    before = {e.id: e for e in house.do("calendar_feed").entries}
    later = (TODAY + timedelta(days=26)).isoformat()
    house.do("wish_stock", key=key, name="Stew", cured=None, dish=STEW, needed_by=later)
    assert house.do("back_plan").differs
    house.do("accept_plan")
    moved = {e.id: e for e in house.do("calendar_feed").entries}
    assert set(moved) == set(before)
    assert all(moved[i].on > before[i].on and moved[i].sequence == 1 for i in moved)
    # a loaf instead: the stew's tasks fall away, and are told to calendars as cancelled
    house.do("drop_wish", key=key)
    wished(house, name="Hash", cured=None, dish={**STEW, "soak": False}, needed_by=later)
    fell = house.do("accept_plan")
    assert fell.fell_away == len(moved)
    last = {e.id: e for e in house.do("calendar_feed").entries}
    assert all((last[i].status, last[i].sequence) == ("cancelled", 2) for i in moved)
    # an acceptance taken back: the plan before stands again
    house.do("correct", event_id=fell.events[0], what="withdraw")
    assert {e.id for e in house.do("calendar_feed").entries} == set(moved)
    assert {e.status for e in house.do("calendar_feed").entries} == {"open"}


def test_a_weekend_away_moves_the_start(house: House) -> None:
    furnished(house)
    near = TODAY + timedelta(days=20)
    wished(house, name="Stew", cured=None, dish=STEW, needed_by=near.isoformat())
    (make,) = house.do("back_plan").wants[0].makes
    house.do("tell_away", first=make.start.isoformat(), last=make.begun.isoformat())
    shown = house.do("back_plan")
    (moved,) = shown.wants[0].makes
    assert moved.start < make.start and moved.moved_days > 0 and not shown.conflicts
    house.do("tell_away", first=make.start.isoformat(), last=make.begun.isoformat(), home=True)
    assert house.do("back_plan").wants[0].makes[0].start == make.start


def test_away_all_the_time_is_shown_as_what_does_not_fit(house: House) -> None:
    furnished(house)
    near = TODAY + timedelta(days=20)
    wished(house, name="Stew", cured=None, dish=STEW, needed_by=near.isoformat())
    house.do("tell_away", first=TODAY.isoformat(), last=(TODAY + timedelta(days=60)).isoformat())
    found = house.do("back_plan").conflicts
    assert {c.code for c in found} == {"nobody_home"} and {"shop", "cook"} <= {c.task for c in found}


def test_too_late_offers_other_ways_with_their_own_chance(house: House) -> None:
    furnished(house)
    near = TODAY + timedelta(days=50)
    house.do("wish_stock", name="Stew", dish=STEW, needed_by=BY.isoformat())
    wished(house, cured={**ROUND, "thickness": "80 mm"}, needed_by=near.isoformat())
    want = house.do("back_plan").wants[1]
    assert want.late and want.chance < 0.8
    offered = {offer.code: offer for offer in want.offers}
    assert {"thinner", "dish_instead", "later", "bought_pack"} <= set(offered)
    assert offered["thinner"].chance > want.chance and offered["dish_instead"].chance > 0.9
    assert offered["later"].ready > near and offered["bought_pack"].chance is None
    # wished for as offered, it has that chance
    thin = {**ROUND, "thickness": offered["thinner"].params["thickness_m"]}
    tried = house.do(
        "back_plan", wants=[{"name": "Round", "cured": thin, "needed_by": near.isoformat()}]
    ).wants[0]
    assert tried.chance == pytest.approx(offered["thinner"].chance, abs=0.03)


BAD: list[tuple[dict[str, Any], str]] = [
    ({"needed_by": TODAY.isoformat()}, "day_gone_by"),
    ({"needed_by": "2020-01-01"}, "day_gone_by"),
    ({"needed_by": None}, "wish_day_or_trip"),
    ({"needed_by": None, "trip": "NOTRIP1"}, "trip_unknown"),
    ({"cured": None}, "wish_one_of"),
    ({"dish": STEW}, "wish_one_of"),
    ({"cured": {**ROUND, "mass": "0 g"}}, "impossible"),
    ({"cured": {**ROUND, "cut": "goose_breast"}}, "not_one_of"),
    ({"cured": {**ROUND, "chamber": "attic"}}, "chamber_unknown"),
    ({"cured": None, "dish": {"packs": 0}}, "not_usable"),
]


@pytest.mark.parametrize(("changes", "code"), BAD, ids=[f"{n} {code}" for n, (_, code) in enumerate(BAD)])
def test_a_wish_that_cannot_be_is_refused(house: House, changes: dict[str, Any], code: str) -> None:
    with pytest.raises(Refused) as refused:
        wished(house, **changes)
    assert code in codes(refused)
    assert not house.do("plan_room").wishes


@pytest.mark.parametrize(
    ("hooks", "wish", "code"),
    [
        ({}, {}, "no_chamber"),
        ({"pantry": 0}, {}, "no_chamber"),
        ({"pantry": 0}, {"chamber": "pantry"}, "chamber_no_hooks"),
    ],
    ids=["none told", "none there", "none in it"],
)
def test_without_a_hook_it_is_said_what_is_missing(
    house: House, hooks: dict[str, int], wish: dict[str, Any], code: str
) -> None:
    house.do("describe_chamber", name="Pantry", temperature="13 C", humidity="70 %", air_speed="0.1 m/s")
    house.do("set_capacity", fridge_places=2, hooks=hooks)
    wished(house, cured={**ROUND, **wish})
    shown = house.do("back_plan")
    assert [a.code for a in shown.wants[0].against] == [code]
    assert shown.chance == 0.0 and not shown.tasks
    with pytest.raises(Refused) as refused:
        house.do("accept_plan")
    assert codes(refused) == {"nothing_to_accept"}


def test_room_and_days_away_that_cannot_be_are_refused(house: House) -> None:
    furnished(house)
    for name, given, code in (
        ("set_capacity", {"hooks": {"attic": 2}}, "chamber_unknown"),
        ("set_capacity", {"hooks": {"pantry": -1}}, "hooks_below_zero"),
        ("set_capacity", {}, "no_room_told"),
        ("set_capacity", {"work_from": "22:00", "work_until": "07:00"}, "work_ends_first"),
        ("tell_away", {"first": "2026-05-02", "last": "2026-05-01"}, "away_ends_first"),
        ("tell_away", {"first": "2026-05-02", "last": "2029-05-01"}, "away_all_the_time"),
    ):
        with pytest.raises(Refused) as refused:
            house.do(name, **given)
        assert code in codes(refused)
    with pytest.raises(NotFound):
        house.do("drop_wish", key="nothing")


def test_a_wish_without_salt_of_its_own_takes_the_last_rubbed_pieces(house: House) -> None:
    furnished(house)
    bare = {k: v for k, v in ROUND.items() if k not in ("salt_share", "mix")}
    wished(house, cured=bare)
    assert [a.code for a in house.do("back_plan").wants[0].against] == ["missing"]
    house.started(salt_share="3 %", chamber="pantry")
    shown = house.do("back_plan")
    (salt,) = [task for task in shown.tasks if task.code == "salt"]
    green = shown.wants[0].makes[0].green_kg
    # the salt in the cure mix counted: 3 % of green weight all together
    assert (
        salt.amounts["salt_dose"] < 0.03 * green < salt.amounts["salt_dose"] + salt.amounts["cure_mix_dose"]
    )


def test_what_is_on_the_shelf_is_not_made_again(house: House) -> None:
    furnished(house)
    code = house.hung(chamber="pantry", cut="beef_eye_round", mass="1.55 kg")
    portions = [{"packs": 4, "mass": "120 g", "sealed": "air", "place": "cellar"}]
    house.do("take_down", 90, code=code, mass="0.96 kg", portions=portions, reasons={"mass": "as it is"})
    house.do("wish_stock", 91, name="Round", cured={**ROUND, "mass": "600 g"}, needed_by=BY.isoformat())
    (want,) = house.do("back_plan", 91).wants
    assert want.on_hand_kg == pytest.approx(0.48) and want.missing_kg == pytest.approx(0.12)


def test_the_same_wish_sent_twice_is_one_wish(house: House) -> None:
    furnished(house)
    first = house.do("wish_stock", name="R", cured=ROUND, needed_by=BY.isoformat(), request_id="a")
    again = house.do("wish_stock", name="R", cured=ROUND, needed_by=BY.isoformat(), request_id="a")
    assert again.key == first.key and again.already and len(house.do("plan_room").wishes) == 1
    assert house.do("wish_stock", name="R", cured=ROUND, needed_by=BY.isoformat()).key != first.key


def test_spans_of_days_away_are_told_whole(house: House) -> None:
    for first, last in (
        ("2026-04-03", "2026-04-05"),
        ("2026-04-05", "2026-04-06"),
        ("2026-05-01", "2026-05-01"),
    ):
        house.do("tell_away", first=first, last=last)
    house.do("tell_away", first="2026-04-04", last="2026-04-04", home=True)
    assert house.do("plan_room").away == (
        (date(2026, 4, 3), date(2026, 4, 3)),
        (date(2026, 4, 5), date(2026, 4, 6)),
        (date(2026, 5, 1), date(2026, 5, 1)),
    )


def test_the_air_counted_on_stays_until_a_reading_comes(house: House) -> None:
    furnished(house)

    def read(day: float, temperature: str) -> None:
        at = BEGAN + timedelta(days=day)
        rows = [{"at": at.isoformat(), "temperature": temperature, "humidity": "72 %"}]
        house.do("read_air", day, key="pantry", rows=rows)

    for day in range(12):
        read(0.25 * day, f"{13 + 0.1 * day:.1f} C")
    priors = ForecastPriors.from_library(library=house.library)

    def air(day: float) -> AssumedAir:
        found = air_of(house.context(day), "pantry", priors)
        assert found is not None
        return found.air

    first = air(2.8)
    assert first.basis == RECENT and air(3.31) == first == air(6.0)
    # of more than a week ago nothing is read of late: as described
    assert air(9.8).basis == USUAL and air(9.8).temp_c == pytest.approx(13.0)
    read(3.0, "15 C")
    assert air(3.31).temp_c > first.temp_c


def test_room_nobody_told_is_a_condition_of_every_chance_and_day(house: House) -> None:
    house.do("describe_chamber", name="Pantry", temperature="13 C", humidity="70 %", air_speed="0.1 m/s")
    house.do("wish_stock", name="Stew", dish=STEW, needed_by=BY.isoformat())
    shown = house.do("back_plan")
    (want,) = shown.wants
    (make,) = want.makes
    assert want.chance > 0.95  # the figure alone would comfort
    assert "trays" in shown.room_open
    assert shown.room_open == want.room_open == make.room_open
    assert all(task.room_open == make.room_open for task in shown.tasks)
    house.do("accept_plan")
    (event,) = [e for e in house.journal.events("plan/accepted") if e.body.kind == "plan_accepted"]
    assert "trays" in event.body.room_open and all("trays" in task.room_open for task in event.body.tasks)
    assert all("trays" in entry.room_open for entry in house.do("calendar_feed").entries)
    # once it is told, the condition falls away and nothing else is left open
    house.do(
        "set_capacity", hooks={"pantry": 4}, fridge_places=9, fridge_volume="40 l", freezer_volume="40 l",
        trays_area="5",
    )  # fmt: skip
    told = house.do("back_plan")
    assert told.room_open == () and told.wants[0].room_open == () and told.wants[0].makes[0].room_open == ()


def test_only_room_that_is_needed_is_a_condition(house: House) -> None:
    furnished(house)  # hooks, places in the fridge and trays are told, room in litres is not
    wished(house)
    (want,) = house.do("back_plan").wants
    assert not {"hook", "fridge", "trays"} & set(want.room_open)
    house.do("wish_stock", name="Stew", dish=STEW, needed_by=BY.isoformat())
    assert "trays" not in house.do("back_plan").room_open
