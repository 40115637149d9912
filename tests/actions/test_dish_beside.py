"""Meat of one's own carried beside a dish: its figures in both together, its code, and what is refused.

Masses and households are invented. What is expected of composition is held against the food table and against
the lot's own pack; verdicts against the lot's own card.
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from dish_batches import STEW, dish, packed, recipe
from households import BEGAN, House
from packs import loin_lot

from saltfare.actions.dish_shapes import choice_of
from saltfare.actions.dish_start import StartDishGiven
from saltfare.actions.pack_content import pack_content
from saltfare.core.errors import Problem, Refused
from saltfare.core.figure import Answer
from saltfare.journal import events_dish as kinds
from saltfare.journal import events_lot as lots
from saltfare.journal.codes import code_of
from saltfare.journal.dish import dish as dish_of
from saltfare.journal.lot import lot

DAY = 62


def own(code: str, amount: str = "40 g") -> list[dict[str, Any]]:
    return [{"own": code, "amount": amount}]


def refused(house: House, name: str, day: float = DAY, /, **given: Any) -> Problem:
    with pytest.raises(Refused) as found:
        house.do(name, day, **given)
    assert len(found.value.problems) == 1
    return found.value.problems[0]


def figures(shown: Any) -> dict[str, float | None]:
    return {one.nutrient: one.pack.value for one in shown}


def dried_hash(house: House, **changes: Any) -> tuple[str, str]:
    """A hash begun once there is meat, and packed."""
    code = str(house.do("start_dish", DAY, name="Hash", **dish(**changes)).code)
    house.do("cook_dish", DAY + 0.1, code=code, mass="2050 g", tare="550 g")
    house.do("tray_dish", DAY + 0.2, code=code, mass="3500 g", tare="2 kg")
    house.do("condition_dish", DAY + 1, code=code, step="in_jar", mass="375 g")
    portions = [{"packs": 4, "mass": "90 g", "sealed": "air", "place": "larder"}]
    return code, str(house.do("pack_dish", DAY + 8, code=code, portions=portions).codes[0])


def test_own_meat_goes_into_the_figures_of_both(house: House) -> None:
    code = loin_lot(house)
    alone = house.do("plan_dish", DAY, **dish(lines=recipe(*STEW)))
    shown = house.do("plan_dish", DAY, **dish(lines=recipe(*STEW), beside=own(code)))
    pack = pack_content(house.context(DAY), lot(house.journal, code)).amounts
    added, both, plain = figures(shown.beside.added), figures(shown.beside.together), figures(alone.main)
    for name in ("energy", "protein", "fat", "water", "sodium"):
        assert added[name] == pytest.approx(0.2 * (pack.value(name) or 0.0))  # 40 g of a pack of 200 g
    for name in ("energy", "protein", "salt_equivalent"):
        assert both[name] == pytest.approx((plain[name] or 0.0) + (added[name] or 0.0))
    # usda_sr28 10036, pork loin raw: 20.7 g of protein per 100 g. 1.62 kg of it dried to 1.06 kg
    assert added["protein"] == pytest.approx(0.040 * 0.207 * 1.62 / 1.06, rel=0.12)
    # it is eaten as it is: no water is poured for it
    assert shown.pouch.water.value == pytest.approx(alone.pouch.water.value)
    assert shown.beside.names == ("Loin",) and [one.code for one in shown.beside.own] == [code]
    assert shown.beside.own[0].agents == ("sodium_nitrite",)


def test_it_says_that_it_is_reckoned_and_its_answers_are_those_of_its_lot(house: House) -> None:
    code = loin_lot(house)
    (meat,) = house.do("plan_dish", DAY, **dish(beside=own(code))).beside.own
    assert "beside_reckoned" in [note.code for note in meat.notes]
    of_lot = house.do("lot", DAY, code=code).line
    assert dict(meat.answers) == dict(of_lot.answers)
    # nothing of it was measured: no criterion is met
    assert set(dict(meat.answers)) == {"kept", "eaten", "carried"}
    assert Answer.MEETS not in dict(meat.answers).values()


def test_diets_and_the_allergens_of_its_rub_are_of_both(house: House) -> None:
    house.do("keep_food", name="mustard rub", energy="1 MJ", allergens=["mustard"], may_contain=["celery"])
    code = house.started(spices={"mustard rub": "1 %", "mother's rub": "1 %"})
    spices = {"mustard rub": "16 g", "mother's rub": "9 g"}
    house.do("salt_piece", code=code, salt="42 g", mix="3.9 g", spices=spices)
    house.do("hang_piece", 21, code=code, mass="1.55 kg")
    house.do("weigh_in", 60, code=code, mass="1.06 kg", reasons={"mass": "a test"})
    portion = {"packs": 4, "mass": "200 g", "sealed": "air", "place": "pantry"}
    did = house.do("take_down", 61, code=code, mass="1.06 kg", portions=[portion], reasons={"mass": "a test"})
    alone = house.do("plan_dish", DAY, **dish())
    shown = house.do("plan_dish", DAY, **dish(beside=own(did.codes[0])))
    eu = {one.allergen_class: one for one in shown.beside.eu}
    assert eu["mustard"].presence == "contains" and eu["mustard"].by == (("mustard rub", "mustard"),)
    assert "mother's rub" in eu["milk"].unsure  # nobody said what is in it
    assert "mustard" not in {c.allergen_class for c in alone.eu if c.presence == "contains"}
    was = {one.diet: one.answer for one in alone.diets}
    now = {one.diet: one.answer for one in shown.beside.diets}
    assert was["no_pork"] == "meets" and now["no_pork"] == "does_not_meet"


def test_the_label_names_it_with_code_keeping_and_answers(house: House) -> None:
    code = loin_lot(house)
    _, made = dried_hash(house, beside=own(code))
    shown = house.do("label", DAY + 9, code=made)
    (meat,) = shown.beside
    assert (meat.name, meat.code, meat.mass_kg, meat.keep) == ("Loin", code, pytest.approx(0.04), "cold")
    assert dict(meat.answers) == dict(house.do("lot", DAY + 9, code=code).line.answers)
    assert shown.agents == ("sodium_nitrite",)
    assert "label_cured_meat" in {note.code for note in shown.cautions}
    assert shown.net_kg == pytest.approx(0.09)  # what is in the pouch itself
    assert "pork loin" not in {one.name for one in shown.ingredients}
    alone, both = shown.nutrients[0].figure.value, shown.together_kcal.value
    pack = pack_content(house.context(DAY + 9), lot(house.journal, code)).amounts
    assert both - alone == pytest.approx(0.2 * pack.value("energy"))
    printed = house.do("print_labels", DAY + 9, code=made)
    again = house.do("printed_labels", DAY + 9, event_id=printed.events[0]).label
    assert again.beside == shown.beside


def test_a_piece_that_hangs_at_its_mass_can_be_beside_and_then_its_lot(house: House) -> None:
    piece = house.hung(target_loss="25 %")
    early = refused(house, "plan_dish", 30, **dish(beside=own(piece)))
    assert (early.code, early.field) == ("beside_not_at_mass", "beside.0.own")
    house.do("weigh_in", 60, code=piece, mass="1.06 kg", reasons={"mass": "a test"})
    assert [(one.code, one.hangs) for one in house.do("own_meat", 60).meat] == [(piece, True)]
    batch = str(house.do("start_dish", 60, name="Hash", **dish(beside=own(piece))).code)
    (meat,) = house.do("dish", 60, code=batch).beside.own
    assert (meat.code, meat.hangs, meat.against) == (piece, True, None)
    portion = {"packs": 4, "mass": "200 g", "sealed": "air", "place": "pantry"}
    why = {"mass": "a test", "portions.0.mass": "a test"}
    did = house.do("take_down", 61, code=piece, mass="1.06 kg", portions=[portion], reasons=why)
    (meat,) = house.do("dish", 62, code=batch).beside.own
    assert (meat.code, meat.hangs, meat.against) == (did.codes[0], False, None)


def test_what_cannot_go_is_refused_where_it_was_typed(house: House) -> None:
    code = loin_lot(house)  # 4 packs of 200 g
    most = refused(house, "plan_dish", **dish(beside=own(code, "201 g")))
    assert (most.code, most.field) == ("beside_too_little", "beside.0.own")
    assert most.params["wanted_kg"] == pytest.approx(0.804) and most.params["left_kg"] == pytest.approx(0.8)
    assert house.do("plan_dish", DAY, **dish(beside=own(code, "200 g"))).beside is not None
    both = [{"own": code, "amount": "40 g", "food": "salami"}]
    assert refused(house, "plan_dish", **dish(beside=both)).code == "beside_food_or_own"
    assert refused(house, "plan_dish", **dish(beside=own(code_of(99)))).code == "beside_unknown"
    _, hash_lot = packed(house)
    assert refused(house, "plan_dish", **dish(beside=own(hash_lot))).code == "beside_not_cured"
    made = {"name": "Their loin", "packs": 3, "mass": "100 g", "sealed": "air", "place": "pantry"}
    theirs = house.do("store_lot", DAY, **made, packed_on="2026-04-01", maker="The mill (invented)").code
    assert refused(house, "plan_dish", **dish(beside=own(theirs))).code == "beside_of_others"
    house.do("draw_packs", DAY, code=code, packs=4, why="thrown_out", reason="a test")
    assert refused(house, "plan_dish", **dish(beside=own(code))).code == "beside_thrown_out"
    assert house.do("own_meat", DAY).meat == ()


def test_what_a_trip_or_another_dish_holds_is_not_there_twice(house: House) -> None:
    code = loin_lot(house)
    held = lots.PacksReserved(trip="TRIP", packs=3)
    at = BEGAN + timedelta(days=61.5)
    house.journal.append(f"lot/{code}", held, at=at, zone="UTC", actor="household", recorded_at=at)
    kept = refused(house, "plan_dish", **dish(beside=own(code, "100 g")))
    assert kept.code == "beside_reserved" and kept.params["free_kg"] == pytest.approx(0.2)
    batch = house.do("start_dish", DAY, name="Hash", **dish(beside=own(code, "40 g"))).code
    other = refused(house, "start_dish", name="Hash", **dish(beside=own(code, "40 g")))
    assert other.code == "beside_reserved" and other.params["free_kg"] == pytest.approx(0.04)
    # the batch's own share stands in nobody's way but others'
    house.do("change_recipe", DAY, code=batch, **dish(beside=own(code, "50 g")))
    house.do("discard_dish", DAY, code=batch, why="a test")
    assert house.do("start_dish", DAY, name="Hash", **dish(beside=own(code, "40 g"))).code


def test_meat_that_went_away_meanwhile_is_told_on_page_and_label(house: House) -> None:
    code = loin_lot(house)
    batch, made = dried_hash(house, beside=own(code))
    house.do("draw_packs", DAY + 9, code=code, packs=4, why="thrown_out", reason="a test")
    (meat,) = house.do("dish", DAY + 9, code=batch).beside.own
    assert meat.against is not None and meat.against.code == "beside_thrown_out"
    told = house.do("label", DAY + 9, code=made)
    assert "label_beside_not_had" in {note.code for note in told.cautions}


def test_a_batch_kept_before_there_was_own_meat_reads_as_it_was(house: House) -> None:
    given = StartDishGiven(name="Old", **dish(beside=[{"food": "parmesan", "amount": "20 g"}]))
    body = kinds.DishPlanned(name="Old", dish=choice_of(house.context(), given)).model_dump(mode="json")
    for line in body["dish"]["beside"]:
        assert line.pop("own") is None  # no such field was written then
    code, at = code_of(4712), BEGAN
    old = kinds.DishPlanned.model_validate(body)
    house.journal.append(f"dish/{code}", old, at=at, zone="UTC", actor="household", recorded_at=at)
    shown = house.do("dish", 1, code=code)
    assert dish_of(house.journal, code).choice.beside[0].own is None
    assert shown.beside.names == ("parmesan",) and shown.beside.own == ()
    # usda_sr28 01033, parmesan: 392 kcal in 100 g
    assert figures(shown.beside.added)["energy"] / 4184 == pytest.approx(0.2 * 392, rel=0.02)
