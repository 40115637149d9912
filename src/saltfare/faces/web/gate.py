"""The gate behind the guard: nobody reaches a page, an action or a drawing without having signed in.

Whoever is at the machine itself (both ends of the connection are loopback, and no proxy says that it
speaks for somebody else) is let through, unless asked to sign in as well.
"""

from __future__ import annotations

import re
from collections.abc import MutableMapping
from ipaddress import ip_address
from typing import Any
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from saltfare.core.errors import Problem
from saltfare.faces.door.keeper import Door
from saltfare.faces.door.roles import AT_THE_MACHINE, NotPermitted, Visitor
from saltfare.faces.door.store import DoorBroken
from saltfare.faces.guard import SAFE_METHODS, App, Receive, Scope, Send
from saltfare.faces.web import api
from saltfare.faces.web.desk import render
from saltfare.faces.words import Words

SIGN_IN, SIGN_OUT = "/sign-in", "/sign-out"
_FOLDERS = re.compile(r"(?:(?<=[\s'\"(])|^)/(?:.*/)?", re.S)
_FORWARDED = frozenset({b"forwarded", b"x-forwarded-for", b"x-forwarded-host", b"x-real-ip", b"via"})


def cookie_name(scheme: str) -> str:
    """On https with the prefix that lets nobody else set it (RFC 6265bis, 4.1.3.2)."""
    return "__Host-saltfare" if scheme == "https" else "saltfare"


def token_of(request: Request) -> str:
    """The secret a browser holds, "" where it holds none."""
    return request.cookies.get(cookie_name(request.url.scheme), "")


def open_to_all(path: str) -> bool:
    """What is needed to sign in: the page and the files it is drawn with."""
    return path == SIGN_IN or path.startswith("/static/")


class Gate:
    """ASGI middleware between the guard and the application.

    ask_here: ask at the machine itself as well.
    """

    def __init__(self, app: App, door: Door, *, ask_here: bool = False, pseudo: bool = False) -> None:
        self.app, self.door, self.ask_here, self.pseudo = app, door, ask_here, pseudo

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let through with the visitor noted, or say where to sign in."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request = Request(scope)
        answer: Response | None = None
        try:
            who = await run_in_threadpool(self._visitor, request)
            scope.setdefault("state", {})["visitor"] = who
            if not open_to_all(scope["path"]):
                answer = self._refusal(request, who)
        except DoorBroken as error:
            answer = say(request, 503, error.problem, pseudo=self.pseudo)
        await (answer or self.app)(scope, receive, send)

    def _visitor(self, request: Request) -> Visitor | None:
        if (
            not self.ask_here
            and _at_the_machine(request.scope)
            and not (_forwarded(request.scope) and self.door.opened_by())
        ):
            return AT_THE_MACHINE
        client = request.client.host if request.client else None
        found = self.door.admit(token_of(request), client)
        return None if found is None else Visitor(found.role, found.key, found.name)

    def _refusal(self, request: Request, who: Visitor | None) -> Response | None:
        path = request.scope["path"]  # not of the URL, which is put together with what Host says
        if who is None:
            reading = request.method in ("GET", "HEAD") and not for_machines(path)
            if reading and request.headers.get("x-partial") != "1":
                query = f"?{request.url.query}" if request.url.query else ""
                wanted = quote(path + query, safe="/")
                return RedirectResponse(SIGN_IN if wanted == "/" else f"{SIGN_IN}?next={wanted}", 303)
            answer = say(request, 401, Problem("not_signed_in"), pseudo=self.pseudo)
            answer.headers["www-authenticate"] = "Cookie"
            return answer
        # a floor below the actions' own scopes, for what is sent without running one
        changing = request.method not in SAFE_METHODS and not for_machines(path)
        if changing and path != SIGN_OUT and not who.may("record"):
            return say(request, 403, NotPermitted("record").problem, pseudo=self.pseudo)
        return None


def _at_the_machine(scope: MutableMapping[str, Any]) -> bool:
    ends = (scope.get("client"), scope.get("server"))
    try:
        return all(end is not None and ip_address(end[0]).is_loopback for end in ends)
    except ValueError:  # not an address: a socket file
        return False


def _forwarded(scope: MutableMapping[str, Any]) -> bool:
    """Whether something here speaks for somebody elsewhere."""
    return any(name.lower() in _FORWARDED for name, _ in scope["headers"])


def for_machines(path: str) -> bool:
    """Whether what answers there is JSON."""
    return path.startswith("/api/") or path == "/openapi.json"


def say(request: Request, status: int, problem: Problem, *, pseudo: bool = False) -> Response:
    """A problem as whoever asked can read it. It needs neither journal nor session."""
    words = Words(pseudo=pseudo)
    if for_machines(request.scope["path"]):
        return api.errors(status, problem, words=words)
    view: dict[str, Any] = {"status": status, "said": [words.problem(problem)]}
    partial = request.headers.get("x-partial") == "1"
    return HTMLResponse(render(words, "_problem.html" if partial else "door_closed.html", **view), status)


def without_folders(problem: Problem) -> Problem:
    """The problem with each path in it cut to its last name."""
    params = {k: _without(v) if isinstance(v, str) else v for k, v in problem.params.items()}
    return Problem(problem.code, problem.field, _without(problem.given), problem.allowed, params)


def _without(text: str) -> str:
    return _FOLDERS.sub("", text)
