"""Copies of the journal that are known to open: taken while it is in use, kept in rotation, restored.

A copy of the live file by other means may catch it in the middle of a change; this one may not.
"""

from __future__ import annotations

import os
import re
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from saltfare.core.errors import JournalDamaged, JournalError, NotFound, Problem, Refused
from saltfare.journal.database import connect, sync_file, sync_folder, translated
from saltfare.journal.events import GENESIS
from saltfare.journal.lock import ProcessLock, alive

DAILY, WEEKLY, MONTHLY = 7, 4, 12
_STAMP = "%Y%m%dT%H%M%SZ"
_NAME = re.compile(r".*\.(\d{8}T\d{6}Z)\.db")


@dataclass(frozen=True, slots=True)
class Copy:
    """A journal file that opened and passed its integrity check."""

    path: Path
    events: int
    readings: int
    head_hash: str


@dataclass(frozen=True, slots=True)
class Restoration:
    """What putting `backup` in place of `present` does, or did.

    common: events both begin with. lost: events of the present journal that the backup lacks.
    present: None where the present file is missing or cannot be read; `aside` is where it is kept.
    """

    backup: Copy
    present: Copy | None
    common: int
    lost: int
    aside: Path
    done: bool


def examine(path: Path) -> Copy:
    """Open a journal file, check it whole, count it. Raises NotFound, JournalDamaged, JournalError."""
    if not path.is_file():
        raise NotFound("journal", str(path))
    with translated(path), closing(connect(path, read_only=True)) as connection:
        return _examined(path, connection)


def _examined(path: Path, connection: sqlite3.Connection) -> Copy:
    found = [row[0] for row in connection.execute("PRAGMA integrity_check(1)")]
    if found != ["ok"]:
        raise JournalDamaged(Problem("journal_damaged", params={"path": str(path), "reason": str(found[0])}))
    (events,) = connection.execute("SELECT count(*) FROM event").fetchone()
    (readings,) = connection.execute("SELECT count(*) FROM reading").fetchone()
    head = connection.execute("SELECT hash FROM event ORDER BY seq DESC LIMIT 1").fetchone()
    return Copy(path, events, readings, str(head[0]) if head else GENESIS)


def copy(source: Path, target: Path) -> Copy:
    """A verified copy of a journal in use; `target` is either whole or not there.

    Raises JournalDamaged where the journal or the copy does not hold, JournalError where the disk fails.
    """
    try:
        target.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        sweep(target.parent)
        part = target.parent / f".{target.name}.{os.getpid()}.part"
        try:
            part.touch(0o600)
            with translated(source), closing(connect(source, read_only=True)) as origin:
                _fill(part, origin)
            sync_file(part)
            made = examine(part)
            part.replace(target)
        finally:
            _drop(part)
        sync_folder(target.parent)
    except OSError as error:
        raise JournalError(_failed("disk_failed", target, str(error))) from error
    return Copy(target, made.events, made.readings, made.head_hash)


def _fill(part: Path, origin: sqlite3.Connection) -> None:
    # the copy is synced as a whole afterwards and renamed only then
    with closing(sqlite3.connect(part, isolation_level=None)) as fresh:
        fresh.execute("PRAGMA journal_mode=MEMORY").fetchall()
        fresh.execute("PRAGMA synchronous=OFF")
        origin.backup(fresh)


def _drop(part: Path) -> None:
    for left in (part, Path(f"{part}-journal")):
        with suppress(OSError):
            left.unlink(missing_ok=True)


def sweep(folder: Path) -> None:
    """Remove what a killed process left unfinished."""
    for left in folder.glob(".*.part*"):
        pid = re.search(r"\.(\d+)\.part", left.name)
        if pid and not alive(int(pid[1])):
            with suppress(OSError):
                left.unlink()


def stamped(folder: Path, stem: str) -> dict[datetime, Path]:
    """The dated backups of a journal in a folder, oldest first."""
    found = {}
    for path in folder.glob(f"{stem}.*.db"):
        match = _NAME.fullmatch(path.name)
        if match:
            with suppress(ValueError):
                found[datetime.strptime(match[1], _STAMP).replace(tzinfo=UTC)] = path
    return dict(sorted(found.items()))


def kept(instants: Iterable[datetime]) -> frozenset[datetime]:
    """Which dated backups stay: the last of each of 7 days, 4 weeks, 12 months, those that have one."""
    newest_first = sorted(instants, reverse=True)
    out: set[datetime] = set()
    for count, period in ((DAILY, "%Y-%m-%d"), (WEEKLY, "%G-%V"), (MONTHLY, "%Y-%m")):
        last: dict[str, datetime] = {}
        for instant in newest_first:
            last.setdefault(instant.strftime(period), instant)
        out.update(list(last.values())[:count])
    return frozenset(out)


def take(source: Path, folder: Path, now: datetime) -> Copy:
    """A dated backup, and the old ones beyond the rotation removed.

    Nothing is removed when the new copy holds fewer events than the one before it: then something
    happened to the journal that only the older copies can mend.
    """
    before = stamped(folder, source.stem)
    made = copy(source, folder / f"{source.stem}.{now.astimezone(UTC):{_STAMP}}.db")
    if before:
        with suppress(JournalError, NotFound):
            if examine(list(before.values())[-1]).events > made.events:
                return made
    dated = stamped(folder, source.stem)
    for instant in dated.keys() - kept(dated):
        with suppress(OSError):
            dated[instant].unlink()
    return made


def restore(path: Path, backup: Path, *, dry_run: bool, patience_s: float) -> Restoration:
    """Put a backup in the place of the journal, or only say what that would do.

    The present file is kept beside it. Needs the journal to itself: raises JournalBusy naming who has
    it open, JournalDamaged where the backup does not hold, NotFound where there is none.
    """
    if backup.absolute() == path.absolute():
        raise Refused(Problem("restore_same_file", "backup", str(backup)))
    good = examine(backup)
    if dry_run:
        return _compared(path, good, done=False)
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        with _alone(path, patience_s):
            told = _compared(path, good, done=True)
            fresh = path.parent / f"{path.stem}.restoring{path.suffix}"
            copy(backup, fresh)
            _aside(path, told.aside)
            fresh.replace(path)
            sync_folder(path.parent)
            return told
    except OSError as error:
        raise JournalError(_failed("disk_failed", path, str(error))) from error


@contextmanager
def _alone(path: Path, patience_s: float) -> Iterator[None]:
    lock = ProcessLock(lock_path(path), patience_s=patience_s)
    try:
        with lock.alone():
            yield
    finally:
        lock.close()


def lock_path(path: Path) -> Path:
    """The file whose lock says who has a journal open."""
    return path.with_name(path.name + ".lock")


def _aside(path: Path, aside: Path) -> None:
    """Keep the present file under another name without taking it away yet."""
    if not path.exists():
        return
    os.link(path, aside)
    left = Path(f"{path}-journal")
    if left.exists():
        # belongs to the old file alone; beside the new one it would be rolled back into it
        left.replace(Path(f"{aside}-journal"))
    sync_folder(path.parent)


def _compared(path: Path, good: Copy, *, done: bool) -> Restoration:
    present, common = None, 0
    try:
        present = examine(path)
        common = _common(path, good.path)
    except (JournalError, NotFound):
        present = None
    lost = present.events - common if present else 0
    number = 1
    while (aside := path.with_name(f"{path.stem}.replaced-{number}{path.suffix}")).exists():
        number += 1
    return Restoration(good, present, common, lost, aside, done)


def _common(one: Path, other: Path) -> int:
    """How many events two journals begin with in common."""
    query = "SELECT hash FROM event ORDER BY seq"
    count = 0
    with (
        translated(one),
        closing(connect(one, read_only=True)) as first,
        closing(connect(other, read_only=True)) as second,
    ):
        for (left,), (right,) in zip(first.execute(query), second.execute(query), strict=False):
            if left != right:
                break
            count += 1
    return count


def _failed(code: str, path: Path, reason: str) -> Problem:
    return Problem(code, params={"path": str(path), "reason": reason})
