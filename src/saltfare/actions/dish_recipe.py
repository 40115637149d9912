"""A recipe as typed: which food each line is, what its amount weighs, and the plan it leads to."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from saltfare.actions.context import Context
from saltfare.actions.own_foods import own_foods
from saltfare.actions.worked_once import Once
from saltfare.core import foods
from saltfare.core.errors import NotFound, Problem, Refused
from saltfare.core.fields import Measured
from saltfare.core.library import Library
from saltfare.core.measures import mass_from_measure
from saltfare.core.tables import Row
from saltfare.journal import events_dish as kinds
from saltfare.models.composition import Food
from saltfare.models.cooking import CookingChange, Ingredient, Retention
from saltfare.models.declared import UNKNOWN, Declared
from saltfare.models.trays import Dryer, TrayKind
from saltfare.models.trays_end import TrayWeight
from saltfare.models.trip_fuel import pressure_standard
from saltfare.plans.dish_plan import dish_plan
from saltfare.plans.dish_plan_parts import DishLine, DishPlan, DishRequest, Spoonful
from saltfare.plans.dish_plan_pouch import Camp, PouchTrial

RAW = "raw"
# What drying keeps of the vitamins: fruits dried, which stands in for trays.
_DRYING = "158"
_YIELDS = "yields:"


@dataclass(frozen=True, slots=True)
class FoodKnown:
    """What is known of a food by its id. usual: its row of the pantry, where it is a usual ingredient."""

    row: Row
    declared: Declared
    usual: Row | None
    measures: tuple[foods.Measure, ...]


def food_known(context: Context, food_id: str, *, field: str = "food") -> FoodKnown:
    """A usual ingredient, a food of the table or an own food, by its id. Raises Refused (food_unknown)."""
    mine = own_foods(context).get(food_id)
    if mine is not None:
        return FoodKnown(mine.row, mine.declared, None, mine.measures)
    try:
        usual = context.library.row("pantry", food_id)
    except NotFound:
        usual = None
    try:
        number = usual.text("food") if usual is not None else food_id
        row = foods.row(context.library, number)
    except NotFound:
        raise Refused(Problem("food_unknown", field, food_id[:60])) from None
    declared = Declared.from_row(usual) if usual is not None else UNKNOWN
    return FoodKnown(row, declared, usual, foods.measures(number))


def amount_of(context: Context, text: str, food: str | None, *, field: str) -> Measured:
    """An amount as typed, by mass, volume or the food's own measure, with the mass it is. Raises Refused."""
    measures: Sequence[foods.Measure] = food_known(context, food).measures if food else ()
    settings = context.settings
    try:
        mass_kg = mass_from_measure(
            text, measures=measures, decimal=settings.decimal, system=settings.measures
        )
    except Refused as refused:
        raise Refused(*(replace(problem, field=field) for problem in refused.problems)) from None
    return Measured(typed=text, value=mass_kg)


def line_of(context: Context, line: kinds.RecipeLine) -> DishLine:
    """A line as a plan takes it: its food, what cooking keeps, how it lies on the tray."""
    known = food_known(context, line.food) if line.food else None
    usual = known.usual if known else None
    retention, change = _cooking(context.library, line.cooking, usual)
    return DishLine(
        ingredient=Ingredient(
            name=line.name,
            food=Food.from_row(known.row) if known else None,
            mass_kg=line.mass.value,
            edible_frac=line.edible.value if line.edible else 1.0,
            retention=retention,
            change=change,
        ),
        pantry=usual.text("id") if usual is not None else None,
        kind=line.kind or None,
        size_m=line.size.value if line.size else None,
        declared=known.declared if known else UNKNOWN,
    )


def _cooking(library: Library, said: str, usual: Row | None) -> tuple[Retention | None, CookingChange | None]:
    """What is kept, and the change of mass of what is cooked by itself. Raises Refused."""
    if said == RAW:
        return None, None
    own = usual.text("retention") if usual is not None else ""
    change = None
    try:
        if said.startswith(_YIELDS):
            change = CookingChange.from_row(library.row("yields", said.removeprefix(_YIELDS)))
        elif said:
            own = said
        return (Retention.from_row(library.row("retention", own)) if own else None), change
    except NotFound:
        raise Refused(Problem("cooking_unknown", "cooking", said)) from None


def lines_checked(context: Context, choice: kinds.DishChoice) -> None:
    """Refuse lines that name a food, a cooking or a kind that is not there, each at its own field."""
    problems = []
    for part, lines in (("lines", choice.lines), ("beside", choice.beside)):
        for index, line in enumerate(lines):
            try:
                line_of(context, line)
                if line.kind:
                    context.library.row("tray_foods", line.kind)
            except Refused as refused:
                problems += [replace(p, field=f"{part}.{index}.{p.field}") for p in refused.problems]
            except NotFound:
                problems.append(Problem("not_one_of", f"{part}.{index}.kind", line.kind))
    for field, table, row_id in (
        ("trays.kind", "tray_kinds", choice.trays.kind),
        ("camp.cover", "pouch_covers", choice.camp.cover),
    ):
        try:
            context.library.row(table, row_id)
        except NotFound:
            problems.append(Problem("not_one_of", field, row_id))
    if problems:
        raise Refused(*problems)


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """How far a batch has come, as a plan takes it."""

    cooked_kg: float | None = None
    left_behind_kg: float = 0.0
    laid_kg: float | None = None
    trays: int | None = None
    spoonful: Spoonful | None = None
    weights: tuple[TrayWeight, ...] = ()
    brittle: bool | None = None
    step_kg: float | None = None
    packs: int | None = None
    pack_kg: float | None = None


def request_of(
    context: Context,
    choice: kinds.DishChoice,
    *,
    name: str,
    start: datetime,
    taught: Sequence[kinds.PouchSeen] = (),
    course: Course | None = None,
) -> DishRequest:
    """What is asked of a plan: a dish as it is meant, as far as it has come."""
    so_far = course or Course()
    pack_kg = choice.pack_mass.value if choice.pack_mass else None
    return DishRequest(
        name=name,
        lines=[line_of(context, line) for line in choice.lines],
        cooked_mass_kg=so_far.cooked_kg,
        left_behind_kg=so_far.left_behind_kg,
        target_water_frac=choice.target_water.value,
        dryer=_dryer(context.library, choice.trays, so_far.trays),
        turned=choice.trays.turned,
        trayed_mass_kg=so_far.laid_kg,
        start=start,
        bed=_bed(start, choice.bed, context.zone),
        spoonful=so_far.spoonful,
        weights=so_far.weights,
        scale_step_kg=so_far.step_kg or choice.scale_step.value,
        thickest_brittle=so_far.brittle,
        packs=so_far.packs or choice.packs,
        pack_mass_kg=so_far.pack_kg or pack_kg,
        price_minor_per_kwh=choice.price_minor_per_kwh,
        camp=camp_of(choice.camp),
        taste_factor=choice.taste,
        trials=[trial_of(seen) for seen in taught],
        beside=[line_of(context, line) for line in choice.beside],
        drying=Retention.from_row(context.library.row("retention", _DRYING)),
    )


def _dryer(library: Library, trays: kinds.TrayChoice, count: int | None) -> Dryer:
    return Dryer(
        trays=count or trays.trays,
        tray_area_m2=trays.area.value,
        tray_length_m=trays.length.value,
        kind=TrayKind.from_row(library.row("tray_kinds", trays.kind)),
        temp_c=trays.temperature.value,
        speed_m_per_s=trays.speed.value,
        room_temp_c=trays.room_temperature.value,
        room_rh_frac=trays.room_humidity.value,
        inside_rh_frac=trays.inside_humidity.value if trays.inside_humidity else None,
        power_w=trays.power.value if trays.power else None,
        duty_frac=trays.duty.value if trays.duty else None,
        pressure_pa=pressure_standard(altitude_m=0.0),
    )


def camp_of(camp: kinds.CampChoice) -> Camp:
    """Where a pouch is brought back, as a plan takes it."""
    return Camp(
        altitude_m=camp.altitude.value,
        air_temp_c=camp.air.value,
        wind_m_per_s=camp.wind.value,
        cover=camp.cover,
        water_temp_c=camp.water.value if camp.water else None,
        pouch_area_m2=2.0 * camp.pouch_width.value * camp.pouch_height.value,
        pouch_height_m=camp.pouch_height.value,
        cup_m3=camp.cup.value if camp.cup else None,
    )


def trial_of(seen: kinds.PouchSeen) -> PouchTrial:
    """A test pouch as a plan takes it."""
    return PouchTrial(
        at=camp_of(seen.where),
        dry_kg=seen.dry.value,
        water_kg=seen.water.value,
        poured_off_kg=seen.off.value if seen.off else 0.0,
        added_kg=seen.added.value if seen.added else 0.0,
        hard_at_s=seen.hard_at.value if seen.hard_at else None,
        soft_at_s=seen.soft_at.value if seen.soft_at else None,
    )


def _bed(start: datetime, clock: time | None, zone: ZoneInfo) -> datetime | None:
    """The first time it is that late after the trays went in."""
    if clock is None:
        return None
    local = start.astimezone(zone)
    bed = datetime.combine(local.date(), clock, zone)
    return bed if bed > start else datetime.combine(local.date() + timedelta(days=1), clock, zone)


_planned: Once[DishRequest, DishPlan] = Once(
    lambda request, library: dish_plan(request=request, library=library), most=128
)


def planned(context: Context, request: DishRequest) -> DishPlan:
    """The plan of a request, worked out once. Raises Refused with the fields of the dish actions."""
    try:
        return _planned(request, context.library)
    except Refused as refused:
        raise Refused(*renamed(refused.problems)) from None


# the plan speaks of its own fields; a face must find the one that was typed
_FIELDS = {
    "cooked_mass": "mass",
    "left_behind": "left_behind",
    "trayed_mass": "mass",
    "ingredients": "lines",
    "spoonful": "dry",
    "spoonful.dry": "dry",
    "spoonful.wet": "wet",
    "scale_step": "scale_step",
}


def renamed(problems: Sequence[Problem]) -> Iterator[Problem]:
    """Problems at the fields of the dish actions."""
    for problem in problems:
        head, dot, rest = problem.field.partition(".")
        if head == "ingredients" and dot:
            at, _, last = rest.partition(".")
            named = {"mass": "amount", "edible_share": "edible"}.get(last, last)
            yield replace(problem, field=f"lines.{at}.{named}")
        else:
            yield replace(problem, field=_FIELDS.get(problem.field, problem.field))
