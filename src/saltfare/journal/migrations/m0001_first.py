"""Step 1: the tables, and the triggers that make events, requests and readings append-only.

The triggers hold against any connection, not only this program's. The one on insert also holds the
chain together and stops `INSERT OR REPLACE`, which would delete without a delete trigger.
"""

from __future__ import annotations

from sqlalchemy import Connection, text

_TABLES = (
    """
    CREATE TABLE migration (
        number INTEGER NOT NULL PRIMARY KEY,
        name TEXT NOT NULL,
        program TEXT NOT NULL
    )""",
    """
    CREATE TABLE event (
        seq INTEGER NOT NULL PRIMARY KEY,
        id TEXT NOT NULL UNIQUE,
        stream TEXT NOT NULL,
        stream_version INTEGER NOT NULL,
        kind TEXT NOT NULL,
        kind_version INTEGER NOT NULL,
        at TEXT NOT NULL,
        zone TEXT NOT NULL,
        recorded_at TEXT NOT NULL,
        actor TEXT NOT NULL,
        request_id TEXT,
        corrects TEXT REFERENCES event (id),
        body TEXT NOT NULL,
        prev_hash TEXT NOT NULL,
        hash TEXT NOT NULL,
        UNIQUE (stream, stream_version)
    )""",
    """
    CREATE TABLE request (
        id TEXT NOT NULL PRIMARY KEY,
        first_seq INTEGER NOT NULL REFERENCES event (seq),
        last_seq INTEGER NOT NULL REFERENCES event (seq)
    )""",
    """
    CREATE TABLE reading (
        chamber TEXT NOT NULL,
        at_us BIGINT NOT NULL,
        import_seq INTEGER NOT NULL REFERENCES event (seq),
        temp_c FLOAT NOT NULL,
        rh_frac FLOAT NOT NULL,
        typed TEXT NOT NULL,
        PRIMARY KEY (chamber, at_us, import_seq)
    )""",
)

_NO_CHANGE = """
    CREATE TRIGGER {table}_no_{verb} BEFORE {verb} ON {table}
    BEGIN SELECT RAISE(ABORT, 'the journal is append-only'); END"""

_CHAIN = """
    CREATE TRIGGER event_chain BEFORE INSERT ON event
    WHEN NEW.seq <> 1 + (SELECT coalesce(max(seq), 0) FROM event)
      OR NEW.stream_version <> 1 +
         (SELECT coalesce(max(stream_version), 0) FROM event WHERE stream = NEW.stream)
      OR NEW.prev_hash <> coalesce(
         (SELECT hash FROM event ORDER BY seq DESC LIMIT 1), printf('%064d', 0))
      OR EXISTS (SELECT 1 FROM event WHERE id = NEW.id)
    BEGIN SELECT RAISE(ABORT, 'the journal is a chain'); END"""

_ONCE = """
    CREATE TRIGGER {table}_once BEFORE INSERT ON {table}
    WHEN EXISTS (SELECT 1 FROM {table} WHERE {same})
    BEGIN SELECT RAISE(ABORT, 'the journal is append-only'); END"""

_SAME = {
    "request": "id = NEW.id",
    "reading": "chamber = NEW.chamber AND at_us = NEW.at_us AND import_seq = NEW.import_seq",
}


def apply(connection: Connection) -> None:
    """Make the first tables."""
    for statement in _TABLES:
        # without a rowid the readings of a chamber lie together in time
        bare = " WITHOUT ROWID" if "TABLE reading" in statement else ""
        connection.execute(text(statement + bare))
    for table in ("event", "request", "reading", "migration"):
        for verb in ("UPDATE", "DELETE"):
            connection.execute(text(_NO_CHANGE.format(table=table, verb=verb)))
    connection.execute(text(_CHAIN))
    for table, same in _SAME.items():
        connection.execute(text(_ONCE.format(table=table, same=same)))
