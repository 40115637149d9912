"""A running picture of kill from a printed table alone, for a food whose table no single z describes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from saltfare.core.numerics import Array
from saltfare.models.hazards import Hold


def log_reduction_rows(*, time_s: Array, temp_c: Array, holds: Sequence[Hold], target: float) -> Array:
    """Decimal reductions of a course, running from its start, each stretch at the rate of the row below it.

    At a temperature between two printed rows the rate is that of the cooler one, so nothing is read between
    rows and a hold at a row for its printed time is worth exactly the target. A picture; no verdict is made
    by it.

    Parameters
    ----------
    time_s : rising, (times) [s]
    temp_c : temperature of the coldest point, (times) [°C]
    holds : rows of the table; rows met at once are left out
    target : decimal reductions the table is for [-]

    Returns
    -------
    log reduction from the start, (times) [-]

    Source
    ------
    fsis_poultry_tables, 12 % fat, time for 7 log at each temperature
    saltfare_chosen, the rate of the row below
    """
    rows = sorted((hold for hold in holds if hold.time_s > 0.0), key=lambda hold: hold.temp_c)
    temps, span = np.asarray(temp_c, dtype=float), np.diff(np.asarray(time_s, dtype=float))
    bottom, top = np.minimum(temps[:-1], temps[1:]), np.maximum(temps[:-1], temps[1:])
    rise = top - bottom
    worth = np.zeros(len(span))
    for index, row in enumerate(rows):
        next_c = rows[index + 1].temp_c if index + 1 < len(rows) else float("inf")
        low = row.temp_c - 1e-9  # a printed temperature typed in another unit is still that temperature
        with np.errstate(divide="ignore", invalid="ignore"):
            share = (np.minimum(top, next_c - 1e-9) - np.maximum(bottom, low)) / rise
        flat = ((bottom >= low) & (bottom < next_c - 1e-9)).astype(float)
        worth += np.where(rise == 0.0, flat, np.maximum(share, 0.0)) * span * (target / row.time_s)
    return np.concatenate(([0.0], np.cumsum(worth)))
