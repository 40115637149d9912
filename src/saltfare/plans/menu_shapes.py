"""What a menu is planned from and what comes out: plain data in whole grams, kilocalories and minor units.

Days and sittings are counted from the departure; civil dates belong to the caller. A plan is only who eats
how many servings of what at which sitting: packs, fuel and mass follow from it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from math import ceil
from typing import Literal, Self

from saltfare.core.errors import Problem
from saltfare.core.figure import Answer
from saltfare.core.tables import Row

Role = Literal["main", "extra"]


class Handling(StrEnum):
    """How an item is treated on the trip. An item without one enters no menu."""

    AS_IT_IS = "as_it_is"
    COOKED_FIRST = "cooked_first"
    KEPT_COLD = "kept_cold"
    NOT_ON_TRIP = "not_on_trip"


class Goal(StrEnum):
    """What is made small, one after the other."""

    SHORT = "short"
    MASS = "mass"
    VARIETY = "variety"
    AGE = "age"
    COST = "cost"


class Preset(StrEnum):
    """Named orders of the goals; nobody short always leads."""

    LIGHTEST = "lightest"
    MOST_VARIED = "most_varied"
    OLDEST_FIRST = "oldest_first"

    @property
    def goals(self) -> tuple[Goal, ...]:
        """The goals in order."""
        return _ORDERS[self]


_ORDERS = {
    Preset.LIGHTEST: (Goal.SHORT, Goal.MASS, Goal.VARIETY, Goal.AGE, Goal.COST),
    Preset.MOST_VARIED: (Goal.SHORT, Goal.VARIETY, Goal.MASS, Goal.AGE, Goal.COST),
    Preset.OLDEST_FIRST: (Goal.SHORT, Goal.AGE, Goal.MASS, Goal.VARIETY, Goal.COST),
}


@dataclass(frozen=True, slots=True)
class Item:
    """A kind of pack: a lot on the shelf, a dish or piece that will be ready, a bought pack, a staple.

    role: a main fills a sitting; an extra is eaten beside mains or on the move.
    sittings: names of the sittings it suits.
    base: what variety is counted by (protein with starch), "" for none.
    servings: in a pack. kcal, protein_g, sodium_mg, water_ml, fuel_mg: of one serving.
    pack_g, tare_g, pack_ml: a sealed pack with its wrapping, the wrapping alone, the room it takes.
    stock: packs to be had; None for as many as wanted.
    hot: needs hot water. pot_ml: room in a pot for a whole pack, 0 where it is soaked in its pouch.
    keeps_open: an opened pack keeps for the following days; otherwise it is eaten where it is opened.
    last_day: last day its exposure on the trail allows. planning_day: last day of its planning date.
    contains: allergens and ingredients a person may exclude.
    uncooked_cured: cured meat never heated. answer: of its criteria for this trip.
    chosen: the person recorded the choice to take it though its answer is `cannot_tell`.
    cold_until_day: with the handling `kept_cold`. age_rank: 0 to be eaten first, up to 10 the freshest.
    carries: the carries it can be in; None for all.
    """

    id: str
    role: Role
    sittings: frozenset[str]
    servings: int
    kcal: int
    protein_g: int
    pack_g: int
    tare_g: int
    pack_ml: int
    handling: Handling | None
    answer: Answer
    base: str = ""
    sodium_mg: int = 0
    water_ml: int = 0
    fuel_mg: int = 0
    pot_ml: int = 0
    cost_minor: int = 0
    stock: int | None = None
    hot: bool = False
    keeps_open: bool = False
    staple: bool = False
    last_day: int | None = None
    planning_day: int | None = None
    contains: frozenset[str] = frozenset()
    uncooked_cured: bool = False
    chosen: bool = False
    cold_until_day: int | None = None
    age_rank: int = 10
    carries: frozenset[int] | None = None


@dataclass(frozen=True, slots=True)
class Person:
    """One of the party: the need computed for each day, what is left out, what is liked.

    typed_kcal: the ration the person typed for a day, in place of the share of the need.
    vulnerable: pregnant, very young, old or immune-weak.
    likes: item id to -1, 0 or 1.
    """

    id: str
    need_kcal: tuple[int, ...]
    protein_g: int
    excludes: frozenset[str] = frozenset()
    vulnerable: bool = False
    likes: Mapping[str, int] = field(default_factory=dict)
    typed_kcal: int | None = None


@dataclass(frozen=True, slots=True)
class Sitting:
    """A meal of a day: its name, whether a stove burns, whether it has a main."""

    name: str
    stove: bool
    main: bool


@dataclass(frozen=True, slots=True)
class Day:
    """A day with its sittings, in the carry it eats from. A spare day is eaten cold and breaks no repeat."""

    sittings: tuple[Sitting, ...]
    carry: int = 0
    spare: bool = False


@dataclass(frozen=True, slots=True)
class Carry:
    """What can be carried between two supplies; None for no limit."""

    mass_g: int | None = None
    volume_ml: int | None = None
    fuel_g: int | None = None


@dataclass(frozen=True, slots=True)
class Kitchen:
    """Shared pots, and how often each can be filled at one sitting."""

    pots: int
    pot_ml: int
    fillings: int


@dataclass(frozen=True, slots=True)
class Rules:
    """Figures the menu keeps; from the table `menu_rules` or typed."""

    ration_share: Fraction
    day_share: Fraction
    share_days: int
    repeat_days: int
    repeat_free: int
    class_per_week: int
    extras_day: int
    same_extra_day: int

    @classmethod
    def from_rows(cls, *, rules: Mapping[str, Row], ration: Row) -> Self:
        """From the rows of `menu_rules` by id and the row `trip_ration` of `trip_nutrition`."""

        def whole(name: str) -> int:
            return int(Fraction(rules[name].printed["value"]))

        return cls(
            Fraction(rules["ration_share"].printed["value"]),
            Fraction(rules["day_share"].printed["value"]),
            int(Fraction(ration.printed["days"])),
            whole("repeat_days"),
            whole("repeat_free"),
            whole("class_per_week"),
            whole("extras_day"),
            whole("same_extra_day"),
        )


@dataclass(frozen=True, slots=True)
class Hold:
    """Something the person holds: so many servings of an item for someone at a sitting."""

    day: int
    sitting: int
    item: str
    person: str
    servings: int = 1


@dataclass(frozen=True, slots=True)
class BarItem:
    """Something the person bars: an item on a day, at a sitting, for someone; None for all."""

    item: str
    day: int | None = None
    sitting: int | None = None
    person: str | None = None


@dataclass(frozen=True, slots=True)
class MenuProblem:
    """All a menu is planned from."""

    people: tuple[Person, ...]
    days: tuple[Day, ...]
    items: tuple[Item, ...]
    carries: tuple[Carry, ...]
    kitchen: Kitchen
    rules: Rules
    holds: tuple[Hold, ...] = ()
    bars: tuple[BarItem, ...] = ()

    def repeat_cap(self) -> int:
        """Times a dish may come on the trip, staples apart."""
        return max(self.rules.repeat_free, ceil(self.walking_days() / self.rules.repeat_days))

    def class_free(self) -> int:
        """Times a base may come without counting as a repeat."""
        return ceil(self.rules.class_per_week * self.walking_days() / 7)

    def walking_days(self) -> int:
        """Days that are not spare."""
        return sum(not day.spare for day in self.days)

    def ration_kcal(self, person: int, day: int) -> int:
        """The ration of a person on a day: typed, or the share of the need on trips of up to a week, else
        the whole need."""
        one = self.people[person]
        if one.typed_kcal is not None:
            return one.typed_kcal
        share = self.rules.ration_share if self.walking_days() <= self.rules.share_days else Fraction(1)
        return ceil(one.need_kcal[day] * share)

    def floor_kcal(self, person: int, day: int) -> int:
        """The least any day may bring; a spare day brings its whole ration."""
        ration = self.ration_kcal(person, day)
        return ration if self.days[day].spare else ceil(ration * self.rules.day_share)


# (day, sitting, item, person) by index, to servings above zero.
Servings = Mapping[tuple[int, int, int, int], int]


@dataclass(frozen=True, slots=True)
class Plan:
    """Who eats how many servings of what, when."""

    servings: Servings


@dataclass(frozen=True, slots=True)
class Totals:
    """What follows from a plan: packs by (carry, item), and grams, millilitres, cost."""

    packs: Mapping[tuple[int, int], int]
    opened: Mapping[tuple[int, int, int], int]
    food_g: int
    fuel_mg: int
    volume_ml: int
    cost_minor: int


@dataclass(frozen=True, slots=True)
class Value:
    """A goal as reached, and the best that could be: integers in the goal's own unit."""

    goal: Goal
    reached: int
    bound: float

    @property
    def gap(self) -> float:
        """How far the answer may be from the best, as a share of the answer."""
        return 0.0 if self.reached <= self.bound else (self.reached - self.bound) / max(1, abs(self.reached))


def problems_of_menu(problem: MenuProblem) -> tuple[Problem, ...]:
    """What makes a problem unusable before any planning: each with a code and the field."""
    out: list[Problem] = []

    def say(code: str, where: str, given: object = "", **params: str | float | int) -> None:
        out.append(Problem(code, where, str(given), params=params))

    if not problem.people:
        say("menu_nobody", "people")
    if not problem.days:
        say("menu_no_days", "days")
    for name, ids in (("people", [p.id for p in problem.people]), ("items", [i.id for i in problem.items])):
        for twice in sorted({i for i in ids if ids.count(i) > 1}):
            say("menu_twice", name, twice)
    for at, one in enumerate(problem.people):
        if len(one.need_kcal) != len(problem.days):
            say("menu_need_days", f"people.{at}.need_kcal", len(one.need_kcal), days=len(problem.days))
        if any(need <= 0 for need in one.need_kcal) or (one.typed_kcal is not None and one.typed_kcal <= 0):
            say("menu_need_not_positive", f"people.{at}", one.id)
    for at, day in enumerate(problem.days):
        if not 0 <= day.carry < len(problem.carries):
            say("menu_no_such_carry", f"days.{at}.carry", day.carry)
        if not day.sittings:
            say("menu_no_sittings", f"days.{at}.sittings", at)
    for at, item in enumerate(problem.items):
        least = min(item.servings, item.pack_g, item.kcal + 1, item.protein_g + 1, item.pack_ml + 1)
        if least < 1 or not 0 <= item.tare_g < item.pack_g or not 0 <= item.age_rank <= 10:
            say("menu_item_figures", f"items.{at}", item.id)
        if item.handling is Handling.KEPT_COLD and item.cold_until_day is None:
            say("menu_cold_until", f"items.{at}.cold_until_day", item.id)
        if item.handling is Handling.COOKED_FIRST and item.pot_ml <= 0:
            say("menu_cooked_in_no_pot", f"items.{at}.pot_ml", item.id)
    out.extend(_pin_problems(problem))
    return tuple(out)


def _pin_problems(problem: MenuProblem) -> Iterable[Problem]:
    items = {i.id for i in problem.items}
    people = {p.id for p in problem.people}
    named: tuple[tuple[str, tuple[Hold | BarItem, ...]], ...] = (
        ("holds", problem.holds),
        ("bars", problem.bars),
    )
    for kind, pins in named:
        for at, pin in enumerate(pins):
            lost = pin.item not in items or (pin.person is not None and pin.person not in people)
            if pin.day is not None:
                lost = lost or not 0 <= pin.day < len(problem.days)
                if not lost and pin.sitting is not None:
                    lost = not 0 <= pin.sitting < len(problem.days[pin.day].sittings)
            if lost:
                yield Problem("menu_pin_leads_nowhere", f"{kind}.{at}", pin.item)
