"""What was understood of a quantity as typed: shown under its field before anything is recorded."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.responses import Response

from saltfare.core.errors import Refused
from saltfare.core.glossary import entry
from saltfare.core.units import parse
from saltfare.faces.typed import with_unit
from saltfare.faces.web.desk import AtDesk

router = APIRouter(include_in_schema=False)


@router.get("/understood")
def understood(desk: AtDesk, quantity: str, typed: str = "", unit: str = "") -> Response:
    """The value in both measures, the usual range where it lies outside, or what is wrong."""
    words, found, settings = desk.words, entry(quantity), desk.context.settings
    try:
        value = parse(
            with_unit(typed.strip(), unit), found.kind, decimal=settings.decimal, measures=settings.measures
        )
    except Refused as error:
        said = words.problem(error.problems[0])
        return desk.page("_understood.html", said="", wrong=f"{said.text} {said.mend}", usual="")
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
    return desk.page("_understood.html", said=text, wrong="", usual=usual)
