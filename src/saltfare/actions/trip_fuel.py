"""What a serving and a day cost in fuel: the stove, the camp's height, the water found, and how earlier trips
turned out against their plans."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from statistics import median

from saltfare.actions.context import Context
from saltfare.actions.trip_days import value
from saltfare.core.tables import Row
from saltfare.journal.trip import TripState
from saltfare.journal.trip import trips as trip_states
from saltfare.models.trip_fuel import Stove, fuel_mass, heat_to_boil

# Water found in the open where nobody told its temperature: as cold as the night, never frozen.
_WARMEST_FOUND_C = 15.0
_MIN_S = 60.0
_SANE = (0.5, 2.0)  # beyond these the plan or the entry was of something else


@dataclass(frozen=True, slots=True)
class Boil:
    """How water is brought to the boil on a trip. factor: of earlier trips, on the fuel."""

    stove: Stove
    rows: tuple[Row, ...]
    start_c: float
    snow_frac: float
    snow_c: float
    altitude_m: float
    simmer_w: float
    factor: float
    carried: bool


@dataclass(frozen=True, slots=True)
class Learned:
    """How fuel and water used on earlier trips stood to what was planned, and from how many."""

    fuel: float
    water: float
    trips: int


def learned(context: Context, state: TripState) -> Learned:
    """The middle of used over planned, of the trips that were over before this one was looked at."""
    fuel, water = [], []
    for past in trip_states(context.journal):
        if past.code == state.code or past.after is None or not past.menus:
            continue
        planned, told = past.menus[-1].body, past.after.body
        if told.fuel is not None and planned.fuel_g > 0:
            fuel.append(1000.0 * told.fuel.value / planned.fuel_g)
        if told.water is not None and planned.water_ml > 0:
            water.append(1e6 * told.water.value / planned.water_ml)
    fuel = [one for one in fuel if _SANE[0] <= one <= _SANE[1]]
    water = [one for one in water if _SANE[0] <= one <= _SANE[1]]
    return Learned(median(fuel) if fuel else 1.0, median(water) if water else 1.0, max(len(fuel), len(water)))


def boil_of(context: Context, state: TripState) -> Boil | None:
    """How water is boiled on a trip; None where no kitchen was told."""
    kitchen, library = state.kitchen, context.library
    if kitchen is None:
        return None
    stove = library.row("stoves", kitchen.stove)
    fuel = library.row("fuels", kitchen.fuel)
    conditions = tuple(library.row("stove_conditions", one) for one in kitchen.conditions)
    night = min((day.night or state.planned.night).value for day in state.days) if state.days else 0.0
    found = state.planned.water_temp
    start = found.value if found else min(max(state.planned.night.value, 0.0), _WARMEST_FOUND_C)
    return Boil(
        stove=Stove.from_rows(fuel=fuel, stove=stove, conditions=conditions),
        rows=(stove, fuel, *conditions),
        start_c=start,
        snow_frac=value(kitchen.snow_share),
        snow_c=max(min(night, 0.0), -60.0),
        altitude_m=value(state.planned.altitude),
        simmer_w=library.row("menu_rules", "simmer_w").number("value"),
        factor=learned(context, state).fuel,
        carried=bool(stove.text("fuel")),
    )


def boiled_fuel(boil: Boil, water_kg: float, simmer_s: float) -> tuple[float, float]:
    """Least and most fuel [kg] that brings so much water to the boil and keeps it simmering; nothing for
    wood, which is found."""
    if not boil.carried or water_kg <= 0.0:
        return 0.0, 0.0
    heat = heat_to_boil(
        water_kg=water_kg * (1.0 - boil.snow_frac),
        start_temp_c=boil.start_c,
        snow_kg=water_kg * boil.snow_frac,
        snow_temp_c=boil.snow_c,
        altitude_m=boil.altitude_m,
    )
    low, high = fuel_mass(heat_j=heat, simmer_power_w=boil.simmer_w, simmer_time_s=simmer_s, stove=boil.stove)
    return low * boil.factor, high * boil.factor


def serving_fuel(boil: Boil | None, water_ml: int, minutes: float | None, servings: int) -> int:
    """Fuel of a serving [mg], at the most its stove takes; simmering is shared by the servings of a pack."""
    if boil is None:
        return 0
    simmer_s = 0.0 if minutes is None else _MIN_S * minutes / servings
    return ceil(1e6 * boiled_fuel(boil, water_ml / 1000.0, simmer_s)[1])
