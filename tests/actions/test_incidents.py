"""Something went wrong in a place: what to keep, cook now or throw out, and by which text.

US consumer advice: perishable food above 40 F (4.4 C) for two hours is discarded, one hour above 90 F; frozen
US consumer advice: perishable food above 40 F (4.4 C) for two hours goes out, one hour above 90 F; frozen
41 F. FSIS-GD-2023-0002: 0.85.
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from judged_household import Larder, on, readings

from saltfare.core.errors import Conflict, NotFound, Refused


def codes(error: pytest.ExceptionInfo[Refused]) -> dict[str, str]:
    return {p.code: p.field for p in error.value.problems}


def happened(larder: Larder, day: float = 70, hours: float = 10, **given: Any) -> Any:
    """An incident reported, and what it comes to, by code."""
    told = {
        "place": "Fridge",
        "what": "fridge_warm",
        "since": on(day).isoformat(),
        "until": (on(day) + timedelta(hours=hours)).isoformat(),
    }
    did = larder.do("report_incident", day + 2, **{**told, **given})
    return larder.do("incident", day + 2, incident=did.code)


def decisions(shown: Any) -> dict[str, tuple[str, str]]:
    return {one.code: (one.decision, one.rule) for one in shown.touched}


@pytest.fixture
def stocked(larder: Larder) -> dict[str, str]:
    """A fridge, a freezer and a cupboard with something in each."""
    dry = larder.lot(day=60, sealed="air", place="fridge", name="dry")
    larder.do("record_origin", 60, code=dry, species="beef")
    larder.do(
        "record_measurement", 61, code=dry, water_activity="0.80", aw_error="0.01", part="wettest_thickest"
    )
    hanging = larder.piece("pork_loin")
    larder.hang(hanging)
    in_salt = larder.piece("beef_eye_round")
    larder.salted(in_salt, 68)
    resting = larder.piece("pork_collar")
    larder.salted(resting)
    larder.do("rest_piece", 30, code=resting, place="fridge", temperature="3 C", sealed=True)
    return {
        "dry": dry,
        "open": larder.lot(day=60, sealed="air", place="the fridge"),
        "cooked": larder.lot(day=65, sealed="air", place="fridge"),
        "sealed": larder.lot(day=65, sealed="no_oxygen", place="FRIDGE"),
        "frozen": larder.lot(day=60, sealed="no_oxygen", place="freezer"),
        "hanging": hanging,
        "in_salt": in_salt,
        "resting": resting,
    }


def test_a_fridge_that_read_nine_degrees_overnight(larder: Larder, stocked: dict[str, str]) -> None:
    shown = happened(larder, warmest="9 C", error="0.5 K")
    found = decisions(shown)
    assert found[stocked["dry"]] == ("keep", "dry")
    assert found[stocked["cooked"]] == ("throw_out", "may_have_run_out")
    assert found[stocked["sealed"]] == ("throw_out", "may_have_run_out")
    assert found[stocked["resting"]] == ("throw_out", "may_have_run_out")
    assert found[stocked["in_salt"]][0] == "throw_out"
    perhaps = {one.code for one in shown.touched if one.perhaps}
    assert perhaps == {stocked["in_salt"]}  # nobody says in which fridge it lies
    for elsewhere in ("open", "frozen", "hanging"):  # "the fridge" is another name, and so another place
        assert stocked[elsewhere] not in found
    criteria = {c.verdict.criterion for one in shown.touched for c in one.criteria}
    assert "carried_two_hours" in criteria
    assert all(one.cite and one.why.code.startswith("incident_") for one in shown.touched)


def test_a_log_shows_that_it_ran_out_or_did_not(larder: Larder, stocked: dict[str, str]) -> None:
    warm = readings(70, [(0, 3), (60, 9), (420, 9), (600, 3)])
    shown = happened(larder, readings=warm, error="0.2 K")
    assert decisions(shown)[stocked["cooked"]] == ("throw_out", "run_out")
    assert next(o for o in shown.touched if o.code == stocked["cooked"]).answer.value == "does_not_meet"
    short = readings(72, [(0, 3), (30, 9), (80, 9), (110, 3)])  # above 4.4 C for under an hour and a half
    shown = happened(larder, day=72, hours=110 / 60, readings=short, error="0.2 K")
    found = decisions(shown)
    assert found[stocked["cooked"]] == ("keep", "two_hours")
    assert found[stocked["sealed"]] == ("cook_now", "sealed_warm")


def test_a_log_shorter_than_the_incident_keeps_nothing(larder: Larder, stocked: dict[str, str]) -> None:
    short = readings(70, [(0, 3), (60, 3.2), (120, 3.1)])
    shown = happened(larder, readings=short, error="0.2 K")
    assert decisions(shown)[stocked["cooked"]] == ("throw_out", "not_read")


def test_nobody_read_it(larder: Larder, stocked: dict[str, str]) -> None:
    found = decisions(happened(larder))
    assert found[stocked["cooked"]] == ("throw_out", "not_read")
    assert found[stocked["dry"]] == ("keep", "dry")


def test_one_that_goes_on_within_two_hours_is_cooked_now(larder: Larder, stocked: dict[str, str]) -> None:
    did = larder.do(
        "report_incident",
        70.05,
        place="fridge",
        what="fridge_warm",
        since=on(70).isoformat(),
        warmest="8 C",
        error="0.5 K",
    )
    shown = larder.do("incident", 70.05, incident=did.code)
    assert decisions(shown)[stocked["cooked"]] == ("cook_now", "still_going")
    later = larder.do("incident", 70.2, incident=did.code)
    assert decisions(later)[stocked["cooked"]][0] == "throw_out"


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        ({"found": "ice_crystals", "before_cold_back": True}, ("keep", "ice_crystals")),
        ({"found": "frozen_hard", "before_cold_back": True}, ("keep", "ice_crystals")),
        # refrozen before anybody looked: hard again says nothing
        ({"found": "frozen_hard"}, ("throw_out", "not_read")),
        ({"found": "warm", "before_cold_back": True}, ("throw_out", "found_warm")),
        ({"found": "cold", "before_cold_back": True}, ("throw_out", "not_read")),
        ({"found": "cold", "before_cold_back": True, "warmest": "2 C"}, ("cook_now", "cold_thawed")),
        ({"warmest": "-6 C"}, ("keep", "two_hours")),
        ({"warmest": "4 C"}, ("throw_out", "not_read")),  # 4.4 lies within the error of the thermometer
        ({"warmest": "12 C"}, ("throw_out", "may_have_run_out")),
        ({}, ("throw_out", "not_read")),
    ],
)
def test_a_freezer_that_was_off(
    larder: Larder, stocked: dict[str, str], given: dict[str, Any], expected: tuple[str, str]
) -> None:
    shown = happened(larder, place="Freezer", what="freezer_off", hours=20, **given)
    assert decisions(shown)[stocked["frozen"]] == expected


def test_a_freezer_that_was_off_breaks_the_freezing_against_parasites(larder: Larder) -> None:
    """9 CFR 318.10 (c)(2): 20 days at 5 F for up to 6 in, without a break."""
    code = larder.piece("pork_loin")
    frozen = {
        "begun": on(1).isoformat(),
        "ended": on(30).isoformat(),
        "warmest": "-18 C",
        "thickness": "8 cm",
    }
    larder.do("record_parasite_step", 31, code=code, frozen=True, place="freezer", **frozen)
    assert larder.card(code, 32)["parasites:trichinella_freeze_air"] == "meets"
    happened(larder, day=10, place="freezer", what="freezer_off", warmest="-2 C")
    found = larder.card(code, 32)
    assert found["parasites:trichinella_freeze_air"] == "cannot_tell"
    assert "freezing_broken" in {n.code for n in found["shown"].notes}


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        ({"warmest": "14 C"}, ("keep", "hanging_cool")),
        ({"warmest": "22 C"}, ("throw_out", "hanging_warm")),
        ({"warmest": "22 C", "hours": 1.5}, ("keep", "hanging_cool")),
        ({}, ("throw_out", "hanging_warm")),
    ],
)
def test_a_dryer_that_stopped_overnight(
    larder: Larder, stocked: dict[str, str], given: dict[str, Any], expected: tuple[str, str]
) -> None:
    shown = happened(larder, place="Cupboard", what="dryer_stopped", **given)
    assert decisions(shown)[stocked["hanging"]] == expected
    if expected[1] == "hanging_cool":  # nothing published is about it, and that is said
        assert next(o for o in shown.touched if o.code == stocked["hanging"]).answer.value == "cannot_tell"


def test_the_chambers_own_readings_speak_for_it(larder: Larder, stocked: dict[str, str]) -> None:
    larder.do("describe_chamber", name="Cupboard", temperature="12 C", humidity="75 %", air_speed="0.1 m/s")
    for day, temp in ((70, "13 C"), (80, "18 C")):
        rows = [
            {"at": (on(day) + timedelta(minutes=30 * i)).isoformat(), "temperature": temp, "humidity": "80 %"}
            for i in range(21)
        ]
        larder.do("read_air", day + 1, key="cupboard", rows=rows)
    for day, expected in ((70, ("keep", "hanging_cool")), (80, ("throw_out", "hanging_warm"))):
        shown = happened(larder, day=day, place="cupboard", what="dryer_stopped")
        assert decisions(shown)[stocked["hanging"]] == expected


def test_a_dry_piece_hangs_on(larder: Larder, stocked: dict[str, str]) -> None:
    larder.do("record_measurement", 69, code=stocked["hanging"], water_activity="0.82", aw_error="0.01",
              part="wettest_thickest")  # fmt: skip
    shown = happened(larder, place="cupboard", what="chamber_warm", warmest="28 C")
    assert decisions(shown)[stocked["hanging"]] == ("keep", "dry")


def test_what_is_said_to_have_been_there_or_not_counts(larder: Larder, stocked: dict[str, str]) -> None:
    shown = happened(larder, warmest="9 C", also=[stocked["open"]], apart=[stocked["in_salt"]])
    found = decisions(shown)
    assert stocked["open"] in found and stocked["in_salt"] not in found
    assert not any(one.perhaps for one in shown.touched)


def test_a_storage_that_was_warm_fails_a_chilled_pack(larder: Larder, stocked: dict[str, str]) -> None:
    code = stocked["sealed"]
    larder.do("record_measurement", 69, code=code, storage_temperature="3 C", temperature_error="0.5 K")
    asked = {"kept": "chilled", "packing": "vacuum"}
    assert larder.card(code, 69, **asked)["sealed:uk_chilled"] != "does_not_meet"
    happened(larder, warmest="9 C", error="0.5 K")
    found = larder.card(code, 73, **asked)
    assert found["sealed:rop_chilled"] == "does_not_meet"  # 41 F
    assert found["sealed:uk_chilled"] == "does_not_meet"  # 8 C


def test_closing_throws_out_what_was_decided_and_asks_before_keeping_more(
    larder: Larder, stocked: dict[str, str]
) -> None:
    shown = happened(larder, warmest="9 C", apart=[stocked["in_salt"]])
    with pytest.raises(Refused) as refused:
        larder.do("close_incident", 73, incident=shown.code, decisions={stocked["cooked"]: "keep"})
    assert codes(refused) == {"kept_against_advice": "decisions"}
    given: dict[str, Any] = {"incident": shown.code, "request_id": "close-1"}
    did = larder.do("close_incident", 73, **given)
    assert larder.do("close_incident", 73, **given).events == did.events
    after = larder.do("incident", 74, incident=shown.code)
    assert after.closed and after.decisions[stocked["cooked"]] == "throw_out"
    assert larder.card(stocked["cooked"], 74)["shown"].state == "thrown_out"
    assert larder.do("piece", 74, code=stocked["resting"]).ended == "discarded"
    assert larder.card(stocked["dry"], 74)["shown"].state == "whole"
    assert {o.code for o in after.touched if o.gone} >= {stocked["cooked"], stocked["resting"]}
    with pytest.raises(Refused) as refused:
        larder.do("close_incident", 75, incident=shown.code)
    assert codes(refused) == {"incident_closed_already": "incident"}


def test_closing_ends_nothing_that_was_only_perhaps_there(larder: Larder, stocked: dict[str, str]) -> None:
    shown = happened(larder, warmest="9 C")
    larder.do("close_incident", 73, incident=shown.code)
    assert larder.do("piece", 73, code=stocked["in_salt"]).ended is None
    other = happened(larder, day=74, warmest="9 C")
    larder.do("close_incident", 77, incident=other.code, decisions={stocked["in_salt"]: "throw_out"})
    assert larder.do("piece", 77, code=stocked["in_salt"]).ended == "discarded"


def test_an_incident_is_reported_once_told_anew_and_taken_back(
    larder: Larder, stocked: dict[str, str]
) -> None:
    told = {
        "place": "fridge",
        "what": "fridge_warm",
        "since": on(70).isoformat(),
        "until": on(70.4).isoformat(),
    }
    first = larder.do("report_incident", 71, **told, warmest="9 C", request_id="i-1")
    assert larder.do("report_incident", 71, **told, warmest="9 C", request_id="i-1").code == first.code
    larder.do("report_incident", 71, **told, warmest="3 C", error="0.5 K", instead_of=first.events[0])
    shown = larder.do("incident", 71, incident=first.code)
    assert shown.warmest_c == 3.0
    assert decisions(shown)[stocked["cooked"]] == ("keep", "two_hours")
    assert len(larder.do("incidents", 71).incidents) == 1
    with pytest.raises(Conflict):
        larder.do("report_incident", 71, **told, instead_of=first.events[0], seen_version=first.version)
    larder.do("correct", 72, event_id=first.events[0], what="withdraw")
    with pytest.raises(NotFound):
        larder.do("incident", 72, incident=first.code)


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"until": on(69).isoformat()}, "ends_before_begin"),
        ({"since": on(99).isoformat(), "until": None}, "in_the_future"),
        ({"until": on(99).isoformat()}, "in_the_future"),
        ({"warmest": "9"}, "unit_missing"),
        ({"warmest": "48 C"}, "implausible"),  # 48 F read as C
        ({"warmest": "90 C"}, "impossible"),
        ({"place": ""}, "empty"),
        ({"what": "flood"}, "not_one_of"),
        ({"since": "2026-05-11T09:00:00"}, "not_usable"),
        ({"readings": readings(70, [(0, 3), (60, 9)])[::-1]}, "log_time_backwards"),
    ],
)
def test_what_cannot_have_been_is_refused(larder: Larder, change: dict[str, Any], code: str) -> None:
    with pytest.raises(Refused) as refused:
        happened(larder, **change)
    assert code in codes(refused)
    assert larder.do("incidents", 80).incidents == ()


def test_a_piece_taken_down_and_put_nowhere_is_asked_about(larder: Larder) -> None:
    from saltfare.core.fields import Measured
    from saltfare.journal.events_piece import STREAM, TakenDown

    code = larder.piece("pork_loin")
    larder.hang(code)
    larder.put(STREAM + code, TakenDown(mass=Measured.si(1.2)), 60)
    shown = happened(larder, warmest="9 C")
    assert [(o.code, o.perhaps) for o in shown.touched] == [(code, True)]
