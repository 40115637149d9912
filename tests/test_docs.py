"""The documentation is as the package is: made parts are current, links and file names lead somewhere."""

from __future__ import annotations

import re
import runpy
from pathlib import Path

import pytest

from saltfare.actions.registry import ACTIONS
from saltfare.core import tables

ROOT = Path(__file__).parent.parent
PAGES = sorted((ROOT / "docs").glob("*.md"))
TOLD = [*PAGES, ROOT / "README.md", ROOT / "CONTRIBUTING.md"]


def test_what_is_made_from_tables_and_checks_is_current():
    tool = runpy.run_path(str(ROOT / "tools" / "pages.py"))
    ran = tool["results"]()
    stale = [
        name
        for name, told in tool["plan"]().items()
        if (ROOT / "docs" / f"{name}.md").read_text("utf-8") != tool["page"](name, told, ran)
    ]
    assert not stale, "run python tools/pages.py"


def test_every_table_has_a_page():
    tool = runpy.run_path(str(ROOT / "tools" / "pages.py"))
    told = {name for page in tool["plan"]().values() for name in page["tables"]}
    assert set(tables.names()) - told == {"calibration"}  # the study has a page of its own


@pytest.mark.parametrize("path", TOLD, ids=lambda path: path.name)
def test_files_it_names_are_there(path):
    text = path.read_text("utf-8")
    for link in re.findall(r"\]\((?!http)([^)#]+)\)", text):
        assert (path.parent / link).exists(), link
    for name in re.findall(r"`((?:docs|tests|tools|benchmarks|src|data|models|plans)/[\w./*-]+)`", text):
        places = [ROOT, ROOT / "src" / "saltfare"]
        assert any(list(place.glob(name)) or list(place.glob(f"{name}.*")) for place in places), name


def test_the_readme_names_actions_that_exist():
    known = {action.name for action in ACTIONS}
    for name in re.findall(r"saltfare (?:schema|do) (\w+)", (ROOT / "README.md").read_text("utf-8")):
        assert name in known


def test_the_version_is_one():
    import tomllib

    import saltfare

    told = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["version"]
    assert told == saltfare.__version__
