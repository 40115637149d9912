"""Places, bought products and swaps as their events tell: data only."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from saltfare.core.errors import NotFound
from saltfare.journal import events_shelf as kinds
from saltfare.journal.events import Event, Noted
from saltfare.journal.events_lot import TastingNoted
from saltfare.journal.fold import effective, in_time
from saltfare.journal.piece import Entry, entry_of
from saltfare.journal.store import Journal


@dataclass(frozen=True, slots=True)
class PlaceState:
    """A place, as described last."""

    key: str
    version: int
    described: kinds.PlaceDescribed
    described_id: str
    described_at: datetime

    @property
    def name(self) -> str:
        """What the person calls it."""
        return self.described.name


@dataclass(frozen=True, slots=True)
class BoughtState:
    """A bought product, as its label was typed last."""

    key: str
    version: int
    described: kinds.BoughtDescribed
    described_id: str
    described_at: datetime
    tastings: tuple[Entry[TastingNoted], ...] = ()
    notes: tuple[Entry[Noted], ...] = ()

    @property
    def name(self) -> str:
        """What it is called."""
        return self.described.name


@dataclass(frozen=True, slots=True)
class SwapState:
    """A swap."""

    code: str
    version: int
    swapped: kinds.Swapped
    swapped_id: str
    at: datetime
    zone: str
    notes: tuple[Entry[Noted], ...] = ()


def place(journal: Journal, key: str) -> PlaceState:
    """A described place by its key. Raises NotFound."""
    found = journal.fold(kinds.PLACES + key, _place)
    if found is None:
        raise NotFound("place", key)
    return found


def places(journal: Journal) -> tuple[PlaceState, ...]:
    """Every place described, in the order first described."""
    return tuple(one for one in journal.fold_all(kinds.PLACES, _place).values() if one is not None)


def bought(journal: Journal, key: str) -> BoughtState:
    """A bought product by its key. Raises NotFound."""
    found = journal.fold(kinds.BOUGHT + key, _bought)
    if found is None:
        raise NotFound("bought", key)
    return found


def all_bought(journal: Journal) -> tuple[BoughtState, ...]:
    """Every bought product, in the order first typed."""
    return tuple(one for one in journal.fold_all(kinds.BOUGHT, _bought).values() if one is not None)


def swap(journal: Journal, code: str) -> SwapState:
    """A swap by its code. Raises NotFound."""
    found = journal.fold(kinds.SWAPS + code, _swap)
    if found is None:
        raise NotFound("swap", code)
    return found


def swaps(journal: Journal) -> tuple[SwapState, ...]:
    """Every swap that counts, in the order recorded."""
    return tuple(one for one in journal.fold_all(kinds.SWAPS, _swap).values() if one is not None)


def _name(events: tuple[Event, ...]) -> tuple[str, int]:
    return events[0].stream.partition("/")[2], max(event.stream_version for event in events)


def _place(events: tuple[Event, ...]) -> PlaceState | None:
    told = [f for f in effective(events) if isinstance(f.body, kinds.PlaceDescribed)]
    if not told:
        return None
    key, version = _name(events)
    last = told[-1]
    assert isinstance(last.body, kinds.PlaceDescribed)  # noqa: S101 - chosen by its kind above
    return PlaceState(key, version, last.body, last.event.id, last.at)


def _bought(events: tuple[Event, ...]) -> BoughtState | None:
    state: BoughtState | None = None
    key, version = _name(events)
    for fact in effective(events):
        body = fact.body
        if isinstance(body, kinds.BoughtDescribed):
            held = state or BoughtState(key, version, body, fact.event.id, fact.at)
            state = replace(held, described=body, described_id=fact.event.id, described_at=fact.at)
        elif state is not None and isinstance(body, TastingNoted):
            state = replace(state, tastings=in_time(state.tastings, entry_of(fact, body)))
        elif state is not None and isinstance(body, Noted):
            state = replace(state, notes=in_time(state.notes, entry_of(fact, body)))
    return state


def _swap(events: tuple[Event, ...]) -> SwapState | None:
    state: SwapState | None = None
    code, version = _name(events)
    for fact in effective(events):
        body = fact.body
        if isinstance(body, kinds.Swapped):
            state = SwapState(code, version, body, fact.event.id, fact.at, fact.event.zone)
        elif state is not None and isinstance(body, Noted):
            state = replace(state, notes=in_time(state.notes, entry_of(fact, body)))
    return state
