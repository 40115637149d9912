"""Backups that open, rotate and restore; the present journal is never lost to a restore."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
import threading
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from journal_bench import NOON, Bench, weighed

from saltfare.core.errors import JournalBusy, JournalDamaged, JournalError, NotFound, Refused
from saltfare.journal import backups
from saltfare.journal.readings import Reading
from saltfare.journal.store import Journal


@pytest.fixture
def filled(bench: Bench) -> Bench:
    for value in (2.0, 1.9, 1.8):
        bench.put("piece/A", weighed(value))
    bench.journal.readings.append("c", Reading(NOON, 12.0, 0.7), zone="UTC", actor="t", recorded_at=NOON)
    return bench


def test_a_backup_is_the_same_journal(filled: Bench, tmp_path: Path):
    made = filled.journal.backup(tmp_path / "b" / "copy.db")
    assert (made.events, made.readings, made.head_hash) == (4, 1, filled.journal.head_hash())
    with Journal.open(made.path) as copy:
        assert copy.events() == filled.journal.events() and copy.verify().ok
    assert [p.name for p in (tmp_path / "b").iterdir() if "part" in p.name] == []
    assert made.path.stat().st_mode & 0o077 == 0


def test_a_backup_while_others_write_is_a_beginning_of_the_journal(filled: Bench, path: Path, tmp_path: Path):
    stop = threading.Event()

    def write() -> None:
        with Journal.open(path) as own:
            while not stop.is_set():
                Bench(own).put("piece/B", weighed(1.0))

    writer = threading.Thread(target=write)
    writer.start()
    try:
        copies = [filled.journal.backup(tmp_path / f"{i}.db") for i in range(5)]
    finally:
        stop.set()
        writer.join()
    whole = filled.journal.events()
    for made in copies:
        with Journal.open(made.path, read_only=True) as copy:
            assert copy.events() == whole[: made.events] and copy.verify().ok


def test_rotation_keeps_seven_days_four_weeks_twelve_months():
    """Against a plain count over 500 days with three backups a day."""
    start = datetime(2025, 1, 1, 6, tzinfo=UTC)
    instants = [start + timedelta(days=d, hours=h) for d in range(500) for h in (0, 6, 12)]
    kept = sorted(backups.kept(instants))
    last_of_day = {at.date(): at for at in instants}
    days = sorted(last_of_day)
    wanted = {last_of_day[day] for day in days[-7:]}
    weeks = {day.isocalendar()[:2]: last_of_day[day] for day in days}
    wanted |= set(list(weeks.values())[-4:])
    months = {(day.year, day.month): last_of_day[day] for day in days}
    wanted |= set(list(months.values())[-12:])
    assert kept == sorted(wanted)
    assert len(kept) <= 7 + 4 + 12 and instants[-1] in kept
    assert backups.kept([]) == frozenset()


def test_rotation_run_day_by_day_still_reaches_back_a_year():
    """Removing each day must not remove what a later day would keep."""
    alive: set[datetime] = set()
    for day in range(500):
        alive.add(datetime(2025, 1, 1, 6, tzinfo=UTC) + timedelta(days=day))
        alive = set(backups.kept(alive))
    # 500 days on it is 15 May 2026; twelve months with May are those since June 2025, each by its last day
    assert max(alive).date() == date(2026, 5, 15)
    assert min(alive).date() == date(2025, 6, 30) and len(alive) <= 23


def test_dated_backups_are_rotated_and_others_files_left_alone(filled: Bench, tmp_path: Path):
    folder = tmp_path / "b"
    folder.mkdir()
    (folder / "journal.holiday.db").write_text("mine")
    for day in range(12):
        filled.journal.backup_dated(folder, now=NOON + timedelta(days=day))
    dated = backups.stamped(folder, "journal")
    assert list(dated) == sorted(backups.kept(NOON + timedelta(days=d) for d in range(12)))
    assert (folder / "journal.holiday.db").read_text() == "mine"


def test_nothing_is_removed_when_the_new_copy_holds_fewer_events(filled: Bench, tmp_path: Path):
    folder = tmp_path / "b"
    for day in range(9):
        filled.journal.backup_dated(folder, now=NOON + timedelta(days=day))
    before = set(folder.iterdir())
    with Journal.open(tmp_path / "new" / "journal.db") as empty:
        empty.backup_dated(folder, now=NOON + timedelta(days=60))
    assert before < set(folder.iterdir())


def test_a_damaged_journal_is_not_backed_up_over_good_copies(filled: Bench, path: Path, tmp_path: Path):
    made = filled.journal.backup(tmp_path / "b.db")
    filled.journal.close()
    _spoil(path)
    with Journal.open(path) as spoilt:
        assert spoilt.damage
        with pytest.raises(JournalDamaged):
            spoilt.backup(tmp_path / "b.db")
    assert backups.examine(tmp_path / "b.db") == made


def _spoil(path: Path) -> None:
    """Break the root page of a table."""
    raw = sqlite3.connect(path)
    (root,) = raw.execute("SELECT rootpage FROM sqlite_master WHERE name = 'event'").fetchone()
    raw.close()
    data = bytearray(path.read_bytes())
    data[4096 * (root - 1) : 4096 * (root - 1) + 8] = b"\xff" * 8
    path.write_bytes(data)


def test_a_dry_run_tells_what_a_restore_would_lose(filled: Bench, path: Path, tmp_path: Path):
    filled.journal.backup(tmp_path / "b.db")
    filled.put("piece/A", weighed(1.7))
    before = path.read_bytes()
    told = Journal.restore(path, tmp_path / "b.db")
    assert (told.common, told.lost, told.done) == (4, 1, False)
    assert told.present is not None and told.present.events == 5
    assert path.read_bytes() == before and not told.aside.exists()


def test_a_restore_brings_the_backup_back_and_keeps_the_present_file(
    filled: Bench, path: Path, tmp_path: Path
):
    head = filled.journal.backup(tmp_path / "b.db").head_hash
    filled.put("piece/A", weighed(1.7))
    newer = filled.journal.head_hash()
    filled.journal.close()
    told = Journal.restore(path, tmp_path / "b.db", dry_run=False)
    assert told.done and told.lost == 1
    with Journal.open(path) as back:
        assert back.head_hash() == head and back.verify().ok
        Bench(back).put("piece/A", weighed(1.6))
    assert backups.examine(told.aside).head_hash == newer
    again = Journal.restore(path, told.aside, dry_run=False)
    assert (again.common, again.lost) == (4, 1) and again.aside != told.aside
    assert backups.examine(path).head_hash == newer


@pytest.mark.parametrize("spoil", ["root page", "all of it", "gone"])
def test_a_restore_mends_a_journal_that_cannot_be_read(filled: Bench, path: Path, tmp_path: Path, spoil: str):
    head = filled.journal.backup(tmp_path / "b.db").head_hash
    filled.journal.close()
    if spoil == "root page":
        _spoil(path)
    elif spoil == "all of it":
        path.write_bytes(b"\0" * 5000)
        with pytest.raises(JournalDamaged):
            Journal.open(path)
    else:
        path.unlink()
    told = Journal.restore(path, tmp_path / "b.db", dry_run=False)
    assert told.present is None
    with Journal.open(path) as back:
        assert back.head_hash() == head and back.verify().ok
    assert told.aside.exists() == (spoil != "gone")


def test_a_restore_needs_the_journal_to_itself(filled: Bench, path: Path, tmp_path: Path):
    filled.journal.backup(tmp_path / "b.db")
    with pytest.raises(JournalBusy) as busy:
        Journal.restore(path, tmp_path / "b.db", dry_run=False, patience_s=0.05)
    assert busy.value.problem.code == "journal_busy"
    assert busy.value.problem.params["pid"] == str(os.getpid())


HOLD = """
import sys
from saltfare.journal.store import Journal
journal = Journal.open(sys.argv[1])
print("open", flush=True)
sys.stdin.read()
"""


def test_it_says_which_process_holds_the_journal_and_a_killed_one_holds_nothing(path: Path, tmp_path: Path):
    with Journal.open(path) as journal:
        Bench(journal).put("piece/A", weighed(2.0))
        journal.backup(tmp_path / "b.db")
    holder = subprocess.Popen(
        [sys.executable, "-c", HOLD, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    try:
        assert holder.stdout is not None and holder.stdout.readline() == "open\n"
        with pytest.raises(JournalBusy) as busy:
            Journal.restore(path, tmp_path / "b.db", dry_run=False, patience_s=0.05)
        assert busy.value.problem.params["pid"] == str(holder.pid)
        with Journal.open(path) as beside:  # to read and write beside it is no trouble
            Bench(beside).put("piece/A", weighed(1.9))
    finally:
        holder.kill()
        holder.wait()
    assert Journal.restore(path, tmp_path / "b.db", dry_run=False, patience_s=0.05).lost == 1
    with Journal.open(path) as back:
        assert back.head() == 1


def test_what_is_no_backup_is_refused_before_anything_happens(filled: Bench, path: Path, tmp_path: Path):
    filled.journal.close()
    before = path.read_bytes()
    with pytest.raises(NotFound):
        Journal.restore(path, tmp_path / "none.db", dry_run=False)
    (tmp_path / "text.db").write_text("not a database, but long enough to be read as one" * 100)
    with pytest.raises(JournalDamaged):
        Journal.restore(path, tmp_path / "text.db", dry_run=False)
    sqlite3.connect(tmp_path / "other.db").execute("CREATE TABLE x (y)").connection.commit()
    with pytest.raises(JournalError):
        Journal.restore(path, tmp_path / "other.db", dry_run=False)
    with pytest.raises(Refused):
        Journal.restore(path, path, dry_run=False)
    assert path.read_bytes() == before


def test_a_backup_that_fails_leaves_the_old_one(filled: Bench, tmp_path: Path, monkeypatch):
    target = tmp_path / "b.db"
    old = filled.journal.backup(target)
    filled.put("piece/A", weighed(1.0))
    monkeypatch.setattr(
        backups, "sync_file", lambda path: (_ for _ in ()).throw(OSError(28, "no space left"))
    )
    with pytest.raises(JournalError) as caught:
        filled.journal.backup(target)
    assert caught.value.problem.code == "disk_failed"
    assert backups.examine(target) == old
    assert [p.name for p in tmp_path.iterdir() if p.name.endswith(".part")] == []
