"""Numerics shared by the models: roots member by member, tridiagonal systems of a whole ensemble.

Nothing here returns an unconverged number: a search that does not end within its tolerance raises
NotConverged naming the member.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
from scipy.linalg import lapack

from saltfare.core.errors import NotConverged, OutOfRange

Array = npt.NDArray[np.float64]
Floats = float | Array


def check_range(value: Floats, *, low: float, high: float, model: str, quantity: str) -> Array:
    """The values as an array, every one within [low, high].

    Raises OutOfRange with the first that is not; NaN is never within.
    """
    given = np.asarray(value, dtype=np.float64)
    outside = ~((given >= low) & (given <= high))
    if outside.any():
        raise OutOfRange(model, quantity, float(given[outside].ravel()[0]), low, high)
    return given


def root_increasing(
    function: Callable[[Array], tuple[Array, Array]],
    *,
    low: Array,
    high: Array,
    start: Array,
    tolerance: float,
    what: str,
    rounds: int = 60,
) -> Array:
    """The root of a function that increases from `low` to `high`, for every member at once.

    Newton's step where it stays inside the bracket and at least halves the step before last,
    bisection where it does not, so that a step in the function costs rounds and not the answer. The
    root must lie inside the bracket by more than twice the tolerance.

    Parameters
    ----------
    function : gives value and slope, shapes of `start`
    low, high, start : bracket and first guess
    tolerance : of the root, in its own unit
    what : name of the search, for the error
    rounds : most rounds

    Returns
    -------
    root, shape of `start`

    Raises
    ------
    NotConverged
    """
    lo, hi, x = np.array(low), np.array(high), np.array(start)
    step = before = np.full_like(x, np.inf)
    for _ in range(rounds):
        value, slope = function(x)
        below = value < 0
        lo, hi = np.where(below, x, lo), np.where(below, hi, x)
        with np.errstate(divide="ignore", invalid="ignore"):
            newton = x - value / slope
        move = np.abs(newton - x)
        sound = (newton >= lo) & (newton <= hi) & (move <= 0.5 * before)
        # a member that has its root waits for the others: rounding must not send it bisecting
        sound |= move <= tolerance
        fresh = np.where(sound, newton, 0.5 * (lo + hi))
        before, step, x = step, np.abs(fresh - x), fresh
        if (step <= tolerance).all():
            break
    value, _ = function(x)
    at_end = (x - low <= 2.0 * tolerance) | (high - x <= 2.0 * tolerance)
    missed = ~(step <= tolerance) | at_end | ~np.isfinite(value)
    if missed.any():
        member = int(np.flatnonzero(missed)[0])
        raise NotConverged(what, member, float(np.ravel(value)[member]))
    return x


def solve_tridiagonals(*, lower: Array, diagonal: Array, upper: Array, right: Array) -> Array:
    """Solve one tridiagonal system for each member in a single LAPACK call.

    The members are laid end to end; the couplings at the joints are zero, so they stay apart.

    Parameters
    ----------
    lower, diagonal, upper, right : (members, nodes); lower[:, 0] and upper[:, -1] are ignored

    Returns
    -------
    solution, (members, nodes)

    Raises
    ------
    NotConverged for a singular system
    """
    nodes = diagonal.shape[1]
    lower, upper = lower.copy(), upper.copy()
    lower[:, 0] = upper[:, -1] = 0.0
    *_, solution, info = lapack.dgtsv(lower.ravel()[1:], diagonal.ravel(), upper.ravel()[:-1], right.ravel())
    if info != 0:
        raise NotConverged("tridiagonal system", (int(info) - 1) // nodes, float("nan"))
    return np.asarray(solution).reshape(diagonal.shape)
