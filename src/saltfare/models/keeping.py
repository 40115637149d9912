"""Rates at which stored food changes: temperature, water activity, oxygen; each change by itself.

A change is told by the time to a stated limit at stated conditions, and by how its rate moves with the
conditions. Where the sources give a span, all ends are carried: what comes out is a low, a middle and a
high life. None of it is a criterion: what may be eaten is answered elsewhere, and first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Self

import numpy as np

from saltfare.core.errors import Problem, Refused
from saltfare.core.numerics import Array, Floats, check_range
from saltfare.core.tables import Row
from saltfare.models.isotherms_gab import GAS_J_PER_MOL_K, KELVIN


def rate_ratio_arrhenius(*, temp_c: Floats, temp_ref_c: float, activation_j_per_mol: float) -> Array:
    """How many times faster at a temperature than at the reference.

    Parameters
    ----------
    temp_c : [°C]
    temp_ref_c : [°C]
    activation_j_per_mol : activation energy [J/mol]

    Returns
    -------
    ratio of rates [-]

    Source
    ------
    fitness_shelf_life, k = k_ref exp(-Ea/R (1/T - 1/T_ref))
    """
    t = np.asarray(temp_c, dtype=np.float64) + KELVIN
    return np.asarray(
        np.exp(-activation_j_per_mol / GAS_J_PER_MOL_K * (1.0 / t - 1.0 / (temp_ref_c + KELVIN)))
    )[()]


def q10_from_activation(*, activation_j_per_mol: float, temp_c: float) -> float:
    """How many times faster ten kelvin warmer.

    Parameters
    ----------
    activation_j_per_mol : [J/mol]
    temp_c : the colder of the two temperatures [°C]

    Returns
    -------
    Q10 [-]

    Source
    ------
    fitness_shelf_life, Q10 = exp(10 Ea / (R T (T + 10)))
    """
    return float(
        rate_ratio_arrhenius(
            temp_c=temp_c + 10.0, temp_ref_c=temp_c, activation_j_per_mol=activation_j_per_mol
        )
    )


def activation_from_lives(*, life_a_s: float, temp_a_c: float, life_b_s: float, temp_b_c: float) -> float:
    """Activation energy from the times to one limit at two temperatures.

    Parameters
    ----------
    life_a_s, life_b_s : times [s]
    temp_a_c, temp_b_c : their temperatures, not the same [°C]

    Returns
    -------
    activation energy [J/mol]

    Source
    ------
    fitness_shelf_life, k = k_ref exp(-Ea/R (1/T - 1/T_ref))
    """
    span = 1.0 / (temp_a_c + KELVIN) - 1.0 / (temp_b_c + KELVIN)
    return float(GAS_J_PER_MOL_K * np.log(life_a_s / life_b_s) / span)


def q10_from_lives(*, life_a_s: float, temp_a_c: float, life_b_s: float, temp_b_c: float) -> float:
    """Q10 from the times to one limit at two temperatures.

    Parameters
    ----------
    life_a_s, life_b_s : times [s]
    temp_a_c, temp_b_c : their temperatures [°C]

    Returns
    -------
    Q10 [-]

    Source
    ------
    fitness_shelf_life, t2 = t1 Q10^((T1 - T2)/10)
    missouri_2009, 3 to 4 for fruit, where nchfp_storing gives 1.87
    """
    return float((life_a_s / life_b_s) ** (10.0 / (temp_b_c - temp_a_c)))


def life_by_q10(*, life_s: float, temp_c: float, q10: float, at_c: float) -> float:
    """A life moved to another temperature by Q10.

    Parameters
    ----------
    life_s : at the first temperature [s]
    temp_c : first temperature [°C]
    q10 : [-]
    at_c : the other temperature [°C]

    Returns
    -------
    life [s]

    Source
    ------
    fitness_shelf_life, t2 = t1 Q10^((T1 - T2)/10)
    """
    return float(life_s * q10 ** ((temp_c - at_c) / 10.0))


def activation_from_rates(*, temp_c: Sequence[float], rate: Sequence[float]) -> float:
    """Activation energy from rate constants at several temperatures, by least squares of their logarithms.

    Parameters
    ----------
    temp_c : two or more [°C]
    rate : above zero, one unit for all

    Returns
    -------
    activation energy [J/mol]

    Raises
    ------
    Refused: pairs_too_few

    Source
    ------
    kosfa_2018_38_664, table 6
    """
    if len(temp_c) != len(rate) or len(set(temp_c)) < 2:
        raise Refused(Problem("pairs_too_few", "pairs", str(len(set(temp_c))), params={"least": 2}))
    inverse = 1.0 / (np.asarray(temp_c, dtype=np.float64) + KELVIN)
    slope = np.polynomial.Polynomial.fit(inverse, np.log(np.asarray(rate)), 1).convert().coef[1]
    return float(-slope * GAS_J_PER_MOL_K)


@dataclass(frozen=True, slots=True)
class Change:
    """One way a food changes, by the time to its limit at reference conditions.

    life_s, activation_j_per_mol, aw_slope, oxygen_gain: low and high ends; of the life also the middle.
    aw_slope: of the logarithm of the rate in water activity, held above aw_peak, and not credited below
    aw_floor. bow: of the logarithm of the rate in the square of the distance from the monolayer; 0
    where there is none. oxygen_gain: life without oxygen over life in air; 1 where oxygen has no part.
    oxygen_half: share of the air's oxygen at which half of its effect is there. kept_at_limit: what is
    left of a vitamin at the limit, None for other changes.
    """

    ref: str
    mode: str
    life_s: tuple[float, float, float]
    temp_ref_c: float
    aw_ref: float
    activation_j_per_mol: tuple[float, float]
    aw_slope: tuple[float, float]
    aw_floor: float
    aw_peak: float
    bow: float
    oxygen_gain: tuple[float, float]
    oxygen_half: float
    kept_at_limit: float | None

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of the table `keeping_kinetics`."""
        n = row.number
        printed_f = row.number_or_none("temp_ref_f")
        return cls(
            row.ref,
            row.text("mode"),
            (n("life_low"), n("life"), n("life_high")),
            n("temp_ref_c") if printed_f is None else printed_f,
            n("aw_ref"),
            (n("activation_low"), n("activation_high")),
            (n("aw_slope_low"), n("aw_slope_high")),
            n("aw_floor"),
            n("aw_peak"),
            n("bow"),
            (n("oxygen_gain_low"), n("oxygen_gain_high")),
            n("oxygen_half"),
            row.number_or_none("kept_at_limit"),
        )


def rate_of_water(*, aw: Floats, aw_monolayer: float, change: Change, aw_slope: float) -> Array:
    """How the rate of a change stands to that at its reference activity.

    Parameters
    ----------
    aw : water activity [-]
    aw_monolayer : of the food's isotherm [-]
    change : which
    aw_slope : of the logarithm of the rate, between the change's two ends [-]

    Returns
    -------
    ratio of rates [-]

    Source
    ------
    labuza_1970, map of stability: oxidation least near the monolayer, browning rising to a peak
    saltfare_chosen, a parabola in the logarithm about the monolayer
    """
    held = np.minimum(np.maximum(np.asarray(aw, dtype=np.float64), change.aw_floor), change.aw_peak)
    rise = aw_slope * (held - min(max(change.aw_ref, change.aw_floor), change.aw_peak))
    top = np.minimum(np.asarray(aw, dtype=np.float64), change.aw_peak)
    bow = change.bow * ((top - aw_monolayer) ** 2 - (min(change.aw_ref, change.aw_peak) - aw_monolayer) ** 2)
    return np.asarray(np.exp(rise + bow))[()]


def rate_of_oxygen(*, oxygen_rel: Floats, gain: float, half: float) -> Array:
    """How the rate stands to that in air, where oxygen is scarce.

    Parameters
    ----------
    oxygen_rel : oxygen over that of the air, 0 to 1 [-]
    gain : life without oxygen over life in air, 1 or more [-]
    half : share of the air's oxygen with half its effect [-]

    Returns
    -------
    ratio of rates, 1 in air [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    cardelli_labuza_2001, rate hyperbolic in oxygen; its sensitivities are taken as the gain
    """
    p = check_range(oxygen_rel, low=0.0, high=1.0 + 1e-9, model="rate_of_oxygen", quantity="oxygen_rel")
    return np.asarray(1.0 / gain + (1.0 - 1.0 / gain) * p * (1.0 + half) / (p + half))[()]


@dataclass(frozen=True, slots=True)
class Conditions:
    """What the food goes through: the end of each step, temperature, water activity, oxygen over air's.

    temp_c, aw, oxygen_rel: of each step; aw and oxygen as (low, high) rows where they are not sure.
    """

    ends_s: Array
    temp_c: Array
    aw: Array  # (2, steps): the drier and the wetter course
    oxygen_rel: Array  # (2, steps): with less and with more

    def __post_init__(self) -> None:
        """Refuse courses that do not fit the steps."""
        shape = (2, self.ends_s.size)
        if self.temp_c.shape != self.ends_s.shape or self.aw.shape != shape or self.oxygen_rel.shape != shape:
            raise Refused(Problem("place_uneven", "conditions"))
        check_range(self.aw, low=0.0, high=1.0, model="conditions", quantity="aw")

    @property
    def spans_s(self) -> Array:
        """Length of each step."""
        return np.diff(self.ends_s, prepend=0.0)


@dataclass(frozen=True, slots=True)
class Consumed:
    """Share of a change's way to its limit gone at the end of each step: middle, and all the ends.

    ends: one row for each combination of low and high of life, activation, water and oxygen.
    """

    change: Change
    times_s: Array
    middle: Array  # (steps + 1,)
    ends: Array  # (combinations, steps + 1)


def consumed(*, change: Change, conditions: Conditions, aw_monolayer: float) -> Consumed:
    """How much of a change's way to its limit is gone: the sum of time over life at the conditions.

    Parameters
    ----------
    change : which
    conditions : what the food goes through
    aw_monolayer : of the food's isotherm [-]

    Returns
    -------
    shares over time

    Raises
    ------
    OutOfRange

    Source
    ------
    fitness_shelf_life, consumed share as the sum of dt over life
    rapusas_driscoll_1995, activation of browning and its peak
    bicomong_madamba, a lower activation of browning, not chosen
    kiwifruit_ascorbic, activation and slope of ascorbic acid
    labuza_riboh_1982, spans of activation energies
    """
    spans = conditions.spans_s

    def course(life: float, activation: float, slope: float, gain: float, aw: Array, oxygen: Array) -> Array:
        rate = (
            rate_ratio_arrhenius(
                temp_c=conditions.temp_c, temp_ref_c=change.temp_ref_c, activation_j_per_mol=activation
            )
            * rate_of_water(aw=aw, aw_monolayer=aw_monolayer, change=change, aw_slope=slope)
            * rate_of_oxygen(oxygen_rel=oxygen, gain=gain, half=change.oxygen_half)
        )
        return np.append(0.0, np.cumsum(spans * rate / life))

    def mean(pair: tuple[float, float]) -> float:
        return 0.5 * (pair[0] + pair[1])

    aw_mid, oxygen_mid = conditions.aw.mean(axis=0), conditions.oxygen_rel.mean(axis=0)
    middle = course(
        change.life_s[1],
        mean(change.activation_j_per_mol),
        mean(change.aw_slope),
        float(np.sqrt(change.oxygen_gain[0] * change.oxygen_gain[1])),
        aw_mid,
        oxygen_mid,
    )
    corners = product(
        (change.life_s[0], change.life_s[2]),
        dict.fromkeys(change.activation_j_per_mol),
        dict.fromkeys(change.aw_slope),
        dict.fromkeys(change.oxygen_gain),
        (0, 1),
    )
    ends = np.array(
        [course(a, b, c, d, conditions.aw[row], conditions.oxygen_rel[row]) for a, b, c, d, row in corners]
    )
    return Consumed(change, np.append(0.0, conditions.ends_s), middle, ends)


def passage(*, times_s: Array, course: Array, limit: float) -> float | None:
    """When a course first comes up to a limit, straight between steps.

    Parameters
    ----------
    times_s : [s]
    course : at each
    limit : in the course's unit

    Returns
    -------
    time, None where it does not [s]

    Source
    ------
    saltfare_derived, first passage
    """
    over = np.flatnonzero(course >= limit)
    if over.size == 0:
        return None
    at = int(over[0])
    if at == 0:
        return 0.0
    part = (limit - course[at - 1]) / (course[at] - course[at - 1])
    return float(times_s[at - 1] + part * (times_s[at] - times_s[at - 1]))
