"""The menu and its explanation worked out in a process of their own, with the best so far kept beside.

Ending the process always works; what was kept last is the answer then, and is marked as stopped, because
another run may stop elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from saltfare.actions.context import Context
from saltfare.core.errors import NotFound
from saltfare.core.figure import Note
from saltfare.jobs import Cache, Jobs, JobState, JobStatus, Progress, key_of
from saltfare.plans.menu_explain import explain
from saltfare.plans.menu_plain import effort_of, plan_of, plan_plain, problem_of, values_plain
from saltfare.plans.menu_shapes import Preset
from saltfare.plans.menu_stages import Progress as MenuProgress
from saltfare.plans.menu_stages import plan_menu

_GIVES = "explain"


@cache
def jobs_in(folder: Path) -> Jobs:
    """The jobs of a folder of results: one for all of a process, so that what it began it also buries."""
    return Jobs(Cache(folder))


def so_far_key(key: str) -> str:
    """Where the best so far of a planning is kept."""
    return key_of(action="menu_so_far", given=key, heads={}, version="")


def explain_key(key: str) -> str:
    """The key of the explanation of a planning."""
    return key_of(action=_GIVES, given=key, heads={}, version="")


def menu_work(given: Any, progress: Progress) -> Any:
    """Plan a menu: the first answer and every better one are kept as they come."""
    problem, preset = problem_of(given["problem"]), Preset(given["preset"])
    kept, goals = Cache(Path(given["folder"])), preset.goals
    told: list[float] = []

    def report(step: MenuProgress) -> bool:
        share = goals.index(step.goal) / len(goals)
        if told != [share]:
            told[:] = [share]
            progress(share)
        if step.plan is not None:
            kept.put(
                given["so_far"],
                {"plan": plan_plain(step.plan), "goal": step.goal.value, "bound": step.bound, "share": share},
            )
        return False

    found = plan_menu(
        problem,
        preset=preset,
        effort=effort_of(given["effort"]),
        report=report,
        start=None if given["start"] is None else plan_of(given["start"]),
    )
    return {"plan": plan_plain(found.plan), "values": values_plain(found.values), "end": found.end.value}


def explain_work(given: Any, progress: Progress) -> Any:
    """Say why somebody is short."""
    progress(0.0)
    found = explain(problem_of(given["problem"]))
    if found is None:
        return {"feeds": True, "needs": [], "limits": [], "mends": [], "proven": True}
    return {
        "feeds": False,
        "needs": [_plain(note) for note in found.needs],
        "limits": [_plain(note) for note in found.limits],
        "mends": [_plain(note) for note in found.mends],
        "proven": found.proven,
    }


def _plain(note: Note) -> list[Any]:
    return [note.code, dict(note.params)]


@dataclass(frozen=True, slots=True)
class Standing:
    """How a piece of work stands. result: whole where it is done; so_far: the best kept on the way."""

    status: JobStatus | None
    so_far: Any


def standing(context: Context, key: str) -> Standing:
    """How the planning of a key stands; nothing where it was not begun."""
    try:
        status = jobs_in(context.cache.folder).status(key)
    except NotFound:
        return Standing(None, None)
    return Standing(status, None if status.state is JobState.DONE else context.cache.get(so_far_key(key)))


def begin_menu(context: Context, key: str, asked: dict[str, Any], *, wait_s: int) -> None:
    """Begin a planning, or join it; wait for its end if asked to."""
    jobs = jobs_in(context.cache.folder)
    jobs.start(key, menu_work, {**asked, "folder": str(context.cache.folder), "so_far": so_far_key(key)})
    if wait_s:
        jobs.wait(key, timeout_s=float(wait_s))


def begin_explaining(context: Context, key: str, asked: dict[str, Any], *, wait_s: int) -> JobStatus:
    """Begin an explanation, or join it."""
    jobs = jobs_in(context.cache.folder)
    status = jobs.start(key, explain_work, {"problem": asked["problem"]})
    return jobs.wait(key, timeout_s=float(wait_s)) if wait_s else status


def stop(context: Context, key: str) -> None:
    """End a planning; what it has is kept."""
    jobs_in(context.cache.folder).stop(key)
