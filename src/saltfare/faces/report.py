"""The short report that a start prints: each piece, and what is due today."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from saltfare.actions.bench import BenchShown, DueShown
from saltfare.actions.context import Context
from saltfare.actions.pieces import PieceLine, PiecesShown
from saltfare.actions.registry import run
from saltfare.faces.words import Words


def report(context: Context) -> Iterator[str]:
    """Lines of the report, in the words of the person's settings."""
    settings = context.settings
    words = Words(
        measures=settings.measures,
        decimal=settings.decimal,
        zone=settings.zone,
        locale=settings.locale,
        today=context.today,
    )
    if context.demo:
        yield words.say("cli.demo")
    found = run("pieces", context, {})
    todo = run("bench", context, {})
    if not isinstance(found, PiecesShown) or not isinstance(todo, BenchShown):
        raise TypeError("the actions pieces and bench give their own outputs")
    if not found.pieces:
        yield words.say("cli.nothing")
        return
    for piece in found.pieces:
        yield _piece(words, piece)
    due = (*todo.late, *todo.due)
    yield words.say("cli.due_today" if due else "cli.nothing_due")
    for one in due:
        yield "  " + _due(words, one)


def _piece(words: Words, piece: PieceLine) -> str:
    told: dict[str, Any] = {
        "code": piece.code,
        "name": piece.name,
        "state": words.say(f"state.{piece.state.replace(' ', '_')}"),
        "since": words.shown.on(piece.since),
    }
    line = words.say("cli.report.piece", told)
    if piece.loss_frac is not None and piece.target_loss_frac is not None:
        line += words.say(
            "cli.report.loss", {"loss_frac": piece.loss_frac, "target_frac": piece.target_loss_frac}
        )
    if piece.state == "hanging":
        line += _ready(words, piece)
    return line


def _ready(words: Words, piece: PieceLine) -> str:
    early, likely, late = (
        None if at is None else words.shown.on(at)
        for at in (piece.ready_early, piece.ready_likely, piece.ready_late)
    )
    if early is None:
        return words.say("cli.report.not_within")
    if likely is None or late is None:
        return words.say("cli.report.ready_from", {"early": early})
    return words.say("cli.report.ready", {"early": early, "likely": likely, "late": late})


def _due(words: Words, one: DueShown) -> str:
    what = words.say(f"step.{one.step}.text")
    told = {"what": what, "code": one.code, "piece": one.piece, "days": -one.days}
    return words.say("cli.report.late" if one.days < 0 else "cli.report.due", told)
