"""The application: routes of each part, the JSON API, static files, what is said when something fails.

`create_app` returns the guarded application; nothing reaches a route except through the guard, and
no answer, the server's own errors included, leaves without its headers.
"""

from __future__ import annotations

import logging
from collections.abc import AsyncIterator, Callable, Collection
from contextlib import asynccontextmanager
from typing import TYPE_CHECKING, Any
from uuid import uuid4

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

from saltfare.core.errors import Problem, SaltfareError
from saltfare.faces import charts, errors_shown
from saltfare.faces.guard import LOOPBACK, Guard
from saltfare.faces.web import (
    api,
    bench,
    buying,
    chamber_together,
    chambers,
    dishes,
    foods,
    forecasts,
    judged,
    keeping,
    labels,
    paper,
    pieces,
    plan,
    plan_back,
    pouches,
    rub,
    settings,
    shelf,
    shelf_forms,
    sources,
    trip_menu,
    trips,
    trouble,
    understood,
    worth,
)
from saltfare.faces.web import door as door_pages
from saltfare.faces.web.desk import Maker, render
from saltfare.faces.words import Words

if TYPE_CHECKING:
    from saltfare.actions.context import Context
    from saltfare.faces.door.keeper import Door

log = logging.getLogger("saltfare.web")


class _Files(StaticFiles):
    """Files of ours. Their address carries their checksum, so a browser may keep them."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        response = await super().get_response(path, scope)
        if response.status_code == 200:
            versioned = b"v=" in scope.get("query_string", b"")
            response.headers["cache-control"] = (
                "public, max-age=31536000, immutable" if versioned else "no-cache"
            )
        return response


def create_app(
    make_context: Callable[[], Context],
    *,
    allowed_hosts: Collection[str] = LOOPBACK,
    pseudo: bool = False,
    door: Door | None = None,
    ask_here: bool = False,
) -> Guard:
    """The guarded application.

    Parameters
    ----------
    make_context
        Makes the context of one request, in the thread that handles it.
    allowed_hosts
        Names and address literals the pages answer to, without ports.
    pseudo
        Bracket every word of the catalogue, so that text from elsewhere stands out.
    door, ask_here
        Who may come in from elsewhere, and whether to ask at this machine too.
    """
    app = FastAPI(docs_url=None, redoc_url=None, lifespan=_lifespan, title="Saltfare")
    app.state.maker = Maker(make_context)
    app.state.pseudo = pseudo
    api.describe(app)
    for part in (
        plan,
        rub,
        bench,
        paper,
        buying,
        pieces,
        judged,
        trouble,
        chambers,
        sources,
        forecasts,
        trip_menu,
        trips,
    ):
        app.include_router(part.router)
    for part in (dishes, foods, labels, shelf, shelf_forms, keeping, pouches):
        app.include_router(part.router)
    for part in (worth, plan_back, chamber_together, settings, understood, api):
        app.include_router(part.router)
    app.mount("/static", _Files(packages=[("saltfare.faces", "static")]), name="static")
    app.add_exception_handler(Exception, _failed)
    app.add_exception_handler(SaltfareError, _told)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RequestValidationError, _out_of_form)
    return Guard(door_pages.fit(app, door, ask_here=ask_here), hosts=allowed_hosts)


@asynccontextmanager
async def _lifespan(_app: FastAPI) -> AsyncIterator[None]:
    charts.warm()
    yield


async def _told(request: Request, error: Exception) -> Response:
    return _say(request, errors_shown.status(error), errors_shown.problems(error))


async def _http(request: Request, error: Exception) -> Response:
    if not isinstance(error, HTTPException):
        raise error
    if error.status_code == 404:
        problem = Problem("not_found", params={"what": "page", "key": request.url.path[:80]})
    elif error.status_code == 405:
        allowed = (error.headers or {}).get("Allow", (error.headers or {}).get("allow", ""))
        problem = Problem("wrong_method", given=request.method, allowed=allowed)
    else:
        problem = Problem("request_unreadable")
    response = _say(request, error.status_code, (problem,))
    response.headers.update(error.headers or {})
    return response


async def _out_of_form(request: Request, _error: Exception) -> Response:
    return _say(request, 422, (Problem("request_unreadable"),))


async def _failed(request: Request, error: Exception) -> Response:
    key = uuid4().hex[:8]
    log.error("failure %s at %s", key, request.url.path, exc_info=error)
    return _say(request, 500, (Problem("failed", params={"key": key}),))


def _say(request: Request, status: int, problems: tuple[Problem, ...]) -> Response:
    words = Words(pseudo=bool(getattr(request.app.state, "pseudo", False)))
    if request.url.path.startswith("/api/") or request.url.path == "/openapi.json":
        return api.errors(status, *problems, words=words)
    view: dict[str, Any] = {"status": status, "said": [words.problem(p) for p in problems]}
    template = "_problem.html" if request.headers.get("x-partial") == "1" else "error.html"
    return HTMLResponse(render(words, template, **view), status)
