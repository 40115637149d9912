"""Planning a dish, and starting a batch of it: its recipe kept as typed, under a code."""

from __future__ import annotations

from datetime import datetime

from pydantic import AwareDatetime, Field

from saltfare.actions.codes_given import codes_before, new_codes
from saltfare.actions.context import Context
from saltfare.actions.dish_report import report
from saltfare.actions.dish_report_shapes import DishReport
from saltfare.actions.dish_request import Course, planned, renamed, request_of
from saltfare.actions.dish_shapes import DishFields, OneDish, choice_of
from saltfare.actions.dish_stages import found, open_to
from saltfare.actions.dish_view import course_of, taught_of
from saltfare.actions.shapes import Command, Done, Query, done
from saltfare.core.errors import Refused
from saltfare.core.fields import Called, implausible
from saltfare.journal import events_dish as kinds
from saltfare.models import dish as dishes
from saltfare.plans.dish_plan_parts import DishPlan


class PlanDishGiven(DishFields, Query):
    """A dish to plan. code: of the batch it is a change of, whose weights and test pouches count."""

    code: str | None = Field(default=None, max_length=40)
    reasons: dict[str, str] = Field(default_factory=dict)


class StartDishGiven(DishFields, Command):
    """A batch of a dish to start, under a name."""

    name: Called


class ChangeGiven(DishFields, OneDish):
    """Recipe, trays, packs and camp of a batch as they are meant from now on."""


class AgainGiven(OneDish):
    """The batch a new one is to be like. name: as the old one where it is left out."""

    name: Called | None = None
    start: AwareDatetime | None = None


class DishStarted(Done):
    """The batch started."""

    code: str


def plan_dish(context: Context, given: PlanDishGiven) -> DishReport:
    """Work out a dish: what is in it, the mass to stop at, when, and the pouch at camp. Records nothing."""
    choice = choice_of(context, given, of=found(context, given.code).code if given.code else "")
    unusual = tuple(problem.field for problem in implausible(given))
    if given.code:
        state = found(context, given.code)
        course, taught = course_of(state), taught_of(state)
        start = state.trays_since or choice.start
    else:
        course, taught, start = Course(), (), choice.start
    plan = _planned(context, choice, "-", start, taught, course)
    return report(
        context,
        choice,
        plan=plan,
        cooked_kg=course.cooked_kg,
        left_behind_kg=course.left_behind_kg,
        unusual=unusual,
    )


def start_dish(context: Context, given: StartDishGiven) -> DishStarted:
    """Start a batch of a dish: keep its recipe and give it a code."""
    choice = choice_of(context, given)
    if context.forecasts:  # a replay of the past does not work out again what was worked out then
        planned(context, request_of(context, choice, name=given.name, start=choice.start))
    return _started(context, given, kinds.DishPlanned(name=given.name, dish=choice))


def change_recipe(context: Context, given: ChangeGiven) -> Done:
    """Change recipe, trays or packs of a batch under way; what was there before stays readable."""
    state = found(context, given.code)
    open_to(context, given, state, "change_recipe")
    choice = choice_of(context, given, of=state.code)
    if given.start is None:
        choice = choice.model_copy(update={"start": state.choice.start})
    start = state.trays_since or choice.start
    planned(
        context,
        request_of(
            context, choice, name=state.name, start=start, taught=taught_of(state), course=course_of(state)
        ),
    )
    return done(context, given, [(kinds.STREAM + state.code, kinds.RecipeChanged(dish=choice))])


def again_dish(context: Context, given: AgainGiven) -> DishStarted:
    """Start a new batch like an old one, with what its test pouches taught."""
    state = found(context, given.code)
    choice = state.choice.model_copy(update={"start": given.start or context.now})
    body = kinds.DishPlanned(
        name=given.name or state.name, dish=choice, again_of=state.code, taught=taught_of(state)
    )
    return _started(context, given, body)


def _started(context: Context, given: Command, body: kinds.DishPlanned) -> DishStarted:
    code = (codes_before(context, given, kinds.DishPlanned) or new_codes(context, 1))[0]
    did = done(context, given, [(kinds.STREAM + code, body)])
    return DishStarted(**dict(did), code=code)


def _planned(
    context: Context,
    choice: kinds.DishChoice,
    name: str,
    start: datetime,
    taught: tuple[kinds.PouchSeen, ...],
    course: Course,
) -> DishPlan | None:
    """The plan; None where the solids are not known, and the composition alone can be told."""
    request = request_of(context, choice, name=name, start=start, taught=taught, course=course)
    try:
        return planned(context, request)
    except Refused as refused:
        if all(problem.code == "solids_unknown" for problem in refused.problems):
            return None
        raise


def cooked_checked(
    context: Context, state_choice: kinds.DishChoice, *, cooked_kg: float, left_behind_kg: float
) -> None:
    """Refuse a cooked mass that cannot be: above what went in, or below its solids."""
    request = request_of(context, state_choice, name="-", start=state_choice.start)
    try:
        dishes.dish(
            ingredients=[line.ingredient for line in request.lines],
            cooked_mass_kg=cooked_kg,
            left_behind_kg=left_behind_kg,
            target_water_frac=request.target_water_frac,
            drying=None,
        )
    except Refused as refused:
        raise Refused(*renamed(refused.problems)) from None
