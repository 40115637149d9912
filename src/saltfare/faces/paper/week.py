"""The week's sheet in words: what is due, with a line for each reading, for where no page is at hand."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from saltfare.faces.paper.press import printed
from saltfare.faces.words import Words

if TYPE_CHECKING:
    from datetime import datetime

    from saltfare.actions.tags import SheetLine, SheetShown

_FREE_LINES = 6


def week_pdf(words: Words, shown: SheetShown, at: datetime) -> bytes:
    """The sheet as a PDF."""
    return printed("week", week(words, shown, at))


def week(words: Words, shown: SheetShown, at: datetime) -> dict[str, Any]:
    """The sheet as the layout takes it."""
    by_step: dict[str, list[SheetLine]] = {}
    for line in shown.lines:
        by_step.setdefault(line.what, []).append(line)
    columns = {key: words.t(f"week.{key}") for key in ("piece", "code", "due", "done", "reading")}
    parts = []
    for step, lines in by_step.items():
        title = words.say(f"step.{step}.text")
        if step == "turn":
            marks = [_marks(line, shown) for line in lines]
            parts.append(
                {"kind": "marks", "title": title, "days": _short(words, shown), "lines": marks, **columns}
            )
        else:
            parts.append(
                {"kind": "lines", "title": title, "lines": [_line(words, one) for one in lines], **columns}
            )
    return {
        "title": words.t("week.title", first=shown.days[0], last=shown.days[-1]),
        "lead": words.t("week.lead" if shown.lines else "week.nothing"),
        "footer": words.t("week.footer", at=at),
        "parts": parts,
        "days": _short(words, shown),
        "chambers": [
            {
                "title": words.t("week.air", chamber=name),
                "rows": [words.t("week.temperature"), words.t("week.humidity")],
            }
            for name in shown.chambers
        ],
        "free": _FREE_LINES,
        "free_title": words.t("week.free"),
    }


def _short(words: Words, shown: SheetShown) -> list[str]:
    weekdays: Sequence[str] = words.tree["date"]["weekdays"]
    return [f"{weekdays[day.weekday()]} {day.day}" for day in shown.days]


def _marks(line: SheetLine, shown: SheetShown) -> dict[str, Any]:
    return {"name": line.name, "code": line.code, "marks": [day in line.on for day in shown.days]}


def _line(words: Words, one: SheetLine) -> dict[str, str]:
    more = []
    if one.last_kg is not None:
        more.append(words.t("week.last", mass_kg=one.last_kg))
    if one.target_kg is not None:
        more.append(words.t("week.target", mass_kg=one.target_kg))
    mass = one.last_kg or one.target_kg
    return {
        "name": one.name,
        "code": one.code,
        "more": ", ".join(more),
        "due": ", ".join(words.shown.on(day, weekday=True) for day in one.on) or words.t("week.any_day"),
        "unit": words.shown.label(words.shown.unit_for("mass", mass)) if mass else "",
    }
