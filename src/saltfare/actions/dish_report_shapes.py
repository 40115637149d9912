"""What a plan of a dish shows, and a batch as it stands."""

from __future__ import annotations

from datetime import datetime

from saltfare.actions.shapes import Output
from saltfare.actions.shelf_lots import Asked
from saltfare.core.errors import Problem
from saltfare.core.fields import Frozen
from saltfare.core.figure import Answer, Figure, Note


class LineShown(Frozen):
    """A line of the recipe: the food it is, what it weighs, how it lies on the tray.

    lies: row of `tray_foods` it is taken as, said or not. ref: row of the food. cost_minor: None without a
    price. water_frac: of the food, None where missing.
    """

    name: str
    food: str | None
    food_name: str
    ref: str
    typed: str
    mass_kg: float
    share_frac: float
    lies: str
    lies_said: bool
    size_m: float | None
    cooking: str
    water_frac: float | None
    cost_minor: int | None
    measures: tuple[str, ...]


class NutrientShown(Frozen):
    """One nutrient as cooked and as dried, per 100 g, and in a pack; `missing` is not in any of them."""

    nutrient: str
    cooked: Figure
    dried: Figure | None
    pack: Figure | None
    missing: tuple[str, ...]


class ClassShown(Frozen):
    """A class of allergens of one law. by: ingredient and allergen."""

    allergen_class: str
    presence: str
    by: tuple[tuple[str, str], ...]
    unsure: tuple[str, ...]


class DietShown(Frozen):
    """A way of eating and whether the dish fits it."""

    diet: str
    answer: str
    because: tuple[str, ...]
    unsure: tuple[str, ...]


class CostShown(Frozen):
    """What the ingredients cost, what is known of it; a pack's share; who has no price."""

    known_minor: int
    pack_minor: int
    without_price: tuple[str, ...]


class WhenShown(Frozen):
    """A moment as an interval; an end beyond the horizon is None."""

    low: datetime | None
    middle: datetime | None
    high: datetime | None


class TrayPoint(Frozen):
    """The food on the trays at an instant (kg)."""

    at: datetime
    low_kg: float
    middle_kg: float
    high_kg: float


class TrayWeightShown(Frozen):
    """The food on the trays as it was weighed (kg)."""

    at: datetime
    mass_kg: float


class PartShown(Frozen):
    """A part of the dish on the trays and how long it takes, None beyond the horizon."""

    name: str
    dry_s: float | None


class TraysShown(Frozen):
    """On the trays: the mass to stop at, when, and for how long it is wet and warm.

    end: of the food, without trays. end_water: what that mass can mean. overnight, bed: None where the
    night does not matter. thinner: None where it is not asked for. cost_minor: low, usual, high.
    """

    laid: Figure
    solids: Figure
    end: Figure
    end_water: Figure
    start: datetime
    dry: WhenShown
    nothing_wet: WhenShown
    bed: datetime | None
    overnight: str | None
    wet_warm: Figure
    thinner: Figure | None
    slow: str
    parts: tuple[PartShown, ...]
    food_temp_c: float
    end_point: str | None
    energy: Figure
    cost_minor: tuple[int, int, int] | None
    air: Figure
    diffusivity: Figure
    solids_learnt: Figure
    curve: tuple[TrayPoint, ...]
    weights: tuple[TrayWeightShown, ...]


class PouchShown(Frozen):
    """A pouch at camp. soft: from when it is soft; an end is None where the pouch cools before.

    cups: all its water in the person's own mug. learnt_*: multipliers from test pouches; tests: how many.
    """

    pack: Figure
    water: Figure
    first_pour: Figure
    held_back: Figure
    cups: float | None
    soft_low_s: float | None
    soft_s: float | None
    soft_high_s: float | None
    slow: str
    stir_s: tuple[float, ...]
    boil: Figure
    altitude_m: float
    air_c: float
    wind_m_per_s: float
    cover: str
    water_c: float | None
    hot: Figure
    eat_within: Figure
    unstirred_dry: Figure
    unstirred_even: Figure
    learnt_water: Figure
    learnt_minutes: Figure
    tests: int
    notes: tuple[Note, ...]


class OwnBesideShown(Frozen):
    """Meat of one's own carried beside each pack. answers: of the criteria, by question. agents: rows of
    `cure_agents` in it. against: why it cannot be had as things stand."""

    code: str
    name: str
    mass_kg: float
    hangs: bool
    answers: tuple[tuple[Asked, Answer], ...]
    agents: tuple[str, ...]
    notes: tuple[Note, ...]
    against: Problem | None


class BesideShown(Frozen):
    """The pouch as eaten with what is added at camp: what is added, and both together."""

    names: tuple[str, ...]
    added: tuple[NutrientShown, ...]
    together: tuple[NutrientShown, ...]
    us: tuple[ClassShown, ...]
    eu: tuple[ClassShown, ...]
    diets: tuple[DietShown, ...]
    own: tuple[OwnBesideShown, ...]


class StepOfDish(Frozen):
    """Something to do with a batch: when, and with what mass."""

    code: str
    at: datetime | None
    until: datetime | None
    params: dict[str, str | float | int]


class DishReport(Output):
    """A dish as it is planned, or as it stands. trays and pouch are None where the solids are not known."""

    lines: tuple[LineShown, ...]
    beside_lines: tuple[LineShown, ...]
    order: tuple[tuple[str, float], ...]
    put_in: Figure
    cooked: Figure
    cooked_weighed: bool
    water: Figure
    dried: Figure | None
    servings: int
    packs: int
    pack: Figure | None
    left_over: Figure | None
    main: tuple[NutrientShown, ...]
    more: tuple[NutrientShown, ...]
    us: tuple[ClassShown, ...]
    eu: tuple[ClassShown, ...]
    diets: tuple[DietShown, ...]
    cost: CostShown
    trays: TraysShown | None
    pouch: PouchShown | None
    cold: PouchShown | None
    beside: BesideShown | None
    steps: tuple[StepOfDish, ...]
    without_composition: tuple[str, ...]
    unusual: tuple[str, ...] = ()
