"""Own foods: the list, a label typed in, typed anew, dropped, taken back."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from saltfare.core.errors import Refused
from saltfare.faces.web.desk import AtDesk, Desk, Typed
from saltfare.faces.web.forms import Form, data

router = APIRouter(include_in_schema=False)
# In the order a label prints them: first what every label has.
AMOUNTS = ("energy", "fat", "saturates", "carbohydrate", "sugars", "fibre", "protein", "salt", "sodium")
MORE = ("trans_fat", "cholesterol", "potassium", "calcium", "iron")
_FIRST = {"per": "100_g", "law": "eu"}
_LISTS = ("allergens", "may_contain", "holds", "may_hold")


@router.get("/foods")
def every(desk: AtDesk, request: Request, food: str = "", done: str = "", act: str = "") -> Response:
    """The own foods, and the form of a label; with a food named, that one's label to change."""
    known = {one.food: one for one in desk.run("foods", {"all": True}).foods}
    form = (
        Form(_typed_of(known[food]))
        if food in known
        else Form(_FIRST | {"name": request.query_params.get("name", "")[:120]})
    )
    return _page(desk, form, done=done, act=act)


@router.post("/foods")
def keep(desk: AtDesk, typed: Typed) -> Response:
    """Keep a food off its label."""
    try:
        made = desk.run("keep_food", _given(desk, typed))
    except Refused as error:
        return _page(desk, desk.refused(typed, error.problems), status=422)
    return desk.go(f"/foods?done={made.events[0]}&act=keep")


@router.post("/foods/drop")
def drop(desk: AtDesk, typed: Typed) -> Response:
    """Offer a food no longer."""
    made = desk.send("drop_food", typed)
    return desk.go(f"/foods?done={made.events[0]}&act=drop")


@router.post("/foods/correct")
def correct(desk: AtDesk, typed: Typed) -> Response:
    """Take back what was recorded of a food."""
    made = desk.send("correct", typed)
    return desk.go(f"/foods?done={made.events[0]}&act=correct")


def _given(desk: Desk, typed: dict[str, str]) -> dict[str, Any]:
    given = data(typed, zone=desk.context.settings.zone)
    # an unticked list says nothing of it; that there are none is a tick of its own
    for name in ("allergens", "holds"):
        if typed.get(f"_no_{name}"):
            given.setdefault(name, [])
    return given


def _typed_of(one: Any) -> dict[str, str]:
    """A label as the form holds it."""
    label = one.label
    out = {"food": one.food, "name": label.name, "group": label.group, "law": label.law}
    by_serving = abs(label.basis.value - 0.1) > 1e-9
    out["per"] = "serving" if by_serving else "100_g"
    told = dict(label.amounts)
    told |= {"serving": label.basis} if by_serving else {}
    told |= {name: value for name, value in (("pack", label.pack), ("water", label.water)) if value}
    out |= {name: value.typed for name, value in told.items()}
    for name in _LISTS:
        listed = getattr(label, name)
        out |= {f"{name}.{n}": word for n, word in enumerate(listed or ())}
        if listed == () and name in ("allergens", "holds"):
            out[f"_no_{name}"] = "true"
    return out


def _page(desk: Desk, form: Form, *, done: str = "", act: str = "", status: int = 200) -> Response:
    words = desk.words
    found = desk.run("foods")

    def said(listed: tuple[str, ...], section: str) -> list[tuple[str, str]]:
        return [
            (one, words.say(f"{section}.{one}") if words.has(f"{section}.{one}") else one.replace("_", " "))
            for one in listed
        ]

    known = {one.food: one for one in found.foods}
    return desk.page(
        "foods.html",
        part="dishes",
        status=status,
        form=form,
        found=found,
        changing=known.get(form.value("food")),
        amounts=AMOUNTS,
        more=MORE,
        allergens=said(found.allergens, "allergen"),
        holds=said(found.holds, "page.shelf.label_word"),
        done=done,
        act=act,
        names_of=lambda listed: ", ".join(word for _, word in said(listed, "allergen")),
        nutrients_of=lambda listed: ", ".join(words.t(f"foods.nutrient.{one}").lower() for one in listed),
    )
