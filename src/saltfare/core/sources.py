"""The registry of what is cited: a closed list, one file per domain.

A key that is not registered cannot be cited, and a registered key that nothing cites fails a test.
Model functions name their sources in the `Source` section of the docstring, a line each:
`key, locator`; a table row names its own in the columns `source` and `locator`.
"""

from __future__ import annotations

import inspect
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from saltfare.core.errors import NotFound


@dataclass(frozen=True, slots=True)
class Source:
    """One citable text.

    kind: regulation, guidance, standard, paper, book, dataset, practice (of the trade) or own
    (chosen or derived by this project, said to be so).
    read: how the figure was seen: "primary", "quoted", "reproduced" (table by a third party),
    "abstract", "memory", "none" (for own and practice).
    """

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


KINDS = frozenset({"regulation", "guidance", "standard", "paper", "book", "dataset", "practice", "own"})
READ = frozenset({"primary", "quoted", "reproduced", "abstract", "memory", "none"})


@cache
def registry() -> Mapping[str, Source]:
    """Every source by key. Raises ValueError for a record out of form."""
    found: dict[str, Source] = {}
    for path in sorted((files("saltfare.data") / "sources").iterdir(), key=lambda p: p.name):
        if not path.name.endswith(".toml"):
            continue
        for key, record in tomllib.loads(path.read_text("utf-8")).items():
            if key in found:
                raise ValueError(f"source {key} is registered twice")
            found[key] = _source(key, path.name[:-5], record)
    return found


def _source(key: str, domain: str, record: Mapping[str, Any]) -> Source:
    if record["kind"] not in KINDS or record["read"] not in READ:
        raise ValueError(f"source {key}: kind {record['kind']}, read {record['read']}")
    return Source(
        key,
        domain,
        record["kind"],
        record["title"],
        record.get("author", ""),
        str(record.get("year", "")),
        record.get("where", ""),
        record["read"],
        record.get("status", "in force"),
        record.get("note", ""),
    )


def source(key: str) -> Source:
    """The source of that key. Raises NotFound."""
    try:
        return registry()[key]
    except KeyError:
        raise NotFound("source", key) from None


@cache
def cites(function: Callable[..., Any]) -> tuple[str, ...]:
    """The lines of the docstring's Source section: "key, locator" each. Raises NotFound for a key
    that is not registered."""
    lines = inspect.getdoc(function) or ""
    _, _, section = lines.partition("\nSource\n------\n")
    out = []
    for line in section.splitlines():
        if not line.strip():
            break
        source(line.partition(",")[0].strip())
        out.append(line.strip())
    return tuple(out)
