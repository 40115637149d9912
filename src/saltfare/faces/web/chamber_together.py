"""All pieces of a chamber together: a day and a crust in, the air to hold out."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from saltfare.core.errors import NotFound, Refused
from saltfare.faces.web.desk import AtDesk
from saltfare.faces.web.forms import Form, data

router = APIRouter(include_in_schema=False)


@router.get("/chambers/{key}/together")
def together(desk: AtDesk, key: str, request: Request) -> Response:
    """The question; with a day in the address, the answer."""
    typed = dict(request.query_params)
    name = next((c.name for c in desk.run("chambers").chambers if c.key == key), None)
    if name is None:
        raise NotFound("chamber", key)
    form, found, status = Form(typed), None, 200
    if typed:
        given: dict[str, Any] = {**data(typed, zone=desk.context.settings.zone), "key": key}
        try:
            found = desk.run("chamber_together", given)
        except Refused as error:
            form, status = desk.refused(typed, error.problems), 422
    return desk.page(
        "chamber_together.html", part="chambers", status=status, form=form, found=found, key=key, name=name
    )
