"""The next weigh-in: the planned day, or the one that tells more of when the piece will be ready."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from saltfare.actions.context import Context
from saltfare.actions.piece_forecast import Cast, cast
from saltfare.core.errors import NotConverged, OutOfRange, Refused
from saltfare.core.figure import Note
from saltfare.jobs import key_of, model_version
from saltfare.journal.piece import PieceState, State
from saltfare.plans.forecast_posterior import posterior
from saltfare.plans.next_weigh_in import narrowing, offered

_RULES = "weigh_in_rules"


@dataclass(frozen=True, slots=True)
class Offer:
    """A day to weigh. now_s, after_s: standard deviation of the ready date, and what it is expected to be
    after."""

    on: date
    now_s: float
    after_s: float

    @property
    def note(self) -> Note:
        """The offer as a note."""
        return Note(
            "weigh_in_narrows",
            {"on": self.on.isoformat(), "now_days": self.now_s / 86400, "after_days": self.after_s / 86400},
        )


def next_weigh_in(
    context: Context, state: PieceState, planned: date, made: Cast | None = None
) -> Offer | None:
    """The day that tells more than the planned one, None where that serves as well.

    Looked at are the days from a gap after the last weigh-in to the early end of the ready date, a week
    at most, wherever today lies among them, so that the offer does not recede as days pass; the first is
    taken that brings most of what any of them would bring. It is offered where the planned day comes
    before it and would leave the date clearly wider, or comes after the early end of the ready date,
    when the piece may be too dry already. Once its day is past it is offered today, never late.
    made: its forecast, where that is at hand.
    """
    if state.state is not State.HANGING or not state.weigh_ins:
        return None  # the first weigh-in is there to show that what was entered is right
    try:
        made = made or cast(context, state)
    except (Refused, OutOfRange, NotConverged):
        return None  # the piece's own page says why there is none
    if made is None:
        return None
    rules = {
        name: context.library.row(_RULES, name) for name in ("ahead", "gap", "share", "better", "settled")
    }
    last = state.weigh_ins[-1].at.astimezone(context.zone).date()
    gap = timedelta(seconds=rules["gap"].number("time"))
    first = last + gap
    until = last + timedelta(seconds=rules["ahead"].number("time"))
    early = made.ready[0]
    ready = early.astimezone(context.zone).date() if early is not None else None
    if ready is not None:
        until = min(until, max(ready, first))
    late = ready is not None and planned > ready
    if not late and planned > until:
        return None  # later tells more, and it is soon enough
    days = [first + timedelta(days=i) for i in range((until - first).days + 1)]
    found = _narrowed(context, state, made, days)
    if found is None or found["now"] < rules["settled"].number("time"):
        return None
    now, after = float(found["now"]), dict(zip(days, found["after"], strict=True))
    chosen = days[int(found["first"])]
    by_plan = after.get(planned, now)
    if not late and by_plan <= (1 + rules["better"].number("share")) * after[chosen]:
        return None
    return Offer(max(chosen, context.today), now, float(after[chosen]))


def _narrowed(context: Context, state: PieceState, made: Cast, days: list[date]) -> Any:
    """Spread of the ready date now and after each day, and which to offer; kept with the forecast."""
    # on the clock of hanging, at the hour of the last weigh-in
    hour = state.weigh_ins[-1].at.astimezone(context.zone)
    at = [state.hanging_s(hour + timedelta(days=(day - hour.date()).days)) for day in days]
    horizon = made.run.ensemble.horizon_s
    at = [min(time, horizon) for time in at]
    share = context.library.row(_RULES, "share").number("share")
    weigh_ins = made.weigh_ins
    step = made.hanging.step_kg

    def compute() -> Any:
        after = narrowing(
            found=posterior(
                ensemble=made.run.ensemble,
                hanging=made.hanging,
                weigh_ins=sorted(weigh_ins, key=lambda w: w.time_s),
                priors=made.priors,
                belief=made.belief,
            ),
            target_mass_kg=made.forecast.target_mass_kg,
            at_s=at,
            step_kg=step,
        )
        best = offered(found=after, gain_frac=share)
        return {
            "now": after.now_s,
            "after": [float(x) for x in after.after_s],
            "first": 0 if best is None else at.index(best),
        }

    if at[0] <= max((w.time_s for w in weigh_ins), default=0.0):
        return None  # at rest since: the clock of hanging stands still
    key = key_of(
        action="next_weigh_in",
        given=[made.key, at, share, step],
        heads={},
        version=model_version(context.library.version),
    )
    return context.cache.cached(key, compute)
