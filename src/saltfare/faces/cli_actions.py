"""A friendlier command for each action, made from its input model: `saltfare weigh-in CODE --mass ...`."""

from __future__ import annotations

import json
from typing import Any

import click

from saltfare.actions.registry import Action
from saltfare.core.errors import Problem, Refused
from saltfare.faces.cli_run import refuse, run_and_print
from saltfare.faces.words import Words

_FIRST = ("code", "key", "name", "source")  # what a person says first, without its option's name


def command_for(action: Action) -> click.Command:
    """The command of an action. Fields that hold a structure are given as JSON."""
    schema = action.Input.model_json_schema()
    properties: dict[str, Any] = schema.get("properties", {})
    required = set(schema.get("required", ()))
    params: list[click.Parameter] = []
    first = next((f for f in _FIRST if f in required), None)
    for name, prop in properties.items():
        if name == first:
            params.append(click.Argument([name], required=True))
            continue
        params.append(
            click.Option(
                [f"--{name.replace('_', '-')}", name],
                required=name in required,
                help=_told(prop),
                is_flag=prop.get("type") == "boolean" and prop.get("default") is False,
            )
        )

    @click.pass_context
    def call(ctx: click.Context, /, **given: Any) -> None:
        try:
            data = {k: _value(k, v, properties[k]) for k, v in given.items() if v not in (None, False)}
        except Refused as error:
            refuse(error)
        run_and_print(ctx, action.name, data)

    said = Words().say(f"action.{action.name}.text")
    return click.Command(
        action.name.replace("_", "-"), params=params, callback=call, help=said, short_help=said
    )


def _told(prop: dict[str, Any]) -> str:
    told = str(prop.get("description", prop.get("title", "")))
    units = prop.get("x-units")
    return f"{told} [{', '.join(units)}]" if units else told


def _kinds(prop: dict[str, Any]) -> set[str]:
    out = {prop["type"]} if isinstance(prop.get("type"), str) else set()
    for option in prop.get("anyOf", ()):
        out |= _kinds(option)
    if "$ref" in prop or "allOf" in prop:
        out.add("object")
    return out


def _value(name: str, text: Any, prop: dict[str, Any]) -> Any:
    if not isinstance(text, str):
        return text
    kinds = _kinds(prop) - {"null"}
    if "string" in kinds:
        return text  # a quantity keeps its unit: the parser of quantities reads it
    try:
        return json.loads(text)
    except json.JSONDecodeError:
        raise Refused(Problem("not_json", name, text[:64])) from None
