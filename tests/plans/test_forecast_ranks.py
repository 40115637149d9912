"""Simulation-based calibration (Talts et al. 2018, arXiv:1804.06788): what was drawn from the prior lies
evenly in its posterior: in a made-up drying world, in closed form and as bent as the real one, and with the
drying model itself."""

from __future__ import annotations

import numpy as np
import pytest
import test_forecast_drying as drying
from forecast_world import DAY, WHOLE, programme, truth, weighed, world
from scipy import stats

from saltfare.plans.forecast_mixture import mixture_cdf
from saltfare.plans.forecast_posterior import WeighIn, model_error_cov, posterior

AIR, ENS = world(read_days=25)
M0 = 2.0
DAYS = np.array([3, 7, 12, 18, 24])
AHEAD = 40
HALF = 3.0


def drawn(rng):
    """Everything the prior holds doubtful, and what is weighed of it: multipliers in prior sd, true loss
    ahead, weigh-ins."""
    z = rng.standard_normal(7)
    z[:2] = stats.truncnorm(-HALF, HALF).rvs(2, random_state=rng)
    shares = [share for share, _ in WHOLE.kinds.values()]
    own = list(WHOLE.kinds.values())[rng.choice(len(shares), p=shares)][1]
    at = np.append(DAYS, AHEAD) * DAY
    loss = truth(
        AIR,
        at,
        f_d=np.exp(WHOLE.diffusivity_ln_sd * z[0]),
        f_r=np.exp(WHOLE.resistance_ln_sd * z[1]),
        water=WHOLE.initial_water_frac * z[2],
        bias=WHOLE.hygrometer_bias_frac * z[3],
        later_rh=AIR.assumed.humidity_sd_frac * z[4],
        later_temp=AIR.assumed.temp_sd_c * z[5],
    )[:, 0]
    cov = model_error_cov(a_s=at, b_s=at, priors=own)
    loss = loss + np.linalg.cholesky(cov + 1e-14 * np.eye(at.size)) @ rng.standard_normal(at.size)
    noise = own.repeatability_frac * rng.standard_normal(DAYS.size)
    gross = rng.random(DAYS.size) < WHOLE.outlier_share_frac
    noise += gross * WHOLE.outlier_spread_frac * rng.standard_normal(DAYS.size)
    hung = M0 * (1 + own.repeatability_frac * z[6])
    masses = np.maximum(np.round(M0 * (1 - loss[:-1]) + M0 * noise, 3), 0.01)
    return z, M0 * (1 - loss[-1]), WeighIn(0.0, round(float(hung), 3), 0.001), weighed(DAYS, masses)


def ranks_of(found, z, mass):
    """Place of the truth in a posterior, 0 to 1: two multipliers and the mass ahead."""
    row = []
    for k in (0, 1):
        axis = found.axes[k] / (found.axes[k][-1] / HALF)
        cumulated = np.cumsum(found.grid_weight.sum(axis=1 - k))
        edges = np.append(axis - (axis[1] - axis[0]) / 2, HALF)
        row.append(np.interp(z[k], edges, np.append(0.0, cumulated)))
    mean, sd, weight = found.predict_mass(at_s=np.array([AHEAD * DAY]))
    row.append(float(mixture_cdf(at=np.array([mass]), mean=mean, sd=sd, weight=weight)[0]))
    return row


def ranks(count, seed):
    rng = np.random.default_rng(seed)
    out = []
    for _ in range(count):
        z, mass, hanging, weigh_ins = drawn(rng)
        found = posterior(ensemble=ENS, hanging=hanging, weigh_ins=weigh_ins, priors=WHOLE)
        out.append(ranks_of(found, z, mass))
    return np.array(out)


def check(found, least):
    for column in found.T:
        assert stats.kstest(column, "uniform").pvalue > least
        counts, _ = np.histogram(column, 10, (0, 1))
        assert stats.chisquare(counts).pvalue > least


def test_ranks_are_even():
    # one test in a thousand fails by chance; the draws are fixed
    check(ranks(150, 11), 1e-3)


@pytest.mark.deep
def test_ranks_are_even_in_many_draws():
    check(ranks(2000, 12), 1e-3)


def test_the_check_would_notice_bands_that_are_too_narrow():
    found = ranks(150, 11)
    squeezed = stats.norm.cdf(1.5 * stats.norm.ppf(np.clip(found, 1e-6, 1 - 1e-6)))
    assert all(stats.kstest(column, "uniform").pvalue < 0.05 for column in squeezed.T[2:])


@pytest.mark.deep
def test_ranks_are_even_on_the_drying_model_itself():
    """Every draw dried by the model, all it holds doubtful drawn; the posterior has its 281 members only."""
    count = 600
    rng = np.random.default_rng(21)
    z = rng.standard_normal((7, count))
    z[:2] = stats.truncnorm(-HALF, HALF).rvs((2, count), random_state=rng)
    at = np.append(DAYS, AHEAD) * DAY
    dried = np.concatenate([drying.direct(at, part) for part in np.array_split(z[:6], 6, axis=1)], axis=1)
    of_kind = list(WHOLE.kinds.values())
    which = rng.choice(len(of_kind), count, p=[share for share, _ in of_kind])
    out = []
    for j in range(count):
        own = of_kind[which[j]][1]
        cov = model_error_cov(a_s=at, b_s=at, priors=own)
        loss = dried[:, j] + np.linalg.cholesky(cov + 1e-14 * np.eye(at.size)) @ rng.standard_normal(at.size)
        noise = own.repeatability_frac * rng.standard_normal(DAYS.size)
        gross = rng.random(DAYS.size) < WHOLE.outlier_share_frac
        noise += gross * WHOLE.outlier_spread_frac * rng.standard_normal(DAYS.size)
        hung = round(drying.M0 * (1 + own.repeatability_frac * z[6, j]), 3)
        masses = np.maximum(np.round(drying.M0 * (1 - loss[:-1] + noise), 3), 0.01)
        found = posterior(
            ensemble=drying.round_ensemble(),
            hanging=WeighIn(0.0, hung, 0.001),
            weigh_ins=weighed(DAYS, masses),
            priors=WHOLE,
        )
        out.append(ranks_of(found, z[:2, j], drying.M0 * (1 - loss[-1])))
    check(np.array(out), 1e-3)


# ---- the posterior against sampling everything (Foreman-Mackey et al. 2013, emcee 3) --------------


@pytest.mark.deep
@pytest.mark.parametrize(
    ("days", "f_d", "f_r", "rh"),
    [((3, 8), 1.4, 0.8, 0.75), ((2, 5, 9, 14, 20), 0.7, 1.3, 0.75), ((4, 11, 19), 1.8, 0.6, 0.66)],
    ids=["few", "many", "dry"],
)
def test_posterior_agrees_with_sampling_every_input(days, f_d, f_r, rh):
    """Multipliers, inputs and the error of the hanging mass sampled through the world itself, bent as it
    is; the posterior takes all but the multipliers as acting in a straight line."""
    emcee = pytest.importorskip("emcee")
    from dataclasses import replace

    from forecast_world import PRIORS, film_and_layer

    from saltfare.plans.forecast_ensemble import ensemble

    sure = replace(PRIORS, outlier_share_frac=0.0)
    air = programme(rh_frac=rh, read_days=15)
    ens = ensemble(simulate=film_and_layer, programme=air, priors=sure)
    at = np.array(days) * DAY
    loss = truth(air, at, f_d=f_d, f_r=f_r, bias=0.02, water=-0.01)[:, 0]
    loss = loss + 0.003 * np.cos(np.arange(at.size))
    weigh_ins = weighed(days, M0 * (1 - loss))
    found = posterior(ensemble=ens, hanging=WeighIn(0.0, M0, 0.001), weigh_ins=weigh_ins, priors=sure)
    noise = np.hypot(0.001 / M0 / np.sqrt(12), sure.repeatability_frac)
    whole = model_error_cov(a_s=at, b_s=at, priors=sure) + noise**2 * np.eye(at.size)
    inverse = np.linalg.inv(whole)

    def log_density(z):
        out = np.where((np.abs(z[:, :2]) < HALF).all(axis=1), 0.0, -np.inf)
        z = np.clip(z, -6, 6)
        made = truth(
            air,
            at,
            f_d=np.exp(sure.diffusivity_ln_sd * z[:, 0]),
            f_r=np.exp(sure.resistance_ln_sd * z[:, 1]),
            water=sure.initial_water_frac * z[:, 2],
            bias=sure.hygrometer_bias_frac * z[:, 3],
            later_rh=air.assumed.humidity_sd_frac * z[:, 4],
            later_temp=air.assumed.temp_sd_c * z[:, 5],
        ).T
        away = 1 - (1 - made) / (1 + noise * z[:, 6:]) - loss
        return out - 0.5 * (z**2).sum(axis=1) - 0.5 * np.einsum("wk,kl,wl->w", away, inverse, away)

    rng = np.random.default_rng(3)
    np.random.seed(3)
    walkers = 64
    sampler = emcee.EnsembleSampler(
        walkers,
        7,
        log_density,
        vectorize=True,
        moves=[(emcee.moves.DEMove(), 0.8), (emcee.moves.StretchMove(), 0.2)],
    )
    sampler.run_mcmc(0.3 * rng.standard_normal((walkers, 7)), 12000)
    flat = sampler.get_chain(discard=3000, thin=5, flat=True)[:, :2]
    tau = sampler.get_autocorr_time(discard=3000, quiet=True)[:2].max()
    error = flat.std(axis=0) / np.sqrt(9000 * walkers / tau)
    for k in (0, 1):
        axis = found.axes[k] / (found.axes[k][-1] / HALF)
        weight = found.grid_weight.sum(axis=1 - k)
        mean = weight @ axis
        sd = np.sqrt(weight @ (axis - mean) ** 2)
        assert abs(mean - flat[:, k].mean()) < 4 * error[k] + 0.05
        assert sd == pytest.approx(flat[:, k].std(), rel=0.05)
