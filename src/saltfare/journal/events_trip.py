"""What is told of a trip: its days, its party, its kitchen, what is taken and how it went. Stream:
`trip/CODE`.

Items are named by where they come from: `lot/CODE`, `dish/CODE`, `piece/CODE` as their streams are, and
`food/ID` for a plain food bought as sold. Days and sittings count from 0 at the departure; civil dates
follow from the day of departure.
"""

from __future__ import annotations

from datetime import date
from typing import Any, ClassVar, Literal

from pydantic import Field

from saltfare.core.fields import Frozen, Measured
from saltfare.journal.events import Body

STREAM = "trip/"
SittingName = Literal["breakfast", "move", "supper"]
Level = Literal["inactive", "low_active", "active", "very_active"]
HandlingName = Literal["as_it_is", "cooked_first", "kept_cold", "not_on_trip"]
RoleName = Literal["main", "extra"]
Snow = Literal["none", "snowshoes", "skis"]


class TripPlanned(Body, kind="trip_planned"):
    """A trip named, with its civil day of departure and what is usual where it goes.

    day, night: greatest and least air temperature of an ordinary day there. heat: wet-bulb globe temperature
    where it is known. altitude: of the camps. water_temp: of the water found.
    """

    name: str = Field(min_length=1, max_length=120)
    departure: date
    day: Measured
    night: Measured
    heat: Measured | None = None
    altitude: Measured | None = None
    water_temp: Measured | None = None
    text: str = Field(default="", max_length=2000)


class SittingTold(Frozen):
    """A sitting of a day: whether a stove burns, whether it has a main of its own."""

    name: SittingName
    stove: bool
    main: bool


class DayTold(Frozen):
    """One day. Everything is of the day alone; what is None was not told.

    walking: along the way. time: on the move, pauses not counted. terrain: row of the table of grounds.
    load_share: carried and worn, of the body mass. camp, paddling, snow: hours of it. resupply: food is
    picked up in the morning. spare: a day in reserve, eaten cold. day, night: forecast for this one day.
    """

    walking: Measured | None = None
    ascent: Measured | None = None
    descent: Measured | None = None
    time: Measured | None = None
    terrain: str = Field(default="dirt_road", max_length=40)
    load_share: Measured | None = None
    camp: Measured | None = None
    paddling: Measured | None = None
    snow: Measured | None = None
    snow_by: Snow = "none"
    sittings: tuple[SittingTold, ...] = Field(min_length=1, max_length=3)
    resupply: bool = False
    spare: bool = False
    day: Measured | None = None
    night: Measured | None = None
    text: str = Field(default="", max_length=400)


class TripDays(Body, kind="trip_days"):
    """The days in order, the first on the day of departure; they replace what was told before."""

    days: tuple[DayTold, ...] = Field(min_length=1, max_length=60)


class EatsNo(Frozen):
    """What somebody does not eat. allergens: ids or classes of the table of allergens; diets: ids of the
    table of diets; ingredients: words looked for in the names of what is in a pack."""

    allergens: tuple[str, ...] = Field(default=(), max_length=40)
    diets: tuple[str, ...] = Field(default=(), max_length=12)
    ingredients: tuple[str, ...] = Field(default=(), max_length=40)


class PersonTold(Frozen):
    """One of the party. vulnerable: pregnant, very young, old or immune-weak. ration: energy of a day, typed
    in place of what is worked out. likes: item -> -1, 0 or 1."""

    name: str = Field(min_length=1, max_length=60)
    sex: Literal["female", "male"]
    age: Measured
    height: Measured
    mass: Measured
    level: Level
    eats_no: EatsNo = EatsNo()
    vulnerable: bool = False
    ration: Measured | None = None
    likes: dict[str, int] = Field(default_factory=dict, max_length=200)


class TripParty(Body, kind="trip_party"):
    """Who comes; replaces what was told before."""

    people: tuple[PersonTold, ...] = Field(min_length=1, max_length=24)


class TripKitchen(Body, kind="trip_kitchen"):
    """Pots, stove and fuel. stove, fuel, conditions: rows of their tables. snow_share: of the water that has
    to be melted."""

    pots: int = Field(ge=0, le=12)
    pot: Measured
    fillings: int = Field(ge=1, le=4)
    stove: str = Field(max_length=40)
    fuel: str = Field(max_length=40)
    conditions: tuple[str, ...] = Field(default=(), max_length=4)
    snow_share: Measured | None = None


class CarryTold(Frozen):
    """The most that can be carried from one supply: food and fuel, room for packs, fuel. None for no
    limit."""

    mass: Measured | None = None
    volume: Measured | None = None
    fuel: Measured | None = None


class TripLimits(Body, kind="trip_limits"):
    """Limits of each supply in order, and rules in place of the usual ones.

    ration_share: food planned, of the computed need. keep_days: days a planning date must reach beyond the
    end.
    """

    carries: tuple[CarryTold, ...] = Field(default=(), max_length=20)
    ration_share: Measured | None = None
    keep_days: int = Field(default=0, ge=0, le=365)
    extras_day: int | None = Field(default=None, ge=0, le=60)
    same_extra_day: int | None = Field(default=None, ge=1, le=20)


class HandlingChosen(Body, kind="trip_handling"):
    """How one item is treated on the trip; None leaves it undecided.

    decided: the person takes it though its criteria answer cannot_tell; why: in their own words. cold_until:
    the last day, from 0, on which it is still cold. The rest stands in place of what the item says of itself.
    """

    item: str = Field(max_length=80)
    handling: HandlingName | None = None
    decided: bool = False
    why: str = Field(default="", max_length=1000)
    cold_until: int | None = Field(default=None, ge=0, le=60)
    role: RoleName | None = None
    sittings: tuple[SittingName, ...] | None = Field(default=None, max_length=3)
    servings: int | None = Field(default=None, ge=1, le=60)
    pot: Measured | None = None
    staple: bool | None = None


class ItemHeld(Body, kind="trip_held"):
    """So many servings of an item are held for somebody at a sitting."""

    item: str = Field(max_length=80)
    person: str = Field(max_length=60)
    day: int = Field(ge=0, le=60)
    sitting: SittingName
    servings: int = Field(default=1, ge=1, le=20)


class ItemBarred(Body, kind="trip_barred"):
    """An item is kept off: on a day, at a sitting, for somebody; None for all."""

    item: str = Field(max_length=80)
    person: str | None = Field(default=None, max_length=60)
    day: int | None = Field(default=None, ge=0, le=60)
    sitting: SittingName | None = None


class PinLetGo(Body, kind="trip_let_go"):
    """What was held or barred no longer is. of: the ids of those events."""

    of: tuple[str, ...] = Field(min_length=1, max_length=200)


class StapleWanted(Frozen):
    """A plain food to take as sold. food: row of the pantry. pack: net mass of a packet; portion: of a
    serving; packs: how many there are, None for as many as wanted; price_minor: of a packet."""

    food: str = Field(max_length=60)
    pack: Measured
    portion: Measured
    tare: Measured | None = None
    volume: Measured | None = None
    packs: int | None = Field(default=None, ge=0, le=200)
    price_minor: int | None = Field(default=None, ge=0)
    role: RoleName = "extra"
    sittings: tuple[SittingName, ...] = Field(default=("move",), max_length=3)
    hot: bool = False
    water: Measured | None = None


class StaplesWanted(Body, kind="trip_staples"):
    """Plain foods that may be taken; replaces what was told before."""

    staples: tuple[StapleWanted, ...] = Field(max_length=60)


class Served(Frozen):
    """Servings of an item for somebody at a sitting of a day."""

    day: int
    sitting: SittingName
    item: str
    person: str
    servings: int


class BesideHeld(Frozen):
    """Own meat that goes beside each pack of a dish. lot: its code; pack_kg: of a pack of that lot."""

    lot: str = Field(max_length=20)
    name: str = Field(max_length=120)
    each_kg: float = Field(gt=0.0)
    pack_kg: float = Field(gt=0.0)


class ItemTaken(Frozen):
    """An item as it stood when the menu was committed. key, origin: where it comes from. packs: by supply.
    decided: taken on the person's own decision; why: as they said. beside: own meat that goes with it."""

    item: str
    key: str
    origin: Literal["lot", "dish", "piece", "food"]
    name: str
    packs: dict[int, int]
    had: int | None = None
    handling: HandlingName
    answer: Literal["meets", "does_not_meet", "cannot_tell"]
    decided: bool = False
    why: str = ""
    minutes: int | None = None
    minutes_low: int | None = None
    minutes_high: int | None = None
    allergens: tuple[str, ...] = ()
    allergens_unsure: tuple[str, ...] = ()
    beside: tuple[BesideHeld, ...] = ()


class MenuCommitted(Body, kind="menu_committed"):
    """A menu as it left the house: who gets what when, and how many packs of each item are held for it.

    problem: all it was planned from, as plain data, so that it can be shown and checked as it was. goals:
    what each goal reached and the best that could be. end: how the search ended. short: kcal. fuel, water:
    as planned.
    """

    observed: ClassVar[bool] = False

    preset: str = Field(max_length=40)
    served: tuple[Served, ...] = Field(max_length=20_000)
    items: tuple[ItemTaken, ...] = Field(max_length=400)
    goals: dict[str, tuple[int, float]]
    short_kcal: int
    fuel_g: int
    water_ml: int
    end: str = Field(max_length=20)
    model_version: str = Field(max_length=120)
    problem: dict[str, Any]


class MenuReleased(Body, kind="menu_released"):
    """The menu no longer stands; what it held is free."""

    reason: str = Field(default="", max_length=1000)


class BesideTaken(BesideHeld):
    """Packs of own meat that left with the packs of a dish. dish: the code of its lot."""

    dish: str = Field(max_length=20)
    packs: int = Field(ge=1, le=500)


class PacksTaken(Body, kind="trip_taken"):
    """What left the shelf for the trip: packs by lot code. beside: meat that left with a dish, not counted
    among them."""

    packs: dict[str, int] = Field(max_length=400)
    beside: tuple[BesideTaken, ...] = Field(default=(), max_length=400)


class Disliked(Frozen):
    """An item somebody did not like, and what they said."""

    item: str = Field(max_length=80)
    person: str = Field(default="", max_length=60)
    text: str = Field(default="", max_length=400)


class TripAfter(Body, kind="trip_after"):
    """How it went. eaten, left, thrown_out: whole packs by item, as counted when back; opened packs count as
    eaten. fuel, water: used in all. eaten_share: of what was planned, as it felt."""

    eaten: dict[str, int] = Field(default_factory=dict, max_length=400)
    left: dict[str, int] = Field(default_factory=dict, max_length=400)
    thrown_out: dict[str, int] = Field(default_factory=dict, max_length=400)
    disliked: tuple[Disliked, ...] = Field(default=(), max_length=200)
    liked: tuple[Disliked, ...] = Field(default=(), max_length=200)
    fuel: Measured | None = None
    water: Measured | None = None
    text: str = Field(default="", max_length=4000)


class TripCancelled(Body, kind="trip_cancelled"):
    """It does not take place."""

    reason: str = Field(default="", max_length=1000)
