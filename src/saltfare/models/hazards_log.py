"""A temperature log as evidence: what is refused, what is not trusted, how long it stood above or below.

Between readings the temperature is taken as straight. A stretch longer than `gap_s` or steeper than
`jump_k_per_s` is not trusted: it earns nothing that counts for a piece and is assumed to be whatever
counts against it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Self

import numpy as np
import numpy.typing as npt

from saltfare.core.errors import Problem, Refused
from saltfare.core.numerics import Array
from saltfare.core.tables import Row

Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class LogRules:
    """What a log must be: longest trusted stretch, steepest trusted change, coldest and hottest believed.

    error_c: half width of the thermometer's error where nothing is stated.
    """

    gap_s: float
    jump_k_per_s: float
    coldest_c: float
    hottest_c: float
    error_c: float

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of the table `log_rules`."""
        return cls(
            row.number("gap"),
            row.number("jump_k_per_min"),
            row.number("coldest_c"),
            row.number("hottest_c"),
            row.number("error_c"),
        )


@dataclass(frozen=True, slots=True)
class Log:
    """Readings in time order, the error of each, and which stretches between them are trusted."""

    time_s: Array
    temp_c: Array
    error_c: float
    trusted: Flags
    steep: Flags

    @property
    def jumps(self) -> bool:
        """Whether the temperature changes faster than the middle of a piece can: a probe that slipped."""
        return bool(self.steep.any())

    @property
    def whole(self) -> bool:
        """Whether every stretch is trusted."""
        return bool(self.trusted.all())

    @property
    def peak(self) -> int:
        """Index of the last hottest reading."""
        return int(len(self.temp_c) - 1 - np.argmax(self.temp_c[::-1]))

    def part(self, start: int, stop: int) -> Log:
        """The readings start to stop, both included."""
        return replace(
            self,
            time_s=self.time_s[start : stop + 1],
            temp_c=self.temp_c[start : stop + 1],
            trusted=self.trusted[start:stop],
            steep=self.steep[start:stop],
        )


def log_checked(
    *, time_s: Sequence[float], temp_c: Sequence[float], error_c: float | None, rules: LogRules
) -> Log:
    """A log fit to judge by, or the reason why it is not.

    Parameters
    ----------
    time_s : times of the readings, strictly rising [s]
    temp_c : readings [°C]
    error_c : half width of the thermometer's error; None takes that of the rules [K]
    rules : LogRules

    Returns
    -------
    Log

    Raises
    ------
    Refused with log_lengths_differ, log_too_few, log_not_a_number, log_time_backwards,
    log_too_hot (a log in °F read as °C looks like that), log_too_cold, log_error_negative

    Source
    ------
    saltfare_chosen, what a log must be before anything is read from it
    """
    if len(time_s) != len(temp_c):
        raise Refused(Problem("log_lengths_differ", "log", f"{len(time_s)} / {len(temp_c)}"))
    if len(time_s) < 2:
        raise Refused(Problem("log_too_few", "log", str(len(time_s)), "2"))
    times, temps = np.asarray(time_s, dtype=float), np.asarray(temp_c, dtype=float)
    if not (np.isfinite(times).all() and np.isfinite(temps).all()):
        raise Refused(Problem("log_not_a_number", "log"))
    back = np.flatnonzero(np.diff(times) <= 0)
    if back.size:
        raise Refused(Problem("log_time_backwards", "log", str(int(back[0]) + 2)))
    if temps.max() > rules.hottest_c:
        raise Refused(Problem("log_too_hot", "log", f"{temps.max():g}", params={"high_c": rules.hottest_c}))
    if temps.min() < rules.coldest_c:
        raise Refused(Problem("log_too_cold", "log", f"{temps.min():g}", params={"low_c": rules.coldest_c}))
    error = rules.error_c if error_c is None else float(error_c)
    if not error >= 0.0:
        raise Refused(Problem("log_error_negative", "log", f"{error:g}"))
    span = np.diff(times)
    steep = np.abs(np.diff(temps)) / span > rules.jump_k_per_s * (1.0 + 1e-9)
    return Log(times, temps, error, ~(steep | (span > rules.gap_s * (1.0 + 1e-9))), steep)


def time_between(*, log: Log, low_c: float, high_c: float, worst: bool) -> float:
    """Time a log spends from `low_c` to `high_c`, both included.

    Parameters
    ----------
    log : Log
    low_c : lower end; may be minus infinity [°C]
    high_c : upper end; may be infinity [°C]
    worst : True widens the band by the error and counts untrusted stretches whole; False narrows it
        and leaves them out

    Returns
    -------
    time [s]

    Source
    ------
    saltfare_derived, straight between readings
    """
    shift = log.error_c if worst else -log.error_c
    low, high = low_c - shift, high_c + shift
    if low > high:
        return 0.0
    t0, t1 = log.temp_c[:-1], log.temp_c[1:]
    span = np.diff(log.time_s)
    below, above = np.minimum(t0, t1), np.maximum(t0, t1)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (np.minimum(above, high) - np.maximum(below, low)) / (above - below)
    flat = above == below
    share = np.where(flat, ((below >= low) & (below <= high)).astype(float), share)
    within = span * np.maximum(share, 0.0)
    within = np.where(log.trusted, within, span if worst else 0.0)
    return float(within.sum())


def hold_above(*, log: Log, temp_c: float, worst: bool) -> float:
    """Longest time without a break at or above a temperature.

    Parameters
    ----------
    log : Log
    temp_c : the temperature [°C]
    worst : True takes every reading lower by the error and breaks at untrusted stretches; False takes
        it higher, bridges them, and is infinite where the log begins or ends above the temperature

    Returns
    -------
    time; minus infinity where no trusted reading stands there at all [s]

    Source
    ------
    saltfare_derived, straight between readings
    """
    # a printed temperature typed in another unit is still that temperature
    level = temp_c + (log.error_c if worst else -log.error_c) - 1e-9
    up = log.temp_c >= level
    if not worst and (up[0] or up[-1]):
        return float("inf")
    if not up.any() and (worst or log.whole):
        return float("-inf")
    best, held = float("-inf"), float("-inf")
    for index, (time_s, temp, stands) in enumerate(zip(log.time_s, log.temp_c, up, strict=True)):
        if index:
            before, stood = log.temp_c[index - 1], bool(up[index - 1])
            span = float(time_s - log.time_s[index - 1])
            if not log.trusted[index - 1]:
                # what such a stretch hides is nothing for the piece, and may be anything against it
                held = float("-inf") if worst else max(held, 0.0) + span
            elif stood and stands:
                held = max(held, 0.0) + span
            elif stood:
                held = max(held, 0.0) + span * float((before - level) / (before - temp))
            elif stands:
                held = span * float((temp - level) / (temp - before))
            best = max(best, held)
        held = max(held, 0.0) if stands else float("-inf")
        best = max(best, held)
    return best


def hold_below(*, log: Log, temp_c: float, worst: bool) -> float:
    """Longest time without a break at or below a temperature; as `hold_above`, upside down.

    Parameters
    ----------
    log : Log
    temp_c : the temperature [°C]
    worst : as in `hold_above`

    Returns
    -------
    time; minus infinity where no trusted reading stands there at all [s]

    Source
    ------
    saltfare_derived, straight between readings
    """
    return hold_above(log=replace(log, temp_c=-log.temp_c), temp_c=-temp_c, worst=worst)


def passage(*, log: Log, from_c: float, to_c: float, worst: bool) -> float:
    """Time a cooling log takes from one temperature down to another for good.

    Parameters
    ----------
    log : Log; begins at or above `from_c`
    from_c : where the clock starts, the last moment at or above it [°C]
    to_c : where it stops, the last moment above it [°C]
    worst : True starts the clock early and stops it late by the error; False the other way round.
        A log that ends above `to_c` gives infinity when worst, else the time so far. A log that begins
        below `from_c` gives infinity when worst; when not, what it does show.

    Returns
    -------
    time [s]

    Source
    ------
    saltfare_derived, straight between readings
    """
    shift = log.error_c if worst else -log.error_c
    start_level, stop_level = from_c + shift, to_c - shift
    temps, times = log.temp_c, log.time_s
    hot = np.flatnonzero(temps >= start_level)
    if worst:
        # the clock starts when the reading first falls below, and untrusted stretches hide nothing
        cold = np.flatnonzero(temps < start_level)
        if not hot.size or hot[0] != 0:
            return float("inf")
        start = times[-1] if not cold.size else _crossing(log, int(cold[0]) - 1, start_level, early=True)
    else:
        start = times[0] if not hot.size else _crossing(log, int(hot[-1]), start_level, early=False)
    warm = np.flatnonzero(temps > stop_level)
    if not warm.size:
        return 0.0
    last = int(warm[-1])
    if last == len(temps) - 1:
        return float("inf") if worst else float(max(times[-1] - start, 0.0))
    return float(max(_crossing(log, last, stop_level, early=not worst) - start, 0.0))


def _crossing(log: Log, index: int, level: float, *, early: bool) -> float:
    """When a falling log passes a level after a reading; an end of the stretch where it is not trusted."""
    if index == len(log.temp_c) - 1:
        return float(log.time_s[-1])
    if not log.trusted[index]:
        return float(log.time_s[index] if early else log.time_s[index + 1])
    a, b = log.temp_c[index], log.temp_c[index + 1]
    share = (a - level) / (a - b) if a != b else 0.0
    return float(log.time_s[index] + min(max(share, 0.0), 1.0) * (log.time_s[index + 1] - log.time_s[index]))
