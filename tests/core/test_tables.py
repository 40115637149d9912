"""A table that disagrees with its sidecar does not load."""

from __future__ import annotations

from fractions import Fraction
from hashlib import sha256

import pytest

from saltfare.core import tables
from saltfare.core.errors import BadTable, NotFound
from saltfare.core.tables import parse, to_si

CSV = "id,t,d,source,locator,note\nfirst,130,1.5,key,table 1,\nsecond,125,,key,table 1,as printed\n"


def sidecar(text: str = CSV, **changes: object) -> dict[str, object]:
    made: dict[str, object] = {
        "sha256": sha256(text.encode()).hexdigest(),
        "rows": 2,
        "units": {"t": "temperature:F", "d": "time:d"},
        "valid": {"t": [100, 200]},
    }
    return made | changes


def test_cells_are_si_and_printed_text_survives() -> None:
    table = parse("x", CSV, sidecar())
    row = table.row("first")
    assert row.number("t") == pytest.approx(54.4444444, abs=1e-6)
    assert row.number("d") == 129600.0
    assert row.printed["d"] == "1.5"
    assert row.cite == "key, table 1"
    assert table.row("second").number_or_none("d") is None


@pytest.mark.parametrize(
    ("text", "changes"),
    [
        (CSV, {"sha256": "0" * 64}),
        (CSV, {"rows": 3}),
        (CSV.replace("130", "13O"), {}),
        (CSV.replace("130", "300"), {}),
        (CSV.replace("130", "nan"), {}),
        (CSV.replace("second", "first"), {}),
        (CSV.replace(",as printed", ",as,printed"), {}),
        (CSV, {"units": {"t": "temperature:fortnight"}}),
    ],
)
def test_disagreement_is_refused(text: str, changes: dict[str, object]) -> None:
    with pytest.raises(BadTable):
        parse("x", text, sidecar(text) | changes)


def test_missing_is_not_zero() -> None:
    with pytest.raises(BadTable):
        parse("x", CSV, sidecar()).row("second").number("d")


def test_unknown_row_is_not_found() -> None:
    with pytest.raises(NotFound):
        parse("x", CSV, sidecar()).row("third")


def test_a_plain_factor_scales() -> None:
    assert to_si(Fraction("5.0"), "1e-11") == 5e-11


@pytest.mark.parametrize("name", tables.names())
def test_every_shipped_table_loads_and_says_where_each_row_is_from(name: str) -> None:
    from saltfare.core.sources import source

    for row in tables.load(name):
        assert source(row.text("source")).key
        assert row.text("locator") or source(row.text("source")).kind in ("practice", "own")
