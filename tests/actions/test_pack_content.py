"""What one pack holds: cured, cooked and dried, bought, mixed; and what is not known stays so."""

from __future__ import annotations

from typing import Any

import pytest
from households import BEGAN, House
from packs import day_of, loin_lot, lot_in, put, si, told_lot

from saltfare.actions.pack_content import pack_content, piece_content
from saltfare.actions.pack_whole import PackContent
from saltfare.core import foods
from saltfare.core.errors import Refused
from saltfare.core.figure import Answer
from saltfare.journal import events_dish as dishes
from saltfare.journal import events_lot as lots
from saltfare.journal import events_shelf as shelf
from saltfare.journal.codes import code_of
from saltfare.journal.piece import piece
from saltfare.models.declared import Presence

LOIN = foods.package_row("10062")
# Invented: a stew to cook and dry, no expected value of anything.
STEW: dict[str, Any] = {
    "name": "Stew (invented)",
    "lines": [
        {"food": "barley_pearl", "amount": "200 g"},
        {"food": "lentils_red", "amount": "200 g"},
        {"food": "carrot", "amount": "150 g"},
        {"food": "celery", "amount": "80 g"},
        {"food": "salt", "amount": "9 g"},
        {"food": "water", "amount": "1.2 kg"},
    ],
    "target_water": "7 %",
    "trays": {
        "trays": 5,
        "length": "34 cm",
        "width": "30 cm",
        "temperature": "60 C",
        "speed": "1.2 m/s",
        "room_temperature": "20 C",
        "room_humidity": "50 %",
    },
    "packs": 4,
    "scale_step": "1 g",
    "camp": {
        "altitude": "0 m",
        "air": "15 C",
        "wind": "0 m/s",
        "cover": "cosy",
        "pouch_width": "16 cm",
        "pouch_height": "23 cm",
        "cup": "240 ml",
    },
}


def content(house: House, code: str, day: float = 70) -> PackContent:
    return pack_content(house.context(day), lot_in(house, code))


def codes(found: PackContent) -> set[str]:
    return {note.code for note in found.notes}


def presence(found: PackContent, law: str, allergen_class: str) -> Presence:
    return next(one.presence for one in found.allergens[law] if one.allergen_class == allergen_class)


def stew_lot(house: House, *, number: int = 815, mass: float = 0.1, day: float = 60, **changes: Any) -> str:
    """A lot of packs of a batch that was planned."""
    dish = house.do("start_dish", day - 5, **{**STEW, **changes}).code
    code = code_of(number)
    made = lots.LotMade(
        name="Stew (invented)",
        dish=dish,
        packs=4,
        mass=si(mass),
        sealed="air",
        place="pantry",
        packed_on=day_of(day),
    )
    put(house, code, made, day)
    return code


def bought_lot(house: House, *, number: int = 99, mass: float = 0.125, **label: Any) -> str:
    told: dict[str, Any] = {
        "name": "Pasta in tomato (invented)",
        "what": "meal",
        "mass": 0.125,
        "energy": 1600e3,
        "fat": 0.010,
        "carbohydrate": 0.060,
        "fibre": 0.005,
        "protein": 0.012,
        "salt": 0.0025,
        "water": 350e-6,
        "wait": 480.0,
        "allergens": ("wheat",),
    } | label
    body = shelf.BoughtDescribed(**{k: si(v) if isinstance(v, float) else v for k, v in told.items()})
    at = house.context(60).now
    house.journal.append(f"bought/pasta-{number}", body, at=at, zone="UTC", actor="household", recorded_at=at)
    code = code_of(number)
    made = lots.LotMade(
        name=told["name"],
        bought=f"pasta-{number}",
        packs=2,
        mass=si(mass),
        sealed="no_oxygen",
        place="pantry",
        packed_on=day_of(60),
    )
    put(house, code, made, 60)
    return code


def test_a_cured_pack_keeps_the_dry_matter_of_the_raw_cut(house: House) -> None:
    """usda_sr28 10062, pork top loin raw: 21.55 % protein, 6.94 % fat, of 1.62 kg; 200 g of 1.06 kg."""
    found = content(house, loin_lot(house))
    share = 1.62 * 0.200 / 1.06
    assert found.mass_kg == 0.2
    assert found.protein_g == pytest.approx(215.5 * share, rel=1e-3)
    assert found.fat_g == pytest.approx(69.4 * share, rel=1e-3)
    assert found.kcal == pytest.approx(1550 * share, rel=1e-3)
    assert found.water_g is not None and found.sodium_mg is not None
    # salt: 42 g and the salt of 3.9 g of mix went on; 393.4 mg sodium per g, less what the plan has run off
    most = (42 + 3.9 * 0.9375) * 393.4 * 0.2 / 1.06 + 480 * share
    assert 0.7 * most < found.sodium_mg < most
    # what is neither dry matter nor salt is water
    dry = (1.62 * 0.2962 + found.sodium_mg * 2.54e-6 * 1.06 / 0.2) * 200 / 1.06
    assert found.water_g == pytest.approx(200 - dry, abs=1.5)


def test_a_cured_pack_names_what_went_on_it_in_descending_mass(house: House) -> None:
    found = content(house, loin_lot(house))
    names = [name for name, _ in found.ingredients]
    assert names == ["pork loin", "salt", "sodium nitrite"]
    shares = dict(found.ingredients)
    assert shares["salt"] / shares["pork loin"] == pytest.approx((42 + 3.9 * 0.9375) / 1620)
    assert shares["sodium nitrite"] / shares["pork loin"] == pytest.approx(3.9 * 0.0625 / 1620)
    assert found.agents == ("sodium_nitrite",)
    assert found.diets["no_pork"].answer is Answer.DOES_NOT_MEET
    assert found.diets["no_gluten"].answer is Answer.MEETS
    assert presence(found, "eu", "milk") is Presence.NOT_PUT_IN
    assert found.water_to_add_ml is None and found.minutes is None


def test_fat_that_nobody_said_is_warned_of_and_said_fat_is_used(house: House) -> None:
    usual = content(house, loin_lot(house))
    assert "content_fat_usual" in codes(usual)
    code = house.hung(fat_share="20 %", reasons={"fat_share": "a test"})
    house.do("weigh_in", 60, code=code, mass="1.06 kg", reasons={"mass": "a test"})
    fatter = piece_content(house.context(61), piece(house.journal, code))
    assert "content_fat_usual" not in codes(fatter)
    assert fatter.fat_g == pytest.approx(1620 * 0.20, rel=1e-6)
    assert fatter.protein_g == pytest.approx(1620 * 0.2155 * 0.80 / 0.9306, rel=1e-3)


def test_a_rub_nobody_knows_leaves_its_allergens_open(house: House) -> None:
    code = house.started(spices={"house mustard rub": "1 %", "black pepper": "0.5 %"})
    house.do(
        "salt_piece",
        code=code,
        salt="42 g",
        mix="3.9 g",
        spices={"house mustard rub": "16 g", "black pepper": "8 g"},
    )
    state = piece(house.journal, code)
    found = piece_content(house.context(1), state, mass_kg=1.0)
    (mustard,) = (one for one in found.allergens["eu"] if one.allergen_class == "mustard")
    assert mustard.presence is Presence.CANNOT_TELL and mustard.unsure == ("house mustard rub",)
    assert found.diets["no_gluten"].answer is Answer.CANNOT_TELL
    assert [name for name, _ in found.ingredients] == [
        *("pork loin", "salt", "house mustard rub", "black pepper", "sodium nitrite")
    ]
    assert "content_spices_not_counted" in codes(found)
    house.do("keep_food", name="house mustard rub", energy="1 MJ", allergens=["mustard"], holds=[])
    known = piece_content(house.context(1), state, mass_kg=1.0)
    assert presence(known, "eu", "mustard") is Presence.CONTAINS
    assert presence(known, "eu", "milk") is Presence.NOT_PUT_IN
    assert known.diets["no_gluten"].answer is Answer.MEETS


def test_a_piece_that_still_dries_is_told_at_its_target_and_no_lighter_than_it_is(house: House) -> None:
    code = house.hung()
    state = piece(house.journal, code)
    assert state.target_now_kg is not None and state.target_now_kg < 1.55
    found = piece_content(house.context(30), state)
    assert found.mass_kg == pytest.approx(state.target_now_kg)
    with pytest.raises(Refused) as told:
        piece_content(house.context(30), state, mass_kg=0.3)
    assert told.value.problems[0].code == "content_not_told"


def test_a_dish_pack_is_its_share_of_the_batch(house: House) -> None:
    """Pearl barley, lentils, carrot, celery: protein as usda_sr28 prints it, by what went in."""
    found = content(house, stew_lot(house))
    rows = {"20005": 0.2, "16144": 0.2, "11124": 0.15, "11143": 0.08}
    protein = sum(foods.package_row(n).number("protein") * kg for n, kg in rows.items())
    dry = sum((1 - foods.package_row(n).number("water")) * kg for n, kg in rows.items()) + 0.009
    share = 0.1 * 0.93 / dry
    assert found.protein_g == pytest.approx(1000 * protein * share, rel=0.01)
    assert found.water_g == pytest.approx(7.0, rel=1e-6)
    assert [name for name, _ in found.ingredients] == [
        *("pearl barley", "red lentils", "carrot", "celery", "salt")
    ]
    assert presence(found, "eu", "gluten_cereals") is Presence.CONTAINS
    assert presence(found, "us", "wheat") is Presence.NOT_PUT_IN
    assert presence(found, "eu", "celery") is Presence.CONTAINS
    assert found.servings == pytest.approx(4 * share, rel=0.005)
    assert found.water_to_add_ml is not None and 150 < found.water_to_add_ml < 600
    assert found.minutes is not None and found.minutes_span[0] is not None
    assert found.minutes_span[0] < found.minutes
    # barley softens in cold water only long after the two hours that food may stay wet
    assert found.cold_minutes is None
    trace = found.traces[found.trace]
    assert trace.model == "plans.dish_plan.dish_plan" and "foods:20005" in trace.rows


def test_a_recipe_with_an_ingredient_nothing_is_known_of_keeps_its_allergens_and_makes_up_no_figure(
    house: House,
) -> None:
    """Without its solids the batch has no plan: what was put in is still told."""
    code = stew_lot(house)
    batch = lot_in(house, code).made.dish
    planned = house.journal.events(f"dish/{batch}")[0].body
    paste = planned.dish.lines[0].model_copy(update={"name": "aunt's spice paste", "food": None})
    lines = (*planned.dish.lines, paste)
    changed = dishes.RecipeChanged(dish=planned.dish.model_copy(update={"lines": lines}))
    at = house.context(61).now
    house.journal.append(f"dish/{batch}", changed, at=at, zone="UTC", actor="household", recorded_at=at)
    found = content(house, code)
    assert (found.kcal, found.protein_g, found.water_g, found.water_to_add_ml) == (None,) * 4
    assert presence(found, "eu", "celery") is Presence.CONTAINS
    assert presence(found, "eu", "milk") is Presence.CANNOT_TELL
    assert "content_not_known" in codes(found)


def test_a_nutrient_missing_in_one_ingredient_is_missing_with_its_name(house: House) -> None:
    paste = house.do(
        "keep_food",
        name="Paste (invented)",
        energy="400 kJ",
        protein="3 g",
        fat="5 g",
        carbohydrate="8 g",
        fibre="2 g",
        salt="4 g",
        water="75 %",
        allergens=[],
    ).food
    found = content(house, stew_lot(house, lines=[*STEW["lines"], {"food": paste, "amount": "30 g"}]))
    assert found.amounts.value("iron") is None
    assert found.missing["iron"] == ("Paste (invented)",)
    # usda_sr28 prints no sugars of red lentils
    assert found.sugars_g is None and found.missing["sugars"] == ("red lentils", "Paste (invented)")
    assert found.kcal is not None and found.protein_g is not None


def test_a_bought_pack_is_what_its_label_says(house: House) -> None:
    found = content(house, bought_lot(house))
    assert found.kcal == pytest.approx(1600e3 * 1.25 / 4184)
    assert found.protein_g == pytest.approx(15.0)
    # eu_1169_2011, Annex I: salt is 2.5 times sodium, carbohydrate is without fibre
    assert found.sodium_mg == pytest.approx(1250.0)
    assert found.carbohydrate_g == pytest.approx(1.25 * 65.0)
    assert (found.water_to_add_ml, found.minutes) == (pytest.approx(350.0), pytest.approx(8.0))
    assert found.sugars_g is None and found.missing["sugars"] == ("Pasta in tomato (invented)",)
    assert presence(found, "us", "wheat") is Presence.CONTAINS
    assert found.diets["no_gluten"].answer is Answer.CANNOT_TELL
    per_pack = content(
        house,
        bought_lot(house, number=98, per="pack", energy=2000e3, sodium=0.001, salt=None, carbohydrate=0.081),
    )
    assert per_pack.kcal == pytest.approx(2000e3 / 4184)
    assert per_pack.sodium_mg == pytest.approx(1000.0)
    # a label that gives sodium counts fibre in carbohydrate
    assert per_pack.carbohydrate_g == pytest.approx(81.0)


def test_a_bought_pack_whose_label_says_nothing_knows_nothing(house: House) -> None:
    bare = dict.fromkeys(("energy", "fat", "carbohydrate", "fibre", "protein", "salt", "water", "wait"))
    found = content(house, bought_lot(house, allergens=None, **bare))
    assert (found.kcal, found.protein_g, found.sodium_mg, found.water_to_add_ml) == (None,) * 4
    assert presence(found, "eu", "milk") is Presence.CANNOT_TELL


def test_a_mixed_pack_is_the_sum_of_its_parts(house: House) -> None:
    loin, stew = loin_lot(house), stew_lot(house)
    code = code_of(7)
    made = lots.LotMade(
        name="Stew with loin",
        parts=(lots.PackPart(code=stew, mass=si(0.09)), lots.PackPart(code=loin, mass=si(0.03))),
        packs=1,
        mass=si(0.12),
        sealed="air",
        place="pantry",
        packed_on=day_of(65),
    )
    put(house, code, made, 65)
    found, one, other = content(house, code), content(house, stew), content(house, loin)
    for name in ("kcal", "protein_g", "sodium_mg", "water_g"):
        whole, a, b = (getattr(pack, name) for pack in (found, one, other))
        assert whole == pytest.approx(0.9 * a + 0.15 * b), name
    assert one.water_to_add_ml is not None
    assert found.water_to_add_ml == pytest.approx(0.9 * one.water_to_add_ml)
    assert found.minutes == pytest.approx(one.minutes)
    assert found.agents == ("sodium_nitrite",)
    assert found.diets["no_pork"].answer is Answer.DOES_NOT_MEET
    # by what went in: 47 g of raw loin dried to 30 g stand before the 32 g of barley
    assert [name for name, _ in found.ingredients][:3] == ["pork loin", "pearl barley", "red lentils"]
    assert sum(share for _, share in found.ingredients) == pytest.approx(1.0)
    assert found.parts == ("Stew (invented)", "Loin")


def test_a_lot_of_nothing_told_knows_nothing_and_says_so(house: House) -> None:
    code = code_of(3)
    made = lots.LotMade(
        name="A jar", packs=1, mass=si(0.3), sealed="air", place="pantry", packed_on=BEGAN.date()
    )
    put(house, code, made, 5)
    found = content(house, code)
    assert (found.mass_kg, found.kcal, found.protein_g, found.sodium_mg) == (0.3, None, None, None)
    assert found.missing["energy"] == ("A jar",)
    assert presence(found, "us", "milk") is Presence.CANNOT_TELL
    assert codes(found) == {"content_not_known"}


def test_what_an_owner_told_of_a_lot_is_known_and_no_more(house: House) -> None:
    found = content(house, told_lot(house, water=0.07, fat=0.03))
    assert (found.water_g, found.fat_g) == (pytest.approx(8.4), pytest.approx(3.6))
    assert (found.kcal, found.sodium_mg) == (None, None)


def test_every_cut_has_its_food(house: House) -> None:
    cuts = {row.text("id"): row for row in house.library.rows("cuts")}
    named = {row.text("id"): row for row in house.library.rows("cut_foods")}
    assert set(cuts) == set(named)
    for cut, row in named.items():
        food = foods.package_row(row.text("food"))
        assert food.number("protein") > 0.05
        if cuts[cut].text("how_known") == "read":
            # the cuts were transcribed by themselves: two readings of one row
            assert cuts[cut].number("fat_pct") == pytest.approx(food.number("fat"), abs=5e-5)
            assert cuts[cut].number("water_pct") == pytest.approx(food.number("water"), abs=5e-5)
