"""Appending and reading back: one transaction, one chain, each request once, nothing ever changed."""

from __future__ import annotations

import sqlite3
import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from journal_bench import NOON, Bench, hung, kg, seeded, started, weighed
from sqlalchemy import event as listen

from saltfare.core.errors import Conflict, JournalDamaged, JournalError, NotFound, Refused
from saltfare.journal.database import PRAGMAS
from saltfare.journal.events import Corrected, Draft, Noted, SettingChanged
from saltfare.journal.store import Journal


def code(caught: pytest.ExceptionInfo[Refused]) -> str:
    return caught.value.problems[0].code


def draft(stream: str, body, at: datetime = NOON, **more) -> Draft:
    return Draft(stream, body, at, "UTC", "test", NOON, **more)


def test_what_is_appended_is_read_back_by_another_that_opens_the_file(bench: Bench, path: Path):
    first = bench.put("piece/A", weighed(2.0), hours=-3)
    second = bench.put("chamber/c", Noted(text="damp"))
    third = bench.put("piece/A", hung(1.9))
    with Journal.open(path, read_only=True) as other:
        assert other.events() == (first, second, third)
        assert other.events("piece/A") == (first, third)
        assert other.events(since=1) == (second, third)
        assert other.events("piece/A", since=1) == (third,)
        assert other.event(second.id) == second
        assert other.head() == 3 and other.head_hash() == third.hash
        assert other.stream_head("piece/A") == 2 and other.stream_head("piece/B") == 0
        assert other.streams() == ("piece/A", "chamber/c") and other.streams("piece/") == ("piece/A",)
    assert [e.seq for e in (first, second, third)] == [1, 2, 3]
    assert (first.stream_version, third.stream_version) == (1, 2)
    assert first.at == NOON - timedelta(hours=3) and first.local.tzname() == "CET"
    assert (second.prev_hash, third.prev_hash) == (first.hash, second.hash)
    with pytest.raises(NotFound):
        bench.journal.event("none")


def test_an_empty_journal_has_a_head_and_verifies(journal: Journal):
    assert journal.events() == () and journal.head() == 0 and journal.head_hash() == "0" * 64
    assert journal.append_many(()) == ()
    assert journal.verify().ok


def test_the_same_request_again_returns_the_same_events_and_does_nothing(journal: Journal):
    drafts = [draft("piece/A", weighed(2.0)), draft("piece/B", weighed(3.0))]
    first = journal.append_many(drafts, request_id="r1", seen_versions={"piece/A": 0})
    again = journal.append_many(drafts, request_id="r1", seen_versions={"piece/A": 0})
    assert first == again == journal.answered("r1") and journal.head() == 2
    assert journal.answered("r2") == ()
    later = [draft("piece/A", weighed(2.0), NOON + timedelta(hours=1)), drafts[1]]
    assert journal.append_many(later, request_id="r1") == first  # retried later: the time may be another


def test_a_request_that_names_its_new_stream_by_chance_is_the_same_request(journal: Journal):
    first = journal.append_many([draft("piece/AAA", started())], request_id="r")
    assert journal.append_many([draft("piece/BBB", started())], request_id="r") == first
    assert journal.streams() == ("piece/AAA",)


@pytest.mark.parametrize(
    "other",
    [
        [draft("piece/A", weighed(2.5))],
        [draft("piece/B", weighed(2.0))],
        [draft("piece/A", hung(2.0))],
        [draft("piece/A", weighed(2.0)), draft("piece/A", weighed(2.0))],
    ],
    ids=["other mass", "other piece", "other kind", "one more"],
)
def test_a_request_id_used_for_something_else_is_refused_not_swallowed(journal: Journal, other):
    journal.append_many([draft("piece/A", weighed(2.0))], request_id="r")
    journal.append_many([draft("piece/B", weighed(9.0))])
    with pytest.raises(Refused) as caught:
        journal.append_many(other, request_id="r")
    assert code(caught) == "request_reused" and journal.head() == 2


def test_a_stream_that_moved_on_is_told_with_both_versions(bench: Bench):
    bench.put("piece/A", weighed(2.0), seen_version=0)
    with pytest.raises(Conflict) as conflict:
        bench.put("piece/A", weighed(1.9), seen_version=0)
    assert (conflict.value.stream, conflict.value.seen, conflict.value.now) == ("piece/A", 0, 1)
    assert bench.journal.head() == 1
    bench.put("piece/A", weighed(1.9), seen_version=1)


def test_all_or_none(journal: Journal):
    with pytest.raises(NotFound):
        journal.append_many(
            [draft("piece/A", weighed(2.0)), draft("piece/A", Corrected(what="withdraw"), corrects="nobody")]
        )
    assert journal.head() == 0


def test_nothing_counts_between_insert_and_commit(bench: Bench, path: Path):
    """A fault at the moment of commit: nothing visible, and the journal goes on."""
    bench.put("piece/A", weighed(2.0))
    engine = bench.journal.database.engine

    def fault(connection) -> None:
        raise sqlite3.OperationalError("the power went")

    listen.listen(engine, "commit", fault)
    with pytest.raises(JournalError):
        bench.put("piece/A", weighed(1.9), request_id="r")
    listen.remove(engine, "commit", fault)
    with Journal.open(path, read_only=True) as other:
        assert other.head() == 1 and other.answered("r") == ()
    assert bench.put("piece/A", weighed(1.8), request_id="r").seq == 2


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE event SET body = '{}' WHERE seq = 1",
        "DELETE FROM event",
        "DELETE FROM event WHERE seq = 2",
        "UPDATE request SET first_seq = 2",
        "DELETE FROM request",
        "INSERT OR REPLACE INTO request VALUES ('r', 2, 2)",
        "UPDATE migration SET name = 'x'",
        "INSERT OR REPLACE INTO event SELECT * FROM event WHERE seq = 1",
        "INSERT INTO event SELECT seq + 2, 'x', stream, 3, kind, 1, at, zone, at, actor, NULL, NULL, body, "
        "'bad', 'x' FROM event WHERE seq = 1",
        "INSERT INTO event SELECT 9, 'x', stream, 3, kind, 1, at, zone, at, actor, NULL, NULL, body, "
        "hash, 'x' FROM event WHERE seq = 2",
        "INSERT OR REPLACE INTO event SELECT 3, id, stream, 3, kind, 1, at, zone, at, actor, NULL, NULL, "
        "body, (SELECT hash FROM event WHERE seq = 2), 'x' FROM event WHERE seq = 1",
        "INSERT INTO event SELECT 3, 'x', stream, 7, kind, 1, at, zone, at, actor, NULL, NULL, body, "
        "hash, 'x' FROM event WHERE seq = 2",
    ],
)
def test_raw_sql_of_anybody_is_refused_by_the_file_itself(bench: Bench, path: Path, statement: str):
    bench.put("piece/A", weighed(2.0), request_id="r")
    bench.put("piece/A", weighed(1.9))
    before = bench.journal.head_hash()
    raw = sqlite3.connect(path)
    with pytest.raises(sqlite3.IntegrityError, match=r"append-only|chain"):
        raw.execute(statement)
    raw.close()
    assert bench.journal.head_hash() == before and bench.journal.verify().ok


def test_every_fresh_connection_has_the_pragmas(journal: Journal):
    for _ in range(3):
        journal.database.engine.dispose()
        for name, wanted in PRAGMAS.items():
            assert journal.database.pragma(name)[0][0] == wanted
    assert PRAGMAS["journal_mode"] == "truncate" and PRAGMAS["synchronous"] == 2


def test_threads_and_journals_writing_at_once_lose_nothing(path: Path):
    """The driver's own transactions were measured to lose most of such writes without an error."""
    with Journal.open(path) as one, Journal.open(path) as two:
        start = threading.Barrier(4)

        def write(number: int) -> int:
            start.wait()
            bench = Bench((one, two)[number % 2])
            return len([bench.put("piece/A", weighed(1 + number + i / 100)) for i in range(10)])

        with ThreadPoolExecutor(4) as pool:
            assert sum(pool.map(write, range(4))) == 40
        assert one.head() == 40 and one.stream_head("piece/A") == 40
        assert two.verify().ok


def test_of_two_who_saw_the_same_version_one_wins(path: Path):
    with Journal.open(path) as one, Journal.open(path) as two:
        start = threading.Barrier(2)

        def write(journal: Journal) -> bool:
            start.wait()
            try:
                Bench(journal).put("piece/A", weighed(1.0), seen_version=0)
            except Conflict:
                return False
            return True

        with ThreadPoolExecutor(2) as pool:
            assert sorted(pool.map(write, (one, two))) == [False, True]


def test_a_clock_going_backwards_changes_neither_order_nor_chain(bench: Bench):
    for hours in (0, 5, -400, -399, 3):
        bench.now = NOON + timedelta(hours=hours)
        bench.put("piece/A", weighed(2.0))
    bench.now = datetime(2024, 2, 29, 23, 59, 59, 999999, tzinfo=UTC)
    bench.put("piece/A", weighed(1.5))
    assert [e.seq for e in bench.journal.events("piece/A")] == [1, 2, 3, 4, 5, 6]
    assert bench.journal.verify().ok


@pytest.mark.parametrize(
    ("stream", "zone", "actor", "at", "wanted"),
    [
        ("", "UTC", "a", NOON, "stream_name"),
        ("piece/", "UTC", "a", NOON, "stream_name"),
        ("Piece/A", "UTC", "a", NOON, "stream_name"),
        ("piece/../x", "UTC", "a", NOON, "stream_name"),
        ("piece/A\n", "UTC", "a", NOON, "stream_name"),
        ("piece/A", "Mars/Olympus", "a", NOON, "zone_unknown"),
        ("piece/A", "", "a", NOON, "zone_unknown"),
        ("piece/A", "../../etc/passwd", "a", NOON, "zone_unknown"),
        ("piece/A", "UTC", "", NOON, "name_length"),
        ("piece/A", "UTC", "a" * 81, NOON, "name_length"),
        ("piece/A", "UTC", "\ud800", NOON, "name_length"),
        ("piece/A", "UTC", "a", NOON.replace(tzinfo=None), "instant_without_zone"),
    ],
)
def test_an_envelope_that_would_not_do_for_good_is_refused(
    journal: Journal, stream: str, zone: str, actor: str, at: datetime, wanted: str
):
    with pytest.raises(Refused) as caught:
        journal.append(stream, weighed(1.0), at=at, zone=zone, actor=actor, recorded_at=NOON)
    assert code(caught) == wanted and journal.head() == 0


def test_a_request_id_of_no_use_is_refused(bench: Bench):
    for request_id, wanted in (("", "name_length"), ("x" * 201, "name_length"), ("\udfff", "not_plain_text")):
        with pytest.raises(Refused) as caught:
            bench.put("piece/A", weighed(1.0), request_id=request_id)
        assert code(caught) == wanted
    with pytest.raises(Refused):
        bench.journal.events("piece/\udfff")
    assert bench.journal.head() == 0


def test_corrections_that_make_no_sense_are_refused(bench: Bench):
    weight = bench.put("piece/A", weighed(2.0))
    undo = bench.put("piece/A", Corrected(what="withdraw"), corrects=weight.id)
    cases = [
        ("piece/A", Corrected(what="withdraw"), None, "correction_needs_event"),
        ("piece/A", weighed(1.0), weight.id, "correction_needs_event"),
        ("piece/B", Corrected(what="withdraw"), weight.id, "correction_stream"),
        ("piece/A", Corrected(what="replace"), weight.id, "correction_empty"),
        ("piece/A", Corrected(what="replace", new=hung(1.0)), weight.id, "correction_kind"),
        ("piece/A", Corrected(what="replace", new=hung(1.0)), undo.id, "correction_kind"),
        ("piece/A", Corrected(what="withdraw", new=weighed(1.0)), weight.id, "correction_kind"),
    ]
    for stream, body, target, wanted in cases:
        with pytest.raises(Refused) as caught:
            bench.put(stream, body, corrects=target)
        assert code(caught) == wanted
    assert bench.journal.head() == 2


def test_a_reader_writes_nothing_and_makes_no_file(tmp_path: Path, path: Path):
    with pytest.raises(NotFound):
        Journal.open(tmp_path / "none" / "journal.db", read_only=True)
    assert not (tmp_path / "none").exists()
    with Journal.open(path):
        pass
    with Journal.open(path, read_only=True) as reader:
        with pytest.raises(JournalError) as caught:
            Bench(reader).put("piece/A", weighed(1.0))
        assert caught.value.problem.code == "journal_read_only"
        with pytest.raises(JournalError), reader.database.write() as connection:
            connection.exec_driver_sql("INSERT INTO migration VALUES (99, 'x', 'x')")


def test_a_url_names_the_same_file_and_other_databases_are_refused(path: Path):
    with Journal.open(f"sqlite:///{path}") as journal:
        assert journal.path == path
    for url in ("postgresql://u:secret@h/db", "sqlite://", "sqlite:///x?mode=memory", "mysql:///x"):
        with pytest.raises(Refused) as caught:
            Journal.open(url)
        assert code(caught) == "journal_url" and "secret" not in str(caught.value)


def test_folding_is_kept_until_the_stream_changes(bench: Bench):
    calls = []

    def count(events):
        calls.append(len(events))
        return len(events)

    assert bench.journal.fold("piece/A", count) is None
    bench.put("piece/A", weighed(2.0))
    bench.put("piece/B", weighed(2.0))
    assert [bench.journal.fold("piece/A", count) for _ in range(3)] == [1, 1, 1]
    bench.put("piece/B", weighed(1.0))
    assert bench.journal.fold("piece/A", count) == 1
    assert bench.journal.fold_all("piece/", count) == {"piece/A": 1, "piece/B": 2}
    bench.put("piece/A", weighed(1.0))
    assert bench.journal.fold("piece/A", count) == 2
    assert calls == [1, 2, 2]


def test_the_selftest_has_a_line_for_each_thing_and_a_failing_one_of_its_own(
    bench: Bench, path: Path, tmp_path: Path
):
    bench.put("settings", SettingChanged(name="zone", value="Europe/Vienna"))
    backups = tmp_path / "backups"
    bench.journal.backup_dated(backups, now=NOON)
    good = {c.name: c.ok for c in bench.journal.selftest(backup_folder=backups, now=NOON)}
    assert good == dict.fromkeys(("sqlite", "pragmas", "schema", "journal", "folder", "disk", "backup"), True)
    old = {c.name: c for c in bench.journal.selftest(backup_folder=backups, now=NOON + timedelta(days=3))}
    assert not old["backup"].ok and old["backup"].params["days"] == 3.0
    raw = sqlite3.connect(path)
    raw.execute("DROP TRIGGER event_no_DELETE")
    raw.execute("DELETE FROM event")
    raw.commit()
    bad = {c.name: c.ok for c in bench.journal.selftest(backup_folder=backups, now=NOON)}
    assert bad == {**good, "schema": False, "journal": False}


def test_the_newest_backup_that_does_not_open_fails_the_selftest(bench: Bench, tmp_path: Path):
    bench.put("piece/A", weighed(1.0))
    made = bench.journal.backup_dated(tmp_path / "b", now=NOON)
    made.path.write_bytes(b"nothing")
    (line,) = [
        c for c in bench.journal.selftest(backup_folder=tmp_path / "b", now=NOON) if c.name == "backup"
    ]
    assert not line.ok and "reason" in line.params


def test_an_altered_byte_is_found_and_the_altered_event_is_never_read(bench: Bench, path: Path):
    bench.put("piece/A", weighed(2.25))
    bench.put("piece/A", weighed(2.0))
    data = path.read_bytes()
    assert data.count(b'"value":2.25') == 1
    path.write_bytes(data.replace(b'"value":2.25', b'"value":2.24'))
    bench.journal.database.engine.dispose()
    found = bench.journal.verify()
    assert not found.ok and any(p.params.get("part") == "chain" for p in found.faults)
    with pytest.raises(JournalDamaged):
        bench.journal.events("piece/A")


def test_a_whole_chain_written_anew_is_still_told_apart_by_its_head(bench: Bench, path: Path):
    """Limit, stated: who rewrites everything makes a journal that verifies; its head hash is another."""
    bench.put("piece/A", weighed(2.25))
    kept = bench.journal.head_hash()
    other = path.with_name("forged.db")
    with Journal.open(other, entropy=seeded()) as forged:
        Bench(forged).put("piece/A", weighed(2.24))
        assert forged.verify().ok and forged.head_hash() != kept


def test_a_typed_amount_survives_to_the_last_bit(bench: Bench):
    values = [0.1 + 0.2, 1e-300, 5e-324, 2.0**53 + 2, 1 / 3]
    for value in values:
        bench.put("piece/A", weighed(value))
    assert [e.body.mass for e in bench.journal.events("piece/A")] == [kg(value) for value in values]
