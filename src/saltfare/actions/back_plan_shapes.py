"""What is asked of a plan back from a date and what it shows."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from pydantic import Field

from saltfare.actions.piece_shapes import MixGiven
from saltfare.actions.shapes import Output, Query
from saltfare.core.fields import Called, Frozen, Measured, Quantity
from saltfare.core.figure import Note

Level = Literal["level_low", "level_mid", "level_high"]
Place = Literal["hook", "fridge", "fridge_room", "freezer_room", "trays"]
Hour = Annotated[Measured, Quantity("tray_hours")]


class CuredGiven(Frozen):
    """A finished mass of a cut. Salt, cure mix and cold not typed are those of the last piece; chamber left
    out: any with a free hook. parasite_step left out: what the purpose asks."""

    cut: str = Field(max_length=60)
    purpose: Literal["home_cold", "pot", "carried"] = "home_cold"
    mass: Annotated[Measured, Quantity("wanted_mass")]
    thickness: Annotated[Measured, Quantity("thickness")]
    shape: Literal["slab", "cylinder"] | None = None
    width: Annotated[Measured, Quantity("width")] | None = None
    salt_share: Annotated[Measured, Quantity("salt_share")] | None = None
    mix: MixGiven | None = None
    applications: Literal[1, 2] = 1
    target_loss: Annotated[Measured, Quantity("loss_from_hanging")] | None = None
    chamber: str | None = Field(default=None, max_length=60)
    parasite_step: Literal["none", "freeze", "tested"] | None = None
    origin: Literal["inspected", "farm", "hunted"] | None = None


class DishGiven(Frozen):
    """Packs of a dish. recipe: code of a batch whose recipe it is; tray_mass and hours left out are that
    recipe's."""

    packs: int = Field(ge=1, le=500)
    recipe: str | None = Field(default=None, max_length=20)
    tray_mass: Annotated[Measured, Quantity("tray_mass")] | None = None
    hours: Hour | None = None
    soak: bool = False


class WishFields(Frozen):
    """A cured cut or a dish, by a day or for a trip: packed the day before it leaves."""

    name: Called
    cured: CuredGiven | None = None
    dish: DishGiven | None = None
    needed_by: date | None = None
    trip: str | None = Field(default=None, max_length=20)


class BackPlanGiven(Query):
    """chance: which of the three chances is planned for. wants: to be tried alone, in place of what is
    wished for; empty for all that is. trip: only what that trip needs is shown and its menu counted."""

    chance: Level = "level_mid"
    wants: tuple[WishFields, ...] = Field(default=(), max_length=40)
    trip: str | None = Field(default=None, max_length=20)


class TaskShown(Frozen):
    """A dated task. amounts: SI, by glossary name. room_open: as of what it is a task of."""

    id: str
    make: str
    want: str
    name: str
    code: str
    on: date
    until: date | None
    place: str
    amounts: dict[str, float]
    cautions: tuple[str, ...]
    room_open: tuple[Place, ...]


class MakeShown(Frozen):
    """A piece or a run of trays on its days. start_by: by chance level. down: 10, 50 and 90 % dates.

    chance: of this one alone, if there is room enough in the places of room_open, whose room was not told
    and is taken as enough. chamber: key of where it hangs. green_kg, bought_kg: of one piece.
    """

    id: str
    name: str
    kind: str
    start: date
    begun: date
    packed: date
    by: date
    start_by: dict[str, date | None]
    chance: float
    down: tuple[date | None, date | None, date | None]
    chamber: str
    room_open: tuple[Place, ...]
    moved_days: int
    late: bool
    green_kg: float | None
    bought_kg: float | None
    packs: int
    steps: tuple[tuple[str, date, date], ...]


class UnderWayShown(Frozen):
    """What is under way already and serves a want. ready: 10, 50 and 90 % dates; chance: by the day."""

    code: str
    name: str
    chance: float
    ready: tuple[date | None, date | None, date | None]
    finished_kg: float
    packs: int


class OfferShown(Frozen):
    """What would still work: its own chance (None where nothing uncertain is in it), and what changes.
    room_open: places whose room was taken as enough for it."""

    code: str
    chance: float | None
    room_open: tuple[Place, ...]
    ready: date | None
    conflicts: int
    params: dict[str, str | float | int]


class AgainstShown(Frozen):
    """A problem that stands against making what is wanted, as errors say it."""

    code: str
    field: str
    given: str
    allowed: str
    params: dict[str, str | float | int]


class WantShown(Frozen):
    """A want with its plan. missing_kg, missing_packs: what the makes give. late: too late for the chance
    planned for; offers: what would still work. against: why it cannot be planned at all. room_open:
    places whose room was not told; the chance is the chance if they have enough."""

    key: str
    name: str
    kind: str
    trip: str | None
    needed_by: date
    wanted_kg: float
    wanted_packs: int
    on_hand_kg: float
    on_hand_packs: int
    missing_kg: float
    missing_packs: int
    chance: float
    room_open: tuple[Place, ...]
    start_by: dict[str, date | None]
    late: bool
    makes: tuple[MakeShown, ...]
    under_way: tuple[UnderWayShown, ...]
    offers: tuple[OfferShown, ...]
    against: tuple[AgainstShown, ...]
    notes: tuple[Note, ...]


class ConflictShown(Frozen):
    """What does not fit. code: hook, fridge, fridge_room, freezer_room, trays, nobody_home, nobody_turns."""

    code: str
    name: str
    first: date
    last: date
    days: int
    task: str
    place: str
    has: float | None
    asks: float | None


class BackPlanShown(Output):
    """The plan. chance: that every want is there by its day. differs: whether it is not the one accepted;
    accepted: whether one was. levels: the three chances. room_open: places whose room was not
    told; the chance is the chance if they have enough."""

    today: date
    level: Level
    levels: dict[str, float]
    wants: tuple[WantShown, ...]
    tasks: tuple[TaskShown, ...]
    conflicts: tuple[ConflictShown, ...]
    away: tuple[tuple[date, date], ...]
    chance: float
    room_open: tuple[Place, ...]
    accepted: bool
    differs: bool
