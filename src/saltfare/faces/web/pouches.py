"""A pouch before it is filled, foods sealed together, own films and own isotherms."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.responses import Response

from saltfare.core.errors import Conflict, NotFound, Problem, Refused
from saltfare.faces.keeping_charts import DESK_WIDTH, PHONE_WIDTH, CourseChart, Curve, Panel, course_svg
from saltfare.faces.web.desk import AtDesk, Desk, Typed
from saltfare.faces.web.forms import Form, closed_up, data
from saltfare.faces.web.keeping import aw_scale, aw_ticks, film_choices, food_choices, place_taken
from saltfare.faces.web.says import capital

router = APIRouter(include_in_schema=False)
PARTS = 4
PAIRS = 8
_ROW = re.compile(r"parts\.\d+\.(mass|water)$")
_DAY_S = 86400.0
_FLAGS = ("stands", "takes_boiling_water")


@router.get("/shelf/pouch")
def pouch(desk: AtDesk, request: Request) -> Response:
    """The planner; with answers in the address, what it comes to."""
    typed = closed_up(dict(request.query_params))
    if not typed:
        return _pouch(desk, Form({"seal": "8", "seal_unit": "mm"}))
    found: Any = None
    problems: tuple[Problem, ...] = ()
    try:
        found = desk.run("pouch_plan", data(_asked(typed), zone=desk.context.settings.zone))
    except Refused as error:
        problems = error.problems
    except NotFound:
        problems = (Problem("not_found", "parts", params={"what": "lot", "key": ""}),)
    form = desk.refused(typed, problems) if problems else Form(typed)
    if desk.partial:
        return desk.page("_pouch_slip.html", **_pouch_view(desk, form, found))
    return _pouch(desk, form, found=found, status=422 if problems else 200)


def _asked(typed: Mapping[str, str]) -> dict[str, str]:
    """What the form says: parts that name nothing are left out."""
    empty = {
        name.rpartition(".")[0]
        for name, text in typed.items()
        if _ROW.match(name) and name.endswith("mass") and not text.strip()
    }
    said = {k: v for k, v in typed.items() if k.rpartition(".")[0] not in empty}
    # a unit beside nothing says nothing
    return {k: v for k, v in said.items() if not k.endswith("_unit") or typed.get(k.removesuffix("_unit"))}


def _pouch(desk: Desk, form: Form, *, found: Any = None, status: int = 200) -> Response:
    return desk.page(
        "pouch.html",
        part="shelf",
        status=status,
        form=form,
        spots=range(PARTS),
        lots=lot_choices(desk),
        foods=food_choices(desk),
        films=film_choices(desk),
        own=[(one.key, one.name) for one in desk.run("own_isotherms").own],
        **_pouch_view(desk, form, found),
    )


def lot_choices(desk: Desk) -> list[tuple[str, str]]:
    """The lots with packs left, by code."""
    return [(line.code, f"{line.name} {line.code}") for line in desk.run("shelf").lots if line.packs_left]


def _pouch_view(desk: Desk, form: Form, found: Any) -> dict[str, Any]:
    still = [p.label for p in form.problems if p.code in ("missing", "empty", "too_few")]
    view: dict[str, Any] = {"found": found, "still": list(dict.fromkeys(s for s in still if s))}
    view["said"] = [(p.label, p) for p in form.problems if p.code not in ("missing", "empty", "too_few")]
    if found is None:
        return view | {"lines": [], "chart": None, "unusual": [], "assumed": []}
    words = desk.words

    def when(seconds: float | None) -> str:
        return words.t("pouch.not_within") if seconds is None else words.shown.quantity(seconds, "time")

    reached = words.t("pouch.not_within")
    if found.reaches_s[0] is not None:
        ends = [when(s) for s in (found.reaches_s[0], found.reaches_s[2])]
        reached = words.t("pouch.reached", early=ends[0], late=ends[1])
    sizes = words.t("pouch.absorber_none")
    if found.absorber_m3 is not None:
        sizes = words.t("pouch.absorber_size", n=found.absorbers, size_m3=found.absorber_m3)
    spent = ""
    if found.spent_s is not None:
        early = found.spent_s[2]
        spent = words.t("pouch.lasts_whole") if early is None else words.t("pouch.spent", time_s=early)
    view |= {
        "reached": reached,
        "absorber": sizes,
        "spent": spent,
        "units": words.shown.number(found.units.high, 1) if found.units.high is not None else "",
        "limit": words.t(f"keeping.row.{found.limit}"),
        "fits": words.t(f"pouch.fits.{_yes(found.fits)}") if found.fits is not None else "",
        "boiling": words.t(f"pouch.boiling.{_yes(found.boiling)}"),
        "chart": _course(desk, found),
        "assumed": [words.t(f"pouch.assumed.{name}", **place_taken(desk)) for name in found.assumed],
        "unusual": [words.name(path.rpartition(".")[2]) for path in found.unusual],
    }
    return view


def _yes(flag: bool | None) -> str:
    return "ask" if flag is None else "yes" if flag else "no"


def _course(desk: Desk, found: Any) -> dict[str, Any] | None:
    if len(found.course) < 2:
        return None
    words, points = desk.words, found.course
    days = tuple(p.time_s / _DAY_S for p in points)
    mould = desk.context.library.row("keeping_water", found.limit).number("low_aw")
    low, high = aw_scale([v for p in points for v in p.aw] + [mould])
    water = Curve(
        tuple(p.aw[1] for p in points), tuple(min(p.aw) for p in points), tuple(max(p.aw) for p in points)
    )
    air = Curve(
        tuple(100 * p.oxygen_frac[1] for p in points),
        tuple(100 * min(p.oxygen_frac) for p in points),
        tuple(100 * max(p.oxygen_frac) for p in points),
    )
    last = days[-1]
    chart = CourseChart(
        days=days,
        marks=tuple((n * last / 4, words.shown.quantity(n * last / 4 * _DAY_S, "time")) for n in range(5)),
        panels=(
            Panel(
                words.t("keeping.water_inside"),
                (water,),
                low,
                high,
                aw_ticks(desk, low, high),
                ((mould, words.t("keeping.limit_line")),),
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
    return {"phone": course_svg(chart, PHONE_WIDTH), "desk": course_svg(chart, DESK_WIDTH)}


@router.get("/shelf/mix")
def mix(desk: AtDesk, request: Request) -> Response:
    """Foods sealed together; with parts in the address, where they end."""
    typed = closed_up(dict(request.query_params))
    if not typed:
        return _mix(desk, Form())
    return _looked(desk, typed)


@router.post("/shelf/mix")
def pack(desk: AtDesk, typed: Typed) -> Response:
    """Look at a mix, or pack it."""
    closed = closed_up(typed)
    if "_pack" not in closed:
        return _looked(desk, closed)
    sent = _asked(closed)
    names = ("name", "packs", "sealed", "place", "packed_on", "request_id")
    keep = {k: v for k, v in sent.items() if k in names or k.startswith(("pouch.", "reasons."))}
    keep |= {k: v for k, v in sent.items() if re.match(r"parts\.\d+\.(code|mass|mass_unit)$", k)}
    try:
        did = desk.send("mix_pack", keep)
    except Refused as error:
        return _looked(desk, closed, form=desk.refused(closed, error.problems), status=422)
    except Conflict as error:
        moved = Problem("moved_on", params={"seen": error.seen, "now": error.now})
        return _looked(desk, closed, form=desk.refused(closed, (moved,)), status=409)
    return desk.go(f"/L/{did.code}?done={did.events[0]}&act=mix")


def _looked(desk: Desk, typed: Mapping[str, str], *, form: Form | None = None, status: int = 200) -> Response:
    asked = {k: v for k, v in _asked(typed).items() if k.startswith("parts.") or k.startswith("temperature")}
    asked |= {k: v for k, v in typed.items() if k == "curve" and v}
    if typed.get("sealed"):
        asked["without_oxygen"] = "true" if typed["sealed"] == "no_oxygen" else "false"
    found = None
    try:
        found = desk.run("pouch_mix", data(asked, zone=desk.context.settings.zone))
    except Refused as error:
        if form is None:
            form, status = desk.refused(typed, error.problems), 422
    return _mix(desk, form or Form(typed), found=found, status=status)


def _mix(desk: Desk, form: Form, *, found: Any = None, status: int = 200) -> Response:
    names = [one.name for one in desk.run("places").places]
    return desk.page(
        "mix.html",
        part="shelf",
        status=status,
        form=form,
        spots=range(PARTS),
        lots=lot_choices(desk),
        foods=food_choices(desk),
        films=film_choices(desk),
        own=[(one.key, one.name) for one in desk.run("own_isotherms").own],
        found=found,
        mix=_mix_view(desk, form, found) if found else None,
        places=names,
    )


def _mix_view(desk: Desk, form: Form, found: Any) -> dict[str, Any]:
    words = desk.words
    parts = [
        {
            "name": part.name,
            "code": part.code,
            "before": words.shown.number(part.before.value, 2, trim=False),
            "after": words.shown.number(part.after.value, 2, trim=False),
            "marked": part.before.extrapolated or part.after.extrapolated,
            "change": words.t(f"mix.change.{part.change}"),
            "moved": words.t(
                "mix.moved",
                way=words.t("mix.takes" if part.water_after_kg > part.water_before_kg else "mix.gives"),
                mass_kg=abs(part.water_after_kg - part.water_before_kg),
            ),
        }
        for part in found.parts
    ]
    answers = [
        (
            found.counts[question].value,
            words.t(
                f"mix.answer.{question}.{answer.value}",
            ),
            words.t(
                "mix.before_after",
                before=words.t(f"mix.said.{found.before[question].value}"),
                after=words.t(f"mix.said.{found.after[question].value}"),
            ),
        )
        for question, answer in found.counts.items()
    ]
    asked = urlencode(
        [
            (k, v)
            for k, v in form.typed.items()
            if (k.startswith("parts.") or k.startswith("temperature")) and v.strip()
        ]
    )
    return {
        "parts": parts,
        "answers": answers,
        "query": asked,
        "all_lots": all(part.code for part in found.parts),
        "aw": words.shown.number(found.aw.value, 2, trim=False),
        "straight": None if found.straight is None else words.shown.number(found.straight, 2, trim=False),
        "chart": _way(desk, found),
    }


def _way(desk: Desk, found: Any) -> dict[str, Any] | None:
    if len(found.curve) < 2:
        return None
    words = desk.words
    days = tuple(p.time_s / _DAY_S for p in found.curve)
    curves = tuple(
        Curve(tuple(p.parts[i] for p in found.curve), said=part.name) for i, part in enumerate(found.parts)
    )
    # room above and below for the names of the curves
    values = [v for curve in curves for v in curve.middle]
    low, high = aw_scale([max(min(values) - 0.1, 0.0), min(max(values) + 0.1, 0.99)])
    chart = CourseChart(
        days=days,
        marks=tuple((d, words.shown.quantity(d * _DAY_S, "time")) for d in (0.0, 30.0, 60.0, 90.0)),
        panels=(Panel(words.t("mix.activity"), curves, low, high, aw_ticks(desk, low, high)),),
        description=words.t("mix.described", aw=round(found.aw.value, 2)),
    )
    return {
        "phone": course_svg(chart, PHONE_WIDTH),
        "desk": course_svg(chart, DESK_WIDTH),
        "heads": [part.name for part in found.parts],
        "rows": [
            [words.shown.quantity(p.time_s, "time"), *(words.shown.number(v, 2, trim=False) for v in p.parts)]
            for p in found.curve
        ],
    }


@router.get("/shelf/own")
def own(desk: AtDesk, request: Request, done: str = "") -> Response:
    """Own films and own pairs of water and water activity; with pairs in the address, their isotherm."""
    typed = {k: v for k, v in closed_up(dict(request.query_params)).items() if k != "done"}
    if not typed:
        return _own(desk, done=done)
    found, form, status = None, Form(typed), 200
    try:
        sent = {k: v for k, v in _pairs(typed).items() if k not in ("name", "origin")}
        found = desk.run("fit_isotherm", data(sent, zone=desk.context.settings.zone))
    except Refused as error:
        form, status = desk.refused(typed, error.problems), 422
    return _own(desk, form=form, found=found, status=status)


@router.post("/shelf/own/isotherm")
def keep_isotherm(desk: AtDesk, typed: Typed) -> Response:
    """Keep pairs under a name."""
    closed = closed_up(typed)
    try:
        did = desk.send("keep_isotherm", _pairs(closed))
    except Refused as error:
        return _own(desk, form=desk.refused(closed, error.problems), status=422)
    return desk.go(f"/shelf/own?done={did.events[0]}")


@router.post("/shelf/own/film")
def keep_film(desk: AtDesk, typed: Typed) -> Response:
    """Keep a film as its maker prints it."""
    try:
        did = desk.send("keep_film", typed)
    except Refused as error:
        return _own(desk, film=desk.refused(typed, error.problems, prefix="film-"), status=422)
    return desk.go(f"/shelf/own?done={did.events[0]}")


@router.post("/shelf/own/correct")
def strike(desk: AtDesk, typed: Typed) -> Response:
    """Take a film or an isotherm back."""
    did = desk.send("correct", typed)
    return desk.go(f"/shelf/own?done={did.events[0]}")


def _pairs(typed: Mapping[str, str]) -> dict[str, str]:
    """The pairs that say something; a row left open counts for nothing."""
    said = {
        name.split(".")[1]
        for name, text in typed.items()
        if re.match(r"pairs\.\d+\.(water|aw)$", name) and text.strip()
    }
    return {k: v for k, v in typed.items() if not k.startswith("pairs.") or k.split(".")[1] in said}


def _own(
    desk: Desk,
    *,
    form: Form | None = None,
    film: Form | None = None,
    found: Any = None,
    status: int = 200,
    done: str = "",
) -> Response:
    words = desk.words
    listed = desk.run("own_isotherms")
    names = {r.text("id"): capital(r.text("name")) for r in desk.context.library.rows("food_classes")}
    films = [
        {
            "name": capital(one.name),
            "own": one.own,
            "water": _rate(desk, 1e3 * one.vapour_kg_per_m2_d[1]),
            "oxygen": _rate(desk, 1e6 * one.oxygen_m3_per_m2_d[1]),
            "boiling": words.t(f"pouch.boiling.{_yes(one.boiling)}"),
            "cite": one.cite,
            "event_id": one.event_id,
        }
        for one in desk.run("films").films
    ]
    return desk.page(
        "own.html",
        part="shelf",
        status=status,
        form=form or Form(),
        film=film or Form(prefix="film-"),
        found=found,
        fit=_fit_view(desk, found) if found else None,
        kept=[(one, names.get(one.like, one.like)) for one in listed.own],
        classes=[(key, names[key]) for key in listed.classes],
        films=films,
        pairs=range(PAIRS),
        done=done,
    )


def _rate(desk: Desk, value: float) -> str:
    """A film's figure: three places where it is tight, one where it is not."""
    return desk.words.shown.number(value, 1 if value >= 1.0 else 3)


def _fit_view(desk: Desk, found: Any) -> dict[str, Any]:
    words = desk.words
    return {
        "form": words.t(f"own.form.{found.form}"),
        "constants": [
            (words.t(f"own.constant.{name}"), words.shown.number(value, 4))
            for name, value in found.constants.items()
        ],
        "misfit": words.shown.quantity(found.misfit.value, "fraction", half_width=0.0005),
        "range": words.t(
            "own.range",
            low=words.shown.number(found.aw_low, 2),
            high=words.shown.number(found.aw_high, 2),
            cold_c=found.temp_low_c,
            warm_c=found.temp_high_c,
        ),
        "rows": [
            (
                words.shown.number(point.aw, 2),
                words.shown.quantity(point.water_frac, "fraction", half_width=0.0005),
                words.shown.quantity(point.like_frac, "fraction", half_width=0.0005),
                point.within,
            )
            for point in found.curve[2::4]
        ],
    }
