"""Rub day on one screen: the weight in, the grams out, one button that starts the piece and salts it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from saltfare.core.errors import Problem, Refused
from saltfare.faces.web.desk import AtDesk, Desk, Typed
from saltfare.faces.web.forms import Form, data, label_of
from saltfare.faces.web.piece_page import cut_of

router = APIRouter(include_in_schema=False)
_ASKED = frozenset({"like", "green_weight", "thickness", "length", "width", "scale_step"})
# what the scale is to show, by the field that records what it showed
_DOSES = {"salt": "salt_dose", "mix": "cure_mix_dose"}
_SILENT = {"sugar": "sugar_dose"}


@router.get("/rub")
def ask(desk: AtDesk, request: Request) -> Response:
    """The screen; with a weight in the address, the slip."""
    typed = dict(request.query_params)
    found, problems = _work(desk, typed)
    if desk.partial:
        return desk.page("_rub_slip.html", **_view(desk, typed, found, problems))
    form = desk.refused(typed, problems, of="rub") if problems else Form(typed)
    return _page(desk, form, found, problems, status=422 if problems else 200)


@router.post("/rub")
def start(desk: AtDesk, typed: Typed) -> Response:
    """Started and salted, as weighed."""
    found, problems = _work(desk, typed)
    given = _given(desk, typed, (*_ASKED, "name", "request_id", *_DOSES))
    if found is not None and found.like is not None:
        given["like"] = found.like.code
        # hands are in the salt: cut and day will do, and the code tells two apart
        if not given.get("name", "").strip():
            given["name"] = desk.words.t(
                "rub.unnamed", cut=cut_of(desk, found.like.cut), on=desk.context.today
            )
    given |= _silent(found)
    try:
        made = desk.run("rub_piece", given)
    except Refused as error:
        again = problems or error.problems
        return _page(desk, desk.refused(typed, again, of="rub"), found, again, status=422)
    return desk.go(f"/pieces/{made.code}?done={made.events[1]}&act=rub&drop=rub")


def _given(desk: Desk, typed: Mapping[str, str], names: Any) -> dict[str, Any]:
    """Of what was typed, those fields, with their units and the reasons written."""
    wanted = {k: v for k, v in typed.items() if k.removesuffix("_unit") in names or k.startswith("reasons.")}
    return data(wanted, zone=desk.context.settings.zone)


def _silent(found: Any) -> dict[str, Any]:
    """Sugar and spices go on as shown: nobody is asked to type them again."""
    weigh = found.weigh if found is not None else ()
    out: dict[str, Any] = {
        name: line.figure.value for name, of in _SILENT.items() for line in weigh if line.quantity == of
    }
    spices = {line.name: line.figure.value for line in weigh if line.quantity == "spice_dose"}
    return out | ({"spices": spices} if spices else {})


def _work(desk: Desk, typed: Mapping[str, str]) -> tuple[Any, tuple[Problem, ...]]:
    """What to weigh; where that is refused, the screen without it, and why."""
    given = _given(desk, typed, _ASKED)
    try:
        return desk.run("rub_day", given), ()
    except Refused as error:
        like = (
            {"like": given["like"]}
            if all(p.field != "like" for p in error.problems) and "like" in given
            else {}
        )
        return desk.run("rub_day", like), error.problems


def _view(desk: Desk, typed: Mapping[str, str], found: Any, problems: tuple[Problem, ...]) -> dict[str, Any]:
    words = desk.words
    doubts = []
    for problem in problems:
        key = str(problem.params.get("reason_for", ""))
        doubts.append(
            {
                "label": label_of(problem.field, words, of="rub"),
                "said": words.problem(problem),
                "key": key if key == problem.code else "",
                "reason": typed.get(f"reasons.{key}", ""),
            }
        )
    return {
        "found": found,
        "doubts": doubts,
        "halves": bool(found.as_last and found.as_last.applications > 1),
        "still": [label_of(name, words, of="rub") for name in found.open],
        "put_on": _put_on(desk, typed, found),
    }


def _put_on(desk: Desk, typed: Mapping[str, str], found: Any) -> Form:
    """What the scale showed: the dose, until something else was typed over it."""
    out = dict(typed)
    for name, quantity in _DOSES.items():
        dose = next((line.figure.value for line in found.weigh if line.quantity == quantity), None)
        shown = "" if dose is None else desk.words.shown.typed(dose, "mass", "g")
        if typed.get(name, "") == typed.get(f"_{name}_was", ""):
            out[name] = shown
        out[f"_{name}_was"] = shown
    return Form(out)


def _page(
    desk: Desk, form: Form, found: Any, problems: tuple[Problem, ...], *, status: int = 200
) -> Response:
    models = [
        (
            m.code,
            desk.words.t(
                "rub.like_was",
                cut=cut_of(desk, m.cut),
                name=m.name,
                started=m.started_at,
                green_kg=m.green_kg,
            ),
        )
        for m in found.models
    ]
    like = found.like.code if found.like else ""
    chambers = {c.key: c.name for c in desk.run("chambers").chambers}
    return desk.page(
        "rub.html",
        part="pieces",
        status=status,
        form=Form({**form.typed, "like": form.typed.get("like") or like}, form.problems),
        models=models,
        chambers=chambers,
        **_view(desk, form.typed, found, problems),
    )
