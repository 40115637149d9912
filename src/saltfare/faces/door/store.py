"""The door's own file, beside the journal and no part of it: hashes, sessions, failures.

One small JSON file of mode 0600, replaced whole (written beside, synced, renamed, folder synced), so
that a power cut leaves the old one or the new. Several processes change it (the server, a command
beside it) under a lock; the server sees a change made on the console with the next request.
"""

from __future__ import annotations

import fcntl
import os
import secrets
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Literal

from pydantic import AwareDatetime, Field, ValidationError

from saltfare.core.errors import Problem, SaltfareError
from saltfare.core.fields import Frozen

Role = Literal["look", "record", "all"]
ROLES: tuple[Role, ...] = ("look", "record", "all")
NAME = "door.json"


class DoorBroken(SaltfareError):
    """The door's file cannot be used; nobody is let in by it."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        super().__init__(problem.code)


class Passphrase(Frozen):
    """A passphrase as kept, and what it opens."""

    hash: str
    set_at: AwareDatetime


class Session(Frozen):
    """A device that signed in. `hash` is of the secret it holds; `by` the passphrase it came with."""

    key: str
    hash: str
    role: Role
    by: Role
    name: str
    agent: str
    client: str
    at: AwareDatetime
    seen: AwareDatetime


class Failures(Frozen):
    """Failures in a row of one device, or of all."""

    count: int = Field(default=0, ge=0)
    last: AwareDatetime | None = None

    def one_more(self, now: datetime) -> Failures:
        """These and one now."""
        return Failures(count=self.count + 1, last=now)


class Held(Frozen):
    """All the door's file holds."""

    version: Literal[1] = 1
    passphrases: dict[Role, Passphrase] = Field(default_factory=dict)
    sessions: tuple[Session, ...] = ()
    failures: Failures = Failures()
    by_client: dict[str, Failures] = Field(default_factory=dict)


class Store:
    """The file at `path`."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._known: tuple[tuple[int, int, int], Held] | None = None

    def read(self) -> Held:
        """What it holds now; nothing where there is none. Raises DoorBroken."""
        try:
            found = self.path.stat()
        except FileNotFoundError:
            return Held()
        except OSError as error:
            raise DoorBroken(self._problem(error)) from None
        mark = (found.st_mtime_ns, found.st_ino, found.st_size)
        known = self._known
        if known is not None and known[0] == mark:
            return known[1]
        held = self._load()
        self._known = (mark, held)
        return held

    def change(self, step: Callable[[Held], Held]) -> Held:
        """Put what `step` makes of it in its place, alone. Raises DoorBroken."""
        try:
            with self._alone():
                before = self._load() if self.path.exists() else Held()
                after = step(before)
                if after != before:
                    self._save(after)
        except OSError as error:
            raise DoorBroken(self._problem(error)) from None
        return after

    def exposed(self) -> bool:
        """Whether others on this machine may read it."""
        try:
            return bool(stat.S_IMODE(self.path.stat().st_mode) & 0o077)
        except FileNotFoundError:
            return False

    def _problem(self, error: Exception) -> Problem:
        reason = getattr(error, "strerror", None) or type(error).__name__
        return Problem("door_unreadable", params={"name": self.path.name, "reason": str(reason)})

    def _load(self) -> Held:
        try:
            return Held.model_validate_json(self.path.read_bytes())
        except (OSError, ValidationError) as error:  # neither the text nor a hash goes into the message
            raise DoorBroken(self._problem(error)) from None

    def _save(self, held: Held) -> None:
        beside = self.path.with_name(f".{self.path.name}.{secrets.token_hex(8)}")
        descriptor = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        try:
            with os.fdopen(descriptor, "wb") as file:
                file.write(held.model_dump_json(indent=1).encode())
                file.flush()
                os.fsync(file.fileno())
            beside.replace(self.path)
        except BaseException:
            beside.unlink(missing_ok=True)
            raise
        folder = os.open(self.path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)

    @contextmanager
    def _alone(self) -> Iterator[None]:
        self.path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        descriptor = os.open(self.path.with_name(f"{self.path.name}.lock"), os.O_RDWR | os.O_CREAT, 0o600)
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX)
            yield
        finally:
            os.close(descriptor)
