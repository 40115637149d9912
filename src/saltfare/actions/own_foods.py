"""A person's own foods as recipes and the search use them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from saltfare.actions.context import Context
from saltfare.core import foods
from saltfare.core.errors import Refused
from saltfare.core.foods import TABLE, Measure
from saltfare.core.tables import Row
from saltfare.journal.food import FoodState
from saltfare.journal.food import foods as states
from saltfare.models.declared import UNKNOWN, Declared
from saltfare.models.label_food import LabelFood, food_from_label

_SOURCE = "own_label"
SERVING = "serving"


@dataclass(frozen=True, slots=True)
class OwnFood:
    """A food read off its label: its row in the columns of the food table, what is declared of it, its
    own measures. listed: whether a search offers it; recipes that name it keep it."""

    row: Row
    declared: Declared = UNKNOWN
    measures: tuple[Measure, ...] = ()
    listed: bool = True


def own_foods(context: Context) -> Mapping[str, OwnFood]:
    """Every own food by its id."""
    found = {food_id: OwnFood(row) for food_id, row in context.library.own.get(TABLE, {}).items()}
    for state in states(context.journal):
        try:
            found[state.key] = _own(state)
        except Refused:
            continue  # nothing that was kept is refused now but what a later rule would not let in
    return found


def label_of(state: FoodState) -> LabelFood:
    """What the label of an own food gives per kg. Raises Refused."""
    kept = state.kept
    return food_from_label(
        amounts={name: told.value for name, told in kept.amounts.items()},
        basis_kg=kept.basis.value,
        law=kept.law,
        water_frac=kept.water.value if kept.water else None,
    )


def _own(state: FoodState) -> OwnFood:
    kept = state.kept
    row = foods.own_row(
        food_id=state.key,
        name=kept.name,
        group=kept.group,
        per_kg=label_of(state).per_kg,
        source=_SOURCE,
        locator=kept.name,
    )
    declared = Declared(
        None if kept.allergens is None else frozenset(kept.allergens),
        frozenset(kept.may_contain),
        None if kept.holds is None else frozenset(kept.holds),
        frozenset(kept.may_hold),
    )
    by_serving = abs(kept.basis.value - 0.1) > 1e-9
    measures = (Measure(SERVING, kept.basis.value, row.ref),) if by_serving else ()
    return OwnFood(row, declared, measures, not state.dropped)
