"""The way through warm days, the forecast of warming, and the running picture of a log.

USDA: two hours out of the cold, one above 90 F. Food Code 3-502.12: 41 F and 30 days. Heisler: the series
solution of conduction as tabled by Incropera.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

import pytest
from judged_household import COOKED, Larder, on, readings

from saltfare.core.errors import NotFound, Refused
from saltfare.models.heating import core_excess_series

HOT = [{"least": "14 C", "most": "30 C"}] * 3
COLD = [{"least": "-4 C", "most": "3 C"}] * 2


def trail(larder: Larder, days: list[dict[str, str]], **given: Any) -> Any:
    return larder.do("trail_exposure", 70, departure="2026-09-18", days=days, **given)


def clocks(shown: Any, code: str) -> dict[str, Any]:
    one = next(c for c in shown.carried if c.code == code)
    return {c.criterion: c for c in one.clocks}


@pytest.fixture
def lots(larder: Larder) -> dict[str, str]:
    out = {
        "wet": larder.lot(sealed="air", place="larder"),
        "dry": larder.lot(sealed="air", place="larder"),
        "sealed": larder.lot(sealed="no_oxygen", place="fridge"),
    }
    for name, code in out.items():
        larder.do("record_origin", 60, code=code, species="beef")
        aw = "0.80" if name == "dry" else "0.93"
        larder.do("record_measurement", 61, code=code, water_activity=aw, aw_error="0.01",
                  part="wettest_thickest")  # fmt: skip
    return out


def test_two_hours_run_out_on_the_first_warm_morning(larder: Larder, lots: dict[str, str]) -> None:
    shown = trail(larder, HOT)
    found = clocks(shown, lots["wet"])["carried_two_hours"]
    assert (found.day, found.on) == (1, date(2026, 9, 18))
    assert found.at - datetime(2026, 9, 18, tzinfo=found.at.tzinfo) == timedelta(hours=2)
    wet = next(c for c in shown.carried if c.code == lots["wet"])
    assert wet.answer.value == "does_not_meet"
    assert wet.failing == ("carried_dry",)
    dry = next(c for c in shown.carried if c.code == lots["dry"])
    assert dry.answer.value == "meets" and dry.lasting == ("carried_dry",)


def test_cold_days_first(larder: Larder, lots: dict[str, str]) -> None:
    shown = trail(larder, [*COLD, *HOT])
    found = clocks(shown, lots["wet"])["carried_two_hours"]
    assert (found.day, found.on) == (2, date(2026, 9, 19)) or found.on == date(2026, 9, 20)
    # a prediction that never runs out is no answer that it is met
    only = trail(larder, COLD)
    assert clocks(only, lots["wet"])["carried_two_hours"].day is None
    assert next(c for c in only.carried if c.code == lots["wet"]).answer.value == "cannot_tell"


def test_the_clocks_of_a_sealed_pack(larder: Larder, lots: dict[str, str]) -> None:
    found = clocks(trail(larder, [*COLD, *HOT]), lots["sealed"])
    for criterion, limit_c in (("rop_chilled", 5.0), ("uk_chilled", 8.0), ("frozen_botulinum", 3.3)):
        assert found[criterion].on in (date(2026, 9, 19), date(2026, 9, 20)), (criterion, limit_c)
    assert found["frozen_botulinum"].at <= found["rop_chilled"].at <= found["uk_chilled"].at
    assert "rop_chilled" not in clocks(trail(larder, HOT), lots["wet"])


def test_food_made_wet_again_starts_the_clock(larder: Larder, lots: dict[str, str]) -> None:
    mild = trail(larder, HOT)
    assert (mild.rehydrated_cold_s, mild.rehydrated_warm_s) == (7200.0, 7200.0)
    hot = trail(larder, [{"least": "20 C", "most": "35 C"}])
    assert (hot.rehydrated_cold_s, hot.rehydrated_warm_s) == (7200.0, 3600.0)


def test_without_codes_whatever_is_in_store_is_carried(larder: Larder, lots: dict[str, str]) -> None:
    hanging = larder.piece("pork_loin")
    larder.hang(hanging)
    assert {c.code for c in trail(larder, HOT).carried} == set(lots.values())
    assert [c.code for c in trail(larder, HOT, codes=[hanging.lower()]).carried] == [hanging]
    larder.do("act_on_verdict", 65, code=lots["wet"], question="carried", done="eaten")
    assert lots["wet"] not in {c.code for c in trail(larder, HOT).carried}


@pytest.mark.parametrize(
    ("days", "more", "code"),
    [
        ([{"least": "20 C", "most": "10 C"}], {}, "day_upside_down"),
        ([], {}, "too_few"),
        ([{"least": "20", "most": "30 C"}], {}, "unit_missing"),
        ([{"least": "20 C", "most": "86 C"}], {}, "impossible"),
        (HOT, {"coldest_at": "14:00"}, "coldest_after_noon"),
        (HOT, {"departure": "soon"}, "not_usable"),
    ],
)
def test_a_way_that_cannot_be(larder: Larder, days: Any, more: dict[str, Any], code: str) -> None:
    with pytest.raises(Refused) as refused:
        larder.do("trail_exposure", 70, **{"departure": "2026-09-18", "days": days, **more})
    assert code in {p.code for p in refused.value.problems}


# warming

BATH: dict[str, Any] = {
    "medium": "water_bath",
    "around": "70 C",
    "around_error": "0.5 K",
    "start": "5 C",
    "target": "65 C",
}


def test_between_which_two_times_the_middle_gets_there(larder: Larder) -> None:
    code = larder.piece("pork_loin")
    shown = larder.do("heat_plan", 5, code=code, starts_at=on(5).isoformat(), **BATH)
    assert on(5) < shown.earliest < shown.likeliest < shown.latest < on(6)
    assert shown.narrower[0].width_s is None or shown.narrower[0].width_s > 0
    widths = [n.width_s for n in shown.narrower if n.width_s is not None]
    assert widths == sorted(widths, reverse=True)
    assert "no_countdown" in {n.code for n in shown.notes}
    assert shown.traces[shown.trace].cites
    sure = larder.do(
        "heat_plan", 5, code=code, starts_at=on(5).isoformat(), **{**BATH, "around_error": "0.1 K"}
    )
    assert sure.latest - sure.earliest < shown.latest - shown.earliest
    never = larder.do("heat_plan", 5, code=code, **{**BATH, "around": "64 C"})
    assert never.likeliest is None and never.latest is None


def test_the_forecast_agrees_with_the_series_solution(larder: Larder) -> None:
    """Cylinder of 80 mm, k/(rho c) between 1.2e-7 and 1.5e-7 for meat between 5 and 70 C."""
    code = larder.piece("pork_loin")
    shown = larder.do("heat_plan", 5, code=code, starts_at=on(5).isoformat(), **BATH)
    found = (shown.likeliest - on(5)).total_seconds()

    def excess(diffusivity: float, k: float) -> float:
        return core_excess_series(
            shape="cylinder", biot=200 * 0.04 / k, fourier=diffusivity * found / 0.04**2, terms=20
        )

    asked = (70 - 65) / (70 - 5)
    assert excess(1.5e-7, 0.52) < asked < excess(1.2e-7, 0.48)


def test_cooling_is_asked_alike(larder: Larder) -> None:
    code = larder.piece("pork_loin")
    given = {
        "medium": "ice_water",
        "around": "1 C",
        "around_error": "1 K",
        "start": "70 C",
        "target": "4.4 C",
    }
    shown = larder.do("heat_plan", 5, code=code, starts_at=on(5).isoformat(), **given)
    assert on(5) < shown.earliest < shown.likeliest


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"around": "70"}, "unit_missing"),
        ({"around": "160 C"}, "impossible"),  # F typed as C
        ({"around_error": None}, "not_a_quantity"),
        ({"medium": "sun"}, "not_one_of"),
        ({"target": "165 C"}, "impossible"),
    ],
)
def test_a_warming_that_cannot_be(larder: Larder, change: dict[str, Any], code: str) -> None:
    piece = larder.piece("pork_loin")
    with pytest.raises(Refused) as refused:
        larder.do("heat_plan", 5, code=piece, **{**BATH, **change})
    assert code in {p.code for p in refused.value.problems}
    lot = larder.lot()
    with pytest.raises(Refused) as refused:
        larder.do("heat_plan", 61, code=lot, **BATH)
    assert refused.value.problems[0].code in ("missing", "made_of_unknown")


# the picture


def test_the_picture_runs_to_its_target_and_judges_nothing(larder: Larder) -> None:
    """FSIS 1999: 6.5 log at 60 C (140 F) in 12 minutes."""
    code = larder.piece("pork_loin", chamber=None)
    points = ((0, 4), (120, 60), (132, 60), (133, 59))
    log = readings(5, points, step_min=1)
    shown = larder.do("log_picture", 6, code=code, readings=log, error="0 K")
    assert shown.table == "meat" and shown.target == 6.5
    at = {round((p.at - on(5)).total_seconds() / 60): p for p in shown.points}
    held = at[132].salmonella - at[120].salmonella
    # the minutes are printed rounded up: more than eleven are asked, no more than twelve
    assert 6.5 <= held <= 6.5 * 12 / 11
    assert [p.salmonella for p in shown.points] == sorted(p.salmonella for p in shown.points)
    assert shown.reached_at is not None
    did = larder.do("record_log", 6, code=code, of="heating", readings=log, error="0.1 K", place="coldest")
    again = larder.do("log_picture", 6, code=code, event_id=did.events[0])
    assert again.points == larder.do("log_picture", 6, code=code, readings=log, error="0.1 K").points
    worse = larder.do("log_picture", 6, code=code, readings=log, error="1 K")
    assert worse.points[-1].salmonella < shown.points[-1].salmonella
    assert "picture_is_no_verdict" in {n.code for n in shown.notes}


def test_the_picture_of_poultry_and_of_what_nobody_named_is_by_its_own_rows(larder: Larder) -> None:
    turkey, lot = larder.piece("turkey_breast"), larder.lot(day=3)
    log = readings(5, ((0, 60.0), (35, 60.0)), step_min=1)
    for code in (turkey, lot):
        shown = larder.do("log_picture", 6, code=code, readings=log, error="0 K")
        assert (shown.table, shown.target) == ("poultry", 7.0)
        assert shown.points[-1].salmonella == pytest.approx(7.0)  # 35 minutes at 140 F
        assert shown.row_share == pytest.approx(1.0)


def test_a_gap_earns_nothing_in_the_picture(larder: Larder) -> None:
    code = larder.piece("pork_loin")
    log = readings(5, COOKED, step_min=5)
    holed = [r for i, r in enumerate(log) if not 120 <= 5 * i <= 175]
    shown = larder.do("log_picture", 6, code=code, readings=holed, error="0 K")
    assert not shown.trusted
    whole = larder.do("log_picture", 6, code=code, readings=log, error="0 K")
    assert shown.points[-1].salmonella < whole.points[-1].salmonella
    with pytest.raises(Refused):
        larder.do("log_picture", 6, code=code, readings=log[:1])
    with pytest.raises(NotFound):
        larder.do("log_picture", 6, code=code, event_id="nothing")
