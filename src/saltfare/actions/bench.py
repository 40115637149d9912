"""The bench: what is late, due today and coming, over all pieces."""

from __future__ import annotations

from datetime import date
from typing import Literal

from saltfare.actions.calendar import PlannedDue, tasks_due
from saltfare.actions.context import Context
from saltfare.actions.dish_bench import DishDueShown, dishes_due, trays_now
from saltfare.actions.dish_view import OnTrays
from saltfare.actions.due import due
from saltfare.actions.shapes import Output, Query
from saltfare.actions.shelf_bench import LotDueShown, lots_due
from saltfare.core.fields import Frozen
from saltfare.core.figure import Note
from saltfare.journal.piece import State, pieces
from saltfare.journal.trip import TripStand, trips

When = Literal["late", "today", "coming"]
_PLANNED_DAYS = 7
_TRIP_DAYS = 14


class BenchGiven(Query):
    """Nothing."""


class AmountDue(Frozen):
    """An amount of the plan as it was told: glossary quantity, which one of several, SI value."""

    quantity: str
    name: str
    value: float


class DueShown(Frozen):
    """One thing to do: which step, of which piece, by which action, why, with how much.

    weighed: as it was last typed on the scale. tare_kg, scale_step_kg: as last told of the piece.
    """

    step: str
    act: str
    code: str
    piece: str
    version: int
    on: date
    days: int
    reason: str
    amounts: tuple[AmountDue, ...]
    cautions: tuple[Note, ...]
    weighed: str | None = None
    tare_kg: float | None = None
    scale_step_kg: float | None = None


class TripSoon(Frozen):
    """A trip that leaves within a fortnight, is away, or is back and not told of."""

    code: str
    name: str
    stand: TripStand
    departure: date
    last_day: date


class BenchShown(Output):
    """Three lists, each in order of day; `in_salt` says how many pieces one tap would turn. planned: open
    tasks of the plan taken on, those that are late or within a week. trays: what is on them now; dishes: what
    batches of dishes ask for; shelf: lots to eat soon; shelf_open: lots whose planning date is still to be
    worked out; trips: those that are near."""

    today: date
    late: tuple[DueShown, ...]
    due: tuple[DueShown, ...]
    coming: tuple[DueShown, ...]
    in_salt: int
    pieces: int
    planned: tuple[PlannedDue, ...] = ()
    trays: tuple[OnTrays, ...] = ()
    dishes: tuple[DishDueShown, ...] = ()
    shelf: tuple[LotDueShown, ...] = ()
    shelf_open: int = 0
    trips: tuple[TripSoon, ...] = ()


def bench(context: Context, given: BenchGiven) -> BenchShown:
    """What is late, due today and coming within a week."""
    lists: dict[When, list[DueShown]] = {"late": [], "today": [], "coming": []}
    states = pieces(context.journal)
    for state in states:
        for one in due(context, state):
            days = (one.on - context.today).days
            when: When = "late" if days < 0 else "today" if days == 0 else "coming"
            lists[when].append(
                DueShown(
                    step=one.step,
                    act=one.act,
                    code=state.code,
                    piece=state.name,
                    version=state.version,
                    on=one.on,
                    days=days,
                    reason=one.reason,
                    amounts=amounts_of(one.amounts),
                    cautions=one.cautions,
                    weighed=state.weighed_as,
                    tare_kg=state.tare.value if state.tare else None,
                    scale_step_kg=state.scale_step.value if state.scale_step else None,
                )
            )
    for found in lists.values():
        found.sort(key=lambda one: one.on)
    to_eat, still_open = lots_due(context)
    return BenchShown(
        today=context.today,
        late=tuple(lists["late"]),
        due=tuple(lists["today"]),
        coming=tuple(lists["coming"]),
        in_salt=sum(state.state is State.IN_SALT for state in states),
        pieces=len(states),
        trays=trays_now(context),
        dishes=dishes_due(context),
        shelf=to_eat,
        shelf_open=still_open,
        planned=tasks_due(context, ahead_days=_PLANNED_DAYS),
        trips=_trips_soon(context),
    )


def _trips_soon(context: Context) -> tuple[TripSoon, ...]:
    near = [
        TripSoon(
            code=one.code,
            name=one.planned.name,
            stand=one.stand,
            departure=one.departure,
            last_day=one.last_day,
        )
        for one in trips(context.journal)
        if one.stand is TripStand.ON_TRIP
        or (
            one.stand in (TripStand.PLANNED, TripStand.COMMITTED)
            and one.last_day >= context.today
            and (one.departure - context.today).days <= _TRIP_DAYS
        )
    ]
    return tuple(sorted(near, key=lambda one: one.departure))


def amounts_of(amounts: dict[str, float]) -> tuple[AmountDue, ...]:
    """Amounts as issued, with the name of one of several apart."""
    split = ((key.partition(":"), value) for key, value in amounts.items())
    return tuple(AmountDue(quantity=q, name=name, value=value) for (q, _, name), value in split)
