"""A person's own foods as recipes and the search use them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from saltfare.actions.context import Context
from saltfare.core.foods import TABLE, Measure
from saltfare.core.tables import Row
from saltfare.models.declared import UNKNOWN, Declared


@dataclass(frozen=True, slots=True)
class OwnFood:
    """A food read off its label: its row in the columns of the food table, what is declared of it, its
    own measures."""

    row: Row
    declared: Declared = UNKNOWN
    measures: tuple[Measure, ...] = ()


def own_foods(context: Context) -> Mapping[str, OwnFood]:
    """Every own food by its id."""
    return {food_id: OwnFood(row) for food_id, row in context.library.own.get(TABLE, {}).items()}
