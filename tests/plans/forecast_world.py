"""A made-up drying world in closed form: a film and a diffusing layer in series, and a limit.

Not meat: it has the forecast's inputs, bends the same way, and costs nothing, so that the forecast
can be compared with brute force. Invented numbers throughout.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from saltfare.core.library import Library
from saltfare.plans.forecast_air import AirReadings, UsualAir, air_programme
from saltfare.plans.forecast_ensemble import ensemble
from saltfare.plans.forecast_posterior import WeighIn
from saltfare.plans.forecast_priors import ForecastPriors

DAY = 86400.0
WHOLE = ForecastPriors.from_library(library=Library())
# one kind of piece: what rough weighing and unruly drying do has tests of its own
PRIORS = replace(WHOLE, rough_share_frac=0.0, unruly_share_frac=0.0)


@dataclass(frozen=True)
class Run:
    loss_frac: np.ndarray
    crust_m: np.ndarray


def film_and_layer(
    *,
    diffusivity_multiplier,
    resistance_multiplier,
    water_shift_frac,
    end_time_s,
    temp_c,
    rh_frac,
    out_time_s,
):
    """d loss/dt = drive / (film + layer loss), then held under a limit set by water and air."""
    width = np.diff(np.concatenate([[0.0], end_time_s]))[:, None] / DAY
    drive = (0.98 - rh_frac) / 0.23 * np.exp(0.035 * (temp_c - 13.0))
    done = np.concatenate([np.zeros((1, drive.shape[1])), np.cumsum(width * drive, axis=0)])
    at = np.asarray(out_time_s) / DAY
    ends = np.concatenate([[0.0], end_time_s]) / DAY
    i = np.minimum(np.searchsorted(ends, at, side="right") - 1, len(end_time_s) - 1)
    share = ((at - ends[i]) / (ends[i + 1] - ends[i]))[:, None]
    spent = done[i] + share * (done[i + 1] - done[i])
    film = 25.0 * resistance_multiplier
    layer = 300.0 / diffusivity_multiplier
    loss = (-film + np.sqrt(film**2 + 2 * layer * spent)) / layer
    limit = 0.62 + 1.2 * water_shift_frac - 0.3 * (rh_frac[-1] - 0.75)
    loss = limit * (1 - np.exp(-loss / limit))
    now = drive[np.minimum(np.searchsorted(end_time_s, out_time_s), len(end_time_s) - 1)]
    share = layer * loss / (film + layer * loss)
    return Run(loss, 6e-3 * np.maximum(share * now - 0.8, 0.0))


def programme(*, days=90.0, temp_c=13.0, rh_frac=0.75, read_days=0.0, priors=PRIORS):
    readings = None
    if read_days:
        time = np.arange(0.0, read_days + 1e-9, 1 / 24) * DAY
        readings = AirReadings(time, np.full(time.size, temp_c), np.full(time.size, rh_frac))
    return air_programme(
        readings=readings, usual=UsualAir(temp_c, rh_frac), horizon_s=days * DAY, priors=priors
    )


def world(**air):
    air = programme(**air)
    return air, ensemble(simulate=film_and_layer, programme=air, priors=PRIORS)


def weighed(days, masses, step_kg=0.001):
    return [WeighIn(float(d * DAY), float(m), step_kg) for d, m in zip(days, masses, strict=True)]


def truth(air, at_s, *, f_d=1.0, f_r=1.0, water=0.0, bias=0.0, later_rh=0.0, later_temp=0.0):
    """Losses (times, members) of pieces whose every input is known."""
    unread = ~air.read
    f_d, f_r, water, bias, later_rh, later_temp = np.broadcast_arrays(
        *np.atleast_1d(f_d, f_r, water, bias, later_rh, later_temp)
    )
    run = film_and_layer(
        diffusivity_multiplier=f_d,
        resistance_multiplier=f_r,
        water_shift_frac=water,
        end_time_s=air.end_time_s,
        temp_c=air.temp_c[:, None] + unread[:, None] * later_temp,
        rh_frac=air.rh_frac[:, None] + bias + unread[:, None] * later_rh,
        out_time_s=at_s,
    )
    return run.loss_frac
