"""The dishes' part of the Bench: what is on the trays now, and what batches ask for."""

from __future__ import annotations

from datetime import datetime

from saltfare.actions.context import Context
from saltfare.actions.dish_due import dish_due, plan_or_none
from saltfare.actions.dish_view import OnTrays, on_trays
from saltfare.core.fields import Frozen
from saltfare.core.figure import Note
from saltfare.journal.dish import DishStage, dishes


class DishDueShown(Frozen):
    """One thing to do: which step, of which batch, by which action, when and until when; `late` once that
    has passed. params: of its words. notes: what is to be known before."""

    step: str
    act: str
    code: str
    dish: str
    version: int
    at: datetime
    until: datetime | None
    late: bool
    params: dict[str, str | float | int]
    notes: tuple[Note, ...] = ()


def trays_now(context: Context) -> tuple[OnTrays, ...]:
    """What is on the trays now, the mass to stop at, and what is still to leave, of every batch on trays."""
    found = []
    for state in dishes(context.journal):
        if state.state is DishStage.ON_TRAYS and not state.ended:
            shown = on_trays(state, plan_or_none(context, state))
            if shown is not None:
                found.append(shown)
    return tuple(found)


def dishes_due(context: Context) -> tuple[DishDueShown, ...]:
    """What batches ask for, in order of its time; the weighing of trays stands with the trays themselves."""
    found = [
        DishDueShown(
            step=one.step,
            act=one.act,
            code=state.code,
            dish=state.name,
            version=state.version,
            at=one.at,
            until=one.until,
            late=(one.until or one.at) < context.now,
            params=one.params,
            notes=one.notes,
        )
        for state in dishes(context.journal)
        for one in dish_due(context, state)
        if one.act != "weigh_trays"
    ]
    return tuple(sorted(found, key=lambda one: one.at))
