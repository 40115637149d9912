"""A recipe as typed: which food each line is, and what its amount weighs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from saltfare.actions.context import Context
from saltfare.actions.own_foods import own_foods
from saltfare.core import foods
from saltfare.core.errors import NotFound, Problem, Refused
from saltfare.core.fields import Measured
from saltfare.core.library import Library
from saltfare.core.measures import mass_from_measure
from saltfare.core.tables import Row
from saltfare.journal import events_dish as kinds
from saltfare.models.composition import Food
from saltfare.models.cooking import CookingChange, Ingredient, Retention
from saltfare.models.declared import UNKNOWN, Declared
from saltfare.plans.dish_plan_parts import DishLine

RAW = "raw"
_YIELDS = "yields:"


@dataclass(frozen=True, slots=True)
class FoodKnown:
    """What is known of a food by its id. usual: its row of the pantry, where it is a usual ingredient."""

    row: Row
    declared: Declared
    usual: Row | None
    measures: tuple[foods.Measure, ...]


def food_known(context: Context, food_id: str, *, field: str = "food") -> FoodKnown:
    """A usual ingredient, a food of the table or an own food, by its id. Raises Refused (food_unknown)."""
    mine = own_foods(context).get(food_id)
    if mine is not None:
        return FoodKnown(mine.row, mine.declared, None, mine.measures)
    try:
        usual = context.library.row("pantry", food_id)
    except NotFound:
        usual = None
    try:
        number = usual.text("food") if usual is not None else food_id
        row = foods.row(context.library, number)
    except NotFound:
        raise Refused(Problem("food_unknown", field, food_id[:60])) from None
    declared = Declared.from_row(usual) if usual is not None else UNKNOWN
    return FoodKnown(row, declared, usual, foods.measures(number))


def amount_of(context: Context, text: str, food: str | None, *, field: str) -> Measured:
    """An amount as typed, by mass, volume or the food's own measure, with the mass it is. Raises Refused."""
    measures: Sequence[foods.Measure] = food_known(context, food).measures if food else ()
    settings = context.settings
    try:
        mass_kg = mass_from_measure(
            text, measures=measures, decimal=settings.decimal, system=settings.measures
        )
    except Refused as refused:
        raise Refused(*(replace(problem, field=field) for problem in refused.problems)) from None
    return Measured(typed=text, value=mass_kg)


def line_of(context: Context, line: kinds.RecipeLine) -> DishLine:
    """A line as a plan takes it: its food, what cooking keeps, how it lies on the tray."""
    known = food_known(context, line.food) if line.food else None
    usual = known.usual if known else None
    retention, change = _cooking(context.library, line.cooking, usual)
    return DishLine(
        ingredient=Ingredient(
            name=line.name,
            food=Food.from_row(known.row) if known else None,
            mass_kg=line.mass.value,
            edible_frac=line.edible.value if line.edible else 1.0,
            retention=retention,
            change=change,
        ),
        pantry=usual.text("id") if usual is not None else None,
        kind=line.kind or None,
        size_m=line.size.value if line.size else None,
        declared=known.declared if known else UNKNOWN,
    )


def _cooking(library: Library, said: str, usual: Row | None) -> tuple[Retention | None, CookingChange | None]:
    """What is kept, and the change of mass of what is cooked by itself. Raises Refused."""
    if said == RAW:
        return None, None
    own = usual.text("retention") if usual is not None else ""
    change = None
    try:
        if said.startswith(_YIELDS):
            change = CookingChange.from_row(library.row("yields", said.removeprefix(_YIELDS)))
        elif said:
            own = said
        return (Retention.from_row(library.row("retention", own)) if own else None), change
    except NotFound:
        raise Refused(Problem("cooking_unknown", "cooking", said)) from None


def lines_checked(context: Context, choice: kinds.DishChoice) -> None:
    """Refuse lines that name a food, a cooking or a kind that is not there, each at its own field."""
    problems = []
    for part, lines in (("lines", choice.lines), ("beside", choice.beside)):
        for index, line in enumerate(lines):
            try:
                line_of(context, line)
                if line.kind:
                    context.library.row("tray_foods", line.kind)
            except Refused as refused:
                problems += [replace(p, field=f"{part}.{index}.{p.field}") for p in refused.problems]
            except NotFound:
                problems.append(Problem("not_one_of", f"{part}.{index}.kind", line.kind))
    for field, table, row_id in (
        ("trays.kind", "tray_kinds", choice.trays.kind),
        ("camp.cover", "pouch_covers", choice.camp.cover),
    ):
        try:
            context.library.row(table, row_id)
        except NotFound:
            problems.append(Problem("not_one_of", field, row_id))
    if problems:
        raise Refused(*problems)
