"""Plan back from the day something is needed: when each thing must be begun, and what stands in the way.

Everything before hanging and after it takes the days it takes; only hanging (and trays) is uncertain. A
start-by date for a chance is the day it is needed less the days that are enough with that chance. Where
somebody is away or room is short the start is moved earlier until it fits, or as much of it as can be;
what still does not fit is said. No step is ever made shorter.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from hashlib import sha256

import numpy as np
from numpy.typing import NDArray

from saltfare.core.figure import Note
from saltfare.plans.back_plan_room import Book
from saltfare.plans.back_plan_shapes import (
    Asked,
    Away,
    BackPlan,
    Conflict,
    Course,
    Level,
    Make,
    Place,
    Planned,
    Room,
    Rules,
    Step,
    Task,
    UnderWay,
    WantPlanned,
)

_LATE_SEARCH = 21  # days after today a late start is still looked for, where nobody is home today


def back_plan(
    *,
    today: date,
    asked: Sequence[Asked],
    room: Room,
    away: Sequence[Away],
    under_way: Sequence[UnderWay],
    rules: Rules,
) -> BackPlan:
    """The schedule of all wants together.

    Parameters
    ----------
    today : date
    asked : sequence of Asked
        With the makes that give what is missing.
    room, away : what there is room for, and when nobody is there
    under_way : sequence of UnderWay
        All that hangs or dries, whether it serves a want or not: it takes its hook.
    rules : Rules

    Source
    ------
    saltfare_chosen, order of a plan
    """
    book = Book(room, away)
    for begun in under_way:
        held = begun.days.needed(chance=rules.hook_held)
        last = today + timedelta(days=365 if held is None else max(held, 0))
        if begun.hook:
            book.take("hook", begun.hook, today, last, 1)
        if begun.trays_m2:
            book.take("trays", "", today, last, begun.trays_m2)
    by_id = {one.id: one for one in asked}
    notes: list[Note] = []
    untold = sorted({place for a in asked for m in a.makes for way in m.ways for place in book.open_to(way)})
    notes += [Note("room_not_told", {"place": place}) for place in untold]
    # what must begin first is placed first
    order = sorted(
        ((by_id[make.want], make) for one in asked for make in one.makes),
        key=lambda pair: (_latest(pair[0], pair[1], rules), pair[1].id),
    )
    conflicts: list[Conflict] = []
    made: dict[str, list[Planned]] = {one.id: [] for one in asked}
    for one, make in order:
        planned, found = _placed(today, one, make, book, rules)
        conflicts += found
        made[one.id].append(planned)
    wants = tuple(
        _want(today, one, tuple(sorted(made[one.id], key=lambda p: p.make.id)), rules) for one in asked
    )
    each = [want.there for want in wants]
    together = np.all(np.broadcast_arrays(*each), axis=0) if each else np.ones(1, np.bool_)
    tasks = sorted(
        (task for want in wants for planned in want.made for task in planned.tasks),
        key=lambda task: (task.on, task.make),
    )
    return BackPlan(
        today=today,
        wants=wants,
        tasks=tuple(tasks),
        conflicts=tuple(sorted(conflicts, key=lambda c: (c.first, c.make, c.code))),
        chance=float(together.mean()),
        room_open=_open_in(wants),
        notes=tuple(notes),
    )


def start_by(*, needed_by: date, course: Course, chance: float) -> date | None:
    """The last day to begin with that chance of being packed by then; None where no day gives it.

    Source
    ------
    saltfare_derived, the day needed less the days that are enough
    """
    days = course.together.needed(chance=chance)
    if days is None:
        return None
    return needed_by - timedelta(days=course.tail_days + days + course.lead_days)


def chance_begun(*, start: date, needed_by: date, course: Course) -> float:
    """Chance of being packed by a day, begun on another.

    Source
    ------
    saltfare_derived, share of the worlds in which the days left are enough
    """
    left = (needed_by - start).days - course.tail_days - course.lead_days
    return course.together.chance(days=left) if left >= 0 else 0.0


def _latest(one: Asked, make: Make, rules: Rules) -> date:
    found = [start_by(needed_by=one.needed_by, course=way, chance=rules.chance) for way in make.ways]
    return max((day for day in found if day is not None), default=date.min)


@dataclass(frozen=True, slots=True)
class _Try:
    course: Course
    start: date
    done: date
    chance: float
    wanted: date | None
    conflicts: tuple[Conflict, ...]

    @property
    def cost(self) -> tuple[int, float]:
        """What cannot be overlooked: room and people that must be there."""
        hard = [c for c in self.conflicts if c.code != "nobody_turns"]
        return len(hard), float(sum(c.days for c in hard))

    @property
    def soft(self) -> int:
        """Days of daily work missed."""
        return sum(c.days for c in self.conflicts if c.code == "nobody_turns")


def _placed(
    today: date, one: Asked, make: Make, book: Book, rules: Rules
) -> tuple[Planned, tuple[Conflict, ...]]:
    """The make on the days that fit best, booked."""
    needed = book.home_on_or_before(one.needed_by, today) or one.needed_by
    tries = list(_tries(today, needed, make, book, rules))
    on_time = [t for t in tries if t.chance >= rules.chance - 1e-9]
    if on_time:
        # no collision before all, then no turning missed, then as late as that can be
        best = min(on_time, key=lambda t: (t.cost, t.soft, -t.start.toordinal(), -t.chance, t.course.chamber))
    else:
        best = min(tries, key=lambda t: (t.cost[0] > 0, -t.chance, t.cost, t.soft, t.course.chamber))
    course, start = best.course, best.start
    book.book(course, start, best.done)
    begun = start + timedelta(days=course.lead_days)
    levels = _levels(needed, make, rules)
    wanted = best.wanted
    down = tuple(
        None if days is None else begun + timedelta(days=days)
        for days in (course.days.needed(chance=chance) for chance in (0.1, 0.5, 0.9))
    )
    packed = _packed(needed, begun, course, rules, late=not on_time)
    planned = Planned(
        make=make,
        course=course,
        by=needed,
        start=start,
        begun=begun,
        packed=packed,
        start_by=levels,
        chance=course.days.chance(days=(needed - begun).days - course.tail_days),
        down=(down[0], down[1], down[2]),
        moved_days=0 if wanted is None or wanted < today else max((wanted - start).days, 0),
        late=not on_time,
        room_open=book.open_to(course),
        tasks=tuple(_tasks(make, course, start, packed, book, (down[0], down[1], down[2]))),
    )
    missing = () if book.is_home(needed) else (
        Conflict(code="nobody_home", make=make.id, name=make.name, first=needed, last=needed, task="pack",
                 days=1),
    )  # fmt: skip
    return planned, (*best.conflicts, *missing)


def _packed(needed: date, begun: date, course: Course, rules: Rules, *, late: bool) -> date:
    """The day it is packed: when it is needed, or as soon as it is done where it cannot wait."""
    if course.waits and not late:
        return needed
    days = course.together.needed(chance=rules.chance if late else rules.hook_held)
    soon = needed if days is None else begun + timedelta(days=days + course.tail_days)
    return max(soon, begun + timedelta(days=course.tail_days)) if late else min(soon, needed)


def _levels(needed: date, make: Make, rules: Rules) -> Mapping[Level, date | None]:
    """By level the latest start any of its ways allows."""
    out: dict[Level, date | None] = {}
    for level, chance in rules.levels.items():
        found = [start_by(needed_by=needed, course=way, chance=chance) for way in make.ways]
        out[level] = max((day for day in found if day is not None), default=None)
    return out


def _tries(today: date, needed: date, make: Make, book: Book, rules: Rules) -> Iterator[_Try]:
    for course in make.ways:
        wanted = start_by(needed_by=needed, course=course, chance=rules.chance)
        if wanted is not None and wanted >= today:
            first = max(today, wanted - timedelta(days=rules.moved_most))
            starts = [first + timedelta(days=n) for n in range((wanted - first).days + 1)]
        else:
            starts = [today + timedelta(days=n) for n in range(_LATE_SEARCH + 1)]
        held = course.days.needed(chance=rules.hook_held)
        for start in starts:
            begun = start + timedelta(days=course.lead_days)
            done = needed - timedelta(days=course.tail_days) if course.waits else begun
            if held is not None and not course.waits:
                done = begun + timedelta(days=held)
            elif held is not None:
                done = min(done, begun + timedelta(days=held))
            done = max(done, begun)
            yield _Try(
                course, start, done, chance_begun(start=start, needed_by=needed, course=course), wanted,
                tuple(book.collisions(make, course, start, done)),
            )  # fmt: skip


def _tasks(
    make: Make,
    course: Course,
    start: date,
    packed: date,
    book: Book,
    down: tuple[date | None, date | None, date | None],
) -> Iterator[Task]:
    """The dated tasks of a make; what can be done on a day near it is moved off days away."""
    counts: dict[str, int] = {}

    def task(step: Step, on: date, until: date | None = None) -> Task:
        counts[step.code] = counts.get(step.code, 0) + 1
        return Task(
            id=task_id(make=make.id, code=step.code, number=counts[step.code]),
            make=make.id, want=make.want, name=make.name, code=step.code, on=on, until=until,
            place=course.chamber if step.code in (course.begun_code, "look") else "",
            amounts=step.amounts, cautions=step.cautions,
        )  # fmt: skip

    for step in course.lead:
        on = start + timedelta(days=step.day)
        until = None if step.until is None else start + timedelta(days=step.until)
        yield task(step, on, until)
    begun = start + timedelta(days=course.lead_days)
    ends = packed - timedelta(days=course.tail_days)
    looked: set[date] = set()
    days = [begun + timedelta(days=n) for n in course.looks]
    for day in sorted({*days, *(d for d in down if d is not None)}):
        free = book.home_on_or_before(day, begun + timedelta(days=1))
        if free is not None and free < ends and free not in looked:
            looked.add(free)
            yield task(Step(code="look", day=0), free)
    likely = down[1] if down[1] is not None and begun < down[1] < ends else ends
    yield task(Step(code=course.done_code, day=0), likely, ends if likely < ends else None)
    for step in course.tail:
        on = ends + timedelta(days=step.day)
        yield task(step, on, None if step.until is None else ends + timedelta(days=step.until))


def task_id(*, make: str, code: str, number: int) -> str:
    """A task's name: the same for the same task of the same make.

    Source
    ------
    saltfare_chosen, a digest of what the task is
    """
    return sha256(f"{make}\0{code}\0{number}".encode()).hexdigest()[:16]


def _want(today: date, one: Asked, made: tuple[Planned, ...], rules: Rules) -> WantPlanned:
    levels: dict[Level, date | None] = {}
    for level in rules.levels:
        found = [planned.start_by[level] for planned in made]
        days = [day for day in found if day is not None]
        levels[level] = min(days) if found and len(days) == len(found) else None
    there = _there(today, one, made)
    late = any(planned.late for planned in made) or (not made and there.mean() < rules.late_least)
    return WantPlanned(
        asked=one, made=made, chance=float(there.mean()), there=there, start_by=levels, late=late,
        room_open=_open_in(made),
    )  # fmt: skip


def _open_in(parts: Sequence[Planned | WantPlanned]) -> tuple[Place, ...]:
    return tuple(sorted({place for part in parts for place in part.room_open}))


def _there(today: date, one: Asked, made: Sequence[Planned]) -> NDArray[np.bool_]:
    """In which worlds all of a want is there by its day."""
    parts = []
    for planned in made:
        left = (planned.by - planned.begun).days - planned.course.tail_days
        parts.append((planned.course.days.worlds <= left) & (left >= 0))
    for under in one.under_way:
        parts.append(under.days.worlds <= (one.needed_by - today).days)
    return np.all(np.broadcast_arrays(*parts), axis=0) if parts else np.ones(1, np.bool_)
