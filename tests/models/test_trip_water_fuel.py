from __future__ import annotations

import math

import pytest
from chemicals import combustion_data
from CoolProp.CoolProp import PropsSI

from saltfare.core import tables
from saltfare.core.errors import OutOfRange
from saltfare.models.trip_fuel import (
    Stove,
    boiling_temp_if97,
    fuel_mass,
    heat_to_boil,
    pressure_standard,
)
from saltfare.models.trip_water import (
    DrinkCap,
    DrinkRate,
    day_drink_split,
    day_water,
    drink_row,
    soak_water,
)

WATER = tables.load("water_need")
CAP = DrinkCap.from_row(WATER.row("cap"))
LITRE = 0.001
F = 5.0 / 9.0


def rate(wbgt_c: float, work: str) -> DrinkRate:
    return DrinkRate.from_row(drink_row(rows=WATER, wbgt_c=wbgt_c, work=work))


# iom_2004_water: 81 % of the total is drunk, 19 % comes with food.
def test_drinks_and_food_make_the_daily_intake() -> None:
    for row, total in (("dri_male", 3.7), ("dri_female", 2.7)):
        drinks, food = WATER.row(row).number("drinks_l"), WATER.row(row).number("food_l")
        assert drinks + food == pytest.approx(total * LITRE)
        assert drinks / (total * LITRE) == pytest.approx(0.81, abs=0.006)


# tb_med_507: the printed quarts an hour, at temperatures inside and between the printed categories.
@pytest.mark.parametrize(
    ("wbgt_f", "work", "quart"),
    [
        (80, "easy", 0.5),
        (80, "hard", 0.75),
        (81.95, "easy", 0.5),
        (83, "hard", 1.0),
        (86, "easy", 0.75),
        (91, "moderate", 1.0),
    ],
)
def test_rates_of_the_heat_table(wbgt_f: float, work: str, quart: float) -> None:
    found = rate((wbgt_f - 32) * F, work)
    assert found.low_m3 == found.high_m3 == pytest.approx(quart * 0.946352946 * LITRE)


def test_cool_days_and_days_hotter_than_the_table() -> None:
    assert rate(12.0, "hard") == DrinkRate(pytest.approx(0.4 * LITRE), pytest.approx(0.5 * LITRE))
    with pytest.raises(OutOfRange):
        rate(60.0, "easy")
    with pytest.raises(OutOfRange):
        rate(30.0, "idle")


# iom_2004_water, page 129: 3 to 6 litres a day in temperate air, 4 to 12 in heat, quiet to very active.
def test_days_lie_in_the_published_ranges() -> None:
    base = WATER.row("dri_male").number("drinks_l")
    cool = day_drink_split(base_m3=base, work_s=6 * 3600, rate=rate(12.0, "moderate"), cap=CAP)
    hot = day_drink_split(base_m3=base, work_s=6 * 3600, rate=rate(26.0, "moderate"), cap=CAP)
    assert 3 * LITRE <= cool.low_m3 <= cool.high_m3 <= 6 * LITRE
    assert 4 * LITRE <= hot.low_m3 <= 12 * LITRE
    assert not hot.above_cap


def test_too_much_to_drink_is_marked_and_not_cut() -> None:
    heavy = DrinkRate(1.6e-3, 1.6e-3)
    found = day_drink_split(base_m3=3e-3, work_s=4 * 3600, rate=heavy, cap=CAP)
    assert found.above_cap
    assert found.high_m3 == pytest.approx(3e-3 * 12 / 16 + 4 * 1.6e-3)
    with pytest.raises(OutOfRange):
        day_drink_split(base_m3=3e-3, work_s=17 * 3600, rate=heavy, cap=CAP)


def test_soaking_closes_the_balance_of_dry_matter() -> None:
    for dry, before, after in ((0.133, 0.06, 0.75), (0.1, 0.05, 0.70), (0.15, 0.08, 0.78)):
        water = soak_water(dry_kg=dry, water_dry_frac=before, water_ready_frac=after)
        assert (dry * before + water) / (dry + water) == pytest.approx(after)
    with pytest.raises(OutOfRange):
        soak_water(dry_kg=0.1, water_dry_frac=0.5, water_ready_frac=0.4)


def test_soaked_food_counts_once() -> None:
    dry = day_water(drink_m3=3e-3, soak_kg=0.0, fresh_food_m3=0.7e-3, boiled_off_frac=0.0, wash_kg=0.3)
    soaked = day_water(drink_m3=3e-3, soak_kg=0.7, fresh_food_m3=0.7e-3, boiled_off_frac=0.0, wash_kg=0.3)
    more = day_water(drink_m3=3e-3, soak_kg=1.0, fresh_food_m3=0.7e-3, boiled_off_frac=0.1, wash_kg=0.3)
    assert dry.total_kg == pytest.approx(soaked.total_kg) == pytest.approx(4.0)
    assert more.cook_kg == pytest.approx(1.0 / 0.9)
    assert more.drink_kg == pytest.approx(3.0)


# Against an independent property library.
@pytest.mark.parametrize("pressure", [30e3, 54e3, 70e3, 101325.0, 1e6])
def test_boiling_point(pressure: float) -> None:
    library = PropsSI("T", "P", pressure, "Q", 0, "Water") - 273.15
    assert boiling_temp_if97(pressure_pa=pressure) == pytest.approx(library, abs=0.02)


# Standard atmosphere tables: 89874.6 Pa at 1000 m, 70108.5 at 3000, 54019.9 at 5000 (printed, from memory).
@pytest.mark.parametrize(
    ("height", "pascal"), [(0, 101325), (1000, 89874.6), (3000, 70108.5), (5000, 54019.9)]
)
def test_standard_pressure(height: float, pascal: float) -> None:
    assert pressure_standard(altitude_m=height) == pytest.approx(pascal, rel=2e-5)


def test_heat_of_water_and_snow_agrees_with_the_library() -> None:
    boil = boiling_temp_if97(pressure_pa=101325.0) + 273.15 - 0.01
    enthalpy = [PropsSI("H", "T", t, "P", 101325, "Water") for t in (boil, 283.15)]
    heat = heat_to_boil(water_kg=1.0, start_temp_c=10.0, snow_kg=0.0, snow_temp_c=0.0, altitude_m=0.0)
    assert heat == pytest.approx(enthalpy[0] - enthalpy[1], rel=5e-3)
    zero = PropsSI("H", "T", 273.16, "P", 101325, "Water")
    snow = heat_to_boil(water_kg=0.0, start_temp_c=10.0, snow_kg=1.0, snow_temp_c=-10.0, altitude_m=0.0)
    # heat of melting 333.55 kJ/kg and ice 2.05 to 2.11 kJ/kg K, general handbooks, from memory
    assert snow == pytest.approx(enthalpy[0] - zero + 333.55e3 + 10 * 2.08e3, rel=5e-3)


# Lower heating values by enthalpies of formation, computed by an independent library.
@pytest.mark.parametrize(
    ("row", "formula", "formation"),
    [
        ("n_butane", {"C": 4, "H": 10}, -125790.0),
        ("isobutane", {"C": 4, "H": 10}, -134180.0),
        ("propane", {"C": 3, "H": 8}, -104680.0),
        ("ethanol", {"C": 2, "H": 6, "O": 1}, -277600.0),
        ("methanol", {"C": 1, "H": 4, "O": 1}, -238900.0),
    ],
)
def test_fuels_by_enthalpies_of_formation(row: str, formula: dict[str, int], formation: float) -> None:
    found = combustion_data(formula=formula, Hf=formation)
    by_mass = -found.LHV / (found.MW * 1e-3)
    assert tables.load("fuels").row(row).number("mj_per_kg") == pytest.approx(by_mass, rel=3e-3)


def stove(kind: str, *conditions: str) -> Stove:
    stoves, states = tables.load("stoves"), tables.load("stove_conditions")
    row = stoves.row(kind)
    fuel = tables.load("fuels").row(row.text("fuel"))
    return Stove.from_rows(fuel=fuel, stove=row, conditions=tuple(states.row(c) for c in conditions))


def test_fuel_for_a_litre_at_a_bare_gas_burner() -> None:
    heat = heat_to_boil(water_kg=1.0, start_temp_c=10.0, snow_kg=0.0, snow_temp_c=0.0, altitude_m=0.0)
    low, high = fuel_mass(heat_j=heat, simmer_power_w=0.0, simmer_time_s=0.0, stove=stove("gas_bare"))
    # 7 to 10 g for half a litre is the habit; the range spans it
    assert low < 2 * 0.0085 < high
    wind = fuel_mass(
        heat_j=heat, simmer_power_w=0.0, simmer_time_s=0.0, stove=stove("gas_bare", "wind", "cold")
    )
    assert wind == pytest.approx((low * 1.4, high * 2.0))
    with pytest.raises(OutOfRange):
        fuel_mass(
            heat_j=heat, simmer_power_w=0.0, simmer_time_s=0.0, stove=Stove(math.nan, 0.4, 0.6, 0.0, 0.0)
        )


def test_height_saves_heat_and_snow_costs_it() -> None:
    args = {"start_temp_c": 5.0, "snow_temp_c": -5.0}
    low = heat_to_boil(water_kg=1.0, snow_kg=0.0, altitude_m=0.0, **args)
    high = heat_to_boil(water_kg=1.0, snow_kg=0.0, altitude_m=3000.0, **args)
    snow = heat_to_boil(water_kg=0.0, snow_kg=1.0, altitude_m=3000.0, **args)
    assert high < low < snow
