"""When to weigh next: the day that would narrow the ready date most, for the least waiting.

What a weigh-in on a day would leave of the spread of the ready date is expected over what it may show,
by the forecast's own prediction. At each point of the grid all is normal: the loss on that day, the
date (the loss at the date over its slope) and what the one says of the other. No chance is drawn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from saltfare.plans.forecast_ensemble import DAY_S
from saltfare.plans.forecast_posterior import Posterior

Floats = NDArray[np.float64]

_NODES = 41  # of the loss that may be weighed, over four sd either way
_REACH_SD = 4.0
_LEAST_SLOPE = 1e-4 / DAY_S  # a hundredth of a point a day: hardly drying any more


@dataclass(frozen=True, slots=True)
class Narrowing:
    """Standard deviation of the ready date: now, and expected after a weigh-in at each time (n,)."""

    at_s: Floats
    now_s: float
    after_s: Floats


def narrowing(*, found: Posterior, target_mass_kg: float, at_s: Sequence[float], step_kg: float) -> Narrowing:
    """What a weigh-in at each of some times would leave of the spread of the ready date.

    A date beyond the horizon counts as the horizon.

    Parameters
    ----------
    found : Posterior
        After the weigh-ins so far.
    target_mass_kg : float
        The mass to reach [kg].
    at_s : sequence of float
        Times from hanging, after the last weigh-in and before the horizon [s].
    step_kg : float
        Step of the scale [kg].

    Source
    ------
    saltfare_derived, law of total variance over the predicted weigh-in
    """
    target = 1 - target_mass_kg / found.hanging.mass_kg
    last = found.weigh_ins[-1].time_s if found.weigh_ins else 0.0
    times = found.ensemble.time_s
    times = times[times >= last]
    step_frac = step_kg / found.hanging.mass_kg / np.sqrt(12.0)
    ready, ready_var, mean, var, turn, weight = ([] for _ in range(6))
    many = len(at_s)
    for s in found.sets:
        loss, spread, rest = found.conditioned(s=s, at_s=np.concatenate([np.asarray(at_s), times]))
        when, left, share, slope = _crossing(times, loss[many:], target)
        points = np.arange(loss.shape[1])
        ahead = spread[:, many:]
        there = ahead[:, left, points] * (1 - share) + ahead[:, left + 1, points] * share
        own = rest[many:, many:].diagonal()
        own = own[left] * (1 - share) + own[left + 1] * share + np.einsum("pa,pa->a", there, there)
        cross = rest[:many, many:]
        cross = cross[:, left] * (1 - share) + cross[:, left + 1] * share
        cross = cross + np.einsum("pna,pa->na", spread[:, :many], there)
        seen = rest[:many, :many].diagonal()[:, None] + np.einsum(
            "pna,pna->na", spread[:, :many], spread[:, :many]
        )
        seen = seen + np.hypot(step_frac, s.priors.repeatability_frac) ** 2
        inside = when < times[-1]
        ready.append(when)
        ready_var.append(np.where(inside, own / slope**2, 0.0))
        mean.append(loss[:many])
        var.append(seen)
        turn.append(np.where(inside, -cross / (seen * slope), 0.0))
        weight.append(s.weight)
    t, tv, w = (np.concatenate(x) for x in (ready, ready_var, weight))
    centre = float(w @ t)
    whole = float(w @ (tv + (t - centre) ** 2))
    after = np.empty(many)
    m, v, k = (np.concatenate(x, axis=1) for x in (mean, var, turn))
    for i in range(many):
        middle = float(w @ m[i])
        sd = float(np.sqrt(w @ (v[i] + (m[i] - middle) ** 2)))
        y = middle + sd * np.linspace(-_REACH_SD, _REACH_SD, _NODES)[:, None]
        density = w * np.exp(-0.5 * (y - m[i]) ** 2 / v[i]) / np.sqrt(v[i])
        chance = density.sum(axis=1)
        expected = np.einsum("ya,ya->y", density, t + k[i] * (y - m[i])) / chance
        chance = chance / chance.sum()
        explained = float(chance @ expected**2 - (chance @ expected) ** 2)
        after[i] = np.sqrt(max(whole - explained, 0.0))
    return Narrowing(np.asarray(at_s, np.float64), float(np.sqrt(whole)), after)


def _crossing(times: Floats, loss: Floats, target: float) -> tuple[Floats, NDArray[np.intp], Floats, Floats]:
    """When each point's mean loss (times, a) reaches the target: the time, the interval it lies in, the
    share of it, and the slope there."""
    below = np.maximum.accumulate(loss, axis=0) < target
    left = np.clip(below.sum(axis=0) - 1, 0, len(times) - 2)
    points = np.arange(loss.shape[1])
    low, high = loss[left, points], loss[left + 1, points]
    rise = np.maximum(high - low, _LEAST_SLOPE * (times[left + 1] - times[left]))
    share = np.clip((target - low) / rise, 0.0, 1.0)
    width = times[left + 1] - times[left]
    return times[left] + share * width, left, share, rise / width


def offered(*, found: Narrowing, gain_frac: float) -> float | None:
    """The first time at which a weigh-in brings that share of the most any of the times would bring; None
    where there is nothing to narrow.

    Source
    ------
    saltfare_chosen, a share of the most, so as not to wait for little
    """
    most = found.now_s - float(found.after_s.min())
    if most <= 0:
        return None
    enough = found.now_s - found.after_s >= gain_frac * most
    return float(found.at_s[int(np.argmax(enough))])
