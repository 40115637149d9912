"""Where lots stand, and the air each place usually has through the year."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

from pydantic import Field

from saltfare.actions.chambers import key_of
from saltfare.actions.context import Context
from saltfare.actions.judged_items import key_of_place
from saltfare.actions.shapes import Command, Done, Output, Query, done
from saltfare.actions.shelf_shapes import PlaceName
from saltfare.core.errors import Problem, Refused
from saltfare.core.fields import Frozen, Measured, Quantity
from saltfare.journal import events_shelf as kinds
from saltfare.journal.chamber import chambers as chamber_states
from saltfare.journal.lot import lots
from saltfare.journal.shelf import PlaceState
from saltfare.journal.shelf import places as place_states

Coldest = Annotated[Measured, Quantity("place_coldest")]
Warmest = Annotated[Measured, Quantity("place_warmest")]
Humidity = Annotated[Measured, Quantity("stored_humidity")]


class PlaceGiven(Command):
    """A place by name and the air it usually has: mean temperature of its coldest and its warmest month.

    warmest_month: 1 to 12, left out where it is the same all year. A chamber with readings needs none of
    this: its readings are used.
    """

    name: PlaceName = ""
    coldest: Coldest
    warmest: Warmest
    warmest_month: int | None = Field(default=None, ge=1, le=12)
    humidity: Humidity | None = None


class PlacesGiven(Query):
    """Nothing."""


class PlaceShown(Frozen):
    """A place: its air as read (a chamber with readings), as described, or not known.

    lots, packs: what stands there now. described_id: the event that describes it.
    """

    key: str
    name: str
    basis: str
    is_chamber: bool
    coldest_c: float | None
    warmest_c: float | None
    warmest_month: int | None
    rh_frac: float | None
    last_temp_c: float | None
    last_at: datetime | None
    lots: int
    packs: int
    version: int
    described_id: str | None


class PlacesShown(Output):
    """Every place that lots stand in, that was described, or where pieces hang."""

    places: tuple[PlaceShown, ...]


def describe_place(context: Context, given: PlaceGiven) -> Done:
    """Say what air a place usually has."""
    if not given.name.strip():
        raise Refused(Problem("place_missing", "name"))
    if given.coldest.value > given.warmest.value:
        raise Refused(Problem("coldest_above_warmest", "coldest", given.coldest.typed, given.warmest.typed))
    body = kinds.PlaceDescribed(
        name=given.name.strip(),
        coldest=given.coldest,
        warmest=given.warmest,
        warmest_month=given.warmest_month,
        humidity=given.humidity,
    )
    return done(context, given, [(kinds.PLACES + key_of(given.name), body)])


def places(context: Context, given: PlacesGiven) -> PlacesShown:
    """Every place, what stands there, and the air it has."""
    described: dict[str, PlaceState] = {key_of_place(one.name): one for one in place_states(context.journal)}
    chambers = {key_of_place(one.name): one for one in chamber_states(context.journal)}
    here = [state for state in lots(context.journal) if not state.is_gone]
    names = {key_of_place(state.place): state.place for state in here}
    names |= {key: one.name for key, one in chambers.items()} | {
        key: one.name for key, one in described.items()
    }
    found = []
    for key, name in sorted(names.items(), key=lambda pair: pair[1].lower()):
        told, chamber = described.get(key), chambers.get(key)
        usual = chamber.described if chamber else None
        last = context.journal.readings.last(chamber.key, context.now) if chamber else None
        year = told.described if told else None
        stands = [state for state in here if key_of_place(state.place) == key]
        humid = (year.humidity if year else None) or (usual.humidity if usual else None)
        cold = (year.coldest if year else None) or (usual.temperature if usual else None)
        warm = (year.warmest if year else None) or (usual.temperature if usual else None)
        found.append(
            PlaceShown(
                key=key,
                name=name,
                basis="read" if last else "described" if cold else "not_told",
                is_chamber=chamber is not None,
                coldest_c=cold.value if cold else None,
                warmest_c=warm.value if warm else None,
                warmest_month=year.warmest_month if year else None,
                rh_frac=humid.value if humid else None,
                last_temp_c=last.temp_c if last else None,
                last_at=last.at if last else None,
                lots=len(stands),
                packs=sum(state.packs_left for state in stands),
                version=told.version if told else 0,
                described_id=told.described_id if told else None,
            )
        )
    return PlacesShown(places=tuple(found))
