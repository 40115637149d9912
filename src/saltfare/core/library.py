"""Parameters: the package's rows with the person's own laid over them, in one schema.

Models take rows or numbers from here; they hold no physical parameter themselves.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from hashlib import sha256

from saltfare.core import tables
from saltfare.core.errors import NotFound
from saltfare.core.tables import Row


@dataclass(frozen=True, slots=True)
class Library:
    """Rows by table. `own` holds the person's rows by table and id; they win over the package's."""

    own: Mapping[str, Mapping[str, Row]] = field(default_factory=dict)

    def row(self, table: str, row_id: str) -> Row:
        """One row. Raises NotFound."""
        mine = self.own.get(table, {}).get(row_id)
        return mine if mine is not None else tables.load(table).row(row_id)

    def rows(self, table: str) -> Iterable[Row]:
        """All rows of a table, the package's first, each replaced by the person's of the same id."""
        mine = self.own.get(table, {})
        try:
            package = tables.load(table).rows
        except NotFound:
            if not mine:
                raise
            package = {}
        return tuple({**package, **mine}.values())

    @property
    def version(self) -> str:
        """Changes when any figure changes: part of every cache key."""
        digest = sha256(tables.edition().encode())
        for table, rows in sorted(self.own.items()):
            for row_id, row in sorted(rows.items()):
                digest.update(repr((table, row_id, sorted(row.printed.items()))).encode())
        return digest.hexdigest()[:16]
