"""The envelope, the canonical body, its hash and the lifting of old bodies."""

from __future__ import annotations

import json
import uuid
from datetime import UTC, datetime, timedelta, timezone
from hashlib import sha256
from pathlib import Path
from typing import Any, ClassVar

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from journal_bench import NOON, kg, started, weighed
from pydantic import ValidationError

from saltfare.core.errors import JournalNewer, Refused
from saltfare.core.fields import Measured
from saltfare.journal import events
from saltfare.journal.events import (
    Body,
    Corrected,
    Noted,
    SettingChanged,
    body_text,
    canonical,
    decode,
    instant,
    instant_text,
    uuid7,
)
from saltfare.journal.events_piece import ForecastIssued, Weighed
from saltfare.journal.store import KIND_MODULES


def test_uuid7_agrees_with_the_printed_example_of_rfc_9562_appendix_a6():
    """RFC 9562, A.6: unix_ts_ms 0x017F22E279B0, rand_a 0xCC3, rand_b 0x18C4DC0C0C07398F (62 bits)."""
    at = datetime.fromtimestamp(0x017F22E279B0 / 1000, UTC)
    chance = (0xCC3 << 62 | 0x18C4DC0C0C07398F).to_bytes(10, "big")
    assert uuid7(at, lambda count: chance[:count]) == "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"


@settings(deadline=None)
@given(st.datetimes(datetime(1970, 1, 2), datetime(9999, 1, 1)), st.binary(min_size=10, max_size=10))
def test_uuid7_is_of_version_7_and_the_rfc_variant_for_the_standard_library_too(at, chance):
    made = uuid.UUID(uuid7(at.replace(tzinfo=UTC), lambda count: chance))
    assert made.version == 7 and made.variant == uuid.RFC_4122


def test_ids_sort_by_time_to_the_millisecond():
    made = [uuid7(NOON + timedelta(milliseconds=i), lambda n: b"\xff" * n) for i in range(50)]
    assert made == sorted(made) and len(set(made)) == 50


def test_every_kind_of_the_first_release_is_there_and_declares_its_version():
    wanted = {
        "started", "salted", "turned", "hung", "weighed", "read", "noted", "corrected",
        "forecast_issued", "chamber_described", "setting_changed",
    }  # fmt: skip
    assert wanted <= set(events.kinds())
    assert all(cls.kind == kind and cls.kind_version >= 1 for kind, cls in events.kinds().items())


def test_every_module_of_kinds_is_known_to_the_store_or_its_events_could_not_be_read():
    folder = Path(events.__file__).parent
    modules = {f"saltfare.journal.{path.stem}" for path in folder.glob("events_*.py")}
    assert {module.__name__ for module in KIND_MODULES} == modules


@pytest.mark.parametrize(
    "bad",
    [{"mass": kg(1.0), "extra": 1}, {}, {"mass": {"typed": "x", "value": float("nan")}}, {"mass": 2.0}],
)
def test_a_body_takes_nothing_unknown_missing_or_not_finite(bad: dict[str, Any]):
    with pytest.raises(ValidationError):
        Weighed(**bad)


def test_a_body_is_never_changed():
    with pytest.raises(ValidationError, match="frozen"):
        weighed(1.0).mass = kg(2.0)  # type: ignore[misc]


@pytest.mark.parametrize(
    "body",
    [
        weighed(1.25),
        started(),
        Noted(text="smells of wine — “good” 😀\x00\u202e", reasons={"text": "it does"}),
        Corrected(what="replace", new=weighed(1.0), new_at=NOON, reason="misread"),
        Corrected(what="withdraw"),
        SettingChanged(name="zone", value={"a": [1, 2.5, None, True]}),
        ForecastIssued(model_version="1", piece_version=3, air={"temp_c": 12.0}, ready_at=NOON),
    ],
    ids=lambda body: body.kind,
)
def test_a_body_read_back_is_the_body_stored(body: Body):
    text = body_text(body)
    assert decode(body.kind, body.kind_version, json.loads(text)) == body
    assert canonical(json.loads(text)) == text


def test_what_could_not_be_read_back_is_refused():
    unchecked = Weighed.model_construct(mass=Measured.model_construct(typed="x", value=float("inf")))
    nan = SettingChanged.model_construct(name="x", value=float("nan"), reasons={})
    huge = SettingChanged.model_construct(name="x", value=10**5000, reasons={})
    half = SettingChanged.model_construct(name="x", value="\ud800", reasons={})

    class Unregistered(Weighed):
        pass

    for body in (unchecked, nan, huge, half, Unregistered(mass=kg(1.0))):
        with pytest.raises(Refused) as refused:
            body_text(body)
        assert refused.value.problems[0].code in {"event_not_storable", "not_a_quantity", "missing"}


class Tasted(Body, kind="test_tasted"):
    """Version 1 had a mark out of five, version 2 says which scale, version 3 renames it."""

    kind_version: ClassVar[int] = 3
    lifts: ClassVar = {
        1: lambda old: {**old, "scale": 5},
        2: lambda old: {"score": old["mark"], "scale": old["scale"], "reasons": old["reasons"]},
    }
    score: int
    scale: int


def test_an_old_body_is_lifted_step_by_step_and_stays_as_it_was():
    old = {"mark": 4, "reasons": {}}
    assert decode("test_tasted", 1, old) == Tasted(score=4, scale=5)
    assert old == {"mark": 4, "reasons": {}}
    assert decode("test_tasted", 2, {"mark": 7, "scale": 10, "reasons": {}}) == Tasted(score=7, scale=10)
    wrapped = {"kind": "test_tasted", "kind_version": 1, "body": old}
    told = {"what": "replace", "new": wrapped, "new_at": None, "reason": "", "reasons": {}}
    assert decode("corrected", 1, told).new == Tasted(score=4, scale=5)  # type: ignore[attr-defined]


@pytest.mark.parametrize(("kind", "version"), [("test_tasted", 4), ("never_heard_of", 1)])
def test_a_kind_or_version_of_a_later_program_is_told_as_such(kind: str, version: int):
    with pytest.raises(JournalNewer) as newer:
        decode(kind, version, {})
    assert newer.value.problem.code == "event_kind_newer"


def test_a_kind_is_declared_once_and_with_every_lift():
    with pytest.raises(ValueError, match="twice"):

        class Again(Body, kind="weighed"):
            pass

    with pytest.raises(ValueError, match="no lift from version 1"):

        class Gap(Body, kind="test_gap"):
            kind_version: ClassVar[int] = 2


@settings(deadline=None)
@given(st.datetimes(timezones=st.timezones()))
def test_an_instant_survives_its_text_and_text_sorts_as_time(at: datetime):
    try:
        text = instant_text(at)
    except Refused as refused:
        assert refused.problems[0].code == "instant_out_of_calendar"
        return
    # as UTC: Python never holds two zones equal at an hour where a clock is set
    assert instant(text) == at.astimezone(UTC) and len(text) == 27
    later = at.astimezone(UTC)
    if later < datetime.max.replace(tzinfo=UTC) - timedelta(days=1):
        assert instant_text(later + timedelta(microseconds=1)) > text


def test_a_naive_instant_is_refused():
    with pytest.raises(Refused) as refused:
        instant_text(datetime(2026, 3, 1))
    assert refused.value.problems[0].code == "instant_without_zone"
    assert instant_text(datetime(999, 1, 1, tzinfo=UTC)).startswith("0999-01-01T")
    assert instant_text(datetime(2026, 3, 1, 1, tzinfo=timezone(timedelta(hours=1)))).endswith(
        "00:00:00.000000Z"
    )


def test_an_hour_where_a_clock_is_set_can_be_stored():
    from zoneinfo import ZoneInfo

    for hour in (datetime(1983, 10, 9, tzinfo=ZoneInfo("America/Coyhaique")),
                 datetime(2026, 10, 25, 2, 30, fold=1, tzinfo=ZoneInfo("Europe/Vienna")),
                 datetime(2026, 3, 29, 2, 30, tzinfo=ZoneInfo("Europe/Vienna"))):  # fmt: skip
        text = body_text(Corrected(what="replace", new_at=hour))
        assert decode("corrected", 1, json.loads(text)).new_at == hour.astimezone(UTC)  # type: ignore[attr-defined]


def test_the_hash_can_be_recomputed_from_the_described_form_alone(bench, path):
    """With nothing of ours but the description: SHA-256 of the canonical JSON list of the other fields."""
    import sqlite3

    bench.put("piece/A", weighed(2.0), request_id="r")
    bench.put("piece/A", Noted(text="ü"))
    before = "0" * 64
    for row in sqlite3.connect(path).execute("SELECT * FROM event ORDER BY seq"):
        *fields, prev_hash, found = row
        text = json.dumps([*fields, prev_hash], separators=(",", ":"), ensure_ascii=False)
        assert prev_hash == before
        assert sha256(text.encode()).hexdigest() == found
        before = found
