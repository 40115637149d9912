"""From one schema to the next: whole steps, a backup first, never a step back."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from journal_bench import Bench, weighed
from sqlalchemy import create_engine, inspect, text

from saltfare.core.errors import JournalBusy, JournalDamaged, JournalError, JournalNewer
from saltfare.journal import backups
from saltfare.journal.migrations import STEPS, Step
from saltfare.journal.schema import APPLICATION_ID, metadata
from saltfare.journal.store import Journal

NUMBER = len(STEPS) + 1


def add_table(connection) -> None:
    connection.execute(text("CREATE TABLE extra (x INTEGER NOT NULL)"))
    connection.execute(text("INSERT INTO extra SELECT count(*) FROM event"))


def fail(connection) -> None:
    add_table(connection)
    raise sqlite3.OperationalError("half way")


LATER = (*STEPS, Step(NUMBER, "extra", add_table))


def header(path: Path) -> tuple[int, int, list[str]]:
    raw = sqlite3.connect(path)
    tables = [
        row[0] for row in raw.execute("SELECT name FROM sqlite_master WHERE type='table' ORDER BY name")
    ]
    found = (
        raw.execute("PRAGMA application_id").fetchone()[0],
        raw.execute("PRAGMA user_version").fetchone()[0],
    )
    raw.close()
    return (*found, tables)


@pytest.fixture
def old(path: Path) -> Path:
    with Journal.open(path) as journal:
        Bench(journal).put("piece/A", weighed(2.0))
    return path


def test_the_steps_make_just_the_tables_the_queries_use(old: Path):
    made = inspect(create_engine(f"sqlite:///{old}"))
    assert set(made.get_table_names()) == set(metadata.tables)
    for name, table in metadata.tables.items():
        found = {
            column["name"]: (str(column["type"]), column["nullable"]) for column in made.get_columns(name)
        }
        assert found == {c.name: (str(c.type), bool(c.nullable)) for c in table.columns}, name
        assert made.get_pk_constraint(name)["constrained_columns"] == [c.name for c in table.primary_key]
        keys = {(tuple(k["constrained_columns"]), k["referred_table"]) for k in made.get_foreign_keys(name)}
        assert keys == {((k.parent.name,), k.column.table.name) for k in table.foreign_keys}
    assert [step.number for step in STEPS] == list(range(1, len(STEPS) + 1))


def test_the_file_says_whose_it_is_and_which_steps_were_made(old: Path):
    assert header(old)[:2] == (APPLICATION_ID, len(STEPS))
    rows = sqlite3.connect(old).execute("SELECT number, name FROM migration").fetchall()
    assert rows == [(step.number, step.name) for step in STEPS]


def test_an_older_file_is_backed_up_and_brought_up_to_date(old: Path):
    with Journal.open(old, steps=LATER) as journal:
        assert journal.head() == 1 and journal.verify().ok
        Bench(journal).put("piece/A", weighed(1.9))
    assert header(old)[1] == NUMBER
    (kept,) = (old.parent / "backups").iterdir()
    assert kept.name == f"journal.before-step-{NUMBER}.db"
    assert header(kept)[1] == len(STEPS) and backups.examine(kept).events == 1
    with Journal.open(old, steps=LATER):  # nothing more to do
        assert len(list((old.parent / "backups").iterdir())) == 1
    raw = sqlite3.connect(old)
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):  # the triggers outlive a step
        raw.execute("DELETE FROM event")


def test_a_step_that_fails_leaves_the_file_as_it_was(old: Path):
    before = header(old)
    with pytest.raises(JournalError):
        Journal.open(old, steps=(*STEPS, Step(NUMBER, "fails", fail)))
    assert header(old) == before
    with Journal.open(old) as journal:
        assert journal.head() == 1 and journal.verify().ok
    with Journal.open(old, steps=LATER) as journal:
        assert journal.head() == 1


def test_of_two_steps_the_first_stays_when_the_second_fails(old: Path):
    with pytest.raises(JournalError):
        Journal.open(old, steps=(*LATER, Step(NUMBER + 1, "fails", fail)))
    assert header(old)[1] == NUMBER


def test_a_step_that_leaves_a_row_pointing_nowhere_is_undone(old: Path):
    def dangle(connection) -> None:
        connection.execute(text("PRAGMA defer_foreign_keys = 1"))
        connection.execute(text("INSERT INTO reading VALUES ('c', 1, 99, 1.0, 0.5, '')"))

    with pytest.raises(JournalDamaged):
        Journal.open(old, steps=(*STEPS, Step(NUMBER, "dangles", dangle)))
    assert header(old)[1] == len(STEPS)


@pytest.mark.parametrize("read_only", [False, True])
def test_a_newer_file_is_not_touched_there_is_no_way_back(old: Path, read_only: bool):
    Journal.open(old, steps=LATER).close()
    before = old.read_bytes()
    with pytest.raises(JournalNewer) as newer:
        Journal.open(old, read_only=read_only)
    assert newer.value.problem.params["version"] == NUMBER
    assert old.read_bytes() == before


def test_a_reader_of_an_older_file_is_told_and_changes_nothing(old: Path):
    before = old.read_bytes()
    with pytest.raises(JournalError) as caught:
        Journal.open(old, read_only=True, steps=LATER)
    assert caught.value.problem.code == "journal_older" and old.read_bytes() == before


def test_a_migration_needs_the_journal_to_itself(old: Path):
    with Journal.open(old), pytest.raises(JournalBusy):
        Journal.open(old, steps=LATER, patience_s=0.05)
    assert header(old)[1] == len(STEPS)


def test_a_file_of_another_program_is_refused_and_not_touched(path: Path):
    path.parent.mkdir()
    raw = sqlite3.connect(path)
    raw.execute("PRAGMA journal_mode=WAL")
    raw.execute("PRAGMA application_id=7")
    raw.execute("CREATE TABLE x (y)")
    raw.commit()
    raw.close()
    before = path.read_bytes()
    for read_only in (False, True):
        with pytest.raises(JournalError) as caught:
            Journal.open(path, read_only=read_only)
        assert caught.value.problem.code == "journal_foreign"
    assert path.read_bytes() == before


def test_a_file_whose_header_and_records_disagree_is_damaged(old: Path):
    raw = sqlite3.connect(old)
    raw.execute("PRAGMA user_version=0")
    raw.close()
    with pytest.raises(JournalDamaged):
        Journal.open(old)


def test_an_empty_file_is_a_new_journal(path: Path):
    path.parent.mkdir()
    path.touch()
    with Journal.open(path) as journal:
        assert journal.head() == 0
    assert path.stat().st_mode & 0o111 == 0


def test_a_new_journal_is_for_its_owner_only(path: Path):
    Journal.open(path).close()
    assert path.stat().st_mode & 0o077 == 0 and path.parent.stat().st_mode & 0o077 == 0
