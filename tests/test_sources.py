"""Everything cited is registered, everything registered is cited, every model names its source."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

import saltfare
from saltfare.actions.checks import records
from saltfare.core import glossary, sources, tables

ROOT = Path(saltfare.__file__).parent


def public_functions(package: str) -> Iterator[tuple[str, Callable[..., Any]]]:
    root = importlib.import_module(f"saltfare.{package}")
    for info in pkgutil.iter_modules(root.__path__):
        module = importlib.import_module(f"saltfare.{package}.{info.name}")
        for name, found in vars(module).items():
            if inspect.isfunction(found) and found.__module__ == module.__name__ and not name.startswith("_"):
                yield f"{package}.{info.name}.{name}", found


MODELS = dict(public_functions("models"))


@pytest.mark.parametrize("name", MODELS)
def test_every_model_function_names_a_registered_source(name: str) -> None:
    assert sources.cites(MODELS[name]), f"{name} has no Source section"


@pytest.mark.parametrize("name", MODELS)
def test_model_arguments_are_keyword_only_and_have_no_physical_default(name: str) -> None:
    for parameter in inspect.signature(MODELS[name]).parameters.values():
        assert parameter.kind is parameter.KEYWORD_ONLY, f"{name}({parameter.name})"
        assert not isinstance(parameter.default, float), f"{name}({parameter.name}={parameter.default})"


@pytest.mark.parametrize("name", MODELS)
def test_every_argument_is_told_in_the_docstring(name: str) -> None:
    doc = inspect.getdoc(MODELS[name]) or ""
    for parameter in inspect.signature(MODELS[name]).parameters:
        assert re.search(rf"\b{re.escape(parameter)}\b", doc), f"{name}: {parameter} is not in the docstring"


def test_every_registered_source_is_used() -> None:
    used = {row.text("source") for name in tables.names() for row in tables.load(name)}
    used |= {cite.partition(",")[0] for function in MODELS.values() for cite in sources.cites(function)}
    used |= {str(record["cite"]).partition(",")[0] for record in records()}
    used |= {entry.source for entry in glossary.entries().values()}
    for path in ROOT.rglob("*.py"):
        text = path.read_text("utf-8")
        used |= {key for key in sources.registry() if re.search(rf"\b{key}\b", text)}
    assert set(sources.registry()) - used == set()


def test_every_check_cites_a_registered_source() -> None:
    for record in records():
        assert sources.source(str(record["cite"]).partition(",")[0])


def test_every_glossary_source_is_registered() -> None:
    for entry in glossary.entries().values():
        assert not entry.source or sources.source(entry.source)


def test_plausible_lies_within_possible() -> None:
    for entry in glossary.entries().values():
        if entry.plausible and entry.possible:
            assert entry.possible[0] <= entry.plausible[0] <= entry.plausible[1] <= entry.possible[1], (
                entry.name
            )
