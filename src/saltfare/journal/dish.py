"""A batch of a dish as its events tell: data only, no physics."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum
from typing import Any

from saltfare.core.errors import NotFound
from saltfare.core.fields import Measured
from saltfare.journal import events_dish as kinds
from saltfare.journal import events_lot as lots
from saltfare.journal.events import Body, Event, Noted
from saltfare.journal.fold import Fact, Handlers, fold, in_time
from saltfare.journal.piece import Entry, entry_of
from saltfare.journal.store import Journal


class DishStage(StrEnum):
    """Where a batch stands."""

    PLANNED = "planned"
    COOKED = "cooked"
    COOLING = "cooling"
    ON_TRAYS = "on trays"
    CONDITIONING = "conditioning"
    PACKED = "packed"


@dataclass(frozen=True, slots=True)
class DishState:
    """A batch. Every series is in time, however late it was recorded.

    version: of its stream. choice: recipe, trays and packs as meant now. taught: what test pouches of
    the batch it is like showed. ended: `dish_discarded` where it was thrown out, else None.
    """

    code: str
    version: int
    planned_id: str
    planned_at: datetime
    zone: str
    planned: kinds.DishPlanned
    choice: kinds.DishChoice
    changed: tuple[Entry[kinds.RecipeChanged], ...] = ()
    cooked: tuple[Entry[kinds.DishCooked], ...] = ()
    cooled: tuple[Entry[kinds.DishCooled], ...] = ()
    trayed: tuple[Entry[kinds.DishTrayed], ...] = ()
    weighed: tuple[Entry[kinds.TraysWeighed], ...] = ()
    spoonfuls: tuple[Entry[kinds.SpoonfulDried], ...] = ()
    conditioned: tuple[Entry[kinds.Conditioned], ...] = ()
    tried: tuple[Entry[kinds.PouchTried], ...] = ()
    packed: tuple[Entry[kinds.DishPacked], ...] = ()
    discarded: tuple[Entry[kinds.DishDiscarded], ...] = ()
    notes: tuple[Entry[Noted], ...] = ()
    tastings: tuple[Entry[lots.TastingNoted], ...] = ()

    @property
    def name(self) -> str:
        """What the person calls it."""
        return self.planned.name

    @property
    def ended(self) -> str | None:
        """How it ended other than by being packed."""
        return kinds.DishDiscarded.kind if self.discarded else None

    @property
    def state(self) -> DishStage:
        """Where it stands: what happened last tells."""
        if any(entry.body.rest for entry in self.packed):
            return DishStage.PACKED
        jars = [e for e in self.conditioned if e.body.step != "shaken"]
        begun = max((e.at for e in self.trayed), default=None)
        if jars and (begun is None or jars[-1].at >= begun):
            return DishStage.CONDITIONING if jars[-1].body.step == "in_jar" else DishStage.ON_TRAYS
        if begun is not None:
            return DishStage.ON_TRAYS
        if self.cooled:
            return DishStage.COOLING
        return DishStage.COOKED if self.cooked else DishStage.PLANNED

    @property
    def cooked_kg(self) -> float | None:
        """What the pot held when cooked, None where it was not weighed."""
        mass = self.cooked[-1].body.mass if self.cooked else None
        return mass.value if mass else None

    @property
    def laid_kg(self) -> float | None:
        """What went on the trays, None where that was all of it."""
        mass = self.trayed[-1].body.mass if self.trayed else None
        return mass.value if mass else None

    @property
    def trays_since(self) -> datetime | None:
        """When the trays went in."""
        return self.trayed[-1].at if self.trayed else None

    @property
    def weights(self) -> tuple[Entry[kinds.TraysWeighed], ...]:
        """The weighings of the trays as they went in last."""
        since = self.trays_since
        return tuple(e for e in self.weighed if since is not None and e.at >= since)

    @property
    def tare(self) -> Measured | None:
        """The empty trays all together, as told last."""
        if not self.weights:
            return self.trayed[-1].body.tare if self.trayed else None
        last = self.weights[-1].body
        return last.each[0].tare if len(last.each) == 1 else Measured.si(last.tare_kg)

    @property
    def on_trays_kg(self) -> float | None:
        """The food on the trays at the last weighing."""
        last = self.weights[-1].body if self.weights else None
        return last.gross_kg - last.tare_kg if last else None

    @property
    def jar_kg(self) -> float | None:
        """What went into the jar, where it was weighed."""
        put = [e.body.mass for e in self.conditioned if e.body.step == "in_jar" and e.body.mass]
        return put[-1].value if put else None

    @property
    def lots(self) -> tuple[str, ...]:
        """The lots it was packed into."""
        return tuple(one.lot for entry in self.packed for one in entry.body.portions)

    @property
    def packed_kg(self) -> float:
        """What is in its packs together."""
        return sum(one.packs * one.mass.value for entry in self.packed for one in entry.body.portions)


Handler = Callable[[DishState | None, Fact, Any], DishState | None]


def _series(name: str) -> Handler:
    def add(state: DishState | None, fact: Fact, body: Body) -> DishState | None:
        if state is None:
            return None
        changes: dict[str, Any] = {name: in_time(getattr(state, name), entry_of(fact, body))}
        return replace(state, **changes)

    return add


def _planned(state: DishState | None, fact: Fact, body: kinds.DishPlanned) -> DishState:
    event = fact.event
    if state is not None:
        return replace(state, planned=body, planned_id=event.id, choice=body.dish)
    code = event.stream.removeprefix(kinds.STREAM)
    return DishState(code, 0, event.id, fact.at, event.zone, body, body.dish)


def _changed(state: DishState | None, fact: Fact, body: kinds.RecipeChanged) -> DishState | None:
    added = _series("changed")(state, fact, body)
    return added and replace(added, choice=added.changed[-1].body.dish)


_HANDLERS: Handlers[DishState | None] = {
    kinds.DishPlanned: _planned,
    kinds.RecipeChanged: _changed,
    kinds.DishCooked: _series("cooked"),
    kinds.DishCooled: _series("cooled"),
    kinds.DishTrayed: _series("trayed"),
    kinds.TraysWeighed: _series("weighed"),
    kinds.SpoonfulDried: _series("spoonfuls"),
    kinds.Conditioned: _series("conditioned"),
    kinds.PouchTried: _series("tried"),
    kinds.DishPacked: _series("packed"),
    kinds.DishDiscarded: _series("discarded"),
    lots.TastingNoted: _series("tastings"),
    Noted: _series("notes"),
}


def _state(events: tuple[Event, ...]) -> DishState | None:
    """The batch its events tell of; None where its planning was withdrawn."""
    state = fold(events, None, _HANDLERS)
    return replace(state, version=events[-1].stream_version) if state else None


def dish(journal: Journal, code: str) -> DishState:
    """The batch of that code. Raises NotFound, also where its planning was withdrawn."""
    state = journal.fold(kinds.STREAM + code, _state)
    if state is None:
        raise NotFound("dish", code)
    return state


def dishes(journal: Journal) -> tuple[DishState, ...]:
    """Every batch that counts, in the order they were planned."""
    return tuple(state for state in journal.fold_all(kinds.STREAM, _state).values() if state is not None)
