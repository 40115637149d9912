"""Own foods as their events tell: data only."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from saltfare.core.errors import NotFound
from saltfare.journal import events_food as kinds
from saltfare.journal.events import Event, Noted
from saltfare.journal.fold import effective, in_time
from saltfare.journal.piece import Entry, entry_of
from saltfare.journal.store import Journal


@dataclass(frozen=True, slots=True)
class FoodState:
    """An own food, as its label was typed last. dropped: no longer offered."""

    key: str
    version: int
    kept: kinds.FoodKept
    kept_id: str
    kept_at: datetime
    dropped: bool = False
    dropped_id: str | None = None
    notes: tuple[Entry[Noted], ...] = ()

    @property
    def name(self) -> str:
        """What it is called."""
        return self.kept.name


def food(journal: Journal, key: str) -> FoodState:
    """An own food by its id. Raises NotFound."""
    found = journal.fold(kinds.STREAM + key, _state)
    if found is None:
        raise NotFound("food", key)
    return found


def foods(journal: Journal) -> tuple[FoodState, ...]:
    """Every own food, dropped ones included, in the order first kept."""
    return tuple(one for one in journal.fold_all(kinds.STREAM, _state).values() if one is not None)


def _state(events: tuple[Event, ...]) -> FoodState | None:
    state: FoodState | None = None
    key, version = events[0].stream.partition("/")[2], max(event.stream_version for event in events)
    for fact in effective(events):
        body = fact.body
        if isinstance(body, kinds.FoodKept):
            notes = state.notes if state else ()
            state = FoodState(key, version, body, fact.event.id, fact.at, notes=notes)
        elif state is not None and isinstance(body, kinds.FoodDropped):
            state = replace(state, dropped=True, dropped_id=fact.event.id)
        elif state is not None and isinstance(body, Noted):
            state = replace(state, notes=in_time(state.notes, entry_of(fact, body)))
    return state
