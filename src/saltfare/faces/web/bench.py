"""The Bench: what is late, what is due today, what is coming; each line with its own action."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.responses import Response

from saltfare.faces.web.desk import AtDesk

router = APIRouter(include_in_schema=False)


@router.get("/")
def bench(desk: AtDesk, done: str = "", act: str = "", piece: str = "") -> Response:
    """What there is to do."""
    return desk.page("bench.html", part="bench", found=desk.run("bench"), done=done, act=act, piece=piece)
