"""The SQLite file under the journal: connections with pragmas set and read back, transactions, errors.

Rollback journal TRUNCATE with synchronous FULL: the pair that lost nothing in the replayed power cuts,
with one file at rest. Writers begin IMMEDIATE: with the driver's own lazy BEGIN, two writers were seen
to lose each other's changes without an error.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from types import MappingProxyType
from urllib.parse import quote

from sqlalchemy import Connection, Engine, create_engine
from sqlalchemy import event as listen
from sqlalchemy.exc import DBAPIError
from sqlalchemy.pool import QueuePool

from saltfare.core.errors import JournalBusy, JournalDamaged, JournalError, Problem, Refused

PRAGMAS: Mapping[str, str | int] = MappingProxyType(
    {
        "busy_timeout": 5000,
        "trusted_schema": 0,
        "foreign_keys": 1,
        "recursive_triggers": 1,  # or REPLACE deletes past the triggers
        "journal_mode": "truncate",
        "synchronous": 2,  # FULL
    }
)
"""Set in this order on every connection, then read back."""

_CODES: Mapping[int, tuple[type[JournalError], str]] = MappingProxyType(
    {
        sqlite3.SQLITE_BUSY: (JournalBusy, "journal_locked"),
        sqlite3.SQLITE_LOCKED: (JournalBusy, "journal_locked"),
        sqlite3.SQLITE_CORRUPT: (JournalDamaged, "journal_damaged"),
        sqlite3.SQLITE_NOTADB: (JournalDamaged, "journal_damaged"),
        sqlite3.SQLITE_FULL: (JournalError, "disk_full"),
        sqlite3.SQLITE_READONLY: (JournalError, "journal_read_only"),
        sqlite3.SQLITE_PERM: (JournalError, "journal_read_only"),
        sqlite3.SQLITE_IOERR: (JournalError, "disk_failed"),
        sqlite3.SQLITE_CANTOPEN: (JournalError, "journal_cannot_open"),
    }
)


def sqlite_problem(error: sqlite3.Error, path: Path) -> JournalError:
    """What an error of the driver means for the person."""
    code = getattr(error, "sqlite_errorcode", None)
    if not isinstance(code, int):
        # the driver itself, reading text that is not UTF-8 or a number where none can be
        code = (
            sqlite3.SQLITE_CORRUPT if isinstance(error, sqlite3.OperationalError | sqlite3.DataError) else -1
        )
    kind, key = _CODES.get(code & 0xFF, (JournalError, "journal_failed"))
    return kind(Problem(key, params={"path": str(path), "reason": str(error)[:200]}))


@contextmanager
def translated(path: Path) -> Iterator[None]:
    """Errors of the driver inside become errors of the tree."""
    try:
        yield
    except DBAPIError as error:
        if isinstance(error.orig, sqlite3.Error):
            raise sqlite_problem(error.orig, path) from error
        raise
    except sqlite3.Error as error:
        raise sqlite_problem(error, path) from error
    except UnicodeEncodeError as error:  # half of a surrogate pair, as a shell may hand over
        raise Refused(Problem("not_plain_text", given=ascii(error.object)[:64])) from None
    except UnicodeDecodeError as error:  # a damaged file's own text, even in the driver's message
        params: dict[str, str | float | int] = {"path": str(path), "reason": error.reason}
        raise JournalDamaged(Problem("journal_damaged", params=params)) from error


def connect(path: Path, *, read_only: bool = False, create: bool = False) -> sqlite3.Connection:
    """A bare connection with the pragmas set and read back.

    A reader opens the file for writing where it may, with `query_only`: only so can it undo what a
    killed writer left half done.
    """
    mode = "rwc" if create else "rw"
    if read_only and not (os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)):
        mode = "ro"
    made = sqlite3.connect(
        f"file:{quote(str(path.absolute()))}?mode={mode}",
        uri=True,
        isolation_level=None,
        check_same_thread=False,
        timeout=float(PRAGMAS["busy_timeout"]) / 1000,
    )
    try:
        wanted = {**PRAGMAS, "query_only": int(read_only)}
        for name, value in wanted.items():
            made.execute(f"PRAGMA {name}={value}").fetchall()
        for name, value in wanted.items():
            (found,) = made.execute(f"PRAGMA {name}").fetchone()
            if found != value:
                reason = f"{name} is {found}, not {value}"
                raise JournalError(Problem("journal_failed", params={"path": str(path), "reason": reason}))
    except BaseException:
        made.close()
        raise
    return made


class Database:
    """Read and write transactions on one file."""

    def __init__(self, path: Path, *, read_only: bool) -> None:
        self.path, self.read_only = path, read_only
        self.engine: Engine = create_engine(
            "sqlite+pysqlite://",
            creator=lambda: connect(path, read_only=read_only),
            poolclass=QueuePool,
            pool_size=4,
            max_overflow=12,
        )

        @listen.listens_for(self.engine, "begin")
        def _begin(connection: Connection) -> None:
            writes = connection.get_execution_options().get("writes", False)
            connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """One consistent view of the file."""
        with translated(self.path), self.engine.connect() as connection, connection.begin():
            yield connection

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """One transaction; what is inside counts only once this has been left without an error."""
        with (
            translated(self.path),
            self.engine.connect().execution_options(writes=True) as connection,
            connection.begin(),
        ):
            yield connection

    def pragma(self, name: str) -> list[tuple[object, ...]]:
        """The rows a pragma answers with."""
        with self.read() as connection:
            return [tuple(row) for row in connection.exec_driver_sql(f"PRAGMA {name}")]

    def close(self) -> None:
        """Close every connection."""
        self.engine.dispose()


def sync_folder(folder: Path) -> None:
    """Make names in a folder last: a file is only found again once its folder is on disk too."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def sync_file(path: Path) -> None:
    """Make the content of a file last."""
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
