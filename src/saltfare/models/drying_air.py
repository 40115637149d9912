"""The air around a hanging piece, and how much of its coming and going a piece can tell apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from saltfare.core.numerics import Array
from saltfare.models.air import ZERO_C_K, saturation_over_water


@dataclass(frozen=True, slots=True)
class Air:
    """The chamber's air from hanging on, constant between the ends of its stretches.

    end_time_s: rising, (k,). temp_c, rh_frac, speed_m_per_s: (k,) for all members or (k, n).
    casing_resistance_s_per_m: where what a piece is wrapped in changes as it hangs, (k,) or (k, n); None
    for the piece's own all along.
    """

    end_time_s: Array
    temp_c: Array
    rh_frac: Array
    speed_m_per_s: Array
    casing_resistance_s_per_m: Array | None = None


@dataclass(frozen=True, slots=True)
class Merging:
    """Which stretches of air may be taken together as their mean.

    share: most a merged stretch may last, over the time since hanging at its start; 0 for none.
    rh_frac, temp_c: most that humidity and temperature may differ within it.
    """

    share: float
    rh_frac: float
    temp_c: float


def merged(*, air: Air, merging: Merging) -> Air:
    """The air with neighbouring stretches taken together where a piece cannot tell.

    What has hung for weeks answers to the mean of a day's small ups and downs; humidity that swings
    widely is left as it is. The mean temperature and the mean vapour pressure are kept.

    Parameters
    ----------
    air : as read
    merging : how far to go

    Returns
    -------
    air of the same total time and as many or fewer stretches

    Source
    ------
    saltfare_numerics, means over a share of the time hung
    """
    ends = np.asarray(air.end_time_s, dtype=np.float64)
    temp, humidity, speed = _rows(air.temp_c), _rows(air.rh_frac), _rows(air.speed_m_per_s)
    casing = None if air.casing_resistance_s_per_m is None else _rows(air.casing_resistance_s_per_m)
    firsts = [0]
    low_t = high_t = temp[0]
    low_h = high_h = humidity[0]
    begin = 0.0
    for k in range(1, len(ends)):
        wide_t = np.maximum(high_t, temp[k]), np.minimum(low_t, temp[k])
        wide_h = np.maximum(high_h, humidity[k]), np.minimum(low_h, humidity[k])
        alike = (
            ends[k] - begin <= merging.share * begin
            and np.array_equal(speed[k], speed[k - 1])
            and (casing is None or np.array_equal(casing[k], casing[k - 1]))
            and np.max(wide_t[0] - wide_t[1]) <= merging.temp_c
            and np.max(wide_h[0] - wide_h[1]) <= merging.rh_frac
        )
        if alike:
            (high_t, low_t), (high_h, low_h) = wide_t, wide_h
        else:
            firsts.append(k)
            begin = float(ends[k - 1])
            low_t = high_t = temp[k]
            low_h = high_h = humidity[k]
    if len(firsts) == len(ends):
        return air
    lasts = np.append(firsts[1:], len(ends)) - 1
    lengths = np.diff(ends, prepend=0.0)
    whole = np.add.reduceat(lengths, firsts)[:, None]
    vapour = humidity * saturation_over_water(temp_k=temp + ZERO_C_K)[0]
    mean_temp = np.add.reduceat(temp * lengths[:, None], firsts, axis=0) / whole
    mean_vapour = np.add.reduceat(vapour * lengths[:, None], firsts, axis=0) / whole
    mean_humidity = mean_vapour / saturation_over_water(temp_k=mean_temp + ZERO_C_K)[0]
    wrapped = None if casing is None else casing[firsts]
    return Air(ends[lasts], mean_temp, mean_humidity, speed[firsts], wrapped)


def _rows(values: Array) -> Array:
    given = np.asarray(values, dtype=np.float64)
    return given[:, None] if given.ndim == 1 else given
