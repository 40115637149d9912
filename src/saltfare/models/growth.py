"""Growth of pathogens: published rate models side by side, lag, and growth over a history.

A model answers within its own range, and refuses outside it where the organism's published limits still
allow growth; beyond both there is none.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Self

import numpy as np

from saltfare.core.errors import OutOfRange
from saltfare.core.numerics import Array, Floats, check_range
from saltfare.core.tables import Row
from saltfare.models.growth_limits import GrowthEnvelope

Outside = Literal["refuse", "nothing"]
_LN10 = float(np.log(10.0))
# EFSA BIOHAZ 2014, Salmonella in meat, as transcribed: ln of the rate per hour in T (°C), pH and
# b = sqrt(1 - aw); the order is constant, T, pH, b, T pH, T^2, pH^2, b^2.
_EFSA = (-11.909, 0.3649, 1.7832, 7.00019, -0.00442, -0.00458, -0.12539, -62.114)
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(6)


@dataclass(frozen=True, slots=True)
class GrowthModel:
    """One row of `growth_rates`; None where the model has no such term or range. Rates per hour, natural log.

    q0: physiological state at the start of the lag the source gives; None where it gives none.
    """

    name: str
    organism: str
    form: str
    scale: float
    temp_min_c: float | None
    temp_opt_c: float | None
    temp_max_c: float | None
    curve: float | None
    ph: tuple[float, float, float] | None
    aw: tuple[float, float, float] | None
    q0: float | None
    per_day_log10: bool
    temp_range_c: tuple[float, float]
    ph_range: tuple[float, float] | None
    aw_range: tuple[float, float] | None

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of the table `growth_rates`."""

        def pair(name: str) -> tuple[float, float] | None:
            low, high = row.number_or_none(f"{name}_from"), row.number_or_none(f"{name}_to")
            return None if low is None or high is None else (low, high)

        def three(name: str) -> tuple[float, float, float] | None:
            found = [row.number_or_none(f"{name}_{end}") for end in ("min", "opt", "max")]
            low, best, high = found
            return None if low is None or best is None or high is None else (low, best, high)

        return cls(
            row.ref,
            row.text("organism"),
            row.text("form"),
            row.number("scale"),
            row.number_or_none("temp_min_c"),
            row.number_or_none("temp_opt_c"),
            row.number_or_none("temp_max_c"),
            row.number_or_none("curve"),
            three("ph"),
            three("aw"),
            row.number_or_none("q0"),
            row.text("log_base_ten") == "per_day",
            (row.number("from_c"), row.number("to_c")),
            pair("ph"),
            pair("aw"),
        )


def cardinal_share(*, value: Floats, low: float, best: float, high: float, power: int) -> Array:
    """Cardinal parameter model: share of the best rate, zero at and outside both ends.

    Parameters
    ----------
    value : temperature, pH or water activity
    low, best, high : where growth ends, is fastest, and ends again
    power : 2 for temperature and water activity, 1 for pH

    Returns
    -------
    share of the best rate, shape of `value` [-]

    Source
    ------
    rosso_1993, CPM2; rosso_1995 for the pH form
    """
    x = np.asarray(value, dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        top = (x - high) * (x - low) ** power
        bottom = (best - low) ** (power - 1) * (
            (best - low) * (x - best) - (best - high) * ((power - 1) * best + low - power * x)
        )
        share = top / bottom
    return np.where((x > low) & (x < high), share, 0.0)[()]


def rate_published(
    *,
    temp_c: Floats,
    ph: float | None,
    aw: float | None,
    model: GrowthModel,
    limits: GrowthEnvelope,
    outside: Outside,
) -> Array:
    """Growth rate by one published model.

    Parameters
    ----------
    temp_c : temperature [°C]
    ph : pH; needed where the model has it
    aw : water activity; needed where the model has it
    model : GrowthModel
    limits : published limits of growth of the organism; beyond their temperatures and the model's the
        rate is zero
    outside : at a temperature where the organism grows but the model does not reach, refuse, or count
        nothing, so that what is counted is the least growth

    Returns
    -------
    rate, natural logarithm, shape of `temp_c` [1/h]

    Raises
    ------
    OutOfRange for a temperature within the limits of growth but outside the model, and for a pH or
    water activity outside the model or missing where the model needs it

    Source
    ------
    growth_model_repository, equations as transcribed there; each row names its paper
    """
    temp = np.asarray(temp_c, dtype=float)
    grows = limits.grows_at(temp)
    low, high = model.temp_range_c
    inside = (temp >= low) & (temp <= high)
    gap = grows & ~inside if outside == "refuse" else np.zeros_like(grows)
    if not np.isfinite(temp).all() or bool(gap.any()):
        wrong = temp[~np.isfinite(temp) | gap].ravel()[0]
        raise OutOfRange(model.name, "temp_c", float(wrong), low, high)
    if model.ph_range is not None:
        ph = _needed(ph, model, "ph", model.ph_range)
    if model.aw_range is not None:
        aw = _needed(aw, model, "aw", model.aw_range)
    rate = _FORMS[model.form](temp, ph, aw, model)
    if model.per_day_log10:
        rate = rate * _LN10 / 24.0
    return np.where(inside, np.maximum(rate, 0.0), 0.0)[()]


def _needed(value: float | None, model: GrowthModel, quantity: str, span: tuple[float, float]) -> float:
    given = float("nan") if value is None else value
    return float(check_range(given, low=span[0], high=span[1], model=model.name, quantity=quantity))


def _end(value: float | None) -> float:
    return float("nan") if value is None else value


def _root(temp: Array, ph: float | None, aw: float | None, m: GrowthModel) -> Array:
    del ph, aw
    return np.where(temp > _end(m.temp_min_c), (m.scale * (temp - _end(m.temp_min_c))) ** 2, 0.0)


def _ratkowsky(temp: Array, ph: float | None, aw: float | None, m: GrowthModel) -> Array:
    del ph, aw
    bend = 1.0 - np.exp(_end(m.curve) * (temp - _end(m.temp_max_c)))
    inside = (temp > _end(m.temp_min_c)) & (temp < _end(m.temp_max_c))
    rise = temp - _end(m.temp_min_c)
    rate = (m.scale * rise * bend) ** 2 if m.form == "ratkowsky" else m.scale * rise**2 * bend
    return np.where(inside, rate, 0.0)


def _cardinal(temp: Array, ph: float | None, aw: float | None, m: GrowthModel) -> Array:
    rate = m.scale * cardinal_share(
        value=temp, low=_end(m.temp_min_c), best=_end(m.temp_opt_c), high=_end(m.temp_max_c), power=2
    )
    if m.ph is not None:
        rate = rate * cardinal_share(value=_end(ph), low=m.ph[0], best=m.ph[1], high=m.ph[2], power=1)
    if m.aw is not None:
        top = m.aw[2]
        share = cardinal_share(value=_end(aw), low=m.aw[0], best=m.aw[1], high=top, power=2)
        rate = rate * share
    return np.asarray(rate)


def _efsa(temp: Array, ph: float | None, aw: float | None, m: GrowthModel) -> Array:
    del m
    p, b = _end(ph), float(np.sqrt(1.0 - _end(aw)))
    c = _EFSA
    steady = c[0] + c[2] * p + c[3] * b + c[6] * p**2 + c[7] * b**2
    return np.asarray(np.exp(steady + c[1] * temp + c[4] * temp * p + c[5] * temp**2))


_FORMS = {
    "root": _root,
    "ratkowsky": _ratkowsky,
    "ratkowsky_rate": _ratkowsky,
    "cardinal": _cardinal,
    "efsa_2014": _efsa,
}


def growth_history(
    *,
    time_s: Array,
    temp_c: Array,
    ph: float | None,
    aw: float | None,
    model: GrowthModel,
    limits: GrowthEnvelope,
    outside: Outside,
) -> Array:
    """Growth over a temperature history, without lag, running from its start.

    Parameters
    ----------
    time_s : rising, (times) [s]
    temp_c : straight between times, (times) [°C]
    ph : pH, None where the model has none
    aw : water activity, None where the model has none
    model : GrowthModel
    limits : published limits of growth of the organism
    outside : as in `rate_published`

    Returns
    -------
    growth from the start, (times) [log10]

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_derived, integral of the rate along straight stretches
    """
    temps, times = np.asarray(temp_c, dtype=float), np.asarray(time_s, dtype=float)
    # stretches are cut on a fixed ladder of temperatures, so that where a log is split changes nothing
    ladder = _ladder(model, limits, float(temps.min()), float(temps.max()))
    out = np.zeros(len(times))

    def rate(temp: Floats) -> Array:
        return rate_published(temp_c=temp, ph=ph, aw=aw, model=model, limits=limits, outside=outside)

    for index in range(len(times) - 1):
        t0, t1, span = temps[index], temps[index + 1], times[index + 1] - times[index]
        cuts = ladder[(ladder > min(t0, t1)) & (ladder < max(t0, t1))]
        ends = np.concatenate(([min(t0, t1)], cuts, [max(t0, t1)]))
        if t0 == t1:
            gained = span * float(rate(float(t0)))
        else:
            half = 0.5 * np.diff(ends)[:, None]
            points = 0.5 * (ends[1:] + ends[:-1])[:, None] + half * _NODES
            gained = span / abs(t1 - t0) * float((half * _WEIGHTS * rate(points)).sum())
        out[index + 1] = out[index] + gained / 3600.0 / _LN10
    return out


def _ladder(model: GrowthModel, limits: GrowthEnvelope, low: float, high: float) -> Array:
    steps = np.arange(np.floor(low), np.ceil(high) + 1.0)
    ends = [model.temp_min_c, model.temp_max_c, *model.temp_range_c, limits.temp_min_c, limits.temp_max_c]
    return np.unique(np.concatenate((steps, [e for e in ends if e is not None])))


def growth_after_lag_baranyi(*, growth_log10: Floats, q0: float) -> Array:
    """Growth with the lag of Baranyi's model, from the growth there would be without.

    Parameters
    ----------
    growth_log10 : growth without lag [log10]
    q0 : physiological state at the start; the lag at rate mu is ln(1 + 1/q0)/mu [-]

    Returns
    -------
    growth [log10]

    Raises
    ------
    OutOfRange

    Source
    ------
    baranyi_roberts_1994, dq/dt = mu q, d ln N/dt = mu q/(1 + q)
    """
    check_range(q0, low=1e-9, high=1e9, model="growth_after_lag_baranyi", quantity="q0")
    gained = check_range(
        growth_log10, low=0.0, high=300.0, model="growth_after_lag_baranyi", quantity="growth_log10"
    )
    return np.asarray(np.log10((1.0 + q0 * 10.0**gained) / (1.0 + q0)))[()]


def count_baranyi(
    *, time_s: Floats, start_log10: float, most_log10: float, rate_per_h: float, lag_s: float
) -> Array:
    """Count over time at a steady temperature: lag, growth, ceiling.

    Parameters
    ----------
    time_s : time [s]
    start_log10 : count at the start [log10]
    most_log10 : ceiling [log10]
    rate_per_h : rate, natural logarithm [1/h]
    lag_s : lag [s]

    Returns
    -------
    count [log10]

    Raises
    ------
    OutOfRange

    Source
    ------
    baranyi_roberts_1994, closed form at a steady rate
    """
    check_range(rate_per_h, low=1e-9, high=100.0, model="count_baranyi", quantity="rate_per_h")
    check_range(most_log10 - start_log10, low=1e-6, high=30.0, model="count_baranyi", quantity="most_log10")
    t, lag = np.asarray(time_s, dtype=float) / 3600.0, lag_s / 3600.0
    mu = rate_per_h
    # ln(e^-mt + e^-ml - e^-m(t+l)) without cancelling
    with np.errstate(divide="ignore"):
        adjusted = t + np.log(np.exp(-mu * t) + np.exp(-mu * lag) * -np.expm1(-mu * t)) / mu
    grown = mu * adjusted
    ceiling = (most_log10 - start_log10) * _LN10
    damped = grown - np.log1p(np.expm1(grown) * np.exp(-ceiling))
    return np.asarray(start_log10 + damped / _LN10)[()]
