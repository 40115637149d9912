"""What the people of a trip need: energy by person and day with rival models beside it, protein, sodium and
water to drink, and what cold, heat and height add, as ranges with their sources."""

from __future__ import annotations

from datetime import date

from saltfare.actions.context import Context
from saltfare.actions.shapes import Output, Tracer
from saltfare.actions.trip_days import air_models, body_of, is_vulnerable, work_of
from saltfare.actions.trip_shapes import OneTrip
from saltfare.actions.trips import found_trip
from saltfare.actions.worked_once import Once
from saltfare.core.errors import OutOfRange, Problem, Refused
from saltfare.core.fields import Frozen
from saltfare.core.figure import Figure, Note
from saltfare.core.library import Library
from saltfare.core.tables import Row
from saltfare.journal.events_trip import PersonTold
from saltfare.journal.trip import TripState
from saltfare.models.trip_energy import DAY_S, HOUR_S, KCAL_J, added_energy_range
from saltfare.models.trip_energy_food import Band, protein_day_range, sodium_sweat_range
from saltfare.models.trip_water import day_drink_split
from saltfare.plans.trip_need import Added, Air, Body, DayWork, adders, day_energies, drinking, leading

_ANY_DAYS = 10_000
_PROTEIN = ("protein_rda", "protein_field", "protein_endurance")
_SODIUM = ("sodium_ai", "sodium_cdrr", "sodium_field")


class ModelShown(Frozen):
    """One model's energy of a day; None where it does not cover the case, with the quantity outside it.
    habitual: it describes ordinary life and knows nothing of the way or the load."""

    model: str
    energy: Figure | None
    outside: str
    habitual: bool


class AdderShown(Frozen):
    """What the place adds, as shares of the need. counted: it is in the figure planned with; the others show
    the range."""

    row: str
    cause: str
    low: float
    high: float
    counted: bool
    cite: str


class DayNeedShown(Frozen):
    """A day of one person. energy: planned with, its range over the models and what the place adds. ration:
    what the menu is to bring. lead: the model the figure is of. drink: to drink, from low to high;
    above_cap: above what the heat tables allow in an hour or a day. in_heat_table: whether the hourly water
    is the printed table's; below its heat it is chosen, and what is sweated out with it."""

    day: int
    on: date
    energy: Figure
    ration: Figure
    lead: str
    models: tuple[ModelShown, ...]
    drink: Figure
    drink_work: str
    above_cap: bool
    sweat_sodium: Figure | None
    in_heat_table: bool
    notes: tuple[Note, ...]


class RangeShown(Frozen):
    """A published range for this person, by its row."""

    row: str
    range: Figure
    cite: str


class PersonNeedShown(Frozen):
    """One person over the trip. protein, sodium: published ranges for a day. protein_planned: what the menu
    is held to. vulnerable: told, or by age (`by_age`)."""

    name: str
    energy: Figure
    ration: Figure
    days: tuple[DayNeedShown, ...]
    protein: tuple[RangeShown, ...]
    protein_planned: Figure
    sodium: tuple[RangeShown, ...]
    vulnerable: bool
    by_age: bool
    cautions: tuple[Note, ...]


class NeedShown(Output):
    """The need of everybody. adders: of each day, by number. share: of the need that is planned; whole where
    the trip is longer than `share_days`."""

    code: str
    version: int
    people: tuple[PersonNeedShown, ...]
    adders: tuple[tuple[AdderShown, ...], ...]
    share: float
    share_days: int
    energy: Figure
    ration: Figure


def trip_need(context: Context, given: OneTrip) -> NeedShown:
    """The energy, protein, sodium and drinking water of everybody on every day."""
    return need_of(context, found_trip(context, given.code))


def need_of(context: Context, state: TripState) -> NeedShown:
    """The need of a trip as told."""
    return _need(state, context.library)


def _need_of(state: TripState, library: Library) -> NeedShown:
    tracer = Tracer()
    share, share_days = ration_rule(library, state)
    walking = sum(not day.spare for day in state.days)
    used = share if walking <= share_days else 1.0
    numbers = range(len(state.days))
    airs = [air_models(state, day) for day in numbers]
    added = [adders(library=library, air=air) for air in airs]
    works = [work_of(day) for day in state.days]
    people = []
    for one in state.party:
        body = body_of(one)
        typed = one.ration.value if one.ration else None
        days = tuple(
            _day(library, tracer, state.on(n), n, body, works[n], airs[n], added[n], used, typed)
            for n in numbers
        )
        people.append(_person(library, tracer, one, body, days))
    notes = [Note("trip_heat_from_air")] if any(air.wbgt_c is None for air in airs) else []
    if used == 1.0 and share < 1.0:
        notes.append(Note("trip_whole_need", {"days": share_days}))
    return NeedShown(
        code=state.code,
        version=state.version,
        people=tuple(people),
        adders=tuple(tuple(_adder(one) for one in day) for day in added),
        share=used,
        share_days=share_days,
        energy=_sum([one.energy for one in people]),
        ration=_sum([one.ration for one in people]),
        notes=tuple(notes),
        traces=tracer.traces,
    )


_need: Once[TripState, NeedShown] = Once(_need_of, most=8)


def ration_rule(library: Library, state: TripState) -> tuple[float, int]:
    """The share of the need planned, told or chosen, and for how many days it holds."""
    told = state.limits.ration_share if state.limits else None
    if told is not None:
        return told.value, _ANY_DAYS
    days = int(library.row("trip_nutrition", "trip_ration").number("days") / DAY_S)
    return library.row("menu_rules", "ration_share").number("value"), days


def _adder(one: Added) -> AdderShown:
    return AdderShown(
        row=one.row.ref,
        cause=one.row.text("cause"),
        low=one.adder.low_frac,
        high=one.adder.high_frac,
        counted=one.counted,
        cite=one.row.cite,
    )


def _day(
    library: Library,
    tracer: Tracer,
    on: date,
    day: int,
    body: Body,
    work: DayWork,
    air: Air,
    added: tuple[Added, ...],
    share: float,
    typed_j: float | None,
) -> DayNeedShown:
    found = day_energies(library=library, body=body, work=work)
    lead = leading(energies=found, body=body, work=work)
    if lead is None or lead.energy_j is None:
        raise Refused(Problem("trip_need_not_covered", f"people.{body.age_years:g}", str(day + 1)))
    counted = [one.adder for one in added if one.counted]
    planned, _ = added_energy_range(energy_j=lead.energy_j, adders=counted)
    # the equations of habitual life know nothing of the way: on a day on the move they are no part
    # of the range
    own = [one.energy_j for one in found if one.energy_j is not None and (work.is_rest or not one.habitual)]
    own = own or [lead.energy_j]
    every = [one.adder for one in added]
    low, _ = added_energy_range(energy_j=min(own), adders=[a for a in every if a in counted])
    _, high = added_energy_range(energy_j=max(own), adders=every)
    low, high = min(low, planned), max(high, planned)
    trace = tracer.trace(lead.function, lead.inputs, (*lead.rows, *(one.row for one in added if one.counted)))
    energy = tracer.figure(planned, "energy", trace, span=(low, high), interval="model_spread")
    rule = library.row("menu_rules", "ration_share")
    ration_inputs: dict[str, str | float | int | None] = {
        "need_kcal": round(planned / KCAL_J),
        "share": share,
    }
    ration = tracer.figure(
        share * planned if typed_j is None else typed_j,
        "energy",
        tracer.trace(lead.function, {**lead.inputs, **ration_inputs}, (*lead.rows, rule)),
    )
    notes: list[Note] = []
    if typed_j is not None:
        notes.append(Note("trip_ration_typed"))
    drink, sweat, effort, above, heat = None, None, "", False, False
    try:
        made, effort, rows, _ = drinking(library=library, body=body, work=work, air=air)
    except OutOfRange:
        notes.append(Note("trip_hotter_than_table"))
        drink = Figure(None, "volume")
    else:
        above = made.above_cap
        heat = rows[1].text("how_known") != "chosen"
        inputs: dict[str, str | float | int | None] = {
            "work_h": work.moving_s / HOUR_S,
            "warmest_c": air.most_c,
            "work": effort,
        }
        traced = tracer.trace(day_drink_split, inputs, rows)
        span = (made.low_m3, made.high_m3)
        middle = (made.low_m3 + made.high_m3) / 2.0
        drink = tracer.figure(middle, "volume", traced, span=span, interval="published_spread")
        sweat = _sweat(library, tracer, made.high_m3, body, work)
    return DayNeedShown(
        day=day,
        on=on,
        energy=energy,
        ration=ration,
        lead=lead.name,
        models=tuple(
            ModelShown(
                model=one.name,
                energy=None
                if one.energy_j is None
                else tracer.figure(one.energy_j, "energy", tracer.trace(one.function, one.inputs, one.rows)),
                outside=one.outside,
                habitual=one.habitual,
            )
            for one in found
        ),
        drink=drink,
        drink_work=effort,
        above_cap=above,
        sweat_sodium=sweat,
        in_heat_table=heat,
        notes=tuple(notes),
    )


def _sweat(library: Library, tracer: Tracer, drink_m3: float, body: Body, work: DayWork) -> Figure | None:
    """Sodium lost in sweat where what is drunk for the work is taken as sweat."""
    if work.is_rest:
        return None
    row, base = library.row("trip_nutrition", "sweat_sodium"), library.row("water_need", f"dri_{body.sex}")
    quiet = base.number("drinks_l") * (1.0 - work.moving_s / (16.0 * HOUR_S))
    sweat = min(max(drink_m3 - quiet, 0.0), 0.02)
    lost = sodium_sweat_range(sweat_m3=sweat, per_litre=Band.sodium_from_row(row))
    trace = tracer.trace(sodium_sweat_range, {"sweat_l": 1000.0 * sweat}, (row,))
    middle = (lost.low + lost.high) / 2.0
    return tracer.figure(middle, "mass", trace, span=(lost.low, lost.high), interval="published_spread")


def _person(
    library: Library, tracer: Tracer, one: PersonTold, body: Body, days: tuple[DayNeedShown, ...]
) -> PersonNeedShown:
    vulnerable, by_age = is_vulnerable(library, one)
    protein, sodium = [], []
    for name in _PROTEIN:
        row = library.row("trip_nutrition", name)
        band = protein_day_range(mass_kg=body.mass_kg, per_kg=Band.per_kg_from_row(row))
        protein.append(_range(tracer, row, band, {"mass_kg": body.mass_kg}))
    for name in _SODIUM:
        row = library.row("trip_nutrition", name)
        sodium.append(_range(tracer, row, Band.sodium_from_row(row), {}))
    cautions = [Note("trip_above_cap", {"person": one.name})] if any(day.above_cap for day in days) else []
    if by_age:
        cautions.append(Note("trip_vulnerable_by_age", {"person": one.name}))
    return PersonNeedShown(
        name=one.name,
        energy=_sum([day.energy for day in days]),
        ration=_sum([day.ration for day in days]),
        days=days,
        protein=tuple(protein),
        protein_planned=Figure(protein_planned(library, body), "mass", trace=protein[0].range.trace),
        sodium=tuple(sodium),
        vulnerable=vulnerable,
        by_age=by_age,
        cautions=tuple(cautions),
    )


def protein_planned(library: Library, body: Body) -> float:
    """Protein of a day the menu is held to [kg]: what is recommended for everybody."""
    row = library.row("trip_nutrition", "protein_rda")
    return protein_day_range(mass_kg=body.mass_kg, per_kg=Band.per_kg_from_row(row)).high


def _range(tracer: Tracer, row: Row, band: Band, inputs: dict[str, str | float | int | None]) -> RangeShown:
    trace = tracer.trace(protein_day_range if inputs else sodium_sweat_range, inputs, (row,))
    middle = (band.low + band.high) / 2.0
    figure = tracer.figure(middle, "mass", trace, span=(band.low, band.high), interval="published_spread")
    return RangeShown(row=row.ref, range=figure, cite=row.cite)


def _sum(figures: list[Figure]) -> Figure:
    """The sum of figures and of the ends of their ranges; the ends add because the doubt is one of the
    model."""
    values = [one.value or 0.0 for one in figures]
    if not figures or any(one.low is None or one.high is None for one in figures):
        return Figure(sum(values), "energy")
    low, high = sum(one.low or 0.0 for one in figures), sum(one.high or 0.0 for one in figures)
    return Figure(sum(values), "energy", low, high, "model_spread")
