from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from phreeqpython import PhreeqPython

from saltfare.core.errors import OutOfRange
from saltfare.core.library import Library
from saltfare.models import sorption

LEAN = sorption.ProteinIsotherm.from_row(Library().row("isotherms", "lean_meat"))

# scatchard_1938, osmotic coefficients of NaCl at 25 C: molality, coefficient
SCATCHARD = (
    (0.1, 0.9342), (0.2, 0.9255), (0.3, 0.9224), (0.4, 0.9217), (0.5, 0.9224), (0.6, 0.9242), (0.7, 0.9266),
    (0.8, 0.9295), (0.9, 0.9329), (1.0, 0.9363), (1.2, 0.9434), (1.4, 0.9509), (1.6, 0.9589), (1.8, 0.9681),
    (2.0, 0.9786), (2.5, 1.0096), (3.0, 1.0421), (3.5, 1.0783), (4.0, 1.1168), (4.5, 1.1578), (5.0, 1.2000),
    (5.5, 1.2423), (6.0, 1.2861),
)  # fmt: skip


@pytest.mark.parametrize(("m", "phi"), SCATCHARD)
def test_brine_activity_agrees_with_scatchard_1938(m: float, phi: float) -> None:
    measured = np.exp(-2 * 0.0180153 * m * phi)
    # the two published sets of measurements differ by up to 0.002 above 4 mol/kg
    assert sorption.aw_nacl_pitzer(molality_mol_per_kg=m) == pytest.approx(
        measured, abs=5e-4 if m <= 4 else 2.5e-3
    )


def phreeqc_aw(molality: float, *, with_halite: bool = False) -> float:
    """Activity of water by PHREEQC's own output: the wrapper's activity() holds none for water."""
    phreeqc = PhreeqPython(database="pitzer.dat").ip
    phreeqc.run_string(
        f"SOLUTION 1\ntemp 25\nunits mol/kgw\nNa {molality}\nCl {molality}\n"
        + ("EQUILIBRIUM_PHASES 1\nHalite 0 10\n" if with_halite else "")
        + 'SELECTED_OUTPUT 1\n-reset false\nUSER_PUNCH 1\n-headings aw\n10 PUNCH ACT("H2O")\nEND'
    )
    return float(phreeqc.get_selected_output_array()[-1][0])


def test_brine_activity_agrees_with_phreeqc_pitzer_database() -> None:
    for m in (0.1, 0.5, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0):
        # its NaCl row is a later fit, over temperature, of the same form
        assert sorption.aw_nacl_pitzer(molality_mol_per_kg=m) == pytest.approx(phreeqc_aw(m), abs=3e-4)


def test_brine_activity_at_saturation_agrees_with_phreeqc_halite() -> None:
    assert sorption.aw_saturated_brine(protein=LEAN) == pytest.approx(
        phreeqc_aw(6.0, with_halite=True), abs=1e-3
    )


def test_molality_is_the_inverse_of_activity() -> None:
    m = np.array([0.0, 1e-6, 1e-3, 0.1, 1.0, 3.0, 6.0, 6.2])
    aw = sorption.aw_nacl_pitzer(molality_mol_per_kg=m)
    assert sorption.molality_from_aw_nacl_pitzer(aw=aw) == pytest.approx(m, abs=1e-8)


def test_brine_by_mass_agrees_with_brine_by_molality() -> None:
    by_mass = sorption.aw_brine(salt_kg=0.0584428, water_kg=1.0)
    assert by_mass == pytest.approx(sorption.aw_nacl_pitzer(molality_mol_per_kg=1.0), rel=1e-12)


@pytest.mark.parametrize("m", [-0.1, 6.3, float("nan")])
def test_brine_outside_the_equation_is_refused(m: float) -> None:
    with pytest.raises(OutOfRange):
        sorption.aw_nacl_pitzer(molality_mol_per_kg=m)


def test_isotherm_agrees_with_the_rule_written_out() -> None:
    a, s = 0.85, 0.2
    protein = 0.110 * ((1 - a) ** -0.69 - 1 / (1 + a**4))
    brine = s / (0.0584428 * sorption.molality_from_aw_nacl_pitzer(aw=a))
    found = sorption.water_ratio_salted_meat(aw=a, salt_ratio=s, protein=LEAN)
    assert found == pytest.approx(protein + brine, rel=1e-12)


def test_water_drops_at_the_activity_of_saturated_brine() -> None:
    # comaposada_1999: the drop lies at 0.75, and below about 0.70 salt makes no difference
    at = sorption.water_ratio_salted_meat(aw=np.array([0.70, 0.72, 0.77]), salt_ratio=0.2, protein=LEAN)
    bare = sorption.water_ratio_salted_meat(aw=np.array([0.70, 0.72, 0.77]), salt_ratio=0.0, protein=LEAN)
    assert at[:2] == pytest.approx(bare[:2], rel=1e-3)
    assert at[2] > 3 * bare[2]


def test_raw_lean_of_published_water_lies_inside_the_published_spread() -> None:
    # lean_isotherm_chosen: 0.40 to 0.55 kg/kg at 0.9, raw meat near 0.99
    assert 0.40 < sorption.water_ratio_salted_meat(aw=0.9, salt_ratio=0.0, protein=LEAN) < 0.55
    assert sorption.aw_salted_meat(water_ratio=3.25, salt_ratio=0.0, protein=LEAN) == pytest.approx(
        0.992, abs=1.5e-3
    )


@settings(max_examples=60, deadline=None)
@given(aw=st.floats(0.1, 0.998), salt=st.floats(0.0, 1.0))
def test_isotherm_round_trip(aw: float, salt: float) -> None:
    water = sorption.water_ratio_salted_meat(aw=aw, salt_ratio=salt, protein=LEAN)
    back = sorption.aw_salted_meat(water_ratio=water, salt_ratio=salt, protein=LEAN)
    assert back == pytest.approx(aw, abs=1e-10)


@settings(max_examples=40, deadline=None)
@given(salt=st.floats(0.0, 1.0))
def test_isotherm_rises_everywhere(salt: float) -> None:
    water = sorption.water_ratio_salted_meat(aw=np.linspace(0.1, 0.998, 3000), salt_ratio=salt, protein=LEAN)
    assert (np.diff(water) > 0).all()


def test_slope_of_the_isotherm_agrees_with_differences() -> None:
    at = np.array([0.3, 0.7, 0.745, 0.7526, 0.76, 0.9, 0.99])
    salt = np.full(at.shape, 0.1)
    up, _ = sorption.water_of_salted_meat(aw=at + 1e-6, salt_ratio=salt, protein=LEAN)
    down, _ = sorption.water_of_salted_meat(aw=at - 1e-6, salt_ratio=salt, protein=LEAN)
    _, slope = sorption.water_of_salted_meat(aw=at, salt_ratio=salt, protein=LEAN)
    assert (up - down) / 2e-6 == pytest.approx(slope, rel=1e-6)


def test_arrays_broadcast_and_range_is_kept() -> None:
    water = np.array([[0.5], [1.0], [3.0]])
    salt = np.array([0.0, 0.1])
    assert sorption.aw_salted_meat(water_ratio=water, salt_ratio=salt, protein=LEAN).shape == (3, 2)
    for wrong in (0.001, 50.0, float("nan")):
        with pytest.raises(OutOfRange):
            sorption.aw_salted_meat(water_ratio=wrong, salt_ratio=0.0, protein=LEAN)
    with pytest.raises(OutOfRange):
        sorption.water_ratio_salted_meat(aw=0.9, salt_ratio=-0.1, protein=LEAN)
    with pytest.raises(OutOfRange):
        sorption.water_ratio_salted_meat(aw=0.05, salt_ratio=0.1, protein=LEAN)
