"""How a lot keeps, in full: its limits, the course inside its pack, years in a warm cupboard, and what if."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from fastapi import APIRouter, Request
from starlette.responses import Response

from saltfare.core.errors import Conflict, NotFound, Problem, Refused
from saltfare.faces.keeping_charts import DESK_WIDTH, PHONE_WIDTH, CourseChart, Curve, Panel, course_svg
from saltfare.faces.web.desk import AtDesk, Desk, Typed
from saltfare.faces.web.forms import Form
from saltfare.faces.web.says import capital

if TYPE_CHECKING:
    from saltfare.actions.pack_keeping import CurvePoint, LimitShown, PackKeeping

router = APIRouter(include_in_schema=False)
_SHARES = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)


@router.get("/shelf/keeping/{code}")
def page(desk: AtDesk, code: str, request: Request, done: str = "") -> Response:
    """How a lot keeps, and were it kept otherwise."""
    typed = {k: v for k, v in request.query_params.items() if k != "done"}
    form, status = Form(typed), 200
    found = desk.run("keeping", {"code": code})
    if any(v.strip() for k, v in typed.items() if not k.endswith("_unit")):
        try:
            found = desk.send("keeping", typed, code=code)
        except Refused as error:
            form, status = desk.refused(typed, error.problems), 422
    return _page(desk, found, form=form, status=status, done=done)


@router.post("/shelf/keeping/{code}/food")
def food(desk: AtDesk, code: str, typed: Typed) -> Response:
    """Say what its food is."""
    try:
        did = desk.send("tell_food", typed, code=code)
    except (Refused, Conflict) as error:
        problems = error.problems if isinstance(error, Refused) else (_moved(error),)
        told = desk.refused(typed, problems, prefix="food-")
        return _page(desk, desk.run("keeping", {"code": code}), told=told, status=422)
    return desk.go(f"/shelf/keeping/{quote(code)}?done={did.events[0]}")


def _moved(error: Conflict) -> Problem:
    return Problem("moved_on", params={"seen": error.seen, "now": error.now})


def _page(
    desk: Desk,
    found: Any,
    *,
    form: Form | None = None,
    told: Form | None = None,
    status: int = 200,
    done: str = "",
) -> Response:
    return desk.page(
        "keeping.html",
        part="shelf",
        status=status,
        form=form or Form(),
        told=told or Form({"food": found.food_told.partition(",")[0]}, prefix="food-"),
        found=found,
        kept=kept_view(desk, found.kept),
        otherwise=kept_view(desk, found.otherwise) if found.otherwise else None,
        films=film_choices(desk),
        foods=food_choices(desk),
        own=[(one.key, one.name) for one in desk.run("own_isotherms").own],
        done=done,
    )


def food_choices(desk: Desk) -> list[tuple[str, str]]:
    """The kinds of food a pack may hold, by id."""
    return [(r.text("id"), capital(r.text("name"))) for r in desk.context.library.rows("keeping_foods")]


def film_choices(desk: Desk) -> list[tuple[str, str]]:
    """The films, own ones last."""
    return [(one.id, capital(one.name)) for one in desk.run("films").films]


def kept_view(desk: Desk, kept: PackKeeping) -> dict[str, Any]:
    """A keeping in words, with its curve."""
    words = desk.words
    rows = []
    for one in kept.limits:
        days = [one.earliest, one.likely, one.latest]
        same = one.mode in ("guide", "label") or days[0] == days[1] == days[2]
        rows.append(
            {
                "what": _limit_name(desk, one),
                "days": [words.shown.on(d) if d else words.t("keeping.beyond") for d in days],
                "same": same,
                "first": one.mode == kept.first_limit and one.earliest == kept.planning_date,
                "counted": one.counted,
            }
        )
    return {
        "kept": kept,
        "between": _between(desk, kept),
        "first": _first(desk, kept),
        "rows": rows,
        "assumed": _assumed(desk, kept),
        "chart": _chart(desk, kept),
        "aged": _aged(desk, kept),
    }


def _between(desk: Desk, kept: PackKeeping) -> str:
    """The first limit's likeliest and latest day, where there is one."""
    if kept.middle is None:
        return ""
    if kept.high is None:
        return desk.words.t("keeping.likely_open", likely=kept.middle)
    return desk.words.t("keeping.likely", likely=kept.middle, latest=kept.high)


def _first(desk: Desk, kept: PackKeeping) -> str:
    ours = [one for one in kept.limits if one.mode == kept.first_limit and one.earliest == kept.planning_date]
    if not ours:
        return ""
    return _limit_name(desk, ours[0])


def _limit_name(desk: Desk, one: LimitShown) -> str:
    """What is reached: by the row of the library it stands on."""
    if one.mode == "guide":
        row = desk.context.library.row("keeping_guides", one.row.partition(":")[2])
        return desk.words.t("keeping.row.guide", food=row.text("food"))
    key = "label" if one.mode == "label" else one.row.partition(":")[2]
    return desk.words.t(f"keeping.row.{key}")


def _assumed(desk: Desk, kept: PackKeeping) -> list[str]:
    out = []
    place = place_taken(desk)
    for one in kept.assumed:
        taken = one.taken
        if one.what == "film":
            taken = _film_name(desk, taken)
        out.append(desk.words.t(f"keeping.assumed.{one.what}", taken=taken, **place))
    return out


def place_taken(desk: Desk) -> dict[str, float]:
    """The air a place that nobody described is taken to have."""
    row = desk.context.library.row("keeping_rules", "place_not_told")
    return {"temp_c": row.number("temp"), "rh_frac": row.number("humidity")}


def _film_name(desk: Desk, film: str) -> str:
    try:
        return desk.context.library.row("films", film).text("name")
    except NotFound:
        return film


def _aged(desk: Desk, kept: PackKeeping) -> list[dict[str, Any]]:
    """Years in a warm cupboard: one row a change, one cell a year."""
    words = desk.words
    by_row: dict[str, dict[int, str]] = {}
    for one in kept.aged:
        if one.left_frac is not None:
            low, high = words.shown.span(one.left_frac[0], one.left_frac[2], "fraction")
            said = words.t("keeping.left", low=low, high=high)
        elif one.share[0] >= 1.0:
            said = words.t("keeping.past")
        elif one.share[2] >= 1.0:
            said = words.t("keeping.may_be_past")
        else:
            said = words.t("keeping.not_yet")
        by_row.setdefault(one.row.partition(":")[2], {})[one.years] = said
    return [
        {"what": words.t(f"keeping.of.{row}"), "cells": [cells[year] for year in sorted(cells)]}
        for row, cells in by_row.items()
    ]


def _chart(desk: Desk, kept: PackKeeping) -> dict[str, Any] | None:
    if len(kept.curve) < 2:
        return None
    return course_view(desk, kept.curve, kept)


def course_view(desk: Desk, points: tuple[CurvePoint, ...], kept: PackKeeping) -> dict[str, Any]:
    """The course inside: water activity and oxygen, drawn for phone and desk, and as a table."""
    words = desk.words
    start = points[0].on
    days = tuple(float((p.on - start).days) for p in points)
    mould = desk.context.library.row("keeping_water", "mould").number("low_aw")
    water = Curve(
        tuple(p.aw[1] for p in points),
        tuple(min(p.aw) for p in points),
        tuple(max(p.aw) for p in points),
    )
    air = Curve(
        tuple(100 * p.oxygen_frac[1] for p in points),
        tuple(100 * min(p.oxygen_frac) for p in points),
        tuple(100 * max(p.oxygen_frac) for p in points),
    )
    low, high = aw_scale([v for p in points for v in p.aw] + [mould])
    marks = tuple((d, words.t("keeping.after_year", n=int(d / 365.25))) for d in _years(days[-1]))
    chart = CourseChart(
        days=days,
        marks=((0.0, words.shown.on(start)), *marks),
        panels=(
            Panel(
                words.t("keeping.water_inside"),
                (water,),
                low,
                high,
                aw_ticks(desk, low, high),
                ((mould, words.t("keeping.mould_line")),),
            ),
            Panel(
                words.t("keeping.oxygen_inside"),
                (air,),
                0.0,
                22.0,
                tuple((v, words.shown.number(v, 0)) for v in (0.0, 5.0, 10.0, 15.0, 20.0)),
            ),
        ),
        description=words.t(
            "keeping.described", aw=round(points[0].aw[1], 2), end=round(points[-1].aw[1], 2)
        ),
    )
    step = max(1, len(points) // 10)
    return {
        "phone": course_svg(chart, PHONE_WIDTH),
        "desk": course_svg(chart, DESK_WIDTH),
        "rows": [
            [
                words.shown.on(p.on),
                _span(desk, min(p.aw), max(p.aw)),
                _percent_span(desk, min(p.oxygen_frac), max(p.oxygen_frac)),
            ]
            for p in [*points[:-1:step], points[-1]]
        ],
    }


def aw_scale(values: list[float]) -> tuple[float, float]:
    """A scale of water activity that holds them all, in tenths."""
    low, high = min(values), max(values)
    return max(0.0, int(low * 10) / 10), min(1.0, int(high * 10 + 1.0) / 10)


def aw_ticks(desk: Desk, low: float, high: float) -> tuple[tuple[float, str], ...]:
    """Marks on it."""
    count = round((high - low) * 10)
    step = 1 if count <= 5 else 2
    return tuple(
        (low + n / 10, desk.words.shown.number(low + n / 10, 1, trim=False))
        for n in range(0, count + 1, step)
    )


def _years(last: float) -> list[float]:
    return [year * 365.25 for year in range(1, int(last / 365.25) + 1)]


def _span(desk: Desk, low: float, high: float) -> str:
    shown = desk.words.shown
    first, second = shown.number(low, 2, trim=False), shown.number(high, 2, trim=False)
    return first if first == second else desk.words.t("keeping.from_to", low=first, high=second)


def _percent_span(desk: Desk, low: float, high: float) -> str:
    shown = desk.words.shown
    first, second = (
        shown.quantity(low, "fraction", half_width=0.005),
        shown.quantity(high, "fraction", half_width=0.005),
    )
    return first if first == second else desk.words.t("keeping.from_to", low=first, high=second)
