"""Labels in words: what each says, in the order it is read."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any, Literal

from saltfare.core.errors import Problem, Refused
from saltfare.faces.paper.press import drawn, printed, qr
from saltfare.faces.paper.tags import address_of
from saltfare.faces.shelf_text import answers_said
from saltfare.faces.units_shown import SPACE
from saltfare.faces.words import Words

if TYPE_CHECKING:
    from saltfare.actions.label_shapes import (
        BesideShown,
        IngredientShown,
        LabelShown,
        Panel,
        PanelLine,
        Printed,
    )
    from saltfare.actions.labels import SheetShown
    from saltfare.core.figure import Figure

Extent = Literal["full", "brief"]
_MM = 1000.0
_TOO_SMALL = "label_too_small"
_NOT_HERE = "label_not_in_this_pouch"
# What a brief label says word for word too; of boiling water it says the same more shortly.
_ALWAYS = frozenset(
    {
        "label_absorber_not_food",
        "label_beside_not_had",
        "label_cooling_not_logged",
        "label_cured_meat",
        "label_law_first",
        "label_once_wet",
    }
)


def labels_pdf(
    words: Words, shown: LabelShown, sheet: SheetShown, *, copies: int, skip: int, extent: Extent
) -> bytes:
    """Labels as a PDF. Raises Refused where one does not go on the label chosen."""
    given = _given(words, shown, sheet, copies=copies, skip=skip, extent=extent)
    with _fitting(sheet):
        return printed("labels", given)


def label_picture(words: Words, shown: LabelShown, sheet: SheetShown, *, extent: Extent) -> bytes:
    """One label as a picture, without the sheet around it. Raises Refused as `labels_pdf` does."""
    alone = {"left_m": 0.0, "top_m": 0.0, "rows": 1, "columns": 1}
    if sheet.label_height_m is not None:
        alone |= {"page_width_m": sheet.label_width_m, "page_height_m": sheet.label_height_m}
    given = _given(words, shown, sheet.model_copy(update=alone), copies=1, skip=0, extent=extent)
    with _fitting(sheet):
        return drawn("labels", given)


class _fitting:  # noqa: N801 - reads as a word where it is used
    """What the layout says of a label with no room, as a problem."""

    def __init__(self, sheet: SheetShown) -> None:
        self._sheet = sheet.id

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: Any, error: BaseException | None, trace: Any) -> None:
        if error is not None and type(error).__name__ == "TypstError" and _TOO_SMALL in str(error):
            raise Refused(Problem("label_too_small", "sheet", self._sheet)) from None


def _given(
    words: Words, shown: LabelShown, sheet: SheetShown, *, copies: int, skip: int, extent: Extent
) -> dict[str, Any]:
    def mm(value: float | None) -> float | None:
        return None if value is None else round(value * _MM, 3)

    return {
        "title": words.t("label.title", name=shown.name),
        "copies": copies,
        "skip": skip,
        "label": label_of(words, shown, extent),
        "sheet": {
            "page_width": mm(sheet.page_width_m),
            "page_height": mm(sheet.page_height_m),
            "rows": sheet.rows,
            "columns": sheet.columns,
            "label_width": mm(sheet.label_width_m),
            "label_height": mm(sheet.label_height_m),
            "left": mm(sheet.left_m),
            "top": mm(sheet.top_m),
            "gap_x": mm(sheet.gap_x_m),
            "gap_y": mm(sheet.gap_y_m),
        },
    }


def label_of(words: Words, shown: LabelShown, extent: Extent = "full") -> dict[str, Any]:
    """One label as page and layout take it."""
    full = extent == "full"
    return {
        "what": _what(words, shown),
        "name": shown.name,
        "code": shown.code,
        "qr": qr(address_of(shown.address, shown.code)),
        "head": [*_head(words, shown), *_dates(words, shown)],
        "water": _water(words, shown, full=full),
        "pour": _pour(words, shown) if full else [],
        "contains": _contains(words, shown),
        "open": _open(words, shown),
        "ingredients": _ingredients(words, shown) if full else None,
        "nutrients": _nutrients(words, shown) if full and shown.panel is None else "",
        "panel": _panel(words, shown.panel) if full and shown.panel is not None else None,
        "small": _small(words, shown, full=full),
    }


def _what(words: Words, shown: LabelShown) -> str:
    if shown.kind == "cured":
        return words.t("label.what.cured", cut=shown.what[0])
    if shown.kind == "mixed":
        return words.t("label.what.mixed", parts=", ".join(shown.what))
    return words.t(f"label.what.{shown.kind}")


def _head(words: Words, shown: LabelShown) -> list[dict[str, str]]:
    said = words.shown.quantity(shown.net_kg, "mass")
    out = [{"label": words.t("label.net"), "figure": said}]
    if shown.maker:
        out.append({"label": words.t("label.maker"), "figure": shown.maker})
    return out


def _volume(words: Words, volume_m3: float) -> str:
    """To 10 ml: no mug is finer."""
    return words.shown.quantity(round(volume_m3, 5), "volume")


def _water(words: Words, shown: LabelShown, *, full: bool) -> list[dict[str, str]]:
    water = shown.water
    if water is None:
        return []
    amount = _volume(words, water.volume_m3)
    if water.cups is not None and water.mug_m3 is not None:
        mug = words.shown.quantity(water.mug_m3, "volume")
        amount = words.t("label.in_mugs", amount=amount, cups=words.shown.number(water.cups, 1), mug=mug)
    out = [{"label": words.t("label.pour"), "figure": amount}]
    low, middle, high = water.minutes
    waits = words.t(f"label.waits.{water.cover or 'bare'}")
    if middle is not None:
        wait = words.t("label.minutes", n=_whole(words, middle))
        if low is not None and high is not None:
            ends = {"low": _whole(words, low), "high": _whole(words, high)}
            wait = words.t("label.minutes_between", n=_whole(words, middle), **ends)
        elif low is not None:
            wait = words.t("label.minutes_from", n=_whole(words, middle), low=_whole(words, low))
        out.append({"label": waits, "figure": wait})
    elif shown.kind != "bought":
        out.append({"label": waits, "figure": words.t("label.wait_open")})
    stirs = [minute for minute in water.stir_minutes if minute > 0.0]
    if stirs:
        at = ", ".join(_whole(words, minute) for minute in stirs)
        out.append({"label": words.t("label.stir"), "figure": words.t("label.stir_at", at=at)})
    if water.fill_m is not None:
        fill = words.shown.quantity(round(water.fill_m, 3), "length")
        out.append({"label": words.t("label.fill"), "figure": words.t("label.fill_about", height=fill)})
    if full and water.cold_minutes is not None:
        hours = words.shown.quantity(water.cold_minutes * 60.0, "time", half_width=water.cold_minutes * 12.0)
        out.append({"label": words.t("label.cold"), "figure": hours})
    return out


def _pour(words: Words, shown: LabelShown) -> list[str]:
    water, out = shown.water, []
    if water is not None and water.first_m3 is not None and water.first_m3 < water.volume_m3:
        out.append(words.t("label.first", amount=_volume(words, water.first_m3)))
    if shown.beside:
        listed = ", ".join(f"{one.name} {words.shown.quantity(one.mass_kg, 'mass')}" for one in shown.beside)
        out.append(words.t("label.beside", listed=listed))
        out += [_own_beside(words, one) for one in shown.beside if one.code]
        if shown.together_kcal is not None and shown.together_kcal.value is not None:
            salt = shown.together_salt
            figures = [words.value(shown.together_kcal)]
            if salt is not None and salt.value is not None:
                figures.append(words.t("label.salt", amount=_plain(words, salt)))
            out.append(words.t("label.together", listed=", ".join(figures)))
    return out


def _own_beside(words: Words, one: BesideShown) -> str:
    """Meat of one's own by its code: how it is kept, and what the criteria answer, the worst first."""
    told = [said for _, said in answers_said(words, one.answers)]
    keep = words.t(f"label.keep_how.{one.keep or 'cold'}")
    return words.t("label.beside_own", name=one.name, code=one.code, keep=keep, answers=" ".join(told))


def _whole(words: Words, minutes: float) -> str:
    return words.shown.number(max(minutes, 1.0), 0)


def _allergen(words: Words, allergen: str) -> str:
    return words.say(f"allergen.{allergen}")


def _contains(words: Words, shown: LabelShown) -> str | None:
    if not shown.contains:
        return None if shown.unsure or shown.may_hold else words.t("label.contains_none")
    listed = ", ".join(_allergen(words, one) for one in shown.contains)
    return words.t("label.contains", listed=listed)


def _open(words: Words, shown: LabelShown) -> list[str]:
    out = []
    if shown.may_hold:
        by: dict[str, list[str]] = {}
        for allergen, name in shown.may_hold:
            by.setdefault(allergen, []).append(name)
        told = [f"{_allergen(words, one)} ({', '.join(names)})" for one, names in by.items()]
        out.append(words.t("label.may_hold", listed=", ".join(told)))
    if shown.unsure:
        out.append(words.t("label.unsure", listed=", ".join(shown.unsure)))
    if shown.agents:
        listed = ", ".join(words.t(f"label.agent.{agent}") for agent in shown.agents)
        out.append(words.t("label.agents", listed=listed))
    return out


def _ingredients(words: Words, shown: LabelShown) -> dict[str, Any]:
    """In descending mass, what holds an allergen set strong; a maker's own list as it was typed."""
    if shown.ingredients_printed and shown.kind == "bought":
        listed = [{"text": shown.ingredients_printed, "strong": False}]
    else:
        listed = [
            {"text": _ingredient(words, one), "strong": bool(one.allergens)} for one in shown.ingredients
        ]
    return {"lead": words.t("label.ingredients"), "listed": listed}


def _ingredient(words: Words, one: IngredientShown) -> str:
    names = [_allergen(words, allergen) for allergen in one.allergens]
    told = [name for name in names if not _stem(name) & _stem(one.name)]
    return f"{one.name} ({', '.join(told)})" if told else one.name


def _stem(text: str) -> set[str]:
    return {word.rstrip("s") for word in text.casefold().split()}


def _nutrients(words: Words, shown: LabelShown) -> str:
    told, open_ = [], []
    for line in shown.nutrients:
        name = words.t(f"label.nutrient.{line.nutrient}")
        if line.figure.value is None:
            open_.append(name)
        else:
            told.append(f"{name}{SPACE}{_plain(words, line.figure)}" if name else _plain(words, line.figure))
    out = words.t("label.nutrients", listed=", ".join(told)) if told else ""
    if open_:
        more = words.t("label.nutrients_open", listed=", ".join(open_))
        out = f"{out} {more}".strip()
    return out


def _plain(words: Words, figure: Figure) -> str:
    """To a tenth of a gram: nobody weighs finer."""
    if figure.value is None:
        return words.t("figure.unknown")
    return words.shown.quantity(
        round(figure.value, 4) if figure.kind == "mass" else figure.value, figure.kind
    )


def _panel(words: Words, panel: Panel) -> dict[str, Any]:
    serving = words.shown.quantity(round(panel.serving_kg, 3), "mass")
    if panel.law == "us":
        head = ["", words.t("label.panel.serving"), words.t("label.panel.daily")]
        notes = [words.t("label.panel.servings", servings=panel.servings, serving=serving)]
    else:
        head = ["", words.t("label.panel.per_100_g"), words.t("label.panel.pack")]
        notes = []
    missing = dict.fromkeys(name for line in panel.lines for name in line.missing)
    if missing:
        notes.append(words.t("label.panel.missing", listed=", ".join(missing)))
    return {
        "title": words.t(f"label.panel.{panel.law}"),
        "notes": notes,
        "head": head,
        "rows": [_panel_row(words, line, len(head)) for line in panel.lines],
    }


def _panel_row(words: Words, line: PanelLine, columns: int) -> dict[str, Any]:
    law, _, name = line.id.partition("_")
    cells = [words.t(f"label.panel.{law}_{name}")]
    # the US line is of calories by its name
    unit = "" if line.id == "us_energy" else line.unit
    cells += [_amount(words, one, unit) for one in line.each]
    if columns > len(cells):
        percent = line.percent
        cells.append("" if percent is None else f"{_number(words, percent)}{SPACE}{words.shown.label('%')}")
    return {"indent": line.indent, "cells": cells}


def _amount(words: Words, one: Printed | None, unit: str) -> str:
    if one is None:
        return words.t("label.panel.unknown")
    return (
        f"{_number(words, one)}{SPACE}{words.t(f'label.panel.unit_{unit}')}" if unit else _number(words, one)
    )


def _number(words: Words, one: Printed) -> str:
    said = words.shown.number(one.value, one.places, trim=False)
    return words.t("label.panel.less_than", amount=said) if one.less_than else said


def _dates(words: Words, shown: LabelShown) -> list[dict[str, str]]:
    # a label outlives the year it is printed in: the year always stands
    dated = replace(words.shown, today=date.min)

    def day(on: date) -> str:
        return dated.on(on)

    packed = words.t("label.not_packed") if shown.packed_on is None else day(shown.packed_on)
    out = [{"label": words.t("label.packed"), "figure": packed}]
    if shown.printed_on is not None:
        out.append({"label": words.t("label.makers_date"), "figure": day(shown.printed_on)})
    planned = words.t("label.not_worked_out") if shown.planning_date is None else day(shown.planning_date)
    out.append({"label": words.t("label.planning"), "figure": planned})
    out.append({"label": words.t("label.keep"), "figure": words.t(f"label.keep_how.{shown.keep}")})
    return out


def _small(words: Words, shown: LabelShown, *, full: bool) -> list[str]:
    if full:
        return [words.t("label.planning_what"), *(words.note(one, "caution") for one in shown.cautions)]
    codes = {note.code for note in shown.cautions}
    out = [words.t("label.planning_brief")]
    if "label_absorber_out" in codes:
        out.append(words.t("label.brief_absorber"))
    if shown.water is not None:
        out.append(words.t("label.brief_not_here" if _NOT_HERE in codes else "label.brief_pour"))
    out += [words.note(one, "caution") for one in shown.cautions if one.code in _ALWAYS]
    return [*out, words.t("label.rest_at_code")]
