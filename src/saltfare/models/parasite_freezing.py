"""Freezing against Trichinella spiralis by the published table, and thawing in the cold."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

from saltfare.core.numerics import check_range
from saltfare.core.tables import Row


@dataclass(frozen=True, slots=True)
class FreezingRow:
    """A row of the table: air of the freezer at or below a temperature, for meat of a thickness, so long."""

    row_id: str
    temp_c: float
    above_m: float
    to_m: float
    time_s: float

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of `parasites` whose method is freezing in air; the Fahrenheit is what is printed."""
        return cls(
            row.text("id"),
            row.number("temp_f"),
            row.number("thickness_above_in"),
            row.number("thickness_to_in"),
            row.number("time_d"),
        )


def freezing_time_table(
    *, thickness_m: float, temp_c: float, rows: Sequence[FreezingRow]
) -> tuple[float, str] | None:
    """How long the table asks; nothing is read between its rows.

    Parameters
    ----------
    thickness_m : thickness of the piece [m]
    temp_c : highest temperature of the freezer's air [°C]
    rows : the rows of the table

    Returns
    -------
    time [s] and the row's id; None where the freezer is warmer than every row

    Raises
    ------
    OutOfRange for a piece thicker than the table

    Source
    ------
    cfr_9_318_10, (c)(2), table 1: groups by thickness
    """
    thickest = max(row.to_m for row in rows)
    check_range(thickness_m, low=1e-4, high=thickest, model="freezing_time_table", quantity="thickness_m")
    # a printed inch or degree typed in metric is still that row
    held = [
        row
        for row in rows
        if row.above_m < thickness_m + 1e-9 <= row.to_m + 2e-9 and temp_c <= row.temp_c + 1e-9
    ]
    if not held:
        return None
    best = min(held, key=lambda row: row.time_s)
    return best.time_s, best.row_id


def thaw_time_refrigerator(*, mass_kg: float, mass_per_day_kg: float) -> float:
    """Whole days a frozen piece takes to thaw in a refrigerator, at least one.

    Parameters
    ----------
    mass_kg : mass of the piece [kg]
    mass_per_day_kg : mass that thaws in a day [kg]

    Returns
    -------
    time [s]

    Raises
    ------
    OutOfRange

    Source
    ------
    usda_thawing, 24 hours for each 4 to 5 pounds
    """
    who = "thaw_time_refrigerator"
    check_range(mass_kg, low=1e-3, high=200.0, model=who, quantity="mass_kg")
    check_range(mass_per_day_kg, low=0.1, high=20.0, model=who, quantity="mass_per_day_kg")
    return max(math.ceil(mass_kg / mass_per_day_kg - 1e-9), 1) * 86400.0
