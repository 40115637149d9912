"""Menus over a grid of trips: seconds of processor, gap to the bound, broken rules.

    python benchmarks/menu.py            the small end, half a minute or so
    python benchmarks/menu.py --whole    2 x 4 to 12 x 21 days, 80 and 200 items
    python benchmarks/menu.py --beside   also the same whole model by two other solvers, where installed

Trips are invented and seeded. Processor seconds, so that a busy machine does not count.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "tests" / "plans"))

from menu_instances import trip

from saltfare.plans.menu_admit import admission
from saltfare.plans.menu_check import broken_rules
from saltfare.plans.menu_greedy import greedy
from saltfare.plans.menu_model import SCALE, fine_layer, menu_model
from saltfare.plans.menu_shapes import Goal, MenuProblem, Preset
from saltfare.plans.menu_stages import Effort, Progress, plan_menu
from saltfare.plans.menu_totals import goal_value

SMALL = [(2, 4, 80), (4, 7, 80)]
WHOLE = [(p, d, i) for i in (80, 200) for p, d in ((2, 4), (4, 7), (8, 14), (12, 21))]


def second_solver(problem: MenuProblem, seconds: float) -> str:
    """Mass by constraint programming on the same whole model, shortness weighed in; "-" without it."""
    try:
        from ortools.sat.python import cp_model
    except ImportError:
        return "-"
    model = menu_model(problem, admission(problem), [fine_layer(problem)])
    program, unit = model.program, 100_000
    m = cp_model.CpModel()
    most = [10**6 if up > 10**6 else round(up) for up in program.upper]
    columns = [m.new_int_var(round(lo), up, "") for lo, up in zip(program.lower, most, strict=True)]
    for row, (low, high) in enumerate(zip(program.row_lower, program.row_upper, strict=True)):
        total = sum(round(v * unit) * columns[c] for c, v in program.terms(row))
        if low > -1e18:
            m.add(total >= round(low * unit))
        if high < 1e18:
            m.add(total <= round(high * unit))
    goal = sum(round(v * 1000) * columns[c] for c, v in model.goals[Goal.MASS])
    goal += sum(round(v * 20_000) * columns[c] for c, v in model.goals[Goal.SHORT])
    m.minimize(goal)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 2
    solver.parameters.max_time_in_seconds = seconds
    status = solver.solve(m)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return f"none in {seconds:.0f} s"
    return f"{solver.objective_value / 1000 * SCALE[Goal.MASS] / 1e6:.2f} kg in {solver.wall_time:.0f} s"


def third_solver(problem: MenuProblem, seconds: float) -> str:
    """The same whole model by CBC on one thread, shortness weighed in alike; "-" without it."""
    try:
        import pulp
    except ImportError:
        return "-"
    model = menu_model(problem, admission(problem), [fine_layer(problem)])
    program = model.program
    m = pulp.LpProblem("menu", pulp.LpMinimize)
    columns = [
        pulp.LpVariable(
            f"c{n}", lo, up if up < 1e20 else None, pulp.LpInteger if whole else pulp.LpContinuous
        )
        for n, (lo, up, whole) in enumerate(zip(program.lower, program.upper, program.whole, strict=True))
    ]
    m += pulp.lpSum(v * columns[c] for c, v in model.goals[Goal.MASS]) + 20 * pulp.lpSum(
        v * columns[c] for c, v in model.goals[Goal.SHORT]
    )
    for row, (low, high) in enumerate(zip(program.row_lower, program.row_upper, strict=True)):
        total = pulp.lpSum(v * columns[c] for c, v in program.terms(row))
        if low > -1e18:
            m += total >= low
        if high < 1e18:
            m += total <= high
    began = time.monotonic()
    m.solve(pulp.PULP_CBC_CMD(msg=False, threads=1, gapRel=0.015, timeLimit=seconds))
    took = time.monotonic() - began
    if m.sol_status not in (pulp.LpSolutionOptimal, pulp.LpSolutionIntegerFeasible):
        return f"none in {seconds:.0f} s"
    kg = sum(v * (columns[c].value() or 0.0) for c, v in model.goals[Goal.MASS]) * SCALE[Goal.MASS] / 1e6
    short = sum(v * (columns[c].value() or 0.0) for c, v in model.goals[Goal.SHORT])
    return f"{kg:.2f} kg in {took:.0f} s" + (f", short by {short:.2f}" if short > 1e-6 else "")


def main() -> None:
    """Run the grid and print a line a trip."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--whole", action="store_true", help="the whole grid")
    parser.add_argument("--beside", action="store_true", help="two other solvers beside it")
    parser.add_argument("--preset", default="lightest", choices=[p.value for p in Preset])
    given = parser.parse_args()
    print("people days items | first s broken | lead s, all s | short kcal | kg | gap | g a person and day")
    for people, days, items in WHOLE if given.whole else SMALL:
        problem = trip(people=people, days=days, items=items, seed=people * 100 + days)
        clock = time.process_time
        began = clock()
        first = greedy(problem, admission(problem))
        first_s, first_broken = clock() - began, len(broken_rules(problem, first))
        began, lead_s = clock(), 0.0

        def report(progress: Progress, began: float = began) -> bool:
            nonlocal lead_s
            if progress.goal is Goal.MASS and progress.plan is not None:
                lead_s = time.process_time() - began
            return False

        found = plan_menu(problem, preset=Preset(given.preset), effort=Effort(), report=report)
        took = clock() - began
        mass = next(v for v in found.values if v.goal is Goal.MASS)
        line = (
            f"{people:6} {days:4} {items:5} | {first_s:6.2f} {first_broken:4} | {lead_s:6.1f} {took:6.1f} | "
        )
        line += f"{goal_value(problem, found.plan, Goal.SHORT):6} | {mass.reached / 1e6:7.2f} | "
        line += f"{100 * mass.gap:5.2f} % | {mass.reached / 1e3 / people / days:6.0f}"
        if found.broken:
            line += f"  BROKEN {found.broken[:2]}"
        if given.beside:
            seconds = max(10.0, took)
            line += f" | CP-SAT {second_solver(problem, seconds)} | CBC {third_solver(problem, seconds)}"
        print(line, flush=True)


if __name__ == "__main__":
    main()
