"""A trip's items, menus and sheets as the actions give them."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from pydantic import Field

from saltfare.actions.shapes import Done, Output
from saltfare.actions.trip_shapes import ForTrip, ItemId, OneTrip
from saltfare.core.fields import Frozen, Measured, Quantity
from saltfare.core.figure import Answer, Figure, Note
from saltfare.journal.events_trip import BesideHeld, Disliked, EatsNo, HandlingName, RoleName, SittingName
from saltfare.plans.menu_shapes import Preset

Work = Literal["not_begun", "working", "done", "stopped", "failed"]
Packs = dict[ItemId, Annotated[int, Field(ge=0, le=500)]]


class ItemShown(Frozen):
    """One item that could be taken. origin: lot, dish, piece or food (a plain food as sold). key: its code,
    or the row of the pantry.

    answer: of its criteria for carrying on this trip. enters: whether it may enter the menu as it stands;
    why: what keeps it off ("no_handling", "not_on_trip", "does_not_meet", "cannot_tell", "not_ready",
    "figures", "no_meat" beside it, all of it "beside_dish"), "" where nothing does. beside: own meat that
    goes with each pack. handling: the one in force, chosen or by its answer; chosen: by the
    person. last_day: the last day, from 0, its exposure allows; None for no limit. last_on: that day's date.
    planning_date: of the pack. stock: packs free for this trip; None for as many as wanted. not_for: person
    -> why they do not get it. lacking: figures nobody knows. ready_on: a batch or piece that is not packed
    yet, the day it is likely to be.
    """

    item: str
    key: str
    origin: Literal["lot", "dish", "piece", "food"]
    name: str
    role: RoleName
    sittings: tuple[SittingName, ...]
    servings: int
    stock: int | None
    pack_g: int
    tare_g: int
    pack_ml: int
    kcal: int
    protein_g: int
    sodium_mg: int
    water_ml: int
    minutes: int | None
    minutes_low: int | None
    minutes_high: int | None
    fuel_mg: int
    pot_ml: int
    hot: bool
    cost_minor: int
    handling: HandlingName | None
    chosen: bool
    decided: bool
    why_decided: str
    cold_until: int | None
    answer: Answer
    enters: bool
    why: str
    uncooked_cured: bool
    last_day: int | None
    last_on: date | None
    planning_date: date | None
    ready_on: date | None
    allergens: tuple[str, ...]
    allergens_unsure: tuple[str, ...]
    not_for: dict[str, str]
    lacking: tuple[str, ...]
    settles: tuple[Note, ...]
    notes: tuple[Note, ...]
    cautions: tuple[Note, ...]
    beside: tuple[BesideHeld, ...] = ()


class ItemsShown(Output):
    """Everything that could be taken: what may enter first, each group by name."""

    code: str
    version: int
    items: tuple[ItemShown, ...]
    order: tuple[str, ...]


class PlanMenuGiven(OneTrip):
    """Begin, or join, the planning of a trip as it now stands. stop: end it and keep the best so far.
    wait_s: how long to wait for the end before answering."""

    preset: Preset = Preset.LIGHTEST
    stop: bool = False
    wait_s: int = Field(default=0, ge=0, le=600)


class MenuGiven(OneTrip):
    """The menu as it stands: the committed one where no preset is named, else the one planned for the
    preset."""

    preset: Preset | None = None


class GoalShown(Frozen):
    """A goal as reached and the best that could be, in its own unit (kcal, mg, points, kcal by age,
    minor)."""

    goal: str
    reached: int
    bound: float
    gap: float


class ShareShown(Frozen):
    """Servings for one person."""

    person: str
    servings: int


class DishShown(Frozen):
    """An item at a sitting. packs: opened for it, 0 where an open pack is eaten on. water_ml, fuel_mg: for
    all of it. minutes: to stand or cook, between the soonest and the latest where those are
    known. held: (person) whose servings are held. each_g, each_kcal: of a serving."""

    item: str
    key: str
    origin: str
    name: str
    role: RoleName
    shares: tuple[ShareShown, ...]
    servings: int
    packs: int
    each_g: int
    each_kcal: int
    water_ml: int
    minutes: int | None
    minutes_low: int | None
    minutes_high: int | None
    fuel_mg: int
    handling: HandlingName
    decided: bool
    held: tuple[str, ...]
    allergens: tuple[str, ...]


class SittingShown(Frozen):
    """A sitting of a day with what is eaten; missing: who has no main."""

    sitting: SittingName
    stove: bool
    main: bool
    dishes: tuple[DishShown, ...]
    missing: tuple[str, ...]


class PersonDayShown(Frozen):
    """A person's day: what the menu brings beside the ration. short_kcal: under the least of any day."""

    person: str
    kcal: int
    ration_kcal: int
    need_kcal: int
    short_kcal: int
    protein_g: int
    sodium_mg: int


class MenuDayShown(Frozen):
    """A day of the menu. pack_g: food and fuel carried when it begins, with the bin; bin_g: empty wrappings
    at its end."""

    day: int
    on: date
    carry: int
    spare: bool
    sittings: tuple[SittingShown, ...]
    people: tuple[PersonDayShown, ...]
    pack_g: int
    eaten_g: int
    bin_g: int
    water_ml: int
    fuel_mg: int


class PersonMenuShown(Frozen):
    """A person over the trip, worst off first. sodium: how a day's mean stands to the field range, and
    whether it is above 7 g on any day."""

    person: str
    kcal: int
    ration_kcal: int
    need_kcal: int
    short_kcal: int
    short_days: tuple[int, ...]
    protein_g: int
    protein_wanted_g: int
    protein_short_g: int
    sodium_mg: int
    no_main: tuple[tuple[int, SittingName], ...]
    grams: int


class MeatPacks(Frozen):
    """Packs of own meat that go with those of a dish."""

    code: str
    name: str
    packs: int


class PackShown(Frozen):
    """Packs of an item that go into one supply. have: free on the shelf; missing: to be made or bought.
    beside: packs of own meat that go with them."""

    item: str
    key: str
    origin: str
    name: str
    carry: int
    packs: int
    have: int | None
    missing: int
    grams: int
    millilitres: int
    cost_minor: int
    handling: HandlingName
    decided: bool
    beside: tuple[MeatPacks, ...] = ()


class BrokenShown(Frozen):
    """A rule the menu breaks: its words key, where, what is there and what is allowed."""

    code: str
    where: str
    found: int
    allowed: int


class MenuShown(Output):
    """A menu. work: how its planning stands; share: done of it. key: names this very menu for `commit_menu`.

    committed: it is held on the shelf. changed: the trip or the shelf is no longer what it was planned for.
    quick: a first answer, before any search. stopped: ended before its end, another run may find another.
    short: nobody is short where it is empty; people: worst off first.
    """

    code: str
    version: int
    preset: Preset
    key: str
    work: Work
    share: float
    committed: bool
    changed: bool
    quick: bool
    stopped: bool
    anything: bool
    goals: tuple[GoalShown, ...]
    short_kcal: int
    short: tuple[PersonMenuShown, ...]
    people: tuple[PersonMenuShown, ...]
    days: tuple[MenuDayShown, ...]
    packs: tuple[PackShown, ...]
    broken: tuple[BrokenShown, ...]
    food_g: int
    fuel_mg: int
    volume_ml: int
    cost_minor: int
    grams_person_day: int
    cautions: tuple[Note, ...]


class ExplainGiven(OneTrip):
    """Why somebody is short. wait_s: how long to wait for the end before answering."""

    wait_s: int = Field(default=0, ge=0, le=600)


class ExplainedShown(Output):
    """Why somebody is short, and what would mend it. feeds: everyone can be fed as it stands. limits cannot
    be met together, each is needed for it; mends: what alone would feed everyone. proven: no answer behind
    it was cut short."""

    code: str
    work: Work
    feeds: bool
    needs: tuple[Note, ...]
    limits: tuple[Note, ...]
    mends: tuple[Note, ...]
    proven: bool


class WaterFuelGiven(OneTrip):
    """The menu it is asked of: the committed one where no preset is named."""

    preset: Preset | None = None


class DayLoadShown(Frozen):
    """A day's water, fuel and mass. drink, cook, wash, find: for the whole party; find: all of it. fuel:
    burnt, least to most. pack: food, fuel and bin carried when it begins; each: for one person by equal
    shares."""

    day: int
    on: date
    drink: Figure
    cook: Figure
    wash: Figure
    find: Figure
    fuel: Figure
    pack: Figure
    pack_each: Figure
    bin: Figure
    boil_c: Figure


class CarryShown(Frozen):
    """One supply: what is packed for it, and the limits told. over: which of them it passes."""

    carry: int
    from_day: int
    food: Figure
    fuel: Figure
    volume: Figure
    mass_limit: Figure | None
    fuel_limit: Figure | None
    volume_limit: Figure | None
    over: tuple[str, ...]


class WaterFuelShown(Output):
    """Water, fuel and mass day by day. corrected: how fuel and water of earlier trips turned out against the
    plan, and from how many; 1 where there are none."""

    code: str
    days: tuple[DayLoadShown, ...]
    carries: tuple[CarryShown, ...]
    water: Figure
    fuel: Figure
    fuel_factor: float
    water_factor: float
    from_trips: int
    cautions: tuple[Note, ...]


class CommitGiven(ForTrip):
    """The menu as it was shown, by its key; left out, the best there is now. short: it is kept though
    somebody is short."""

    preset: Preset = Preset.LIGHTEST
    key: str | None = Field(default=None, min_length=64, max_length=64)
    short: bool = False


class ReleaseGiven(ForTrip):
    """Why, in the person's words."""

    reason: str = Field(default="", max_length=1000)


class TakeAlongGiven(ForTrip):
    """What leaves the shelf for the trip: packs by item. Left out, all that the menu holds."""

    packs: Packs | None = None


class TakenAlong(Done):
    """What left, by item, and what was not on the shelf."""

    taken: dict[str, int]
    missing: dict[str, int]


class AfterTripGiven(ForTrip):
    """How it went, in whole packs by item. left: came back whole; thrown_out: neither eaten nor brought
    back. What was taken and is not named counts as eaten. disliked, liked: by item and person."""

    left: Packs = Field(default_factory=dict)
    thrown_out: Packs = Field(default_factory=dict)
    disliked: tuple[Disliked, ...] = Field(default=(), max_length=200)
    liked: tuple[Disliked, ...] = Field(default=(), max_length=200)
    fuel: Annotated[Measured, Quantity("carry_fuel")] | None = None
    water: Annotated[Measured, Quantity("trip_water_used")] | None = None
    text: str = Field(default="", max_length=4000)


class MissingLine(Frozen):
    """Something to buy, to make or to finish before the departure. by: the last day it may be started or
    bought; None where nothing tells. packs: how many more."""

    item: str
    key: str
    name: str
    how: Literal["buy", "make", "finish"]
    packs: int
    grams: int
    by: date | None
    ready_on: date | None


class MakeShown(Frozen):
    """A dish whose packs would bring what is short. recipe: code of the batch it would be made again from;
    packs: how many would bring all of it to those who may eat it; kcal: of a pack."""

    recipe: str
    name: str
    packs: int
    kcal: int
    people: tuple[str, ...]


class MissingShown(Output):
    """What a menu asks for and the shelf lacks. short: what nobody can say a food for: energy by person.
    makes: what could be made for it, most energy in the fewest packs first."""

    code: str
    lines: tuple[MissingLine, ...]
    short: tuple[PersonMenuShown, ...]
    mends: tuple[Note, ...]
    makes: tuple[MakeShown, ...] = ()


class SheetGiven(OneTrip):
    """The menu it is of: the committed one where no preset is named."""

    preset: Preset | None = None


class OwnDecision(Frozen):
    """An item taken on the person's own decision, with what cannot be told."""

    item: str
    name: str
    why: str
    settles: tuple[Note, ...]


class SheetShown(Output):
    """All that a sheet prints. bags: packs by supply. allergens: item -> what is in it, and what may be.
    eats_no: of those who leave something out."""

    code: str
    name: str
    departure: date
    last_day: date
    people: tuple[str, ...]
    eats_no: dict[str, EatsNo]
    menu: MenuShown
    load: WaterFuelShown
    missing: MissingShown
    items: tuple[ItemShown, ...]
    decisions: tuple[OwnDecision, ...]
    plain_foods: tuple[str, ...]
    allergens: dict[str, tuple[tuple[str, ...], tuple[str, ...]]]
    cautions: tuple[Note, ...]
    issued: date
