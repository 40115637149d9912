"""What the trays' own weights say of how fast they dry, and when they will be dry.

Three things are doubted: what the air carries off, the diffusivity of the pieces, the solids of the
recipe. The load is dried once at Chebyshev points of all three; what is asked for is read off between
them, and the weights re-weight a fine grid. No random number is drawn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Self

import numpy as np
from numpy.typing import NDArray

from saltfare.core.library import Library
from saltfare.core.tables import Row
from saltfare.models.trays import (
    Doubts,
    Dryer,
    TrayLoad,
    TrayRun,
    tray_run,
)
from saltfare.models.trays_air import Gab
from saltfare.models.trays_end import Band, TrayWeight
from saltfare.plans.forecast_ensemble import chebyshev_points, interpolation

Floats = NDArray[np.float64]
RULES = "tray_rules"
HORIZON_S = 96 * 3600.0
# Numerical choices: reach in prior standard deviations; nodes and fine points of air, diffusivity, solids.
_REACH = 2.5
_NODES = (7, 7, 3)
_FINE = (61, 31, 11)
_CURVE_POINTS = 25


@dataclass(frozen=True, slots=True, kw_only=True)
class TrayPriors:
    """What is believed before any weight: multipliers' doubts in the logarithm, and error of a weight beside
    the curve, of the mass laid on."""

    film_factor: float
    air_sd: float
    diffusivity_sd: float
    solids_sd: float
    model_error_frac: float
    heat_kept_frac: float
    wet_aw: float
    growth_temp_c: tuple[float, float]

    @classmethod
    def of(cls, *, library: Library, solids_sd: float | None = None) -> Self:
        """From the rows of `tray_rules`; solids_sd where a spoonful pinned the solids."""

        def row(name: str) -> Row:
            return library.row(RULES, name)

        return cls(
            film_factor=row("film").number("factor"),
            air_sd=row("film").number("sd"),
            diffusivity_sd=row("diffusivity").number("sd"),
            solids_sd=row("solids").number("sd") if solids_sd is None else solids_sd,
            model_error_frac=row("model_error").number("sd"),
            heat_kept_frac=row("heat_kept").number("share"),
            wet_aw=row("wet").number("aw"),
            growth_temp_c=(row("growth_low").number("temp_c"), row("growth_high").number("temp_c")),
        )


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """The food on the trays at a time since the start, with its 80 % interval."""

    time_s: float
    mass_kg: Band


@dataclass(frozen=True, slots=True)
class TrayForecast:
    """When the trays are dry and no longer wet, from the start; an end is None beyond the horizon [s].

    wet_warm_s: time wet and at a temperature of growth, of the slowest part. part_dry_s: the middle of each
    part. air, diffusivity, solids: what was learnt, as multipliers. mass_kg: end mass. log_evidence: how
    well the weights fit, None without any. odd: index and standard deviations of weights far from the curve.
    curve: mass on the trays, until the late end and a little over.
    """

    dry_s: tuple[float | None, float | None, float | None]
    wet_end_s: tuple[float | None, float | None, float | None]
    wet_warm_s: Band
    part_dry_s: tuple[tuple[str, float | None], ...]
    air: Band
    diffusivity: Band
    solids: Band
    mass_kg: Band
    food_temp_c: float
    crowding: float
    depth_m: float
    log_evidence: float | None
    odd: tuple[tuple[int, float], ...]
    curve: tuple[CurvePoint, ...] = ()


def tray_forecast(
    *,
    dryer: Dryer,
    load: TrayLoad,
    target_water_frac: float,
    isotherms: tuple[Gab, ...],
    priors: TrayPriors,
    weights: Sequence[TrayWeight] = (),
    scale_step_kg: float = 0.0,
) -> TrayForecast:
    """Forecast a load, with the weights so far.

    Parameters
    ----------
    dryer, load, target_water_frac, isotherms : as `tray_run`
    priors : what is doubted
    weights : in order and checked
    scale_step_kg : of the scale [kg]

    Source
    ------
    saltfare_derived, Bayes over a grid
    """
    nodes = [chebyshev_points(count=n) * _REACH for n in _NODES]
    grid = np.stack(np.meshgrid(*nodes, indexing="ij")).reshape(3, -1)
    sds = np.array([priors.air_sd, priors.diffusivity_sd, priors.solids_sd])
    run = tray_run(
        dryer=dryer, load=load, target_water_frac=target_water_frac, isotherms=isotherms,
        doubts=Doubts(*np.exp(sds[:, None] * grid)), film_factor=priors.film_factor,
        heat_kept_frac=priors.heat_kept_frac, wet_aw=priors.wet_aw, growth_temp_c=priors.growth_temp_c,
        horizon_s=HORIZON_S,
    )  # fmt: skip
    axes = [np.linspace(-_REACH, _REACH, n) for n in _FINE]
    fine = np.stack(np.meshgrid(*axes, indexing="ij")).reshape(3, -1)
    log_weight = -0.5 * (fine**2).sum(axis=0)
    evidence: float | None = None
    odd: tuple[tuple[int, float], ...] = ()
    if weights:
        at = np.array([w.time_s for w in weights])
        seen = np.array([w.mass_kg for w in weights]) / load.mass_kg
        curve = _fine(run.mass_ratio(at_s=at))
        cov = _error_cov(len(weights), priors.model_error_frac, scale_step_kg / load.mass_kg)
        gap = seen[:, None] - curve
        misfit = np.linalg.solve(np.linalg.cholesky(cov), gap)
        prior = np.exp(log_weight - log_weight.max())
        prior /= prior.sum()
        log_lik = -0.5 * (misfit**2).sum(axis=0) - 0.5 * np.linalg.slogdet(2 * np.pi * cov)[1]
        log_weight = log_weight + log_lik
        top = float(log_lik.max())
        evidence = top + float(np.log(prior @ np.exp(log_lik - top)))
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    if weights:
        off = (gap @ weight) / np.sqrt(np.diag(cov))
        odd = tuple((i, float(v)) for i, v in enumerate(off) if abs(v) > 3.0)
    return _forecast(run, load, target_water_frac, sds, weight, evidence, odd)


def _forecast(
    run: TrayRun, load: TrayLoad, target: float, sds: Floats, weight: Floats,
    evidence: float | None, odd: tuple[tuple[int, float], ...],
) -> TrayForecast:  # fmt: skip
    learnt = [_learnt(i, float(sd), weight) for i, sd in enumerate(sds)]
    end = load.mass_kg * (1.0 - load.water_frac) / (1.0 - target)
    air, diffusivity, solids = learnt
    middle = run.food_temp_c[run.time_s.searchsorted(1800.0), run.water_frac.size // 2]
    dry = _times(run.dry_s, weight)
    return TrayForecast(
        dry,
        _times(run.wet_end_s, weight),
        _band(np.exp(_fine(np.log(np.maximum(run.wet_warm_s, 1.0))[None])[0]), weight),  # a log of a time
        tuple((p.name, _times(t, weight)[1]) for p, t in zip(load.parts, run.part_dry_s, strict=True)),
        air,
        diffusivity,
        solids,
        Band(*(min(end * s, load.mass_kg) for s in (solids.low, solids.middle, solids.high))),
        float(middle),
        run.crowding,
        run.depth_m,
        evidence,
        odd,
        _curve(run, load.mass_kg, dry[2], weight),
    )


def _curve(run: TrayRun, laid_kg: float, late_s: float | None, weight: Floats) -> tuple[CurvePoint, ...]:
    """The mass on the trays at evenly spread times, a tenth beyond the late end of the interval."""
    end = min(HORIZON_S, 1.1 * late_s) if late_s is not None else HORIZON_S
    at = np.linspace(0.0, end, _CURVE_POINTS)
    ratios = _fine(run.mass_ratio(at_s=at))
    bands = np.array([_quantiles(ratio, weight, (0.1, 0.5, 0.9)) for ratio in ratios])
    # no member gains, so neither does a quantile: what rises is error of reading between the nodes
    falling = laid_kg * np.minimum.accumulate(bands, axis=0)
    return tuple(CurvePoint(float(t), Band(*map(float, band))) for t, band in zip(at, falling, strict=True))


def _error_cov(count: int, model_error: float, step: float) -> Floats:
    """Of weights about the curve, of the mass laid on: half the model's error is one for all of them, so
    that many weights do not average it away; a step of the scale spreads evenly."""
    own = 0.5 * model_error**2 + step**2 / 12.0
    return np.asarray(own * np.eye(count) + 0.5 * model_error**2, np.float64)


@cache
def _matrices() -> tuple[Floats, ...]:
    return tuple(
        np.asarray(interpolation(count=n, fine=m), np.float64) for n, m in zip(_NODES, _FINE, strict=True)
    )


def _fine(values: Floats) -> Floats:
    """Values at nodes (m, nodes) to the fine grid (m, points)."""
    cube = values.reshape(-1, *_NODES)
    a, b, c = _matrices()
    out = np.einsum("mijk,ai,bj,ck->mabc", cube, a, b, c, optimize=True)
    return np.asarray(out.reshape(values.shape[0], -1))


def _times(times: Floats, weight: Floats) -> tuple[float | None, float | None, float | None]:
    """10, 50 and 90 % of times known at the nodes, read off in their logarithm; beyond the horizon None.

    A node beyond the horizon is put at half as much again, so that the polynomial goes on rising; what
    comes out beyond the horizon is not given.
    """
    known = np.log(np.where(np.isnan(times), 1.5 * HORIZON_S, np.maximum(times, 1.0)))  # log of a time
    spread = np.exp(_fine(known[None])[0])
    ends = _quantiles(spread, weight, (0.1, 0.5, 0.9))
    low, middle, high = (t if t < HORIZON_S else None for t in ends)
    return low, middle, high


def _learnt(axis: int, sd: float, weight: Floats) -> Band:
    """10, 50 and 90 % of one multiplier, the others summed over."""
    others = tuple(i for i in range(3) if i != axis)
    marginal = weight.reshape(_FINE).sum(axis=others)
    at = np.exp(sd * np.linspace(-_REACH, _REACH, _FINE[axis]))
    return Band(*_quantiles(np.asarray(at, np.float64), marginal, (0.1, 0.5, 0.9)))


def _band(values: Floats, weight: Floats) -> Band:
    return Band(*_quantiles(values, weight, (0.1, 0.5, 0.9)))


def _quantiles(values: Floats, weight: Floats, shares: tuple[float, ...]) -> tuple[float, ...]:
    order = np.argsort(values, kind="stable")
    reached = np.cumsum(weight[order]) - 0.5 * weight[order]
    return tuple(float(x) for x in np.interp(shares, reached, values[order]))
