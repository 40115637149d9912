"""The journal: events appended in one transaction, read back, folded.

Several processes may share a journal (the server and a command beside it): every writer takes the
file's write lock with `BEGIN IMMEDIATE` and only then reads the head it continues. What `append`
returns has been committed to disk.

Nothing here reads the clock; chance is injected.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self, TypeVar

from sqlalchemy import Connection, func, select

from saltfare.core.errors import (
    Conflict,
    JournalDamaged,
    JournalError,
    JournalNewer,
    NotFound,
    Problem,
    Refused,
)
from saltfare.journal import (
    backups,
    events_chamber,
    events_dish,
    events_food,
    events_handling,
    events_judged,
    events_learning,
    events_lot,
    events_piece,
    events_plan,
    events_pouch,
    events_shelf,
    events_trip,
    health,
)
from saltfare.journal.database import Database
from saltfare.journal.events import (
    ENVELOPE,
    GENESIS,
    Body,
    Corrected,
    Draft,
    Event,
    Record,
    body_text,
    check_names,
    event_of,
    instant_text,
    uuid7,
)
from saltfare.journal.heads import Heads
from saltfare.journal.lock import ProcessLock
from saltfare.journal.migrations import STEPS, Step
from saltfare.journal.opening import prepare
from saltfare.journal.readings import Readings
from saltfare.journal.schema import event as event_table
from saltfare.journal.schema import request as request_table

S = TypeVar("S")

KIND_MODULES = (
    events_piece,
    events_handling,
    events_chamber,
    events_dish,
    events_food,
    events_lot,
    events_judged,
    events_learning,
    events_pouch,
    events_shelf,
    events_trip,
    events_plan,
)
"""Imported so that their kinds can be read."""


class Journal:
    """One journal, open. Made by `Journal.open`; a context manager that closes it.

    damage: what the check at the start found; a damaged journal can still be read where it can be
    read, and refuses to be written.
    """

    def __init__(
        self,
        path: Path,
        database: Database,
        heads: Heads,
        lock: ProcessLock,
        *,
        read_only: bool,
        entropy: Callable[[int], bytes],
        damage: tuple[Problem, ...],
        steps: Sequence[Step],
    ) -> None:
        self.path, self.read_only, self.damage = path, read_only, damage
        self.database, self.steps = database, steps
        self._ends, self._lock, self._entropy = heads, lock, entropy
        self._folded: dict[tuple[str, Callable[..., Any]], tuple[str, Any]] = {}
        self.readings = Readings(
            database, put=self._put, answered=self._answered, fold=self._fold, writable=self.check_writable
        )

    @classmethod
    def open(
        cls,
        path_or_url: str | Path,
        *,
        read_only: bool = False,
        entropy: Callable[[int], bytes] = secrets.token_bytes,
        patience_s: float = 5.0,
        steps: Sequence[Step] = STEPS,
    ) -> Journal:
        """Open a journal, made first if there is none and it may be written.

        patience_s: how long to wait for somebody who has it alone.

        Raises NotFound (nothing to read), JournalBusy, JournalDamaged (not even its header holds),
        JournalNewer, JournalError.
        """
        path = _path(path_or_url)
        if not read_only:
            try:
                path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            except OSError as error:
                params: dict[str, str | float | int] = {"path": str(path), "reason": str(error)}
                raise JournalError(Problem("journal_cannot_open", params=params)) from None
        elif not path.exists():
            raise NotFound("journal", str(path))
        lock = ProcessLock(backups.lock_path(path), patience_s=patience_s)
        try:
            prepare(path, lock, read_only=read_only, steps=steps)
            database = Database(path, read_only=read_only)
            damage = health.quick_faults(database)
            heads = Heads(path, read_only=read_only)
        except BaseException:
            lock.close()
            raise
        return cls(
            path, database, heads, lock, read_only=read_only, entropy=entropy, damage=damage, steps=steps
        )

    def close(self) -> None:
        """Close every connection and let go of the lock."""
        self._ends.close()
        self.database.close()
        self._lock.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # writing

    def append(
        self,
        stream: str,
        body: Body,
        *,
        at: datetime,
        zone: str,
        actor: str,
        recorded_at: datetime,
        request_id: str | None = None,
        seen_version: int | None = None,
        corrects: str | None = None,
    ) -> Event:
        """Append one event; it is on disk when this returns. See `append_many`."""
        draft = Draft(stream, body, at, zone, actor, recorded_at, corrects)
        seen = {} if seen_version is None else {stream: seen_version}
        return self.append_many((draft,), request_id=request_id, seen_versions=seen)[0]

    def append_many(
        self,
        drafts: Sequence[Draft],
        *,
        request_id: str | None = None,
        seen_versions: Mapping[str, int] | None = None,
    ) -> tuple[Event, ...]:
        """Append events in one transaction: all or none.

        request_id: if a request of that name was done, its events are returned and nothing is done.
        seen_versions: stream -> the version looked at.

        Raises Conflict (a stream moved on), Refused (event_not_storable, stream_name, zone_unknown,
        instant_without_zone, correction_needs_event, correction_kind, correction_empty, request_reused),
        NotFound (the event to correct), JournalDamaged, JournalError.
        """
        self.check_writable()
        if not drafts:
            return ()
        with self.database.write() as connection:
            if request_id is not None and (before := self._answered(connection, request_id)):
                _same_request(before, drafts, self._heads(connection, ""), request_id)
                return before
            for stream, seen in (seen_versions or {}).items():
                now = self._version(connection, stream)
                if now != seen:
                    raise Conflict(stream, seen, now)
            events = self._put(connection, drafts, request_id)
        return events

    def check_writable(self) -> None:
        """Raise JournalDamaged or JournalError where nothing may be appended."""
        if self.damage:
            raise JournalDamaged(self.damage[0])
        if self.read_only:
            raise JournalError(Problem("journal_read_only", params={"path": str(self.path), "reason": ""}))

    def _put(
        self, connection: Connection, drafts: Sequence[Draft], request_id: str | None
    ) -> tuple[Event, ...]:
        for draft in drafts:
            check_names(stream=draft.stream, zone=draft.zone, actor=draft.actor, request_id=request_id)
        tail = self._tail(connection)
        seq, prev_hash = (tail.seq, tail.hash) if tail else (0, GENESIS)
        versions: dict[str, int] = {}
        made = []
        for draft in drafts:
            if draft.stream not in versions:
                versions[draft.stream] = self._version(connection, draft.stream)
            versions[draft.stream] += 1
            self.check_correction(connection, draft)
            seq += 1
            record = Record(
                seq,
                uuid7(draft.recorded_at, self._entropy),
                draft.stream,
                versions[draft.stream],
                draft.body.kind,
                draft.body.kind_version,
                instant_text(draft.at),
                draft.zone,
                instant_text(draft.recorded_at),
                draft.actor,
                request_id,
                draft.corrects,
                body_text(draft.body),
                prev_hash,
                "",
            )
            record = replace(record, hash=record.digest())
            prev_hash = record.hash
            connection.execute(event_table.insert().values(_values(record)))
            made.append(event_of(record))
        if request_id is not None:
            connection.execute(
                request_table.insert().values(id=request_id, first_seq=made[0].seq, last_seq=seq)
            )
        return tuple(made)

    def check_correction(self, connection: Connection, draft: Draft) -> None:
        """Refuse a correction that names no event of its stream, or says nothing that could be done."""
        body = draft.body
        if not isinstance(body, Corrected):
            if draft.corrects is not None:
                raise Refused(Problem("correction_needs_event", "corrects", draft.corrects))
            return
        if draft.corrects is None:
            raise Refused(Problem("correction_needs_event", "corrects"))
        target = self._one(connection, draft.corrects)
        root = target
        while root.corrects is not None:
            root = self._one(connection, root.corrects)
        if target.stream != draft.stream:
            raise Refused(Problem("correction_stream", "corrects", draft.corrects, target.stream))
        if body.what == "withdraw":
            if body.new is not None or body.new_at is not None:
                raise Refused(Problem("correction_kind", "new", "", "withdraw"))
            return
        if body.new is None and body.new_at is None:
            raise Refused(Problem("correction_empty", "new"))
        if root.kind == events_chamber.Read.kind:
            raise Refused(Problem("correction_of_readings", "what", "replace", "withdraw"))
        if body.new is not None and body.new.kind != root.kind:
            raise Refused(Problem("correction_kind", "new", body.new.kind, root.kind))

    # reading

    def events(self, stream: str | None = None, since: int = 0) -> tuple[Event, ...]:
        """Events after sequence number `since`, of one stream or of all, in order.

        Each was compared with its hash. Raises JournalDamaged for one that does not match.
        """
        with self.database.read() as connection:
            return self._events(connection, stream, since)

    def event(self, event_id: str) -> Event:
        """One event by id. Raises NotFound."""
        with self.database.read() as connection:
            return self._one(connection, event_id)

    def answered(self, request_id: str) -> tuple[Event, ...]:
        """The events a request made; none where it was not done."""
        with self.database.read() as connection:
            return self._answered(connection, request_id)

    def streams(self, prefix: str = "") -> tuple[str, ...]:
        """Streams whose name begins so, in the order they began."""
        return tuple(self.heads(prefix))

    def heads(self, prefix: str = "") -> Mapping[str, int]:
        """Stream -> version, of the streams whose name begins so."""
        found = self._ends.now().streams
        return {name: head.version for name, head in found.items() if name.startswith(prefix)}

    def head(self) -> int:
        """The sequence number of the last event, 0 where there is none."""
        return self._ends.now().seq

    def head_hash(self) -> str:
        """The hash of the last event: the same for the same journal, and for no other."""
        return self._ends.now().hash

    def stream_head(self, stream: str) -> int:
        """The version of a stream, 0 where it has no event."""
        found = self._ends.now().streams.get(stream)
        return found.version if found else 0

    def tails(self, prefix: str = "") -> Mapping[str, str]:
        """Stream -> hash of its last event, of the streams whose name begins so."""
        found = self._ends.now().streams
        return {name: head.hash for name, head in found.items() if name.startswith(prefix)}

    def fold(self, stream: str, build: Callable[[tuple[Event, ...]], S]) -> S | None:
        """What `build` makes of a stream's events, None where there are none; kept until they change."""
        head = self._ends.now().streams.get(stream)
        if head is None:
            return None
        known = self._folded.get((stream, build))
        if known is not None and known[0] == head.hash:
            made: S = known[1]
            return made
        with self.database.read() as connection:
            return self._fold(connection, stream, build)

    def fold_all(self, prefix: str, build: Callable[[tuple[Event, ...]], S]) -> dict[str, S]:
        """`fold` for every stream whose name begins so, of one moment."""
        out: dict[str, S] = {}
        for stream, mark in self.tails(prefix).items():
            known = self._folded.get((stream, build))
            if known is None or known[0] != mark:
                break
            if known[1] is not None:
                out[stream] = known[1]
        else:
            return out
        with self.database.read() as connection:
            for stream in self._heads(connection, prefix):
                made = self._fold(connection, stream, build)
                if made is not None:
                    out[stream] = made
        return out

    # looking after

    def verify(self) -> health.Verification:
        """Read everything and say whether it holds together; never raises for what it finds."""
        return health.verify(self.database, self.steps)

    def selftest(
        self, *, backup_folder: Path | None = None, now: datetime | None = None
    ) -> list[health.Check]:
        """Each thing the journal rests on, whether it holds, and the figures for it."""
        return health.selftest(self.database, self.steps, backup_folder=backup_folder, now=now)

    def backup(self, target: str | Path) -> backups.Copy:
        """A verified copy under that name. Raises JournalDamaged, JournalError."""
        self._whole()
        return backups.copy(self.path, Path(target))

    def backup_dated(self, folder: str | Path, *, now: datetime) -> backups.Copy:
        """A verified copy named by the instant; older ones are kept 7 daily, 4 weekly, 12 monthly."""
        self._whole()
        return backups.take(self.path, Path(folder), now)

    def _whole(self) -> None:
        if self.damage:
            raise JournalDamaged(self.damage[0])

    @staticmethod
    def restore(
        path_or_url: str | Path, backup: str | Path, *, dry_run: bool = True, patience_s: float = 5.0
    ) -> backups.Restoration:
        """Say what putting a backup in place of a journal would do, or do it in one step.

        The journal must not be open anywhere: raises JournalBusy naming who has it.
        """
        return backups.restore(_path(path_or_url), Path(backup), dry_run=dry_run, patience_s=patience_s)

    # inside a transaction

    def _events(self, connection: Connection, stream: str | None, since: int) -> tuple[Event, ...]:
        query = select(event_table).where(event_table.c.seq > since).order_by(event_table.c.seq)
        if stream is not None:
            query = query.where(event_table.c.stream == stream)
        return tuple(self.event_in(row) for row in connection.execute(query))

    def _one(self, connection: Connection, event_id: str) -> Event:
        row = connection.execute(select(event_table).where(event_table.c.id == event_id)).first()
        if row is None:
            raise NotFound("event", event_id)
        return self.event_in(row)

    def event_in(self, row: Sequence[Any]) -> Event:
        """The event of a row, compared with its hash. Raises JournalDamaged."""
        try:
            return event_of(Record(*row))
        except JournalNewer:
            raise
        except (ValueError, TypeError, RecursionError) as error:
            params: dict[str, str | float | int] = {"path": str(self.path), "reason": str(error)[:200]}
            raise JournalDamaged(Problem("journal_damaged", params=params)) from error

    def _answered(self, connection: Connection, request_id: str) -> tuple[Event, ...]:
        row = connection.execute(select(request_table).where(request_table.c.id == request_id)).first()
        if row is None:
            return ()
        seq = event_table.c.seq
        query = select(event_table).where(seq >= row.first_seq, seq <= row.last_seq).order_by(seq)
        return tuple(self.event_in(one) for one in connection.execute(query))

    def _heads(self, connection: Connection, prefix: str) -> dict[str, int]:
        stream, version = event_table.c.stream, func.max(event_table.c.stream_version)
        query = select(stream, version).group_by(stream).order_by(func.min(event_table.c.seq))
        if prefix:
            query = query.where(func.substr(stream, 1, len(prefix)) == prefix)
        return {name: int(head) for name, head in connection.execute(query)}

    def _version(self, connection: Connection, stream: str) -> int:
        query = select(func.coalesce(func.max(event_table.c.stream_version), 0))
        return int(connection.execute(query.where(event_table.c.stream == stream)).scalar_one())

    def _tail(self, connection: Connection) -> Record | None:
        """The last record, whole: nothing is chained to one that does not match its hash."""
        row = connection.execute(select(event_table).order_by(event_table.c.seq.desc()).limit(1)).first()
        if row is None:
            return None
        self.event_in(row)
        return Record(*row)

    def _fold(self, connection: Connection, stream: str, build: Callable[[tuple[Event, ...]], S]) -> S | None:
        query = select(event_table.c.hash).where(event_table.c.stream == stream)
        query = query.order_by(event_table.c.stream_version.desc()).limit(1)
        mark = connection.execute(query).scalar()
        if mark is None:
            return None
        known = self._folded.get((stream, build))
        if known is not None and known[0] == mark:
            made: S = known[1]
            return made
        made = build(self._events(connection, stream, 0))
        self._folded[stream, build] = (mark, made)
        return made


def _path(path_or_url: str | Path) -> Path:
    """The file of a path or of a `sqlite:///` URL; other databases are refused, not half served."""
    text = str(path_or_url)
    if "://" in text:
        scheme, _, rest = text.partition(":///")
        if scheme != "sqlite" or not rest or "?" in rest:
            raise Refused(Problem("journal_url", "journal", text.split("@")[-1][:80], "sqlite:///PATH"))
        return Path(rest).absolute()
    return Path(text).absolute()


def _same_request(
    before: Sequence[Event], drafts: Sequence[Draft], heads: Mapping[str, int], request_id: str
) -> None:
    """Refuse a name of a request used again for something else: silence would lose what was observed.

    A stream that is not there yet is one a repeated request would have named anew by chance.
    """
    same = [event.body.kind for event in before] == [draft.body.kind for draft in drafts]
    for event, draft in zip(before, drafts, strict=False):
        if draft.stream in heads and draft.body.observed:
            same = same and event.stream == draft.stream and body_text(event.body) == body_text(draft.body)
    if not same:
        raise Refused(Problem("request_reused", "request_id", request_id[:80]))


def _values(record: Record) -> dict[str, Any]:
    return {name: getattr(record, name) for name in ENVELOPE}
