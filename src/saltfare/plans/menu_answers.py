"""Between plans and the columns of a model: reading an answer, starting from a plan, holding a goal."""

from __future__ import annotations

import math
from collections import defaultdict

import numpy as np

from saltfare.plans.menu_model import Keep, MenuModel, merged
from saltfare.plans.menu_program import Solved, Vector
from saltfare.plans.menu_shapes import Goal, MenuProblem, Plan, Servings


def worth_offering(
    problem: MenuProblem, model: MenuModel, solved: Solved, *, mains: int, extras: int
) -> Keep:
    """What a solved coarse relaxation says is worth offering: what it uses, and the next best by reduced
    cost, so many mains for each sitting and so many extras.

    Narrowing the offer can only make an answer dearer, never a bound too high: bounds come from models
    with the whole offer.
    """
    assert solved.values is not None and solved.reduced is not None  # noqa: S101 - relaxations carry both
    ranked: defaultdict[tuple[tuple[int, ...], tuple[int, ...], int], list[tuple[float, int]]] = defaultdict(
        list
    )
    chosen: defaultdict[tuple[tuple[int, ...], tuple[int, ...]], set[int]] = defaultdict(set)
    for (eaters, block, s, i), column in model.eaten.items():
        main = problem.items[i].role == "main"
        ranked[eaters, block, s if main else -1].append((float(solved.reduced[column]), i))
        if solved.values[column] > 1e-7:
            chosen[eaters, block].add(i)
    for (eaters, block, s), offer in ranked.items():
        offer.sort()
        chosen[eaters, block] |= {i for _, i in offer[: mains if s >= 0 else extras]}
    return {
        (p, d): frozenset(items) for (eaters, block), items in chosen.items() for p in eaters for d in block
    }


def plan_of(model: MenuModel, values: Vector, rest: Servings) -> Plan:
    """The plan that an answer for single people and days stands for, beside what was settled before."""
    window = {block[0] for _, block, _, _ in model.eaten if len(block) == 1}
    servings = {at: n for at, n in rest.items() if at[0] not in window}
    for (eaters, block, s, i), column in model.eaten.items():
        if len(eaters) == 1 == len(block):
            n = round(float(values[column]))
            if n:
                servings[block[0], s, i, eaters[0]] = n
    return Plan(servings)


def values_of(model: MenuModel, plan: Plan) -> Vector:
    """The columns of a model of single people and days where the plan is its answer."""
    values = np.array(model.program.lower)
    for (eaters, block, s, i), column in model.eaten.items():
        if len(eaters) == 1 == len(block):
            values[column] = plan.servings.get((block[0], s, i, eaters[0]), 0)
    for follows in model.follows:
        value = follows.constant + sum(v * float(values[c]) for c, v in follows.terms)
        if follows.whole:
            value = math.ceil(value - 1e-9)
        values[follows.column] = max(float(values[follows.column]), value)
    return values


def goal_at(model: MenuModel, goal: Goal, values: Vector) -> float:
    """A goal of the model at an answer, in the program's unit."""
    return float(sum(v * float(values[c]) for c, v in model.goals[goal]))


def goal_limit(model: MenuModel, goal: Goal, most: float) -> None:
    """Hold a goal to at most so much, in the program's unit."""
    if model.goals[goal]:
        model.program.row(merged(model.goals[goal]), high=most, group=f"goal:{goal}")
