"""What is typed of a lot, and what the shelf's commands share."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, time
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, WithJsonSchema
from pydantic_core import PydanticCustomError

from saltfare.actions.context import Context
from saltfare.actions.shapes import Command, Done, done
from saltfare.core.errors import Conflict, Problem, Refused
from saltfare.core.fields import MayBeCalled, Measured, Quantity
from saltfare.journal.codes import parse_code
from saltfare.journal.events import Body
from saltfare.journal.events_lot import STREAM
from saltfare.journal.lot import LotState
from saltfare.journal.lot import lot as lot_of

MOST_PACKS = 500
_TRIES = 8


def _whole(least: int) -> BeforeValidator:
    """A whole number of packs, from `least` to the most a lot may have."""

    def read(given: Any) -> Any:
        text = str(given).strip()
        if isinstance(given, bool) or not text.removeprefix("-").isdecimal() or len(text) > 12:
            raise _error("packs_not_whole", text, least)
        if not least <= int(text) <= MOST_PACKS:
            raise _error("packs_out_of_range", text, least)
        return int(text)

    return BeforeValidator(read)


def _error(code: str, given: str, least: int) -> PydanticCustomError:
    params: dict[str, str | float | int] = {"least": least, "most": MOST_PACKS}
    problem = Problem(code, given=given[:40], allowed=f"{least} - {MOST_PACKS}", params=params)
    return PydanticCustomError("problem", "{code}", {"code": code, "problem": problem})


def _schema(least: int) -> WithJsonSchema:
    return WithJsonSchema({"type": "integer", "minimum": least, "maximum": MOST_PACKS})


Packs = Annotated[int, _whole(1), _schema(1)]
Counted = Annotated[int, _whole(0), _schema(0)]
PackMass = Annotated[Measured, Quantity("pack_mass")]
PlaceName = Annotated[MayBeCalled, Field(max_length=80)]
Code = Annotated[str, Field(max_length=60)]


class OneLot(Command):
    """A command on one lot, by the code printed on its label."""

    code: Code


def found_lot(context: Context, code: str) -> LotState:
    """The lot a typed code means. Raises Refused for what is no code, NotFound."""
    return lot_of(context.journal, parse_code(code))


def told_place(place: str, field: str = "place") -> str:
    """A place as typed. Raises Refused where nothing is said."""
    if not place.strip():
        raise Refused(Problem("place_missing", field))
    return place.strip()


def not_ahead(context: Context, on: date, field: str) -> None:
    """Refuse a civil date that has not come yet."""
    if on > context.today:
        raise Refused(Problem("in_the_future", field, on.isoformat()))


def instant_of(context: Context, on: date) -> datetime:
    """Noon of a civil day where the person is, or now where that has not come."""
    return min(datetime.combine(on, time(12), context.zone).astimezone(UTC), context.now)


def not_before_packing(context: Context, given: Command, state: LotState) -> None:
    """Refuse what is told to have happened before the lot was there."""
    if given.at is not None and given.at.astimezone(context.zone).date() < state.made.packed_on:
        packed = state.made.packed_on.isoformat()
        raise Refused(Problem("before_packing", "at", given.at.isoformat(), packed, {"code": state.code}))


def on_lot(
    context: Context,
    given: OneLot,
    body: Callable[[LotState], Body],
    check: Callable[[LotState], None],
) -> tuple[Done, LotState]:
    """Record something of a lot, and the lot as it stood then.

    What `check` looked at is what is written on: where somebody else got there first, it looks and checks
    again, so that two people can both take a pack while there are two, and never the same one. A person
    who gave `seen_version` is told instead. A request sent again is not checked again.

    Raises Refused, NotFound, Conflict.
    """
    for tried in range(_TRIES):
        state = found_lot(context, given.code)
        stream = STREAM + state.code
        if not context.journal.answered(given.request_id or ""):
            not_before_packing(context, given, state)
            check(state)
        try:
            return done(context, given, [(stream, body(state))], seen={stream: state.version}), state
        except Conflict:
            if given.seen_version is not None or tried == _TRIES - 1:
                raise
    raise AssertionError("the last try returns or raises")
