from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import constants

from saltfare.core.errors import OutOfRange
from saltfare.models import air_film

SEA = 101325.0


def test_constants_agree_with_codata_in_scipy() -> None:
    assert constants.Stefan_Boltzmann == pytest.approx(air_film.STEFAN_BOLTZMANN, rel=1e-9)
    assert constants.g == pytest.approx(air_film.GRAVITY, rel=1e-12)


def test_radiation_film_is_the_slope_of_the_fourth_power() -> None:
    black = (
        constants.Stefan_Boltzmann * (286.15 + 1e-3) ** 4 - constants.Stefan_Boltzmann * (286.15 - 1e-3) ** 4
    ) / 2e-3
    assert air_film.radiation_film(temp_c=13.0, emissivity=1.0) == pytest.approx(black, rel=1e-6)


def test_lewis_number_of_vapour_in_air_is_near_the_textbook_value() -> None:
    # from memory: 0.85 to 0.87 near room temperature
    film = air_film.vapour_film_lewis(heat_film_w_per_m2_k=1.0, temp_c=25.0, pressure_pa=SEA)
    lewis = (1.0 / (film * 1.184 * 1006.0)) ** 1.5
    assert 0.82 < lewis < 0.88


def test_still_air_about_a_cylinder_has_the_conduction_limit() -> None:
    # churchill_chu_1975_cylinder: 0.36 as Ra goes to nothing
    assert air_film.nusselt_cylinder_churchill_chu(rayleigh=0.0, prandtl=0.7) == pytest.approx(0.36)


@pytest.mark.parametrize(("speed", "film"), [(0.02, 2.6), (0.1, 4.1), (0.2, 5.5), (0.3, 6.6), (0.5, 8.6)])
def test_film_at_chamber_speeds(speed: float, film: float) -> None:
    """An earlier, separate calculation with the same three equations and CoolProp's air; printed to 0.1."""
    found = air_film.heat_film(
        shape="cylinder", size_m=0.08, speed_m_per_s=speed, temp_c=13.0, buoyancy_k=1.5, pressure_pa=SEA
    )
    assert found == pytest.approx(film, rel=0.04)


@settings(max_examples=40, deadline=None)
@given(speed=st.floats(0.0, 2.0), size=st.floats(0.03, 0.3), temp=st.floats(0.0, 30.0))
def test_films_rise_with_speed(speed: float, size: float, temp: float) -> None:
    speeds = np.array([speed, speed + 0.2])
    for shape in ("cylinder", "slab"):
        at = air_film.heat_film(
            shape=shape, size_m=size, speed_m_per_s=speeds, temp_c=temp, buoyancy_k=1.5, pressure_pa=SEA
        )
        assert at[1] > at[0] > 0


def test_what_lies_outside_is_refused() -> None:
    with pytest.raises(OutOfRange):
        air_film.nusselt_plate_laminar(reynolds=1e6, prandtl=0.7)
    with pytest.raises(OutOfRange):
        air_film.radiation_film(temp_c=13.0, emissivity=1.5)
    with pytest.raises(ValueError, match="no film"):
        air_film.heat_film(
            shape="ball", size_m=0.08, speed_m_per_s=0.1, temp_c=13.0, buoyancy_k=1.5, pressure_pa=SEA
        )
