"""What was understood of a quantity as typed: shown under its field before anything is recorded."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.responses import Response

from saltfare.core.errors import Refused
from saltfare.core.glossary import Entry, entry
from saltfare.core.units import parse
from saltfare.faces.typed import with_unit
from saltfare.faces.web.desk import AtDesk, Desk

router = APIRouter(include_in_schema=False)


@router.get("/understood")
def understood(desk: AtDesk, quantity: str, typed: str = "", unit: str = "", was: str = "") -> Response:
    """The value in both measures, the usual range where it lies outside, or what is wrong.

    was: the unit beside the field before it was changed to `unit`. The number is taken along into the
    new unit, and that is said; unless it only makes sense in the new one, where the unit was the mistake.
    """
    words, found = desk.words, entry(quantity)
    try:
        value = _value(desk, found, typed, unit)
        anew = _taken_along(desk, found, typed, unit, was, value) if was and was != unit else None
    except Refused as error:
        said = words.problem(error.problems[0])
        return desk.page("_understood.html", said="", wrong=f"{said.text} {said.mend}", usual="", anew="")
    value = value if anew is None else anew
    kind = f"{found.kind}:{unit}" if found.kind == "fraction" and unit == "ppm" else found.kind
    both = words.shown.both(value, kind)
    text = (
        words.t("form.echo_both", mine=both[0], theirs=both[1])
        if len(both) > 1
        else words.t("form.echo", mine=both[0])
    )
    usual = ""
    if found.plausible and not found.plausible[0] <= value <= found.plausible[1]:
        low, high = found.plausible
        usual = words.t("form.usual", kind=kind, low=low, high=high)
    number = "" if anew is None else words.shown.typed(anew, found.kind, unit)
    if number:
        text = words.t("form.converted", was=words.shown.label(was), now=words.shown.label(unit), said=text)
    return desk.page("_understood.html", said=text, wrong="", usual=usual, anew=number)


def _value(desk: Desk, found: Entry, typed: str, unit: str) -> float:
    settings = desk.context.settings
    return parse(
        with_unit(typed.strip(), unit), found.kind, decimal=settings.decimal, measures=settings.measures
    )


def _taken_along(desk: Desk, found: Entry, typed: str, unit: str, was: str, now: float) -> float | None:
    """The value the number had before its unit was changed; None where the number stays as it is."""
    if with_unit(typed.strip(), unit) == typed.strip():
        return None  # it brings a unit of its own
    before = _value(desk, found, typed, was)
    usual = found.plausible
    if usual and usual[0] <= now <= usual[1] and not usual[0] <= before <= usual[1]:
        return None
    return before
