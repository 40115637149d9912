"""Shapes shared by the inputs and outputs of actions."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Any

from pydantic import AwareDatetime, Field

from saltfare.actions.context import Context
from saltfare.core import sources
from saltfare.core.errors import Problem, Refused
from saltfare.core.fields import Frozen
from saltfare.core.figure import Figure, Note, Trace
from saltfare.core.tables import Row
from saltfare.journal.events import Body, Draft


class Query(Frozen):
    """Input of an action that changes nothing."""


class Command(Frozen):
    """Input of an action that appends events.

    request_id: the same request twice is done once. seen_version: refused if the stream moved on.
    at: when it happened, if not now. reasons: why an unusual value is kept, by field.
    """

    request_id: str | None = Field(default=None, max_length=80)
    seen_version: int | None = Field(default=None, ge=0)
    at: AwareDatetime | None = None
    reasons: dict[str, str] = Field(default_factory=dict)


class Output(Frozen):
    """What an action gives: its notes, and the trace of every figure in it by id."""

    notes: tuple[Note, ...] = ()
    traces: dict[str, Trace] = Field(default_factory=dict)


class Done(Output):
    """What a command did: the stream, its version now, the events appended."""

    stream: str
    version: int
    events: tuple[str, ...]
    at: datetime
    already: bool = False


class Tracer:
    """Builds figures and keeps where each came from, so that an action says it once."""

    def __init__(self) -> None:
        self.traces: dict[str, Trace] = {}

    def trace(
        self,
        model: Callable[..., Any],
        inputs: Mapping[str, str | float | int | None],
        rows: tuple[Row, ...] = (),
    ) -> str:
        """The id of a trace of `model` run on `inputs` with parameter `rows`."""
        cited = dict.fromkeys((*sources.cites(model), *(row.cite for row in rows)))
        name = f"{model.__module__.removeprefix('saltfare.')}.{model.__qualname__}"
        made = Trace(name, inputs, tuple(row.ref for row in rows), tuple(cited))
        key = made.id
        self.traces[key] = made
        return key

    def figure(
        self,
        value: float | None,
        kind: str,
        trace: str,
        *,
        span: tuple[float, float] | None = None,
        interval: str | None = None,
        notes: tuple[Note, ...] = (),
        extrapolated: bool = False,
    ) -> Figure:
        """A figure hanging on a trace made here."""
        low, high = span if span else (None, None)
        return Figure(value, kind, low, high, interval, trace, notes, extrapolated)


def done(
    context: Context,
    given: Command,
    bodies: Sequence[tuple[str, Body]],
    *,
    seen: Mapping[str, int] | None = None,
) -> Done:
    """Append observations, each to its stream, in one transaction, and say what was done.

    The same request_id again gives the first answer and appends nothing. `seen_version` is of the
    first stream; seen: versions the action itself looked at, so that two people cannot both take the
    last pack. Raises Conflict where one moved on, Refused where `at` lies in the future.
    """
    at = given.at or context.now
    if at > context.now:
        raise Refused(Problem("in_the_future", "at", at.isoformat()))
    reasons = {k: v for k, v in given.reasons.items() if v.strip()}
    stream = bodies[0][0]
    already = bool(given.request_id and context.journal.answered(given.request_id))
    events = context.journal.append_many(
        [
            Draft(
                stream=where,
                body=body.model_copy(update={"reasons": reasons}) if reasons else body,
                at=at,
                zone=context.settings.zone,
                actor=context.actor,
                recorded_at=context.now,
            )
            for where, body in bodies
        ],
        request_id=given.request_id,
        seen_versions={
            **(seen or {}),
            **({} if given.seen_version is None else {stream: given.seen_version}),
        },
    )
    stream = events[0].stream
    return Done(
        stream=stream,
        version=context.journal.stream_head(stream),
        events=tuple(event.id for event in events),
        at=events[0].at,
        already=already,
    )
