"""What was recorded together over several streams is taken back, and put back, together.

Cutting a piece up ends it and begins its parts; tying ends the parts and begins the whole; taking down
a piece and packing a dish make lots. Half of such an act taken back would leave the same meat twice.
"""

from __future__ import annotations

from saltfare.actions.context import Context
from saltfare.actions.correction_trips import ACTS, refuse_gone_on, trip_act, trip_act_of
from saltfare.core.errors import Problem, Refused
from saltfare.journal import events_dish as dishes
from saltfare.journal import events_handling as handling
from saltfare.journal import events_lot as lots
from saltfare.journal import events_piece as pieces
from saltfare.journal import events_shelf as shelf
from saltfare.journal.events import Body, Corrected, Event
from saltfare.journal.fold import effective

_BEGIN = (handling.SplitOff, handling.TiedTogether, lots.LotMade)


def family(context: Context, event: Event) -> tuple[Event, ...]:
    """The events that one act recorded, that event among them; those on what was there before come first.

    Of a correction: the corrections made with it. Raises Refused where something was recorded since on
    what the act began.
    """
    chain = _chain(context, event)
    if len(chain) == 1:
        refuse_gone_on(context, event)
    roots = _together(context, chain[-1])
    begun = [root for root in roots if isinstance(root.body, _BEGIN)]
    for root in begun:
        _unused(context, root)
    if len(chain) == 1:
        found = roots
    else:
        found = tuple(
            event if root.id == chain[-1].id else _beside(context, root, event, len(chain)) for root in roots
        )
    return tuple(sorted(found, key=lambda one: one.stream in {root.stream for root in begun}))


def _together(context: Context, root: Event) -> tuple[Event, ...]:
    body = root.body
    match body:
        case handling.CutInTwo():
            return (root, *(_first(context, pieces.STREAM + code) for code in body.parts))
        case handling.SplitOff():
            cut = _of(context, pieces.STREAM + body.parent, handling.CutInTwo, root)
            return _together(context, cut) if cut else (root,)
        case handling.TiedTogether():
            into = [_of(context, pieces.STREAM + code, handling.TiedInto, root) for code in body.parts]
            return (*(one for one in into if one), root)
        case handling.TiedInto():
            return _together(context, _first(context, pieces.STREAM + body.code))
        case pieces.TakenDown():
            return (root, *(_first(context, lots.STREAM + code) for code in body.lots))
        case dishes.DishPacked():
            return (root, *(_first(context, lots.STREAM + one.lot) for one in body.portions))
        case lots.LotMade():
            return _with_lot(context, root, body)
        case lots.PacksDrawn() if body.into:
            return _together(context, _first(context, lots.STREAM + body.into))
        case dishes.PouchTried() if body.lot:
            return _tried(context, root, root.stream, lots.STREAM + body.lot)
        case lots.PacksDrawn() if body.tried:
            return _tried(context, root, dishes.STREAM + body.tried, root.stream)
        case lots.PacksDrawn() if body.swap:
            return _together(context, _first(context, shelf.SWAPS + body.swap))
        case shelf.Swapped():
            code = root.stream.partition("/")[2]
            gone = [_drawn(context, side.lot, "swap", code) for side in body.went]
            made = [_first(context, lots.STREAM + side.lot) for side in body.came]
            return (*(one for one in gone if one), root, *made)
        case lots.PacksReserved() | lots.PacksReturned() | lots.PacksDrawn() if body.trip:
            return trip_act_of(context, root, body.trip)
    return trip_act(context, root) if isinstance(body, ACTS) else (root,)


def _tried(context: Context, root: Event, batch: str, lot: str) -> tuple[Event, ...]:
    """A test pouch and the pack that left the shelf for it: the same place in the row of such of that lot."""
    codes = batch.partition("/")[2], lot.partition("/")[2]
    tried = [e for e in context.journal.events(batch)
             if isinstance(e.body, dishes.PouchTried) and e.body.lot == codes[1]]  # fmt: skip
    drawn = [e for e in context.journal.events(lot)
             if isinstance(e.body, lots.PacksDrawn) and e.body.tried == codes[0]]  # fmt: skip
    pairs = zip(tried, drawn, strict=True)
    return next((pair for pair in pairs if root.id in (pair[0].id, pair[1].id)), (root,))


def _with_lot(context: Context, root: Event, body: lots.LotMade) -> tuple[Event, ...]:
    """A lot's making with what it was made in one act with."""
    if body.swap:
        return _together(context, _first(context, shelf.SWAPS + body.swap))
    if body.piece and (down := _of(context, pieces.STREAM + body.piece, pieces.TakenDown, root)):
        return _together(context, down)
    if body.dish and (packed := _of(context, dishes.STREAM + body.dish, dishes.DishPacked, root)):
        return _together(context, packed)
    code = root.stream.partition("/")[2]
    drawn = [_drawn(context, part.code, "into", code) for part in body.parts]
    return (*(one for one in drawn if one), root)


def _drawn(context: Context, lot: str, link: str, code: str) -> Event | None:
    """The event by which packs of a lot went into another, or into a swap."""
    for event in context.journal.events(lots.STREAM + lot):
        if isinstance(event.body, lots.PacksDrawn) and getattr(event.body, link) == code:
            return event
    return None


def _first(context: Context, stream: str) -> Event:
    return context.journal.events(stream)[0]


def _of(context: Context, stream: str, kind: type[Body], root: Event) -> Event | None:
    """The event of a kind in another stream that names this one's code."""
    code = root.stream.partition("/")[2]
    for event in context.journal.events(stream):
        body = event.body
        if not isinstance(body, kind):
            continue
        named: tuple[str, ...] = ()
        if isinstance(body, handling.CutInTwo):
            named = tuple(body.parts)
        elif isinstance(body, pieces.TakenDown):
            named = body.lots
        elif isinstance(body, handling.TiedInto):
            named = (body.code,)
        elif isinstance(body, dishes.DishPacked):
            named = tuple(one.lot for one in body.portions)
        if code in named:
            return event
    return None


def _chain(context: Context, event: Event) -> list[Event]:
    """An event, what it corrects, and so on down to what was observed."""
    chain = [event]
    while chain[-1].corrects is not None:
        chain.append(context.journal.event(chain[-1].corrects))
    return chain


def _beside(context: Context, root: Event, event: Event, depth: int) -> Event:
    """The correction of `root`, or of what corrected it, made in the same breath as `event`."""
    for one in reversed(context.journal.events(root.stream)):
        if isinstance(one.body, Corrected) and one.recorded_at == event.recorded_at:
            chain = _chain(context, one)
            if len(chain) == depth and chain[-1].id == root.id:
                return one
    raise Refused(Problem("not_correctable", "event_id", event.kind))


def _unused(context: Context, root: Event) -> None:
    for fact in effective(context.journal.events(root.stream)):
        if fact.event.id != root.id and not isinstance(fact.body, pieces.ForecastIssued):
            raise Refused(
                Problem("went_on", "event_id", root.id, params={"code": root.stream.partition("/")[2]})
            )
