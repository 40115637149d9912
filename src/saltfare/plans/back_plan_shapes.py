"""What a plan back from a date is made of: wants, room, days away, courses, tasks. Nothing here computes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from saltfare.core.figure import Note
from saltfare.plans.back_plan_chance import Days
from saltfare.plans.back_plan_mass import Green

Level = Literal["level_low", "level_mid", "level_high"]
Home = Literal["must", "daily", "any"]
Place = Literal["hook", "fridge", "fridge_room", "freezer_room", "trays"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """Something to do, in days from the first. until: the last of several days. home: whether somebody
    must be there on that day, should be there daily, or can do it on a day near it."""

    code: str
    day: int
    until: int | None = None
    home: Home = "any"
    amounts: Mapping[str, float] = field(default_factory=dict)
    cautions: tuple[Note, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """Room taken from one day to another, counted from the first. last None: until it is done with."""

    place: Place
    first: int
    last: int | None
    amount: float
    key: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """One way of making one thing: fixed steps, then what takes as long as it takes, then fixed steps.

    lead_days: from the first day to the beginning of what is uncertain. days: whole days that takes in each
    world; together: until its like of the same want are done too. tail: steps counted from its end as
    planned, tail_days: to the day it is packed. waits: whether it may stay as it is until it is packed, as
    a hanging piece may. chamber: where it hangs. looks: days after its beginning on which it is looked at.
    """

    chamber: str
    lead: tuple[Step, ...]
    lead_days: int
    days: Days
    together: Days
    tail: tuple[Step, ...]
    tail_days: int
    waits: bool
    uses: tuple[Use, ...]
    looks: tuple[int, ...] = ()
    begun_code: str = "hang"
    done_code: str = "take_down"


@dataclass(frozen=True, slots=True, kw_only=True)
class Make:
    """One thing to make for a want: a piece, or a run of trays of a dish. ways: one in each place it could
    be made in. id: the same each time the same is planned."""

    id: str
    want: str
    name: str
    kind: Literal["piece", "dish"]
    ways: tuple[Course, ...]
    green: Green | None = None
    packs: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class UnderWay:
    """A piece or batch under way that serves a want. ready: the days from today it takes in each world.

    finished_kg, packs: what it will give.
    """

    code: str
    name: str
    want: str
    days: Days
    finished_kg: float = 0.0
    packs: int = 0
    hook: str = ""
    trays_m2: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Away:
    """Days, both ends among them, on which nobody can turn, weigh or cook."""

    first: date
    last: date

    def holds(self, on: date) -> bool:
        """Whether nobody is there on that day."""
        return self.first <= on <= self.last


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """How much there is of each place; what is not in it was not told and is not counted.

    hooks: by chamber. fridge: pieces; the rest m3 and m2.
    """

    hooks: Mapping[str, int] = field(default_factory=dict)
    fridge: int | None = None
    fridge_m3: float | None = None
    freezer_m3: float | None = None
    trays_m2: float | None = None

    def of(self, place: Place, key: str) -> float | None:
        """What there is of a place, None where nobody told."""
        match place:
            case "hook":
                return self.hooks.get(key)
            case "fridge":
                return self.fridge
            case "fridge_room":
                return self.fridge_m3
            case "freezer_room":
                return self.freezer_m3
            case "trays":
                return self.trays_m2


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A want with what makes it. needed_by: the day it is packed at the latest. served: what is there
    already or under way. kg, packs: what is still missing, which the makes give."""

    id: str
    name: str
    needed_by: date
    makes: tuple[Make, ...]
    under_way: tuple[UnderWay, ...] = ()
    kg: float = 0.0
    packs: int = 0
    on_hand_kg: float = 0.0
    on_hand_packs: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """The chosen figures of scheduling."""

    levels: Mapping[Level, float]
    level: Level
    moved_most: int
    hook_held: float
    late_least: float

    @property
    def chance(self) -> float:
        """The chance that is planned for."""
        return self.levels[self.level]


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """A dated task. id: the same for the same task of the same make, whatever day it falls on."""

    id: str
    make: str
    want: str
    name: str
    code: str
    on: date
    until: date | None = None
    place: str = ""
    amounts: Mapping[str, float] = field(default_factory=dict)
    cautions: tuple[Note, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Conflict:
    """What does not fit, and when. code: `hook`, `fridge`, ... for room, `nobody_home` for a task that must
    be done, `nobody_turns` for daily work missed. has, asks: room there is and room asked for."""

    code: str
    make: str
    name: str
    first: date
    last: date
    task: str = ""
    key: str = ""
    has: float | None = None
    asks: float | None = None
    days: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """A make on its days. by: the last day somebody can pack it in time. start_by: by chance level; None
    where no start gives it. chance: that it is packed by then, begun on `start`. packed: the day planned
    for that, of a late one when it will be with the chance planned for. down: day it is done with 10, 50
    and 90 % chance.

    course: the way chosen. moved_days: how much earlier than the chance asks for. late: whether the chance
    planned for cannot be had any more. room_open: places it needs whose room was not told, taken as enough:
    the chance holds if they are.
    """

    make: Make
    course: Course
    by: date
    start: date
    begun: date
    packed: date
    start_by: Mapping[Level, date | None]
    chance: float
    down: tuple[date | None, date | None, date | None]
    moved_days: int
    late: bool
    room_open: tuple[Place, ...]
    tasks: tuple[Task, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class WantPlanned:
    """A want with its plan. there: in which worlds all of it is there by then, what is under way counted;
    chance: their share, if there is room enough in the places of room_open."""

    asked: Asked
    made: tuple[Planned, ...]
    there: NDArray[np.bool_]
    chance: float
    start_by: Mapping[Level, date | None]
    late: bool
    room_open: tuple[Place, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BackPlan:
    """The whole. chance: that every want is there by its day, if there is room enough in the places of
    room_open."""

    today: date
    wants: tuple[WantPlanned, ...]
    tasks: tuple[Task, ...]
    conflicts: tuple[Conflict, ...]
    chance: float
    room_open: tuple[Place, ...] = ()
    notes: tuple[Note, ...] = ()
