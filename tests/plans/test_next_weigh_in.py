"""The day to weigh next, against weighing it and working everything out anew."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from forecast_world import DAY, PRIORS, truth, weighed, world

from saltfare.plans.forecast_posterior import WeighIn, posterior
from saltfare.plans.next_weigh_in import Narrowing, narrowing, offered

M0 = 1.8
HUNG = WeighIn(0.0, M0, 0.001)
AIR, ENS = world(read_days=15)
DAYS = np.array([2, 5, 9])
LOSS = truth(AIR, DAYS * DAY, f_d=1.3, f_r=0.8)[:, 0]
SURE = replace(PRIORS, outlier_share_frac=0.0)
WEIGHED = weighed(DAYS, M0 * (1 - LOSS))


def found(more=(), priors=SURE):
    return posterior(ensemble=ENS, hanging=HUNG, weigh_ins=[*WEIGHED, *more], priors=priors)


def ask(days, *, target=0.65, of=None, step=0.001):
    return narrowing(
        found=of or found(), target_mass_kg=target * M0, at_s=[d * DAY for d in days], step_kg=step
    )


@pytest.mark.parametrize("day", [12, 16, 22])
def test_expected_spread_agrees_with_weighing_what_is_predicted(day):
    """Weigh-ins drawn from the prediction, each conditioned on in full."""
    got = ask([day]).after_s[0]
    rng = np.random.default_rng(day)
    mean, sd, weight = found().predict_mass(at_s=np.array([day * DAY]))
    squares = []
    for _ in range(60):
        i = rng.choice(weight.size, p=weight)
        mass = mean[0, i] + sd[0, i] * rng.standard_normal() + M0 * 0.002 * rng.standard_normal()
        again = found([WeighIn(day * DAY, float(mass), 0.001)])
        squares.append(ask([40], of=again).now_s ** 2)
    error = np.std(squares) / np.sqrt(len(squares))
    assert abs(got**2 - np.mean(squares)) < 4 * error


def test_spread_now_agrees_with_the_forecast_of_the_date():
    from saltfare.plans.forecast import forecast

    made = forecast(
        ensemble=ENS, programme=AIR, hanging=HUNG, weigh_ins=WEIGHED, target_mass_kg=0.65 * M0, priors=SURE
    )
    # the sd of a normal of that 80 % interval; the date's is skewed
    sd = (made.ready_s[0.9] - made.ready_s[0.1]) / 2.5631
    assert ask([12]).now_s == pytest.approx(sd, rel=0.12)


def test_later_tells_more_and_a_coarse_scale_tells_less():
    after = ask(range(11, 24)).after_s
    assert (np.diff(after) < 0).all() and after[0] < ask([12]).now_s
    assert ask([16], step=0.05).after_s[0] > ask([16]).after_s[0]


def test_the_first_day_is_offered_that_brings_most():
    day = np.arange(10, 20) * DAY
    after = np.array([9.0, 8, 6, 4.2, 4.1, 4, 4, 4, 4, 4])
    assert offered(found=Narrowing(day, 10.0, after), gain_frac=0.8) == 13 * DAY
    assert offered(found=Narrowing(day, 4.0, after + 4), gain_frac=0.8) is None


def test_a_date_beyond_the_horizon_is_that_and_nothing_breaks():
    got = ask([12, 30], target=0.2)
    assert got.now_s == pytest.approx(0.0, abs=1.0) and np.isfinite(got.after_s).all()
