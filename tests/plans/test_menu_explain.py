"""Why somebody is short: the set is irreducible, and what is named mends it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from test_menu_rules import DAY, NUTS, SUPPER, small

from saltfare.core.figure import Answer
from saltfare.plans.menu_explain import Explanation, explain
from saltfare.plans.menu_shapes import Carry, Day, Handling, Hold, MenuProblem, Preset, Sitting
from saltfare.plans.menu_stages import Effort, plan_menu


def limits(found: Explanation | None) -> set[tuple[str, str]]:
    assert found is not None
    return {(note.code, str(note.params["whose"])) for note in found.limits}


def mend(found: Explanation | None, code: str) -> dict[str, object]:
    assert found is not None
    return next(dict(note.params) for note in found.mends if note.code == code)


def fed(problem: MenuProblem) -> bool:
    return plan_menu(problem, preset=Preset.LIGHTEST, effort=Effort()).short.nobody


def test_a_trip_that_feeds_everyone_needs_no_explanation() -> None:
    assert explain(small()) is None
    assert fed(small())


def test_too_little_fuel_and_how_much_more() -> None:
    problem = small(carries=(Carry(fuel_g=20),))
    found = explain(problem)
    assert limits(found) == {("menu_limit_fuel_g", "0")}
    need = mend(found, "menu_mend_fuel_g")
    assert need["least"] == 36  # two packs of two servings at 9 g
    assert fed(replace(problem, carries=(Carry(fuel_g=36),)))
    assert not fed(replace(problem, carries=(Carry(fuel_g=35),)))


# The same for what can be carried and what room there is: 844 g and 1550 ml by hand.
@pytest.mark.parametrize(("name", "least"), [("mass_g", 844), ("volume_ml", 1550)])
def test_need_above_what_can_be_carried(name: str, least: int) -> None:
    problem = small(carries=(Carry(**{name: 700}),))
    found = explain(problem)
    assert limits(found) == {(f"menu_limit_{name}", "0")}
    assert mend(found, f"menu_mend_{name}")["least"] == least
    assert fed(replace(problem, carries=(Carry(**{name: least}),)))


def test_an_excluded_allergen_in_the_only_supper() -> None:
    milk = tuple(replace(i, contains=frozenset({"milk"})) if i.role == "main" else i for i in small().items)
    people = (replace(small().people[0], excludes=frozenset({"milk"})), small().people[1])
    found = explain(small(items=milk, people=people))
    assert limits(found) == {("menu_limit_excludes", "ana")}
    assert found is not None
    assert [note.params["person"] for note in found.needs] == ["ana"]


def test_an_item_without_a_handling_is_named_as_the_way_out() -> None:
    items = tuple(replace(i, answer=Answer.CANNOT_TELL) if i.role == "main" else i for i in small().items)
    assert limits(explain(small(items=items))) == {("menu_limit_handling", "")}
    off = tuple(replace(i, handling=Handling.NOT_ON_TRIP) if i.role == "main" else i for i in small().items)
    found = explain(small(items=off))
    assert found is not None  # what stays at home is not proposed
    assert found.limits == ()


def test_stock_and_the_packs_that_are_missing() -> None:
    items = (SUPPER, replace(SUPPER, id="hash", stock=0), replace(NUTS, stock=0))
    found = explain(small(items=items))
    assert limits(found) == {("menu_limit_stock", "")}
    assert mend(found, "menu_mend_stock")["packs"] == "hash:1, nuts:1"


def test_no_stove_and_repeats() -> None:
    cold = Day((Sitting("move", False, False), Sitting("supper", False, True)))
    assert limits(explain(small(days=(DAY, cold)))) == {("menu_limit_no_stove", "")}
    assert limits(explain(small(items=(SUPPER, NUTS)))) == {("menu_limit_repeats", "")}


def test_contradictory_holds_are_told_and_no_plan_hides_them() -> None:
    problem = small(holds=(Hold(0, 1, "stew", "ana"), Hold(0, 1, "hash", "ana")))
    outcome = plan_menu(problem, preset=Preset.LIGHTEST, effort=Effort())
    assert {b.code for b in outcome.broken} == {"hold"}
    found = explain(problem)
    assert limits(found) == {("menu_limit_holds", "")}
    assert found is not None
    assert [note.code for note in found.needs] == ["menu_need_contradicted"]


def test_the_set_is_irreducible() -> None:
    problem = small(carries=(Carry(fuel_g=20, mass_g=700),), items=(*small().items, replace(NUTS, id="bars")))
    found = explain(problem)
    names = {code.removeprefix("menu_limit_") for code, _ in limits(found)}
    assert names <= {"fuel_g", "mass_g"}
    # giving way in the ones named, and in no fewer, feeds everyone
    freed = replace(problem, carries=(replace(problem.carries[0], **dict.fromkeys(names)),))
    assert names
    assert fed(replace(freed, carries=(Carry(),)))
    for name in names:
        limit = {name: getattr(problem.carries[0], name)}
        assert not fed(replace(freed, carries=(Carry(**limit),)))
