"""A chamber as its events tell: data only. Its readings are asked of `journal.readings`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from types import MappingProxyType
from typing import Any

from saltfare.core.errors import NotFound
from saltfare.journal import events_chamber as kinds
from saltfare.journal.events import Event, Noted, SettingChanged
from saltfare.journal.fold import Fact, Handlers, effective, fold, in_time
from saltfare.journal.piece import Entry, entry_of
from saltfare.journal.store import Journal

SETTINGS = "settings"


@dataclass(frozen=True, slots=True)
class ChamberState:
    """A chamber. described: None where readings came before a description.

    imports: the imports of readings that count, in time of their last reading.
    """

    key: str
    version: int
    described: kinds.ChamberDescribed | None = None
    described_id: str | None = None
    described_at: datetime | None = None
    imports: tuple[Entry[kinds.Read], ...] = ()
    notes: tuple[Entry[Noted], ...] = ()

    @property
    def name(self) -> str:
        """What the person calls it."""
        return self.described.name if self.described else self.key


def _describe(state: ChamberState, fact: Fact, body: kinds.ChamberDescribed) -> ChamberState:
    return replace(state, described=body, described_id=fact.event.id, described_at=fact.at)


def _read(state: ChamberState, fact: Fact, body: kinds.Read) -> ChamberState:
    return replace(state, imports=in_time(state.imports, entry_of(fact, body)))


def _note(state: ChamberState, fact: Fact, body: Noted) -> ChamberState:
    return replace(state, notes=in_time(state.notes, entry_of(fact, body)))


_HANDLERS: Handlers[ChamberState] = {kinds.ChamberDescribed: _describe, kinds.Read: _read, Noted: _note}


def chamber_state(events: tuple[Event, ...]) -> ChamberState:
    """The chamber its events tell of."""
    last = events[-1]
    initial = ChamberState(last.stream.removeprefix(kinds.STREAM), last.stream_version)
    return fold(events, initial, _HANDLERS)


def chamber(journal: Journal, key: str) -> ChamberState:
    """The chamber of that key. Raises NotFound."""
    state = journal.fold(kinds.STREAM + key, chamber_state)
    if state is None:
        raise NotFound("chamber", key)
    return state


def chambers(journal: Journal) -> tuple[ChamberState, ...]:
    """Every chamber, in the order they were first named."""
    return tuple(journal.fold_all(kinds.STREAM, chamber_state).values())


def _chosen(events: tuple[Event, ...]) -> Mapping[str, Any]:
    out: dict[str, Any] = {}
    for fact in effective(events):
        if isinstance(fact.body, SettingChanged):
            out[fact.body.name] = fact.body.value
    return MappingProxyType({name: value for name, value in out.items() if value is not None})


def settings(journal: Journal) -> Mapping[str, Any]:
    """The household's settings that were changed, by name. Stream: `settings`."""
    return journal.fold(SETTINGS, _chosen) or {}
