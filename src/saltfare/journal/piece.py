"""A piece as its events tell: data only, no physics."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum
from math import prod
from typing import Any, Generic, TypeVar

from saltfare.core.errors import NotFound
from saltfare.core.fields import Measured
from saltfare.journal import events_handling as handling
from saltfare.journal import events_judged as judged
from saltfare.journal import events_piece as kinds
from saltfare.journal.events import Body, Corrected, Event, Noted
from saltfare.journal.events_lot import TastingNoted
from saltfare.journal.fold import Fact, Handlers, effective, fold, in_time
from saltfare.journal.store import Journal

B = TypeVar("B", bound=Body)


class State(StrEnum):
    """Where a piece stands."""

    PLANNED = "planned"
    IN_SALT = "in salt"
    DRAINING = "draining"
    RESTING = "resting"
    HANGING = "hanging"
    AT_ITS_MASS = "at its mass"
    TAKEN_DOWN = "taken down"


@dataclass(frozen=True, slots=True)
class Entry(Generic[B]):
    """One thing that happened, as it counts now. event_id: what a correction names."""

    event_id: str
    at: datetime
    zone: str
    body: B
    corrected_by: str | None = None


@dataclass(frozen=True, slots=True)
class Rebased:
    """Meat that left other than by drying: from `at` on a mass is `kept` of what it would have been.
    left_kg: what the scale then showed."""

    at: datetime
    kept: float
    left_kg: float


@dataclass(frozen=True, slots=True)
class PieceState:
    """A piece. Every series is in time of measurement, however late it was recorded.

    version: the version of its stream, what a command gives as `seen_version`. parent: the piece it was
    cut from; parts: the pieces it was tied together from. ended: how it stopped being a piece of its own
    (`discarded`, `cut_in_two`, `tied_into`), None while it is one; became: the pieces it went on as.
    """

    code: str
    version: int
    started_id: str
    started_at: datetime
    zone: str
    started: kinds.Started
    frozen: tuple[Entry[judged.ParasiteStep], ...] = ()
    salted: tuple[Entry[kinds.Salted], ...] = ()
    drained: tuple[Entry[handling.Drained], ...] = ()
    turned: tuple[Entry[kinds.Turned], ...] = ()
    washed: tuple[Entry[kinds.Washed], ...] = ()
    shaped: tuple[Entry[handling.Shaped], ...] = ()
    injected: tuple[Entry[handling.Injected], ...] = ()
    smoked: tuple[Entry[handling.Smoked], ...] = ()
    hung: tuple[Entry[kinds.Hung], ...] = ()
    rests: tuple[Entry[handling.RestBegun], ...] = ()
    rests_ended: tuple[Entry[handling.RestEnded], ...] = ()
    weigh_ins: tuple[Entry[kinds.Weighed], ...] = ()
    tares: tuple[Entry[handling.TareChanged], ...] = ()
    looked: tuple[Entry[handling.Looked], ...] = ()
    rebased: tuple[Rebased, ...] = ()
    taken_down: tuple[Entry[kinds.TakenDown], ...] = ()
    discarded: tuple[Entry[handling.Discarded], ...] = ()
    notes: tuple[Entry[Noted], ...] = ()
    tastings: tuple[Entry[TastingNoted], ...] = ()
    forecasts: tuple[Entry[kinds.ForecastIssued], ...] = ()
    parent: str | None = None
    parts: tuple[str, ...] = ()
    ended: str | None = None
    ended_at: datetime | None = None
    became: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """What the person calls it."""
        return self.started.name

    @property
    def green_weight_kg(self) -> float:
        """Its mass before salting, of the whole it may have been cut from."""
        return self.started.green_weight.value

    @property
    def is_intact(self) -> bool:
        """Whether it is still one whole muscle that nothing was put into."""
        opened = any(e.body.how in ("rolled", "tied", "butterflied") for e in self.shaped)
        return not (opened or self.injected or self.parts)

    @property
    def target_mass_kg(self) -> float | None:
        """The mass it is to reach as told at hanging, before that as planned, nothing cut off."""
        told = self.hung[-1].body.target if self.hung else None
        target = told or self.started.target
        return target.mass.value if target else None

    @property
    def target_now_kg(self) -> float | None:
        """The mass the scale is to show, less what was cut off."""
        target = self.target_mass_kg
        return None if target is None else target * self.kept_frac

    @property
    def kept_frac(self) -> float:
        """What is left of it after cuts, of what would be there without them."""
        return prod(one.kept for one in self.rebased)

    def comparable_kg(self, mass_kg: float, at: datetime) -> float:
        """A mass as it would be had nothing been cut off before `at`."""
        return mass_kg / prod(one.kept for one in self.rebased if one.at < at)

    @property
    def last_weight(self) -> tuple[datetime, float] | None:
        """When it was last weighed while hanging, and what the scale showed."""
        weights = [(e.at, e.body.mass.value) for e in self.hung[-1:]]
        weights += [(e.at, e.body.mass.value) for e in self.weigh_ins]
        weights += [(e.at, e.body.mass.value) for e in self.rests_ended if e.body.mass is not None]
        return sorted(weights, key=lambda weight: weight[0])[-1] if weights else None

    @property
    def last_mass_kg(self) -> float | None:
        """What the scale showed last of it: hung, weighed in, cut from, or taken down."""
        weights = [self.last_weight] if self.last_weight else []
        weights += [(one.at, one.left_kg) for one in self.rebased]
        weights += [(e.at, e.body.mass.value) for e in self.taken_down if e.body.mass is not None]
        return max(weights, key=lambda weight: weight[0])[1] if weights else None

    @property
    def chamber(self) -> str | None:
        """Where it hangs, or where it was to hang."""
        hung = self.hung[-1].body.chamber if self.hung else None
        return hung or self.started.chamber

    @property
    def tare(self) -> Measured | None:
        """What hangs with it, as told last: at hanging, at a weigh-in, or when it changed."""
        told = [(e.at, e.body.tare) for e in self.hung[-1:]]
        told += [(e.at, e.body.tare) for e in self.weigh_ins]
        told += [(e.at, e.body.tare) for e in self.tares]
        return sorted(told, key=lambda one: one[0])[-1][1] if told else None

    @property
    def weighed_as(self) -> str | None:
        """Its last weight as typed: by it the next one finds its unit."""
        entries = [(e.at, e.body.mass) for e in self.hung[-1:]]
        entries += [(e.at, e.body.mass) for e in self.weigh_ins]
        return sorted(entries, key=lambda one: one[0])[-1][1].typed if entries else None

    @property
    def scale_step(self) -> Measured | None:
        """The step of the scale it was last weighed on, where that was told."""
        return next((e.body.scale_step for e in reversed(self.weigh_ins) if e.body.scale_step), None)

    @property
    def salt_came_at(self) -> tuple[datetime, ...]:
        """When salt came to it, rubbed on or put inside."""
        return (*(e.at for e in self.salted), *(e.at for e in self.injected))

    @property
    def salting_begun_at(self) -> datetime | None:
        """When salt first came to it."""
        return min(self.salt_came_at, default=None)

    @property
    def is_resting(self) -> bool:
        """Whether a rest was begun that has not ended; hanging it ends one."""
        if not self.rests:
            return False
        begun = self.rests[-1].at
        return not any(e.at >= begun for e in self.rests_ended) and not any(e.at > begun for e in self.hung)

    def sealed_rests(self, until: datetime) -> tuple[tuple[datetime, datetime], ...]:
        """When it lay sealed since it was hung, up to an instant: the clock of hanging stands meanwhile."""
        hung = self.hung[-1].at
        out = []
        for rest in self.rests:
            if rest.body.sealed and hung <= rest.at < until:
                ends = [e.at for e in self.rests_ended if e.at >= rest.at]
                out.append((rest.at, min([*ends, until])))
        return tuple(out)

    def hanging_s(self, at: datetime) -> float:
        """Time it hung by an instant, sealed rests left out; negative before hanging."""
        rested = sum((end - begun).total_seconds() for begun, end in self.sealed_rests(at))
        return (at - self.hung[-1].at).total_seconds() - rested

    @property
    def state(self) -> State:
        """Where it stands: what happened tells, and the last weigh-in against the target mass."""
        if self.taken_down or self.ended:
            return State.TAKEN_DOWN
        if self.hung:
            if self.is_resting:
                return State.RESTING
            target, last = self.target_mass_kg, self.last_weight
            weighed = bool(self.weigh_ins) and target is not None and last is not None
            done = weighed and last and target and self.comparable_kg(last[1], last[0]) <= target
            return State.AT_ITS_MASS if done else State.HANGING
        if self.washed or self.is_resting:
            return State.RESTING
        if not self.salt_came_at:
            return State.PLANNED
        drained = bool(self.drained) and self.drained[-1].at > max(self.salt_came_at)
        return State.DRAINING if drained else State.IN_SALT


def entry_of(fact: Fact, body: B) -> Entry[B]:
    """A fact as a state keeps it."""
    return Entry(fact.event.id, fact.at, fact.event.zone, body, fact.corrected_by)


Handler = Callable[[PieceState | None, Fact, Any], PieceState | None]


def _series(name: str) -> Handler:
    def add(state: PieceState | None, fact: Fact, body: Body) -> PieceState | None:
        if state is None:
            return None
        changes: dict[str, Any] = {name: in_time(getattr(state, name), entry_of(fact, body))}
        return replace(state, **changes)

    return add


def _start(state: PieceState | None, fact: Fact, body: kinds.Started) -> PieceState:
    event = fact.event
    code = event.stream.removeprefix(kinds.STREAM)
    if state is not None:  # planned anew: what happened stays
        return replace(state, started=body, started_id=event.id, started_at=fact.at, zone=event.zone)
    return PieceState(code, event.stream_version, event.id, fact.at, event.zone, body)


def _taste(state: PieceState | None, fact: Fact, body: handling.Tasted) -> PieceState | None:
    return _rebase(state, fact.at, body.after.value, body.before.value)


def _split(state: PieceState | None, fact: Fact, body: handling.SplitOff) -> PieceState | None:
    """The parent's history goes on under the part's code, for the part's share of the mass."""
    if state is None:
        return None
    code = fact.event.stream.removeprefix(kinds.STREAM)
    part = replace(
        state,
        code=code,
        parent=state.code,
        started_id=fact.event.id,
        ended=None,
        ended_at=None,
        became=(),
    )
    return _rebase(part, fact.at, body.mass.value, body.whole.value)


def _rebase(state: PieceState | None, at: datetime, left_kg: float, of_kg: float) -> PieceState | None:
    return state and replace(state, rebased=in_time(state.rebased, Rebased(at, left_kg / of_kg, left_kg)))


def _cut(state: PieceState | None, fact: Fact, body: handling.CutInTwo) -> PieceState | None:
    return state and replace(state, ended=body.kind, ended_at=fact.at, became=tuple(body.parts))


def _tie(state: PieceState | None, fact: Fact, body: handling.TiedInto) -> PieceState | None:
    return state and replace(state, ended=body.kind, ended_at=fact.at, became=(body.code,))


def _discard(state: PieceState | None, fact: Fact, body: handling.Discarded) -> PieceState | None:
    thrown = _series("discarded")(state, fact, body)
    return thrown and replace(thrown, ended=body.kind, ended_at=fact.at)


_HANDLERS: Handlers[PieceState | None] = {
    kinds.Started: _start,
    judged.ParasiteStep: _series("frozen"),
    kinds.Salted: _series("salted"),
    kinds.Turned: _series("turned"),
    kinds.Washed: _series("washed"),
    kinds.Hung: _series("hung"),
    kinds.Weighed: _series("weigh_ins"),
    kinds.TakenDown: _series("taken_down"),
    kinds.ForecastIssued: _series("forecasts"),
    handling.Drained: _series("drained"),
    handling.Shaped: _series("shaped"),
    handling.Injected: _series("injected"),
    handling.Smoked: _series("smoked"),
    handling.RestBegun: _series("rests"),
    handling.RestEnded: _series("rests_ended"),
    handling.TareChanged: _series("tares"),
    handling.Looked: _series("looked"),
    handling.Tasted: _taste,
    handling.SplitOff: _split,
    handling.CutInTwo: _cut,
    handling.TiedInto: _tie,
    handling.Discarded: _discard,
    Noted: _series("notes"),
    TastingNoted: _series("tastings"),
}


def piece_state(events: tuple[Event, ...], initial: PieceState | None = None) -> PieceState | None:
    """The piece its events tell of; None where its start was withdrawn."""
    state = fold(events, initial, _HANDLERS)
    return replace(state, version=events[-1].stream_version) if state else None


def piece(journal: Journal, code: str) -> PieceState:
    """The piece of that code. Raises NotFound, also where its start was withdrawn."""
    state = _with_forebears(journal, code)
    if state is None:
        raise NotFound("piece", code)
    return state


def pieces(journal: Journal) -> tuple[PieceState, ...]:
    """Every piece, in the order they were started."""
    codes = [stream.removeprefix(kinds.STREAM) for stream in journal.streams(kinds.STREAM)]
    return tuple(state for code in codes if (state := _with_forebears(journal, code)))


def _with_forebears(journal: Journal, code: str) -> PieceState | None:
    """A piece with the history of those it came from, which may still be corrected afterwards."""
    own = journal.fold(kinds.STREAM + code, tuple)
    if not own:
        return None
    first = own[0].body
    came_of = isinstance(first, handling.SplitOff | handling.TiedTogether)
    if came_of and all(fact.event.id != own[0].id for fact in effective(own)):
        return None
    if isinstance(first, handling.SplitOff):
        before = _until(journal.fold(kinds.STREAM + first.parent, tuple) or (), own[0].seq)
        return piece_state((*before, *own))
    if isinstance(first, handling.TiedTogether):
        found = [_at(journal, part, own[0].seq) for part in first.parts]
        return piece_state(own, _tied(own[0], first, [state for state in found if state]))
    return journal.fold(kinds.STREAM + code, piece_state)


def _at(journal: Journal, code: str, seq: int) -> PieceState | None:
    """A piece as it was before an event, later corrections counted."""
    events = _until(journal.fold(kinds.STREAM + code, tuple) or (), seq)
    first = events[0].body if events else None
    if isinstance(first, handling.SplitOff):
        before = _until(journal.fold(kinds.STREAM + first.parent, tuple) or (), events[0].seq)
        return piece_state((*before, *events))
    return piece_state(events) if events else None


def _until(events: Iterable[Event], seq: int) -> tuple[Event, ...]:
    return tuple(e for e in events if e.seq < seq or isinstance(e.body, Corrected))


def _of_all(parts: list[PieceState], name: str) -> tuple[Entry[Any], ...]:
    """A series of all the pieces tied into one, each mass for the share of its piece that was left."""
    found: tuple[Entry[Any], ...] = ()
    for part in parts:
        for entry in getattr(part, name):
            masses = {
                field: Measured.si(value.value * part.kept_frac)
                for field in ("salt", "mix", "sugar", "liquid", "brine")
                if isinstance(value := getattr(entry.body, field, None), Measured)
                and (field != "salt" or name == "salted")  # of a liquid it is a share
            }
            body = entry.body.model_copy(update=masses) if part.kept_frac < 1 else entry.body
            found = in_time(found, replace(entry, body=body))
    return found


def _tied(event: Event, body: handling.TiedTogether, parts: list[PieceState]) -> PieceState | None:
    """One piece of several, hung anew as one; it begins with the first one's cut and plan."""
    if not parts:
        return None
    whole = sum(mass.value for mass in body.parts.values())
    green = sum(part.green_weight_kg * part.kept_frac for part in parts)
    target = sum(part.target_now_kg or 0.0 for part in parts)
    begun = parts[0].started.model_copy(
        update={
            "name": body.name,
            "green_weight": Measured.si(green),
            "shape": body.shape,
            "thickness": body.thickness,
            "length": body.length,
            "width": body.width,
        }
    )
    told = parts[0].hung[-1].body.target if parts[0].hung else begun.target
    hung = kinds.Hung(
        chamber=parts[0].chamber,
        mass=Measured.si(whole),
        target=told.model_copy(update={"mass": Measured.si(target)}) if told else None,
    )
    code = event.stream.removeprefix(kinds.STREAM)
    return PieceState(
        code=code,
        version=event.stream_version,
        started_id=event.id,
        started_at=parts[0].started_at,
        zone=event.zone,
        started=begun,
        salted=_of_all(parts, "salted"),
        drained=_of_all(parts, "drained"),
        injected=_of_all(parts, "injected"),
        smoked=_of_all(parts, "smoked"),
        washed=parts[0].washed,
        hung=(Entry(event.id, event.at, event.zone, hung),),
        parts=tuple(body.parts),
    )
