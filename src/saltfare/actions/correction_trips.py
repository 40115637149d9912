"""What a trip did to the shelf is taken back with it: a menu let go of without its packs would hold them for
ever."""

from __future__ import annotations

from saltfare.actions.context import Context
from saltfare.core.errors import Problem, Refused
from saltfare.journal import events_lot as lots
from saltfare.journal import events_trip as trips
from saltfare.journal.events import Body, Event
from saltfare.journal.fold import effective

ACTS = (
    trips.MenuCommitted,
    trips.MenuReleased,
    trips.TripCancelled,
    trips.PacksTaken,
    trips.TripAfter,
)
"""Events of a trip that were recorded together with events of lots."""
_ON_LOTS = (lots.PacksReserved, lots.PacksDrawn, lots.PacksReturned, lots.TastingNoted)
# What must not have come after what is taken back: it rests on it.
_LATER: dict[type[Body], tuple[type[Body], ...]] = {
    trips.MenuCommitted: (trips.PacksTaken, trips.TripAfter),
    trips.PacksTaken: (trips.TripAfter,),
}


def trip_act(context: Context, root: Event) -> tuple[Event, ...]:
    """An act of a trip with what it did to lots, which was appended in one go right after it."""
    code = root.stream.removeprefix(trips.STREAM)
    out, seq = [root], root.seq
    for event in context.journal.events(since=root.seq):
        body = event.body
        same = event.recorded_at == root.recorded_at and event.request_id == root.request_id
        ours = isinstance(body, _ON_LOTS) and getattr(body, "trip", code) == code
        if event.seq != seq + 1 or not same or not ours:
            break
        out.append(event)
        seq = event.seq
    return tuple(out)


def trip_act_of(context: Context, event: Event, code: str) -> tuple[Event, ...]:
    """The act of a trip that an event of a lot belongs to; the event alone where it is of none."""
    for root in context.journal.events(trips.STREAM + code):
        if isinstance(root.body, ACTS):
            found = trip_act(context, root)
            if any(one.id == event.id for one in found):
                return found
    return (event,)


def refuse_gone_on(context: Context, event: Event) -> None:
    """Refuse to take back what later things of the trip rest on. Raises Refused (went_on)."""
    if not event.stream.startswith(trips.STREAM):
        return
    facts = effective(context.journal.events(event.stream))
    later: tuple[type[Body], ...] = _LATER.get(type(event.body), ())
    follows = (
        any(fact.event.seq > event.seq and isinstance(fact.body, later) for fact in facts) if later else False
    )
    if isinstance(event.body, trips.TripPlanned):
        first = min(fact.event.seq for fact in facts) if facts else event.seq
        follows = event.seq == first and len(facts) > 1
    if follows:
        params: dict[str, str | float | int] = {"code": event.stream.removeprefix(trips.STREAM)}
        raise Refused(Problem("went_on", "event_id", event.id, params=params))
