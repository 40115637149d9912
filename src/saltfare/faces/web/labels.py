"""Labels of packs: how one looks, printing them, and what was printed before."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Request
from starlette.responses import Response

from saltfare.actions import registry
from saltfare.core.errors import Problem, Refused
from saltfare.faces.door.roles import needed, permit
from saltfare.faces.paper.labels import Extent, label_of, label_picture, labels_pdf
from saltfare.faces.web.desk import AtDesk, Desk, Typed
from saltfare.faces.web.forms import Form
from saltfare.faces.web.paper import pdf

if TYPE_CHECKING:
    from saltfare.actions.label_shapes import LabelShown
    from saltfare.actions.labels import PrintedShown, SheetShown

router = APIRouter(include_in_schema=False)
_FIRST_SHEET = "a4_3x2"
_EXTENTS: tuple[Extent, ...] = ("full", "brief")


@router.get("/labels/printed/{event_id}.pdf")
def again(desk: AtDesk, event_id: str) -> Response:
    """Labels as they were printed."""
    found: PrintedShown = desk.run("printed_labels", {"event_id": event_id})
    made = labels_pdf(
        desk.words, found.label, found.sheet, copies=found.copies, skip=found.skip, extent=found.extent
    )
    return pdf(made, f"labels-{quote(found.code, safe='')}")


@router.get("/labels/{code}.png")
def picture(desk: AtDesk, request: Request, code: str) -> Response:
    """One label as it would be printed."""
    typed = dict(request.query_params)
    sheet, extent, panel = _chosen(desk, typed)
    made = label_picture(desk.words, _label(desk, code, panel), sheet, extent=extent)
    return Response(made, media_type="image/png", headers={"cache-control": "no-store"})


@router.get("/labels/{code}")
def look(desk: AtDesk, request: Request, code: str, done: str = "") -> Response:
    """How the label of a lot looks, with the form to print it; of a batch under way, how it will look."""
    return _page(desk, code, Form(dict(request.query_params)), done=done)


@router.post("/labels/mug")
def mug(desk: AtDesk, typed: Typed) -> Response:
    """Keep what the own mug holds."""
    code = typed.get("_code", "")
    try:
        desk.send("set_mug", typed)
    except Refused as error:
        return _page(desk, code, desk.refused(typed, error.problems), status=422)
    return desk.go(f"/labels/{quote(code, safe='')}#own-mug")


@router.post("/labels/{code}/print")
def keep(desk: AtDesk, code: str, typed: Typed) -> Response:
    """Keep that labels are printed, and what they say."""
    permit(desk.request.scope, needed(registry.get("print_labels")))
    try:
        # a label that does not go on the sheet is refused before anything is kept
        sheet, extent, panel = _chosen(desk, typed)
        labels_pdf(desk.words, _label(desk, code, panel), sheet, copies=1, skip=0, extent=extent)
        made = desk.send("print_labels", typed, code=code)
    except Refused as error:
        return _page(desk, code, desk.refused(typed, error.problems), status=422)
    return desk.go(f"/labels/{quote(code, safe='')}?{urlencode({'done': made.events[0]})}")


def _label(desk: Desk, code: str, panel: str) -> LabelShown:
    shown: LabelShown = desk.run("label", {"code": code, **({"panel": panel} if panel else {})})
    return shown


def _chosen(desk: Desk, typed: Mapping[str, str]) -> tuple[SheetShown, Extent, str]:
    sheets = {one.id: one for one in desk.run("label_sheets").sheets}
    wanted = typed.get("sheet") or _FIRST_SHEET
    if wanted not in sheets:
        raise Refused(Problem("not_one_of", "sheet", wanted[:40], ", ".join(sheets)))
    extent: Extent = "brief" if typed.get("extent") == "brief" else "full"
    panel = typed.get("panel", "")
    return sheets[wanted], extent, panel if panel in ("us", "eu") else ""


def _page(desk: Desk, code: str, form: Form, *, done: str = "", status: int = 200) -> Response:
    words = desk.words
    sheet, extent, panel = _chosen(desk, form.typed)
    shown = _label(desk, code, panel)
    sheets = desk.run("label_sheets")
    too_small = None
    try:
        label_picture(words, shown, sheet, extent=extent)
    except Refused as error:
        too_small = words.problem(error.problems[0])
    fits = [] if too_small is None else [one.id for one in sheets.sheets if _fits(desk, shown, one, extent)]
    query = urlencode({"sheet": sheet.id, "extent": extent, **({"panel": panel} if panel else {})})
    return desk.page(
        "label.html",
        part="dishes" if shown.under_way else "shelf",
        status=status,
        form=Form(
            {"sheet": sheet.id, "extent": extent, "panel": panel, **form.typed}, form.problems, form.prefix
        ),
        one=shown,
        said=label_of(words, shown, extent),
        query=query,
        sheets=[(one.id, _sheet_said(desk, one)) for one in sheets.sheets],
        extents=[(one, words.t(f"labels.extent.{one}")) for one in _EXTENTS],
        panels=[
            ("", words.t("labels.panel.plain")),
            *((p, words.t(f"labels.panel.{p}")) for p in ("us", "eu")),
        ],
        too_small=too_small,
        fits=[_sheet_said(desk, one) for one in sheets.sheets if one.id in fits],
        mug=sheets.mug_m3,
        done=done,
    )


def _fits(desk: Desk, shown: LabelShown, sheet: SheetShown, extent: Extent) -> bool:
    try:
        label_picture(desk.words, shown, sheet, extent=extent)
    except Refused:
        return False
    return True


def _sheet_said(desk: Desk, one: SheetShown) -> str:
    """Columns and rows, and the size of a label."""
    words = desk.words

    def mm(value: float) -> str:
        return words.shown.number(value * 1000.0, 1)

    size: dict[str, Any] = {"width": mm(one.label_width_m)}
    if one.label_height_m is None:
        return words.t("labels.roll", **size)
    size["height"] = mm(one.label_height_m)
    each = one.rows * one.columns
    page_height = one.page_height_m or 0.0
    if each == 1 and page_height <= one.label_height_m + 1e-6:
        return words.t("labels.single", **size)
    paper = words.t("labels.letter" if abs(page_height - 0.2794) < 1e-3 else "labels.a4")
    return words.t("labels.sheet", paper=paper, n=each, rows=one.rows, columns=one.columns, **size)
