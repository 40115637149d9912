"""What finished pieces teach of the next: population, chamber, cut and piece, one normal model.

Each piece's pair x of ln multipliers is normal about m = population + chamber + cut, and with a small
chance spread wider, so that one odd piece does not rule. What its weigh-ins say of x is its likelihood
on the grid of the forecast, not a normal summary of it; blurred by the spread of pieces it says what
they say of m, and is fitted by a normal factor whose first two moments, with all the others', are
right (expectation propagation). No chance is drawn. Method and figures: docs/forecast.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from saltfare.core.library import Library
from saltfare.plans.forecast_ensemble import NODES, Ensemble, interpolation_at, time_weights
from saltfare.plans.forecast_mixture import normal_cdf
from saltfare.plans.forecast_posterior import FINE, Belief, WeighIn, grid_log_prior, posterior
from saltfare.plans.forecast_priors import ForecastPriors

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]

TABLE = "learning_priors"
_SPREADS = 5  # points of Gauss and Hermite over the household's spread of pieces
_LOWEST = -80.0  # ln likelihood below the best, where it is kept as that
_SWEEPS, _STILL = 60, 1e-5  # of the means: a hundred thousandth of a multiplier
_DAMPING = 0.8
_TEN_PERCENT_Z = 1.2815515655446004


@dataclass(frozen=True, slots=True)
class LearningPriors:
    """Variances (2,) of ln diffusivity and ln resistance multipliers by level; they add up to the
    forecast's. odd_share, odd_widening: of pieces spread wider. spread_sd: of the ln of how widely a
    household's pieces are spread, 1 beside `piece_var`.
    """

    population_var: Floats
    chamber_var: Floats
    cut_var: Floats
    piece_var: Floats
    odd_share: float
    odd_widening: float
    spread_sd: float
    least_weigh_ins: int

    @classmethod
    def from_library(cls, *, library: Library, priors: ForecastPriors) -> LearningPriors:
        """The rows of `learning_priors`, shares of the variances of `priors`.

        Raises
        ------
        NotFound, BadTable

        Source
        ------
        saltfare_chosen, learning priors
        """
        whole = np.array([priors.diffusivity_ln_sd**2, priors.resistance_ln_sd**2])

        def var(row_id: str) -> Floats:
            row = library.row(TABLE, row_id)
            return np.asarray(whole * [row.number("diffusivity"), row.number("resistance")])

        def number(row_id: str) -> float:
            return library.row(TABLE, row_id).number("number")

        return cls(
            population_var=var("population"),
            chamber_var=var("chamber"),
            cut_var=var("cut"),
            piece_var=var("piece"),
            odd_share=number("odd_share"),
            odd_widening=number("odd_widening"),
            spread_sd=number("spread"),
            least_weigh_ins=int(number("least_weigh_ins")),
        )

    @property
    def spreads(self) -> tuple[Floats, Floats]:
        """Factors on the sd of pieces and their weights: Gauss and Hermite's rule."""
        node, weight = np.polynomial.hermite_e.hermegauss(_SPREADS)
        return np.exp(self.spread_sd * node), weight / weight.sum()

    @property
    def plain_var(self) -> Floats:
        """Variance (2,) of a piece that is not odd at spread 1: with odd ones and all spreads `piece_var`."""
        factor, weight = self.spreads
        return self.piece_var / (float(weight @ factor**2) * self.widened)

    @property
    def widened(self) -> float:
        """The variance of pieces over that of those that are not odd."""
        return 1 + self.odd_share * (self.odd_widening**2 - 1)


@dataclass(frozen=True, slots=True)
class Lesson:
    """What one piece teaches. chamber, cut: keys of what it shares with others.

    log_lik (61, 61): of its weigh-ins on the forecast's grid, its best 0; single precision, so that a
    copy from a cache is the same. half_width (2,): half the grid. rate (2,): by how much the ln of its
    speed of drying rises with ln diffusivity and with ln resistance.
    """

    piece: str
    chamber: str
    cut: str
    log_lik: Singles
    half_width: Floats
    rate: Floats


def lesson(
    *,
    piece: str,
    chamber: str,
    cut: str,
    ensemble: Ensemble,
    hanging: WeighIn,
    weigh_ins: Sequence[WeighIn],
    priors: ForecastPriors,
) -> Lesson:
    """What the weigh-ins of a piece, in order of time, say of its multipliers.

    Parameters
    ----------
    piece, chamber, cut : str
        Keys.
    ensemble : Ensemble
        Of this piece, reaching to its last weigh-in.
    hanging, weigh_ins : WeighIn
        As for `forecast_posterior.posterior`; one weigh-in at least.
    priors : ForecastPriors
        As for the ensemble.

    Source
    ------
    saltfare_derived, likelihood on the grid; slopes of loss over slope in time
    """
    found = posterior(ensemble=ensemble, hanging=hanging, weigh_ins=weigh_ins, priors=priors)
    with np.errstate(divide="ignore"):
        log = np.log(found.grid_weight) - grid_log_prior(axes=found.axes, belief=Belief.of(priors=priors))
    log = np.maximum(log - log.max(), _LOWEST)
    # at one's last loss: how much sooner it is reached, by how much more is lost by then
    last = weigh_ins[-1].time_s
    step = 1e-2
    at = interpolation_at(count=NODES, at=np.array([-step, 0.0, step]))
    nodes = np.asarray(ensemble.loss_frac, np.float64)
    eps = 0.01 * last
    end = min(last + eps, ensemble.horizon_s)
    when = time_weights(time_s=ensemble.time_s, at_s=np.array([last, end - 2 * eps, end]))
    loss = np.einsum("tdr,ad,br->tab", np.tensordot(when, nodes, 1), at, at)
    in_time = (loss[2, 1, 1] - loss[1, 1, 1]) / (2 * eps)
    slopes = np.array([loss[0, 2, 1] - loss[0, 0, 1], loss[0, 1, 2] - loss[0, 1, 0]])
    rate = slopes / (2 * step * ensemble.half_width) / (last * in_time)
    return Lesson(piece, chamber, cut, log.astype(np.float32), ensemble.half_width, rate)


@dataclass(frozen=True, slots=True)
class Speed:
    """How many times as fast as the equations say: median and the ends of the 80 % interval."""

    median: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Learned:
    """What the lessons taught. chambers, cuts: keys, in the order of the latent effects.

    spread (s,), weight (s,): how widely the pieces are spread, and how likely that is.
    mean (s, d), cov (s, d, d): of population, chambers and cuts, two numbers each, at each spread.
    rates: chamber or cut -> mean rate (2,) of its lessons. counts: chamber or cut -> its pieces.
    """

    priors: LearningPriors
    chambers: tuple[str, ...]
    cuts: tuple[str, ...]
    spread: Floats
    weight: Floats
    mean: Floats
    cov: Floats
    rates: dict[str, tuple[float, float]]
    counts: dict[str, int]

    def belief(self, *, chamber: str, cut: str) -> Belief:
        """What to think of a piece of that cut in that chamber before it is weighed; what has not
        taught yet is as the priors have it. The mixture over spreads and odd pieces is told by its
        mean and covariance.

        Source
        ------
        saltfare_derived, moments of a mixture of normal distributions
        """
        p = self.priors
        at = [0]
        unknown = np.zeros(2)
        for key, keys, var, offset in (
            (chamber, self.chambers, p.chamber_var, 1),
            (cut, self.cuts, p.cut_var, 1 + len(self.chambers)),
        ):
            if key in keys:
                at.append(offset + keys.index(key))
            else:
                unknown = unknown + var
        own = self.spread[:, None] ** 2 * p.plain_var * p.widened + unknown
        return Belief(*self._moments(at, own))

    def chamber_speed(self, *, chamber: str) -> Speed:
        """How fast pieces dry in a chamber beside what its readings lead to expect: population and
        chamber together, over its lessons' mean rates.

        Source
        ------
        saltfare_derived, a linear function of normal effects
        """
        return self._speed(self.rates[f"chamber {chamber}"], [0, 1 + self.chambers.index(chamber)])

    def cut_speed(self, *, cut: str) -> Speed:
        """How fast a cut dries beside the others, all else alike.

        Source
        ------
        saltfare_derived, a linear function of normal effects
        """
        return self._speed(self.rates[f"cut {cut}"], [1 + len(self.chambers) + self.cuts.index(cut)])

    @property
    def spread_mean(self) -> float:
        """How widely pieces are spread about chamber and cut, times what was thought beforehand."""
        return float(np.exp(self.weight @ np.log(self.spread)))

    def _speed(self, rate: tuple[float, float], at: list[int]) -> Speed:
        mean, cov = self._moments(at, np.zeros((self.spread.size, 2)))
        w = np.array(rate)
        middle, reach = float(w @ mean), _TEN_PERCENT_Z * float(np.sqrt(w @ cov @ w))
        low, median, high = np.exp([middle - reach, middle, middle + reach])
        return Speed(float(median), float(low), float(high))

    def _moments(self, at: list[int], own: Floats) -> tuple[Floats, Floats]:
        """Mean (2,) and covariance (2, 2) of the sum of the effects `at` and something of variance
        `own` (s, 2), over the spreads."""
        h = _sum_of(at, self.mean.shape[1])
        mean = self.mean @ h.T
        cov = np.einsum("ad,sde,be->sab", h, self.cov, h) + own[:, :, None] * np.eye(2)
        centre = self.weight @ mean
        away = mean - centre
        return centre, np.einsum("s,sab->ab", self.weight, cov + away[:, :, None] * away[:, None, :])


def _sum_of(at: list[int], size: int) -> Floats:
    h = np.zeros((2, size))
    for i in at:
        h[:, 2 * i : 2 * i + 2] += np.eye(2)
    return h


def learn(*, lessons: Sequence[Lesson], priors: LearningPriors) -> Learned:
    """What lessons in any order teach of population, chambers and cuts.

    Parameters
    ----------
    lessons : sequence of Lesson
        One a piece; none is allowed.
    priors : LearningPriors
        Variances by level.

    Source
    ------
    minka_2001, sections 1 to 3: expectation propagation
    saltfare_chosen, population, chamber, cut and piece
    """
    ordered = sorted(lessons, key=lambda one: one.piece)
    chambers = tuple(sorted({one.chamber for one in ordered}))
    cuts = tuple(sorted({one.cut for one in ordered}))
    prior_var = np.concatenate(
        [
            priors.population_var,
            np.tile(priors.chamber_var, len(chambers)),
            np.tile(priors.cut_var, len(cuts)),
        ]
    )
    places = [
        _sum_of([0, 1 + chambers.index(one.chamber), 1 + len(chambers) + cuts.index(one.cut)], prior_var.size)
        for one in ordered
    ]
    factor, weight = priors.spreads
    log_evidence = np.zeros(factor.size)
    means, covs = [], []
    sites = _Sites.none(len(ordered))
    for i, spread in enumerate(factor):
        surfaces = [_blurred(one, priors, float(spread)) for one in ordered]
        log_evidence[i], mean, cov = sites.settle(surfaces, places, prior_var, ordered)
        means.append(mean)
        covs.append(cov)
    weight = weight * np.exp(log_evidence - log_evidence.max())
    groups: dict[str, list[Floats]] = {}
    for one in ordered:
        for key in (f"chamber {one.chamber}", f"cut {one.cut}"):
            groups.setdefault(key, []).append(one.rate)
    rates = {key: np.mean(found, axis=0) for key, found in groups.items()}
    return Learned(
        priors,
        chambers,
        cuts,
        factor,
        weight / weight.sum(),
        np.array(means),
        np.array(covs),
        {key: (float(rate[0]), float(rate[1])) for key, rate in rates.items()},
        {key: len(found) for key, found in groups.items()},
    )


@dataclass(slots=True)
class _Sites:
    """The normal factors of n pieces: precision (n, 2, 2), precision times mean (n, 2), ln scale (n,)."""

    precision: Floats
    shift: Floats
    log_scale: Floats

    @classmethod
    def none(cls, count: int) -> _Sites:
        return cls(np.zeros((count, 2, 2)), np.zeros((count, 2)), np.zeros(count))

    def settle(
        self, surfaces: list[Floats], places: list[Floats], prior_var: Floats, lessons: list[Lesson]
    ) -> tuple[float, Floats, Floats]:
        """Refine the factors in turn until nothing moves: ln evidence, mean and covariance of the
        effects. Begins from the factors at hand, which those of a neighbouring spread are near."""
        mean, cov, _ = self._joint(places, prior_var)
        for _ in range(_SWEEPS if lessons else 0):
            moved = 0.0
            for i, one in enumerate(lessons):
                before = mean
                self._refine(i, surfaces[i], places[i], one.half_width, mean, cov)
                mean, cov, _ = self._joint(places, prior_var)
                moved = max(moved, float(np.abs(mean - before).max()))
            if moved < _STILL:
                break
        mean, cov, log_norm = self._joint(places, prior_var)
        return float(self.log_scale.sum() + log_norm), mean, cov

    def _joint(self, places: list[Floats], prior_var: Floats) -> tuple[Floats, Floats, float]:
        precision = np.diag(1 / prior_var)
        shift = np.zeros(prior_var.size)
        for h, p, s in zip(places, self.precision, self.shift, strict=True):
            precision += h.T @ p @ h
            shift += h.T @ s
        cov = np.asarray(np.linalg.inv(precision), np.float64)
        mean = cov @ shift
        log_norm = 0.5 * (shift @ mean + np.linalg.slogdet(cov)[1] - np.log(prior_var).sum())
        return mean, cov, float(log_norm)

    def _refine(
        self, i: int, surface: Floats, place: Floats, half_width: Floats, mean: Floats, cov: Floats
    ) -> None:
        whole = np.linalg.inv(place @ cov @ place.T)
        precision = whole - self.precision[i]
        shift = whole @ (place @ mean) - self.shift[i]
        rest_cov = np.linalg.inv(precision)
        rest_mean = rest_cov @ shift
        # both on the grid, so that where it ends counts for neither
        plain, base_mean, base_cov = _grid_moments(rest_mean, rest_cov, half_width, None)
        scale, here_mean, here_cov = _grid_moments(rest_mean, rest_cov, half_width, surface)
        told = np.linalg.inv(here_cov)
        new = told - np.linalg.inv(base_cov)
        value, vector = np.linalg.eigh((new + new.T) / 2)
        # a piece may say nothing of a direction; that others are less sure because of it is left out
        new = (vector * np.maximum(value, 0.0)) @ vector.T
        new_shift = (precision + new) @ (here_mean - base_mean + rest_mean) - shift
        self.precision[i] += _DAMPING * (new - self.precision[i])
        self.shift[i] += _DAMPING * (new_shift - self.shift[i])
        # ln of what the factor must be multiplied by, so that with the rest it sums to what is there
        both = np.linalg.inv(precision + self.precision[i])
        total = shift + self.shift[i]
        log_fit = 0.5 * (
            total @ both @ total
            - shift @ rest_mean
            + np.linalg.slogdet(both)[1]
            - np.linalg.slogdet(rest_cov)[1]
        )
        self.log_scale[i] = np.log(scale / plain) - log_fit


def _grid_moments(
    mean: Floats, cov: Floats, half_width: Floats, surface: Floats | None
) -> tuple[float, Floats, Floats]:
    """Sum, mean and covariance on the grid of a normal distribution times a surface (61, 61)."""
    x, y = (np.linspace(-1, 1, FINE) * half for half in half_width)
    inverse = np.linalg.inv(cov)
    u, v = (x - mean[0])[:, None], (y - mean[1])[None, :]
    weight = np.exp(-0.5 * (inverse[0, 0] * u * u + 2 * inverse[0, 1] * u * v + inverse[1, 1] * v * v))
    if surface is not None:
        weight = weight * surface
    total = float(weight.sum())
    rows, columns = weight.sum(axis=1) / total, weight.sum(axis=0) / total
    u, v = u[:, 0], v[0]
    du, dv = float(rows @ u), float(columns @ v)
    uu, vv = float(rows @ (u * u)) - du * du, float(columns @ (v * v)) - dv * dv
    uv = float(u @ weight @ v) / total - du * dv
    return total, mean + np.array([du, dv]), np.array([[uu, uv], [uv, vv]])


def _blurred(one: Lesson, priors: LearningPriors, spread: float) -> Floats:
    """The likelihood of m, population with chamber and cut, on the grid: that of the piece averaged
    over how far pieces are spread about m, odd ones among them."""
    lik = np.exp(one.log_lik.astype(np.float64))
    out = np.zeros_like(lik)
    for share, wide in ((1 - priors.odd_share, 1.0), (priors.odd_share, priors.odd_widening)):
        sd = wide * spread * np.sqrt(priors.plain_var)
        rows, columns = (_blur(half, float(s)) for half, s in zip(one.half_width, sd, strict=True))
        out += share * (rows @ lik @ columns.T)
    return out


@lru_cache(maxsize=64)
def _blur(half_width: float, sd: float) -> Floats:
    """Matrix (61, 61): mean over a normal distribution about each point of what is known on the grid,
    each value holding for its cell and the outermost for all beyond."""
    axis = np.linspace(-1, 1, FINE) * half_width
    edges = (axis[1:] + axis[:-1]) / 2
    below = normal_cdf(z=(edges[None, :] - axis[:, None]) / sd)
    full = np.hstack([np.zeros((FINE, 1)), below, np.ones((FINE, 1))])
    return np.diff(full, axis=1)
