"""The days of a trip as the models want them: dates, supplies, hours on the move, slope and air."""

from __future__ import annotations

from dataclasses import dataclass

from saltfare.core.fields import Measured
from saltfare.core.library import Library
from saltfare.journal import events_trip as kinds
from saltfare.journal.trip import TripState
from saltfare.models.trip_energy_walking import walking_time_naismith
from saltfare.plans.trip_need import Air, Body, DayWork, Stretch


@dataclass(frozen=True, slots=True)
class Moving:
    """The way of a day in stretches: up, level or down. told: whether its time was told."""

    stretches: tuple[Stretch, ...]
    told: bool

    @property
    def total_s(self) -> float:
        """Time on the move."""
        return sum(one.time_s for one in self.stretches)


def value(measured: Measured | None) -> float:
    """What was measured, zero where nothing was told."""
    return measured.value if measured is not None else 0.0


def moving_time(day: kinds.DayTold) -> Moving:
    """The way of a day as stretches at one slope: up for the part that climbs, down for the part that falls.

    The way is shared out by climb and descent, so that both have the same slope; the time of each is the
    rule's, stretched to the time told.
    """
    way, up, down = value(day.walking), value(day.ascent), value(day.descent)
    if way <= 0.0:
        return Moving((), day.time is not None)
    climb = up + down
    parts = (
        [(way, 0.0)]
        if climb <= 0.0
        else [(way * up / climb, climb / way), (way * down / climb, -climb / way)]
    )
    parts = [(length, grade) for length, grade in parts if length > 0.0]
    times = [
        walking_time_naismith(distance_m=length, ascent_m=max(length * grade, 0.0)) for length, grade in parts
    ]
    scale = day.time.value / sum(times) if day.time is not None and day.time.value > 0.0 else 1.0
    return Moving(
        tuple(
            Stretch(time * scale, length / (time * scale), grade)
            for (length, grade), time in zip(parts, times, strict=True)
        ),
        day.time is not None,
    )


def carries_of(state: TripState) -> tuple[int, ...]:
    """The supply each day eats from, counted from 0."""
    out, carry = [], 0
    for number, day in enumerate(state.days):
        carry += day.resupply and number > 0
        out.append(carry)
    return tuple(out)


def air_of(state: TripState, day: int) -> tuple[Measured, Measured]:
    """Least and greatest air temperature of a day: its own forecast, else what is usual."""
    told = state.days[day]
    return told.night or state.planned.night, told.day or state.planned.day


def body_of(one: kinds.PersonTold) -> Body:
    """A person as the equations want one."""
    return Body(one.sex, one.age.value, one.height.value, one.mass.value, one.level)


def work_of(day: kinds.DayTold) -> DayWork:
    """What a day asks of anybody."""
    return DayWork(
        moving_time(day).stretches,
        day.terrain,
        value(day.load_share),
        value(day.camp),
        value(day.paddling),
        value(day.snow) if day.snow_by != "none" else 0.0,
        day.snow_by if day.snow_by != "none" else "",
    )


def air_models(state: TripState, day: int) -> Air:
    """The air of a day as the models want it."""
    night, warm = air_of(state, day)
    heat, told = state.planned.heat, state.days[day]
    return Air(
        night.value,
        warm.value,
        heat.value if heat and told.day is None else None,
        value(state.planned.altitude),
        told.snow_by != "none" and value(told.snow) > 0.0,
    )


def is_vulnerable(library: Library, one: kinds.PersonTold) -> tuple[bool, bool]:
    """Whether somebody counts as vulnerable, and whether by age alone."""
    under = library.row("menu_rules", "vulnerable_under").number("value")
    since = library.row("menu_rules", "vulnerable_from").number("value")
    by_age = not under <= one.age.value < since
    return one.vulnerable or by_age, by_age and not one.vulnerable
