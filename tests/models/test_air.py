from __future__ import annotations

import numpy as np
import psychrolib
import pytest
from CoolProp.CoolProp import PropsSI
from CoolProp.HumidAirProp import HAPropsSI
from scipy import constants

from saltfare.core.errors import OutOfRange
from saltfare.models import air

psychrolib.SetUnitSystem(psychrolib.SI)
SEA = 101325.0
STATES = (
    (13.0, 0.75),
    (13.0, 0.72),
    (4.0, 0.85),
    (10.0, 0.80),
    (15.0, 0.50),
    (20.0, 0.70),
    (35.0, 0.2),
    (2.0, 0.9),
)


@pytest.mark.parametrize("temp", [-15.0, -0.5, 0.5, 5.0, 13.0, 20.0, 25.0, 60.0, 89.0])
def test_saturation_pressure_agrees_with_psychrolib_and_coolprop(temp: float) -> None:
    found = air.saturation_pressure_ashrae(temp_c=temp)
    # psychrolib changes from ice to water at the triple point, 0.01 C
    assert found == pytest.approx(psychrolib.GetSatVapPres(temp), rel=1e-6)
    if temp > 0.01:
        assert found == pytest.approx(PropsSI("P", "T", temp + 273.15, "Q", 1, "Water"), rel=5e-4)


def test_slope_of_saturation_agrees_with_differences() -> None:
    t = np.linspace(274.0, 320.0, 30)
    _, slope = air.saturation_over_water(temp_k=t)
    by_differences = (
        air.saturation_over_water(temp_k=t + 1e-3)[0] - air.saturation_over_water(temp_k=t - 1e-3)[0]
    ) / 2e-3
    assert slope == pytest.approx(by_differences, rel=1e-7)


@pytest.mark.parametrize(("temp", "rh"), STATES)
def test_humid_air_agrees_with_psychrolib_and_coolprop(temp: float, rh: float) -> None:
    ratio = air.humidity_ratio_ideal(temp_c=temp, rh_frac=rh, pressure_pa=SEA)
    assert ratio == pytest.approx(psychrolib.GetHumRatioFromRelHum(temp, rh, SEA), rel=1e-3)
    # CoolProp's real air holds up to 0.5 % more vapour
    assert ratio == pytest.approx(HAPropsSI("W", "T", temp + 273.15, "P", SEA, "R", rh), rel=6e-3)
    density = air.density_moist_air(temp_c=temp, rh_frac=rh, pressure_pa=SEA)
    assert density == pytest.approx(
        (1 + ratio) / HAPropsSI("V", "T", temp + 273.15, "P", SEA, "R", rh), rel=1e-3
    )
    dew = air.dew_point_from_vapour_pressure(vapour_pa=air.vapour_pressure(temp_c=temp, rh_frac=rh))
    assert dew == pytest.approx(psychrolib.GetTDewPointFromRelHum(temp, rh), abs=0.01)
    wet = air.wet_bulb_ashrae(temp_c=temp, rh_frac=rh, pressure_pa=SEA)
    assert wet == pytest.approx(psychrolib.GetTWetBulbFromRelHum(temp, rh, SEA), abs=0.01)


def test_wet_bulb_below_freezing_is_refused() -> None:
    with pytest.raises(OutOfRange):
        air.wet_bulb_ashrae(temp_c=2.0, rh_frac=0.2, pressure_pa=SEA)


@pytest.mark.parametrize("temp", [0.5, 13.0, 25.0, 40.0])
def test_transport_properties_agree_with_coolprop(temp: float) -> None:
    kelvin = temp + 273.15
    assert air.viscosity_sutherland(temp_c=temp) == pytest.approx(
        PropsSI("V", "T", kelvin, "P", SEA, "Air"), rel=0.01
    )
    assert air.conductivity_sutherland(temp_c=temp) == pytest.approx(
        PropsSI("L", "T", kelvin, "P", SEA, "Air"), rel=0.015
    )
    assert air.heat_capacity_air(temp_c=temp) == pytest.approx(
        PropsSI("C", "T", kelvin, "P", SEA, "Air"), rel=0.002
    )
    heat = PropsSI("H", "T", kelvin, "Q", 1, "Water") - PropsSI("H", "T", kelvin, "Q", 0, "Water")
    assert air.latent_heat(temp_c=temp) == pytest.approx(heat, rel=0.002)


def test_constants_agree_with_codata_in_scipy() -> None:
    assert pytest.approx(air.VAPOUR_J_PER_KG_K, rel=1e-5) == constants.R / 18.01528e-3
    assert pytest.approx(air.DRY_AIR_J_PER_KG_K, rel=1e-4) == constants.R / 28.96546e-3


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: air.saturation_pressure_ashrae(temp_c=120.0),
        lambda: air.vapour_pressure(temp_c=13.0, rh_frac=75.0),
        lambda: air.vapour_pressure(temp_c=float("nan"), rh_frac=0.7),
        lambda: air.humidity_ratio_ideal(temp_c=13.0, rh_frac=0.7, pressure_pa=1013.25),
    ],
)
def test_what_lies_outside_is_refused(wrong) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(OutOfRange):
        wrong()
