"""Where every stream ends, kept in memory for as long as nobody wrote to the file.

SQLite counts the commits of others on a connection that never writes itself: while its count stands still
the file is as it was when it was last read, whichever thread or process might have written. What is said
here is thus never older than the question, and costs no transaction where nothing happened.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from saltfare.journal.database import connect, translated
from saltfare.journal.events import GENESIS

_SINCE = "SELECT seq, stream, stream_version, hash FROM event WHERE seq >= ? ORDER BY seq"


@dataclass(frozen=True, slots=True)
class Head:
    """The last event of a stream: its version there, and its hash."""

    version: int
    hash: str


@dataclass(frozen=True, slots=True)
class Ends:
    """A journal at one moment: its last event, and its streams in the order they began."""

    seq: int = 0
    hash: str = GENESIS
    streams: Mapping[str, Head] = field(default_factory=dict)


class Heads:
    """The ends of one file's streams, asked as often as one likes."""

    def __init__(self, path: Path, *, read_only: bool) -> None:
        self._path = path
        self._guard = threading.Lock()
        self._count: int | None = None
        self._ends = Ends()
        with translated(path):
            self._watch: sqlite3.Connection = connect(path, read_only=read_only)

    def now(self) -> Ends:
        """The ends as they are. Raises JournalBusy, JournalDamaged, JournalError."""
        with self._guard, translated(self._path):
            # the count is taken first: what is written between the two is looked for again next time
            (count,) = self._watch.execute("PRAGMA data_version").fetchone()
            if count != self._count:
                self._ends = self._moved_on()
                self._count = count
            return self._ends

    def _moved_on(self) -> Ends:
        before = self._ends
        rows = self._watch.execute(_SINCE, (before.seq,)).fetchall()
        streams = dict(before.streams)
        if before.seq:
            known = rows[0] if rows else None
            if known is None or (known[0], known[3]) != (before.seq, before.hash):
                # not the journal that was read: nothing of it is carried over
                rows, streams = self._watch.execute(_SINCE, (0,)).fetchall(), {}
        for _, stream, version, mark in rows:
            streams[stream] = Head(version, mark)
        return Ends(rows[-1][0], rows[-1][3], streams) if rows else Ends()

    def close(self) -> None:
        """Let go of the file."""
        with self._guard:
            self._watch.close()
