"""Exposure on a trip: day and night temperatures against time allowed, and the day on which it runs out.

A history made from a forecast or from a day's least and greatest is a prediction: it can show that a
time runs out, never that it does not.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from saltfare.core.errors import Problem, Refused
from saltfare.core.numerics import Array, check_range
from saltfare.core.units import parse
from saltfare.models.criteria import Criteria
from saltfare.models.growth import GrowthModel, growth_after_lag_baranyi, growth_history
from saltfare.models.growth_limits import GrowthEnvelope

_DAY_S = 86400.0


@dataclass(frozen=True, slots=True)
class DayRange:
    """Least and greatest temperature of one day, where the food is [°C]."""

    least_c: float
    most_c: float


@dataclass(frozen=True, slots=True)
class RunOut:
    """When a time allowed is used up, from the start; None where the history ends first.

    day: counted from 1, the day of the history it falls on. used: share used at the end, where the
    share is what a limit is measured in.
    """

    time_s: float | None
    day: int | None
    used: float


def history_from_days(*, days: Sequence[DayRange], coldest_s: float, step_s: float) -> tuple[Array, Array]:
    """A temperature history from the least and greatest of each day.

    A cosine through each day's two figures, coldest at one time of day, warmest twelve hours later; each
    half day runs between the figures on either side of it.

    Parameters
    ----------
    days : DayRange a day, from the day of departure
    coldest_s : time of day of the least temperature, 0 to 43200 [s]
    step_s : time between points, at most an hour [s]

    Returns
    -------
    times from midnight of the first day [s], temperatures [°C]

    Raises
    ------
    Refused with days_missing, day_upside_down
    OutOfRange

    Source
    ------
    saltfare_chosen, shape of a day between its two figures
    """
    if not days:
        raise Refused(Problem("days_missing", "days"))
    for index, day in enumerate(days):
        if not day.least_c <= day.most_c:
            raise Refused(Problem("day_upside_down", f"days.{index}", f"{day.least_c:g} / {day.most_c:g}"))
        check_range(day.least_c, low=-40.0, high=60.0, model="history_from_days", quantity="least_c")
        check_range(day.most_c, low=-40.0, high=60.0, model="history_from_days", quantity="most_c")
    check_range(coldest_s, low=0.0, high=_DAY_S / 2, model="history_from_days", quantity="coldest_s")
    check_range(step_s, low=60.0, high=3600.0, model="history_from_days", quantity="step_s")
    knots, values = [coldest_s - _DAY_S / 2], [days[0].most_c]
    for index, day in enumerate(days):
        knots += [index * _DAY_S + coldest_s, index * _DAY_S + coldest_s + _DAY_S / 2]
        values += [day.least_c, day.most_c]
    knots.append(len(days) * _DAY_S + coldest_s)
    values.append(days[-1].least_c)
    end = len(days) * _DAY_S
    times = np.unique(
        np.concatenate((np.arange(0.0, end, step_s), [end], [k for k in knots if 0 <= k <= end]))
    )
    at = np.clip(np.searchsorted(knots, times, side="right") - 1, 0, len(knots) - 2)
    low, high = np.asarray(knots)[at], np.asarray(knots)[at + 1]
    a, b = np.asarray(values)[at], np.asarray(values)[at + 1]
    share = 0.5 - 0.5 * np.cos(np.pi * (times - low) / (high - low))
    return times, np.asarray(a + (b - a) * share)


def run_out_time(
    *, time_s: Array, temp_c: Array, cold_c: float, warm_c: float, most_cold_s: float, most_warm_s: float
) -> RunOut:
    """When the time allowed above a temperature is used up; a second, shorter one holds above a second.

    Shares of the two add, which is stricter than either alone.

    Parameters
    ----------
    time_s : rising, from the start of the exposure, (times) [s]
    temp_c : straight between times, (times) [°C]
    cold_c : nothing is counted at or below it [°C]
    warm_c : above it the shorter time holds [°C]
    most_cold_s : time allowed between the two [s]
    most_warm_s : time allowed above the second [s]

    Returns
    -------
    RunOut

    Source
    ------
    usda_two_hours, 2 hours, 1 hour above 90 F
    saltfare_chosen, shares add
    """
    times, temps = np.asarray(time_s, dtype=float), np.asarray(temp_c, dtype=float)
    # cut every stretch where it passes a level, so that the rate is steady on each piece
    points = [times]
    for level in (cold_c, warm_c):
        a, b = temps[:-1], temps[1:]
        passes = (a - level) * (b - level) < 0
        points.append(times[:-1][passes] + np.diff(times)[passes] * (level - a[passes]) / (b - a)[passes])
    fine = np.unique(np.concatenate(points))
    middle = np.interp(0.5 * (fine[1:] + fine[:-1]), times, temps)
    rate = np.where(middle > warm_c, 1.0 / most_warm_s, np.where(middle > cold_c, 1.0 / most_cold_s, 0.0))
    used = np.concatenate(([0.0], np.cumsum(rate * np.diff(fine))))
    return _run_out(fine, used, 1.0)


def run_outs(*, time_s: Array, temp_c: Array, criteria: Criteria) -> Mapping[str, RunOut]:
    """When each criterion that speaks of time or of a highest temperature runs out on a history.

    A criterion with a highest temperature runs out when the history first passes it; one with a time kept
    runs out at the end of that time; whichever comes first. A further way to meet a criterion (an acid
    food, say) is for the card to judge, not for the clock.

    Parameters
    ----------
    time_s : rising, from the start of carrying, (times) [s]
    temp_c : where the food is, straight between times, (times) [°C]
    criteria : Criteria

    Returns
    -------
    RunOut by criterion id; criteria without a clock are not in it

    Source
    ------
    saltfare_chosen, the clocks of the published criteria on one history
    """
    times, temps = np.asarray(time_s, dtype=float), np.asarray(temp_c, dtype=float)
    found: dict[str, RunOut] = {}
    for criterion in criteria.all:
        clocks = []
        for term in criterion.terms:
            if term.test == "exposure":
                cold, warm = (parse(word.replace("_", " "), "temperature") for word in term.words)
                clocks.append(
                    run_out_time(
                        time_s=times,
                        temp_c=temps,
                        cold_c=cold,
                        warm_c=warm,
                        most_cold_s=term.of("limit_h"),
                        most_warm_s=term.of("limit_min"),
                    )
                )
            elif term.quantity == "storage_temperature":
                clocks.append(_first_above(times, temps, term.limit))
            elif term.quantity == "storage_time":
                clocks.append(_run_out(times, times - times[0], term.limit))
        if clocks:
            found[criterion.id] = min(
                clocks, key=lambda c: (float("inf") if c.time_s is None else c.time_s, -c.used)
            )
    return found


def _first_above(times: Array, temps: Array, level: float) -> RunOut:
    """When a history first passes a level; used is 1 from then on, 0 before."""
    above = np.flatnonzero(temps > level)
    if not above.size:
        return RunOut(None, None, 0.0)
    at = int(above[0])
    when = float(times[at])
    if at:
        a, b = temps[at - 1], temps[at]
        when = float(times[at - 1] + (times[at] - times[at - 1]) * (level - a) / (b - a))
    return RunOut(when, int(when // _DAY_S) + 1, 1.0)


def run_out_growth(
    *,
    time_s: Array,
    temp_c: Array,
    ph: float | None,
    aw: float | None,
    model: GrowthModel,
    limits: GrowthEnvelope,
    most_log10: float,
    lag: bool,
) -> RunOut:
    """When predicted growth passes a limit.

    Parameters
    ----------
    time_s : rising, (times) [s]
    temp_c : straight between times, (times) [°C]
    ph : pH, None where the model has none
    aw : water activity, None where the model has none
    model : GrowthModel
    limits : published limits of growth of the organism
    most_log10 : growth allowed [log10]
    lag : whether the lag the source itself gives is counted

    Returns
    -------
    RunOut

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_derived, integral of a published growth rate
    """
    grown = growth_history(
        time_s=time_s, temp_c=temp_c, ph=ph, aw=aw, model=model, limits=limits, outside="refuse"
    )
    if lag and model.q0 is not None:
        grown = growth_after_lag_baranyi(growth_log10=grown, q0=model.q0)
    return _run_out(np.asarray(time_s, dtype=float), np.asarray(grown), most_log10)


def _run_out(times: Array, used: Array, most: float) -> RunOut:
    over = np.flatnonzero(used > most * (1.0 + 1e-12))
    if not over.size:
        return RunOut(None, None, float(used[-1] / most))
    at = int(over[0])
    rise = used[at] - used[at - 1]
    when = float(times[at - 1] + (times[at] - times[at - 1]) * (most - used[at - 1]) / rise)
    return RunOut(when, int(when // _DAY_S) + 1, float(used[-1] / most))


def rehydrated_time(
    *, surround_temp_c: float, warm_c: float, most_cold_s: float, most_warm_s: float
) -> float:
    """Time a rehydrated or cooked dish may stand before the published clock runs out.

    Parameters
    ----------
    surround_temp_c : temperature where it stands [°C]
    warm_c : above it the shorter time holds [°C]
    most_cold_s : time allowed below [s]
    most_warm_s : time allowed above [s]

    Returns
    -------
    time [s]

    Source
    ------
    usda_two_hours, 2 hours, 1 hour above 90 F
    """
    return most_warm_s if surround_temp_c > warm_c else most_cold_s
