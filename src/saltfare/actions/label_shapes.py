"""What a label says, as data: every figure with its trace, every sentence a code."""

from __future__ import annotations

from datetime import date
from typing import Literal

from saltfare.actions.shapes import Output
from saltfare.actions.shelf_lots import Asked
from saltfare.core.fields import Frozen
from saltfare.core.figure import Answer, Figure, Note

Kind = Literal["cured", "dish", "bought", "mixed", "other"]
Law = Literal["us", "eu"]
Keep = Literal["cold", "cool_dry", "as_printed"]


class NutrientLine(Frozen):
    """One nutrient of one pack; missing: names of what is in the pack and not in it."""

    nutrient: str
    figure: Figure
    missing: tuple[str, ...]


class IngredientShown(Frozen):
    """An ingredient with the allergens that are in it, by id."""

    name: str
    share_frac: float
    allergens: tuple[str, ...]


class Printed(Frozen):
    """An amount as the law rounds it, in the unit of its line."""

    value: float
    less_than: bool
    places: int


class PanelLine(Frozen):
    """One line of a panel. each: of a serving (us), of 100 g and of the pack (eu); None where not known.

    percent: of the daily value, None where the law has none or it is not known. missing: who leaves it open.
    """

    id: str
    unit: str
    indent: int
    each: tuple[Printed | None, ...]
    percent: Printed | None
    missing: tuple[str, ...]


class Panel(Frozen):
    """A panel with a law's own factors and rounding. servings, serving_kg: of the pack, for the US one."""

    law: Law
    servings: float
    serving_kg: float
    lines: tuple[PanelLine, ...]


class WaterShown(Frozen):
    """What brings it back. cups: all the water in mugs of mug_m3. minutes: soonest, likeliest, latest; None
    where the pouch cools before. cover: what it is wrapped in meanwhile, "" where nobody said. fill_m: how
    high food and water stand over the bottom seam, None where the pouch was not told or it does not go in.
    """

    volume_m3: float
    first_m3: float | None
    cups: float | None
    mug_m3: float | None
    minutes: tuple[float | None, float | None, float | None]
    stir_minutes: tuple[float, ...]
    cold_minutes: float | None
    cover: str
    fill_m: float | None


class BesideShown(Frozen):
    """Something carried beside the pouch and added at camp. code, keep, answers: of meat of one's own, what
    the criteria answer by question; empty of a food."""

    name: str
    mass_kg: float
    code: str = ""
    keep: Keep | None = None
    answers: tuple[tuple[Asked, Answer], ...] = ()


class LabelShown(Output):
    """All a label says of one pack of a lot, or of a batch under way.

    what: the cut, or the parts. contains: ids of allergens in it, and in what is added at camp; may_hold:
    those that may be, by ingredient. unsure: ingredients of whose allergens nothing is known. packed_on,
    planning_date: None where it is not packed, or nobody can tell. agents: rows of `cure_agents` in it.
    cautions: codes. lacking: what the label should say and cannot.
    """

    code: str
    kind: Kind
    under_way: bool
    name: str
    what: tuple[str, ...]
    maker: str
    net_kg: float
    packs: int
    nutrients: tuple[NutrientLine, ...]
    together_kcal: Figure | None
    together_salt: Figure | None
    panel: Panel | None
    ingredients: tuple[IngredientShown, ...]
    ingredients_printed: str
    contains: tuple[str, ...]
    may_hold: tuple[tuple[str, str], ...]
    unsure: tuple[str, ...]
    agents: tuple[str, ...]
    water: WaterShown | None
    takes_boiling_water: bool | None
    beside: tuple[BesideShown, ...]
    packed_on: date | None
    planning_date: date | None
    printed_on: date | None
    keep: Keep
    cautions: tuple[Note, ...]
    address: str
    lacking: tuple[str, ...]
