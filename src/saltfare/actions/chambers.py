"""Chambers: where pieces hang, the air they usually have and the air that was read."""

from __future__ import annotations

import re
import unicodedata
from datetime import datetime
from typing import Annotated

from pydantic import AwareDatetime, Field

from saltfare.actions.context import Context
from saltfare.actions.shapes import Command, Done, Output, Query, done
from saltfare.core.errors import NotFound, Problem, Refused
from saltfare.core.fields import Called, Frozen, Measured, Quantity
from saltfare.journal.chamber import ChamberState, chamber
from saltfare.journal.chamber import chambers as chamber_states
from saltfare.journal.events_chamber import STREAM, ChamberDescribed, Changeable
from saltfare.journal.readings import Reading

Temperature = Annotated[Measured, Quantity("chamber_temperature")]
Humidity = Annotated[Measured, Quantity("chamber_humidity")]
AirSpeed = Annotated[Measured, Quantity("air_speed")]
_MOST_ROWS = 20_000


class ChambersGiven(Query):
    """Nothing."""


class ChamberShown(Frozen):
    """A chamber with its usual air (SI) and its latest reading."""

    key: str
    name: str
    version: int
    temp_c: float | None
    rh_frac: float | None
    air_speed_m_per_s: float | None
    changeable: tuple[Changeable, ...]
    last_reading_at: datetime | None
    last_temp_c: float | None
    last_rh_frac: float | None


class ChambersShown(Output):
    """Every chamber, in the order they were named."""

    chambers: tuple[ChamberShown, ...]


class ChamberDescription(Command):
    """A chamber by name. The air it usually has is taken where nothing was read.

    changeable: what of it is yours to change, so that advice is given in those terms; left out, what was
    said before stands.
    """

    name: Called
    temperature: Temperature
    humidity: Humidity
    air_speed: AirSpeed
    changeable: tuple[Changeable, ...] | None = Field(default=None, max_length=6)


class AirRow(Frozen):
    """One reading."""

    at: AwareDatetime
    temperature: Temperature
    humidity: Humidity


class AirGiven(Command):
    """Readings of a chamber, by its key."""

    key: str
    rows: list[AirRow] = Field(min_length=1, max_length=_MOST_ROWS)
    origin: str = Field(default="", max_length=200)


class AirRead(Done):
    """How many readings were new and how many known already."""

    new: int
    known: int


def key_of(name: str) -> str:
    """The key of a chamber's name: letters and digits of ASCII, hyphens between.

    Raises Refused (name_without_letters).
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    key = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:60]
    if not key:
        raise Refused(Problem("name_without_letters", "name", name))
    return key


def chambers(context: Context, given: ChambersGiven) -> ChambersShown:
    """Every chamber with its usual air and its latest reading."""
    return ChambersShown(chambers=tuple(chamber_shown(context, c) for c in chamber_states(context.journal)))


def chamber_shown(context: Context, state: ChamberState) -> ChamberShown:
    """A chamber as every query shows it."""
    last = context.journal.readings.last(state.key, context.now)
    usual = state.described
    return ChamberShown(
        key=state.key,
        name=state.name,
        version=state.version,
        temp_c=_value(usual.temperature) if usual else None,
        rh_frac=_value(usual.humidity) if usual else None,
        air_speed_m_per_s=_value(usual.air_speed) if usual else None,
        changeable=(usual.changeable or ()) if usual else (),
        last_reading_at=last.at if last else None,
        last_temp_c=last.temp_c if last else None,
        last_rh_frac=last.rh_frac if last else None,
    )


def _value(measured: Measured | None) -> float | None:
    return None if measured is None else measured.value


def describe_chamber(context: Context, given: ChamberDescription) -> Done:
    """Name a chamber, or describe it anew."""
    key = key_of(given.name)
    body = ChamberDescribed(
        name=given.name,
        temperature=given.temperature,
        humidity=given.humidity,
        air_speed=given.air_speed,
        changeable=_said_before(context, key) if given.changeable is None else given.changeable,
    )
    return done(context, given, [(STREAM + key, body)])


def _said_before(context: Context, key: str) -> tuple[Changeable, ...] | None:
    try:
        described = chamber(context.journal, key).described
    except NotFound:
        return None
    return described.changeable if described else None


def read_air(context: Context, given: AirGiven) -> AirRead:
    """Take in readings of a chamber's air; the same reading twice is no change."""
    chamber(context.journal, given.key)
    late = [
        Problem("in_the_future", f"rows.{i}.at", row.at.isoformat())
        for i, row in enumerate(given.rows)
        if row.at > context.now
    ]
    if late:
        raise Refused(*late[:20])
    imported = context.journal.readings.import_(
        given.key,
        [
            Reading(
                row.at,
                row.temperature.value,
                row.humidity.value,
                typed=f"{row.temperature.typed}; {row.humidity.typed}",
                line=i + 1,
            )
            for i, row in enumerate(given.rows)
        ],
        zone=context.settings.zone,
        actor=context.actor,
        recorded_at=context.now,
        origin=given.origin,
        request_id=given.request_id,
    )
    stream = STREAM + given.key
    return AirRead(
        stream=stream,
        version=context.journal.stream_head(stream),
        events=(imported.event.id,) if imported.event else (),
        at=context.now,
        new=imported.new,
        known=imported.known,
    )
