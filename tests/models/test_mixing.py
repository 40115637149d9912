"""Foods sealed together: by hand, by the full balance, by straight isotherms, and on the way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from saltfare.core.errors import OutOfRange, Refused
from saltfare.core.figure import Answer, Evidence, Provenance, Verdict
from saltfare.core.library import Library
from saltfare.core.numerics import Array, Floats
from saltfare.models import isotherms, mixing
from saltfare.models.isotherms import Range
from saltfare.models.mixing import Part
from saltfare.models.sorption import ProteinIsotherm

LIBRARY = Library()
LEAN = ProteinIsotherm.from_row(LIBRARY.row("isotherms", "lean_meat"))
ANY = Range(0.0, 1.0, -20.0, 60.0)
DAY = 86400.0


@dataclass(frozen=True, slots=True)
class Line:
    """A straight isotherm, to be solved by hand."""

    base: float
    slope: float
    within: Range = ANY

    def ceiling(self, temp_c: float) -> float:
        return 0.9995

    def water(self, *, aw: Array, temp_c: Floats) -> tuple[Array, Array]:
        a = np.asarray(aw)
        return self.base + self.slope * a, np.full(a.shape, self.slope)


def row(ref: str) -> isotherms.Isotherm:
    return isotherms.isotherm_of(library=LIBRARY, ref=ref)


def of_class(name: str) -> isotherms.Isotherm:
    return isotherms.food_class(library=LIBRARY, class_id=name).isotherm


def jerky(mass_kg: float = 0.05, water_frac: float = 0.30) -> Part:
    return mixing.cured_part(
        name="jerky", mass_kg=mass_kg, water_frac=water_frac, fat_frac=0.08, salt_frac=0.06, protein=LEAN,
        temp_low_c=4.0, temp_high_c=40.0,
    )  # fmt: skip


def dry(name: str, of: str, mass_kg: float, water_frac: float, fat_frac: float = 0.0) -> Part:
    return mixing.dry_part(
        name=name, mass_kg=mass_kg, water_frac=water_frac, fat_frac=fat_frac, isotherm=of_class(of)
    )


PASTA = Part("pasta", 0.050, 0.0055, row("isotherms_gab:pasta_singh"))
POTATO = Part("potato", 0.015, 0.00105, row("isotherms_gab:potato"))
APPLE = Part("apple", 0.010, 0.0025, row("isotherms_gab:apple"))
SOY = Part("soybean", 0.015 * (1 - 0.218), 0.0009, row("isotherms_henderson:soybean"))


def test_two_straight_isotherms_by_hand() -> None:
    # A: 100 g, X = .02 + .20 a, from .05; B: 50 g, X = .01 + .10 a, from .50
    # by hand (100*.20*.05 + 50*.10*.50) / (100*.20 + 50*.10) = 3.5/25 = 0.14; ends X .048 and .024
    a = Part("a", 0.100, 0.100 * 0.03, Line(0.02, 0.20))
    b = Part("b", 0.050, 0.050 * 0.06, Line(0.01, 0.10))
    mix = mixing.mix_equilibrium(parts=[a, b], temp_c=25.0, least_change_aw=0.02)
    assert mix.aw == pytest.approx(0.14, abs=1e-12)
    assert [p.water_after_kg for p in mix.parts] == pytest.approx([0.0048, 0.0012], abs=1e-12)
    assert [p.aw_before for p in mix.parts] == pytest.approx([0.05, 0.50], abs=1e-12)
    assert [p.change for p in mix.parts] == ["softens", "hardens"]
    straight = mixing.aw_salwin_slawson(
        solids_kg=np.array([100.0, 50.0]), slope=np.array([0.20, 0.10]), aw=np.array([0.05, 0.50])
    )
    assert straight == pytest.approx(0.14, abs=1e-12)
    assert mixing.aw_salwin_slawson_of(parts=[a, b], temp_c=25.0) == pytest.approx(0.14, abs=1e-12)


def test_straight_isotherms_miss_the_full_balance_where_parts_start_far_apart() -> None:
    parts = [PASTA, POTATO, APPLE, SOY]
    full = mixing.mix_equilibrium(parts=parts, temp_c=30.0, least_change_aw=0.02).aw
    straight = mixing.aw_salwin_slawson_of(parts=parts, temp_c=30.0)
    assert 0.01 < abs(full - straight) < 0.06
    # and agree where they start close together: each part brought near the end first
    near = []
    for p, d in zip(parts, (0.02, -0.02, 0.02, -0.02), strict=True):
        ratio = float(p.isotherm.water(aw=np.asarray(full + d), temp_c=30.0)[0])
        near.append(Part(p.name, p.solids_kg, p.solids_kg * ratio, p.isotherm))
    mix = mixing.mix_equilibrium(parts=near, temp_c=30.0, least_change_aw=0.05)
    assert mixing.aw_salwin_slawson_of(parts=near, temp_c=30.0) == pytest.approx(mix.aw, abs=5e-4)
    assert {p.change for p in mix.parts} == {"stays"}


def test_dried_dish_with_cured_meat_and_nuts() -> None:
    rice, nuts = dry("rice", "starch_cooked", 0.1, 0.07, 0.02), dry("nuts", "nut", 0.02, 0.04, 0.5)
    mix = mixing.mix_equilibrium(parts=[jerky(), rice, nuts], temp_c=20.0, least_change_aw=0.02)
    by_name = {p.name: p for p in mix.parts}
    assert by_name["jerky"].change == "hardens"
    assert by_name["rice"].change == by_name["nuts"].change == "softens"
    assert by_name["rice"].aw_before < mix.aw < by_name["jerky"].aw_before
    codes = [note.code for note in mixing.mix_notes(mix=mix)]
    assert codes == ["part_hardens", "part_softens", "part_softens", "isotherm_range_not_read"]


def test_salt_that_crystallises_holds_the_pouch_near_its_activity() -> None:
    # between 0.745 and 0.76 salted meat gives off half its water: very different rice ends alike
    ends = [
        mixing.mix_equilibrium(
            parts=[jerky(0.1, 0.33), dry("rice", "starch_cooked", mass, 0.05)],
            temp_c=20.0,
            least_change_aw=0.02,
        ).aw
        for mass in (0.10, 0.14)
    ]
    assert all(0.742 < aw < 0.757 for aw in ends) and ends[0] > ends[1]


def test_a_doubtful_mix_feeds_no_verdict_and_a_sound_one_is_only_estimated() -> None:
    mix = mixing.mix_equilibrium(parts=[PASTA, POTATO], temp_c=20.0, least_change_aw=0.02)
    assert "temp_outside" in mix.doubts and "range_not_read" in mix.doubts
    fact = mixing.mix_aw_fact(aw=mix.aw, doubts=mix.doubts, error=0.05)
    assert fact.value is None and fact.provenance is Provenance.UNKNOWN and not fact.firm
    pair = [jerky(0.05, 0.30), Part("lean", 0.02, 0.006, isotherms.SaltedMeat(LEAN, 0.05, 4.0, 40.0))]
    sound = mixing.mix_equilibrium(parts=pair, temp_c=20.0, least_change_aw=0.02)
    assert sound.doubts == ()
    fact = mixing.mix_aw_fact(aw=sound.aw, doubts=sound.doubts, error=0.03)
    assert fact.value == sound.aw and not fact.firm and fact.provenance is Provenance.ESTIMATED
    for shaky in (fact, mixing.mix_aw_fact(aw=0.2, doubts=("aw_outside",), error=0.03)):
        seen = Evidence(
            "water_activity", shaky.value if isinstance(shaky.value, float) else None, shaky.provenance
        )
        with pytest.raises(ValueError, match="measured"):
            Verdict("any", "", Answer.MEETS, 0.1, (seen,))


def test_outside_the_range_of_meat_is_marked() -> None:
    parts = [jerky(0.005, 0.1), dry("rice", "starch_cooked", 0.3, 0.01)]
    mix = mixing.mix_equilibrium(parts=parts, temp_c=20.0, least_change_aw=0.02)
    assert mix.aw < LEAN.aw_low
    assert "aw_outside" in mix.parts[0].doubts


@settings(max_examples=60, deadline=None)
@given(
    masses=st.lists(st.floats(0.002, 0.5), min_size=4, max_size=4),
    waters=st.lists(st.floats(0.01, 0.14), min_size=3, max_size=3),
    meat=st.floats(0.2, 0.6),
    temp_c=st.floats(0.0, 45.0),
)
def test_water_is_conserved_in_every_mix(
    masses: list[float], waters: list[float], meat: float, temp_c: float
) -> None:
    parts = [
        jerky(masses[0], meat),
        dry("rice", "starch_cooked", masses[1], waters[0]),
        dry("apple", "fruit", masses[2], waters[1]),
        dry("nuts", "nut", masses[3], waters[2] / 3, 0.5),
    ]
    mix = mixing.mix_equilibrium(parts=parts, temp_c=temp_c, least_change_aw=0.02)
    before = sum(p.water_before_kg for p in mix.parts)
    assert sum(p.water_after_kg for p in mix.parts) == pytest.approx(before, rel=1e-9)
    assert min(p.aw_before for p in mix.parts) - 1e-9 <= mix.aw <= max(p.aw_before for p in mix.parts) + 1e-9
    # the order of the parts is nothing
    turned = mixing.mix_equilibrium(parts=parts[::-1], temp_c=temp_c, least_change_aw=0.02)
    assert turned.aw == pytest.approx(mix.aw, abs=1e-11)


@settings(max_examples=25, deadline=None)
@given(more=st.floats(0.0005, 0.003))
def test_more_water_in_never_ends_drier(more: float) -> None:
    base = [PASTA, APPLE]
    wetter = [Part(PASTA.name, PASTA.solids_kg, PASTA.water_kg + more, PASTA.isotherm), APPLE]
    first = mixing.mix_equilibrium(parts=base, temp_c=30.0, least_change_aw=0.02)
    assert mixing.mix_equilibrium(parts=wetter, temp_c=30.0, least_change_aw=0.02).aw > first.aw


def test_splitting_a_part_in_two_changes_nothing() -> None:
    halves = [Part("half", PASTA.solids_kg / 2, PASTA.water_kg / 2, PASTA.isotherm)] * 2
    one = mixing.mix_equilibrium(parts=[PASTA, APPLE], temp_c=30.0, least_change_aw=0.02)
    two = mixing.mix_equilibrium(parts=[*halves, APPLE], temp_c=30.0, least_change_aw=0.02)
    assert two.aw == pytest.approx(one.aw, abs=1e-12)
    blend = mixing.blend(parts=[PASTA, APPLE])
    total = PASTA.solids_kg + APPLE.solids_kg
    dish = Part("dish", total, PASTA.water_kg + APPLE.water_kg, blend)
    assert mixing.part_aw(part=dish, temp_c=30.0)[0] == pytest.approx(one.aw, abs=1e-10)


def test_the_way_conserves_water_ends_at_the_balance_and_starts_as_packed() -> None:
    parts = [jerky(), dry("rice", "starch_cooked", 0.1, 0.07, 0.02), dry("nuts", "nut", 0.02, 0.04, 0.5)]
    rates = [
        mixing.exchange_rate(half_thickness_m=half, diffusivity_m2_per_s=d)
        for half, d in ((0.0025, 3.07e-11), (0.001, 1e-11), (0.004, 3.8e-12))
    ]
    path = mixing.mix_path(
        parts=parts, rate_per_s=rates, temp_c=20.0, times_s=[0.0, DAY, 10 * DAY, 400 * DAY]
    )
    total = sum(p.water_kg for p in parts)
    assert path.water_kg.sum(axis=0) == pytest.approx(np.full(4, total), rel=1e-9)
    end = mixing.mix_equilibrium(parts=parts, temp_c=20.0, least_change_aw=0.02)
    assert path.aw_parts[:, -1] == pytest.approx(np.full(3, end.aw), abs=2e-4)
    assert path.aw_parts[:, 0] == pytest.approx([p.aw_before for p in end.parts], abs=1e-9)
    assert (np.diff(path.water_kg[0]) < 0).all()  # the meat gives all the way


def test_two_straight_parts_relax_as_one_exponential() -> None:
    # equal parts and rates: the air stays at the mean and each part relaxes to it with its own rate
    a = Part("a", 0.1, 0.1 * 0.03, Line(0.02, 0.20))
    b = Part("b", 0.1, 0.1 * 0.08, Line(0.02, 0.20))
    path = mixing.mix_path(parts=[a, b], rate_per_s=[1e-5, 1e-5], temp_c=25.0, times_s=[0.0, 0.5 * DAY, DAY])
    gap = path.aw_parts[1] - path.aw_parts[0]
    assert gap == pytest.approx(0.25 * np.exp(-1e-5 * np.array([0.0, 0.5 * DAY, DAY])), rel=1e-5)


def test_the_linear_driving_force_stays_near_ficks_slice() -> None:
    # crank_1975_sheet: share taken up by a slice, solved cell by cell, and by one rate of its slowest mode
    half, d = 0.001, 1e-11
    rate = mixing.exchange_rate(half_thickness_m=half, diffusivity_m2_per_s=d)
    cells = 60
    width = half / cells

    def fick(_: float, x: Array) -> Array:
        flux = -d * np.diff(x, prepend=x[0]) / width
        outer = -d * (1.0 - x[-1]) / (width / 2)
        return -np.diff(np.append(flux, outer)) / width

    times = np.array([0.5, 1.0, 2.0]) / rate
    found = solve_ivp(
        fick, (0.0, times[-1]), np.zeros(cells), method="BDF", t_eval=times, rtol=1e-8, atol=1e-10
    )
    slow = 1.0 - np.exp(-rate * times)
    # one rate reads late by up to a fifth of the way and never early
    assert (found.y.mean(axis=0) - slow > 0).all() and (found.y.mean(axis=0) - slow < 0.2).all()


def test_foods_that_are_none_are_refused() -> None:
    with pytest.raises(Refused):
        mixing.mix_equilibrium(parts=[], temp_c=20.0, least_change_aw=0.02)
    with pytest.raises(Refused):
        dry("x", "fruit", 0.1, 0.5, 0.5)
    with pytest.raises(Refused):
        jerky(0.05, 0.9)
    with pytest.raises(Refused):
        Part("x", float("nan"), 0.01, PASTA.isotherm)
    with pytest.raises(OutOfRange):
        mixing.mix_equilibrium(
            parts=[Part("soup", 0.001, 1.0, APPLE.isotherm)], temp_c=40.0, least_change_aw=0.02
        )
