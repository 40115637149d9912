"""Where streams end is told from memory, and never older than the question."""

from __future__ import annotations

import os
import sqlite3
import threading
from pathlib import Path

import pytest
from journal_bench import Bench, hung, started, weighed

from saltfare.journal.events import Event, Noted
from saltfare.journal.store import Journal


def count(events: tuple[Event, ...]) -> int:
    return len(events)


def test_what_another_opener_of_the_file_writes_is_seen_at_once(bench: Bench, path: Path):
    bench.put("piece/A", started())
    with Journal.open(path) as other:
        theirs = Bench(other)
        for n in range(1, 4):
            assert bench.journal.stream_head("piece/A") == other.stream_head("piece/A") == 2 * n - 1
            made = theirs.put("piece/A", weighed(2.0 - 0.1 * n))
            assert bench.journal.stream_head("piece/A") == 2 * n and bench.journal.head() == made.seq
            assert bench.journal.head_hash() == bench.journal.tails()["piece/A"] == made.hash
            assert bench.journal.fold("piece/A", count) == other.fold("piece/A", count) == 2 * n
            assert bench.journal.fold_all("piece/", count) == {"piece/A": 2 * n}
            bench.put("piece/A", hung(1.5))
        theirs.put("chamber/c", Noted(text="damp"))
        assert bench.journal.streams() == other.streams() == ("piece/A", "chamber/c")
        assert bench.journal.fold_all("", count) == {"piece/A": 7, "chamber/c": 1}


def test_what_another_thread_writes_is_seen_at_once(bench: Bench):
    bench.put("piece/A", started())
    assert bench.journal.head() == 1
    writer = threading.Thread(target=lambda: bench.put("piece/B", started()))
    writer.start()
    writer.join()
    assert bench.journal.head() == 2 and bench.journal.streams() == ("piece/A", "piece/B")


def test_a_write_that_is_undone_moves_nothing_on(bench: Bench):
    made = bench.put("piece/A", started())
    with pytest.raises(RuntimeError), bench.journal.database.write() as connection:
        connection.exec_driver_sql("DELETE FROM request")
        raise RuntimeError
    assert bench.journal.head() == 1 and bench.journal.head_hash() == made.hash


def test_nothing_is_read_from_the_file_again_while_nobody_writes(bench: Bench, monkeypatch):
    bench.put("piece/A", started())
    first = bench.journal.fold_all("piece/", count)

    def refuse(*_given, **_named):
        raise AssertionError("the file was read")

    monkeypatch.setattr(bench.journal.database, "read", refuse)
    assert bench.journal.fold("piece/A", count) == 1 and bench.journal.fold_all("piece/", count) == first
    assert bench.journal.heads() == {"piece/A": 1} and bench.journal.head() == 1


def test_a_fold_that_gives_nothing_is_left_out_each_time(bench: Bench):
    bench.put("piece/A", started())
    bench.put("piece/B", started())

    def none_of_a(events: tuple[Event, ...]) -> str | None:
        return None if events[0].stream == "piece/A" else events[0].stream

    for _ in range(2):
        assert bench.journal.fold_all("piece/", none_of_a) == {"piece/B": "piece/B"}
        assert bench.journal.fold("piece/A", none_of_a) is None


def test_a_file_whose_history_is_another_is_read_anew(bench: Bench, path: Path):
    """Not what a journal does; what is kept in memory must not outlive it all the same."""
    bench.put("piece/A", started())
    bench.put("piece/B", started())
    assert bench.journal.streams() == ("piece/A", "piece/B")
    raw = sqlite3.connect(path)
    raw.execute("PRAGMA recursive_triggers=0")
    for (name,) in raw.execute("SELECT name FROM sqlite_master WHERE type='trigger'").fetchall():
        raw.execute(f'DROP TRIGGER "{name}"')
    raw.execute("DELETE FROM event WHERE seq = 2")
    raw.commit()
    raw.close()
    assert bench.journal.streams() == ("piece/A",) and bench.journal.head() == 1


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="open files are not listed here")
def test_once_closed_nothing_holds_the_file(path: Path):
    def held() -> int:
        return sum(os.path.realpath(one) == str(path) for one in Path("/proc/self/fd").iterdir())

    with Journal.open(path) as journal:
        Bench(journal).put("piece/A", started())
        assert journal.head() == 1 and held() > 0
    assert held() == 0
