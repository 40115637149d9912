"""What is typed of something that went wrong in a place, and what each piece and lot there comes to."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from pydantic import AwareDatetime, Field

from saltfare.actions.judged_shapes import CriterionShown, PlaceTemperature, ReadingGiven, TemperatureError
from saltfare.actions.shapes import Command, Done, Output, Query
from saltfare.core.fields import Called, Frozen
from saltfare.core.figure import Answer, Note
from saltfare.journal import events_judged as judged

Code = Annotated[str, Field(max_length=40)]


class IncidentGiven(Command):
    """What went wrong in a place. until: left out where it goes on. warmest: the highest it read there from
    beginning to end, readings: a log where one is at hand. found: what the food was like; it counts only
    where that was looked at before the cold came back. also, apart: codes of what was there, and was not,
    where the journal does not know.
    """

    place: Called
    what: judged.What
    since: AwareDatetime
    until: AwareDatetime | None = None
    warmest: PlaceTemperature | None = None
    error: TemperatureError | None = None
    readings: tuple[ReadingGiven, ...] = Field(default=(), max_length=20_000)
    found: judged.Found = "not_looked"
    before_cold_back: bool = False
    also: tuple[Code, ...] = Field(default=(), max_length=200)
    apart: tuple[Code, ...] = Field(default=(), max_length=200)
    text: str = Field(default="", max_length=2000)
    instead_of: str | None = Field(default=None, max_length=40)


class CloseGiven(Command):
    """What became of each: decisions by code. What is not named is as it was told; of what was only perhaps
    there, nothing is recorded unless it is named."""

    incident: Code
    decisions: dict[Code, judged.Decision] = Field(default_factory=dict, max_length=400)
    text: str = Field(default="", max_length=2000)


class IncidentAsked(Query):
    """An incident by its code."""

    incident: Code


class IncidentsGiven(Query):
    """Nothing."""


class Reported(Done):
    """The code of the incident."""

    code: str


class Receiver(Frozen):
    """To whom something went, when, how much of it, and by which event."""

    name: str
    at: datetime
    done: str
    packs: int | None
    event_id: str


class Touched(Frozen):
    """A piece or lot that was there, or perhaps was: what to do, why, by which rule or criterion.

    perhaps: its place was not told. gone: it is not in the house any more; receivers: to whom it went.
    """

    code: str
    kind: Literal["piece", "dish", "lot"]
    name: str
    state: str
    decision: judged.Decision
    perhaps: bool
    answer: Answer
    rule: str
    why: Note
    cite: str
    criteria: tuple[CriterionShown, ...]
    settles: tuple[Note, ...]
    cautions: tuple[Note, ...]
    gone: bool
    receivers: tuple[Receiver, ...]


class IncidentLine(Frozen):
    """An incident in a line."""

    code: str
    place: str
    what: str
    since: datetime
    until: datetime | None
    closed: bool


class IncidentsShown(Output):
    """Every incident, the latest first; the places known, by the names they go by."""

    incidents: tuple[IncidentLine, ...]
    places: tuple[str, ...]


class IncidentShown(Output):
    """An incident with everything that was there: first what to throw out, then cook now, then keep."""

    code: str
    version: int
    event_id: str
    place: str
    what: str
    since: datetime
    until: datetime | None
    warmest_c: float | None
    found: str
    closed: bool
    decisions: dict[str, str]
    text: str
    touched: tuple[Touched, ...]
