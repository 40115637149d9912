"""Trips: a list of them, and all that is told before a menu can be planned."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta
from typing import TypeVar

from saltfare.actions.codes_given import codes_before, new_codes
from saltfare.actions.context import Context
from saltfare.actions.shapes import Done, done
from saltfare.actions.trip_days import moving_time
from saltfare.actions.trip_offers import item_of
from saltfare.actions.trip_shapes import (
    BarGiven,
    CancelTripGiven,
    DayGiven,
    HoldGiven,
    LetGoGiven,
    PersonGiven,
    PlanTripGiven,
    SetDaysGiven,
    SetItemGiven,
    SetKitchenGiven,
    SetLimitsGiven,
    SetPartyGiven,
    SetStaplesGiven,
    TripLine,
    TripsGiven,
    TripsShown,
)
from saltfare.core.errors import NotFound, Problem, Refused
from saltfare.core.fields import Frozen
from saltfare.core.library import Library
from saltfare.journal import events_trip as kinds
from saltfare.journal.codes import parse_code
from saltfare.journal.events import Body
from saltfare.journal.events_lot import STREAM as LOTS
from saltfare.journal.events_lot import PacksReserved
from saltfare.journal.lot import lots
from saltfare.journal.trip import TripStand, TripState
from saltfare.journal.trip import trip as trip_of
from saltfare.journal.trip import trips as trip_states

B = TypeVar("B", bound=Frozen)
_CLOSED = (TripStand.OVER, TripStand.CANCELLED)
_DAY_S = 86400.0
# a trip may be told of while it is under way, and three years ahead (chosen)
_LONG_AGO_DAYS, _FAR_OFF_DAYS = 60, 1100


class TripPlannedDone(Done):
    """The trip planned, by its code."""

    code: str


def found_trip(context: Context, code: str) -> TripState:
    """The trip of a typed code. Raises Refused for what is no code, NotFound."""
    return trip_of(context.journal, parse_code(code))


def open_trip(context: Context, code: str) -> TripState:
    """A trip that may still be planned. Raises Refused (trip_closed)."""
    state = found_trip(context, code)
    if state.stand in _CLOSED:
        raise Refused(Problem("trip_closed", "code", state.code, params={"stand": state.stand.value}))
    return state


def lacks(state: TripState) -> tuple[str, ...]:
    """What has to be told before a menu can be planned: keys of the words catalogue."""
    out = []
    if not state.days:
        out.append("trip_lacks_days")
    if not state.party:
        out.append("trip_lacks_party")
    if state.kitchen is None:
        out.append("trip_lacks_kitchen")
    return tuple(out)


def trips(context: Context, given: TripsGiven) -> TripsShown:
    """Every trip, the next departure first, those over or cancelled after."""

    def order(state: TripState) -> tuple[bool, int]:
        closed, day = state.stand in _CLOSED, state.departure.toordinal()
        return closed, -day if closed else day

    states = sorted(trip_states(context.journal), key=order)
    return TripsShown(trips=tuple(_line(context, state) for state in states))


def _line(context: Context, state: TripState) -> TripLine:
    menu = state.menu.body if state.menu else None
    return TripLine(
        code=state.code,
        version=state.version,
        name=state.name,
        stand=state.stand,
        departure=state.departure,
        last_day=state.last_day,
        days_until=(state.departure - context.today).days,
        days=len(state.days),
        people=len(state.party),
        preset=menu.preset if menu else None,
        short_kcal=menu.short_kcal if menu else None,
        packs=sum(sum(item.packs.values()) for item in menu.items) if menu else None,
        lacks=lacks(state),
    )


def plan_trip(context: Context, given: PlanTripGiven) -> TripPlannedDone:
    """Name a trip with its departure and the usual weather there, or tell one anew."""
    if given.night.value > given.day.value:
        raise Refused(Problem("day_upside_down", "night", f"{given.night.typed} / {given.day.typed}"))
    told = open_trip(context, given.code) if given.code is not None else None
    if told is None or told.departure != given.departure:
        _near_enough(context, given.departure)
    if told is not None:
        code = told.code
    else:
        code = (codes_before(context, given, kinds.TripPlanned) or new_codes(context, 1))[0]
    body = _as(kinds.TripPlanned, given)
    made = done(context, given, [(kinds.STREAM + code, body)])
    return TripPlannedDone(code=code, **dict(made))


def _near_enough(context: Context, departure: date) -> None:
    """Refuse a departure so long ago, or so far off, that it was hardly meant."""
    first = context.today - timedelta(days=_LONG_AGO_DAYS)
    last = context.today + timedelta(days=_FAR_OFF_DAYS)
    if not first <= departure <= last:
        params: dict[str, str | float | int] = {"first": first.isoformat(), "last": last.isoformat()}
        raise Refused(Problem("trip_departure_far", "departure", departure.isoformat(), params=params))


def _as(kind: type[B], given: Frozen) -> B:
    """The body of a kind from an input whose fields are named alike."""
    return kind.model_validate(given.model_dump(include=set(kind.model_fields) - {"reasons"}))


def _of_item(context: Context, kind: type[B], given: SetItemGiven | HoldGiven | BarGiven) -> B:
    """The body of a kind about an item, which may be named by its code."""
    return _as(kind, given.model_copy(update={"item": item_of(context, given.item)}))


def set_days(context: Context, given: SetDaysGiven) -> Done:
    """Tell the days of a trip, all at once."""
    state = open_trip(context, given.code)
    if not given.days:
        raise Refused(Problem("menu_no_days", "days"))
    problems = [p for at, day in enumerate(given.days) for p in _day_problems(context.library, at, day)]
    if given.days[0].resupply:
        problems.append(Problem("trip_resupply_first", "days.0.resupply"))
    if all(day.spare for day in given.days):
        problems.append(Problem("trip_only_spare", "days"))
    if problems:
        raise Refused(*problems)
    return done(context, given, [(_stream(state), _as(kinds.TripDays, given))])


def _stream(state: TripState) -> str:
    return kinds.STREAM + state.code


def _day_problems(library: Library, at: int, day: DayGiven) -> Iterable[Problem]:
    where = f"days.{at}"
    yield from _no_row(library, "terrain", day.terrain, f"{where}.terrain")
    names = [sitting.name for sitting in day.sittings]
    if not names:
        yield Problem("menu_no_sittings", f"{where}.sittings", str(at))
        return
    if len(set(names)) < len(names):
        yield Problem("trip_sitting_twice", f"{where}.sittings", ", ".join(names))
    if day.day and day.night and day.night.value > day.day.value:
        yield Problem("day_upside_down", f"{where}.night", f"{day.night.typed} / {day.day.typed}")
    if day.snow and day.snow.value > 0 and day.snow_by == "none":
        yield Problem("trip_snow_by", f"{where}.snow_by")
    climb = sum(one.value for one in (day.ascent, day.descent) if one)
    walked = day.walking.value if day.walking else 0.0
    if climb > 0 and walked <= 0:
        yield Problem("trip_climb_without_way", f"{where}.walking")
    elif walked and climb / walked > 0.45:
        params: dict[str, str | float | int] = {"grade": round(100 * climb / walked)}
        yield Problem(
            "trip_too_steep", f"{where}.ascent", day.ascent.typed if day.ascent else "", params=params
        )
    told = _as(kinds.DayTold, day)
    spent = moving_time(told).total_s
    spent += sum(one.value for one in (day.camp, day.paddling, day.snow) if one)
    waking = _DAY_S - 3600.0 * library.row("menu_rules", "sleep_hours").number("value")
    if spent > waking + 1.0:
        params = {"spent_h": round(spent / 3600.0, 1), "waking_h": round(waking / 3600.0, 1)}
        yield Problem("trip_day_over_full", where, str(at + 1), params=params)
    if day.time and walked and day.time.value < walked / 2.5:
        yield Problem("trip_too_fast", f"{where}.time", day.time.typed)


def _no_row(library: Library, table: str, row_id: str, where: str) -> Iterable[Problem]:
    try:
        library.row(table, row_id)
    except NotFound:
        known = ", ".join(row.text("id") for row in library.rows(table))
        yield Problem("trip_no_such_row", where, row_id, known)


def set_party(context: Context, given: SetPartyGiven) -> Done:
    """Tell who comes, all at once."""
    state = open_trip(context, given.code)
    if not given.people:
        raise Refused(Problem("menu_nobody", "people"))
    problems = [p for at, one in enumerate(given.people) for p in _person_problems(context.library, at, one)]
    names = [one.name.strip().casefold() for one in given.people]
    twice = {name for name in names if names.count(name) > 1}
    problems += [
        Problem("menu_twice", f"people.{at}.name", given.people[at].name)
        for at, name in enumerate(names)
        if name in twice and names.index(name) != at
    ]
    if problems:
        raise Refused(*problems)
    return done(context, given, [(_stream(state), _as(kinds.TripParty, given))])


def _person_problems(library: Library, at: int, one: PersonGiven) -> Iterable[Problem]:
    where = f"people.{at}.eats_no"
    allergens = {row.text("id") for row in library.rows("allergens")}
    for law in ("us", "eu"):
        allergens |= {row.text(law) for row in library.rows("allergens")} - {""}
    for name in one.eats_no.allergens:
        if name not in allergens:
            yield Problem("trip_no_such_row", f"{where}.allergens", name, ", ".join(sorted(allergens)))
    for name in one.eats_no.diets:
        yield from _no_row(library, "diets", name, f"{where}.diets")
    height, mass = one.height.value, one.mass.value
    # beyond these one of the two was mistyped: the lightest and heaviest adults on record lie inside
    if not 7.0 <= mass / height**2 <= 110.0:
        params: dict[str, str | float | int] = {"bmi": round(mass / height**2, 1)}
        yield Problem("trip_mass_and_height", f"people.{at}.mass", one.mass.typed, params=params)


def set_kitchen(context: Context, given: SetKitchenGiven) -> Done:
    """Tell the pots, the stove and the fuel."""
    state = open_trip(context, given.code)
    problems = [
        *_no_row(context.library, "stoves", given.stove, "stove"),
        *_no_row(context.library, "fuels", given.fuel, "fuel"),
        *(
            p
            for one in given.conditions
            for p in _no_row(context.library, "stove_conditions", one, "conditions")
        ),
    ]
    if problems:
        raise Refused(*problems)
    return done(context, given, [(_stream(state), _as(kinds.TripKitchen, given))])


def set_limits(context: Context, given: SetLimitsGiven) -> Done:
    """Tell what can be carried from each supply, and rules in place of the usual ones."""
    state = open_trip(context, given.code)
    return done(context, given, [(_stream(state), _as(kinds.TripLimits, given))])


def set_staples(context: Context, given: SetStaplesGiven) -> Done:
    """Tell which plain foods may be taken as sold."""
    state = open_trip(context, given.code)
    problems: list[Problem] = []
    for at, one in enumerate(given.staples):
        problems += _no_row(context.library, "pantry", one.food, f"staples.{at}.food")
        if one.portion.value > one.pack.value * (1 + 1e-9):
            problems.append(Problem("trip_portion_above_pack", f"staples.{at}.portion", one.portion.typed))
    foods = [one.food for one in given.staples]
    problems += [
        Problem("menu_twice", f"staples.{at}.food", food)
        for at, food in enumerate(foods)
        if foods.index(food) != at
    ]
    if problems:
        raise Refused(*problems)
    return done(context, given, [(_stream(state), _as(kinds.StaplesWanted, given))])


def set_item(context: Context, given: SetItemGiven) -> Done:
    """Choose how an item is treated on the trip, or take one whose criteria cannot be told, and say why."""
    state = open_trip(context, given.code)
    if given.handling == "kept_cold" and given.cold_until is None:
        raise Refused(Problem("menu_cold_until", "cold_until", given.item))
    if given.decided and not given.why.strip():
        raise Refused(Problem("trip_decided_without_why", "why", given.item))
    return done(context, given, [(_stream(state), _of_item(context, kinds.HandlingChosen, given))])


def hold_item(context: Context, given: HoldGiven) -> Done:
    """Hold servings of an item for somebody at a sitting; the rest is worked out around it."""
    state = open_trip(context, given.code)
    _place(state, given.day, given.sitting, given.person)
    return done(context, given, [(_stream(state), _of_item(context, kinds.ItemHeld, given))])


def bar_item(context: Context, given: BarGiven) -> Done:
    """Keep an item off, everywhere or for one person, day or sitting."""
    state = open_trip(context, given.code)
    if given.sitting is not None and given.day is None:
        raise Refused(Problem("trip_sitting_without_day", "day", given.sitting))
    _place(state, given.day, given.sitting, given.person)
    return done(context, given, [(_stream(state), _of_item(context, kinds.ItemBarred, given))])


def _place(state: TripState, day: int | None, sitting: str | None, person: str | None) -> None:
    """Refuse a day, a sitting or a person the trip does not have."""
    if person is not None and person not in {one.name for one in state.party}:
        raise Refused(Problem("menu_pin_leads_nowhere", "person", person))
    if day is not None and day >= len(state.days):
        raise Refused(Problem("menu_pin_leads_nowhere", "day", str(day + 1)))
    if day is not None and sitting not in (None, *(s.name for s in state.days[day].sittings)):
        raise Refused(Problem("menu_pin_leads_nowhere", "sitting", str(sitting)))


def let_go(context: Context, given: LetGoGiven) -> Done:
    """Let go of what was held or barred."""
    state = open_trip(context, given.code)
    known = (*(held.event_id for held in state.held), *(barred.event_id for barred in state.barred))
    lost = [one for one in given.of if one not in known]
    if lost or not known:
        raise Refused(Problem("trip_nothing_to_let_go", "of", ", ".join(lost)))
    return done(context, given, [(_stream(state), kinds.PinLetGo(of=given.of or known))])


def cancel_trip(context: Context, given: CancelTripGiven) -> Done:
    """The trip does not take place; what was held for it is free again."""
    state = open_trip(context, given.code)
    if state.taken:
        raise Refused(Problem("trip_has_left", "code", state.code))
    bodies: list[tuple[str, Body]] = [(_stream(state), kinds.TripCancelled(reason=given.reason))]
    held = [lot for lot in lots(context.journal) if state.code in lot.reserved]
    bodies += [(LOTS + lot.code, PacksReserved(trip=state.code, packs=0)) for lot in held]
    seen = {_stream(state): state.version} | {LOTS + lot.code: lot.version for lot in held}
    return done(context, given, bodies, seen=seen)
