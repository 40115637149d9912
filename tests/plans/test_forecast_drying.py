"""The forecast on the drying model itself: interpolation, the whole problem sampled, coverage.

The pieces are invented; nothing here is an outside check of the drying model.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from forecast_world import DAY, PRIORS, programme, weighed
from scipy import stats

from saltfare.core.library import Library
from saltfare.models.drying import DryingParameters, Hanging
from saltfare.models.sorption import ProteinIsotherm
from saltfare.plans.forecast import LEVELS, forecast
from saltfare.plans.forecast_drying import HangingPiece
from saltfare.plans.forecast_ensemble import NODES, SHIFTS, ensemble, interpolation_at, time_weights
from saltfare.plans.forecast_posterior import WeighIn, model_error_cov, posterior

LIBRARY = Library()
M0 = 2.1
HUNG = WeighIn(0.0, M0, 0.001)
ROUND = HangingPiece(
    Hanging("cylinder", 0.10, 0.25, 0.0, M0, 0.725, 0.025, 0.027, 1.0, 0.0, 2),
    0.1,
    DryingParameters.from_library(library=LIBRARY, law="lean_default", body="whole_muscle"),
    ProteinIsotherm.from_row(LIBRARY.row("isotherms", "lean_meat")),
)
AIR = programme(days=100.0, rh_frac=0.76, read_days=20)


@cache
def round_ensemble():
    return ensemble(simulate=ROUND, programme=AIR, priors=PRIORS)


def direct(at_s, z):
    """Losses of members with every input at z prior standard deviations: two multipliers and SHIFTS."""
    unread = ~AIR.read[:, None]
    z = np.asarray(z)
    bias, water, later_rh, later_temp = z[2:]
    rh = AIR.rh_frac[:, None] + 0.03 * bias + unread * AIR.assumed.humidity_sd_frac * later_rh
    run = ROUND(
        diffusivity_multiplier=np.exp(PRIORS.diffusivity_ln_sd * z[0]),
        resistance_multiplier=np.exp(PRIORS.resistance_ln_sd * z[1]),
        water_shift_frac=PRIORS.initial_water_frac * water,
        end_time_s=AIR.end_time_s,
        temp_c=AIR.temp_c[:, None] + unread * AIR.assumed.temp_sd_c * later_temp,
        rh_frac=np.clip(rh, 0.1, 0.995),
        out_time_s=at_s,
    )
    return run.loss_frac


def test_interpolation_between_nodes_agrees_with_simulation_there():
    ens = round_ensemble()
    rng = np.random.default_rng(4)
    at = np.sort(rng.uniform(0.2, 99, 12)) * DAY
    z = np.zeros((6, 60))
    z[:2] = rng.uniform(-3, 3, (2, 60))
    left, right = (interpolation_at(count=NODES, at=x / 3) for x in z[:2])
    loss = np.einsum("tdr,gd,gr->tg", ens.loss_frac.astype(float), left, right)
    away = time_weights(time_s=ens.time_s, at_s=at) @ loss - direct(at, z)
    # a tenth of the model's error of one point; found: 0.03 points at worst on the nodes' own times
    assert np.abs(away).max() < 1e-3


def test_effects_of_doubtful_inputs_agree_with_simulation():
    """One standard deviation of each, against members simulated off the nodes; what is left is the
    bend of the loss in humidity about 0.75, where salt crystallises."""
    ens = round_ensemble()
    rng = np.random.default_rng(5)
    at = np.array([3.0, 10.0, 30.0, 60.0]) * DAY
    z = np.zeros((6, 40))
    z[:2] = np.clip(rng.standard_normal((2, 40)), -3, 3)
    left, right = (interpolation_at(count=5, at=x / 3) for x in z[:2])
    when = time_weights(time_s=ens.time_s, at_s=at)
    for i, name in enumerate(SHIFTS):
        up, down = z.copy(), z.copy()
        up[2 + i], down[2 + i] = 1.0, -1.0
        want = (direct(at, up) - direct(at, down)) / 2
        slope = (ens.shifted_loss_frac[i, 0] - ens.shifted_loss_frac[i, 1]).astype(float) / 2
        got = when @ np.einsum("tdr,gd,gr->tg", slope, left, right)
        assert np.sqrt(np.mean((got - want) ** 2)) < 1.5e-3, name


def test_a_piece_is_forecast_about_its_true_date():
    z = np.zeros((6, 1))
    z[:2, 0] = 0.5, -0.6
    days = np.array([3, 7, 14, 21])
    loss = direct(np.append(0.0, days) * DAY, z)[1:, 0]
    every = np.arange(0, 100, 0.25)
    true_d = np.interp(0.38, direct(every * DAY, z)[:, 0], every)
    f = forecast(
        ensemble=round_ensemble(),
        programme=AIR,
        hanging=HUNG,
        weigh_ins=weighed(days, M0 * (1 - loss)),
        target_mass_kg=M0 * 0.62,
        priors=PRIORS,
    )
    assert f.ready_s[0.1] / DAY < true_d < f.ready_s[0.9] / DAY
    assert f.diffusivity.low < np.exp(0.3) < f.diffusivity.high
    assert f.resistance.low < np.exp(-0.3) < f.resistance.high


@pytest.mark.parametrize(
    ("days", "sd_d", "sd_r"),
    [((2, 5, 9), 0.19, 0.09), ((3, 7, 14), 0.08, 0.07), ((3, 7, 14, 21), 0.05, 0.05)],
)
def test_multipliers_are_recovered_as_sharply_as_by_another_method(days, sd_d, sd_r):
    """With nothing doubtful but a noise of 0.3 %: posterior standard deviations of ln multipliers beside
    those of a Gauss-Newton fit of another implementation (f_D 1.6, f_R 0.7). Orientation, not an
    outside check: the same model, a piece not stated, the hanging mass taken as exact there."""
    priors = replace(
        PRIORS,
        **dict.fromkeys(
            (
                "hygrometer_bias_frac",
                "initial_water_frac",
                "later_humidity_read_frac",
                "later_humidity_usual_frac",
                "later_temp_read_c",
                "later_temp_usual_c",
                "model_error_frac",
                "outlier_share_frac",
            ),
            0.0,
        ),
        repeatability_frac=0.003,
    )
    air = programme(days=30.0, priors=priors)
    loin = replace(ROUND, piece=replace(ROUND.piece, thickness_m=0.07, length_m=0.3, mass_kg=1.2))
    ens = ensemble(simulate=loin, programme=air, priors=priors)
    run = loin(
        diffusivity_multiplier=np.array([1.6]),
        resistance_multiplier=np.array([0.7]),
        water_shift_frac=np.zeros(1),
        end_time_s=air.end_time_s,
        temp_c=air.temp_c[:, None],
        rh_frac=air.rh_frac[:, None],
        out_time_s=np.array(days) * DAY,
    )
    rng = np.random.default_rng(1)
    means, sds = [], []
    for _ in range(6):
        shown = M0 * (1 - run.loss_frac[:, 0]) + 0.003 * M0 * rng.standard_normal(len(days))
        found = posterior(
            ensemble=ens, hanging=WeighIn(0.0, M0, 0.0), weigh_ins=weighed(days, shown), priors=priors
        )
        for axis, x in ((1, found.axes[0]), (0, found.axes[1])):
            p = found.grid_weight.sum(axis=axis)
            means.append(p @ x)
            sds.append(np.sqrt(p @ (x - p @ x) ** 2))
    mean, sd = np.mean(np.reshape(means, (6, 2)), axis=0), np.mean(np.reshape(sds, (6, 2)), axis=0)
    assert np.all(np.abs(mean - np.log([1.6, 0.7])) < 1.2 * sd)
    assert np.all(sd < 2.0 * np.array([sd_d, sd_r])) and np.all(sd > 0.5 * np.array([sd_d, sd_r]))


def synthetic(count, seed, days):
    """Pieces from the prior: inputs, model error, rounding and noise all drawn; their weigh-ins, and
    losses true on `days` and after."""
    rng = np.random.default_rng(seed)
    z = rng.standard_normal((6, count))
    z[:2] = np.clip(z[:2], -3, 3)
    at = np.arange(0, 100, 0.5) * DAY
    loss = direct(at, z)
    cov = model_error_cov(a_s=at[1:], b_s=at[1:], priors=PRIORS)
    loss[1:] += np.linalg.cholesky(cov + 1e-13 * np.eye(len(cov))) @ rng.standard_normal((at.size - 1, count))
    hung = M0 * (1 + PRIORS.repeatability_frac * rng.standard_normal(count))
    true = hung * (1 - loss)
    i = np.searchsorted(at, np.asarray(days) * DAY)
    shown = true[i] + M0 * PRIORS.repeatability_frac * rng.standard_normal((len(days), count))
    return at, true, np.round(shown * 1000) / 1000


@pytest.mark.deep
@pytest.mark.parametrize("upto", [0, 1, 2, 4])
def test_bands_hold_what_they_say_on_pieces_from_the_prior(upto):
    """200 pieces: mass a week and three weeks after the last weigh-in, and the ready date."""
    days = (3, 7, 14, 21)[:upto]
    count = 200
    at, true, shown = synthetic(count, 11, days)
    target = M0 * 0.65
    ens = round_ensemble()
    last = days[-1] if days else 0
    ahead = [int(np.flatnonzero(at == (last + d) * DAY)[0]) for d in (7, 21)]
    passed = np.maximum.accumulate(true <= target, axis=0)
    inside = {band: [] for band in ((0.25, 0.75), (0.1, 0.9), (0.025, 0.975))}
    ready_inside = {band: [] for band in inside}
    f = None
    for j in range(count):
        if f is None or days:  # with nothing weighed the forecast is the same for all
            f = forecast(
                ensemble=ens,
                programme=AIR,
                hanging=HUNG,
                weigh_ins=weighed(days, shown[:, j]),
                target_mass_kg=target,
                priors=PRIORS,
            )
        when = at[np.argmax(passed[:, j])] if passed[-1, j] else np.inf
        for low, high in inside:
            for i in ahead:
                ends = (np.interp(at[i], f.time_s, f.mass_kg[LEVELS.index(p)]) for p in (low, high))
                a, b = ends
                inside[low, high].append(a <= true[i, j] <= b)
            early, late = (np.inf if f.ready_s[p] is None else f.ready_s[p] for p in (low, high))
            ready_inside[low, high].append(early - 0.25 * DAY <= when <= late + 0.5 * DAY)
    for (low, high), hits in inside.items():
        share, want = np.mean(hits), high - low
        error = np.sqrt(want * (1 - want) / count)  # the two dates of a piece are counted as one
        ready = np.mean(ready_inside[low, high])
        assert abs(share - want) < 3 * error + 0.02, (want, share)
        assert ready > want - 3 * error - 0.02, (want, ready)


@pytest.mark.deep
def test_posterior_agrees_with_importance_sampling_of_the_drying_model():
    """Multipliers proposed about the posterior, all else from its prior, every member simulated."""
    days = np.array([3, 8, 15])
    z_true = np.array([[0.6], [-0.5], [0.5], [0.3], [0.0], [0.0]])
    seen_loss = direct(days * DAY, z_true)[:, 0] + np.array([0.001, -0.002, 0.003])
    weigh_ins = weighed(days, np.round(M0 * (1 - seen_loss), 3))
    priors = replace(PRIORS, outlier_share_frac=0.0)
    found = posterior(ensemble=round_ensemble(), hanging=HUNG, weigh_ins=weigh_ins, priors=priors)
    grid = found.grid_weight
    sd0 = np.array([priors.diffusivity_ln_sd, priors.resistance_ln_sd])
    moments = []
    for axis, x, sd in ((1, found.axes[0], sd0[0]), (0, found.axes[1], sd0[1])):
        p = grid.sum(axis=axis)
        mean = p @ x
        moments.append((mean / sd, np.sqrt(p @ (x - mean) ** 2) / sd))
    rng = np.random.default_rng(8)
    n = 6000
    z = rng.standard_normal((7, n))
    log_q = np.zeros(n)
    for i, (mean, sd) in enumerate(moments):
        z[i] = mean + 1.6 * sd * z[i]
        log_q += stats.norm.logpdf(z[i], mean, 1.6 * sd) - stats.norm.logpdf(z[i])
    kept = (np.abs(z[:2]) < 3).all(axis=0)
    z, log_q = z[:, kept], log_q[kept]
    at = np.append(days, [30, 50]) * DAY
    loss = np.concatenate([direct(at, part) for part in np.array_split(z[:6], 12, axis=1)], axis=1)
    hung_sd = np.hypot(priors.repeatability_frac, HUNG.step_kg / M0 / np.sqrt(12))
    true = 1 - (1 + hung_sd * z[6]) * (1 - loss)
    shown = np.array([w.mass_kg for w in weigh_ins])
    cov = model_error_cov(a_s=at, b_s=at, priors=priors)
    data = cov[:3, :3] + np.eye(3) * (priors.repeatability_frac**2 + (0.001 / M0) ** 2 / 12)
    away = (1 - shown / M0)[:, None] - true[:3]
    log = -0.5 * np.einsum("kg,kg->g", away, np.linalg.solve(data, away)) - log_q
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    assert 1 / (weight**2).sum() > 300
    rows = []
    for got, values in zip(
        (moments[0][0], moments[1][0]), (z[0], z[1]), strict=True
    ):  # in prior standard deviations
        want = weight @ values
        error = np.sqrt(weight**2 @ (values - want) ** 2)
        rows.append((got, want, error, 0.06))
    gain = np.linalg.solve(data, cov[:3, 3:]).T
    ahead = true[3:] + gain @ away
    mean_kg, _, share = found.predict_mass(at_s=at[3:])
    for j in range(2):
        want = weight @ ahead[j]
        error = np.sqrt(weight**2 @ (ahead[j] - want) ** 2)
        rows.append((1 - mean_kg[j] @ share / M0, want, error, 0.003))  # loss
    for got, want, error, slack in rows:
        # the slack is what making humidity and water linear may cost: a third of a point of loss
        assert abs(got - want) < 4 * error + slack
