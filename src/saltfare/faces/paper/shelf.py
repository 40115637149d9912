"""The shelf on paper: what to eat first, with a box for each pack that is left."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from saltfare.faces.paper.press import printed
from saltfare.faces.shelf_text import shelf_says
from saltfare.faces.words import Words

if TYPE_CHECKING:
    from datetime import datetime

    from saltfare.actions.shelf import ShelfShown
    from saltfare.actions.shelf_line import ShelfLine

_MOST_BOXES = 24


def shelf_pdf(words: Words, shown: ShelfShown, at: datetime) -> bytes:
    """The sheet as a PDF."""
    return printed("shelf", shelf(words, shown, at))


def shelf(words: Words, shown: ShelfShown, at: datetime) -> dict[str, Any]:
    """The sheet as the layout takes it."""
    says = shelf_says(words)
    columns = ("lot", "code", "stands", "planning_date", "left_to_tick")
    return {
        "title": words.t("shelf.title"),
        "lead": words.t("shelf.lead", packs=shown.packs, lots=len(shown.lots)),
        "order": words.t("shelf.order"),
        "footer": words.t("shelf.printed_page", at=at),
        "columns": {key: words.t(f"shelf.{key}") for key in columns},
        "planning": words.t("shelf.planning"),
        "lots": [_line(words, says, line) for line in shown.lots],
    }


def _line(words: Words, says: dict[str, Any], line: ShelfLine) -> dict[str, Any]:
    told = [*(text for _, text in says["answers_said"](line)), says["why_first"](line)]
    if line.kind == "bought":
        told.append(words.t("shelf.by_its_label"))
    day = line.planning_date or line.printed_on
    return {
        "name": line.name,
        "code": line.code,
        "place": line.place,
        "each": words.t("shelf.each", mass_kg=line.pack_kg),
        "told": told,
        "until": words.shown.on(day) if day else words.t("figure.unknown"),
        "boxes": min(line.packs_left, _MOST_BOXES),
        "more": words.t("shelf.and_more", n=line.packs_left - _MOST_BOXES)
        if line.packs_left > _MOST_BOXES
        else "",
    }
