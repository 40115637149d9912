"""A dish from recipe to a dated plan, its refit from tray weights, its pouch. Dishes and dryer invented."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from saltfare.core import foods, tables
from saltfare.core.errors import Refused
from saltfare.core.library import Library
from saltfare.models import trays
from saltfare.models.composition import Food
from saltfare.models.cooking import Ingredient, ingredient_amounts
from saltfare.models.declared import Declared, Presence
from saltfare.models.trays import Doubts, Dryer, TrayKind
from saltfare.models.trays_air import Gab
from saltfare.models.trays_end import TrayWeight
from saltfare.plans.dish_plan import dish_plan, kind_of
from saltfare.plans.dish_plan_parts import BesidePart, DishLine, DishPlan, DishRequest, Spoonful
from saltfare.plans.dish_plan_pouch import Camp, PouchTrial
from saltfare.plans.dish_plan_refit import TrayPriors, tray_forecast

LIBRARY = Library()
START = datetime(2026, 3, 2, 9, tzinfo=UTC)
CAMP = Camp(
    altitude_m=1500.0, air_temp_c=8.0, wind_m_per_s=0.5, cover="cosy", water_temp_c=None,
    pouch_area_m2=0.064, pouch_height_m=0.2, cup_m3=2.4e-4,
)  # fmt: skip
HOME = dataclasses.replace(CAMP, altitude_m=100.0, air_temp_c=20.0, wind_m_per_s=0.0)

# The four dishes of the demo journal, invented: grams put in, grams cooked.
STEW = (("barley_pearl", 200), ("lentils_red", 180), ("onion", 200), ("carrot", 250), ("tomato_canned", 400),
        ("olive_oil", 15), ("salt", 10), ("water", 1600))  # fmt: skip
POLENTA = (("polenta", 250), ("pepper_red", 400), ("beans_white_canned", 400), ("onion", 150),
           ("olive_oil", 15), ("salt", 10), ("water", 1100))  # fmt: skip
HASH = (("potato", 1200), ("leek", 400), ("olive_oil", 20), ("salt", 10), ("water", 100))
PORRIDGE = (
    ("oats_rolled", 250),
    ("apple", 400),
    ("milk_powder", 60),
    ("sugar", 40),
    ("salt", 3),
    ("water", 1000),
)
DISHES = {
    "stew": (STEW, 2400),
    "polenta": (POLENTA, 2000),
    "hash": (HASH, 1500),
    "porridge": (PORRIDGE, 1600),
}


def line(pantry: str, grams: float, **more: object) -> DishLine:
    row = tables.load("pantry").row(pantry)
    food = Food.from_row(foods.package_row(row.text("food")))
    ingredient = Ingredient(row.text("label"), food, grams / 1000, 1.0, None, None)
    return DishLine(ingredient=ingredient, pantry=pantry, declared=Declared.from_row(row), **more)  # type: ignore[arg-type]


def dryer(**changes: object) -> Dryer:
    given_: dict[str, object] = {
        "trays": 6, "tray_area_m2": 0.1, "tray_length_m": 0.33,
        "kind": TrayKind.from_row(tables.load("tray_kinds").row("sheet")), "temp_c": 60.0,
        "speed_m_per_s": 1.0, "room_temp_c": 21.0, "room_rh_frac": 0.5, "inside_rh_frac": None,
        "power_w": 600.0, "duty_frac": 0.55, "pressure_pa": 101325.0,
    }  # fmt: skip
    return Dryer(**(given_ | changes))  # type: ignore[arg-type]


def request(dish: str = "stew", **changes: object) -> DishRequest:
    lines, cooked = DISHES[dish]
    given_: dict[str, object] = {
        "name": dish, "lines": [line(*one) for one in lines], "cooked_mass_kg": cooked / 1000,
        "target_water_frac": 0.06, "dryer": dryer(), "turned": True, "start": START,
        "bed": START + timedelta(hours=14), "scale_step_kg": 0.001, "packs": 4,
        "price_minor_per_kwh": 30.0, "camp": CAMP,
    }  # fmt: skip
    return DishRequest(**(given_ | changes))  # type: ignore[arg-type]


def plan(dish: str = "stew", **changes: object) -> DishPlan:
    return dish_plan(request=request(dish, **changes), library=LIBRARY)


def codes(made: DishPlan) -> list[str]:
    return [note.code for note in made.notes]


@pytest.mark.parametrize(
    ("dish", "cups", "minutes"),
    # common_practice, from memory: a portion takes a cup to a cup and a half of boiling water and ten to
    # twenty-five minutes closed. Here in a cosy at 1500 m and 8 C; what lies outside is told, not moved.
    [
        ("stew", (1.8, 2.2), (22.0, 32.0)),  # 124 g a pack: a large portion, whole barley
        (
            "polenta",
            (1.5, 1.75),
            (50.0, 75.0),
        ),  # whole beans: the test pouch will ask for a pot or split beans
        ("hash", (1.0, 1.5), (25.0, 40.0)),  # dice of 8 mm
        ("porridge", (1.0, 1.5), (15.0, 30.0)),
    ],
)
def test_what_the_demo_dishes_ask_for_beside_practice(
    dish: str, cups: tuple[float, float], minutes: tuple[float, float]
) -> None:
    pouch = plan(dish).pouch
    assert pouch is not None and pouch.pour.cups is not None and pouch.soft_s[1] is not None
    assert cups[0] <= pouch.pour.cups <= cups[1]
    assert minutes[0] <= pouch.soft_s[1] / 60.0 <= minutes[1]
    assert pouch.boil_c == pytest.approx(94.98, abs=0.05)


def test_mass_goes_from_pot_to_trays_to_packs_to_the_dish_at_camp() -> None:
    made = plan()
    assert made.pouch is not None
    assert made.packs.count * made.packs.each.mass_kg == pytest.approx(made.end_kg.middle, rel=1e-6)
    one = made.packs.each.mass_kg
    assert (one * 0.06 + made.pouch.water_kg.middle) / (one + made.pouch.water_kg.middle) == pytest.approx(
        made.water_frac, abs=1e-6
    )
    assert 4 * (one + made.pouch.water_kg.middle) == pytest.approx(made.trayed_kg, rel=1e-6)
    assert made.end_kg.low < made.end_kg.middle < made.end_kg.high


def test_half_of_the_pot_on_the_trays_is_half_in_the_packs() -> None:
    made = plan(trayed_mass_kg=1.2)
    assert made.packs.each.mass_kg == pytest.approx(plan().packs.each.mass_kg / 2)
    assert made.packs.each.value("energy") == pytest.approx((plan().packs.each.value("energy") or 0) / 2)


def test_the_plan_is_dated_and_has_one_test_pouch() -> None:
    made = plan()
    assert made.dry.low is not None and made.dry.middle is not None and made.dry.high is not None
    assert START < made.dry.low < made.dry.middle < made.dry.high
    steps = [step.code for step in made.steps]
    assert steps[0] == "lay_on_trays"
    assert steps.count("test_pouch") == 1
    assert steps.index("look_if_dry") < steps.index("fill_packs") < steps.index("test_pouch")


def test_the_night_is_judged_by_the_late_end_of_what_is_still_wet() -> None:
    made = plan()
    assert made.nothing_wet.high is not None and made.nothing_wet.middle is not None
    assert plan(bed=made.nothing_wet.middle).overnight == "do_not_stop"
    assert plan(bed=made.nothing_wet.high + timedelta(minutes=1)).overnight in ("may_stop", "dry_before")
    assert plan(bed=None).overnight is None


def test_long_hours_wet_and_warm_ask_for_less_on_the_trays() -> None:
    made = plan("porridge", lines=[line("oats_rolled", 300), line("water", 1300)])
    assert "wet_warm_long" in codes(made)
    assert made.thinner_load_kg is not None
    assert made.thinner_load_kg < made.trayed_kg
    less = plan("porridge", lines=[line("oats_rolled", 300), line("water", 1300)],
                trayed_mass_kg=made.thinner_load_kg)  # fmt: skip
    assert less.forecast.wet_warm_s.middle < made.forecast.wet_warm_s.middle
    assert less.forecast.wet_warm_s.middle == pytest.approx(6 * 3600.0, rel=0.1)


def test_the_slow_part_is_named_and_cutting_it_smaller_helps() -> None:
    made = plan()
    assert made.slow == "carrot"
    smaller = [
        line("carrot", 250, size_m=0.004) if one.pantry == "carrot" else one for one in request().lines
    ]
    assert plan(lines=smaller).slow != "carrot"


def test_meat_beans_and_fat_are_spoken_of() -> None:
    lines = [
        line("beef_mince", 500),
        line("beans_kidney", 150),
        line("tomato_canned", 400),
        line("olive_oil", 60),
    ]
    made = plan(lines=lines, cooked_mass_kg=1.0, dryer=dryer(temp_c=52.0))
    said = codes(made)
    for code in ("meat_heat_first", "meat_air_too_cool", "beans_boil_first", "fat_high"):
        assert code in said
    note = next(note for note in made.notes if note.code == "beans_boil_first")
    assert note.params["boil_time_s"] == 1800.0
    assert "fat_meat" not in said  # of 93 % lean
    fatty = [line("bacon", 300), line("potato", 500)]
    assert "fat_meat" in codes(plan(lines=fatty, cooked_mass_kg=0.7))


def test_energy_is_told_two_ways_and_is_never_below_the_heat_of_evaporation() -> None:
    energy = plan().energy
    assert energy.by_power_j is not None and energy.cost_minor is not None
    assert energy.by_power_j.low > energy.least_j
    assert energy.by_water_j.low > energy.least_j
    assert energy.cost_minor[1] == pytest.approx(energy.by_power_j.middle / 3.6e6 * 30.0, abs=0.51)
    unknown = plan(dryer=dryer(power_w=None))
    assert unknown.energy.by_power_j is None
    assert "air_stream_not_known" in codes(unknown)


def test_a_spoonful_narrows_the_end_mass() -> None:
    made = plan(spoonful=Spoonful(wet_kg=0.0300, dry_kg=0.0059), scale_step_kg=1e-4)
    assert made.solids.solids_frac == pytest.approx(0.0059 / 0.03 / 1.02023)
    recipe = plan()
    assert made.end_kg.high / made.end_kg.low < recipe.end_kg.high / recipe.end_kg.low
    assert "solids_from_recipe" not in codes(made)
    assert "solids_from_recipe" in codes(recipe)


def weights_of(made: DishPlan, hours: Sequence[float], truth: Doubts) -> list[TrayWeight]:
    """Masses a known dryer would show."""
    parts = trays_parts(made.request)
    priors = TrayPriors.of(library=LIBRARY)
    run = trays.tray_run(
        dryer=made.request.dryer, load=parts, target_water_frac=0.06, isotherms=isotherms(), doubts=truth,
        film_factor=priors.film_factor, heat_kept_frac=priors.heat_kept_frac, wet_aw=priors.wet_aw,
        growth_temp_c=priors.growth_temp_c, horizon_s=96 * 3600.0,
    )  # fmt: skip
    at = np.array(hours) * 3600.0
    ratio = run.mass_ratio(at_s=at)[:, 0] * made.trayed_kg
    return [TrayWeight(float(t), round(float(m) + 1.0, 3), 1.0) for t, m in zip(at, ratio, strict=True)]


def isotherms() -> tuple[Gab, ...]:
    return tuple(Gab.from_row(row) for row in tables.load("tray_isotherms"))


def trays_parts(of: DishRequest) -> trays.TrayLoad:
    from saltfare.plans import dish_plan as module

    kinds = [kind_of(line=one, library=LIBRARY) for one in of.lines]
    made = dish_plan(request=of, library=LIBRARY)
    return trays.TrayLoad(
        mass_kg=made.trayed_kg, water_frac=made.water_frac, density_kg_per_m3=1040.0,
        parts=module._parts(of.lines, kinds, LIBRARY), turned=True,
    )  # fmt: skip


def test_tray_weights_sharpen_the_hour_and_find_the_truth() -> None:
    first = plan()
    truth = Doubts(np.array([0.75]), np.array([0.6]), np.array([1.02]))
    width = []
    for hours in ((2.0,), (2.0, 4.0, 6.0), (2.0, 4.0, 6.0, 9.0, 12.0)):
        made = plan(weights=weights_of(first, hours, truth))
        low, middle, high = made.forecast.dry_s
        assert low is not None and middle is not None and high is not None
        width.append(high - low)
        assert made.forecast.air.low < 0.75 < made.forecast.air.high
    assert width[-1] < 0.5 * width[0]
    assert first.forecast.dry_s[1] is not None
    assert middle > first.forecast.dry_s[1]
    again = plan(weights=weights_of(first, (2.0, 4.0), truth)).forecast
    assert again == plan(weights=weights_of(first, (2.0, 4.0), truth)).forecast  # no random number


@given(air=st.floats(-1.2, 1.2), inside=st.floats(-1.2, 1.2))
@settings(max_examples=8, deadline=None)
def test_the_interval_after_weights_holds_the_truth(air: float, inside: float) -> None:
    of = request("porridge")
    truth = Doubts(*(np.array([np.exp(x)]) for x in (0.35 * air, 0.7 * inside, 0.0)))
    load = trays_parts(of)
    priors = TrayPriors.of(library=LIBRARY)
    run = trays.tray_run(
        dryer=of.dryer, load=load, target_water_frac=0.06, isotherms=isotherms(), doubts=truth,
        film_factor=priors.film_factor, heat_kept_frac=priors.heat_kept_frac, wet_aw=priors.wet_aw,
        growth_temp_c=priors.growth_temp_c, horizon_s=96 * 3600.0,
    )  # fmt: skip
    at = np.array([0.3, 0.6, 0.85]) * run.dry_s[0]
    shown = run.mass_ratio(at_s=at)[:, 0] * load.mass_kg
    weights = [TrayWeight(float(t), float(m), 0.0) for t, m in zip(at, shown, strict=True)]
    found = tray_forecast(
        dryer=of.dryer, load=load, target_water_frac=0.06, isotherms=isotherms(), priors=priors,
        weights=weights, scale_step_kg=0.001,
    )  # fmt: skip
    low, _, high = found.dry_s
    assert low is not None and high is not None
    assert low * 0.97 <= run.dry_s[0] <= high * 1.03
    assert not found.odd


def test_a_weight_far_from_the_curve_is_named() -> None:
    truth = Doubts(np.ones(1), np.ones(1), np.ones(1))
    weights = weights_of(plan(), (2.0, 4.0, 6.0, 8.0), truth)
    wrong = [*weights[:2], dataclasses.replace(weights[2], gross_kg=weights[2].gross_kg + 0.4), weights[3]]
    assert "tray_weight_odd" in codes(plan(weights=wrong))
    assert "tray_weight_odd" not in codes(plan(weights=weights))


def test_the_end_point_is_told_once_there_are_weights() -> None:
    made = plan()
    dry = [TrayWeight(h * 3600.0, made.end_kg.middle * f, 0.0) for h, f in ((17.0, 1.004), (18.2, 1.0))]
    assert plan(weights=dry, thickest_brittle=True).end_point == "dry"
    assert plan(weights=dry).end_point == "snap_it"
    assert plan(weights=dry[:1], thickest_brittle=True).end_point in ("weigh_again", "not_at_mass")
    assert made.end_point is None


# -- the pouch ---------------------------------------------------------------------------------------------


def trial(hard_min: float | None, soft_min: float | None, off_kg: float = 0.0) -> PouchTrial:
    return PouchTrial(
        at=HOME, dry_kg=0.124, water_kg=0.476, poured_off_kg=off_kg, added_kg=0.0,
        hard_at_s=None if hard_min is None else hard_min * 60,
        soft_at_s=None if soft_min is None else soft_min * 60,
    )  # fmt: skip


def test_the_test_pouch_corrects_the_label() -> None:
    before = plan().pouch
    hard = plan(trials=[trial(30.0, 45.0)]).pouch
    wet = plan(trials=[trial(None, 15.0, off_kg=0.08)]).pouch
    assert before is not None and hard is not None and wet is not None
    times = [one.soft_s[1] or 0.0 for one in (wet, before, hard)]
    assert times[0] < times[1] < times[2]
    assert wet.water_kg.middle < before.water_kg.middle
    assert wet.water_kg.middle == pytest.approx((0.476 - 0.08), rel=0.05)
    assert hard.water_kg.middle == pytest.approx(before.water_kg.middle, rel=0.02)

    def width(one: tuple[float | None, float | None, float | None]) -> float:
        return np.log((one[2] or np.inf) / (one[0] or 1.0))

    assert width(hard.soft_s) < width(before.soft_s)
    assert hard.learnt_minutes.low > before.learnt_minutes.low


def test_cover_wind_and_height_move_the_minutes() -> None:
    def minutes(**changes: object) -> float:
        made = plan("porridge", camp=dataclasses.replace(CAMP, **changes)).pouch  # type: ignore[arg-type]
        assert made is not None
        return made.soft_s[1] or np.inf

    assert minutes(cover="cosy_thick") < minutes(cover="cosy") < minutes(cover="wrap") < minutes(cover="bare")
    assert minutes(cover="bare", wind_m_per_s=3.0) >= minutes(cover="bare")
    assert minutes(altitude_m=4000.0) > minutes(altitude_m=0.0)


def test_a_cold_soak_takes_hours_and_says_what_it_is_for() -> None:
    cold = plan("porridge", camp=dataclasses.replace(CAMP, water_temp_c=8.0)).pouch
    hot = plan("porridge").pouch
    assert cold is not None and hot is not None and cold.soft_s[1] is not None and hot.soft_s[1] is not None
    # known miss of practice (from memory, two to four times as long): the published energies give ten
    assert 6.0 < cold.soft_s[1] / hot.soft_s[1] < 14.0
    said = [note.code for note in cold.notes]
    assert "cold_soak_precooked" in said and "soft_after_clock" in said
    assert "boiling_water_scalds" not in said
    assert cold.above_hot_s == 0.0


def test_nobody_stirred_leaves_the_middle_dry() -> None:
    made = plan().pouch
    assert made is not None
    assert made.unstirred_dry_frac > 0.5
    assert made.unstirred_even_s > made.stir_s[-1]
    assert made.stir_s[0] == 0.0 and len(made.stir_s) == 3


def test_meat_beside_the_pouch_counts_in_what_is_eaten() -> None:
    salami = line("salami", 60)
    eaten = ingredient_amounts(ingredient=salami.ingredient, cooked=False)
    told = ((salami.ingredient.name, salami.declared),)
    made = plan(beside=[BesidePart(name="salami", amounts=eaten, declared=told)])
    alone = plan()
    assert made.beside is not None and made.pouch is not None
    together, each = made.beside.together, made.packs.each
    assert together.mass_kg == pytest.approx(made.trayed_kg / 4 + 0.060, rel=1e-6)
    for name in ("energy", "sodium", "protein"):
        added = made.beside.added.value(name)
        assert added is not None and added > 0
        assert together.value(name) == pytest.approx((each.value(name) or 0.0) + added)
    assert together.value("water") == pytest.approx(
        made.water_frac * made.trayed_kg / 4 + 0.060 * 0.412, rel=2e-3
    )
    # nothing is known of what is in this salami, and barley stays
    found = {one.allergen_class: one.presence for one in made.beside.allergens["eu"]}
    assert found["gluten_cereals"] is Presence.CONTAINS
    assert found["milk"] is Presence.CANNOT_TELL
    dish_only = {one.allergen_class: one.presence for one in alone.allergens["eu"]}
    assert dish_only["milk"] is Presence.NOT_PUT_IN


# -- bad input ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"cooked_mass_kg": 5.0}, "cooked_heavier_than_put_in"),
        ({"target_water_frac": -0.1}, "target_water_impossible"),
        ({"target_water_frac": 0.9}, "target_wetter_than_dish"),
        ({"trayed_mass_kg": 3.0}, "trayed_heavier_than_cooked"),
        ({"trayed_mass_kg": -1.0}, "mass_not_positive"),
        ({"scale_step_kg": 0.0}, "mass_not_positive"),
        ({"weights": [TrayWeight(3600.0, 0.2, 0.5)]}, "tray_lighter_than_tare"),
        ({"start": datetime(2026, 3, 2, 9)}, "start_without_zone"),
        ({"packs": 0}, "packs_not_positive"),
        ({"pack_mass_kg": 1.0}, "packs_exceed_dish"),
        ({"lines": []}, "dish_empty"),
        ({"trials": [trial(30.0, 20.0)]}, "soft_before_hard"),
        ({"trials": [trial(None, 20.0, off_kg=0.6)]}, "poured_off_exceeds_water"),
        ({"trials": [trial(None, -5.0)]}, "time_impossible"),
    ],
)
def test_what_cannot_be_is_refused_by_name(changes: dict[str, object], code: str) -> None:
    with pytest.raises(Refused) as error:
        plan(**changes)
    assert code in [problem.code for problem in error.value.problems]


def test_an_ingredient_without_composition_is_named_not_counted_as_nothing() -> None:
    unknown = DishLine(ingredient=Ingredient("grandmother's broth", None, 0.5, 1.0, None, None))
    with pytest.raises(Refused) as error:
        plan(lines=[*request().lines, unknown])
    problem = error.value.problems[0]
    assert problem.code == "solids_unknown"
    assert "grandmother's broth" in str(problem.params["ingredients"])
