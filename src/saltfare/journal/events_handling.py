"""What really happens to a piece between the butcher and the shelf, beside its plan. Stream: `piece/CODE`."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from saltfare.core.fields import Measured
from saltfare.journal.events import Body

Mould = Literal["none", "white", "grey", "green", "blue", "black", "yellow", "orange_or_pink"]
Smell = Literal["clean", "mushroom", "sour", "ammonia", "rancid", "putrid"]


class Drained(Body, kind="drained"):
    """Liquid poured off between applications. salt: share of the liquid, where it was found out."""

    liquid: Measured | None = None
    salt: Measured | None = None


class RestBegun(Body, kind="rest_begun"):
    """Laid to equalise. sealed: wrapped so that it loses nothing meanwhile."""

    place: str = Field(max_length=80)
    temperature: Measured | None = None
    sealed: bool


class RestEnded(Body, kind="rest_ended"):
    """Hung again; its mass where it was weighed."""

    mass: Measured | None = None


class Shaped(Body, kind="shaped"):
    """Given a shape. Only a dressed or netted piece is still one intact piece afterwards."""

    how: Literal["dressed", "netted", "rolled", "tied", "butterflied"]
    thickness: Measured | None = None


class Injected(Body, kind="injected"):
    """Brine put inside. It is no intact piece from then on. nitrite: share of the brine."""

    brine: Measured
    salt: Measured | None = None
    nitrite: Measured | None = None


class Smoked(Body, kind="smoked"):
    """Smoked, cold or hot. core: the hottest its middle was read."""

    how: Literal["cold", "hot"]
    lasted: Measured
    temperature: Measured
    core: Measured | None = None


class Tasted(Body, kind="tasted"):
    """A slice cut off: weighed before and after, so that the cut is not read as drying."""

    before: Measured
    after: Measured


class CutInTwo(Body, kind="cut_in_two"):
    """Ends this piece; each part goes on under a code of its own."""

    parts: dict[str, Measured] = Field(min_length=2, max_length=6)


class SplitOff(Body, kind="split_off"):
    """Begins a piece that was part of another, whose history it takes along."""

    parent: str = Field(max_length=20)
    whole: Measured
    mass: Measured


class TiedInto(Body, kind="tied_into"):
    """Ends this piece: it goes on within another."""

    code: str = Field(max_length=20)
    mass: Measured


class TiedTogether(Body, kind="tied_together"):
    """Begins a piece made of others, each with its mass on that day."""

    name: str = Field(min_length=1, max_length=120)
    parts: dict[str, Measured] = Field(min_length=2, max_length=4)
    shape: Literal["slab", "cylinder"]
    thickness: Measured
    length: Measured
    width: Measured | None = None


class TareChanged(Body, kind="tare_changed"):
    """What hangs with it from now on: hook, net, twine."""

    tare: Measured


class Looked(Body, kind="looked"):
    """What was seen, smelt and felt. photo: a file's name, as the person keeps it."""

    mould: tuple[Mould, ...] = ()
    smell: Smell | None = None
    soft_spot: bool = False
    slime: bool = False
    photo: str = Field(default="", max_length=200)
    text: str = Field(default="", max_length=2000)


class Discarded(Body, kind="discarded"):
    """Thrown out, with the reason."""

    why: str = Field(min_length=1, max_length=1000)
    mass: Measured | None = None
