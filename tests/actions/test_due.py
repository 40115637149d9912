"""What a piece asks for next, along every way of salting and through its rests."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from households import BEGAN, PLAN, House


def asked(house: House, day: float, code: str) -> dict[str, tuple[str, int]]:
    """The steps a piece asks for within the week: act and day from the start."""
    shown = house.do("piece", day, code=code)
    return {n.step: (n.act, (n.on - BEGAN.date()).days) for n in shown.next}


def test_two_applications_are_drained_and_rubbed_again_and_all_moves_on_with_them(house: House) -> None:
    code = house.started(applications=2)
    plan = house.do("plan_piece", **PLAN, applications=2)
    on = {step.code: (step.on - BEGAN.date()).days for step in plan.steps if step.on}
    assert asked(house, 0, code)["salt"] == ("salt_piece", 0)
    house.do("salt_piece", code=code, salt="21.5 g", mix="1.9 g")
    before = asked(house, on["drain_wash"] - 1, code)
    assert before["drain_wash"] == ("drain_piece", on["drain_wash"]) and "wash_dress" not in before
    late = on["drain_wash"] + 2
    house.do("drain_piece", late, code=code, liquid="44 g")
    # drained, nothing else is asked for but the second half, now
    assert asked(house, late, code) == {"weigh_out_second": ("salt_piece", late)}
    house.do("salt_piece", late, code=code, salt="21.5 g", mix="1.9 g", at=BEGAN + timedelta(days=late))
    out = on["wash_dress"] + 2
    after = asked(house, out - 1, code)
    assert after["turn"][1] == out - 1 and after["wash_dress"] == ("wash_piece", out)


def test_a_needle_comes_before_the_rub(house: House) -> None:
    brine = {"mass": "600 g", "uptake": "8 %", "strength": "20 %"}
    code = house.started(method="pumped_rubbed", brine=brine)
    assert list(asked(house, 0, code)) == ["pump", "rub"]
    house.do("inject_piece", code=code, brine="130 g", salt="20 %")
    assert house.do("piece", code=code).state == "in salt"
    assert asked(house, 0, code)["rub"] == ("salt_piece", 0)
    house.do("salt_piece", 0.1, code=code, salt="18 g")
    assert "rub" not in asked(house, 1, code) and asked(house, 1, code)["turn"][0] == "turn_piece"


def test_a_brine_and_a_box_are_asked_for_by_their_own_steps(house: House) -> None:
    even = house.started(method="brine_equilibrium", brine={"mass": "2.4 kg"})
    box = house.started(method="excess_salt", mix=None, chamber_temperature="4 C")
    assert asked(house, 0, even) == {"immerse": ("salt_piece", 0)}
    assert asked(house, 0, box) == {"bury": ("salt_piece", 0)}


def test_freezing_is_asked_for_until_it_is_recorded_and_all_moves_on_with_it(house: House) -> None:
    code = house.started(parasite_step="freeze", freezing={"temperature": "-21 C"}, origin="farm")
    assert asked(house, 0, code)["freeze"] == ("record_parasite_step", 0)
    plan = house.journal.events(f"piece/{code}")[0].body.plan  # type: ignore[attr-defined]
    freeze: Any = next(step for step in plan.steps if step.code == "freeze")
    thaw: Any = next(step for step in plan.steps if step.code == "thaw")
    assert isinstance(thaw.on, date)
    end, days = ((day - BEGAN.date()).days for day in (freeze.until, thaw.on))
    assert asked(house, 5, code)["freeze"] == ("record_parasite_step", 5)
    late = end + 3
    assert [d.step for d in house.do("bench", late).late if d.step == "freeze"] == ["freeze"]
    record = {"code": code, "frozen": True, "begun": BEGAN, "warmest": "-21 C", "thickness": "80 mm"}
    house.do("record_parasite_step", end, **record)  # still in the freezer: it stays asked for
    assert "freeze" in asked(house, end, code)
    house.do("record_parasite_step", late, **record, ended=BEGAN + timedelta(days=late))
    after = asked(house, late, code)
    assert "freeze" not in after and after["thaw"] == ("", max(days + 3, late))
    salted = asked(house, (thaw.until - BEGAN.date()).days + 4, code)
    assert set(salted) == {"salt"}


def test_the_mass_told_at_the_hook_is_of_what_is_left_of_the_piece(house: House) -> None:
    code = house.hung("1.5 kg", target_loss="25 %")  # planned for another hanging weight
    target = house.do("piece", 21, code=code).target_kg
    assert target == pytest.approx(0.75 * 1.5, rel=1e-6)

    def told(day: float) -> list[float]:
        steps = house.do("piece", day, code=code).next
        return [a.value for n in steps for a in n.amounts if a.quantity == "target_mass"]

    assert told(22) == [target]
    house.do("taste_piece", 40, code=code, before="1.2 kg", after="1.08 kg")
    shown = house.do("piece", 40, code=code)
    assert shown.target_kg == pytest.approx(0.9 * target) and told(40) == [shown.target_kg]
    line = next(x for x in shown.target if x.quantity == "target_mass")
    assert line.figure.value == pytest.approx(shown.target_kg, rel=1e-6)
    assert shown.last_kg == 1.08
    house.do("weigh_in", 60, code=code, mass="1.0 kg")
    assert told(60) == [shown.target_kg]
    house.do("take_down", 61, code=code, mass="0.998 kg")
    assert house.do("piece", 61, code=code).last_kg == 0.998


def test_rests_end_when_planned_and_a_sealed_one_after_two_weeks(house: House) -> None:
    code = house.started(rest_days="6 d")
    house.do("salt_piece", code=code, salt="42 g", mix="3.9 g")
    house.do("wash_piece", 20, code=code)
    assert asked(house, 20, code) == {"rest": ("rest_piece", 20), "hang": ("hang_piece", 26)}
    house.do("rest_piece", 20, code=code, place="fridge", temperature="3 C", sealed=False)
    assert asked(house, 21, code) == {"hang": ("hang_piece", 26)}
    house.do("hang_piece", 26, code=code, mass="1.5 kg")
    assert house.do("piece", 26, code=code).state == "hanging"
    house.do("rest_piece", 30, code=code, place="fridge", temperature="3 C", sealed=True)
    assert asked(house, 40, code) == {"end_rest": ("end_rest", 44)}
    assert [d.step for d in house.do("bench", 45).late] == ["end_rest"]
