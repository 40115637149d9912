"""Out as text and in again: the same journal to the last byte, or nothing and the line that is wrong."""

from __future__ import annotations

import json
from hashlib import sha256
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from journal_bench import NOON, Bench, hung, started, weighed

from saltfare.core.errors import JournalError, JournalNewer, NotFound, Refused
from saltfare.journal import exchange
from saltfare.journal.events import Corrected, Noted, SettingChanged
from saltfare.journal.readings import Reading
from saltfare.journal.store import Journal


@pytest.fixture
def filled(bench: Bench) -> Bench:
    bench.put("piece/A", started(), request_id="r1")
    bench.put("piece/A", hung(1.9), hours=9)
    wrong = bench.put("piece/A", weighed(17.0), hours=10)
    bench.put("piece/A", Corrected(what="replace", new=weighed(1.7)), corrects=wrong.id, request_id="r2")
    bench.put("piece/A", Noted(text="line\nbreak\u2028 “ü” 😀 \x00 \u202e"))
    bench.put("settings", SettingChanged(name="x", value=[1, 2.5e-7, None, {"b": True, "a": 10**30}]))
    given = [Reading(NOON, 12.0, 0.1 + 0.2, "0;12,0"), Reading(NOON.replace(hour=13), 12.5, 0.75)]
    bench.journal.readings.import_("cup", given, zone="UTC", actor="t", recorded_at=NOON, request_id="r3")
    return bench


@pytest.fixture
def exported(filled: Bench, tmp_path: Path) -> Path:
    path = tmp_path / "out.jsonl"
    assert exchange.export(filled.journal, path) == 1 + 7 + 2
    return path


def test_a_journal_comes_back_identical(filled: Bench, exported: Path, tmp_path: Path):
    with Journal.open(tmp_path / "other" / "journal.db") as other:
        told = exchange.take_in(other, exported)
        assert (told.events_new, told.readings_new, told.done) == (7, 2, False)
        assert other.head() == 0 and other.verify().ok
        done = exchange.take_in(other, exported, dry_run=False)
        assert done.done and done.head_hash == other.head_hash() == filled.journal.head_hash()
        assert other.events() == filled.journal.events()
        assert other.answered("r2") == filled.journal.answered("r2") != ()
        assert list(exchange.lines(other)) == list(exchange.lines(filled.journal))
        assert other.verify().ok
        Bench(other).put("piece/A", weighed(1.6))  # and goes on from there


def test_the_file_is_readable_by_any_program_as_described(exported: Path, filled: Bench):
    """Read with json and hashlib alone."""
    header, *rest = [json.loads(line) for line in exported.read_text("utf-8").split("\n")[:-1]]
    assert set(header) == {"format", "version", "schema", "program", "events", "readings", "head_hash"}
    events, before = [one["event"] for one in rest if "event" in one], "0" * 64
    for event in events:
        *fields, prev_hash, found = event.values()
        body = json.dumps(event["body"], sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        fields[list(event).index("body")] = body
        text = json.dumps([*fields, prev_hash], separators=(",", ":"), ensure_ascii=False)
        assert prev_hash == before and sha256(text.encode()).hexdigest() == found
        before = found
    assert before == header["head_hash"] == filled.journal.head_hash()
    readings = [one["reading"] for one in rest if "reading" in one]
    lines = []
    for one in readings:
        at_us = round(1_000_000 * _epoch_seconds(one["at"]))
        row = [at_us, one["temp_c"], one["rh_frac"], one["typed"]]
        lines.append(json.dumps(row, separators=(",", ":"), ensure_ascii=False) + "\n")
    assert sha256("".join(lines).encode()).hexdigest() == events[-1]["body"]["digest"]


def _epoch_seconds(text: str) -> float:
    import calendar
    import time

    return calendar.timegm(time.strptime(text, "%Y-%m-%dT%H:%M:%S.000000Z"))


def test_the_same_file_twice_is_no_change_and_a_longer_one_adds_the_rest(
    filled: Bench, exported: Path, tmp_path: Path
):
    with Journal.open(tmp_path / "other.db") as other:
        exchange.take_in(other, exported, dry_run=False)
        head = other.head_hash()
        again = exchange.take_in(other, exported, dry_run=False)
        assert (again.events_new, again.events_known, again.readings_new) == (0, 7, 0)
        assert other.head_hash() == head
        filled.put("piece/A", weighed(1.5), request_id="r4")
        filled.journal.readings.append(
            "cup", Reading(NOON.replace(hour=15), 12.0, 0.7), zone="UTC", actor="t", recorded_at=NOON
        )
        exchange.export(filled.journal, exported)
        more = exchange.take_in(other, exported, dry_run=False)
        assert (more.events_new, more.events_known, more.readings_new) == (2, 7, 1)
        assert list(exchange.lines(other)) == list(exchange.lines(filled.journal)) and other.verify().ok


def test_a_journal_that_went_its_own_way_is_not_mixed_with_another(
    filled: Bench, exported: Path, tmp_path: Path
):
    with Journal.open(tmp_path / "other.db") as other:
        Bench(other).put("piece/Z", weighed(1.0))
        head = other.head_hash()
        with pytest.raises(Refused) as caught:
            exchange.take_in(other, exported, dry_run=False)
        assert caught.value.problems[0].code == "import_diverges" and other.head_hash() == head
    filled.put("piece/A", weighed(1.0))
    with pytest.raises(Refused) as caught:
        exchange.take_in(filled.journal, exported, dry_run=False)
    assert caught.value.problems[0].code == "import_shorter"


def _changed(line: int, old: str, new: str):
    def change(lines: list[str]) -> list[str]:
        assert old in lines[line]
        return [*lines[:line], lines[line].replace(old, new, 1), *lines[line + 1 :]]

    return change


@pytest.mark.parametrize(
    ("change", "wanted", "line"),
    [
        (_changed(3, '"value":17.0', '"value":1.70'), "import_line", 4),
        (_changed(2, '"seq":2', '"seq":"2"'), "import_line", 3),
        (_changed(2, '"seq":2', '"seq":2.0'), "import_line", 3),
        (_changed(2, "{", "["), "import_line", 3),
        (_changed(1, '"event"', '"reading"'), "import_line", 2),
        (_changed(3, '"value":17.0', '"value":NaN'), "import_line", 4),
        (_changed(3, '"value":17.0', '"value":1e400'), "import_line", 4),
        (_changed(3, '"value":17.0', '"value":' + "9" * 10_000), "import_line", 4),
        (_changed(3, '"value":17.0', '"value":' + "[" * 100_000), "import_line", 4),
        (_changed(8, '"temp_c":12.0', '"temp_c":12.1'), "import_line", 10),
        (_changed(8, '"chamber":"cup"', '"chamber":"cap"'), "import_line", 10),
        (_changed(9, '"import_seq":7', '"import_seq":6'), "import_line", 10),
        (_changed(0, '"events":7', '"events":6'), "import_line", 8),
        (_changed(0, '"readings":2', '"readings":3'), "import_counts", 11),
        (_changed(0, '"head_hash":"', '"head_hash":"0'), "import_counts", 10),
        (_changed(0, "saltfare-journal", "shopping list"), "import_format", 1),
        (lambda lines: lines[:5], "import_counts", 6),
        (lambda lines: [*lines[:-1], lines[-1][:-5]], "import_counts", 10),
        (lambda lines: [*lines, "{}\n"], "import_counts", 10),
        (lambda lines: [lines[0], lines[2], lines[1], *lines[3:]], "import_line", 2),
        (lambda lines: [], "import_counts", 1),
        (lambda lines: ["null\n"], "import_line", 1),
        (lambda lines: ["x" * 5_000_000], "import_counts", 1),
    ],
)
def test_a_file_that_was_changed_is_refused_with_the_line(
    exported: Path, tmp_path: Path, change, wanted: str, line: int
):
    with exported.open(encoding="utf-8", newline="\n") as file:
        lines = file.readlines()
    exported.write_text("".join(change(lines)), "utf-8", newline="\n")
    with Journal.open(tmp_path / "other.db") as other:
        for dry_run in (True, False):
            with pytest.raises(Refused) as caught:
                exchange.take_in(other, exported, dry_run=dry_run)
            problem = caught.value.problems[0]
            assert (problem.code, problem.params["line"]) == (wanted, line)
        assert other.head() == 0 and other.verify().ok


def test_a_forged_line_with_a_right_hash_still_has_to_make_sense(filled: Bench, tmp_path: Path):
    """Who can compute hashes can write any line; what no program of ours would have written is refused."""
    from dataclasses import asdict, replace

    from saltfare.journal.events import Record, canonical

    first = filled.journal.database.engine
    with first.connect() as connection:
        row = connection.exec_driver_sql("SELECT * FROM event WHERE seq = 1").one()
    good = Record(*row)
    for forged in (
        replace(good, stream="no such/thing/at all"),
        replace(good, zone="Nowhere"),
        replace(good, at="2026-03-01T12:00:00Z"),
        replace(good, at="yesterday"),
        replace(good, actor=""),
        replace(good, stream_version=5),
        replace(good, body=canonical({**json.loads(good.body), "name": ""})),
        replace(good, corrects=good.id),
        replace(good, corrects="nobody"),
        replace(good, seq=2),
        replace(good, prev_hash="1" * 64),
    ):
        made = replace(forged, hash=replace(forged, hash="").digest())
        header = {"format": "saltfare-journal", "version": 1, "schema": 1, "program": "x", "events": 1,
                  "readings": 0, "head_hash": made.hash}  # fmt: skip
        lines = [header, {"event": {**asdict(made), "body": json.loads(made.body)}}]
        path = tmp_path / "forged.jsonl"
        path.write_text("".join(json.dumps(line, ensure_ascii=False) + "\n" for line in lines), "utf-8")
        with Journal.open(tmp_path / "other.db") as other:
            with pytest.raises((Refused, JournalError)):
                exchange.take_in(other, path, dry_run=False)
            assert other.head() == 0


def test_a_file_of_a_later_program_is_told_as_such(exported: Path, tmp_path: Path):
    text = exported.read_text("utf-8")
    with Journal.open(tmp_path / "other.db") as other:
        for old, new in (('"schema":1', '"schema":2'), ('"version":1', '"version":2')):
            exported.write_text(text.replace(old, new, 1), "utf-8")
            with pytest.raises(JournalNewer):
                exchange.take_in(other, exported)
        with pytest.raises(NotFound):
            exchange.take_in(other, tmp_path / "none")
        with pytest.raises(JournalError):
            exchange.take_in(other, tmp_path)


def test_an_export_is_whole_or_not_there(filled: Bench, exported: Path, tmp_path: Path, monkeypatch):
    before = exported.read_bytes()
    filled.put("piece/A", weighed(1.0))
    monkeypatch.setattr(exchange.os, "fsync", lambda fd: (_ for _ in ()).throw(OSError(28, "no space")))
    with pytest.raises(JournalError) as caught:
        exchange.export(filled.journal, exported)
    assert caught.value.problem.code == "disk_failed"
    assert exported.read_bytes() == before
    assert not list(tmp_path.glob(".*part"))


@settings(
    max_examples=60, deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)  # fmt: skip
@given(st.data())
@example(None)
def test_any_mutation_of_a_valid_file_is_taken_in_unchanged_or_refused(exported: Path, tmp_path: Path, data):
    """Bytes cut, put in, doubled: never a crash, never half a journal."""
    original = exported.with_suffix(".orig")
    if not original.exists():
        original.write_bytes(exported.read_bytes())
    content = bytearray(original.read_bytes())
    if data is not None:
        for _ in range(data.draw(st.integers(1, 3))):
            place = data.draw(st.integers(0, len(content) - 1))
            what = data.draw(st.sampled_from(["set", "cut", "put", "double"]))
            if what == "set":
                content[place] = data.draw(st.integers(0, 255))
            elif what == "cut":
                del content[place : place + data.draw(st.integers(1, 400))]
            elif what == "put":
                content[place:place] = data.draw(st.binary(min_size=1, max_size=20))
            else:
                content[place:place] = content[place : place + data.draw(st.integers(1, 400))]
            if not content:
                break
    mutated = tmp_path / "mutated.jsonl"
    mutated.write_bytes(content)
    target = tmp_path / "fuzz.db"
    target.unlink(missing_ok=True)
    with Journal.open(target) as other:
        try:
            done = exchange.take_in(other, mutated, dry_run=False)
        except (Refused, JournalNewer, JournalError):
            assert other.head() == 0
        else:
            # blanks between may have changed, and the program named in the first line; nothing else
            assert done.events_new == 7 and done.head_hash == other.head_hash()
            wanted = original.read_bytes().decode().split("\n")[1:]
            assert "".join(exchange.lines(other)).split("\n")[1:] == wanted
        assert other.verify().ok
