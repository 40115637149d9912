"""What a batch asks for next: cooled in time, weighed on its trays, shaken in its jar, packed, tried."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from saltfare.actions.context import Context
from saltfare.actions.dish_toxin import toxin_note
from saltfare.actions.dish_view import plan_of
from saltfare.core.errors import NotConverged, OutOfRange, Refused
from saltfare.core.figure import Note
from saltfare.journal.dish import DishStage, DishState
from saltfare.plans.dish_plan_notes import WEIGH_EVERY
from saltfare.plans.dish_plan_parts import DishPlan
from saltfare.plans.dish_plan_refit import RULES

_COMING = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class DishDue:
    """Something to do with a batch. at: when; until: at the latest. params: of its words. notes: what is
    to be known before."""

    step: str
    act: str
    at: datetime
    until: datetime | None = None
    params: dict[str, str | float | int] = field(default_factory=dict)
    notes: tuple[Note, ...] = ()


def dish_due(context: Context, state: DishState) -> tuple[DishDue, ...]:
    """What is late, due or coming within a week, in order of its time."""
    if state.ended:
        return ()
    found = [one for one in _due(context, state) if one.at <= context.now + _COMING]
    return tuple(sorted(found, key=lambda one: one.at))


def _due(context: Context, state: DishState) -> Iterator[DishDue]:
    match state.state:
        case DishStage.PLANNED:
            yield DishDue("cook_dish", "cook_dish", state.choice.start)
        case DishStage.COOKED:
            first = context.library.row("cooling", "food_code_a").number("most_h")
            whole = context.library.row("cooling", "food_code_b").number("most_h")
            at = state.cooked[-1].at
            yield DishDue(
                "cool_dish",
                "cool_dish",
                at,
                at + timedelta(seconds=first),
                {"first_time_s": first, "whole_time_s": whole},
                toxin_note(context, state.choice.lines),
            )
        case DishStage.COOLING:
            yield DishDue("tray_dish", "tray_dish", state.cooled[-1].at)
        case DishStage.ON_TRAYS:
            yield from _on_trays(context, state)
        case DishStage.CONDITIONING:
            yield from _in_jar(context, state)
        case DishStage.PACKED:
            if not state.tried and not state.planned.taught:
                yield DishDue("test_pouch", "try_pouch", state.packed[-1].at, params=_pack(context, state))


def _on_trays(context: Context, state: DishState) -> Iterator[DishDue]:
    plan = plan_or_none(context, state)
    last = state.weights[-1].at if state.weights else state.trays_since
    if last is None:
        return
    if plan is not None and plan.end_point == "dry":
        yield DishDue("condition", "condition_dish", last)
        return
    low = plan.dry.low if plan else None
    if plan is not None and low is not None and context.now >= low:
        params: dict[str, str | float | int] = {"mass_kg": plan.end_kg.middle}
        yield DishDue("look_if_dry", "weigh_trays", max(low, last), plan.dry.high, params)
    else:
        yield DishDue("weigh_trays", "weigh_trays", last + WEIGH_EVERY)


def _in_jar(context: Context, state: DishState) -> Iterator[DishDue]:
    every = timedelta(seconds=context.library.row(RULES, "shaken").number("time_h"))
    whole = timedelta(seconds=context.library.row(RULES, "conditioned").number("time_h"))
    begun = [e.at for e in state.conditioned if e.body.step == "in_jar"][-1]
    if context.now >= begun + whole or begun + whole - context.now < every:
        yield DishDue("fill_packs", "pack_dish", begun + whole, params=_pack(context, state))
    if context.now < begun + whole:
        yield DishDue("shake_jar", "condition_dish", state.conditioned[-1].at + every)
    if not state.tried and not state.planned.taught:
        yield DishDue("test_pouch", "try_pouch", begun + whole, params=_pack(context, state))


def _pack(context: Context, state: DishState) -> dict[str, str | float | int]:
    plan = plan_or_none(context, state)
    return {} if plan is None else {"mass_kg": plan.packs.each.mass_kg}


def plan_or_none(context: Context, state: DishState) -> DishPlan | None:
    """The plan, None where what was recorded does not go together: the batch's own page says why."""
    try:
        return plan_of(context, state)
    except (Refused, OutOfRange, NotConverged):
        return None
