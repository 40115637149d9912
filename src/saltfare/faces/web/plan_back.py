"""Plan back: what to begin by when, the picture of it, the days; wishes, room, days away; the calendar."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import groupby
from typing import Any

from fastapi import APIRouter
from markupsafe import Markup
from starlette.responses import Response

from saltfare.core.errors import Problem, Refused
from saltfare.faces import plan_charts
from saltfare.faces.calendar import amounts_said, calendar_file, room_said
from saltfare.faces.charts import DESK_WIDTH, PHONE_WIDTH
from saltfare.faces.web.desk import AtDesk, Desk, Typed
from saltfare.faces.web.forms import Form
from saltfare.faces.words import find

router = APIRouter(include_in_schema=False)
_LEVELS = ("level_low", "level_mid", "level_high")
_DONE = frozenset({"wished", "dropped", "room", "away", "accepted", "settled"})


@router.get("/plan-back")
def show(desk: AtDesk, done: str = "", chance: str = "level_mid", trip: str = "") -> Response:
    """The plan of everything wished for, or of what one trip needs."""
    return _page(desk, done=done, chance=chance, trip=trip)


@router.get("/plan-back.ics")
def feed(desk: AtDesk) -> Response:
    """The accepted tasks as a calendar file."""
    made = calendar_file(desk.words, desk.run("calendar_feed"))
    return Response(
        made,
        media_type="text/calendar; charset=utf-8",
        headers={"content-disposition": 'inline; filename="saltfare.ics"', "cache-control": "no-store"},
    )


@router.post("/plan-back/wish")
def wish(desk: AtDesk, typed: Typed) -> Response:
    """Wish for something."""
    return _sent(desk, "wish_stock", typed, "wished", prefix="dish-" if "dish.packs" in typed else "cured-")


@router.post("/plan-back/drop")
def drop(desk: AtDesk, typed: Typed) -> Response:
    """Wish for something no longer."""
    return _sent(desk, "drop_wish", typed, "dropped")


@router.post("/plan-back/room")
def room(desk: AtDesk, typed: Typed) -> Response:
    """Say what there is room for."""
    return _sent(desk, "set_capacity", typed, "room", prefix="room-")


@router.post("/plan-back/away")
def away(desk: AtDesk, typed: Typed) -> Response:
    """Say when nobody is home, or that somebody is after all."""
    return _sent(desk, "tell_away", typed, "away", prefix="away-")


@router.post("/plan-back/accept")
def accept(desk: AtDesk, typed: Typed) -> Response:
    """Take the plan on."""
    return _sent(desk, "accept_plan", typed, "accepted")


@router.post("/plan-back/task")
def settle(desk: AtDesk, typed: Typed) -> Response:
    """Settle a task; back to where it was settled from."""
    at_bench = typed.get("_from") == "bench"
    try:
        desk.send("task_done", typed)
    except Refused as error:
        if not at_bench or any(p.code != "nothing_changed" for p in error.problems):
            return _page(desk, form=desk.refused(typed, error.problems), status=422)
    return desk.go("/?done=1&act=settle" if at_bench else "/plan-back?done=settled")


def _sent(desk: Desk, name: str, typed: Mapping[str, str], done: str, *, prefix: str = "") -> Response:
    try:
        desk.send(name, typed)
    except Refused as error:
        return _page(
            desk,
            form=desk.refused(typed, error.problems, prefix=prefix),
            status=422,
            chance=typed.get("chance", "level_mid"),
        )
    return desk.go(f"/plan-back?done={done}")


def _page(
    desk: Desk,
    *,
    form: Form | None = None,
    status: int = 200,
    done: str = "",
    chance: str = "level_mid",
    trip: str = "",
) -> Response:
    chosen = chance if chance in _LEVELS else "level_mid"
    given = {"chance": chosen, **({"trip": trip} if trip else {})}
    plan = desk.run("back_plan", given)
    there = desk.run("plan_room")
    names = {one.key: one.name for one in desk.run("chambers").chambers}
    library = desk.context.library
    form = form or Form()
    return desk.page(
        "plan_back.html",
        part="trips",
        status=status,
        form=form,
        # one form comes back as typed; the others stand as they are
        form_of=lambda prefix: form if form.prefix == prefix else Form(prefix=prefix),
        room_form=form if form.prefix == "room-" else Form(_room_typed(desk, there), prefix="room-"),
        plan=plan,
        there=there,
        chambers=names,
        trips=list(there.trips),
        recipes=list(there.recipes),
        cuts=[(row.text("id"), row.text("label")) for row in library.rows("cuts")],
        purposes=[(row.text("id"), row.text("label")) for row in library.rows("purposes")],
        levels=_LEVELS,
        level=chosen,
        trip=trip,
        chart=_chart(desk, plan),
        days=[(on, _by_code(tasks)) for on, tasks in groupby(plan.tasks, key=lambda task: task.on)],
        conflict_said=lambda c: _conflict(desk, c, names),
        chance_if=lambda share, places: _chance_if(desk, share, places),
        room_said=lambda places: room_said(desk.words, places),
        offer_said=lambda o: _offer(desk, o),
        against_said=lambda a: desk.words.problem(Problem(a.code, a.field, a.given, a.allowed, a.params)),
        amounts_said=lambda amounts: amounts_said(desk.words, amounts),
        note_said=lambda note: _note(desk, note, names),
        done=done if done in _DONE else "",
    )


def _by_code(tasks: Iterable[Any]) -> list[tuple[str, list[Any]]]:
    """The tasks of a day, what is the same said once."""
    out: dict[str, list[Any]] = {}
    for task in tasks:
        out.setdefault(task.code, []).append(task)
    return list(out.items())


def _note(desk: Desk, note: Any, names: Mapping[str, str]) -> str:
    """A note, a place or a chamber in it by what it is called."""
    words, params = desk.words, dict(note.params)
    if note.code == "room_not_told":
        params["place"] = words.t(f"back_plan.places_{params['place']}")
    if note.code == "chamber_cannot":
        params["chamber"] = names.get(str(params["chamber"]), params["chamber"])
    return words.say(f"note.{note.code}.text", params)


def _room_typed(desk: Desk, there: Any) -> dict[str, str]:
    shown = desk.words.shown
    typed = {f"hooks.{one.key}": str(one.hooks) for one in there.chambers if one.hooks is not None}
    if there.fridge_places is not None:
        typed["fridge_places"] = str(there.fridge_places)
    degrees = "F" if shown.measures == "us" else "C"
    for name, value, kind, unit in (
        ("fridge_volume", there.fridge_m3, "volume", "l"),
        ("freezer_volume", there.freezer_m3, "volume", "l"),
        ("freezer_temperature", there.freezer_c, "temperature", degrees),
    ):
        if value is not None:
            typed |= {name: shown.typed(value, kind, unit), f"{name}_unit": unit}
    if there.trays_m2 is not None:
        typed["trays_area"] = f"{there.trays_m2:g}"
    for name, value in (("work_from", there.work_from_h), ("work_until", there.work_until_h)):
        if value is not None:
            typed[name] = f"{int(value):02d}:{round(60 * (value % 1)):02d}"
    return typed


def _conflict(desk: Desk, one: Any, names: Mapping[str, str]) -> str:
    words = desk.words
    task = words.say(f"task.{one.task}.text") if one.task else ""
    given = {
        "name": one.name,
        "first": one.first,
        "last": one.last,
        "days": one.days,
        "task": task,
        "place": names.get(one.place, one.place),
        "has": one.has or 0.0,
        "asks": one.asks or 0.0,
        "has_m3": one.has or 0.0,
        "asks_m3": one.asks or 0.0,
    }
    return words.t(f"back_plan.conflict_{one.code}", **given)


def _offer(desk: Desk, one: Any) -> str:
    words = desk.words
    code = one.code
    if code == "other_purpose" and "thickness_m" in one.params:
        code = "other_purpose_thin"
    share = one.chance
    said = "" if share is None else _chance_if(desk, share, one.room_open)
    text = words.t(f"back_plan.offer_{code}", chance=said, ready=one.ready, **one.params)
    if share is None and one.room_open:
        text = f"{text} {words.t('back_plan.days_if', room=room_said(words, one.room_open))}"
    if one.conflicts:
        text = f"{text} {words.t('back_plan.offer_conflicts', n=one.conflicts)}"
    return text


def _chance(desk: Desk, share: float) -> str:
    if share < 0.01:
        return desk.words.t("piece.chance_low")
    if share > 0.99:
        return desk.words.t("piece.chance_high")
    return desk.words.t("piece.chance", n=round(100 * share))


def _chance_if(desk: Desk, share: float, places: Iterable[str]) -> str:
    """A chance with the condition it is told under: room nobody told is no part of the figure."""
    room = room_said(desk.words, places)
    said = _chance(desk, share)
    return desk.words.t("back_plan.chance_if", chance=said, room=room) if room else said


def _chart(desk: Desk, plan: Any) -> dict[str, Markup] | None:
    """The picture for both widths; None where nothing is to be made."""
    makes = [make for want in plan.wants for make in want.makes]
    under_way = [(want, one) for want in plan.wants for one in want.under_way]
    if not makes and not under_way:
        return None
    words, shown = desk.words, desk.words.shown
    today = plan.today
    rests = (
        f" {words.t('back_plan.days_if', room=room_said(words, plan.room_open))}" if plan.room_open else ""
    )
    lines = tuple(
        plan_charts.Line(
            name=one.name,
            start=today,
            begun=today,
            packed=want.needed_by,
            early=one.ready[0],
            likely=one.ready[1],
            late=one.ready[2],
        )
        for want, one in under_way
    ) + tuple(
        plan_charts.Line(
            name=one.name,
            start=one.start,
            begun=one.begun,
            packed=one.packed,
            early=one.down[0],
            likely=one.down[1],
            late=one.down[2],
        )
        for one in sorted(makes, key=lambda one: (one.start, one.name))
    )
    chart = plan_charts.PlanChart(
        lines=lines,
        away=plan.away,
        today=plan.today,
        labels=plan_charts.PlanLabels(
            description=words.t(
                "back_plan.picture_description",
                n=len(lines),
                first=min(line.start for line in lines),
                last=max(line.packed for line in lines),
            )
            + rests,
            away=words.t("back_plan.away"),
            today=words.t("back_plan.today"),
            day=words.t("chart.day_us" if shown.locale == "en-US" else "chart.day"),
            months=tuple(find("date.months", words.tree)),
            weekdays=tuple(find("date.weekdays", words.tree)),
            decimal="," if shown.decimal == "comma" else ".",
        ),
    )
    return {
        "phone": plan_charts.plan_svg(chart, PHONE_WIDTH),
        "desk": plan_charts.plan_svg(chart, DESK_WIDTH),
    }
