"""How long a lot keeps: which limit its food reaches first, and the date to plan with.

A planning date is one to plan with, never a promise, and says nothing of what may be eaten: the
criteria answer that, separately and first.
"""

from __future__ import annotations

from datetime import date
from typing import Literal

from saltfare.actions.context import Context
from saltfare.actions.shapes import Output
from saltfare.core.fields import Frozen
from saltfare.core.figure import Figure, Note
from saltfare.journal.lot import LotState

Mode = Literal[
    "eating_quality", "oxidation", "browning", "vitamin", "texture", "water", "oxygen", "guide", "label"
]


class LimitShown(Frozen):
    """One limit: days on which it is reached, earliest, likeliest, latest; None beyond what was looked at.

    row: of the library, which it stands on.
    """

    mode: Mode
    row: str
    earliest: date | None
    likely: date | None
    latest: date | None
    trace: str


class Assumed(Frozen):
    """Something nobody said, and what was taken for it, such as film, place_temperature or water."""

    what: str
    taken: str


class PackKeeping(Output):
    """planning_date: the earliest end of any limit, never beyond what an agency prints; `low` is the same
    day. middle, high: of the first limit reached. None: not known (notes say why) or not within `until`.

    first_limit: mode of what sets the planning date, "" where there is none. doubtful: an isotherm was used
    outside its range. assumed: what nobody said.
    """

    code: str
    planning_date: date | None
    low: date | None
    middle: date | None
    high: date | None
    first_limit: Mode | Literal[""]
    limits: tuple[LimitShown, ...]
    until: date | None
    doubtful: bool
    assumed: tuple[Assumed, ...]
    figures: dict[str, Figure]


def pack_keeping(context: Context, lot: LotState) -> PackKeeping:
    """How long the packs of a lot keep where they are, from the day they were packed."""
    return not_known(lot, "keeping_food_not_known")


def not_known(lot: LotState, *why: str) -> PackKeeping:
    """No date, and why."""
    return PackKeeping(
        code=lot.code,
        planning_date=None,
        low=None,
        middle=None,
        high=None,
        first_limit="",
        limits=(),
        until=None,
        doubtful=True,
        assumed=(),
        figures={},
        notes=tuple(Note(code) for code in why),
    )
