"""Drying of slabs of many thicknesses, diffusivities and films at once under one steady air.

Water moves by diffusion in the slab as first laid, and leaves the surface as fast as the film lets it and
the surface is wet: so the constant rate, and the time the inside lags, come out of one equation.
Nodes at the faces, finer towards the air; SDIRK of second order, first order where that would ring; what
leaves is what the slab loses, to rounding.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np

from saltfare.core.errors import NotConverged
from saltfare.core.numerics import Array, check_range, solve_tridiagonals
from saltfare.models.trays_air import DryingSurface

_GAMMA = 1.0 - 1.0 / np.sqrt(2.0)  # Alexander 1977: the two-stage, stiffly accurate method
_ROUNDS = 40
_RINGS = 1e-9  # kg/kg


@dataclass(frozen=True, slots=True)
class Slabs:
    """Slabs that dry apart from each other; arrays (n,).

    spread_per_s: diffusivity over the square of the half thickness. film: heat film that reaches a unit of
    face over solids under it, [W/(m2 K) per kg/m2]. start: water [kg/kg].
    """

    spread_per_s: Array
    film: Array
    start: Array


@dataclass(frozen=True, slots=True)
class Course:
    """How slabs dried: times (k,), water as a mean, in the middle and at the face (k, n) [kg/kg]."""

    time_s: Array
    mean: Array
    middle: Array
    face: Array


def drying_course(
    *, slabs: Slabs, surface: DryingSurface, horizon_s: float, nodes: int, steps: int
) -> Course:
    """Dry the slabs from an even water content to a horizon, in steps that grow with time.

    Parameters
    ----------
    slabs : members (n,)
    surface : water leaving by water held, for the air
    horizon_s : [s]
    nodes, steps : of the grid and of time, 4 or more

    Returns
    -------
    the course, its first time 0

    Raises
    ------
    OutOfRange, NotConverged

    Source
    ------
    saltfare_derived, finite volumes with nodes at the faces
    alexander_1977, SDIRK of second order
    """
    model = "drying_course"
    for count in (nodes, steps):
        check_range(count, low=4, high=1e5, model=model, quantity="nodes and steps")
    check_range(horizon_s, low=60.0, high=1e8, model=model, quantity="horizon_s")
    for name in ("spread_per_s", "film"):
        check_range(getattr(slabs, name), low=0.0, high=1e6, model=model, quantity=name)
    check_range(slabs.start, low=0.0, high=1e3, model=model, quantity="start")
    place = 1.0 - (1.0 - np.arange(nodes) / (nodes - 1)) ** 1.6
    gap = np.diff(place)
    size = np.zeros(nodes)
    size[:-1] += 0.5 * gap
    size[1:] += 0.5 * gap
    pass_ = slabs.spread_per_s[:, None] / gap
    down, up = np.zeros((pass_.shape[0], nodes)), np.zeros((pass_.shape[0], nodes))
    down[:, 1:], up[:, :-1] = -pass_, -pass_
    # times from a five-thousandth of the horizon on, each so much later than the one before
    time = np.concatenate([[0.0], np.geomspace(horizon_s / 5e3, horizon_s, steps)])
    water = np.repeat(slabs.start[:, None], nodes, axis=1)
    kept = [water]
    least = min(float(surface.water[0]), float(slabs.start.min()))
    for dt in np.diff(time):
        stage = _Stage.of(_GAMMA * dt, down, up, size, slabs)
        first = stage.solve(water, surface, water)
        rate = (first - water) / (_GAMMA * dt)
        base = water + (1.0 - _GAMMA) * dt * rate
        second = stage.solve(base, surface, first)
        # the method is damped, not monotone: where it rings, one step of the first order, which never does
        rings = np.any((second > water + _RINGS) | (second < least - _RINGS), axis=1)
        rings |= np.any(np.diff(second, axis=1) > _RINGS, axis=1)  # wetter towards the air than inside
        if rings.any():
            plain = _Stage.of(dt, down, up, size, slabs).solve(water, surface, second)
            second = np.where(rings[:, None], plain, second)
        water = second
        kept.append(water)
    all_ = np.array(kept)
    return Course(time, all_ @ size, all_[:, :, 0], all_[:, :, -1])


@dataclass(frozen=True, slots=True)
class _Stage:
    """An implicit step of one length. The inside is linear: what a unit leaving the face takes from each node
    is solved for once, and the face's own equation is left."""

    lower: Array
    diagonal: Array
    upper: Array
    taken: Array  # (n, nodes)

    @classmethod
    def of(cls, dt: float, down: Array, up: Array, size: Array, slabs: Slabs) -> Self:
        """For slabs with slopes `down` and `up` between nodes of those sizes."""
        scale = dt / size
        lower, upper = scale * down, scale * up
        diagonal, face = 1.0 - lower - upper, np.zeros(down.shape)
        face[:, -1] = scale[-1] * slabs.film
        return cls(
            lower, diagonal, upper,
            solve_tridiagonals(lower=lower, diagonal=diagonal, upper=upper, right=face),
        )  # fmt: skip

    def solve(self, base: Array, surface: DryingSurface, guess: Array) -> Array:
        """The water w with w = base + dt * slope(w): Newton's rule on what the face gives off."""
        kept = solve_tridiagonals(lower=self.lower, diagonal=self.diagonal, upper=self.upper, right=base)
        face, taken = guess[:, -1], self.taken[:, -1]
        for _ in range(_ROUNDS):
            flow, d_flow = surface.flow(water=face)
            fresh = (kept[:, -1] - taken * (flow - d_flow * face)) / (1.0 + taken * d_flow)
            leaving, change = flow + d_flow * (fresh - face), np.abs(fresh - face)
            face = fresh
            if (change <= 1e-9).all():
                return np.asarray(kept - self.taken * leaving[:, None])
        raise NotConverged("face of a drying slab", int(np.argmax(change)), float(np.max(change)))


def time_reached(*, time_s: Array, values: Array, level: Array) -> Array:
    """When falling values first reach a level, in straight lines between times; NaN where they do not.

    Parameters
    ----------
    time_s : (k,) [s]
    values : (k, n), falling
    level : (n,)

    Returns
    -------
    times (n,) [s]

    Source
    ------
    saltfare_numerics, straight line between two times
    """
    under = values <= level
    found = under.any(axis=0)
    at = np.argmax(under, axis=0)
    before = np.maximum(at - 1, 0)  # index: reached at the start is reached at time 0
    n = np.arange(values.shape[1])
    high, low = values[before, n], values[at, n]
    fall = np.where(high > low, high - low, 1.0)
    share = np.where(at > 0, (high - level) / fall, 0.0)
    when = time_s[before] + share * (time_s[at] - time_s[before])
    return np.where(found, when, np.nan)


def time_within(*, time_s: Array, margin: Array) -> Array:
    """Time during which a margin is above zero, in straight lines between times.

    Parameters
    ----------
    time_s : (k,) [s]
    margin : above zero where the condition holds, (k, n)

    Returns
    -------
    time (n,) [s]

    Source
    ------
    saltfare_numerics, straight line between two times
    """
    start, end = margin[:-1], margin[1:]
    above = np.maximum(start, 0.0) + np.maximum(end, 0.0)  # of the two ends, what lies above zero
    whole = np.abs(start) + np.abs(end)
    share = np.where(whole > 0.0, above / np.where(whole > 0.0, whole, 1.0), 0.0)
    return np.asarray(share.T @ np.diff(time_s))
