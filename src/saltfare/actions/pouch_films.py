"""The films pouches are made of, in generic terms, and own ones as their makers print them."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from saltfare.actions.chambers import key_of as name_key
from saltfare.actions.context import Context
from saltfare.actions.pack_pouch import film_named
from saltfare.actions.shapes import Command, Done, Output, Query, done
from saltfare.core.errors import NotFound, Problem, Refused
from saltfare.core.fields import Called, Frozen, Measured, Quantity
from saltfare.journal.events_pouch import FILM, FilmKept
from saltfare.journal.pouch import films as own_films
from saltfare.models.air import saturation_pressure_ashrae
from saltfare.models.pouch_place import DAY_S


class FilmsGiven(Query):
    """Nothing."""


class FilmShown(Frozen):
    """A film. vapour: kg through a square metre in a day at 38 degrees C and 90 %, low, middle, high; oxygen:
    m3 likewise against an atmosphere of it at 23 degrees C. boiling: None where its maker has to say."""

    id: str
    name: str
    own: bool
    vapour_kg_per_m2_d: tuple[float, float, float]
    oxygen_m3_per_m2_d: tuple[float, float, float]
    boiling: bool | None
    cite: str
    event_id: str | None


class FilmsShown(Output):
    """The films of the library, and own ones."""

    films: tuple[FilmShown, ...]


def films(context: Context, given: FilmsGiven) -> FilmsShown:
    """The films that pouches are made of, in generic terms, with what they let through, and own ones."""
    out = []
    ids: list[tuple[str, str, str, str | None]] = [
        (row.text("id"), row.text("name"), row.cite, None) for row in context.library.rows("films")
    ]
    own = own_films(context.journal)
    ids += [(f"own:{key}", kept.body.name, kept.body.origin, kept.event_id) for key, kept in own.items()]
    drive = float(saturation_pressure_ashrae(temp_c=38.0)) * 0.90
    for film_id, name, cite, event_id in ids:
        film, _ = film_named(context, film_id)
        vapour = film.vapour_permeance(38.0) * drive * DAY_S
        oxygen = film.oxygen_permeance(23.0, 0.5) * 101325.0 * DAY_S
        out.append(
            FilmShown(
                id=film_id,
                name=name,
                own=event_id is not None,
                vapour_kg_per_m2_d=(float(vapour[0]), float(vapour[1]), float(vapour[2])),
                oxygen_m3_per_m2_d=(float(oxygen[0]), float(oxygen[1]), float(oxygen[2])),
                boiling=film.takes_boiling_water,
                cite=cite,
                event_id=event_id,
            )
        )
    return FilmsShown(films=tuple(out))


class KeepFilmGiven(Command):
    """A film as its maker prints it: g of water and cm3 of oxygen through a square metre in a day."""

    name: Called
    vapour: Annotated[Measured, Quantity("film_vapour_rate")]
    test_temperature: Annotated[Measured, Quantity("test_temperature")]
    test_humidity: Annotated[Measured, Quantity("test_humidity")]
    oxygen: Annotated[Measured, Quantity("film_oxygen_rate")]
    takes_boiling_water: bool | None = None
    origin: str = Field(default="", max_length=200)


def keep_film(context: Context, given: KeepFilmGiven) -> Done:
    """Keep a film as its maker prints it."""
    for field in ("vapour", "oxygen"):
        if not getattr(given, field).value > 0.0:
            raise Refused(Problem("film_rate_not_positive", field, getattr(given, field).typed))
    body = FilmKept(
        name=given.name,
        vapour=given.vapour,
        vapour_temperature=given.test_temperature,
        vapour_humidity=given.test_humidity,
        oxygen=given.oxygen,
        takes_boiling_water=given.takes_boiling_water,
        origin=given.origin,
    )
    key = name_key(given.name)
    try:
        context.library.row("films", key)
    except NotFound:
        return done(context, given, [(FILM + key, body)])
    raise Refused(Problem("film_name_taken", "name", given.name))
