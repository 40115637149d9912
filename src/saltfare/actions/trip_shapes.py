"""What is told of a trip as an input, and how what is told is shown again."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from pydantic import Field

from saltfare.actions.money import Price
from saltfare.actions.shapes import Command, Output, Query
from saltfare.core.fields import Called, CalledLong, Frozen, Measured, Quantity
from saltfare.core.figure import Figure, Note
from saltfare.journal import events_trip as kinds
from saltfare.journal.trip import TripStand

AirDay = Annotated[Measured, Quantity("trip_air_day")]
AirNight = Annotated[Measured, Quantity("trip_air_night")]
Hours = Annotated[Measured, Quantity("trip_hours")]
Climb = Annotated[Measured, Quantity("trip_climb")]
Code = Annotated[str, Field(max_length=40)]
ItemId = Annotated[str, Field(max_length=80)]


class OneTrip(Query):
    """A trip by its code."""

    code: Code


class ForTrip(Command):
    """A trip by its code."""

    code: Code


class PlanTripGiven(Command):
    """A trip, its civil day of departure, and what is usual where it goes. code: of a trip told before, to
    tell it anew."""

    code: Code | None = None
    name: CalledLong
    departure: date
    day: AirDay
    night: AirNight
    heat: Annotated[Measured, Quantity("heat_index_wbgt")] | None = None
    altitude: Annotated[Measured, Quantity("camp_altitude")] | None = None
    water_temp: Annotated[Measured, Quantity("trip_water_temperature")] | None = None
    text: str = Field(default="", max_length=2000)


class SittingGiven(Frozen):
    """A sitting: whether a stove burns, whether it has a main of its own."""

    name: kinds.SittingName
    stove: bool = True
    main: bool = True


USUAL_SITTINGS = (
    SittingGiven(name="breakfast"),
    SittingGiven(name="move", stove=False, main=False),
    SittingGiven(name="supper"),
)


class DayGiven(Frozen):
    """One day; left out, nothing of it is told. time: on the move; left out, it is reckoned from way and
    climb. A spare day is eaten cold whatever its sittings say."""

    walking: Annotated[Measured, Quantity("trip_walking")] | None = None
    ascent: Climb | None = None
    descent: Climb | None = None
    time: Hours | None = None
    terrain: str = Field(default="dirt_road", max_length=40)
    load_share: Annotated[Measured, Quantity("load_share")] | None = None
    camp: Hours | None = None
    paddling: Hours | None = None
    snow: Hours | None = None
    snow_by: kinds.Snow = "none"
    sittings: tuple[SittingGiven, ...] = Field(default=USUAL_SITTINGS, max_length=3)
    resupply: bool = False
    spare: bool = False
    day: AirDay | None = None
    night: AirNight | None = None
    text: str = Field(default="", max_length=400)


class SetDaysGiven(ForTrip):
    """All days in order, the first on the day of departure."""

    days: tuple[DayGiven, ...] = Field(max_length=60)


class PersonGiven(Frozen):
    """One of the party. likes: item -> -1, 0 or 1."""

    name: Annotated[Called, Field(max_length=60)]
    sex: Literal["female", "male"]
    age: Annotated[Measured, Quantity("person_age")]
    height: Annotated[Measured, Quantity("person_height")]
    mass: Annotated[Measured, Quantity("person_mass")]
    level: kinds.Level = "active"
    eats_no: kinds.EatsNo = kinds.EatsNo()
    vulnerable: bool = False
    ration: Annotated[Measured, Quantity("day_ration")] | None = None
    likes: dict[str, Literal[-1, 0, 1]] = Field(default_factory=dict, max_length=200)


class SetPartyGiven(ForTrip):
    """Everybody who comes."""

    people: tuple[PersonGiven, ...] = Field(max_length=24)


class SetKitchenGiven(ForTrip):
    """Pots, stove and fuel, by their rows."""

    pots: int = Field(ge=0, le=12)
    pot: Annotated[Measured, Quantity("pot_volume")]
    fillings: int = Field(default=1, ge=1, le=4)
    stove: str = Field(max_length=40)
    fuel: str = Field(max_length=40)
    conditions: tuple[str, ...] = Field(default=(), max_length=4)
    snow_share: Annotated[Measured, Quantity("snow_share")] | None = None


class CarryGiven(Frozen):
    """The most that can be carried from one supply; left out, no limit."""

    mass: Annotated[Measured, Quantity("carry_mass")] | None = None
    volume: Annotated[Measured, Quantity("carry_volume")] | None = None
    fuel: Annotated[Measured, Quantity("carry_fuel")] | None = None


class SetLimitsGiven(ForTrip):
    """Limits of each supply in order, and rules in place of the usual ones."""

    carries: tuple[CarryGiven, ...] = Field(default=(), max_length=20)
    ration_share: Annotated[Measured, Quantity("ration_share")] | None = None
    keep_days: int = Field(default=0, ge=0, le=365)
    extras_day: int | None = Field(default=None, ge=0, le=60)
    same_extra_day: int | None = Field(default=None, ge=1, le=20)


class StapleGiven(Frozen):
    """A plain food to take as sold, by its row in the pantry."""

    food: str = Field(max_length=60)
    pack: Annotated[Measured, Quantity("staple_pack")]
    portion: Annotated[Measured, Quantity("staple_portion")]
    tare: Annotated[Measured, Quantity("pack_tare")] | None = None
    volume: Annotated[Measured, Quantity("pack_room")] | None = None
    packs: int | None = Field(default=None, ge=0, le=200)
    price_minor: Price | None = None
    role: kinds.RoleName = "extra"
    sittings: tuple[kinds.SittingName, ...] = Field(default=("move",), min_length=1, max_length=3)
    hot: bool = False
    water: Annotated[Measured, Quantity("serving_water")] | None = None


class SetStaplesGiven(ForTrip):
    """Every plain food that may be taken; takes the place of what was told before."""

    staples: tuple[StapleGiven, ...] = Field(max_length=60)


class SetItemGiven(ForTrip):
    """How an item is treated on this trip. decided: taken though its criteria cannot be told, with the
    reason in `why`. What is left out stays as the item says of itself."""

    item: ItemId
    handling: kinds.HandlingName | None = None
    decided: bool = False
    why: str = Field(default="", max_length=1000)
    cold_until: int | None = Field(default=None, ge=0, le=60)
    role: kinds.RoleName | None = None
    sittings: tuple[kinds.SittingName, ...] | None = Field(default=None, max_length=3)
    servings: int | None = Field(default=None, ge=1, le=60)
    pot: Annotated[Measured, Quantity("pot_volume")] | None = None
    staple: bool | None = None


class HoldGiven(ForTrip):
    """So many servings held for somebody at a sitting; day from 0."""

    item: ItemId
    person: str = Field(max_length=60)
    day: int = Field(ge=0, le=60)
    sitting: kinds.SittingName
    servings: int = Field(default=1, ge=1, le=20)


class BarGiven(ForTrip):
    """An item kept off, everywhere or for one person, day or sitting."""

    item: ItemId
    person: str | None = Field(default=None, max_length=60)
    day: int | None = Field(default=None, ge=0, le=60)
    sitting: kinds.SittingName | None = None


class LetGoGiven(ForTrip):
    """What was held or barred, by the id of its event; none named lets all go."""

    of: tuple[Annotated[str, Field(max_length=40)], ...] = Field(default=(), max_length=200)


class CancelTripGiven(ForTrip):
    """Why, in the person's words."""

    reason: str = Field(default="", max_length=1000)


class TripsGiven(Query):
    """Nothing."""


class TripLine(Frozen):
    """A trip in a list. days: those told, spare ones too. short_kcal: of the menu committed."""

    code: str
    version: int
    name: str
    stand: TripStand
    departure: date
    last_day: date
    days_until: int
    days: int
    people: int
    preset: str | None
    short_kcal: int | None
    packs: int | None
    lacks: tuple[str, ...]


class TripsShown(Output):
    """Every trip, the next first, those over last."""

    trips: tuple[TripLine, ...]


class PinShown(Frozen):
    """Something held or barred. kind: held or barred."""

    event_id: str
    kind: Literal["held", "barred"]
    item: str
    item_name: str
    person: str | None
    day: int | None
    sitting: kinds.SittingName | None
    servings: int | None


class DayShown(Frozen):
    """A day as told, with its date. moving: time on the move, told or reckoned. carry: the supply it eats
    from."""

    day: int
    on: date
    carry: int
    told: kinds.DayTold
    moving: Figure | None
    day_air: Figure
    night_air: Figure


class Choice(Frozen):
    """A row that may be chosen, by its id and what it is called."""

    id: str
    label: str


class TripChoices(Frozen):
    """What may be chosen from."""

    terrains: tuple[Choice, ...]
    stoves: tuple[Choice, ...]
    fuels: tuple[Choice, ...]
    conditions: tuple[Choice, ...]
    diets: tuple[Choice, ...]
    allergens: tuple[Choice, ...]
    staples: tuple[Choice, ...]


class EventShown(Frozen):
    """Something recorded on the trip, newest first, to be taken back by its id."""

    event_id: str
    kind: str
    at: str


class TripShown(Output):
    """A trip as told, and what still lacks before a menu can be planned (`lacks`, keys of words).

    menu: what is committed. log: what was recorded. cautions: said on every page and sheet of it.
    """

    code: str
    version: int
    name: str
    stand: TripStand
    departure: date
    last_day: date
    days_until: int
    planned: kinds.TripPlanned
    days: tuple[DayShown, ...]
    party: tuple[kinds.PersonTold, ...]
    kitchen: kinds.TripKitchen | None
    limits: kinds.TripLimits | None
    staples: tuple[kinds.StapleWanted, ...]
    pins: tuple[PinShown, ...]
    handlings: dict[str, kinds.HandlingChosen]
    committed: kinds.MenuCommitted | None
    committed_id: str | None
    after: kinds.TripAfter | None
    lacks: tuple[str, ...]
    cautions: tuple[Note, ...]
    log: tuple[EventShown, ...]
    choices: TripChoices
