"""When a hanging piece will be at its mass, and how sure that is.

`forecast_air.air_programme` and `forecast_ensemble.ensemble` are the dear part, done once for a
piece and its readings of air; `forecast` is the cheap part, done at every weigh-in. Method, priors
and limits: docs/forecast.md.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from saltfare.core.errors import Problem, Refused
from saltfare.core.figure import Note
from saltfare.plans.forecast_air import RECENT, AirProgramme, AssumedAir
from saltfare.plans.forecast_ensemble import DAY_S, Ensemble
from saltfare.plans.forecast_mixture import mixture_cdf, mixture_quantiles
from saltfare.plans.forecast_posterior import Belief, Posterior, WeighIn, posterior
from saltfare.plans.forecast_priors import ForecastPriors

Floats = NDArray[np.float64]

# The ends of the bands of 95, 80 and 50 %, and the middle.
LEVELS = (0.025, 0.1, 0.25, 0.5, 0.75, 0.9, 0.975)
BANDS: Mapping[str, tuple[float, float]] = {
    "band_50": (0.25, 0.75),
    "band_80": (0.1, 0.9),
    "band_95": (0.025, 0.975),
}
CRUST_M = 1e-3
ODD_SD = 3.0
_REFINED = 8
_REFINEMENTS = 3
_EDGE_SHARE = 0.05
_EDGE_STEPS = 3  # of the fine grid, on either side


@dataclass(frozen=True, slots=True)
class Multiplier:
    """A multiplier of this piece: median and the ends of its 80 % interval."""

    median: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class WeighInSeen:
    """A weigh-in beside what the others lead to expect of it.

    surprise_sd: standard deviations above it; heavier is positive. in_error_frac: chance that it is
    a gross error, which is how much it is discounted by.
    """

    time_s: float
    mass_kg: float
    expected_kg: float
    expected_sd_kg: float
    surprise_sd: float
    in_error_frac: float
    notes: tuple[Note, ...]


@dataclass(frozen=True, slots=True)
class Forecast:
    """What is known of a piece after its weigh-ins; all times from hanging.

    time_s (n,): from hanging to the horizon, weigh-ins among them.
    mass_kg (7, n): quantiles LEVELS of the true mass.
    ready_frac (n,): chance that the piece is at its mass by then.
    ready_s: time by which it is at its mass with each chance of LEVELS; None beyond the horizon.
    within_horizon_frac: chance that it is at its mass by the horizon.
    crust_frac (n,): chance that the crust is thicker than 1 mm at that time.
    edge_frac: weight of the posterior at the edge of the box; much of it there says the model or
    what was entered does not fit the piece.
    log_evidence: ln density of the losses weighed under the belief, to compare beliefs by.
    """

    target_mass_kg: float
    time_s: Floats
    mass_kg: Floats
    ready_frac: Floats
    ready_s: Mapping[float, float | None]
    within_horizon_frac: float
    crust_frac: Floats
    diffusivity: Multiplier
    resistance: Multiplier
    edge_frac: float
    log_evidence: float
    weigh_ins: tuple[WeighInSeen, ...]
    air: AssumedAir
    last_reading_s: float | None
    unread_s: float
    notes: tuple[Note, ...]

    def band_kg(self, *, band: str) -> tuple[Floats, Floats]:
        """Low and high of the true mass (n,) for `band_50`, `band_80` or `band_95`."""
        low, high = BANDS[band]
        return self.mass_kg[LEVELS.index(low)], self.mass_kg[LEVELS.index(high)]

    @property
    def median_kg(self) -> Floats:
        """Median of the true mass (n,)."""
        return np.asarray(self.mass_kg[LEVELS.index(0.5)])

    def ready_frac_at(self, *, time_s: float) -> float:
        """Chance of being at its mass by a time from hanging to the horizon.

        Raises
        ------
        Refused
            `horizon_too_short` beyond the horizon.
        """
        if not 0 <= time_s <= self.time_s[-1]:
            raise Refused(_too_short(time_s, float(self.time_s[-1])))
        return float(np.interp(time_s, self.time_s, self.ready_frac))


def forecast(
    *,
    ensemble: Ensemble,
    programme: AirProgramme,
    hanging: WeighIn,
    weigh_ins: Sequence[WeighIn],
    target_mass_kg: float,
    priors: ForecastPriors,
    belief: Belief | None = None,
) -> Forecast:
    """Forecast a piece from its ensemble and weigh-ins. No chance is drawn: same input, same answer.

    Being at its mass is a first passage. The true mass falls, but for the model's error, which is
    smooth and small beside the loss; so the chance of having passed by t is taken as the largest
    chance, up to t, of being below the target. That is never above the exact one.

    Parameters
    ----------
    ensemble : Ensemble
        From `forecast_ensemble.ensemble`, for this piece and `programme`.
    programme : AirProgramme
        The air simulated.
    hanging : WeighIn
        The mass at hanging, its time 0, with the step of the scale.
    weigh_ins : sequence of WeighIn
        In any order; none is allowed.
    target_mass_kg : float
        The mass at which it comes down [kg].
    priors : ForecastPriors
        As for the ensemble.
    belief : Belief or None
        Of the multipliers; the population's if None.

    Raises
    ------
    Refused
        `weigh_in_no_mass`, `weigh_in_no_step`, `weigh_in_before_hanging`, `weigh_in_after_horizon`,
        `target_no_mass`, `target_not_below_hanging`, `horizon_too_short`.

    Source
    ------
    saltfare_chosen, running maximum as the chance of first passage
    """
    kept, repeats = _checked(hanging, weigh_ins, target_mass_kg, ensemble, programme)
    found = posterior(ensemble=ensemble, hanging=hanging, weigh_ins=kept, priors=priors, belief=belief)
    time = np.unique(np.concatenate([ensemble.time_s, [w.time_s for w in kept]]))
    mean, sd, weight = found.predict_mass(at_s=time)
    mass = mixture_quantiles(mean=mean, sd=sd, weight=weight, levels=LEVELS)
    below = mixture_cdf(at=np.full(time.size, target_mass_kg), mean=mean, sd=sd, weight=weight)
    ready_time, ready = _refined(found, time, below, target_mass_kg)
    quantiles = {level: _first_time(ready_time, ready, level) for level in LEVELS}
    on_time = np.maximum.accumulate(below)
    edge = np.ones(found.grid_weight.shape, np.bool_)
    edge[_EDGE_STEPS:-_EDGE_STEPS, _EDGE_STEPS:-_EDGE_STEPS] = False
    edge_frac = float(found.grid_weight[edge].sum())
    crust = np.interp(time, ensemble.time_s, found.crust_frac(thicker_than_m=CRUST_M))
    seen = tuple(_seen(i, found) for i in range(len(kept)))
    by_horizon = float(on_time[-1])
    at_last = float(np.interp(kept[-1].time_s, time, on_time)) if kept else 0.0
    notes = [_air_note(programme.assumed)]
    if programme.unread_s > 0:
        notes.append(Note("air_gaps", {"days": programme.unread_s / DAY_S}))
    if programme.near_saturation_s > 0:
        notes.append(Note("air_near_saturation", {"days": programme.near_saturation_s / DAY_S}))
    if not kept:
        notes.append(Note("no_weigh_ins"))
    notes += [Note("weigh_in_counted_once", {"count": count}) for count in repeats]
    if edge_frac > _EDGE_SHARE:
        notes.append(Note("multipliers_at_edge", {"edge_frac": edge_frac}))
    if found.kinds.get("rough", 0.0) > 0.5:
        notes.append(Note("weighing_rough", {"chance": found.kinds["rough"]}))
    if found.kinds.get("unruly", 0.0) > 0.5:
        notes.append(Note("drying_unruly", {"chance": found.kinds["unruly"]}))
    if at_last >= 0.5:
        notes.append(Note("already_at_mass", {"ready_frac": at_last}))
    if quantiles[LEVELS[-1]] is None:
        notes.append(
            Note("not_within_horizon", {"chance": 1 - by_horizon, "days": ensemble.horizon_s / DAY_S})
        )
    return Forecast(
        target_mass_kg=target_mass_kg,
        time_s=time,
        mass_kg=mass,
        ready_frac=on_time,
        ready_s=quantiles,
        within_horizon_frac=by_horizon,
        crust_frac=crust,
        diffusivity=_multiplier(found.axes[0], found.grid_weight.sum(axis=1)),
        resistance=_multiplier(found.axes[1], found.grid_weight.sum(axis=0)),
        edge_frac=edge_frac,
        log_evidence=found.log_evidence,
        weigh_ins=seen,
        air=programme.assumed,
        last_reading_s=programme.last_reading_s,
        unread_s=programme.unread_s,
        notes=tuple(notes),
    )


def _checked(
    hanging: WeighIn,
    weigh_ins: Sequence[WeighIn],
    target_mass_kg: float,
    ensemble: Ensemble,
    programme: AirProgramme,
) -> tuple[tuple[WeighIn, ...], tuple[int, ...]]:
    """Weigh-ins in order of time with repeats counted once, and how often each repeat is there."""
    problems = []
    for i, w in enumerate((hanging, *weigh_ins)):
        field = "hanging" if i == 0 else f"weigh_ins.{i - 1}"
        if not (np.isfinite(w.mass_kg) and w.mass_kg > 0):
            problems.append(Problem("weigh_in_no_mass", f"{field}.mass_kg", f"{w.mass_kg:g} kg"))
        if not (np.isfinite(w.step_kg) and w.step_kg >= 0):
            problems.append(Problem("weigh_in_no_step", f"{field}.step_kg", f"{w.step_kg:g} kg"))
        if i == 0:
            continue
        when = f"{w.time_s / DAY_S:.2f} d"
        if not w.time_s > 0:
            problems.append(Problem("weigh_in_before_hanging", f"{field}.time_s", when))
        elif not w.time_s <= ensemble.horizon_s:
            allowed = f"{ensemble.horizon_s / DAY_S:.1f} d"
            problems.append(Problem("weigh_in_after_horizon", f"{field}.time_s", when, allowed))
    if not (np.isfinite(target_mass_kg) and target_mass_kg > 0):
        problems.append(Problem("target_no_mass", "target_mass_kg", f"{target_mass_kg:g} kg"))
    elif target_mass_kg >= hanging.mass_kg:
        given, allowed = f"{target_mass_kg:g} kg", f"{hanging.mass_kg:g} kg"
        problems.append(Problem("target_not_below_hanging", "target_mass_kg", given, allowed))
    if programme.last_reading_s is not None and programme.last_reading_s >= ensemble.horizon_s:
        problems.append(_too_short(programme.last_reading_s, ensemble.horizon_s))
    if problems:
        raise Refused(*problems)
    counts = Counter(weigh_ins)
    kept = tuple(sorted(counts, key=lambda w: (w.time_s, w.mass_kg, w.step_kg)))
    return kept, tuple(counts[w] for w in kept if counts[w] > 1)


def _too_short(needed_s: float, horizon_s: float) -> Problem:
    return Problem(
        "horizon_too_short", "horizon_s", f"{horizon_s / DAY_S:.1f} d", f"{needed_s / DAY_S:.1f} d"
    )


def _refined(found: Posterior, time_s: Floats, below: Floats, target_kg: float) -> tuple[Floats, Floats]:
    """Chance of first passage on times made finer where it passes one of LEVELS."""
    for _ in range(_REFINEMENTS):
        ready = np.maximum.accumulate(below)
        at = np.unique([np.searchsorted(ready, level) for level in LEVELS])
        at = at[(at > 0) & (at < time_s.size)]
        if not at.size:
            break
        share = np.arange(1, _REFINED) / _REFINED
        new = (time_s[at - 1, None] + (time_s[at] - time_s[at - 1])[:, None] * share).ravel()
        mean, sd, weight = found.predict_mass(at_s=new)
        extra = mixture_cdf(at=np.full(new.size, target_kg), mean=mean, sd=sd, weight=weight)
        order = np.argsort(np.concatenate([time_s, new]), kind="stable")
        time_s, below = np.concatenate([time_s, new])[order], np.concatenate([below, extra])[order]
    return time_s, np.maximum.accumulate(below)


def _first_time(time_s: Floats, ready: Floats, level: float) -> float | None:
    i = int(np.searchsorted(ready, level))
    if i == ready.size:
        return None
    if i == 0:
        return float(time_s[0])
    share = (level - ready[i - 1]) / (ready[i] - ready[i - 1])
    return float(time_s[i - 1] + share * (time_s[i] - time_s[i - 1]))


def _multiplier(axis: Floats, weight: Floats) -> Multiplier:
    """Quantiles of a marginal on the grid, each point spread evenly over its step."""
    step = axis[1] - axis[0]
    edges = np.append(axis - step / 2, axis[-1] + step / 2)
    cumulated = np.append(0.0, np.cumsum(weight))
    low, median, high = np.exp(np.interp([0.1, 0.5, 0.9], cumulated, edges))
    return Multiplier(float(median), float(low), float(high))


def _seen(i: int, found: Posterior) -> WeighInSeen:
    w, e = found.weigh_ins[i], found.expectation(i=i)
    notes = []
    before = found.weigh_ins[i - 1] if i else found.hanging
    if w.mass_kg > before.mass_kg:
        notes.append(Note("weigh_in_heavier", {"gain_kg": w.mass_kg - before.mass_kg}))
    if abs(e.surprise_sd) > ODD_SD:
        notes.append(Note("weigh_in_odd", {"surprise_sd": abs(e.surprise_sd)}))
    if e.in_error_frac > 0.5:
        notes.append(Note("weigh_in_set_aside", {"in_error_frac": e.in_error_frac}))
    return WeighInSeen(w.time_s, w.mass_kg, e.mass_kg, e.sd_kg, e.surprise_sd, e.in_error_frac, tuple(notes))


def _air_note(air: AssumedAir) -> Note:
    if air.basis == RECENT:
        return Note(
            "air_assumed_recent",
            {"temp_c": air.temp_c, "rh_frac": air.rh_frac, "days": air.averaged_s / DAY_S},
        )
    return Note("air_assumed_usual", {"temp_c": air.temp_c, "rh_frac": air.rh_frac})
