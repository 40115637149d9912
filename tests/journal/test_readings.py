"""Air readings: the same again is no change, another value is refused, a wrong import is taken back."""

from __future__ import annotations

import sqlite3
import time
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from journal_bench import NOON, Bench

from saltfare.core.errors import Refused
from saltfare.journal.events import Corrected
from saltfare.journal.readings import Air, Reading, instant_of, microseconds
from saltfare.journal.store import Journal

LATER = NOON + timedelta(days=99)


def rows(*values: tuple[int, float, float]) -> list[Reading]:
    return [Reading(NOON + timedelta(minutes=m), t, h, typed=f"{m};{t};{h}") for m, t, h in values]


def take(journal: Journal, given, chamber: str = "cup", **more):
    return journal.readings.import_(chamber, given, zone="UTC", actor="test", recorded_at=NOON, **more)


def all_of(journal: Journal, chamber: str = "cup") -> list[tuple[int, float, float]]:
    found = journal.readings.range(chamber, NOON - timedelta(days=9), LATER)
    return [((air.at - NOON) // timedelta(minutes=1), air.temp_c, air.rh_frac) for air in found]


def test_readings_come_back_in_time_as_given(journal: Journal):
    done = take(journal, rows((30, 12.1, 0.75), (0, 12.0, 0.8), (60, -1.5, 0.1 + 0.2)), origin="logger.csv")
    assert (done.new, done.known) == (3, 0)
    assert all_of(journal) == [(0, 12.0, 0.8), (30, 12.1, 0.75), (60, -1.5, 0.1 + 0.2)]
    assert done.event is not None and done.event.stream == "chamber/cup"
    assert done.event.at == NOON + timedelta(hours=1) and done.event.body.origin == "logger.csv"
    assert all_of(journal, "other") == []
    half = journal.readings.range("cup", NOON, NOON + timedelta(minutes=30))
    assert half == [Air(NOON, 12.0, 0.8), Air(NOON + timedelta(minutes=30), 12.1, 0.75)]
    assert journal.readings.last("cup") == Air(NOON + timedelta(minutes=60), -1.5, 0.1 + 0.2)
    assert journal.readings.last("cup", NOON + timedelta(minutes=59)) == half[1]
    assert journal.readings.last("cup", NOON - timedelta(days=1)) is None
    assert journal.verify().readings == 3 and journal.verify().ok


def test_the_same_rows_again_are_no_change(journal: Journal):
    take(journal, rows((0, 12.0, 0.8), (1, 12.0, 0.8)))
    head = journal.head_hash()
    again = take(journal, rows((1, 12.0, 0.8), (0, 12.0, 0.8), (0, 12.0, 0.8)))
    assert (again.event, again.new, again.known) == (None, 0, 2)
    assert journal.head_hash() == head
    more = take(journal, rows((1, 12.0, 0.8), (2, 12.5, 0.8)))
    assert (more.new, more.known) == (1, 1) and len(all_of(journal)) == 3


def test_another_value_for_the_same_instant_is_refused_with_its_line_and_nothing_is_taken(journal: Journal):
    take(journal, rows((0, 12.0, 0.8), (1, 12.0, 0.8)))
    with pytest.raises(Refused) as caught:
        take(journal, rows((5, 12.0, 0.8), (0, 12.0, 0.81), (1, 11.0, 0.8)))
    assert [(p.code, p.params["line"]) for p in caught.value.problems] == [
        ("reading_differs", 2), ("reading_differs", 3),
    ]  # fmt: skip
    assert caught.value.problems[0].params["rh_frac"] == 0.8
    assert len(all_of(journal)) == 2


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -float("inf")])
def test_what_is_no_number_and_what_disagrees_within_a_file_is_refused_with_its_line(journal: Journal, bad):
    given = [
        Reading(NOON, 12.0, 0.8, line=7),
        Reading(LATER, bad, 0.8, line=8),
        Reading(NOON, 12.0, bad, line=9),
    ]
    with pytest.raises(Refused) as caught:
        take(journal, given)
    assert [(p.code, p.params["line"]) for p in caught.value.problems] == [
        ("reading_not_a_number", 8), ("reading_not_a_number", 9),
    ]  # fmt: skip
    with pytest.raises(Refused) as caught:
        take(journal, rows((0, 12.0, 0.8), (0, 12.5, 0.8)))
    assert caught.value.problems[0].code == "reading_differs"
    with pytest.raises(Refused) as caught:
        take(journal, [])
    assert caught.value.problems[0].code == "readings_none"
    with pytest.raises(Refused) as caught:
        take(journal, [Reading(datetime(2026, 1, 1), 1.0, 0.5)])
    assert caught.value.problems[0].code == "instant_without_zone"
    with pytest.raises(Refused) as caught:
        take(journal, [Reading(NOON, 1.0, 0.5, typed="\ud800")])
    assert caught.value.problems[0].code == "not_text"
    assert journal.head() == 0


def test_a_wrong_import_is_taken_back_and_the_right_one_taken_in(bench: Bench):
    journal = bench.journal
    wrong = take(journal, rows((0, 120.0, 0.8), (1, 121.0, 0.8)))
    take(journal, rows((2, 12.0, 0.8)))
    assert wrong.event is not None
    with pytest.raises(Refused) as caught:
        bench.put("chamber/cup", Corrected(what="replace", new_at=NOON), corrects=wrong.event.id)
    assert caught.value.problems[0].code == "correction_of_readings"
    undo = bench.put("chamber/cup", Corrected(what="withdraw"), corrects=wrong.event.id)
    assert all_of(journal) == [(2, 12.0, 0.8)]
    take(journal, rows((0, 12.0, 0.8), (1, 12.1, 0.8)))
    assert all_of(journal) == [(0, 12.0, 0.8), (1, 12.1, 0.8), (2, 12.0, 0.8)]
    bench.put("chamber/cup", Corrected(what="withdraw"), corrects=undo.id)
    assert all_of(journal)[0] == (0, 12.0, 0.8)  # of two that count, the later taken in
    assert journal.verify().ok and journal.verify().readings == 5


def test_a_request_is_done_once(journal: Journal):
    first = take(journal, rows((0, 12.0, 0.8)), request_id="r")
    again = take(journal, rows((0, 12.0, 0.8)), request_id="r")
    assert again.event == first.event and journal.head() == 1
    one = Reading(NOON + timedelta(hours=9), 12.0, 0.8, "12 C, 80 %")
    journal.readings.append("cup", one, zone="UTC", actor="t", recorded_at=NOON, request_id="s")
    assert journal.head() == 2 and journal.answered("s")[0].kind == "read"


def test_a_dry_run_says_what_would_happen(journal: Journal):
    take(journal, rows((0, 12.0, 0.8)))
    told = take(journal, rows((0, 12.0, 0.8), (1, 12.0, 0.8)), dry_run=True)
    assert (told.event, told.new, told.known) == (None, 1, 1) and journal.head() == 1
    with pytest.raises(Refused):
        take(journal, rows((0, 13.0, 0.8)), dry_run=True)


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE reading SET temp_c = 13.0",
        "DELETE FROM reading",
        "INSERT OR REPLACE INTO reading SELECT chamber, at_us, import_seq, 13.0, rh_frac, typed FROM reading",
    ],
)
def test_readings_are_append_only_for_anybody(journal: Journal, path: Path, statement: str):
    take(journal, rows((0, 12.0, 0.8)))
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        sqlite3.connect(path).execute(statement)
    assert all_of(journal) == [(0, 12.0, 0.8)]


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE reading SET temp_c = 12.000000000000002 WHERE at_us = (SELECT min(at_us) FROM reading)",
        "DELETE FROM reading WHERE at_us = (SELECT min(at_us) FROM reading)",
        "INSERT INTO reading VALUES ('cup', 1, 1, 12.0, 0.8, '')",
        "INSERT INTO reading VALUES ('other', 1, 1, 12.0, 0.8, '')",
        "UPDATE reading SET typed = 'x'",
    ],
)
def test_readings_changed_past_the_triggers_are_found(journal: Journal, path: Path, statement: str):
    take(journal, rows((0, 12.0, 0.8), (1, 12.0, 0.8)))
    raw = sqlite3.connect(path)
    for trigger in ("reading_no_UPDATE", "reading_no_DELETE"):
        raw.execute(f"DROP TRIGGER {trigger}")
    raw.execute(statement)
    raw.commit()
    raw.close()
    assert any(p.params.get("part") == "readings" for p in journal.verify().faults)


@settings(deadline=None)
@given(st.datetimes(timezones=st.timezones()))
def test_microseconds_hold_every_instant(at: datetime):
    try:
        utc = at.astimezone(UTC)
    except OverflowError:
        return
    assert instant_of(microseconds(utc)) == utc
    assert (
        instant_of(microseconds(at.astimezone(timezone(timedelta(hours=5))) if at.year > 1 else utc)) == utc
    )


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(
        st.dictionaries(
            st.integers(0, 8),
            st.tuples(st.floats(-50, 60), st.floats(0, 1)),
            min_size=1,
        ),
        max_size=6,
    )
)
def test_imports_in_any_order_hold_what_a_dictionary_would(tmp_path, imports):
    path = tmp_path / "j.db"
    path.unlink(missing_ok=True)
    with Journal.open(path) as journal:
        kept: dict[int, tuple[float, float]] = {}
        for number, given_rows in enumerate(imports):
            listed = rows(*((m, t, h) for m, (t, h) in given_rows.items()))
            if any(kept.get(m, v) != v for m, v in given_rows.items()):
                with pytest.raises(Refused):
                    take(journal, listed, request_id=str(number))
            else:
                done = take(journal, listed, request_id=str(number))
                assert done.new == len(given_rows.keys() - kept.keys())
                kept.update(given_rows)
        assert all_of(journal) == [(m, *kept[m]) for m in sorted(kept)]
        assert journal.verify().ok


def test_a_year_of_readings_every_ten_minutes_is_taken_in_and_read_quickly(journal: Journal):
    minutes = range(0, 365 * 24 * 60, 10)
    given_rows = [Reading(NOON + timedelta(minutes=m), 12 + m % 7 / 10, 0.75, f"{m};12") for m in minutes]
    began = time.perf_counter()
    assert take(journal, given_rows).new == 52_560
    took_in = time.perf_counter() - began
    began = time.perf_counter()
    month = journal.readings.range("cup", NOON + timedelta(days=100), NOON + timedelta(days=130))
    read = time.perf_counter() - began
    assert len(month) == 30 * 144 + 1
    assert took_in < 20 and read < 2  # measured 1.0 s and 0.03 s; the bound only notices a blunder
