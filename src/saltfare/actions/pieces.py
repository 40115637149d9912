"""Every piece with its state, its loss so far and its likely ready date."""

from __future__ import annotations

from datetime import datetime

from saltfare.actions.context import Context
from saltfare.actions.piece_forecast import cast
from saltfare.actions.shapes import Output, Query
from saltfare.core.errors import NotConverged, OutOfRange, Refused
from saltfare.core.fields import Frozen
from saltfare.journal.piece import PieceState, State
from saltfare.journal.piece import pieces as states


class PiecesGiven(Query):
    """forecasts: False lists without working out a ready date."""

    forecasts: bool = True


class PieceLine(Frozen):
    """One piece in the list. since: since when it is in its state."""

    code: str
    name: str
    state: str
    cut: str
    chamber: str | None
    since: datetime
    loss_frac: float | None
    target_loss_frac: float | None
    target_kg: float | None
    last_kg: float | None
    ready_early: datetime | None
    ready_likely: datetime | None
    ready_late: datetime | None


class PiecesShown(Output):
    """All pieces, those under way first; those cut up or tied into others are left out."""

    pieces: tuple[PieceLine, ...]


def pieces(context: Context, given: PiecesGiven) -> PiecesShown:
    """Every piece, those under way first, in the order they were started."""
    own = [s for s in states(context.journal) if s.ended in (None, "discarded")]
    found = sorted(own, key=lambda s: s.state is State.TAKEN_DOWN)
    return PiecesShown(pieces=tuple(line(context, state, forecasts=given.forecasts) for state in found))


def line(context: Context, state: PieceState, *, forecasts: bool) -> PieceLine:
    """A piece as a line of the list."""
    ready: tuple[datetime | None, datetime | None, datetime | None] = (None, None, None)
    if forecasts and state.state is State.HANGING:
        try:
            made = cast(context, state)
            ready = made.ready if made else ready
        except (Refused, OutOfRange, NotConverged):
            pass  # the piece's own page says why there is none
    hung = state.hung[-1].body if state.hung else None
    told = hung.target if hung else state.started.target
    return PieceLine(
        code=state.code,
        name=state.name,
        state=state.state.value,
        cut=state.started.cut,
        chamber=state.chamber,
        since=since(state),
        loss_frac=_loss(state),
        target_loss_frac=told.loss_from_hanging.value if told and told.loss_from_hanging else None,
        target_kg=state.target_now_kg,
        last_kg=state.last_mass_kg,
        ready_early=ready[0],
        ready_likely=ready[1],
        ready_late=ready[2],
    )


def _loss(state: PieceState) -> float | None:
    last = state.last_weight
    if not state.hung or last is None:
        return None
    return 1 - state.comparable_kg(last[1], last[0]) / state.hung[-1].body.mass.value


def since(state: PieceState) -> datetime:
    """When it came into its state."""
    if state.taken_down or state.ended_at:
        return state.taken_down[-1].at if state.taken_down else state.ended_at or state.started_at
    if state.state is State.AT_ITS_MASS:
        return state.weigh_ins[-1].at
    if state.is_resting:
        return state.rests[-1].at
    if state.state is State.DRAINING:
        return state.drained[-1].at
    for series in (state.hung, state.washed):
        if series:
            return series[0].at
    return state.salting_begun_at or state.started_at
