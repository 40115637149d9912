"""Chambers: the air they usually have, and readings pasted or typed."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any, get_args

from fastapi import APIRouter
from markupsafe import Markup
from starlette.responses import Response

from saltfare.actions import registry
from saltfare.core.errors import Problem, Refused
from saltfare.core.units import parse, to_unit
from saltfare.faces import air_charts
from saltfare.faces.air_text import DateOrder, Line, Readings, read
from saltfare.faces.charts import DESK_WIDTH, PHONE_WIDTH
from saltfare.faces.web.desk import AtDesk, Desk, Typed
from saltfare.faces.web.forms import Form, data
from saltfare.faces.words import find

router = APIRouter(include_in_schema=False)
_SHOWN = 5
_DAYS = (3, 14, 60)


@router.get("/chambers")
def every(desk: AtDesk, done: str = "") -> Response:
    """All chambers, and the form for a new one."""
    return _list(desk, done=bool(done))


@router.post("/chambers")
def describe(desk: AtDesk, typed: Typed) -> Response:
    """Name a chamber, or describe it anew."""
    # a list with every box left open is an answer too
    ticked = any(name.startswith("changeable.") for name in typed)
    none: dict[str, Any] = {"changeable": []} if "_changeable" in typed and not ticked else {}
    try:
        made = desk.send("describe_chamber", typed, **none)
    except Refused as error:
        return _list(desk, form=desk.refused(typed, error.problems), status=422)
    return desk.go(f"/chambers/{made.stream.rpartition('/')[2]}?done=described")


@router.get("/chambers/{key}")
def one(
    desk: AtDesk,
    key: str,
    done: str = "",
    new: int = 0,
    known: int = 0,
    days: int = 14,
    advice: bool = False,
) -> Response:
    """One chamber: its air, what would help, the forms for its readings."""
    return _one(desk, key, done=done, counted={"new": new, "known": known}, days=days, advice=advice)


@router.post("/chambers/{key}/readings")
def take(desk: AtDesk, key: str, typed: Typed) -> Response:
    """Look through pasted readings, or take them in."""
    found = _read(desk, typed)
    keep_good = "_good" in typed
    if not (keep_good or "_take" in typed) or not found.rows or (found.bad and not keep_good):
        seen = _questioned(desk, key, found)
        status = 200 if found.rows and not seen.bad else 422
        return _one(desk, key, form=Form(typed), found=seen, status=status)
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


def _questioned(desk: Desk, key: str, found: Readings) -> Readings:
    """The readings with what would be refused or questioned when they are taken in, asked before."""
    if not found.rows:
        return found
    asked = registry.objections("read_air", desk.context, {"key": key, "rows": list(found.rows)})
    if not asked:
        return found
    other = [
        {
            **row,
            "temperature": f"{_bare(row['humidity'])} {_degrees(row['temperature'])}",
            "humidity": _bare(row["temperature"]) + " %",
        }
        for row in found.rows
    ]
    seen = _with(found, asked)
    more: tuple[Line, ...] = ()
    if not registry.objections("read_air", desk.context, {"key": key, "rows": other}):
        more = (Line(found.lines[0], Problem("air_swapped", "temperature")),)
    bad = sorted((*found.bad, *more, *seen.bad), key=lambda line: line.number)
    return Readings(found.delimiter, found.columns, found.heading, found.rows, found.lines, tuple(bad))


def _degrees(cell: str) -> str:
    return "F" if cell.rstrip().upper().endswith("F") else "C"


def _bare(cell: str) -> str:
    """A cell without its unit."""
    return re.sub(r"\s*(°?\s*[CFcf]|%)\s*$", "", cell)


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
    typed |= {f"changeable.{n}": name for n, name in enumerate(chamber.changeable)}
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
    days: int = _DAYS[1],
    advice: bool = False,
) -> Response:
    air = desk.run("chamber", {"key": key, "days": days if days in _DAYS else _DAYS[1]})
    bad = [(line.number, desk.words.problem(line.problem)) for line in found.bad[:50]] if found else []
    unusual = bool(found and any(line.problem.code == "implausible" for line in found.bad))
    return desk.page(
        "chamber.html",
        part="chambers",
        status=status,
        form=form or Form(),
        chamber=air.chamber,
        air=air,
        chart=_chart(desk, air),
        spans=[(n, n == days) for n in _DAYS],
        advice=desk.run("chamber_advice", {"key": key}) if advice else None,
        about=_about(desk, air.chamber),
        found=found,
        first=[_shown(desk, row) for row in found.rows[:_SHOWN]] if found else [],
        bad=bad,
        unusual=unusual,
        done=done,
        counted=counted or {},
    )


def _chart(desk: Desk, air: Any) -> dict[str, Markup] | None:
    """The air drawn for both widths; None where nothing was read."""
    if not air.points:
        return None
    words, shown, chamber = desk.words, desk.words.shown, air.chamber
    unit = shown.unit_for("temperature", 0.0)
    runs, run = [], 0
    for point in air.points:
        run += point.begins
        runs.append(run)
    chart = air_charts.AirChart(
        times=tuple(shown.local(p.at) for p in air.points),
        temp=tuple(round(to_unit(p.temp_c, "temperature", unit), 2) for p in air.points),
        rh_pct=tuple(round(100 * p.rh_frac, 2) for p in air.points),
        run=tuple(runs),
        usual_temp=None if chamber.temp_c is None else to_unit(chamber.temp_c, "temperature", unit),
        usual_rh_pct=None if chamber.rh_frac is None else 100 * chamber.rh_frac,
        labels=air_charts.AirLabels(
            description=words.t(
                "chambers.air_description",
                name=chamber.name,
                first=air.points[0].at,
                last=air.points[-1].at,
            ),
            temperature=words.t("chambers.temp_axis", unit=shown.label(unit)),
            humidity=words.t("chambers.rh_axis"),
            day=words.t("chart.day_us" if shown.locale == "en-US" else "chart.day"),
            months=tuple(find("date.months", words.tree)),
            weekdays=tuple(find("date.weekdays", words.tree)),
            decimal="," if shown.decimal == "comma" else ".",
        ),
    )
    return {
        "phone": air_charts.air_svg(chart, PHONE_WIDTH),
        "desk": air_charts.air_svg(chart, DESK_WIDTH),
    }
