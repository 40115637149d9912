"""Forecasts held to account: worked by hand on small cases."""

from __future__ import annotations

import pytest

from saltfare.plans.forecast_record import Issued, Judged, Outcome, judged, outcome, stages


def test_a_piece_comes_to_its_mass_between_two_weighings() -> None:
    weighed = [(0.0, 2.0), (10.0, 1.6), (20.0, 1.2)]
    assert outcome(target_kg=1.3, weighed=weighed) == Outcome(pytest.approx(17.5), 10.0)
    assert outcome(target_kg=1.1, weighed=weighed) == Outcome(None, 20.0)
    # a slip below the target that the next weighing takes back is not its mass
    slip = [(0.0, 2.0), (5.0, 1.0), (10.0, 1.6), (20.0, 1.2)]
    assert outcome(target_kg=1.3, weighed=slip) == Outcome(pytest.approx(17.5), 10.0)


READY = {0.025: 10.0, 0.1: 14.0, 0.25: 16.0, 0.5: 18.0, 0.75: 20.0, 0.9: 24.0, 0.975: None}


@pytest.mark.parametrize(
    ("reached", "held"),
    [
        (18.0, (True, True, True)),
        (15.0, (False, True, True)),
        (12.0, (False, False, True)),
        (30.0, (False, False, True)),
        (9.0, (False, False, False)),
    ],
)
def test_bands_hold_or_miss(reached: float, held: tuple[bool, bool, bool]) -> None:
    got = judged(issued=Issued(6.0, READY), came=Outcome(reached, 5.0))
    assert got is not None and tuple(got.held[b] for b in ("band_50", "band_80", "band_95")) == held
    assert got.error_s == 18.0 - reached and got.progress_frac == 6.0 / reached


def test_a_piece_still_above_its_mass_tells_what_it_can() -> None:
    got = judged(issued=Issued(6.0, READY), came=Outcome(None, 22.0))
    assert got is not None and got.progress_frac is None
    assert got.held == {"band_50": False, "band_80": None, "band_95": None}


def test_what_was_not_kept_or_came_too_late_is_not_judged() -> None:
    three = Issued(6.0, {0.1: 14.0, 0.5: None, 0.9: None})
    got = judged(issued=three, came=Outcome(40.0, 30.0))
    assert got is not None and got.held == {"band_80": True} and got.error_s is None
    assert judged(issued=Issued(40.0, READY), came=Outcome(40.0, 30.0)) is None
    never = judged(issued=Issued(1.0, {0.1: None, 0.9: None}), came=Outcome(40.0, 30.0))
    assert never is not None and never.held == {"band_80": False}  # it was said not to come by the horizon


def test_errors_by_quarter_are_medians() -> None:
    record = [Judged(p, e, {}) for p, e in ((0.1, 4.0), (0.2, -2.0), (0.24, 9.0), (0.6, -1.0), (None, None))]
    first, second, third, _ = stages(record=record)
    assert (first.count, first.median_error_s, first.median_size_s) == (3, 4.0, 4.0)
    assert (second.count, second.median_size_s) == (0, None)
    assert (third.count, third.median_error_s, third.median_size_s) == (1, -1.0, 1.0)
