"""Who has a journal open: shared by everybody who reads or writes, alone for migrations and restore.

Commands work while the server runs, so several processes share a journal; their writes are kept apart
by `BEGIN IMMEDIATE`, inside which the hash chain is continued. Replacing or migrating the file under
somebody who has it open would lose what they write next, so that needs the lock alone.

The operating system drops the lock with the process, however it ends; the file left behind means
nothing. Its lines are the process numbers of those who took the lock, only to say who holds it.
"""

from __future__ import annotations

import fcntl
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from saltfare.core.errors import JournalBusy, Problem

_POLL_S = 0.02


class ProcessLock:
    """A lock on `path`, held from construction to `close`."""

    def __init__(self, path: Path, *, patience_s: float) -> None:
        self.path = path
        self._patience_s = patience_s
        self._descriptor = _open(path)
        try:
            if self._descriptor is not None:
                self._share()
        except BaseException:
            self.close()
            raise

    def _share(self) -> None:
        descriptor = self._descriptor
        assert descriptor is not None  # noqa: S101
        if _taken(descriptor, fcntl.LOCK_EX):  # nobody else: forget those who are gone
            _write(descriptor, truncate=True)
        self._wait(fcntl.LOCK_SH)
        if str(os.getpid()) not in _lines(self.path):
            _write(descriptor, truncate=False)

    def _wait(self, how: int) -> None:
        descriptor = self._descriptor
        if descriptor is None:
            raise JournalBusy(Problem("journal_lock_missing", params={"path": str(self.path)}))
        end = time.monotonic() + self._patience_s
        while not _taken(descriptor, how):
            if time.monotonic() > end:
                raise JournalBusy(_held(self.path))
            time.sleep(_POLL_S)

    @contextmanager
    def alone(self) -> Iterator[None]:
        """Hold it with nobody else, then share it again. Raises JournalBusy naming who has it."""
        try:
            self._wait(fcntl.LOCK_EX)
            yield
        finally:
            if self._descriptor is not None:
                self._wait(fcntl.LOCK_SH)

    def close(self) -> None:
        """Let go."""
        if self._descriptor is not None:
            os.close(self._descriptor)
            self._descriptor = None


def _open(path: Path) -> int | None:
    """None where the folder is read-only and nobody ever made the file: nothing can change there."""
    try:
        return os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o600)
    except OSError:
        try:
            return os.open(path, os.O_RDONLY)
        except OSError:
            return None


def _taken(descriptor: int, how: int) -> bool:
    try:
        fcntl.flock(descriptor, how | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


def _write(descriptor: int, *, truncate: bool) -> None:
    try:
        if truncate:
            os.ftruncate(descriptor, 0)
        os.write(descriptor, f"{os.getpid()}\n".encode())
    except OSError:
        return  # read-only or full: the lock holds all the same, only its holder stays unnamed


def _lines(path: Path) -> list[str]:
    try:
        return path.read_text("ascii", "replace").split()
    except OSError:
        return []


def _held(path: Path) -> Problem:
    found = dict.fromkeys(line for line in _lines(path) if line.isdigit() and alive(int(line)))
    others = [pid for pid in found if pid != str(os.getpid())] or list(found)
    return Problem("journal_busy", params={"path": str(path), "pid": ", ".join(others)})


def alive(pid: int) -> bool:
    """Is there a process of that number."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True
