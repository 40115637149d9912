"""Numbers and dates as people read them: value, space, unit; digits by uncertainty, not float noise.

A number with an interval keeps as many places as the interval's half-width warrants: two figures of
the half-width where it begins with 1 or 2, else one. A number without one keeps what a kitchen scale,
a tape or a thermometer shows. Every letter comes from the words catalogue (sections unit and date).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from saltfare.core.units import DecimalSign, Measures, to_unit

SPACE = "\u00a0"  # between a value and its unit
THIN = "\u202f"  # between groups of three digits
MINUS = "\u2212"

_DAY_S = 86400.0
# What is shown for a kind, by measures: (unit, least magnitude in SI for it), largest first.
_LADDERS: dict[str, dict[str, tuple[tuple[str, float], ...]]] = {
    "mass": {
        "metric": (("kg", 0.9995), ("g", 0.0)),
        "us": (("lb", 0.45359237), ("oz", 0.0)),
        "imperial": (("lb", 0.45359237), ("oz", 0.0)),
    },
    "length": {
        "metric": (("km", 5000.0), ("m", 1.0), ("cm", 0.02), ("mm", 0.0)),
        "us": (("mi", 5000.0), ("ft", 3.048), ("in", 0.0)),
        "imperial": (("mi", 5000.0), ("ft", 3.048), ("in", 0.0)),
    },
    "temperature": {
        "metric": (("C", -math.inf),),
        "us": (("F", -math.inf),),
        "imperial": (("C", -math.inf),),
    },
    "temperature_difference": {"metric": (("K", 0.0),), "us": (("F", 0.0),), "imperial": (("K", 0.0),)},
    "time": {"metric": (("d", 1.5 * _DAY_S), ("h", 5400.0), ("min", 90.0), ("s", 0.0))},
    "fraction": {"metric": (("%", 0.0),)},
    "volume": {"metric": (("l", 1.0e-3), ("ml", 0.0))},
    "speed": {"metric": (("m/s", 0.0),)},
    "pressure": {"metric": (("kPa", 1000.0), ("Pa", 0.0))},
    "energy": {"metric": (("MJ", 1e6), ("kJ", 1e3), ("J", 0.0))},
}
# Places where there is no interval to go by; trailing zeros go, they would claim a finer scale.
_PLACES = {
    "kg": 3,
    "lb": 2,
    "oz": 2,
    "cm": 1,
    "mm": 1,
    "km": 2,
    "mi": 2,
    "ft": 0,
    "in": 2,
    "C": 1,
    "F": 1,
    "K": 1,
    "d": 1,
    "%": 1,
    "ppm": 0,
    "kcal": 0,
    "kJ": 0,
    "mg": 0,
}
_BARE = {"aw": 3, "1": 3, "ratio": 3, "number": 3, "count": 0}
_FINEST = {"kg": 3, "lb": 3}  # no interval of a whole piece is finer than a gram
BARE_KINDS = frozenset(_BARE)
_SMALL_MASS_KG = 0.1134  # a quarter pound: below it a gram scale is used whatever the measures


@dataclass(frozen=True, slots=True)
class Shown:
    """How one person reads numbers and dates.

    labels: the words of units, months and date patterns. today: the civil date the year of a date is
    compared with; a year is written where it differs.
    """

    labels: Mapping[str, Any]
    measures: Measures = "metric"
    decimal: DecimalSign = "point"
    zone: str = "UTC"
    locale: str = "en"
    today: date | None = field(default=None)

    # numbers

    def number(self, value: float, places: int, *, trim: bool = True) -> str:
        """A number to `places` decimals (negative: to tens, hundreds), grouped by three."""
        if not math.isfinite(value):
            raise ValueError(f"{value} is never shown")
        text = f"{abs(round(value, places)):.{max(places, 0)}f}"
        whole, _, part = text.partition(".")
        if trim:
            part = part.rstrip("0")
        groups = f"{int(whole):,}".replace(",", THIN)
        sign = MINUS if value < 0 and (int(whole) or part.strip("0")) else ""
        return sign + groups + (("," if self.decimal == "comma" else ".") + part if part else "")

    def places(self, half_width: float) -> int:
        """Decimals that an interval of this half-width warrants."""
        return -math.floor(math.log10(half_width / 3.0)) if half_width > 0 else 6

    def unit_for(self, kind: str, value: float) -> str:
        """The unit a magnitude of a kind is shown in; "" for bare numbers."""
        kind, _, unit = kind.partition(":")
        if unit or kind in _BARE:
            return unit
        ladders = _LADDERS[kind]
        if kind == "mass" and self.measures != "metric" and abs(value) < _SMALL_MASS_KG:
            return "g"
        for name, least in ladders.get(self.measures, ladders["metric"]):
            if abs(value) >= least or least == -math.inf:
                return name
        return ladders["metric"][-1][0]

    def label(self, unit: str, amount: str = "") -> str:
        """A unit as written after an amount."""
        words = self.labels["unit"][unit]
        if isinstance(words, str):
            return words
        one, other = words
        return str(one if amount == "1" else other)

    def quantity(self, value: float, kind: str, *, half_width: float | None = None) -> str:
        """A value with its unit. `half_width` (SI) sets the digits; without it the unit's own do."""
        base, _, asked = kind.partition(":")
        if base in _BARE:
            if half_width:
                return self.number(value, self.places(half_width), trim=False)
            return self.number(value, _BARE[base])
        unit = asked or self.unit_for(kind, value)
        if unit == "lb" and not asked and half_width is None:
            return self._pounds(value)
        scaled = to_unit(value, base, unit)
        if half_width:
            places = min(self.places(half_width / _step(base, unit)), _FINEST.get(unit, 9))
            return self._joined(self.number(scaled, places, trim=False), unit)
        return self._joined(self.number(scaled, _own_places(unit, scaled)), unit)

    def money(self, minor: float, currency: str, digits: int) -> str:
        """An amount in minor units, in the major unit with its code; parts of a minor unit are kept."""
        places = digits if float(minor).is_integer() else digits + 1
        return f"{self.number(minor / 10**digits, places, trim=False)}{SPACE}{currency}"

    def span(self, low: float, high: float, kind: str) -> tuple[str, str]:
        """Both ends of an interval to the same digits; the unit stands after the second only."""
        base, _, asked = kind.partition(":")
        half = (high - low) / 2
        if base in _BARE:
            places = self.places(half)
            return self.number(low, places, trim=False), self.number(high, places, trim=False)
        unit = asked or self.unit_for(kind, high)
        places = min(self.places(half / _step(base, unit)), _FINEST.get(unit, 9))
        first = self.number(to_unit(low, base, unit), places, trim=False)
        second = self.number(to_unit(high, base, unit), places, trim=False)
        return first, self._joined(second, unit)

    def typed(self, value: float, kind: str, unit: str) -> str:
        """A number as it would be typed into a field: no unit, no grouping, nothing lost to a gram."""
        text = self.number(to_unit(value, kind, unit), 6 if unit in ("kg", "lb") else 3)
        return text.replace(THIN, "").replace(MINUS, "-")

    def both(self, value: float, kind: str) -> tuple[str, ...]:
        """The value in the person's measures, then in the other's: what an echo under a field shows."""
        other: Measures = "us" if self.measures == "metric" else "metric"
        mine = self.quantity(value, kind)
        theirs = Shown(self.labels, other, self.decimal).quantity(value, kind)
        return (mine,) if mine == theirs else (mine, theirs)

    def _joined(self, amount: str, unit: str) -> str:
        return f"{amount}{SPACE}{self.label(unit, amount)}"

    def _pounds(self, value: float) -> str:
        ounces = round(to_unit(abs(value), "mass", "oz"), 1)
        pounds, rest = divmod(ounces, 16)
        sign = MINUS if value < 0 else ""
        said = sign + self._joined(self.number(pounds, 0), "lb")
        return f"{said}{SPACE}{self._joined(self.number(rest, 1), 'oz')}" if round(rest, 1) else said

    # dates

    def local(self, at: datetime) -> datetime:
        """An instant where the person is."""
        return at.astimezone(ZoneInfo(self.zone))

    def on(self, value: date | datetime | str, *, weekday: bool = False) -> str:
        """A civil date; an instant is first taken to where the person is."""
        if isinstance(value, str):
            value = datetime.fromisoformat(value) if "T" in value else date.fromisoformat(value)
        if isinstance(value, datetime):
            value = self.local(value).date()
        patterns = self._patterns
        with_year = self.today is not None and value.year != self.today.year
        text = str(patterns["day_year" if with_year else "day"]).format(
            day=value.day,
            month=self.labels["date"]["months"][value.month - 1],
            month_number=f"{value.month:02d}",
            day_number=f"{value.day:02d}",
            year=value.year,
        )
        return f"{self.labels['date']['weekdays'][value.weekday()]}{SPACE}{text}" if weekday else text

    def at(self, value: datetime | str) -> str:
        """A civil date and time of day where the person is."""
        if isinstance(value, str):
            value = datetime.fromisoformat(value)
        local = self.local(value if value.tzinfo else value.replace(tzinfo=UTC))
        return str(self._patterns["day_time"]).format(
            date=self.on(local), hour=local.hour, minute=local.minute
        )

    def days_between(self, first: date, second: date) -> str:
        """The whole days from one civil date to another."""
        return self.quantity((second - first) / timedelta(seconds=1), "time:d")

    @property
    def _patterns(self) -> Mapping[str, str]:
        found = self.labels["date"]
        chosen: Mapping[str, str] = found.get(self.locale) or found.get(self.locale[:2]) or found["en"]
        return chosen


def _step(kind: str, unit: str) -> float:
    """SI size of one unit, differences of temperature included."""
    return 1.0 / (to_unit(1.0, kind, unit) - to_unit(0.0, kind, unit))


def _own_places(unit: str, scaled: float) -> int:
    if unit == "g":
        return 0 if abs(scaled) >= 100 else 1 if abs(scaled) >= 10 else 2
    if unit == "d":
        return 0 if abs(scaled) >= 10 else 1
    return _PLACES.get(unit, 1)
