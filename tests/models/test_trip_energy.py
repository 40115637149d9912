from __future__ import annotations

import math

import pytest

from saltfare.core import tables
from saltfare.core.errors import OutOfRange
from saltfare.models.trip_energy import (
    DAY_S,
    KCAL_J,
    Adder,
    NeedEquation,
    Span,
    added_energy_range,
    day_energy_dri,
    day_energy_ledger,
    power_met,
    power_met_resting,
    resting_power_mifflin,
)
from saltfare.models.trip_energy_food import (
    Band,
    energy_shares,
    food_energy_general,
    protein_day_range,
    sodium_from_salt,
    sodium_sweat_range,
)

NEEDS = tables.load("energy_need")


def kcal(row: str, age: float, height: float, mass: float) -> float:
    equation = NeedEquation.from_row(NEEDS.row(row))
    return day_energy_dri(equation=equation, age_years=age, height_m=height, mass_kg=mass) / KCAL_J


# Reference woman of iom_2005 (19 years, 163 cm, 57 kg, active): 2403 kcal printed.
def test_the_reference_woman_of_2005_needs_what_is_printed() -> None:
    assert kcal("dri2005_female_active", 19, 1.63, 57.0) == pytest.approx(2403, abs=0.5)


# iom_2005, note to the table: a year of age is 10 kcal of a man, 7 of a woman.
@pytest.mark.parametrize(("row", "step"), [("dri2005_male_active", 10), ("dri2005_female_active", 7)])
def test_a_year_of_age_costs_what_the_note_prints(row: str, step: float) -> None:
    assert kcal(row, 30, 1.7, 70) - kcal(row, 31, 1.7, 70) == pytest.approx(step, abs=0.5)


def test_need_rises_with_the_level_in_both_editions() -> None:
    for edition in ("2005", "2023"):
        for sex in ("male", "female"):
            rows = (f"dri{edition}_{sex}_{n}" for n in ("inactive", "low_active", "active", "very_active"))
            needs = [kcal(row, 40, 1.75, 72) for row in rows]
            assert needs == sorted(needs)
            assert len(set(needs)) == 4


# The two editions describe the same people: within 8 % for adults of usual size (own band).
def test_editions_agree_within_a_band() -> None:
    for sex in ("male", "female"):
        for level in ("inactive", "low_active", "active", "very_active"):
            old = kcal(f"dri2005_{sex}_{level}", 40, 1.75, 72)
            new = kcal(f"dri2023_{sex}_{level}", 40, 1.75, 72)
            assert abs(new / old - 1) < 0.08


@pytest.mark.parametrize(
    ("age", "mass"), [(18.9, 70), (130, 70), (40, 0), (40, -3), (40, math.nan), (math.nan, 70)]
)
def test_an_adult_line_refuses_what_it_does_not_cover(age: float, mass: float) -> None:
    with pytest.raises(OutOfRange):
        kcal("dri2023_male_active", age, 1.75, mass)


def test_children_have_lines_of_their_own() -> None:
    # Values worked by hand from the printed line: 19.12 + 3.68 16 + 8.62 170 + 20.28 60.
    assert kcal("dri2023_child_male_low_active", 16, 1.70, 60) == pytest.approx(2760.2, abs=0.05)
    with pytest.raises(OutOfRange):
        kcal("dri2023_child_male_low_active", 19, 1.70, 60)


# mifflin_1990 by hand: 10 80 + 6.25 180 - 5 40 + 5 = 1730; the slip "- (5 - age)" would give 1970.
def test_resting_rate_takes_five_times_the_age_away() -> None:
    man = resting_power_mifflin(sex="male", age_years=40, height_m=1.80, mass_kg=80)
    woman = resting_power_mifflin(sex="female", age_years=30, height_m=1.68, mass_kg=62)
    assert man * DAY_S / KCAL_J == pytest.approx(1730.0)
    assert woman * DAY_S / KCAL_J == pytest.approx(1359.0)


# compendium_2011, read in two transcriptions independent of the table's.
@pytest.mark.parametrize(
    ("code", "met"),
    [("17010", 7.0), ("17050", 8.3), ("07030", 0.95), ("18020", 4.0), ("18100", 5.0), ("19080", 6.8),
     ("19190", 5.3), ("04001", 3.5), ("04050", 6.0), ("09110", 2.5), ("08020", 6.3)],
)  # fmt: skip
def test_compendium_rows(code: str, met: float) -> None:
    assert tables.load("activity").row(f"met2011_{code}").number("met") == met


def test_a_day_of_walking_by_plain_and_by_own_multiples() -> None:
    # 8 h at 0.95, 6 h at 7.0, 3 h at 2.5, 7 h at 1.3 of a man of 40, 180 cm, 80 kg: sum of MET hours 66.2.
    parts = [(8, 0.95), (6, 7.0), (3, 2.5), (7, 1.3)]
    rest = resting_power_mifflin(sex="male", age_years=40, height_m=1.80, mass_kg=80)
    plain = day_energy_ledger(spans=[Span(h * 3600, power_met(met=m, mass_kg=80)) for h, m in parts])
    own = day_energy_ledger(
        spans=[Span(h * 3600, power_met_resting(met=m, resting_power_w=rest)) for h, m in parts]
    )
    assert plain / KCAL_J == pytest.approx(66.2 * 80)
    assert own / KCAL_J == pytest.approx(66.2 * 1730 / 24)


def test_a_ledger_that_is_not_a_day_is_refused() -> None:
    for hours in ((8, 8), (20, 8), (24, math.nan)):
        with pytest.raises(OutOfRange):
            day_energy_ledger(spans=[Span(h * 3600, 100.0) for h in hours])


def test_adders_are_ranges_and_add_up() -> None:
    rows = tables.load("trip_adders")
    cold, high = (Adder.from_row(rows.row(r)) for r in ("cold_regulation", "altitude"))
    assert added_energy_range(energy_j=100.0, adders=[cold, high]) == pytest.approx((120.0, 160.0))
    assert added_energy_range(energy_j=100.0, adders=[]) == (100.0, 100.0)
    for row in rows:
        adder = Adder.from_row(row)
        assert 0.0 <= adder.low_frac <= adder.high_frac


# 21 CFR 101.9 general factors: 4, 9 and 4 kcal a gram.
def test_energy_shares_add_up_and_follow_the_factors() -> None:
    assert food_energy_general(protein_kg=0.1, fat_kg=0.1, carbohydrate_kg=0.1) / KCAL_J == pytest.approx(
        1700
    )
    shares = energy_shares(protein_kg=0.1, fat_kg=0.1, carbohydrate_kg=0.1)
    assert shares.fat_frac == pytest.approx(9 / 17)
    assert shares.protein_frac + shares.fat_frac + shares.carbohydrate_frac == pytest.approx(1.0)
    with pytest.raises(OutOfRange):
        energy_shares(protein_kg=0.0, fat_kg=0.0, carbohydrate_kg=0.0)


def test_protein_and_sodium_stand_beside_published_bands() -> None:
    rows = tables.load("trip_nutrition")
    rda = protein_day_range(mass_kg=70, per_kg=Band.per_kg_from_row(rows.row("protein_rda")))
    assert rda.low == pytest.approx(0.056)  # iom_2005: 56 g for a man of 70 kg, printed
    field = Band.sodium_from_row(rows.row("sodium_field"))
    assert [field.stands(kg) for kg in (0.004, 0.006, 0.008)] == ["below", "inside", "above"]
    lost = sodium_sweat_range(sweat_m3=0.003, per_litre=Band.sodium_from_row(rows.row("sweat_sodium")))
    assert (lost.low, lost.high) == pytest.approx((0.0006, 0.006))
    # 100 g of meat with 5 % salt brings about 2 g of sodium
    assert sodium_from_salt(salt_kg=0.005) == pytest.approx(0.00197, abs=1e-5)
