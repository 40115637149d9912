"""A thermometer's readings as people type them and loggers write them: lines of a time and a temperature.

A line begins with a time of day, with or without a date before it; without one it is of the day named beside
the text, and goes on into the next day where the clock falls back by more than half a day.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from saltfare.core.errors import Problem, Refused
from saltfare.core.units import DecimalSign, parse
from saltfare.faces.typed import local_instant

MOST_LINES = 20_000
_LINE = re.compile(
    r"\s*(?:(?P<day>\d{4}-\d{1,2}-\d{1,2})[T\s,;\t]+)?"
    r"(?P<time>\d{1,2}[:.h]\d{2}(?::\d{2})?)(?P<zone>Z|[+-]\d{2}:?\d{2})?"
    r"[\s,;\t]+(?P<value>[-+−]?\d[\d.,]*)\s*(?P<unit>°?\s*[CF])?\s*[,;]?\s*"
)
_HALF_DAY = timedelta(hours=12)


@dataclass(frozen=True, slots=True)
class LogText:
    """Rows as an action takes them, and the lines that cannot be read, by number."""

    rows: tuple[Mapping[str, Any], ...]
    bad: tuple[tuple[int, Problem], ...]


def read_log(text: str, *, zone: str, day: date | None, unit: str, decimal: DecimalSign) -> LogText:
    """The readings in a text. A heading that names °F or °C says the unit where a line does not."""
    rows: list[Mapping[str, Any]] = []
    bad: list[tuple[int, Problem]] = []
    last: datetime | None = None
    at_day = day
    for number, line in enumerate(text.lstrip("\ufeff").splitlines(), 1):
        if not line.strip():
            continue
        match = _LINE.fullmatch(line.strip('"').replace('"', ""))
        if match is None:
            if not rows and not bad and not re.search(r"\d[:.h]\d\d", line):
                unit = _unit_named(line) or unit
                continue
            bad.append((number, Problem("log_line_unreadable", "rows", line.strip()[:64])))
            continue
        if len(rows) >= MOST_LINES:
            bad.append((number, Problem("too_many", "rows", allowed=str(MOST_LINES))))
            break
        own = date.fromisoformat(_padded(match["day"])) if match["day"] else None
        if own is None and at_day is None:
            bad.append((number, Problem("log_day_missing", "_day", line.strip()[:64])))
            continue
        moment = _moment(own or at_day, match["time"])
        if moment is None:
            bad.append((number, Problem("log_line_unreadable", "rows", line.strip()[:64])))
            continue
        if own is None and last is not None and last - moment > _HALF_DAY:
            moment += timedelta(days=1)
        last, at_day = moment, moment.date()
        value = f"{match['value'].replace('−', '-')} {(match['unit'] or unit).replace('°', '').strip()}"
        try:
            parse(value, "temperature", decimal=decimal)
        except Refused as refused:
            problem = refused.problems[0]
            bad.append(
                (number, Problem(problem.code, "rows", problem.given, problem.allowed, problem.params))
            )
            continue
        at = local_instant(moment.isoformat() + (match["zone"] or ""), zone)
        rows.append({"at": at, "temperature": value})
    return LogText(tuple(rows), tuple(bad))


def _padded(day: str) -> str:
    year, month, of_month = day.split("-")
    return f"{year}-{int(month):02d}-{int(of_month):02d}"


def _moment(day: date | None, clock: str) -> datetime | None:
    parts = [int(part) for part in re.split(r"[:.h]", clock)]
    if day is None:
        return None
    try:
        return datetime.combine(day, time(parts[0], parts[1], parts[2] if len(parts) > 2 else 0))
    except ValueError:
        return None


def _unit_named(line: str) -> str:
    if re.search(r"°\s*F|\bF\b|fahrenheit", line, re.I):
        return "F"
    return "C" if re.search(r"°\s*C|\bC\b|celsius", line, re.I) else ""
