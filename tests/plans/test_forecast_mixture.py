"""The normal distribution function and mixture quantiles against scipy."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, stats

from saltfare.plans.forecast_mixture import mixture_cdf, mixture_quantiles, normal_cdf


def test_normal_cdf_agrees_with_scipy_within_the_printed_error():
    z = np.linspace(-9, 9, 20001)
    assert np.abs(normal_cdf(z=z) - stats.norm.cdf(z)).max() < 7.5e-8  # Abramowitz and Stegun 26.2.17


@given(seed=st.integers(0, 10**6), count=st.integers(1, 400), spread=st.floats(0.0, 30.0))
def test_quantiles_agree_with_scipy_root_of_the_unmerged_mixture(seed, count, spread):
    rng = np.random.default_rng(seed)
    mean = spread * rng.beta(0.7, 2.0, (1, count))
    sd = rng.uniform(0.6, 1.2, (1, count))
    weight = rng.dirichlet(np.full(count, 0.5))
    levels = (0.025, 0.1, 0.5, 0.975)
    found = mixture_quantiles(mean=mean, sd=sd, weight=weight, levels=levels)[:, 0]
    cdf = stats.norm.cdf((found[:, None] - mean) / sd) @ weight
    # merging keeps mean and variance of a bin, not its tails: worst for one mean with sd spread twofold
    assert np.abs(cdf - levels).max() < 2e-3
    exact = [
        optimize.brentq(lambda x, p=p: stats.norm.cdf((x - mean[0]) / sd[0]) @ weight - p, -20, 60)
        for p in levels
    ]
    assert np.abs(found - exact).max() < 0.05 * sd.max()


def test_one_member_gives_the_normal_quantiles():
    found = mixture_quantiles(
        mean=np.array([[3.0], [5.0]]), sd=np.array([[2.0], [0.0]]), weight=np.ones(1), levels=(0.1, 0.9)
    )
    assert np.allclose(found[:, 0], stats.norm.ppf([0.1, 0.9], 3, 2), atol=1e-5)
    assert np.allclose(found[:, 1], 5.0, atol=1e-9)


def test_cdf_of_a_two_member_mixture():
    found = mixture_cdf(
        at=np.array([1.0]), mean=np.array([[0.0, 4.0]]), sd=np.ones((1, 2)), weight=np.array([0.3, 0.7])
    )
    assert abs(found[0] - (0.3 * stats.norm.cdf(1) + 0.7 * stats.norm.cdf(-3))) < 1e-7
