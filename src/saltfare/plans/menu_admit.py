"""Which items may be given to whom, on which day and at which sitting, and why not.

One table is made for a problem and read by the greedy answer and the model; the exact checker asks for
nothing here.
"""

from __future__ import annotations

from dataclasses import dataclass

from saltfare.core.figure import Answer
from saltfare.plans.menu_shapes import Handling, Item, MenuProblem, Person


def kept_off(item: Item) -> str:
    """Why an item enters no menu at all; "" where it may."""
    if item.handling is None:
        return "no_handling"
    if item.handling is Handling.NOT_ON_TRIP:
        return "not_on_trip"
    if item.answer is Answer.DOES_NOT_MEET and item.handling is Handling.AS_IT_IS:
        return "does_not_meet"
    if item.answer is Answer.CANNOT_TELL and not item.chosen:
        return "cannot_tell"
    return ""


def kept_from(item: Item, person: Person) -> str:
    """Why a person is not given an item; "" where they may have it."""
    shared = sorted(item.contains & person.excludes)
    if shared:
        return f"excluded:{shared[0]}"
    if item.id in person.excludes:
        return "excluded:item"
    if person.vulnerable and item.uncooked_cured and item.handling is not Handling.COOKED_FIRST:
        return "vulnerable"
    return ""


def is_hot(item: Item) -> bool:
    """Whether a stove must burn for it."""
    return item.hot or item.handling is Handling.COOKED_FIRST


def last_day(item: Item) -> int | None:
    """The last day it may be eaten: the earliest of exposure, planning date and cold."""
    ends = [end for end in (item.last_day, item.planning_day) if end is not None]
    if item.handling is Handling.KEPT_COLD and item.cold_until_day is not None:
        ends.append(item.cold_until_day)
    return min(ends) if ends else None


@dataclass(frozen=True, slots=True)
class Admission:
    """slots[day][item]: sittings where it may be eaten, an extra at one only.

    allowed[person]: indices of items that person may have.
    barred: (day, sitting, item, person) that a pin bars; None in a place stands for all.
    """

    slots: tuple[tuple[tuple[int, ...], ...], ...]
    allowed: tuple[frozenset[int], ...]
    barred: frozenset[tuple[int | None, int | None, int, int | None]]

    def bars(self, day: int, sitting: int, item: int, person: int) -> bool:
        """Whether a pin keeps this away."""
        if not self.barred:
            return False
        return any(
            (d, s, item, p) in self.barred
            for d in (day, None)
            for s in (sitting, None)
            for p in (person, None)
        )


def admission(problem: MenuProblem) -> Admission:
    """The table of who may have what, when."""
    at_item = {item.id: n for n, item in enumerate(problem.items)}
    at_person = {person.id: n for n, person in enumerate(problem.people)}
    on = [n for n, item in enumerate(problem.items) if not kept_off(item)]
    slots = []
    for number, day in enumerate(problem.days):
        row: list[tuple[int, ...]] = [()] * len(problem.items)
        for n in on:
            item = problem.items[n]
            end = last_day(item)
            if (end is not None and number > end) or (
                item.carries is not None and day.carry not in item.carries
            ):
                continue
            fits = tuple(
                s
                for s, sitting in enumerate(day.sittings)
                if sitting.name in item.sittings
                and (sitting.stove or not is_hot(item))
                and (sitting.main or item.role == "extra")
            )
            row[n] = fits if item.role == "main" else fits[:1]
        slots.append(tuple(row))
    return Admission(
        tuple(slots),
        tuple(frozenset(n for n in on if not kept_from(problem.items[n], p)) for p in problem.people),
        frozenset(
            (bar.day, bar.sitting, at_item[bar.item], None if bar.person is None else at_person[bar.person])
            for bar in problem.bars
        ),
    )
