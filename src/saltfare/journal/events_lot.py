"""What is finished and stored, and what becomes of it. Stream: `lot/CODE`."""

from __future__ import annotations

from datetime import date
from typing import Any, ClassVar, Literal

from pydantic import Field

from saltfare.core.fields import Frozen, Measured
from saltfare.journal.events import Body

STREAM = "lot/"
Sealed = Literal["open", "air", "no_oxygen"]
DrawnFor = Literal["opened", "eaten", "given_away", "swapped", "thrown_out", "in_a_pack", "on_trip", "lost"]


class PackPart(Frozen):
    """What of another lot or batch is in each pack of a mixed one."""

    code: str = Field(max_length=20)
    mass: Measured


class Pouch(Frozen):
    """What the packs are closed in. film: row of the film library; width, height: inside the seals.

    absorber: oxygen it can bind, as its volume; desiccant: mass. None where there is none or nobody said.
    """

    film: str = Field(default="", max_length=80)
    width: Measured | None = None
    height: Measured | None = None
    volume: Measured | None = None
    takes_boiling_water: bool | None = None
    stands: bool | None = None
    absorber: Measured | None = None
    desiccant: Measured | None = None
    tare: Measured | None = None
    cost_minor: int | None = Field(default=None, ge=0)


class LotMade(Body, kind="lot_made"):
    """Packs of one size, made on a day from a piece, from a batch of a dish, from both, or bought.

    sealed: open to air (wrapped in cloth or paper), closed with air in it, or without oxygen (vacuum
    or an absorber). parts: of a mixed pack, what is in it beside the piece or dish itself. bought: the
    stream key of what a bought pack is (`bought/KEY`). price_minor: paid for one pack. printed_on: the date
    its maker printed on it. maker: who made it, where that was not this house; swap: the swap it came by.
    """

    name: str = Field(min_length=1, max_length=120)
    piece: str | None = Field(default=None, max_length=20)
    dish: str | None = Field(default=None, max_length=20)
    bought: str | None = Field(default=None, max_length=64)
    parts: tuple[PackPart, ...] = Field(default=(), max_length=8)
    packs: int = Field(ge=1, le=500)
    mass: Measured
    sealed: Sealed
    place: str = Field(max_length=80)
    packed_on: date
    pouch: Pouch | None = None
    price_minor: int | None = Field(default=None, ge=0)
    currency: str = Field(default="", max_length=3)
    printed_on: date | None = None
    maker: str = Field(default="", max_length=120)
    swap: str | None = Field(default=None, max_length=20)


class PacksDrawn(Body, kind="packs_drawn"):
    """Packs left the shelf, and why.

    into: the lot they went into; trip: the trip they went on; swap: the swap they were given in; tried: the
    batch they were a test pouch of.
    """

    packs: int = Field(ge=1, le=500)
    why: DrawnFor
    reason: str = Field(default="", max_length=1000)
    receiver: str = Field(default="", max_length=120)
    into: str | None = Field(default=None, max_length=20)
    trip: str | None = Field(default=None, max_length=20)
    swap: str | None = Field(default=None, max_length=20)
    tried: str | None = Field(default=None, max_length=20)


class OpenedFinished(Body, kind="opened_finished"):
    """Packs opened before are at an end; they left the count when they were opened."""

    packs: int = Field(ge=1, le=500)
    why: Literal["eaten", "given_away", "thrown_out"]
    reason: str = Field(default="", max_length=1000)


class PacksReturned(Body, kind="packs_returned"):
    """Packs came back whole, from a trip or a gift declined."""

    packs: int = Field(ge=1, le=500)
    trip: str | None = Field(default=None, max_length=20)
    reason: str = Field(default="", max_length=1000)


class LotMoved(Body, kind="lot_moved"):
    """All that is left of it was put somewhere else."""

    place: str = Field(min_length=1, max_length=80)


class LotCounted(Body, kind="lot_counted"):
    """The packs that were there when somebody counted; what differs from the books is written off or on."""

    packs: int = Field(ge=0, le=500)
    reason: str = Field(default="", max_length=1000)


class PacksReserved(Body, kind="packs_reserved"):
    """A trip's menu holds so many packs, in all; 0 frees them."""

    trip: str = Field(max_length=20)
    packs: int = Field(ge=0, le=500)


class LabelPrinted(Body, kind="label_printed"):
    """What a label said when it left the house. label: the values printed, as plain data."""

    observed: ClassVar[bool] = False

    copies: int = Field(ge=1, le=500)
    label: dict[str, Any]
    program: str = Field(default="", max_length=40)


class TastingNoted(Body, kind="tasting_noted"):
    """How it was, in words, by one person. Also in the streams of pieces, dishes and bought packs."""

    who: str = Field(default="", max_length=80)
    liked: Literal["disliked", "so_so", "liked", "loved"] | None = None
    too_wet: bool | None = None
    hard_in_the_middle: bool | None = None
    would_carry_again: bool | None = None
    text: str = Field(default="", max_length=2000)
