"""What happens to a lot on the shelf: packs taken and brought back; a lot moved, counted, stored."""

from __future__ import annotations

from datetime import date
from typing import Literal

from pydantic import Field

from saltfare.actions.codes_given import codes_before, new_codes
from saltfare.actions.context import Context
from saltfare.actions.judged_items import key_of_place
from saltfare.actions.money import Price
from saltfare.actions.piece_work import doubt
from saltfare.actions.shapes import Command, Done, done
from saltfare.actions.shelf_shapes import (
    Code,
    Counted,
    OneLot,
    PackMass,
    Packs,
    PlaceName,
    found_lot,
    not_ahead,
    on_lot,
    told_place,
)
from saltfare.core.errors import Conflict, Problem, Refused
from saltfare.core.fields import CalledLong, Frozen, MayBeCalled
from saltfare.core.figure import Note
from saltfare.journal.events import Body
from saltfare.journal.events_lot import (
    STREAM,
    LotCounted,
    LotMade,
    LotMoved,
    OpenedFinished,
    PacksDrawn,
    PacksReturned,
    Sealed,
)
from saltfare.journal.lot import LotState, lots

_MOST_LINES = 200
_HOME_MADE = ("piece", "dish", "mixed")


class DrawGiven(OneLot):
    """Packs leave the shelf. receiver: to whom, of what is given away; reason: why, of what is thrown out."""

    packs: Packs
    why: Literal["opened", "eaten", "given_away", "thrown_out", "lost"]
    reason: str = Field(default="", max_length=1000)
    receiver: MayBeCalled = ""


class FinishGiven(OneLot):
    """Opened packs come to an end: eaten up, given away, or thrown out with the reason."""

    packs: Packs = 1
    why: Literal["eaten", "given_away", "thrown_out"]
    reason: str = Field(default="", max_length=1000)


class ReturnGiven(OneLot):
    """Packs come back whole: from a trip, a gift declined, or found again."""

    packs: Packs
    trip: str | None = Field(default=None, max_length=40)
    reason: str = Field(default="", max_length=1000)


class MoveGiven(OneLot):
    """All that is left of it is put somewhere else."""

    place: PlaceName = ""


class CountGiven(OneLot):
    """The packs that are there, opened ones left out. reason: why the books were wrong, where known."""

    packs: Counted
    reason: str = Field(default="", max_length=1000)


class CountRow(Frozen):
    """A lot as it was counted. seen_version: of the lot as the person who counts sees it."""

    code: Code
    packs: Counted
    seen_version: int | None = Field(default=None, ge=0)


class CountShelfGiven(Command):
    """A count of many lots at once. place: where was counted, so that what was not found there is told."""

    rows: tuple[CountRow, ...] = Field(max_length=_MOST_LINES)
    place: PlaceName = ""
    reason: str = Field(default="", max_length=1000)


class StoreGiven(Command):
    """A lot that was not made here, or before there was this journal. maker: who made it, "" for this house.

    packs of one size; printed_on: a date its maker printed on it; price: of one pack.
    """

    name: CalledLong
    packs: Packs
    mass: PackMass
    sealed: Sealed
    place: PlaceName = ""
    packed_on: date
    maker: MayBeCalled = ""
    printed_on: date | None = None
    price: Price | None = None


class Drawn(Done):
    """What is left after it: whole packs, free ones, opened ones."""

    code: str
    packs_left: int
    free: int
    opened: int


class CountLine(Frozen):
    """A lot counted: what the books said, what was there, and by how much that differs."""

    code: str
    name: str
    expected: int
    counted: int
    difference: int


class Reconciled(Done):
    """Every lot counted; missing: lots that should stand in that place and were not counted.

    expected, counted: packs in all. Nothing is written off of what was not counted.
    """

    lines: tuple[CountLine, ...]
    missing: tuple[CountLine, ...]
    expected: int
    counted: int


class Stored(Done):
    """The code of the new lot."""

    code: str


def draw_packs(context: Context, given: DrawGiven) -> Drawn:
    """Take packs off the shelf: opened, eaten, given away, thrown out, or not to be found."""

    def check(state: LotState) -> None:
        _reasons(given.why, given.reason)
        if given.why == "given_away" and not given.receiver.strip():
            raise Refused(Problem("receiver_missing", "receiver"))
        enough(state, given.packs)
        if given.packs > state.free:
            held = state.packs_left - state.free
            doubt(given, "held_by_trip", str(given.packs), field="packs", held=held, free=state.free)

    body = PacksDrawn(
        packs=given.packs, why=given.why, reason=given.reason.strip(), receiver=given.receiver.strip()
    )
    did, before = on_lot(context, given, lambda _: body, check)
    return _drawn(context, did, before, _along(before) if given.why == "given_away" else ())


def finish_opened(context: Context, given: FinishGiven) -> Drawn:
    """Say what became of packs that were opened."""

    def check(state: LotState) -> None:
        _reasons(given.why, given.reason)
        if given.packs > state.opened:
            params = {"opened": state.opened}
            raise Refused(Problem("more_than_opened", "packs", str(given.packs), str(state.opened), params))

    body = OpenedFinished(packs=given.packs, why=given.why, reason=given.reason.strip())
    did, before = on_lot(context, given, lambda _: body, check)
    return _drawn(context, did, before)


def return_packs(context: Context, given: ReturnGiven) -> Drawn:
    """Put packs back that had left whole."""

    def check(state: LotState) -> None:
        if given.packs > state.out:
            raise Refused(
                Problem("more_than_out", "packs", str(given.packs), str(state.out), {"out": state.out})
            )

    body = PacksReturned(packs=given.packs, trip=given.trip, reason=given.reason.strip())
    did, before = on_lot(context, given, lambda _: body, check)
    return _drawn(context, did, before)


def move_lot(context: Context, given: MoveGiven) -> Done:
    """Put all that is left of a lot somewhere else."""
    place = told_place(given.place)

    def check(state: LotState) -> None:
        if state.is_gone:
            raise Refused(Problem("nothing_left", "code", state.code, params={"name": state.name}))
        if key_of_place(state.place) == key_of_place(place):
            raise Refused(Problem("stands_there", "place", place, params={"name": state.name}))

    return on_lot(context, given, lambda _: LotMoved(place=place), check)[0]


def count_lot(context: Context, given: CountGiven) -> Reconciled:
    """Write down how many packs of a lot are there; what differs is written off or on."""
    body = LotCounted(packs=given.packs, reason=given.reason.strip())
    did, before = on_lot(context, given, lambda _: body, lambda _: None)
    return _reconciled(context, did, [(before, given.packs)], ())


def count_shelf(context: Context, given: CountShelfGiven) -> Reconciled:
    """Count many lots at once: every one that was counted is put right together, or none is."""
    if not given.rows:
        raise Refused(Problem("nothing_counted", "rows"))
    states = [found_lot(context, row.code) for row in given.rows]
    for n, state in enumerate(states):
        if state.code in [other.code for other in states[:n]]:
            raise Refused(Problem("counted_twice", f"rows.{n}.code", state.code, params={"name": state.name}))
        seen = given.rows[n].seen_version
        repeated = context.journal.answered(given.request_id or "")
        if seen is not None and seen != state.version and not repeated:
            raise Conflict(STREAM + state.code, seen, state.version)
    reason = given.reason.strip()
    bodies: list[tuple[str, Body]] = [
        (STREAM + state.code, LotCounted(packs=row.packs, reason=reason))
        for state, row in zip(states, given.rows, strict=True)
    ]
    did = done(context, given, bodies, seen={STREAM + state.code: state.version for state in states})
    counted = {state.code for state in states}
    key = key_of_place(given.place) if given.place.strip() else None
    missing = tuple(
        CountLine(
            code=one.code, name=one.name, expected=one.packs_left, counted=0, difference=-one.packs_left
        )
        for one in lots(context.journal)
        if key is not None and one.packs_left and key_of_place(one.place) == key and one.code not in counted
    )
    pairs = [(state, row.packs) for state, row in zip(states, given.rows, strict=True)]
    return _reconciled(context, did, pairs, missing)


def store_lot(context: Context, given: StoreGiven) -> Stored:
    """Put a lot on the shelf that was not made here, or was before this journal began."""
    place = told_place(given.place)
    not_ahead(context, given.packed_on, "packed_on")
    codes = codes_before(context, given, LotMade) or new_codes(context, 1)
    body = LotMade(
        name=given.name.strip(),
        packs=given.packs,
        mass=given.mass,
        sealed=given.sealed,
        place=place,
        packed_on=given.packed_on,
        maker=given.maker.strip(),
        printed_on=given.printed_on,
        price_minor=given.price,
        currency=context.settings.currency if given.price is not None else "",
    )
    return Stored(**dict(done(context, given, [(STREAM + codes[0], body)])), code=codes[0])


def enough(state: LotState, packs: int, field: str = "packs") -> None:
    """Refuse more than is left, with what is."""
    left = state.packs_left
    if packs > left:
        code = "more_than_left" if left else "none_left"
        params: dict[str, str | float | int] = {"left": left, "name": state.name, "opened": state.opened}
        raise Refused(Problem(code, field, str(packs), str(left), params))


def home_made(state: LotState) -> bool:
    """Whether this house made it: what leaves it then is for this house to tell of."""
    return state.origin in _HOME_MADE or (state.origin == "other" and not state.made.maker)


def _reasons(why: str, reason: str) -> None:
    if why == "thrown_out" and not reason.strip():
        raise Refused(Problem("thrown_out_why", "reason"))


def _along(state: LotState) -> tuple[Note, ...]:
    """What is said with packs that leave the house for somebody else."""
    if not home_made(state):
        return (Note("labelling_law_first"),)
    cured = state.origin in ("piece", "mixed")
    first = (Note("giving_cured_meat_may_be_regulated"),) if cured else ()
    return (*first, Note("labelling_law_first"), Note("hand_over_along"))


def _drawn(context: Context, did: Done, before: LotState, notes: tuple[Note, ...] = ()) -> Drawn:
    now = found_lot(context, before.code)
    told = {**dict(did), "notes": notes}
    return Drawn(**told, code=now.code, packs_left=now.packs_left, free=now.free, opened=now.opened)


def _reconciled(
    context: Context, did: Done, pairs: list[tuple[LotState, int]], missing: tuple[CountLine, ...]
) -> Reconciled:
    told = {move.event_id: move.packs for state, _ in pairs for move in found_lot(context, state.code).moves}
    events = dict(zip((state.code for state, _ in pairs), did.events, strict=True))
    lines = []
    for state, counted in pairs:
        difference = told.get(events[state.code], 0)
        lines.append(
            CountLine(
                code=state.code,
                name=state.name,
                expected=counted - difference,
                counted=counted,
                difference=difference,
            )
        )
    return Reconciled(
        **dict(did),
        lines=tuple(lines),
        missing=missing,
        expected=sum(line.expected for line in lines) + sum(line.expected for line in missing),
        counted=sum(line.counted for line in lines),
    )
