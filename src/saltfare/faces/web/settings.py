"""Settings: how numbers and dates are written, where the person is, and the health of the house."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.responses import Response

from saltfare.core.errors import Refused
from saltfare.faces.web.desk import AtDesk, Desk, Typed
from saltfare.faces.web.forms import Form

router = APIRouter(include_in_schema=False)
CHOSEN = ("measures", "decimal", "locale")


@router.get("/settings")
def show(desk: AtDesk, done: str = "", look: bool = False) -> Response:
    """The settings in force."""
    return _page(desk, done=bool(done), look=look)


@router.post("/settings")
def change(desk: AtDesk, typed: Typed) -> Response:
    """Keep what was chosen."""
    try:
        desk.send("set_settings", typed)
    except Refused as error:
        return _page(desk, form=desk.refused(typed, error.problems), status=422)
    return desk.go("/settings?done=1")


@router.get("/help")
def explain(desk: AtDesk) -> Response:
    """How to read the pages."""
    return desk.page("help.html")


def _page(
    desk: Desk, *, form: Form | None = None, status: int = 200, done: bool = False, look: bool = False
) -> Response:
    now = desk.run("settings")
    shown = form or Form({name: str(getattr(now, name)) for name in (*CHOSEN, "zone", "currency")})
    return desk.page(
        "settings.html",
        part="settings",
        status=status,
        form=shown,
        now=now,
        done=done,
        choices={
            name: [(value, desk.words.t(f"settings.{name}_as.{value}")) for value in now.choices[name]]
            for name in CHOSEN
        },
        found=desk.run("selftest") if look else None,
    )
