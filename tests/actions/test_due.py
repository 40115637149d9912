"""What a piece asks for next, along every way of salting and through its rests."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

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


def test_freezing_and_thawing_come_first_and_ask_for_no_record(house: House) -> None:
    code = house.started(parasite_step="freeze", freezing={"temperature": "-21 C"}, origin="farm")
    first = asked(house, 0, code)
    assert first["freeze"] == ("", 0)
    plan = house.journal.events(f"piece/{code}")[0].body.plan  # type: ignore[attr-defined]
    thaw: Any = next(step for step in plan.steps if step.code == "thaw")
    assert isinstance(thaw.on, date)
    days = (thaw.on - BEGAN.date()).days
    assert asked(house, days, code)["thaw"] == ("", days)
    salted = asked(house, (thaw.until - BEGAN.date()).days + 1, code)
    assert set(salted) == {"salt"}


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
