"""The tables as they are now. How a file comes to have them is told by `migrations`.

event: the envelope, append-only. request: which events a request made, so that it is done once.
reading: air readings, append-only, each naming the event that took it in. migration: the steps made.
"""

from __future__ import annotations

from sqlalchemy import BigInteger, Column, Float, ForeignKey, Integer, MetaData, Table, Text
from sqlalchemy import UniqueConstraint as Unique

APPLICATION_ID = 0x53666172
"""Marks the SQLite file as a journal of this program."""

metadata = MetaData()

event = Table(
    "event",
    metadata,
    Column("seq", Integer, primary_key=True, autoincrement=False),
    Column("id", Text, nullable=False, unique=True),
    Column("stream", Text, nullable=False),
    Column("stream_version", Integer, nullable=False),
    Column("kind", Text, nullable=False),
    Column("kind_version", Integer, nullable=False),
    Column("at", Text, nullable=False),
    Column("zone", Text, nullable=False),
    Column("recorded_at", Text, nullable=False),
    Column("actor", Text, nullable=False),
    Column("request_id", Text),
    Column("corrects", Text, ForeignKey("event.id")),
    Column("body", Text, nullable=False),
    Column("prev_hash", Text, nullable=False),
    Column("hash", Text, nullable=False),
    Unique("stream", "stream_version"),
)

request = Table(
    "request",
    metadata,
    Column("id", Text, primary_key=True),
    Column("first_seq", Integer, ForeignKey("event.seq"), nullable=False),
    Column("last_seq", Integer, ForeignKey("event.seq"), nullable=False),
)

reading = Table(
    "reading",
    metadata,
    Column("chamber", Text, primary_key=True),
    Column("at_us", BigInteger, primary_key=True),
    Column("import_seq", Integer, ForeignKey("event.seq"), primary_key=True),
    Column("temp_c", Float, nullable=False),
    Column("rh_frac", Float, nullable=False),
    Column("typed", Text, nullable=False),
    sqlite_with_rowid=False,
)

migration = Table(
    "migration",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("name", Text, nullable=False),
    Column("program", Text, nullable=False),
)
