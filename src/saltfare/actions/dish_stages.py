"""Which act is open to a batch as it stands: one table, asked by the acts themselves and by every face."""

from __future__ import annotations

from saltfare.actions.context import Context
from saltfare.actions.piece_stages import repeated
from saltfare.actions.shapes import Command
from saltfare.core.errors import Problem, Refused
from saltfare.journal.codes import parse_code
from saltfare.journal.dish import DishStage, DishState
from saltfare.journal.dish import dish as dish_of

_COOKED = (DishStage.COOKED, DishStage.COOLING)
_UNDER_WAY = tuple(s for s in DishStage if s is not DishStage.PACKED)

STAGES: dict[str, tuple[DishStage, ...]] = {
    "cook_dish": (DishStage.PLANNED,),
    "cool_dish": _COOKED,
    "tray_dish": (DishStage.PLANNED, *_COOKED),
    "weigh_trays": (DishStage.ON_TRAYS,),
    "dry_spoonful": (*_COOKED, DishStage.ON_TRAYS, DishStage.CONDITIONING),
    "condition_dish": (DishStage.ON_TRAYS, DishStage.CONDITIONING),
    "pack_dish": (DishStage.CONDITIONING, DishStage.ON_TRAYS),
    "try_pouch": (DishStage.CONDITIONING, DishStage.PACKED),
    "change_recipe": _UNDER_WAY,
    "discard_dish": tuple(DishStage),
}
"""The states of a batch in which an act is open; the acts likeliest first."""
_FIRST = {
    DishStage.COOKED: "cool_dish",
    DishStage.COOLING: "tray_dish",
    DishStage.ON_TRAYS: "weigh_trays",
    DishStage.CONDITIONING: "condition_dish",
    DishStage.PACKED: "try_pouch",
}


def found(context: Context, code: str) -> DishState:
    """The batch a typed code means. Raises Refused for what is no code, NotFound."""
    return dish_of(context.journal, parse_code(code))


def open_to(context: Context, given: Command, state: DishState, act: str) -> None:
    """Refuse what is out of turn; a request sent again is not, whatever became of the batch by then."""
    against = _against(state, act)
    if against is not None and not repeated(context, given):
        raise Refused(against)


def open_acts(state: DishState) -> tuple[str, ...]:
    """The acts open to a batch now, the likeliest first."""
    acts = [act for act in STAGES if _against(state, act) is None]
    first = _FIRST.get(state.state, "")
    return tuple(sorted(acts, key=lambda act: act != first))


def _against(state: DishState, act: str) -> Problem | None:
    if state.ended:
        return Problem("dish_ended", "code", state.code)
    if state.state not in STAGES[act]:
        allowed = ", ".join(STAGES[act])
        return Problem("dish_not_at_this_stage", "code", state.code, allowed, {"stage": state.state.value})
    return None
