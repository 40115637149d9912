"""Tags and the week's sheet as actions: what is planned, what was done, which piece has which tag."""

from __future__ import annotations

from datetime import timedelta

import pytest
from households import BEGAN, House

from saltfare.core.errors import NotFound, Refused
from saltfare.core.fields import Measured
from saltfare.journal.events import Draft
from saltfare.journal.events_lot import STREAM, LotMade

TODAY = BEGAN.date()


def _masses(tag: object) -> dict[str, float]:
    return {a.quantity: a.value for a in tag.amounts}  # type: ignore[attr-defined]


def test_two_applications_have_a_bag_and_a_jar_until_the_second_is_on(house: House) -> None:
    code = house.started(applications=2)
    plan = {s.code: s for s in house.do("plan_piece", **_plan(applications=2)).steps}
    bag, jar = house.do("tags").tags
    assert (bag.kind, jar.kind, jar.code) == ("curing", "second_half", code)
    for tag, step in ((bag, "weigh_out"), (jar, "weigh_out_second")):
        assert _masses(tag) == {line.quantity: line.figure.value for line in plan[step].amounts}
        assert "amounts" in tag.planned
    assert jar.second_on == plan["weigh_out_second"].on
    house.do("salt_piece", 2, code=code, salt="21 g", mix="1.9 g")
    bag, jar = house.do("tags", 2).tags
    assert _masses(bag) == pytest.approx({"salt_dose": 0.021, "cure_mix_dose": 0.0019})
    assert "amounts" not in bag.planned and "amounts" in jar.planned
    assert bag.salt_on == TODAY + timedelta(days=2) and "salt_on" not in bag.planned
    # salted two days later than planned: what follows moves with it
    assert jar.second_on == plan["weigh_out_second"].on + timedelta(days=2)
    house.do("drain_piece", 10, code=code)
    house.do("salt_piece", 10, code=code, salt="21 g", mix="2 g")
    (only,) = house.do("tags", 10).tags
    assert only.kind == "curing"
    assert _masses(only) == pytest.approx({"salt_dose": 0.042, "cure_mix_dose": 0.0039})


def _plan(**changes: object) -> dict[str, object]:
    from households import PLAN

    return {**PLAN, **changes}


def test_a_hanging_piece_has_the_target_told_at_hanging(house: House) -> None:
    code = house.hung()
    (tag,) = house.do("tags", 22).tags
    piece = house.do("piece", 22, code=code)
    assert (tag.kind, tag.target_kg, tag.hung_kg) == ("hanging", piece.target_kg, 1.55)
    assert tag.hang_on == TODAY + timedelta(days=21) and tag.planned == ()
    assert tag.weigh_on and tag.weigh_on[0] >= TODAY + timedelta(days=22)


def test_a_taste_cut_off_lowers_the_mass_on_the_next_tag(house: House) -> None:
    code = house.hung()
    before = house.do("tags", 22).tags[0].target_kg
    house.do("weigh_in", 30, code=code, mass="1.3 kg")
    house.do("taste_piece", 30, code=code, before="1.3 kg", after="1.235 kg")
    assert house.do("tags", 31).tags[0].target_kg == pytest.approx(before * 1.235 / 1.3)


def test_a_piece_taken_down_has_no_tag(house: House) -> None:
    code = house.hung()
    house.do("take_down", 60, code=code, mass="0.95 kg")
    assert house.do("tags", 61).tags == ()
    with pytest.raises(Refused) as refused:
        house.do("tags", 61, codes=[code])
    assert refused.value.problems[0].code == "no_tag_taken_down"


def test_the_week_lists_what_the_bench_lists(house: House) -> None:
    house.hung()
    house.started(name="Other")
    for day in (0, 5, 21, 24, 40):
        bench = house.do("bench", day)
        due = {(one.code, one.step) for found in (bench.late, bench.due, bench.coming) for one in found}
        lines = {(line.code, line.what) for line in house.do("batch_sheet", day).lines}
        assert due <= lines


def test_a_code_is_looked_up_in_any_case_and_tells_a_lot(house: House) -> None:
    code = house.hung()
    for typed in (code, code.lower(), f"{code[:3]}-{code[3:]}", f" {code} "):
        found = house.do("open_code", code=typed)
        assert (found.what, found.code) == ("piece", code)
    made = LotMade(
        name="Loin, sliced",
        piece=code,
        packs=9,
        mass=Measured(typed="80 g", value=0.08),
        sealed="no_oxygen",
        place="cellar",
        packed_on=TODAY,
    )
    lot = "0000000"
    with pytest.raises(NotFound):
        house.do("open_code", code=lot)
    house.journal.append_many(
        [Draft(stream=STREAM + lot, body=made, at=BEGAN, zone="UTC", actor="test", recorded_at=BEGAN)]
    )
    assert house.do("open_code", code=f"HTTP://HOST.LOCAL:8765/L/{lot}").what == "lot"
    line = house.do("lot", code=lot).line
    assert (line.packs, line.pack_kg, line.piece, line.kind) == (9, 0.08, code, "piece")
