"""The air a lot was kept in since it was packed, and will be: as read, as described, or else as assumed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta

import numpy as np

from saltfare.actions.context import Context
from saltfare.actions.judged_items import key_of_place
from saltfare.actions.stream_tails import tails
from saltfare.core.tables import Row
from saltfare.journal.chamber import ChamberState
from saltfare.journal.chamber import chambers as chamber_states
from saltfare.journal.events_shelf import PlaceDescribed
from saltfare.journal.lot import LotState
from saltfare.journal.readings import Air
from saltfare.journal.shelf import places as place_states
from saltfare.models.pouch_place import YEAR_S, Place, place_seasonal

RULES = "keeping_rules"


@dataclass(frozen=True, slots=True)
class KeptIn:
    """Steps of air from the day a lot was packed on, where they come from, and what was taken unsaid.

    basis: read, described or assumed, the least sure of all steps. assumed: what, and the place's name.
    """

    place: Place
    since: datetime
    basis: str
    assumed: tuple[str, ...]
    rows: tuple[Row, ...]


def packed_at(context: Context, lot: LotState) -> datetime:
    """The instant a lot's keeping is counted from: the civil day it was packed on, where it was packed."""
    return datetime.combine(lot.made.packed_on, time.min, context.zone).astimezone(UTC)


def kept_in(context: Context, lot: LotState) -> KeptIn:
    """The air of a lot over the whole horizon, from the day it was packed on."""
    rule = context.library.row
    horizon_s, step_s = rule(RULES, "horizon").number("time"), rule(RULES, "step").number("time")
    since, none_said = packed_at(context, lot), rule(RULES, "place_not_told")
    stays = _stays(lot, since)
    known = {key: _Source.of(context, key, since) for key in dict.fromkeys(key for _, key in stays)}
    count = int(np.ceil(horizon_s / step_s))
    ends = np.minimum(np.arange(1, count + 1) * step_s, horizon_s)
    temp, humid = np.empty(count), np.empty(count)
    assumed: dict[str, None] = {}
    basis = "read"
    for index, (begin, end) in enumerate(_spans(since, ends)):
        key = next((key for at, key in reversed(stays) if at <= begin), stays[0][1])
        found_t, found_h, how = known[key].air(begin, end)
        temp[index] = none_said.number("temp") if found_t is None else found_t
        humid[index] = none_said.number("humidity") if found_h is None else found_h
        if found_t is None:
            assumed["place_temperature"] = None
        if found_h is None:
            assumed["place_humidity"] = None
        if how == "ahead":
            assumed["place_ahead"] = None
        weak = "assumed" if found_t is None or found_h is None else "described" if how != "read" else "read"
        basis = max(basis, weak, key=("read", "described", "assumed").index)
    rows = (none_said,) if basis == "assumed" else ()
    return KeptIn(Place(ends, temp, humid), since, basis, tuple(assumed), rows)


def tails_of_places(context: Context, lot: LotState) -> dict[str, str]:
    """The streams a lot's air is read from, as they end: part of the key of what rests on it."""
    keys = {key_of_place(lot.made.place), *(key_of_place(e.body.place) for e in lot.moved)}
    streams = [
        f"chamber/{state.key}"
        for state in chamber_states(context.journal)
        if {state.key, key_of_place(state.name)} & keys
    ]
    streams += [
        f"place/{state.key}"
        for state in place_states(context.journal)
        if {state.key, key_of_place(state.name)} & keys
    ]
    return tails(context, streams)


def _stays(lot: LotState, since: datetime) -> list[tuple[datetime, str]]:
    first = [(since, key_of_place(lot.made.place))]
    return first + sorted((max(entry.at, since), key_of_place(entry.body.place)) for entry in lot.moved)


def _spans(since: datetime, ends: np.ndarray) -> Iterator[tuple[datetime, datetime]]:
    begin = since
    for end_s in ends:
        end = since + timedelta(seconds=float(end_s))
        yield begin, end
        begin = end


@dataclass(frozen=True, slots=True)
class _Source:
    """What is known of one place: its readings, its year as described, its usual air."""

    readings: Sequence[Air] = ()
    ahead: tuple[float, float] | None = None
    usual: tuple[float, float | None] | None = None
    year: PlaceDescribed | None = None

    @classmethod
    def of(cls, context: Context, key: str, since: datetime) -> _Source:
        state, year = _chamber(context, key), _described(context, key)
        if state is None:
            return cls(year=year)
        from_utc = min(since, context.now - timedelta(seconds=YEAR_S))
        readings = context.journal.readings.range(state.key, from_utc, context.now)
        usual = state.described
        described = None
        if usual is not None and usual.temperature is not None:
            described = usual.temperature.value, usual.humidity.value if usual.humidity else None
        stretch = context.library.row(RULES, "place_ahead").number("time")
        return cls(readings, _warmest(readings, stretch), described, year)

    def air(self, begin: datetime, end: datetime) -> tuple[float | None, float | None, str]:
        """Temperature, humidity and how they are known, over a stretch of time."""
        inside = [one for one in self.readings if begin <= one.at < end]
        if inside:
            return _mean([r.temp_c for r in inside]), _mean([r.rh_frac for r in inside]), "read"
        if self.readings and begin > self.readings[-1].at:
            whole_year = (self.readings[-1].at - self.readings[0].at).total_seconds() >= YEAR_S - 86400.0
            if whole_year:
                return self._year_ago(begin, end)
            if self.year is None and self.ahead is not None:
                usual = self.usual or self.ahead
                return max(self.ahead[0], usual[0]), self.ahead[1], "ahead"
        if self.year is not None:
            return _of_year(self.year, begin, end)
        if self.usual is not None:
            return self.usual[0], self.usual[1], "described"
        if self.ahead is not None:
            return self.ahead[0], self.ahead[1], "ahead"
        return None, None, "assumed"

    def _year_ago(self, begin: datetime, end: datetime) -> tuple[float | None, float | None, str]:
        """The same stretch of the last year that was read."""
        year = timedelta(seconds=YEAR_S)
        back = int(np.ceil((end - self.readings[-1].at) / year))
        inside = [one for one in self.readings if begin - back * year <= one.at < end - back * year]
        if not inside:
            return (*self.ahead, "ahead") if self.ahead else (None, None, "assumed")
        return _mean([r.temp_c for r in inside]), _mean([r.rh_frac for r in inside]), "ahead"


def _chamber(context: Context, key: str) -> ChamberState | None:
    for state in chamber_states(context.journal):
        if key in (state.key, key_of_place(state.name)):
            return state
    return None


def _described(context: Context, key: str) -> PlaceDescribed | None:
    for state in place_states(context.journal):
        if key in (state.key, key_of_place(state.name)):
            return state.described
    return None


def _of_year(year: PlaceDescribed, begin: datetime, end: datetime) -> tuple[float, float | None, str]:
    """The year as described over a stretch of it; held at its warmest where nobody said when that is."""
    cold, warm = year.coldest.value, year.warmest.value
    humid = year.humidity.value if year.humidity else None
    if year.warmest_month is None:
        return max(cold, warm), humid, "described"
    middle = datetime(begin.year, year.warmest_month, 15, tzinfo=UTC)
    span = (end - begin).total_seconds()
    found = place_seasonal(
        temp_c=0.5 * (cold + warm),
        temp_swing_c=0.5 * (warm - cold),
        rh_frac=0.0,
        rh_swing_frac=0.0,
        start_s=(begin - middle).total_seconds() + 0.25 * YEAR_S,
        time_s=span,
        step_s=span,
    )
    return float(found.temp_c[0]), humid, "described"


def _mean(values: Sequence[float]) -> float:
    return float(np.mean(values))


def _warmest(readings: Sequence[Air], stretch_s: float) -> tuple[float, float] | None:
    """The warmest mean over a stretch, and the humidity read then; of fewer readings, of them all."""
    if not readings:
        return None
    at = np.array([(one.at - readings[0].at).total_seconds() for one in readings])
    temp = np.array([one.temp_c for one in readings])
    humid = np.array([one.rh_frac for one in readings])
    if at[-1] <= stretch_s:
        return float(temp.mean()), float(humid.mean())
    until = np.searchsorted(at, at + stretch_s, side="right")
    whole = at + stretch_s <= at[-1]
    sums, damp = np.append(0.0, np.cumsum(temp)), np.append(0.0, np.cumsum(humid))
    first = np.arange(at.size)[whole]
    means = (sums[until[whole]] - sums[first]) / (until[whole] - first)
    best = int(np.argmax(means))
    begin, end = int(first[best]), int(until[whole][best])
    return float(means[best]), float((damp[end] - damp[begin]) / (end - begin))
