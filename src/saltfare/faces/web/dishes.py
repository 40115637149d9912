"""Dishes: the list, the form of a dish, one batch, and what is done to it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Request
from starlette.responses import Response

from saltfare.core.errors import Conflict, Problem, Refused
from saltfare.faces.typed import local_instant
from saltfare.faces.web.desk import AtDesk, Desk, Typed
from saltfare.faces.web.dish_form import first, given_of, own_options, rows, tables, typed_of, work
from saltfare.faces.web.dish_page import dish_page, line_said
from saltfare.faces.web.forms import Form, closed_up, label_of

router = APIRouter(include_in_schema=False)
# What a form on a batch may do: the last part of the address, the action.
ACTS = {
    "cook": "cook_dish",
    "cool": "cool_dish",
    "on-trays": "tray_dish",
    "weigh-trays": "weigh_trays",
    "spoonful": "dry_spoonful",
    "condition": "condition_dish",
    "test-pouch": "try_pouch",
    "pack": "pack_dish",
    "again": "again_dish",
    "note": "note_dish",
    "discard": "discard_dish",
    "correct": "correct",
}
_OPEN = frozenset({"missing", "empty"})


@router.get("/dishes")
def every(desk: AtDesk) -> Response:
    """All batches."""
    found = desk.run("dishes").dishes
    return desk.page("dishes.html", part="dishes", lines=[(one, line_said(desk, one)) for one in found])


@router.get("/dishes/plan")
def ask(desk: AtDesk, request: Request) -> Response:
    """The form of a dish; with something in the address, what it comes to."""
    typed = dict(request.query_params)
    if not typed:
        return _form(desk, Form(first(desk)))
    return _worked(desk, typed)


@router.post("/dishes/start")
def start(desk: AtDesk, typed: Typed) -> Response:
    """Start the batch as planned."""
    typed = closed_up(typed)
    try:
        made = desk.run("start_dish", given_of(desk, typed)[0])
    except Refused as error:
        return _form(desk, desk.refused(typed, error.problems), found=work(desk, typed), status=422)
    return desk.go(f"/dishes/{made.code}?done={made.events[-1]}&act=start&drop=dish")


@router.get("/dishes/{code}/change")
def change_form(desk: AtDesk, code: str, request: Request) -> Response:
    """The form of a batch under way, to change it."""
    typed = dict(request.query_params)
    one = desk.run("dish", {"code": code})
    if typed:
        return _worked(desk, typed, one=one)
    form = Form(typed_of(desk, one.choice))
    return _form(desk, form, found=work(desk, form.typed, one.code), one=one)


@router.post("/dishes/{code}/change")
def change(desk: AtDesk, code: str, typed: Typed) -> Response:
    """Change recipe, trays, packs or camp of a batch."""
    typed = closed_up(typed)
    given = given_of(desk, typed)[0]
    given.pop("name", None)
    try:
        did = desk.run("change_recipe", {**given, "code": code})
    except Refused as error:
        one = desk.run("dish", {"code": code})
        form = desk.refused(typed, error.problems)
        return _form(desk, form, found=work(desk, typed, one.code), one=one, status=422)
    return desk.go(f"/dishes/{quote(code)}?done={did.events[0]}&act=change&drop=dish-{quote(code)}")


@router.get("/dishes/{code}")
def one(desk: AtDesk, code: str, done: str = "", act: str = "", drop: str = "") -> Response:
    """One batch."""
    return dish_page(desk, code, done=done, act=act, drop=drop)


def _act(act: str) -> Callable[..., Response]:
    def do(desk: AtDesk, code: str, typed: Typed) -> Response:
        """Record something done to a batch."""
        typed = closed_up(typed)
        if typed.get("start", "").strip():
            typed["start"] = local_instant(typed["start"], desk.context.settings.zone)
        try:
            did = desk.send(ACTS[act], typed, **({} if act == "correct" else {"code": code}))
        except Refused as error:
            form = desk.refused(typed, _named(error.problems), prefix=f"{act}-", of=act)
            return dish_page(desk, code, form=form, act=act, status=422)
        except Conflict as error:
            moved = Problem("moved_on", params={"seen": error.seen, "now": error.now})
            form = desk.refused(typed, (moved,), prefix=f"{act}-")
            return dish_page(desk, code, form=form, act=act, status=409)
        return desk.go(_after(typed, code, act, did))

    return do


for _name in ACTS:
    router.add_api_route(f"/dishes/{{code}}/{_name}", _act(_name), methods=["POST"])


def _named(problems: tuple[Problem, ...]) -> tuple[Problem, ...]:
    """Problems at the controls of the form: those of a list nobody filled in belong to its first row."""
    return tuple(
        Problem(p.code, "portions.0.packs", p.given, p.allowed, p.params) if p.field == "portions" else p
        for p in problems
    )


def _after(typed: Mapping[str, str], code: str, act: str, did: Any) -> str:
    done = did.events[0] if did.events else ""
    if did.stream.startswith("dish/"):
        code = did.stream.partition("/")[2]
    where = f"/?dish={quote(code)}&" if typed.get("_from") == "bench" else f"/dishes/{quote(code)}?"
    return f"{where}done={quote(done)}&act={quote(act)}"


def _worked(desk: Desk, typed: Mapping[str, str], *, one: Any = None) -> Response:
    typed = closed_up(typed)
    found = work(desk, typed, one.code if one else "")
    if desk.partial:
        return desk.page("_dish_slip.html", **_slip(desk, typed, found))
    problems = found["problems"]
    form = desk.refused(typed, problems) if problems else Form(typed)
    wrong = any(problem.code not in _OPEN for problem in problems)
    return _form(desk, form, found=found, one=one, status=422 if wrong else 200)


def _slip(desk: Desk, typed: Mapping[str, str], found: Mapping[str, Any]) -> dict[str, Any]:
    words, problems = desk.words, found["problems"]
    return {
        "taken": found["taken"],
        "report": found["report"],
        "still": list(dict.fromkeys(label_of(p.field, words) for p in problems if p.code in _OPEN)),
        "wrong": [(_where(desk, p.field), words.problem(p)) for p in problems if p.code not in _OPEN],
        "unusual": [_where(desk, path) for path in found["report"].unusual] if found["report"] else [],
        "typed": typed,
    }


def _where(desk: Desk, path: str) -> str:
    """What a control is called, with the number of its line."""
    label = label_of(path, desk.words)
    part, _, rest = path.partition(".")
    number = rest.partition(".")[0]
    if part in ("lines", "beside") and number.isdigit():
        return desk.words.t(f"dish.form.{part}_line", n=int(number) + 1, label=label)
    return label


def _form(
    desk: Desk,
    form: Form,
    *,
    found: Mapping[str, Any] | None = None,
    one: Any = None,
    status: int = 200,
) -> Response:
    found = found or {"taken": [], "report": None, "problems": ()}
    return desk.page(
        "dish_plan.html",
        part="dishes",
        form=form,
        status=status,
        one=one,
        rows=rows(form.typed),
        beside_rows=rows(form.typed, "beside"),
        own_options=own_options(desk),
        **tables(desk),
        **_slip(desk, form.typed, found),
    )
