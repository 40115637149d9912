"""Killed at any moment: what was acknowledged is there, nothing is half there, nothing needs a hand.

A process is ended without warning (signal 9) while it appends, takes in, backs up, exports, migrates;
then the files are opened as any start would open them. This shows what a killed process leaves; what a
power cut leaves is shown in test_powercut.py.
"""

from __future__ import annotations

import json
import multiprocessing
import random
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text

from saltfare.journal import backups, exchange
from saltfare.journal.events import Draft, Noted
from saltfare.journal.migrations import STEPS, Step
from saltfare.journal.readings import Reading
from saltfare.journal.store import Journal

NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)
HOW = {"zone": "UTC", "actor": "test", "recorded_at": NOON}
GROUP, ROWS = 3, 200
ROUNDS = [pytest.param(3, id="few"), pytest.param(200, id="many", marks=pytest.mark.deep)]
FEWER = [pytest.param(2, id="few"), pytest.param(100, id="many", marks=pytest.mark.deep)]


def use_journal(pipe: Connection, folder: Path, seed: int) -> None:
    """Do one thing after another; tell of each only once it was acknowledged."""
    chance = random.Random(seed)
    with Journal.open(folder / "journal.db") as journal:
        pipe.send(("ready", 0))
        number = journal.head()
        while True:
            number += 1
            tag = f"{seed}-{number}"
            what = chance.choices(["one", "group", "air", "backup", "export"], [4, 4, 2, 1, 1])[0]
            if what == "one":
                journal.append("piece/A", Noted(text=f"one {tag}"), at=NOON, request_id=tag, **HOW)
            elif what == "group":
                drafts = [
                    Draft(f"piece/{i}", Noted(text=f"group {tag}"), NOON, "UTC", "t", NOON)
                    for i in range(GROUP)
                ]
                journal.append_many(drafts, request_id=tag)
            elif what == "air":
                start = NOON + timedelta(days=seed, hours=number)
                rows = [Reading(start + timedelta(seconds=i), 12.0, 0.7, tag) for i in range(ROWS)]
                journal.readings.import_("cup", rows, request_id=tag, **HOW)
            elif what == "backup":
                journal.backup_dated(folder / "backups", now=NOON + timedelta(seconds=seed * 1000 + number))
            else:
                exchange.export(journal, folder / "out.jsonl")
            pipe.send((what, tag))


def take_in_all(pipe: Connection, folder: Path, seed: int) -> None:
    """Take in a whole exported journal."""
    with Journal.open(folder / "fresh.db") as journal:
        pipe.send(("ready", 0))
        exchange.take_in(journal, folder / "out.jsonl", dry_run=False)
        pipe.send(("taken in", journal.head()))
        time.sleep(60)


def slow_step(connection) -> None:
    connection.execute(text("CREATE TABLE extra (x INTEGER NOT NULL, y TEXT NOT NULL)"))
    for number in range(300):
        connection.execute(text(f"INSERT INTO extra VALUES ({number}, '{'z' * 3000}')"))


def migrate(pipe: Connection, folder: Path, seed: int) -> None:
    """Open with two steps more."""
    pipe.send(("ready", 0))
    with Journal.open(folder / "journal.db", steps=more_steps()):
        pipe.send(("migrated", 0))
        time.sleep(60)


def more_steps() -> tuple[Step, ...]:
    later = (Step(len(STEPS) + 1, "extra", slow_step), Step(len(STEPS) + 2, "drop", drop_step))
    return (*STEPS, *later)


def drop_step(connection) -> None:
    connection.execute(text("DROP TABLE extra"))


def killed(
    work: Callable[[Connection, Path, int], None], folder: Path, seed: int, within_s: float
) -> list[Any]:
    """Run work in a process, kill it at a moment chosen by the seed; what it had acknowledged."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["saltfare.journal.store", "saltfare.journal.exchange", "hypothesis"])
    ours, theirs = context.Pipe(duplex=False)
    process = context.Process(target=work, args=(theirs, folder, seed))
    process.start()
    theirs.close()
    told = []
    try:
        assert ours.poll(30), "it did not come up"
        assert ours.recv()[0] == "ready"
        end = time.monotonic() + random.Random(seed).random() * within_s
        while (left := end - time.monotonic()) > 0 and ours.poll(left):
            told.append(ours.recv())
    except EOFError:
        pass
    finally:
        assert process.exitcode is None, "it ended by itself"
        process.kill()
        process.join()
    try:
        while ours.poll(0):
            told.append(ours.recv())
    except (EOFError, OSError):
        pass
    return told


def check(folder: Path, acknowledged: list[Any]) -> None:
    with Journal.open(folder / "journal.db") as journal:
        assert not journal.damage
        found = journal.verify()
        assert found.ok, found.faults
        requests: dict[str, int] = {}
        for event in journal.events():
            requests[event.request_id or ""] = requests.get(event.request_id or "", 0) + 1
            if isinstance(event.body, Noted) and event.body.text.startswith("group"):
                assert len(journal.answered(event.request_id or "")) == GROUP
        for what, tag in acknowledged:
            wanted = {"one": 1, "group": GROUP, "air": 1}.get(what)
            if wanted is not None:
                assert requests.get(tag) == wanted, f"{what} {tag} was acknowledged and is not there"
        imports = sum(event.kind == "read" for event in journal.events())
        assert found.readings == imports * ROWS
        whole = [event.hash for event in journal.events()]
        dated = backups.stamped(folder / "backups", "journal")
        for path in list(dated.values())[-3:]:
            copy = backups.examine(path)
            assert copy.events == 0 or copy.head_hash == whole[copy.events - 1]
        out = folder / "out.jsonl"
        if out.exists():
            lines = out.read_text("utf-8").split("\n")
            head = json.loads(lines[0])
            assert len(lines) == head["events"] + head["readings"] + 2 and lines[-1] == ""
            assert head["events"] == 0 or head["head_hash"] == whole[head["events"] - 1]


@pytest.mark.parametrize("rounds", ROUNDS)
def test_killed_while_appending_taking_in_air_backing_up_and_exporting(tmp_path: Path, rounds: int):
    Journal.open(tmp_path / "journal.db").close()
    acknowledged: list[Any] = []
    for seed in range(1, rounds + 1):
        told = killed(use_journal, tmp_path, seed, 0.4)
        acknowledged += told
        check(tmp_path, told if seed % 10 else acknowledged)
    check(tmp_path, acknowledged)
    assert len(acknowledged) >= rounds  # it did work, so there was something to lose
    with Journal.open(tmp_path / "journal.db") as journal:
        journal.backup_dated(tmp_path / "backups", now=NOON + timedelta(days=99))
        assert not list(tmp_path.glob("backups/.*part*")), "what was left half made is swept away"
        exchange.export(journal, tmp_path / "out.jsonl")
    assert not list(tmp_path.glob(".*part*"))


@pytest.mark.parametrize("rounds", FEWER)
def test_killed_while_taking_in_a_whole_journal_it_is_all_there_or_none(tmp_path: Path, rounds: int):
    with Journal.open(tmp_path / "journal.db") as journal:
        drafts = [Draft(f"piece/{i % 9}", Noted(text=str(i)), NOON, "UTC", "t", NOON) for i in range(300)]
        journal.append_many(drafts)
        rows = [Reading(NOON + timedelta(seconds=i), 12.0, 0.7) for i in range(1000)]
        journal.readings.import_("cup", rows, **HOW)
        exchange.export(journal, tmp_path / "out.jsonl")
        head = journal.head_hash()
    seen = set()
    for seed in range(1, rounds + 1):
        for left in tmp_path.glob("fresh.db*"):
            left.unlink()
        told = killed(take_in_all, tmp_path, seed, 0.6)
        with Journal.open(tmp_path / "fresh.db") as fresh:
            assert fresh.verify().ok
            assert fresh.head_hash() in (head, "0" * 64)
            assert fresh.head_hash() == head if told else True
            seen.add(fresh.head())
            exchange.take_in(fresh, tmp_path / "out.jsonl", dry_run=False)  # and can be taken in after all
            assert fresh.head_hash() == head
    if rounds > 50:
        assert seen == {0, 301}, "both ends were met"


@pytest.mark.parametrize("rounds", FEWER)
def test_killed_while_migrating_it_has_whole_steps_only(tmp_path: Path, rounds: int):
    with Journal.open(tmp_path / "good" / "journal.db") as journal:
        drafts = [Draft("piece/A", Noted(text=str(i)), NOON, "UTC", "t", NOON) for i in range(50)]
        journal.append_many(drafts)
        head = journal.head_hash()
        journal.backup(tmp_path / "model.db")
    met = set()
    for seed in range(1, rounds + 1):
        folder = tmp_path / str(seed % 5)
        for left in [*folder.glob("*"), *folder.glob("backups/*")]:
            if left.is_file():
                left.unlink()
        folder.mkdir(exist_ok=True)
        (folder / "journal.db").write_bytes((tmp_path / "model.db").read_bytes())
        killed(migrate, folder, seed, 0.3)
        steps = more_steps()
        version = _steps_made(folder / "journal.db")
        met.add(version)
        with Journal.open(folder / "journal.db", steps=steps[:version]) as journal:
            assert journal.verify().ok and journal.head_hash() == head
        if version > len(STEPS):
            kept = folder / "backups" / f"journal.before-step-{len(STEPS) + 1}.db"
            assert backups.examine(kept).head_hash == head
        with Journal.open(folder / "journal.db", steps=steps) as journal:  # goes on where it was
            assert journal.verify().ok and journal.head_hash() == head
    if rounds > 50:
        assert {len(STEPS), len(STEPS) + 2} <= met, "killed before and after"


def _steps_made(path: Path) -> int:
    import sqlite3

    connection = sqlite3.connect(path)
    try:
        return int(connection.execute("PRAGMA user_version").fetchone()[0])
    finally:
        connection.close()
