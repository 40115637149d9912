"""Menus against answers known otherwise: brute force, sums, orders and limits moved one way."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import pytest
from menu_instances import trip

from saltfare.plans.menu_admit import admission
from saltfare.plans.menu_answers import goal_at, plan_of, values_of
from saltfare.plans.menu_check import broken_rules
from saltfare.plans.menu_greedy import greedy
from saltfare.plans.menu_model import SCALE, coarse_layer, fine_layer, menu_model
from saltfare.plans.menu_program import End, Limits, solve
from saltfare.plans.menu_shapes import Carry, Goal, Hold, MenuProblem, Plan, Preset
from saltfare.plans.menu_stages import Effort, Outcome, Progress, plan_menu
from saltfare.plans.menu_totals import goal_value

EXACT = Effort(gap=0.0, slack=0.0, nodes=20_000, stall_nodes=20_000, later_rounds=0)
BRIEF = Effort(whole_columns=0, rounds=1, window_nodes=1, window_columns=80, later_rounds=0)
PARTS = Effort(whole_columns=0, rounds=3, window_nodes=4, window_columns=200)


def tiny(people: int, days: int, items: int, seed: int) -> MenuProblem:
    problem = trip(people=people, days=days, items=items, seed=seed)
    return replace(problem, rules=replace(problem.rules, same_extra_day=1))


def value(outcome: Outcome, goal: Goal) -> int:
    return next(v.reached for v in outcome.values if v.goal is goal)


def mains_at(problem: MenuProblem, person: int, day: int, sitting: int) -> list[int]:
    table = admission(problem)
    allowed = sorted(table.allowed[person])
    return [i for i in allowed if problem.items[i].role == "main" and sitting in table.slots[day][i]]


def everything(problem: MenuProblem) -> list[dict[tuple[int, int, int, int], int]]:
    """Every set of servings for one day, mains one or none a sitting."""
    table = admission(problem)
    each = []
    for p in range(len(problem.people)):
        choices: list[list[tuple[int, int] | None]] = []
        for s, _ in enumerate(problem.days[0].sittings):
            mains = mains_at(problem, p, 0, s)
            choices.append([None, *((s, i) for i in mains)])
        for i in sorted(table.allowed[p]):
            if problem.items[i].role == "extra" and table.slots[0][i]:
                choices.append([None, (table.slots[0][i][0], i)])
        each.append([{(0, a[0], a[1], p): 1 for a in pick if a} for pick in product(*choices)])
    return [{at: n for part in parts for at, n in part.items()} for parts in product(*each)]


# Brute force: the least shortness, and of those the least mass.
@pytest.mark.parametrize("need", [1500, 2600])
@pytest.mark.parametrize(("people", "items", "seed"), [(1, 12, 3), (1, 12, 4), (1, 13, 5), (2, 7, 6)])
def test_tiny_trips_agree_with_brute_force(people: int, items: int, seed: int, need: int) -> None:
    problem = tiny(people, 1, items, seed)
    problem = replace(
        problem, people=tuple(replace(p, need_kcal=(need + 90 * n,)) for n, p in enumerate(problem.people))
    )
    best = min(
        (goal_value(problem, plan, Goal.SHORT), goal_value(problem, plan, Goal.MASS))
        for plan in map(Plan, everything(problem))
        if not broken_rules(problem, plan)
    )
    found = plan_menu(problem, preset=Preset.LIGHTEST, effort=EXACT)
    assert (value(found, Goal.SHORT), value(found, Goal.MASS)) == best
    assert found.broken == ()


def test_the_order_of_people_and_items_changes_no_value() -> None:
    problem = tiny(2, 2, 14, 11)
    turned = replace(problem, people=problem.people[::-1], items=problem.items[::-1])
    first, second = (plan_menu(p, preset=Preset.LIGHTEST, effort=EXACT) for p in (problem, turned))
    for goal in (Goal.SHORT, Goal.MASS):
        assert value(first, goal) == value(second, goal)


def test_more_stock_and_looser_limits_never_worsen() -> None:
    problem = tiny(2, 2, 14, 12)
    tight = replace(problem, carries=(replace(problem.carries[0], fuel_g=45),))
    more = replace(problem, items=tuple(replace(i, stock=None) for i in problem.items))
    outcomes = [plan_menu(p, preset=Preset.LIGHTEST, effort=EXACT) for p in (tight, problem, more)]
    pairs = [(value(o, Goal.SHORT), value(o, Goal.MASS)) for o in outcomes]
    assert pairs[0] >= pairs[1] >= pairs[2]


def test_someone_who_shares_nothing_adds_their_own_best() -> None:
    loose = tiny(2, 2, 12, 13)
    items = tuple(
        replace(i, servings=1, pack_g=max(20, i.pack_g // i.servings), stock=None, pot_ml=0, keeps_open=False)
        for i in loose.items
    )
    people = tuple(replace(p, protein_g=1, need_kcal=(2000, 2000)) for p in loose.people)
    loose = replace(loose, items=items, carries=(Carry(),), people=people)
    alone = [
        plan_menu(replace(loose, people=(p,)), preset=Preset.LIGHTEST, effort=EXACT) for p in loose.people
    ]
    both = plan_menu(loose, preset=Preset.LIGHTEST, effort=EXACT)
    for goal in (Goal.SHORT, Goal.MASS):
        assert value(both, goal) == sum(value(o, goal) for o in alone)
    assert value(both, Goal.SHORT) == 0


@pytest.mark.parametrize("seed", [21, 22])
def test_coarse_relaxations_lie_below_the_fine_answer(seed: int) -> None:
    problem = tiny(3, 3, 24, seed)
    table = admission(problem)
    limits = Limits(1e-6, 5000, 5000)
    for goal in (Goal.SHORT, Goal.MASS):
        fine = menu_model(problem, table, [fine_layer(problem)])
        coarse = menu_model(problem, table, [coarse_layer(problem, table, range(3), whole=True)])
        exact = solve(fine.program, fine.goals[goal], limits)
        for model in (fine, coarse):
            relaxed = solve(model.program, model.goals[goal], limits, relaxed=True)
            assert relaxed.objective <= exact.objective + 1e-6
        assert solve(coarse.program, coarse.goals[goal], limits).bound <= exact.objective + 1e-6


@pytest.mark.parametrize("seed", [31, 32, 33])
def test_the_model_values_a_plan_as_the_whole_numbers_do(seed: int) -> None:
    problem = trip(people=3, days=4, items=40, seed=seed, spare=seed == 32)
    table = admission(problem)
    plan = greedy(problem, table)
    model = menu_model(problem, table, [fine_layer(problem)])
    values = values_of(model, plan)
    assert plan_of(model, values, {}).servings == plan.servings
    for goal in Goal:
        room = 2.0 * len(problem.people) if goal is Goal.SHORT else 1e-3  # the worst-off share is rounded up
        whole = goal_value(problem, plan, goal)
        assert goal_at(model, goal, values) * SCALE[goal] == pytest.approx(whole, abs=room)
    program = model.program
    for row, (low, high) in enumerate(zip(program.row_lower, program.row_upper, strict=True)):
        total = sum(v * values[c] for c, v in program.terms(row))
        assert low - 1e-6 <= total <= high + 1e-6, program.groups[row]


def test_presets_lead_with_what_they_say() -> None:
    problem = tiny(2, 3, 30, 41)
    effort = replace(EXACT, gap=0.002, nodes=100, stall_nodes=100)
    found = {preset: plan_menu(problem, preset=preset, effort=effort) for preset in Preset}
    for preset, goal in (
        (Preset.LIGHTEST, Goal.MASS), (Preset.MOST_VARIED, Goal.VARIETY), (Preset.OLDEST_FIRST, Goal.AGE),
    ):  # fmt: skip
        assert [v.goal for v in found[preset].values][:2] == [Goal.SHORT, goal]
        best = value(found[preset], goal)
        assert all(best <= value(other, goal) * 1.003 + 1 for other in found.values())
        assert found[preset].broken == ()
        assert all(v.bound <= v.reached for v in found[preset].values)
    assert len({value(o, Goal.SHORT) for o in found.values()}) == 1


def test_same_input_same_plan() -> None:
    problem = tiny(2, 2, 20, 51)
    effort = Effort(nodes=50, stall_nodes=50)
    first, second = (plan_menu(problem, preset=Preset.LIGHTEST, effort=effort) for _ in range(2))
    assert first == second


def test_a_trip_built_in_parts_lies_between_its_bound_and_the_first_answer() -> None:
    problem = trip(people=2, days=4, items=30, seed=61)
    first = greedy(problem, admission(problem))
    found = plan_menu(problem, preset=Preset.LIGHTEST, effort=PARTS)
    assert found.broken == ()
    assert found.end is End.NODES
    assert value(found, Goal.SHORT) <= goal_value(problem, first, Goal.SHORT)
    mass = next(v for v in found.values if v.goal is Goal.MASS)
    assert 0 < mass.bound <= mass.reached
    # solved whole, the trip weighs no less than the bound and not much less than what was built
    whole = value(plan_menu(problem, preset=Preset.LIGHTEST, effort=Effort(later_rounds=0)), Goal.MASS)
    assert mass.bound <= whole
    assert mass.reached < 1.05 * whole


def test_held_food_stays_and_stopping_keeps_a_checked_plan() -> None:
    problem = tiny(2, 3, 30, 71)
    supper = mains_at(problem, 0, 1, 2)[0]
    held = replace(problem, holds=(Hold(1, 2, problem.items[supper].id, "p0"),))
    found = plan_menu(held, preset=Preset.LIGHTEST, effort=Effort(nodes=20, stall_nodes=20))
    assert found.broken == ()
    assert found.plan.servings[1, 2, supper, 0] == 1

    def stop(progress: Progress) -> bool:
        return progress.goal is Goal.MASS

    stopped = plan_menu(held, preset=Preset.LIGHTEST, effort=EXACT, report=stop)
    assert stopped.end is End.STOPPED
    assert stopped.broken == ()
    assert stopped.plan.servings[1, 2, supper, 0] == 1


def test_replanning_starts_from_what_is_there() -> None:
    problem = tiny(2, 3, 30, 72)
    effort = Effort(nodes=10, stall_nodes=10, gap=0.02, later_rounds=0)
    before = plan_menu(problem, preset=Preset.LIGHTEST, effort=effort)
    eaten = next(i for (_, _, i, _) in before.plan.servings if problem.items[i].stock)
    one = problem.items[eaten]
    left = replace(one, stock=(one.stock or 1) - 1)
    items = (*problem.items[:eaten], left, *problem.items[eaten + 1 :])
    after = plan_menu(replace(problem, items=items), preset=Preset.LIGHTEST, effort=effort, start=before.plan)
    assert after.broken == ()
    again = plan_menu(replace(problem, items=items), preset=Preset.LIGHTEST, effort=effort)
    assert value(after, Goal.SHORT) == value(again, Goal.SHORT)
    assert value(after, Goal.MASS) == pytest.approx(value(again, Goal.MASS), rel=0.02)


@pytest.mark.parametrize("effort", [Effort(nodes=20, stall_nodes=20, gap=0.03, later_rounds=0), BRIEF])
def test_resupply_and_a_spare_day(effort: Effort) -> None:
    problem = trip(people=2, days=3, items=36, seed=83, spare=True)
    days = tuple(replace(day, carry=int(d >= 2)) for d, day in enumerate(problem.days))
    problem = replace(problem, days=days, carries=(Carry(fuel_g=200), Carry(fuel_g=120, mass_g=5000)))
    dish = mains_at(problem, 0, 1, 2)[0]
    problem = replace(problem, holds=(Hold(1, 2, problem.items[dish].id, "p0"),))
    found = plan_menu(problem, preset=Preset.LIGHTEST, effort=effort)
    assert found.broken == ()
    assert found.plan.servings[1, 2, dish, 0] == 1
    on_spare = [i for d, _, i, _ in found.plan.servings if d == 3]
    assert on_spare
    assert not any(problem.items[i].hot for i in on_spare)
