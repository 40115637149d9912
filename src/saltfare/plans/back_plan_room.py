"""Room and days at home: what is taken when, and what a course on given days would collide with."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from saltfare.plans.back_plan_shapes import Away, Conflict, Course, Make, Place, Room


@dataclass(slots=True)
class Book:
    """Room taken, by place, key and day."""

    room: Room
    away: Sequence[Away]
    taken: dict[tuple[Place, str, date], float] = field(default_factory=dict)

    def is_home(self, on: date) -> bool:
        """Whether somebody is there on that day."""
        return not any(away.holds(on) for away in self.away)

    def home_on_or_before(self, on: date, floor: date) -> date | None:
        """The last day with somebody there, not before `floor`."""
        while on >= floor:
            if self.is_home(on):
                return on
            on -= timedelta(days=1)
        return None

    def open_to(self, course: Course) -> tuple[Place, ...]:
        """The places a course needs whose room was not told, and which nothing here can say are enough."""
        return tuple(sorted({u.place for u in course.uses if self.room.of(u.place, u.key) is None}))

    def take(self, place: Place, key: str, first: date, last: date, amount: float) -> None:
        """Book room, both days among them."""
        for on in _days(first, last):
            self.taken[place, key, on] = self.taken.get((place, key, on), 0.0) + amount

    def book(self, course: Course, start: date, done: date) -> None:
        """Book all a course uses."""
        for place, key, first, last, amount in uses(course, start, done):
            self.take(place, key, first, last, amount)

    def collisions(self, make: Make, course: Course, start: date, done: date) -> Iterator[Conflict]:
        """What a course on these days collides with: room first, then people."""
        for place, key, first, last, amount in uses(course, start, done):
            has = self.room.of(place, key)
            if has is None:
                continue
            over = [
                on for on in _days(first, last)
                if self.taken.get((place, key, on), 0.0) + amount > has + 1e-9
            ]  # fmt: skip
            if over:
                asks = max(self.taken.get((place, key, on), 0.0) for on in over) + amount
                yield Conflict(
                    code=place, make=make.id, name=make.name, first=over[0], last=over[-1], key=key,
                    has=has, asks=asks, days=len(over),
                )  # fmt: skip
        for step in course.lead:
            on = start + timedelta(days=step.day)
            if step.home == "must" and not self.is_home(on):
                yield Conflict(
                    code="nobody_home", make=make.id, name=make.name, first=on, last=on, task=step.code,
                    days=1,
                )  # fmt: skip
            if step.home == "daily":
                until = start + timedelta(days=step.until if step.until is not None else step.day)
                missed = [day for day in _days(on, until) if not self.is_home(day)]
                if missed:
                    yield Conflict(
                        code="nobody_turns", make=make.id, name=make.name, first=missed[0], last=missed[-1],
                        task=step.code, days=len(missed),
                    )  # fmt: skip


def uses(course: Course, start: date, done: date) -> Iterator[tuple[Place, str, date, date, float]]:
    """Room a course takes on its days. done: the day it is counted as done with."""
    for use in course.uses:
        last = done if use.last is None else start + timedelta(days=use.last)
        yield use.place, use.key, start + timedelta(days=use.first), last, use.amount


def _days(first: date, last: date) -> Iterator[date]:
    for n in range((last - first).days + 1):
        yield first + timedelta(days=n)
