"""A piece cut across, as its page shows it: the drawing, and the same in figures."""

from __future__ import annotations

from bisect import bisect_right
from typing import TYPE_CHECKING, Any

from saltfare.core.errors import NotConverged, OutOfRange, Refused
from saltfare.faces import charts
from saltfare.faces.section_drawing import BRINE_AT, WATER_AT, Cut, SectionDrawing, section_svg
from saltfare.faces.web.desk import Desk

if TYPE_CHECKING:
    from saltfare.actions.piece_view import PieceShown
    from saltfare.actions.section import CutAcross, SectionShown

_SHARES = (0.0, 0.25, 0.5, 0.75, 0.9, 1.0)


def across(desk: Desk, one: PieceShown) -> dict[str, Any] | None:
    """The section of a piece with a forecast; None where none can be computed (the page says why)."""
    if one.forecast is None:
        return None
    try:
        shown: SectionShown = desk.run("section", {"code": one.code})
    except (Refused, OutOfRange, NotConverged):
        return None
    drawing = drawing_of(desk, shown, one.name)
    cuts = [shown.now] + ([shown.target] if shown.target else [])
    said = desk.words.t
    given: dict[str, Any] = {"n": shown.weigh_ins}
    if shown.last_weigh_in:
        given["last"] = shown.last_weigh_in
    return {
        "phone": section_svg(drawing, charts.PHONE_WIDTH),
        "desk": section_svg(drawing, charts.DESK_WIDTH),
        "computed": said("section.computed" if shown.last_weigh_in else "section.computed_bare", **given),
        "heads": [cut.title for cut in drawing.cuts],
        "rows": _rows(desk, shown, cuts),
        "slab": shown.shape == "slab",
        "notes": shown.notes,
        "trace": shown.trace,
        "traces": shown.traces,
    }


def drawing_of(desk: Desk, shown: SectionShown, name: str) -> SectionDrawing:
    """The section as it is drawn, in words."""
    words = desk.words
    cuts = [_cut(desk, "now", shown.now)]
    told = [_told(desk, "now", shown.now)]
    if shown.target is not None:
        cuts.append(_cut(desk, "target", shown.target))
        told.append(_told(desk, "target", shown.target))
    return SectionDrawing(
        shape=shown.shape,
        one_sided=shown.one_sided,
        cuts=tuple(cuts),
        water=words.t("section.water"),
        brine=words.t("section.brine"),
        scale=words.shown.quantity(0.010, "length:mm"),
        description=words.t("section.description", name=name, told=" ".join(told)),
        percent=tuple((level, words.shown.quantity(level, "fraction")) for level in (*WATER_AT, *BRINE_AT)),
    )


def _cut(desk: Desk, which: str, cut: CutAcross) -> Cut:
    mass = desk.words.shown.quantity(cut.mass_kg, "mass", half_width=0.01 * cut.mass_kg)
    return Cut(
        title=desk.words.t(f"section.{which}", mass=mass),
        depths_mm=tuple(1000.0 * place.depth_m for place in cut.places),
        water_frac=tuple(place.water_frac for place in cut.places),
        brine_frac=tuple(place.brine_frac for place in cut.places),
    )


def _told(desk: Desk, which: str, cut: CutAcross) -> str:
    first, last = cut.places[0], cut.places[-1]
    return desk.words.t(
        f"section.told_{which}",
        mid=_percent(desk, first.water_frac),
        out=_percent(desk, last.water_frac),
        mid_salt=_percent(desk, first.brine_frac),
        out_salt=_percent(desk, last.brine_frac),
    )


def _percent(desk: Desk, share: float) -> str:
    return desk.words.shown.quantity(share, "fraction", half_width=0.03)


def _rows(desk: Desk, shown: SectionShown, cuts: list[CutAcross]) -> list[dict[str, Any]]:
    """The same in figures, at a few places between the middle and the surface."""
    rows = []
    for share in _SHARES:
        key = {0.0: "shut" if shown.one_sided else "middle", 1.0: "surface"}.get(share, "between")
        cells: list[str] = []
        for cut in cuts:
            depth, water, brine = _at(cut, share)
            below = cut.places[-1].depth_m - depth
            cells += [
                desk.words.shown.quantity(below, "length:mm", half_width=0.003),
                _percent(desk, water),
                desk.words.shown.quantity(brine, "fraction", half_width=0.003),
            ]
        rows.append({"where": desk.words.t(f"section.where.{key}", share_frac=share), "cells": cells})
    return rows


def _at(cut: CutAcross, share: float) -> tuple[float, float, float]:
    """Depth, water and salt at a share of the way, by a straight line between the places around."""
    places = cut.places
    depth = share * places[-1].depth_m
    after = min(max(bisect_right([p.depth_m for p in places], depth), 1), len(places) - 1)
    low, high = places[after - 1], places[after]
    part = (depth - low.depth_m) / (high.depth_m - low.depth_m)
    return (
        depth,
        low.water_frac + part * (high.water_frac - low.water_frac),
        low.brine_frac + part * (high.brine_frac - low.brine_frac),
    )
