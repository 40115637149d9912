"""Which act is open to a piece as it stands: one table, asked by the acts themselves and by every face."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

from saltfare.actions.context import Context
from saltfare.actions.shapes import Command
from saltfare.core.errors import Problem, Refused
from saltfare.journal.events import Body
from saltfare.journal.piece import Entry, PieceState, State

B = TypeVar("B", bound=Body)

_UNDER_WAY = tuple(s for s in State if s is not State.TAKEN_DOWN)
_HANGS = (State.HANGING, State.AT_ITS_MASS)
_BEFORE_AIR = (State.IN_SALT, State.DRAINING, State.RESTING)

STAGES: dict[str, tuple[State, ...]] = {
    "salt_piece": (State.PLANNED, State.IN_SALT, State.DRAINING),
    "turn_piece": (State.IN_SALT,),
    "drain_piece": (State.IN_SALT,),
    "wash_piece": (State.IN_SALT, State.DRAINING),
    "hang_piece": _BEFORE_AIR,
    "end_rest": (State.RESTING,),
    "take_down": (State.AT_ITS_MASS, State.HANGING, State.RESTING),
    "weigh_in": _HANGS,
    "look_at_piece": _UNDER_WAY,
    "rest_piece": (*_BEFORE_AIR, *_HANGS),
    "taste_piece": _HANGS,
    "shape_piece": _UNDER_WAY,
    "smoke_piece": _UNDER_WAY,
    "change_tare": _UNDER_WAY,
    "inject_piece": (State.PLANNED, State.IN_SALT),
    "cut_piece": (*_HANGS, State.RESTING),
    "tie_pieces": _HANGS,
    "discard_piece": _UNDER_WAY,
}
"""The states of a piece in which an act is open; the acts likeliest first."""
# what a state asks for first, where the order above does not say it
_FIRST = {State.IN_SALT: "turn_piece", State.HANGING: "weigh_in", State.RESTING: "end_rest"}


def open_to(context: Context, given: Command, state: PieceState, act: str) -> None:
    """Refuse what is out of turn; a request sent again is not, whatever became of the piece by then."""
    against = _against(state, act)
    if against is not None and not repeated(context, given):
        raise Refused(against)


def repeated(context: Context, given: Command) -> bool:
    """Whether this very request was done before."""
    return bool(given.request_id and context.journal.answered(given.request_id))


def besides(context: Context, given: Command, entries: Sequence[Entry[B]]) -> list[Entry[B]]:
    """What was recorded by other requests: sent again, a request is not held against itself."""
    own = {event.id for event in context.journal.answered(given.request_id)} if given.request_id else set()
    return [entry for entry in entries if entry.event_id not in own]


def open_acts(state: PieceState) -> tuple[str, ...]:
    """The acts open to a piece now, the likeliest first."""
    found = [act for act in STAGES if _against(state, act) is None]
    first = _FIRST.get(state.state, "")
    return tuple(sorted(found, key=lambda act: act != first))


def _against(state: PieceState, act: str) -> Problem | None:
    """What stands against an act: its state, or what the act asks of a piece beside that."""
    code = state.code
    if act == "end_rest" and not state.is_resting:
        return Problem("not_resting", "code", code)
    if state.state not in STAGES[act]:
        allowed = ", ".join(STAGES[act])
        return Problem("not_at_this_stage", "code", code, allowed, {"stage": state.state.value})
    if act == "rest_piece" and state.is_resting:
        return Problem("resting_already", "code", code)
    if act == "hang_piece" and state.hung:
        return Problem("hung_already", "code", code)
    if act in ("cut_piece", "take_down") and not state.hung:
        return Problem("not_hung_yet", "code", code)
    return None
