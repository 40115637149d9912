"""Prices in what actions take: whole minor units, or as typed in the household's currency."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BeforeValidator, Field, ValidationInfo, WithJsonSchema
from pydantic_core import PydanticCustomError

from saltfare.core import tables
from saltfare.core.errors import Problem, Refused
from saltfare.core.money import MOST_MINOR, minor_of


def minor_digits(currency: str) -> int:
    """How many decimals a price in that currency has. Raises NotFound."""
    return int(tables.load("currencies").row(currency).number("digits"))


def _minor(given: Any, info: ValidationInfo) -> Any:
    if isinstance(given, int) and not isinstance(given, bool):
        if given < 0:
            raise _error(Problem("price_negative", given=str(given)[:40]))
        return given
    if not isinstance(given, str):
        raise _error(Problem("price_unreadable", given=repr(given)[:40], allowed="450"))
    told = info.context or {}
    currency = str(told.get("currency", "EUR"))
    digits, decimal = minor_digits(currency), told.get("decimal", "point")
    try:
        return minor_of(given, currency=currency, digits=digits, decimal=decimal)
    except Refused as refused:
        raise _error(refused.problems[0]) from None


def _error(problem: Problem) -> PydanticCustomError:
    return PydanticCustomError("problem", "{code}", {"code": problem.code, "problem": problem})


Price = Annotated[
    int,
    Field(ge=0, le=MOST_MINOR),
    BeforeValidator(_minor),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "integer", "minimum": 0, "maximum": MOST_MINOR},
                {"type": "string", "maxLength": 40},
            ]
        }
    ),
]
"""A price: a whole number of minor units, or text in the major unit of the household's currency."""
