"""Learning across pieces against closed forms, dense sums and sampling. All pieces are invented."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from forecast_world import DAY, PRIORS, truth, weighed, world
from scipy import stats

from saltfare.core.library import Library
from saltfare.plans.forecast_ensemble import BOX_SD
from saltfare.plans.forecast_posterior import FINE, Belief, WeighIn
from saltfare.plans.learning import LearningPriors, Lesson, learn, lesson

LEVELS = LearningPriors.from_library(library=Library(), priors=PRIORS)
# every piece alike spread, none odd: then all is normal
PLAIN = replace(LEVELS, odd_share=0.0, spread_sd=0.0)
HALF = BOX_SD * np.array([PRIORS.diffusivity_ln_sd, PRIORS.resistance_ln_sd])
AXES = [np.linspace(-1, 1, FINE) * h for h in HALF]
POINTS = np.stack(np.meshgrid(*AXES, indexing="ij"), axis=-1)
RATE = np.array([0.6, -0.4])


def told(piece, mean, cov, *, chamber="cupboard", cut="loin"):
    """A lesson whose likelihood is normal."""
    log = stats.multivariate_normal(mean, cov).logpdf(POINTS)
    return Lesson(piece, chamber, cut, np.maximum(log - log.max(), -80).astype(np.float32), HALF, RATE)


def narrow(piece, mean, sd=0.12, **keys):
    # the ridge of few weigh-ins: faster inside or less held back tell alike
    return told(piece, mean, sd**2 * np.array([[1.0, 0.6], [0.6, 1.0]]), **keys)


def test_the_shares_of_a_multiplier_make_one_and_nothing_learned_is_the_population():
    learned = learn(lessons=[], priors=LEVELS)
    got, want = learned.belief(chamber="any", cut="any"), Belief.of(priors=PRIORS)
    assert np.allclose(got.mean, 0.0) and np.allclose(got.cov, want.cov, rtol=1e-12)


def closed_form(lessons, means, covs, levels, chamber, cut):
    """Normal effects, normal likelihoods: one linear solve, written as one joint covariance of pieces."""

    def shared(a, b):
        v = levels.population_var.copy()
        v += levels.chamber_var * (a[0] == b[0]) + levels.cut_var * (a[1] == b[1])
        return np.diag(v)

    keys = [(one.chamber, one.cut) for one in lessons]
    n = len(keys)
    data = np.zeros((2 * n, 2 * n))
    for i in range(n):
        for j in range(n):
            data[2 * i : 2 * i + 2, 2 * j : 2 * j + 2] = shared(keys[i], keys[j])
        data[2 * i : 2 * i + 2, 2 * i : 2 * i + 2] += np.diag(levels.piece_var) + covs[i]
    cross = np.hstack([shared((chamber, cut), key) for key in keys])
    own = shared((chamber, cut), (chamber, cut)) + np.diag(levels.piece_var)
    gain = np.linalg.solve(data, cross.T).T
    return gain @ np.concatenate(means), own - gain @ cross.T


@pytest.mark.parametrize("where", [("a", "loin"), ("b", "neck"), ("b", "new"), ("new", "new")])
def test_a_normal_world_agrees_with_the_closed_form(where):
    keys = [("a", "loin"), ("a", "neck"), ("b", "loin"), ("a", "loin"), ("b", "belly")]
    means = [np.array(m) for m in ([0.3, -0.4], [0.5, -0.2], [-0.1, 0.3], [0.2, -0.5], [0.1, 0.2])]
    spreads = ((0.12, 0.6), (0.3, 0.5), (0.2, -0.3), (0.15, 0.7), (0.4, 0.0))
    covs = [s**2 * np.array([[1.0, r], [r, 1.0]]) for s, r in spreads]
    lessons = [
        told(f"p{i}", mean, cov, chamber=key[0], cut=key[1])
        for i, (mean, cov, key) in enumerate(zip(means, covs, keys, strict=True))
    ]
    got = learn(lessons=lessons, priors=PLAIN).belief(chamber=where[0], cut=where[1])
    mean, cov = closed_form(lessons, means, covs, PLAIN, *where)
    assert np.abs(got.mean - mean).max() < 2e-3
    assert np.abs(got.cov / cov - 1).max() < 0.02


def dense(lessons, levels, chamber="cupboard", cut="loin"):
    """One chamber, one cut: the common m on its own grid, pieces averaged by plain sums of densities."""
    axis = np.linspace(-2, 2, 101)
    m = np.stack(np.meshgrid(axis, axis, indexing="ij"), axis=-1).reshape(-1, 2)
    prior_var = levels.population_var + levels.chamber_var + levels.cut_var
    log_prior = stats.norm(0, np.sqrt(prior_var)).logpdf(m).sum(axis=1)
    factor, weight = levels.spreads
    own_var = levels.piece_var / (weight @ factor**2 * (1 + levels.odd_share * (levels.odd_widening**2 - 1)))
    total, first, second = [], [], []
    for s, w in zip(factor, weight, strict=True):
        log = log_prior + np.log(w)
        for one in lessons:
            here = 0.0
            for share, wide in ((1 - levels.odd_share, 1.0), (levels.odd_share, levels.odd_widening)):
                if not share:
                    continue
                sd = s * wide * np.sqrt(own_var)
                densities = [stats.norm(axis[:, None], sd[k]).pdf(AXES[k]) for k in (0, 1)]
                lik = np.exp(one.log_lik.astype(float))
                here = here + share * (densities[0] @ lik @ densities[1].T).ravel()
            log += np.log(here)
        p = np.exp(log)
        own = np.diag(s**2 * own_var * (1 + levels.odd_share * (levels.odd_widening**2 - 1)))
        total.append(p.sum())
        first.append(p @ m)
        second.append(np.einsum("m,ma,mb->ab", p, m, m) + p.sum() * own)
    mean = sum(first) / sum(total)
    return mean, sum(second) / sum(total) - np.outer(mean, mean), np.array(total) / sum(total)


@pytest.mark.parametrize(
    "means",
    [
        [[0.4, -0.3], [0.5, -0.1], [0.3, -0.3], [0.45, -0.2], [0.35, -0.35]],  # of a mind
        [[0.4, -0.3], [0.5, -0.1], [-1.2, 0.9], [0.45, -0.2], [0.35, -0.35]],  # one odd
        [[0.9, -0.6], [-0.6, 0.5], [0.1, 0.6], [-0.9, -0.6], [0.7, 0.3]],  # of no mind
        [[1.5, -1.2]],
    ],
    ids=["of_a_mind", "one_odd", "of_no_mind", "one"],
)
def test_factors_fitted_agree_with_the_dense_sum(means):
    lessons = [narrow(f"p{i}", m) for i, m in enumerate(means)]
    learned = learn(lessons=lessons, priors=LEVELS)
    got = learned.belief(chamber="cupboard", cut="loin")
    mean, cov, weight = dense(lessons, LEVELS)
    sd = np.sqrt(np.diag(cov))
    assert (np.abs(got.mean - mean) < 0.1 * sd).all()
    assert np.abs(np.sqrt(np.diag(got.cov)) / sd - 1).max() < 0.08
    assert np.abs(learned.weight - weight).max() < 0.06


def test_one_odd_piece_does_not_rule():
    alike = [narrow(f"p{i}", [0.4 + 0.05 * i, -0.3]) for i in range(4)]
    odd = narrow("p9", [-1.3, 1.2])
    without = learn(lessons=alike, priors=LEVELS).belief(chamber="cupboard", cut="loin")
    robust = learn(lessons=[*alike, odd], priors=LEVELS).belief(chamber="cupboard", cut="loin")
    normal = learn(lessons=[*alike, odd], priors=PLAIN).belief(chamber="cupboard", cut="loin")
    for k in (0, 1):
        assert abs(robust.mean[k] - without.mean[k]) < 0.4 * abs(normal.mean[k] - without.mean[k])
    assert robust.cov[0, 0] > without.cov[0, 0]  # such pieces happen here, and that is kept


def test_more_pieces_in_a_chamber_narrow_towards_what_they_have_in_common():
    before = np.sqrt(np.diag(Belief.of(priors=PRIORS).cov))
    for n in (1, 3, 10):
        lessons = [narrow(f"p{i}", [0.5, -0.5], cut="loin") for i in range(n)]
        got = learn(lessons=lessons, priors=LEVELS).belief(chamber="cupboard", cut="loin")
        now = np.sqrt(np.diag(got.cov))
        assert (now < before).all() and (got.mean * [1, -1] > 0).all()
        before = now
    assert np.abs(got.mean - [0.5, -0.5]).max() < 0.12
    # what a chamber taught of one cut says something of another, and less
    other = learn(lessons=lessons, priors=LEVELS).belief(chamber="cupboard", cut="neck")
    assert 0 < other.mean[0] < got.mean[0] and other.cov[0, 0] > got.cov[0, 0]


def test_pieces_of_no_mind_say_they_are_spread_widely():
    scattered = [
        narrow(f"p{i}", m) for i, m in enumerate(([0.9, -0.6], [-0.6, 0.5], [0.1, 0.6], [-0.9, -0.6]))
    ]
    alike = [narrow(f"p{i}", [0.2, 0.1]) for i in range(4)]
    assert learn(lessons=scattered, priors=LEVELS).spread_mean > 1.05
    assert learn(lessons=alike, priors=LEVELS).spread_mean < 0.95


def test_a_piece_that_says_nothing_changes_nothing():
    flat = Lesson("p0", "cupboard", "loin", np.zeros((FINE, FINE), np.float32), HALF, RATE)
    got = learn(lessons=[flat], priors=LEVELS).belief(chamber="cupboard", cut="loin")
    want = Belief.of(priors=PRIORS)
    assert np.abs(got.mean).max() < 1e-6 and np.abs(got.cov - want.cov).max() < 1e-4


def test_any_order_and_the_same_answer():
    lessons = [narrow(f"p{i}", [0.1 * i, -0.2], chamber="ab"[i % 2]) for i in range(4)]
    one, two = (learn(lessons=order, priors=LEVELS) for order in (lessons, lessons[::-1]))
    assert np.array_equal(one.mean, two.mean) and np.array_equal(one.cov, two.cov)
    assert one.counts == {"chamber a": 2, "chamber b": 2, "cut loin": 4}


def test_speed_is_in_the_direction_the_pieces_went():
    lessons = [narrow(f"p{i}", [0.4, -0.4]) for i in range(5)]
    speed = learn(lessons=lessons, priors=PLAIN).chamber_speed(chamber="cupboard")
    assert 1.0 < speed.low < speed.median < speed.high < np.exp(RATE @ [0.4, -0.4]) * 1.3


# ---- lessons of the made-up drying world ----------------------------------------------------------

M0 = 1.8
HUNG = WeighIn(0.0, M0, 0.001)


def a_lesson(f_d, f_r, days=(2, 5, 9, 14), piece="p"):
    air, ens = world(days=float(max(days)), read_days=max(days))
    loss = truth(air, np.array(days) * DAY, f_d=f_d, f_r=f_r)[:, 0]
    return lesson(
        piece=piece,
        chamber="cupboard",
        cut="loin",
        ensemble=ens,
        hanging=HUNG,
        weigh_ins=weighed(days, M0 * (1 - loss)),
        priors=PRIORS,
    )


def test_a_lesson_is_the_likelihood_about_the_truth_and_slopes_of_its_speed():
    from saltfare.plans.forecast_posterior import posterior

    one = a_lesson(1.6, 0.7)
    air, ens = world(days=14.0, read_days=14)
    loss = truth(air, np.array((2, 5, 9, 14)) * DAY, f_d=1.6, f_r=0.7)[:, 0]
    found = posterior(
        ensemble=ens, hanging=HUNG, weigh_ins=weighed((2, 5, 9, 14), M0 * (1 - loss)), priors=PRIORS
    )
    prior = stats.norm(0, np.sqrt(np.diag(Belief.of(priors=PRIORS).cov))).logpdf(POINTS).sum(axis=-1)
    again = np.exp(one.log_lik + prior)[1:-1, 1:-1]
    inner = found.grid_weight[1:-1, 1:-1]
    assert np.allclose(again / again.sum(), inner / inner.sum(), rtol=1e-3, atol=1e-12)
    # speed by brute force: when the same loss is reached with each multiplier 1 % up
    at = np.linspace(8, 14.0, 4001) * DAY
    base = truth(air, at)[:, 0][-1]
    for k, change in enumerate(({"f_d": 1.01}, {"f_r": 1.01})):
        back = {name: 1 / value for name, value in change.items()}
        fast, slow = truth(air, at, **change)[:, 0], truth(air, at, **back)[:, 0]
        sooner = [np.interp(min(base, fast[-1], slow[-1]), curve, at) for curve in (slow, fast)]
        want = np.log(sooner[0] / sooner[1]) / (2 * np.log(1.01))
        assert one.rate[k] == pytest.approx(want, abs=0.03)
    assert one.rate[0] > 0 > one.rate[1]


def test_lessons_learned_move_the_belief_to_where_the_pieces_were():
    lessons = [a_lesson(1.5, 0.6, piece=f"p{i}") for i in range(3)]
    got = learn(lessons=lessons, priors=LEVELS).belief(chamber="cupboard", cut="loin")
    assert got.mean[0] > 0.1 and got.mean[1] < -0.1
    assert np.linalg.det(got.cov) < 0.6 * np.linalg.det(Belief.of(priors=PRIORS).cov)


# ---- against sampling everything (Foreman-Mackey et al. 2013, emcee 3) ---------------------------


@pytest.mark.deep
@pytest.mark.parametrize("case", ["of_a_mind", "one_odd", "two_chambers"])
def test_belief_agrees_with_sampling_every_effect(case):
    """Every effect and every piece's multipliers sampled, with oddness and spread summed out by hand."""
    emcee = pytest.importorskip("emcee")
    cases = {
        "of_a_mind": ([[0.4, -0.3], [0.6, -0.1], [0.3, -0.4]], "aaa", "llm"),
        "one_odd": ([[0.4, -0.3], [0.5, -0.2], [-1.0, 0.8], [0.4, -0.4]], "aaaa", "llll"),
        "two_chambers": ([[0.5, -0.6], [0.4, -0.5], [-0.2, 0.4], [0.0, 0.5]], "aabb", "lmlm"),
    }
    means, chambers, cuts = cases[case]
    lessons = [
        narrow(f"p{i}", mean, chamber=chamber, cut=cut)
        for i, (mean, chamber, cut) in enumerate(zip(means, chambers, cuts, strict=True))
    ]
    inverse = np.linalg.inv(0.12**2 * np.array([[1.0, 0.6], [0.6, 1.0]]))
    names = ["pop", *(f"a{c}" for c in sorted(set(chambers))), *(f"b{k}" for k in sorted(set(cuts)))]
    by_level = {"p": LEVELS.population_var, "a": LEVELS.chamber_var, "b": LEVELS.cut_var}
    var = np.array([by_level[name[0]] for name in names])
    n, q = len(lessons), len(names)
    keys = zip(chambers, cuts, strict=True)
    where = np.array([[0, names.index(f"a{c}"), names.index(f"b{k}")] for c, k in keys])
    data = np.array(means)
    factor, weight = LEVELS.spreads

    def log_density(z):
        """z (walkers, ...) in prior sd: effects, then pieces as they are, then the spread's index."""
        effects = z[:, : 2 * q].reshape(-1, q, 2) * np.sqrt(var)
        x = z[:, 2 * q : 2 * q + 2 * n].reshape(-1, n, 2)
        m = effects[:, where].sum(axis=2)
        log = -0.5 * (z[:, : 2 * q] ** 2).sum(axis=1)
        log += -0.5 * np.einsum("wna,ab,wnb->w", x - data, inverse, x - data)
        by_spread = []
        for s, w in zip(factor, weight, strict=True):
            piece = 0.0
            for share, wide in ((1 - LEVELS.odd_share, 1.0), (LEVELS.odd_share, LEVELS.odd_widening)):
                sd = s * wide * np.sqrt(LEVELS.plain_var)
                piece = piece + share * np.exp(-0.5 * (((x - m) / sd) ** 2).sum(axis=2)) / sd.prod()
            by_spread.append(np.log(w) + np.log(piece + 1e-300).sum(axis=1))
        return log + np.logaddexp.reduce(by_spread, axis=0)

    rng = np.random.default_rng(8)
    walkers, dim = 96, 2 * q + 2 * n
    effects = 0.3 * rng.standard_normal((walkers, 2 * q))
    pieces = data.ravel() + 0.1 * rng.standard_normal((walkers, 2 * n))
    start = np.concatenate([effects, pieces], axis=1)
    np.random.seed(4)
    sampler = emcee.EnsembleSampler(
        walkers,
        dim,
        log_density,
        vectorize=True,
        moves=[(emcee.moves.DEMove(), 0.8), (emcee.moves.StretchMove(), 0.2)],
    )
    sampler.run_mcmc(start, 24000)
    flat = sampler.get_chain(discard=6000, thin=10, flat=True)
    effects = flat[:, : 2 * q].reshape(-1, q, 2) * np.sqrt(var)
    m = effects[:, where[0]].sum(axis=1)
    got = learn(lessons=lessons, priors=LEVELS)
    at = [0, 1 + got.chambers.index(chambers[0]), 1 + len(got.chambers) + got.cuts.index(cuts[0])]
    mean, cov = got._moments(at, np.zeros((got.spread.size, 2)))
    tau = sampler.get_autocorr_time(discard=6000, quiet=True).max()
    error = m.std(axis=0) / np.sqrt(18000 * walkers / tau)
    assert (np.abs(mean - m.mean(axis=0)) < 4 * error + 0.06 * m.std(axis=0)).all()
    assert np.abs(np.sqrt(np.diag(cov)) / m.std(axis=0) - 1).max() < 0.10
