"""A journal as text that any program can read: JSON lines, exported and taken in again unchanged.

The first line says what follows:

    {"format": "saltfare-journal", "version": 1, "schema": 1, "program": "0.0.1",
     "events": 2, "readings": 1, "head_hash": "..."}

then a line per event in order, the envelope with its body as an object,

    {"event": {"seq": 1, "id": "...", "stream": "piece/...", ..., "body": {...}, "hash": "..."}}

then a line per reading,

    {"reading": {"chamber": "...", "at": "...Z", "temp_c": 12.0, "rh_frac": 0.75, "import_seq": 2,
                 "typed": "..."}}

The hash of each event is over the canonical JSON of its other fields in that order, its body being the
canonical JSON text (sorted keys, no blanks); it names the hash before it, so that the head's hash
stands for all. Readings are fixed by the digest in the event that took them in.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, BinaryIO, TypeVar

from pydantic import StrictFloat, StrictInt, StrictStr, ValidationError
from sqlalchemy import Connection, func, insert, select

from saltfare import __version__
from saltfare.core.errors import JournalError, JournalNewer, NotFound, Problem, Refused, SaltfareError
from saltfare.core.fields import Frozen
from saltfare.journal.backups import sweep
from saltfare.journal.database import sync_folder
from saltfare.journal.events import (
    GENESIS,
    Draft,
    Record,
    canonical,
    check_names,
    event_of,
    instant,
    instant_text,
)
from saltfare.journal.health import content_faults
from saltfare.journal.readings import instant_of, microseconds
from saltfare.journal.schema import event as event_table
from saltfare.journal.schema import reading as reading_table
from saltfare.journal.schema import request as request_table
from saltfare.journal.store import Journal

M = TypeVar("M", bound=Frozen)

FORMAT, VERSION = "saltfare-journal", 1
_LONGEST_LINE = 4_000_000
_BATCH = 1000


@dataclass(frozen=True, slots=True)
class Exchange:
    """What taking in a file did, or would do: events and readings new, and known already."""

    events_new: int
    events_known: int
    readings_new: int
    head_hash: str
    done: bool


def lines(journal: Journal) -> Iterator[str]:
    """The journal as lines, of one moment."""
    with journal.database.read() as connection:
        query = select(event_table).order_by(event_table.c.seq)
        count, head = 0, GENESIS
        for row in connection.execute(query):
            count, head = count + 1, str(row.hash)
        readings = connection.execute(select(func.count()).select_from(reading_table)).scalar_one()
        yield _line(
            {
                "format": FORMAT,
                "version": VERSION,
                "schema": len(journal.steps),
                "program": __version__,
                "events": count,
                "readings": readings,
                "head_hash": head,
            }
        )
        for row in connection.execute(query):
            journal.event_in(row)
            record = Record(*row)
            yield _line({"event": {**asdict(record), "body": json.loads(record.body)}})
        columns = reading_table.c
        for row in connection.execute(select(reading_table).order_by(columns.import_seq, columns.at_us)):
            told = dict(row._mapping)
            at = instant_text(instant_of(told.pop("at_us")))
            yield _line({"reading": {"chamber": told.pop("chamber"), "at": at, **told}})


def export(journal: Journal, path: Path) -> int:
    """Write the journal to a file, whole or not at all; how many lines. Raises JournalError."""
    part = path.parent / f".{path.name}.{os.getpid()}.part"
    count = 0
    try:
        sweep(path.parent)
        try:
            descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            with os.fdopen(descriptor, "w", encoding="utf-8", newline="\n") as file:
                for line in lines(journal):
                    file.write(line)
                    count += 1
                file.flush()
                os.fsync(file.fileno())
            part.replace(path)
        finally:
            part.unlink(missing_ok=True)
        sync_folder(path.parent)
    except OSError as error:
        raise JournalError(
            Problem("disk_failed", params={"path": str(path), "reason": str(error)})
        ) from error
    return count


def _line(value: Mapping[str, Any]) -> str:
    return json.dumps(value, separators=(",", ":"), ensure_ascii=False, allow_nan=False) + "\n"


class _Header(Frozen):
    format: StrictStr
    version: StrictInt
    schema_: StrictInt
    program: StrictStr
    events: StrictInt
    readings: StrictInt
    head_hash: StrictStr


class _EventLine(Frozen):
    seq: StrictInt
    id: StrictStr
    stream: StrictStr
    stream_version: StrictInt
    kind: StrictStr
    kind_version: StrictInt
    at: StrictStr
    zone: StrictStr
    recorded_at: StrictStr
    actor: StrictStr
    request_id: StrictStr | None
    corrects: StrictStr | None
    body: dict[str, Any]
    prev_hash: StrictStr
    hash: StrictStr


class _ReadingLine(Frozen):
    chamber: StrictStr
    at: StrictStr
    import_seq: StrictInt
    temp_c: StrictFloat
    rh_frac: StrictFloat
    typed: StrictStr


class _Undo(Exception):
    """Leaves the transaction of a dry run without a trace."""


def take_in(journal: Journal, path: Path, *, dry_run: bool = True) -> Exchange:
    """Take in an exported journal: all of it in one transaction, or nothing.

    The journal must be empty, or be the beginning of the file; what it has already stays untouched, so
    that the same file twice is no change. A dry run does the same and then undoes it.

    Raises Refused naming the line (import_line, import_counts, import_diverges, import_shorter,
    import_format), JournalNewer, NotFound, JournalDamaged, JournalError.
    """
    journal.check_writable()
    done: list[Exchange] = []
    try:
        with path.open("rb") as file, journal.database.write() as connection:
            done.append(_Intake(journal, connection, file).run(done=not dry_run))
            if dry_run:
                raise _Undo
    except _Undo:
        pass
    except FileNotFoundError:
        raise NotFound("file", str(path)) from None
    except OSError as error:
        raise JournalError(
            Problem("disk_failed", params={"path": str(path), "reason": str(error)})
        ) from error
    return done[0]


class _Intake:
    """One file on its way into one transaction."""

    def __init__(self, journal: Journal, connection: Connection, file: BinaryIO) -> None:
        self._journal, self._connection, self._file = journal, connection, file
        self._number = 0
        query = select(event_table.c.hash).order_by(event_table.c.seq)
        self._present = [str(row.hash) for row in connection.execute(query)]
        self._head = GENESIS
        self._requests: dict[str, tuple[int, int]] = {}

    def run(self, *, done: bool) -> Exchange:
        header = self._header()
        for seq in range(1, header.events + 1):
            self._event(seq)
        if header.events < len(self._present):
            raise Refused(
                Problem(
                    "import_shorter", "file", params={"events": header.events, "present": len(self._present)}
                )
            )
        if self._requests:
            rows = [{"id": name, "first_seq": a, "last_seq": b} for name, (a, b) in self._requests.items()]
            self._connection.execute(insert(request_table), rows)
        readings = self._readings(header.readings)
        if self._file.readline(1) or self._head != header.head_hash:
            raise self._refused("import_counts", "")
        faults = content_faults(self._connection)
        if faults:
            raise self._refused("import_line", str(faults[0].params.get("reason", faults[0].code)))
        known = len(self._present)
        return Exchange(header.events - known, known, readings, self._head, done)

    def _header(self) -> _Header:
        told = self._next()
        if told.get("format") != FORMAT:
            raise self._refused("import_format", str(told.get("format"))[:80])
        version, schema = told.get("version"), told.get("schema")
        if version != VERSION or not isinstance(schema, int) or schema > len(self._journal.steps):
            raise JournalNewer(
                Problem("import_newer", params={"version": str(version), "schema": str(schema)})
            )
        return self._checked(_Header, {**{k: v for k, v in told.items() if k != "schema"}, "schema_": schema})

    def _event(self, seq: int) -> None:
        told = self._checked(_EventLine, self._inner("event"))
        try:
            record = Record(**{**told.model_dump(), "body": canonical(told.body)})
            event = event_of(record)
            check_names(
                stream=record.stream, zone=record.zone, actor=record.actor, request_id=record.request_id
            )
            for text in (record.at, record.recorded_at):
                if instant_text(instant(text)) != text:
                    raise ValueError(f"{text} is not as it is written")
            if record.seq != seq or record.prev_hash != self._head:
                raise ValueError("not joined to the line before")
        except JournalNewer:
            raise
        except (SaltfareError, ValueError, TypeError, RecursionError) as error:
            raise self._refused("import_line", str(error)) from None
        self._head = record.hash
        if seq <= len(self._present):
            if record.hash != self._present[seq - 1]:
                raise Refused(Problem("import_diverges", "file", params={"line": self._number, "seq": seq}))
            return
        draft = Draft(
            record.stream, event.body, event.at, record.zone, record.actor, event.recorded_at, record.corrects
        )
        try:
            self._journal.check_correction(self._connection, draft)
        except (Refused, NotFound) as error:
            raise self._refused("import_line", str(error)) from None
        self._connection.execute(insert(event_table).values(**asdict(record)))
        if record.request_id is not None:
            first, _ = self._requests.get(record.request_id, (seq, seq))
            self._requests[record.request_id] = (first, seq)

    def _readings(self, count: int) -> int:
        new, batch = 0, []
        for _ in range(count):
            told = self._checked(_ReadingLine, self._inner("reading"))
            if told.import_seq <= len(self._present):
                continue
            try:
                at_us = microseconds(instant(told.at))
            except ValueError as error:
                raise self._refused("import_line", str(error)) from None
            batch.append({**told.model_dump(exclude={"at"}), "at_us": at_us})
            new += 1
            if len(batch) == _BATCH:
                self._connection.execute(insert(reading_table), batch)
                batch = []
        if batch:
            self._connection.execute(insert(reading_table), batch)
        return new

    def _inner(self, name: str) -> dict[str, Any]:
        told = self._next()
        inner = told.get(name)
        if set(told) != {name} or not isinstance(inner, dict):
            raise self._refused("import_line", f"no {name}")
        return inner

    def _next(self) -> dict[str, Any]:
        self._number += 1
        line = self._file.readline(_LONGEST_LINE)
        if not line.endswith(b"\n"):
            raise self._refused("import_counts", "")
        try:
            told = json.loads(line.decode("utf-8"), parse_constant=_no_constant)
        except (ValueError, RecursionError) as error:
            raise self._refused("import_line", str(error)) from None
        if not isinstance(told, dict):
            raise self._refused("import_line", "no object")
        return told

    def _checked(self, model: type[M], told: dict[str, Any]) -> M:
        try:
            return model.model_validate(told)
        except ValidationError as error:
            first = error.errors(include_url=False, include_input=False)[0]
            where = ".".join(str(part) for part in first["loc"])
            raise self._refused("import_line", f"{where}: {first['msg']}") from None

    def _refused(self, code: str, reason: str) -> Refused:
        return Refused(Problem(code, "file", params={"line": self._number, "reason": reason[:200]}))


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is no number")
