"""Bringing a file to where it can be used: is it ours, is it known, which steps are still to make."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from sqlalchemy import Connection, inspect

from saltfare import __version__
from saltfare.core.errors import JournalDamaged, JournalError, JournalNewer, NotFound, Problem
from saltfare.journal import backups
from saltfare.journal.database import Database, sync_folder, translated
from saltfare.journal.lock import ProcessLock
from saltfare.journal.migrations import Step
from saltfare.journal.schema import APPLICATION_ID, migration

_MAGIC = b"SQLite format 3\x00"


def prepare(path: Path, lock: ProcessLock, *, read_only: bool, steps: Sequence[Step]) -> None:
    """Make the file if there is none, refuse it if it is not ours or later than us, bring it up to date.

    Raises NotFound, JournalDamaged, JournalNewer, JournalError, JournalBusy.
    """
    _glance(path)
    if not path.exists():
        if read_only:
            raise NotFound("journal", str(path))
        path.touch(0o600)
        sync_folder(path.parent)
    version = _version_of(path, steps, read_only=read_only)
    if version == len(steps):
        return
    if read_only:
        raise JournalError(Problem("journal_older", params=_versions(path, version, steps)))
    with lock.alone():
        version = _version_of(path, steps, read_only=False)  # somebody may have been faster
        if version:
            kept = path.parent / "backups" / f"{path.stem}.before-step-{version + 1}{path.suffix}"
            backups.copy(path, kept)
        _migrate(path, steps[version:])


def _glance(path: Path) -> None:
    """Refuse a file of another kind by its first bytes, before anything could change it."""
    try:
        with path.open("rb") as file:
            head = file.read(100)
    except FileNotFoundError:
        return
    except OSError as error:
        raise JournalError(_failed("journal_cannot_open", path, str(error))) from None
    if not head:
        return
    if not head.startswith(_MAGIC):
        raise JournalDamaged(_failed("journal_damaged", path, "no database header"))
    application = int.from_bytes(head[68:72], "big")
    left_over = Path(f"{path}-journal")
    half_made = application == 0 and left_over.exists() and left_over.stat().st_size > 0
    if application != APPLICATION_ID and not half_made:
        raise JournalError(_failed("journal_foreign", path, f"{application:#x}"))


def _version_of(path: Path, steps: Sequence[Step], *, read_only: bool) -> int:
    database = Database(path, read_only=read_only)
    try:
        with database.read() as connection:
            return _version(connection, path, steps)
    finally:
        database.close()


def _version(connection: Connection, path: Path, steps: Sequence[Step]) -> int:
    application = connection.exec_driver_sql("PRAGMA application_id").scalar_one()
    version = int(connection.exec_driver_sql("PRAGMA user_version").scalar_one())
    names = set(inspect(connection).get_table_names())
    if application == 0 and version == 0 and not names:
        return 0
    if application != APPLICATION_ID:
        raise JournalError(_failed("journal_foreign", path, f"{application:#x}"))
    if version > len(steps):
        raise JournalNewer(Problem("journal_newer", params=_versions(path, version, steps)))
    made = list(connection.execute(migration.select().order_by(migration.c.number))) if names else []
    if [row.number for row in made] != list(range(1, version + 1)):
        raise JournalDamaged(_failed("journal_damaged", path, f"steps {len(made)}, version {version}"))
    return version


def _migrate(path: Path, steps: Sequence[Step]) -> None:
    database = Database(path, read_only=False)
    try:
        for step in steps:
            with database.write() as connection:
                step.apply(connection)
                connection.execute(
                    migration.insert().values(number=step.number, name=step.name, program=__version__)
                )
                broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
                if broken:
                    raise JournalDamaged(_failed("journal_damaged", path, f"step {step.number}: {broken[0]}"))
                # both live in the file's header and are part of the transaction
                connection.exec_driver_sql(f"PRAGMA user_version={step.number}")
                connection.exec_driver_sql(f"PRAGMA application_id={APPLICATION_ID}")
    finally:
        database.close()


def expected_schema(steps: Sequence[Step]) -> dict[str, str]:
    """Name -> SQL of everything the steps make, as SQLite keeps it."""
    from sqlalchemy import create_engine

    engine = create_engine("sqlite://")
    try:
        with translated(Path(":memory:")), engine.connect() as connection:
            for step in steps:
                step.apply(connection)
            return schema_of(connection)
    finally:
        engine.dispose()


def schema_of(connection: Connection) -> dict[str, str]:
    """Name -> SQL of everything in the file."""
    rows = connection.exec_driver_sql("SELECT type || ' ' || name, sql FROM sqlite_master")
    return {str(name): str(sql) for name, sql in rows}


def _failed(code: str, path: Path, reason: str) -> Problem:
    return Problem(code, params={"path": str(path), "reason": reason})


def _versions(path: Path, version: int, steps: Sequence[Step]) -> dict[str, str | float | int]:
    return {"path": str(path), "version": version, "known": len(steps)}
