"""The forms of the shelf: a lot or a bought pack put on it, a count, a swap, a place, a tasting."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter
from starlette.responses import Response

from saltfare.core.errors import Conflict, NotFound, Problem, Refused
from saltfare.core.figure import Note
from saltfare.faces.paper.shelf import shelf_pdf
from saltfare.faces.shelf_text import shelf_says
from saltfare.faces.web.desk import AtDesk, Desk, Typed
from saltfare.faces.web.forms import Form, closed_up
from saltfare.faces.web.paper import pdf

router = APIRouter(include_in_schema=False)
_ROWS = range(3)
ALONG = (
    "name",
    "ingredients",
    "allergens",
    "made_on",
    "planning_date",
    "kept_how",
    "lot_code",
    "told_home_made",
)
_BOUGHT_KINDS = ("meal", "cured_meat", "dried_food", "cheese", "bread", "sweet", "drink", "other")


@router.get("/shelf/store")
def store(desk: AtDesk) -> Response:
    """The form of a lot that was not made here."""
    return _store(desk, Form({"packed_on": desk.context.today.isoformat()}))


@router.post("/shelf/store")
def stored(desk: AtDesk, typed: Typed) -> Response:
    """Put it on the shelf."""
    return _sent(desk, typed, "store_lot", _store, lambda did: f"/L/{did.code}?done=stored&act=store")


@router.get("/shelf/bought")
def bought(desk: AtDesk, product: str = "", done: str = "") -> Response:
    """The bought products, and the form of packs that were bought."""
    typed = {"bought_on": desk.context.today.isoformat(), "product": product, "label.per": "100_g"}
    return _bought(desk, Form(typed), done=done)


@router.post("/shelf/bought")
def add_bought(desk: AtDesk, typed: Typed) -> Response:
    """Put bought packs on the shelf, with what their label says."""

    def onward(did: Any) -> str:
        return f"/L/{did.code}?done=stored&act=store" if did.code else f"/shelf/bought?done=1#{did.product}"

    return _sent(desk, typed, "add_bought", _bought, onward, given=_label)


@router.get("/shelf/count")
def count(desk: AtDesk, place: str = "") -> Response:
    """What should be there, with a field beside each lot."""
    return _count(desk, Form({"_place": place}), place=place)


@router.post("/shelf/count")
def counted(desk: AtDesk, typed: Typed) -> Response:
    """Put the books right, and show by how much they were wrong."""
    place, rows, at = typed.get("_place", ""), [], []
    for n in range(_most_rows(typed)):
        packs = typed.get(f"rows.{n}.packs", "").strip()
        if packs:
            at.append(n)
            rows.append(
                {k: typed[f"rows.{n}.{k}"] for k in ("code", "seen_version") if typed.get(f"rows.{n}.{k}")}
            )
            rows[-1]["packs"] = packs
    given: dict[str, Any] = {
        "rows": rows,
        "place": typed.get("_place_name", ""),
        "reason": typed.get("reason", ""),
    }
    given |= {"request_id": typed["request_id"]} if typed.get("request_id") else {}
    try:
        found = desk.run("count_shelf", given)
    except Refused as error:
        moved = tuple(_row_of(problem, at) for problem in error.problems)
        return _count(desk, desk.refused(typed, moved), place=place, status=422)
    except Conflict as error:
        changed = Problem("count_moved_on", params={"code": error.stream.partition("/")[2]})
        kept = {k: v for k, v in typed.items() if not k.endswith(".seen_version")}
        return _count(desk, desk.refused(kept, (changed,)), place=place, status=409)
    return desk.page("shelf_counted.html", part="shelf", found=found)


@router.get("/shelf/places")
def places(desk: AtDesk, done: str = "", name: str = "") -> Response:
    """Where lots stand, and the air each place has."""
    return _places(desk, Form({"name": name}), done=done)


@router.post("/shelf/places")
def describe(desk: AtDesk, typed: Typed) -> Response:
    """Say what air a place usually has."""
    return _sent(desk, typed, "describe_place", _places, lambda _: "/shelf/places?done=1")


@router.post("/shelf/places/correct")
def place_back(desk: AtDesk, typed: Typed) -> Response:
    """Take a description back."""
    return _sent(desk, typed, "correct", _places, lambda _: "/shelf/places?done=1")


@router.get("/shelf/taste")
def taste(desk: AtDesk, code: str = "", product: str = "") -> Response:
    """The form of a tasting of anything."""
    return _taste(desk, Form({"code": code, "product": product}))


@router.post("/shelf/taste")
def tasted(desk: AtDesk, typed: Typed) -> Response:
    """Write it down."""

    def onward(did: Any) -> str:
        of, _, key = did.stream.partition("/")
        where = f"/shelf/bought?done=1#{quote(key)}" if of == "bought" else f"/L/{quote(key)}"
        return where + (f"?done={did.events[0]}&act=taste" if of == "lot" else "")

    return _sent(desk, typed, "note_tasting", _taste, onward)


@router.get("/shelf/swap")
def swap(desk: AtDesk, code: str = "") -> Response:
    """The form of a swap."""
    return _swap(desk, Form({"went.0.code": code}))


@router.post("/shelf/swap")
def swapped(desk: AtDesk, typed: Typed) -> Response:
    """Record both sides at once."""
    return _sent(desk, closed_up(typed), "swap_packs", _swap, lambda did: f"/shelf/swaps/{did.code}?done=1")


@router.get("/shelf/swaps")
def swaps(desk: AtDesk) -> Response:
    """Every swap."""
    return _swaps(desk, {})


@router.get("/shelf/swaps/{code}")
def one_swap(desk: AtDesk, code: str, done: str = "") -> Response:
    """One swap."""
    return _swaps(desk, {"code": code}, done=done)


@router.post("/shelf/swaps/{code}/correct")
def swap_back(desk: AtDesk, code: str, typed: Typed) -> Response:
    """Take a swap back, both sides together."""
    try:
        desk.send("correct", typed)
    except Refused as error:
        return _swaps(desk, {"code": code}, form=desk.refused(typed, error.problems), status=422)
    return desk.go("/shelf/swaps")


@router.get("/shelf.pdf")
def sheet(desk: AtDesk) -> Response:
    """The shelf on paper."""
    found = desk.run("shelf")
    return pdf(shelf_pdf(desk.words, found, desk.context.now), f"shelf-{desk.context.today.isoformat()}")


def _sent(
    desk: Desk,
    typed: Mapping[str, str],
    action: str,
    page: Callable[..., Response],
    onward: Callable[[Any], str],
    *,
    given: Callable[[Mapping[str, str]], Mapping[str, str]] | None = None,
) -> Response:
    """Run an action on a form and go on, or show the form again with what is wrong."""
    try:
        did = desk.send(action, given(typed) if given else typed)
    except Refused as error:
        return page(desk, desk.refused(typed, error.problems), status=422)
    except NotFound as error:
        problem = Problem("not_found", "code", error.key, params={"what": error.what, "key": error.key})
        return page(desk, desk.refused(typed, (problem,)), status=404)
    except Conflict as error:
        moved = Problem("moved_on", params={"seen": error.seen, "now": error.now})
        return page(desk, desk.refused(typed, (moved,)), status=409)
    return desk.go(onward(did))


def _label(typed: Mapping[str, str]) -> dict[str, str]:
    """What belongs to the label is left out where a known product was chosen and no name typed."""
    none = typed.get("_no_allergens") == "true"
    if typed.get("product", "").strip() and not typed.get("label.name", "").strip():
        return {k: v for k, v in typed.items() if not k.startswith("label.")}
    out = {k: v for k, v in typed.items() if k != "product" or v.strip()}
    if none and not any(k.startswith("label.allergens.") for k in typed):
        out["label.allergens"] = ""
    return out


def _most_rows(typed: Mapping[str, str]) -> int:
    found = [int(k.split(".")[1]) for k in typed if k.startswith("rows.") and k.split(".")[1].isdigit()]
    return max(found, default=-1) + 1


def _row_of(problem: Problem, at: list[int]) -> Problem:
    """A problem of a row that was counted, put at the row of the page."""
    parts = problem.field.split(".")
    if len(parts) == 3 and parts[0] == "rows" and parts[1].isdigit() and int(parts[1]) < len(at):
        field = f"rows.{at[int(parts[1])]}.{parts[2]}"
        return Problem(problem.code, field, problem.given, problem.allowed, problem.params)
    return problem


def _store(desk: Desk, form: Form, *, status: int = 200) -> Response:
    return desk.page("shelf_store.html", part="shelf", status=status, form=form, places=_known_places(desk))


def _bought(desk: Desk, form: Form, *, done: str = "", status: int = 200) -> Response:
    found = desk.run("bought")
    return desk.page(
        "shelf_bought.html",
        part="shelf",
        status=status,
        form=form,
        found=found,
        places=_known_places(desk),
        kinds=_BOUGHT_KINDS,
        done=done,
        **shelf_says(desk.words),
    )


def _count(desk: Desk, form: Form, *, place: str = "", status: int = 200) -> Response:
    found = desk.run("shelf", {"place": place} if place else {})
    lots = sorted(found.lots, key=lambda line: (line.place.casefold(), line.name.casefold()))
    named = next((one.name for one in found.places if one.key == place), "")
    return desk.page(
        "shelf_count.html",
        part="shelf",
        status=status,
        form=form,
        found=found,
        lots=lots,
        place=place,
        named=named,
    )


def _places(desk: Desk, form: Form, *, done: str = "", status: int = 200) -> Response:
    return desk.page(
        "shelf_places.html", part="shelf", status=status, form=form, found=desk.run("places"), done=done
    )


def _taste(desk: Desk, form: Form, *, status: int = 200) -> Response:
    products = [(one.key, one.label.name) for one in desk.run("bought").products]
    return desk.page("shelf_taste.html", part="shelf", status=status, form=form, products=products)


def _swap(desk: Desk, form: Form, *, status: int = 200) -> Response:
    lots = [line for line in desk.run("shelf").lots if line.packs_left]
    return desk.page(
        "shelf_swap.html",
        part="shelf",
        status=status,
        form=form,
        lots=[(line.code, f"{line.name} {line.code} ({line.free})") for line in lots],
        rows=_ROWS,
        along=ALONG,
        cautions=[Note("giving_cured_meat_may_be_regulated"), Note("labelling_law_first")],
        places=_known_places(desk),
    )


def _swaps(
    desk: Desk, asked: Mapping[str, str], *, form: Form | None = None, done: str = "", status: int = 200
) -> Response:
    found = desk.run("swaps", asked)
    return desk.page(
        "shelf_swaps.html",
        part="shelf",
        status=status,
        form=form or Form(),
        found=found,
        one=bool(asked),
        done=done,
        **shelf_says(desk.words),
    )


def _known_places(desk: Desk) -> list[str]:
    return [one.name for one in desk.run("places").places]
