"""From events to state: corrections applied first, then one handler a kind, in the order recorded.

Order is that of the sequence number, never of the clock. A physical series is sorted by the time of
measurement where it is kept (`in_time`), so that a late weigh-in is normal.
"""

from __future__ import annotations

import bisect
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal, Protocol, TypeVar

from saltfare.journal.events import Body, Corrected, Event

S = TypeVar("S")


@dataclass(frozen=True, slots=True)
class Fact:
    """An event as it counts now: its body and time after corrections, and the last one that told so."""

    event: Event
    body: Body
    at: datetime
    corrected_by: str | None = None


@dataclass(slots=True)
class _Ruling:
    what: Literal["replace", "withdraw"]
    new: Body | None
    new_at: datetime | None
    by: str
    closed: bool = False
    """A withdrawal came before: nothing told earlier counts."""


def effective(events: Iterable[Event]) -> tuple[Fact, ...]:
    """The facts of whole streams: corrections resolved, withdrawn events left out.

    The latest correction of an event rules; where it leaves body or time as it was, the one before is
    asked, back to a withdrawal. A withdrawn correction says nothing; a replaced one says what replaced it.
    """
    listed = sorted(events, key=lambda event: event.seq)
    return tuple(_facts(listed, _rulings(listed)))


def withdrawn(events: Iterable[Event]) -> tuple[Fact, ...]:
    """The events that were taken back, as they counted until then; `corrected_by` is what took them back."""
    listed = sorted(events, key=lambda event: event.seq)
    rulings = _rulings(listed)
    own = (event for event in listed if not isinstance(event.body, Corrected))
    return tuple(
        Fact(event, event.body, event.at, rulings[event.id].by)
        for event in own
        if event.id in rulings and rulings[event.id].what == "withdraw"
    )


def _rulings(listed: Sequence[Event]) -> dict[str, _Ruling]:
    """What rules each corrected event; `listed` in the order recorded."""
    rulings: dict[str, _Ruling] = {}
    for event in reversed(listed):
        body = event.body
        if not isinstance(body, Corrected) or event.corrects is None:
            continue
        said = _Ruling(body.what, body.new, body.new_at, event.id)
        above = rulings.get(event.id)
        if above is not None:
            if above.what == "withdraw":
                continue
            said = _Ruling("replace", above.new or said.new, above.new_at or said.new_at, above.by)
        later = rulings.setdefault(event.corrects, said)
        if later is said or later.closed:
            continue
        if said.what == "withdraw":
            later.closed = True
            continue
        later.new = later.new or said.new
        later.new_at = later.new_at or said.new_at
    return rulings


def _facts(events: Iterable[Event], rulings: Mapping[str, _Ruling]) -> Iterable[Fact]:
    for event in events:
        ruling = rulings.get(event.id)
        if isinstance(event.body, Corrected) or (ruling and ruling.what == "withdraw"):
            continue
        if ruling is None:
            yield Fact(event, event.body, event.at)
        else:
            yield Fact(event, ruling.new or event.body, ruling.new_at or event.at, ruling.by)


Handlers = Mapping[type[Body], Callable[[S, Fact, Any], S]]


def fold(events: Iterable[Event], initial: S, handlers: Handlers[S]) -> S:
    """The state after all events; kinds without a handler leave it as it is."""
    state = initial
    for fact in effective(events):
        handler = handlers.get(type(fact.body))
        if handler is not None:
            state = handler(state, fact, fact.body)
    return state


class Timed(Protocol):
    """A member of a physical series."""

    @property
    def at(self) -> datetime:
        """When it was measured."""
        ...


T = TypeVar("T", bound=Timed)


def in_time(series: tuple[T, ...], member: T) -> tuple[T, ...]:
    """The series with the member in its place in time; of the same instant, the later recorded last."""
    place = bisect.bisect_right(series, member.at, key=lambda one: one.at)
    return (*series[:place], member, *series[place:])
