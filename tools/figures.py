"""Makes docs/figures.md anew: outside checks, benchmarks with their ratios, how the forecasts held.

    python tools/figures.py                everything; some minutes
    python tools/figures.py --no-benchmarks   keeps the benchmarks as they stand

The calibration study is a command of its own (`benchmarks/calibration.py --write`); its tables are read.
"""

from __future__ import annotations

import ast
import os
import platform
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from saltfare.actions.checks import CheckResult, records, result
from saltfare.core import sources, tables
from saltfare.core.library import Library

ROOT = Path(__file__).parent.parent
PAGE = ROOT / "docs" / "figures.md"
BENCHMARKS = ("start", "food_search", "hanging", "published_sets", "weigh_in", "menu", "back_plan")
MARK = "## Benchmarks"
# general-purpose libraries the tests hold results against
PEERS = {
    "CoolProp": "humid air, water, boiling point",
    "phreeqpython": "brines: density and water activity",
    "psychrolib": "humid air",
    "fipy": "conduction and diffusion",
    "pint": "units",
    "chemicals": "heats of combustion",
    "ortools": "menus by another solver",
    "emcee": "the posterior by sampling",
    "distributed": "the study over a cluster",
    "scipy": "special functions, integration, statistics",
    "networkx": "the schedule as a graph",
    "icalendar": "the calendar read back",
    "zxingcpp": "codes read back from the printed page",
    "pypdfium2": "printed pages read back",
    "schemathesis": "the API against its own description",
}


def checks() -> Iterator[str]:
    """Every printed example, counted by source."""
    library = Library()
    ran = [result(record, library) for record in records()]
    roles = Counter(one.role for one in ran)
    failed = sum(not one.passed for one in ran)
    yield "## Printed examples"
    yield ""
    yield (
        f"{len(ran)} printed values from {len({_key(one) for one in ran})} sources, run live: "
        f"{roles['independent']} independent, {roles['fitted']} used in choosing a figure (not counted as "
        f"outside), {roles['known_miss']} known misses; {failed} fail. A known miss fails if it leaves the "
        "band it is said to lie in."
    )
    yield ""
    yield "| source | independent | chose a figure | known misses | fail |"
    yield "|---|---|---|---|---|"
    by: dict[str, list[CheckResult]] = {}
    for one in ran:
        by.setdefault(_key(one), []).append(one)
    for key, group in sorted(by.items()):
        there = sources.registry().get(key)
        named = ", ".join(part for part in (there.author, str(there.year or "")) if part) if there else key
        name = (f"{named}: " if named else "") + (there.title if there else "")
        count = Counter(one.role for one in group)
        bad = sum(not one.passed for one in group)
        cells = " | ".join(
            str(n or "") for n in (count["independent"], count["fitted"], count["known_miss"], bad)
        )
        yield f"| {name.replace('|', '/')} | {cells} |"
    yield ""


def _key(one: CheckResult) -> str:
    return one.cite.partition(",")[0]


def peers() -> Iterator[str]:
    """Which tests import a general-purpose library to hold a result against."""
    used: dict[str, set[str]] = {}
    for path in sorted((ROOT / "tests").rglob("test_*.py")):
        tree = ast.parse(path.read_text("utf-8"))
        for node in ast.walk(tree):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            if isinstance(node, ast.Call) and ast.unparse(node.func).endswith("importorskip"):
                names += [a.value for a in node.args if isinstance(a, ast.Constant)]
            for name in names:
                used.setdefault(str(name).partition(".")[0], set()).add(
                    path.relative_to(ROOT / "tests").as_posix()
                )
    yield "## General-purpose libraries the tests compare with"
    yield ""
    yield "| library | on what | in |"
    yield "|---|---|---|"
    for name, what in PEERS.items():
        if name in used:
            where = sorted(used[name])
            said = ", ".join(where[:4]) + (f" and {len(where) - 4} more" if len(where) > 4 else "")
            yield f"| {name} | {what} | {said} |"
    yield ""


def held() -> Iterator[str]:
    """The tables of the calibration study, as it was last run."""
    yield "## How the forecasts of invented pieces held"
    yield ""
    rows = list(tables.load("calibration"))
    columns = [c for c in rows[0].printed if c not in ("source", "locator", "how_known", "note")]
    yield "From `data/calibration.csv`; what the columns mean, and the rest, is in `calibration.md`."
    yield ""
    yield "| " + " | ".join(c.replace("_", " ") for c in columns) + " |"
    yield "|" + "---|" * len(columns)
    for row in rows:
        yield "| " + " | ".join(row.printed[c] for c in columns) + " |"
    yield ""


def benchmarks() -> Iterator[str]:
    """Each benchmark beside its peer in the same run. What counts are the ratios."""
    yield MARK
    yield ""
    yield (
        f"{os.cpu_count()} cores, Python {platform.python_version()}. Seconds are of one machine; "
        "the ratios are what to compare."
    )
    yield ""
    for name in BENCHMARKS:
        path = ROOT / "benchmarks" / f"{name}.py"
        if not path.exists():
            continue
        # our own files only
        ran = subprocess.run([sys.executable, str(path)], capture_output=True, text=True, check=False)  # noqa: S603
        said = ran.stdout.strip() or ran.stderr.strip()[-400:]
        yield f"### {name}"
        yield ""
        yield "```"
        yield said
        yield "```"
        yield ""
        if ran.returncode:
            yield f"It ended with {ran.returncode}."
            yield ""


def main() -> None:
    """Write the page."""
    before = PAGE.read_text("utf-8") if PAGE.exists() else ""
    lines = ["# Figures", "", "Made by `tools/figures.py`.", "", *checks(), *peers(), *held()]
    text = "\n".join(lines) + "\n"
    if "--no-benchmarks" in sys.argv:
        text += MARK + before.partition(MARK)[2] if MARK in before else ""
    else:
        text += "\n".join(benchmarks())
    PAGE.write_text(text.rstrip() + "\n", "utf-8")


if __name__ == "__main__":
    main()
