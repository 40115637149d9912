"""Where a face gets its context: the one place that reads the clock, the environment and the paths."""

from __future__ import annotations

import os
import secrets
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from saltfare.actions.context import Context

Clock = Callable[[], datetime]


def data_dir() -> Path:
    """Where journals live: SALTFARE_DATA, else the desktop's place for a program's data."""
    given = os.environ.get("SALTFARE_DATA")
    if given:
        return Path(given)
    base = os.environ.get("XDG_DATA_HOME") or str(Path.home() / ".local" / "share")
    return Path(base) / "saltfare"


def system_zone() -> str:
    """The IANA name of this machine's zone, UTC where it cannot be told."""
    from zoneinfo import ZoneInfo

    named = os.environ.get("TZ", "")
    link = Path("/etc/localtime")
    target = str(link.resolve()) if link.is_symlink() else ""
    for name in (named, target.partition("zoneinfo/")[2]):
        try:
            return ZoneInfo(name).key if name else "UTC"
        except (KeyError, ValueError, OSError):
            continue
    return "UTC"


def utc_now() -> datetime:
    """The machine's clock."""
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True)
class House:
    """An opened journal and all that its contexts share."""

    path: Path
    demo: bool
    clock: Clock
    context: Callable[[], Context]


@contextmanager
def opened(*, demo: bool = False, clock: Clock = utc_now, directory: Path | None = None) -> Iterator[House]:
    """Open the person's journal, or the demo.

    Raises JournalError where it cannot be opened; the file is then as it was.
    """
    from saltfare.actions.context import Context
    from saltfare.actions.settings import settings_of
    from saltfare.core.errors import Problem, Refused
    from saltfare.core.library import Library
    from saltfare.jobs import Cache
    from saltfare.journal.store import Journal

    where = directory or data_dir()
    try:
        where.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Refused(
            Problem("data_folder_unusable", params={"path": str(where), "reason": error.strerror or ""})
        ) from None
    path = where / "saltfare.db"
    if demo:
        from saltfare.faces.demo import demo_journal

        path = demo_journal(where, clock(), zone=system_zone())
    library = Library()
    with Journal.open(path) as journal:
        cache = Cache(where / "cache")

        def context() -> Context:
            return Context(
                journal=journal,
                cache=cache,
                library=library,
                now=clock(),
                entropy=secrets.token_bytes,
                settings=settings_of(journal, system_zone()),
                demo=demo,
            )

        yield House(path, demo, clock, context)


def has_journal(directory: Path | None = None) -> bool:
    """Whether the person has a journal yet."""
    return ((directory or data_dir()) / "saltfare.db").exists()
