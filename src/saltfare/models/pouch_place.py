"""The air where packs are kept: temperature and humidity over months, as steps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from saltfare.core.errors import Problem, Refused
from saltfare.core.numerics import Array, check_range

DAY_S = 86400.0
YEAR_S = 365.25 * DAY_S


@dataclass(frozen=True, slots=True)
class Place:
    """Steps of air: the end of each, from zero on, its temperature and relative humidity."""

    ends_s: Array
    temp_c: Array
    rh_frac: Array

    def __post_init__(self) -> None:
        """Refuse steps that do not follow each other, and air that is none."""
        if not self.ends_s.shape == self.temp_c.shape == self.rh_frac.shape or self.ends_s.size == 0:
            raise Refused(Problem("place_uneven", "place"))
        if not (np.diff(self.ends_s, prepend=0.0) > 0.0).all():
            raise Refused(Problem("place_not_in_order", "place"))
        check_range(self.temp_c, low=-20.0, high=60.0, model="place", quantity="temp_c")
        check_range(self.rh_frac, low=0.0, high=1.0, model="place", quantity="rh_frac")

    @property
    def spans_s(self) -> Array:
        """Length of each step."""
        return np.diff(self.ends_s, prepend=0.0)


def place_steady(*, temp_c: float, rh_frac: float, time_s: float, step_s: float) -> Place:
    """A place whose air does not change.

    Parameters
    ----------
    temp_c : [°C]
    rh_frac : relative humidity [-]
    time_s : how long [s]
    step_s : length of a step [s]

    Returns
    -------
    the place

    Raises
    ------
    Refused: place_not_in_order; OutOfRange

    Source
    ------
    saltfare_chosen, steps of constant air
    """
    return place_seasonal(
        temp_c=temp_c,
        temp_swing_c=0.0,
        rh_frac=rh_frac,
        rh_swing_frac=0.0,
        start_s=0.0,
        time_s=time_s,
        step_s=step_s,
    )


def place_seasonal(
    *,
    temp_c: float,
    temp_swing_c: float,
    rh_frac: float,
    rh_swing_frac: float,
    start_s: float,
    time_s: float,
    step_s: float,
) -> Place:
    """A place that follows the year: a sine, warmest a quarter of a year after its spring mean.

    Parameters
    ----------
    temp_c : mean of the year [°C]
    temp_swing_c : from the mean to the warmest [K]
    rh_frac : mean relative humidity [-]
    rh_swing_frac : from the mean to that at the warmest; below zero where summers are dry [-]
    start_s : where in the year it begins, from the spring mean on [s]
    time_s : how long [s]
    step_s : length of a step [s]

    Returns
    -------
    the place, each step at the sine's mean over it

    Raises
    ------
    Refused: place_not_in_order; OutOfRange

    Source
    ------
    saltfare_chosen, a sine of one year
    """
    if not (time_s > 0.0 and step_s > 0.0):
        raise Refused(Problem("place_not_in_order", "place"))
    count = max(1, int(np.ceil(time_s / step_s - 1e-9)))
    edges = np.minimum(np.arange(count + 1) * step_s, time_s)
    turn = 2.0 * np.pi / YEAR_S
    lean = -np.diff(np.cos(turn * (edges + start_s))) / (turn * np.diff(edges))
    return Place(edges[1:], temp_c + temp_swing_c * lean, rh_frac + rh_swing_frac * lean)


def place_again(*, place: Place, time_s: float) -> Place:
    """A place read for a time, told again from its start until a longer time is filled.

    Parameters
    ----------
    place : as read
    time_s : how long [s]

    Returns
    -------
    the place

    Source
    ------
    saltfare_chosen, what was read stands for what was not
    """
    whole = float(place.ends_s[-1])
    rounds = int(np.ceil(time_s / whole))
    ends = np.concatenate([place.ends_s + n * whole for n in range(rounds)])
    keep = int(np.searchsorted(ends, time_s - 1e-6)) + 1
    ends = ends[:keep].copy()
    ends[-1] = min(ends[-1], time_s)
    return Place(ends, np.tile(place.temp_c, rounds)[:keep], np.tile(place.rh_frac, rounds)[:keep])


def place_read(*, times_s: Sequence[float], temp_c: Sequence[float], rh_frac: Sequence[float]) -> Place:
    """A place from readings, each standing until the middle of the way to its neighbours.

    Parameters
    ----------
    times_s : rising, two or more [s]
    temp_c, rh_frac : at each [°C, -]

    Returns
    -------
    the place, from the first reading to the last

    Raises
    ------
    Refused: place_uneven, place_not_in_order; OutOfRange

    Source
    ------
    saltfare_chosen, steps of constant air
    """
    t = np.asarray(times_s, dtype=np.float64)
    if t.size < 2:
        raise Refused(Problem("place_uneven", "place"))
    ends = np.append(0.5 * (t[1:] + t[:-1]), t[-1]) - t[0]
    return Place(ends, np.asarray(temp_c, dtype=np.float64), np.asarray(rh_frac, dtype=np.float64))
