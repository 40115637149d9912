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

from saltfare.plans.forecast_ensemble import (
    NODES,
    SHIFT_NODES,
    SHIFTS,
    Ensemble,
    interpolation_at,
)
from saltfare.plans.forecast_posterior import model_error_cov
from saltfare.plans.forecast_priors import ForecastPriors

Floats = NDArray[np.float64]
DAY_S = 86400.0
# With so many the chance of one piece is known to about 0.2 points, that of a plan to about 0.5 (tests).
WORLDS = 2048
# what a chamber does to all that hangs in it; the rest is each piece's own
_SHARED = frozenset({"hygrometer_bias", "later_humidity", "later_temp"})


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


@dataclass(frozen=True, slots=True, kw_only=True)
class ToHang:
    """A piece not yet hung. name: unique in the plan. chamber: what it shares its air's errors with.

    ensemble: simulated in that chamber's air. multipliers: ln diffusivity and ln resistance in each
    world, (2, worlds). target_loss_frac: of its mass at hanging.
    """

    name: str
    chamber: str
    ensemble: Ensemble
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
        slope = ((shifted[i, 0] - shifted[i, 1]) / 2).reshape(count, -1) @ both.T
        owner = f"chamber {piece.chamber}" if what in _SHARED else piece.name
        loss += slope * normal_column(name=f"{what} {owner}", worlds=worlds)
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
