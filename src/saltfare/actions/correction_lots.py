"""Taking something back of a lot must leave books that can be right: no pack drawn that was not there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from saltfare.actions.context import Context
from saltfare.core.errors import NotFound, Problem, Refused
from saltfare.journal import events_shelf as shelf
from saltfare.journal.events import Corrected, Event
from saltfare.journal.events_lot import STREAM
from saltfare.journal.lot import lot_state, lots
from saltfare.journal.shelf import bought


def books_hold(context: Context, corrected: Sequence[Event], ruling: Corrected) -> Mapping[str, int]:
    """The versions of the lots' streams looked at, where the corrections leave every count possible.

    Raises Refused: below_zero_after, bought_in_use.
    """
    seen = {}
    for event in corrected:
        if event.stream.startswith(STREAM):
            seen[event.stream] = _after(context, event, ruling)
        elif event.stream.startswith(shelf.BOUGHT) and ruling.what == "withdraw":
            _still_told(context, event)
    return seen


def _after(context: Context, event: Event, ruling: Corrected) -> int:
    """The version of a lot's stream; the lot is folded as it would be, nothing is written."""
    events = context.journal.events(event.stream)
    last = events[-1]
    pretended = replace(
        last,
        seq=last.seq + 1,
        id=f"{last.id}+",
        stream_version=last.stream_version + 1,
        kind=Corrected.kind,
        corrects=event.id,
        body=ruling,
    )
    before, after = lot_state(events), lot_state((*events, pretended))
    if after is not None and after.short > (before.short if before else 0):
        missing = after.short - (before.short if before else 0)
        params: dict[str, str | float | int] = {"code": after.code, "missing": missing}
        raise Refused(Problem("below_zero_after", "event_id", event.id, params=params))
    return last.stream_version


def _still_told(context: Context, event: Event) -> None:
    """Refuse to take back the only label of a product that packs on the shelf are of."""
    key = event.stream.removeprefix(shelf.BOUGHT)
    try:
        state = bought(context.journal, key)
    except NotFound:
        return
    if event.id != state.described_id:
        return
    told = [
        e
        for e in context.journal.events(event.stream)
        if isinstance(e.body, shelf.BoughtDescribed) and e.id != event.id
    ]
    used = [one.code for one in lots(context.journal) if one.made.bought == key]
    if used and not told:
        raise Refused(Problem("bought_in_use", "event_id", event.id, params={"code": used[0]}))
