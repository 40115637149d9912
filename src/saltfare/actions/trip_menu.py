"""Planning a trip's menu in a worker, looking at it as it stands, and asking why somebody is short."""

from __future__ import annotations

from dataclasses import dataclass

from saltfare.actions.context import Context
from saltfare.actions.trip_menu_shapes import (
    ExplainedShown,
    ExplainGiven,
    ItemShown,
    MenuGiven,
    MenuShown,
    PlanMenuGiven,
    Work,
)
from saltfare.actions.trip_menu_shown import About, How, about_taken, menu_shown, plan_of_committed
from saltfare.actions.trip_need import need_of
from saltfare.actions.trip_problem import Posed, posed
from saltfare.actions.trip_work import begin_explaining, begin_menu, explain_key, standing, stop
from saltfare.actions.trips import found_trip, open_trip
from saltfare.core.errors import Problem, Refused
from saltfare.core.figure import Note
from saltfare.jobs import JobState, JobStatus
from saltfare.journal.trip import TripStand, TripState
from saltfare.plans.menu_admit import admission
from saltfare.plans.menu_check import broken_rules
from saltfare.plans.menu_greedy import greedy
from saltfare.plans.menu_plain import end_of, plan_of, values_of
from saltfare.plans.menu_program import End
from saltfare.plans.menu_shapes import Preset
from saltfare.plans.menu_stages import Outcome, outcome_of
from saltfare.plans.menu_totals import shortness

_WORK: dict[JobState, Work] = {
    JobState.RUNNING: "working",
    JobState.DONE: "done",
    JobState.FAILED: "failed",
    JobState.STOPPED: "stopped",
}


@dataclass(frozen=True, slots=True)
class Found:
    """The best menu there is of a planning, and how it came to be."""

    outcome: Outcome
    work: Work
    share: float
    quick: bool
    stopped: bool


def found_menu(context: Context, asked: Posed, preset: Preset) -> Found:
    """The best there is: the end of the search, the best so far, or a first answer at once. Checked again
    here by the exact checker, whatever gave it."""
    stands = standing(context, asked.key(preset))
    work: Work = "not_begun" if stands.status is None else _WORK[stands.status.state]
    if stands.status is not None and stands.status.state is JobState.DONE:
        told = stands.status.result
        outcome = outcome_of(
            asked.problem, preset, plan_of(told["plan"]), values_of(told["values"]), end_of(told["end"])
        )
        return Found(outcome, work, 1.0, False, False)
    if stands.so_far is not None:
        outcome = outcome_of(asked.problem, preset, plan_of(stands.so_far["plan"]), (), End.STOPPED)
        share = stands.status.done_frac if stands.status else 0.0
        return Found(outcome, work, share, False, work in ("stopped", "failed"))
    start = None if asked.start is None else asked.start.servings
    first = greedy(asked.problem, admission(asked.problem), start=start)
    return Found(outcome_of(asked.problem, preset, first, (), End.STOPPED), work, 0.0, True, False)


def plan_menu(context: Context, given: PlanMenuGiven) -> MenuShown:
    """Begin or join the planning of a trip's menu, or end it and keep the best so far."""
    state = open_trip(context, given.code)
    asked = posed(context, state)
    key = asked.key(given.preset)
    if given.stop:
        if standing(context, key).status is None:
            raise Refused(Problem("trip_nothing_planned", "stop", given.preset.value))
        stop(context, key)
    else:
        begin_menu(context, key, asked.asked(given.preset), wait_s=given.wait_s)
    return _planned(context, asked, given.preset)


def menu(context: Context, given: MenuGiven) -> MenuShown:
    """A menu as it stands: the committed one, or the one planned for a preset."""
    state = found_trip(context, given.code)
    if state.menu is not None and given.preset is None:
        return committed_menu(context, state)
    return _planned(context, posed(context, state), given.preset or Preset.LIGHTEST)


def _planned(context: Context, asked: Posed, preset: Preset) -> MenuShown:
    found = found_menu(context, asked, preset)
    how = How(asked.key(preset), found.work, found.share, False, False, found.quick, found.stopped)
    about = {item: about_shown(one) for item, one in asked.shown.items()}
    return menu_shown(context, asked.state, asked.problem, found.outcome, about, how, preset, asked.need)


def about_shown(one: ItemShown) -> About:
    """What an item tells of itself."""
    return About(
        one.key,
        one.origin,
        one.name,
        one.minutes,
        one.minutes_low,
        one.minutes_high,
        one.decided,
        one.allergens,
        one.stock,
        one.beside,
    )


def committed_menu(context: Context, state: TripState) -> MenuShown:
    """The committed menu as it left the house, with whether the shelf or the trip has changed under it."""
    assert state.menu is not None  # noqa: S101 - asked for by the callers
    body = state.menu.body
    problem, plan = plan_of_committed(state, body)
    preset = Preset(body.preset)
    outcome = outcome_of(problem, preset, plan, (), end_of(body.end))
    how = How("", "done", 1.0, True, is_changed(context, state), False, body.end == End.STOPPED.value)
    need = need_of(context, state) if len(state.days) == len(problem.days) else None
    return menu_shown(context, state, problem, outcome, about_taken(body.items), how, preset, need)


def is_changed(context: Context, state: TripState) -> bool:
    """Whether the committed menu no longer holds for the trip and the shelf as they now are: something of it
    is gone, a rule would be broken, or somebody would be short who was not."""
    if state.menu is None or state.stand is not TripStand.COMMITTED:
        return False
    try:
        now = posed(context, state)
    except Refused:
        return True
    body = state.menu.body
    if now.start is None or len(now.start.servings) < len(body.served):
        return True
    problem, before = plan_of_committed(state, body)
    was_short = not shortness(problem, before).nobody
    return bool(broken_rules(now.problem, now.start)) or (
        not was_short and not shortness(now.problem, now.start).nobody
    )


def explain_menu(context: Context, given: ExplainGiven) -> ExplainedShown:
    """Why somebody is short, and what would mend it."""
    state = found_trip(context, given.code)
    asked = posed(context, state)
    key = explain_key(asked.key(Preset.LIGHTEST))
    status = begin_explaining(context, key, asked.asked(Preset.LIGHTEST), wait_s=given.wait_s)
    return _explained(asked, status)


def explained_mends(context: Context, state: TripState) -> tuple[Note, ...]:
    """What would mend it, where that was asked for before; nothing is begun."""
    asked = posed(context, state)
    status = standing(context, explain_key(asked.key(Preset.LIGHTEST))).status
    return _explained(asked, status).mends if status is not None else ()


def _explained(asked: Posed, status: JobStatus) -> ExplainedShown:
    work, told = _WORK[status.state], status.result
    if status.state is not JobState.DONE:
        return ExplainedShown(
            code=asked.state.code, work=work, feeds=False, needs=(), limits=(), mends=(), proven=False
        )
    return ExplainedShown(
        code=asked.state.code,
        work=work,
        feeds=told["feeds"],
        needs=_notes(asked, told["needs"]),
        limits=_notes(asked, told["limits"]),
        mends=_notes(asked, told["mends"]),
        proven=told["proven"],
    )


def _notes(asked: Posed, told: list[tuple[str, dict[str, str | float | int]]]) -> tuple[Note, ...]:
    """Notes with items called by their names, supplies counted from 1."""
    out = []
    for code, params in told:
        said = dict(params)
        if code.startswith(("menu_limit", "menu_mend")) and str(said.get("whose", "")).isdigit():
            said["whose"] = int(str(said["whose"])) + 1
        if "carry" in said:
            said["carry"] = int(str(said["carry"])) + 1
        if "packs" in said:
            said["packs"] = _packs_named(asked, str(said["packs"]))
        out.append(Note(code, said))
    return tuple(out)


def _packs_named(asked: Posed, listed: str) -> str:
    """ "item:packs" by comma, as "packs × name"."""
    out = []
    for part in filter(None, listed.split(", ")):
        item, _, count = part.rpartition(":")
        name = asked.shown[item].name if item in asked.shown else item
        out.append(f"{count} × {name}")
    return ", ".join(out)
