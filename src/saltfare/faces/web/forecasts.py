"""How the forecasts do: what was learned, how they turned out, and how the method does on invented pieces."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.responses import Response

from saltfare.core.errors import Refused
from saltfare.faces.web.desk import AtDesk, Desk, Typed
from saltfare.faces.web.forms import Form

router = APIRouter(include_in_schema=False)


@router.get("/forecasts")
def show(desk: AtDesk, done: bool = False) -> Response:
    """Everything about the forecasts."""
    return _page(desk, done=done)


@router.post("/forecasts/exclude")
def exclude(desk: AtDesk, typed: Typed) -> Response:
    """Leave a piece out of what is learned, or take it in again."""
    return _sent(desk, "exclude_piece", typed)


@router.post("/forecasts/reset")
def reset(desk: AtDesk, typed: Typed) -> Response:
    """Begin anew with a chamber or with everything."""
    return _sent(desk, "reset_learning", typed)


def _sent(desk: Desk, name: str, typed: dict[str, str]) -> Response:
    try:
        desk.send(name, typed)
    except Refused as error:
        return _page(desk, form=desk.refused(typed, error.problems), status=422)
    return desk.go("/forecasts?done=1")


def _page(desk: Desk, *, form: Form | None = None, status: int = 200, done: bool = False) -> Response:
    return desk.page(
        "forecasts.html",
        part="sources",
        status=status,
        form=form or Form(),
        done=done,
        learned=desk.run("learned"),
        record=desk.run("forecast_record"),
    )
