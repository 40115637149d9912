"""Wants as a plan takes them: what was wished or typed, filled in from the last piece, the recipes and the
chambers; what is on the shelf and what is under way counted off."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from saltfare.actions.back_plan_shapes import CuredGiven, DishGiven, WishFields
from saltfare.actions.context import Context
from saltfare.actions.dish_view import plan_of as dish_plan_of
from saltfare.core.errors import NotConverged, NotFound, OutOfRange, Problem, Refused
from saltfare.core.fields import Measured
from saltfare.core.figure import Note
from saltfare.core.tables import Row
from saltfare.journal.chamber import chamber, chambers
from saltfare.journal.dish import DishStage, DishState, dish, dishes
from saltfare.journal.lot import lots
from saltfare.journal.piece import PieceState, State, piece, pieces
from saltfare.journal.plan import RoomState
from saltfare.journal.trip import trip
from saltfare.plans.back_plan_chance import Days
from saltfare.plans.back_plan_courses import ChamberAir, CuredWant, DishWant
from saltfare.plans.back_plan_shapes import UnderWay
from saltfare.plans.buying import Band
from saltfare.plans.forecast_air import AirReadings, UsualAir, air_programme
from saltfare.plans.forecast_priors import ForecastPriors
from saltfare.plans.piece_parts import Freezing, MixLabel, ParasiteStep, PieceRequest, TwoApplications

_RULES = "back_plan_rules"
_UNCOOKED = ("home_cold", "carried")


@dataclass(frozen=True, slots=True)
class Wanted:
    """A want with its key: as asked, the day it must be packed, and what is there already."""

    key: str
    wish: WishFields
    needed_by: date
    on_hand_kg: float = 0.0
    on_hand_packs: int = 0


def needed_by(context: Context, wish: WishFields) -> date:
    """The last day to pack: as told, or the day before a trip leaves."""
    if wish.needed_by is not None:
        return wish.needed_by
    if wish.trip is None:
        raise Refused(Problem("wish_day_or_trip", "needed_by"))
    return trip(context.journal, wish.trip).departure - timedelta(days=1)


def chamber_airs(
    context: Context, room: RoomState, wish: CuredGiven, priors: ForecastPriors
) -> tuple[ChamberAir, ...]:
    """Where a wish could hang: the chamber it names, else every one with a hook told.

    Raises Refused where there is none.
    """
    if wish.chamber is not None:
        if room.hooks.get(wish.chamber) == 0:
            raise Refused(Problem("chamber_no_hooks", "cured.chamber", wish.chamber))
        keys = [wish.chamber]
    else:
        keys = [one.key for one in chambers(context.journal) if room.hooks.get(one.key, 0) > 0]
    if not keys:
        raise Refused(Problem("no_chamber", "cured.chamber"))
    found = [air for key in keys if (air := air_of(context, key, priors)) is not None]
    if not found:
        raise Refused(Problem("air_unknown", "cured.chamber", keys[0]))
    return tuple(found)


def air_of(context: Context, key: str, priors: ForecastPriors) -> ChamberAir | None:
    """The air to count on in a chamber: its readings of late, else as described; None where neither is."""
    described = chamber(context.journal, key).described
    usual = None
    speed = context.library.row("hanging_rules", "air_speed").number("speed")
    if described is not None:
        if described.temperature and described.humidity:
            usual = UsualAir(described.temperature.value, described.humidity.value)
        if described.air_speed:
            speed = described.air_speed.value
    # counted from the last reading, so that the air, and what was simulated in it, stays until one comes
    recent = timedelta(seconds=priors.air_recent_s)
    last = context.journal.readings.last(key, context.now)
    begin = last.at - recent if last is not None else context.now
    late = last is not None and last.at >= context.now - recent
    read = context.journal.readings.range(key, begin, context.now) if late else ()
    readings = None
    if read:
        readings = AirReadings(
            np.array([(one.at - begin).total_seconds() for one in read]),
            np.array([one.temp_c for one in read]),
            np.array([one.rh_frac for one in read]),
        )
    try:
        assumed = air_programme(
            readings=readings, usual=usual, horizon_s=priors.air_recent_s + 1.0, priors=priors
        ).assumed
    except Refused:
        return None
    return ChamberAir(key=key, air=assumed, speed_m_per_s=speed)


def cured_want(context: Context, one: Wanted, given: CuredGiven, room: RoomState) -> CuredWant:
    """A cured wish, filled in. Raises Refused for what nobody told."""
    library = context.library
    # as the last piece that was rubbed; a brine or a box says nothing of a rub
    rubbed = (p for p in reversed(pieces(context.journal)) if p.started.salting.method == "weighed_dose")
    last = next(rubbed, None)
    begun = last.started if last else None
    problems = []
    salt = given.salt_share or (begun.salting.salt if begun else None)
    if salt is None:
        problems.append(Problem("missing", "cured.salt_share"))
    mix = given.mix or next(
        (p.started.salting.mix for p in reversed(pieces(context.journal)) if p.started.salting.mix), None
    )
    cut = library.row("cuts", given.cut)
    step, freezing = _parasites(given, cut, room, problems)
    if problems or salt is None:
        raise Refused(*problems)
    cold = begun.salting.temperature.value if begun else None
    if cold is None:
        cold = library.row("salting_rules", "cold_limit").number("temp_c")
    rule = library.row("buying_rules", "trim"), library.row("buying_rules", "end_trim")
    trim, end_trim = (Band(*(row.number(c) for c in ("pct_low", "pct", "pct_high"))) for row in rule)
    shape = given.shape or ("slab" if cut.text("bacon_like") == "yes" else "cylinder")
    request = PieceRequest(
        start=context.today,
        purpose=given.purpose,
        cut=given.cut,
        rules=begun.salting.rules if begun else "us_home",
        green_mass_kg=1.0,
        shape=shape,
        thickness_m=given.thickness.value,
        length_m=1.0,
        width_m=_si(given.width),
        salt_frac=salt.value,
        mix=None
        if mix is None
        else MixLabel(
            name=mix.name,
            nitrite_frac=mix.nitrite.value,
            nitrate_frac=_si(mix.nitrate),
            salt_frac=_si(mix.salt),
            nitrite_salt=mix.nitrite_salt,
            nitrate_salt=mix.nitrate_salt,
        ),
        nitrite_frac=_si(begun.salting.nitrite) if begun else None,
        scale_step_kg=begun.salting.scale_step.value if begun else 1e-4,
        salting_temp_c=cold,
        chamber_temp_c=cold,
        chamber_humidity_frac=0.75,
        target_loss_frac=_si(given.target_loss),
        twice=TwoApplications() if given.applications == 2 else None,
        origin=given.origin,
        parasite_step=step,
        freezing=freezing,
    )
    return CuredWant(
        id=one.key,
        name=one.wish.name,
        finished_kg=max(given.mass.value - one.on_hand_kg, 0.0),
        needed_by=one.needed_by,
        request=request,
        trim=trim,
        end_trim=end_trim,
    )


def _parasites(
    given: CuredGiven, cut: Row, room: RoomState, problems: list[Problem]
) -> tuple[ParasiteStep, Freezing | None]:
    """The parasite step: as told, else freezing where pork is to be eaten uncooked."""
    step: ParasiteStep | None = given.parasite_step
    if step is None:
        step = "freeze" if cut.text("species") == "pork" and given.purpose in _UNCOOKED else "none"
    if step != "freeze":
        return step, None
    if room.freezer_temperature is None:
        problems.append(Problem("freezer_not_told", "freezer_temperature"))
        return step, None
    return step, Freezing(temp_c=room.freezer_temperature.value)


def dish_want(context: Context, one: Wanted, given: DishGiven) -> tuple[DishWant, tuple[Note, ...]]:
    """A dish wish, filled in from its recipe or the rules. Raises Refused for what nobody told."""
    notes: list[Note] = []
    tray, hours = _si(given.tray_mass), None
    if given.recipe is not None:
        try:
            batch = dish(context.journal, given.recipe)
        except NotFound:
            raise Refused(Problem("recipe_unknown", "dish.recipe", given.recipe)) from None
        try:
            plan = dish_plan_of(context, batch)
            tray = tray if tray is not None else plan.trayed_kg / batch.choice.packs
            told = plan.forecast.dry_s
            if None not in told:
                hours = tuple((s or 0.0) / 3600.0 for s in told)
        except (Refused, OutOfRange, NotConverged):
            notes.append(Note("recipe_not_planned", {"recipe": given.recipe}))
    if tray is None:
        raise Refused(Problem("missing", "dish.tray_mass"))
    row = context.library.row(_RULES, "tray_hours")
    usual = tuple(row.number(name) / 3600.0 for name in ("hours_low", "hours", "hours_high"))
    if given.hours is not None:
        middle = given.hours.value / 3600.0
        hours = (middle * usual[0] / usual[1], middle, middle * usual[2] / usual[1])
    elif hours is None:
        hours = usual
        notes.append(Note("tray_hours_usual", {"low_h": usual[0], "high_h": usual[2]}))
    return DishWant(
        id=one.key,
        name=one.wish.name,
        packs=max(given.packs - one.on_hand_packs, 0),
        needed_by=one.needed_by,
        tray_kg=tray,
        hours=(hours[0], hours[1], max(hours[2], 1.01 * hours[0])),
        soak=given.soak,
    ), tuple(notes)


def on_hand(context: Context, wanted: Sequence[Wanted]) -> tuple[Wanted, ...]:
    """What is on the shelf and held by no trip, or by the trip that asks, counted off in order of need."""
    free: dict[str, float] = {}
    stored = {lot.code: lot for lot in lots(context.journal)}
    for lot in stored.values():
        free[lot.code] = float(lot.free)
    out = []
    for one in sorted(wanted, key=lambda w: (w.needed_by, w.key)):
        kg, packs = 0.0, 0
        for code, lot in stored.items():
            held = lot.reserved.get(one.wish.trip or "", 0)
            there = free[code] + held
            if there < 1:
                continue
            if one.wish.cured is not None and lot.made.piece and not lot.made.parts:
                if not _same_cured(context, lot.made.piece, one.wish.cured):
                    continue
                short = one.wish.cured.mass.value - kg
                take = min(there, np.ceil(max(short, 0.0) / lot.made.mass.value))
                kg += take * lot.made.mass.value
            elif one.wish.dish is not None and lot.made.dish:
                if not _same_dish(context, lot.made.dish, one.wish):
                    continue
                take = min(there, float(one.wish.dish.packs - packs))
                packs += int(take)
            else:
                continue
            free[code] -= max(take - held, 0.0)
        out.append(replace(one, on_hand_kg=kg, on_hand_packs=packs))
    order = {one.key: n for n, one in enumerate(wanted)}
    return tuple(sorted(out, key=lambda one: order[one.key]))


def _same_cured(context: Context, code: str, wish: CuredGiven) -> bool:
    try:
        begun = piece(context.journal, code).started
    except NotFound:
        return False
    return begun.cut == wish.cut and begun.purpose == wish.purpose


def _same_dish(context: Context, code: str, wish: WishFields) -> bool:
    try:
        return _is_dish(dish(context.journal, code), wish)
    except NotFound:
        return False


def _is_dish(batch: DishState, wish: WishFields) -> bool:
    recipe = wish.dish.recipe if wish.dish else None
    if recipe is not None and recipe in (batch.code, batch.planned.again_of):
        return True
    return batch.name.casefold() == wish.name.casefold()


def pieces_for(context: Context, one: Wanted, given: CuredGiven) -> Iterator[PieceState]:
    """Pieces under way of the cut and for the purpose that is wanted, the furthest on first."""
    found = [
        state
        for state in pieces(context.journal)
        if state.state is not State.TAKEN_DOWN
        and state.started.cut == given.cut
        and state.started.purpose == given.purpose
    ]
    yield from sorted(found, key=lambda state: (not state.hung, state.started_at))


def finished_kg(context: Context, state: PieceState) -> float:
    """What a piece under way will give, its usual last trim taken off."""
    end = context.library.row("buying_rules", "end_trim").number("pct")
    target = state.target_now_kg
    return (target or 0.0) * (1.0 - end)


def batches_under_way(context: Context) -> tuple[DishState, ...]:
    """Batches that are neither packed nor ended."""
    return tuple(
        state
        for state in dishes(context.journal)
        if state.state is not DishStage.PACKED and state.ended is None
    )


def batch_under_way(context: Context, state: DishState, want: str) -> UnderWay:
    """A batch under way: its run, then the jar and the test pouch, in whole days."""
    rule = {row.text("id"): row for row in context.library.rows(_RULES)}
    hold = round((rule["condition"].number("time") + rule["test_pouch"].number("time")) / 86400.0)
    today = context.today
    worlds = np.full(1, 0.0)
    if state.state is DishStage.CONDITIONING:
        jar = max((e.at for e in state.conditioned if e.body.step == "in_jar"), default=context.now)
        left = hold - (today - jar.astimezone(context.zone).date()).days
        worlds = np.full(1, float(max(left, 1)))
    else:
        late = 2
        try:
            high = dish_plan_of(context, state).dry.high
            if high is not None:
                late = (high.astimezone(context.zone).date() - today).days
        except (Refused, OutOfRange, NotConverged):
            pass
        worlds = np.full(1, float(max(late, 0) + hold))
    return UnderWay(code=state.code, name=state.name, want=want, days=Days(worlds), packs=state.choice.packs)


def matches(batch: DishState, wish: WishFields) -> bool:
    """Whether a batch is what a wish asks for."""
    return _is_dish(batch, wish)


def _si(measured: Measured | None) -> float | None:
    return None if measured is None else measured.value
