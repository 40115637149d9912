"""Rub day: a piece like the last one has the dose its own plan would have, and starts whole or not at all."""

from __future__ import annotations

import pytest
from households import PLAN, House

from saltfare.core.errors import Refused


def codes(error: pytest.ExceptionInfo[Refused]) -> dict[str, str]:
    return {p.code: p.field for p in error.value.problems}


def doses(lines: object) -> dict[str, float]:
    return {line.quantity + line.name: line.figure.value for line in lines}  # type: ignore[attr-defined]


def test_without_a_piece_to_be_like_it_says_so(house: House) -> None:
    shown = house.do("rub_day", green_weight="1 kg")
    assert shown.like is None and shown.models == () and shown.weigh == () and shown.open == ("green_weight",)


def test_the_dose_is_that_of_the_plan_and_does_not_wait_for_the_tape(house: House) -> None:
    code = house.started(sugar_share="0.5 %", spices={"pepper": "0.4 %"})
    by_weight = house.do("rub_day", 10, green_weight="2.04 kg")
    assert by_weight.like.code == code and by_weight.open == ("thickness", "length")
    assert by_weight.plan is None  # no days before it is measured
    size = {"green_weight": "2.04 kg", "thickness": "82 mm", "length": "40 cm"}
    planned = house.do(
        "plan_piece", 10, **{**PLAN, **size, "sugar_share": "0.5 %", "spices": {"pepper": "0.4 %"}}
    )
    measured = house.do("rub_day", 10, **size)
    assert doses(by_weight.weigh) == doses(measured.weigh) == doses(planned.dose)
    assert doses(measured.plan.time) == doses(planned.time)
    assert measured.limits == planned.limits and measured.cautions


def test_it_is_like_the_last_of_its_cut_unless_another_is_named(house: House) -> None:
    first = house.do("start_piece", 1, **PLAN, name="first").code
    second = house.do("start_piece", 2, **{**PLAN, "salt_share": "3.1 %"}, name="second").code
    third = house.do("start_piece", 3, **{**PLAN, "cut": "beef_eye_round"}, name="third").code
    shown = house.do("rub_day", 4)
    assert [m.code for m in shown.models] == [third, second]
    assert house.do("rub_day", 4, cut="pork_loin").like.code == second
    again = house.do("rub_day", 4, like=first, green_weight="1.62 kg")
    assert again.as_last.salt_frac == pytest.approx(0.028)


def test_starting_and_salting_are_one(house: House) -> None:
    like = house.started()
    given = {
        "like": like,
        "name": "Second loin",
        "green_weight": "1.8 kg",
        "thickness": "80 mm",
        "length": "38 cm",
        "salt": "46.4 g",
        "mix": "4.3 g",
    }
    head = house.journal.head()
    for lacking, code in (("thickness", "missing"), ("name", "missing")):
        with pytest.raises(Refused) as refused:
            house.do("rub_piece", 5, **{k: v for k, v in given.items() if k != lacking})
        assert codes(refused) == {code: lacking}
    with pytest.raises(Refused) as refused:
        house.do("rub_piece", 5, **{**given, "mix": "9 g"})
    assert codes(refused) == {"more_cure_than_planned": "mix"}
    assert house.journal.head() == head
    did = house.do("rub_piece", 5, **given, request_id="r1")
    again = house.do("rub_piece", 5, **given, request_id="r1")
    assert again.code == did.code and len(did.events) == 2
    shown = house.do("piece", 6, code=did.code)
    assert shown.state == "in salt" and shown.green_kg == 1.8 and shown.started_at == shown.salted_at
    # a mass aimed at last time was the other piece's
    other = house.started(target_mass="1.1 kg")
    mine = house.do("rub_piece", 7, **{**given, "like": other})
    assert house.do("piece", 7, code=mine.code).target_kg != pytest.approx(1.1)


def test_second_halves_are_named_from_draining_day_until_they_are_on(house: House) -> None:
    code = house.started(applications=2)
    first = house.do("rub_day", like=code, green_weight="1.62 kg")
    whole = house.do("plan_piece", **PLAN)
    assert doses(first.weigh)["salt_dose"] == pytest.approx(doses(whole.dose)["salt_dose"] / 2, abs=1e-4)
    house.do("salt_piece", code=code, salt="21.5 g", mix="1.9 g")
    assert house.do("rub_day", 3).second == ()
    (waits,) = house.do("rub_day", 9).second
    assert waits.code == code and not waits.drained
    house.do("drain_piece", 9, code=code, liquid="40 g")
    (due,) = house.do("rub_day", 9).second
    assert due.drained and {a.quantity for a in due.amounts} >= {"salt_dose", "cure_mix_dose"}
    house.do("salt_piece", 9.1, code=code, salt="21.5 g", mix="1.9 g")
    assert house.do("rub_day", 10).second == ()


def test_what_was_pumped_or_frozen_first_is_planned_instead(house: House) -> None:
    frozen = house.started(
        cut="venison_haunch", parasite_step="freeze", freezing={"temperature": "-21 C"}, origin="hunted"
    )
    with pytest.raises(Refused) as refused:
        house.do("rub_day", like=frozen, green_weight="1 kg")
    assert codes(refused) == {"frozen_first": "like"}
    assert house.do("rub_day").models == ()
