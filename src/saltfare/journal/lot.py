"""A lot as its events tell: how many packs are left, where, held for which trip. Data only."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from saltfare.core.errors import NotFound
from saltfare.journal import events_judged as judged
from saltfare.journal import events_lot as kinds
from saltfare.journal.events import Event, Noted
from saltfare.journal.fold import Fact, Handlers, effective, in_time
from saltfare.journal.piece import Entry, entry_of
from saltfare.journal.store import Journal

_MAY_RETURN = ("given_away", "swapped", "on_trip", "lost", "counted")
_ENDS = ("eaten", "given_away", "thrown_out")
# acts on an answer that take packs off the shelf
_ACTED = {"eaten": "eaten", "given_away": "given_away", "thrown_out": "thrown_out", "cooked": "eaten"}


@dataclass(frozen=True, slots=True)
class Move:
    """Packs on or off the shelf: negative where they left. why: the kind of draw, `returned`, `counted`."""

    event_id: str
    at: datetime
    packs: int
    why: str
    reason: str = ""
    receiver: str = ""
    trip: str | None = None


@dataclass(frozen=True, slots=True)
class LotState:
    """A lot. version: of its stream. moves: in the order recorded. reserved: trip -> packs it holds.

    opened: packs opened and not yet told to be eaten up; they are no longer counted in `packs_left`.
    short: packs told to have left that were not there, so that the books cannot be right. gone_at: since
    when nothing of it is in the house, None while something is.
    """

    code: str
    version: int
    made_id: str
    made_at: datetime
    zone: str
    made: kinds.LotMade
    place: str
    packs_left: int
    opened: int = 0
    short: int = 0
    gone_at: datetime | None = None
    moves: tuple[Move, ...] = ()
    moved: tuple[Entry[kinds.LotMoved], ...] = ()
    counted: tuple[Entry[kinds.LotCounted], ...] = ()
    reserved: dict[str, int] = field(default_factory=dict)
    tastings: tuple[Entry[kinds.TastingNoted], ...] = ()
    labels: tuple[Entry[kinds.LabelPrinted], ...] = ()
    notes: tuple[Entry[Noted], ...] = ()

    @property
    def name(self) -> str:
        """What the person calls it."""
        return self.made.name

    @property
    def origin(self) -> str:
        """piece, dish, mixed or bought, `other` where nothing was said."""
        if self.made.parts:
            return "mixed"
        for name in ("piece", "dish", "bought"):
            if getattr(self.made, name):
                return name
        return "other"

    @property
    def free(self) -> int:
        """Packs left that no trip holds."""
        return max(self.packs_left - sum(self.reserved.values()), 0)

    @property
    def state(self) -> str:
        """whole, opened, in_a_pack, eaten, given_away, thrown_out, on_trip or lost: by what took the last."""
        if self.packs_left:
            return "whole"
        if self.opened:
            return "opened"
        gone = [move.why for move in self.moves if move.packs < 0 or move.why in _ENDS]
        last = gone[-1] if gone else "lost"
        return {"swapped": "given_away", "counted": "lost"}.get(last, last)

    @property
    def is_gone(self) -> bool:
        """Whether nothing of it is in the house."""
        return not self.packs_left and not self.opened

    @property
    def out(self) -> int:
        """Packs that left whole and may come back: swapped or given away, on a trip, or not found."""
        gone = sum(-m.packs for m in self.moves if m.why in _MAY_RETURN)
        return max(gone - sum(m.packs for m in self.moves if m.why == "returned"), 0)


def lot(journal: Journal, code: str) -> LotState:
    """A lot by its code. Raises NotFound."""
    found = journal.fold(kinds.STREAM + code, lot_state)
    if found is None:
        raise NotFound("lot", code)
    return found


def lots(journal: Journal) -> tuple[LotState, ...]:
    """Every lot that counts, in the order they were made."""
    return tuple(state for state in journal.fold_all(kinds.STREAM, lot_state).values() if state is not None)


def lot_state(events: tuple[Event, ...]) -> LotState | None:
    """The lot the events of one stream tell of, None where its making was withdrawn."""
    state: LotState | None = None
    for fact in effective(events):
        body: Any = fact.body
        if isinstance(body, kinds.LotMade):
            event = fact.event
            code = event.stream.removeprefix(kinds.STREAM)
            state = LotState(code, 0, event.id, fact.at, event.zone, body, body.place, body.packs)
            continue
        handler = _HANDLERS.get(type(body))
        if state is not None and handler is not None:
            state = _ended(handler(state, fact, body), fact.at)
    if state is None:
        return None
    return replace(state, version=max(event.stream_version for event in events))


def _ended(state: LotState, at: datetime) -> LotState:
    """The lot with the instant it was gone: what emptied it tells, what brings packs back unsays it."""
    gone_at = (state.gone_at or at) if state.is_gone else None
    return state if gone_at == state.gone_at else replace(state, gone_at=gone_at)


def _change(state: LotState, fact: Fact, packs: int, why: str, **told: Any) -> LotState:
    move = Move(fact.event.id, fact.at, packs, why, **told)
    left = state.packs_left + packs
    short = state.short + max(-left, 0)
    return replace(state, packs_left=max(left, 0), short=short, moves=(*state.moves, move))


def _drawn(state: LotState, fact: Fact, body: kinds.PacksDrawn) -> LotState:
    told = {"reason": body.reason, "receiver": body.receiver, "trip": body.trip}
    state = _change(state, fact, -body.packs, body.why, **told)
    if body.why == "opened":
        state = replace(state, opened=state.opened + body.packs)
    if body.trip and body.trip in state.reserved:
        state = _reserve(state, body.trip, state.reserved[body.trip] - body.packs)
    return state


def _finished(state: LotState, fact: Fact, body: kinds.OpenedFinished) -> LotState:
    move = Move(fact.event.id, fact.at, 0, body.why, body.reason)
    short = state.short + max(body.packs - state.opened, 0)
    return replace(state, opened=max(state.opened - body.packs, 0), short=short, moves=(*state.moves, move))


def _returned(state: LotState, fact: Fact, body: kinds.PacksReturned) -> LotState:
    return _change(state, fact, body.packs, "returned", reason=body.reason, trip=body.trip)


def _counted(state: LotState, fact: Fact, body: kinds.LotCounted) -> LotState:
    state = _change(state, fact, body.packs - state.packs_left, "counted", reason=body.reason)
    return replace(state, counted=in_time(state.counted, entry_of(fact, body)))


def _moved(state: LotState, fact: Fact, body: kinds.LotMoved) -> LotState:
    moved = in_time(state.moved, entry_of(fact, body))
    return replace(state, moved=moved, place=moved[-1].body.place)


def _reserved(state: LotState, fact: Fact, body: kinds.PacksReserved) -> LotState:
    return _reserve(state, body.trip, body.packs)


def _reserve(state: LotState, trip: str, packs: int) -> LotState:
    held = {k: v for k, v in state.reserved.items() if k != trip}
    return replace(state, reserved=held | {trip: packs} if packs > 0 else held)


def _acted(state: LotState, fact: Fact, body: judged.VerdictActed) -> LotState:
    if body.done not in _ACTED:
        return state
    why = _ACTED[body.done]
    if body.packs is not None:
        return _change(state, fact, -body.packs, why, receiver=body.receiver)
    # the whole of it, what was opened too
    state = _change(state, fact, -state.packs_left, why, receiver=body.receiver)
    return replace(state, opened=0)


def _tasted(state: LotState, fact: Fact, body: kinds.TastingNoted) -> LotState:
    return replace(state, tastings=in_time(state.tastings, entry_of(fact, body)))


def _labelled(state: LotState, fact: Fact, body: kinds.LabelPrinted) -> LotState:
    return replace(state, labels=in_time(state.labels, entry_of(fact, body)))


def _noted(state: LotState, fact: Fact, body: Noted) -> LotState:
    return replace(state, notes=in_time(state.notes, entry_of(fact, body)))


_HANDLERS: Handlers[LotState] = {
    kinds.PacksDrawn: _drawn,
    kinds.OpenedFinished: _finished,
    kinds.PacksReturned: _returned,
    kinds.LotCounted: _counted,
    kinds.LotMoved: _moved,
    kinds.PacksReserved: _reserved,
    kinds.TastingNoted: _tasted,
    kinds.LabelPrinted: _labelled,
    judged.VerdictActed: _acted,
    Noted: _noted,
}
