"""What is asked of a plan of a dish: its recipe, what is carried beside it, how far it has come."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from saltfare.actions.context import Context
from saltfare.actions.dish_beside import carried
from saltfare.actions.dish_recipe import line_of
from saltfare.actions.worked_once import Once
from saltfare.core.errors import Problem, Refused
from saltfare.core.library import Library
from saltfare.journal import events_dish as kinds
from saltfare.models.cooking import Retention
from saltfare.models.trays import Dryer, TrayKind
from saltfare.models.trays_end import TrayWeight
from saltfare.models.trip_fuel import pressure_standard
from saltfare.plans.dish_plan import dish_plan
from saltfare.plans.dish_plan_parts import DishPlan, DishRequest, Spoonful
from saltfare.plans.dish_plan_pouch import Camp, PouchTrial

# What drying keeps of the vitamins: fruits dried, which stands in for trays.
_DRYING = "158"


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
        beside=[one.part for one in carried(context, choice)],
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
