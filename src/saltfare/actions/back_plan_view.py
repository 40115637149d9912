"""A plan back from a date as its action shows it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from saltfare.actions import back_plan_shapes as shown
from saltfare.actions.back_plan_shapes import BackPlanGiven, BackPlanShown
from saltfare.actions.back_wants import Wanted
from saltfare.actions.context import Context
from saltfare.core.errors import Problem
from saltfare.core.figure import Note
from saltfare.journal import events_plan as kinds
from saltfare.journal.plan import accepted
from saltfare.plans.back_plan import task_id
from saltfare.plans.back_plan_courses import CuredWant, DishWant
from saltfare.plans.back_plan_offers import Offer
from saltfare.plans.back_plan_shapes import (
    Asked,
    Away,
    BackPlan,
    Place,
    Planned,
    Rules,
    Task,
    UnderWay,
    WantPlanned,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Filled:
    """A want on the way to its plan. serves: under way for it. against: why nothing can be made for it."""

    one: Wanted
    asked: Asked
    filled: CuredWant | DishWant | None
    notes: tuple[Note, ...]
    against: tuple[Problem, ...] = ()


_EXPECTED = frozenset({"look", "take_down", "off_trays"})


def plan_shown(
    context: Context,
    given: BackPlanGiven,
    wants: Sequence[Filled],
    plan: BackPlan,
    rules: Rules,
    offered: Mapping[str, tuple[Offer, ...]],
    away: tuple[Away, ...],
) -> BackPlanShown:
    """The plan as shown: of one trip where one is asked for, which is planned with everything else."""
    kept = [
        (want, made)
        for want, made in zip(wants, plan.wants, strict=True)
        if given.trip is None or want.one.wish.trip == given.trip
    ]
    keys = {want.one.key for want, _ in kept}
    mine = {make.id for want, _ in kept for make in want.asked.makes}
    tasks = [*plan.tasks, *(task for want, _ in kept for task in _under_way_tasks(context, want))]
    open_of = {planned.make.id: planned.room_open for made in plan.wants for planned in made.made}
    told = tuple(
        _task(task, open_of.get(task.make, ()))
        for task in sorted(tasks, key=lambda task: (task.on, task.make))
        if task.want in keys
    )
    failed = any(want.against for want, _ in kept)
    each = [made.there for _, made in kept]
    chance = float(np.mean(np.all(np.broadcast_arrays(*each), axis=0))) if each else 0.0
    stands = accepted(context.journal)
    issued = (
        {_stands(task) for task in stands.accepted.tasks if task.code != "look"} if stands.accepted else set()
    )
    now = {_stands(accepted_task(task)) for task in told if task.code != "look"}
    return BackPlanShown(
        today=context.today,
        level=given.chance,
        levels=dict(rules.levels),
        wants=tuple(
            _want_shown(want, made, offered.get(want.one.key, ()), context.today) for want, made in kept
        ),
        tasks=told,
        conflicts=tuple(
            shown.ConflictShown(
                code=c.code, name=c.name, first=c.first, last=c.last, days=c.days, task=c.task, place=c.key,
                has=c.has, asks=c.asks,
            )
            for c in plan.conflicts
            if c.make in mine
        ),
        away=tuple((one.first, one.last) for one in away if one.last >= context.today),
        chance=0.0 if failed else chance,
        room_open=tuple(sorted({place for _, made in kept for place in made.room_open})),
        accepted=stands.accepted is not None,
        differs=now != issued,
        notes=(*plan.notes, Note("ready_is_mass"), Note("criteria_stay_open")),
    )  # fmt: skip


def _want_shown(want: Filled, made: WantPlanned, offered: tuple[Offer, ...], today: date) -> shown.WantShown:
    one, wish = want.one, want.one.wish
    notes = list(want.notes)
    edge = [
        share for planned in made.made for share in planned.course.together.notes.values() if share > 0.02
    ]
    if edge:
        notes.append(Note("multipliers_held", {"share_frac": max(edge)}))
    return shown.WantShown(
        key=one.key,
        name=wish.name,
        kind="cured" if wish.cured else "dish",
        trip=wish.trip,
        needed_by=one.needed_by,
        wanted_kg=wish.cured.mass.value if wish.cured else 0.0,
        wanted_packs=wish.dish.packs if wish.dish else 0,
        on_hand_kg=one.on_hand_kg,
        on_hand_packs=one.on_hand_packs,
        missing_kg=want.asked.kg,
        missing_packs=want.asked.packs,
        chance=0.0 if want.against else made.chance,
        room_open=made.room_open,
        start_by=dict(made.start_by),
        late=made.late or bool(want.against),
        makes=tuple(_make_shown(planned) for planned in made.made),
        under_way=tuple(_under_way_shown(under, one.needed_by, today) for under in want.asked.under_way),
        offers=tuple(
            shown.OfferShown(
                code=o.code,
                chance=o.chance,
                room_open=o.room_open,
                ready=o.ready,
                conflicts=o.conflicts,
                params=dict(o.params),
            )
            for o in offered
        ),
        against=tuple(
            shown.AgainstShown(
                code=p.code, field=p.field, given=p.given, allowed=p.allowed, params=dict(p.params)
            )
            for p in want.against
        ),
        notes=tuple(notes),
    )


def _make_shown(planned: Planned) -> shown.MakeShown:
    green = planned.make.green
    spans_of = [(task.code, task.on, task.until or task.on) for task in planned.tasks if task.code != "look"]
    return shown.MakeShown(
        id=planned.make.id,
        name=planned.make.name,
        kind=planned.make.kind,
        start=planned.start,
        begun=planned.begun,
        packed=planned.packed,
        by=planned.by,
        start_by=dict(planned.start_by),
        chance=planned.chance,
        room_open=planned.room_open,
        down=planned.down,
        chamber=planned.course.chamber,
        moved_days=planned.moved_days,
        late=planned.late,
        green_kg=green.each_kg if green else None,
        bought_kg=green.bought_kg / green.pieces if green else None,
        packs=planned.make.packs,
        steps=tuple(spans_of),
    )


def _under_way_shown(under: UnderWay, by: date, today: date) -> shown.UnderWayShown:
    days = [under.days.needed(chance=chance) for chance in (0.1, 0.5, 0.9)]
    ready = [None if n is None else today + timedelta(days=n) for n in days]
    return shown.UnderWayShown(
        code=under.code,
        name=under.name,
        chance=under.days.chance(days=(by - today).days),
        ready=(ready[0], ready[1], ready[2]),
        finished_kg=under.finished_kg,
        packs=under.packs,
    )


def _under_way_tasks(context: Context, want: Filled) -> list[Task]:
    """What is still to be done with what is under way already: take down and pack."""
    out = []
    for under in want.asked.under_way:
        make = f"{want.one.key}/{under.code}"
        likely = under.days.needed(chance=0.5)
        on = want.one.needed_by
        if likely is not None:
            on = min(on, context.today + timedelta(days=likely))
        code = "take_down" if under.finished_kg else "off_trays"
        for what, day, until in (
            (code, on, want.one.needed_by if on < want.one.needed_by else None),
            ("pack" if under.finished_kg else "fill_packs", want.one.needed_by, None),
        ):
            out.append(
                Task(
                    id=task_id(make=make, code=what, number=1), make=make, want=want.one.key,
                    name=under.name, code=what, on=day, until=until,
                )
            )  # fmt: skip
    return out


def _task(task: Task, room_open: tuple[Place, ...]) -> shown.TaskShown:
    return shown.TaskShown(
        id=task.id,
        make=task.make,
        want=task.want,
        name=task.name,
        code=task.code,
        on=task.on,
        until=task.until,
        place=task.place,
        amounts=dict(task.amounts),
        cautions=tuple(note.code for note in task.cautions),
        room_open=room_open,
    )


def _stands(task: kinds.TaskAccepted) -> tuple[str, date | None]:
    """What of a task must not have moved: looks and the day it is likely down move with every day."""
    return task.id, None if task.code in _EXPECTED else task.on


def accepted_task(task: shown.TaskShown) -> kinds.TaskAccepted:
    """A task as it is kept once it is taken on."""
    return kinds.TaskAccepted(**task.model_dump())
