"""Water of a day: to drink, to cook and soak with, to wash with.

A rule of ours joins two published figures: the drinking share of the daily intake for the hours at rest,
and the hourly rate of the heat tables for the hours of work. Drinking above the tables' caps is marked,
because too much is a danger as too little is.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Self

from saltfare.core.errors import OutOfRange
from saltfare.core.tables import Row
from saltfare.models.trip_energy import HOUR_S, positive, within

# Waking hours of the daily figure.
_WAKING_H = 16.0
WATER_KG_PER_M3 = 1000.0


@dataclass(frozen=True, slots=True)
class DrinkRate:
    """Drinking for an hour of work, from low to high [m3]."""

    low_m3: float
    high_m3: float

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of `water_need` that holds a rate: one figure of the heat tables, or a range."""
        one = row.number_or_none("qt_per_h")
        if one is not None:
            return cls(one, one)
        return cls(row.number("l_per_h_low"), row.number("l_per_h_high"))


def drink_row(*, rows: Iterable[Row], wbgt_c: float, work: str) -> Row:
    """The row of the heat tables for a wet-bulb globe temperature; the cool row below them.

    Between printed categories (81.9 and 82 F) the upper one holds.

    Parameters
    ----------
    rows : rows of `water_need`
    wbgt_c : wet-bulb globe temperature, up to 48.8 [°C]
    work : easy, moderate or hard

    Returns
    -------
    the row

    Raises
    ------
    OutOfRange : hotter than the table, or a work it does not know

    Source
    ------
    tb_med_507, work, rest and water table
    """
    found: Row | None = None
    ends = -1e9
    for row in rows:
        low, high = row.number_or_none("wbgt_low"), row.number_or_none("wbgt_high")
        if row.text("work") == work and low is not None and high is not None and wbgt_c <= high:
            if found is None or high < ends:
                found, ends = row, high
        elif row.ref.endswith(":cool") and high is not None and wbgt_c < high:
            return row
    if found is None:
        raise OutOfRange("drink_row", "wbgt_c", wbgt_c, -1e9, ends)
    return found


@dataclass(frozen=True, slots=True)
class DrinkCap:
    """Most to drink in an hour and in a day."""

    hour_m3: float
    day_m3: float

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From the row `cap` of `water_need`."""
        return cls(row.number("qt_cap_h"), row.number("qt_cap_d"))


@dataclass(frozen=True, slots=True)
class DayDrink:
    """Drinking of a day, and whether either cap is passed."""

    low_m3: float
    high_m3: float
    above_cap: bool


def day_drink_split(*, base_m3: float, work_s: float, rate: DrinkRate, cap: DrinkCap) -> DayDrink:
    """Water to drink in a day with hours of work in it.

    Parameters
    ----------
    base_m3 : drinking of a quiet day, `drinks_l` of `water_need` [m3]
    work_s : time on the move, up to 16 hours [s]
    rate : drinking for each hour of work
    cap : most in an hour and a day

    Returns
    -------
    drinking of the day; nothing is cut off at the cap, it is marked

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_chosen, quiet share for the resting hours and the table's rate for the rest
    iom_2004_water, drinking share of the daily intake
    tb_med_507, hourly rates and caps
    """
    hours = within(value=work_s / HOUR_S, low=0.0, high=_WAKING_H, model="day_drink_split", quantity="work_h")
    positive(value=base_m3, model="day_drink_split", quantity="base_m3")
    quiet = base_m3 * (_WAKING_H - hours) / _WAKING_H
    low, high = quiet + hours * rate.low_m3, quiet + hours * rate.high_m3
    return DayDrink(low, high, high > cap.day_m3 or (hours > 0.0 and rate.high_m3 > cap.hour_m3))


def soak_water(*, dry_kg: float, water_dry_frac: float, water_ready_frac: float) -> float:
    """Water that brings dried food to the water content it is eaten at.

    Parameters
    ----------
    dry_kg : mass of the dried food [kg]
    water_dry_frac, water_ready_frac : water of the dried and the ready food, of its whole mass [-]

    Returns
    -------
    water to add [kg]

    Raises
    ------
    OutOfRange : the ready food would be drier than the dried

    Source
    ------
    saltfare_derived, mass balance of dry matter
    """
    within(value=water_dry_frac, low=0.0, high=0.9, model="soak_water", quantity="water_dry_frac")
    within(
        value=water_ready_frac, low=water_dry_frac, high=0.98, model="soak_water", quantity="water_ready_frac"
    )
    return dry_kg * ((1.0 - water_dry_frac) / (1.0 - water_ready_frac) - 1.0)


@dataclass(frozen=True, slots=True)
class DayWater:
    """Water to find in a day, by use [kg]."""

    drink_kg: float
    cook_kg: float
    wash_kg: float

    @property
    def total_kg(self) -> float:
        """All of it."""
        return self.drink_kg + self.cook_kg + self.wash_kg


def day_water(
    *, drink_m3: float, soak_kg: float, fresh_food_m3: float, boiled_off_frac: float, wash_kg: float
) -> DayWater:
    """Water to find and treat in a day.

    Soaked food brings the water fresh food would have brought; only what is missing of that is added to the
    drinking.

    Parameters
    ----------
    drink_m3 : water to drink [m3]
    soak_kg : water soaked up by food [kg]
    fresh_food_m3 : water that food brings on an ordinary day, `food_l` of `water_need` [m3]
    boiled_off_frac : share of cooking water boiled off [-]
    wash_kg : for washing [kg]

    Returns
    -------
    water by use [kg]

    Source
    ------
    iom_2004_water, share of food in the daily intake
    common_practice, loss in cooking and water for washing
    """
    within(value=boiled_off_frac, low=0.0, high=0.5, model="day_water", quantity="boiled_off_frac")
    missing = max(0.0, fresh_food_m3 * WATER_KG_PER_M3 - soak_kg)
    return DayWater(drink_m3 * WATER_KG_PER_M3 + missing, soak_kg / (1.0 - boiled_off_frac), wash_kg)
