"""A pouch before it is filled: whether it holds the food, the water poured on and room to stir; what gets
in over months; how large an absorber, how much desiccant; what a pinhole does."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Annotated, Literal

from pydantic import Field

from saltfare.actions.context import Context
from saltfare.actions.pack_food import FOODS, Food
from saltfare.actions.pack_keeping import bulk_of
from saltfare.actions.pack_place import RULES
from saltfare.actions.pack_pouch import GENERIC, film_named
from saltfare.actions.pouch_shapes import Humidity, PartGiven, Swing, Temperature, part_foods, typed_place
from saltfare.actions.shapes import Output, Query, Tracer
from saltfare.core.errors import OutOfRange, Problem, Refused
from saltfare.core.fields import Frozen, Measured, Quantity, implausible
from saltfare.core.figure import Figure, Note
from saltfare.core.numerics import Array
from saltfare.core.tables import Row
from saltfare.models.keeping_limit import WaterLimit, limit_of_water
from saltfare.models.pouch import Fill, Film, Pouch, headspace, pouch_area, pouch_volume, soak_in_pouch
from saltfare.models.pouch_oxygen import (
    AIR_OXYGEN_FRAC,
    AbsorberRules,
    Hole,
    absorber_notes,
    absorber_size,
    desiccant_units,
    hole_diffusion,
    oxygen_through_film,
    water_through_dry,
)
from saltfare.models.pouch_place import DAY_S, Place
from saltfare.models.pouch_water import WaterPath, water_through_film

_MOST_ABSORBERS, _POINTS = 4, 40
_WATER_KG_PER_M3 = 958.4  # near boiling, as poured (iapws_if97, saturated at 100 C)


class PouchPlanGiven(Query):
    """Foods and a pouch. room: the water it holds, where that was measured. drawn: by a vacuum machine.

    pour: boiling water to be poured on, None where it is not cooked in its pouch. temperature, swing and
    humidity: of the place it will be kept in. hole: a pinhole, to see what it does.
    """

    parts: tuple[PartGiven, ...] = Field(min_length=1, max_length=8)
    film: str = Field(default="", max_length=80)
    width: Annotated[Measured, Quantity("pouch_width")]
    height: Annotated[Measured, Quantity("pouch_height")]
    seal: Annotated[Measured, Quantity("pouch_seal")] | None = None
    room: Annotated[Measured, Quantity("pouch_room")] | None = None
    stands: bool | None = None
    takes_boiling_water: bool | None = None
    pour: Annotated[Measured, Quantity("water_to_pour")] | None = None
    drawn: bool = False
    gas_left: Annotated[Measured, Quantity("gas_kept")] | None = None
    absorber: Annotated[Measured, Quantity("absorber_capacity")] | None = None
    absorber_kind: Literal["self_reacting", "needs_moisture"] = "self_reacting"
    desiccant: Annotated[Measured, Quantity("desiccant_mass")] | None = None
    keep_for: Annotated[Measured, Quantity("kept_for")] | None = None
    temperature: Temperature | None = None
    swing: Swing | None = None
    humidity: Humidity | None = None
    hole: Annotated[Measured, Quantity("hole_diameter")] | None = None


class CoursePoint(Frozen):
    """So long after sealing: water activity inside and oxygen of the gas, for low, middle, high film."""

    time_s: float
    aw: tuple[float, float, float]
    oxygen_frac: tuple[float, float, float]


class HoleShown(Frozen):
    """What a pinhole adds over the time: oxygen and water that come in, beside those without it, by the
    film's middle; spent_s: when an absorber is then exhausted, None where it is not."""

    oxygen_m3: Figure
    without_m3: float
    water_kg: Figure
    water_without_kg: float
    spent_s: float | None


class PouchPlanShown(Output):
    """fits: food, water and stirring room go in and the film takes boiling water; None without water.

    gas, oxygen: sealed in. reaches: time until a water limit, earliest, likely, latest, None where not.
    absorber: size asked for, None where none on offer is enough; spent_s: of the absorber typed. units: of
    desiccant, that keep the inside under `desiccant_aw`. unusual: fields that hold an unusual value.
    """

    film: str
    boiling: bool | None
    pouch: Figure
    food: Figure
    room: Figure | None
    needed: Figure | None
    fits: bool | None
    gas: Figure
    oxygen: Figure
    aw: Figure
    aw_end: Figure
    water_in: Figure
    oxygen_end: Figure
    limit: str
    reaches_s: tuple[float | None, float | None, float | None]
    oxygen_needed: Figure
    absorber_m3: float | None
    absorbers: int
    spent_s: tuple[float | None, float | None, float | None] | None
    units: Figure
    desiccant_aw: float
    hole: HoleShown | None
    course: tuple[CoursePoint, ...]
    time_s: float
    assumed: tuple[str, ...]
    unusual: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Basis:
    """What every answer rests on."""

    foods: tuple[Food, ...]
    fills: tuple[Fill, ...]
    pouch: Pouch
    film: Film
    area_m2: float
    gas_m3: float
    poured_m3: float
    place: Place
    rows: tuple[Row, ...]


def pouch_plan(context: Context, given: PouchPlanGiven) -> PouchPlanShown:
    """Whether a pouch holds its food, water and stirring room, and what gets in over the months."""
    time_s = given.keep_for.value if given.keep_for else 365.0 * DAY_S
    basis, assumed = _basis(context, given, time_s)
    tracer = Tracer()
    told: dict[str, str | float | int | None] = {
        "film": given.film or GENERIC["air"],
        "pouch_width": given.width.value,
        "pouch_height": given.height.value,
        "stored_temperature": float(basis.place.temp_c.mean()),
        "stored_humidity": float(basis.place.rh_frac.mean()),
        "kept_for": time_s,
        "pack_mass": sum(food.mass_kg for food in basis.foods),
    }
    volumes = tracer.trace(headspace, told, basis.rows)
    passes = tracer.trace(water_through_film, told, basis.rows)
    oxygens = tracer.trace(absorber_size, told, basis.rows)
    path = _water(basis, 0.0)
    start = float(path.aw[1, 0])
    doubtful = bool(path.doubts)
    notes = _doubts(path)
    soak = None
    if given.pour is not None:
        soak = soak_in_pouch(
            pouch=basis.pouch,
            fills=basis.fills,
            water_kg=given.pour.value * _WATER_KG_PER_M3,
            water_kg_per_m3=_WATER_KG_PER_M3,
            stir_frac=context.library.row(RULES, "stir_room").number("share"),
        )
        notes = [*soak.notes, *notes]
    sizes = tuple(row.number("capacity") for row in context.library.rows("absorbers"))
    size = absorber_size(
        gas_m3=basis.gas_m3,
        film=basis.film,
        area_m2=basis.area_m2,
        place=basis.place,
        aw_inside=start,
        sizes_m3=sizes,
        most=_MOST_ABSORBERS,
    )
    absorber = given.absorber.value if given.absorber else None
    oxygen = oxygen_through_film(
        film=basis.film,
        area_m2=basis.area_m2,
        gas_m3=basis.gas_m3,
        place=basis.place,
        aw_inside=start,
        absorber_m3=absorber,
        start_frac=AIR_OXYGEN_FRAC,
        leak_m3_per_s_pa=0.0,
    )
    if absorber is not None:
        notes = [
            *absorber_notes(
                kind=given.absorber_kind,
                aw=start,
                desiccant=given.desiccant is not None,
                rules=AbsorberRules.from_row(context.library.row("absorber_rules", "iron")),
                spent_s=oxygen.spent_s[2],
                time_s=time_s,
            ),
            *notes,
        ]
        if size.needed_m3[2] > absorber:
            notes.insert(0, Note("absorber_too_small", {"needed_m3": size.needed_m3[2]}))
        if given.drawn:
            notes.append(Note("absorber_in_drawn_pack"))
    elif given.desiccant is not None:
        notes.insert(0, Note("desiccant_alone"))
    limit_name, limit = _limit(context, basis.foods)
    reached = limit_of_water(path=path, limit=limit)
    unit_row, units = _desiccant(context, basis, limit)
    if given.desiccant is not None and units[1] > 0.0:
        notes.append(Note("desiccant_takes", {"water_kg": units[1] * unit_row.number("unit")}))
    water_in = path.water_kg[:, -1] - path.water_kg[:, 0]
    low, high = sorted((float(water_in[0]), float(water_in[2])))
    spread = "film_spread"
    return PouchPlanShown(
        film=given.film or GENERIC["air"],
        boiling=basis.film.takes_boiling_water,
        pouch=tracer.figure(pouch_volume(pouch=basis.pouch), "volume", volumes),
        food=tracer.figure(basis.poured_m3, "volume", volumes),
        room=tracer.figure(soak.room_m3, "volume", volumes) if soak else None,
        needed=tracer.figure(soak.needed_m3, "volume", volumes) if soak else None,
        fits=soak.fits if soak else None,
        gas=tracer.figure(basis.gas_m3, "volume", volumes),
        oxygen=tracer.figure(size.sealed_in_m3, "volume", oxygens),
        aw=tracer.figure(start, "ratio", passes, extrapolated=doubtful),
        aw_end=_spread(tracer, path.aw[:, -1], "ratio", passes, doubtful),
        water_in=tracer.figure(
            float(water_in[1]), "mass", passes, span=(low, high), interval=spread, extrapolated=doubtful
        ),
        oxygen_end=_spread(tracer, oxygen.frac[:, -1], "fraction", oxygens, False),
        limit=limit_name,
        reaches_s=(reached.earliest_s, reached.middle_s, reached.latest_s),
        oxygen_needed=_spread(tracer, size.needed_m3, "volume", oxygens, False),
        absorber_m3=size.size_m3,
        absorbers=size.count,
        spent_s=oxygen.spent_s if absorber is not None else None,
        units=_spread(tracer, units, "ratio", tracer.trace(desiccant_units, told, (unit_row,)), False),
        desiccant_aw=unit_row.number("kept_aw"),
        hole=_hole(context, given, basis, path, absorber, start, tracer, told) if given.hole else None,
        course=_course(path, oxygen.frac),
        time_s=time_s,
        assumed=assumed,
        unusual=tuple(problem.field for problem in implausible(given)),
        notes=tuple({note.code: note for note in notes}.values()),
        traces=tracer.traces,
    )


def _basis(context: Context, given: PouchPlanGiven, time_s: float) -> tuple[_Basis, tuple[str, ...]]:
    rule = context.library.row
    foods: list[Food] = []
    fills: list[Fill] = []
    true = rule(RULES, "true_density").number("density")
    for index, part in enumerate(given.parts):
        found = part_foods(context, part, f"parts.{index}")
        foods += found
        for food in found:
            bulk = part.poured.value * 1000.0 if part.poured else bulk_of(context, food.kinds[0])[0]
            fills.append(Fill(food.name, food.mass_kg, bulk, max(true, bulk)))
    assumed = [] if given.film else ["film"]
    film, rows = film_named(context, given.film or GENERIC["no_oxygen" if given.drawn else "air"])
    if given.takes_boiling_water is not None and film.takes_boiling_water is None:
        film = replace(film, takes_boiling_water=given.takes_boiling_water)
    seal = given.seal.value if given.seal else rule(RULES, "seal").number("length")
    pouch = Pouch(
        width_m=given.width.value,
        height_m=given.height.value,
        seal_m=seal,
        film=film,
        stands=given.stands,
        volume_m3=given.room.value if given.room else None,
    )
    kept = 1.0
    if given.gas_left is not None:
        kept = given.gas_left.value
    elif given.drawn:
        kept = rule(RULES, "vacuum_left").number("share")
        assumed.append("gas_kept")
    try:
        space = headspace(pouch_m3=pouch_volume(pouch=pouch), fills=fills, gas_kept_frac=kept)
    except Refused as refused:
        raise Refused(*(_at_width(problem) for problem in refused.problems)) from None
    if not space.gas_m3 > 0.0:
        raise Refused(Problem("absorber_without_headspace", "gas_left", f"{space.gas_m3 * 1e6:.0f} ml"))
    place, unsaid = typed_place(
        context,
        temperature=given.temperature,
        swing=given.swing,
        humidity=given.humidity,
        time_s=time_s,
    )
    if given.room is None:
        assumed.append("pouch_room")
    if any(part.poured is None for part in given.parts):
        assumed.append("poured_density")
    if given.keep_for is None:
        assumed.append("kept_for")
    area = pouch_area(width_m=pouch.width_m, height_m=pouch.height_m, seal_m=seal)
    basis = _Basis(tuple(foods), tuple(fills), pouch, film, area, space.gas_m3, space.poured_m3, place, rows)
    return basis, (*assumed, *unsaid)


def _at_width(problem: Problem) -> Problem:
    field = "width" if problem.field == "pouch" else problem.field
    return Problem(problem.code, field, problem.given, problem.allowed, problem.params)


def _water(basis: _Basis, leak: float) -> WaterPath:
    return water_through_film(
        parts=[food.part for food in basis.foods],
        film=basis.film,
        area_m2=basis.area_m2,
        place=basis.place,
        leak_kg_per_s_pa=leak,
    )


def _doubts(path: WaterPath) -> list[Note]:
    names = {
        "aw_outside": "isotherm_outside_aw",
        "temp_outside": "isotherm_outside_temperature",
        "range_not_read": "isotherm_range_not_read",
    }
    return [Note(names[doubt]) for doubt in path.doubts]


def _limit(context: Context, foods: Sequence[Food]) -> tuple[str, WaterLimit]:
    """The lowest water limit of any food; mould where none has one."""
    kinds = [kind for food in foods for kind in food.kinds]
    names = [context.library.row(FOODS, kind).text("limit") for kind in kinds]
    name = "crisp" if "crisp" in names else "mould"
    return name, WaterLimit.from_row(context.library.row("keeping_water", name))


def _desiccant(context: Context, basis: _Basis, limit: WaterLimit) -> tuple[Row, tuple[float, float, float]]:
    """The unit whose humidity is the highest under the limit, and how many it takes."""
    rows = sorted(context.library.rows("desiccant"), key=lambda row: row.number("kept_aw"))
    under = [row for row in rows if row.number("kept_aw") <= limit.low_aw]
    row = under[-1] if under else rows[0]
    water = water_through_dry(
        film=basis.film, area_m2=basis.area_m2, place=basis.place, kept_aw=row.number("kept_aw")
    )
    low, middle, high = (desiccant_units(water_kg=one, unit_kg=row.number("unit")) for one in water)
    return row, (low, middle, high)


def _hole(
    context: Context,
    given: PouchPlanGiven,
    basis: _Basis,
    path: WaterPath,
    absorber: float | None,
    aw: float,
    tracer: Tracer,
    told: dict[str, str | float | int | None],
) -> HoleShown:
    if given.hole is None:
        raise AssertionError("asked for without a hole")
    row = context.library.row
    rows = tuple(row("pouch_holes", name) for name in ("oxygen", "vapour", "film"))
    hole = hole_diffusion(
        diameter_m=given.hole.value,
        depth_m=rows[2].number("depth"),
        oxygen_m2_per_s=rows[0].number("diffusivity"),
        vapour_m2_per_s=rows[1].number("diffusivity"),
        temp_c=float(basis.place.temp_c.mean()),
    )
    trace = tracer.trace(hole_diffusion, {**told, "hole_diameter": given.hole.value}, rows)
    tight, holed = (_oxygen_with(basis, absorber, aw, leak) for leak in (None, hole))
    try:
        wet = _water(basis, hole.vapour_kg_per_s_pa)
        water = float(wet.water_kg[1, -1] - wet.water_kg[1, 0])
    except OutOfRange:
        water = float("nan")
    return HoleShown(
        oxygen_m3=tracer.figure(holed[0], "volume", trace),
        without_m3=tight[0],
        water_kg=tracer.figure(None if water != water else water, "mass", trace),
        water_without_kg=float(path.water_kg[1, -1] - path.water_kg[1, 0]),
        spent_s=holed[1],
    )


def _oxygen_with(
    basis: _Basis, absorber: float | None, aw: float, hole: Hole | None
) -> tuple[float, float | None]:
    found = oxygen_through_film(
        film=basis.film,
        area_m2=basis.area_m2,
        gas_m3=basis.gas_m3,
        place=basis.place,
        aw_inside=aw,
        absorber_m3=absorber,
        start_frac=AIR_OXYGEN_FRAC if absorber is not None else 0.0,
        leak_m3_per_s_pa=hole.oxygen_m3_per_s_pa if hole else 0.0,
    )
    return float(found.entered_m3[1, -1]), found.spent_s[1]


def _spread(tracer: Tracer, three: Iterable[float], kind: str, trace: str, doubtful: bool) -> Figure:
    low, middle, high = sorted(float(one) for one in three)
    return tracer.figure(middle, kind, trace, span=(low, high), interval="film_spread", extrapolated=doubtful)


def _course(path: WaterPath, oxygen: Array) -> tuple[CoursePoint, ...]:
    times = path.times_s
    keep = sorted({*range(0, times.size, max(1, times.size // _POINTS)), times.size - 1})
    return tuple(
        CoursePoint(
            time_s=float(times[i]),
            aw=(float(path.aw[0, i]), float(path.aw[1, i]), float(path.aw[2, i])),
            oxygen_frac=(float(oxygen[0, i]), float(oxygen[1, i]), float(oxygen[2, i])),
        )
        for i in keep
    )
