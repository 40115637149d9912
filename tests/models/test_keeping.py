"""Rates, limits and the planning time, against printed tables and what agencies print."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from saltfare.core.errors import OutOfRange, Refused
from saltfare.core.library import Library
from saltfare.models import (
    isotherms,
    isotherms_gab,
    keeping,
    keeping_limit,
    mixing,
    pouch,
    pouch_oxygen,
    pouch_place,
    pouch_water,
)
from saltfare.models.keeping import Change, Conditions
from saltfare.models.pouch import Film

LIBRARY = Library()
DAY, MONTH, YEAR = 86400.0, 2629800.0, pouch_place.YEAR_S
CHANGES = {row.text("id"): Change.from_row(row) for row in LIBRARY.rows("keeping_kinetics")}
CRISP = keeping_limit.WaterLimit.from_row(LIBRARY.row("keeping_water", "crisp"))
STARCH = isotherms.food_class(library=LIBRARY, class_id="starch_cooked").isotherm
assert isinstance(STARCH, isotherms.Gab)
MONOLAYER_AW = isotherms_gab.aw_monolayer_gab(guggenheim=STARCH.guggenheim, k=STARCH.k)


def f(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


def shelf(
    days: float, temp_c: float, aw: float = 0.4, oxygen: float = 1.0, swing_c: float = 0.0, step: float = 10.0
) -> Conditions:
    place = pouch_place.place_seasonal(
        temp_c=temp_c,
        temp_swing_c=swing_c,
        rh_frac=0.5,
        rh_swing_frac=0.0,
        start_s=0.0,
        time_s=days * DAY,
        step_s=step * DAY,
    )
    flat = np.ones((2, place.ends_s.size))
    return Conditions(place.ends_s, place.temp_c, aw * flat, oxygen * flat)


def limit(change: str | Change, conditions: Conditions) -> keeping_limit.Limit:
    which = CHANGES[change] if isinstance(change, str) else change
    return keeping_limit.limit_of_change(
        found=keeping.consumed(change=which, conditions=conditions, aw_monolayer=MONOLAYER_AW)
    )


# kosfa_2018_38_664, table 6: rate constants at 283, 298, 308, 318 K; kcal/mol; Q10 at each
LARD = {
    "peroxide": ((0.0439, 0.2263, 0.5503, 1.2760), 17.21, (2.84, 2.57, 2.42, 2.29)),
    "tbars": ((0.0011, 0.0046, 0.0071, 0.0138), 12.69, (2.16, 2.01, 1.92, 1.84)),
    "sensory": ((0.0070, 0.0220, 0.0400, 0.0690), 11.70, (2.03, 1.90, 1.82, 1.76)),
    "acid": ((0.0099, 0.0160, 0.0258, 0.0331), 6.35, (1.47, 1.42, 1.39, 1.36)),
}


@pytest.mark.parametrize("index", LARD)
def test_refit_of_a_published_shelf_life_table_gives_its_energies_and_sixteen_q10(index: str) -> None:
    rates, printed, q10s = LARD[index]
    temps = [t - 273.15 for t in (283, 298, 308, 318)]
    found = keeping.activation_from_rates(temp_c=temps, rate=rates)
    assert found / 4184 == pytest.approx(printed, abs=0.02)
    for temp_c, q10 in zip(temps, q10s, strict=True):
        assert keeping.q10_from_activation(activation_j_per_mol=found, temp_c=temp_c) == pytest.approx(
            q10, abs=0.006
        )


def test_q10_of_a_teaching_case_and_the_energy_it_means() -> None:
    # shelf_life_newsletter: 20 weeks at 20 C, 10 at 30 C
    q10 = keeping.q10_from_lives(life_a_s=20.0, temp_a_c=20.0, life_b_s=10.0, temp_b_c=30.0)
    assert q10 == pytest.approx(2.0)
    assert keeping.life_by_q10(life_s=20.0, temp_c=20.0, q10=q10, at_c=40.0) == pytest.approx(5.0)
    energy = keeping.activation_from_lives(life_a_s=20.0, temp_a_c=20.0, life_b_s=10.0, temp_b_c=30.0)
    assert energy == pytest.approx(51.2e3, abs=100)
    assert keeping.q10_from_activation(activation_j_per_mol=energy, temp_c=20.0) == pytest.approx(2.0)


# by hand, exp(10 Ea/(R 293.15 303.15))
@pytest.mark.parametrize(("kilojoule", "q10"), [(40, 1.72), (60, 2.25), (80, 2.95), (100, 3.87), (120, 5.07)])
def test_q10_of_round_energies(kilojoule: float, q10: float) -> None:
    assert keeping.q10_from_activation(activation_j_per_mol=1e3 * kilojoule, temp_c=20.0) == pytest.approx(
        q10, abs=0.005
    )


# nchfp_storing: fruit a year at 60 F and half at 80 F, vegetables half of that
@pytest.mark.parametrize(
    ("change", "temp_f", "days"),
    [
        ("fruit_eating", 60, 365),
        ("fruit_eating", 80, 182.5),
        ("vegetable_eating", 60, 182.5),
        ("vegetable_eating", 80, 91.25),
    ],
)
def test_extension_figures_lie_inside_our_span(change: str, temp_f: float, days: float) -> None:
    found = limit(change, shelf(900, f(temp_f), step=5.0))
    assert found.earliest_s is not None and found.latest_s is not None
    assert found.earliest_s / DAY <= days <= found.latest_s / DAY
    assert found.latest_s < 2.5 * found.earliest_s
    guide = LIBRARY.row("keeping_guides", f"{change.split('_')[0]}_{temp_f}f").number("time_low")
    assert guide / DAY == pytest.approx(days)


def test_two_agencies_contradict_each_other_on_cooling() -> None:
    nchfp = keeping.q10_from_lives(life_a_s=12.0, temp_a_c=f(60), life_b_s=6.0, temp_b_c=f(80))
    assert nchfp == pytest.approx(1.866, abs=1e-3)
    # missouri_2009: 3 to 4 for each 18 F, which is 10 K: outside; our span reaches only to 3.3
    change = CHANGES["fruit_eating"]
    spans = [
        keeping.q10_from_activation(activation_j_per_mol=e, temp_c=15.0) for e in change.activation_j_per_mol
    ]
    assert spans[0] == pytest.approx(nchfp, abs=0.03) and 3.0 < spans[1] < 4.0


def test_apricots_at_a_third_temperature() -> None:
    # usu_food_storage: 24 months at 40 F and 3 at 70 F; 1 at 90 F is predicted from these two
    energy = keeping.activation_from_lives(life_a_s=24.0, temp_a_c=f(40), life_b_s=3.0, temp_b_c=f(70))
    ratio = keeping.rate_ratio_arrhenius(temp_c=f(90), temp_ref_c=f(70), activation_j_per_mol=energy)
    assert 3.0 / ratio == pytest.approx(1.0, abs=0.2)  # printed to a whole month
    for temp_f, months in ((40, 24), (70, 3), (90, 1)):
        found = limit("apricot_eating", shelf(1500, f(temp_f), step=2.0))
        assert found.earliest_s is not None and found.latest_s is not None
        assert found.earliest_s / MONTH <= months <= found.latest_s / MONTH


def test_browning_holds_two_years_at_21_c_as_observed_and_not_by_the_lower_energy() -> None:
    # usu_etd_5494: brown by 6 months at 29.5 C, colour holds 24 months at 21 C; the energy is another's
    chosen = limit("browning", shelf(3000, 21.0, aw=0.3))
    assert chosen.middle_s is not None and chosen.middle_s > 24 * MONTH
    lower = limit("browning_potato", shelf(3000, 21.0, aw=0.3))
    assert lower.latest_s is not None and lower.latest_s < 12 * MONTH  # a known miss: not chosen
    warm = limit("browning", shelf(400, 29.5, aw=0.3))
    assert warm.latest_s is not None and warm.latest_s <= 6 * MONTH * 1.001


def test_vitamin_c_at_4_c_reads_low_beside_five_years_without_loss() -> None:
    # army_ration_vitamins: none lost in 60 months at 4 C, half in 24 at 38 C: the middle reads low
    cold = keeping_limit.aged(
        changes=[CHANGES["vitamin_c"]],
        conditions=shelf(1826, 4.0, aw=0.9, step=30.0),
        aw_monolayer=MONOLAYER_AW,
    )[0]
    assert cold.kept_frac is not None and cold.kept_frac[2] > 0.9 and cold.kept_frac[1] < 0.9
    warm = keeping_limit.aged(
        changes=[CHANGES["vitamin_c"]], conditions=shelf(730.5, 38.0, aw=0.9), aw_monolayer=MONOLAYER_AW
    )[0]
    assert warm.kept_frac is not None and warm.kept_frac[1] == pytest.approx(0.5, abs=1e-9)


def test_thiamin_of_freeze_dried_meals_is_as_measured() -> None:
    # foods_2020_9_39: 94 % kept after 24 months, mean of 1, 30 and 40 C
    kept = []
    for temp_c in (1.0, 30.0, 40.0):
        found = keeping_limit.aged(
            changes=[CHANGES["vitamin_b1"]],
            conditions=shelf(730.5, temp_c, aw=0.2),
            aw_monolayer=MONOLAYER_AW,
        )[0]
        assert found.kept_frac is not None
        kept.append(found.kept_frac[1])
    assert np.mean(kept) == pytest.approx(0.94, abs=0.02)


def test_lard_keeps_as_its_table_prints_at_a_temperature_left_out() -> None:
    # the row stands on 298 K; at 308 K the table prints 3.22, 3.21 and 3.42 months
    found = limit("animal_fat_oxidation", shelf(400, 308 - 273.15, aw=0.3, step=2.0))
    assert found.earliest_s is not None and found.latest_s is not None
    assert found.earliest_s / MONTH < 3.21 and found.latest_s / MONTH > 3.42


def test_a_season_consumes_more_than_its_mean_temperature() -> None:
    # by hand: life 365 d at 15.6 C, 44.9 kJ/mol, 15 C +- 10 C: 1.054 of it in a year, 0.962 at steady 15 C
    energy = 44.9e3
    change = replace(
        CHANGES["fruit_eating"],
        life_s=(365 * DAY,) * 3,
        temp_ref_c=15.6,
        activation_j_per_mol=(energy, energy),
    )
    for swing, share in ((10.0, 1.054), (0.0, 0.962)):
        found = keeping.consumed(
            change=change, conditions=shelf(365.25, 15.0, swing_c=swing, step=1.0), aw_monolayer=MONOLAYER_AW
        )
        # the hand figure is for a year of 365 days
        assert found.middle[-1] == pytest.approx(share, abs=2e-3)
        assert found.ends == pytest.approx(np.tile(found.middle, (len(found.ends), 1)))


def test_keeping_is_best_near_the_monolayer() -> None:
    # labuza_1970: oxidation least at the monolayer, browning and loss of crispness rising above it
    aws = np.linspace(0.02, 0.75, 74)
    fat = CHANGES["animal_fat_oxidation"]
    rate = keeping.rate_of_water(aw=aws, aw_monolayer=MONOLAYER_AW, change=fat, aw_slope=0.0)
    assert aws[int(np.argmin(rate))] == pytest.approx(MONOLAYER_AW, abs=0.01)
    assert 0.2 <= MONOLAYER_AW <= 0.4
    # the pack as a whole: the first of the changes, over all activities
    first = []
    for aw in aws:
        found = [
            limit(name, shelf(4000, 22.0, aw=float(aw), step=40.0))
            for name in ("animal_fat_oxidation", "browning", "legume_texture")
        ]
        first.append(min(one.middle_s for one in found if one.middle_s is not None))
    best = float(aws[int(np.argmax(first))])
    assert 0.15 <= best <= 0.4
    assert first[0] < max(first) and first[-1] < 0.6 * max(first)


def test_browning_peaks_where_it_was_measured_to() -> None:
    # rapusas_driscoll_1995: fastest between 0.60 and 0.70; kiwifruit_ascorbic: ten times from 0.51 to 0.82
    browning, vitamin = CHANGES["browning"], CHANGES["vitamin_c"]
    assert 0.60 <= browning.aw_peak <= 0.70
    low, high = (
        float(keeping.rate_of_water(aw=a, aw_monolayer=0.25, change=vitamin, aw_slope=vitamin.aw_slope[1]))
        for a in (0.51, 0.82)
    )
    assert high / low == pytest.approx(10.0, rel=0.01)


def test_oxygen_helps_only_what_oxygen_spoils() -> None:
    for name, change in CHANGES.items():
        air, none = (limit(change, shelf(4000, 22.0, aw=0.4, oxygen=o, step=40.0)) for o in (1.0, 0.0))
        if name == "animal_fat_oxidation":
            assert air.middle_s is not None and (none.middle_s is None or none.middle_s > 2 * air.middle_s)
        else:
            # usu_etd_5494: brown with the absorber as without
            assert none == air
    assert keeping.rate_of_oxygen(oxygen_rel=1.0, gain=10.5, half=0.1) == pytest.approx(1.0)
    assert keeping.rate_of_oxygen(oxygen_rel=0.0, gain=10.5, half=0.1) == pytest.approx(1 / 10.5)
    with pytest.raises(OutOfRange):
        keeping.rate_of_oxygen(oxygen_rel=-0.1, gain=10.5, half=0.1)


@pytest.mark.parametrize("name", CHANGES)
def test_every_row_reaches_its_limit_at_its_own_conditions(name: str) -> None:
    change = CHANGES[name]
    found = limit(change, shelf(2000, change.temp_ref_c, aw=change.aw_ref, step=5.0))
    assert found.middle_s == pytest.approx(change.life_s[1], rel=1e-9)
    assert found.earliest_s == pytest.approx(change.life_s[0], rel=1e-9)
    assert found.latest_s == pytest.approx(change.life_s[2], rel=1e-9)


def pack(film: Film, temp_c: float, rh: float, aw: float, swing_c: float = 0.0) -> keeping_limit.Keeping:
    place = pouch_place.place_seasonal(
        temp_c=temp_c,
        temp_swing_c=swing_c,
        rh_frac=rh,
        rh_swing_frac=0.0,
        start_s=0.0,
        time_s=3 * YEAR,
        step_s=30 * DAY,
    )
    water = 0.09 * float(STARCH.water(aw=np.asarray(aw), temp_c=temp_c)[0])
    path = pouch_water.water_through_film(
        parts=[mixing.Part("dish", 0.09, water, STARCH)],
        film=film,
        area_m2=0.05,
        place=place,
        leak_kg_per_s_pa=0.0,
    )
    oxygen = pouch_oxygen.oxygen_through_film(
        film=film,
        area_m2=0.05,
        gas_m3=4e-4,
        place=place,
        aw_inside=aw,
        absorber_m3=2e-4,
        start_frac=0.20948,
        leak_m3_per_s_pa=0.0,
    )
    conditions = keeping_limit.conditions_inside(place=place, water=path, oxygen=oxygen)
    limits = [
        keeping_limit.limit_of_change(
            found=keeping.consumed(change=CHANGES[name], conditions=conditions, aw_monolayer=MONOLAYER_AW)
        )
        for name in ("animal_fat_oxidation", "browning", "vegetable_eating", "vitamin_c")
    ]
    limits.append(keeping_limit.limit_of_water(path=path, limit=CRISP))
    limits.append(
        keeping_limit.limit_of_oxygen(path=oxygen, limit_frac=0.02, ref="keeping_oxygen:low_oxygen")
    )
    return keeping_limit.first_limit(
        limits=limits, horizon_s=3 * YEAR, guide_s=None, guide_ref="", doubtful=bool(path.doubts)
    )


def polyethylene(microns: float) -> Film:
    row = LIBRARY.row("film_polymers", "ldpe")
    return Film((pouch.sheet_of_polymer(row=row, thickness_m=microns * 1e-6),), None)


def test_a_pack_reaches_its_first_limit_with_a_span() -> None:
    found = pack(polyethylene(70.0), 20.0, 0.65, 0.30)
    assert found.first is not None and found.first.mode in ("water", "oxygen")
    for one in found.limits:
        if one.earliest_s is not None and one.middle_s is not None and one.latest_s is not None:
            assert one.earliest_s <= one.middle_s <= one.latest_s
    assert found.planning_s == min(one.earliest_s for one in found.limits if one.earliest_s is not None)
    assert found.doubtful and [note.code for note in found.notes] == [
        "planning_date_no_promise",
        "keeping_isotherm_doubtful",
    ]
    tight = pack(pouch.film_of(library=LIBRARY, film_id="foil_pe"), 20.0, 0.65, 0.30)
    by_mode = {one.mode: one for one in tight.limits}
    assert by_mode["water"].middle_s is None and by_mode["oxygen"].middle_s is None
    assert tight.first is not None and tight.first.mode == "eating_quality"


def lives(found: keeping_limit.Keeping) -> list[float]:
    return [
        np.inf if time is None else time
        for one in found.limits
        for time in (one.earliest_s, one.middle_s, one.latest_s)
    ]


@settings(max_examples=8, deadline=None)
@given(
    microns=st.floats(30.0, 150.0),
    thicker=st.floats(1.05, 3.0),
    colder=st.floats(0.5, 4.0),
    drier=st.floats(0.02, 0.15),
    aw=st.floats(0.28, 0.40),
    swing_c=st.floats(0.0, 2.0),
)
def test_thicker_film_colder_and_drier_never_keep_shorter(
    microns: float, thicker: float, colder: float, drier: float, aw: float, swing_c: float
) -> None:
    # from the monolayer up: below it drier fat oxidises faster, as the map of stability says
    base = pack(polyethylene(microns), 27.0, 0.7, aw, swing_c)
    for other in (
        pack(polyethylene(microns * thicker), 27.0, 0.7, aw, swing_c),
        pack(polyethylene(microns), 27.0 - colder, 0.7, aw, swing_c),
        pack(polyethylene(microns), 27.0, 0.7 - drier, aw, swing_c),
        pack(polyethylene(microns), 27.0, 0.7, MONOLAYER_AW + 0.5 * (aw - MONOLAYER_AW), swing_c),
    ):
        assert all(new >= old * (1 - 1e-6) for new, old in zip(lives(other), lives(base), strict=True))
        later, sooner = (np.inf if one.planning_s is None else one.planning_s for one in (other, base))
        assert later >= sooner * (1 - 1e-6)


def test_some_years_in_a_warm_cupboard() -> None:
    three = keeping_limit.aged(
        changes=[CHANGES[n] for n in ("browning", "vitamin_c", "animal_fat_oxidation")],
        conditions=shelf(3 * 365.25, 24.0, aw=0.4, swing_c=6.0, step=30.0),
        aw_monolayer=MONOLAYER_AW,
    )
    brown, vitamin, fat = three
    assert brown.consumed[0] > 1.0 and brown.kept_frac is None  # brown by every account
    assert fat.consumed[0] > 2.0
    assert vitamin.kept_frac is not None and 0.5 < vitamin.kept_frac[0] < vitamin.kept_frac[2] < 1.0
    cool = keeping_limit.aged(
        changes=[CHANGES["browning"]], conditions=shelf(3 * 365.25, 8.0, aw=0.3), aw_monolayer=MONOLAYER_AW
    )[0]
    # by hand: 1095.75/91.3 d x exp(-121000/8.3145 (1/281.15 - 1/302.65)) = 12.00 x 0.0253
    assert cool.consumed[2] == pytest.approx(0.304, abs=0.002)


def test_the_planning_time_is_the_earliest_end_and_never_beyond_an_agency() -> None:
    limits = [
        keeping_limit.Limit("browning", "a", 200 * DAY, 300 * DAY, None),
        keeping_limit.Limit("oxidation", "b", 250 * DAY, 280 * DAY, 400 * DAY),
        keeping_limit.Limit("water", "c", None, None, None),
    ]

    def planned(guide: float | None, of: list[keeping_limit.Limit] = limits) -> keeping_limit.Keeping:
        return keeping_limit.first_limit(
            limits=of, horizon_s=1000 * DAY, guide_s=guide, guide_ref="g", doubtful=False
        )

    assert planned(None).planning_s == 200 * DAY and planned(None).planning_ref == "a"
    assert planned(None).first is not None and planned(None).first.mode == "oxidation"  # type: ignore[union-attr]
    assert planned(90 * DAY).planning_s == 90 * DAY and planned(90 * DAY).planning_ref == "g"
    open_end = planned(None, limits[2:])
    assert open_end.planning_s is None and open_end.first is None
    assert [note.code for note in open_end.notes] == ["planning_date_no_promise", "no_limit_within"]
    with pytest.raises(Refused):
        planned(None, [])


def test_conditions_that_do_not_fit_are_refused() -> None:
    ends = np.array([1.0, 2.0])
    with pytest.raises(Refused):
        Conditions(ends, np.array([20.0]), np.full((2, 2), 0.4), np.ones((2, 2)))
    with pytest.raises(OutOfRange):
        Conditions(ends, np.array([20.0, 20.0]), np.full((2, 2), 1.4), np.ones((2, 2)))
    with pytest.raises(Refused):
        keeping.activation_from_rates(temp_c=[20.0, 20.0], rate=[1.0, 2.0])
