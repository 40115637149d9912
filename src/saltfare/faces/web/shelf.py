"""The shelf: what is in store and what to eat first; one lot with its history, and what is done to it."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Request
from starlette.responses import Response

from saltfare.core.errors import Conflict, NotFound, Problem, Refused
from saltfare.faces.shelf_text import shelf_says
from saltfare.faces.web.desk import AtDesk, Desk, Typed
from saltfare.faces.web.forms import Form
from saltfare.faces.web.judged_says import judged_says
from saltfare.faces.web.worth import lot_cards

router = APIRouter(include_in_schema=False)
# What is done to a lot on its page: the last part of the address, and the action that records it.
ACTS = {
    "draw": "draw_packs",
    "finish": "finish_opened",
    "return": "return_packs",
    "move": "move_lot",
    "count": "count_lot",
    "taste": "note_tasting",
    "correct": "correct",
}
_NAMES = {action: act for act, action in ACTS.items()}
_WHERE = {
    "piece": "/pieces/{}",
    "dish": "/dishes/{}",
    "swap": "/shelf/swaps/{}",
    "trip": "/trips/{}",
    "incident": "/trouble/{}",
}
# the questions said first on a lot's page, in this order
_FIRST = ("sealed", "kept_air", "eaten_uncooked", "carried")


@router.get("/shelf")
def every(desk: AtDesk, request: Request, done: str = "", act: str = "") -> Response:
    """What is in store, what to eat first at the top; a code typed in full opens its lot."""
    typed = dict(request.query_params)
    text = typed.get("text", "").strip()
    if text:
        try:
            return desk.go(f"/L/{quote(desk.run('open_code', {'code': text[:200]}).code)}")
        except (Refused, NotFound):  # not a code: a part of a name
            pass
    asked: dict[str, Any] = {"text": text[:120], "gone": typed.get("gone") == "true"}
    asked |= {name: typed[name] for name in ("place", "kind") if typed.get(name)}
    found = desk.run("shelf", asked)
    return desk.page(
        "shelf.html",
        part="shelf",
        form=Form(typed),
        found=found,
        done=done,
        act=act,
        one=typed.get("one", ""),
        **shelf_says(desk.words),
    )


@router.get("/shelf/beside")
def beside(desk: AtDesk) -> Response:
    """Home-made and bought packs side by side."""
    return desk.page("shelf_beside.html", part="shelf", found=desk.run("shelf"), **shelf_says(desk.words))


@router.get("/L/{code}")
@router.get("/l/{code}")
def lead(desk: AtDesk, code: str, done: str = "", act: str = "") -> Response:
    """To what bears a code: a lot's own page, or the page of what else it is."""
    found = desk.run("open_code", {"code": code})
    if found.what != "lot":
        return desk.go(_WHERE[found.what].format(quote(found.code)))
    return lot_page(desk, found.code, done=done, act=act)


@router.post("/shelf/lots/{code}/{act}")
def do(desk: AtDesk, code: str, act: str, typed: Typed) -> Response:
    """Record something done to a lot."""
    if act not in ACTS:
        raise NotFound("page", act)
    given = {} if act == "correct" else {"code": code}
    try:
        did = desk.send(ACTS[act], typed, **given)
    except Refused as error:
        form = desk.refused(typed, error.problems, prefix=f"{act}-")
        return lot_page(desk, code, form=form, act=act, status=422)
    except Conflict as error:
        moved = Problem("moved_on", params={"seen": error.seen, "now": error.now})
        form = desk.refused(typed, (moved,), prefix=f"{act}-")
        return lot_page(desk, code, form=form, act=act, status=409)
    event = quote(did.events[0]) if did.events else ""
    if typed.get("_from") == "shelf":
        return desk.go(f"/shelf?done={event}&act={act}&one={quote(code)}")
    if act == "correct" and not _is_there(desk, code):
        return desk.go("/shelf")
    return desk.go(f"/L/{quote(code)}?done={event}&act={act}")


def _is_there(desk: Desk, code: str) -> bool:
    """Whether the lot is still one: its own making may have been taken back."""
    try:
        desk.run("open_code", {"code": code})
    except NotFound:
        return False
    return True


def lot_page(
    desk: Desk, code: str, *, form: Form | None = None, done: str = "", act: str = "", status: int = 200
) -> Response:
    """One lot."""
    one = desk.run("lot", {"code": code})
    judged = desk.run("criteria_card", {"code": code})
    cards = sorted(
        (card for card in judged.cards if card.question in _FIRST and card.criteria),
        key=lambda card: _FIRST.index(card.question),
    )
    asked = "sealed" if one.line.sealed == "no_oxygen" else "kept_air"
    acts = [_NAMES[name] for name in one.may_do if name in _NAMES]
    recorded = {entry.event_id for entry in one.log}
    return desk.page(
        "lot.html",
        part="shelf",
        status=status,
        form=form or Form(),
        one=one,
        line=one.line,
        judged=judged,
        js=judged_says(desk.words),
        cards=[card for card in cards if card.question in (asked, "eaten_uncooked", "carried")],
        acts=[name for name in acts if name != "taste"],
        form_of=lambda name: form if form and act == name else Form({"packs": "1"}, prefix=f"{name}-"),
        done=done if done in recorded or act == "correct" else "",
        act=act,
        **lot_cards(desk, code),
        **shelf_says(desk.words),
    )
