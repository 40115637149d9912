"""One lot: how it stands, where it stood and how warm it was there, what happened, how it was."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date, datetime
from typing import Any

from pydantic import Field

from saltfare.actions.context import Context
from saltfare.actions.judged_items import Stay, key_of_place, stays_of_lot
from saltfare.actions.pack_place import kept_in
from saltfare.actions.piece_log import LogLine
from saltfare.actions.shapes import Output, Query
from saltfare.actions.shelf_line import Liked, ShelfLine, liked_by, line_of
from saltfare.actions.shelf_lots import shelf_lot
from saltfare.actions.shelf_shapes import found_lot
from saltfare.actions.tasting import said_of
from saltfare.core.fields import Frozen, Measured
from saltfare.core.figure import Note
from saltfare.journal import events_lot as kinds
from saltfare.journal.chamber import chambers as chamber_states
from saltfare.journal.events import Body, Corrected
from saltfare.journal.fold import Fact, effective, withdrawn
from saltfare.journal.lot import LotState
from saltfare.journal.piece import Entry
from saltfare.journal.shelf import places as place_states


class LotGiven(Query):
    """A lot by the code printed on its label."""

    code: str = Field(max_length=60)


class StayShown(Frozen):
    """Where it stood and how warm that was: as read in a chamber (readings: how many), as the place was
    described, or not told. until None: it stands there."""

    place: str
    since: datetime
    until: datetime | None
    basis: str
    readings: int
    low_c: float | None
    mean_c: float | None
    high_c: float | None


class TastingShown(Frozen):
    """How it was, by one person. of: lot, piece, dish or bought product it was said of."""

    event_id: str
    at: datetime
    of: str
    who: str
    liked: str | None
    too_wet: bool | None
    hard_in_the_middle: bool | None
    would_carry_again: bool | None
    text: str


class LotShown(Output):
    """A lot with all there is to say of it; `line` as the shelf lists it.

    may_do: the acts open to it now. parts: of a mixed pack. out: packs that left whole and may come back.
    """

    line: ShelfLine
    made_id: str
    pack_mass: str
    parts: tuple[tuple[str, str], ...]
    printed_on: date | None
    out: int
    may_do: tuple[str, ...]
    stays: tuple[StayShown, ...]
    tastings: tuple[TastingShown, ...]
    liked: Liked
    log: tuple[LogLine, ...]
    labels: int


def lot(context: Context, given: LotGiven) -> LotShown:
    """Everything there is to say of one lot."""
    state = found_lot(context, given.code)
    one = shelf_lot(context, state)
    tastings = tuple(_tasting(entry, of) for of, entry in said_of(context, state))
    return LotShown(
        line=line_of(context, one),
        made_id=state.made_id,
        pack_mass=state.made.mass.typed,
        parts=tuple((part.code, part.mass.typed) for part in state.made.parts),
        printed_on=state.made.printed_on,
        out=state.out,
        may_do=_may_do(state),
        stays=tuple(_stay(context, state, stay) for stay in stays_of_lot(context, state)),
        tastings=tastings,
        liked=liked_by(tuple(one.liked for one in tastings)),
        log=_log(context, state),
        labels=len(state.labels),
        notes=_notes(state),
    )


def _tasting(entry: Entry[kinds.TastingNoted], of: str) -> TastingShown:
    told = entry.body
    return TastingShown(
        event_id=entry.event_id,
        at=entry.at,
        of=of,
        who=told.who,
        liked=told.liked,
        too_wet=told.too_wet,
        hard_in_the_middle=told.hard_in_the_middle,
        would_carry_again=told.would_carry_again,
        text=told.text,
    )


def _may_do(state: LotState) -> tuple[str, ...]:
    acts = ["draw_packs"] if state.packs_left else []
    acts += ["finish_opened"] if state.opened else []
    acts += ["move_lot"] if not state.is_gone else []
    acts += ["count_lot", "note_tasting"]
    return (*acts, *(["return_packs"] if state.out else []))


def _stay(context: Context, state: LotState, stay: Stay) -> StayShown:
    until = stay.until or context.now
    names = {key_of_place(one): one for one in (state.made.place, *(e.body.place for e in state.moved))}
    chamber = next(
        (one for one in chamber_states(context.journal) if stay.place in (one.key, key_of_place(one.name))),
        None,
    )
    read = context.journal.readings.range(chamber.key, stay.since, until) if chamber else ()
    temps = [one.temp_c for one in read]
    basis = "read" if temps else _basis(context, stay.place, chamber is not None)
    if not temps and basis == "described":
        temps = _described(context, state, stay, until)
    return StayShown(
        place=names.get(stay.place, stay.place),
        since=stay.since,
        until=stay.until,
        basis=basis,
        readings=len(read),
        low_c=min(temps) if temps else None,
        mean_c=sum(temps) / len(temps) if temps else None,
        high_c=max(temps) if temps else None,
    )


def _basis(context: Context, place: str, is_chamber: bool) -> str:
    told = any(key_of_place(one.name) == place or one.key == place for one in place_states(context.journal))
    return "described" if told or is_chamber else "not_told"


def _described(context: Context, state: LotState, stay: Stay, until: datetime) -> list[float]:
    """The temperatures taken for a stay where nothing was read: of the place as described, step by step."""
    kept = kept_in(context, state)
    since_s, until_s = ((at - kept.since).total_seconds() for at in (stay.since, until))
    begins = [0.0, *kept.place.ends_s[:-1]]
    return [
        float(temp)
        for begin, end, temp in zip(begins, kept.place.ends_s, kept.place.temp_c, strict=True)
        if end > since_s and begin < max(until_s, since_s + 1.0)
    ]


def _notes(state: LotState) -> tuple[Note, ...]:
    notes = []
    if state.short:
        notes.append(Note("books_short", {"missing": state.short}))
    if state.origin == "bought":
        notes.append(Note("kept_as_label_says"))
    if state.made.maker:
        notes.append(Note("made_elsewhere", {"maker": state.made.maker}))
    return tuple(notes)


# what happened

_Told = dict[str, Measured | str | int | None]
_TOLD: dict[str, Callable[[Any], _Told]] = {
    "lot_made": lambda b: {"packs": b.packs, "mass": b.mass, "place": b.place},
    "packs_drawn": lambda b: {
        "packs": b.packs,
        "why_drawn": b.why,
        "receiver": b.receiver,
        "reason": b.reason,
        "into": b.into,
    },
    "opened_finished": lambda b: {"packs": b.packs, "why_drawn": b.why, "reason": b.reason},
    "packs_returned": lambda b: {"packs": b.packs, "reason": b.reason},
    "lot_moved": lambda b: {"place": b.place},
    "lot_counted": lambda b: {"packs": b.packs, "reason": b.reason},
    "packs_reserved": lambda b: {"packs": b.packs},
    "label_printed": lambda b: {"copies": b.copies},
    "tasting_noted": lambda b: {"who": b.who, "liked": b.liked, "text": b.text},
    "verdict_acted": lambda b: {"done": b.done, "packs": b.packs, "receiver": b.receiver},
    "measurement": lambda b: {"value": b.value},
    "parasite_step": lambda b: {"place": b.place},
    "lot_food_told": lambda b: {"water": b.water},
    "lot_work_told": lambda b: {"time": b.time},
    "noted": lambda b: {"text": b.text},
}
_KEPT = frozenset({"lot_made", "label_printed", "packs_reserved"})
"""What is not taken back here: the lot's making where it went on, what left the house, what a trip holds."""


def _log(context: Context, state: LotState) -> tuple[LogLine, ...]:
    """What happened to it, newest first, and what was taken back."""
    events = context.journal.events(kinds.STREAM + state.code)
    by_id = {event.id: event for event in events}
    out = [_line(fact, state) for fact in _told_by_people(effective(events))]
    for fact in _told_by_people(withdrawn(events)):
        back = by_id[fact.corrected_by or ""]
        why = back.body.reason if isinstance(back.body, Corrected) else ""
        gone = {"corrected": False, "withdrawable": False, "withdrawn_by": back.id}
        line = _line(fact, state).model_copy(
            update={**gone, "withdrawn_at": back.recorded_at, "withdrawn_why": why}
        )
        out.append(line)
    out.sort(key=lambda line: (line.at, line.recorded_at))
    out.reverse()
    return tuple(out)


def _told_by_people(facts: Iterable[Fact]) -> list[Fact]:
    return [fact for fact in facts if not isinstance(fact.body, Corrected)]


def _line(fact: Fact, state: LotState) -> LogLine:
    return LogLine(
        event_id=fact.event.id,
        kind=fact.event.kind,
        at=fact.at,
        recorded_at=fact.event.recorded_at,
        params=_params(fact.event.kind, fact.body),
        reasons=dict(fact.body.reasons),
        corrected=fact.corrected_by is not None,
        withdrawable=fact.event.kind not in _KEPT
        or (fact.event.kind == "lot_made" and len(state.moves) == 0),
    )


def _params(kind: str, body: Body) -> dict[str, str]:
    told = _TOLD[kind](body) if kind in _TOLD else {}
    return {
        name: value.typed if isinstance(value, Measured) else str(value)
        for name, value in told.items()
        if value not in (None, "")
    }
