"""Sources: what every figure rests on, and the printed examples run just now."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from saltfare.faces.web.desk import AtDesk

router = APIRouter(include_in_schema=False)


_ROWS = 40


@router.get("/sources")
def every(desk: AtDesk) -> Response:
    """All sources, and the printed examples run now, failures and misses first."""
    found = desk.run("sources").sources
    domains: dict[str, list[Any]] = {}
    for one in found:
        domains.setdefault(one.domain, []).append(one)
    ran = desk.run("checks")
    misses = [c for c in ran.checks if not c.passed or c.role == "known_miss"]
    agreeing = [c for c in ran.checks if c.passed and c.role != "known_miss"]
    return desk.page(
        "sources.html",
        part="sources",
        domains=list(domains.items()),
        ran=ran,
        misses=misses,
        agreeing=agreeing,
        record=desk.run("forecast_record"),
    )


@router.get("/sources/{key}")
def one(desk: AtDesk, key: str, all: bool = False) -> Response:
    """One source with its rows, the models that cite it, its checks."""
    found = desk.run("source", {"key": key})
    tables: dict[str, list[Any]] = {}
    for row in found.rows:
        tables.setdefault(row.title, []).append(row)
    limit = len(found.rows) if all else _ROWS
    return desk.page("source.html", part="sources", one=found, tables=list(tables.items()), limit=limit)
