"""What is known of foods, films and prices beside the library. Streams: `isotherm/KEY`, `film/KEY`,
`price/KEY`; what is said of one lot's food and of the work that went into it lies in its own stream."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from saltfare.core.fields import Frozen, Measured
from saltfare.journal.events import Body

ISOTHERM, FILM, PRICE = "isotherm/", "film/", "price/"

PriceOf = Literal["meat", "food", "salt", "cure_mix", "electricity", "chamber", "pouch", "absorber", "labour"]


class Pair(Frozen):
    """Water of a sample per kg of the whole sample, and the water activity it read."""

    water: Measured
    aw: Measured


class IsothermKept(Body, kind="isotherm_kept"):
    """A person's own pairs for a food, by which its isotherm is made anew whenever it is asked for.

    like: class of foods whose isotherm is moved where there are few pairs. fat: of the sample.
    """

    name: str = Field(min_length=1, max_length=80)
    like: str = Field(max_length=40)
    fat: Measured | None = None
    temperature: Measured
    pairs: tuple[Pair, ...] = Field(min_length=1, max_length=60)
    origin: str = Field(default="", max_length=200)


class FilmKept(Body, kind="film_kept"):
    """A film as its maker prints it: what a square metre lets through in a day, and the test's conditions.

    vapour: g against dry air; oxygen: cm3 against one atmosphere of oxygen, at 23 degrees C.
    """

    name: str = Field(min_length=1, max_length=80)
    vapour: Measured
    vapour_temperature: Measured
    vapour_humidity: Measured
    oxygen: Measured
    takes_boiling_water: bool | None = None
    origin: str = Field(default="", max_length=200)


class PriceSet(Body, kind="price_set"):
    """What something costs, in minor units of the currency, for so much of it.

    what: meat, food, salt and cure mix by mass; electricity by energy; chamber: energy of a day of it,
    whose cost follows from electricity; pouch and absorber by piece; labour by time. amount None: one.
    """

    what: PriceOf
    name: str = Field(default="", max_length=80)
    minor: int | None = Field(default=None, ge=0)
    amount: Measured | None = None
    currency: str = Field(max_length=3)
    origin: str = Field(default="", max_length=200)


class FoodTold(Body, kind="lot_food_told"):
    """What the food of one lot is, as its owner says: class, isotherm; water, fat and salt of its mass."""

    food: str = Field(max_length=40)
    isotherm: str | None = Field(default=None, max_length=60)
    water: Measured
    fat: Measured | None = None
    salt: Measured | None = None


class WorkTold(Body, kind="lot_work_told"):
    """Time somebody spent on a lot, in all; counted as labour, a line of its own."""

    time: Measured
