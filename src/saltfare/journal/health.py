"""Does the journal hold together: quickly at the start, wholly when asked, and all it rests on."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from itertools import islice
from pathlib import Path
from typing import Any, NamedTuple

from sqlalchemy import Connection, select

from saltfare.core.errors import JournalError, Problem
from saltfare.journal import backups
from saltfare.journal.database import PRAGMAS, Database
from saltfare.journal.events import GENESIS, Record, event_of
from saltfare.journal.events_chamber import STREAM, Read
from saltfare.journal.migrations import Step
from saltfare.journal.opening import expected_schema, schema_of
from saltfare.journal.readings import digest
from saltfare.journal.schema import APPLICATION_ID
from saltfare.journal.schema import event as event_table
from saltfare.journal.schema import reading as reading_table
from saltfare.journal.schema import request as request_table

_MOST_FAULTS = 100
_FREE_BYTES = 100_000_000
_WAL_RESET_FIXED = (3, 51, 3)
_BACKUP_DAYS = 2.0

Params = Mapping[str, str | float | int]


class Check(NamedTuple):
    """One line of the self-test: what was looked at, whether it holds, with which figures."""

    name: str
    ok: bool
    params: Params


@dataclass(frozen=True, slots=True)
class Verification:
    """What reading everything found; `faults` is empty where it holds."""

    events: int
    readings: int
    streams: int
    head_hash: str
    faults: tuple[Problem, ...]

    @property
    def ok(self) -> bool:
        """Nothing was found."""
        return not self.faults


def quick_faults(database: Database) -> tuple[Problem, ...]:
    """What the check at every start finds: the file's structure, and that no row points nowhere."""
    faults: list[Problem] = []
    with _gathered(faults, "file"), database.read() as connection:
        faults.extend(_pragma_faults(connection, "quick_check(10)"))
        faults.extend(_dangling(connection))
    return tuple(faults)


def verify(database: Database, steps: Sequence[Step]) -> Verification:
    """Read everything: structure, tables and triggers, the chain, requests, readings."""
    faults: list[Problem] = []
    seen = _Seen()
    with _gathered(faults, "file"), database.read() as connection:
        faults.extend(_pragma_faults(connection, "integrity_check(20)"))
        faults.extend(_dangling(connection))
    with _gathered(faults, "schema"), database.read() as connection:
        faults.extend(_schema_faults(connection, steps))
    with _gathered(faults, "chain"), database.read() as connection:
        # one view of the file for what is compared with each other
        faults.extend(_content_faults(connection, seen))
    return Verification(seen.events, seen.readings, len(seen.versions), seen.head, tuple(faults))


@dataclass(slots=True)
class _Seen:
    """What the chain told on the way, for what is compared with it."""

    events: int = 0
    readings: int = 0
    head: str = GENESIS
    ids: set[str] = field(default_factory=set)
    versions: dict[str, int] = field(default_factory=dict)
    requests: dict[str, tuple[int, int]] = field(default_factory=dict)
    imports: dict[int, tuple[str, int, str]] = field(default_factory=dict)


@contextmanager
def _gathered(faults: list[Problem], part: str) -> Iterator[None]:
    """What cannot even be read is a fault too."""
    try:
        yield
    except JournalError as error:
        faults.append(error.problem)
    except (ValueError, TypeError, OverflowError, RecursionError) as error:
        faults.append(_fault(part, 0, str(error)))


def _fault(part: str, seq: int, reason: str) -> Problem:
    return Problem("journal_fault", params={"part": part, "seq": seq, "reason": reason[:200]})


def _pragma_faults(connection: Connection, pragma: str) -> Iterator[Problem]:
    for (line,) in connection.exec_driver_sql(f"PRAGMA {pragma}").fetchall():
        if line != "ok":
            yield _fault("file", 0, str(line))


def _dangling(connection: Connection) -> Iterator[Problem]:
    for row in connection.exec_driver_sql("PRAGMA foreign_key_check").fetchmany(10):
        yield _fault("file", 0, f"{row[0]} points to no {row[2]}")


def _schema_faults(connection: Connection, steps: Sequence[Step]) -> Iterator[Problem]:
    wanted, found = expected_schema(steps), schema_of(connection)
    for name in sorted(wanted.keys() | found.keys()):
        if wanted.get(name) != found.get(name):
            yield _fault("schema", 0, name)


def content_faults(connection: Connection) -> list[Problem]:
    """What is wrong with events, requests and readings as a transaction sees them."""
    return list(_content_faults(connection, _Seen()))


def _content_faults(connection: Connection, seen: _Seen) -> Iterator[Problem]:
    yield from islice(_chain_faults(connection, seen), _MOST_FAULTS)
    yield from islice(_request_faults(connection, seen), _MOST_FAULTS)
    yield from islice(_reading_faults(connection, seen), _MOST_FAULTS)


def _chain_faults(connection: Connection, seen: _Seen) -> Iterator[Problem]:
    for row in connection.execute(select(event_table).order_by(event_table.c.seq)):
        record = Record(*row)
        seen.events += 1
        try:
            yield from _record_faults(record, seen)
        except (JournalError, ValueError, TypeError, RecursionError) as error:
            yield _fault("chain", seen.events, str(error))
        seen.head = record.hash


def _record_faults(record: Record, seen: _Seen) -> Iterator[Problem]:
    """One link: whole in itself, joined to the one before, in its place in its stream."""
    event = event_of(record)
    version = seen.versions.get(record.stream, 0) + 1
    seen.versions[record.stream] = record.stream_version
    if record.seq != seen.events:
        yield _fault("chain", record.seq, f"place {seen.events}")
    if record.prev_hash != seen.head:
        yield _fault("chain", record.seq, "not joined to the one before")
    if record.stream_version != version:
        yield _fault("chain", record.seq, f"version {record.stream_version}, not {version}")
    if record.corrects is not None and record.corrects not in seen.ids:
        yield _fault("chain", record.seq, f"corrects {record.corrects}, which was not there")
    seen.ids.add(record.id)
    if isinstance(event.body, Read):
        seen.imports[record.seq] = (record.stream, event.body.rows, event.body.digest)
    if record.request_id is not None:
        first, last = seen.requests.get(record.request_id, (record.seq, record.seq - 1))
        if last != record.seq - 1:
            yield _fault("chain", record.seq, "a request done twice")
        seen.requests[record.request_id] = (first, record.seq)


def _request_faults(connection: Connection, seen: _Seen) -> Iterator[Problem]:
    listed = {row.id: (row.first_seq, row.last_seq) for row in connection.execute(select(request_table))}
    for name in sorted(listed.keys() ^ seen.requests.keys()):
        yield _fault("requests", 0, name)
    for name in listed.keys() & seen.requests.keys():
        if listed[name] != seen.requests[name]:
            yield _fault("requests", listed[name][0], name)


def _reading_faults(connection: Connection, seen: _Seen) -> Iterator[Problem]:
    columns = reading_table.c
    for seq, (stream, rows, wanted) in seen.imports.items():
        query = select(columns.at_us, columns.temp_c, columns.rh_frac, columns.typed)
        query = query.where(columns.import_seq == seq, columns.chamber == stream.removeprefix(STREAM))
        found = [tuple(row) for row in connection.execute(query.order_by(columns.at_us))]
        if len(found) != rows or digest(found) != wanted:
            yield _fault("readings", seq, f"{len(found)} of {rows}")
        seen.readings += len(found)
    total = connection.exec_driver_sql("SELECT count(*) FROM reading").scalar_one()
    if total != seen.readings:
        yield _fault("readings", 0, f"{total}, not {seen.readings}")


def selftest(
    database: Database, steps: Sequence[Step], *, backup_folder: Path | None, now: datetime | None
) -> list[Check]:
    """Everything the journal rests on, a line each; a failing line never hides the others."""
    version = sqlite3.sqlite_version_info
    looks: list[tuple[str, Callable[[], tuple[bool, Params]]]] = [
        # reported, not failed: the reset fault needs WAL, which is not used
        (
            "sqlite",
            lambda: (True, {"version": sqlite3.sqlite_version, "reset_fixed": version >= _WAL_RESET_FIXED}),
        ),
        ("pragmas", lambda: _pragmas(database)),
        ("schema", lambda: _schema(database, steps)),
        ("journal", lambda: _journal(database, steps)),
        ("folder", lambda: _folder(database)),
        ("disk", lambda: _disk(database.path)),
    ]
    if backup_folder is not None and now is not None:
        folder, at = backup_folder, now
        looks.append(("backup", lambda: _backup(database.path, folder, at)))
    return [_looked(name, look) for name, look in looks]


def _looked(name: str, look: Callable[[], tuple[bool, Params]]) -> Check:
    try:
        ok, params = look()
    except (JournalError, OSError, ValueError, TypeError) as error:
        return Check(name, False, {"reason": str(error)[:200]})
    return Check(name, ok, params)


def _pragmas(database: Database) -> tuple[bool, Params]:
    found: dict[str, Any] = {name: database.pragma(name)[0][0] for name in PRAGMAS}
    return found == dict(PRAGMAS), found


def _schema(database: Database, steps: Sequence[Step]) -> tuple[bool, Params]:
    application, version = database.pragma("application_id")[0][0], database.pragma("user_version")[0][0]
    with database.read() as connection:
        faults = list(_schema_faults(connection, steps))
    params: Params = {"version": str(version), "known": len(steps), "faults": len(faults)}
    return application == APPLICATION_ID and version == len(steps) and not faults, params


def _journal(database: Database, steps: Sequence[Step]) -> tuple[bool, Params]:
    found = verify(database, steps)
    params: dict[str, str | float | int] = {
        "events": found.events,
        "readings": found.readings,
        "faults": len(found.faults),
        "head": found.head_hash[:12],
    }
    if found.faults:
        params["reason"] = str(found.faults[0].params.get("reason", found.faults[0].code))
    return found.ok, params


def _folder(database: Database) -> tuple[bool, Params]:
    folder = database.path.parent
    probe = folder / f".{database.path.name}.probe"
    if not database.read_only:
        probe.touch(0o600)
        probe.unlink()
    return True, {"path": str(folder)}


def _disk(path: Path) -> tuple[bool, Params]:
    free = shutil.disk_usage(path.parent).free
    return free > max(_FREE_BYTES, 3 * path.stat().st_size), {"free_bytes": free}


def _backup(path: Path, folder: Path, now: datetime) -> tuple[bool, Params]:
    dated = backups.stamped(folder, path.stem)
    if not dated:
        return False, {"path": str(folder), "count": 0, "days": -1.0, "events": 0}
    at, newest = list(dated.items())[-1]
    days = (now - at).total_seconds() / 86400
    copy = backups.examine(newest)
    return days <= _BACKUP_DAYS, {"count": len(dated), "days": round(days, 2), "events": copy.events}
