"""What is wished, room, days away and the tasks accepted, as their events tell. Data only."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from typing import Literal

from saltfare.core.fields import Measured
from saltfare.journal import events_plan as kinds
from saltfare.journal.events import Event
from saltfare.journal.fold import Fact, Handlers, effective, fold
from saltfare.journal.store import Journal

Status = Literal["open", "done", "cancelled"]


@dataclass(frozen=True, slots=True)
class RoomState:
    """Room as told last; what nobody told is None, or not in a mapping."""

    hooks: Mapping[str, int] = field(default_factory=dict)
    takes_away: Mapping[str, Measured] = field(default_factory=dict)
    fridge_places: int | None = None
    fridge_volume: Measured | None = None
    freezer_volume: Measured | None = None
    freezer_temperature: Measured | None = None
    trays_area: Measured | None = None
    work_from_h: float | None = None
    work_until_h: float | None = None


@dataclass(frozen=True, slots=True)
class TaskState:
    """A task that was ever accepted. sequence: how often it changed since; changed_at: when it last did."""

    task: kinds.TaskAccepted
    status: Status
    sequence: int
    changed_at: datetime


@dataclass(frozen=True, slots=True)
class AcceptedState:
    """The plan accepted last, and every task that ever was. version: of its stream."""

    version: int
    accepted: kinds.PlanAccepted | None
    accepted_at: datetime | None
    tasks: Mapping[str, TaskState]


def wishes(journal: Journal) -> Mapping[str, kinds.StockWished]:
    """What is wished for, by key, in the order first said."""
    return journal.fold(kinds.WISHES, _wishes) or {}


def room(journal: Journal) -> RoomState:
    """The room there is."""
    return journal.fold(kinds.ROOM, _room) or RoomState()


def away_days(journal: Journal) -> tuple[date, ...]:
    """Every day nobody is home, in order."""
    return journal.fold(kinds.AWAY, _away) or ()


def accepted(journal: Journal) -> AcceptedState:
    """The tasks taken on."""
    return journal.fold(kinds.ACCEPTED, _accepted) or AcceptedState(0, None, None, {})


def _wishes(events: tuple[Event, ...]) -> Mapping[str, kinds.StockWished]:
    out: dict[str, kinds.StockWished] = {}
    for fact in effective(events):
        if isinstance(fact.body, kinds.StockWished):
            out[fact.body.key] = fact.body
        elif isinstance(fact.body, kinds.WishDropped):
            out.pop(fact.body.key, None)
    return out


def _told(state: RoomState, fact: Fact, body: kinds.RoomTold) -> RoomState:
    named = {
        name: getattr(body, name)
        for name in (
            "fridge_places", "fridge_volume", "freezer_volume", "freezer_temperature", "trays_area"
        )
        if getattr(body, name) is not None
    }  # fmt: skip
    for name in ("work_from", "work_until"):
        clock = getattr(body, name)
        if clock is not None:
            named[f"{name}_h"] = clock.hour + clock.minute / 60
    return replace(
        state,
        hooks={**state.hooks, **body.hooks},
        takes_away={**state.takes_away, **body.takes_away},
        **named,
    )


_ROOM: Handlers[RoomState] = {kinds.RoomTold: _told}


def _room(events: tuple[Event, ...]) -> RoomState:
    return fold(events, RoomState(), _ROOM)


def _away(events: tuple[Event, ...]) -> tuple[date, ...]:
    days: set[date] = set()
    for fact in effective(events):
        body = fact.body
        if isinstance(body, kinds.AwayTold):
            these = {body.first + timedelta(days=n) for n in range((body.last - body.first).days + 1)}
            days = days - these if body.home else days | these
    return tuple(sorted(days))


def _accepted(events: tuple[Event, ...]) -> AcceptedState:
    state = AcceptedState(0, None, None, {})
    for fact in effective(events):
        body = fact.body
        if isinstance(body, kinds.PlanAccepted):
            state = _taken_on(state, body, fact.at)
        elif isinstance(body, kinds.TaskSettled) and body.task in state.tasks:
            known = state.tasks[body.task]
            if known.status != body.how:
                new = TaskState(known.task, body.how, known.sequence + 1, fact.at)
                state = replace(state, tasks={**state.tasks, body.task: new})
    return replace(state, version=max(event.stream_version for event in events))


def _taken_on(state: AcceptedState, body: kinds.PlanAccepted, at: datetime) -> AcceptedState:
    """A new plan over the one before: tasks keep their names, those it no longer has are cancelled."""
    tasks = dict(state.tasks)
    for task in body.tasks:
        known = tasks.get(task.id)
        if known is None:
            tasks[task.id] = TaskState(task, "open", 0, at)
        elif known.status == "done":
            continue  # what is done stays done on the day it was for
        elif known.task != task or known.status != "open":
            tasks[task.id] = TaskState(task, "open", known.sequence + 1, at)
    kept = {task.id for task in body.tasks}
    for key, known in tasks.items():
        if key not in kept and known.status == "open":
            tasks[key] = TaskState(known.task, "cancelled", known.sequence + 1, at)
    return replace(state, accepted=body, accepted_at=at, tasks=tasks)
