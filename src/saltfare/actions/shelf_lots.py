"""The lots in store, with where they stand, how long they keep, what may be said, and which to eat first."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from saltfare.actions.context import Context
from saltfare.actions.judged_card import asked, criteria_of, facts_with_cooling
from saltfare.actions.judged_facts import gathered
from saltfare.actions.judged_items import Item, item, key_of_place, stays_of_lot
from saltfare.actions.pack_keeping import PackKeeping, pack_keeping
from saltfare.core.figure import Answer
from saltfare.journal.lot import LotState, lots
from saltfare.models.criteria import Criteria, Question

Why = Literal["opened", "past", "date", "answer", "age"]
Asked = Literal["kept", "eaten", "carried"]
_WORST_FIRST = (Answer.DOES_NOT_MEET, Answer.CANNOT_TELL, Answer.MEETS)


@dataclass(frozen=True, slots=True)
class ShelfLot:
    """A lot in store. since: it stands where it stands. answers: by `kept`, `eaten` and `carried`; none of a
    bought pack, which is kept as its maker says.

    rank: from 1, what to eat first; why: an opened pack, a planning date that is past or comes first, an
    answer that is not `meets`, or else its age.
    """

    lot: LotState
    place_key: str
    place: str
    since: date
    keeping: PackKeeping
    answers: tuple[tuple[Asked, Answer], ...]
    rank: int
    why: Why

    @property
    def code(self) -> str:
        """Its printed code."""
        return self.lot.code

    @property
    def planning_date(self) -> date | None:
        """The date to plan with: the low end of the first limit, never a promise."""
        return self.keeping.planning_date


def shelf_lots(context: Context, include_gone: bool = False) -> tuple[ShelfLot, ...]:
    """Every lot with packs left or opened, what to eat first at the top; those gone last, where asked for."""
    criteria = criteria_of(context)
    states = [state for state in lots(context.journal) if include_gone or not state.is_gone]
    found = sorted((_shelf_lot(context, state, criteria) for state in states), key=_order)
    return tuple(replace(one, rank=rank) for rank, one in enumerate(found, 1))


def shelf_lot(context: Context, state: LotState) -> ShelfLot:
    """One lot as it stands on the shelf; its rank among the others is not asked (0)."""
    return _shelf_lot(context, state, criteria_of(context))


def answers_of(context: Context, found: Item, criteria: Criteria) -> tuple[tuple[Asked, Answer], ...]:
    """What the criteria let be said of a lot, question by question, as its card says it."""
    facts = facts_with_cooling(gathered(context, found), criteria)
    kept = Question.SEALED if found.lot and found.lot.sealed == "no_oxygen" else Question.KEPT_AIR
    questions: tuple[tuple[Asked, Question], ...] = (
        ("kept", kept),
        ("eaten", Question.EATEN_UNCOOKED),
        ("carried", Question.CARRIED),
    )
    return tuple(
        (name, asked(found, question, facts, criteria, None, None).answer) for name, question in questions
    )


def _shelf_lot(context: Context, state: LotState, criteria: Criteria) -> ShelfLot:
    stays = stays_of_lot(context, state)
    bought = state.origin == "bought"
    keeping = pack_keeping(context, state)
    answers = () if bought else answers_of(context, item(context, state.code), criteria)
    return ShelfLot(
        lot=state,
        place_key=key_of_place(state.place),
        place=state.place,
        since=stays[-1].since.astimezone(context.zone).date(),
        keeping=keeping,
        answers=answers,
        rank=0,
        why=_why(context, state, keeping, answers),
    )


def _order(one: ShelfLot) -> tuple[bool, bool, date, int, date, str]:
    """Opened first; then by the day it is to be eaten by, by the answers, the worst first, and by age."""
    worst = min((_WORST_FIRST.index(answer) for _, answer in one.answers), default=len(_WORST_FIRST))
    low = one.keeping.low or date.max
    return one.lot.is_gone, not one.lot.opened, low, worst, one.lot.made.packed_on, one.code


def _why(
    context: Context, state: LotState, keeping: PackKeeping, answers: tuple[tuple[Asked, Answer], ...]
) -> Why:
    if state.opened:
        return "opened"
    if keeping.low is not None:
        return "past" if keeping.low < context.today else "date"
    return "age" if dict(answers).get("kept") in (None, Answer.MEETS) else "answer"
