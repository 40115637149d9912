"""What a label says, what is kept of a printing, and labels that cannot be."""

from __future__ import annotations

from typing import Any

import pytest
from households import House
from packs import day_of, loin_lot, lot_in, put, si, told_lot
from test_pack_content import STEW, bought_lot, stew_lot

from saltfare.actions.label_shapes import LabelShown, PanelLine
from saltfare.core.errors import NotFound, Refused
from saltfare.journal import events_lot as lots
from saltfare.journal.codes import code_of


def label(house: House, code: str, day: float = 70, **given: Any) -> LabelShown:
    shown: LabelShown = house.do("label", day, code=code, **given)
    return shown


def cautions(shown: LabelShown) -> set[str]:
    return {note.code for note in shown.cautions}


def line(shown: LabelShown, name: str) -> PanelLine:
    assert shown.panel is not None
    return next(one for one in shown.panel.lines if one.id == f"{shown.panel.law}_{name}")


def printed(one: PanelLine, n: int = 0) -> str:
    found = one.each[n]
    assert found is not None
    return f"{'<' if found.less_than else ''}{found.value:.{found.places}f}"


def test_a_dish_says_what_is_in_it_and_how_it_comes_back(house: House) -> None:
    shown = label(house, stew_lot(house))
    assert (shown.kind, shown.net_kg, shown.keep, shown.under_way) == ("dish", 0.1, "cool_dry", False)
    assert [one.name for one in shown.ingredients] == [
        *("pearl barley", "red lentils", "carrot", "celery", "salt")
    ]
    assert shown.contains == ("barley", "celery")
    assert [one.allergens for one in shown.ingredients if one.allergens] == [("barley",), ("celery",)]
    water = shown.water
    assert water is not None and water.mug_m3 == pytest.approx(240e-6)
    assert water.cups == pytest.approx(water.volume_m3 / 240e-6)
    assert water.first_m3 is not None and 0.8 * water.volume_m3 < water.first_m3 < water.volume_m3
    assert water.fill_m is not None and 0.05 < water.fill_m < 0.23
    assert water.stir_minutes[:2] == (0.0, 5.0)
    assert {"label_water_scalds", "label_pouch_for_boiling_water", "label_law_first"} <= cautions(shown)
    assert "label_absorber_out" not in cautions(shown)
    assert shown.packed_on == day_of(60)
    assert shown.planning_date is not None and shown.planning_date > day_of(60)
    energy = shown.nutrients[0]
    assert energy.figure.trace in shown.traces


def test_a_closed_pouch_without_oxygen_warns_of_its_absorber(house: House) -> None:
    code = code_of(41)
    batch = lot_in(house, stew_lot(house)).made.dish
    made = lots.LotMade(
        name="Stew",
        dish=batch,
        packs=2,
        mass=si(0.1),
        sealed="no_oxygen",
        place="pantry",
        packed_on=day_of(60),
        pouch=lots.Pouch(film="pe_50", width=si(0.16), height=si(0.07)),
    )
    put(house, code, made, 60)
    shown = label(house, code)
    assert "label_absorber_out" in cautions(shown)
    # films: a bag of polyethylene is not made for boiling water
    assert shown.takes_boiling_water is False
    assert "label_not_in_this_pouch" in cautions(shown)
    # and so small a pouch does not hold food and water
    assert shown.water is not None and shown.water.fill_m is None


def test_the_own_mug_counts_before_that_of_the_plan(house: House) -> None:
    code = stew_lot(house)
    house.do("set_mug", 61, mug="300 ml")
    water = label(house, code).water
    assert water is not None and water.mug_m3 == pytest.approx(300e-6)
    assert water.cups == pytest.approx(water.volume_m3 / 300e-6)
    assert house.do("label_sheets", 61).mug_m3 == pytest.approx(300e-6)
    with pytest.raises(Refused):
        house.do("set_mug", 61, mug="300 g")


def test_cured_meat_gets_the_same_label_with_its_nitrite_and_the_allergens_of_its_rub(house: House) -> None:
    shown = label(house, loin_lot(house))
    assert (shown.kind, shown.what, shown.keep) == ("cured", ("pork loin",), "cold")
    assert shown.agents == ("sodium_nitrite",)
    assert (shown.water, shown.contains, shown.unsure) == (None, (), ())
    assert {"label_cured_meat", "label_absorber_not_food"} <= cautions(shown)
    house.do("keep_food", name="mustard rub", energy="1 MJ", allergens=["mustard"], may_contain=["celery"])
    code = house.started(spices={"mustard rub": "1 %", "mother's rub": "1 %"})
    house.do(
        "salt_piece",
        code=code,
        salt="42 g",
        mix="3.9 g",
        spices={"mustard rub": "16 g", "mother's rub": "9 g"},
    )
    house.do("hang_piece", 21, code=code, mass="1.55 kg")
    house.do("weigh_in", 60, code=code, mass="1.06 kg", reasons={"mass": "a test"})
    portion = {"packs": 4, "mass": "200 g", "sealed": "air", "place": "pantry"}
    did = house.do("take_down", 61, code=code, mass="1.06 kg", portions=[portion], reasons={"mass": "a test"})
    rubbed = label(house, did.codes[0])
    assert rubbed.contains == ("mustard",)
    assert rubbed.may_hold == (("celery", "mustard rub"),)
    assert rubbed.unsure == ("mother's rub",)


def test_what_is_added_at_camp_counts_for_the_allergens_and_both_are_told(house: House) -> None:
    beside = [{"food": "parmesan", "amount": "20 g"}]
    shown = label(house, stew_lot(house, beside=beside))
    assert [(one.name, one.mass_kg) for one in shown.beside] == [("parmesan", pytest.approx(0.02))]
    assert "milk" in shown.contains and "milk" not in {a for one in shown.ingredients for a in one.allergens}
    assert ("eggs", "parmesan") in shown.may_hold
    alone = shown.nutrients[0].figure.value
    both = shown.together_kcal
    assert alone is not None and both is not None and both.value is not None
    # usda_sr28 01033, parmesan: 392 kcal in 100 g
    assert (both.value - alone) / 4184 == pytest.approx(0.2 * 392, rel=0.02)


def test_a_us_panel_is_of_a_serving_by_general_factors_and_rounding(house: House) -> None:
    code = loin_lot(house)
    shown = label(house, code, panel="us")
    plain = {one.nutrient: one.figure.value for one in shown.nutrients}
    # cfr_21_101_9, (c)(1)(i)(B): 4, 9 and 4 kcal to the gram, then to the nearest 10 above 50
    general = 4e3 * (plain["protein"] or 0) + 9e3 * (plain["fat"] or 0)
    assert float(printed(line(shown, "energy"))) == pytest.approx(general, abs=5.0)
    assert float(printed(line(shown, "energy"))) % 10 == 0
    assert float(printed(line(shown, "sodium"))) % 10 == 0
    assert printed(line(shown, "carbohydrate")) == "0"
    assert printed(line(shown, "added_sugars")) == "0"
    assert shown.panel is not None and (shown.panel.servings, shown.panel.serving_kg) == (1, 0.2)
    fat = line(shown, "fat")
    assert fat.percent is not None
    # (c)(9): 78 g of fat
    assert fat.percent.value == pytest.approx(100 * float(printed(fat)) / 78, abs=0.51)
    assert line(shown, "trans_fat").percent is None


def test_an_eu_panel_is_of_100_g_and_of_the_pack_by_its_own_factors(house: House) -> None:
    shown = label(house, loin_lot(house), panel="eu")
    plain = {one.nutrient: one.figure.value for one in shown.nutrients}
    # eu_1169_2011, Annex XIV: 17 kJ for protein as 6.25 times nitrogen, 37 for fat
    kj = 17e3 * (plain["protein"] or 0) + 37e3 * (plain["fat"] or 0)
    assert float(printed(line(shown, "energy_kj"), 1)) == pytest.approx(kj, rel=2e-3)
    # eu_rounding_2012, table 4: at most half a gram is said to be less than that
    assert printed(line(shown, "carbohydrate")) == "<0.5"
    salt = float(printed(line(shown, "salt")))
    assert salt == pytest.approx((plain["salt_equivalent"] or 0) * 500, abs=0.051)


def test_what_a_panel_cannot_know_is_open_with_its_names(house: House) -> None:
    shown = label(house, stew_lot(house), panel="us")
    sugars = line(shown, "sugars")
    assert sugars.each == (None,) and sugars.missing == ("red lentils",)
    assert "sugars" in shown.lacking


def test_a_bought_pack_tells_what_its_label_told(house: House) -> None:
    shown = label(house, bought_lot(house))
    assert (shown.kind, shown.keep, shown.contains) == ("bought", "as_printed", ("wheat",))
    assert shown.water is not None and shown.water.volume_m3 == pytest.approx(350e-6)
    assert shown.water.minutes == (None, pytest.approx(8.0), None)


def test_a_lot_of_unknown_food_is_labelled_with_what_is_not_known(house: House) -> None:
    shown = label(house, told_lot(house))
    assert shown.nutrients[0].figure.value is None
    assert shown.unsure == ("Barley stew",)
    assert {"energy", "protein"} <= set(shown.lacking)


def test_a_batch_under_way_shows_the_label_it_will_have(house: House) -> None:
    code = house.do("start_dish", **STEW).code
    shown = label(house, code, 0)
    assert (shown.under_way, shown.packed_on, shown.planning_date) == (True, None, None)
    assert shown.contains == ("barley", "celery")
    with pytest.raises(Refused) as told:
        house.do("print_labels", code=code)
    assert told.value.problems[0].code == "label_before_packing"


def test_a_printing_is_kept_as_it_was_and_can_be_seen_again(house: House) -> None:
    code = loin_lot(house)
    did = house.do("print_labels", 70, code=code, sheet="a4_4x2", skip=3, panel="eu", request_id="one")
    again = house.do("print_labels", 71, code=code, sheet="a4_4x2", skip=3, panel="eu", request_id="one")
    assert again.already and again.events == did.events
    (entry,) = lot_in(house, code).labels
    assert entry.body.copies == 4
    kept = house.do("printed_labels", 72, event_id=did.events[0])
    assert (kept.copies, kept.skip, kept.sheet.id, kept.extent) == (4, 3, "a4_4x2", "full")
    now = label(house, code, 70, panel="eu")
    assert kept.label.model_dump(exclude={"traces"}) == now.model_dump(exclude={"traces"})
    # what changes afterwards does not change what left the house
    house.do("set_mug", 72, mug="300 ml")
    house.do("draw_packs", 72, code=code, packs=1, why="eaten")
    assert house.do("printed_labels", 73, event_id=did.events[0]).copies == 4
    house.do("correct", 73, event_id=did.events[0], what="withdraw", why="the printer jammed")
    assert lot_in(house, code).labels == ()


@pytest.mark.parametrize(
    ("given", "field", "code"),
    [
        ({"sheet": "napkin"}, "sheet", "not_one_of"),
        ({"skip": 8}, "skip", "label_skip_above_sheet"),
        ({"skip": -1}, "skip", "not_usable"),
        ({"copies": 0}, "copies", "not_usable"),
        ({"copies": 501}, "copies", "not_usable"),
        ({"panel": "uk"}, "panel", "not_one_of"),
        ({"extent": "half"}, "extent", "not_one_of"),
    ],
)
def test_a_printing_that_cannot_be(house: House, given: dict[str, Any], field: str, code: str) -> None:
    lot = loin_lot(house)
    with pytest.raises(Refused) as told:
        house.do("print_labels", 70, code=lot, **given)
    assert {(p.field, p.code) for p in told.value.problems} == {(field, code)}
    assert lot_in(house, lot).labels == ()


def test_a_lot_that_is_gone_and_a_code_of_nothing_have_no_labels(house: House) -> None:
    lot = loin_lot(house)
    house.do("draw_packs", 70, code=lot, packs=4, why="eaten")
    with pytest.raises(Refused) as told:
        house.do("print_labels", 71, code=lot)
    assert told.value.problems[0].code == "label_lot_gone"
    with pytest.raises(NotFound):
        label(house, code_of(123456))
    with pytest.raises(NotFound):
        house.do("printed_labels", 71, event_id=lot_in(house, lot).made_id)


def test_sheets_hold_their_labels(house: House) -> None:
    """Every sheet's labels lie on its page, none on another."""
    for sheet in house.do("label_sheets").sheets:
        wide = sheet.left_m + sheet.columns * sheet.label_width_m + (sheet.columns - 1) * sheet.gap_x_m
        assert wide <= sheet.page_width_m + 2e-4, sheet.id
        if sheet.page_height_m is not None and sheet.label_height_m is not None:
            tall = sheet.top_m + sheet.rows * sheet.label_height_m + (sheet.rows - 1) * sheet.gap_y_m
            assert tall <= sheet.page_height_m + 2e-4, sheet.id


def test_a_label_of_a_dish_says_within_when_it_is_eaten_and_no_soak_that_outlasts_it(house: House) -> None:
    """USDA, two hours between 5 and 60 °C: the pouch in hand says so, and offers no longer cold soak."""
    shown = label(house, stew_lot(house))
    told = [note for note in shown.cautions if note.code == "label_once_wet"]
    assert [note.params["within_time_s"] for note in told] == [7200.0]
    assert shown.water is not None and shown.water.cold_minutes is None
