"""How long a lot keeps: which limit its food reaches first, and the date to plan with.

A planning date is one to plan with, never a promise, and says nothing of what may be eaten: the
criteria answer that, separately and first.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Literal

import numpy as np

from saltfare.actions.context import Context
from saltfare.actions.pack_food import FOODS, Foods, foods_of, tails_of_food
from saltfare.actions.pack_place import RULES, KeptIn, kept_in, tails_of_places
from saltfare.actions.pack_pouch import Closed, closed
from saltfare.actions.shapes import Output, Tracer
from saltfare.actions.stream_tails import tails_of
from saltfare.core.errors import NotConverged, OutOfRange, Refused
from saltfare.core.fields import Frozen
from saltfare.core.figure import Figure, Note
from saltfare.core.tables import Row
from saltfare.jobs import key_of, model_version
from saltfare.journal.events_lot import Sealed
from saltfare.journal.lot import LotState
from saltfare.models.isotherms import Gab, food_class
from saltfare.models.isotherms_gab import aw_monolayer_gab
from saltfare.models.keeping import Change, Conditions, consumed
from saltfare.models.keeping_limit import (
    Limit,
    WaterLimit,
    aged,
    conditions_inside,
    first_limit,
    limit_of_change,
    limit_of_oxygen,
    limit_of_water,
)
from saltfare.models.mixing import Part, mix_equilibrium
from saltfare.models.pouch import pouch_area, pouch_volume
from saltfare.models.pouch_oxygen import AIR_OXYGEN_FRAC, OxygenPath, oxygen_through_film
from saltfare.models.pouch_place import DAY_S, YEAR_S, Place, place_seasonal
from saltfare.models.pouch_water import WaterPath, water_through_film

Mode = Literal[
    "eating_quality", "oxidation", "browning", "vitamin", "texture", "water", "oxygen", "guide", "label"
]
# 60 F: as cool as the colder of two printed storage temperatures (nchfp_storing).
_COOL_C = 15.6
_YEARS = (1, 3, 5)
_CURVE_POINTS = 62


class LimitShown(Frozen):
    """One limit: days on which it is reached, earliest, likeliest, latest; None beyond what was looked at.

    row: of the library, which it stands on. counted: whether the planning date looks at it.
    """

    mode: Mode
    row: str
    earliest: date | None
    likely: date | None
    latest: date | None
    counted: bool
    trace: str


class Assumed(Frozen):
    """Something nobody said, and what was taken for it, such as film, place_temperature or water."""

    what: str
    taken: str


class AgedShown(Frozen):
    """One change after so many years in a warm cupboard: share of its way to the limit, low, middle, high;
    and what is left of a vitamin, least, middle, most, None for what is not counted so."""

    years: int
    mode: Mode
    row: str
    share: tuple[float, float, float]
    left_frac: tuple[float, float, float] | None


class CurvePoint(Frozen):
    """One day: temperature, water activity inside (low, middle, high film), oxygen of the gas inside."""

    on: date
    temp_c: float
    aw: tuple[float, float, float]
    oxygen_frac: tuple[float, float, float]


class PackKeeping(Output):
    """planning_date: the earliest end of any limit, never beyond what an agency prints; `low` is the same
    day. middle, high: of the first limit reached. None: not known (notes say why) or not within `until`.

    first_limit: mode of what sets the planning date, "" where there is none. doubtful: an isotherm was used
    outside its range. assumed: what nobody said. basis: of the air, read, described or assumed.
    """

    code: str
    planning_date: date | None
    low: date | None
    middle: date | None
    high: date | None
    first_limit: Mode | Literal[""]
    limits: tuple[LimitShown, ...]
    aged: tuple[AgedShown, ...]
    curve: tuple[CurvePoint, ...]
    aw: Figure | None
    until: date | None
    doubtful: bool
    assumed: tuple[Assumed, ...]
    basis: str


def pack_keeping(context: Context, lot: LotState) -> PackKeeping:
    """How long the packs of a lot keep where they are, from the day they were packed; kept until something
    of the lot, its food or its place changes."""
    kept = context.cache.cached(_key(context, lot), lambda: _made(context, lot).model_dump(mode="json"))
    return PackKeeping.model_validate(kept)


def keeping_known(context: Context, lot: LotState) -> PackKeeping | None:
    """The same where it was worked out already, None where it would have to be."""
    kept = context.cache.get(_key(context, lot))
    return None if kept is None else PackKeeping.model_validate(kept)


def _key(context: Context, lot: LotState) -> str:
    return key_of(
        action="pack_keeping",
        given=[lot.code, context.settings.zone],
        heads={
            **tails_of_food(context, lot),
            **tails_of_places(context, lot),
            **tails_of(context, "film/"),
        },
        version=model_version(context.library.version),
    )


def _made(context: Context, lot: LotState) -> PackKeeping:
    try:
        return keeping_of(
            context,
            code=lot.code,
            foods=foods_of(context, lot),
            pouch=closed(context, lot.made),
            sealed=lot.made.sealed,
            air=kept_in(context, lot),
            printed_on=lot.made.printed_on,
        )
    except Refused as refused:
        return not_known(lot, *(problem.code for problem in refused.problems))
    except (OutOfRange, NotConverged):
        return not_known(lot, "keeping_out_of_range")


def not_known(lot: LotState, *why: str) -> PackKeeping:
    """No date of ours, and why; the one its maker printed, where there is one."""
    printed = lot.made.printed_on
    label = _label(printed) if printed else ()
    return PackKeeping(
        code=lot.code,
        planning_date=printed,
        low=printed,
        middle=printed,
        high=printed,
        first_limit="label" if printed else "",
        limits=label,
        aged=(),
        curve=(),
        aw=None,
        until=None,
        doubtful=True,
        assumed=(),
        basis="",
        notes=tuple(Note(code) for code in why),
    )


def _label(printed: date) -> tuple[LimitShown, ...]:
    return (
        LimitShown(
            mode="label", row="", earliest=printed, likely=printed, latest=printed, counted=True, trace=""
        ),
    )


@dataclass(frozen=True, slots=True)
class _Inside:
    """The courses inside a pouch; oxygen None where it lies open."""

    water: WaterPath | None
    oxygen: OxygenPath | None
    conditions: Conditions
    aw_start: float


def keeping_of(
    context: Context,
    *,
    code: str,
    foods: Foods,
    pouch: Closed,
    sealed: Sealed,
    air: KeptIn,
    printed_on: date | None = None,
) -> PackKeeping:
    """How long foods keep in a pouch and a place; not beyond the date printed on them. Raises Refused,
    OutOfRange, NotConverged."""
    inside = _inside(context, foods, pouch, sealed, air.place)
    tracer, notes = Tracer(), list(foods.notes)
    trace = tracer.trace(
        limit_of_change,
        {
            "foods": ", ".join(kind for food in foods.foods for kind in food.kinds),
            "water_activity": round(inside.aw_start, 4),
            "film": pouch.film,
            "pouch_width": pouch.pouch.width_m,
            "pouch_height": pouch.pouch.height_m,
            "stored_temperature": float(np.average(air.place.temp_c, weights=air.place.spans_s)),
            "stored_humidity": float(np.average(air.place.rh_frac, weights=air.place.spans_s)),
            "sealed": sealed,
        },
        (*pouch.rows, *air.rows, *{row.ref: row for food in foods.foods for row in food.rows}.values()),
    )
    counted, shown_only, guides = _limits(context, foods, inside, air.place, notes)
    horizon_s = float(air.place.ends_s[-1])
    guide_s, guide_ref = min(guides, default=(None, ""))
    doubts = _doubts(foods, inside, air.place)
    found = first_limit(
        limits=counted, horizon_s=horizon_s, guide_s=guide_s, guide_ref=guide_ref, doubtful=bool(doubts)
    )
    notes += found.notes
    if sealed == "no_oxygen" and pouch.absorber_m3 is None:
        notes.append(Note("vacuum_counted_as_air"))
    if shown_only:
        notes.append(Note("oxygen_limit_shown_only"))
    modes = {one.ref: one.mode for one in counted} | {guide_ref: "guide"}

    def on(seconds: float | None) -> date | None:
        return None if seconds is None else _day(context, air.since, seconds)

    everything = [*counted, *shown_only, *(Limit("guide", ref, s, s, s) for s, ref in guides)]
    planning, mode = on(found.planning_s), modes.get(found.planning_ref, "")
    if printed_on is not None and (planning is None or printed_on < planning):
        planning, mode = printed_on, "label"
    first = found.first
    middle, high = (on(first.middle_s), on(first.latest_s)) if first else (None, None)
    return PackKeeping(
        code=code,
        planning_date=planning,
        low=planning,
        middle=middle,
        high=high,
        first_limit=mode,
        limits=tuple(
            LimitShown(
                mode=one.mode,
                row=one.ref,
                earliest=on(one.earliest_s),
                likely=on(one.middle_s),
                latest=on(one.latest_s),
                counted=one not in shown_only,
                trace=trace,
            )
            for one in sorted(everything, key=lambda one: (one.earliest_s is None, one.earliest_s or 0.0))
        )
        + (_label(printed_on) if printed_on else ()),
        aged=_aged(context, foods, inside.aw_start),
        curve=_curve(context, air, inside),
        aw=tracer.figure(
            inside.aw_start,
            "ratio",
            trace,
            span=_around(inside.aw_start, context.library.row(RULES, "aw_error").number("share")),
            interval="published_spread",
            extrapolated=bool(doubts),
        ),
        until=on(horizon_s),
        doubtful=found.doubtful,
        assumed=tuple(
            Assumed(what=what, taken=taken)
            for what, taken in dict.fromkeys(
                (*foods.assumed, *pouch.assumed, *((name, "") for name in air.assumed))
            )
        ),
        basis=air.basis,
        notes=tuple({note.code: note for note in notes}.values()),
        traces=tracer.traces,
    )


def _around(value: float, half: float) -> tuple[float, float]:
    return max(value - half, 0.0), min(value + half, 1.0)


def _day(context: Context, since: datetime, seconds: float) -> date:
    return (since + timedelta(seconds=seconds)).astimezone(context.zone).date()


def _inside(context: Context, foods: Foods, pouch: Closed, sealed: Sealed, place: Place) -> _Inside:
    parts = [food.part for food in foods.foods]
    steps = place.ends_s.size
    if sealed == "open":
        # nothing holds the air off: anywhere between what it was and what the air makes of it
        start = _start(parts, float(place.temp_c[0]))
        aw = np.sort(np.stack([np.full(steps, start), place.rh_frac]), axis=0)
        return _Inside(None, None, Conditions(place.ends_s, place.temp_c, aw, np.ones((2, steps))), start)
    area = pouch_area(width_m=pouch.pouch.width_m, height_m=pouch.pouch.height_m, seal_m=pouch.pouch.seal_m)
    water = water_through_film(
        parts=parts, film=pouch.pouch.film, area_m2=area, place=place, leak_kg_per_s_pa=0.0
    )
    start = float(water.aw[1, 0])
    oxygen = oxygen_through_film(
        film=pouch.pouch.film,
        area_m2=area,
        gas_m3=_gas(context, foods, pouch, sealed),
        place=place,
        aw_inside=start,
        absorber_m3=pouch.absorber_m3 if sealed == "no_oxygen" else None,
        start_frac=AIR_OXYGEN_FRAC,
        leak_m3_per_s_pa=0.0,
    )
    return _Inside(water, oxygen, conditions_inside(place=place, water=water, oxygen=oxygen), start)


def _start(parts: list[Part], temp_c: float) -> float:
    return mix_equilibrium(parts=parts, temp_c=temp_c, least_change_aw=0.0).aw


def _gas(context: Context, foods: Foods, pouch: Closed, sealed: Sealed) -> float:
    """Gas sealed in: what the pouch leaves, or at least the gaps of the food; drawn, a share of it."""
    true = sum(food.mass_kg for food in foods.foods) / context.library.row(RULES, "true_density").number(
        "density"
    )
    poured = sum(food.mass_kg / bulk_of(context, food.kinds[0])[1] for food in foods.foods)
    gas = max(pouch_volume(pouch=pouch.pouch), poured) - true
    if sealed == "no_oxygen" and pouch.absorber_m3 is None:
        return gas * context.library.row(RULES, "vacuum_left").number("share")
    return gas


def bulk_of(context: Context, kind: str) -> tuple[float, float, float]:
    """Poured density of a kind of food: low, middle, high [kg/m3]."""
    row = context.library.row("packing_densities", context.library.row(FOODS, kind).text("bulk"))
    low, high = row.number("bulk_low"), row.number("bulk_high")
    return low, 0.5 * (low + high), high


def monolayer_aw(context: Context) -> float:
    """Activity of the monolayer: of gelatinised starch, the one row measured at room temperature."""
    starch = food_class(library=context.library, class_id="starch_cooked").isotherm
    if not isinstance(starch, Gab):
        raise AssertionError("the isotherm of starch is a GAB")
    _, guggenheim, k = starch.at(25.0)
    return aw_monolayer_gab(guggenheim=float(guggenheim), k=float(k))


def changes_of(context: Context, foods: Foods) -> list[Change]:
    """Every change that counts for the foods; fat oxidises wherever there is some, or nobody said."""
    names: dict[str, None] = {}
    for food in foods.foods:
        for kind in food.kinds:
            names |= dict.fromkeys(context.library.row(FOODS, kind).text("changes").split())
        # lard's times are of fat laid open to air: a whole piece meets it at its surface alone
        if food.kinds != ("meat_whole",) and (food.fat_frac is None or food.fat_frac > 0.0):
            names["animal_fat_oxidation"] = None
    return [Change.from_row(context.library.row("keeping_kinetics", name)) for name in names]


def _limits(
    context: Context, foods: Foods, inside: _Inside, place: Place, notes: list[Note]
) -> tuple[list[Limit], list[Limit], list[tuple[float, str]]]:
    """Limits that count, limits that are only shown, and what agencies print (time, row)."""
    monolayer = monolayer_aw(context)
    counted = [
        limit_of_change(found=consumed(change=one, conditions=inside.conditions, aw_monolayer=monolayer))
        for one in changes_of(context, foods)
    ]
    rows = [context.library.row(FOODS, kind) for food in foods.foods for kind in food.kinds]
    for name in dict.fromkeys(row.text("limit") for row in rows):
        if not name:
            continue
        limit = WaterLimit.from_row(context.library.row("keeping_water", name))
        if inside.aw_start >= limit.low_aw:
            notes.append(Note(f"keeping_begins_above_{name}", {"aw": round(inside.aw_start, 2)}))
        if inside.water is not None:
            counted.append(limit_of_water(path=inside.water, limit=limit))
        else:
            counted.append(_open_limit(inside, limit))
    mould = context.library.row("keeping_water", "mould").number("low_aw")
    if inside.aw_start >= mould and any(not row.text("limit") for row in rows):
        notes.append(Note("keeping_moist_food"))
    shown = []
    if inside.oxygen is not None and inside.oxygen.left_m3 is not None:
        row = context.library.row("keeping_oxygen", "low_oxygen")
        shown.append(limit_of_oxygen(path=inside.oxygen, limit_frac=row.number("limit"), ref=row.ref))
    guides = {row.ref: row for row in (_guide(context, one, place) for one in rows)}
    return counted, shown, sorted((row.number("time_low"), row.ref) for row in guides.values())


def _open_limit(inside: _Inside, limit: WaterLimit) -> Limit:
    """Open to the air it may be there within days, or never: nobody knows how fast."""
    wet = float(inside.conditions.aw[1].max())
    earliest = 0.0 if wet >= limit.low_aw else None
    return Limit("water", limit.ref, earliest, earliest, None if wet < limit.high_aw else earliest)


def _guide(context: Context, row: Row, place: Place) -> Row:
    name = row.text("guide")
    if name.endswith("_80f") and float(place.temp_c.max()) <= _COOL_C:
        name = name.removesuffix("_80f") + "_60f"
    return context.library.row("keeping_guides", name)


def _doubts(foods: Foods, inside: _Inside, place: Place) -> tuple[str, ...]:
    if inside.water is not None:
        return tuple(inside.water.doubts)
    aw = inside.conditions.aw
    return tuple(
        dict.fromkeys(
            doubt
            for food in foods.foods
            for doubt in food.part.isotherm.within.doubts(aw=aw, temp_c=place.temp_c)
        )
    )


def _aged(context: Context, foods: Foods, aw: float) -> tuple[AgedShown, ...]:
    """What years in a warm cupboard do, in air, at the activity as packed."""
    middle, swing = (context.library.row(RULES, name) for name in ("warm_cupboard", "warm_cupboard_swing"))
    out = []
    for years in _YEARS:
        place = place_seasonal(
            temp_c=middle.number("temp"),
            temp_swing_c=swing.number("temp"),
            rh_frac=middle.number("humidity"),
            rh_swing_frac=swing.number("humidity"),
            start_s=0.0,
            time_s=years * YEAR_S,
            step_s=30.0 * DAY_S,
        )
        ones = np.ones((2, place.ends_s.size))
        conditions = Conditions(place.ends_s, place.temp_c, aw * ones, ones)
        for one in aged(
            changes=changes_of(context, foods), conditions=conditions, aw_monolayer=monolayer_aw(context)
        ):
            out.append(
                AgedShown(
                    years=years,
                    mode=one.mode,
                    row=one.ref,
                    share=one.consumed,
                    left_frac=one.kept_frac,
                )
            )
    return tuple(out)


def _curve(context: Context, air: KeptIn, inside: _Inside) -> tuple[CurvePoint, ...]:
    if inside.water is None or inside.oxygen is None:
        return ()
    times = inside.water.times_s
    keep = sorted({*range(0, times.size, max(1, times.size // _CURVE_POINTS)), times.size - 1})
    temps = np.append(air.place.temp_c[0], air.place.temp_c)
    return tuple(
        CurvePoint(
            on=_day(context, air.since, float(times[i])),
            temp_c=float(temps[i]),
            aw=_three(inside.water.aw[:, i]),
            oxygen_frac=_three(inside.oxygen.frac[:, i]),
        )
        for i in keep
    )


def _three(values: Any) -> tuple[float, float, float]:
    low, middle, high = (float(v) for v in values)
    return low, middle, high
