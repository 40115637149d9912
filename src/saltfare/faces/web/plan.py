"""Plan a piece: questions in the order a person thinks, and the slip that fills as they are answered."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from saltfare.core.errors import Problem, Refused
from saltfare.faces.web.desk import AtDesk, Desk, Typed
from saltfare.faces.web.forms import Form, data, label_of

router = APIRouter(include_in_schema=False)
SPICES = range(4)
_OPEN = frozenset({"missing", "empty"})


@router.get("/pieces/plan")
def ask(desk: AtDesk, request: Request) -> Response:
    """The questions; with answers in the address, the slip."""
    typed = dict(request.query_params)
    if not typed:
        return _page(desk, Form(_first(desk)))
    plan, problems = _work(desk, typed)
    if desk.partial:
        return desk.page("_plan_slip.html", **_slip(desk, typed, plan, problems))
    form = desk.refused(typed, problems) if problems else Form(typed)
    return _page(desk, form, plan=plan, problems=problems, status=422 if problems else 200)


@router.post("/pieces/start")
def start(desk: AtDesk, typed: Typed) -> Response:
    """Start the piece as planned."""
    try:
        made = desk.run("start_piece", given_of(typed, desk) | _only(typed, "name", "request_id"))
    except Refused as error:
        plan, problems = _work(desk, typed)
        form = desk.refused(typed, error.problems)
        return _page(desk, form, plan=plan, problems=problems, status=422)
    return desk.go(f"/pieces/{made.stream.rpartition('/')[2]}?done={made.events[-1]}&drop=plan")


def given_of(typed: Mapping[str, str], desk: Desk) -> dict[str, Any]:
    """The answers as the action takes them: what belongs to starting left out, spices by name."""
    own = {k: v for k, v in typed.items() if k not in ("name", "request_id", "seen_version")}
    out = data(own, zone=desk.context.settings.zone)
    if out.get("applications") in ("1", "2"):
        out["applications"] = int(out["applications"])
    spices = {}
    for n in SPICES:
        name, share = typed.get(f"_spice.{n}.name", "").strip(), typed.get(f"_spice.{n}.share", "").strip()
        if name or share:
            spices[name or desk.words.t("plan.spice_name", n=n + 1)] = (
                share if any(c in share for c in "%g") else f"{share} %"
            )
    if spices:
        out["spices"] = spices
    return out


def _only(typed: Mapping[str, str], *names: str) -> dict[str, str]:
    return {name: typed[name] for name in names if typed.get(name, "").strip()}


def _work(desk: Desk, typed: Mapping[str, str]) -> tuple[Any, tuple[Problem, ...]]:
    try:
        return desk.run("plan_piece", given_of(typed, desk)), ()
    except Refused as error:
        return None, error.problems


def _first(desk: Desk) -> dict[str, str]:
    """What stands in the form before anything is typed: no measurement, no strength, no dose."""
    chambers = desk.run("chambers").chambers
    return {
        "rules": "us_home",
        "method": "weighed_dose",
        "applications": "1",
        "start": desk.context.today.isoformat(),
        "chamber": chambers[0].key if len(chambers) == 1 else "",
    }


def _slip(desk: Desk, typed: Mapping[str, str], plan: Any, problems: tuple[Problem, ...]) -> dict[str, Any]:
    words = desk.words
    still = [label_of(p.field, words) for p in problems if p.code in _OPEN]
    doubts = []
    for problem in problems:
        if problem.code not in _OPEN:
            key = str(problem.params.get("reason_for", ""))
            doubts.append(
                {
                    "label": label_of(problem.field, words),
                    "said": words.problem(problem),
                    # a reason for an unusual value is asked for at its control, for a doubt here
                    "key": key if key == problem.code else "",
                    "reason": typed.get(f"reasons.{key}", ""),
                }
            )
    return {
        "plan": plan,
        "still": list(dict.fromkeys(still)),
        "doubts": doubts,
        "unusual": [label_of(path, words) for path in plan.unusual] if plan else [],
    }


def _page(
    desk: Desk, form: Form, *, plan: Any = None, problems: tuple[Problem, ...] = (), status: int = 200
) -> Response:
    library = desk.context.library
    return desk.page(
        "plan.html",
        part="pieces",
        form=form,
        status=status,
        purposes=[(row.text("id"), row.text("label")) for row in library.rows("purposes")],
        cuts=[(row.text("id"), row.text("label")) for row in library.rows("cuts")],
        chambers=[(c.key, c.name) for c in desk.run("chambers").chambers],
        spices=SPICES,
        **_slip(desk, form.typed, plan, problems),
    )
