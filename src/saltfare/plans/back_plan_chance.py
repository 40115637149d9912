"""Equally likely courses of what has not happened yet: one world each, the same worlds every time.

Each uncertain thing has a column of its own: one value in each of so many equal slices of its chance, in
an order fixed by its name. Columns of different names are as unrelated as shuffled cards; the same name
is the same column, so what two pieces share they share in every world.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from hashlib import sha256

import numpy as np
from numpy.typing import NDArray

from saltfare.plans.forecast_air import AirProgramme
from saltfare.plans.forecast_ensemble import (
    BOX_SD,
    NODES,
    SHIFT_NODES,
    SHIFTS,
    Ensemble,
    Simulate,
    chebyshev_points,
    interpolation_at,
)
from saltfare.plans.forecast_posterior import FINE, Posterior, model_error_cov
from saltfare.plans.forecast_priors import ForecastPriors

Floats = NDArray[np.float64]
DAY_S = 86400.0
# With so many a chance is known to about half a point (benchmarks/back_plan.py).
WORLDS = 4096
# what a chamber does to all that hangs in it; the rest is each piece's own
_SHARED = frozenset({"later_temp"})
# nothing of its air is read yet, so both errors are of all of it: one humidity, and no small one
_HUMIDITY = frozenset({"hygrometer_bias", "later_humidity"})
_FAN = 13
_PATHS = 30  # leading parts of the model's own error after weigh-ins: all but wiggles of a day
# a moved humidity stops where the isotherm does, short of dry and of saturated air
_DRIEST, _WETTEST = 0.10, 0.995


def column(*, name: str, worlds: int = WORLDS) -> Floats:
    """A value between 0 and 1 for each world, one in each of `worlds` equal slices.

    Source
    ------
    saltfare_chosen, stratified values in an order hashed from the name
    """
    seed = np.uint64(int.from_bytes(sha256(name.encode()).digest()[:8], "big"))
    with np.errstate(over="ignore"):
        # a mixing of counters: which slice comes when, and where in its slice
        mixed = _mixed(seed + np.arange(2 * worlds, dtype=np.uint64) * np.uint64(0x9E3779B97F4A7C15))
    order = np.argsort(mixed[:worlds], kind="stable").argsort(kind="stable")
    within = (mixed[worlds:] >> np.uint64(11)).astype(np.float64) * 2.0**-53
    return np.asarray((order + within) / worlds)


def _mixed(x: NDArray[np.uint64]) -> NDArray[np.uint64]:
    x = (x ^ (x >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    x = (x ^ (x >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return np.asarray(x ^ (x >> np.uint64(31)))


def normal_column(*, name: str, worlds: int = WORLDS) -> Floats:
    """The same as a standard normal value.

    Source
    ------
    saltfare_chosen, stratified values in an order hashed from the name
    """
    from scipy.special import ndtri

    return np.asarray(ndtri(np.clip(column(name=name, worlds=worlds), 1e-12, 1 - 1e-12)), np.float64)


@dataclass(frozen=True, slots=True)
class HumidityFan:
    """What an error of the humidity does to the loss, followed where a straight line no longer can: towards
    wet air drying all but stops, and about saturated brine it bends.

    shift_frac (h,): humidities beside the assumed, rising, none among them. loss_frac (h, t, 5, 5): change
    of the loss at the ensemble's times and every second of its points.
    """

    shift_frac: Floats
    loss_frac: NDArray[np.float32]

    @classmethod
    def simulate(
        cls,
        *,
        simulate: Simulate,
        programme: AirProgramme,
        sd_frac: float,
        priors: ForecastPriors,
        time_s: Floats,
    ) -> HumidityFan:
        """Run the drying model with the air not read at humidities three standard deviations either way.

        Source
        ------
        saltfare_chosen, thirteen humidities at every second Chebyshev point
        """
        shift = sd_frac * np.linspace(-3.0, 3.0, _FAN)
        half = BOX_SD * np.array([priors.diffusivity_ln_sd, priors.resistance_ln_sd])
        x = chebyshev_points(count=SHIFT_NODES)
        d, r, h = (a.ravel() for a in np.meshgrid(x * half[0], x * half[1], shift, indexing="ij"))
        rh = programme.rh_frac[:, None] + ~programme.read[:, None] * h[None, :]
        rh = np.where(rh < _DRIEST, _DRIEST, np.where(rh > _WETTEST, _WETTEST, rh))
        run = simulate(
            diffusivity_multiplier=np.exp(d),
            resistance_multiplier=np.exp(r),
            water_shift_frac=np.zeros(d.size),
            end_time_s=programme.end_time_s,
            temp_c=np.repeat(programme.temp_c[:, None], d.size, axis=1),
            rh_frac=rh,
            out_time_s=time_s,
        )
        loss = np.asarray(run.loss_frac).reshape(time_s.size, SHIFT_NODES, SHIFT_NODES, _FAN)
        middle = loss[..., _FAN // 2]
        return cls(shift, np.asarray((loss - middle[..., None]).transpose(3, 0, 1, 2), np.float32))

    def change(self, *, points: Floats, shift_frac: Floats) -> Floats:
        """Change of the loss (t, n): points (n, 25), weights of the points; shift_frac (n,). Beyond its ends
        it is held there.

        Source
        ------
        saltfare_derived, straight lines between humidities
        """
        at = np.searchsorted(self.shift_frac, shift_frac, side="right") - 1
        at = np.where(at < 0, 0, np.where(at > _FAN - 2, _FAN - 2, at))
        low, high = self.shift_frac[at], self.shift_frac[at + 1]
        share = (shift_frac - low) / (high - low)
        share = np.where(share < 0, 0.0, np.where(share > 1, 1.0, share))
        out = np.empty((self.loss_frac.shape[1], shift_frac.size))
        flat = np.asarray(self.loss_frac, np.float64).reshape(_FAN, self.loss_frac.shape[1], -1)
        for i in range(_FAN - 1):
            here = at == i
            if here.any():
                edge = [flat[j] @ points[here].T for j in (i, i + 1)]
                out[:, here] = edge[0] + share[here] * (edge[1] - edge[0])
        return out


@dataclass(frozen=True, slots=True, kw_only=True)
class ToHang:
    """A piece not yet hung. name: unique in the plan. chamber: what it shares its air's errors with.

    ensemble, fan: simulated in that chamber's air. humidity_sd_frac: how far that may lie from it, beside
    the hygrometer's own error. multipliers: ln diffusivity and ln resistance in each
    world, (2, worlds). target_loss_frac: of its mass at hanging.
    """

    name: str
    chamber: str
    ensemble: Ensemble
    fan: HumidityFan
    humidity_sd_frac: float
    multipliers: Floats
    target_loss_frac: float


def hanging_time(
    *,
    piece: ToHang,
    priors: ForecastPriors,
    held_at_edge: Callable[[str, float], None] | None = None,
) -> Floats:
    """How long a piece hangs until it is at its mass, in each world [s]; inf beyond the horizon.

    Errors of the air, water, hanging mass and the model's own error are drawn as the forecast believes in
    them, kinds of pieces with their shares, and the true mass is followed to the first moment it is at the
    target.

    Parameters
    ----------
    piece : ToHang
    priors : ForecastPriors
        As for its ensemble.
    held_at_edge : called with the name of a piece and the share of worlds whose multipliers lay beyond
        the box simulated and were held at its edge, where there are any

    Source
    ------
    saltfare_chosen, the forecast's beliefs followed to first passage
    """
    x = piece.multipliers / piece.ensemble.half_width[:, None]
    beyond = np.abs(x) > 1.0
    if held_at_edge is not None and beyond.any():
        held_at_edge(piece.name, float(beyond.any(axis=0).mean()))
    return _passage(piece, np.where(beyond, np.sign(x), x), priors, x.shape[1])


def _passage(piece: ToHang, x: Floats, priors: ForecastPriors, worlds: int) -> Floats:
    """First time at the target; x (2, worlds) on the box from -1 to 1."""
    e = piece.ensemble
    count = e.time_s.size
    fine = [interpolation_at(count=NODES, at=row) for row in x]
    both = np.einsum("na,nb->nab", *fine).reshape(worlds, -1)
    loss = np.asarray(e.loss_frac, np.float64).reshape(count, -1) @ both.T
    coarse = [interpolation_at(count=SHIFT_NODES, at=row) for row in x]
    both = np.einsum("na,nb->nab", *coarse).reshape(worlds, -1)
    shifted = np.asarray(e.shifted_loss_frac, np.float64)
    for i, what in enumerate(SHIFTS):
        if what in _HUMIDITY:
            continue
        slope = ((shifted[i, 0] - shifted[i, 1]) / 2).reshape(count, -1) @ both.T
        owner = f"chamber {piece.chamber}" if what in _SHARED else piece.name
        loss += slope * normal_column(name=f"{what} {owner}", worlds=worlds)
    wetter = priors.hygrometer_bias_frac * normal_column(
        name=f"hygrometer_bias chamber {piece.chamber}", worlds=worlds
    ) + piece.humidity_sd_frac * normal_column(name=f"later_humidity chamber {piece.chamber}", worlds=worlds)
    loss += piece.fan.change(points=both, shift_frac=wetter)
    error = np.ones(worlds)
    scale = np.ones(worlds)
    kind = column(name=f"kind {piece.name}", worlds=worlds)
    begun = 0.0
    for share, own in priors.kinds.values():
        of = (kind >= begun) & (kind < begun + share)
        error[of], scale[of] = own.model_error_frac, own.repeatability_frac
        begun += share
    size, root = _error_root(e.time_s, priors)
    own_error = np.stack(
        [normal_column(name=f"model {piece.name} {k}", worlds=worlds) for k in range(root.shape[1])]
    )
    loss += (root @ own_error) * (error / size)
    # the mass read at hanging is off by a little, and the target is a share of what was read
    read = 1.0 + scale * normal_column(name=f"hung {piece.name}", worlds=worlds)
    wanted = 1.0 - (1.0 - piece.target_loss_frac) * read
    return _first(e.time_s, loss, wanted)


def _error_root(time_s: Floats, priors: ForecastPriors) -> tuple[float, Floats]:
    """Size of the model's error, and the leading parts of a root of its covariance: (t, parts)."""
    cov = model_error_cov(a_s=time_s, b_s=time_s, priors=priors)
    value, vector = np.linalg.eigh(cov)
    # 99.5 % of the variance; the rest are wiggles of a day
    keep = int(np.searchsorted(np.cumsum(value[::-1]), 0.995 * value.sum())) + 1
    top = slice(None, -keep - 1, -1)
    return priors.model_error_frac, np.asarray(vector[:, top] * np.sqrt(value[top]))


def _first(time_s: Floats, loss: Floats, wanted: Floats) -> Floats:
    """First time each column of loss (t, n) is at `wanted` (n,), between output times by straight lines."""
    at = loss >= wanted
    ever = at.any(axis=0)
    i = np.maximum(at.argmax(axis=0), 1)
    n = np.arange(loss.shape[1])
    low, high = loss[i - 1, n], loss[i, n]
    rise = np.where(high > low, high - low, 1.0)
    share = np.where(high > low, (wanted - low) / rise, 1.0)
    share = np.where(share < 0, 0.0, share)  # there already at hanging: never, targets lie below
    passed = time_s[i - 1] + share * (time_s[i] - time_s[i - 1])
    return np.asarray(np.where(ever, passed, np.inf))


def time_at_mass(
    *,
    name: str,
    found: Posterior,
    target_mass_kg: float,
    fan: HumidityFan | None,
    humidity_sd_frac: float,
    worlds: int = WORLDS,
) -> Floats:
    """When a hanging piece is at its mass in each world [s from hanging]; inf beyond the horizon.

    Paths of the true loss as its weigh-ins leave them possible, each followed to its first moment at the
    target: a slow piece that wavers about its target passes it sooner than the forecast's running maximum
    says, which errs late.

    Parameters
    ----------
    name : of the piece
    found : what is believed of it
    target_mass_kg : the mass at which it comes down [kg]
    fan : of the air not read; None to leave the humidity a straight line, as the forecast does
    humidity_sd_frac : how far that air may lie from what is assumed
    worlds : int

    Source
    ------
    saltfare_derived, normal paths at each point of the posterior
    """
    time = found.ensemble.time_s
    u = column(name=f"point {name}", worlds=worlds)
    inputs = np.stack(
        [normal_column(name=f"input {name} {i}", worlds=worlds) for i in range(len(SHIFTS) + 1)]
    )
    own = np.stack([normal_column(name=f"path {name} {i}", worlds=worlds) for i in range(_PATHS)])
    loss = np.empty((time.size, worlds))
    begun = 0.0
    for s in found.sets:
        ends = begun + np.cumsum(s.weight)
        of = (u >= begun) & (u < ends[-1]) if s is not found.sets[-1] else u >= begun
        begun = float(ends[-1])
        if not of.any():
            continue
        mean, spread, rest = found.conditioned(s=s, at_s=time)
        at = np.searchsorted(ends, u[of])
        at = np.where(at < s.weight.size, at, s.weight.size - 1)  # rounding of the last sum
        value, vector = np.linalg.eigh(rest)
        top = slice(None, -_PATHS - 1, -1)
        root = vector[:, top] * np.sqrt(np.where(value[top] > 0, value[top], 0.0))
        loss[:, of] = mean[:, at] + np.einsum("pnw,pw->nw", spread[:, :, at], inputs[:, of])
        loss[:, of] += root @ own[:, of]
        if fan is not None:
            point = np.stack(np.divmod(s.points[at], FINE)) / (FINE - 1) * 2.0 - 1.0
            chol = np.moveaxis(s.normals.chol[:, :, at], 2, 0)
            solved = np.linalg.solve(np.swapaxes(chol, 1, 2), inputs[:, of].T[:, :, None])
            e = s.normals.shift[:, at] + solved[:, :, 0].T
            wetter = found.priors.hygrometer_bias_frac * e[0] + humidity_sd_frac * e[2]
            loss[:, of] += _bend(found.ensemble, fan, point, wetter, humidity_sd_frac)
    wanted = np.full(worlds, 1.0 - target_mass_kg / found.hanging.mass_kg)
    return _first(time, loss, wanted)


def _bend(e: Ensemble, fan: HumidityFan, x: Floats, wetter: Floats, sd_frac: float) -> Floats:
    """What the fan makes of a humidity beyond the straight line that was taken already: (t, n)."""
    coarse = [interpolation_at(count=SHIFT_NODES, at=row) for row in x]
    both = np.einsum("na,nb->nab", *coarse).reshape(wetter.size, -1)
    later = np.asarray(e.shifted_loss_frac, np.float64)[SHIFTS.index("later_humidity")]
    slope = ((later[0] - later[1]) / 2).reshape(e.time_s.size, -1) @ both.T
    return np.asarray(fan.change(points=both, shift_frac=wetter) - slope * (wetter / sd_frac))


def drawn_from(*, name: str, time_s: Floats, ready_frac: Floats, worlds: int = WORLDS) -> Floats:
    """Times in each world of something whose chance over time is known, such as a piece under way [s].

    Source
    ------
    saltfare_derived, inverse of a distribution function
    """
    u = column(name=name, worlds=worlds)
    ready = np.maximum.accumulate(np.asarray(ready_frac, np.float64))
    i = np.searchsorted(ready, u)
    within = (i < ready.size) & (i > 0)
    j = np.where(within, i, 1)
    rise = ready[j] - ready[j - 1]
    share = np.where(rise > 0, (u - ready[j - 1]) / np.where(rise > 0, rise, 1.0), 1.0)
    time = time_s[j - 1] + share * (time_s[j] - time_s[j - 1])
    return np.asarray(np.where(i >= ready.size, np.inf, np.where(i == 0, time_s[0], time)))


@dataclass(frozen=True, slots=True)
class Days:
    """Whole days something takes in each world; inf where it never comes to an end within sight."""

    worlds: Floats
    notes: Mapping[str, float] = field(default_factory=dict)

    def chance(self, *, days: int) -> float:
        """Share of the worlds in which that many days are enough."""
        return float((self.worlds <= days).mean())

    def needed(self, *, chance: float) -> int | None:
        """The fewest days that are enough with a chance; None where no number is."""
        ordered = np.sort(self.worlds)
        found = ordered[min(int(np.ceil(chance * ordered.size - 1e-9)), ordered.size) - 1]
        return int(found) if np.isfinite(found) else None


def whole_days(*, time_s: Floats) -> Days:
    """Times as whole days: what is done by the hour it began is looked at that hour of a later day.

    Source
    ------
    saltfare_chosen, looked at once a day
    """
    return Days(np.ceil(time_s / DAY_S - 1e-9))
