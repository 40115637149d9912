"""The cheap part of a forecast: what weigh-ins say of the two multipliers and of the mass to come.

At each point of a fine grid in the two logarithms everything else is normal: the doubtful inputs
act linearly, the model's own error is a Gaussian process that is zero at hanging, the scale adds
its noise. So each point is conditioned in closed form and weighted by what it makes of the
weigh-ins. Gross errors are a second, wide kind of noise; the sets of weigh-ins that may be in
error are listed, best first, not sampled.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from saltfare.plans.forecast_ensemble import (
    SHIFTS,
    Ensemble,
    interpolation,
    linear_interpolation,
    time_weights,
)
from saltfare.plans.forecast_mixture import mixture_cdf
from saltfare.plans.forecast_priors import ForecastPriors

Floats = NDArray[np.float64]

FINE = 61
_KEPT_POINT = 1e-5  # of the heaviest point; of a normal distribution that share lies beyond
_KEPT_KIND = 0.05  # below that another kind of piece would only cost time
_KEPT_SET = 5e-3  # of all sets of weigh-ins in error
_TRIED_SET = 1e-3
_STRIDES, _STRIDE_ERROR = (4, 3, 2), 1e-2
_MOST_IN_ERROR = 4


@dataclass(frozen=True, slots=True)
class WeighIn:
    """What the scale showed: time from hanging, mass, and the smallest step it shows."""

    time_s: float
    mass_kg: float
    step_kg: float


@dataclass(frozen=True, slots=True)
class Belief:
    """A normal distribution of ln diffusivity and ln resistance multipliers: mean (2,), cov (2, 2).

    The population's is `Belief.of(priors)`; a chamber or cut that taught something brings its own.
    """

    mean: Floats
    cov: Floats

    @classmethod
    def of(cls, *, priors: ForecastPriors) -> Belief:
        """The population's.

        Source
        ------
        saltfare_chosen, forecast priors
        """
        return cls(np.zeros(2), np.diag([priors.diffusivity_ln_sd**2, priors.resistance_ln_sd**2]))


@dataclass(frozen=True, slots=True)
class Normals:
    """Grid points (a,), each a normal distribution conditioned on k weigh-ins; p doubtful inputs of
    unit variance act on the loss through their effects.

    whiten (k, k) turns losses into white noise; residual (k, a) and effect (p, k, a) are whitened.
    chol (p, p, a): lower Cholesky factor of the precision of the inputs. shift (p, a): their mean.
    pull, grip (k, a): the covariance of the losses, inverted, times the residual, and its diagonal;
    they leave one weigh-in out, or put one in error, in closed form.
    """

    whiten: Floats
    residual: Floats
    effect: Floats
    chol: Floats
    shift: Floats
    pull: Floats
    grip: Floats
    log_lik: Floats

    @classmethod
    def solve(cls, *, seen: Floats, loss: Floats, effect: Floats, cov: Floats) -> Normals:
        """Condition on losses `seen` (k,), with `cov` (k, k) of noise and model error together."""
        k = seen.size
        whiten = np.linalg.inv(np.linalg.cholesky(cov)) if k else np.zeros((0, 0))
        residual = whiten @ (seen[:, None] - loss)
        inputs, points = effect.shape[0], effect.shape[2]
        flat = effect.transpose(1, 0, 2).reshape(k, inputs * points)
        white = np.ascontiguousarray((whiten @ flat).reshape(k, inputs, points).transpose(1, 0, 2))
        chol = np.zeros((inputs, inputs, points))
        for a in range(inputs):  # Cholesky of 1 + effect' effect, all points at once
            for b in range(a + 1):
                left = np.einsum("kg,kg->g", white[a], white[b]) + (a == b)
                left -= np.einsum("jg,jg->g", chol[a, :b], chol[b, :b])
                chol[a, b] = np.sqrt(left) if a == b else left / chol[b, b]
        forward = _forward(chol, np.einsum("pkg,kg->pg", white, residual))
        shift = _backward(chol, forward)
        fit = residual - np.einsum("pkg,pg->kg", white, shift)
        back = whiten.T @ white.transpose(1, 0, 2).reshape(k, inputs * points)
        back = _forward(chol, back.reshape(k, inputs, points).transpose(1, 0, 2))
        grip = np.einsum("jk,jk->k", whiten, whiten)[:, None] - np.einsum("pkg,pkg->kg", back, back)
        squares = np.einsum("kg,kg->g", residual, residual) - np.einsum("pg,pg->g", forward, forward)
        log_det = 2 * np.log(np.einsum("ppg->pg", chol)).sum(axis=0) - 2 * np.log(np.diag(whiten)).sum()
        log_lik = -0.5 * (squares + log_det + k * np.log(2 * np.pi))
        return cls(whiten, residual, white, chol, shift, whiten.T @ fit, grip, log_lik)

    def with_one_more(self, *, wide: float) -> Floats:
        """ln likelihood (k, a) with the variance of one weigh-in grown by `wide`: a rank-one update."""
        grown = 1 + wide * self.grip
        return np.asarray(self.log_lik + 0.5 * (wide * self.pull**2 / grown - np.log(grown)))

    def take(self, *, points: NDArray[np.intp]) -> Normals:
        """Some of the points."""
        return Normals(
            self.whiten,
            *(x[..., points] for x in (self.residual, self.effect, self.chol, self.shift)),
            *(x[..., points] for x in (self.pull, self.grip, self.log_lik)),
        )


@dataclass(frozen=True, slots=True)
class Conditioned:
    """The points that matter with one set of weigh-ins taken to be in error, of one kind of piece.

    in_error: their indices. priors: that kind's. weight (a,): over all sets summing to one. points (a,):
    on the fine grid.
    """

    in_error: tuple[int, ...]
    priors: ForecastPriors
    weight: Floats
    points: NDArray[np.intp]
    normals: Normals


@dataclass(frozen=True, slots=True)
class Expectation:
    """What the other weigh-ins lead to expect of one: mass, its standard deviation, how many of them
    it lies above (heavier is positive), and the chance that it is a gross error."""

    mass_kg: float
    sd_kg: float
    surprise_sd: float
    in_error_frac: float


@dataclass(frozen=True, slots=True)
class Posterior:
    """What is believed of a piece after its weigh-ins.

    axes: ln multipliers of the fine grid, diffusivity and resistance. grid_weight (61, 61).
    log_evidence: ln density of the losses weighed, under the belief. kinds: chance of each kind of piece.
    """

    ensemble: Ensemble
    priors: ForecastPriors
    hanging: WeighIn
    weigh_ins: tuple[WeighIn, ...]
    axes: tuple[Floats, Floats]
    grid_weight: Floats
    log_evidence: float
    kinds: Mapping[str, float]
    sets: tuple[Conditioned, ...]

    def predict_mass(self, *, at_s: Floats) -> tuple[Floats, Floats, Floats]:
        """The true mass at times (n,) as mixtures: mean and sd (n, a) [kg], weight (a,).

        Source
        ------
        saltfare_derived, normal prediction at each grid point
        """
        means, sds = [], []
        for s in self.sets:
            mean, spread, rest = self.conditioned(s=s, at_s=at_s)
            var = rest.diagonal()[:, None] + np.einsum("png,png->ng", spread, spread)
            means.append(self.hanging.mass_kg * (1 - mean))
            sds.append(self.hanging.mass_kg * np.sqrt(np.maximum(var, 0.0)))  # rounding at hanging
        return np.hstack(means), np.hstack(sds), np.concatenate([s.weight for s in self.sets])

    def conditioned(self, *, s: Conditioned, at_s: Floats) -> tuple[Floats, Floats, Floats]:
        """The true loss at times (n,) given the weigh-ins, at the points (a,) of one set: its mean (n, a),
        and its covariance as `rest` (n, n), of the model's error, the same at every point, and `spread`
        (p, n, a), of the doubtful inputs: between times i and j `rest[i, j] + spread[:, i] . spread[:, j]`.

        Source
        ------
        saltfare_derived, normal prediction at each grid point
        """
        data = np.array([w.time_s for w in self.weigh_ins])
        loss, effect = _fields(self.ensemble, at_s, self.hanging, s.priors, s.points)
        n = s.normals
        gain = model_error_cov(a_s=at_s, b_s=data, priors=s.priors) @ n.whiten.T
        left = effect - np.tensordot(n.effect, gain, ([1], [1])).transpose(0, 2, 1)
        mean = loss + gain @ n.residual + np.einsum("png,pg->ng", left, n.shift)
        rest = model_error_cov(a_s=at_s, b_s=at_s, priors=s.priors) - gain @ gain.T
        return mean, _forward(n.chol, left), rest

    def crust_frac(self, *, thicker_than_m: float) -> Floats:
        """Chance at each time of the ensemble (t,) that the crust is thicker than that.

        Each doubtful input moves the crust by the slope on the side towards the threshold, since
        the crust has a kink where it begins.

        Source
        ------
        saltfare_derived, normal distribution of the crust at each grid point
        """
        e = self.ensemble
        t = e.time_s.size
        chance = np.zeros(t)
        for s in self.sets:
            main = e.crust_m.reshape(t, -1) @ _grid(e.crust_m.shape[-1], linear=True)[s.points].T
            shifted = e.shifted_crust_m.reshape(-1, e.shifted_crust_m.shape[-1] ** 2)
            coarse = _grid(e.shifted_crust_m.shape[-1], linear=True)[s.points].T
            centre = e.crust_m[:, ::2, ::2].reshape(t, -1) @ coarse
            move = (shifted @ coarse).reshape(len(SHIFTS), 2, t, -1) - centre
            up, down = move[:, 0], -move[:, 1]
            towards = np.where(main <= thicker_than_m, 1.0, -1.0)
            slope = np.where(towards * up >= -towards * down, up, down)
            inputs = np.concatenate([slope, np.zeros((1, *slope.shape[1:]))])
            mean = main + np.einsum("ptg,pg->tg", inputs, s.normals.shift)
            spread = _forward(s.normals.chol, inputs)
            sd = np.sqrt(np.einsum("ptg,ptg->tg", spread, spread))
            chance += mixture_cdf(at=np.full(t, -thicker_than_m), mean=-mean, sd=sd, weight=s.weight)
        return chance

    def expectation(self, *, i: int) -> Expectation:
        """A weigh-in against what all the others lead to expect, exactly: leave one out.

        Source
        ------
        saltfare_derived, leaving one out in closed form
        """
        in_error = sum(float(s.weight.sum()) for s in self.sets if i in s.in_error)
        share, wide = self.priors.outlier_share_frac, self.priors.outlier_spread_frac**2
        seen = 1 - self.weigh_ins[i].mass_kg / self.hanging.mass_kg
        # the other weigh-ins in error, each way of it once for each kind of piece
        ways: dict[tuple[ForecastPriors, tuple[int, ...]], tuple[Floats, Floats, Floats]] = {}
        for s in sorted(self.sets, key=lambda s: i in s.in_error):
            rest = s.priors, tuple(j for j in s.in_error if j != i)
            if rest in ways:
                continue
            pull, grip = s.normals.pull[i], s.normals.grip[i]
            log_lik = 0.5 * (np.log(grip / (2 * np.pi)) - pull**2 / grip)
            odds = share if i in s.in_error else 1 - share
            var = 1 / grip - (wide if i in s.in_error else 0.0)
            ways[rest] = (np.log(s.weight) - log_lik - np.log(odds), seen - pull / grip, var)
        log_weight, mean, var = (np.concatenate(x) for x in zip(*ways.values(), strict=True))
        weight = np.exp(log_weight - log_weight.max())
        weight /= weight.sum()
        centre = float(weight @ mean)
        sd = float(np.sqrt(weight @ (var + (mean - centre) ** 2)))
        mass = self.hanging.mass_kg
        return Expectation(mass * (1 - centre), mass * sd, (centre - seen) / sd, in_error)


def posterior(
    *,
    ensemble: Ensemble,
    hanging: WeighIn,
    weigh_ins: Sequence[WeighIn],
    priors: ForecastPriors,
    belief: Belief | None = None,
) -> Posterior:
    """Condition the ensemble on weigh-ins that are in order of time and checked (`forecast` does both).

    Parameters
    ----------
    ensemble : Ensemble
        Simulated losses on the nodes.
    hanging : WeighIn
        The mass hung; its time is zero.
    weigh_ins : sequence of WeighIn
        Later weighings.
    priors : ForecastPriors
        Noise, model error, share of gross errors.
    belief : Belief or None
        Of the multipliers; the population's if None.

    Source
    ------
    saltfare_derived, normal conditioning at each grid point, Bayes over the grid
    """
    belief = Belief.of(priors=priors) if belief is None else belief
    axes = (
        np.linspace(-1, 1, FINE) * ensemble.half_width[0],
        np.linspace(-1, 1, FINE) * ensemble.half_width[1],
    )
    log_prior = _log_prior(axes, belief)
    time = np.array([w.time_s for w in weigh_ins])
    fields = _fields(ensemble, time, hanging, priors, np.arange(FINE * FINE))
    ways = {
        kind: (float(np.log(share)), _Ways.weighed(fields, hanging, weigh_ins, own, log_prior))
        for kind, (share, own) in priors.kinds.items()
    }
    evidence = {(kind, s): log + e for kind, (log, way) in ways.items() for s, e in way.evidence.items()}
    total = _log_sum(np.array(list(evidence.values())))
    chance = {
        kind: float(sum(np.exp(e - total) for (of, _), e in evidence.items() if of == kind)) for kind in ways
    }
    likeliest = max(chance, key=lambda kind: chance[kind])
    weights: dict[tuple[str, tuple[int, ...]], Floats] = {}
    for kind, s in sorted(evidence):
        if chance[kind] < _KEPT_KIND and kind != likeliest:
            continue
        if evidence[kind, s] > total + np.log(_KEPT_SET):
            at = log_prior + ways[kind][1].solve(s).log_lik
            weights[kind, s] = np.exp(at - _log_sum(at) + evidence[kind, s] - total)
    grid = sum(weights.values(), np.zeros(FINE * FINE))
    thinned = _thinned(grid)
    least = _KEPT_POINT * max(float(w.max()) for w in weights.values())
    points = {key: np.flatnonzero((w > least) & thinned) for key, w in weights.items()}
    whole = sum(float(weights[key][points[key]].sum()) for key in weights)
    sets = tuple(
        Conditioned(
            s,
            ways[kind][1].priors,
            w[points[kind, s]] / whole,
            points[kind, s],
            ways[kind][1].solve(s).take(points=points[kind, s]),
        )
        for (kind, s), w in weights.items()
    )
    grid = grid.reshape(FINE, FINE) / grid.sum()
    return Posterior(ensemble, priors, hanging, tuple(weigh_ins), axes, grid, total, chance, sets)


@dataclass(slots=True)
class _Ways:
    """Sets of weigh-ins in error for one kind of piece: ln evidence of those tried, and each solved once."""

    priors: ForecastPriors
    seen: Floats
    loss: Floats
    effect: Floats
    kernel: Floats
    noise: Floats
    solved: dict[tuple[int, ...], Normals]
    evidence: dict[tuple[int, ...], float]

    def solve(self, in_error: tuple[int, ...]) -> Normals:
        if in_error not in self.solved:
            grown = self.noise.copy()
            grown[list(in_error)] += self.priors.outlier_spread_frac**2
            cov = self.kernel + np.diag(grown)
            self.solved[in_error] = Normals.solve(seen=self.seen, loss=self.loss, effect=self.effect, cov=cov)
        return self.solved[in_error]

    @classmethod
    def weighed(
        cls,
        fields: tuple[Floats, Floats],
        hanging: WeighIn,
        weigh_ins: Sequence[WeighIn],
        priors: ForecastPriors,
        log_prior: Floats,
    ) -> _Ways:
        """Widen the best set by one weigh-in at a time while that is worth the trouble; all of its
        neighbours are weighed exactly on the way. fields: of any kind, at the weigh-ins and every point."""
        time = np.array([w.time_s for w in weigh_ins])
        seen = 1 - np.array([w.mass_kg for w in weigh_ins]) / hanging.mass_kg
        loss, effect = fields[0], fields[1].copy()
        effect[-1] = _of_hanging(loss, hanging, priors)
        kernel = model_error_cov(a_s=time, b_s=time, priors=priors)
        noise = np.array([_noise_sd(w, hanging, priors) for w in weigh_ins]) ** 2
        found = cls(priors, seen, loss, effect, kernel, noise, {}, {})
        wide, share, k = priors.outlier_spread_frac**2, priors.outlier_share_frac, time.size
        evidence = found.evidence
        here: tuple[int, ...] = ()
        while True:
            solved = found.solve(here)
            sure = (k - len(here)) * float(np.log1p(-share))
            sure += len(here) * float(np.log(share)) if here else 0.0
            evidence[here] = _log_sum(log_prior + solved.log_lik) + sure
            if share == 0 or len(here) == min(_MOST_IN_ERROR, k):
                return found
            sure += float(np.log(share) - np.log1p(-share))
            more = log_prior + solved.with_one_more(wide=wide)
            larger = {tuple(sorted((*here, i))): _log_sum(more[i]) + sure for i in range(k) if i not in here}
            evidence |= larger
            here = max(larger, key=lambda s: larger[s])
            if larger[here] < _log_sum(np.array(list(evidence.values()))) + np.log(_TRIED_SET):
                return found


def _thinned(grid: Floats) -> NDArray[np.bool_]:
    """Points to predict from: every fourth, third or second each way where that loses nothing, else all.

    A sum over every k-th point is as good as over all where the weights are smooth at that step: then all
    ways of taking every k-th weigh alike.
    """
    w = grid.reshape(FINE, FINE) / grid.sum()
    for k in _STRIDES:
        parts = np.array([w[a::k, b::k].sum() for a in range(k) for b in range(k)])
        if np.abs(k * k * parts - 1).max() < _STRIDE_ERROR:
            some = np.zeros((FINE, FINE), np.bool_)
            some[::k, ::k] = True
            return some.ravel()
    return np.ones(FINE * FINE, np.bool_)


def model_error_cov(*, a_s: Floats, b_s: Floats, priors: ForecastPriors) -> Floats:
    """Covariance of the model's error of loss between times (n,) and (m,): a Matern 3/2 process of
    the priors' size and time, given that it is zero at hanging, where the mass is weighed.

    Its slope is continuous: the error changes the rate of drying, it does not make the mass jump.

    Source
    ------
    saltfare_chosen, Matern 3/2 process pinned at zero
    """

    def correlation(gap_s: Floats) -> Floats:
        x = np.sqrt(3.0) * np.abs(gap_s) / priors.model_error_time_s
        return np.asarray((1 + x) * np.exp(-x))

    pinned = correlation(a_s)[:, None] * correlation(b_s)[None, :]
    return priors.model_error_frac**2 * (correlation(a_s[:, None] - b_s[None, :]) - pinned)


def _noise_sd(weigh_in: WeighIn, hanging: WeighIn, priors: ForecastPriors) -> float:
    """Of a weighing, of hanging mass. A step spreads evenly over its width: variance step^2 / 12."""
    step = weigh_in.step_kg / hanging.mass_kg
    return float(np.hypot(step / np.sqrt(12.0), priors.repeatability_frac))


def _fields(
    ensemble: Ensemble, at_s: Floats, hanging: WeighIn, priors: ForecastPriors, points: NDArray[np.intp]
) -> tuple[Floats, Floats]:
    """Loss (n, a) and effect of each doubtful input per sd (p, n, a) at times and grid points; the
    last input is the error of the hanging mass."""
    when = time_weights(time_s=ensemble.time_s, at_s=at_s)
    nodes = when @ np.asarray(ensemble.loss_frac, np.float64).reshape(when.shape[1], -1)
    loss = nodes @ _grid(ensemble.loss_frac.shape[-1])[points].T
    shifted = np.asarray(ensemble.shifted_loss_frac, np.float64)
    slope = ((shifted[:, 0] - shifted[:, 1]) / 2).reshape(len(shifted), when.shape[1], -1)
    effect = np.empty((len(shifted) + 1, *loss.shape))
    effect[:-1] = (when @ slope) @ _grid(shifted.shape[-1])[points].T
    effect[-1] = _of_hanging(loss, hanging, priors)
    return loss, effect


def _of_hanging(loss: Floats, hanging: WeighIn, priors: ForecastPriors) -> Floats:
    """What one sd of the error of the hanging mass does to the loss."""
    return np.asarray((loss - 1) * _noise_sd(hanging, hanging, priors))


@cache
def _grid(count: int, linear: bool = False) -> Floats:
    """Matrix (61 * 61, count * count) from nodes to the fine grid."""
    one = (linear_interpolation if linear else interpolation)(count=count, fine=FINE)
    return np.asarray(np.kron(one, one), np.float64)


def grid_log_prior(*, axes: tuple[Floats, Floats], belief: Belief) -> Floats:
    """ln weight (61, 61) of each grid point: the belief's density by the trapezoid rule, cut off at the box.

    Source
    ------
    saltfare_derived, trapezoid rule
    """
    return _log_prior(axes, belief).reshape(FINE, FINE)


def _log_prior(axes: tuple[Floats, Floats], belief: Belief) -> Floats:
    x = np.asarray(
        np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 2) - belief.mean, np.float64
    )
    log = -0.5 * np.einsum("ga,ab,gb->g", x, np.linalg.inv(belief.cov), x)
    end = np.zeros(FINE)
    end[[0, -1]] = np.log(0.5)
    log = np.asarray(log + (end[:, None] + end).ravel(), np.float64)
    return log - _log_sum(log)


def _log_sum(log: Floats) -> float:
    top = float(log.max())
    return top + float(np.log(np.exp(log - top).sum()))


def _forward(chol: Floats, right: Floats) -> Floats:
    """Solve chol x = right, chol (p, p, g), right (p, ..., g), all g at once."""
    out = np.empty_like(right)
    for a in range(len(chol)):
        rest = right[a].copy()
        for b in range(a):
            rest -= chol[a, b] * out[b]
        out[a] = rest / chol[a, a]
    return out


def _backward(chol: Floats, right: Floats) -> Floats:
    """Solve chol' x = right, (p, g)."""
    out = np.empty_like(right)
    for a in reversed(range(len(chol))):
        rest = right[a].copy()
        for b in range(a + 1, len(chol)):
            rest -= chol[b, a] * out[b]
        out[a] = rest / chol[a, a]
    return out
