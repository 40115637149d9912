"""What is done with a trip's menu: worked out, changed, held, taken along, and told of afterwards."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache
from importlib.resources import files
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter
from markupsafe import Markup
from starlette.responses import HTMLResponse, Response

from saltfare.core.errors import Conflict, Problem, Refused
from saltfare.faces.door.roles import permit
from saltfare.faces.paper.trip_sheet import not_for_said, trip_pdf, trip_sheet
from saltfare.faces.trip_calendar import trip_calendar
from saltfare.faces.web.desk import AtDesk, Desk, Typed, render
from saltfare.faces.web.forms import Form, data
from saltfare.faces.web.paper import pdf
from saltfare.faces.web.trip_page import PRESETS, menu_view, trip_page

router = APIRouter(include_in_schema=False)
# how long a request waits for a menu: a small trip is done, a large one shows its first answer
_WAIT_S = 2
_TRACK = "_for."


@router.get("/trips/{code}/menu")
def fragment(desk: AtDesk, code: str, preset: str = "") -> Response:
    """The menu as it stands; a page of its own where no fragment is asked for."""
    if not desk.partial:
        return trip_page(desk, code, preset=preset)
    one = desk.run("trip", {"code": code})
    return desk.page("_trip_menu.html", part="trips", **menu_view(desk, one, preset))


@router.post("/trips/{code}/menu")
def work_out(desk: AtDesk, code: str, typed: Typed) -> Response:
    """Begin working a menu out."""
    return _and_plan(desk, code, typed.get("preset", ""), ())


@router.post("/trips/{code}/stop")
def stop(desk: AtDesk, code: str, typed: Typed) -> Response:
    """End the search and keep the best so far."""
    permit(desk.request.scope, "all")
    preset = _preset(typed)
    desk.run("plan_menu", {"code": code, "preset": preset, "stop": True})
    return desk.go(f"/trips/{quote(code)}?preset={preset}#menu")


@router.post("/trips/{code}/bar")
def bar(desk: AtDesk, code: str, typed: Typed) -> Response:
    """Keep something off, and work the menu out again."""
    own = {name: typed[name] for name in ("item", "day", "sitting", "request_id") if typed.get(name)}
    return _and_plan(desk, code, _preset(typed), [("bar_item", _numbered(own))])


@router.post("/trips/{code}/hold")
def hold(desk: AtDesk, code: str, typed: Typed) -> Response:
    """Hold something where it is, and work the rest out again."""
    return _and_plan(desk, code, _preset(typed), _holds(typed, typed.get("item", "")))


@router.post("/trips/{code}/exchange")
def exchange(desk: AtDesk, code: str, typed: Typed) -> Response:
    """Something else in its place: the one kept off there, the other held for the same people."""
    place = {name: typed[name] for name in ("day", "sitting") if typed.get(name)}
    off = ("bar_item", _numbered({"item": typed.get("item", ""), **place}))
    return _and_plan(desk, code, _preset(typed), [off, *_holds(typed, typed.get("_instead", ""))])


@router.post("/trips/{code}/let-go")
def let_go(desk: AtDesk, code: str, typed: Typed) -> Response:
    """Let go of something held or kept off, and work the menu out again."""
    given = data({k: v for k, v in typed.items() if k.startswith("of.")}, zone=desk.context.settings.zone)
    return _and_plan(desk, code, _preset(typed), [("let_go", given)])


@router.post("/trips/{code}/commit")
def commit(desk: AtDesk, code: str, typed: Typed) -> Response:
    """Hold the menu's packs on the shelf."""
    return _act(desk, code, "commit_menu", typed, "committed")


@router.post("/trips/{code}/release")
def release(desk: AtDesk, code: str, typed: Typed) -> Response:
    """Free them again."""
    return _act(desk, code, "release_menu", typed, "released")


@router.post("/trips/{code}/take")
def take(desk: AtDesk, code: str, typed: Typed) -> Response:
    """Take along what the menu holds."""
    return _act(desk, code, "take_along", typed, "taken")


@router.get("/trips/{code}/sheet.pdf")
def sheet_pdf(desk: AtDesk, code: str, preset: str = "") -> Response:
    """The sheets on paper."""
    shown = _sheet(desk, code, preset)
    made = trip_pdf(desk.words, shown, desk.context.now, desk.money)
    return pdf(made, f"trip-{shown.departure.isoformat()}")


@router.get("/trips/{code}/sheet.html")
def sheet_html(desk: AtDesk, code: str, preset: str = "") -> Response:
    """The sheets as one file that needs no network."""
    shown = _sheet(desk, code, preset)
    said = trip_sheet(desk.words, shown, desk.context.now, desk.money)
    # kept as a file and opened from there: within these pages its own style would be refused
    name = f"trip-{shown.departure.isoformat()}.html"
    headers = {"content-disposition": f'attachment; filename="{name}"', "cache-control": "no-store"}
    return HTMLResponse(render(desk.words, "trip_sheet.html", s=said, style=_sheet_style()), headers=headers)


@router.get("/trips/{code}/days.ics")
def days_ics(desk: AtDesk, code: str, preset: str = "") -> Response:
    """The days for a calendar."""
    shown = _sheet(desk, code, preset)
    said = trip_sheet(desk.words, shown, desk.context.now, desk.money)
    made = trip_calendar(desk.words, shown, said, version=shown.menu.version, at=desk.context.now)
    headers = {"content-disposition": f'attachment; filename="trip-{shown.departure.isoformat()}.ics"'}
    return Response(made, media_type="text/calendar; charset=utf-8", headers=headers)


@cache
def _sheet_style() -> Markup:
    """The sheet's own style, set into it: it is read where there is no network."""
    css = (files("saltfare.faces") / "paper" / "trip_sheet.css").read_text("utf-8")
    return Markup(f"<style>\n{css}</style>")  # noqa: S704 - a file of ours


def _sheet(desk: Desk, code: str, preset: str) -> Any:
    asked = {"preset": preset} if preset in PRESETS else {}
    return desk.run("trip_sheet", {"code": code, **asked})


@router.get("/trips/{code}/items")
def items(desk: AtDesk, code: str, kept: str = "") -> Response:
    """What may come along, and how."""
    return _items(desk, code, kept=kept)


@router.post("/trips/{code}/items")
def set_item(desk: AtDesk, code: str, typed: Typed) -> Response:
    """Choose how something is treated on the trip."""
    typed = dict(typed)
    day = typed.pop("_cold_until", "").strip()
    if day.isdigit():
        typed["cold_until"] = str(max(int(day) - 1, 0))
    elif day:
        problem = Problem("not_usable", "cold_until", day, "1, 2, 3")
        return _items(desk, code, form=desk.refused(typed, (problem,)), status=422)
    try:
        desk.send("set_item", _numbered({**typed, "code": code}))
    except Refused as error:
        return _items(desk, code, form=desk.refused(typed, error.problems), status=422)
    return desk.go(f"/trips/{quote(code)}/items?kept={quote(typed.get('item', ''))}")


@router.get("/trips/{code}/after")
def after(desk: AtDesk, code: str) -> Response:
    """How did it go?"""
    return _after(desk, code, Form())


@router.post("/trips/{code}/after")
def tell_after(desk: AtDesk, code: str, typed: Typed) -> Response:
    """Keep how it went."""
    given: dict[str, Any] = {"left": {}, "thrown_out": {}, "liked": [], "disliked": []}
    for name, text in typed.items():
        kind, _, item = name.partition(":")
        if kind in ("left", "thrown_out") and text.strip():
            given[kind][item] = int(text) if text.strip().isdigit() else text
        elif kind in ("_liked", "_disliked") and text.strip():
            for who in text.split(","):
                given[kind[1:]].append({"item": item, "person": who.strip()[:60], "text": ""})
    own = {k: v for k, v in typed.items() if ":" not in k}
    try:
        desk.send("after_trip", {**own, "code": code}, **given)
    except Refused as error:
        return _after(desk, code, desk.refused(typed, error.problems), status=422)
    return desk.go(f"/trips/{quote(code)}?kept=after")


def _after(desk: Desk, code: str, form: Form, status: int = 200) -> Response:
    one = desk.run("trip", {"code": code})
    menu = desk.run("menu", {"code": code})
    packs: dict[str, Any] = {}
    for pack in menu.packs:
        name, count, _ = packs.get(pack.item, (pack.name, 0, False))
        # only what left the shelf can come back to it
        packs[pack.item] = (name, count + pack.packs, pack.origin == "lot")
    fuel = "oz" if desk.words.shown.measures != "metric" else "g"
    return desk.page(
        "trip_after.html", part="trips", form=form, one=one, packs=packs, fuel_unit=fuel, status=status
    )


def _items(desk: Desk, code: str, *, form: Form | None = None, kept: str = "", status: int = 200) -> Response:
    one = desk.run("trip", {"code": code})
    found = desk.run("trip_items", {"code": code})
    return desk.page(
        "trip_items.html",
        part="trips",
        one=one,
        found=found,
        form=form or Form(),
        kept=next((i.name for i in found.items if i.item == kept), ""),
        not_for_said=not_for_said,
        status=status,
    )


def _and_plan(desk: Desk, code: str, preset: str, before: Any = (), *, wait_s: int = _WAIT_S) -> Response:
    """Do some commands, then work the menu out; back to the page. It takes the machine's time, so it is
    for who plans, although it changes nothing."""
    permit(desk.request.scope, "all")
    preset = preset if preset in PRESETS else PRESETS[0]
    try:
        for action, given in before:
            desk.run(action, {**given, "code": code})
        desk.run("plan_menu", {"code": code, "preset": preset, "wait_s": wait_s})
    except Refused as error:
        return trip_page(desk, code, preset=preset, problems=error.problems, status=422)
    return desk.go(f"/trips/{quote(code)}?preset={preset}#menu")


def _act(desk: Desk, code: str, action: str, typed: Mapping[str, str], kept: str) -> Response:
    own = {k: v for k, v in typed.items() if not k.startswith("_")}
    try:
        desk.send(action, {**own, "code": code})
    except Refused as error:
        return trip_page(desk, code, preset=_preset(typed), problems=error.problems, status=422)
    except Conflict as error:
        moved = Problem("moved_on", params={"seen": error.seen, "now": error.now})
        return trip_page(desk, code, preset=_preset(typed), problems=(moved,), status=409)
    return desk.go(f"/trips/{quote(code)}?kept={kept}")


def _preset(typed: Mapping[str, str]) -> str:
    asked = typed.get("_preset") or typed.get("preset", "")
    return asked if asked in PRESETS else PRESETS[0]


def _holds(typed: Mapping[str, str], item: str) -> Iterator[tuple[str, dict[str, Any]]]:
    place = {name: typed[name] for name in ("day", "sitting") if typed.get(name)}
    for name, servings in typed.items():
        if name.startswith(_TRACK):
            given = {"item": item, "person": name.removeprefix(_TRACK), "servings": servings, **place}
            yield "hold_item", _numbered(given)


def _numbered(given: Mapping[str, Any]) -> dict[str, Any]:
    """Whole numbers as numbers: a form sends text."""
    out = dict(given)
    for name in ("day", "servings", "cold_until"):
        if str(out.get(name, "")).isdigit():
            out[name] = int(out[name])
    return out
