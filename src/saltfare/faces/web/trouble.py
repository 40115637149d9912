"""When something goes wrong: an incident in a place, what looks wrong, a recall; and the way."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from saltfare.core.errors import Conflict, Problem, Refused
from saltfare.faces.web.desk import AtDesk, Desk, Typed
from saltfare.faces.web.forms import Form
from saltfare.faces.web.judged import localised
from saltfare.faces.web.judged_says import judged_says

router = APIRouter(include_in_schema=False)
DAYS = range(14)


@router.get("/trouble")
def every(desk: AtDesk) -> Response:
    """What went wrong so far, and the one entry for what went wrong now."""
    return _every(desk, Form())


@router.post("/trouble")
def report(desk: AtDesk, typed: Typed) -> Response:
    """Something went wrong in a place."""
    sent = localised(desk, typed)
    codes = {name: _codes(sent.pop(name, "")) for name in ("also", "apart")}
    try:
        did = desk.send("report_incident", sent, **{k: v for k, v in codes.items() if v})
    except Refused as error:
        return _every(desk, desk.refused(typed, error.problems), status=422)
    except Conflict as error:
        moved = Problem("moved_on", params={"seen": error.seen, "now": error.now})
        return _every(desk, desk.refused(typed, (moved,)), status=409)
    return desk.go(f"/trouble/{did.code}?done={did.events[0]}")


@router.get("/trouble/{code}")
def one(desk: AtDesk, code: str, done: str = "") -> Response:
    """An incident: what to throw out, cook now, keep."""
    return _one(desk, code, Form(), done=done)


@router.post("/trouble/{code}/close")
def close(desk: AtDesk, code: str, typed: Typed) -> Response:
    """What became of everything."""
    decisions = {k.removeprefix("decision."): v for k, v in typed.items() if k.startswith("decision.") and v}
    sent = {k: v for k, v in typed.items() if not k.startswith("decision.")}
    try:
        did = desk.send("close_incident", sent, incident=code, decisions=decisions)
    except Refused as error:
        return _one(desk, code, desk.refused(typed, error.problems), status=422)
    return desk.go(f"/trouble/{code}?done={did.events[0]}")


@router.post("/trouble/{code}/correct")
def back(desk: AtDesk, code: str, typed: Typed) -> Response:
    """Take the report back."""
    desk.send("correct", typed)
    return desk.go("/trouble")


@router.get("/looks")
def looks(desk: AtDesk, request: Request) -> Response:
    """What looks, smells or feels wrong, and what to do."""
    typed = dict(request.query_params)
    given: dict[str, Any] = {k: v for k, v in typed.items() if k != "mould"}
    mould = [value for value in request.query_params.getlist("mould") if value]
    found, form, status = None, Form(typed), 200
    if set(typed) - {"code"}:
        try:
            found = desk.send("looks_wrong", given, **({"mould": mould} if mould else {}))
        except Refused as error:
            form, status = desk.refused(typed, error.problems), 422
    return desk.page(
        "looks.html",
        part="pieces",
        form=form,
        status=status,
        found=found,
        mould=mould,
        js=judged_says(desk.words),
    )


@router.get("/recall")
def recall(desk: AtDesk, request: Request) -> Response:
    """From something wrong to everything it touched."""
    typed = dict(request.query_params)
    form, status = Form(typed), 200
    try:
        found = desk.send("recall", localised(desk, typed))
    except Refused as error:
        form, status = desk.refused(typed, error.problems), 422
        found = desk.run("recall")
    asked = any(typed.get(name) for name in ("mix", "place", "code", "event_id", "incident"))
    return desk.page("recall.html", part="pieces", form=form, status=status, found=found, asked=asked)


@router.get("/trail")
def trail(desk: AtDesk, request: Request) -> Response:
    """What a way through warm days does to what is carried."""
    typed = dict(request.query_params)
    found, form, status = None, Form(typed or {"departure": desk.context.today.isoformat()}), 200
    if any(k.startswith("days.") and not _open_day(k, typed) for k in typed):
        sent = {k: v for k, v in typed.items() if not _open_day(k, typed)}
        codes = _codes(sent.pop("codes", ""))
        try:
            found = desk.send("trail_exposure", sent, **({"codes": codes} if codes else {}))
        except Refused as error:
            form, status = desk.refused(typed, error.problems), 422
    return desk.page(
        "trail.html",
        part="pieces",
        form=form,
        status=status,
        found=found,
        days=DAYS,
        js=judged_says(desk.words),
    )


def _open_day(name: str, typed: Mapping[str, str]) -> bool:
    """A control of a day that was left open as a whole."""
    parts = name.split(".")
    if parts[0] != "days" or len(parts) < 3:
        return False
    return not any(typed.get(f"days.{parts[1]}.{which}", "").strip() for which in ("least", "most"))


def _codes(text: str) -> list[str]:
    return [code for code in text.replace(",", " ").split() if code]


def _every(desk: Desk, form: Form, *, status: int = 200) -> Response:
    return desk.page("troubles.html", part="pieces", form=form, status=status, found=desk.run("incidents"))


def _one(desk: Desk, code: str, form: Form, *, done: str = "", status: int = 200) -> Response:
    return desk.page(
        "trouble.html",
        part="pieces",
        form=form,
        status=status,
        one=desk.run("incident", {"incident": code}),
        js=judged_says(desk.words),
        done=done,
    )
