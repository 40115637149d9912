"""The first limit that a stored pack reaches, when, and the planning date that follows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

import numpy as np

from saltfare.core.errors import Problem, Refused
from saltfare.core.figure import Note
from saltfare.core.tables import Row
from saltfare.models.keeping import Change, Conditions, Consumed, consumed, passage
from saltfare.models.pouch_oxygen import AIR_OXYGEN_FRAC, OxygenPath
from saltfare.models.pouch_place import Place
from saltfare.models.pouch_water import WaterPath


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit and when it is reached: earliest, middle, latest; None beyond what was looked at [s].

    mode: oxidation, browning, vitamin, texture, eating_quality, water or oxygen. ref: row it stands on.
    """

    mode: str
    ref: str
    earliest_s: float | None
    middle_s: float | None
    latest_s: float | None


def limit_of_change(*, found: Consumed) -> Limit:
    """When a change reaches its limit.

    Parameters
    ----------
    found : of `consumed`

    Returns
    -------
    the limit; earliest and latest are over all ends of what the sources give

    Source
    ------
    saltfare_derived, first passage at every end
    """
    middle = passage(times_s=found.times_s, course=found.middle, limit=1.0)
    all_ends = [middle, *(passage(times_s=found.times_s, course=row, limit=1.0) for row in found.ends)]
    known = [time for time in all_ends if time is not None]
    latest = None if len(known) < len(all_ends) else max(known)
    return Limit(found.change.mode, found.change.ref, min(known, default=None), middle, latest)


@dataclass(frozen=True, slots=True)
class WaterLimit:
    """A water activity at which something is lost, low and high end, from a row of `keeping_water`."""

    ref: str
    low_aw: float
    high_aw: float

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From the columns low_aw and high_aw."""
        return cls(row.ref, row.number("low_aw"), row.number("high_aw"))


def limit_of_water(*, path: WaterPath, limit: WaterLimit) -> Limit:
    """When the activity inside reaches a limit.

    Parameters
    ----------
    path : of `water_through_film`
    limit : its two ends

    Returns
    -------
    earliest: low end through the film's high permeance; latest: high end through its low one

    Source
    ------
    saltfare_derived, first passage at every end
    """
    middle = 0.5 * (limit.low_aw + limit.high_aw)
    times = [
        passage(times_s=path.times_s, course=path.aw[member], limit=aw)
        for member, aw in ((2, limit.low_aw), (1, middle), (0, limit.high_aw))
    ]
    return Limit("water", limit.ref, times[0], times[1], times[2])


def limit_of_oxygen(*, path: OxygenPath, limit_frac: float, ref: str) -> Limit:
    """When oxygen inside reaches a share of the gas.

    Parameters
    ----------
    path : of `oxygen_through_film`
    limit_frac : share of the gas [-]
    ref : row the limit stands on

    Returns
    -------
    the limit

    Source
    ------
    saltfare_derived, first passage for the film's three permeances
    """
    times = [passage(times_s=path.times_s, course=row, limit=limit_frac) for row in path.frac[::-1]]
    return Limit("oxygen", ref, times[0], times[1], times[2])


def conditions_inside(*, place: Place, water: WaterPath, oxygen: OxygenPath | None) -> Conditions:
    """What the food goes through in its pouch.

    Parameters
    ----------
    place : air outside, whose temperature is taken as the food's
    water : course of water through the film
    oxygen : course of oxygen, None where the pouch holds air all along

    Returns
    -------
    conditions, with the film's low and high permeance as the two courses

    Raises
    ------
    Refused: place_uneven

    Source
    ------
    saltfare_chosen, each step at the mean of its ends
    """
    if water.aw.shape[1] != place.ends_s.size + 1:
        raise Refused(Problem("place_uneven", "conditions"))
    between = 0.5 * (water.aw[:, 1:] + water.aw[:, :-1])
    aw = np.sort(between[[0, 2]], axis=0)
    rel = np.ones((2, place.ends_s.size))
    if oxygen is not None:
        inside = 0.5 * (oxygen.frac[:, 1:] + oxygen.frac[:, :-1]) / AIR_OXYGEN_FRAC
        rel = np.minimum(inside[[0, 2]], 1.0)
    return Conditions(place.ends_s, place.temp_c, aw, rel)


@dataclass(frozen=True, slots=True)
class Keeping:
    """All limits, the first of them, and the planning time: the earliest end of any.

    planning_s: None where no end of any limit lies within what was looked at; horizon_s says how far.
    planning_ref: row of the limit it stands on. doubtful: an isotherm was used outside its range.
    """

    limits: tuple[Limit, ...]
    first: Limit | None
    planning_s: float | None
    planning_ref: str
    horizon_s: float
    doubtful: bool
    notes: tuple[Note, ...]


def first_limit(
    *, limits: Sequence[Limit], horizon_s: float, guide_s: float | None, guide_ref: str, doubtful: bool
) -> Keeping:
    """The first limit reached, and the time to plan with.

    The planning time is the earliest end of any limit, and never beyond what an agency prints for such
    food. It is for planning, not a promise, and says nothing of what may be eaten.

    Parameters
    ----------
    limits : of the pack
    horizon_s : how far was looked [s]
    guide_s : what an agency prints for such food kept so, None without one [s]
    guide_ref : row of that
    doubtful : whether an isotherm was used outside its range

    Returns
    -------
    the keeping

    Raises
    ------
    Refused: keeping_without_limits

    Source
    ------
    saltfare_chosen, the earliest end of the spans the sources give
    """
    if not limits:
        raise Refused(Problem("keeping_without_limits", "limits"))
    reached = [one for one in limits if one.middle_s is not None]
    first = min(reached, key=lambda one: one.middle_s or 0.0, default=None)
    starts = [(one.earliest_s, one.ref) for one in limits if one.earliest_s is not None]
    if guide_s is not None and guide_s <= horizon_s:
        starts.append((guide_s, guide_ref))
    planning, ref = min(starts, default=(None, ""))
    notes = [Note("planning_date_no_promise")]
    if planning is None:
        notes.append(Note("no_limit_within", {"horizon_s": horizon_s}))
    if doubtful:
        notes.append(Note("keeping_isotherm_doubtful"))
    return Keeping(tuple(limits), first, planning, ref, horizon_s, doubtful, tuple(notes))


@dataclass(frozen=True, slots=True)
class Aged:
    """What one change has done by a time: share of its way to the limit, and what is left of a vitamin.

    consumed, kept_frac: low, middle, high of the share; least, middle, most kept, None where nothing
    is counted as kept.
    """

    mode: str
    ref: str
    consumed: tuple[float, float, float]
    kept_frac: tuple[float, float, float] | None


def aged(*, changes: Sequence[Change], conditions: Conditions, aw_monolayer: float) -> tuple[Aged, ...]:
    """What years on a shelf do: every change at the end of the conditions.

    Parameters
    ----------
    changes : which
    conditions : what the food goes through
    aw_monolayer : of the food's isotherm [-]

    Returns
    -------
    each change at the end

    Source
    ------
    fitness_shelf_life, zero order in the share, first order for what is kept
    foods_2020_9_39, against which thiamin is held
    """
    out = []
    for change in changes:
        found = consumed(change=change, conditions=conditions, aw_monolayer=aw_monolayer)
        last = np.append(found.ends[:, -1], found.middle[-1])
        shares = (float(last.min()), float(found.middle[-1]), float(last.max()))
        kept = change.kept_at_limit
        left = None if kept is None else (kept ** shares[2], kept ** shares[1], kept ** shares[0])
        out.append(Aged(change.mode, change.ref, shares, left))
    return tuple(out)
