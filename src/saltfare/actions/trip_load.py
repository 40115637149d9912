"""Water to find, fuel to burn, and what the party carries, day by day."""

from __future__ import annotations

from saltfare.actions.context import Context
from saltfare.actions.shapes import Tracer
from saltfare.actions.trip_days import value
from saltfare.actions.trip_fuel import Boil, boil_of, boiled_fuel, learned
from saltfare.actions.trip_menu import found_menu
from saltfare.actions.trip_menu_shapes import CarryShown, DayLoadShown, WaterFuelGiven, WaterFuelShown
from saltfare.actions.trip_menu_shown import plan_of_committed
from saltfare.actions.trip_need import NeedShown, need_of
from saltfare.actions.trip_problem import posed
from saltfare.actions.trips import found_trip
from saltfare.core.errors import Problem, Refused
from saltfare.core.figure import Figure, Note
from saltfare.journal.trip import TripState
from saltfare.models.trip_fuel import boiling_temp_if97, fuel_mass, pressure_standard
from saltfare.models.trip_water import day_water
from saltfare.plans.menu_carry import DayLoad, day_loads
from saltfare.plans.menu_shapes import MenuProblem, Plan, Preset
from saltfare.plans.menu_totals import carried

_MG, _G = 1e-6, 1e-3


def trip_water_fuel(context: Context, given: WaterFuelGiven) -> WaterFuelShown:
    """Water, fuel and the mass of pack and bin on every day of a menu."""
    state = found_trip(context, given.code)
    if state.menu is not None and given.preset is None:
        problem, plan = plan_of_committed(state, state.menu.body)
        need = need_of(context, state)
    else:
        asked = posed(context, state)
        problem, need = asked.problem, asked.need
        plan = found_menu(context, asked, given.preset or Preset.LIGHTEST).outcome.plan
    return loads_shown(context, state, problem, plan, need)


def loads_shown(
    context: Context, state: TripState, problem: MenuProblem, plan: Plan, need: NeedShown
) -> WaterFuelShown:
    """The loads of a plan."""
    boil = boil_of(context, state)
    if boil is None:
        raise Refused(Problem("trip_no_kitchen", "kitchen"))
    tracer, before = Tracer(), learned(context, state)
    loads = day_loads(problem, plan)
    days = tuple(
        _day(context, tracer, state, problem, need, boil, load, d, before.water)
        for d, load in enumerate(loads)
    )
    cautions = [Note("trip_found_water"), Note("trip_drink_enough")]
    cautions += [note for one in need.people for note in one.cautions if note.code == "trip_above_cap"]
    return WaterFuelShown(
        code=state.code,
        days=days,
        carries=_carries(problem, plan, loads),
        water=_sum([day.find for day in days], "volume"),
        fuel=_sum([day.fuel for day in days], "mass"),
        fuel_factor=before.fuel,
        water_factor=before.water,
        from_trips=before.trips,
        cautions=tuple(cautions),
        notes=(Note("trip_fuel_found"),) if not boil.carried else (),
        traces=tracer.traces,
    )


def _day(
    context: Context,
    tracer: Tracer,
    state: TripState,
    problem: MenuProblem,
    need: NeedShown,
    boil: Boil,
    load: DayLoad,
    d: int,
    factor: float,
) -> DayLoadShown:
    library, people = context.library, len(problem.people)
    lost = library.row("menu_rules", "boiled_off")
    wash = [library.row("menu_rules", name) for name in ("washing_low", "washing_high")]
    drinks = [one.days[d].drink for one in need.people]
    # water tables end in great heat: what has no figure leaves the day's water without one
    known = all(one.low is not None and one.high is not None for one in drinks)
    lows = sum(one.low or 0.0 for one in drinks), sum(one.high or 0.0 for one in drinks)
    fresh = sum(library.row("water_need", f"dri_{one.sex}").number("food_l") for one in state.party)
    made = [
        day_water(
            drink_m3=drink,
            soak_kg=load.water_ml * _G,
            fresh_food_m3=fresh,
            boiled_off_frac=lost.number("value") / 100.0,
            wash_kg=people * row.number("value"),
        )
        for drink, row in zip(lows, wash, strict=True)
    ]
    inputs: dict[str, str | float | int | None] = {
        "soaked_ml": load.water_ml,
        "people": people,
        "factor": factor,
    }
    trace = tracer.trace(day_water, inputs, (lost, *wash))

    def of(low: float, high: float, *, sure: bool = True) -> Figure:
        if not sure:
            return Figure(None, "volume", trace=trace)
        span = (low * _G, high * _G)
        return tracer.figure(sum(span) / 2.0, "volume", trace, span=span, interval="published_spread")

    each = boiled_fuel(boil, 1.0, 0.0)
    share = each[0] / each[1] if each[1] else 0.0
    fuel_inputs: dict[str, str | float | int | None] = {
        "water_ml": load.water_ml,
        "start_c": boil.start_c,
        "altitude_m": boil.altitude_m,
        "snow": boil.snow_frac,
        "factor": boil.factor,
    }
    burnt = load.fuel_mg * _MG
    fuel = tracer.figure(
        burnt,
        "mass",
        tracer.trace(fuel_mass, fuel_inputs, boil.rows),
        span=(burnt * share, burnt),
        interval="published_spread",
    )
    boils = boiling_temp_if97(pressure_pa=pressure_standard(altitude_m=value(state.planned.altitude)))
    return DayLoadShown(
        day=d,
        on=state.on(d),
        drink=of(made[0].drink_kg * factor, made[1].drink_kg * factor, sure=known),
        cook=of(made[0].cook_kg, made[1].cook_kg),
        wash=of(made[0].wash_kg, made[1].wash_kg),
        find=of(made[0].total_kg * factor, made[1].total_kg * factor, sure=known),
        fuel=fuel,
        pack=Figure(load.pack_g * _G, "mass"),
        pack_each=Figure(load.pack_g * _G / max(people, 1), "mass"),
        bin=Figure(load.bin_g * _G, "mass"),
        boil_c=tracer.figure(
            boils, "temperature", tracer.trace(boiling_temp_if97, {"altitude_m": boil.altitude_m})
        ),
    )


def _carries(problem: MenuProblem, plan: Plan, loads: tuple[DayLoad, ...]) -> tuple[CarryShown, ...]:
    out = []
    for number, (have, limit) in enumerate(zip(carried(problem, plan), problem.carries, strict=True)):
        over = []
        grams = have.food_g + -(-have.fuel_mg // 1000)
        for name, found, most in (
            ("mass", grams, limit.mass_g),
            ("volume", have.volume_ml, limit.volume_ml),
            ("fuel", -(-have.fuel_mg // 1000), limit.fuel_g),
        ):
            if most is not None and found > most:
                over.append(name)
        out.append(
            CarryShown(
                carry=number,
                from_day=next(d for d, day in enumerate(problem.days) if day.carry == number),
                food=Figure(have.food_g * _G, "mass"),
                fuel=Figure(have.fuel_mg * _MG, "mass"),
                volume=Figure(have.volume_ml * _MG, "volume"),
                mass_limit=None if limit.mass_g is None else Figure(limit.mass_g * _G, "mass"),
                fuel_limit=None if limit.fuel_g is None else Figure(limit.fuel_g * _G, "mass"),
                volume_limit=None if limit.volume_ml is None else Figure(limit.volume_ml * _MG, "volume"),
                over=tuple(over),
            )
        )
    return tuple(out)


def _sum(figures: list[Figure], kind: str) -> Figure:
    if any(one.value is None for one in figures):
        return Figure(None, kind)
    low, high = sum(one.low or 0.0 for one in figures), sum(one.high or 0.0 for one in figures)
    return Figure(sum(one.value or 0.0 for one in figures), kind, low, high, "published_spread")
