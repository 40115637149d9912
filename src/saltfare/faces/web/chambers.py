"""Chambers: the air they usually have, and readings pasted or typed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, get_args

from fastapi import APIRouter
from starlette.responses import Response

from saltfare.core.errors import NotFound, Problem, Refused
from saltfare.core.units import parse
from saltfare.faces.air_text import DateOrder, Line, Readings, read
from saltfare.faces.web.desk import AtDesk, Desk, Typed
from saltfare.faces.web.forms import Form, data

router = APIRouter(include_in_schema=False)
_SHOWN = 5


@router.get("/chambers")
def every(desk: AtDesk, done: str = "") -> Response:
    """All chambers, and the form for a new one."""
    return _list(desk, done=bool(done))


@router.post("/chambers")
def describe(desk: AtDesk, typed: Typed) -> Response:
    """Name a chamber, or describe it anew."""
    try:
        made = desk.send("describe_chamber", typed)
    except Refused as error:
        return _list(desk, form=desk.refused(typed, error.problems), status=422)
    return desk.go(f"/chambers/{made.stream.rpartition('/')[2]}?done=described")


@router.get("/chambers/{key}")
def one(desk: AtDesk, key: str, done: str = "", new: int = 0, known: int = 0) -> Response:
    """One chamber, with the forms for its readings."""
    return _one(desk, key, done=done, counted={"new": new, "known": known})


@router.post("/chambers/{key}/readings")
def take(desk: AtDesk, key: str, typed: Typed) -> Response:
    """Look through pasted readings, or take them in."""
    found = _read(desk, typed)
    keep_good = "_good" in typed
    if not (keep_good or "_take" in typed) or not found.rows or (found.bad and not keep_good):
        status = 200 if found.rows and not found.bad else 422
        return _one(desk, key, form=Form(typed), found=found, status=status)
    try:
        took = _taken(desk, key, found.rows, typed, origin="pasted")
    except Refused as error:
        return _one(desk, key, form=Form(typed), found=_with(found, error.problems), status=422)
    return desk.go(f"/chambers/{key}?done=read&new={took.new}&known={took.known}")


@router.post("/chambers/{key}/reading")
def take_one(desk: AtDesk, key: str, typed: Typed) -> Response:
    """Take in one reading as typed."""
    given = data(typed, zone=desk.context.settings.zone)
    reasons = given.pop("reasons", {})
    row = {"at": desk.context.now.isoformat(), **given}
    row.pop("request_id", None)
    try:
        took = _taken(
            desk, key, [row], typed, origin="by hand", reasons={f"rows.0.{k}": v for k, v in reasons.items()}
        )
    except Refused as error:
        problems = tuple(
            Problem(
                p.code,
                p.field.removeprefix("rows.0."),
                p.given,
                p.allowed,
                {**p.params, "reason_for": p.field.removeprefix("rows.0.")}
                if "reason_for" in p.params
                else p.params,
            )
            for p in error.problems
        )
        return _one(desk, key, form=desk.refused(typed, problems), status=422)
    return desk.go(f"/chambers/{key}?done=read&new={took.new}&known={took.known}")


def _read(desk: Desk, typed: Mapping[str, str]) -> Readings:
    dates = typed.get("_dates", "year")
    order: DateOrder = dates if dates in get_args(DateOrder) else "year"  # type: ignore[assignment]
    unit = "F" if typed.get("_degrees") == "F" else "C"
    settings = desk.context.settings
    return read(
        typed.get("rows", ""),
        zone=settings.zone,
        dates=order,
        temperature_unit=unit,
        decimal=settings.decimal,
    )


def _taken(
    desk: Desk,
    key: str,
    rows: Sequence[Mapping[str, Any]],
    typed: Mapping[str, str],
    *,
    origin: str,
    reasons: Mapping[str, str] | None = None,
) -> Any:
    given: dict[str, Any] = {"key": key, "rows": [dict(row) for row in rows], "origin": origin}
    if typed.get("request_id"):
        given["request_id"] = typed["request_id"]
    for_all = typed.get("_reason", "").strip()
    given["reasons"] = dict(reasons or {})
    if for_all:
        names = ("temperature", "humidity")
        given["reasons"] |= {f"rows.{n}.{name}": for_all for n in range(len(rows)) for name in names}
    return desk.run("read_air", given)


def _with(found: Readings, problems: Sequence[Problem]) -> Readings:
    """The readings with the action's problems put at their lines."""
    bad = []
    for problem in problems:
        parts = problem.field.split(".")
        index = int(parts[1]) if len(parts) > 1 and parts[1].isdigit() else 0
        bad.append(Line(found.lines[index] if index < len(found.lines) else 0, problem))
    return Readings(found.delimiter, found.columns, found.heading, found.rows, found.lines, tuple(bad))


def _about(desk: Desk, chamber: Any) -> Form:
    """The form that describes a chamber anew, as it stands."""
    shown = desk.words.shown
    degrees = "F" if shown.measures == "us" else "C"
    typed = {"name": chamber.name}
    for name, value, kind, unit in (
        ("temperature", chamber.temp_c, "temperature", degrees),
        ("humidity", chamber.rh_frac, "fraction", "%"),
        ("air_speed", chamber.air_speed_m_per_s, "speed", "m/s"),
    ):
        if value is not None:
            typed[name] = shown.typed(value, kind, unit)
    return Form(typed, prefix="about-")


def _shown(desk: Desk, row: Mapping[str, str]) -> dict[str, str]:
    """A line as it was read."""
    words, decimal = desk.words, desk.context.settings.decimal
    return {
        "at": words.shown.at(row["at"]),
        "temperature": words.shown.quantity(
            parse(row["temperature"], "temperature", decimal=decimal), "temperature"
        ),
        "humidity": words.shown.quantity(parse(row["humidity"], "fraction", decimal=decimal), "fraction"),
    }


def _list(desk: Desk, *, form: Form | None = None, status: int = 200, done: bool = False) -> Response:
    return desk.page(
        "chambers.html",
        part="chambers",
        status=status,
        form=form or Form(),
        found=desk.run("chambers").chambers,
        done=done,
    )


def _one(
    desk: Desk,
    key: str,
    *,
    form: Form | None = None,
    found: Readings | None = None,
    status: int = 200,
    done: str = "",
    counted: Mapping[str, int] | None = None,
) -> Response:
    chamber = next((c for c in desk.run("chambers").chambers if c.key == key), None)
    if chamber is None:
        raise NotFound("chamber", key)
    bad = [(line.number, desk.words.problem(line.problem)) for line in found.bad[:50]] if found else []
    unusual = bool(found and any(line.problem.code == "implausible" for line in found.bad))
    return desk.page(
        "chamber.html",
        part="chambers",
        status=status,
        form=form or Form(),
        chamber=chamber,
        about=_about(desk, chamber),
        found=found,
        first=[_shown(desk, row) for row in found.rows[:_SHOWN]] if found else [],
        bad=bad,
        unusual=unusual,
        done=done,
        counted=counted or {},
    )
