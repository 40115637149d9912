"""What the household's pieces have taught: each read once from its weigh-ins, all of them together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from saltfare.actions.context import Context
from saltfare.actions.piece_drying import hung_as, packed, simulated, unpacked, weighed_as
from saltfare.core.errors import NotConverged, NotFound, OutOfRange, Refused
from saltfare.jobs import key_of, model_version
from saltfare.journal.chamber import chamber
from saltfare.journal.learning import LearningState, learning
from saltfare.journal.piece import PieceState, pieces
from saltfare.plans.forecast_priors import ForecastPriors
from saltfare.plans.learning import Learned, LearningPriors, Lesson, learn, lesson

_LEAST_S = 86400.0
_OLD = "@"  # parts a chamber or cut as it was before its reset from its key


@dataclass(frozen=True, slots=True)
class Teacher:
    """A piece that hung, and what it shares with others. why_not: a code where it does not teach."""

    state: PieceState
    chamber: str
    cut: str
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class Taught:
    """What pieces taught. key: of all that went in. pieces: their codes, one for each lesson."""

    learned: Learned
    key: str
    pieces: tuple[str, ...]


def teachers(context: Context, priors: LearningPriors) -> tuple[Teacher, ...]:
    """Every piece that ever hung, those that teach and those that do not."""
    decided = learning(context.journal)
    return tuple(
        Teacher(state, *shares(state, decided), _why_not(state, decided, priors))
        for state in pieces(context.journal)
        if state.hung and state.parent is None
    )


def shares(state: PieceState, decided: LearningState) -> tuple[str, str]:
    """Keys of the chamber and the cut of a piece; of another age where they were reset after it hung."""
    hung_at = state.hung[-1].at
    cut = state.started.cut
    chamber_key = state.chamber or f"piece/{state.code}"

    def aged(scope: Any, key: str) -> str:
        resets = decided.resets_after(scope, key, hung_at)
        return f"{key}{_OLD}{resets}" if resets else key

    return aged("chamber", chamber_key), aged("cut", cut)


def is_old(key: str) -> bool:
    """Whether a chamber or cut is meant as it was before a reset."""
    return _OLD in key


def _why_not(state: PieceState, decided: LearningState, priors: LearningPriors) -> str:
    if state.code in decided.excluded:
        return "excluded"
    if decided.resets_after("all", "", state.hung[-1].at):
        return "before_reset"
    after = [e for e in state.weigh_ins if state.hanging_s(e.at) > 0]
    if len(after) < priors.least_weigh_ins or state.hanging_s(after[-1].at) < _LEAST_S:
        return "too_few_weigh_ins"
    return ""


def taught(context: Context, *, besides: PieceState | None = None) -> Taught:
    """What all pieces taught but one, which is not to learn from itself, nor from what it was cut from."""
    priors = ForecastPriors.from_library(library=context.library)
    levels = LearningPriors.from_library(library=context.library, priors=priors)
    own = (besides.code, besides.parent) if besides else ()
    found = [
        (one, _key(context, one))
        for one in teachers(context, levels)
        if not one.why_not and one.state.code not in own
    ]
    found = [(one, key) for one, key in found if _lesson(context, one, key, priors) is not None]
    given = [[key, one.chamber, one.cut] for one, key in found]
    key = key_of(action="learned", given=given, heads={}, version=model_version(context.library.version))

    def compute() -> Any:
        lessons = [_lesson(context, one, key, priors) for one, key in found]
        return _plain(learn(lessons=[one for one in lessons if one is not None], priors=levels))

    return Taught(
        _learned(context.cache.cached(key, compute), levels), key, tuple(one.state.code for one, _ in found)
    )


def _key(context: Context, one: Teacher) -> str:
    """Of everything a lesson rests on: the piece as it was treated, and the air up to its last weigh-in."""
    state = one.state
    air: list[Any] = []
    if state.chamber is not None:
        try:
            there = chamber(context.journal, state.chamber)
        except NotFound:
            there = None
        if there is not None:
            last = state.weigh_ins[-1].at
            air = [repr(there.described), [e.body.digest for e in there.imports if e.body.first_at <= last]]
    told = (state.started, state.hung, state.weigh_ins, state.rests, state.rests_ended, state.rebased)
    return key_of(
        action="lesson",
        given=[repr(told), repr(state.taken_down), air, [_part(context, code) for code in state.parts]],
        heads={},
        version=model_version(context.library.version),
    )


def _part(context: Context, code: str) -> int:
    return context.journal.stream_head(f"piece/{code}")


def _lesson(context: Context, one: Teacher, key: str, priors: ForecastPriors) -> Lesson | None:
    """The lesson of a piece; None where the models do not hold it."""
    state = one.state

    def compute() -> Any:
        weigh_ins = sorted(weighed_as(context, state), key=lambda w: w.time_s)
        last = state.weigh_ins[-1].at
        try:
            run = simulated(context, state, priors, until=last, horizon_s=weigh_ins[-1].time_s)
        except (Refused, OutOfRange, NotConverged) as error:
            return {"refused": type(error).__name__}
        made = lesson(
            piece=state.code,
            chamber=one.chamber,
            cut=one.cut,
            ensemble=run.ensemble,
            hanging=hung_as(context, state),
            weigh_ins=weigh_ins,
            priors=priors,
        )
        return packed({"log_lik": made.log_lik, "half_width": made.half_width, "rate": made.rate})

    kept = context.cache.cached(key, compute)
    if "refused" in kept:
        return None
    arrays = unpacked(kept)
    return Lesson(state.code, one.chamber, one.cut, arrays["log_lik"], arrays["half_width"], arrays["rate"])


def _plain(learned: Learned) -> Any:
    arrays = {name: getattr(learned, name) for name in ("spread", "weight", "mean", "cov")}
    return {
        "arrays": packed(arrays),
        "chambers": learned.chambers,
        "cuts": learned.cuts,
        "rates": learned.rates,
        "counts": learned.counts,
    }


def _learned(plain: Any, priors: LearningPriors) -> Learned:
    arrays = {name: np.asarray(a, np.float64) for name, a in unpacked(plain["arrays"]).items()}
    return Learned(
        priors=priors,
        chambers=tuple(plain["chambers"]),
        cuts=tuple(plain["cuts"]),
        **arrays,
        rates={key: (rate[0], rate[1]) for key, rate in plain["rates"].items()},
        counts=dict(plain["counts"]),
    )
