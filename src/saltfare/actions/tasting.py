"""How something was, in words, by one person: any dish, piece, lot or bought product."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from typing import Annotated, Literal, Protocol

from pydantic import Field

from saltfare.actions.context import Context
from saltfare.actions.shapes import Command, Done, done
from saltfare.actions.shelf_shapes import Code
from saltfare.core.errors import NotFound, Problem, Refused
from saltfare.core.fields import MayBeCalled
from saltfare.journal.codes import parse_code
from saltfare.journal.dish import dish
from saltfare.journal.events_dish import STREAM as DISHES
from saltfare.journal.events_lot import STREAM as LOTS
from saltfare.journal.events_lot import TastingNoted
from saltfare.journal.events_piece import STREAM as PIECES
from saltfare.journal.events_shelf import BOUGHT
from saltfare.journal.lot import LotState
from saltfare.journal.piece import Entry, piece
from saltfare.journal.shelf import bought
from saltfare.journal.store import Journal


class Tasted(Protocol):
    """What has tastings of its own."""

    @property
    def tastings(self) -> tuple[Entry[TastingNoted], ...]:
        """In time."""
        ...


class TastingGiven(Command):
    """A tasting by one person. code: of a piece, dish or lot; or product: the key of a bought one.

    The flags: True, False, or left out where nothing is said.
    """

    code: Code | None = None
    product: str | None = Field(default=None, max_length=64)
    who: Annotated[MayBeCalled, Field(max_length=80)] = ""
    liked: Literal["disliked", "so_so", "liked", "loved"] | None = None
    too_wet: bool | None = None
    hard_in_the_middle: bool | None = None
    would_carry_again: bool | None = None
    text: str = Field(default="", max_length=2000)


_SAID = ("liked", "too_wet", "hard_in_the_middle", "would_carry_again")


def note_tasting(context: Context, given: TastingGiven) -> Done:
    """Write down how something was."""
    if (given.code is None) == (given.product is None):
        raise Refused(Problem("tasting_of_what", "code"))
    if all(getattr(given, name) is None for name in _SAID) and not given.text.strip():
        raise Refused(Problem("tasting_says_nothing", "liked"))
    body = TastingNoted(
        who=given.who.strip(),
        liked=given.liked,
        too_wet=given.too_wet,
        hard_in_the_middle=given.hard_in_the_middle,
        would_carry_again=given.would_carry_again,
        text=given.text.strip(),
    )
    return done(context, given, [(_stream(context, given), body)])


def said_of(context: Context, state: LotState) -> tuple[tuple[str, Entry[TastingNoted]], ...]:
    """What was said of a lot and of the dish, piece or product it is of, and of which; the latest first."""
    made = state.made
    sources: list[tuple[str, str | None, Callable[[Journal, str], Tasted]]]
    sources = [("bought", made.bought, bought), ("dish", made.dish, dish), ("piece", made.piece, piece)]
    found = [("lot", entry) for entry in state.tastings]
    for of, key, read in sources:
        with suppress(NotFound):  # what it was made of may have been taken back
            found += [(of, entry) for entry in (read(context.journal, key).tastings if key else ())]
    found.sort(key=lambda pair: pair[1].at)
    found.reverse()  # of one moment, too, the later recorded comes first
    return tuple(found)


def _stream(context: Context, given: TastingGiven) -> str:
    if given.product is not None:
        return BOUGHT + bought(context.journal, given.product).key
    code = parse_code(given.code or "")
    for prefix in (LOTS, PIECES, DISHES):
        if context.journal.stream_head(prefix + code):
            return prefix + code
    raise NotFound("code", code)
