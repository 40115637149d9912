"""The section of a hanging piece is the drying model's own course, read at two times."""

from __future__ import annotations

import numpy as np
import pytest

from saltfare.core.library import Library
from saltfare.models.drying import Air, DryingParameters, Hanging, Members, hang
from saltfare.models.sorption import ProteinIsotherm
from saltfare.plans.forecast_air import UsualAir, air_programme
from saltfare.plans.forecast_priors import ForecastPriors
from saltfare.plans.section import Section, sections

LIBRARY = Library()
PARAMETERS = DryingParameters.from_library(library=LIBRARY, law="lean_default", body="whole_muscle")
PROTEIN = ProteinIsotherm.from_row(LIBRARY.row("isotherms", "lean_meat"))
PRIORS = ForecastPriors.from_library(library=LIBRARY)
PIECE = Hanging("cylinder", 0.07, 0.3, 0.0, 1.2, 0.69, 0.06, 0.03, 1.0, 0.0, 2)
DAY_S = 86400.0
PROGRAMME = air_programme(readings=None, usual=UsualAir(12.0, 0.75), horizon_s=90 * DAY_S, priors=PRIORS)


def cut(*, now_d: float, target_kg: float, until_d: float = 90.0) -> tuple[Section, Section | None]:
    return sections(
        piece=PIECE,
        programme=PROGRAMME,
        speed_m_per_s=0.1,
        parameters=PARAMETERS,
        protein=PROTEIN,
        diffusivity_multiplier=1.3,
        resistance_multiplier=0.8,
        now_s=now_d * DAY_S,
        until_s=until_d * DAY_S,
        target_mass_kg=target_kg,
    )


def test_the_mass_now_is_that_of_the_drying_model() -> None:
    now, _ = cut(now_d=10.25, target_kg=0.75)
    time = np.array([10.25 * DAY_S])
    air = Air(time, np.array([12.0]), np.array([0.75]), np.array([0.1]))
    made = hang(
        piece=PIECE,
        air=air,
        members=Members(np.array([1.3]), np.array([0.8])),
        parameters=PARAMETERS,
        protein=PROTEIN,
        out_time_s=time,
    )
    assert now.mass_kg == pytest.approx(float(made.mass_kg[0, 0]), rel=2e-3)  # other steps
    assert now.water_frac[0] > now.water_frac[-1] and now.depth_m[0] == 0


def test_the_section_holds_the_water_its_mass_says() -> None:
    """Integrated over the disc, water over everything is what is left of the water at hanging."""
    for found in cut(now_d=15, target_kg=0.75):
        assert found is not None
        fixed = PIECE.mass_kg * (1 - PIECE.water_frac)
        left = (found.mass_kg - fixed) / found.mass_kg
        fine = np.linspace(0.0, found.depth_m[-1], 4000)
        water = np.interp(fine, found.depth_m, found.water_frac)
        mean = np.trapezoid(water * fine, fine) / np.trapezoid(fine, fine)
        # by volume, not by mass: dry rim is a little denser than wet core
        assert mean == pytest.approx(left, abs=0.015)


def test_the_target_is_reached_at_its_mass_or_not_at_all() -> None:
    _, reached = cut(now_d=5, target_kg=0.75)
    assert reached is not None and reached.mass_kg == pytest.approx(0.75, rel=1e-9)
    assert reached.time_s > 5 * DAY_S
    assert cut(now_d=5, target_kg=0.75, until_d=6)[1] is None


def test_even_at_hanging() -> None:
    now, _ = cut(now_d=0, target_kg=0.75)
    assert now.mass_kg == pytest.approx(1.2)
    assert now.water_frac[:-1] == pytest.approx(PIECE.water_frac, rel=1e-9)
    assert now.brine_frac[:-1] == pytest.approx(0.03 / 0.72, rel=1e-9)
    assert 2 * now.depth_m[-1] == pytest.approx(0.07)
