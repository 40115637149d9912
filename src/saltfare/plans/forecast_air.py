"""The air around a hanging piece from hanging to the horizon: read where it was read, assumed elsewhere.

Readings come at uneven times and with gaps. They are averaged over bins so that the mean vapour
pressure and the mean saturation pressure of each bin are kept; what drives evaporation,
`a_surface p_sat - p_vapour`, is then kept for any one activity of the surface.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from saltfare.core.errors import Problem, Refused
from saltfare.models.air import dew_point_from_vapour_pressure, saturation_pressure_ashrae
from saltfare.plans.forecast_priors import ForecastPriors

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

RECENT = "recent_readings"
USUAL = "usual_air"
# half a bin read is a bin read: below that the assumed air says more about it
_READ_SHARE = 0.5
_WETTEST = 0.995


@dataclass(frozen=True, slots=True)
class AirReadings:
    """Readings at the piece, times from hanging; any order."""

    time_s: Floats
    temp_c: Floats
    rh_frac: Floats


@dataclass(frozen=True, slots=True)
class UsualAir:
    """A chamber's air as its keeper describes it."""

    temp_c: float
    rh_frac: float


@dataclass(frozen=True, slots=True)
class AssumedAir:
    """The air taken where none was read, and why.

    basis: `recent_readings` or `usual_air`. averaged_s: time of readings behind it, 0 for usual air.
    humidity_sd_frac, temp_sd_c: how far the mean may really lie from it.
    """

    temp_c: float
    rh_frac: float
    basis: str
    averaged_s: float
    humidity_sd_frac: float
    temp_sd_c: float


@dataclass(frozen=True, slots=True)
class AirProgramme:
    """Piecewise constant air from hanging to the horizon.

    end_time_s (k,), temp_c (k,), rh_frac (k,); read (k,): from readings rather than assumed.
    last_reading_s: None without readings. unread_s: time assumed before the last reading.
    near_saturation_s: time for which the air read was wetter than 99.5 % and is taken as that, since
    the isotherm ends there.
    """

    end_time_s: Floats
    temp_c: Floats
    rh_frac: Floats
    read: Bools
    assumed: AssumedAir
    last_reading_s: float | None
    unread_s: float
    near_saturation_s: float

    @property
    def horizon_s(self) -> float:
        """Where it ends [s from hanging]."""
        return float(self.end_time_s[-1])


def air_programme(
    *,
    readings: AirReadings | None,
    usual: UsualAir | None,
    horizon_s: float,
    priors: ForecastPriors,
) -> AirProgramme:
    """Air from hanging to the horizon.

    Parameters
    ----------
    readings : AirReadings or None
        Readings of the chamber; those before hanging and after the horizon are left out.
    usual : UsualAir or None
        Taken where nothing was read if less than a day was read lately.
    horizon_s : float
        End of the programme [s from hanging].
    priors : ForecastPriors
        Bin, gap and averaging times, and how far the assumption may lie off.

    Raises
    ------
    Refused
        `horizon_no_time`, `reading_out_of_bounds`, `air_unknown`.

    Source
    ------
    saltfare_chosen, averaging that keeps mean vapour and saturation pressure
    """
    if not np.isfinite(horizon_s) or horizon_s <= 0:
        raise Refused(Problem("horizon_no_time", "horizon_s", f"{horizon_s:g} s"))
    if usual is not None:
        _check(np.array([usual.temp_c]), np.array([usual.rh_frac]), "usual")
    log = None if readings is None else _Log.build(readings, horizon_s, priors)
    assumed = _assumed(log, usual, priors)
    if log is None:
        return AirProgramme(
            np.array([horizon_s], np.float64),
            np.array([assumed.temp_c], np.float64),
            np.array([assumed.rh_frac], np.float64),
            np.array([False]),
            assumed,
            None,
            0.0,
            0.0,
        )
    count = max(1, int(np.ceil(log.last_s / priors.air_bin_s)))
    ends = np.minimum(priors.air_bin_s * np.arange(1, count + 1), log.last_s)
    temp, rh, covered = log.means(np.append(0.0, ends))
    widths = np.diff(ends, prepend=0.0)
    read = covered >= _READ_SHARE * widths
    temp, rh = np.where(read, temp, assumed.temp_c), np.where(read, rh, assumed.rh_frac)
    unread = float(widths[~read].sum())
    if horizon_s > log.last_s:
        ends, read = np.append(ends, horizon_s), np.append(read, False)
        temp, rh = np.append(temp, assumed.temp_c), np.append(rh, assumed.rh_frac)
    wet = rh > _WETTEST
    near_s = float(np.diff(ends, prepend=0.0)[wet].sum())
    rh = np.where(wet, _WETTEST, rh)
    ends, temp, rh, read = _joined(ends, temp, rh, read, priors)
    return AirProgramme(ends, temp, rh, read, assumed, log.last_s, unread, near_s)


def _joined(
    end_s: Floats, temp_c: Floats, rh_frac: Floats, read: Bools, priors: ForecastPriors
) -> tuple[Floats, Floats, Floats, Bools]:
    """Neighbouring bins that are alike made one, mean pressures kept: each stretch costs steps."""
    first = [0]
    for i in range(1, end_s.size):
        stretch = slice(first[-1], i + 1)
        alike = (
            read[i] == read[first[-1]]
            and np.ptp(temp_c[stretch]) <= priors.alike_temp_c
            and np.ptp(rh_frac[stretch]) <= priors.alike_humidity_frac
        )
        if not alike:
            first.append(i)
    width = np.diff(end_s, prepend=0.0)
    saturation = saturation_pressure_ashrae(temp_c=temp_c)
    whole = np.add.reduceat(width, first)
    p_sat = np.add.reduceat(width * saturation, first) / whole
    p_vap = np.add.reduceat(width * saturation * rh_frac, first) / whole
    temp = np.asarray(dew_point_from_vapour_pressure(vapour_pa=p_sat))
    return end_s[np.array([*first[1:], end_s.size]) - 1], temp, p_vap / p_sat, read[first]


@dataclass(frozen=True, slots=True)
class _Log:
    """Readings as two pressures, linear between neighbours; `gap_s` is how far they reach."""

    time_s: Floats
    saturation_pa: Floats
    vapour_pa: Floats
    gap_s: float
    last_s: float

    @classmethod
    def build(
        cls,
        readings: AirReadings,
        horizon_s: float,
        priors: ForecastPriors,
    ) -> _Log | None:
        _check(readings.temp_c, readings.rh_frac, "readings")
        order = np.argsort(readings.time_s, kind="stable")
        time, temp, rh = (
            np.asarray(a, np.float64)[order] for a in (readings.time_s, readings.temp_c, readings.rh_frac)
        )
        kept = (time >= -priors.air_gap_s / 2) & (time <= horizon_s)
        time, temp, rh = time[kept], temp[kept], rh[kept]
        if not time.size or time[-1] <= 0:
            return None
        saturation = saturation_pressure_ashrae(temp_c=temp)
        # several sensors at one moment: their mean
        moments, index = np.unique(time, return_inverse=True)
        share = np.bincount(index)
        return cls(
            moments,
            np.bincount(index, saturation) / share,
            np.bincount(index, saturation * rh) / share,
            priors.air_gap_s,
            float(moments[-1]),
        )

    def means(self, edge_s: Floats) -> tuple[Floats, Floats, Floats]:
        """Temperature, humidity and time covered of each bin between edges; exact integrals of the
        piecewise linear pressures over the parts within half a gap of a reading."""
        half = self.gap_s / 2
        knots = np.unique(np.concatenate([self.time_s, self.time_s - half, self.time_s + half, edge_s]))
        knots = knots[(knots >= edge_s[0]) & (knots <= edge_s[-1])]
        middle, width = (knots[1:] + knots[:-1]) / 2, np.diff(knots)
        at = np.searchsorted(self.time_s, middle)
        before = np.where(at > 0, middle - self.time_s[np.maximum(at - 1, 0)], np.inf)
        after = np.where(
            at < self.time_s.size, self.time_s[np.minimum(at, self.time_s.size - 1)] - middle, np.inf
        )
        weight = width * (np.minimum(before, after) <= half)
        bins = np.searchsorted(edge_s, middle) - 1
        size = edge_s.size - 1
        # the readings' own ends are held flat: np.interp does that, here on purpose
        saturation = np.interp(middle, self.time_s, self.saturation_pa)
        vapour = np.interp(middle, self.time_s, self.vapour_pa)
        covered = np.asarray(np.bincount(bins, weight, size), np.float64)
        over = np.where(covered > 0, covered, 1.0)
        p_sat = np.bincount(bins, weight * saturation, size) / over
        p_vap = np.bincount(bins, weight * vapour, size) / over
        full = covered > 0
        temp, rh = np.full(size, np.nan), np.full(size, np.nan)
        temp[full] = dew_point_from_vapour_pressure(vapour_pa=p_sat[full])
        rh[full] = p_vap[full] / p_sat[full]
        return temp, rh, covered


def _assumed(
    log: _Log | None,
    usual: UsualAir | None,
    priors: ForecastPriors,
) -> AssumedAir:
    if log is not None:
        start = max(log.last_s - priors.air_recent_s, float(log.time_s[0]))
        if log.last_s > start:
            temp, rh, covered = log.means(np.array([start, log.last_s]))
            # a day at least, so that day and night are both in it; less only where nothing else is known
            if covered[0] >= min(86400.0, priors.air_recent_s) or usual is None:
                return AssumedAir(
                    float(temp[0]),
                    float(rh[0]),
                    RECENT,
                    float(covered[0]),
                    priors.later_humidity_read_frac,
                    priors.later_temp_read_c,
                )
    if usual is None:
        raise Refused(Problem("air_unknown", "air"))
    return AssumedAir(
        usual.temp_c,
        usual.rh_frac,
        USUAL,
        0.0,
        priors.later_humidity_usual_frac,
        priors.later_temp_usual_c,
    )


def _check(temp_c: Floats, rh_frac: Floats, field: str) -> None:
    """Humidity is a fraction of saturation; temperature is one a hanging piece can be in."""
    bad = ~(np.isfinite(temp_c) & np.isfinite(rh_frac) & (rh_frac >= 0) & (rh_frac <= 1))
    bad |= ~((temp_c > -10) & (temp_c < 60))
    if bad.any():
        i = int(np.flatnonzero(bad)[0])
        raise Refused(Problem("reading_out_of_bounds", field, f"{temp_c[i]:g} °C, {rh_frac[i]:.1%}"))
