"""A piece as its events tell: data only, no physics."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum
from typing import Any, Generic, TypeVar

from saltfare.core.errors import NotFound
from saltfare.journal import events_piece as kinds
from saltfare.journal.events import Body, Event, Noted
from saltfare.journal.fold import Fact, Handlers, fold, in_time
from saltfare.journal.store import Journal

B = TypeVar("B", bound=Body)


class State(StrEnum):
    """Where a piece stands."""

    PLANNED = "planned"
    IN_SALT = "in salt"
    RESTING = "resting"
    HANGING = "hanging"
    AT_ITS_MASS = "at its mass"
    TAKEN_DOWN = "taken down"


@dataclass(frozen=True, slots=True)
class Entry(Generic[B]):
    """One thing that happened, as it counts now. event_id: what a correction names."""

    event_id: str
    at: datetime
    zone: str
    body: B
    corrected_by: str | None = None


@dataclass(frozen=True, slots=True)
class PieceState:
    """A piece. Every series is in time of measurement, however late it was recorded.

    version: the version of its stream, what a command gives as `seen_version`.
    """

    code: str
    version: int
    started_id: str
    started_at: datetime
    zone: str
    started: kinds.Started
    salted: tuple[Entry[kinds.Salted], ...] = ()
    turned: tuple[Entry[kinds.Turned], ...] = ()
    washed: tuple[Entry[kinds.Washed], ...] = ()
    hung: tuple[Entry[kinds.Hung], ...] = ()
    weigh_ins: tuple[Entry[kinds.Weighed], ...] = ()
    taken_down: tuple[Entry[kinds.TakenDown], ...] = ()
    notes: tuple[Entry[Noted], ...] = ()
    forecasts: tuple[Entry[kinds.ForecastIssued], ...] = ()

    @property
    def name(self) -> str:
        """What the person calls it."""
        return self.started.name

    @property
    def green_weight_kg(self) -> float:
        """Its mass before salting."""
        return self.started.green_weight.value

    @property
    def target_mass_kg(self) -> float | None:
        """The mass it is to reach: as told at hanging, before that as planned."""
        told = self.hung[-1].body.target if self.hung else None
        target = told or self.started.target
        return target.mass.value if target else None

    @property
    def last_mass_kg(self) -> float | None:
        """Its mass at the last weigh-in, or at hanging where there is none."""
        if self.weigh_ins:
            return self.weigh_ins[-1].body.mass.value
        return self.hung[-1].body.mass.value if self.hung else None

    @property
    def chamber(self) -> str | None:
        """Where it hangs, or where it was to hang."""
        hung = self.hung[-1].body.chamber if self.hung else None
        return hung or self.started.chamber

    @property
    def state(self) -> State:
        """Where it stands: what happened tells, and the last weigh-in against the target mass."""
        if self.taken_down:
            return State.TAKEN_DOWN
        if self.hung:
            target = self.target_mass_kg
            last = self.weigh_ins[-1].body.mass.value if self.weigh_ins else None
            done = target is not None and last is not None and last <= target
            return State.AT_ITS_MASS if done else State.HANGING
        if self.washed:
            return State.RESTING
        return State.IN_SALT if self.salted else State.PLANNED


def entry_of(fact: Fact, body: B) -> Entry[B]:
    """The entry of a fact in a series."""
    return Entry(fact.event.id, fact.at, fact.event.zone, body, fact.corrected_by)


def _series(name: str) -> Callable[[PieceState | None, Fact, Any], PieceState | None]:
    def add(state: PieceState | None, fact: Fact, body: Body) -> PieceState | None:
        if state is None:
            return None
        grown: dict[str, Any] = {name: in_time(getattr(state, name), entry_of(fact, body))}
        return replace(state, **grown)

    return add


def _start(state: PieceState | None, fact: Fact, body: kinds.Started) -> PieceState:
    event = fact.event
    code = event.stream.removeprefix(kinds.STREAM)
    if state is not None:  # planned anew: what happened stays
        return replace(state, started=body, started_id=event.id, started_at=fact.at, zone=event.zone)
    return PieceState(code, event.stream_version, event.id, fact.at, event.zone, body)


_HANDLERS: Handlers[PieceState | None] = {
    kinds.Started: _start,
    kinds.Salted: _series("salted"),
    kinds.Turned: _series("turned"),
    kinds.Washed: _series("washed"),
    kinds.Hung: _series("hung"),
    kinds.Weighed: _series("weigh_ins"),
    kinds.TakenDown: _series("taken_down"),
    kinds.ForecastIssued: _series("forecasts"),
    Noted: _series("notes"),
}


def piece_state(events: tuple[Event, ...]) -> PieceState | None:
    """The piece its events tell of; None where its start was withdrawn."""
    state = fold(events, None, _HANDLERS)
    return replace(state, version=events[-1].stream_version) if state else None


def piece(journal: Journal, code: str) -> PieceState:
    """The piece of that code. Raises NotFound, also where its start was withdrawn."""
    state = journal.fold(kinds.STREAM + code, piece_state)
    if state is None:
        raise NotFound("piece", code)
    return state


def pieces(journal: Journal) -> tuple[PieceState, ...]:
    """Every piece, in the order they were started."""
    return tuple(state for state in journal.fold_all(kinds.STREAM, piece_state).values() if state)
