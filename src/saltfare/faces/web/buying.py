"""The buying card: a few questions at the counter, the slip that answers them, and the card on paper."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.responses import Response

from saltfare.core.errors import Problem, Refused
from saltfare.faces.paper.buying import buying_pdf, card
from saltfare.faces.web.desk import AtDesk, Desk
from saltfare.faces.web.forms import Form, data, label_of
from saltfare.faces.web.paper import pdf

router = APIRouter(include_in_schema=False)
_OPEN = frozenset({"missing", "empty"})


@router.get("/buying")
def ask(desk: AtDesk, request: Request) -> Response:
    """The questions; with answers in the address, the slip."""
    typed = dict(request.query_params)
    if not typed:
        return _page(desk, Form(_first(desk)))
    shown, problems = _work(desk, typed)
    if desk.partial:
        return desk.page("_buying_slip.html", **_slip(desk, typed, shown, problems))
    form = desk.refused(typed, problems) if problems else Form(typed)
    return _page(desk, form, shown=shown, problems=problems, status=422 if problems else 200)


@router.get("/buying.pdf")
def on_paper(desk: AtDesk, request: Request) -> Response:
    """The card as a PDF, dates included."""
    shown = desk.run("buying", {**_given(desk, request.query_params), "dates": True})
    return pdf(
        buying_pdf(desk.words, shown, *_labels(desk, shown.cut, shown.purpose), desk.context.now), "buying"
    )


def _given(desk: Desk, typed: Mapping[str, str]) -> dict[str, Any]:
    return data(typed, zone=desk.context.settings.zone)


def _work(desk: Desk, typed: Mapping[str, str]) -> tuple[Any, tuple[Problem, ...]]:
    try:
        return desk.run("buying", {**_given(desk, typed), "dates": bool(typed.get("_dates"))}), ()
    except Refused as error:
        return None, error.problems


def _first(desk: Desk) -> dict[str, str]:
    chambers = desk.run("chambers").chambers
    return {"purpose": "home_cold", "chamber": chambers[0].key if len(chambers) == 1 else ""}


def _labels(desk: Desk, cut: str, purpose: str) -> tuple[str, str]:
    library = desk.context.library
    return library.row("cuts", cut).text("label"), library.row("purposes", purpose).text("label")


def _slip(desk: Desk, typed: Mapping[str, str], shown: Any, problems: tuple[Problem, ...]) -> dict[str, Any]:
    words = desk.words
    still = [label_of(p.field, words) for p in problems if p.code in _OPEN]
    said = [(label_of(p.field, words), words.problem(p)) for p in problems if p.code not in _OPEN]
    query = urlencode({name: text for name, text in typed.items() if text.strip() and name != "_dates"})
    return {
        "shown_card": None if shown is None else card(words, shown, *_labels(desk, shown.cut, shown.purpose)),
        "found": shown,
        "still": list(dict.fromkeys(still)),
        "said": said,
        "query": query,
        "unusual": [label_of(path, words) for path in shown.unusual] if shown else [],
    }


def _page(
    desk: Desk, form: Form, *, shown: Any = None, problems: tuple[Problem, ...] = (), status: int = 200
) -> Response:
    library = desk.context.library
    return desk.page(
        "buying.html",
        part="pieces",
        form=form,
        status=status,
        purposes=[(row.text("id"), row.text("label")) for row in library.rows("purposes")],
        cuts=[(row.text("id"), row.text("label")) for row in library.rows("cuts")],
        chambers=[(c.key, c.name) for c in desk.run("chambers").chambers],
        **_slip(desk, form.typed, shown, problems),
    )
