"""What a piece asks for: the steps of its plan as issued, less what has been done, moved on as it goes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta

from saltfare.actions.context import Context
from saltfare.journal import events_piece as kinds
from saltfare.journal.piece import PieceState, State

# The action that records a step; steps that belong to one are shown as one.
ACTS = {
    "salt": "salt_piece",
    "turn": "turn_piece",
    "wash_dress": "wash_piece",
    "hang": "hang_piece",
    "weigh_in": "weigh_in",
    "at_its_mass": "take_down",
}
_COMING_DAYS = 7


@dataclass(frozen=True, slots=True)
class Due:
    """Something to do. on: the civil day it was or is due. amounts: SI, as the plan told them."""

    step: str
    act: str
    on: date
    reason: str
    amounts: dict[str, float] = field(default_factory=dict)
    cautions: tuple[str, ...] = ()


def due(context: Context, state: PieceState) -> tuple[Due, ...]:
    """What is late, due or coming within a week, in order of its day."""
    plan = state.started.plan
    if plan is None or state.state is State.TAKEN_DOWN:
        return ()
    horizon = context.today + timedelta(days=_COMING_DAYS)
    found = [one for one in _due(context, state, plan) if one.on <= horizon]
    return tuple(sorted(found, key=lambda one: one.on))


def _due(context: Context, state: PieceState, plan: kinds.PlanIssued) -> Iterator[Due]:
    steps = {step.code: step for step in plan.steps if step.code != "weigh_in"}
    zone, today = context.zone, context.today
    if state.state is State.PLANNED:
        weigh = steps["weigh_out"]
        yield _of("salt", weigh, weigh.on or today)
        return
    out = steps["wash_dress"]
    shift = timedelta()
    if state.salted and steps["weigh_out"].on:
        # salted later than planned: what follows moves with it
        shift = state.salted[0].at.astimezone(zone).date() - steps["weigh_out"].on
    if state.state in (State.IN_SALT, State.DRAINING):
        turn = steps.get("turn")
        if turn is not None and turn.on and turn.until:
            days = [entry.at.astimezone(zone).date() for entry in state.salted]
            days += [entry.at.astimezone(zone).date() for entry in state.turned]
            # a turn missed is no alarm: it is never late, only due today
            on = max(turn.on + shift, max(days) + timedelta(days=1), today)
            if on <= turn.until + shift:
                yield _of("turn", turn, on)
        yield _of("wash_dress", out, (out.on or today) + shift)
        return
    if state.state is State.RESTING and state.hung:
        return
    if state.state is State.RESTING:
        yield _of("hang", steps["hang"], (steps["hang"].on or today) + shift)
        return
    if state.state is State.AT_ITS_MASS:
        last_weigh = state.weigh_ins[-1].at.astimezone(zone).date()
        yield _of("at_its_mass", steps["at_its_mass"], last_weigh)
        return
    yield from _weigh_in(context, state, plan)


def _weigh_in(context: Context, state: PieceState, plan: kinds.PlanIssued) -> Iterator[Due]:
    """The next weigh-in: the first of the plan's days, counted from the real hanging, after the last."""
    begun = next((step.on for step in plan.steps if step.code == "hang"), None)
    planned = [step for step in plan.steps if step.code == "weigh_in" and step.on]
    if begun is None or not planned:
        return
    hung = state.hung[-1].at.astimezone(context.zone).date()
    days = [hung + (step.on - begun) for step in planned if step.on]
    last = state.weigh_ins[-1].at.astimezone(context.zone).date() if state.weigh_ins else hung
    # one made a day early serves; past the last planned day its gap goes on
    ahead = [day for day in days if day > last + timedelta(days=1)]
    gap = days[-1] - days[-2] if len(days) > 1 else days[-1] - hung
    yield _of("weigh_in", planned[0], ahead[0] if ahead else last + gap)


def _of(name: str, step: kinds.StepIssued, on: date) -> Due:
    return Due(name, ACTS[name], on, step.reason, dict(step.amounts), step.cautions)
