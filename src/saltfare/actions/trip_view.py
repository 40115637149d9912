"""A trip as its page shows it: what was told, what still lacks, what may be chosen, what was recorded."""

from __future__ import annotations

from datetime import UTC

from saltfare.actions.context import Context
from saltfare.actions.shapes import Tracer
from saltfare.actions.trip_days import air_of, carries_of, moving_time
from saltfare.actions.trip_shapes import (
    Choice,
    DayShown,
    EventShown,
    OneTrip,
    PinShown,
    TripChoices,
    TripShown,
)
from saltfare.actions.trips import found_trip, lacks
from saltfare.core.figure import Figure, Note
from saltfare.core.library import Library
from saltfare.journal import events_trip as kinds
from saltfare.journal.fold import effective
from saltfare.journal.trip import TripState
from saltfare.models.trip_energy_walking import walking_time_naismith

_ADULT_YEARS = 19.0


def trip(context: Context, given: OneTrip) -> TripShown:
    """A trip as told, what it lacks before a menu can be planned, and what was recorded of it."""
    state = found_trip(context, given.code)
    tracer = Tracer()
    names = item_names(context, state)
    return TripShown(
        code=state.code,
        version=state.version,
        name=state.name,
        stand=state.stand,
        departure=state.departure,
        last_day=state.last_day,
        days_until=(state.departure - context.today).days,
        planned=state.planned,
        days=_days(state, tracer),
        party=state.party,
        kitchen=state.kitchen,
        limits=state.limits,
        staples=state.staples,
        pins=pins_shown(state, names),
        handlings={item: entry.body for item, entry in state.handlings.items()},
        committed=state.menu.body if state.menu else None,
        committed_id=state.menu.event_id if state.menu else None,
        after=state.after.body if state.after else None,
        lacks=lacks(state),
        cautions=cautions_of(state),
        log=_log(context, state),
        choices=_choices(context.library),
        traces=tracer.traces,
    )


def item_names(context: Context, state: TripState) -> dict[str, str]:
    """What the items spoken of on a trip are called; an item that is gone goes by its id."""
    from saltfare.actions.trip_offers import name_of_item

    spoken = {*state.handlings, *(e.body.item for e in state.held), *(e.body.item for e in state.barred)}
    return {item: name_of_item(context, item) for item in sorted(spoken)}


def _days(state: TripState, tracer: Tracer) -> tuple[DayShown, ...]:
    carries = carries_of(state)
    out = []
    for number, day in enumerate(state.days):
        moving = moving_time(day)
        night, warm = air_of(state, number)
        figure = None
        if moving.stretches:
            inputs: dict[str, str | float | int | None] = {
                "way_m": day.walking.value if day.walking else 0.0,
                "ascent_m": day.ascent.value if day.ascent else 0.0,
                "told": str(moving.told),
            }
            figure = tracer.figure(moving.total_s, "time", tracer.trace(walking_time_naismith, inputs))
        out.append(
            DayShown(
                day=number,
                on=state.on(number),
                carry=carries[number],
                told=day,
                moving=figure,
                day_air=Figure(warm.value, "temperature"),
                night_air=Figure(night.value, "temperature"),
            )
        )
    return tuple(out)


def pins_shown(state: TripState, names: dict[str, str]) -> tuple[PinShown, ...]:
    """What is held and barred, in the order said."""
    held = [
        PinShown(
            event_id=entry.event_id,
            kind="held",
            item=entry.body.item,
            item_name=names.get(entry.body.item, entry.body.item),
            person=entry.body.person,
            day=entry.body.day,
            sitting=entry.body.sitting,
            servings=entry.body.servings,
        )
        for entry in state.held
    ]
    barred = [
        PinShown(
            event_id=entry.event_id,
            kind="barred",
            item=entry.body.item,
            item_name=names.get(entry.body.item, entry.body.item),
            person=entry.body.person,
            day=entry.body.day,
            sitting=entry.body.sitting,
            servings=None,
        )
        for entry in state.barred
    ]
    return (*held, *barred)


def cautions_of(state: TripState) -> tuple[Note, ...]:
    """What is said on every page and sheet of a trip, whatever its figures."""
    out = [Note("trip_needs_healthy")]
    if any(one.age.value < _ADULT_YEARS for one in state.party):
        out.append(Note("trip_children"))
    out.append(Note("trip_found_water"))
    out.append(Note("trip_drink_enough"))
    if any(sitting.stove for day in state.days for sitting in day.sittings):
        out += [Note("trip_stove"), Note("trip_scald")]
    return tuple(out)


def _log(context: Context, state: TripState) -> tuple[EventShown, ...]:
    facts = effective(context.journal.events(kinds.STREAM + state.code))
    return tuple(
        EventShown(event_id=f.event.id, kind=f.event.kind, at=f.at.astimezone(UTC).isoformat())
        for f in reversed(facts)
    )


def _choices(library: Library) -> TripChoices:
    def of(table: str, label: str) -> tuple[Choice, ...]:
        return tuple(Choice(id=row.text("id"), label=row.text(label)) for row in library.rows(table))

    return TripChoices(
        terrains=of("terrain", "ground"),
        stoves=of("stoves", "kind"),
        fuels=of("fuels", "fuel"),
        conditions=of("stove_conditions", "condition"),
        diets=of("diets", "id"),
        allergens=of("allergens", "id"),
        staples=of("pantry", "label"),
    )
