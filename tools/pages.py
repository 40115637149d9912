"""Sets the figures and the outside checks of each method at the end of its page in docs/.

    python tools/pages.py            write them
    python tools/pages.py --check    exit 1 where a page is not as it would be written

What stands between the two marks is made from the tables and checks of the package; the rest of a page
is written by hand. The test of the docs runs the same with `--check`.
"""

from __future__ import annotations

import sys
import tomllib
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from saltfare.actions.checks import CheckResult, records, result
from saltfare.core import sources, tables
from saltfare.core.library import Library

ROOT = Path(__file__).parent.parent
BEGIN = "<!-- made by tools/pages.py from the tables and checks of the package -->"
END = "<!-- end of what is made -->"
_LISTED = 30
"""Tables longer than this are counted by source; their rows stand in the file named."""


def plan() -> Mapping[str, Mapping[str, Sequence[str]]]:
    """Page -> its modules and tables."""
    return tomllib.loads((ROOT / "tools" / "pages.toml").read_text("utf-8"))


def results() -> tuple[CheckResult, ...]:
    """Every printed example, run."""
    library = Library()
    return tuple(result(record, library) for record in records())


def made(told: Mapping[str, Sequence[str]], ran: Sequence[CheckResult]) -> str:
    """The made part of one page."""
    lines = [BEGIN, "", "## Figures it rests on", ""]
    lines += [line for name in told["tables"] for line in _table(name)]
    if not told["tables"]:
        lines += ["None of its own: what it takes is typed or comes from the other pages.", ""]
    own = [one for one in ran if one.call.rpartition(".")[0] in told["modules"]]
    lines += ["## Printed examples, run", ""]
    lines += list(_checks(own)) if own else ["No printed example ships for it; its tests name theirs.", ""]
    return "\n".join([*lines, END, ""])


def _table(name: str) -> Iterator[str]:
    found = _sidecar(name)
    yield f"**{found['title']}**: `data/{name}`, {found['rows']} rows."
    if found.get("note"):
        yield f" {found['note']}"
    yield ""
    if name not in tables.names():
        return
    rows = list(tables.load(name))
    known = Counter(row.printed.get("how_known", "") for row in rows)
    used = Counter(row.printed.get("source", "") for row in rows if row.printed.get("source"))
    if len(rows) > _LISTED:
        said = ", ".join(f"`{key}` {count}" for key, count in used.most_common())
        yield f"Sources: {said}. How known: {_counts(known)}."
        yield ""
        return
    units = found.get("units", {})
    columns = [c for c in rows[0].printed if c in units]
    yield "| row | figures as printed | source | how known |"
    yield "|---|---|---|---|"
    for row in rows:
        cells = [f"{c} {row.printed[c]}{_unit(units[c])}" for c in columns if row.printed[c]]
        source = row.printed.get("source", "")
        where = f"`{source}` {row.printed.get('locator', '')}" if source else ""
        known_by = row.printed.get("how_known", "")
        yield f"| {row.printed['id']} | {_cell('; '.join(cells))} | {_cell(where)} | {known_by} |"
    yield ""


def _unit(unit: str) -> str:
    name = unit.partition(":")[2]
    if name:
        return "" if name == "1" else f" {name}"
    return "" if unit == "1" else f" (× {unit} SI)"


def _sidecar(name: str) -> Mapping[str, object]:
    path = ROOT / "src" / "saltfare" / "data" / f"{name}.toml"
    return tomllib.loads(path.read_text("utf-8"))


def _counts(counted: Counter[str]) -> str:
    return ", ".join(f"{name or 'as its source'} {count}" for name, count in counted.most_common())


def _checks(own: Sequence[CheckResult]) -> Iterator[str]:
    roles = Counter(one.role for one in own)
    failed = sum(not one.passed for one in own)
    yield (
        f"{len(own)} in all: {roles['independent']} independent, {roles['fitted']} used in choosing a "
        f"figure, {roles['known_miss']} known misses; {failed} fail."
    )
    yield ""
    by_source: dict[str, list[CheckResult]] = {}
    for one in own:
        by_source.setdefault(one.cite.partition(",")[0], []).append(one)
    yield "| source | examples | largest difference | role |"
    yield "|---|---|---|---|"
    for key, group in sorted(by_source.items()):
        worst = max(group, key=_away)
        there = "" if key not in sources.registry() else f" ({sources.registry()[key].year})"
        roles = Counter(one.role for one in group)
        said = ", ".join(f"{role.replace('_', ' ')} {count}" for role, count in sorted(roles.items()))
        yield f"| `{key}`{there} | {len(group)} | {_beside(worst)} | {said} |"
    yield ""


def _away(one: CheckResult) -> float:
    if one.computed is None:
        return float("inf")
    printed = float(one.printed)
    return abs(one.computed - printed) / (abs(printed) or 1.0)


def _beside(one: CheckResult) -> str:
    computed = "nothing" if one.computed is None else f"{one.computed:.5g}"
    unit = "" if one.unit in ("1", "") else f" {one.unit}"
    return _cell(f"{one.id}: {one.printed} printed, {computed}{unit} computed")


def _cell(text: str) -> str:
    return text.replace("|", "\\|").replace("\n", " ").strip()


def page(name: str, told: Mapping[str, Sequence[str]], ran: Sequence[CheckResult]) -> str:
    """A page with its made part as it should be."""
    text = (ROOT / "docs" / f"{name}.md").read_text("utf-8")
    hand = text.partition(BEGIN)[0].rstrip() + "\n\n"
    return hand + made(told, ran)


def main() -> int:
    """Write or compare every page."""
    ran, stale = results(), []
    for name, told in plan().items():
        path = ROOT / "docs" / f"{name}.md"
        wanted = page(name, told, ran)
        if path.read_text("utf-8") != wanted:
            stale.append(name)
            if "--check" not in sys.argv:
                path.write_text(wanted, "utf-8")
    if "--check" in sys.argv and stale:
        print("not as made: " + ", ".join(stale) + "; run python tools/pages.py")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
