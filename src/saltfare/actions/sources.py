"""What everything rests on: sources, the rows taken from them, the models that cite them, their checks."""

from __future__ import annotations

import inspect
import pkgutil
from collections.abc import Callable, Iterator
from functools import cache
from importlib import import_module
from typing import Any

import saltfare.models
from saltfare.actions.checks import CheckResult, records, result
from saltfare.actions.context import Context
from saltfare.actions.shapes import Output, Query
from saltfare.core import glossary as glossary_entries
from saltfare.core import tables
from saltfare.core.fields import Frozen
from saltfare.core.sources import Source, cites, registry
from saltfare.core.sources import source as source_of


class SourcesGiven(Query):
    """Nothing."""


class SourceGiven(Query):
    """A source by its key."""

    key: str


class GlossaryGiven(Query):
    """Nothing."""


class SourceLine(Frozen):
    """A source in the list, with how much rests on it."""

    key: str
    domain: str
    kind: str
    title: str
    author: str
    year: str
    where: str
    read: str
    status: str
    note: str
    rows: int
    models: int
    checks: int
    misses: int


class SourcesShown(Output):
    """Every source by domain."""

    sources: tuple[SourceLine, ...]


class RowShown(Frozen):
    """A row as printed: table, id, locator, how it is known, cells in printed units."""

    table: str
    title: str
    id: str
    locator: str
    how_known: str
    cells: dict[str, str]
    units: dict[str, str]
    note: str


class ModelShown(Frozen):
    """A model function that cites the source."""

    name: str
    locator: str
    summary: str


class SourceShown(Output):
    """One source with all that rests on it; misses first among the checks."""

    source: SourceLine
    rows: tuple[RowShown, ...]
    models: tuple[ModelShown, ...]
    checks: tuple[CheckResult, ...]


class EntryShown(Frozen):
    """A public quantity. Ranges are SI."""

    name: str
    domain: str
    label: str
    meaning: str
    symbol: str
    kind: str
    basis: str
    plausible: tuple[float, float] | None
    possible: tuple[float, float] | None
    source: str


class GlossaryShown(Output):
    """Every public quantity."""

    entries: tuple[EntryShown, ...]


def sources(context: Context, given: SourcesGiven) -> SourcesShown:
    """Every source, with how many rows, models and checks rest on it."""
    return SourcesShown(sources=tuple(_line(found) for found in registry().values()))


def source(context: Context, given: SourceGiven) -> SourceShown:
    """One source with its rows, the models that cite it, and its checks run now."""
    found = source_of(given.key)
    checks = [result(record, context.library) for record in records() if _key(record["cite"]) == found.key]
    checks.sort(key=lambda c: (c.passed, c.role != "known_miss", c.id))
    return SourceShown(
        source=_line(found),
        rows=tuple(_rows(found.key)),
        models=tuple(
            ModelShown(
                name=name, locator=_locator(cite), summary=(inspect.getdoc(function) or "").split("\n")[0]
            )
            for name, function in _models().items()
            for cite in cites(function)
            if _key(cite) == found.key
        ),
        checks=tuple(checks),
    )


def glossary(context: Context, given: GlossaryGiven) -> GlossaryShown:
    """Every public quantity: meaning, unit, ranges."""
    fields = EntryShown.model_fields
    return GlossaryShown(
        entries=tuple(
            EntryShown(**{name: getattr(entry, name) for name in fields})
            for entry in glossary_entries.entries().values()
        )
    )


def _summary(function: Callable[..., Any]) -> str:
    return (inspect.getdoc(function) or "").split("\n")[0]


def _key(cite: str) -> str:
    return cite.partition(",")[0].strip()


def _locator(cite: str) -> str:
    return cite.partition(",")[2].strip()


@cache
def _models() -> dict[str, Callable[..., Any]]:
    out: dict[str, Callable[..., Any]] = {}
    for info in pkgutil.iter_modules(saltfare.models.__path__):
        module = import_module(f"saltfare.models.{info.name}")
        for name, found in vars(module).items():
            if inspect.isfunction(found) and found.__module__ == module.__name__ and not name.startswith("_"):
                out[f"models.{info.name}.{name}"] = found
    return out


def _rows(key: str) -> Iterator[RowShown]:
    for name in tables.names():
        table = tables.load(name)
        for row in table:
            if row.text("source") == key:
                apart = ("id", "source", "locator", "how_known", "note")
                yield RowShown(
                    table=name,
                    title=str(table.sidecar["title"]),
                    id=row.printed["id"],
                    locator=row.text("locator"),
                    how_known=row.printed.get("how_known", ""),
                    cells={k: v for k, v in row.printed.items() if k not in apart and v != ""},
                    units=dict(table.sidecar.get("units", {})),
                    note=row.printed.get("note", ""),
                )


@cache
def _counts() -> dict[str, tuple[int, int, int, int]]:
    """Rows, models, checks and stated misses by source."""
    out: dict[str, list[int]] = {key: [0, 0, 0, 0] for key in registry()}
    for name in tables.names():
        for row in tables.load(name):
            out[row.text("source")][0] += 1
    for function in _models().values():
        for key in {_key(cite) for cite in cites(function)}:
            out[key][1] += 1
    for record in records():
        out[_key(record["cite"])][2] += 1
        out[_key(record["cite"])][3] += record["role"] == "known_miss"
    return {key: (a, b, c, d) for key, (a, b, c, d) in out.items()}


def _line(found: Source) -> SourceLine:
    rows, models, checks, misses = _counts()[found.key]
    return SourceLine(
        key=found.key,
        domain=found.domain,
        kind=found.kind,
        title=found.title,
        author=found.author,
        year=found.year,
        where=found.where,
        read=found.read,
        status=found.status,
        note=found.note,
        rows=rows,
        models=models,
        checks=checks,
        misses=misses,
    )
