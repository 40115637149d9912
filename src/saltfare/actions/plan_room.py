"""What is wished for, what there is room for, and when nobody is home."""

from __future__ import annotations

import re
from datetime import date, time
from typing import Annotated, Any

from pydantic import Field

from saltfare.actions.back_plan_shapes import WishFields
from saltfare.actions.chambers import key_of
from saltfare.actions.context import Context
from saltfare.actions.shapes import Command, Done, Output, Query, done
from saltfare.core.errors import NotFound, Problem, Refused
from saltfare.core.fields import Frozen, Measured, Quantity
from saltfare.journal import events_plan as kinds
from saltfare.journal.chamber import chamber, chambers
from saltfare.journal.dish import dishes
from saltfare.journal.events_piece import CureMix
from saltfare.journal.plan import away_days, room, wishes
from saltfare.journal.trip import trip, trips

Volume = Annotated[Measured, Quantity("fridge_volume")]
_MOST_AWAY = 400


class WishGiven(WishFields, Command):
    """A wish. key: an earlier one that it replaces; left out, it is a new one by its name."""

    key: str | None = Field(default=None, max_length=60)


class Wished(Done):
    """The key it is known by."""

    key: str


class DropGiven(Command):
    """A wish by its key."""

    key: str = Field(max_length=60)
    why: str = Field(default="", max_length=1000)


class CapacityGiven(Command):
    """Room as it is; what is left out stays as said before. hooks: by key of the chamber."""

    hooks: dict[str, int] = Field(default_factory=dict, max_length=60)
    takes_away: dict[str, Annotated[Measured, Quantity("water_taken_away")]] = Field(
        default_factory=dict, max_length=60
    )
    fridge_places: int | None = Field(default=None, ge=0, le=500)
    fridge_volume: Volume | None = None
    freezer_volume: Annotated[Measured, Quantity("freezer_volume")] | None = None
    freezer_temperature: Annotated[Measured, Quantity("freezer_temperature")] | None = None
    trays_area: Annotated[Measured, Quantity("trays_area")] | None = None
    work_from: time | None = None
    work_until: time | None = None


class AwayGiven(Command):
    """Days nobody is home, both ends among them; `home`: those days somebody is, after all."""

    first: date
    last: date
    home: bool = False
    why: str = Field(default="", max_length=200)


class PlanRoomGiven(Query):
    """Nothing."""


class ChamberRoom(Frozen):
    """A chamber with its hooks, None where nobody told."""

    key: str
    name: str
    hooks: int | None
    takes_away_kg: float | None


class WishShown(Frozen):
    """A wish as it stands."""

    key: str
    wish: WishFields


class PlanRoomShown(Output):
    """Wishes, room and days away as they stand (SI). trips: those still to leave, by code and name;
    recipes: the batches whose recipe a dish can have."""

    wishes: tuple[WishShown, ...]
    chambers: tuple[ChamberRoom, ...]
    fridge_places: int | None
    fridge_m3: float | None
    freezer_m3: float | None
    freezer_c: float | None
    trays_m2: float | None
    work_from_h: float | None
    work_until_h: float | None
    away: tuple[tuple[date, date], ...]
    trips: tuple[tuple[str, str], ...]
    recipes: tuple[tuple[str, str], ...]


def wish_stock(context: Context, given: WishGiven) -> Wished:
    """Wish for a mass of a cured cut or packs of a dish, by a day or for a trip."""
    refuse_unclear(context, given)
    before = context.journal.answered(given.request_id) if given.request_id else ()
    known = next((e.body.key for e in before if isinstance(e.body, kinds.StockWished)), None)
    key = given.key or known or _new_key(context, given.name)
    body = kinds.StockWished(
        key=key,
        name=given.name,
        cured=_cured(given),
        dish=None if given.dish is None else kinds.DishWished(**dict(given.dish)),
        needed_by=given.needed_by,
        trip=given.trip,
    )
    did = done(context, given, [(kinds.WISHES, body)])
    return Wished(**dict(did), key=key)


def drop_wish(context: Context, given: DropGiven) -> Done:
    """Wish for something no longer."""
    again = bool(given.request_id and context.journal.answered(given.request_id))
    if given.key not in wishes(context.journal) and not again:
        raise NotFound("wish", given.key)
    return done(context, given, [(kinds.WISHES, kinds.WishDropped(key=given.key, why=given.why))])


def set_capacity(context: Context, given: CapacityGiven) -> Done:
    """Say how many hooks, how much fridge, freezer and tray there is, and when somebody is up."""
    problems = []
    for name, keys in (("hooks", list(given.hooks)), ("takes_away", list(given.takes_away))):
        for key in keys:
            try:
                chamber(context.journal, key)
            except NotFound:
                problems.append(Problem("chamber_unknown", f"{name}.{key}", key))
    problems += [
        Problem("hooks_below_zero", f"hooks.{key}", str(count))
        for key, count in given.hooks.items()
        if count < 0
    ]
    begins, ends = given.work_from, given.work_until
    now = room(context.journal)
    if begins is not None or ends is not None:
        low = begins.hour + begins.minute / 60 if begins else now.work_from_h
        high = ends.hour + ends.minute / 60 if ends else now.work_until_h
        if low is not None and high is not None and low >= high:
            problems.append(Problem("work_ends_first", "work_until", str(ends or begins)))
    told: dict[str, Any] = {
        name: getattr(given, name) for name in kinds.RoomTold.model_fields if name != "reasons"
    }
    if not problems and all(value is None or value == {} for value in told.values()):
        problems.append(Problem("no_room_told", "hooks"))
    if problems:
        raise Refused(*problems)
    return done(context, given, [(kinds.ROOM, kinds.RoomTold(**told))])


def tell_away(context: Context, given: AwayGiven) -> Done:
    """Say on which days nobody is home to turn, weigh or cook; or that somebody is, after all."""
    if given.last < given.first:
        raise Refused(Problem("away_ends_first", "last", given.last.isoformat(), given.first.isoformat()))
    if (given.last - given.first).days >= _MOST_AWAY:
        raise Refused(
            Problem("away_all_the_time", "last", str((given.last - given.first).days + 1), str(_MOST_AWAY))
        )
    body = kinds.AwayTold(first=given.first, last=given.last, home=given.home, why=given.why)
    return done(context, given, [(kinds.AWAY, body)])


def plan_room(context: Context, given: PlanRoomGiven) -> PlanRoomShown:
    """What is wished for, what there is room for, and when nobody is home."""
    there = room(context.journal)
    return PlanRoomShown(
        wishes=tuple(
            WishShown(key=key, wish=as_asked(wish)) for key, wish in wishes(context.journal).items()
        ),
        chambers=tuple(
            ChamberRoom(
                key=one.key,
                name=one.name,
                hooks=there.hooks.get(one.key),
                takes_away_kg=there.takes_away[one.key].value if one.key in there.takes_away else None,
            )
            for one in chambers(context.journal)
        ),
        fridge_places=there.fridge_places,
        fridge_m3=_si(there.fridge_volume),
        freezer_m3=_si(there.freezer_volume),
        freezer_c=_si(there.freezer_temperature),
        trays_m2=_si(there.trays_area),
        work_from_h=there.work_from_h,
        work_until_h=there.work_until_h,
        away=spans(away_days(context.journal)),
        trips=tuple(
            (one.code, one.name)
            for one in trips(context.journal)
            if one.departure > context.today and one.cancelled is None
        ),
        recipes=tuple((one.code, one.name) for one in dishes(context.journal)),
    )


def spans(days: tuple[date, ...]) -> tuple[tuple[date, date], ...]:
    """Days in order as first and last of each run."""
    out: list[tuple[date, date]] = []
    for day in days:
        if out and (day - out[-1][1]).days == 1:
            out[-1] = (out[-1][0], day)
        else:
            out.append((day, day))
    return tuple(out)


def as_asked(wish: kinds.StockWished) -> WishFields:
    """A wish kept as it was asked for."""
    told = wish.model_dump()
    return WishFields.model_validate(
        {name: _plain(told[name]) for name in WishFields.model_fields if told.get(name) is not None}
    )


def _plain(value: object) -> object:
    """Measured values as what was typed is parsed from again: SI numbers."""
    if isinstance(value, dict):
        if set(value) == {"typed", "value"}:
            return Measured.model_validate(value)
        return {k: _plain(v) for k, v in value.items() if v is not None}
    return value


def refuse_unclear(context: Context, given: WishFields, field: str = "") -> None:
    """Refuse a wish that is neither or both, or is for no day or a day gone by."""
    at = f"{field}." if field else ""
    problems = []
    if (given.cured is None) == (given.dish is None):
        problems.append(Problem("wish_one_of", f"{at}cured"))
    if (given.needed_by is None) == (given.trip is None):
        problems.append(Problem("wish_day_or_trip", f"{at}needed_by"))
    if given.needed_by is not None and given.needed_by <= context.today:
        day = given.needed_by.isoformat()
        problems.append(Problem("day_gone_by", f"{at}needed_by", day, context.today.isoformat()))
    if given.trip is not None:
        try:
            leaves = trip(context.journal, given.trip).departure
        except NotFound:
            problems.append(Problem("trip_unknown", f"{at}trip", given.trip))
        else:
            if leaves <= context.today:
                problems.append(
                    Problem("day_gone_by", f"{at}trip", leaves.isoformat(), context.today.isoformat())
                )
    if given.cured is not None:
        known = [row.text("id") for row in context.library.rows("cuts")]
        if given.cured.cut not in known:
            problems.append(Problem("not_one_of", f"{at}cured.cut", given.cured.cut, ", ".join(known)))
        if given.cured.chamber is not None:
            try:
                chamber(context.journal, given.cured.chamber)
            except NotFound:
                problems.append(Problem("chamber_unknown", f"{at}cured.chamber", given.cured.chamber))
    if problems:
        raise Refused(*problems)


def _cured(given: WishFields) -> kinds.CuredWished | None:
    if given.cured is None:
        return None
    told = dict(given.cured)
    mix = given.cured.mix
    told["mix"] = None if mix is None else CureMix(**dict(mix))
    return kinds.CuredWished(**told)


def _new_key(context: Context, name: str) -> str:
    base = key_of(name)[:50]
    taken = {
        event.body.key
        for event in context.journal.events(kinds.WISHES)
        if isinstance(event.body, kinds.StockWished)
    }
    number = 1
    while (key := base if number == 1 else f"{base}-{number}") in taken:
        number += 1
    return re.sub(r"-+$", "", key)


def _si(measured: Measured | None) -> float | None:
    return None if measured is None else measured.value
