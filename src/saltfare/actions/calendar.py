"""The accepted tasks as a calendar takes them: every one that ever was, with how it stands."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Literal

from saltfare.actions.context import Context
from saltfare.actions.shapes import Output, Query
from saltfare.core.errors import NotFound
from saltfare.core.fields import Frozen
from saltfare.journal.chamber import chamber
from saltfare.journal.plan import TaskState, accepted

_OVERDUE_DAYS = 30


class CalendarGiven(Query):
    """Nothing."""


class EntryShown(Frozen):
    """A task. id: the same for good; sequence: how often it changed; last: its last day. place: the name of
    the chamber, where it matters. room_open: places whose room was taken as enough for its day."""

    id: str
    sequence: int
    status: Literal["open", "done", "cancelled"]
    changed_at: datetime
    name: str
    code: str
    on: date
    last: date
    place: str
    amounts: dict[str, float]
    cautions: tuple[str, ...]
    room_open: tuple[str, ...]


class CalendarShown(Output):
    """Every task accepted so far, in order of day; those that fell away are cancelled, not left out."""

    entries: tuple[EntryShown, ...]


class PlannedDue(Frozen):
    """An accepted task that is late, due or coming."""

    id: str
    name: str
    code: str
    on: date
    until: date | None
    days: int
    place: str
    amounts: dict[str, float]
    version: int


def calendar_feed(context: Context, given: CalendarGiven) -> CalendarShown:
    """All accepted tasks with their ids, how often each changed, and those cancelled."""
    entries = [_entry(context, one) for one in accepted(context.journal).tasks.values()]
    return CalendarShown(entries=tuple(sorted(entries, key=lambda one: (one.on, one.name, one.id))))


def tasks_due(context: Context, *, ahead_days: int) -> tuple[PlannedDue, ...]:
    """Open accepted tasks up to some days ahead; what lies a month back is no longer nagged about."""
    state, today = accepted(context.journal), context.today
    out = []
    for one in state.tasks.values():
        task = one.task
        last = task.until or task.on
        if one.status != "open" or task.on > today + timedelta(days=ahead_days):
            continue
        if last < today - timedelta(days=_OVERDUE_DAYS):
            continue
        # of several days it is due on each of them, and late only after the last
        on = task.on if task.on > today else min(today, last)
        out.append(
            PlannedDue(
                id=task.id,
                name=task.name,
                code=task.code,
                on=on,
                until=task.until,
                days=(on - today).days,
                place=_place(context, task.place),
                amounts=task.amounts,
                version=state.version,
            )
        )
    return tuple(sorted(out, key=lambda one: (one.on, one.name, one.id)))


def _entry(context: Context, one: TaskState) -> EntryShown:
    task = one.task
    return EntryShown(
        id=task.id,
        sequence=one.sequence,
        status=one.status,
        changed_at=one.changed_at,
        name=task.name,
        code=task.code,
        on=task.on,
        last=task.until or task.on,
        place=_place(context, task.place),
        amounts=task.amounts,
        cautions=task.cautions,
        room_open=task.room_open,
    )


def _place(context: Context, key: str) -> str:
    if not key:
        return ""
    try:
        return chamber(context.journal, key).name
    except NotFound:
        return key
