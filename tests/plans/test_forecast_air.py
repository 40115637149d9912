"""Air from uneven readings: what is averaged, what is kept, what is assumed."""

from dataclasses import replace

import numpy as np
import psychrolib
import pytest
from forecast_world import DAY, PRIORS
from hypothesis import given
from hypothesis import strategies as st

from saltfare.core.errors import Refused
from saltfare.plans.forecast_air import RECENT, USUAL, AirReadings, UsualAir, air_programme

psychrolib.SetUnitSystem(psychrolib.SI)
USUAL_AIR = UsualAir(12.0, 0.78)


def build(days, temp, rh, *, usual=USUAL_AIR, horizon=60.0, priors=PRIORS):
    days = np.asarray(days, float)
    readings = AirReadings(days * DAY, np.broadcast_to(temp, days.shape), np.broadcast_to(rh, days.shape))
    return air_programme(readings=readings, usual=usual, horizon_s=horizon * DAY, priors=priors)


def test_bins_keep_mean_vapour_and_saturation_pressure_as_psychrolib_computes_them():
    days = np.arange(0, 10 + 1e-9, 1 / 96)
    temp = 13 + 3 * np.sin(2 * np.pi * days + 0.4)
    rh = 0.75 - 0.10 * np.sin(2 * np.pi * days)
    got = build(days, temp, rh, priors=replace(PRIORS, alike_humidity_frac=0.0, alike_temp_c=0.0))
    saturation = np.array([psychrolib.GetSatVapPres(t) for t in temp])
    for i in range(0, 40, 7):
        inside = (days >= i / 4 - 1e-9) & (days <= (i + 1) / 4 + 1e-9)
        width = 0.25
        mean_sat = np.trapezoid(saturation[inside], days[inside]) / width
        mean_vap = np.trapezoid(saturation[inside] * rh[inside], days[inside]) / width
        binned = psychrolib.GetSatVapPres(got.temp_c[i])
        assert abs(binned / mean_sat - 1) < 1e-4
        assert abs(got.rh_frac[i] * binned / mean_vap - 1) < 1e-4


def test_after_the_last_reading_the_mean_of_the_last_week_is_assumed():
    days = np.arange(0, 20.01, 1 / 24)
    temp = np.where(days < 10, 8.0, 13.0)
    got = build(days, temp, 0.72)
    assert got.assumed.basis == RECENT
    assert abs(got.assumed.temp_c - 13) < 1e-6 and abs(got.assumed.rh_frac - 0.72) < 1e-9
    assert got.assumed.averaged_s == pytest.approx(7 * DAY)
    assert got.read[:-1].all() and not got.read[-1]
    assert got.last_reading_s == pytest.approx(20 * DAY) and got.horizon_s == 60 * DAY
    assert got.unread_s == 0


def test_a_gap_is_filled_with_the_assumed_air_and_counted():
    days = np.concatenate([np.arange(0, 5, 1 / 24), np.arange(15, 20, 1 / 24)])
    got = build(days, 10.0, 0.8)
    ends = got.end_time_s / DAY
    assert not got.read[(ends > 6.3) & (ends < 13.7)].any()
    assert got.read[ends < 5].all()
    assert got.unread_s / DAY == pytest.approx(8, abs=0.5)  # a reading reaches a day either way


def test_one_reading_a_day_leaves_no_gap():
    got = build(np.arange(0, 15), 12.0, 0.76)
    assert got.read[:-1].all()


def test_a_few_hours_of_readings_do_not_stand_for_the_weeks_after():
    got = build(np.arange(0, 0.3, 1 / 24), 20.0, 0.5)
    assert got.assumed.basis == USUAL and got.assumed.temp_c == 12.0
    assert got.assumed.humidity_sd_frac == PRIORS.later_humidity_usual_frac
    only = build(np.arange(0, 0.3, 1 / 24), 20.0, 0.5, usual=None)
    assert only.assumed.basis == RECENT and abs(only.assumed.temp_c - 20) < 1e-6


def test_without_readings_all_air_is_the_usual():
    got = air_programme(readings=None, usual=USUAL_AIR, horizon_s=30 * DAY, priors=PRIORS)
    assert got.temp_c.tolist() == [12.0] and got.last_reading_s is None and not got.read.any()
    before = build([-9.0, -5.0], 3.0, 0.9)
    assert before.assumed.basis == USUAL and before.last_reading_s is None


def test_order_of_readings_does_not_matter_and_two_sensors_are_averaged():
    days = np.arange(0, 6, 0.25)
    temp = 12 + np.cos(days)
    one = build(days, temp, 0.75)
    two = build(days[::-1], temp[::-1], 0.75)
    assert np.array_equal(one.temp_c, two.temp_c)
    both = build(np.repeat(days, 2), np.tile([11.0, 13.0], days.size), 0.75)
    assert np.abs(both.temp_c[:-1] - 12).max() < 0.05


@pytest.mark.parametrize(
    ("temp", "rh"), [(np.nan, 0.7), (12.0, 75.0), (12.0, -0.1), (80.0, 0.7), (12.0, np.inf)]
)
def test_readings_that_cannot_be_are_refused(temp, rh):
    with pytest.raises(Refused) as caught:
        build([0, 1, 2], temp, rh)
    assert caught.value.problems[0].code == "reading_out_of_bounds"


def test_no_air_at_all_and_no_horizon_are_refused():
    with pytest.raises(Refused) as caught:
        air_programme(readings=None, usual=None, horizon_s=DAY, priors=PRIORS)
    assert caught.value.problems[0].code == "air_unknown"
    for horizon in (0.0, -1.0, np.nan):
        with pytest.raises(Refused) as caught:
            air_programme(readings=None, usual=USUAL_AIR, horizon_s=horizon, priors=PRIORS)
        assert caught.value.problems[0].code == "horizon_no_time"


@given(
    days=st.lists(st.floats(-3, 70), min_size=1, max_size=30),
    temp=st.floats(0, 30),
    rh=st.floats(0.3, 1.0),
    horizon=st.floats(1, 60),
)
def test_any_readings_make_a_whole_programme(days, temp, rh, horizon):
    got = build(days, temp, rh, horizon=horizon)
    assert got.end_time_s[-1] == pytest.approx(horizon * DAY)
    assert (np.diff(np.append(0.0, got.end_time_s)) > 0).all()
    assert np.isfinite(got.temp_c).all() and (got.rh_frac >= 0).all() and (got.rh_frac <= 1 + 1e-9).all()
    # constant air stays constant where it was read
    assert np.allclose(got.temp_c[got.read], temp, atol=1e-6)
    assert np.allclose(got.rh_frac[got.read], min(rh, 0.995), atol=1e-9)


def test_steady_air_is_one_stretch_and_its_mean_is_kept():
    days = np.arange(0, 20.001, 1 / 24)
    rng = np.random.default_rng(2)
    temp, rh = 12 + 0.3 * rng.standard_normal(days.size), 0.75 + 0.01 * rng.standard_normal(days.size)
    got = build(days, temp, rh)
    assert got.end_time_s.size <= 6
    fine = build(days, temp, rh, priors=replace(PRIORS, alike_humidity_frac=0.0, alike_temp_c=0.0))
    assert fine.end_time_s.size == 81

    def mean_vapour(p):
        width = np.diff(p.end_time_s, prepend=0.0)[p.read]
        pressures = [psychrolib.GetSatVapPres(t) * r for t, r in zip(p.temp_c, p.rh_frac, strict=True)]
        return np.average(np.array(pressures)[p.read], weights=width)

    assert mean_vapour(got) == pytest.approx(mean_vapour(fine), rel=1e-9)


def test_air_read_as_saturated_is_capped_and_said():
    got = build(np.arange(0, 5, 1 / 24), 12.0, 1.0)
    assert got.rh_frac.max() == pytest.approx(0.995)
    assert got.near_saturation_s == pytest.approx(60 * DAY)


def test_whole_numbers_serve_as_well():
    whole = air_programme(readings=None, usual=UsualAir(12, 0.78), horizon_s=30 * 86400, priors=PRIORS)
    assert whole.temp_c.dtype == whole.end_time_s.dtype == np.float64


def test_bin_width_is_a_row():
    days = np.arange(0, 4, 1 / 24)
    temp = 12 + days
    assert build(days, temp, 0.75, priors=replace(PRIORS, air_bin_s=DAY)).end_time_s.size == 5
