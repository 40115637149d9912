"""The menu in a process of its own: the same answer, the best so far kept, and an end whenever it is asked
for."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path
from typing import Any

from menu_instances import trip

from saltfare.actions.trip_work import jobs_in, menu_work, so_far_key
from saltfare.jobs import JobState, key_of
from saltfare.plans.menu_check import broken_rules
from saltfare.plans.menu_plain import plain, plan_of, plan_plain, problem_of, values_plain
from saltfare.plans.menu_shapes import MenuProblem, Preset
from saltfare.plans.menu_stages import Effort, plan_menu

SOME = Effort(nodes=20, stall_nodes=20, gap=0.03)


def asked(problem: MenuProblem, effort: Effort, folder: Path) -> tuple[str, dict[str, Any]]:
    given = {"problem": plain(problem), "preset": "lightest", "effort": plain(effort), "start": None}
    key = key_of(action="menu", given=given, heads={}, version="test")
    return key, {**given, "folder": str(folder), "so_far": so_far_key(key)}


def test_a_problem_comes_back_from_plain_text_as_it_was() -> None:
    for seed, spare in ((1, False), (2, True)):
        problem = trip(people=3, days=3, items=24, seed=seed, spare=spare)
        assert problem_of(plain(problem)) == problem
        assert plain(problem_of(plain(problem))) == plain(problem)


def test_the_worker_ends_with_the_same_answer_and_keeps_what_it_has(tmp_path: Path) -> None:
    problem = trip(people=2, days=2, items=24, seed=5)
    key, given = asked(problem, SOME, tmp_path)
    jobs = jobs_in(tmp_path)
    jobs.start(key, menu_work, given)
    done = jobs.wait(key, timeout_s=120.0)
    assert done.state is JobState.DONE
    here = plan_menu(problem, preset=Preset.LIGHTEST, effort=SOME)
    assert done.result["plan"] == plan_plain(here.plan)
    assert done.result["values"] == values_plain(here.values)
    assert done.result["end"] == here.end.value
    kept = jobs.results.get(given["so_far"])
    assert kept is not None
    assert broken_rules(problem, plan_of(kept["plan"])) == ()


def test_stopping_ends_the_process_and_keeps_the_best_so_far(tmp_path: Path) -> None:
    problem = trip(people=6, days=8, items=80, seed=6)
    key, given = asked(problem, replace(SOME, nodes=100_000, gap=0.0), tmp_path)
    jobs = jobs_in(tmp_path)
    jobs.start(key, menu_work, given)
    until = time.monotonic() + 60.0
    while jobs.results.get(given["so_far"]) is None and time.monotonic() < until:
        time.sleep(0.05)
    assert jobs.stop(key).state is JobState.STOPPED
    kept = jobs.results.get(given["so_far"])
    assert kept is not None
    plan = plan_of(kept["plan"])
    assert plan.servings
    assert broken_rules(problem, plan) == ()
