"""Who may have what, and that the exact checker sees every rule broken."""

from __future__ import annotations

from dataclasses import replace

import pytest
from menu_instances import RULES, trip

from saltfare.core import tables
from saltfare.core.figure import Answer
from saltfare.plans.menu_admit import admission, kept_from, kept_off
from saltfare.plans.menu_carry import day_loads
from saltfare.plans.menu_check import broken_rules
from saltfare.plans.menu_greedy import greedy
from saltfare.plans.menu_shapes import (
    BarItem,
    Carry,
    Day,
    Goal,
    Handling,
    Hold,
    Item,
    Kitchen,
    MenuProblem,
    Person,
    Plan,
    Rules,
    Sitting,
    problems_of_menu,
)
from saltfare.plans.menu_totals import goal_value, shortness, totals

SUPPER = Item(
    id="stew", role="main", sittings=frozenset({"supper"}), servings=2, kcal=600, protein_g=25, pack_g=300,
    tare_g=10, pack_ml=600, handling=Handling.AS_IT_IS, answer=Answer.MEETS, hot=True, fuel_mg=9000,
    water_ml=350, pot_ml=1000,
)  # fmt: skip
NUTS = Item(
    id="nuts", role="extra", sittings=frozenset({"move"}), servings=4, kcal=300, protein_g=9, pack_g=208,
    tare_g=8, pack_ml=350, handling=Handling.AS_IT_IS, answer=Answer.MEETS, keeps_open=True,
    contains=frozenset({"nuts"}),
)  # fmt: skip
DAY = Day((Sitting("move", False, False), Sitting("supper", True, True)))


def small(**changes: object) -> MenuProblem:
    problem = MenuProblem(
        (Person("ana", (1000, 1000), 20), Person("bo", (1000, 1000), 20)),
        (DAY, DAY),
        (SUPPER, replace(SUPPER, id="hash"), NUTS),
        (Carry(),),
        Kitchen(1, 1000, 1),
        replace(RULES, repeat_free=2),
    )
    return replace(problem, **changes)  # type: ignore[arg-type]


GOOD = Plan(
    {(d, 1, d, p): 1 for d in (0, 1) for p in (0, 1)} | {(d, 0, 2, p): 1 for d in (0, 1) for p in (0, 1)}
)


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"handling": None}, "no_handling"),
        ({"handling": Handling.NOT_ON_TRIP}, "not_on_trip"),
        ({"answer": Answer.DOES_NOT_MEET}, "does_not_meet"),
        ({"answer": Answer.DOES_NOT_MEET, "handling": None}, "no_handling"),
        ({"answer": Answer.DOES_NOT_MEET, "handling": Handling.COOKED_FIRST}, ""),
        ({"answer": Answer.DOES_NOT_MEET, "handling": Handling.KEPT_COLD, "cold_until_day": 1}, ""),
        ({"answer": Answer.CANNOT_TELL}, "cannot_tell"),
        ({"answer": Answer.CANNOT_TELL, "handling": Handling.COOKED_FIRST}, "cannot_tell"),
        ({"answer": Answer.CANNOT_TELL, "chosen": True}, ""),
        ({"answer": Answer.DOES_NOT_MEET, "chosen": True}, "does_not_meet"),
    ],
)
def test_an_item_enters_only_with_a_handling_its_answer_allows(changes: dict[str, object], why: str) -> None:
    item = replace(SUPPER, **changes)  # type: ignore[arg-type]
    assert kept_off(item) == why
    problem = small(items=(item, *small().items[1:]))
    found = {b.code for b in broken_rules(problem, GOOD)}
    assert ("not_admitted" in found) is bool(why)
    eaten = {i for _, _, i, _ in greedy(problem, admission(problem)).servings}
    assert not (why and 0 in eaten)


def test_uncooked_cured_meat_is_not_given_to_the_vulnerable_unless_cooked() -> None:
    meat = replace(SUPPER, uncooked_cured=True)
    for handling, kept in (
        (Handling.AS_IT_IS, "vulnerable"),
        (Handling.KEPT_COLD, "vulnerable"),
        (Handling.COOKED_FIRST, ""),
    ):
        item = replace(meat, handling=handling, cold_until_day=1)
        assert kept_from(item, Person("eve", (1,), 1, vulnerable=True)) == kept
        assert kept_from(item, Person("ana", (1,), 1)) == ""


def test_exclusions_hold_by_ingredient_and_by_item() -> None:
    assert kept_from(NUTS, Person("a", (1,), 1, excludes=frozenset({"nuts"}))) == "excluded:nuts"
    assert kept_from(SUPPER, Person("a", (1,), 1, excludes=frozenset({"stew"}))) == "excluded:item"


def test_the_good_plan_breaks_nothing_and_every_spoilt_one_shows() -> None:
    assert broken_rules(small(), GOOD) == ()

    def codes(problem: MenuProblem, plan: Plan) -> set[str]:
        return {b.code for b in broken_rules(problem, plan)}

    def items(**changes: object) -> MenuProblem:
        return small(items=(replace(SUPPER, **changes), *small().items[1:]))  # type: ignore[arg-type]

    servings = dict(GOOD.servings)
    assert codes(items(stock=0), GOOD) == {"stock"}
    assert codes(items(last_day=-1), GOOD) == {"too_late"}
    assert codes(items(planning_day=-1), GOOD) == {"too_late"}
    assert codes(items(handling=Handling.KEPT_COLD, cold_until_day=-1), GOOD) == {"too_late"}
    assert codes(items(carries=frozenset({3})), GOOD) == {"wrong_carry"}
    assert codes(items(pot_ml=1001), GOOD) == {"pots"}
    assert codes(items(contains=frozenset({"x"})), GOOD) == set()
    barred = small(people=(replace(small().people[0], excludes=frozenset({"nuts"})), small().people[1]))
    assert codes(barred, GOOD) == {"excluded"}
    assert codes(small(carries=(Carry(mass_g=843),)), GOOD) == {"mass"}
    assert codes(small(carries=(Carry(mass_g=844),)), GOOD) == set()  # 2 packs, 1 bag, 36 g of fuel
    assert codes(small(carries=(Carry(volume_ml=1549),)), GOOD) == {"volume"}
    assert codes(small(carries=(Carry(fuel_g=35),)), GOOD) == {"fuel"}
    assert codes(small(carries=(Carry(fuel_g=36),)), GOOD) == set()
    cold = Day((Sitting("move", False, False), Sitting("supper", False, True)))
    assert codes(small(days=(cold, DAY)), GOOD) == {"no_stove"}
    assert "wrong_sitting" in codes(small(), Plan({**servings, (0, 0, 0, 0): 1}))
    assert "two_mains" in codes(small(), Plan({**servings, (0, 1, 1, 0): 1}))
    assert "running" in codes(small(), Plan({**servings, (1, 1, 0, 0): 1}))
    assert "same_extra" in codes(small(), Plan({**servings, (0, 0, 2, 0): 4}))
    assert "extras" in codes(small(rules=replace(RULES, extras_day=2)), Plan({**servings, (0, 0, 2, 0): 3}))
    assert "servings" in codes(small(), Plan({**servings, (0, 0, 2, 0): -1}))
    assert codes(small(holds=(Hold(0, 1, "hash", "ana"),)), GOOD) == {"hold"}
    assert codes(small(bars=(BarItem("nuts", person="bo"),)), GOOD) == {"barred"}
    long = small(people=tuple(replace(p, need_kcal=(1000,) * 5) for p in small().people), days=(DAY,) * 5)
    often = Plan({(d, 1, 0, 0): 1 for d in (0, 2, 4)})
    assert codes(long, often) == {"repeats"}
    assert codes(replace(long, items=(replace(SUPPER, staple=True), *long.items[1:])), often) == set()


# Worked by hand: two stews and two halves of nuts a day; 600 + 300 kcal against 87.5 % of 1000.
def test_totals_and_loads_by_hand() -> None:
    problem = small()
    sums = totals(problem, GOOD)
    assert (sums.food_g, sums.fuel_mg, sums.volume_ml) == (300 + 300 + 208, 36000, 600 + 600 + 350)
    assert goal_value(problem, GOOD, Goal.MASS) == 808_000 + 36_000
    assert shortness(problem, GOOD).nobody
    first, second = day_loads(problem, GOOD)
    assert first.pack_g == 808 + 36
    assert second.pack_g == 808 - first.eaten_g + 18  # the bin stays in the pack
    assert first.bin_g == 10
    assert second.bin_g == 10 + 10 + 8
    assert first.water_ml == 2 * 350
    assert first.kcal == (900, 900)
    assert first.eaten_g + second.eaten_g + second.bin_g == 808


def test_shortness_is_counted_for_day_trip_protein_and_mains() -> None:
    problem = small()
    plan = Plan({at: n for at, n in GOOD.servings.items() if at != (1, 1, 1, 0)})
    short = shortness(problem, plan)
    assert short.no_main == ((1, 1, 0),)
    assert short.day_kcal == {(0, 1): problem.floor_kcal(0, 1) - 300}
    assert short.trip_kcal == {0: 2 * 875 - 1200}
    assert short.protein_g == {}


def test_rations_follow_the_share_the_typed_figure_and_the_length() -> None:
    problem = small()
    assert problem.ration_kcal(0, 0) == 875
    assert problem.floor_kcal(0, 0) == 850  # 85 % of the need on any day
    typed = small(people=(replace(problem.people[0], typed_kcal=700), problem.people[1]))
    assert typed.ration_kcal(0, 0) == 700
    long = trip(people=1, days=9, items=12, seed=1)
    assert long.ration_kcal(0, 0) == long.people[0].need_kcal[0]


def test_the_rules_come_from_the_table() -> None:
    rows = tables.load("menu_rules").rows
    ration = tables.load("trip_nutrition").row("trip_ration")
    assert Rules.from_rows(rules=rows, ration=ration) == RULES


@pytest.mark.parametrize("size", [(1, 1, 8), (2, 4, 40), (4, 7, 80), (8, 14, 120)])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_first_answer_breaks_no_rule(size: tuple[int, int, int], seed: int) -> None:
    people, days, items = size
    problem = trip(people=people, days=days, items=items, seed=seed, spare=seed == 2)
    assert problems_of_menu(problem) == ()
    plan = greedy(problem, admission(problem))
    assert broken_rules(problem, plan) == ()
    assert plan.servings


def test_bad_input_is_named() -> None:
    def codes(problem: MenuProblem) -> list[str]:
        return [p.code for p in problems_of_menu(problem)]

    assert codes(small(people=())) == ["menu_nobody"]
    assert "menu_no_days" in codes(small(days=()))
    assert codes(small(items=(SUPPER, SUPPER))) == ["menu_twice"]
    assert codes(small(people=(Person("a", (0, 1), 1),))) == ["menu_need_not_positive"]
    assert codes(small(people=(Person("a", (5,), 1),))) == ["menu_need_days"]
    assert codes(small(days=(replace(DAY, carry=2), DAY))) == ["menu_no_such_carry"]
    assert codes(small(items=(replace(SUPPER, servings=0),))) == ["menu_item_figures"]
    assert codes(small(items=(replace(SUPPER, handling=Handling.KEPT_COLD),))) == ["menu_cold_until"]
    assert codes(small(items=(replace(SUPPER, pot_ml=0, handling=Handling.COOKED_FIRST),))) == [
        "menu_cooked_in_no_pot"
    ]
    assert codes(small(holds=(Hold(7, 0, "nuts", "ana"),))) == ["menu_pin_leads_nowhere"]
    assert codes(small(bars=(BarItem("cake"),))) == ["menu_pin_leads_nowhere"]
