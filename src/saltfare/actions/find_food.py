"""Finding a food by what people call it: usual ingredients first, then own foods, then the food table."""

from __future__ import annotations

from functools import lru_cache

from pydantic import Field

from saltfare.actions.context import Context
from saltfare.actions.dish_recipe import food_known
from saltfare.actions.own_foods import own_foods
from saltfare.actions.shapes import Output, Query
from saltfare.core import foods
from saltfare.core.fields import Frozen
from saltfare.core.foods import Named
from saltfare.core.library import Library
from saltfare.models.food_search import FoodIndex, Usual, build_index, search


class FoodGiven(Query):
    """What it is called, mistyped or not, the last word perhaps unfinished."""

    name: str = Field(min_length=1, max_length=80)
    most: int = Field(default=8, ge=1, le=40)


class FoodFound(Frozen):
    """A food. food: what a recipe names it by. known_as: usual, own or table. measures: its own measures.

    edible_frac: share of it as bought that is eaten, where the table says. water_frac: None where missing.
    """

    food: str
    name: str
    known_as: str
    group: str
    ref: str
    measures: tuple[str, ...]
    edible_frac: float | None
    water_frac: float | None


class FoodsFound(Output):
    """The foods that answer best, best first."""

    foods: tuple[FoodFound, ...]


def find_food(context: Context, given: FoodGiven) -> FoodsFound:
    """Find a food by what it is called; usual ingredients stand ahead."""
    own = own_foods(context)
    named = tuple(
        (food_id, one.row.text("name"), one.row.text("group")) for food_id, one in own.items() if one.listed
    )
    index = _index(_Rows(context.library.version, context.library), named)
    hits = search(index=index, query=given.name, limit=given.most)
    groups = foods.groups()
    out = []
    for hit in hits:
        food_id = hit.usual_id or hit.food_id
        known = food_known(context, food_id)
        refuse = known.row.number_or_none("refuse")
        out.append(
            FoodFound(
                food=food_id,
                name=hit.name,
                known_as="usual" if hit.usual_id else "own" if food_id in own else "table",
                group=groups.get(known.row.text("group"), ""),
                ref=known.row.ref,
                measures=tuple(measure.name for measure in known.measures[:6]),
                edible_frac=None if refuse is None else 1.0 - refuse,
                water_frac=known.row.number_or_none("water"),
            )
        )
    return FoodsFound(foods=tuple(out))


class _Rows:
    """A library by its version, so that the index is built once for it."""

    def __init__(self, version: str, library: Library) -> None:
        self.version, self.library = version, library

    def __hash__(self) -> int:
        return hash(self.version)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Rows) and self.version == other.version


@lru_cache(maxsize=4)
def _index(rows: _Rows, own: tuple[tuple[str, str, str], ...]) -> FoodIndex:
    return build_index(
        foods=foods.names(),
        usual=[Usual.from_row(row) for row in rows.library.rows("pantry")],
        own=[Named(food_id, name, group, False) for food_id, name, group in own],
        means={row.text("id"): row.text("means") for row in rows.library.rows("food_words")},
    )
