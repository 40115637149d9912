"""Energy a person needs in a day: equations of habitual life, resting rate, and a ledger of the day.

The intake equations describe ordinary life and end at 2.5 times resting; a day under a pack is summed
hour by hour in a ledger. Both stand side by side, and what cold, heat and height add is a range.
All are for healthy people; pregnancy, illness and medical diets go to licensed practice.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, Self

from saltfare.core.errors import OutOfRange
from saltfare.core.tables import Row
from saltfare.core.units import factor

Sex = Literal["male", "female"]
KCAL_J = factor("energy", "kcal")
HOUR_S = factor("time", "h")
DAY_S = factor("time", "d")


def within(*, value: float, low: float, high: float, model: str, quantity: str) -> float:
    """The value, if it lies in the range; NaN never does.

    Parameters
    ----------
    value, low, high : the value and its range, ends included
    model, quantity : names for the error

    Returns
    -------
    the value

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_chosen, how a range is kept
    """
    if not low <= value <= high:
        raise OutOfRange(model, quantity, value, low, high)
    return value


def positive(*, value: float, model: str, quantity: str) -> float:
    """The value, if it is above zero and finite.

    Parameters
    ----------
    value : the value
    model, quantity : names for the error

    Returns
    -------
    the value

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_chosen, how a range is kept
    """
    if not (0.0 < value < math.inf):
        raise OutOfRange(model, quantity, value, 0.0, math.inf)
    return value


@dataclass(frozen=True, slots=True)
class NeedEquation:
    """One line of a published table of needs, in J: constant + per_year A + pa (per_kg W + per_m H).

    Ages run from age_low to under age_high.
    """

    age_low: float
    age_high: float
    constant_j: float
    per_year_j: float
    per_m_j: float
    per_kg_j: float
    pa: float

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of the table `energy_need`; one edition prints height in cm, the other in m."""
        per_cm = row.number_or_none("per_cm")
        per_m = row.number("per_m") if per_cm is None else per_cm / factor("length", "cm")
        return cls(
            row.number("age_low"),
            row.number("age_high"),
            row.number("constant"),
            row.number("per_year"),
            per_m,
            row.number("per_kg"),
            row.number("pa"),
        )


def day_energy_dri(*, equation: NeedEquation, age_years: float, height_m: float, mass_kg: float) -> float:
    """Energy need of a day of habitual life.

    Parameters
    ----------
    equation : a row of `energy_need` for the person's sex, age and level of activity
    age_years : age, within the equation's ages [year]
    height_m : height [m]
    mass_kg : body mass [kg]

    Returns
    -------
    energy of a day, growth of children not included [J]

    Raises
    ------
    OutOfRange

    Source
    ------
    nasem_2023, Tables 5-16 and S-3
    iom_2005, chapter 5, equations for adults
    """
    model = "day_energy_dri"
    if not equation.age_low <= age_years < equation.age_high:
        raise OutOfRange(model, "age_years", age_years, equation.age_low, equation.age_high)
    positive(value=height_m, model=model, quantity="height_m")
    positive(value=mass_kg, model=model, quantity="mass_kg")
    body = equation.per_kg_j * mass_kg + equation.per_m_j * height_m
    return positive(
        value=equation.constant_j + equation.per_year_j * age_years + equation.pa * body,
        model=model,
        quantity="day_energy_j",
    )


def resting_power_mifflin(*, sex: Sex, age_years: float, height_m: float, mass_kg: float) -> float:
    """Resting rate of an adult.

    Parameters
    ----------
    sex : male or female
    age_years : age, 19 to 78, the ages measured [year]
    height_m : height [m]
    mass_kg : body mass [kg]

    Returns
    -------
    resting power [W]

    Raises
    ------
    OutOfRange

    Source
    ------
    mifflin_1990, equations for men and women
    """
    model = "resting_power_mifflin"
    within(value=age_years, low=19.0, high=78.0, model=model, quantity="age_years")
    positive(value=height_m, model=model, quantity="height_m")
    positive(value=mass_kg, model=model, quantity="mass_kg")
    own = 5.0 if sex == "male" else -161.0
    kcal = 10.0 * mass_kg + 625.0 * height_m - 5.0 * age_years + own
    return positive(value=kcal * KCAL_J / DAY_S, model=model, quantity="resting_power_w")


def power_met(*, met: float, mass_kg: float) -> float:
    """Power of an activity by its plain multiple: 1 kcal for each kg and hour at 1.

    Overstates people whose resting rate is below that, most adults, by about a tenth.

    Parameters
    ----------
    met : multiple of resting, a row of `activity` [-]
    mass_kg : body mass [kg]

    Returns
    -------
    power [W]

    Source
    ------
    compendium_2011, definition of the MET
    """
    return met * positive(value=mass_kg, model="power_met", quantity="mass_kg") * KCAL_J / HOUR_S


def power_met_resting(*, met: float, resting_power_w: float) -> float:
    """Power of an activity as a multiple of the person's own resting rate.

    Parameters
    ----------
    met : multiple of resting, a row of `activity` [-]
    resting_power_w : measured or computed resting power [W]

    Returns
    -------
    power [W]

    Source
    ------
    byrne_2005, the corrected multiple
    """
    return met * positive(value=resting_power_w, model="power_met_resting", quantity="resting_power_w")


@dataclass(frozen=True, slots=True)
class Span:
    """A part of a day at one power."""

    time_s: float
    power_w: float


def day_energy_ledger(*, spans: Iterable[Span]) -> float:
    """Energy of a day summed over its spans, which must fill 24 hours.

    Parameters
    ----------
    spans : time and power of each part [s, W]

    Returns
    -------
    energy of the day [J]

    Raises
    ------
    OutOfRange : the times do not add up to a day

    Source
    ------
    saltfare_derived, energy is power times time
    """
    held = tuple(spans)
    for span in held:
        within(value=span.time_s, low=0.0, high=DAY_S, model="day_energy_ledger", quantity="time_s")
    total = math.fsum(span.time_s for span in held)
    within(value=total, low=DAY_S - 30.0, high=DAY_S + 30.0, model="day_energy_ledger", quantity="time_s")
    return math.fsum(span.time_s * span.power_w for span in held)


@dataclass(frozen=True, slots=True)
class Adder:
    """What a climate, height or clothing adds, as shares of the need, from low to high."""

    low_frac: float
    high_frac: float

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of the table `trip_adders`."""
        return cls(row.number("pct_low"), row.number("pct_high"))


def added_energy_range(*, energy_j: float, adders: Iterable[Adder]) -> tuple[float, float]:
    """Need with everything added, lowest and highest; the shares add, they do not multiply.

    Parameters
    ----------
    energy_j : need without them [J]
    adders : rows of `trip_adders`

    Returns
    -------
    lowest and highest need [J, J]

    Source
    ------
    saltfare_chosen, shares of one day's need are added together
    """
    held = tuple(adders)
    return (
        energy_j * (1.0 + math.fsum(a.low_frac for a in held)),
        energy_j * (1.0 + math.fsum(a.high_frac for a in held)),
    )
