"""The posterior against closed forms, dense grids and importance sampling."""

from dataclasses import replace
from itertools import chain, combinations

import numpy as np
import pytest
from forecast_world import DAY, PRIORS, film_and_layer, truth, weighed, world
from scipy import stats

from saltfare.plans.forecast_ensemble import (
    NODES,
    SHIFT_NODES,
    SHIFTS,
    Ensemble,
    chebyshev_points,
    interpolation_at,
    time_weights,
)
from saltfare.plans.forecast_mixture import mixture_cdf, mixture_quantiles
from saltfare.plans.forecast_posterior import Belief, WeighIn, model_error_cov, posterior

HUNG = WeighIn(0.0, 2.0, 0.001)
SURE = replace(PRIORS, outlier_share_frac=0.0)
HALF = 3 * np.array([PRIORS.diffusivity_ln_sd, PRIORS.resistance_ln_sd])


def matern(a, b, priors=PRIORS):
    """Written again, from the sum form of the conditional covariance, for the references below."""

    def k(x):
        r = np.sqrt(3) * abs(x) / priors.model_error_time_s
        return priors.model_error_frac**2 * (1 + r) * np.exp(-r)

    return np.array([[k(s - t) - k(s) * k(t) / k(0) for t in b] for s in a])


def noise_var(weigh_in):
    return (weigh_in.step_kg / HUNG.mass_kg) ** 2 / 12 + PRIORS.repeatability_frac**2


# ---- a world linear in everything: everything is normal in closed form ----------------------------

TIME = np.arange(0, 61.0) * DAY
DAYS = TIME / DAY
BASE = 0.02 * DAYS**0.9
TO_D, TO_R = 0.004 * DAYS, -0.012 * np.sqrt(DAYS)
MOVES = np.stack([-0.0012 * DAYS, 0.001 * DAYS, -0.0004 * DAYS, 0.0003 * DAYS])


def linear_ensemble():
    def on(count):
        x = chebyshev_points(count=count)
        return x[:, None] * HALF[0], x[None, :] * HALF[1]

    def field(count):
        d, r = on(count)
        return BASE[:, None, None] + TO_D[:, None, None] * d + TO_R[:, None, None] * r

    rest = field(SHIFT_NODES)
    shifted = np.stack([[rest + s * m[:, None, None] for s in (1, -1)] for m in MOVES])
    return Ensemble(
        TIME,
        HALF,
        field(NODES).astype(np.float32),
        np.zeros((TIME.size, NODES, NODES), np.float32),
        shifted.astype(np.float32),
        np.zeros_like(shifted, np.float32),
    )


def linear_joint(data_days, ahead_days):
    """Mean and covariance of (losses true at data, losses true ahead): prior of the linear world,
    the error of the hanging mass left out (its effect is not linear in the multipliers)."""
    days = np.concatenate([data_days, ahead_days])
    i = days.astype(int)
    h = np.column_stack([TO_D[i], TO_R[i], *MOVES[:, i]])
    prior = np.diag([PRIORS.diffusivity_ln_sd**2, PRIORS.resistance_ln_sd**2, 1, 1, 1, 1])
    return BASE[i], h @ prior @ h.T + matern(days * DAY, days * DAY)


EXACT_HUNG = WeighIn(0.0, 2.0, 0.0)


def no_hanging_noise(monkeypatch):
    from saltfare.plans import forecast_posterior as module

    real = module._noise_sd
    monkeypatch.setattr(
        module, "_noise_sd", lambda w, hanging, priors: 0.0 if w is hanging else real(w, hanging, priors)
    )


def test_a_linear_world_agrees_with_the_closed_form(monkeypatch):
    no_hanging_noise(monkeypatch)
    days, ahead = np.array([3, 7, 14, 21]), np.array([5, 14, 28, 45])
    seen = BASE[days] + 0.004 * days - 0.01 * np.sqrt(days) + [0.004, -0.003, 0.002, 0.005]
    weigh_ins = weighed(days, HUNG.mass_kg * (1 - seen))
    found = posterior(ensemble=linear_ensemble(), hanging=HUNG, weigh_ins=weigh_ins, priors=SURE)
    mean, cov = linear_joint(days, ahead)
    k = days.size
    data = cov[:k, :k] + np.diag([noise_var(w) for w in weigh_ins])
    gain = np.linalg.solve(data, cov[:k, k:]).T
    want_mean = mean[k:] + gain @ (seen - mean[:k])
    want_sd = np.sqrt(np.diag(cov[k:, k:] - gain @ cov[:k, k:]))
    got_mean, got_sd, weight = found.predict_mass(at_s=ahead * DAY)
    centre = got_mean @ weight
    sd = np.sqrt((got_sd**2 + (got_mean - centre[:, None]) ** 2) @ weight)
    # differences are the cut at three prior sd and single precision of the nodes
    assert np.abs(1 - centre / HUNG.mass_kg - want_mean).max() < 2e-4
    assert np.abs(sd / HUNG.mass_kg / want_sd - 1).max() < 0.01
    exact = stats.multivariate_normal(mean[:k], data).logpdf(seen)
    assert abs(found.log_evidence - exact) < 0.02


def test_a_linear_world_leaves_one_out_as_the_closed_form_does(monkeypatch):
    no_hanging_noise(monkeypatch)
    days = np.array([3, 7, 14, 21])
    seen = BASE[days] + 0.004 * days + [0.004, -0.003, 0.012, 0.005]
    weigh_ins = weighed(days, HUNG.mass_kg * (1 - seen))
    found = posterior(ensemble=linear_ensemble(), hanging=HUNG, weigh_ins=weigh_ins, priors=SURE)
    mean, cov = linear_joint(days, np.array([], int))
    data = cov + np.diag([noise_var(w) for w in weigh_ins])
    for i in range(4):
        rest = [j for j in range(4) if j != i]
        gain = np.linalg.solve(data[np.ix_(rest, rest)], data[rest, i])
        expected = mean[i] + gain @ (seen - mean)[rest]
        sd = np.sqrt(data[i, i] - gain @ data[rest, i])
        got = found.expectation(i=i)
        assert abs(1 - got.mass_kg / HUNG.mass_kg - expected) < 3e-4
        assert abs(got.sd_kg / HUNG.mass_kg / sd - 1) < 0.02
        assert abs(got.surprise_sd - (expected - seen[i]) / sd) < 0.05


@pytest.mark.parametrize("wrong", [(), (1,), (0, 3)])
def test_gross_errors_agree_with_every_set_of_them_in_the_linear_world(monkeypatch, wrong):
    no_hanging_noise(monkeypatch)
    days = np.array([3, 7, 14, 21, 28])
    seen = BASE[days] + 0.004 * days
    seen[list(wrong)] += 0.15
    weigh_ins = weighed(days, HUNG.mass_kg * (1 - seen))
    found = posterior(ensemble=linear_ensemble(), hanging=HUNG, weigh_ins=weigh_ins, priors=PRIORS)
    mean, cov = linear_joint(days, np.array([], int))
    sets = list(chain.from_iterable(combinations(range(5), r) for r in range(6)))
    log = []
    for s in sets:
        noise = np.array([noise_var(w) for w in weigh_ins])
        noise[list(s)] += PRIORS.outlier_spread_frac**2
        share = PRIORS.outlier_share_frac
        log.append(
            stats.multivariate_normal(mean, cov + np.diag(noise)).logpdf(seen)
            + len(s) * np.log(share)
            + (5 - len(s)) * np.log1p(-share)
        )
    weight = np.exp(np.array(log) - max(log))
    weight /= weight.sum()
    for i in range(5):
        want = sum(w for s, w in zip(sets, weight, strict=True) if i in s)
        assert abs(found.expectation(i=i).in_error_frac - want) < 0.01  # sets below 0.5 % are dropped
        assert (want > 0.9) == (i in wrong)


# ---- the made-up drying world ---------------------------------------------------------------------


def test_interpolation_off_the_nodes_agrees_with_simulation_there():
    air, ens = world(read_days=15)
    rng = np.random.default_rng(1)
    where = rng.uniform(-1, 1, (40, 2))
    at = rng.uniform(0.1, 89, 30) * DAY
    left = interpolation_at(count=NODES, at=where[:, 0])
    right = interpolation_at(count=NODES, at=where[:, 1])
    loss = np.einsum("tdr,gd,gr->tg", ens.loss_frac.astype(float), left, right)
    got = time_weights(time_s=ens.time_s, at_s=at) @ loss
    want = truth(air, at, f_d=np.exp(where[:, 0] * HALF[0]), f_r=np.exp(where[:, 1] * HALF[1]))
    assert np.abs(got - want).max() < 5e-4


def test_interpolation_is_exact_for_polynomials():
    at = np.linspace(-1, 1, 33)
    x = chebyshev_points(count=9)
    for power in range(9):
        assert np.allclose(interpolation_at(count=9, at=at) @ x**power, at**power, atol=1e-13)
    time = np.array([0.0, 1.0, 2.5, 4.0, 7.0, 8.0])
    late = np.array([0.0, 0.3, 2.5, 3.9, 7.7, 8.0])
    for power in range(4):
        assert np.allclose(time_weights(time_s=time, at_s=late) @ time**power, late**power)


def sure_inputs():
    return replace(
        SURE,
        hygrometer_bias_frac=0.0,
        initial_water_frac=0.0,
        later_humidity_read_frac=0.0,
        later_humidity_usual_frac=0.0,
        later_temp_read_c=0.0,
        later_temp_usual_c=0.0,
    )


def test_posterior_agrees_with_a_dense_grid_of_direct_simulations(monkeypatch):
    no_hanging_noise(monkeypatch)
    priors = sure_inputs()
    air, ens = world(read_days=15)
    ens = replace(
        ens,
        shifted_loss_frac=np.zeros_like(ens.shifted_loss_frac),
    )
    days = np.array([2, 5, 9, 16])
    seen = truth(air, days * DAY, f_d=1.6, f_r=0.7)[:, 0] + [0.001, -0.004, 0.002, 0.006]
    weigh_ins = weighed(days, HUNG.mass_kg * (1 - seen))
    found = posterior(ensemble=ens, hanging=HUNG, weigh_ins=weigh_ins, priors=priors)
    axes = [np.linspace(-h, h, 301) for h in HALF]
    d, r = (x.ravel() for x in np.meshgrid(*axes, indexing="ij"))
    at = np.append(days, 35) * DAY
    loss = truth(air, at, f_d=np.exp(d), f_r=np.exp(r))
    cov = matern(at, at) + np.diag([*(noise_var(w) for w in weigh_ins), 0.0])
    away = seen[:, None] - loss[:4]
    log = -0.5 * np.einsum("kg,kg->g", away, np.linalg.solve(cov[:4, :4], away))
    log += stats.norm.logpdf(d, scale=0.6) + stats.norm.logpdf(r, scale=0.5)
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    got = found.grid_weight
    for axis, mine, x in ((1, got.sum(axis=1), d), (0, got.sum(axis=0), r)):
        grid = found.axes[1 - axis]
        mean, want = mine @ grid, weight @ x
        assert abs(mean - want) < 2e-3
        sd = np.sqrt(mine @ (grid - mean) ** 2)
        assert abs(sd / np.sqrt(weight @ (x - want) ** 2) - 1) < 0.01
    gain = np.linalg.solve(cov[:4, :4], cov[:4, 4])
    ahead = loss[4] + gain @ away
    sd = np.sqrt(cov[4, 4] - gain @ cov[:4, 4])
    for level in (0.25, 0.3, 0.35):
        want = weight @ stats.norm.sf(level, ahead, sd)
        mean_kg, sd_kg, share = found.predict_mass(at_s=at[4:])
        mixture = mixture_cdf(at=np.array([HUNG.mass_kg * (1 - level)]), mean=mean_kg, sd=sd_kg, weight=share)
        assert abs(mixture[0] - want) < 2e-3


@pytest.mark.parametrize(
    ("days", "step_kg", "f_d", "f_r"), [((2, 5, 9, 14), 0.001, 1.6, 0.7), ((3, 10), 0.02, 0.6, 1.3)]
)
def test_posterior_agrees_with_importance_sampling_of_the_whole_problem(days, step_kg, f_d, f_r):
    """Everything drawn from its prior, nothing linear: multipliers, humidity, water, later air, the
    rounding of each weighing (even over a step), the hanging mass; only the normal part is integrated."""
    air, ens = world(read_days=10)
    days = np.array(days)
    k = days.size
    at = np.append(days, [25, 45]) * DAY
    raw = HUNG.mass_kg * (1 - truth(air, at[:k], f_d=f_d, f_r=f_r, bias=0.02)[:, 0] + 0.002)
    shown = np.round(raw / step_kg) * step_kg
    weigh_ins = weighed(days, shown, step_kg)
    found = posterior(ensemble=ens, hanging=HUNG, weigh_ins=weigh_ins, priors=SURE)
    rng = np.random.default_rng(20)
    n = 60_000
    z = rng.standard_normal((7, n))
    d, r = 0.6 * z[0], 0.5 * z[1]
    loss = truth(
        air,
        at,
        f_d=np.exp(d),
        f_r=np.exp(r),
        bias=0.03 * z[2],
        water=0.015 * z[3],
        later_rh=0.03 * z[4],
        later_temp=1.0 * z[5],
    )
    hung = 1 + z[6] * np.hypot(PRIORS.repeatability_frac, HUNG.step_kg / HUNG.mass_kg / np.sqrt(12))
    true = 1 - hung * (1 - loss)
    rounding = rng.uniform(-0.5, 0.5, (k, n)) * step_kg / HUNG.mass_kg
    cov = matern(at, at)
    data = cov[:k, :k] + PRIORS.repeatability_frac**2 * np.eye(k)
    away = (1 - shown / HUNG.mass_kg)[:, None] + rounding - true[:k]
    log = -0.5 * np.einsum("kg,kg->g", away, np.linalg.solve(data, away))
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    effective = 1 / (weight**2).sum()
    assert effective > 400

    def close(got, values, slack):
        """Within 4 standard errors of the sample, and the slack that linearising may cost."""
        want = weight @ values
        error = np.sqrt(weight**2 @ (values - want) ** 2)
        assert abs(got - want) < 4 * error + slack, (got, want, error)

    grid = found.grid_weight
    close(grid.sum(axis=1) @ found.axes[0], d, 0.01)
    close(grid.sum(axis=0) @ found.axes[1], r, 0.01)
    gain = np.linalg.solve(data, cov[:k, k:]).T
    ahead = true[k:] + gain @ away
    sd = np.sqrt(np.diag(cov[k:, k:] - gain @ cov[:k, k:]))
    mean_kg, sd_kg, share = found.predict_mass(at_s=at[k:])
    for j in range(2):
        for level in np.quantile(ahead[j], [0.3, 0.5, 0.7]):
            got = mixture_cdf(
                at=np.full(1, HUNG.mass_kg * (1 - level)),
                mean=mean_kg[j : j + 1],
                sd=sd_kg[j : j + 1],
                weight=share,
            )[0]
            close(got, stats.norm.sf(level, ahead[j], sd[j]), 0.01)


def test_merged_quantiles_of_a_real_posterior_agree_with_the_unmerged_mixture():
    _, ens = world(read_days=10)
    for days in ((), (3,), (3, 8, 15)):
        weigh_ins = weighed(days, [1.75, 1.6, 1.5][: len(days)])
        found = posterior(ensemble=ens, hanging=HUNG, weigh_ins=weigh_ins, priors=PRIORS)
        mean, sd, weight = found.predict_mass(at_s=np.array([4.0, 15.0, 30.0, 70.0]) * DAY)
        levels = (0.025, 0.1, 0.5, 0.9, 0.975)
        x = mixture_quantiles(mean=mean, sd=sd, weight=weight, levels=levels)
        for q, level in zip(x, levels, strict=True):
            exact = (stats.norm.cdf((q[:, None] - mean) / sd) * weight).sum(axis=1)
            assert np.abs(exact - level).max() < 5e-4


def test_model_error_is_that_of_a_process_known_to_be_zero_at_hanging():
    at = np.array([0.0, 1, 5, 20, 60]) * DAY
    got = model_error_cov(a_s=at, b_s=at, priors=PRIORS)
    assert np.allclose(got, matern(at, at), atol=1e-18)
    assert got[0, 0] == 0
    assert np.linalg.eigvalsh(got[1:, 1:]).min() > 0
    assert 0.0099 < np.sqrt(got[-1, -1]) < 0.01


def test_a_belief_moves_the_prior_and_costs_no_simulation():
    _, ens = world()
    wiser = Belief(np.array([0.4, -0.2]), np.diag([0.1**2, 0.1**2]))
    found = posterior(ensemble=ens, hanging=HUNG, weigh_ins=[], priors=PRIORS, belief=wiser)
    assert abs(found.grid_weight.sum(axis=1) @ found.axes[0] - 0.4) < 1e-6
    assert abs(found.grid_weight.sum(axis=0) @ found.axes[1] + 0.2) < 1e-6


def test_a_copy_from_arrays_is_the_same(tmp_path):
    _, ens = world()
    np.savez_compressed(tmp_path / "e.npz", **ens.arrays())
    with np.load(tmp_path / "e.npz") as stored:
        again = Ensemble.from_arrays(stored)
    days = np.array([3, 9])
    weigh_ins = weighed(days, [1.8, 1.6])
    one, two = (
        posterior(ensemble=e, hanging=HUNG, weigh_ins=weigh_ins, priors=PRIORS).grid_weight
        for e in (ens, again)
    )
    assert np.array_equal(one, two)
    assert (tmp_path / "e.npz").stat().st_size < 800_000


def test_members_stay_few():
    seen = []

    def counted(**given):
        seen.append(given["diffusivity_multiplier"].size)
        return film_and_layer(**given)

    from forecast_world import programme

    from saltfare.plans.forecast_ensemble import ensemble

    ensemble(simulate=counted, programme=programme(), priors=PRIORS)
    assert seen == [NODES**2 + 2 * len(SHIFTS) * SHIFT_NODES**2]
    assert seen[0] <= 570
