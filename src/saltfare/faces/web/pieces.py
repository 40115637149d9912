"""Pieces: the list, one piece, and what is done to it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter
from starlette.responses import Response

from saltfare.core.errors import Conflict, NotFound, Problem, Refused
from saltfare.faces.web.desk import AtDesk, Typed
from saltfare.faces.web.forms import closed_up
from saltfare.faces.web.piece_page import line_said, piece_page
from saltfare.faces.web.says import ACT_NAMES

router = APIRouter(include_in_schema=False)
# What a form on a piece may do; the address names it, the action does it.
ACTS = {name: action for action, name in ACT_NAMES.items()}
# what these are about is named among their own fields
_NAMED_INSIDE = frozenset({"correct", "tie"})


@router.get("/pieces")
def every(desk: AtDesk) -> Response:
    """All pieces."""
    found = desk.run("pieces").pieces
    lines = [(one, line_said(desk, one)) for one in found]
    return desk.page("pieces.html", part="pieces", lines=lines)


@router.post("/pieces/turn")
def turn_all(desk: AtDesk, typed: Typed) -> Response:
    """Every piece in salt was turned."""
    given = {name: typed[name] for name in ("request_id",) if typed.get(name)}
    desk.run("turn_piece", given)
    return desk.go("/?done=1&act=turn")


@router.get("/pieces/{code}")
def one(desk: AtDesk, code: str, done: str = "", act: str = "", drop: str = "") -> Response:
    """One piece."""
    return piece_page(desk, code, done=done, act=act, drop=drop)


@router.post("/pieces/{code}/{act}")
def do(desk: AtDesk, code: str, act: str, typed: Typed) -> Response:
    """Record something done to a piece."""
    if act not in ACTS:
        raise NotFound("page", act)
    typed = closed_up(typed)
    try:
        did = desk.send(ACTS[act], typed, **({} if act in _NAMED_INSIDE else {"code": code}))
    except Refused as error:
        return piece_page(
            desk, code, form=desk.refused(typed, error.problems, prefix=f"{act}-"), act=act, status=422
        )
    except Conflict as error:
        moved = Problem("moved_on", params={"seen": error.seen, "now": error.now})
        return piece_page(
            desk, code, form=desk.refused(typed, (moved,), prefix=f"{act}-"), act=act, status=409
        )
    return desk.go(_after(typed, code, act, did))


def _after(typed: Mapping[str, str], code: str, act: str, did: Any) -> str:
    """Back to where it was done; where the act began or brought back a piece, to that."""
    done = did.events[0] if did.events else ""
    if did.stream.startswith("piece/"):
        code = did.stream.partition("/")[2]
    where = f"/?piece={quote(code)}&" if typed.get("_from") == "bench" else f"/pieces/{quote(code)}?"
    return f"{where}done={quote(done)}&act={quote(act)}"
