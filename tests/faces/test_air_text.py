"""Readings as loggers write them: what is told from the text, and what is asked instead of guessed.

Date and time forms: ISO 8601 (year first); others only in the order the person names.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from saltfare.faces.air_text import MOST_LINES, read

ROW = {"at": "2026-09-19T08:00:00+02:00", "temperature": "12.4 C", "humidity": "75 %"}


@pytest.mark.parametrize(
    "text",
    [
        "2026-09-19 08:00, 12.4, 75",
        "2026-09-19T08:00;12.4;75",
        "2026-09-19 08:00\t12.4\t75",
        "\ufefftime,temperature,humidity\r\n2026-09-19 08:00,12.4,75\r\n",
        "Humidity (%),Temp (°C),Timestamp\n75,12.4,2026-09-19 08:00",
        "date;time;t;rh\n2026-09-19;08:00;12.4;75",
        "2026-09-19,08:00,12.4,75",
        "no,when,temp,rh\n1,2026-09-19 8:00,12.4,75",
        "\n\n2026-09-19 08:00,12.4 C,75 %\n\n",
    ],
)
def test_usual_forms_are_understood(text: str) -> None:
    found = read(text, zone="Europe/Berlin")
    assert not found.bad
    assert found.rows == (ROW,)


def test_a_decimal_comma_goes_with_a_semicolon() -> None:
    found = read("2026-09-19 08:00;12,4;75,5", zone="UTC")
    assert found.rows[0]["temperature"] == "12,4 C" and found.rows[0]["humidity"] == "75,5 %"
    ambiguous = read("2026-09-19 08:00;12,400;75", zone="UTC")
    assert [line.problem.code for line in ambiguous.bad] == ["comma_ambiguous"]
    assert read("2026-09-19 08:00;12,400;75", zone="UTC", decimal="comma").rows


def test_a_comma_that_may_be_both_is_refused_and_never_read_as_two_numbers() -> None:
    for text in ("2026-09-19 08:00,12,4,75,5", "time,temp,rh\n2026-09-19 08:00,12,4,75"):
        found = read(text, zone="UTC", decimal="comma")
        assert not found.rows and [line.problem.code for line in found.bad] == ["line_too_long"]
    # a heading that names them all, or an empty end, leaves nothing open
    named = read("time,temp,rh,dew point\n2026-09-19 08:00,12.4,75,8.1", zone="UTC")
    assert named.rows[0]["humidity"] == "75 %" and not named.bad
    assert read("2026-09-19 08:00,12.4,75,,", zone="UTC").rows


def test_fahrenheit_is_told_by_the_heading_or_by_the_person() -> None:
    assert read("at,temp °F,rh\n2026-09-19 08:00,54,75", zone="UTC").rows[0]["temperature"] == "54 F"
    assert read("2026-09-19 08:00,54,75", zone="UTC", temperature_unit="F").rows[0]["temperature"] == "54 F"


@pytest.mark.parametrize(("dates", "day"), [("day", "2026-04-03"), ("month", "2026-03-04")])
def test_day_and_month_are_told_apart_by_the_person_only(dates: str, day: str) -> None:
    text = "3/4/2026 08:00,12,75"
    assert [line.problem.code for line in read(text, zone="UTC").bad] == ["date_order_unknown"]
    assert read(text, zone="UTC", dates=dates).rows[0]["at"].startswith(day)  # type: ignore[arg-type]


def test_a_line_that_cannot_be_used_is_named_by_its_number_with_what_stood_there() -> None:
    text = "time,temp,rh\n2026-09-19 08:00,12,75\nnonsense,1,2\n2026-09-19 09:00,12\n2026-02-30 09:00,12,75\n"
    found = read(text + "2026-09-19 10:00,mild,75", zone="UTC")
    assert [(line.number, line.problem.code) for line in found.bad] == [
        (3, "time_unreadable"),
        (4, "line_too_short"),
        (5, "time_unreadable"),
        (6, "number_unreadable"),
    ]
    assert found.lines == (2,)


def test_an_offset_in_the_text_stands() -> None:
    found = read("2026-09-19T08:00:00+05:30,12,75", zone="Europe/Berlin")
    assert found.rows[0]["at"] == "2026-09-19T08:00:00+05:30"


def test_too_many_lines_are_refused_whole() -> None:
    found = read("2026-09-19 08:00,12,75\n" * (MOST_LINES + 1), zone="UTC")
    assert not found.rows and [line.problem.code for line in found.bad] == ["too_many"]


@given(st.text(max_size=300))
def test_no_text_breaks_it(text: str) -> None:
    found = read(text, zone="UTC")
    assert len(found.rows) == len(found.lines)
    assert len(found.rows) + len(found.bad) <= text.count("\n") + text.count("\r") + 1
