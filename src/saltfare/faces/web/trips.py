"""Trips: the list, one trip, and what is told of it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter
from starlette.responses import Response

from saltfare.actions.money import minor_digits
from saltfare.core.errors import Conflict, Problem, Refused
from saltfare.faces.web.desk import AtDesk, Desk, Typed
from saltfare.faces.web.forms import Form
from saltfare.faces.web.trip_forms import (
    SITTINGS,
    days_given,
    days_typed,
    fresh_day,
    fresh_person,
    listed,
    pairs,
    people_given,
    rows_of,
    typed_of,
    units_for,
)
from saltfare.faces.web.trip_page import trip_page

router = APIRouter(include_in_schema=False)
_FRESH_DAYS = 3
_SPARE_STAPLES = 3


@router.get("/trips")
def every(desk: AtDesk) -> Response:
    """All trips."""
    found = desk.run("trips").trips
    return desk.page("trips.html", part="trips", lines=[(one, line_said(desk, one)) for one in found])


def line_said(desk: Desk, one: Any) -> str:
    """A trip in a list, in words."""
    words = desk.words
    stand = words.t(f"trips.stand.{one.stand.name.lower()}")
    given = {"stand": stand, "departure": one.departure, "days": one.days, "people": one.people}
    said = words.t("trips.line" if one.days and one.people else "trips.line_short", **given)
    if one.packs is not None:
        said = f"{said} {words.t('trips.line_menu', packs=one.packs)}"
    return said


@router.get("/trips/new")
def ask(desk: AtDesk) -> Response:
    """The questions that begin a trip."""
    return _new(desk, Form())


@router.post("/trips")
def begin(desk: AtDesk, typed: Typed) -> Response:
    """Begin a trip."""
    try:
        made = desk.send("plan_trip", typed)
    except Refused as error:
        return _new(desk, desk.refused(typed, error.problems, of="trip_about"), status=422)
    return desk.go(f"/trips/{quote(made.code)}/days?drop=trip")


@router.get("/trips/{code}")
def one(desk: AtDesk, code: str, preset: str = "", kept: str = "", drop: str = "") -> Response:
    """One trip."""
    return trip_page(desk, code, preset=preset, kept=kept, drop=drop)


@router.post("/trips/{code}/undo")
def undo(desk: AtDesk, code: str, typed: Typed) -> Response:
    """Take something back."""
    return act(desk, code, "correct", typed, "undone", named=False)


@router.post("/trips/{code}/cancel")
def cancel(desk: AtDesk, code: str, typed: Typed) -> Response:
    """The trip does not take place."""
    return act(desk, code, "cancel_trip", typed, "cancelled")


def act(
    desk: Desk,
    code: str,
    action: str,
    typed: Mapping[str, str],
    kept: str,
    *,
    named: bool = True,
    **more: Any,
) -> Response:
    """Do something with a trip; back to its page, or there with what stands against it."""
    try:
        desk.send(action, {**typed, **({"code": code} if named else {})}, **more)
    except Refused as error:
        return trip_page(desk, code, problems=error.problems, status=422)
    except Conflict as error:
        moved = Problem("moved_on", params={"seen": error.seen, "now": error.now})
        return trip_page(desk, code, problems=(moved,), status=409)
    return desk.go(f"/trips/{quote(code)}?kept={kept}")


@router.get("/trips/{code}/about")
def about(desk: AtDesk, code: str) -> Response:
    """The same questions, as answered."""
    one = desk.run("trip", {"code": code})
    return _new(desk, Form(typed_of(desk.words.shown, one.planned)), one=one)


@router.post("/trips/{code}/about")
def tell(desk: AtDesk, code: str, typed: Typed) -> Response:
    """Tell them anew."""
    return _told(desk, code, "about", "plan_trip", typed, {})


@router.get("/trips/{code}/days")
def days(desk: AtDesk, code: str) -> Response:
    """The days as told."""
    return _days(desk, desk.run("trip", {"code": code}))


@router.post("/trips/{code}/days")
def set_days(desk: AtDesk, code: str, typed: Typed) -> Response:
    """Keep the days, or show one block more."""
    if typed.get("_more"):
        count = rows_of(typed, "days", "_sit", "_same", "_hot")
        grown = {**typed, **fresh_day(count), f"days.{count}.walking": ""}
        return _days(desk, desk.run("trip", {"code": code}), Form(grown))
    return _told(desk, code, "days", "set_days", typed, {"days": days_given(desk, typed)})


@router.get("/trips/{code}/party")
def party(desk: AtDesk, code: str) -> Response:
    """The party as told."""
    return _party(desk, desk.run("trip", {"code": code}))


@router.post("/trips/{code}/party")
def set_party(desk: AtDesk, code: str, typed: Typed) -> Response:
    """Keep the party, or show one block more."""
    if typed.get("_more"):
        grown = {**typed, **fresh_person(rows_of(typed, "people"))}
        return _party(desk, desk.run("trip", {"code": code}), Form(grown))
    return _told(desk, code, "party", "set_party", typed, {"people": people_given(desk, typed)})


@router.get("/trips/{code}/kitchen")
def kitchen(desk: AtDesk, code: str) -> Response:
    """Pots, stove and fuel as told."""
    return _kitchen(desk, desk.run("trip", {"code": code}))


@router.post("/trips/{code}/kitchen")
def set_kitchen(desk: AtDesk, code: str, typed: Typed) -> Response:
    """Keep them."""
    return _told(desk, code, "kitchen", "set_kitchen", typed, {})


@router.get("/trips/{code}/limits")
def limits(desk: AtDesk, code: str) -> Response:
    """What can be carried, as told."""
    return _limits(desk, desk.run("trip", {"code": code}))


@router.post("/trips/{code}/limits")
def set_limits(desk: AtDesk, code: str, typed: Typed) -> Response:
    """Keep it."""
    return _told(desk, code, "limits", "set_limits", typed, {})


@router.get("/trips/{code}/staples")
def staples(desk: AtDesk, code: str) -> Response:
    """Plain food as told."""
    return _staples(desk, desk.run("trip", {"code": code}))


@router.post("/trips/{code}/staples")
def set_staples(desk: AtDesk, code: str, typed: Typed) -> Response:
    """Keep it, or show one block more."""
    if typed.get("_more"):
        grown = {**typed, f"staples.{rows_of(typed, 'staples')}.food": ""}
        return _staples(desk, desk.run("trip", {"code": code}), Form(grown))
    rows = listed(desk, typed, "staples", needs="food")
    return _told(desk, code, "staples", "set_staples", typed, {"staples": rows})


def _told(
    desk: Desk, code: str, what: str, action: str, typed: Mapping[str, str], more: Mapping[str, Any]
) -> Response:
    """Send what a form says; back to the trip, or the form again with what is wrong."""
    own = {k: v for k, v in typed.items() if k.partition(".")[0] not in (*more, "_sit", "_hot")}
    try:
        desk.send(action, {**own, "code": code}, **more)
    except Refused as error:
        again = {"about": _about_again, "days": _days, "party": _party, "kitchen": _kitchen}
        again |= {"limits": _limits, "staples": _staples}
        one = desk.run("trip", {"code": code})
        return again[what](desk, one, desk.refused(typed, error.problems, of=f"trip_{what}"), 422)
    except Conflict as error:
        moved = Problem("moved_on", params={"seen": error.seen, "now": error.now})
        again = {"about": _about_again, "days": _days, "party": _party, "kitchen": _kitchen}
        again |= {"limits": _limits, "staples": _staples}
        one = desk.run("trip", {"code": code})
        return again[what](desk, one, desk.refused(typed, (moved,)), 409)
    return desk.go(f"/trips/{quote(code)}?kept={what}&drop={quote(f'{what} {code}')}")


def _new(desk: Desk, form: Form, *, one: Any = None, status: int = 200) -> Response:
    units = units_for(desk.words.shown)
    return desk.page("trip_new.html", part="trips", form=form, one=one, units=units, status=status)


def _about_again(desk: Desk, one: Any, form: Form, status: int) -> Response:
    return _new(desk, form, one=one, status=status)


def _days(desk: Desk, one: Any, form: Form | None = None, status: int = 200) -> Response:
    if form is None:
        typed = days_typed(desk.words.shown, tuple(day.told for day in one.days))
        if not typed:
            typed = {k: v for n in range(_FRESH_DAYS) for k, v in fresh_day(n).items()}
        form = Form(typed)
    count = rows_of(form.typed, "days", "_sit", "_same", "_hot")
    shown = desk.words.shown
    dates = [shown.on(one.departure + timedelta(days=n), weekday=True) for n in range(count)]
    return desk.page(
        "trip_days.html",
        part="trips",
        form=form,
        one=one,
        count=count,
        dates=dates,
        units=units_for(shown),
        sittings=SITTINGS,
        terrains=pairs(iter(one.choices.terrains)),
        status=status,
    )


def _party(desk: Desk, one: Any, form: Form | None = None, status: int = 200) -> Response:
    if form is None:
        typed: dict[str, str] = {}
        for index, person in enumerate(one.party):
            typed |= typed_of(desk.words.shown, person, f"people.{index}.")
            typed[f"_words.{index}"] = ", ".join(person.eats_no.ingredients)
        form = Form(typed or fresh_person(0))
    words = desk.words
    count = rows_of(form.typed, "people")
    leaving = {
        int(name.split(".")[1])
        for name, text in form.typed.items()
        if text.strip() and (".eats_no." in name or name.startswith("_words."))
    }
    return desk.page(
        "trip_party.html",
        part="trips",
        form=form,
        one=one,
        count=count,
        leaving_out=leaving,
        units=units_for(words.shown),
        diets=[(c.id, words.say(f"diet.{c.id}")) for c in one.choices.diets],
        allergens=[(c.id, words.say(f"allergen.{c.id}")) for c in one.choices.allergens],
        status=status,
    )


def _kitchen(desk: Desk, one: Any, form: Form | None = None, status: int = 200) -> Response:
    if form is None:
        told = one.kitchen
        form = Form(typed_of(desk.words.shown, told) if told else {"pots": "1", "fillings": "1"})
    choices = one.choices
    return desk.page(
        "trip_kitchen.html",
        part="trips",
        form=form,
        one=one,
        stoves=pairs(iter(choices.stoves)),
        fuels=pairs(iter(choices.fuels)),
        conditions=pairs(iter(choices.conditions)),
        status=status,
    )


def _limits(desk: Desk, one: Any, form: Form | None = None, status: int = 200) -> Response:
    if form is None:
        form = Form(typed_of(desk.words.shown, one.limits) if one.limits else {"keep_days": "0"})
    count = 1 + max((day.carry for day in one.days), default=0)
    units = units_for(desk.words.shown)
    return desk.page(
        "trip_limits.html", part="trips", form=form, one=one, count=count, units=units, status=status
    )


def _staples(desk: Desk, one: Any, form: Form | None = None, status: int = 200) -> Response:
    if form is None:
        typed: dict[str, str] = {}
        for index, staple in enumerate(one.staples):
            typed |= typed_of(desk.words.shown, staple, f"staples.{index}.")
            if staple.price_minor is not None:
                digits = minor_digits(desk.context.settings.currency)
                price = desk.words.shown.number(staple.price_minor / 10**digits, digits, trim=False)
                typed[f"staples.{index}.price_minor"] = price
        form = Form(typed)
    count = rows_of(form.typed, "staples") + (_SPARE_STAPLES if not form.returned else 1)
    return desk.page(
        "trip_staples.html",
        part="trips",
        form=form,
        one=one,
        count=count,
        units=units_for(desk.words.shown),
        foods=pairs(iter(one.choices.staples)),
        sittings=SITTINGS,
        status=status,
    )
