"""Air readings of a chamber: their own table, taken in by events.

A reading is never changed. An import that was wrong is withdrawn by a correction of its event; its
readings then no longer count, and right ones can be taken in for the same instants.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from typing import NamedTuple

from sqlalchemy import Connection, Select, insert, select

from saltfare.core.errors import Problem, Refused
from saltfare.journal.database import Database
from saltfare.journal.events import Draft, Event, canonical, is_text
from saltfare.journal.events_chamber import STREAM, Read
from saltfare.journal.fold import effective
from saltfare.journal.schema import reading as table

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)
_MOST_PROBLEMS = 50


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading as given. typed: the cells or the line as typed. line: where it stood."""

    at: datetime
    temp_c: float
    rh_frac: float
    typed: str = ""
    line: int | None = None


class Air(NamedTuple):
    """One reading as kept."""

    at: datetime
    temp_c: float
    rh_frac: float


@dataclass(frozen=True, slots=True)
class Imported:
    """What an import did: its event (None where every row was known already), rows new and known."""

    event: Event | None
    new: int
    known: int


Row = tuple[int, float, float, str]
"""at_us, temp_c, rh_frac, typed"""

Put = Callable[[Connection, Sequence[Draft], str | None], tuple[Event, ...]]
Answered = Callable[[Connection, str], tuple[Event, ...]]
Fold = Callable[[Connection, str, Callable[[tuple[Event, ...]], frozenset[int]]], frozenset[int] | None]


class Readings:
    """The air readings of a journal; part of `Journal`, whose transactions it uses."""

    def __init__(
        self, database: Database, *, put: Put, answered: Answered, fold: Fold, writable: Callable[[], None]
    ) -> None:
        self._database, self._put, self._answered, self._fold = database, put, answered, fold
        self._writable = writable

    def append(
        self,
        chamber: str,
        reading: Reading,
        *,
        zone: str,
        actor: str,
        recorded_at: datetime,
        origin: str = "",
        request_id: str | None = None,
    ) -> Imported:
        """Take in one reading."""
        return self.import_(
            chamber,
            (reading,),
            zone=zone,
            actor=actor,
            recorded_at=recorded_at,
            origin=origin,
            request_id=request_id,
        )

    def import_(
        self,
        chamber: str,
        rows: Iterable[Reading],
        *,
        zone: str,
        actor: str,
        recorded_at: datetime,
        origin: str = "",
        request_id: str | None = None,
        dry_run: bool = False,
    ) -> Imported:
        """Take in readings, all or none. The same instant with the same value again is no change.

        Raises Refused, naming lines, for a value that is no number and for an instant that already
        has another value (reading_not_a_number, reading_differs, readings_none).
        """
        given = _rows(rows)
        self._writable()
        with self._database.write() if not dry_run else self._database.read() as connection:
            if request_id is not None and (before := self._answered(connection, request_id)):
                return _before(before, len(given))
            new = self._new(connection, chamber, given)
            if dry_run or not new:
                return Imported(None, len(new), len(given) - len(new))
            body = Read(
                origin=origin, rows=len(new), first_at=_at(new[0]), last_at=_at(new[-1]), digest=digest(new)
            )
            draft = Draft(STREAM + chamber, body, _at(new[-1]), zone, actor, recorded_at)
            (event,) = self._put(connection, (draft,), request_id)
            names = ("at_us", "temp_c", "rh_frac", "typed")
            connection.execute(
                insert(table),
                [
                    {"chamber": chamber, "import_seq": event.seq, **dict(zip(names, row, strict=True))}
                    for row in new
                ],
            )
        return Imported(event, len(new), len(given) - len(new))

    def _new(self, connection: Connection, chamber: str, given: dict[int, tuple[Row, int]]) -> list[Row]:
        """The rows not yet there, in time. Raises Refused for those that are there with another value."""
        known = {
            row.at_us: row
            for row in connection.execute(self._counted(connection, chamber, min(given), max(given)))
        }
        new, problems = [], []
        for at_us, (row, line) in sorted(given.items()):
            there = known.get(at_us)
            if there is None:
                new.append(row)
            elif (there.temp_c, there.rh_frac) != row[1:3]:
                problems.append(_differs(row, line, there.temp_c, there.rh_frac))
        if problems:
            raise Refused(*problems[:_MOST_PROBLEMS])
        return new

    def range(self, chamber: str, from_utc: datetime, to_utc: datetime) -> list[Air]:
        """The readings that count, from the one instant to the other, both included, in time."""
        with self._database.read() as connection:
            query = self._counted(connection, chamber, microseconds(from_utc), microseconds(to_utc))
            found = {row.at_us: row for row in connection.execute(query)}
        return [Air(instant_of(at_us), row.temp_c, row.rh_frac) for at_us, row in found.items()]

    def last(self, chamber: str, to_utc: datetime | None = None) -> Air | None:
        """The latest reading that counts, up to an instant if one is given."""
        with self._database.read() as connection:
            high = microseconds(to_utc) if to_utc is not None else None
            query = self._counted(connection, chamber, None, high)
            query = query.order_by(None).order_by(table.c.at_us.desc(), table.c.import_seq.desc()).limit(1)
            row = connection.execute(query).first()
        return None if row is None else Air(instant_of(row.at_us), row.temp_c, row.rh_frac)

    def _counted(
        self, connection: Connection, chamber: str, low: int | None, high: int | None
    ) -> Select[tuple[int, float, float, int]]:
        """Readings whose import was not withdrawn; of the same instant, the later import comes last."""
        query = select(table.c.at_us, table.c.temp_c, table.c.rh_frac, table.c.import_seq)
        query = query.where(table.c.chamber == chamber)
        if low is not None:
            query = query.where(table.c.at_us >= low)
        if high is not None:
            query = query.where(table.c.at_us <= high)
        withdrawn = self._fold(connection, STREAM + chamber, _withdrawn)
        if withdrawn:
            query = query.where(table.c.import_seq.not_in(sorted(withdrawn)))
        return query.order_by(table.c.at_us, table.c.import_seq)


def _withdrawn(events: tuple[Event, ...]) -> frozenset[int]:
    imports = {event.seq for event in events if isinstance(event.body, Read)}
    return frozenset(imports - {fact.event.seq for fact in effective(events)})


def _rows(rows: Iterable[Reading]) -> dict[int, tuple[Row, int]]:
    """The rows by instant with their lines; equal ones once."""
    given: dict[int, tuple[Row, int]] = {}
    problems: list[Problem] = []
    for number, reading in enumerate(rows, 1):
        line = reading.line if reading.line is not None else number
        if not (math.isfinite(reading.temp_c) and math.isfinite(reading.rh_frac)):
            shown = f"{reading.temp_c} {reading.rh_frac}"
            problems.append(Problem("reading_not_a_number", "rows", shown, params={"line": line}))
            continue
        if not is_text(reading.typed):
            problems.append(Problem("not_text", "rows", repr(reading.typed)[:64], params={"line": line}))
            continue
        # + 0.0 makes minus zero zero, which SQLite would do on its own
        row = (
            microseconds(reading.at),
            float(reading.temp_c) + 0.0,
            float(reading.rh_frac) + 0.0,
            reading.typed,
        )
        there = given.setdefault(row[0], (row, line))[0]
        if there[1:3] != row[1:3]:
            problems.append(_differs(row, line, there[1], there[2]))
    if problems:
        raise Refused(*problems[:_MOST_PROBLEMS])
    if not given:
        raise Refused(Problem("readings_none", "rows"))
    return given


def _differs(row: Row, line: int, temp_c: float, rh_frac: float) -> Problem:
    return Problem(
        "reading_differs",
        "rows",
        given=row[3] or f"{row[1]} {row[2]}",
        params={"line": line, "at": _at(row).isoformat(), "temp_c": temp_c, "rh_frac": rh_frac},
    )


def _before(events: tuple[Event, ...], given: int) -> Imported:
    first = events[0]
    if not isinstance(first.body, Read):
        raise Refused(Problem("request_reused", "request_id", first.request_id or ""))
    return Imported(first, first.body.rows, max(given - first.body.rows, 0))


def digest(rows: Iterable[Row]) -> str:
    """SHA-256 over rows in time, one canonical JSON line each."""
    made = sha256()
    for row in rows:
        made.update(canonical(row).encode() + b"\n")
    return made.hexdigest()


def microseconds(at: datetime) -> int:
    """Microseconds since 1970 UTC, exactly."""
    if at.tzinfo is None or at.utcoffset() is None:
        raise Refused(Problem("instant_without_zone", "at", at.isoformat()))
    return (at - _EPOCH) // _MICROSECOND


def instant_of(at_us: int) -> datetime:
    """The instant of microseconds since 1970 UTC."""
    return _EPOCH + timedelta(microseconds=at_us)


def _at(row: Row) -> datetime:
    return instant_of(row[0])
