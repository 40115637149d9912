"""The printed worked examples that ship with the package, run live.

data/checks holds what was printed and nothing of our own output; each check says its role:
independent, fitted (used in choosing a parameter, so not counted as outside), or known_miss
(fails if the miss leaves the band it is stated to lie in, either way).
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator, Mapping
from importlib import import_module
from importlib.resources import files
from typing import Any, Literal, get_type_hints

from saltfare.actions.context import Context
from saltfare.actions.shapes import Output, Query
from saltfare.core.fields import Frozen
from saltfare.core.library import Library
from saltfare.core.tables import to_si

Role = Literal["independent", "fitted", "known_miss"]


class ChecksGiven(Query):
    """source: only the checks of that source key."""

    source: str | None = None


class CheckResult(Frozen):
    """One printed example beside what is computed, both in the printed unit."""

    id: str
    cite: str
    call: str
    printed: str
    unit: str
    computed: float | None
    tolerance: str
    role: Role
    passed: bool
    error: str = ""


class ChecksFound(Output):
    """All checks, misses and failures first."""

    checks: tuple[CheckResult, ...]
    failed: int
    independent: int
    fitted: int
    known_misses: int


def checks(context: Context, given: ChecksGiven) -> ChecksFound:
    """Run the printed worked examples and set printed beside computed."""
    found = [result(record, context.library) for record in records(given.source)]
    found.sort(key=lambda r: (r.passed, r.role != "known_miss", r.role != "fitted", r.cite, r.id))
    return ChecksFound(
        checks=tuple(found),
        failed=sum(not r.passed for r in found),
        independent=sum(r.role == "independent" for r in found),
        fitted=sum(r.role == "fitted" for r in found),
        known_misses=sum(r.role == "known_miss" for r in found),
    )


def records(source: str | None = None) -> Iterator[Mapping[str, Any]]:
    """The check records as shipped, of one source or all."""
    for path in sorted((files("saltfare.data") / "checks").iterdir(), key=lambda p: p.name):
        if path.name.endswith(".toml") and source in (None, path.name[:-5]):
            yield from tomllib.loads(path.read_text("utf-8"))["check"]


def result(record: Mapping[str, Any], library: Library) -> CheckResult:
    """One record evaluated. A call that raises is a failed check that says what it raised."""
    printed, unit = float(record["printed"]), record["unit"]
    tolerance = record["tol"]
    computed: float | None = None
    error = ""
    try:
        computed = _in_printed_unit(_called(record, library), unit)
    except Exception as raised:
        error = f"{type(raised).__name__}: {raised}"
    if "abs" in tolerance:
        allowed, said = float(tolerance["abs"]), f"{tolerance['abs']:g}"
    else:
        allowed, said = float(tolerance["rel"]) * abs(printed), f"{tolerance['rel']:g} of printed"
    low, high = (-allowed, allowed)
    if record["role"] == "known_miss":
        low, high = record["miss"]
        said = f"misses by {low:g} to {high:g}"
    passed = computed is not None and math.isfinite(computed) and low <= computed - printed <= high
    return CheckResult(
        id=record["id"],
        cite=record["cite"],
        call=record["call"],
        printed=record["printed"],
        unit=unit.partition(":")[2] or unit,
        computed=computed,
        tolerance=said,
        role=record["role"],
        passed=passed,
        error=error,
    )


def _called(record: Mapping[str, Any], library: Library) -> float:
    module, _, name = record["call"].rpartition(".")
    function = getattr(import_module(f"saltfare.{module}"), name)
    hints = get_type_hints(function)
    arguments = {key: _argument(value, hints.get(key), library) for key, value in record["given"].items()}
    value = function(**arguments)
    for step in filter(None, str(record.get("pick", "")).split(".")):
        value = value[int(step)] if step.lstrip("-").isdigit() else getattr(value, step)
    return float(value)


def _argument(value: Any, hint: Any, library: Library) -> Any:
    if isinstance(value, Mapping) and set(value) == {"row"}:
        table, _, row_id = value["row"].partition(":")
        return hint.from_row(library.row(table, row_id))
    return value


def _in_printed_unit(value: float, unit: str) -> float:
    zero, one = to_si(0.0, unit), to_si(1.0, unit)
    return (value - zero) / (one - zero)
