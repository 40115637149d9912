"""Correcting or taking back something recorded. The first record stays readable."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AwareDatetime, Field

from saltfare.actions.context import Context
from saltfare.actions.correction_family import family
from saltfare.actions.correction_lots import books_hold
from saltfare.actions.piece_forecast import issue
from saltfare.actions.shapes import Command, Done
from saltfare.core.errors import NotFound, Problem, Refused
from saltfare.core.fields import Measured, Quantity
from saltfare.journal import events_dish as dishes
from saltfare.journal import events_piece as kinds
from saltfare.journal.events import Body, Corrected, Draft
from saltfare.journal.piece import State, piece


class CorrectGiven(Command):
    """event_id: what was recorded. withdraw: it never happened. replace: what is given stands instead.

    mass: for a weigh-in, a hanging or a washing. happened_at: when it really happened.
    why: said by the person, kept.
    """

    event_id: str = Field(max_length=40)
    what: Literal["withdraw", "replace"]
    mass: Annotated[Measured, Quantity("weigh_in")] | None = None
    happened_at: AwareDatetime | None = None
    text: str | None = Field(default=None, min_length=1, max_length=4000)
    why: str = Field(default="", max_length=1000)


def correct(context: Context, given: CorrectGiven) -> Done:
    """Correct or take back something recorded; the first record stays readable.

    What one act recorded over several pieces or lots is taken back together.
    """
    event = context.journal.event(given.event_id)
    body = event.body
    if isinstance(body, kinds.ForecastIssued):
        raise Refused(Problem("not_correctable", "event_id", event.kind))
    if given.what == "withdraw":
        if isinstance(body, kinds.Started | dishes.DishPlanned) and len(_after(context, event.stream)) > 1:
            raise Refused(Problem("started_has_history", "event_id", event.id))
        ruling = Corrected(what="withdraw", reason=given.why)
        together = family(context, event)
    else:
        if given.happened_at is not None and given.happened_at > context.now:
            raise Refused(Problem("in_the_future", "happened_at", given.happened_at.isoformat()))
        ruling = Corrected(what="replace", new=_new(body, given), new_at=given.happened_at, reason=given.why)
        together = (event,)
    seen = books_hold(context, together, ruling)
    made = context.journal.append_many(
        [
            Draft(
                stream=one.stream,
                body=ruling,
                at=context.now,
                zone=context.settings.zone,
                actor=context.actor,
                recorded_at=context.now,
                corrects=one.id,
            )
            for one in together
        ],
        request_id=given.request_id,
        seen_versions={**seen, **({} if given.seen_version is None else {event.stream: given.seen_version})},
    )
    for one in together:
        request = f"{given.request_id}#{one.stream}"[:80] if given.request_id else None
        _forecast_again(context, one.stream, request)
    return Done(
        stream=made[0].stream,
        version=context.journal.stream_head(made[0].stream),
        events=tuple(one.id for one in made),
        at=made[0].at,
    )


def _after(context: Context, stream: str) -> list[str]:
    return [e.kind for e in context.journal.events(stream) if e.kind not in ("corrected", "forecast_issued")]


def _new(body: Body, given: CorrectGiven) -> Body | None:
    """The body with what was given in its place; None where only the time changes."""
    changes: dict[str, object] = {}
    if given.mass is not None:
        if "mass" not in type(body).model_fields:
            raise Refused(Problem("has_no_mass", "mass", body.kind))
        changes["mass"] = given.mass
    if given.text is not None:
        if "text" not in type(body).model_fields:
            raise Refused(Problem("has_no_text", "text", body.kind))
        changes["text"] = given.text
    if not changes and given.happened_at is None:
        raise Refused(Problem("correction_empty", "mass"))
    if not changes:
        return None
    return body.model_copy(update={**changes, "reasons": {**body.reasons, **given.reasons}})


def _forecast_again(context: Context, stream: str, request_id: str | None) -> None:
    if not stream.startswith(kinds.STREAM):
        return
    try:
        state = piece(context.journal, stream.removeprefix(kinds.STREAM))
    except NotFound:
        return
    if state.state is not State.TAKEN_DOWN:
        issue(context, state, request_id)
