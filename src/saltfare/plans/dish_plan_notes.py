"""What is said beside a plan of a dish, and its steps, as codes."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

from saltfare.core.figure import Note
from saltfare.core.library import Library
from saltfare.plans.dish_plan_parts import DishLine, DishPlan, DishStep

FALLBACK = "sauce"
WEIGH_EVERY = timedelta(hours=2)
_RULES = "tray_rules"
_MEAT = frozenset({"mince", "meat", "fish"})
# Dry beans whose toxin is destroyed by a hard boil; tinned ones have been boiled.
_BEANS = frozenset({"beans_kidney", "beans_white", "beans_black"})


def steps_of(*, plan: DishPlan) -> tuple[DishStep, ...]:
    """What to do, in order.

    Source
    ------
    saltfare_chosen, order of the work
    """
    request, dry = plan.request, plan.dry
    steps = [
        DishStep(code="lay_on_trays", at=request.start, mass_kg=plan.trayed_kg),
        DishStep(code="dry_spoonful", at=request.start),
    ]
    first = request.start + WEIGH_EVERY
    steps.append(DishStep(code="weigh_trays", at=first, until=dry.low or first))
    if request.turned:
        half = plan.forecast.dry_s[1]
        at = None if half is None else request.start + timedelta(seconds=0.5 * half)
        steps.append(DishStep(code="turn_over", at=at))
    steps += [
        DishStep(code="look_if_dry", at=dry.low, until=dry.high, mass_kg=plan.end_kg.middle),
        DishStep(code="condition", at=dry.high),
        DishStep(code="fill_packs", at=dry.high, mass_kg=plan.packs.each.mass_kg),
        DishStep(code="test_pouch", at=dry.high, mass_kg=plan.packs.each.mass_kg),
    ]
    return tuple(steps)


def notes_of(*, plan: DishPlan, kinds: Sequence[str], library: Library) -> tuple[Note, ...]:
    """What is to be said: heating and boiling first, hours wet and warm, the slow part, fat, the unknown.

    Parameters
    ----------
    plan : as made
    kinds : row of `tray_foods` of each line
    library : the figures it rests on

    Source
    ------
    saltfare_chosen, what is said of a dish on trays
    """
    return (
        *_first(plan, kinds, library),
        *_wet(plan, library),
        *_known(plan, kinds, library),
        *_fat(plan, kinds, library),
    )


def _names(lines: Sequence[DishLine]) -> str:
    return ", ".join(dict.fromkeys(line.ingredient.name for line in lines))


def _meat(plan: DishPlan, kinds: Sequence[str]) -> list[DishLine]:
    return [
        line
        for line, kind in zip(plan.request.lines, kinds, strict=True)
        if kind in _MEAT or (line.declared.holds or frozenset()) & {"meat", "fish"}
    ]


def _first(plan: DishPlan, kinds: Sequence[str], library: Library) -> list[Note]:
    """What is done to the food before it goes on the trays."""

    def temp(name: str) -> float:
        return library.row(_RULES, name).number("temp_c")

    found = []
    meat = _meat(plan, kinds)
    if meat:
        heat = {"meat_temp_c": temp("meat_heat"), "poultry_temp_c": temp("poultry_heat")}
        found.append(Note("meat_heat_first", {"ingredients": _names(meat), **heat}))
        if not temp("meat_air_low") <= plan.request.dryer.temp_c:
            found.append(Note("meat_air_too_cool", {"low_temp_c": temp("meat_air_low")}))
    beans = [line for line in plan.request.lines if line.pantry in _BEANS]
    if beans:
        hours = {
            "boil_time_s": library.row(_RULES, "beans_boil").number("time_h"),
            "soak_time_s": library.row(_RULES, "beans_soak").number("time_h"),
        }
        found.append(Note("beans_boil_first", {"ingredients": _names(beans), **hours}))
    return found


def _wet(plan: DishPlan, library: Library) -> list[Note]:
    found = []
    forecast, limit_s = plan.forecast, library.row(_RULES, "wet_warm").number("time_h")
    if forecast.wet_warm_s.middle > limit_s:
        hours = {
            "warm_time_s": forecast.wet_warm_s.middle,
            "limit_time_s": limit_s,
            "food_temp_c": forecast.food_temp_c,
            "air_temp_c": plan.request.dryer.temp_c,
        }
        found.append(Note("wet_warm_long", hours))
        if plan.thinner_load_kg is None:
            found.append(Note("thinner_load_none", {"limit_time_s": limit_s}))
        else:
            found.append(Note("thinner_load", {"load_mass_kg": plan.thinner_load_kg}))
    most = library.row(_RULES, "load_most").number("factor")
    area = plan.request.dryer.area_m2
    if forecast.depth_m > 0.0 and plan.trayed_kg / area > most:
        found.append(Note("spread_thick", {"depth_m": forecast.depth_m, "most_mass_kg": most * area}))
    if None in forecast.dry_s:
        found.append(Note("drying_beyond_horizon"))
    if plan.overnight is not None:
        found.append(Note(f"overnight_{plan.overnight}"))
    return found


def _known(plan: DishPlan, kinds: Sequence[str], library: Library) -> list[Note]:
    request = plan.request
    found = [Note("slow_part", {"ingredient": plan.slow})]
    if request.spoonful is None:
        found.append(Note("solids_from_recipe", {"doubt_frac": plan.solids.sd}))
    if not plan.dish.weighed:
        found.append(Note("cooked_mass_not_weighed"))
    if request.dryer.mean_power_w is None:
        found.append(Note("air_stream_not_known"))
    pairs = list(zip(request.lines, kinds, strict=True))
    assumed = [line for line, kind in pairs if kind == FALLBACK and line.kind is None and line.pantry is None]
    if assumed:
        found.append(Note("piece_kind_assumed", {"ingredients": _names(assumed)}))
    rows = {kind: library.row("tray_foods", kind) for kind in kinds}
    lent = [line for line, kind in pairs if "stand" in rows[kind].text("note")]
    if lent:
        found.append(Note("diffusivity_stands_in", {"ingredients": _names(lent)}))
    dry = [line for line, kind in pairs if kind == "nuts"]
    if dry:
        found.append(Note("dry_already", {"ingredients": _names(dry)}))
    found += [
        Note("tray_weight_odd", {"number": i + 1, "off_sd": f"{sd:.1f}"}) for i, sd in plan.forecast.odd
    ]
    return found


def _fat(plan: DishPlan, kinds: Sequence[str], library: Library) -> list[Note]:
    found = []
    each = plan.packs.each
    fat = each.at_least("fat")
    most = library.row(_RULES, "fat_dried").number("share")
    if fat is not None and fat / each.mass_kg > most:
        found.append(Note("fat_high", {"fat_frac": fat / each.mass_kg}))
    lean = library.row(_RULES, "fat_meat").number("share")
    for line in _meat(plan, kinds):
        food = line.ingredient.food
        share = None if food is None else food.per_kg.get("fat")
        if share is not None and share > lean + 5e-4:  # 7.0 % as printed is lean enough
            found.append(Note("fat_meat", {"ingredient": line.ingredient.name, "fat_frac": share}))
    return found
