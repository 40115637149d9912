"""Money as people type it, to whole minor units; what would lose a part of a cent is refused."""

from __future__ import annotations

import re
from fractions import Fraction

from saltfare.core.errors import Problem, Refused
from saltfare.core.units import DecimalSign, number

_TOLD = re.compile(r"(?P<before>[A-Za-z]{3})?\s*(?P<amount>[^A-Za-z]+?)\s*(?P<after>[A-Za-z]{3})?")
MOST_MINOR = 10**12


def minor_of(text: str, *, currency: str, digits: int, decimal: DecimalSign = "point") -> int:
    """Whole minor units of an amount typed in the major unit, with or without its currency's code.

    Raises Refused: price_unreadable, price_negative, price_too_fine, price_too_large,
    price_other_currency, and what a number is refused for.
    """
    clean = text.strip()
    found = _TOLD.fullmatch(clean)
    if found is None:
        raise Refused(Problem("price_unreadable", given=clean[:40], allowed=_example(digits, decimal)))
    for told in (found["before"], found["after"]):
        if told and told.upper() != currency:
            raise Refused(Problem("price_other_currency", given=told.upper(), allowed=currency))
    minus = found["amount"].lstrip()[:1] in ("-", "\u2212")
    if minus:
        raise Refused(Problem("price_negative", given=clean[:40]))
    minor = Fraction(number(found["amount"], decimal=decimal)) * 10**digits
    if minor.denominator != 1:
        raise Refused(Problem("price_too_fine", given=clean[:40], allowed=_example(digits, decimal)))
    if minor > MOST_MINOR:
        raise Refused(Problem("price_too_large", given=clean[:40]))
    return int(minor)


def _example(digits: int, decimal: DecimalSign) -> str:
    return "4" + (("," if decimal == "comma" else ".") + "50".ljust(digits, "0")[:digits] if digits else "")
