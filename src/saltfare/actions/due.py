"""What a piece asks for: the steps of its plan as issued, less what has been done, moved on as it goes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta

from saltfare.actions.context import Context
from saltfare.actions.next_weigh_in import next_weigh_in
from saltfare.actions.piece_forecast import Cast
from saltfare.core.figure import Note
from saltfare.journal import events_piece as kinds
from saltfare.journal.piece import PieceState, State

# The action that records a step, none where there is nothing to record; steps that belong to one are
# shown as one.
ACTS = {
    "freeze": "record_parasite_step",
    "thaw": "",
    "salt": "salt_piece",
    "bury": "salt_piece",
    "immerse": "salt_piece",
    "pump": "inject_piece",
    "rub": "salt_piece",
    "turn": "turn_piece",
    "drain_wash": "drain_piece",
    "weigh_out_second": "salt_piece",
    "wash_dress": "wash_piece",
    "rest": "rest_piece",
    "hang": "hang_piece",
    "end_rest": "end_rest",
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
    cautions: tuple[Note, ...] = ()
    note: Note | None = None


def due(context: Context, state: PieceState, *, made: Cast | None = None) -> tuple[Due, ...]:
    """What is late, due or coming within a week, in order of its day. made: its forecast, if at hand."""
    plan = state.started.plan
    if plan is None or state.state is State.TAKEN_DOWN:
        return ()
    horizon = context.today + timedelta(days=_COMING_DAYS)
    # a plan keeps the codes of its cautions; the figure in one is the rule's
    cold_c = context.library.row("salting_rules", "cure_cold").number("temp_c")
    found = [
        replace(one, cautions=tuple(replace(c, params={"cold_c": cold_c}) for c in one.cautions))
        for one in _due(context, state, plan, made)
        if one.on <= horizon
    ]
    return tuple(sorted(found, key=lambda one: one.on))


def _due(context: Context, state: PieceState, plan: kinds.PlanIssued, made: Cast | None) -> Iterator[Due]:
    course = _Course(context, state, {step.code: step for step in reversed(plan.steps)})
    match state.state:
        case State.PLANNED:
            yield from _before_salt(course)
        case State.IN_SALT | State.DRAINING:
            yield from _in_salt(course, [step for step in plan.steps if step.code == "turn"])
        case State.RESTING if state.hung:
            softened = context.library.row("salting_bands", "rim_softens").number("low")
            on = course.day(state.rests[-1].at + timedelta(days=softened))
            yield Due("end_rest", ACTS["end_rest"], on, "rim_softens")
        case State.RESTING:
            if "rest" in course.steps and not state.rests:
                yield course.due("rest")
            yield course.due("hang")
        case State.AT_ITS_MASS:
            found = _of("at_its_mass", course.steps["at_its_mass"], course.day(state.weigh_ins[-1].at))
            yield replace(found, amounts=_target_now(state))
        case _:
            yield from _weigh_in(context, state, plan, made)


@dataclass(frozen=True, slots=True)
class _Course:
    """A piece beside its plan's steps, of several of one code the first."""

    context: Context
    state: PieceState
    steps: dict[str, kinds.StepIssued]

    def day(self, at: datetime) -> date:
        """The civil day of an instant where the person is."""
        return at.astimezone(self.context.zone).date()

    @property
    def shift(self) -> timedelta:
        """How far the last step done lies from its planned day: what follows moves with it."""
        state, found = self.state, timedelta()
        again = [e.at for e in state.salted if state.drained and e.at > state.drained[-1].at]
        # a freezer is emptied on the last of its days
        freeze, out = self.steps.get("freeze"), self.thawing_since
        if freeze is not None and freeze.until is not None and out is not None:
            found = self.day(out) - freeze.until
        done = (
            ("weigh_out", state.salting_begun_at),
            ("drain_wash", state.drained[-1].at if state.drained else None),
            ("weigh_out_second", again[-1] if again else None),
            ("wash_dress", state.washed[-1].at if state.washed else None),
        )
        for code, at in done:
            planned = self.steps[code].on if code in self.steps else None
            if at is not None and planned is not None:
                found = self.day(at) - planned
        return found

    @property
    def thawing_since(self) -> datetime | None:
        """When it came out of the freezer, as recorded last."""
        return self.state.frozen[-1].body.ended if self.state.frozen else None

    def due(self, name: str, *, of: str = "") -> Due:
        """A step on its day, moved on; `of`: the step whose day and amounts it has."""
        step, own = self.steps[of or name], self.steps.get(name)
        found = _of(name, step, (step.on or self.context.today) + self.shift)
        return replace(found, reason=own.reason) if own else found


def _before_salt(course: _Course) -> Iterator[Due]:
    today = course.context.today
    freeze, thaw = course.steps.get("freeze"), course.steps.get("thaw")
    if freeze is not None and freeze.on and freeze.until and not _freezing_told(course):
        # asked for while it lasts, and late once it should have been recorded
        yield _of("freeze", freeze, max(freeze.on, min(today, freeze.until)))
    if thaw is not None and thaw.on and thaw.until and today <= thaw.until + course.shift:
        yield _of("thaw", thaw, max(thaw.on + course.shift, today))
    pumped = "pump" in course.steps
    if pumped:
        yield course.due("pump", of="weigh_out")
    if not pumped or "rub" in course.steps:
        name = next((code for code in ("bury", "immerse") if code in course.steps), "salt")
        yield course.due("rub" if pumped else name, of="weigh_out")


def _freezing_told(course: _Course) -> bool:
    """Whether it was recorded from beginning to end, or that it was not done."""
    return any(e.body.ended is not None or not e.body.frozen for e in course.state.frozen)


def _in_salt(course: _Course, turns: list[kinds.StepIssued]) -> Iterator[Due]:
    """Turned daily, drained and rubbed again where that was planned, then out of the salt."""
    state, today = course.state, course.context.today
    if state.injected and not state.salted and {"pump", "rub"} <= set(course.steps):
        yield course.due("rub", of="weigh_out")
    halved = "weigh_out_second" in course.steps
    again = bool(state.drained) and state.state is State.IN_SALT
    if halved and state.state is State.DRAINING:
        yield course.due("weigh_out_second")
        return
    turn = (turns[-1] if again else turns[0]) if turns else None
    if turn is not None and turn.on and turn.until:
        days = [course.day(at) for at in (*state.salt_came_at, *(e.at for e in state.turned))]
        # a turn missed is no alarm: it is never late, only due today
        on = max(turn.on + course.shift, max(days) + timedelta(days=1), today)
        if on <= turn.until + course.shift:
            yield _of("turn", turn, on)
    yield course.due("drain_wash" if halved and not again else "wash_dress")


def _weigh_in(
    context: Context, state: PieceState, plan: kinds.PlanIssued, made: Cast | None
) -> Iterator[Due]:
    """The next weigh-in: the first of the plan's days, counted from the real hanging, after the last; or
    the day that tells more, where one does."""
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
    on = ahead[0] if ahead else last + gap
    better = next_weigh_in(context, state, on, made)
    found = replace(_of("weigh_in", planned[0], on), amounts=_target_now(state))
    if better is not None:
        found = replace(found, on=better.on, reason="tells_most", note=better.note)
    yield found


def _target_now(state: PieceState) -> dict[str, float]:
    """The mass the scale is to show in the end, refigured at hanging and less what was cut off."""
    return {} if state.target_now_kg is None else {"target_mass": state.target_now_kg}


def _of(name: str, step: kinds.StepIssued, on: date) -> Due:
    return Due(
        name, ACTS[name], on, step.reason, dict(step.amounts), tuple(Note(code) for code in step.cautions)
    )
