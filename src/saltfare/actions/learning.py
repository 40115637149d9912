"""What the pieces taught of population, chambers and cuts; leaving a piece out; beginning anew."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import Literal

from pydantic import Field

from saltfare.actions.context import Context
from saltfare.actions.lessons import Taught, Teacher, is_old, taught, teachers
from saltfare.actions.piece_work import found
from saltfare.actions.shapes import Command, Done, Output, Query, Tracer, done
from saltfare.core.errors import NotFound, Problem, Refused
from saltfare.core.fields import Frozen
from saltfare.core.figure import Figure, Note
from saltfare.journal.chamber import chamber
from saltfare.journal.events_learning import STREAM, LearningReset, PieceExcluded, Scope
from saltfare.journal.learning import learning
from saltfare.plans.forecast_priors import ForecastPriors
from saltfare.plans.learning import LearningPriors, Speed, learn

Of = Literal["chamber", "cut"]


class LearnedGiven(Query):
    """Nothing."""


class SpeedShown(Frozen):
    """How fast pieces of a chamber or a cut dry, times what was expected. says: it as a note."""

    of: Of
    key: str
    name: str
    pieces: int
    times: Figure
    says: Note


class TeacherShown(Frozen):
    """A piece that hung: whether it teaches, and why not (a words key under `why_not`)."""

    code: str
    name: str
    chamber: str | None
    cut: str
    hung_at: datetime
    weigh_ins: int
    teaches: bool
    why_not: str


class LearnedShown(Output):
    """What was learned. spread: how widely pieces are spread about their chamber and cut, times what
    was thought before any had taught; None while none has."""

    speeds: tuple[SpeedShown, ...]
    spread: Figure | None
    pieces: tuple[TeacherShown, ...]
    least_weigh_ins: int
    version: int


class ExcludeGiven(Command):
    """Whether a piece is to be left out of what is learned, or taken in again."""

    code: str = Field(max_length=40)
    excluded: bool = True
    why: str = Field(default="", max_length=1000)


class ResetGiven(Command):
    """What is no longer as it was: one chamber, one cut, or everything."""

    scope: Scope
    key: str | None = Field(default=None, max_length=80)
    why: str = Field(default="", max_length=1000)


def learned(context: Context, given: LearnedGiven) -> LearnedShown:
    """What the pieces taught: chambers and cuts in words, and which pieces taught it."""
    priors = ForecastPriors.from_library(library=context.library)
    levels = LearningPriors.from_library(library=context.library, priors=priors)
    known, tracer = taught(context), Tracer()
    teaching = set(known.pieces)
    speeds = tuple(_speeds(context, known, tracer)) if known.pieces else ()
    trace = tracer.trace(learn, {"lessons": len(known.pieces)}) if known.pieces else ""
    return LearnedShown(
        speeds=speeds,
        spread=tracer.figure(known.learned.spread_mean, "ratio", trace) if known.pieces else None,
        pieces=tuple(_teacher(one, teaching) for one in teachers(context, levels)),
        least_weigh_ins=levels.least_weigh_ins,
        version=context.journal.stream_head(STREAM),
        traces=tracer.traces,
    )


def exclude_piece(context: Context, given: ExcludeGiven) -> Done:
    """Leave a piece out of what is learned, or take it in again."""
    state = found(context, given.code)
    if (state.code in learning(context.journal).excluded) == given.excluded:
        raise Refused(Problem("nothing_changed"))
    body = PieceExcluded(code=state.code, excluded=given.excluded, why=given.why)
    return done(context, given, [(STREAM, body)])


def reset_learning(context: Context, given: ResetGiven) -> Done:
    """Begin anew with a chamber, a cut or everything: what hung before says nothing of what hangs after."""
    key = given.key or ""
    if (given.scope == "all") == bool(key):
        raise Refused(Problem("reset_needs_key", "key", key, given.scope))
    if given.scope == "chamber":
        try:
            chamber(context.journal, key)
        except NotFound:
            raise Refused(Problem("chamber_unknown", "key", key)) from None
    if given.scope == "cut":
        context.library.row("cuts", key)
    return done(context, given, [(STREAM, LearningReset(scope=given.scope, key=key, why=given.why))])


def _speeds(context: Context, known: Taught, tracer: Tracer) -> Iterator[SpeedShown]:
    made = known.learned
    for of, keys in (("chamber", made.chambers), ("cut", made.cuts)):
        for key in keys:
            if is_old(key) or key.startswith("piece/"):
                continue
            count = made.counts[f"{of} {key}"]
            name = _name(context, of, key)
            speed = made.chamber_speed(chamber=key) if of == "chamber" else made.cut_speed(cut=key)
            trace = tracer.trace(learn, {"of": f"{of} {key}", "pieces": count})
            yield SpeedShown(
                of="chamber" if of == "chamber" else "cut",
                key=key,
                name=name,
                pieces=count,
                times=tracer.figure(
                    speed.median, "ratio", trace, span=(speed.low, speed.high), interval="band_80"
                ),
                says=_says(of, name, speed, count),
            )


def _says(of: str, name: str, speed: Speed, count: int) -> Note:
    """Faster, slower, or as expected so far as these pieces tell."""
    params: dict[str, str | float | int] = {
        "name": name,
        "times": speed.median,
        "low": speed.low,
        "high": speed.high,
        "pieces": count,
    }
    if of == "chamber":
        if speed.low > 1:
            return Note("chamber_dries_faster", params)
        return Note("chamber_dries_slower", params) if speed.high < 1 else Note("chamber_as_read", params)
    if speed.low > 1:
        return Note("cut_dries_faster", params)
    return Note("cut_dries_slower", params) if speed.high < 1 else Note("cut_as_others", params)


def _name(context: Context, of: str, key: str) -> str:
    try:
        if of == "chamber":
            return chamber(context.journal, key).name
        return context.library.row("cuts", key).text("label")
    except NotFound:
        return key


def _teacher(one: Teacher, teaching: set[str]) -> TeacherShown:
    state = one.state
    return TeacherShown(
        code=state.code,
        name=state.name,
        chamber=state.chamber,
        cut=state.started.cut,
        hung_at=state.hung[-1].at,
        weigh_ins=len(state.weigh_ins),
        teaches=state.code in teaching,
        why_not=one.why_not or ("" if state.code in teaching else "not_held"),
    )
