"""Rice, grain and pulses that cool slowly: a toxin that boiling water at camp does not undo."""

from __future__ import annotations

from collections.abc import Sequence

from saltfare.actions.context import Context
from saltfare.actions.dish_recipe import food_known
from saltfare.actions.judged_items import of_dish
from saltfare.actions.judged_logs import COOLS, logs_for
from saltfare.core.errors import NotFound, Refused
from saltfare.core.figure import Note
from saltfare.journal.dish import DishState, dish
from saltfare.journal.events_dish import RecipeLine
from saltfare.journal.lot import LotState
from saltfare.journal.lot import lot as lot_of
from saltfare.plans.dish_plan_refit import RULES

# Breakfast cereals, pulses, grain and pasta in the food table, and as a line is said to lie on the tray.
_GROUPS = frozenset({"08", "16", "20"})
_DEEPEST = 4  # packs within packs
_KINDS = frozenset({"grain", "barley", "couscous", "pasta", "lentils", "beans"})


def toxin_note(context: Context, lines: Sequence[RecipeLine]) -> tuple[Note, ...]:
    """What is to be known of the cooling of a dish with rice, grain or pulses in it; nothing of others."""
    names = [line.name for line in lines if _may_hold(context, line)]
    if not names:
        return ()
    row = context.library.row(RULES, "emetic_toxin")
    params: dict[str, str | float | int] = {
        "ingredients": ", ".join(dict.fromkeys(names)),
        "time_s": row.number("time_h"),
        "temp_c": row.number("temp_c"),
    }
    return (Note("toxin_outlasts_boiling", params),)


def batch_not_logged(context: Context, state: DishState) -> bool:
    """Whether a batch holds such a food and nobody logged how it cooled."""
    return bool(toxin_note(context, state.choice.lines)) and not logs_for(of_dish(context, state), COOLS)


def cooling_not_logged(context: Context, lot: LotState, deep: int = 0) -> bool:
    """The same of a pack of a lot: its own dish, or one that was put into it."""
    if lot.made.dish is not None and batch_not_logged(context, dish(context.journal, lot.made.dish)):
        return True
    return deep < _DEEPEST and any(_part_not_logged(context, part.code, deep + 1) for part in lot.made.parts)


def _part_not_logged(context: Context, code: str, deep: int) -> bool:
    try:
        return cooling_not_logged(context, lot_of(context.journal, code), deep)
    except NotFound:
        pass
    try:
        return batch_not_logged(context, dish(context.journal, code))
    except NotFound:
        return False  # a piece, whose own cautions stand beside it


def _may_hold(context: Context, line: RecipeLine) -> bool:
    if line.kind in _KINDS:
        return True
    if line.food is None:
        return False
    try:
        return food_known(context, line.food).row.text("group") in _GROUPS
    except (Refused, NotFound):
        return False
