"""Readings as loggers and people write them: lines of time, temperature, humidity.

The delimiter, the decimal sign, a heading and the order of the columns are told from the text; what
cannot be told is asked. Nothing is guessed about a date: only year-first dates are read unless the
person says which of day and month stands first.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from saltfare.core.errors import Problem, Refused
from saltfare.core.units import DecimalSign, parse
from saltfare.faces.typed import local_instant, with_unit

DateOrder = Literal["year", "day", "month"]
MOST_LINES = 20_000
_DELIMITERS = (";", "\t", ",")
_NAMES = {
    "at": re.compile(r"time ?stamp|date ?time|date/time|\bat\b|when|time|date|zeit|datum|heure", re.I),
    "temperature": re.compile(r"temp|°|celsius|fahrenheit|\bt\b", re.I),
    "humidity": re.compile(r"hum|\brh\b|feucht|%", re.I),
}
_DATE = re.compile(r"(\d{1,4})[-./](\d{1,2})[-./](\d{1,4})(.*)", re.S)


@dataclass(frozen=True, slots=True)
class Line:
    """A line that cannot be used: its number, the column, what stood there, what would do."""

    number: int
    problem: Problem


@dataclass(frozen=True, slots=True)
class Readings:
    """What a text holds: rows as an action takes them, the lines they stood on, and what cannot be used."""

    delimiter: str
    columns: Mapping[str, int]
    heading: tuple[str, ...]
    rows: tuple[Mapping[str, str], ...]
    lines: tuple[int, ...]
    bad: tuple[Line, ...]


def read(
    text: str,
    *,
    zone: str,
    dates: DateOrder = "year",
    temperature_unit: str = "C",
    decimal: DecimalSign = "point",
) -> Readings:
    """The readings in a text. A time without an offset is local to `zone`."""
    clean = text.lstrip("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    numbered = [(n, line) for n, line in enumerate(clean.split("\n"), 1) if line.strip()]
    delimiter = _delimiter([line for _, line in numbered[:20]])
    table = [(n, [c.strip() for c in next(csv.reader([line], delimiter=delimiter))]) for n, line in numbered]
    heading: tuple[str, ...] = ()
    if table and not _is_reading(table[0][1]):
        heading = tuple(table.pop(0)[1])
    columns = _columns(heading, table[0][1] if table else [])
    unit = _unit_of(heading, columns, temperature_unit)
    rows: list[Mapping[str, str]] = []
    lines: list[int] = []
    bad: list[Line] = []
    if len(table) > MOST_LINES:
        return Readings(
            delimiter,
            columns,
            heading,
            (),
            (),
            (Line(table[MOST_LINES][0], Problem("too_many", allowed=str(MOST_LINES))),),
        )
    # commas between the columns and as decimal sign: 13,4,75,5 would be read as 13 and 4
    widest = (len(heading) or max(columns.values()) + 1) if delimiter == "," else None
    for number, cells in table:
        if widest is not None and len("\0".join(cells).rstrip("\0").split("\0")) > widest:
            given = ", ".join(cells)[:64]
            bad.append(Line(number, Problem("line_too_long", given=given, allowed=str(widest))))
            continue
        found = _row(cells, columns, zone, dates, unit, decimal)
        if isinstance(found, Problem):
            bad.append(Line(number, found))
        else:
            rows.append(found)
            lines.append(number)
    return Readings(delimiter, columns, heading, tuple(rows), tuple(lines), tuple(bad))


def _delimiter(lines: Sequence[str]) -> str:
    for sign in _DELIMITERS:
        if lines and all(line.count(sign) >= 2 for line in lines):
            return sign
    return next((sign for sign in _DELIMITERS if any(sign in line for line in lines)), ",")


def _is_reading(cells: Sequence[str]) -> bool:
    return any(_DATE.match(cell) for cell in cells)


def _columns(heading: Sequence[str], first: Sequence[str]) -> dict[str, int]:
    found: dict[str, int] = {}
    for name, pattern in _NAMES.items():
        for index, title in enumerate(heading):
            if index not in found.values() and pattern.search(title):
                found[name] = index
                break
    if len(found) == 3:
        clock = next(
            (
                i
                for i, t in enumerate(heading)
                if i not in found.values() and re.search(r"time|zeit", t, re.I)
            ),
            None,
        )
        if clock is not None and first and not re.search(r"\d:\d", first[found["at"]]):
            found["clock"] = clock
        return found
    if len(first) >= 4 and re.match(r"\d{1,2}:\d", first[1]):
        return {"at": 0, "clock": 1, "temperature": 2, "humidity": 3}
    return {"at": 0, "temperature": 1, "humidity": 2}


def _unit_of(heading: Sequence[str], columns: Mapping[str, int], asked: str) -> str:
    title = heading[columns["temperature"]] if heading and columns["temperature"] < len(heading) else ""
    if re.search(r"°\s*F|\bF\b|fahrenheit", title):
        return "F"
    return "C" if re.search(r"°\s*C|\bC\b|celsius", title, re.I) else asked


def _row(
    cells: Sequence[str],
    columns: Mapping[str, int],
    zone: str,
    dates: DateOrder,
    unit: str,
    decimal: DecimalSign,
) -> Mapping[str, str] | Problem:
    if len(cells) <= max(columns.values()):
        return Problem("line_too_short", given=" | ".join(cells)[:64], allowed=str(max(columns.values()) + 1))
    written = cells[columns["at"]]
    if "clock" in columns:
        written = f"{written} {cells[columns['clock']]}"
    at = _instant(written, zone, dates)
    if isinstance(at, Problem):
        return at
    temperature, humidity = cells[columns["temperature"]], cells[columns["humidity"]]
    row = {"at": at, "temperature": with_unit(temperature, unit), "humidity": with_unit(humidity, "%")}
    for name, kind in (("temperature", "temperature"), ("humidity", "fraction")):
        try:
            parse(row[name], kind, decimal=decimal)
        except Refused as refused:
            problem = refused.problems[0]
            return Problem(problem.code, name, problem.given, problem.allowed, problem.params)
    return row


def _instant(text: str, zone: str, dates: DateOrder) -> str | Problem:
    match = _DATE.fullmatch(text.strip())
    wanted = {"year": "2026-03-09 14:30", "day": "9.3.2026 14:30", "month": "3/9/2026 14:30"}[dates]
    if match is None:
        return Problem("time_unreadable", "at", text[:64], wanted)
    first, second, third, rest = match.groups()
    if len(first) == 4:
        year, month, day = first, second, third
    elif len(third) == 4 and dates != "year":
        year = third
        day, month = (first, second) if dates == "day" else (second, first)
    else:
        return Problem("date_order_unknown", "at", text[:64], wanted)
    clock = rest.strip().lstrip("T").strip() or "00:00"
    clock = re.sub(r"^(\d):", r"0\1:", clock)
    try:
        at = datetime.fromisoformat(f"{year}-{int(month):02d}-{int(day):02d}T{clock}")
    except ValueError:
        return Problem("time_unreadable", "at", text[:64], wanted)
    return local_instant(at.isoformat(), zone)
