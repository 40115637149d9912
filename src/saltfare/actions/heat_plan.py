"""Between which two times of day the middle reaches a temperature, and the running picture of a log."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Annotated, Literal

import numpy as np
from pydantic import AwareDatetime, Field

from saltfare.actions.context import Context
from saltfare.actions.judged_facts import gathered
from saltfare.actions.judged_items import Item, item, told_of
from saltfare.actions.judged_logs import checked
from saltfare.actions.judged_shapes import ReadingGiven, TemperatureError
from saltfare.actions.piece_forecast import made_of
from saltfare.actions.piece_shapes import Thickness
from saltfare.actions.shapes import Output, Query, Tracer
from saltfare.core.errors import NotConverged, NotFound, OutOfRange, Problem, Refused
from saltfare.core.fields import Frozen, Measured, Quantity
from saltfare.core.figure import Note
from saltfare.core.numerics import Array
from saltfare.core.tables import Row
from saltfare.journal import events_judged as judged
from saltfare.models.criteria_tests import Rulebook
from saltfare.models.hazards import Resistance, held_table, log_reduction_bigelow
from saltfare.models.hazards_log import Log, LogRules
from saltfare.models.hazards_picture import log_reduction_rows
from saltfare.models.heating import Spread, reach_conduction
from saltfare.models.thermal import Composition

Around = Annotated[Measured, Quantity("surround_temperature")]
AroundError = Annotated[Measured, Quantity("surround_error")]
Start = Annotated[Measured, Quantity("start_temperature")]
Target = Annotated[Measured, Quantity("target_temperature")]
Medium = Literal[
    "oven_still", "oven_fan", "smoker", "water_bath", "boiling", "pan", "fridge", "ice_water", "freezer"
]
_DRY = frozenset({"oven_still", "oven_fan", "smoker"})
_END_S, _STEPS, _CELLS = 86400.0, 240, 24
_POULTRY = frozenset({"chicken", "turkey", "duck", "goose", "other_poultry", "mixed_poultry", "mixed"})
# 6.5 and 7 decimal reductions are what the printed tables for meat and for poultry are made for.
_TARGETS = {"meat": 6.5, "poultry": 7.0}
_CURVE_POINTS = 240


class HeatPlanGiven(Query):
    """A piece or lot in an oven, smoker, water bath, pan or in the cold; thickness and shape from the piece
    where they are not given. around: the air or water about it, off by `around_error` at the most."""

    code: str = Field(max_length=40)
    medium: Medium
    around: Around
    around_error: AroundError
    start: Start
    start_error: TemperatureError | None = None
    target: Target
    thickness: Thickness | None = None
    shape: Literal["slab", "cylinder"] | None = None
    starts_at: AwareDatetime | None = None


class Narrower(Frozen):
    """An input, and how wide the interval would be were it the only one not known (s); None beyond a day."""

    quantity: str
    width_s: float | None


class HeatPlanShown(Output):
    """Earliest, likeliest and latest time the middle gets there; None: not within a day of the start.

    narrower: inputs, the one that widens most first.
    """

    code: str
    name: str
    version: int
    starts_at: datetime
    target_c: float
    earliest: datetime | None
    likeliest: datetime | None
    latest: datetime | None
    narrower: tuple[Narrower, ...]
    trace: str


class LogPictureGiven(Query):
    """A recorded log by its event, or readings not recorded yet."""

    code: str = Field(max_length=40)
    event_id: str | None = Field(default=None, max_length=40)
    readings: tuple[ReadingGiven, ...] = Field(default=(), max_length=20_000)
    error: TemperatureError | None = None


class PicturePoint(Frozen):
    """One instant: the reading, and the log reductions so far, by readings lower by their error."""

    at: datetime
    temp_c: float
    salmonella: float
    listeria: float


class LogPictureShown(Output):
    """A log with its running log reductions. A picture: no verdict is made by it.

    table: which printed table the target is of (meat, poultry). reached_at: when the picture passes it. row:
    the printed row held best, its temperature, time asked and the share held for certain.
    """

    code: str
    name: str
    of: str
    species: str | None
    table: Literal["meat", "poultry"]
    target: float
    points: tuple[PicturePoint, ...]
    reached_at: datetime | None
    row_temp_c: float | None
    row_time_s: float | None
    row_share: float | None
    error_k: float
    trusted: bool


def heat_plan(context: Context, given: HeatPlanGiven) -> HeatPlanShown:
    """Between which two times of day the middle reaches a temperature, and what would narrow it."""
    found = item(context, given.code)
    state = found.piece
    shape = given.shape or (state.started.shape if state else None)
    known = gathered(context, found).facts.thickness.value
    thick = given.thickness.value if given.thickness else known
    if shape is None or not isinstance(thick, float | int):
        raise Refused(Problem("missing", "shape" if shape is None else "thickness"))
    row = context.library.row("surface_heat", given.medium)
    off = context.library.row("fact_errors", "thickness").number("half_width")
    degree = context.library.row("log_rules", "heating").number("error_c")
    starts = given.starts_at or context.now
    start_off = given.start_error.value if given.start_error else degree
    made, rows = _composition(context, found)
    reached = reach_conduction(
        shape=shape,
        half_m=_around(0.5 * float(thick), 0.5 * off),
        composition=made,
        start_temp_c=_around(given.start.value, start_off, least=0.0),
        surround_temp_c=_around(given.around.value, given.around_error.value, least=0.0),
        surface_w_per_m2_k=Spread(row.number("low"), row.number("middle"), row.number("high")),
        target_c=given.target.value,
        end_s=_END_S,
        steps=_STEPS,
        cells=_CELLS,
    )
    tracer = Tracer()
    trace = tracer.trace(
        reach_conduction,
        {
            "thickness": float(thick),
            "surround_temperature": given.around.value,
            "surround_error": given.around_error.value,
            "start_temperature": given.start.value,
            "target_temperature": given.target.value,
            "water_share": made.water_frac,
            "fat_share": made.fat_frac,
        },
        (row, *rows),
    )
    widths = sorted(reached.alone_s.items(), key=lambda one: -one[1])
    notes = [Note("no_countdown")] + ([Note("surface_stays_wet")] if given.medium in _DRY else [])

    def at(seconds: float) -> datetime | None:
        return starts + timedelta(seconds=seconds) if np.isfinite(seconds) else None

    return HeatPlanShown(
        code=found.code,
        name=found.name,
        version=found.version,
        starts_at=starts,
        target_c=given.target.value,
        earliest=at(reached.low_s),
        likeliest=at(reached.middle_s),
        latest=at(reached.high_s),
        narrower=tuple(
            Narrower(quantity=_NAMES[name], width_s=width if np.isfinite(width) else None)
            for name, width in widths
        ),
        trace=trace,
        notes=tuple(notes),
        traces=tracer.traces,
    )


_NAMES = {
    "half_m": "thickness",
    "start_temp_c": "start_temperature",
    "surround_temp_c": "surround_temperature",
    "surface_w_per_m2_k": "surface_coefficient",
}


def _around(middle: float, half: float, *, least: float = 0.0) -> Spread:
    """From the middle less its error to the middle and its error; never through the floor of a model."""
    return Spread(max(middle - half, min(least, middle)), middle, middle + half)


def _composition(context: Context, found: Item) -> tuple[Composition, tuple[Row, ...]]:
    """What it is made of: as its masses tell where it hangs, else as its cut is raw. Raises Refused."""
    state = found.piece
    if state is None:
        raise Refused(Problem("made_of_unknown", "code", found.code))
    try:
        row = context.library.row("cuts", state.started.cut)
    except NotFound:
        raise Refused(Problem("made_of_unknown", "code", found.code)) from None
    last = state.last_weight
    if state.hung and last is not None:
        try:
            made = made_of(context, state)
            mass = state.comparable_kg(last[1], last[0])
            water = made.water_kg - (state.hung[-1].body.mass.value - mass)
            parts = (water, made.solids_kg, made.fat_kg, 0.0, made.salt_kg)
            return Composition(*(part / sum(parts) for part in parts)), (row,)
        except (Refused, OutOfRange, NotConverged):
            pass  # the plan no longer holds the piece: as raw
    raw = [row.number(f"{name}_pct") for name in ("water", "protein", "fat", "ash")]
    water, protein, fat, ash = (part / sum(raw) for part in raw)
    return Composition(water, protein, fat, 0.0, ash), (row,)


def log_picture(context: Context, given: LogPictureGiven) -> LogPictureShown:
    """A temperature log with its running log reductions against their target."""
    found = item(context, given.code)
    points, error, of = _readings(given, found)
    rules = LogRules.from_row(context.library.row("log_rules", "heating"))
    log = checked(readings=points, error_k=error, rules=rules)
    species = gathered(context, found).facts.species.value
    table: Literal["meat", "poultry"] = "meat" if species and species not in _POULTRY else "poultry"
    book, target = Rulebook.from_library(context.library), _TARGETS[table]
    holds = book.holds["meat:short" if table == "meat" else "poultry:long"]
    listeria = _running(log, Resistance.from_row(context.library.row("heat_resistance", "listeria")))
    if table == "meat":
        salmonella = _running(
            log, Resistance.from_row(context.library.row("heat_resistance", "salmonella_meat"))
        )
    else:
        whole = log_reduction_rows(
            time_s=log.time_s, temp_c=log.temp_c - log.error_c, holds=holds, target=target
        )
        salmonella = _trusted(log, whole)
    held = held_table(log=log, holds=holds)
    passed = np.flatnonzero(salmonella >= target)
    first = points[0][0]
    keep = range(0, len(points), max(1, len(points) // _CURVE_POINTS))
    kept = sorted({*keep, len(points) - 1, log.peak})
    notes = [Note("picture_is_no_verdict"), Note("listeria_shown_only")]
    notes += [Note("picture_poultry_rows")] if table == "poultry" else []
    notes += [Note("ours_log_jumps")] if log.jumps else [] if log.whole else [Note("ours_log_gaps")]
    return LogPictureShown(
        code=found.code,
        name=found.name,
        of=of,
        species=str(species) if species else None,
        table=table,
        target=target,
        points=tuple(
            PicturePoint(
                at=points[i][0],
                temp_c=float(log.temp_c[i]),
                salmonella=float(salmonella[i]),
                listeria=float(listeria[i]),
            )
            for i in kept
        ),
        reached_at=first + timedelta(seconds=float(log.time_s[passed[0]])) if passed.size else None,
        row_temp_c=holds[held.row].temp_c if held.row is not None else None,
        row_time_s=holds[held.row].time_s if held.row is not None else None,
        row_share=held.worst if np.isfinite(held.worst) else None,
        error_k=log.error_c,
        trusted=log.whole,
        notes=tuple(notes),
    )


def _readings(given: LogPictureGiven, found: Item) -> tuple[list[tuple[datetime, float]], float | None, str]:
    if given.event_id is not None:
        for happened in found.happened:
            body = told_of(happened)
            if happened.event.id == given.event_id and isinstance(body, judged.TemperatureLogged):
                error = body.error.value if body.error else None
                return [(r.at, r.temperature.value) for r in body.readings], error, body.of
        raise NotFound("temperature_log", given.event_id)
    if len(given.readings) < 2:
        raise Refused(Problem("log_too_few", "readings", str(len(given.readings)), "2"))
    error = given.error.value if given.error else None
    return [(r.at, r.temperature.value) for r in given.readings], error, "heating"


def _running(log: Log, resistance: Resistance) -> Array:
    """Log reductions so far, readings lower by their error, nothing on stretches that are not trusted."""
    whole = log_reduction_bigelow(time_s=log.time_s, temp_c=log.temp_c - log.error_c, resistance=resistance)
    return _trusted(log, whole)


def _trusted(log: Log, running: Array) -> Array:
    return np.concatenate(([0.0], np.cumsum(np.where(log.trusted, np.diff(running), 0.0))))
