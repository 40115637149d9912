"""Own isotherms, own films and the price book, as their events tell. Data only."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Generic, TypeVar

from saltfare.core.errors import NotFound
from saltfare.journal import events_pouch as kinds
from saltfare.journal.events import Body, Event
from saltfare.journal.fold import effective
from saltfare.journal.store import Journal

B = TypeVar("B", bound=Body)


@dataclass(frozen=True, slots=True)
class Kept(Generic[B]):
    """The last word on one key: what was said, when, and the event that says it."""

    key: str
    body: B
    event_id: str
    at: datetime
    version: int


def _last(events: tuple[Event, ...]) -> Kept[Body] | None:
    facts = effective(events)
    if not facts:
        return None
    last = facts[-1]
    key = last.event.stream.partition("/")[2]
    return Kept(key, last.body, last.event.id, last.at, max(event.stream_version for event in events))


def _all(journal: Journal, stream: str, kind: type[B]) -> Mapping[str, Kept[B]]:
    out: dict[str, Kept[B]] = {}
    for found in journal.fold_all(stream, _last).values():
        if found is not None and isinstance(found.body, kind):
            out[found.key] = Kept(found.key, found.body, found.event_id, found.at, found.version)
    return out


def isotherms(journal: Journal) -> Mapping[str, Kept[kinds.IsothermKept]]:
    """Own isotherms by key."""
    return _all(journal, kinds.ISOTHERM, kinds.IsothermKept)


def films(journal: Journal) -> Mapping[str, Kept[kinds.FilmKept]]:
    """Own films by key."""
    return _all(journal, kinds.FILM, kinds.FilmKept)


def prices(journal: Journal) -> Mapping[str, Kept[kinds.PriceSet]]:
    """The price book by key, what was struck out left out."""
    found = _all(journal, kinds.PRICE, kinds.PriceSet)
    return {key: kept for key, kept in found.items() if kept.body.minor is not None or kept.body.amount}


def isotherm(journal: Journal, key: str) -> Kept[kinds.IsothermKept]:
    """One own isotherm. Raises NotFound."""
    found = isotherms(journal).get(key)
    if found is None:
        raise NotFound("isotherm", key)
    return found


@dataclass(frozen=True, slots=True)
class LotSaid:
    """What was said of one lot beside its packs: its food, and the time spent on it."""

    food: kinds.FoodTold | None = None
    food_id: str | None = None
    work: kinds.WorkTold | None = None
    work_id: str | None = None


def lot_said(journal: Journal, code: str) -> LotSaid:
    """What was said of a lot's food and of the work on it; the last word on each."""
    return journal.fold("lot/" + code, _said) or LotSaid()


def _said(events: tuple[Event, ...]) -> LotSaid:
    food: tuple[kinds.FoodTold | None, str | None] = (None, None)
    work: tuple[kinds.WorkTold | None, str | None] = (None, None)
    for fact in effective(events):
        if isinstance(fact.body, kinds.FoodTold):
            food = fact.body, fact.event.id
        elif isinstance(fact.body, kinds.WorkTold):
            work = fact.body, fact.event.id
    return LotSaid(*food, *work)
