"""Rounding as labelling law asks for it: bands of a table, each with its step, half a step going up.

A band may let an amount be said as less than its upper end. Percentages of a daily value round by bands
of their own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal
from typing import Literal, Self

from saltfare.core.errors import BadTable, OutOfRange
from saltfare.core.tables import Row

Says = Literal["zero", "less_than", "number"]
# Digits past which an amount is noise of a float: 0.1 + 0.2 is no more than 0.3.
_DIGITS = 9


@dataclass(frozen=True, slots=True)
class Band:
    """Amounts up to an end, in the unit of the rule: what is printed for them, and to which step.

    upto: None for all above. takes_end: whether the end belongs to it. less_than: what is printed where it
    says so.
    """

    upto: float | None
    takes_end: bool
    says: Says
    step: float | None
    less_than: float | None

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of the table `label_rounding`."""
        says = row.text("says")
        if says not in ("zero", "less_than", "number"):
            raise BadTable(f"{row.ref}: says {says}")
        return cls(
            row.number_or_none("upto"),
            row.text("takes_end") == "yes",
            says,  # type: ignore[arg-type]
            row.number_or_none("step"),
            row.number_or_none("less_than"),
        )


@dataclass(frozen=True, slots=True)
class Rounded:
    """What is printed: a number to so many places, or less than it."""

    value: float
    less_than: bool
    places: int


def label_rounded(*, amount: float, bands: Sequence[Band]) -> Rounded:
    """An amount as a label prints it.

    Parameters
    ----------
    amount : in the unit of the rule, not negative
    bands : of the rule, ascending, the last without an end

    Returns
    -------
    what is printed

    Raises
    ------
    OutOfRange for a negative amount

    Source
    ------
    cfr_21_101_9, (c)(1) to (c)(8)
    eu_rounding_2012, section 6, table 4
    saltfare_chosen, half a step goes up
    """
    if not 0.0 <= amount < float("inf"):
        raise OutOfRange("label_rounded", "amount", amount, 0.0, float("inf"))
    exact = round(Decimal(repr(float(amount))), _DIGITS)
    for band in bands:
        end = None if band.upto is None else Decimal(repr(band.upto))
        if end is None or exact < end or (band.takes_end and exact == end):
            return _in_band(exact, band)
    raise OutOfRange("label_rounded", "amount", amount, 0.0, float(bands[-1].upto or 0.0))


def _in_band(exact: Decimal, band: Band) -> Rounded:
    if band.says == "zero":
        return Rounded(0.0, False, 0)
    if band.says == "less_than":
        if band.less_than is None:
            raise BadTable("label_rounding: less than what")
        least = Decimal(repr(band.less_than)).normalize()
        return Rounded(band.less_than, True, max(0, -_exponent(least)))
    if band.step is None:
        raise BadTable("label_rounding: a number without a step")
    step = Decimal(repr(band.step)).normalize()
    steps = (exact / step + Decimal("0.5")).to_integral_value(rounding=ROUND_FLOOR)
    return Rounded(float(steps * step), False, max(0, -_exponent(step)) if steps else 0)


def _exponent(value: Decimal) -> int:
    found = value.as_tuple().exponent
    return found if isinstance(found, int) else 0


def daily_share(*, amount: float, daily: float) -> float:
    """Share of a daily value, before rounding.

    Parameters
    ----------
    amount, daily : in one unit

    Returns
    -------
    percent

    Source
    ------
    cfr_21_101_9, (c)(8)(iii), (c)(9) and (d)(7)(ii)
    eu_1169_2011, Annex XIII
    """
    return 100.0 * amount / daily


def servings_said(*, servings: float) -> float:
    """Servings of a pack as a US panel says them: whole, in halves between 2 and 5, at least 1.

    Parameters
    ----------
    servings : of a pack

    Returns
    -------
    servings

    Source
    ------
    cfr_21_101_9, (b)(8)(i)
    """
    step = 0.5 if 2.0 <= servings <= 5.0 else 1.0
    said = (
        float((Decimal(repr(servings / step)) + Decimal("0.5")).to_integral_value(rounding=ROUND_FLOOR))
        * step
    )
    return max(said, 1.0)
