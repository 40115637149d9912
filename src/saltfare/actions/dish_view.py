"""A batch of a dish as it stands: its plan with everything recorded so far."""

from __future__ import annotations

from datetime import datetime, timedelta

from saltfare.actions.context import Context
from saltfare.actions.dish_recipe import Course, planned, request_of
from saltfare.core.errors import Refused
from saltfare.journal.dish import DishStage, DishState
from saltfare.journal.events_dish import PouchSeen
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
        # a pack may weigh a little more than all there should be, since the solids are not known better
        if pack_kg is None or all(p.code != "packs_exceed_dish" for p in refused.problems):
            raise
    return plan_of(context, state)


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
    packed = state.state is DishStage.PACKED
    count = sum(one.packs for entry in state.packed for one in entry.body.portions)
    return Course(
        cooked_kg=state.cooked_kg,
        left_behind_kg=left.value if left else 0.0,
        laid_kg=state.laid_kg,
        trays=state.trayed[-1].body.trays if state.trayed else None,
        spoonful=Spoonful(wet_kg=spoon.wet.value, dry_kg=spoon.dry.value) if spoon else None,
        weights=tuple(weights),
        brittle=brittle[-1] if brittle else None,
        step_kg=min(steps) if steps else None,
        packs=1 if pack_kg is not None else (count if packed else None),
        pack_kg=pack_kg,
        equal=packed,
    )
