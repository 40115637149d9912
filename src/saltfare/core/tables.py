"""Published figures as data: one CSV a table, one TOML sidecar a CSV.

A figure is typed as printed, in printed units, and converted on load, so that a reading can be
compared with the page. The sidecar holds title, unit per column, range per column, the readings
made, row count and checksum of the CSV; a table that disagrees with it does not load.
"""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from hashlib import sha256
from importlib.resources import files
from io import StringIO
from typing import Any

from saltfare.core.errors import BadTable, NotFound
from saltfare.core.units import UNITS

Cell = float | str | None


@dataclass(frozen=True, slots=True)
class Row:
    """One row: SI floats where the sidecar gives a unit, text elsewhere, None where nothing is printed.

    ref: "table:id", what a trace cites. printed: the cells as typed.
    """

    ref: str
    cells: Mapping[str, Cell]
    printed: Mapping[str, str]

    def number(self, column: str) -> float:
        """The SI value of a cell that must hold a number. Raises BadTable where it does not."""
        value = self.cells.get(column)
        if not isinstance(value, float):
            raise BadTable(f"{self.ref}: {column} holds no number")
        return value

    def number_or_none(self, column: str) -> float | None:
        """The SI value of a cell, None where nothing is printed."""
        value = self.cells.get(column)
        return value if isinstance(value, float) else None

    def text(self, column: str) -> str:
        """A text cell, "" where nothing is printed. Raises BadTable for an unknown column."""
        if column not in self.cells:
            raise BadTable(f"{self.ref}: no column {column}")
        value = self.cells[column]
        return "" if value is None else str(value)

    @property
    def cite(self) -> str:
        """Source key and locator, as sources are cited everywhere."""
        return f"{self.text('source')}, {self.text('locator')}"


@dataclass(frozen=True, slots=True)
class Table:
    """A loaded table: rows by id in file order, and its sidecar."""

    name: str
    rows: Mapping[str, Row]
    sidecar: Mapping[str, Any]
    checksum: str

    def __iter__(self) -> Iterator[Row]:
        """Rows in file order."""
        return iter(self.rows.values())

    def row(self, row_id: str) -> Row:
        """The row of that id. Raises NotFound."""
        try:
            return self.rows[row_id]
        except KeyError:
            raise NotFound(self.name, row_id) from None


def names() -> tuple[str, ...]:
    """Every table shipped with the package."""
    data = files("saltfare.data")
    return tuple(sorted(p.name[:-4] for p in data.iterdir() if p.name.endswith(".csv")))


@cache
def edition() -> str:
    """Changes when any figure shipped with the package changes, whatever form its table has."""
    data = files("saltfare.data")
    sidecars = sorted((p for p in data.iterdir() if p.name.endswith(".toml")), key=lambda p: p.name)
    sums = [(p.name, tomllib.loads(p.read_text("utf-8"))["sha256"]) for p in sidecars]
    return sha256(repr(sums).encode()).hexdigest()


@cache
def load(name: str) -> Table:
    """The package table `name`, checked against its sidecar.

    Raises NotFound, BadTable.
    """
    data = files("saltfare.data")
    body = data / f"{name}.csv"
    if not body.is_file():
        raise NotFound("table", name)
    return parse(name, body.read_text("utf-8"), tomllib.loads((data / f"{name}.toml").read_text("utf-8")))


def parse(name: str, text: str, sidecar: Mapping[str, Any]) -> Table:
    """A table from its text and sidecar. Raises BadTable naming row and column."""
    checksum = sha256(text.encode()).hexdigest()
    if sidecar["sha256"] != checksum:
        raise BadTable(f"{name}: checksum is {checksum}, sidecar says {sidecar['sha256']}")
    units: Mapping[str, str] = sidecar.get("units", {})
    valid: Mapping[str, list[float]] = sidecar.get("valid", {})
    rows: dict[str, Row] = {}
    for printed in csv.DictReader(StringIO(text), strict=True):
        row_id = printed["id"]
        if row_id in rows:
            raise BadTable(f"{name}: two rows {row_id!r}")
        if None in printed or None in printed.values():
            raise BadTable(f"{name}: row {row_id!r} has the wrong number of cells")
        cells: dict[str, Cell] = {
            column: _cell(f"{name}:{row_id}", column, cell, units.get(column), valid.get(column))
            for column, cell in printed.items()
        }
        rows[row_id] = Row(f"{name}:{row_id}", cells, printed)
    if len(rows) != sidecar["rows"]:
        raise BadTable(f"{name}: {len(rows)} rows, sidecar says {sidecar['rows']}")
    return Table(name, rows, sidecar, checksum)


def _cell(ref: str, column: str, cell: str, unit: str | None, valid: list[float] | None) -> Cell:
    if cell == "":
        return None
    if unit is None:
        return cell
    try:
        printed = Fraction(cell)
    except ValueError:
        raise BadTable(f"{ref}: {column} = {cell!r} is no number") from None
    if valid and not valid[0] <= printed <= valid[1]:
        raise BadTable(f"{ref}: {column} = {cell} outside {valid}")
    return to_si(printed, unit)


def to_si(value: Fraction | float, unit: str) -> float:
    """A printed number in SI, exact until the last rounding. `unit` is "kind:unit" of core.units, or a plain
    factor such as "1", "1e-11" (for units of one paper, named in the sidecar's note).

    Raises BadTable for a unit that is not known.
    """
    kind, _, name = unit.partition(":")
    if not name:
        return float(Fraction(value) * Fraction(unit))
    try:
        found = UNITS[kind][name]
    except KeyError:
        raise BadTable(f"unknown unit {unit!r}") from None
    return float((Fraction(value) + found.offset) * found.factor)
