"""Pieces, batches of dishes and lots as the criteria look at them: what happened, and where each was."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from datetime import UTC, datetime, time
from typing import Any

from saltfare.actions.context import Context
from saltfare.core.errors import NotFound
from saltfare.journal import events_dish as dishes
from saltfare.journal import events_handling as handling
from saltfare.journal import events_judged as judged
from saltfare.journal import events_lot as lots
from saltfare.journal import events_piece as kinds
from saltfare.journal.codes import parse_code
from saltfare.journal.dish import DishStage, DishState
from saltfare.journal.dish import dish as dish_of
from saltfare.journal.dish import dishes as all_dishes
from saltfare.journal.events import Body, Corrected, Event
from saltfare.journal.fold import Fact as Happened
from saltfare.journal.fold import effective
from saltfare.journal.lot import LotState
from saltfare.journal.lot import lot as lot_of
from saltfare.journal.piece import PieceState, pieces
from saltfare.journal.piece import piece as piece_of

GONE = frozenset({"eaten", "given_away", "thrown_out", "cooked"})


@dataclass(frozen=True, slots=True)
class Item:
    """A piece under way or taken down, a batch of a dish, or a lot. happened: all that counts, in order, its
    forebears' too.

    piece, dish: the piece or batch, or the one the lot was made of; lot: the lot's own event; stands: the lot
    as its events tell, from which its state, its places and whether it is gone are taken.
    """

    code: str
    stream: str
    version: int
    happened: tuple[Happened, ...]
    piece: PieceState | None = None
    lot: lots.LotMade | None = None
    stands: LotState | None = None
    dish: DishState | None = None

    @property
    def kind(self) -> str:
        """piece, dish or lot."""
        return "lot" if self.lot else "dish" if self.dish else "piece"

    @property
    def name(self) -> str:
        """What the person calls it."""
        if self.lot:
            return self.lot.name
        own = self.piece or self.dish
        return own.name if own else self.code

    @property
    def acted(self) -> tuple[Happened, ...]:
        """What was done on an answer, of this very item, in time."""
        own = [
            h
            for h in self.happened
            if isinstance(h.body, judged.VerdictActed) and h.event.stream == self.stream
        ]
        return tuple(sorted(own, key=lambda h: h.at))

    @property
    def state(self) -> str:
        """Where it stands: a piece by its states, a lot by what took the last of it."""
        if self.stands:
            return self.stands.state
        own = self.piece or self.dish
        return own.state.value if own else ""

    @property
    def is_gone(self) -> bool:
        """Whether nothing of it is left in the house as a thing of its own."""
        if self.stands:
            return self.stands.is_gone
        if self.dish is not None:
            return bool(self.dish.ended or self.left) or self.dish.state is DishStage.PACKED
        state = self.piece
        if state is None or state.ended is not None or bool(self.left):
            return True
        return bool(state.taken_down and state.taken_down[-1].body.lots)

    @property
    def left(self) -> list[datetime]:
        """When the whole of it left the house."""
        if self.stands:
            return [self.stands.gone_at] if self.stands.gone_at else []
        return [h.at for h in self.acted if told_of(h).done in GONE and not told_of(h).packs]

    def of(self, kind: type[Body]) -> list[Happened]:
        """What happened of one kind, in time; of the same instant, the later recorded last."""
        return sorted((h for h in self.happened if isinstance(h.body, kind)), key=lambda h: h.at)


def item(context: Context, code: str) -> Item:
    """The piece, batch or lot of a typed code. Raises Refused for what is no code, NotFound."""
    clean = parse_code(code)
    streams = context.journal.streams()
    if kinds.STREAM + clean in streams:
        return of_piece(context, piece_of(context.journal, clean))
    if dishes.STREAM + clean in streams:
        return of_dish(context, dish_of(context.journal, clean))
    found = _lot(context, clean) if lots.STREAM + clean in streams else None
    if found is None:
        raise NotFound("piece_or_lot", clean)
    return found


def items(context: Context) -> tuple[Item, ...]:
    """Every piece, every batch of a dish and every lot, each in the order they began."""
    found = [of_piece(context, state) for state in pieces(context.journal)]
    found += [of_dish(context, state) for state in all_dishes(context.journal)]
    codes = [stream.removeprefix(lots.STREAM) for stream in context.journal.streams(lots.STREAM)]
    return (*found, *(lot for code in codes if (lot := _lot(context, code))))


def of_piece(context: Context, state: PieceState) -> Item:
    """A piece as an item."""
    stream = kinds.STREAM + state.code
    return Item(state.code, stream, state.version, effective(_history(context, state.code)), piece=state)


def of_dish(context: Context, state: DishState) -> Item:
    """A batch of a dish as an item."""
    stream = dishes.STREAM + state.code
    return Item(state.code, stream, state.version, effective(context.journal.events(stream)), dish=state)


def _lot(context: Context, code: str) -> Item | None:
    own = context.journal.events(lots.STREAM + code)
    happened = effective(own)
    try:
        stands = lot_of(context.journal, code)
    except NotFound:  # its making was withdrawn
        return None
    made = stands.made
    state: PieceState | None = None
    before: tuple[Happened, ...] = ()
    if made.piece is not None:
        try:
            state = piece_of(context.journal, made.piece)
            before = effective(_history(context, made.piece))
        except NotFound:  # its start was withdrawn: the lot stands alone
            state = None
    batch: DishState | None = None
    if made.dish is not None:
        try:
            batch = dish_of(context.journal, made.dish)
            before = (*before, *effective(context.journal.events(dishes.STREAM + made.dish)))
        except NotFound:  # its planning was withdrawn
            batch = None
    stream, whole = lots.STREAM + code, (*before, *happened)
    return Item(code, stream, own[-1].stream_version, whole, piece=state, lot=made, stands=stands, dish=batch)


def _history(context: Context, code: str) -> tuple[Event, ...]:
    """A piece's events, and those of the piece it was cut from up to the cut. What was tied together begins
    anew: what was measured of one part says nothing of the other."""
    own = context.journal.events(kinds.STREAM + code)
    first = own[0].body if own else None
    if not isinstance(first, handling.SplitOff):
        return own
    before = _history(context, first.parent)
    return (*(e for e in before if e.seq < own[0].seq or isinstance(e.body, Corrected)), *own)


@dataclass(frozen=True, slots=True)
class Stay:
    """Where an item was from one instant to another; `until` None where it still is. place "" is not told."""

    place: str
    since: datetime
    until: datetime | None

    def meets(self, since: datetime, until: datetime) -> bool:
        """Whether it was there at any time between."""
        return self.since <= until and (self.until is None or self.until > since)


def stays(context: Context, found: Item) -> tuple[Stay, ...]:
    """Where an item was, as far as was told: a lot in its place, a piece where it hung or rested.

    While it lies in salt nobody says where, and the place stays empty.
    """
    if found.stands:
        return stays_of_lot(context, found.stands)
    if found.dish is not None:
        return _stays_of_dish(found.dish)
    state = found.piece
    if state is None:
        return ()
    moves: list[tuple[datetime, str]] = [(state.started_at, "")]
    moves += [(entry.at, key_of_place(entry.body.chamber or "")) for entry in state.hung]
    moves += [(entry.at, key_of_place(entry.body.place)) for entry in state.rests]
    hung = key_of_place(state.chamber or "") if state.hung else ""
    moves += [(entry.at, hung) for entry in state.rests_ended]
    moves.sort(key=lambda move: move[0])
    # taken down and made into no lot, it lies somewhere nobody said
    moves += [(entry.at, "") for entry in state.taken_down if not entry.body.lots]
    ends = [entry.at for entry in state.taken_down if entry.body.lots]
    ends += [entry.at for entry in state.discarded] + found.left
    ends += [h.at for h in found.happened if isinstance(h.body, handling.CutInTwo | handling.TiedInto)]
    # what ended the piece it was cut from is no end of its own
    ends = [end for end in ends if end > state.started_at and not _before_split(found, end)]
    last = min(ends) if ends else None
    out = []
    for index, (at, place) in enumerate(moves):
        until = moves[index + 1][0] if index + 1 < len(moves) else last
        if last is not None and at >= last:
            break
        out.append(Stay(place, at, until if last is None or until is None else min(until, last)))
    return tuple(out)


def _stays_of_dish(state: DishState) -> tuple[Stay, ...]:
    """From the pot to its packs nobody says where a batch stands."""
    begun = min([*(e.at for e in state.cooked), *(e.at for e in state.trayed)], default=None)
    if begun is None:
        return ()
    ends = [e.at for e in state.discarded] + [e.at for e in state.packed if e.body.rest]
    return (Stay("", begun, min(ends, default=None)),)


def stays_of_lot(context: Context, stands: LotState) -> tuple[Stay, ...]:
    """Where the packs of a lot stood, from the day they were packed until the last was gone."""
    packed = datetime.combine(stands.made.packed_on, time.min, context.zone).astimezone(UTC)
    begun = min(packed, stands.made_at)
    moves = [(begun, stands.made.place), *((max(e.at, begun), e.body.place) for e in stands.moved)]
    out = []
    for index, (at, place) in enumerate(moves):
        until = moves[index + 1][0] if index + 1 < len(moves) else stands.gone_at
        if stands.gone_at is not None and at >= stands.gone_at and index:
            break
        out.append(Stay(key_of_place(place), at, until))
    return tuple(out)


def _before_split(found: Item, at: datetime) -> bool:
    splits = [h.at for h in found.happened if isinstance(h.body, handling.SplitOff)]
    return bool(splits) and at <= max(splits)


def key_of_place(name: str) -> str:
    """A place as it is compared: letters and digits, whatever the case, accents and marks between."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-") or name.strip().lower()


def incidents(context: Context) -> tuple[tuple[str, Happened], ...]:
    """Every incident that counts, by its code, in the order reported."""
    out: list[tuple[str, Happened]] = []
    for stream in context.journal.streams(judged.INCIDENTS):
        for happened in context.journal.fold(stream, effective) or ():
            if isinstance(happened.body, judged.IncidentReported):
                out.append((stream.removeprefix(judged.INCIDENTS), happened))
    return tuple(out)


def touched(context: Context, found: Item, incident: judged.IncidentReported, now: datetime) -> bool | None:
    """Whether an item was where an incident was: True, False, or None where its place was not told."""
    if found.code in incident.apart:
        return False
    if found.code in incident.also:
        return True
    place, until = key_of_place(incident.place), incident.until or now
    there = [stay for stay in stays(context, found) if stay.meets(incident.since, until)]
    if any(stay.place == place for stay in there):
        return True
    return None if any(not stay.place for stay in there) else False


def told_of(happened: Happened) -> Any:
    """The body of what happened."""
    return happened.body
