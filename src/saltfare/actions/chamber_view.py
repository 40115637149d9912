"""One chamber: its air as it was logged, and what hangs in it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from itertools import pairwise
from statistics import fmean, median

from pydantic import Field

from saltfare.actions.chambers import ChamberShown, chamber_shown
from saltfare.actions.context import Context
from saltfare.actions.shapes import Output, Query
from saltfare.core.fields import Frozen
from saltfare.journal.chamber import chamber as chamber_of
from saltfare.journal.piece import State, pieces
from saltfare.journal.readings import Air

_MOST_POINTS = 240
_GAP = 3.0  # times the usual distance between readings: more is a gap, and is left open


class ChamberGiven(Query):
    """A chamber by its key, and how many days back."""

    key: str = Field(max_length=60)
    days: int = Field(default=14, ge=1, le=366)


class AirPoint(Frozen):
    """The air about an instant: the mean of the readings near it. begins: after a gap in the readings."""

    at: datetime
    temp_c: float
    rh_frac: float
    begins: bool


class AirDay(Frozen):
    """A day of readings."""

    on: date
    readings: int
    temp_low_c: float
    temp_high_c: float
    temp_mean_c: float
    rh_low_frac: float
    rh_high_frac: float
    rh_mean_frac: float


class PieceHere(Frozen):
    """A piece that hangs or rests there."""

    code: str
    name: str
    state: str


class ChamberAir(Output):
    """The chamber, its air of the days asked for, thinned for a drawing, and the same by days."""

    chamber: ChamberShown
    points: tuple[AirPoint, ...]
    days: tuple[AirDay, ...]
    pieces: tuple[PieceHere, ...]


def chamber(context: Context, given: ChamberGiven) -> ChamberAir:
    """One chamber with its air as logged and the pieces in it."""
    state = chamber_of(context.journal, given.key)
    begin = context.now - timedelta(days=given.days)
    found = context.journal.readings.range(given.key, begin, context.now)
    here = (State.HANGING, State.AT_ITS_MASS)
    return ChamberAir(
        chamber=chamber_shown(context, state),
        points=tuple(_points(found)),
        days=tuple(_days(context, found)),
        pieces=tuple(
            PieceHere(code=p.code, name=p.name, state=p.state.value)
            for p in pieces(context.journal)
            if p.chamber == given.key and p.state in here
        ),
    )


def _points(found: Sequence[Air]) -> list[AirPoint]:
    """The readings, neighbours taken together where there are too many to draw, never over a gap."""
    if not found:
        return []
    steps = [(b.at - a.at).total_seconds() for a, b in pairwise(found)]
    gap = _GAP * median(steps) if steps else 0.0
    runs: list[list[Air]] = [[found[0]]]
    for step, reading in zip(steps, found[1:], strict=True):
        if step > gap:
            runs.append([])
        runs[-1].append(reading)
    together = max(1, -(-len(found) // _MOST_POINTS))
    out = []
    for run in runs:
        for start in range(0, len(run), together):
            some = run[start : start + together]
            out.append(
                AirPoint(
                    at=some[len(some) // 2].at,
                    temp_c=fmean(r.temp_c for r in some),
                    rh_frac=fmean(r.rh_frac for r in some),
                    begins=start == 0,
                )
            )
    return out


def _days(context: Context, found: Sequence[Air]) -> list[AirDay]:
    by_day: dict[date, list[Air]] = {}
    for reading in found:
        by_day.setdefault(reading.at.astimezone(context.zone).date(), []).append(reading)
    return [
        AirDay(
            on=on,
            readings=len(some),
            temp_low_c=min(r.temp_c for r in some),
            temp_high_c=max(r.temp_c for r in some),
            temp_mean_c=fmean(r.temp_c for r in some),
            rh_low_frac=min(r.rh_frac for r in some),
            rh_high_frac=max(r.rh_frac for r in some),
            rh_mean_frac=fmean(r.rh_frac for r in some),
        )
        for on, some in sorted(by_day.items(), reverse=True)
    ]
