"""The static list of actions is the functions, and every action has words."""

from __future__ import annotations

import inspect
import pkgutil
from importlib import import_module

import pytest
from pydantic import BaseModel

import saltfare.actions
from saltfare.actions.context import Context
from saltfare.actions.registry import ACTIONS, Action, get
from saltfare.actions.shapes import Command, Done, Output, Query
from saltfare.core.errors import NotFound
from saltfare.faces.words import Words


@pytest.mark.parametrize("action", ACTIONS, ids=lambda a: a.name)
def test_an_action_is_a_typed_function_with_words(action: Action) -> None:
    assert issubclass(action.Input, Query if action.kind == "query" else Command)
    assert issubclass(action.Output, Done if action.kind == "command" else Output)
    assert Words().say(f"action.{action.name}.text")
    assert action.Input.model_json_schema()
    assert action.Output.model_json_schema(mode="serialization")


def test_every_public_action_function_is_in_the_list() -> None:
    listed = {(a.module, a.name) for a in ACTIONS}
    for info in pkgutil.iter_modules(saltfare.actions.__path__):
        module = import_module(f"saltfare.actions.{info.name}")
        for name, function in vars(module).items():
            if not inspect.isfunction(function) or function.__module__ != module.__name__:
                continue
            parameters = list(inspect.signature(function).parameters)
            gives = getattr(module, str(function.__annotations__.get("return")), None)
            is_action = isinstance(gives, type) and issubclass(gives, Output)
            if parameters == ["context", "given"] and is_action and not name.startswith("_"):
                assert (info.name, name) in listed


def test_an_unknown_action_is_not_found() -> None:
    with pytest.raises(NotFound):
        get("weigh_out_the_moon")


def test_models_refuse_what_they_do_not_know() -> None:
    for action in ACTIONS:
        for model in (action.Input, action.Output):
            assert issubclass(model, BaseModel)
            assert model.model_config["extra"] == "forbid"
            assert model.model_config["frozen"]
    assert Context
