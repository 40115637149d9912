"""What a plan of a dish is asked for with, and what it is made of. Nothing here computes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from saltfare.core.figure import Note
from saltfare.models.composition import Amounts
from saltfare.models.cooking import Ingredient, Retention
from saltfare.models.declared import UNKNOWN, ClassFound, Declared
from saltfare.models.dish import Dish, Packs
from saltfare.models.trays import Dryer
from saltfare.models.trays_end import Band, EndPoint, Solids, TrayWeight
from saltfare.plans.dish_plan_pouch import Camp, PouchPlan, PouchTrial
from saltfare.plans.dish_plan_refit import TrayForecast

Overnight = Literal["dry_before", "may_stop", "do_not_stop"]


@dataclass(frozen=True, slots=True, kw_only=True)
class DishLine:
    """One line of a recipe and how it lies on the tray.

    kind: row of `tray_foods`, None to take the pantry's (pantry: its id) or, failing that, sauce. size_m:
    of the pieces, None for the usual. declared: allergens and what diets ask for.
    """

    ingredient: Ingredient
    pantry: str | None = None
    kind: str | None = None
    size_m: float | None = None
    declared: Declared = UNKNOWN


@dataclass(frozen=True, slots=True, kw_only=True)
class Spoonful:
    """A weighed spoonful dried beside the trays to constant mass, without its dish."""

    wet_kg: float
    dry_kg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BesidePart:
    """Something carried beside each pouch and added at camp: what it gives as eaten, and what is known of
    each thing that went into it."""

    name: str
    amounts: Amounts
    declared: tuple[tuple[str, Declared], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class DishRequest:
    """A dish to plan, or one under way.

    start: when the trays go in, with its zone. bed, up: the night, None where it does not matter. kind:
    row of `tray_kinds` is in the dryer. trayed_mass_kg: None where all that was cooked goes on the trays.
    cooked_mass_kg: None where the pot was not weighed. pack_mass_kg: None for equal packs. beside: carried
    beside the pouch and added at camp, as eaten. price_minor_per_kwh: None where not known. drying: what
    drying keeps of the vitamins, None where that is not counted.
    """

    name: str
    lines: Sequence[DishLine]
    cooked_mass_kg: float | None
    left_behind_kg: float = 0.0
    target_water_frac: float
    dryer: Dryer
    turned: bool
    trayed_mass_kg: float | None = None
    start: datetime
    bed: datetime | None = None
    up: datetime | None = None
    spoonful: Spoonful | None = None
    weights: Sequence[TrayWeight] = ()
    scale_step_kg: float
    thickest_brittle: bool | None = None
    packs: int
    pack_mass_kg: float | None = None
    price_minor_per_kwh: float | None = None
    camp: Camp | None = None
    taste_factor: float = 1.0  # as cooked: a choice of the person, no physical figure
    trials: Sequence[PouchTrial] = ()
    beside: Sequence[BesidePart] = ()
    drying: Retention | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class When:
    """A moment as an interval; an end beyond the horizon is None."""

    low: datetime | None
    middle: datetime | None
    high: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class DryingCost:
    """Energy of the run two ways, the least it could be, and the cost of what is said.

    by_power_j: power times duty times hours, None where power or duty is not known. by_water_j: from the
    water taken off. least_j: its heat of evaporation.
    """

    by_power_j: Band | None
    by_water_j: Band
    least_j: float
    cost_minor: tuple[int, int, int] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class DishStep:
    """Something to do: code of the words catalogue, when, and what with. mass_kg: what the step is about."""

    code: str
    at: datetime | None
    until: datetime | None = None
    mass_kg: float | None = None
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """The pouch as eaten with what is added at camp: water, salt, energy and allergens of both.

    declared: everything in both; allergens: by law.
    """

    added: Amounts
    together: Amounts
    declared: tuple[tuple[str, Declared], ...]
    allergens: Mapping[str, tuple[ClassFound, ...]]


@dataclass(frozen=True, slots=True, kw_only=True)
class DishPlan:
    """A dish from the pot to camp.

    solids: as taken. end_kg: what the food on the trays must weigh. water_at_end: share of water that mass
    can mean. dry, nothing_wet: when. thinner_load_kg: what the trays may hold so that the hours wet and
    warm stay below what is asked, None where they do or nothing on the trays would. slow: the part that
    is last. mean_dry: water of the packed dish. pouch: per pack, None without a camp.
    """

    request: DishRequest
    dish: Dish
    trayed_kg: float
    water_frac: float
    solids: Solids
    end_kg: Band
    water_at_end: Band
    forecast: TrayForecast
    dry: When
    nothing_wet: When
    overnight: Overnight | None
    end_point: EndPoint | None
    slow: str
    thinner_load_kg: float | None
    energy: DryingCost
    packs: Packs
    pouch: PouchPlan | None
    allergens: Mapping[str, tuple[ClassFound, ...]]
    beside: Beside | None
    steps: tuple[DishStep, ...]
    notes: tuple[Note, ...]
    rows: tuple[str, ...] = field(default=())
