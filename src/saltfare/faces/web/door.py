"""Signing in and out, and the devices that are signed in."""

from __future__ import annotations

import math
from typing import Any

from fastapi import APIRouter, FastAPI, Request
from starlette.responses import RedirectResponse, Response

from saltfare.core.errors import JournalError, NotFound, Problem, Refused
from saltfare.faces.door.keeper import ABSOLUTE, Door
from saltfare.faces.door.roles import AT_THE_MACHINE, NotPermitted, permit, visitor
from saltfare.faces.door.store import ROLES, DoorBroken, Role
from saltfare.faces.guard import App
from saltfare.faces.web import gate
from saltfare.faces.web.desk import AtDesk, Desk, Typed
from saltfare.faces.web.forms import Form
from saltfare.faces.web.gate import SIGN_IN, cookie_name, token_of

router = APIRouter(include_in_schema=False)
LONGEST_SENT = 4096
_STATUS = {"passphrase_wrong": 403, "sign_in_waits": 429, "sign_in_locked": 403}


@router.get(SIGN_IN)
def ask(desk: AtDesk, next: str = "", out: bool = False) -> Response:
    """The form for the passphrase."""
    return _form(desk, next, out=out)


@router.post(SIGN_IN)
def enter(desk: AtDesk, typed: Typed) -> Response:
    """Let a device in, with a secret it never had before."""
    request, door = desk.request, _door(desk.request)
    given = typed.get("passphrase", "")
    wanted: Role = next((r for r in ROLES if r == typed.get("role")), "look")
    try:
        entered = door.sign_in(
            given if len(given) <= LONGEST_SENT else "",
            client=request.client.host if request.client else None,
            name=typed.get("device", ""),
            agent=request.headers.get("user-agent", ""),
            role=wanted,
            before=token_of(request),
        )
    except Refused as error:
        return _refused(desk, typed, error.problems[0])
    answer = desk.go(local(typed.get("next", "")))
    scheme = request.url.scheme
    answer.set_cookie(
        cookie_name(scheme),
        entered.token,
        max_age=int(ABSOLUTE.total_seconds()),
        path="/",
        secure=scheme == "https",
        httponly=True,
        samesite="strict",
    )
    return answer


@router.post("/sign-out")
def leave(request: Request) -> Response:
    """Void what this device holds."""
    if request.app.state.door is not None:
        _door(request).sign_out(token_of(request))
    answer = RedirectResponse(f"{SIGN_IN}?out=1", status_code=303)
    scheme = request.url.scheme
    answer.delete_cookie(
        cookie_name(scheme), path="/", secure=scheme == "https", httponly=True, samesite="strict"
    )
    return answer


@router.get("/devices")
def every(desk: AtDesk, done: str = "") -> Response:
    """This device; whoever may do all sees the others too."""
    who = visitor(desk.request.scope)
    door: Door | None = desk.request.app.state.door
    devices = door.devices() if door is not None else ()
    if who is not None and not who.may("all"):
        devices = tuple(one for one in devices if one.key == who.key)
    return desk.page(
        "devices.html",
        part="settings",
        devices=devices,
        who=who,
        here=who == AT_THE_MACHINE,
        passphrases=door.opened_by() if door is not None else (),
        locked=door is not None and door.locked,
        done=done if done in ("one", "others") else "",
    )


@router.post("/devices/sign-out")
def revoke(desk: AtDesk, typed: Typed) -> Response:
    """Sign another device out, or all others."""
    permit(desk.request.scope, "all")
    door, key = _door(desk.request), typed.get("key", "")
    who = visitor(desk.request.scope)
    if key:
        door.revoke(key)
    else:
        door.revoke_others(who.key if who else "")
    return desk.go(f"/devices?done={'one' if key else 'others'}")


def fit(app: FastAPI, door: Door | None, *, ask_here: bool = False) -> App:
    """The application with these pages, and with the gate in front where there is a door."""
    app.state.door = door
    app.include_router(router)
    app.add_exception_handler(NotPermitted, _not_permitted)
    app.add_exception_handler(DoorBroken, _broken)
    app.add_exception_handler(JournalError, _journal)
    if door is None:
        return app
    return gate.Gate(app, door, ask_here=ask_here, pseudo=bool(app.state.pseudo))


async def _not_permitted(request: Request, error: Exception) -> Response:
    if not isinstance(error, NotPermitted):
        raise error
    return gate.say(request, 403, error.problem, pseudo=bool(request.app.state.pseudo))


async def _broken(request: Request, error: Exception) -> Response:
    if not isinstance(error, DoorBroken):
        raise error
    return gate.say(request, 503, error.problem, pseudo=bool(request.app.state.pseudo))


async def _journal(request: Request, error: Exception) -> Response:
    """A journal's error without where the file lies: that is nobody's business on the network."""
    if not isinstance(error, JournalError):
        raise error
    return gate.say(request, 503, gate.without_folders(error.problem), pseudo=bool(request.app.state.pseudo))


def local(address: str) -> str:
    """An address of ours to go on to; the Bench where it could lead elsewhere."""
    plain = address.isascii() and address.isprintable() and "\\" not in address
    if not plain or not address.startswith("/") or address.startswith(("//", SIGN_IN)):
        return "/"
    return address


def _door(request: Request) -> Door:
    door: Door | None = request.app.state.door
    if door is None:
        raise NotFound("page", request.url.path)
    return door


def _refused(desk: Desk, typed: dict[str, str], problem: Problem) -> Response:
    kept = {name: typed.get(name, "") for name in ("device", "role")}  # never the passphrase
    form = desk.refused(kept | {"passphrase": ""}, (problem,))
    answer = _form(desk, typed.get("next", ""), form=form, status=_STATUS[problem.code])
    if problem.code == "sign_in_waits":
        answer.headers["retry-after"] = str(math.ceil(float(problem.params["wait_s"])))
    return answer


def _form(
    desk: Desk, onward: str, *, form: Form | None = None, status: int = 200, out: bool = False
) -> Response:
    _door(desk.request)
    view: dict[str, Any] = {
        "given": form or Form({"role": "all"}),
        "onward": local(onward),
        "roles": [(role, desk.words.t(f"door.may.{role}")) for role in reversed(ROLES)],
        "plain": desk.request.url.scheme != "https",
        "out": out,
    }
    return desk.page("sign_in.html", status=status, **view)
