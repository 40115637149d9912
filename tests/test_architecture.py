"""The house's arrows, walked over the imports.

core <- models <- plans <- actions <- faces, and core <- journal <- actions; jobs stands beside the
journal. data is read through core and faces.words only.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import saltfare

ROOT = Path(saltfare.__file__).parent
MODULES = sorted(p for p in ROOT.rglob("*.py"))
MAY_IMPORT = {
    "core": {"core"},
    "data": set[str](),
    "models": {"core", "models"},
    "plans": {"core", "models", "plans"},
    "journal": {"core", "journal"},
    "jobs": {"core", "journal", "jobs"},
    "actions": {"core", "models", "plans", "journal", "jobs", "actions"},
    # faces speak of quantities and errors, so core is theirs too; models, plans and journal are not
    "faces": {"core", "actions", "faces", "jobs"},
}
# the one place that opens a journal and a library for the actions
OPENING = {"faces.opening": {"journal"}, "faces.demo": {"journal"}}
PURE = ("core", "models", "plans")
IMPURE = {"time", "random", "os", "pathlib", "socket", "subprocess", "secrets", "logging", "sqlite3"}


def name_of(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


def imports(path: Path) -> Iterator[tuple[str, bool]]:
    """Dotted names imported, and whether only for types."""
    tree = ast.parse(path.read_text("utf-8"))
    typing_only = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"
        for inner in ast.walk(node)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((alias.name, id(node) in typing_only) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            assert all(alias.name != "*" for alias in node.names), f"{path}: wildcard import"
            for alias in node.names:
                yield f"{node.module}.{alias.name}", id(node) in typing_only


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_arrows_point_one_way(path: Path) -> None:
    name = name_of(path)
    room = name.split(".")[0]
    if room in ("saltfare", "__init__", "__main__", ".", ""):
        return
    allowed = MAY_IMPORT[room] | OPENING.get(name, set())
    for imported, _ in imports(path):
        if imported.startswith("saltfare."):
            other = imported.split(".")[1]
            assert other in allowed or other == "__version__", f"{name} imports {imported}"


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_only_the_journal_knows_the_database(path: Path) -> None:
    name = name_of(path)
    for imported, _ in imports(path):
        if imported.split(".")[0] in ("sqlalchemy", "sqlite3"):
            assert name.startswith("journal"), f"{name} imports {imported}"


@pytest.mark.parametrize("path", [p for p in MODULES if name_of(p).split(".")[0] in PURE], ids=name_of)
def test_the_pure_rooms_touch_no_clock_and_no_disk(path: Path) -> None:
    text = path.read_text("utf-8")
    for imported, typing in imports(path):
        assert typing or imported.split(".")[0] not in IMPURE, f"{name_of(path)} imports {imported}"
    tree = ast.parse(text)
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and node.attr in ("now", "today", "utcnow"):
            owner = ast.unparse(node.value)
            assert owner not in ("datetime", "date", "datetime.datetime"), f"{name_of(path)} reads a clock"
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            assert node.func.id not in ("print", "open", "input"), f"{name_of(path)} calls {node.func.id}"


def test_no_cycles() -> None:
    graph: dict[str, set[str]] = {}
    names = {name_of(p) for p in MODULES}
    for path in MODULES:
        edges = set()
        for imported, typing in imports(path):
            if typing or not imported.startswith("saltfare."):
                continue
            target = imported.removeprefix("saltfare.")
            while target and target not in names:
                target = target.rpartition(".")[0]
            if target and target != name_of(path):
                edges.add(target)
        graph[name_of(path)] = edges
    done: set[str] = set()

    def visit(node: str, trail: tuple[str, ...]) -> None:
        assert node not in trail, " -> ".join((*trail, node))
        if node in done:
            return
        for edge in sorted(graph.get(node, ())):
            visit(edge, (*trail, node))
        done.add(node)

    for node in sorted(graph):
        visit(node, ())


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_files_stay_small_enough_to_know(path: Path) -> None:
    assert len(path.read_text("utf-8").splitlines()) <= 520


def test_modules_are_nouns() -> None:
    assert not {p.stem for p in MODULES} & {"utils", "util", "helpers", "misc", "manager", "common"}
