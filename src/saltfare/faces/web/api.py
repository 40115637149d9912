"""The actions as a JSON API, `POST /api/ACTION`, and the document that describes it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from fastapi import APIRouter, FastAPI, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, Response

from saltfare import __version__
from saltfare.actions import registry
from saltfare.core.errors import Problem, Refused
from saltfare.faces import errors_shown
from saltfare.faces.door.roles import needed, permit
from saltfare.faces.web.desk import Maker
from saltfare.faces.words import Words

router = APIRouter(include_in_schema=False)

ERRORS_SCHEMA: dict[str, Any] = {
    "type": "object",
    "required": ["errors"],
    "additionalProperties": False,
    "properties": {
        "errors": {
            "type": "array",
            "minItems": 1,
            "items": {
                "type": "object",
                "required": ["code", "field", "given", "allowed", "mend", "text"],
                "additionalProperties": False,
                "properties": {
                    name: {"type": "string"} for name in ("code", "field", "given", "allowed", "mend", "text")
                },
            },
        }
    },
}


@router.post("/api/{name}")
async def run(name: str, request: Request) -> Response:
    """Run an action on a JSON object."""
    permit(request.scope, needed(registry.get(name)))
    kind = request.headers.get("content-type", "")
    if kind.partition(";")[0].strip().lower() != "application/json":
        return errors(415, Problem("not_json_type", given=kind[:80], allowed="application/json"))
    given = _object(await request.body())
    maker: Maker = request.app.state.maker
    output = await run_in_threadpool(lambda: registry.run(name, maker.make(), given))
    return Response(output.model_dump_json(), media_type="application/json")


def _object(body: bytes) -> dict[str, Any]:
    def refuse(literal: str) -> float:
        raise ValueError(literal)

    try:
        given = json.loads(body.decode("utf-8-sig") or "{}", parse_constant=refuse)
    except (ValueError, RecursionError):
        raise Refused(Problem("not_json")) from None
    if not isinstance(given, dict):
        raise Refused(Problem("not_json"))
    return given


def errors(status: int, *problems: Problem, words: Words | None = None) -> Response:
    """The one shape of every failure."""
    return JSONResponse(errors_shown.as_json(Refused(*problems), words or Words()), status)


def document() -> dict[str, Any]:
    """The OpenAPI document of all actions, from the same models that validate them."""
    words = Words()
    schemas: dict[str, Any] = {"Errors": ERRORS_SCHEMA}
    paths: dict[str, Any] = {}
    failures = {
        str(status): {
            "description": HTTPStatus(status).phrase,
            "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Errors"}}},
        }
        for status in (400, 401, 403, 404, 409, 413, 415, 421, 422, 500, 503)
    }
    for action in registry.ACTIONS:
        given = _schema(action.Input, f"{action.name}_input", "validation", schemas)
        gives = _schema(action.Output, f"{action.name}_output", "serialization", schemas)
        paths[f"/api/{action.name}"] = {
            "post": {
                "operationId": action.name,
                "tags": [action.part],
                "summary": words.say(f"action.{action.name}.text"),
                "requestBody": {"required": True, "content": {"application/json": {"schema": given}}},
                "responses": {
                    "200": {"description": "OK", "content": {"application/json": {"schema": gives}}},
                    **failures,
                },
            }
        }
    return {
        "openapi": "3.1.0",
        "info": {"title": "Saltfare", "version": __version__},
        "paths": paths,
        "components": {"schemas": schemas},
    }


def _schema(model: Any, name: str, mode: Any, schemas: dict[str, Any]) -> Mapping[str, str]:
    """Put a model's schema among the components, its definitions beside it under names of its own."""
    own = model.model_json_schema(mode=mode, ref_template=f"#/components/schemas/{name}.{{model}}")
    for inner, schema in own.pop("$defs", {}).items():
        schemas[f"{name}.{inner}"] = schema
    schemas[name] = own
    return {"$ref": f"#/components/schemas/{name}"}


def describe(app: FastAPI) -> None:
    """Let the application give that document at /openapi.json; made when first asked for."""

    def openapi() -> dict[str, Any]:
        if app.openapi_schema is None:
            app.openapi_schema = document()
        return app.openapi_schema

    app.openapi = openapi  # type: ignore[method-assign]
