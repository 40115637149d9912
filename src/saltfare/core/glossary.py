"""Every public quantity, declared once: meaning, symbol, kind of unit, basis, ranges, source.

One TOML file per domain in data/glossary. Input fields, labels and range checks are made from it.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from saltfare.core.errors import NotFound
from saltfare.core.units import KINDS, parse

PLAIN_KINDS = frozenset({"text", "choice", "count", "ratio", "date", "instant", "flag", "money"})


@dataclass(frozen=True, slots=True)
class Entry:
    """One public quantity. Ranges are SI, inclusive, None where there is none.

    plausible: outside it an input is kept only with a written reason.
    possible: outside it an input is refused.
    basis: what a fraction is a fraction of ("green weight", "mass at hanging"), else "".
    """

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


@cache
def entries() -> Mapping[str, Entry]:
    """All entries by name. Raises ValueError for an entry out of form or declared twice."""
    found: dict[str, Entry] = {}
    for path in sorted((files("saltfare.data") / "glossary").iterdir(), key=lambda p: p.name):
        if not path.name.endswith(".toml"):
            continue
        for name, record in tomllib.loads(path.read_text("utf-8")).items():
            if name in found:
                raise ValueError(f"{name} is in the glossary twice")
            found[name] = _entry(name, path.name[:-5], record)
    return found


def entry(name: str) -> Entry:
    """The entry of that name. Raises NotFound."""
    try:
        return entries()[name]
    except KeyError:
        raise NotFound("glossary", name) from None


def _entry(name: str, domain: str, record: Mapping[str, Any]) -> Entry:
    kind = record["kind"]
    if kind not in KINDS and kind not in PLAIN_KINDS:
        raise ValueError(f"{name}: unknown kind {kind}")

    def span(key: str) -> tuple[float, float] | None:
        ends = record.get(key)
        if ends is None:
            return None
        low, high = (parse(e, kind) if isinstance(e, str) else float(e) for e in ends)
        if low > high:
            raise ValueError(f"{name}: {key} runs backwards")
        return low, high

    return Entry(
        name,
        domain,
        record["label"],
        record["meaning"],
        record.get("symbol", ""),
        kind,
        record.get("basis", ""),
        span("plausible"),
        span("possible"),
        record.get("source", ""),
    )
