"""The Bench: what is late, what is due today, what is coming; each line with its own action."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from saltfare.core.errors import NotFound, Refused
from saltfare.faces.web.desk import AtDesk, Desk
from saltfare.faces.web.dish_page import NAMES as DISH_NAMES
from saltfare.faces.web.dish_page import kept_for_dish
from saltfare.faces.web.forms import Form
from saltfare.faces.web.piece_page import odd, sentence

router = APIRouter(include_in_schema=False)
# after these the question is how the piece stands now
_WEIGHED = frozenset({"weigh", "hang", "end-rest"})
DISH_ACTS = frozenset(DISH_NAMES.values())
# steps recorded on a page of their own, since more is asked than a line of the Bench holds
KEPT_ELSEWHERE = {"record_parasite_step": "/criteria/CODE/freezing?frozen=yes"}


@router.get("/")
def bench(desk: AtDesk, done: str = "", act: str = "", piece: str = "", dish: str = "") -> Response:
    """What there is to do."""
    return desk.page(
        "bench.html",
        part="bench",
        found=desk.run("bench"),
        done=done,
        act=act,
        piece=piece,
        dish=dish if act in DISH_ACTS else "",
        dish_act=DISH_NAMES.__getitem__,
        dish_form=lambda act, one: Form(kept_for_dish(desk, act, one), prefix=f"{act}-{one.code}-"),
        stands=_stands(desk, piece) if done and piece and act in _WEIGHED else None,
        kept_elsewhere=KEPT_ELSEWHERE,
    )


def _stands(desk: Desk, code: str) -> dict[str, Any] | None:
    """How a piece stands that was just weighed, and what is odd about the weighing."""
    try:
        one = desk.run("piece", {"code": code})
    except (NotFound, Refused):
        return None
    return {"name": one.name, "sentence": sentence(desk, one), "odd": odd(one)}
