"""What may be said of a piece or lot, and recording what that rests on."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from saltfare.core.errors import Conflict, NotFound, Problem, Refused
from saltfare.faces.heat_charts import DESK_WIDTH, PHONE_WIDTH, LogChart, log_svg
from saltfare.faces.log_text import LogText, read_log
from saltfare.faces.typed import local_instant
from saltfare.faces.web.desk import AtDesk, Desk, Typed
from saltfare.faces.web.forms import Form
from saltfare.faces.web.judged_says import judged_says

router = APIRouter(include_in_schema=False)

# What can be recorded of a piece or lot: the last part of the address, the action, the page.
RECORDS = {
    "measure": ("record_measurement", "judged_measure.html"),
    "jar": ("record_jar_test", "judged_jar.html"),
    "origin": ("record_origin", "judged_origin.html"),
    "freezing": ("record_parasite_step", "judged_freezing.html"),
    "acted": ("act_on_verdict", "judged_acted.html"),
}
_INSTANTS = ("sodium_at", "potassium_at", "begun", "ended", "since", "until", "starts_at")
_SHOWN = 6


@router.get("/criteria/{code}")
def card(desk: AtDesk, code: str, packing: str = "", kept: str = "", done: str = "") -> Response:
    """Every question, in full."""
    return _card(desk, code, packing=packing, kept=kept, done=done)


@router.post("/criteria/{code}/correct")
def back(desk: AtDesk, code: str, typed: Typed) -> Response:
    """Take something recorded back."""
    try:
        did = desk.send("correct", typed)
    except Refused as error:
        return _card(desk, code, form=desk.refused(typed, error.problems), status=422)
    return desk.go(f"/criteria/{code}?done={did.events[0]}")


@router.get("/criteria/{code}/heat-plan")
def heat_plan(desk: AtDesk, code: str, request: Request) -> Response:
    """Between which two times the middle gets there."""
    typed = dict(request.query_params)
    found, form, status = None, Form(typed), 200
    if typed:
        try:
            found = desk.send("heat_plan", localised(desk, typed), code=code)
        except Refused as error:
            form, status = desk.refused(typed, error.problems), 422
    return page(desk, "judged_heat_plan.html", code, form=form, status=status, found=found)


@router.get("/criteria/{code}/log")
def log(desk: AtDesk, code: str, of: str = "heating") -> Response:
    """The form of a log."""
    return _log(desk, code, Form({"of": of, "_day": desk.context.today.isoformat()}))


@router.get("/criteria/{code}/log/{event_id}")
def logged(desk: AtDesk, code: str, event_id: str) -> Response:
    """A recorded log with its picture."""
    picture = desk.run("log_picture", {"code": code, "event_id": event_id})
    return page(desk, "judged_logged.html", code, event_id=event_id, picture=picture, **_drawn(desk, picture))


@router.post("/criteria/{code}/log")
def take_log(desk: AtDesk, code: str, typed: Typed) -> Response:
    """Look at a log's picture, or record it."""
    read = _read(desk, typed)
    if read.bad or "_take" not in typed:
        return _log(desk, code, Form(typed), read=read, status=422 if read.bad or not read.rows else 200)
    reasons = typed.get("_reason", "").strip()
    given = {k: v for k, v in typed.items() if k != "rows" and not k.startswith("reasons.")}
    more: dict[str, Any] = {"code": code, "readings": [dict(row) for row in read.rows]}
    told = {k.removeprefix("reasons."): v for k, v in typed.items() if k.startswith("reasons.") and v.strip()}
    if reasons:
        told |= {f"readings.{n}.temperature": reasons for n in range(len(read.rows))}
    more["reasons"] = told
    try:
        did = desk.send("record_log", given, **more)
    except Refused as error:
        form = desk.refused(typed, tuple(_to_rows(p) for p in error.problems[:20]))
        return _log(desk, code, form, read=read, status=422)
    return desk.go(f"/criteria/{code}/log/{did.events[0]}")


@router.get("/criteria/{code}/{what}")
def ask(desk: AtDesk, code: str, what: str, request: Request) -> Response:
    """The form of something to record."""
    if what not in RECORDS:
        raise NotFound("page", what)
    return page(desk, RECORDS[what][1], code, form=Form(dict(request.query_params)), what=what)


@router.post("/criteria/{code}/{what}")
def record(desk: AtDesk, code: str, what: str, typed: Typed) -> Response:
    """Record it."""
    if what not in RECORDS:
        raise NotFound("page", what)
    action, template = RECORDS[what]
    try:
        did = desk.send(action, localised(desk, typed), code=code)
    except Refused as error:
        form = desk.refused(typed, error.problems)
        return page(desk, template, code, form=form, status=422, what=what)
    except Conflict as error:
        moved = Problem("moved_on", params={"seen": error.seen, "now": error.now})
        return page(desk, template, code, form=desk.refused(typed, (moved,)), status=409, what=what)
    return desk.go(f"/criteria/{code}?done={did.events[0]}")


def piece_criteria(desk: Desk, code: str) -> dict[str, Any]:
    """What the page of a piece shows of its criteria."""
    shown = desk.run("criteria_card", {"code": code})
    return {"judged": shown, "js": judged_says(desk.words)}


def page(
    desk: Desk, template: str, code: str, *, form: Form | None = None, status: int = 200, **view: Any
) -> Response:
    """A page about a piece or lot, with its card at hand."""
    shown = desk.run("criteria_card", {"code": code})
    return desk.page(
        template,
        part="pieces",
        status=status,
        form=form or Form(),
        judged=shown,
        js=judged_says(desk.words),
        **view,
    )


def localised(desk: Desk, typed: Mapping[str, str]) -> dict[str, str]:
    """Times typed where the person is, with their offset."""
    zone = desk.context.settings.zone
    return {k: local_instant(v, zone) if k in _INSTANTS and v else v for k, v in typed.items()}


def _card(
    desk: Desk,
    code: str,
    *,
    packing: str = "",
    kept: str = "",
    done: str = "",
    form: Form | None = None,
    status: int = 200,
) -> Response:
    asked: dict[str, str] = {"code": code}
    asked |= {"packing": packing} if packing else {}
    asked |= {"kept": kept} if kept else {}
    shown = desk.run("criteria_card", asked)
    return desk.page(
        "judged_card.html",
        part="pieces",
        status=status,
        form=form or Form({"packing": packing, "kept": kept}),
        judged=shown,
        js=judged_says(desk.words),
        done=done,
    )


def _read(desk: Desk, typed: Mapping[str, str]) -> LogText:
    day = typed.get("_day", "")
    try:
        named = date.fromisoformat(day) if day else None
    except ValueError:
        named = None
    settings = desk.context.settings
    unit = "F" if typed.get("_degrees") == "F" else "C"
    return read_log(typed.get("rows", ""), zone=settings.zone, day=named, unit=unit, decimal=settings.decimal)


def _to_rows(problem: Problem) -> Problem:
    """A problem of a reading, put at the text it came from; a reason for one stands for all."""
    if not problem.field.startswith(("readings", "log")):
        return problem
    params = {**problem.params, "reason_for": "rows"} if "reason_for" in problem.params else problem.params
    return Problem(problem.code, "rows", problem.given, problem.allowed, params)


def _log(desk: Desk, code: str, form: Form, *, read: LogText | None = None, status: int = 200) -> Response:
    words = desk.words
    view: dict[str, Any] = {"read": read, "bad": [], "picture": None, "first": []}
    if read is not None:
        view["bad"] = [(number, words.problem(p)) for number, p in read.bad[:30]]
        view["first"] = [
            (words.shown.at(row["at"]), row["temperature"].replace(" ", " °")) for row in read.rows[:_SHOWN]
        ]
        view["unusual"] = any(p.code == "implausible" for p in form.problems)
        if read.rows and not read.bad and form.value("of") in ("heating", "heating_and_cooling"):
            try:
                picture = desk.run(
                    "log_picture", {"code": code, "readings": [dict(row) for row in read.rows]}
                )
                view |= {"picture": picture, **_drawn(desk, picture)}
            except Refused as error:
                if not form.problems:
                    form = desk.refused(form.typed, tuple(_to_rows(p) for p in error.problems[:20]))
                    status = 422
    return page(desk, "judged_log.html", code, form=form, status=status, **view)


def _drawn(desk: Desk, picture: Any) -> dict[str, Any]:
    words = desk.words
    degrees = "F" if words.shown.measures == "us" else "C"

    def shown_temp(value: float) -> float:
        return value * 1.8 + 32 if degrees == "F" else value

    def clock(at: Any) -> str:
        return f"{words.shown.local(at):%H:%M}"

    last = picture.points[-1]
    target = words.shown.number(picture.target, 1)
    drawn = LogChart(
        times=tuple(p.at for p in picture.points),
        temp=tuple(shown_temp(p.temp_c) for p in picture.points),
        salmonella=tuple(p.salmonella for p in picture.points),
        listeria=tuple(p.listeria for p in picture.points),
        target=picture.target,
        description=words.t(
            "heat_log.described",
            target=target,
            salmonella=words.shown.number(last.salmonella, 1),
            listeria=words.shown.number(last.listeria, 1),
        ),
        reduction=words.t("heat_log.reduction"),
        temperature=words.t("heat_log.temperature", unit=words.shown.label(degrees)),
        target_said=words.t(f"heat_log.target_{picture.table}", target=target),
        number=lambda v: words.shown.number(v, 0),
        clock=clock,
    )
    step = max(1, len(picture.points) // 16)
    return {
        "chart": {"phone": log_svg(drawn, PHONE_WIDTH), "desk": log_svg(drawn, DESK_WIDTH)},
        "table": [*picture.points[:-1:step], picture.points[-1]],
    }
