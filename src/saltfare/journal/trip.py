"""A trip as its events tell: who goes where when, what is held for it, how it went. Data only."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from enum import StrEnum
from typing import Any

from saltfare.core.errors import NotFound
from saltfare.journal import events_trip as kinds
from saltfare.journal.events import Event, Noted
from saltfare.journal.fold import Fact, Handlers, effective
from saltfare.journal.piece import Entry, entry_of
from saltfare.journal.store import Journal


class TripStand(StrEnum):
    """Where a trip stands."""

    PLANNED = "planned"
    COMMITTED = "menu committed"
    ON_TRIP = "on trip"
    OVER = "over"
    CANCELLED = "cancelled"


@dataclass(frozen=True, slots=True)
class TripState:
    """A trip. version: of its stream.

    menu: the menu committed that still stands. handlings: by item, the last choice. held, barred: what still
    is, in the order said. taken: packs drawn, in order. Days are counted from 0 at the departure.
    """

    code: str
    version: int
    planned_id: str
    planned_at: datetime
    planned: kinds.TripPlanned
    days: tuple[kinds.DayTold, ...] = ()
    party: tuple[kinds.PersonTold, ...] = ()
    kitchen: kinds.TripKitchen | None = None
    limits: kinds.TripLimits | None = None
    handlings: Mapping[str, Entry[kinds.HandlingChosen]] = field(default_factory=dict)
    held: tuple[Entry[kinds.ItemHeld], ...] = ()
    barred: tuple[Entry[kinds.ItemBarred], ...] = ()
    staples: tuple[kinds.StapleWanted, ...] = ()
    menu: Entry[kinds.MenuCommitted] | None = None
    menus: tuple[Entry[kinds.MenuCommitted], ...] = ()
    taken: tuple[Entry[kinds.PacksTaken], ...] = ()
    after: Entry[kinds.TripAfter] | None = None
    cancelled: Entry[kinds.TripCancelled] | None = None
    notes: tuple[Entry[Noted], ...] = ()

    @property
    def name(self) -> str:
        """What the person calls it."""
        return self.planned.name

    @property
    def departure(self) -> date:
        """The civil day of departure."""
        return self.planned.departure

    @property
    def last_day(self) -> date:
        """The civil day of the last day told, spare days included."""
        return self.departure + timedelta(days=max(len(self.days) - 1, 0))

    @property
    def stand(self) -> TripStand:
        """Where it stands."""
        if self.cancelled:
            return TripStand.CANCELLED
        if self.after:
            return TripStand.OVER
        if self.taken:
            return TripStand.ON_TRIP
        return TripStand.COMMITTED if self.menu else TripStand.PLANNED

    def on(self, day: int) -> date:
        """The civil date of a day counted from 0."""
        return self.departure + timedelta(days=day)

    def person(self, name: str) -> kinds.PersonTold:
        """One of the party. Raises NotFound."""
        for one in self.party:
            if one.name == name:
                return one
        raise NotFound("person", name)


def trip(journal: Journal, code: str) -> TripState:
    """A trip by its code. Raises NotFound."""
    found = journal.fold(kinds.STREAM + code, _state)
    if found is None:
        raise NotFound("trip", code)
    return found


def trips(journal: Journal) -> tuple[TripState, ...]:
    """Every trip that counts, in the order they were planned."""
    return tuple(state for state in journal.fold_all(kinds.STREAM, _state).values() if state is not None)


def _state(events: tuple[Event, ...]) -> TripState | None:
    """The trip the events of one stream tell of, None where its planning was withdrawn."""
    state: TripState | None = None
    for fact in effective(events):
        body: Any = fact.body
        if isinstance(body, kinds.TripPlanned):
            if state is None:
                code = fact.event.stream.removeprefix(kinds.STREAM)
                state = TripState(code, 0, fact.event.id, fact.at, body)
            else:
                state = replace(state, planned=body)
            continue
        handler = _HANDLERS.get(type(body))
        if state is not None and handler is not None:
            state = handler(state, fact, body)
    if state is None:
        return None
    return replace(state, version=max(event.stream_version for event in events))


def _days(state: TripState, fact: Fact, body: kinds.TripDays) -> TripState:
    return replace(state, days=body.days)


def _party(state: TripState, fact: Fact, body: kinds.TripParty) -> TripState:
    return replace(state, party=body.people)


def _kitchen(state: TripState, fact: Fact, body: kinds.TripKitchen) -> TripState:
    return replace(state, kitchen=body)


def _limits(state: TripState, fact: Fact, body: kinds.TripLimits) -> TripState:
    return replace(state, limits=body)


def _handling(state: TripState, fact: Fact, body: kinds.HandlingChosen) -> TripState:
    return replace(state, handlings={**state.handlings, body.item: entry_of(fact, body)})


def _held(state: TripState, fact: Fact, body: kinds.ItemHeld) -> TripState:
    return replace(state, held=(*state.held, entry_of(fact, body)))


def _barred(state: TripState, fact: Fact, body: kinds.ItemBarred) -> TripState:
    return replace(state, barred=(*state.barred, entry_of(fact, body)))


def _let_go(state: TripState, fact: Fact, body: kinds.PinLetGo) -> TripState:
    return replace(
        state,
        held=tuple(e for e in state.held if e.event_id not in body.of),
        barred=tuple(e for e in state.barred if e.event_id not in body.of),
    )


def _staples(state: TripState, fact: Fact, body: kinds.StaplesWanted) -> TripState:
    return replace(state, staples=body.staples)


def _committed(state: TripState, fact: Fact, body: kinds.MenuCommitted) -> TripState:
    made = entry_of(fact, body)
    return replace(state, menu=made, menus=(*state.menus, made))


def _released(state: TripState, fact: Fact, body: kinds.MenuReleased) -> TripState:
    return replace(state, menu=None)


def _taken(state: TripState, fact: Fact, body: kinds.PacksTaken) -> TripState:
    return replace(state, taken=(*state.taken, entry_of(fact, body)))


def _after(state: TripState, fact: Fact, body: kinds.TripAfter) -> TripState:
    return replace(state, after=entry_of(fact, body))


def _cancelled(state: TripState, fact: Fact, body: kinds.TripCancelled) -> TripState:
    return replace(state, menu=None, cancelled=entry_of(fact, body))


def _noted(state: TripState, fact: Fact, body: Noted) -> TripState:
    return replace(state, notes=(*state.notes, entry_of(fact, body)))


_HANDLERS: Handlers[TripState] = {
    kinds.TripDays: _days,
    kinds.TripParty: _party,
    kinds.TripKitchen: _kitchen,
    kinds.TripLimits: _limits,
    kinds.HandlingChosen: _handling,
    kinds.ItemHeld: _held,
    kinds.ItemBarred: _barred,
    kinds.PinLetGo: _let_go,
    kinds.StaplesWanted: _staples,
    kinds.MenuCommitted: _committed,
    kinds.MenuReleased: _released,
    kinds.PacksTaken: _taken,
    kinds.TripAfter: _after,
    kinds.TripCancelled: _cancelled,
    Noted: _noted,
}
