"""A piece from plan to taking down, through the actions."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from households import BEGAN, PLAN, House

from saltfare.actions import piece_stages
from saltfare.core.errors import Conflict, NotFound, Refused
from saltfare.core.figure import Answer


def codes(error: pytest.ExceptionInfo[Refused]) -> dict[str, str]:
    return {p.code: p.field for p in error.value.problems}


def test_a_piece_goes_through_its_states(house: House) -> None:
    code = house.started()
    assert house.do("piece", code=code).state == "planned"
    house.do("salt_piece", code=code, salt="42 g", mix="3.9 g")
    assert house.do("piece", code=code).state == "in salt"
    house.do("turn_piece", 1, code=code)
    house.do("wash_piece", 20, code=code)
    assert house.do("piece", 20, code=code).state == "resting"
    house.do("hang_piece", 21, code=code, mass="1.55 kg")
    house.do("weigh_in", 23, code=code, mass="1.49 kg")
    shown = house.do("piece", 24, code=code)
    assert shown.state == "hanging"
    assert shown.loss_from_hanging.value == pytest.approx(0.06 / 1.55)
    assert shown.loss_from_green.value == pytest.approx(0.13 / 1.62)
    house.do("weigh_in", 90, code=code, mass="0.95 kg", reasons={"mass": "nobody weighed for weeks"})
    assert house.do("piece", 90, code=code).state == "at its mass"
    house.do("take_down", 90, code=code, mass="0.95 kg")
    assert house.do("piece", 91, code=code).state == "taken down"


def test_the_forecast_narrows_and_stays_in_order(house: House) -> None:
    code = house.hung(target_loss="25 %")
    widths = []
    for day, mass in ((23, "1.49 kg"), (30, "1.36 kg"), (42, "1.22 kg")):
        house.do("weigh_in", day, code=code, mass=mass)
        ready = house.do("piece", day, code=code).forecast.ready
        assert ready.early <= ready.likely <= ready.late
        widths.append(ready.late - ready.early)
    assert widths[0] > widths[1] > widths[2]


def test_same_input_same_answer(house: House) -> None:
    code = house.hung()
    house.do("weigh_in", 25, code=code, mass="1.45 kg")
    first = house.do("piece", 26, code=code).forecast
    assert house.do("piece", 26, code=code).forecast == first


def test_the_target_follows_the_mass_weighed_at_hanging(house: House) -> None:
    code = house.started()
    house.do("salt_piece", code=code, salt="42 g", mix="3.9 g")
    hung = house.do("hang_piece", 21, code=code, mass="1.50 kg")
    shown = house.do("piece", 21, code=code)
    assert hung.target_mass_kg == pytest.approx(1.50 * (1 - shown.target_loss_frac), abs=1e-3)
    assert shown.target_kg == hung.target_mass_kg


def test_every_figure_of_a_piece_leads_to_a_trace_with_a_source(house: House) -> None:
    code = house.hung()
    house.do("weigh_in", 25, code=code, mass="1.45 kg")
    shown = house.do("piece", 26, code=code)
    figures = [line.figure for line in (*shown.target, *shown.hanging)]
    figures += [shown.loss_from_green, shown.loss_from_hanging, shown.forecast.diffusivity]
    assert len(figures) > 8
    for figure in figures:
        assert shown.traces[figure.trace].cites


def test_a_computed_claim_never_meets(house: House, plan: Any) -> None:
    for changes in ({}, {"target_loss": "45 %"}, {"purpose": "carried"}, {"salt_share": "5 %"}):
        try:
            shown = house.do("plan_piece", **plan(**changes))
        except Refused:
            continue
        assert shown.claims
        assert all(claim.answer is not Answer.MEETS for claim in shown.claims)


def test_a_late_weigh_in_is_normal(house: House) -> None:
    code = house.hung()
    house.do("weigh_in", 30, code=code, mass="1.36 kg")
    at = (BEGAN + timedelta(days=25)).isoformat()
    house.do("weigh_in", 31, code=code, mass="1.44 kg", at=at)
    shown = house.do("piece", 31, code=code)
    assert [w.typed for w in shown.weigh_ins] == ["1.36 kg", "1.44 kg"]
    assert shown.last_kg == 1.36


def test_each_forecast_is_kept_as_issued(house: House) -> None:
    code = house.hung()
    house.do("weigh_in", 25, code=code, mass="1.45 kg")
    shown = house.do("piece", 25, code=code)
    assert len(shown.issued) == 2
    assert shown.issued[0].likely == shown.forecast.ready.likely


@pytest.mark.parametrize(
    ("given", "code", "field"),
    [
        ({"green_weight": "1620"}, "unit_missing", "green_weight"),
        ({"green_weight": "nan kg"}, "number_unreadable", "green_weight"),
        ({"green_weight": float("nan")}, "not_a_quantity", "green_weight"),
        ({"green_weight": "1,620 g"}, "comma_ambiguous", "green_weight"),
        ({"green_weight": "1.62 m"}, "unit_wrong_kind", "green_weight"),
        ({"green_weight": "0 g"}, "impossible", "green_weight"),
        ({"green_weight": "9 kg"}, "heavier_than_its_shape", "green_weight"),
        ({"mix": {"name": "jar"}}, "missing", "mix.nitrite"),
        ({"salting_temperature": "4"}, "unit_missing", "salting_temperature"),
        ({"cut": "unicorn"}, "not_one_of", "cut"),
        ({"purpose": "sale"}, "not_one_of", "purpose"),
        ({"target_loss": "75 %"}, "target_beyond_ceiling", "target_loss"),
        ({"mix": None}, "no_cure_mix_warm", "mix"),
        ({"salt_share": "2 %"}, "salt_below_floor", "salt_share"),
        ({"nitrite_aim": "620 ppm", "cut": "pork_belly_mid"}, "nitrite_over_limit", "nitrite_aim"),
        ({"chamber_humidity": None}, "missing", "chamber_humidity"),
        ({"chamber": "no-such"}, "chamber_unknown", "chamber"),
        ({"surprise": 1}, "unknown_field", "surprise"),
    ],
)
def test_a_plan_that_cannot_stand_is_refused(
    house: House, plan: Any, given: dict[str, Any], code: str, field: str
) -> None:
    with pytest.raises(Refused) as refused:
        house.do("plan_piece", **plan(**given))
    assert codes(refused).get(code) == field


@pytest.mark.parametrize("name", ["", "   ", "\n\n", "\u200b", "\x00", "\u202e\u2066", "x" * 81])
def test_a_name_that_cannot_be_seen_or_printed_is_refused(house: House, name: str) -> None:
    with pytest.raises(Refused) as refused:
        house.started(name=name)
    assert set(codes(refused)) <= {"empty", "too_long"} and "name" in codes(refused).values()


def test_a_name_is_one_line_and_turns_nothing_beyond_itself(house: House) -> None:
    for given, kept in {
        "  Loin \n from\tthe left ": "Loin from the left",
        "x\x00y": "xy",
        "\u202eniol": "niol",
        "\u05d0\u05d1": "\u05d0\u05d1",
        "\U0001f9d1\u200d\U0001f33e": "\U0001f9d1\u200d\U0001f33e",
        "<b>&": "<b>&",
    }.items():
        assert house.do("piece", code=house.started(name=given)).name == kept


def test_a_wrong_year_at_hanging_is_refused_or_costs_nothing(house: House) -> None:
    code = house.started()
    house.do("salt_piece", code=code, salt="42 g", mix="3.9 g")
    with pytest.raises(Refused) as refused:
        house.do("hang_piece", 21, code=code, mass="1.55 kg", at="1900-01-01T00:00:00Z")
    assert codes(refused) == {"before_salting": "at"}
    # salted a lifetime ago too: it is kept as told, without a forecast of a hundred years
    old = house.started()
    house.do("salt_piece", code=old, salt="42 g", mix="3.9 g", at="1900-01-01T00:00:00Z")
    house.do("hang_piece", 21, code=old, mass="1.55 kg", at="1900-02-01T00:00:00Z")
    shown = house.do("piece", 22, code=old)
    assert shown.forecast is None
    assert [n.params["reason"] for n in shown.notes if n.code == "no_forecast"] == ["hung_too_long"]
    assert house.do("bench", 22).pieces == 2


@pytest.mark.parametrize("reason_for", ["no_cure_mix_warm"])
def test_a_doubt_stands_with_a_written_reason(house: House, plan: Any, reason_for: str) -> None:
    shown = house.do("plan_piece", **plan(mix=None, reasons={reason_for: "salted as my grandmother did"}))
    assert [kept.code for kept in shown.kept] == [reason_for]


def test_an_unusual_value_needs_a_reason_to_be_kept(house: House) -> None:
    with pytest.raises(Refused) as refused:
        house.started(salt_share="7 %")
    assert codes(refused) == {"implausible": "salt_share"}
    code = house.started(salt_share="7 %", reasons={"salt_share": "to be soaked again"})
    assert house.do("piece", code=code).log[0].reasons == {"salt_share": "to be soaked again"}


@pytest.mark.parametrize(
    ("day", "given", "code"),
    [
        (25, {"mass": "1.60 kg"}, "heavier_than_last"),
        (25, {"mass": "0.70 kg"}, "much_lighter_than_last"),
        (25, {"mass": "0.30 kg"}, "lighter_than_dry"),
        (25, {"mass": "1.4 kg", "tare": "1.4 kg"}, "implausible"),
        (25, {"mass": "100 g", "tare": "150 g"}, "tare_too_heavy"),
        (25, {"mass": "1.4 kg", "at": (BEGAN + timedelta(days=20)).isoformat()}, "before_hanging"),
        (25, {"mass": "1.4 kg", "at": (BEGAN + timedelta(days=40)).isoformat()}, "in_the_future"),
        (25, {"mass": "1.4 kg", "at": "2026-03-20T10:00:00"}, "not_usable"),
        (25, {"mass": "-1.4 kg"}, "impossible"),
        (25, {}, "missing"),
    ],
)
def test_a_weigh_in_that_cannot_be_is_refused_and_nothing_is_lost(
    house: House, day: float, given: dict[str, Any], code: str
) -> None:
    piece = house.hung()
    head = house.journal.head()
    with pytest.raises(Refused) as refused:
        house.do("weigh_in", day, code=piece, **given)
    assert code in codes(refused)
    assert house.journal.head() == head


def test_an_odd_weigh_in_is_kept_with_a_reason(house: House) -> None:
    code = house.hung()
    house.do("weigh_in", 23, code=code, mass="1.49 kg")
    house.do("weigh_in", 25, code=code, mass="1.60 kg", reasons={"mass": "soaked by a leak"})
    assert house.do("piece", 25, code=code).log[0].reasons == {"mass": "soaked by a leak"}


def test_cure_mix_by_the_spoon_is_refused_with_its_reason(house: House) -> None:
    code = house.started()
    with pytest.raises(Refused) as refused:
        house.do("salt_piece", code=code, salt="42 g", mix="1 tsp")
    assert codes(refused) == {"cure_by_volume": "mix"}


def test_a_second_full_dose_of_cure_mix_is_questioned(house: House) -> None:
    code = house.started()
    house.do("salt_piece", code=code, salt="42 g", mix="3.9 g")
    with pytest.raises(Refused) as refused:
        house.do("salt_piece", 1, code=code, mix="3.9 g")
    assert "more_cure_than_planned" in codes(refused)


def test_what_is_done_out_of_turn_is_refused(house: House) -> None:
    code = house.started()
    with pytest.raises(Refused) as refused:
        house.do("weigh_in", 1, code=code, mass="1.5 kg")
    assert "not_at_this_stage" in codes(refused)


def test_the_same_request_twice_is_done_once(house: House) -> None:
    code = house.hung()
    first = house.do("weigh_in", 25, code=code, mass="1.45 kg", request_id="tap-1")
    head = house.journal.head()
    again = house.do("weigh_in", 25, code=code, mass="1.45 kg", request_id="tap-1")
    assert again.already
    assert again.events[0] == first.events[0]
    assert house.journal.head() == head
    started = house.do("start_piece", **PLAN, name="Second", request_id="tap-2")
    assert house.do("start_piece", **PLAN, name="Second", request_id="tap-2").code == started.code


def test_a_tap_whose_twin_is_recorded_meanwhile_is_answered_as_done(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    code = house.started()
    house.do("salt_piece", code=code, salt="42 g", mix="3.9 g")
    given = {"code": code, "mass": "1.55 kg", "request_id": "tap"}
    first = house.do("hang_piece", 21, **given)
    head, looks = house.journal.head(), [False]
    real = piece_stages.repeated
    # the look before the twin was recorded saw nothing of it
    monkeypatch.setattr(piece_stages, "repeated", lambda *args: looks.pop() if looks else real(*args))
    again = house.do("hang_piece", 21, **given)
    assert not looks and again.already and again.events[0] == first.events[0]
    assert house.journal.head() == head
    # a dose sent twice is no double dose
    code = house.started()
    given = {"code": code, "salt": "42 g", "mix": "3.9 g", "request_id": "rub"}
    first = house.do("salt_piece", **given)
    head = house.journal.head()
    assert house.do("salt_piece", **given).events == first.events and house.journal.head() == head
    with pytest.raises(Refused):
        house.do("salt_piece", **{**given, "request_id": "rub again"})
    # another act under the same request is no twin
    with pytest.raises(Refused):
        house.do("salt_piece", 21, code=code, salt="42 g", request_id="tap")


def test_a_stream_that_moved_on_is_not_written_over(house: House) -> None:
    code = house.hung()
    seen = house.do("piece", 22, code=code).version
    house.do("note", 22, code=code, text="smells sweet")
    with pytest.raises(Conflict):
        house.do("weigh_in", 25, code=code, mass="1.45 kg", seen_version=seen)


def test_codes_are_read_in_any_case_and_checked(house: House) -> None:
    code = house.started()
    assert house.do("piece", code=code.lower()).code == code
    with pytest.raises(Refused) as refused:
        house.do("piece", code="1111112")
    assert codes(refused) == {"code_check": "code"}
    with pytest.raises(NotFound):
        house.do("piece", code="0000000")


def test_a_correction_counts_and_the_first_record_stays(house: House) -> None:
    code = house.hung()
    wrong = house.do("weigh_in", 25, code=code, mass="1.54 kg").events[0]
    house.do("correct", 25, event_id=wrong, what="replace", mass="1.45 kg", why="read wrongly")
    shown = house.do("piece", 25, code=code)
    assert shown.last_kg == 1.45
    assert shown.log[0].corrected
    assert house.journal.event(wrong).body.mass.value == 1.54  # type: ignore[attr-defined]
    house.do("correct", 25, event_id=wrong, what="withdraw")
    assert house.do("piece", 25, code=code).weigh_ins == ()


def test_the_bench_says_what_is_due(house: House) -> None:
    code = house.started()
    assert [d.step for d in house.do("bench").due] == ["salt"]
    house.do("salt_piece", code=code, salt="42 g", mix="3.9 g")
    after = house.do("bench", 1)
    assert [d.step for d in after.due] == ["turn"]
    house.do("turn_piece", 1)
    assert house.do("bench", 1).due == ()
    missed = house.do("bench", 6)
    assert [d.step for d in (*missed.late, *missed.due)] == ["turn"]
    assert missed.late == ()
    wash = [d for d in house.do("bench", 20).late + house.do("bench", 20).coming if d.step == "wash_dress"]
    assert wash
    house.do("hang_piece", 24, code=code, mass="1.55 kg")
    weigh = house.do("bench", 24).coming
    assert [d.step for d in weigh] == ["weigh_in"]
    assert weigh[0].on == date(2026, 3, 28)


def test_air_that_was_read_moves_the_forecast(house: House) -> None:
    house.do("describe_chamber", name="Larder", temperature="13 C", humidity="75 %", air_speed="0.1 m/s")
    code = house.started(chamber="larder", chamber_temperature=None, chamber_humidity=None)
    house.do("salt_piece", code=code, salt="42 g", mix="3.9 g")
    house.do("hang_piece", 21, code=code, mass="1.55 kg")
    before = house.do("piece", 30, code=code).forecast
    rows = [
        {
            "at": (BEGAN + timedelta(days=21, hours=6 * i)).isoformat(),
            "temperature": "13 C",
            "humidity": "85 %",
        }
        for i in range(36)
    ]
    read = house.do("read_air", 30, key="larder", rows=rows)
    assert (read.new, read.known) == (36, 0)
    assert house.do("read_air", 30, key="larder", rows=rows).known == 36
    after = house.do("piece", 30, code=code).forecast
    assert after.ready.likely > before.ready.likely
    assert after.air_basis == "recent_readings"
