"""The solver's wrapper on published problems: the diet of 1945, textbook diets, a library knapsack."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from saltfare.plans.menu_program import End, Limits, Program, solve

EXACT = Limits(1e-9, 100_000, 100_000)
# Stigler 1945, table A and the allowances of 1943: a man of 70 kg, a day.
ALLOWANCES = (3, 70, 0.8, 12, 5, 1.8, 2.7, 18, 75)
with (Path(__file__).parent / "data" / "diet_problem_1944.csv").open(encoding="utf-8") as _file:
    FOODS = list(csv.reader(_file))[1:]


def diet(days: int | None) -> tuple[Program, list[tuple[int, float]]]:
    """Dollars' worth of each food a day, or whole purchase units for so many days."""
    program = Program()
    prices = [float(row[2]) / 100 for row in FOODS]
    for _ in FOODS:
        program.column(whole=days is not None)
    for k, least in enumerate(ALLOWANCES):
        scale = [1.0] * len(FOODS) if days is None else prices
        terms = [(j, float(row[3 + k]) * scale[j]) for j, row in enumerate(FOODS) if float(row[3 + k])]
        program.row(terms, low=least * (days or 1), group=f"need:{k}")
    return program, [(j, 1.0 if days is None else prices[j]) for j in range(len(FOODS))]


# Optimum 39.6617 dollars a year and its duals: general-purpose solvers' diet examples; Laderman's hand
# computation of 1947 was 39.69.
def test_the_diet_of_1945_costs_what_is_known() -> None:
    program, cost = diet(None)
    found = solve(program, cost, EXACT, relaxed=True)
    assert found.objective * 365 == pytest.approx(39.6617, abs=1e-4)
    assert found.objective * 365 < 39.69
    assert found.duals is not None
    assert found.duals == pytest.approx(
        [0.008765, 0, 0.031738, 0, 0.000400, 0, 0.016358, 0, 0.000144], abs=1e-6
    )
    assert found.duals @ np.array(ALLOWANCES) == pytest.approx(found.objective)  # strong duality


@pytest.mark.parametrize(("days", "dollars", "relaxation"), [(7, 0.855, 0.760636), (30, 3.313, 3.25987)])
def test_the_diet_in_whole_purchases(days: int, dollars: float, relaxation: float) -> None:
    program, cost = diet(days)
    whole = solve(program, cost, EXACT)
    assert whole.end is End.PROVEN
    assert whole.objective == pytest.approx(dollars, abs=1e-6)
    assert solve(program, cost, EXACT, relaxed=True).objective == pytest.approx(relaxation, abs=1e-5)


# The diets of Fourer, Gay and Kernighan, AMPL, chapter 2: 88.2; infeasible; 118.0594; in whole packs 119.30.
COST = (3.19, 2.59, 2.29, 2.89, 1.89, 1.99, 1.99, 2.49)
NUTRIENTS = {
    "A": (60, 8, 8, 40, 15, 70, 25, 60),
    "C": (20, 0, 10, 40, 35, 30, 50, 20),
    "B1": (10, 20, 15, 35, 15, 15, 25, 15),
    "B2": (15, 20, 10, 10, 15, 15, 15, 10),
    "NA": (938, 2180, 945, 278, 1182, 896, 1329, 1397),
    "CAL": (295, 770, 440, 430, 315, 400, 370, 450),
}


def ampl(*, sodium: float | None, whole: bool = False) -> tuple[Program, list[tuple[int, float]]]:
    program = Program()
    for _ in COST:
        low, high = (0.0, 100.0) if sodium is None else (2.0, 10.0)
        program.column(lower=low, upper=high, whole=whole)
    for name, amounts in NUTRIENTS.items():
        low, high = 700.0, 10_000.0 if sodium is None else 20_000.0
        if name in ("NA", "CAL"):
            if sodium is None:
                continue
            low, high = (0.0, sodium) if name == "NA" else (16_000.0, 24_000.0)
        program.row([(j, float(a)) for j, a in enumerate(amounts) if a], low=low, high=high)
    return program, list(enumerate(COST))


def test_textbook_diets() -> None:
    assert solve(*ampl(sodium=None), EXACT).objective == pytest.approx(88.2)
    assert solve(*ampl(sodium=40_000), EXACT).end is End.INFEASIBLE
    assert solve(*ampl(sodium=40_000, whole=True), EXACT).end is End.INFEASIBLE
    assert solve(*ampl(sodium=50_000), EXACT).objective == pytest.approx(118.0594032, abs=1e-6)
    assert solve(*ampl(sodium=50_000, whole=True), EXACT).objective == pytest.approx(119.30, abs=1e-6)


# OR-Library, mknap1, problem 1: optimum 3800.
def test_a_library_knapsack() -> None:
    profits = (100, 600, 1200, 2400, 500, 2000)
    rows = (
        (8, 12, 13, 64, 22, 41), (8, 12, 13, 75, 22, 41), (3, 6, 4, 18, 6, 4), (5, 10, 8, 32, 6, 12),
        (5, 13, 8, 42, 6, 20), (5, 13, 8, 48, 6, 20), (0, 0, 0, 0, 8, 0), (3, 0, 4, 0, 8, 0),
        (3, 2, 4, 0, 8, 4), (3, 2, 4, 8, 8, 4),
    )  # fmt: skip
    program = Program()
    for _ in profits:
        program.column(upper=1.0, whole=True)
    for row, most in zip(rows, (80, 96, 20, 36, 44, 48, 10, 18, 22, 24), strict=True):
        program.row([(j, float(a)) for j, a in enumerate(row) if a], high=float(most))
    found = solve(program, [(j, -float(p)) for j, p in enumerate(profits)], EXACT)
    assert found.objective == pytest.approx(-3800)
    assert found.values is not None
    assert [round(v) for v in found.values] == [0, 1, 1, 0, 0, 1]


def test_a_stop_ends_the_solve_and_a_limit_is_told_apart() -> None:
    program, cost = diet(30)
    assert solve(program, cost, EXACT, watch=lambda *_: True).end is End.STOPPED
    few = solve(program, cost, Limits(1e-9, 1, 1))
    assert few.end is End.NODES
    assert few.bound <= 3.313 + 1e-9 <= few.objective + 2e-9


def test_same_program_same_answer_and_bounds_come_from_below() -> None:
    program, cost = diet(30)
    heard: list[tuple[float, float]] = []

    def watch(objective: float, bound: float) -> bool:
        heard.append((objective, bound))
        return False

    first, second = (solve(program, cost, Limits(1e-4, 50, 50), watch=watch) for _ in range(2))
    assert first.values is not None
    assert second.values is not None
    assert np.array_equal(first.values, second.values)
    assert heard
    assert all(bound <= 3.313 + 1e-6 for _, bound in heard)
    assert all(objective >= 3.313 - 1e-6 for objective, _ in heard if math.isfinite(objective))
