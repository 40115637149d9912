"""What is wished for, what there is room for, when nobody is home, and the plan that was accepted.
Streams: `plan/wishes`, `plan/room`, `plan/away`, `plan/accepted`."""

from __future__ import annotations

from datetime import date, time
from typing import ClassVar, Literal

from pydantic import Field

from saltfare.core.fields import Frozen, Measured
from saltfare.journal.events import Body
from saltfare.journal.events_piece import CureMix

STREAM = "plan/"
WISHES, ROOM, AWAY, ACCEPTED = (STREAM + name for name in ("wishes", "room", "away", "accepted"))


class CuredWished(Frozen):
    """A finished mass of a cut. What is None is taken from the last piece, the chambers, or practice.

    parasite_step: None for what the purpose asks: freezing of pork that is eaten uncooked.
    """

    cut: str = Field(max_length=60)
    purpose: Literal["home_cold", "pot", "carried"]
    mass: Measured
    shape: Literal["slab", "cylinder"] | None = None
    thickness: Measured
    width: Measured | None = None
    salt_share: Measured | None = None
    mix: CureMix | None = None
    applications: Literal[1, 2] = 1
    target_loss: Measured | None = None
    chamber: str | None = Field(default=None, max_length=60)
    parasite_step: Literal["none", "freeze", "tested"] | None = None
    origin: Literal["inspected", "farm", "hunted"] | None = None


class DishWished(Frozen):
    """Packs of a dish. recipe: code of a batch whose recipe it is. tray_mass: of one pack as it goes on the
    trays; hours: likely on the trays; both from the recipe where they are None."""

    packs: int = Field(ge=1, le=500)
    recipe: str | None = Field(default=None, max_length=20)
    tray_mass: Measured | None = None
    hours: Measured | None = None
    soak: bool = False


class StockWished(Body, kind="stock_wished"):
    """Something wished for, by a day or for a trip. key: its own; the same key again replaces it."""

    key: str = Field(min_length=1, max_length=60)
    name: str = Field(min_length=1, max_length=80)
    cured: CuredWished | None = None
    dish: DishWished | None = None
    needed_by: date | None = None
    trip: str | None = Field(default=None, max_length=20)


class WishDropped(Body, kind="wish_dropped"):
    """A wish that is none any more."""

    key: str = Field(min_length=1, max_length=60)
    why: str = Field(default="", max_length=1000)


class RoomTold(Body, kind="room_told"):
    """Room there is; None leaves what was said before. hooks, takes_away: by key of the chamber; what a
    chamber takes away is the water it can, in a day."""

    hooks: dict[str, int] = Field(default_factory=dict, max_length=60)
    takes_away: dict[str, Measured] = Field(default_factory=dict, max_length=60)
    fridge_places: int | None = Field(default=None, ge=0, le=500)
    fridge_volume: Measured | None = None
    freezer_volume: Measured | None = None
    freezer_temperature: Measured | None = None
    trays_area: Measured | None = None
    work_from: time | None = None
    work_until: time | None = None


class AwayTold(Body, kind="away_told"):
    """Days on which nobody is home, both ends among them; `home` takes such days back."""

    first: date
    last: date
    home: bool = False
    why: str = Field(default="", max_length=200)


class TaskAccepted(Frozen):
    """A task as it was accepted. amounts: SI, by glossary name. cautions: codes. room_open: places whose
    room was not told and was taken as enough."""

    id: str = Field(max_length=40)
    make: str = Field(max_length=80)
    want: str = Field(max_length=60)
    name: str = Field(max_length=120)
    code: str = Field(max_length=40)
    on: date
    until: date | None = None
    place: str = Field(default="", max_length=80)
    amounts: dict[str, float] = Field(default_factory=dict)
    cautions: tuple[str, ...] = ()
    room_open: tuple[str, ...] = Field(default=(), max_length=10)


class PlanAccepted(Body, kind="plan_accepted"):
    """A plan taken on as it left the house. chance: that everything is there by its day, as it was told: if
    there is room enough in the places of room_open."""

    observed: ClassVar[bool] = False

    program: str = Field(max_length=40)
    chance: float = Field(ge=0, le=1)
    chances: dict[str, float] = Field(default_factory=dict, max_length=200)
    room_open: tuple[str, ...] = Field(default=(), max_length=10)
    tasks: tuple[TaskAccepted, ...] = Field(max_length=4000)


class TaskSettled(Body, kind="task_settled"):
    """A task that was done, that will not be, or that stands open again."""

    task: str = Field(max_length=40)
    how: Literal["done", "cancelled", "open"]
    why: str = Field(default="", max_length=1000)
