"""What is asked for a batch of a dish: the shapes of the dish actions."""

from __future__ import annotations

from datetime import time
from typing import Annotated

from pydantic import AwareDatetime, Field

from saltfare.actions.context import Context
from saltfare.actions.dish_beside import own_beside
from saltfare.actions.dish_recipe import amount_of, food_known, lines_checked
from saltfare.actions.money import Price
from saltfare.actions.shapes import Command
from saltfare.core.errors import Problem, Refused
from saltfare.core.fields import Frozen, MayBeCalled, Measured, Quantity
from saltfare.journal import events_dish as kinds

Edible = Annotated[Measured, Quantity("edible_share")]
PieceSize = Annotated[Measured, Quantity("cut_size")]
TargetWater = Annotated[Measured, Quantity("target_water")]
PackMass = Annotated[Measured, Quantity("pack_mass")]
DishScale = Annotated[Measured, Quantity("scale_step")]


class LineGiven(Frozen):
    """One line of a recipe.

    food: a usual ingredient, a food of the table or an own food, by id; left out where nothing is known of
    what is in it, and then a name is needed. amount: a mass, or one of the food's own measures. cooking:
    left out as usual for it, `raw`, a row of retention, or a row of yields. kind: how it lies on the tray.
    price: of a kilogram as bought.
    """

    food: str | None = Field(default=None, max_length=64)
    name: MayBeCalled = ""
    amount: str = Field(max_length=64)
    edible: Edible | None = None
    cooking: str = Field(default="", max_length=60)
    kind: str = Field(default="", max_length=40)
    size: PieceSize | None = None
    price: Price | None = None


class BesideGiven(LineGiven):
    """A line of what is carried beside each pack: a food, or meat of one's own. own: code of its lot, or of
    the piece it is while that hangs at its mass."""

    own: str | None = Field(default=None, max_length=40)


class TraysGiven(Frozen):
    """The dryer and its trays. length: along the air. kind: row of `tray_kinds`. power, duty: where known."""

    trays: int = Field(ge=1, le=1000)
    length: Annotated[Measured, Quantity("tray_length")]
    width: Annotated[Measured, Quantity("tray_width")]
    kind: str = Field(default="sheet", max_length=40)
    temperature: Annotated[Measured, Quantity("dryer_temperature")]
    speed: Annotated[Measured, Quantity("tray_air_speed")]
    room_temperature: Annotated[Measured, Quantity("room_temperature")]
    room_humidity: Annotated[Measured, Quantity("room_humidity")]
    inside_humidity: Annotated[Measured, Quantity("dryer_humidity")] | None = None
    power: Annotated[Measured, Quantity("dryer_power")] | None = None
    duty: Annotated[Measured, Quantity("dryer_duty")] | None = None
    turned: bool = True


class CampGiven(Frozen):
    """Where and how a pouch is brought back. cover: row of `pouch_covers`. water: of a cold soak, left out
    for boiling water. cup: the own mug."""

    altitude: Annotated[Measured, Quantity("camp_altitude")]
    air: Annotated[Measured, Quantity("camp_air")]
    wind: Annotated[Measured, Quantity("camp_wind")]
    cover: str = Field(default="bare", max_length=40)
    water: Annotated[Measured, Quantity("cold_water")] | None = None
    pouch_width: Annotated[Measured, Quantity("pouch_width")]
    pouch_height: Annotated[Measured, Quantity("pouch_height")]
    cup: Annotated[Measured, Quantity("mug")] | None = None


class DishFields(Frozen):
    """A dish to plan. start: when the trays go in, now where it is left out. bed: the clock of going to bed.

    beside: carried beside each pack and added at camp, as eaten. servings: the whole batch gives, one a
    pack where it is left out. pack_mass: left out for equal packs. energy_price: of a kWh.
    """

    lines: tuple[LineGiven, ...] = Field(min_length=1, max_length=40)
    beside: tuple[BesideGiven, ...] = Field(default=(), max_length=8)
    servings: int | None = Field(default=None, ge=1, le=500)
    target_water: TargetWater
    trays: TraysGiven
    start: AwareDatetime | None = None
    bed: time | None = None
    packs: int = Field(ge=1, le=500)
    pack_mass: PackMass | None = None
    scale_step: DishScale
    camp: CampGiven
    taste: Annotated[Measured, Quantity("taste")] | None = None
    energy_price: Price | None = None


class OneDish(Command):
    """A command on one batch of a dish, by its code."""

    code: str = Field(max_length=40)


def choice_of(context: Context, given: DishFields, *, of: str = "") -> kinds.DishChoice:
    """A dish as an event keeps it, each amount with the mass it is. of: code of the batch it is a change of.

    Raises Refused at the fields of the lines.
    """
    problems: list[Problem] = []
    recipe, beside = list[kinds.RecipeLine](), list[kinds.BesideLine]()
    for index, line in enumerate(given.lines):
        try:
            recipe.append(_line(context, line, f"lines.{index}"))
        except Refused as refused:
            problems.extend(refused.problems)
    for index, one in enumerate(given.beside):
        try:
            beside.append(_beside(context, one, f"beside.{index}", packs=given.packs, of=of))
        except Refused as refused:
            problems.extend(refused.problems)
    if problems:
        raise Refused(*problems)
    trays = given.trays
    choice = kinds.DishChoice(
        lines=tuple(recipe),
        beside=tuple(beside),
        servings=given.servings or given.packs,
        target_water=given.target_water,
        trays=kinds.TrayChoice(
            trays=trays.trays,
            area=Measured(
                typed=f"{trays.length.typed} x {trays.width.typed}",
                value=trays.length.value * trays.width.value,
            ),
            length=trays.length,
            kind=trays.kind,
            temperature=trays.temperature,
            speed=trays.speed,
            room_temperature=trays.room_temperature,
            room_humidity=trays.room_humidity,
            inside_humidity=trays.inside_humidity,
            power=trays.power,
            duty=trays.duty,
            turned=trays.turned,
        ),
        start=given.start or context.now,
        bed=given.bed,
        packs=given.packs,
        pack_mass=given.pack_mass,
        scale_step=given.scale_step,
        camp=kinds.CampChoice(**{name: getattr(given.camp, name) for name in CampGiven.model_fields}),
        taste=given.taste.value if given.taste else 1.0,
        price_minor_per_kwh=None if given.energy_price is None else float(given.energy_price),
    )
    lines_checked(context, choice)
    return choice


def _beside(context: Context, line: BesideGiven, field: str, *, packs: int, of: str) -> kinds.BesideLine:
    """A food as any line is one; own meat under its own name, for all packs."""
    if line.own is None:
        return kinds.BesideLine(**dict(_line(context, line, field)))
    if line.food is not None:
        raise Refused(Problem("beside_food_or_own", f"{field}.own", line.own[:40]))
    mass = amount_of(context, line.amount, None, field=f"{field}.amount")
    at = f"{field}.own"
    meat = own_beside(context, line.own, packs=packs, each_kg=mass.value, but=of, field=at)
    return kinds.BesideLine(name=meat.name[:120], mass=mass, own=meat.code)


def _line(context: Context, line: LineGiven, field: str) -> kinds.RecipeLine:
    known = food_known(context, line.food, field=f"{field}.food") if line.food else None
    name = line.name.strip()
    if not name and known is None:
        raise Refused(Problem("line_without_food", f"{field}.food"))
    if not name and known is not None:
        name = known.usual.text("label") if known.usual is not None else known.row.text("name")
    return kinds.RecipeLine(
        name=name[:120],
        food=line.food,
        mass=amount_of(context, line.amount, line.food, field=f"{field}.amount"),
        edible=line.edible,
        cooking=line.cooking,
        kind=line.kind,
        size=line.size,
        price_minor=line.price,
    )
