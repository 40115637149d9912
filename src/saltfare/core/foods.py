"""The food composition table: one line of text a food, read whole, understood one food at a time.

Nearly nine thousand foods by forty columns would take seconds to turn into numbers; a dish needs a
dozen rows. The file is checked against its sidecar when it is first asked for, and a line becomes a
`Row` when its food is. A person's own foods are rows of the same columns, laid over by the library.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cache
from hashlib import sha256
from importlib.resources import files
from typing import Any

from saltfare.core.errors import BadTable, NotFound
from saltfare.core.library import Library
from saltfare.core.tables import Cell, Row, to_si

SOURCE = "usda_sr28"
TABLE = "foods"
_TEXT = ("id", "name", "group", "maker")


@dataclass(frozen=True, slots=True)
class Lines:
    """A table kept as text: the lines of each id in file order, its sidecar and its checksum."""

    name: str
    columns: tuple[str, ...]
    lines: Mapping[str, tuple[str, ...]]
    sidecar: Mapping[str, Any]
    checksum: str


def parse(name: str, text: str, sidecar: Mapping[str, Any]) -> Lines:
    """A tab-separated table from its text and sidecar. Raises BadTable where they disagree."""
    checksum = sha256(text.encode()).hexdigest()
    if sidecar["sha256"] != checksum:
        raise BadTable(f"{name}: checksum is {checksum}, sidecar says {sidecar['sha256']}")
    header, *body = text.removesuffix("\n").split("\n")
    if len(body) != sidecar["rows"]:
        raise BadTable(f"{name}: {len(body)} rows, sidecar says {sidecar['rows']}")
    columns = tuple(header.split("\t"))
    unknown = set(sidecar["units"]) - set(columns)
    if columns[0] != "id" or unknown:
        raise BadTable(f"{name}: columns {sorted(unknown)} of the sidecar are not in the table")
    grouped: dict[str, tuple[str, ...]] = {}
    for line in body:
        key = line[: line.index("\t")]
        grouped[key] = (*grouped.get(key, ()), line)
    return Lines(name, columns, grouped, sidecar, checksum)


@cache
def _lines(name: str) -> Lines:
    data = files("saltfare.data")
    sidecar = tomllib.loads((data / f"{name}.toml").read_text("utf-8"))
    return parse(name, (data / f"{name}.tsv").read_text("utf-8"), sidecar)


def checksum() -> str:
    """Changes when any figure of the food tables changes."""
    return sha256("".join(_lines(name).checksum for name in ("foods", "food_measures")).encode()).hexdigest()


def nutrients() -> tuple[str, ...]:
    """The columns that are amounts per kg of the edible part, in table order."""
    return tuple(_lines(TABLE).sidecar["numbers"])


def groups() -> Mapping[str, str]:
    """The food groups by their number of two digits."""
    found: Mapping[str, str] = _lines(TABLE).sidecar["groups"]
    return found


@dataclass(frozen=True, slots=True)
class Named:
    """A food as a search sees it. maker: whether it is one maker's product, its words left out."""

    id: str
    name: str
    group: str
    maker: bool


def names() -> Iterator[Named]:
    """Every food of the package, in table order."""
    for (line,) in _lines(TABLE).lines.values():
        food_id, name, group, maker, _ = line.split("\t", 4)
        yield Named(food_id, name, group, maker == "1")


@cache
def package_row(food_id: str) -> Row:
    """A food of the package. Raises NotFound, and BadTable for a cell that is no number."""
    table = _lines(TABLE)
    try:
        (line,) = table.lines[food_id]
    except KeyError:
        raise NotFound(TABLE, food_id) from None
    printed = dict(zip(table.columns, line.split("\t"), strict=True))
    ref = f"{TABLE}:{food_id}"
    cells: dict[str, Cell] = {
        column: _cell(ref, column, text, table.sidecar["units"]) for column, text in printed.items()
    }
    said = {"source": SOURCE, "locator": food_id, "how_known": "read", "note": ""}
    return Row(ref, {**cells, **said}, {**printed, **said})


def _cell(ref: str, column: str, text: str, units: Mapping[str, str]) -> Cell:
    if column in _TEXT:
        return text
    if text == "":
        return None
    try:
        return to_si(Fraction(text), units[column])
    except ValueError:
        raise BadTable(f"{ref}: {column} = {text!r} is no number") from None


def row(library: Library, food_id: str) -> Row:
    """A food: the person's own where there is one of that id, else the package's. Raises NotFound."""
    mine = library.own.get(TABLE, {}).get(food_id)
    return mine if mine is not None else package_row(food_id)


def own_row(
    *,
    food_id: str,
    name: str,
    group: str,
    per_kg: Mapping[str, float],
    source: str,
    locator: str,
    note: str = "",
) -> Row:
    """A person's own food in the columns of the table.

    Parameters
    ----------
    food_id, name, group : as people see it; group is one of `groups` or ""
    per_kg : amounts by nutrient per kg of the edible part [kg/kg; energy J/kg]; what is not there is missing
    source, locator : what is cited: the source key of own observations, and which label

    Returns
    -------
    the row

    Raises
    ------
    NotFound for a nutrient or group the table has not got; BadTable for a number that cannot be
    """
    unknown = set(per_kg) - set(nutrients())
    if unknown:
        raise NotFound("nutrient", ", ".join(sorted(unknown)))
    if group and group not in groups():
        raise NotFound("food group", group)
    for column, value in per_kg.items():
        if not math.isfinite(value) or value < 0:
            raise BadTable(f"{food_id}: {column} = {value}")
    cells: dict[str, Cell] = dict.fromkeys(_lines(TABLE).columns)
    cells.update({"id": food_id, "name": name, "group": group, "maker": ""})
    cells.update({column: float(value) for column, value in per_kg.items()})
    cells.update({"source": source, "locator": locator, "how_known": "read", "note": note})
    printed = {
        column: "" if cell is None else f"{cell:.12g}" if isinstance(cell, float) else cell
        for column, cell in cells.items()
    }
    return Row(f"{TABLE}:{food_id}", cells, printed)


@dataclass(frozen=True, slots=True)
class Measure:
    """A household measure of one food: its name and the mass of one. ref: where it stands."""

    name: str
    mass_kg: float
    ref: str = field(compare=False, default="")


@cache
def measures(food_id: str) -> tuple[Measure, ...]:
    """The household measures of a food, () where it has none; units of mass are left out."""
    table = _lines("food_measures")
    out: dict[str, Measure] = {}
    for line in table.lines.get(food_id, ()):
        cells = dict(zip(table.columns, line.split("\t"), strict=True))
        name = cells["measure"]
        amount = to_si(Fraction(cells["amount"]), table.sidecar["units"]["amount"])
        if name in ("oz", "lb") or amount <= 0:
            continue
        mass_kg = to_si(Fraction(cells["mass"]), table.sidecar["units"]["mass"]) / amount
        out.setdefault(name, Measure(name, mass_kg, f"food_measures:{food_id}"))
    return tuple(out.values())
