"""Running one action for the command line, and leaving with the contract's exit code."""

from __future__ import annotations

import json
import sys
from typing import Any, NoReturn

import click

from saltfare.faces.words import Words

BAD_INPUT = 2


def opened(ctx: click.Context, *, demo: bool | None = None) -> Any:
    """The house the options name, as a context manager."""
    from saltfare.faces.opening import opened as open_house
    from saltfare.faces.opening import utc_now

    at = ctx.obj["now"]
    return open_house(demo=ctx.obj["demo"] if demo is None else demo, clock=(lambda: at) if at else utc_now)


def refuse(error: Exception) -> NoReturn:
    """Print what an error says in the contract's shape and leave with exit code 2."""
    from saltfare.faces.errors_shown import as_json

    click.echo(json.dumps(as_json(error, Words()), ensure_ascii=False))
    sys.exit(BAD_INPUT)


def run_and_print(ctx: click.Context, action: str, data: dict[str, Any]) -> None:
    """Run an action and print its output as JSON, or its problems."""
    from saltfare.actions.registry import run as run_action
    from saltfare.core.errors import SaltfareError

    try:
        with opened(ctx) as house:
            click.echo(run_action(action, house.context(), data).model_dump_json())
    except SaltfareError as error:
        refuse(error)
