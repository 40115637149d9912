"""What is typed of foods, pouches and the air where packs are kept, by every action about them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

import numpy as np
from pydantic import Field

from saltfare.actions.context import Context
from saltfare.actions.pack_food import FOODS, Food, food_as_said, foods_of
from saltfare.actions.pack_place import RULES
from saltfare.core.errors import NotFound, Problem, Refused
from saltfare.core.fields import Frozen, MayBeCalled, Measured, Quantity
from saltfare.journal.codes import parse_code
from saltfare.journal.lot import LotState
from saltfare.journal.lot import lot as lot_of
from saltfare.models.pouch_place import Place, place_seasonal

PartMass = Annotated[Measured, Quantity("pack_part")]
Water = Annotated[Measured, Quantity("water_of_dry_food")]
Fat = Annotated[Measured, Quantity("fat_of_dry_food")]
Salt = Annotated[Measured, Quantity("salt_of_food")]
Temperature = Annotated[Measured, Quantity("stored_temperature")]
Swing = Annotated[Measured, Quantity("stored_swing")]
Humidity = Annotated[Measured, Quantity("stored_humidity")]


class PartGiven(Frozen):
    """A food in the pack: a lot by its code, or a food by its class, with its water.

    poured: mass of a full litre of it. size: thickness of its pieces.
    """

    code: str | None = Field(default=None, max_length=40)
    name: Annotated[MayBeCalled, Field(max_length=80)] = ""
    food: str | None = Field(default=None, max_length=40)
    isotherm: str | None = Field(default=None, max_length=60)
    mass: PartMass
    water: Water | None = None
    fat: Fat | None = None
    salt: Salt | None = None
    poured: Annotated[Measured, Quantity("poured_density")] | None = None
    size: Annotated[Measured, Quantity("piece_size")] | None = None


def part_foods(context: Context, given: PartGiven, field: str) -> tuple[Food, ...]:
    """What a part is made of, in the mass given. Raises Refused, NotFound."""
    if given.code:
        state = lot_of(context.journal, parse_code(given.code))
        try:
            found = foods_of(context, state).foods
        except Refused:
            raise Refused(Problem("food_not_told", f"{field}.code", state.code)) from None
        whole = sum(food.mass_kg for food in found)
        return tuple(food.scaled(given.mass.value / whole) for food in found)
    if given.food is None or given.water is None:
        raise Refused(Problem("missing", f"{field}.{'food' if given.food is None else 'water'}"))
    return (
        food_as_said(
            context,
            name=given.name or _label(context, given.food),
            food=given.food,
            isotherm=given.isotherm,
            mass_kg=given.mass.value,
            water_frac=given.water.value,
            fat_frac=given.fat.value if given.fat else None,
            salt_frac=given.salt.value if given.salt else 0.0,
        ),
    )


def _label(context: Context, food: str) -> str:
    """What a kind of food is called; the kind itself where the library has no such one."""
    try:
        name = context.library.row(FOODS, food).text("name")
    except NotFound:
        return food
    return name[:1].upper() + name[1:]


def lot_named(context: Context, code: str) -> LotState:
    """The lot of a typed code. Raises Refused for what is no code, NotFound."""
    return lot_of(context.journal, parse_code(code))


def typed_place(
    context: Context,
    *,
    temperature: Measured | None,
    swing: Measured | None,
    humidity: Measured | None,
    time_s: float,
) -> tuple[Place, tuple[str, ...]]:
    """Air as typed over a time, from its spring mean on, and what was taken for what was not typed."""
    none_said = context.library.row(RULES, "place_not_told")
    step_s = context.library.row(RULES, "step").number("time")
    assumed = [
        name for name, v in (("place_temperature", temperature), ("place_humidity", humidity)) if not v
    ]
    place = place_seasonal(
        temp_c=temperature.value if temperature else none_said.number("temp"),
        temp_swing_c=swing.value if swing else 0.0,
        rh_frac=humidity.value if humidity else none_said.number("humidity"),
        rh_swing_frac=0.0,
        start_s=0.0,
        time_s=time_s,
        step_s=min(step_s, time_s),
    )
    return place, tuple(assumed)


def mean_of(values: Sequence[float], place: Place) -> float:
    """A mean over a place's steps."""
    return float(np.average(values, weights=place.spans_s))
