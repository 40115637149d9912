"""From a wrong mix, a place or a failed step to every piece, lot and receiver it touched."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from pydantic import AwareDatetime, Field

from saltfare.actions.context import Context
from saltfare.actions.incident_shapes import Receiver
from saltfare.actions.judged_incident import incident_facts, receivers
from saltfare.actions.judged_items import Item, item, items, key_of_place, stays, told_of, touched
from saltfare.actions.shapes import Output, Query
from saltfare.core.errors import Problem, Refused
from saltfare.core.fields import Called, Frozen
from saltfare.journal import events_handling as handling
from saltfare.journal import events_judged as judged
from saltfare.journal import events_lot as lots
from saltfare.journal import events_piece as kinds
from saltfare.journal.codes import parse_code


class RecallGiven(Query):
    """Where to begin; exactly one of them. mix: a cure mix by its name, used from `since` to `until`. place:
    whatever was there between. code: a piece or lot. event_id: a step that went wrong. incident: by its code.
    """

    mix: str | None = Field(default=None, min_length=1, max_length=120)
    place: Called | None = None
    code: str | None = Field(default=None, max_length=40)
    event_id: str | None = Field(default=None, max_length=40)
    incident: str | None = Field(default=None, max_length=40)
    since: AwareDatetime | None = None
    until: AwareDatetime | None = None


class Reached(Frozen):
    """A piece or lot that was touched. how: the first step of the way there; from_code: what it came from.

    perhaps: where it was then was not told, or what was in the mix was not written down.
    """

    code: str
    kind: Literal["piece", "dish", "lot"]
    name: str
    state: str
    how: str
    from_code: str | None
    perhaps: bool
    gone: bool
    where: str
    receivers: tuple[Receiver, ...]


class RecallShown(Output):
    """Everything touched, what is still in the house first; the names of mixes and places there are."""

    reached: tuple[Reached, ...]
    receivers: tuple[Receiver, ...]
    mixes: tuple[str, ...]
    places: tuple[str, ...]


_START = ("mix", "place", "code", "event_id", "incident")


def recall(context: Context, given: RecallGiven) -> RecallShown:
    """Every piece, lot and receiver that something wrong has touched."""
    named = [name for name in _START if getattr(given, name) is not None]
    if len(named) > 1:
        raise Refused(Problem("one_beginning", named[1], given=", ".join(named)))
    everything = {found.code: found for found in items(context)}
    seeds = _seeds(context, given, everything) if named else {}
    reached: dict[str, Reached] = {}
    waiting: list[tuple[str, str, str | None, bool]]
    waiting = [(code, how, None, perhaps) for code, (how, perhaps) in seeds.items()]
    while waiting:
        code, how, came_from, perhaps = waiting.pop(0)
        found = everything.get(code)
        if found is None or (code in reached and (perhaps or not reached[code].perhaps)):
            continue
        reached[code] = _shown(found, how, came_from, perhaps)
        waiting += [(child, way, code, perhaps) for child, way in _onward(found, everything)]
    everyone = [r for one in reached.values() for r in one.receivers]
    return RecallShown(
        reached=tuple(sorted(reached.values(), key=lambda one: (one.gone, one.kind, one.name, one.code))),
        receivers=tuple(sorted(everyone, key=lambda r: (r.name, r.at))),
        mixes=_mixes(everything),
        places=_places(everything),
    )


def _seeds(context: Context, given: RecallGiven, everything: dict[str, Item]) -> dict[str, tuple[str, bool]]:
    """Codes to begin from: how each was touched, and whether that is sure."""
    if given.code is not None:
        return {item(context, given.code).code: ("itself", False)}
    if given.event_id is not None:
        return _by_event(context, given.event_id)
    if given.mix is not None:
        return _by_mix(given, everything)
    if given.incident is not None:
        return _by_incident(context, parse_code(given.incident), everything)
    since = given.since or datetime.min.replace(tzinfo=context.now.tzinfo)
    until = given.until or context.now
    place = key_of_place(given.place or "")
    out: dict[str, tuple[str, bool]] = {}
    for code, found in everything.items():
        there = [stay for stay in stays(context, found) if stay.meets(since, until)]
        if any(stay.place == place for stay in there):
            out[code] = ("place", False)
        elif any(not stay.place for stay in there):
            out[code] = ("place", True)
    return out


def _by_event(context: Context, event_id: str) -> dict[str, tuple[str, bool]]:
    event = context.journal.event(event_id)
    prefix, _, code = event.stream.partition("/")
    if f"{prefix}/" not in (kinds.STREAM, lots.STREAM):
        raise Refused(Problem("event_of_nothing_eaten", "event_id", event_id))
    return {code: ("step", False)}


def _by_mix(given: RecallGiven, everything: dict[str, Item]) -> dict[str, tuple[str, bool]]:
    wanted = key_of_place(given.mix or "")
    out: dict[str, tuple[str, bool]] = {}
    for code, found in everything.items():
        state = found.piece
        if found.lot or state is None or state.started.salting.mix is None:
            continue
        if key_of_place(state.started.salting.mix.name) != wanted:
            continue
        used = [
            entry
            for entry in state.salted
            if (given.since is None or entry.at >= given.since)
            and (given.until is None or entry.at <= given.until)
        ]
        if used:
            # an application whose mix was not weighed may still have held it
            out[code] = ("mix", not any(entry.body.mix for entry in used))
    return out


def _by_incident(context: Context, code: str, everything: dict[str, Item]) -> dict[str, tuple[str, bool]]:
    happened = next(h for h in incident_facts(context, code) if isinstance(h.body, judged.IncidentReported))
    out: dict[str, tuple[str, bool]] = {}
    for key, found in everything.items():
        there = touched(context, found, told_of(happened), context.now)
        if there is not False:
            out[key] = ("incident", there is None)
    return out


def _onward(found: Item, everything: dict[str, Item]) -> list[tuple[str, str]]:
    """What came of an item: its parts, what it was tied into, its lots."""
    if found.lot:
        into = [h.body.into for h in found.of(lots.PacksDrawn) if isinstance(h.body, lots.PacksDrawn)]
        return [(code, "mixed_into") for code in dict.fromkeys(into) if code]
    out: list[tuple[str, str]] = []
    for happened in found.happened:
        if happened.event.stream != found.stream:
            continue
        body = told_of(happened)
        if isinstance(body, handling.CutInTwo):
            out += [(code, "cut_from") for code in body.parts]
        elif isinstance(body, handling.TiedInto):
            out.append((body.code, "tied_into"))
    out += [
        (code, "packed_from") for code, one in everything.items() if one.lot and one.lot.piece == found.code
    ]
    return out


def _shown(found: Item, how: str, came_from: str | None, perhaps: bool) -> Reached:
    where = found.stands.place if found.stands else (found.piece.chamber or "" if found.piece else "")
    kind: Literal["piece", "dish", "lot"] = "lot" if found.lot else "dish" if found.dish else "piece"
    return Reached(
        code=found.code,
        kind=kind,
        name=found.name,
        state=found.state,
        how=how,
        from_code=came_from,
        perhaps=perhaps,
        gone=found.is_gone,
        where=where,
        receivers=receivers(found),
    )


def _mixes(everything: dict[str, Item]) -> tuple[str, ...]:
    names = [
        one.piece.started.salting.mix.name
        for one in everything.values()
        if not one.lot and one.piece and one.piece.started.salting.mix
    ]
    return tuple(dict.fromkeys(names))


def _places(everything: dict[str, Item]) -> tuple[str, ...]:
    names: list[str] = []
    for one in everything.values():
        if one.stands:
            names += [one.stands.made.place, *(e.body.place for e in one.stands.moved)]
        elif one.piece:
            names += [e.body.chamber or "" for e in one.piece.hung]
            names += [e.body.place for e in one.piece.rests]
    return tuple(dict.fromkeys(name for name in names if name))
