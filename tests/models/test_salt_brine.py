"""Brines, needles and drained liquid, whose rules, freezing: against printed figures and other tables."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from saltfare.core import tables
from saltfare.core.errors import OutOfRange
from saltfare.models import brine, cure_rules, parasite_freezing, salting
from saltfare.models.brine import BrineDensity
from saltfare.models.cure_rules import Agent, Ceiling, Way
from saltfare.models.parasite_freezing import FreezingRow
from saltfare.models.salting import CureLimit

TABLE = BrineDensity.from_rows(tables.load("brine_density"))
RULES = tables.load("salting_rules")
INCH = 0.0254


@pytest.mark.parametrize(
    ("molality", "specific_volume"),
    # Rogers and Pitzer 1982, specific volume at 20 C in cm3/g by molality
    [(0.5, 0.981833), (1.0, 0.963544), (2.0, 0.930909), (3.0, 0.902565), (4.0, 0.877643), (5.0, 0.855469)],
)
def test_density_agrees_with_rogers_pitzer_1982(molality: float, specific_volume: float) -> None:
    salt = molality * 0.0584428
    density = brine.density_brine(strength_frac=salt / (1 + salt), table=TABLE)
    assert density == pytest.approx(1000 / specific_volume, abs=0.5)


def test_density_agrees_with_phreeqc() -> None:
    # PHREEQC with the Pitzer database, a reference library
    phreeqpython = pytest.importorskip("phreeqpython")
    engine = phreeqpython.PhreeqPython(database="pitzer.dat")
    for molality in (0.5, 1.5, 3.0, 5.0):
        solution = engine.add_solution_simple({"NaCl": molality * 1000}, temperature=20)
        salt = molality * 0.0584428
        ours = brine.density_brine(strength_frac=salt / (1 + salt), table=TABLE)
        assert ours == pytest.approx(1000 * solution.density, abs=1.5)


def test_litres_are_mass_over_density() -> None:
    litres = 1e3 * brine.volume_brine(brine_kg=2.0, strength_frac=0.10, table=TABLE)
    assert litres == pytest.approx(2.0 / 1.0707, rel=1e-9)


@given(
    aim=st.floats(1e-6, 5e-4),
    uptake=st.floats(0.02, 0.3),
    whole=st.floats(0.1, 20.0),
    green=st.floats(0.1, 20.0),
)
def test_share_to_agent_and_back_by_both_methods(
    aim: float, uptake: float, whole: float, green: float
) -> None:
    one = brine.agent_mass_from_pick_up(ingoing_frac=aim, uptake_frac=uptake, brine_kg=whole)
    assert brine.agent_ingoing_pick_up(agent_kg=one, uptake_frac=uptake, brine_kg=whole) == pytest.approx(aim)
    two = brine.agent_mass_from_even(ingoing_frac=aim, green_mass_kg=green, brine_kg=whole)
    assert brine.agent_ingoing_even(agent_kg=two, green_mass_kg=green, brine_kg=whole) == pytest.approx(aim)


@given(
    salt=st.floats(0.005, 0.06),
    water=st.floats(0.3, 0.77),
    green=st.floats(0.2, 10.0),
    whole=st.floats(0.2, 20.0),
    others=st.floats(0.0, 0.02),
)
def test_salt_of_meat_and_brine_is_the_salt_put_in(
    salt: float, water: float, green: float, whole: float, others: float
) -> None:
    put = brine.salt_mass_from_share_by_water(
        salt_frac=salt, green_mass_kg=green, water_frac=water, brine_kg=whole, others_kg=others * whole
    )
    if put > 0.264 * whole:  # no brine holds that much: a plan refuses it
        return
    left = whole - put - others * whole
    held = brine.share_by_water(solute_kg=put, green_mass_kg=green, water_frac=water, brine_water_kg=left)
    assert held == pytest.approx(salt, rel=1e-9)
    in_brine = put * left / (green * water + left)
    assert held * green + in_brine == pytest.approx(put, rel=1e-9)


def test_equal_by_water_is_less_in_the_meat_than_equal_by_weight() -> None:
    # the handbook takes meat and brine as one mass; meat holds less water than brine
    by_law = brine.agent_ingoing_even(agent_kg=1e-3, green_mass_kg=2.0, brine_kg=2.0)
    by_water = brine.share_by_water(solute_kg=1e-3, green_mass_kg=2.0, water_frac=0.72, brine_water_kg=1.8)
    assert by_water < by_law


def test_salt_of_a_pumped_piece_by_its_pumped_weight() -> None:
    # third-party application of the handbook: 11.0678 % brine, 10 % pump; 1.006 % of the pumped weight
    share = brine.salt_share_pumped(strength_frac=0.110678, uptake_frac=0.10)
    assert share * 100 == pytest.approx(1.006, abs=5e-4)


def test_what_every_way_brings_is_summed() -> None:
    assert brine.agent_ingoing_summed(shares_frac=(5e-5, 1e-4)) == pytest.approx(1.5e-4)


@pytest.mark.parametrize(("strength", "sign"), [(50, 1), (100, 1), (150, 1), (200, 0), (240, -1), (280, -1)])
def test_water_goes_the_way_that_was_measured(strength: float, sign: int) -> None:
    # Food Engineering Series 2015, chapter 47: below 200 kg/m3 hydrates, about 200 none, above dehydrates
    assert (
        brine.water_flux_sign(
            salt_kg_per_m3=strength,
            balance_kg_per_m3=RULES.row("water_balance").number("kg_per_m3"),
            spread_kg_per_m3=RULES.row("water_balance_spread").number("kg_per_m3"),
        )
        == sign
    )


@given(liquid=st.floats(0.0, 1.0), applied=st.floats(0.0, 0.3), strength=st.floats(0.0, 0.3))
def test_a_drained_liquid_carries_no_more_than_it_can(liquid: float, applied: float, strength: float) -> None:
    low, high = brine.salt_with_liquid_bounds(liquid_kg=liquid, applied_kg=applied, saturation_frac=0.264)
    assert low == 0.0 and high == min(applied, 0.264 * liquid)
    if liquid * strength > high * (1 + 1e-9) + 1e-12:
        with pytest.raises(OutOfRange):
            brine.salt_with_liquid(
                liquid_kg=liquid, strength_frac=strength, applied_kg=applied, saturation_frac=0.264
            )
    elif liquid * strength <= high:
        gone = brine.salt_with_liquid(
            liquid_kg=liquid, strength_frac=strength, applied_kg=applied, saturation_frac=0.264
        )
        assert 0 <= gone <= min(applied, 0.264 * liquid) * (1 + 1e-9)


@given(
    water=st.floats(0.5, 0.77),
    solids=st.floats(0.1, 0.25),
    salt=st.floats(0.0, 0.06),
    loss=st.floats(-0.2, 0.08),
)
def test_a_piece_that_took_up_salt_adds_up(water: float, solids: float, salt: float, loss: float) -> None:
    fat = 1 - water - solids
    if fat < 0:
        return
    left = salting.salted_composition_taken(
        water_frac=water, fat_frac=fat, salt_frac=salt, sugar_frac=0.0, net_loss_frac=loss
    )
    assert left.mass_frac == pytest.approx(1 - loss, abs=1e-12)
    assert left.salt_frac == salt and left.solids_frac == pytest.approx(solids)


# --- whose rules --------------------------------------------------------------------------------------


def agent(name: str) -> Agent:
    return Agent.from_row(tables.load("cure_agents").row(name))


def ceilings(rules: str, ways: tuple[Way, ...], name: str, *, is_belly: bool = False) -> dict[str, Ceiling]:
    found = cure_rules.ceilings_for(
        rows=tables.load("cure_limits"), rules=rules, is_belly=is_belly, ways=ways, agent=agent(name)
    )
    return {c.row.text("id"): c for c in found}


def lowest_ppm(rules: str, ways: tuple[Way, ...], name: str, *, is_belly: bool = False) -> float:
    found = tuple(ceilings(rules, ways, name, is_belly=is_belly).values())
    lowest = cure_rules.lowest_ceiling(ceilings=found)
    assert lowest is not None
    return lowest.of_salt_frac * 1e6


def test_pounds_to_a_hundred_gallons_at_ten_per_cent_pump() -> None:
    # 9 CFR 424.21(c): 2 lb nitrite, 7 lb nitrate to 100 gal; pickle of 10 lb/gal: 200 and 700 ppm
    rows = tables.load("cure_limits")
    assert CureLimit.from_row(rows.row("us_pumped_nitrite")).limit_frac * 1e6 == pytest.approx(200)
    assert CureLimit.from_row(rows.row("us_pumped_nitrate")).limit_frac * 1e6 == pytest.approx(700)
    # CFIA: 62 g nitrite and 186 g nitrate to 100 kg
    assert CureLimit.from_row(rows.row("ca_rack_nitrite")).limit_frac * 1e6 == pytest.approx(620)
    assert CureLimit.from_row(rows.row("ca_rack_nitrate")).limit_frac * 1e6 == pytest.approx(1860)


@pytest.mark.parametrize(
    ("rules", "ways", "is_belly", "ppm"),
    # as sodium nitrite: 9 CFR 424.21(c) and 424.22(b); (EU) 2023/2108, 80 of the ion; CFIA 200 and 120
    [
        ("us_home", ("dry",), False, 625),
        ("us_commercial", ("immersed",), False, 200),
        ("us_home", ("pumped", "dry"), False, 200),
        ("us_home", ("dry",), True, 200),
        ("us_home", ("immersed",), True, 120),
        ("us_home", ("pumped",), True, 120),
        ("eu", ("dry",), False, 120),
        ("eu", ("pumped",), True, 120),
        ("ca", ("dry",), False, 200),
        ("ca", ("immersed",), True, 120),
    ],
)
def test_the_ceiling_that_binds(rules: str, ways: tuple[Way, ...], is_belly: bool, ppm: float) -> None:
    assert lowest_ppm(rules, ways, "sodium_nitrite", is_belly=is_belly) == pytest.approx(ppm, abs=0.05)


def test_potassium_is_held_to_its_own_row_to_the_ion_or_by_mole() -> None:
    # 9 CFR 424.21(c) prints one weight for both salts, 424.22(b) a column of its own
    assert lowest_ppm("us_home", ("dry",), "potassium_nitrite") == pytest.approx(625)
    assert lowest_ppm("us_home", ("dry",), "potassium_nitrite", is_belly=True) == pytest.approx(246)
    assert lowest_ppm("us_home", ("pumped",), "potassium_nitrite", is_belly=True) == pytest.approx(148)
    assert lowest_ppm("eu", ("dry",), "potassium_nitrite") == pytest.approx(80 / 0.54058, abs=0.01)
    assert lowest_ppm("ca", ("dry",), "potassium_nitrite") == pytest.approx(200 * 1.23347, abs=0.01)


def test_only_rows_in_force_are_held_against_a_piece() -> None:
    for rules in ("us_home", "us_commercial", "eu", "ca"):
        for ways in (("dry",), ("immersed",), ("pumped",)):
            for name in ("sodium_nitrite", "sodium_nitrate"):
                for found in ceilings(rules, ways, name).values():  # type: ignore[arg-type]
                    assert found.row.text("status") == "in_force"
    old = [row for row in tables.load("cure_limits") if row.text("edition") == "1129/2011"]
    assert old and {row.text("status") for row in old} == {"superseded"}
    # residual limits of the new rule were not read: there is no row to compare with
    new = [row for row in tables.load("cure_limits") if row.text("edition") == "2023/2108"]
    assert {row.text("basis") for row in new} == {"green"}
    assert {row.text("since") for row in new} == {"2025-10-09"}
    assert not ceilings("eu", ("dry",), "sodium_nitrate")


def test_every_limit_says_where_it_stands() -> None:
    for row in tables.load("cure_limits"):
        assert row.text("basis") in ("green", "green_skin_free", "finished"), row.ref
        assert row.text("bound") in ("most", "least") and row.text("edition"), row.ref
        assert row.text("status") in ("in_force", "superseded", "not_offered"), row.ref
        assert row.text("how_known") != "memory", row.ref
        CureLimit.from_row(row)


# --- freezing -----------------------------------------------------------------------------------------

FREEZE = tuple(
    FreezingRow.from_row(row) for row in tables.load("parasites") if row.text("method") == "freeze_air"
)


@pytest.mark.parametrize(
    ("inches", "fahrenheit", "days"),
    # 9 CFR 318.10(c)(2), table 1, as printed
    [(6, 5, 20), (6, -10, 10), (6, -20, 6), (6.5, 5, 30), (27, -10, 20), (27, -20, 12), (3, 0, 20)],
)
def test_freezing_is_the_printed_table(inches: float, fahrenheit: float, days: float) -> None:
    found = parasite_freezing.freezing_time_table(
        thickness_m=inches * INCH, temp_c=(fahrenheit - 32) / 1.8, rows=FREEZE
    )
    assert found is not None and found[0] / 86400 == pytest.approx(days)


def test_a_freezer_warmer_than_the_table_has_no_row() -> None:
    assert parasite_freezing.freezing_time_table(thickness_m=0.05, temp_c=-14.9, rows=FREEZE) is None
    with pytest.raises(OutOfRange):
        parasite_freezing.freezing_time_table(thickness_m=0.7, temp_c=-20.0, rows=FREEZE)


@given(
    thickness=st.floats(0.01, 0.6),
    temp=st.floats(-40, -15.01),
    thicker=st.floats(0, 0.08),
    colder=st.floats(0, 9),
)
def test_thicker_never_takes_less_and_colder_never_more(
    thickness: float, temp: float, thicker: float, colder: float
) -> None:
    def asked(t: float, c: float) -> float:
        found = parasite_freezing.freezing_time_table(thickness_m=t, temp_c=c, rows=FREEZE)
        assert found is not None
        return found[0]

    here = asked(thickness, temp)
    assert asked(thickness + thicker, temp) >= here >= asked(thickness, temp - colder)


def test_thawing_takes_whole_days() -> None:
    # USDA: 24 hours for each 4 to 5 pounds; the longer
    pound = 0.45359237
    for pounds, days in ((1, 1), (4, 1), (4.1, 2), (9, 3)):
        got = parasite_freezing.thaw_time_refrigerator(mass_kg=pounds * pound, mass_per_day_kg=4 * pound)
        assert got / 86400 == days


@pytest.mark.parametrize(
    "call",
    [
        lambda: brine.density_brine(strength_frac=0.27, table=TABLE),
        lambda: brine.density_brine(strength_frac=math.nan, table=TABLE),
        lambda: brine.agent_ingoing_pick_up(agent_kg=1e-3, uptake_frac=10.0, brine_kg=1.0),
        lambda: brine.agent_ingoing_pick_up(agent_kg=1e-3, uptake_frac=0.1, brine_kg=0.0),
        lambda: brine.agent_mass_from_pick_up(ingoing_frac=1e-4, uptake_frac=0.0, brine_kg=1.0),
        lambda: brine.share_by_water(solute_kg=-1.0, green_mass_kg=1.0, water_frac=0.7, brine_water_kg=1.0),
        lambda: brine.salt_with_liquid(
            liquid_kg=0.1, strength_frac=0.3, applied_kg=1.0, saturation_frac=0.264
        ),
        lambda: salting.salted_composition_taken(
            water_frac=0.7, fat_frac=0.06, salt_frac=0.03, sugar_frac=0.0, net_loss_frac=0.7
        ),
        lambda: parasite_freezing.thaw_time_refrigerator(mass_kg=0.0, mass_per_day_kg=1.0),
    ],
)
def test_what_cannot_be_is_out_of_range(call: object) -> None:
    assert callable(call)
    with pytest.raises(OutOfRange):
        call()
