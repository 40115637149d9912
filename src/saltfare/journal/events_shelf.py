"""Where lots stand, what was bought for the shelf, what was swapped. Streams: `place/KEY`, `bought/KEY`,
`swap/CODE`; the packs themselves are lots, in streams of their own."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from saltfare.core.fields import Frozen, Measured
from saltfare.journal.events import Body

PLACES, BOUGHT, SWAPS = "place/", "bought/", "swap/"

BoughtKind = Literal["meal", "cured_meat", "dried_food", "cheese", "bread", "sweet", "drink", "other"]
HandedOver = Literal[
    "name", "ingredients", "allergens", "made_on", "planning_date", "kept_how", "lot_code", "told_home_made"
]


class PlaceDescribed(Body, kind="place_described"):
    """A place where lots stand, and the air it usually has.

    coldest, warmest: mean temperature of the coldest and of the warmest month; warmest_month: 1 to 12,
    None where it is the same all year or nobody said. humidity: None where nobody said.
    """

    name: str = Field(min_length=1, max_length=80)
    coldest: Measured
    warmest: Measured
    warmest_month: int | None = Field(default=None, ge=1, le=12)
    humidity: Measured | None = None


class BoughtDescribed(Body, kind="bought_described"):
    """A bought product as its label says. What the label does not say is None, never nought.

    mass: net, of one pack. per: what the energy and nutrients are printed for. allergens, may_contain: ids
    of the allergen table; holds, may_hold: words that ways of eating leave out, as in the pantry. water to
    add, minutes to wait, with boiling water and with cold. price_minor: of one pack, as last paid.
    """

    name: str = Field(min_length=1, max_length=120)
    what: BoughtKind
    mass: Measured
    per: Literal["pack", "100_g"] = "100_g"
    energy: Measured | None = None
    protein: Measured | None = None
    fat: Measured | None = None
    carbohydrate: Measured | None = None
    sugars: Measured | None = None
    fibre: Measured | None = None
    salt: Measured | None = None
    sodium: Measured | None = None
    ingredients: str = Field(default="", max_length=2000)
    allergens: tuple[str, ...] | None = Field(default=None, max_length=40)
    may_contain: tuple[str, ...] = Field(default=(), max_length=40)
    holds: tuple[str, ...] | None = Field(default=None, max_length=40)
    may_hold: tuple[str, ...] = Field(default=(), max_length=40)
    water: Measured | None = None
    wait: Measured | None = None
    cold_wait: Measured | None = None
    takes_boiling_water: bool | None = None
    servings: Measured | None = None
    price_minor: int | None = Field(default=None, ge=0)
    currency: str = Field(default="", max_length=3)


class SwapSide(Frozen):
    """Packs of one lot that changed hands.

    elsewhere_minor: what whoever took it would pay for one such pack elsewhere; cost_minor: what one cost
    whoever gave it, as far as they said or we know.
    """

    lot: str = Field(max_length=20)
    packs: int = Field(ge=1, le=500)
    elsewhere_minor: int | None = Field(default=None, ge=0)
    cost_minor: int | None = Field(default=None, ge=0)


class Swapped(Body, kind="swapped"):
    """Packs went and packs came, both at once. handed: what was said or given along with ours."""

    partner: str = Field(min_length=1, max_length=120)
    went: tuple[SwapSide, ...] = Field(min_length=1, max_length=12)
    came: tuple[SwapSide, ...] = Field(min_length=1, max_length=12)
    handed: tuple[HandedOver, ...] = Field(default=(), max_length=8)
    received: tuple[HandedOver, ...] = Field(default=(), max_length=8)
    currency: str = Field(default="", max_length=3)
    text: str = Field(default="", max_length=2000)
