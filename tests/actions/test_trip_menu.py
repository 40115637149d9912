"""A menu from the shelf: planned, held, explained, committed, taken along and brought back."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from dish_batches import packed
from trip_household import ANNA, BO, DAY, STAPLES, Camp, staple

from saltfare.actions.shapes import done
from saltfare.core.errors import Conflict, Refused
from saltfare.journal.lot import lot
from saltfare.journal.store import Journal
from saltfare.journal.trip import trip

MEAL: dict[str, Any] = {
    "what": "meal", "mass": "150 g", "per": "pack", "energy": "620 kcal", "protein": "24 g", "fat": "18 g",
    "carbohydrate": "88 g", "salt": "2.4 g", "allergens": [], "holds": [], "ingredients": "rice, lentils",
    "water": "350 ml", "wait": "10 min", "takes_boiling_water": True, "servings": "1",
}  # fmt: skip


@pytest.fixture
def camp(tmp_path: Path) -> Iterator[Camp]:
    with Journal.open(tmp_path / "trips.db") as journal:
        yield Camp(journal, tmp_path)


def pouches(camp: Camp, name: str, packs: int, **changes: Any) -> str:
    """Bought meals on the shelf, invented."""
    label = {**MEAL, "name": f"{name} (invented)", **changes}
    made = camp.do("add_bought", label=label, packs=packs, place="larder")
    return str(made.code)


def refused(camp: Camp, name: str, **given: Any) -> set[str]:
    with pytest.raises(Refused) as caught:
        camp.do(name, **given)
    return {problem.code for problem in caught.value.problems}


def commit(camp: Camp, code: str, **more: Any) -> Any:
    shown = camp.planned(code)
    return camp.do("commit_menu", code=code, key=shown.key, **{"short": bool(shown.short), **more})


def of_lot(shown: Any, code: str) -> int:
    return sum(pack.packs for pack in shown.packs if pack.key == code)


@pytest.fixture
def shelf(camp: Camp) -> dict[str, str]:
    return {"stew": pouches(camp, "Bean stew", 6), "curry": pouches(camp, "Pea curry", 6)}


def test_planned_committed_eaten_from_planned_again_and_undone(camp: Camp, shelf: dict[str, str]) -> None:
    code = camp.trip(days=2)
    quick = camp.do("menu", code=code)
    assert quick.quick and quick.work == "not_begun" and quick.broken == ()
    shown = camp.planned(code)
    assert (shown.work, shown.broken, shown.short) == ("done", (), ())
    assert {goal.goal for goal in shown.goals} == {"short", "mass", "variety", "age", "cost"}
    assert all(goal.bound <= goal.reached for goal in shown.goals)
    assert shown.food_g <= quick.food_g
    assert camp.planned(code).days == shown.days  # the same trip and shelf, the same menu

    # every pouch held for somebody is on the menu, and is all there is in the pack list
    item = f"lot/{shelf['stew']}"
    camp.do("hold_item", code=code, item=item, person="Bo", day=1, sitting="supper")
    held = camp.planned(code)
    supper = next(s for s in held.days[1].sittings if s.sitting == "supper")
    assert next(d.held for d in supper.dishes if d.item == item) == ("Bo",)
    assert held.key != shown.key
    assert refused(camp, "commit_menu", code=code, key=shown.key) == {"trip_menu_out_of_date"}

    camp.do("commit_menu", code=code, key=held.key)
    stew = of_lot(held, shelf["stew"])
    assert stew >= 1 and lot(camp.journal, shelf["stew"]).reserved == {code: stew}
    kept = camp.do("menu", code=code)
    assert kept.committed and not kept.changed and kept.food_g == held.food_g

    # one pouch after another is eaten at home, until the menu no longer holds
    while lot(camp.journal, shelf["stew"]).packs_left >= stew:
        camp.do("draw_packs", code=shelf["stew"], packs=1, why="eaten", reasons={"packs": "hungry"})
    assert camp.do("menu", code=code).changed
    camp.do("let_go", code=code)
    again = camp.planned(code)
    assert again.broken == () and of_lot(again, shelf["stew"]) <= lot(camp.journal, shelf["stew"]).packs_left
    made = camp.do("commit_menu", code=code, key=again.key, short=True)
    assert not camp.do("menu", code=code).changed
    now = lot(camp.journal, shelf["curry"]).reserved.get(code, 0)
    assert now == of_lot(again, shelf["curry"])

    # taken back, the menu before it stands again with what it held; taken back too, all is free
    camp.do("correct", event_id=made.events[0], what="withdraw")
    assert lot(camp.journal, shelf["stew"]).reserved.get(code, 0) == stew
    first = trip(camp.journal, code).menu
    assert first is not None
    camp.do("correct", event_id=first.event_id, what="withdraw")
    assert trip(camp.journal, code).stand.value == "planned"
    assert lot(camp.journal, shelf["stew"]).reserved == {} == lot(camp.journal, shelf["curry"]).reserved


def test_two_commits_at_once_do_not_both_take_the_last_packs(
    camp: Camp, shelf: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    code = camp.trip(days=1)
    other = camp.trip(days=1)
    mine, theirs = camp.planned(code), camp.planned(other)
    between: list[Any] = []

    def slow(*args: Any, **more: Any) -> Any:
        if not between:
            between.append("theirs")
            camp.do("commit_menu", code=other, key=theirs.key, short=True)
        return done(*args, **more)

    monkeypatch.setattr("saltfare.actions.trip_commit.done", slow)
    with pytest.raises(Conflict):
        camp.do("commit_menu", code=code, key=mine.key, short=True)
    assert trip(camp.journal, other).menu is not None
    assert trip(camp.journal, code).menu is None
    assert all(set(lot(camp.journal, one).reserved) <= {other} for one in shelf.values())


def test_the_whole_way_of_a_trip_to_the_leftovers(camp: Camp, shelf: dict[str, str]) -> None:
    code = camp.trip(days=2)
    item = f"lot/{shelf['stew']}"
    camp.do("hold_item", code=code, item=item, person="Bo", day=0, sitting="supper")
    camp.do("hold_item", code=code, item=item, person="Anna", day=0, sitting="supper")
    commit(camp, code, request_id="commit")
    assert commit(camp, code, request_id="commit").already
    before = lot(camp.journal, shelf["stew"])
    sheet = camp.do("trip_sheet", code=code)
    assert {line.how for line in sheet.missing.lines} == {"buy"}
    assert "trip_scald" in {note.code for note in sheet.cautions}
    assert sheet.plain_foods and len(sheet.menu.days) == 2
    gone = camp.do("take_along", 39, code=code)
    assert gone.taken[item] == 2 and all(one.startswith("food/") for one in gone.missing)
    now = lot(camp.journal, shelf["stew"])
    assert (now.packs_left, now.reserved) == (before.packs_left - 2, {})
    assert trip(camp.journal, code).stand.value == "on trip"
    assert refused(camp, "release_menu", code=code) == {"trip_has_left"}
    assert refused(camp, "cancel_trip", code=code) == {"trip_has_left"}

    def after(**given: Any) -> Any:
        return camp.do("after_trip", 45, code=code, **given)

    with pytest.raises(Refused) as caught:
        after(left={item: 3})
    assert caught.value.problems[0].code == "trip_more_back_than_taken"
    planned = trip(camp.journal, code).menus[-1].body
    after(
        left={item: 1},
        disliked=[{"item": item, "person": "Bo", "text": "too sweet"}],
        fuel=f"{planned.fuel_g * 1.2} g",
        water=f"{planned.water_ml * 1.1} ml",
    )
    back = lot(camp.journal, shelf["stew"])
    assert back.packs_left == now.packs_left + 1
    assert [entry.body.liked for entry in back.tastings] == ["disliked"]
    after_all = trip(camp.journal, code).after
    assert after_all is not None and after_all.body.eaten[item] == 1

    # taken back, nothing came back and nothing was said; put back, it stands as entered
    entered = camp.do("trip", code=code).log[0]
    assert entered.kind == "trip_after"
    undone = camp.do("correct", 46, event_id=entered.event_id, what="withdraw")
    assert trip(camp.journal, code).stand.value == "on trip"
    assert lot(camp.journal, shelf["stew"]).packs_left == now.packs_left
    assert lot(camp.journal, shelf["stew"]).tastings == ()
    camp.do("correct", 47, event_id=undone.events[0], what="withdraw")
    assert lot(camp.journal, shelf["stew"]).packs_left == now.packs_left + 1
    gone_on = trip(camp.journal, code).menus[-1].event_id
    assert refused(camp, "correct", event_id=gone_on, what="withdraw") == {"went_on"}

    # the next plan knows: fuel and water as they turned out, and what Bo did not like
    later = camp.trip(days=1)
    load = camp.do("trip_water_fuel", code=later)
    assert load.fuel_factor == pytest.approx(1.2, rel=1e-3) and load.from_trips == 1
    assert load.water_factor == pytest.approx(1.1, rel=1e-3)
    shown = camp.planned(later, "most_varied")
    for sitting in shown.days[0].sittings:
        for dish in sitting.dishes:
            assert not (dish.item == item and any(one.person == "Bo" for one in dish.shares))


def test_what_may_not_enter_says_why_and_for_whom(camp: Camp) -> None:
    nutty = pouches(camp, "Nut stew", 4, allergens=["peanuts"], holds=[])
    unknown = pouches(camp, "Plain label", 4, allergens=None, holds=None, ingredients="")
    no_energy = pouches(camp, "No figures", 4, energy=None, protein=None, fat=None, carbohydrate=None)
    salami = pouches(camp, "Dry sausage", 4, what="cured_meat", water=None, wait=None, holds=["meat", "pork"])
    people = [
        {**ANNA, "eats_no": {"allergens": ["peanuts"]}},
        {**BO, "eats_no": {}, "vulnerable": True},
        {**BO, "name": "Cay", "eats_no": {"ingredients": ["LENTIL"], "diets": ["no_gluten"]}},
    ]
    code = camp.trip(people=people, days=1)
    items = {one.key: one for one in camp.do("trip_items", code=code).items}
    assert items[nutty].not_for == {"Anna": "excluded:allergen:peanuts", "Cay": "excluded:word:lentil"}
    # nothing known of what is in it: nobody who leaves anything out gets it
    assert set(items[unknown].not_for) == {"Anna", "Cay"}
    assert (items[no_energy].enters, items[no_energy].why) == (False, "figures")
    assert items[salami].uncooked_cured and items[salami].not_for["Bo"] == "vulnerable"
    assert items[salami].role == "extra"
    camp.do("set_item", code=code, item=f"lot/{nutty}", handling="not_on_trip")
    changed = {one.key: one for one in camp.do("trip_items", code=code).items}
    assert (changed[nutty].enters, changed[nutty].why) == (False, "not_on_trip")


def test_an_excluded_allergen_in_the_only_supper_explains_itself(camp: Camp) -> None:
    staples = [one for one in STAPLES if one["food"] not in ("couscous", "rice_white", "lentils_red")]
    staples.append(
        staple("pasta_dry", "500 g", "150 g", role="main", sittings=["supper"], hot=True, water="500 ml")
    )
    people = [{**ANNA, "eats_no": {"diets": ["no_gluten"]}}, BO]
    code = camp.trip(days=1, people=people, staples=staples)
    shown = camp.planned(code)
    assert shown.short[0].person == "Anna"
    assert {sitting for _, sitting in shown.short[0].no_main} >= {"supper"}
    assert refused(camp, "commit_menu", code=code, key=shown.key) == {"trip_menu_short"}
    told = camp.do("explain_menu", code=code, wait_s=120)
    assert (told.work, told.feeds) == ("done", False)
    assert {(n.code, n.params["whose"]) for n in told.limits} >= {("menu_limit_excludes", "Anna")}
    assert {n.params.get("person") for n in told.needs} == {"Anna"}
    assert {n.code for n in told.mends} == {"menu_mend_excludes"}


def test_a_need_above_what_can_be_carried_says_how_much_it_takes(camp: Camp) -> None:
    code = camp.trip(days=1)
    camp.do("set_limits", code=code, carries=[{"mass": "1.2 kg"}])
    shown = camp.planned(code)
    assert shown.short and shown.broken == ()
    told = camp.do("explain_menu", code=code, wait_s=120)
    mend = next(n for n in told.mends if n.code == "menu_mend_mass_g")
    assert mend.params["have"] == 1200 and mend.params["more"] == mend.params["least"] - 1200 > 0
    enough = f"{mend.params['least']} g"
    camp.do("set_limits", code=code, carries=[{"mass": enough}])
    assert camp.planned(code).short == ()


def test_pins_that_contradict_each_other_are_named(camp: Camp, shelf: dict[str, str]) -> None:
    code = camp.trip(days=1)
    for one in ("food/couscous", "food/rice_white"):
        camp.do("hold_item", code=code, item=one, person="Bo", day=0, sitting="supper")
    shown = camp.planned(code)
    assert {one.code for one in shown.broken} >= {"hold"}
    assert refused(camp, "commit_menu", code=code, key=shown.key, short=True) == {"trip_menu_breaks_rules"}
    told = camp.do("explain_menu", code=code, wait_s=120)
    assert "menu_limit_holds" in {n.code for n in told.limits}
    camp.do("let_go", code=code)
    camp.do("bar_item", code=code, item="food/rice_white")
    free = camp.planned(code)
    assert free.broken == () and of_lot(free, "rice_white") == 0
    camp.do("hold_item", code=code, item=f"lot/{shelf['stew']}", person="Bo", day=0, sitting="supper")
    camp.do("set_item", code=code, item=f"lot/{shelf['stew']}", handling="not_on_trip")
    assert refused(camp, "plan_menu", code=code) == {"trip_held_does_not_enter"}


def test_a_planning_can_be_ended_and_keeps_the_best_so_far(camp: Camp, shelf: dict[str, str]) -> None:
    code = camp.trip(days=6, people=[ANNA, BO, {**ANNA, "name": "Cay"}, {**BO, "name": "Dee"}])
    assert refused(camp, "plan_menu", code=code, stop=True) == {"trip_nothing_planned"}
    begun = camp.do("plan_menu", code=code)
    assert begun.work in ("working", "done")
    ended = camp.do("plan_menu", code=code, stop=True)
    assert ended.work in ("stopped", "done")
    if ended.work == "stopped":
        assert ended.broken == () and ended.anything
        seen = camp.do("menu", code=code)
        assert seen.work == "stopped" and seen.days == ended.days


def test_supplies_spare_day_and_cold_are_kept(camp: Camp) -> None:
    days = [DAY, {**DAY, "resupply": True}, {"spare": True}]
    code = camp.trip(days_told=days)
    camp.do("set_item", code=code, item="food/cheddar", handling="kept_cold", cold_until=0)
    shown = camp.planned(code)
    assert [day.carry for day in shown.days] == [0, 1, 1]
    for day in shown.days:
        for sitting in day.sittings:
            for dish in sitting.dishes:
                assert dish.item != "food/cheddar" or day.day == 0
                assert dish.water_ml == 0 or not day.spare
    load = camp.do("trip_water_fuel", code=code)
    assert [carry.from_day for carry in load.carries] == [0, 1]
    assert load.days[0].pack.value > 0 and load.days[-1].bin.value >= 0
    # the boiling point falls with height: about a degree for each 300 m (isa_1976, iapws_if97)
    assert load.days[0].boil_c.value == pytest.approx(97.0, abs=0.2)


def test_what_is_short_becomes_a_dish_to_make_and_a_wish_planned_back(camp: Camp) -> None:
    # hash on the shelf, all eaten: made again it would feed them
    batch, left = packed(camp)
    camp.do("draw_packs", 9, code=left, packs=4, why="eaten")
    code = camp.trip(days=2, staples=[staple("almonds", "200 g", "50 g", packs=1)])
    shown = camp.planned(code, day=9)
    assert shown.short
    makes = camp.do("trip_missing", 9, code=code).makes
    assert [make.recipe for make in makes] == [batch]
    make = makes[0]
    wanted = sum(one.short_kcal for one in shown.short if one.person in make.people)
    assert (make.packs - 1) * make.kcal < wanted <= make.packs * (make.kcal + 1)
    wish = {"recipe": make.recipe, "packs": make.packs}
    camp.do("wish_stock", 9, name=make.name, trip=code, dish=wish)
    plan = camp.do("back_plan", 9, trip=code)
    want = plan.wants[0]
    # it must be packed by the eve, and is begun before that
    assert str(want.needed_by) == "2026-04-09" and want.missing_packs == make.packs
    assert want.makes and all(one.start < want.needed_by for one in want.makes)


def test_minutes_at_camp_keep_the_span_of_their_label(camp: Camp) -> None:
    """Shown, held and shown again from what was held: the same three as on the label."""
    _, left = packed(camp)
    code = camp.trip(days=2)
    camp.do(
        "set_item", 9, code=code, item=f"lot/{left}", handling="as_it_is", decided=True, why="it rattles dry"
    )  # fmt: skip
    shown = camp.planned(code, day=9)
    label = camp.do("label", 9, code=left)
    wanted = tuple(round(max(n, 1.0)) if n is not None else None for n in label.water.minutes)
    assert wanted[0] is not None and wanted[1] is not None and wanted[0] < wanted[1]

    def told(menu: Any) -> set[tuple[int | None, ...]]:
        dishes = [x for day in menu.days for s in day.sittings for x in s.dishes if x.key == left]
        return {(x.minutes_low, x.minutes, x.minutes_high) for x in dishes}

    assert told(shown) == {wanted}
    camp.do("commit_menu", 9, code=code, key=shown.key, short=bool(shown.short))
    assert told(camp.do("menu", 9, code=code)) == {wanted}


def test_sodium_sweated_out_is_told_by_day_in_the_heat_of_the_table_and_once_in_the_cool(camp: Camp) -> None:
    """TB MED 507's table of water begins at 78 F of heat index; below it the hourly water is our choice."""
    plain = [staple("almonds", "200 g", "50 g"), staple("raisins", "500 g", "50 g")]

    def cautions(**plan: str) -> list[tuple[str, Any]]:
        code = camp.trip(days=2, staples=plain, plan=plan)
        shown = camp.planned(code)
        return [(n.code, n.params.get("person")) for n in shown.cautions if "sodium" in n.code]

    assert cautions(day="4 C", night="-6 C") == [("trip_sodium_cool", None)]
    hot = cautions(day="33 C", night="20 C", heat="28 C")
    assert set(hot) == {("trip_sodium_low", "Anna"), ("trip_sodium_low", "Bo")} and len(hot) == 2
