"""What heat does to pathogens: the lethality integral, printed holds, come-up.

A printed table is met by a hold at one of its rows, as its text asks; the integral over a whole log is
a running picture of log reduction and says how far a log is from a row.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

import numpy as np

from saltfare.core.errors import OutOfRange
from saltfare.core.numerics import Array, Floats, check_range
from saltfare.core.tables import Row
from saltfare.models.hazards_log import Log, hold_above, time_between

_LN10 = float(np.log(10.0))


@dataclass(frozen=True, slots=True)
class Resistance:
    """Log-linear heat resistance with one z below the reference temperature and one above.

    z_above_c infinite: the rate stops rising there. Nothing is counted below count_from_c.
    """

    t_ref_c: float
    d_ref_s: float
    z_below_c: float
    z_above_c: float
    count_from_c: float

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of the table `heat_resistance`, printed in °C or in °F."""

        def either(name: str) -> float | None:
            in_f = row.number_or_none(f"{name}_f")
            return in_f if in_f is not None else row.number_or_none(f"{name}_c")

        t_ref, z_below, z_above = either("t_ref"), either("z_below"), either("z_above")
        count_from = either("count_from")
        if t_ref is None or z_below is None or count_from is None:
            raise OutOfRange("resistance", row.ref, float("nan"), 0.0, 0.0)
        return cls(
            t_ref,
            row.number("d_ref_min"),
            z_below,
            float("inf") if z_above is None else z_above,
            count_from,
        )


@dataclass(frozen=True, slots=True)
class Hold:
    """One row of a printed table: at or above temp_c for time_s."""

    temp_c: float
    time_s: float

    @classmethod
    def from_row(cls, row: Row, column: str) -> Self:
        """From a row of `lethality`; column is short or long."""
        temp = row.number_or_none("temp_f")
        minutes, seconds = row.number_or_none(f"{column}_min"), row.number_or_none(f"{column}_s")
        time_s = minutes if minutes is not None else seconds
        if time_s is None:
            raise OutOfRange("hold", row.ref, float("nan"), 0.0, 0.0)
        return cls(row.number("temp_c") if temp is None else temp, time_s)


@dataclass(frozen=True, slots=True)
class Held:
    """How a log stands against a table of holds.

    worst: the greatest share of a row's time held for certain, 1 and more meets a row; minus infinity
    where no row was touched. best: the same with every doubt given. row: index of the row behind worst.
    """

    worst: float
    best: float
    row: int | None


def lethal_rate_bigelow(*, temp_c: Floats, resistance: Resistance) -> Array:
    """Rate of kill relative to that at the reference temperature.

    Parameters
    ----------
    temp_c : 0 to 160 [°C]
    resistance : Resistance

    Returns
    -------
    rate, zero below the temperature counting starts at [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    fsa_vacuum_training, module 3, equivalent times
    """
    temp = check_range(temp_c, low=-60.0, high=160.0, model="lethal_rate_bigelow", quantity="temp_c")
    excess = temp - resistance.t_ref_c
    z = np.where(excess < 0.0, resistance.z_below_c, resistance.z_above_c)
    return np.where(temp >= resistance.count_from_c, 10.0 ** (excess / z), 0.0)[()]


def hold_bigelow(*, log_reduction: float, temp_c: float, resistance: Resistance) -> float:
    """Time at a steady temperature for a log reduction.

    Parameters
    ----------
    log_reduction : decimal reductions asked [-]
    temp_c : steady temperature [°C]
    resistance : Resistance

    Returns
    -------
    time, infinite where nothing is counted [s]

    Source
    ------
    fsa_vacuum_training, module 3, equivalent times
    """
    rate = float(lethal_rate_bigelow(temp_c=temp_c, resistance=resistance))
    return float("inf") if rate == 0.0 else log_reduction * resistance.d_ref_s / rate


def lethal_time_bigelow(*, time_s: Array, temp_c: Array, resistance: Resistance) -> Array:
    """Time at the reference temperature a course is worth, running from its start.

    Exact on every straight stretch, so a course told by more points on the same lines is worth the same.

    Parameters
    ----------
    time_s : rising, (times) [s]
    temp_c : temperature, (times) [°C]
    resistance : Resistance

    Returns
    -------
    equivalent time from the start, (times) [s]

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_derived, integral of the lethal rate over a linear ramp
    """
    temp = check_range(temp_c, low=-60.0, high=160.0, model="lethal_time_bigelow", quantity="temp_c")
    t0, t1, span = temp[:-1], temp[1:], np.diff(np.asarray(time_s, dtype=float))
    worth = np.zeros(len(span))
    pieces = (
        (resistance.count_from_c, resistance.t_ref_c, resistance.z_below_c),
        (max(resistance.t_ref_c, resistance.count_from_c), float("inf"), resistance.z_above_c),
    )
    for low, high, z in pieces:
        if low < high:
            worth += _ramp(t0, t1, span, low, high, resistance.t_ref_c, z)
    return np.concatenate(([0.0], np.cumsum(worth)))


def _ramp(t0: Array, t1: Array, span: Array, low: float, high: float, t_ref: float, z: float) -> Array:
    """Time worth of the part of each ramp within [low, high); a flat stretch counts whole."""
    bottom, top = np.minimum(t0, t1), np.maximum(t0, t1)
    a, b = np.maximum(bottom, low), np.minimum(top, high)
    rise = top - bottom
    inside = b > a
    flat = (rise == 0.0) & (bottom >= low) & (bottom < high)
    out = np.where(flat, span * 10.0 ** (np.where(flat, bottom - t_ref, 0.0) / z), 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        x = np.where(inside, (b - a) * _LN10 / z, 0.0)
        # (e^x - 1)/x without loss on near-flat ramps
        mean = np.where(x == 0.0, 1.0, np.expm1(x) / np.where(x == 0.0, 1.0, x))
        part = span * np.where(inside, (b - a) / rise, 0.0) * 10.0 ** (np.where(inside, a - t_ref, 0.0) / z)
    return np.asarray(out + np.where(inside & ~flat, part * mean, 0.0))


def log_reduction_bigelow(*, time_s: Array, temp_c: Array, resistance: Resistance) -> Array:
    """Decimal reductions of a course of core temperature, running from its start.

    Parameters
    ----------
    time_s : rising, (times) [s]
    temp_c : temperature of the coldest point, (times) [°C]
    resistance : Resistance

    Returns
    -------
    log reduction from the start, (times) [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_derived, integral of the lethal rate over D at the reference temperature
    """
    worth = lethal_time_bigelow(time_s=time_s, temp_c=temp_c, resistance=resistance)
    return np.asarray(worth / resistance.d_ref_s)


def log_reduction_of_log(*, log: Log, resistance: Resistance) -> float:
    """Decimal reductions a log shows for certain: readings lower by their error, untrusted stretches nothing.

    Parameters
    ----------
    log : Log of the coldest point
    resistance : Resistance

    Returns
    -------
    log reduction [-]

    Source
    ------
    saltfare_derived, integral of the lethal rate over D at the reference temperature
    """
    running = log_reduction_bigelow(time_s=log.time_s, temp_c=log.temp_c - log.error_c, resistance=resistance)
    return float(np.diff(running)[log.trusted].sum())


def held_table(*, log: Log, holds: Sequence[Hold]) -> Held:
    """How a log of the coldest point stands against printed temperatures and times.

    A row is met by an unbroken hold at or above its temperature; nothing is read between rows.

    Parameters
    ----------
    log : Log of the coldest point
    holds : rows of the table

    Returns
    -------
    Held

    Source
    ------
    fsis_gd_2021_14, table 2: internal temperature held in all parts for the dwell time
    fsis_appendix_a_1999, table
    """
    worst, best, row = float("-inf"), float("-inf"), None
    for index, hold in enumerate(holds):
        certain = _share(hold_above(log=log, temp_c=hold.temp_c, worst=True), hold.time_s)
        if certain > worst:
            worst, row = certain, index
        best = max(best, _share(hold_above(log=log, temp_c=hold.temp_c, worst=False), hold.time_s))
    return Held(worst, best, row)


def _share(held_s: float, asked_s: float) -> float:
    if asked_s == 0.0:
        return 1.0 if held_s >= 0.0 else float("-inf")
    return held_s / asked_s


def rise_time(*, log: Log, low_c: float, high_c: float, worst: bool) -> float:
    """Time a log takes from one temperature up to another for the first time.

    Parameters
    ----------
    log : Log from cold to hot
    low_c : where the clock starts [°C]
    high_c : where it stops [°C]
    worst : True starts the clock early and stops it late by the error, and is infinite where the log
        begins above `low_c`, never reaches `high_c`, or is not trusted on the way; False the other way
        round, and nothing where the log does not show it

    Returns
    -------
    time [s]

    Source
    ------
    cfr_9_318_10, (c)(1), time from 60 to 120 F, from memory and used only to ask more
    """
    shift = log.error_c if worst else -log.error_c
    start_level, stop_level = low_c - shift, high_c + shift - 1e-9
    there = np.flatnonzero(log.temp_c >= stop_level)
    doubt = float("inf") if worst else 0.0
    if not there.size or there[0] == 0 or log.temp_c[0] > start_level:
        return doubt
    stop = int(there[0])
    if not log.trusted[:stop].all():
        return doubt
    cold = np.flatnonzero(log.temp_c[:stop] <= start_level)
    above = np.flatnonzero(log.temp_c[: stop + 1] > start_level)
    begin = int(above[0]) - 1 if worst else int(cold[-1])

    def when(index: int, level: float) -> float:
        a, b = log.temp_c[index], log.temp_c[index + 1]
        span = log.time_s[index + 1] - log.time_s[index]
        return float(log.time_s[index] + span * (level - a) / (b - a))

    return max(when(stop - 1, stop_level) - when(begin, start_level), 0.0)


def come_up_time(*, log: Log, low_c: float, high_c: float, worst: bool) -> float:
    """Time in the growing range on the way up, to the last hottest reading.

    Parameters
    ----------
    log : Log from cold to hot
    low_c : lower end of the range [°C]
    high_c : upper end of the range [°C]
    worst : True widens the range by the error, counts untrusted stretches whole, and is infinite where
        the log begins within the range

    Returns
    -------
    time [s]

    Source
    ------
    fsis_gd_2021_14, come-up-time option, 50 to 130 F
    """
    if worst and log.temp_c[0] + log.error_c > low_c:
        return float("inf")
    return time_between(log=log.part(0, log.peak), low_c=low_c, high_c=high_c, worst=worst)
