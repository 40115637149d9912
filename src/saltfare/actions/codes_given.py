"""Codes of pieces, batches, lots and trips alike: one printed code leads to one thing."""

from __future__ import annotations

from saltfare.actions.context import Context
from saltfare.actions.shapes import Command
from saltfare.journal.codes import new_code
from saltfare.journal.events import Body


def new_codes(context: Context, count: int) -> tuple[str, ...]:
    """New codes that nothing has."""
    taken = {stream.partition("/")[2] for stream in context.journal.streams()}
    out: list[str] = []
    for _ in range(count):
        out.append(new_code(context.entropy, {*taken, *out}))
    return tuple(out)


def codes_before(context: Context, given: Command, kind: type[Body]) -> tuple[str, ...]:
    """The codes a request made the first time it was sent."""
    if not given.request_id:
        return ()
    before = context.journal.answered(given.request_id)
    return tuple(e.stream.partition("/")[2] for e in before if isinstance(e.body, kind))
