"""The printed worked examples hold, and the runner can see them fail."""

from __future__ import annotations

from typing import Any

import pytest

from saltfare.actions.checks import records, result
from saltfare.core.library import Library

RECORDS = {f"{r['cite']}|{r['id']}": r for r in records()}


@pytest.mark.parametrize("key", RECORDS)
def test_printed_and_computed_agree(key: str) -> None:
    found = result(RECORDS[key], Library())
    assert found.passed, f"printed {found.printed}, computed {found.computed} {found.error}"


def test_ids_are_unique() -> None:
    assert len(RECORDS) == sum(1 for _ in records())


POUND: dict[str, Any] = {
    "id": "pound",
    "cite": "intl_yard_pound_1959, definition",
    "call": "core.units.factor",
    "given": {"kind": "mass", "unit": "lb"},
    "printed": "453.59237",
    "unit": "mass:g",
    "tol": {"abs": 1e-9, "why": "exact by definition"},
    "role": "independent",
}


@pytest.mark.parametrize(
    ("change", "passed"),
    [
        ({}, True),
        ({"printed": "453.6"}, False),
        ({"call": "core.units.no_such"}, False),
        ({"given": {"kind": "mass", "unit": "stone"}}, False),
        ({"role": "known_miss", "printed": "450", "miss": [3.0, 4.0]}, True),
        ({"role": "known_miss", "printed": "453", "miss": [3.0, 4.0]}, False),
        ({"role": "known_miss", "printed": "440", "miss": [3.0, 4.0]}, False),
    ],
)
def test_the_runner_passes_and_fails_as_it_should(change: dict[str, Any], passed: bool) -> None:
    assert result(POUND | change, Library()).passed is passed
