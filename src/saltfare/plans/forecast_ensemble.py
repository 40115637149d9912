"""The dear part of a forecast: one batched simulation over a grid of the two multipliers.

The loss is simulated at Chebyshev points in the logarithms of the two multipliers, and once more
with each doubtful input moved one standard deviation up and down. What comes out depends on the
piece and its air only; weigh-ins re-weight it (`forecast_posterior`) and cost no new simulation.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import cache
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from saltfare.plans.forecast_air import AirProgramme
from saltfare.plans.forecast_priors import ForecastPriors

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]

# Numerical choices, with what they cost in accuracy told in docs/forecast.md.
BOX_SD = 3.0
NODES = 9
SHIFT_NODES = 5  # of the same family: every second of the nine, so both ends of a difference share them
SHIFTS = ("hygrometer_bias", "initial_water", "later_humidity", "later_temp")
DAY_S = 86400.0
# A moved humidity stops where the isotherm does, short of dry and of saturated air.
_DRIEST, _WETTEST = 0.10, 0.995


class Simulated(Protocol):
    """What a simulation gives: loss of hanging mass and crust, (times, members)."""

    @property
    def loss_frac(self) -> Floats:
        """Loss as a fraction of hanging mass."""

    @property
    def crust_m(self) -> Floats:
        """Thickness of the crust."""


class Simulate(Protocol):
    """A drying model of one piece, run for many members at once."""

    def __call__(
        self,
        *,
        diffusivity_multiplier: Floats,
        resistance_multiplier: Floats,
        water_shift_frac: Floats,
        end_time_s: Floats,
        temp_c: Floats,
        rh_frac: Floats,
        out_time_s: Floats,
    ) -> Simulated:
        """Run members (n,) through air (k,), temp_c and rh_frac (k, n), to out_time_s."""


@dataclass(frozen=True, slots=True)
class Ensemble:
    """Loss and crust on the nodes; single precision, so that a copy from a cache is the same.

    time_s (t,). half_width (2,): half the box in ln diffusivity, ln resistance.
    loss_frac, crust_m (t, 9, 9): diffusivity first. shifted_loss_frac, shifted_crust_m
    (q, 2, t, 5, 5): each of SHIFTS one standard deviation up, then down.
    """

    time_s: Floats
    half_width: Floats
    loss_frac: Singles
    crust_m: Singles
    shifted_loss_frac: Singles
    shifted_crust_m: Singles

    def arrays(self) -> dict[str, NDArray[np.floating]]:
        """Plain arrays, as `numpy.savez_compressed` takes them."""
        return {f.name: getattr(self, f.name) for f in fields(self)}

    @classmethod
    def from_arrays(cls, arrays: Mapping[str, ArrayLike]) -> Ensemble:
        """The same ensemble again."""
        singles = (np.asarray(arrays[f.name], np.float32) for f in fields(cls)[2:])
        time_s, half_width = (np.asarray(arrays[f.name], np.float64) for f in fields(cls)[:2])
        return cls(time_s, half_width, *singles)

    @property
    def horizon_s(self) -> float:
        """The last time simulated [s from hanging]."""
        return float(self.time_s[-1])


def ensemble(*, simulate: Simulate, programme: AirProgramme, priors: ForecastPriors) -> Ensemble:
    """Simulate a piece over the box of multipliers and with each doubtful input moved.

    Parameters
    ----------
    simulate : Simulate
        The drying model with piece, speed of air and parameters bound.
    programme : AirProgramme
        Air from hanging to the horizon.
    priors : ForecastPriors
        Sizes of the box and of the moves.

    Raises
    ------
    NotConverged
        From the model, naming the member.

    Source
    ------
    saltfare_chosen, Chebyshev points in the two logarithms; central differences in the rest
    """
    half = BOX_SD * np.array([priors.diffusivity_ln_sd, priors.resistance_ln_sd])
    full, coarse = (_pairs(n) * half for n in (NODES, SHIFT_NODES))
    moves = 2 * len(SHIFTS)
    points = np.concatenate([full, np.tile(coarse, (moves, 1))])
    size = {
        "hygrometer_bias": priors.hygrometer_bias_frac,
        "initial_water": priors.initial_water_frac,
        "later_humidity": programme.assumed.humidity_sd_frac,
        "later_temp": programme.assumed.temp_sd_c,
    }
    n, k = len(points), programme.end_time_s.size
    rh = np.repeat(programme.rh_frac[:, None], n, axis=1)
    temp = np.repeat(programme.temp_c[:, None], n, axis=1)
    water = np.zeros(n)
    unread = ~programme.read[:, None]
    for i, (name, sign) in enumerate((name, sign) for name in SHIFTS for sign in (1.0, -1.0)):
        these = slice(len(full) + i * len(coarse), len(full) + (i + 1) * len(coarse))
        move = sign * size[name]
        if name == "initial_water":
            water[these] = move
        elif name == "later_temp":
            temp[:, these] += move * unread
        else:
            where = unread if name == "later_humidity" else np.ones((k, 1), np.bool_)
            rh[:, these] = np.where(where, np.clip(rh[:, these] + move, _DRIEST, _WETTEST), rh[:, these])
    time = output_times(horizon_s=programme.horizon_s)
    run = simulate(
        diffusivity_multiplier=np.exp(points[:, 0]),
        resistance_multiplier=np.exp(points[:, 1]),
        water_shift_frac=water,
        end_time_s=programme.end_time_s,
        temp_c=temp,
        rh_frac=rh,
        out_time_s=time,
    )

    def nodes(values: Floats) -> tuple[Singles, Singles]:
        values = np.asarray(values, np.float32)
        main = values[:, : len(full)].reshape(time.size, NODES, NODES)
        rest = values[:, len(full) :].reshape(time.size, len(SHIFTS), 2, SHIFT_NODES, SHIFT_NODES)
        return np.ascontiguousarray(main), np.ascontiguousarray(rest.transpose(1, 2, 0, 3, 4))

    loss, shifted_loss = nodes(run.loss_frac)
    crust, shifted_crust = nodes(run.crust_m)
    return Ensemble(time, half, loss, crust, shifted_loss, shifted_crust)


def output_times(*, horizon_s: float) -> Floats:
    """Times kept: close where the loss bends most, and the horizon itself [s].

    Source
    ------
    saltfare_chosen, every 6 h for 2 d, 12 h to 14 d, then daily
    """
    days = np.concatenate(
        [np.arange(0, 2, 0.25), np.arange(2, 14, 0.5), np.arange(14, horizon_s / DAY_S + 1)]
    )
    time = days * DAY_S
    return np.append(time[time < horizon_s - 0.125 * DAY_S], horizon_s)


def chebyshev_points(*, count: int) -> Floats:
    """Chebyshev points of the second kind on -1 to 1, rising.

    Source
    ------
    saltfare_derived, cos(pi j / (n - 1))
    """
    return np.asarray(-np.cos(np.pi * np.arange(count) / (count - 1)))


def _pairs(count: int) -> Floats:
    x = chebyshev_points(count=count)
    return np.stack(np.meshgrid(x, x, indexing="ij"), axis=-1).reshape(-1, 2)


@cache
def interpolation(*, count: int, fine: int) -> Floats:
    """Matrix (fine, count) from values at Chebyshev points to equal steps over -1 to 1: barycentric.

    Source
    ------
    saltfare_derived, the barycentric formula at equal steps
    """
    return interpolation_at(count=count, at=np.linspace(-1, 1, fine))


def interpolation_at(*, count: int, at: Floats) -> Floats:
    """Matrix (m, count) from values at Chebyshev points to points `at` (m,): the barycentric formula.

    Source
    ------
    saltfare_derived, barycentric weights 1/2, -1, 1, ... , 1/2 of these points
    """
    x = chebyshev_points(count=count)
    weight = np.where(np.arange(count) % 2, -1.0, 1.0)
    weight[[0, -1]] /= 2
    gap = at[:, None] - x
    hit = np.abs(gap) < 1e-14
    terms = weight / np.where(hit, 1.0, gap)
    matrix = terms / terms.sum(axis=1, keepdims=True)
    on = hit.any(axis=1)
    matrix[on] = hit[on]
    return np.asarray(matrix)


@cache
def linear_interpolation(*, count: int, fine: int) -> Floats:
    """The same by straight lines between points: for what has a kink, such as the crust.

    Source
    ------
    saltfare_derived, linear interpolation
    """
    x, at = chebyshev_points(count=count), np.linspace(-1, 1, fine)
    return np.stack([np.interp(at, x, row) for row in np.eye(count)], axis=1)


def time_weights(*, time_s: Floats, at_s: Floats) -> Floats:
    """Matrix (m, t) from values at `time_s` to `at_s`: the cubic through the four times around.

    Source
    ------
    saltfare_derived, Lagrange's formula on four points
    """
    left = np.clip(np.searchsorted(time_s, at_s) - 2, 0, time_s.size - 4)
    index = left[:, None] + np.arange(4)
    x = time_s[index]
    weight = np.ones_like(x)
    for j in range(4):
        for m in range(4):
            if m != j:
                weight[:, j] *= (at_s - x[:, m]) / (x[:, j] - x[:, m])
    matrix = np.zeros((at_s.size, time_s.size))
    np.put_along_axis(matrix, index, weight, axis=1)
    return matrix
