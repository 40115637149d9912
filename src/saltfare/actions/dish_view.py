"""A batch of a dish as it stands: its plan with everything recorded so far."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from pydantic import Field

from saltfare.actions.context import Context
from saltfare.actions.dish_log import dish_log
from saltfare.actions.dish_recipe import line_of
from saltfare.actions.dish_report import as_cooked, report
from saltfare.actions.dish_report_shapes import DishReport, TrayWeightShown
from saltfare.actions.dish_request import Course, planned, request_of
from saltfare.actions.dish_stages import found, open_acts
from saltfare.actions.piece_log import LogLine
from saltfare.actions.shapes import Output, Query, Tracer
from saltfare.core.errors import OutOfRange, Problem, Refused
from saltfare.core.fields import Frozen, Measured
from saltfare.core.figure import Figure
from saltfare.journal import events_dish as kinds
from saltfare.journal.dish import DishStage, DishState
from saltfare.journal.dish import dishes as dishes_of
from saltfare.journal.events_dish import PouchSeen
from saltfare.journal.lot import lot as lot_of
from saltfare.journal.piece import Entry
from saltfare.models import trays_end
from saltfare.models.trays_end import TrayWeight
from saltfare.plans.dish_plan_parts import DishPlan, Spoonful

# What is not on the trays yet is planned from now on; the clock moves in steps, so that a plan is kept.
_STEP = timedelta(minutes=15)


def plan_of(context: Context, state: DishState, *, pack_kg: float | None = None) -> DishPlan:
    """The plan of a batch with all that was recorded of it. pack_kg: of a pack of that much instead.

    Raises Refused, OutOfRange where what was recorded does not go together.
    """
    request = request_of(
        context,
        state.choice,
        name=state.name,
        start=start_of(context, state),
        taught=taught_of(state),
        course=course_of(state, pack_kg=pack_kg),
    )
    try:
        return planned(context, request)
    except Refused as refused:
        # packs may weigh a little more than all there should be, since the solids are not known better
        if request.pack_mass_kg is None or all(p.code != "packs_exceed_dish" for p in refused.problems):
            raise
    return planned(context, replace(request, pack_mass_kg=None))


def start_of(context: Context, state: DishState) -> datetime:
    """When the trays went in, or go in: as planned, and now where that has passed."""
    if state.trays_since is not None:
        return state.trays_since
    whole = datetime.min.replace(tzinfo=context.now.tzinfo)
    now = whole + -(-(context.now - whole) // _STEP) * _STEP
    return max(state.choice.start, now)


def taught_of(state: DishState) -> tuple[PouchSeen, ...]:
    """What test pouches showed: those of the batch it is like, and its own."""
    return (*state.planned.taught, *(entry.body.seen for entry in state.tried))


def course_of(state: DishState, *, pack_kg: float | None = None) -> Course:
    """How far a batch has come."""
    since = state.trays_since
    weights = [
        TrayWeight((e.at - since).total_seconds(), e.body.gross_kg, e.body.tare_kg)
        for e in state.weights
        if since is not None
    ]
    spoon = state.spoonfuls[-1].body if state.spoonfuls else None
    brittle = [e.body.brittle for e in state.weights if e.body.brittle is not None]
    left = state.cooked[-1].body.left_behind if state.cooked else None
    steps = [e.body.scale_step.value for e in state.weights if e.body.scale_step]
    if spoon and spoon.scale_step:
        steps.append(spoon.scale_step.value)
    portions = [one for entry in state.packed for one in entry.body.portions]
    packed = state.state is DishStage.PACKED and bool(portions)
    usual = max(portions, key=lambda one: one.packs).mass.value if packed else None
    return Course(
        cooked_kg=state.cooked_kg,
        left_behind_kg=left.value if left else 0.0,
        laid_kg=state.laid_kg,
        trays=state.trayed[-1].body.trays if state.trayed else None,
        spoonful=Spoonful(wet_kg=spoon.wet.value, dry_kg=spoon.dry.value) if spoon else None,
        weights=tuple(weights),
        brittle=brittle[-1] if brittle else None,
        step_kg=min(steps) if steps else None,
        packs=1 if pack_kg is not None else sum(one.packs for one in portions) if packed else None,
        pack_kg=usual if pack_kg is None else pack_kg,
    )


class DishGiven(Query):
    """A batch by its code."""

    code: str = Field(max_length=40)


class OnTrays(Frozen):
    """The trays of a batch: the food on them now, the mass to stop at, what is still to leave.

    now: as weighed last, `weighed_at`. still: None where there is nothing left to leave. bed, overnight: when
    somebody goes to bed and what that means for the dryer; None where the night does not matter.
    """

    code: str
    name: str
    version: int
    since: datetime
    now: Figure
    weighed_at: datetime
    end: Figure
    still: Figure
    dry_low: datetime | None
    dry_high: datetime | None
    end_point: str | None
    tare_kg: float | None
    bed: datetime | None
    overnight: str | None


class TriedShown(Frozen):
    """A test pouch as it was told."""

    at: datetime
    water: str
    off: str
    added: str
    hard_at: str
    soft_at: str
    too_wet: bool
    text: str


class DishShown(DishReport):
    """A batch as it stands, with its plan. against: what of the record does not go together, so that there
    is no plan. choice: as it is meant now, to fill a form from. lots_left: the lots with packs left."""

    code: str
    name: str
    version: int
    state: str
    ended: str | None
    planned_at: datetime
    cooked_at: datetime | None
    cooled_at: datetime | None
    trays_since: datetime | None
    jar_since: datetime | None
    packed_at: datetime | None
    again_of: str | None
    acts: tuple[str, ...]
    lots: tuple[str, ...]
    lots_left: tuple[str, ...]
    on_trays: OnTrays | None
    tried: tuple[TriedShown, ...]
    choice: kinds.DishChoice
    log: tuple[LogLine, ...]
    against: tuple[Problem, ...] = ()


class DishesGiven(Query):
    """Nothing."""


class DishLineShown(Frozen):
    """A batch in the list. since: since when it is in its state. dry_low, dry_high: of one on trays."""

    code: str
    name: str
    state: str
    ended: str | None
    since: datetime
    packs: int
    packed_kg: float | None
    dry_low: datetime | None
    dry_high: datetime | None
    tested: bool


class DishesShown(Output):
    """All batches, those under way first."""

    dishes: tuple[DishLineShown, ...]


def dish(context: Context, given: DishGiven) -> DishShown:
    """A batch of a dish: what is in it, where it stands, and what to do with it at camp."""
    state = found(context, given.code)
    plan: DishPlan | None = None
    against: tuple[Problem, ...] = ()
    try:
        plan = plan_of(context, state)
    except Refused as refused:
        against = refused.problems
    except OutOfRange as outside:
        against = (Problem("dish_out_of_range", "", params={"what": outside.quantity}),)
    course = course_of(state)
    weights = tuple(TrayWeightShown(at=e.at, mass_kg=e.body.gross_kg - e.body.tare_kg) for e in state.weights)
    told: dict[str, Any] = {"plan": plan, "weights": weights, "of": state}
    if plan is None:
        told |= _cooked_as_far(context, state, course)
    shown = report(context, state.choice, **told)
    return DishShown(
        **dict(shown),
        code=state.code,
        name=state.name,
        version=state.version,
        state=state.state.value,
        ended=state.ended,
        planned_at=state.planned_at,
        cooked_at=state.cooked[-1].at if state.cooked else None,
        cooled_at=state.cooled[-1].at if state.cooled else None,
        trays_since=state.trays_since,
        jar_since=_jar_since(state),
        packed_at=state.packed[-1].at if state.packed else None,
        again_of=state.planned.again_of,
        acts=open_acts(state),
        lots=state.lots,
        lots_left=tuple(code for code in state.lots if lot_of(context.journal, code).packs_left > 0),
        on_trays=on_trays(state, plan) if state.state is DishStage.ON_TRAYS else None,
        tried=tuple(_tried(entry) for entry in state.tried),
        choice=state.choice,
        log=dish_log(context, state),
        against=against,
    )


def _cooked_as_far(context: Context, state: DishState, course: Course) -> dict[str, Any]:
    """The cooked mass, where it goes together with the recipe."""
    lines = [line_of(context, line) for line in state.choice.lines]
    try:
        as_cooked(lines, course.cooked_kg, course.left_behind_kg)
    except Refused:
        return {}
    return {"cooked_kg": course.cooked_kg, "left_behind_kg": course.left_behind_kg}


def on_trays(state: DishState, plan: DishPlan | None) -> OnTrays | None:
    """What is on the trays now, the mass to stop at, what is still to leave; None without a plan."""
    since = state.trays_since
    if plan is None or since is None:
        return None
    tracer = Tracer()
    now_kg = state.on_trays_kg if state.on_trays_kg is not None else plan.trayed_kg
    end = plan.end_kg
    inputs = {"trayed_mass": plan.trayed_kg, "dish_water": plan.water_frac}
    trace = tracer.trace(trays_end.end_mass, inputs)
    still = [max(0.0, now_kg - kg) for kg in (end.high, end.middle, end.low)]
    return OnTrays(
        code=state.code,
        name=state.name,
        version=state.version,
        since=since,
        now=tracer.figure(now_kg, "mass", trace),
        weighed_at=state.weights[-1].at if state.weights else since,
        end=tracer.figure(end.middle, "mass", trace, span=(end.low, end.high), interval="band_80"),
        still=tracer.figure(still[1], "mass", trace, span=(still[0], still[2]), interval="band_80"),
        dry_low=plan.dry.low,
        dry_high=plan.dry.high,
        end_point=plan.end_point,
        tare_kg=state.tare.value if state.tare else None,
        bed=plan.request.bed,
        overnight=plan.overnight,
    )


def dishes(context: Context, given: DishesGiven) -> DishesShown:
    """Every batch of a dish, those under way first, in the order they were planned."""
    states = sorted(dishes_of(context.journal), key=lambda s: bool(s.ended) or s.state is DishStage.PACKED)
    return DishesShown(dishes=tuple(_listed(context, state) for state in states))


def _listed(context: Context, state: DishState) -> DishLineShown:
    dry: tuple[datetime | None, datetime | None] = (None, None)
    if state.state is DishStage.ON_TRAYS:
        try:
            when = plan_of(context, state).dry
            dry = (when.low, when.high)
        except (Refused, OutOfRange):
            pass  # the batch's own page says why there is none
    since = {
        DishStage.PLANNED: state.planned_at,
        DishStage.COOKED: state.cooked[-1].at if state.cooked else state.planned_at,
        DishStage.COOLING: state.cooled[-1].at if state.cooled else state.planned_at,
        DishStage.ON_TRAYS: state.trays_since or state.planned_at,
        DishStage.CONDITIONING: _jar_since(state) or state.planned_at,
        DishStage.PACKED: state.packed[-1].at if state.packed else state.planned_at,
    }[state.state]
    packed = [one for entry in state.packed for one in entry.body.portions]
    return DishLineShown(
        code=state.code,
        name=state.name,
        state=state.state.value,
        ended=state.ended,
        since=state.discarded[-1].at if state.discarded else since,
        packs=sum(one.packs for one in packed) if packed else state.choice.packs,
        packed_kg=state.packed_kg if packed else None,
        dry_low=dry[0],
        dry_high=dry[1],
        tested=bool(state.tried or state.planned.taught),
    )


def _jar_since(state: DishState) -> datetime | None:
    put = [e.at for e in state.conditioned if e.body.step == "in_jar"]
    return put[-1] if put else None


def _tried(entry: Entry[kinds.PouchTried]) -> TriedShown:
    seen = entry.body.seen

    def typed(value: Measured | None) -> str:
        return value.typed if value else ""

    return TriedShown(
        at=entry.at,
        water=seen.water.typed,
        off=typed(seen.off),
        added=typed(seen.added),
        hard_at=typed(seen.hard_at),
        soft_at=typed(seen.soft_at),
        too_wet=seen.too_wet,
        text=entry.body.text,
    )
