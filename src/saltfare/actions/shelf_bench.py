"""What the shelf puts on the Bench: opened packs, and lots whose planning date is past or near."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Literal

from saltfare.actions.context import Context
from saltfare.actions.pack_keeping import keeping_known
from saltfare.core.fields import Frozen
from saltfare.journal.lot import lots

NEAR_DAYS = 30


class LotDueShown(Frozen):
    """A lot to be eaten soon. why: opened, its planning date (`on`) past, or near."""

    code: str
    name: str
    why: Literal["opened", "past", "near"]
    on: date | None
    packs_left: int
    opened: int
    place: str


def lots_due(context: Context) -> tuple[tuple[LotDueShown, ...], int]:
    """Lots to eat soon, opened ones first, then by planning date; and of how many the date is still to be
    worked out, which the Bench leaves to the Shelf: it must open at once."""
    last = context.today + timedelta(days=NEAR_DAYS)
    found, open_ = [], 0
    for state in lots(context.journal):
        if state.is_gone:
            continue
        keeping = keeping_known(context, state)
        open_ += keeping is None
        on = keeping.low if keeping else None
        if not state.opened and (on is None or on > last):
            continue
        why: Literal["opened", "past", "near"]
        why = "opened" if state.opened else "past" if on and on < context.today else "near"
        found.append(
            LotDueShown(
                code=state.code,
                name=state.name,
                why=why,
                on=on,
                packs_left=state.packs_left,
                opened=state.opened,
                place=state.place,
            )
        )
    found.sort(key=lambda one: (one.why != "opened", one.on or date.max, one.code))
    return tuple(found), open_
