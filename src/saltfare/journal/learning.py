"""What may teach the forecasts, as its events tell: data only."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from saltfare.journal import events_learning as kinds
from saltfare.journal.events import Event
from saltfare.journal.fold import Fact, Handlers, fold, in_time
from saltfare.journal.piece import Entry, entry_of
from saltfare.journal.store import Journal


@dataclass(frozen=True, slots=True)
class LearningState:
    """excluded: codes of pieces that teach nothing. resets: in time."""

    excluded: frozenset[str] = frozenset()
    resets: tuple[Entry[kinds.LearningReset], ...] = ()

    def resets_after(self, scope: kinds.Scope, key: str, at: datetime) -> int:
        """How often that was reset after an instant: what lies before a reset is of another age."""
        return sum(e.body.scope == scope and e.body.key == key and e.at > at for e in self.resets)


def _exclude(state: LearningState, fact: Fact, body: kinds.PieceExcluded) -> LearningState:
    codes = state.excluded | {body.code} if body.excluded else state.excluded - {body.code}
    return replace(state, excluded=codes)


def _reset(state: LearningState, fact: Fact, body: kinds.LearningReset) -> LearningState:
    return replace(state, resets=in_time(state.resets, entry_of(fact, body)))


_HANDLERS: Handlers[LearningState] = {kinds.PieceExcluded: _exclude, kinds.LearningReset: _reset}


def _state(events: tuple[Event, ...]) -> LearningState:
    return fold(events, LearningState(), _HANDLERS)


def learning(journal: Journal) -> LearningState:
    """What was excluded and reset; nothing where nobody decided anything."""
    return journal.fold(kinds.STREAM, _state) or LearningState()
