"""Own foods, as their labels say. Stream: `food/ID`."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from saltfare.core.fields import Measured
from saltfare.journal.events import Body

STREAM = "food/"


class FoodKept(Body, kind="food_kept"):
    """A food as its label says, or as it says now. What the label does not say is not there, never nought.

    law: whose label it is: carbohydrate with fibre (us) or without (eu). basis: what the amounts are printed
    for; pack: net, where told. amounts: by nutrient of the food table, and `salt` [kg; energy J]. water: its
    share, None where nobody said. allergens, may_contain: ids of the allergen table; holds, may_hold: words
    that ways of eating leave out, as in the pantry; None where nothing is known.
    """

    name: str = Field(min_length=1, max_length=120)
    group: str = Field(default="", max_length=2)
    law: Literal["us", "eu"]
    basis: Measured
    pack: Measured | None = None
    amounts: dict[str, Measured] = Field(max_length=40)
    water: Measured | None = None
    allergens: tuple[str, ...] | None = Field(default=None, max_length=40)
    may_contain: tuple[str, ...] = Field(default=(), max_length=40)
    holds: tuple[str, ...] | None = Field(default=None, max_length=40)
    may_hold: tuple[str, ...] = Field(default=(), max_length=40)


class FoodDropped(Body, kind="food_dropped"):
    """No longer offered; recipes that name it keep it."""

    why: str = Field(default="", max_length=1000)
