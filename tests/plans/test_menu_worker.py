"""The menu in a process of its own: the same answer, and an end whenever it is asked for."""

from __future__ import annotations

import math
from dataclasses import replace

from menu_instances import trip

from saltfare.plans.menu_check import broken_rules
from saltfare.plans.menu_program import End
from saltfare.plans.menu_shapes import Preset
from saltfare.plans.menu_stages import Effort, plan_menu
from saltfare.plans.menu_worker import MenuRun

SOME = Effort(nodes=20, stall_nodes=20, gap=0.03)


def test_the_worker_streams_and_ends_with_the_same_answer() -> None:
    problem = trip(people=2, days=2, items=24, seed=5)
    run = MenuRun(problem, preset=Preset.LIGHTEST, effort=SOME)
    heard = list(run)
    assert run.outcome == plan_menu(problem, preset=Preset.LIGHTEST, effort=SOME)
    assert heard[0].plan is not None  # the first answer comes before the solver
    assert all(broken_rules(problem, p.plan) == () for p in heard if p.plan is not None)
    assert all(math.isfinite(p.bound) or p.plan is None for p in heard)
    assert not run.is_working


def test_stopping_ends_the_process_and_keeps_the_best_so_far() -> None:
    problem = trip(people=6, days=8, items=80, seed=6)
    run = MenuRun(problem, preset=Preset.LIGHTEST, effort=replace(SOME, nodes=100_000, gap=0.0))
    for progress in run:
        if progress.plan is not None:
            run.stop()
    assert not run.is_working
    assert run.outcome is not None
    assert run.outcome.end is End.STOPPED
    assert run.outcome.plan.servings
    assert run.outcome.broken == ()
