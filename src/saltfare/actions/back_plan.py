"""The plan back from a date: worked out, taken on, and its tasks settled."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, Literal

from pydantic import Field

from saltfare import __version__
from saltfare.actions import back_plan_shapes as shown
from saltfare.actions.back_plan_shapes import BackPlanGiven, BackPlanShown
from saltfare.actions.back_plan_view import Filled, accepted_task, plan_shown
from saltfare.actions.back_wants import (
    Wanted,
    batch_under_way,
    batches_under_way,
    chamber_airs,
    cured_want,
    dish_want,
    finished_kg,
    matches,
    needed_by,
    on_hand,
    pieces_for,
)
from saltfare.actions.context import Context
from saltfare.actions.lessons import taught
from saltfare.actions.piece_drying import packed, unpacked
from saltfare.actions.pieces_to_come import hook_taken, piece_under_way
from saltfare.actions.plan_room import as_asked, refuse_unclear, spans
from saltfare.actions.shapes import Command, Done, done
from saltfare.core.errors import NotConverged, NotFound, OutOfRange, Problem, Refused
from saltfare.core.figure import Note
from saltfare.jobs import key_of, model_version
from saltfare.journal import events_plan as kinds
from saltfare.journal.piece import State, pieces
from saltfare.journal.plan import RoomState, accepted, away_days, room, wishes
from saltfare.journal.trip import trip
from saltfare.plans.back_plan import back_plan as plan_back
from saltfare.plans.back_plan_chance import HumidityFan
from saltfare.plans.back_plan_courses import (
    Bench,
    ChamberAir,
    CuredWant,
    DishWant,
    dish_makes,
    piece_makes,
    simulated_in,
)
from saltfare.plans.back_plan_offers import Offer, offers
from saltfare.plans.back_plan_shapes import (
    Asked,
    Away,
    BackPlan,
    Level,
    Make,
    Room,
    Rules,
    UnderWay,
)
from saltfare.plans.forecast_air import AssumedAir
from saltfare.plans.forecast_drying import HangingPiece
from saltfare.plans.forecast_ensemble import Ensemble
from saltfare.plans.forecast_priors import ForecastPriors

_RULES = "back_plan_rules"
_LEVELS: tuple[Level, ...] = ("level_low", "level_mid", "level_high")


class AcceptGiven(Command):
    """What is taken on: the plan of everything wished for, for one of the three chances."""

    chance: shown.Level = "level_mid"


class Accepted(Done):
    """How many tasks were taken on, and how many of an earlier plan fell away."""

    tasks: int
    fell_away: int


class TaskGiven(Command):
    """A task by its id: done, not to be done, or open again."""

    task: str = Field(max_length=40)
    how: Literal["done", "cancelled", "open"] = "done"
    why: str = Field(default="", max_length=1000)


def back_plan(context: Context, given: BackPlanGiven) -> BackPlanShown:
    """Plan back from the days things are needed: what to begin by when, with what chance it is there."""
    wanted = _wanted(context, given)
    key = key_of(
        action="back_plan",
        given={
            "wants": [
                [one.key, one.wish.model_dump(mode="json"), one.needed_by.isoformat()] for one in wanted
            ],
            "chance": given.chance,
            "trip": given.trip,
            "on": context.today.isoformat(),
            "zone": context.settings.zone,
        },
        heads={"journal": context.journal.head_hash()},
        version=model_version(context.library.version),
    )
    kept = context.cache.cached(key, lambda: _worked_out(context, given, wanted).model_dump(mode="json"))
    return BackPlanShown.model_validate(kept)


def accept_plan(context: Context, given: AcceptGiven) -> Accepted:
    """Take the plan on: its tasks stand on the Bench and in the calendar from now on."""
    plan = back_plan(context, BackPlanGiven(chance=given.chance))
    if not plan.tasks:
        raise Refused(Problem("nothing_to_accept", "chance"))
    before = accepted(context.journal).tasks
    body = kinds.PlanAccepted(
        program=__version__,
        chance=plan.chance,
        chances={want.key: want.chance for want in plan.wants},
        room_open=plan.room_open,
        tasks=tuple(accepted_task(task) for task in plan.tasks),
    )
    did = done(context, given, [(kinds.ACCEPTED, body)])
    kept = {task.id for task in plan.tasks}
    return Accepted(
        **dict(did),
        tasks=len(plan.tasks),
        fell_away=sum(one.status == "open" and key not in kept for key, one in before.items()),
    )


def task_done(context: Context, given: TaskGiven) -> Done:
    """Settle an accepted task: done, not to be done, or open again."""
    known = accepted(context.journal).tasks.get(given.task)
    if known is None:
        raise NotFound("task", given.task)
    repeated = bool(given.request_id and context.journal.answered(given.request_id))
    if known.status == given.how and not repeated:
        raise Refused(Problem("nothing_changed"))
    body = kinds.TaskSettled(task=given.task, how=given.how, why=given.why)
    return done(context, given, [(kinds.ACCEPTED, body)])


def _wanted(context: Context, given: BackPlanGiven) -> tuple[Wanted, ...]:
    """The wants to plan: typed ones alone, else everything wished for."""
    if given.trip is not None:
        try:
            trip(context.journal, given.trip)
        except NotFound:
            raise Refused(Problem("trip_unknown", "trip", given.trip)) from None
    if given.wants:
        for number, wish in enumerate(given.wants):
            refuse_unclear(context, wish, f"wants.{number}")
        named = [(f"typed-{number + 1}", wish) for number, wish in enumerate(given.wants)]
    else:
        named = [(key, as_asked(wish)) for key, wish in wishes(context.journal).items()]
    found = []
    for key, wish in named:
        try:
            found.append(Wanted(key, wish, needed_by(context, wish)))
        except NotFound:  # its trip was taken back
            continue
    return on_hand(context, found)


def _worked_out(context: Context, given: BackPlanGiven, wanted: tuple[Wanted, ...]) -> BackPlanShown:
    there = room(context.journal)
    rules = _rules(context, given.chance)
    bench = _bench(context)
    tried: dict[str, tuple[Make, ...]] = {}
    taken: set[str] = set()
    wants = [_filled(context, one, there, bench, taken, tried) for one in wanted]
    hanging = _all_under_way(context, bench, [u for want in wants for u in want.asked.under_way])
    away = tuple(Away(first=first, last=last) for first, last in spans(away_days(context.journal)))

    def planned(asked: Sequence[Asked]) -> BackPlan:
        return plan_back(
            today=context.today, asked=asked, room=_room(there), away=away, under_way=hanging, rules=rules
        )

    plan = planned([want.asked for want in wants])
    offered = {
        want.one.key: _offers(context, want, wants, plan, planned, there, bench)
        for want, made in zip(wants, plan.wants, strict=True)
        if made.late and want.filled is not None
    }
    for want in wants:
        if want.against and want.filled is None:
            offered.setdefault(want.one.key, (Offer(want=want.one.key, code="bought_pack", chance=None),))
    return plan_shown(context, given, wants, plan, rules, offered, away)


def _rules(context: Context, level: Level) -> Rules:
    def row(name: str, column: str) -> float:
        return context.library.row(_RULES, name).number(column)

    return Rules(
        levels={name: row(name, "share") for name in _LEVELS},
        level=level,
        moved_most=round(row("moved_most", "time") / 86400.0),
        hook_held=row("hook_held", "share"),
        late_least=row("late_least", "share"),
    )


def _room(there: RoomState) -> Room:
    return Room(
        hooks=there.hooks,
        fridge=there.fridge_places,
        fridge_m3=there.fridge_volume.value if there.fridge_volume else None,
        freezer_m3=there.freezer_volume.value if there.freezer_volume else None,
        trays_m2=there.trays_area.value if there.trays_area else None,
    )


def _bench(context: Context) -> Bench:
    priors = ForecastPriors.from_library(library=context.library)
    horizon = context.library.row("hanging_rules", "horizon").number("time")

    def simulated(hang: HangingPiece, air: AssumedAir) -> tuple[Ensemble, HumidityFan]:
        key = key_of(
            action="piece_to_come",
            given=[repr(hang.piece), hang.speed_m_per_s, repr(air), horizon],
            heads={},
            version=model_version(context.library.version),
        )

        def compute() -> dict[str, Any]:
            made, fan = simulated_in(hang=hang, air=air, horizon_s=horizon, priors=priors)
            return packed({**made.arrays(), "fan_shift": fan.shift_frac, "fan_loss": fan.loss_frac})

        arrays = unpacked(context.cache.cached(key, compute))
        fan = HumidityFan(arrays.pop("fan_shift"), arrays.pop("fan_loss"))
        return Ensemble.from_arrays(arrays), fan

    return Bench(library=context.library, priors=priors, learned=taught(context).learned, simulated=simulated)


def _filled(
    context: Context,
    one: Wanted,
    there: RoomState,
    bench: Bench,
    taken: set[str],
    tried: dict[str, tuple[Make, ...]],
) -> Filled:
    """A want with what serves it and what is to be made for the rest."""
    wish, notes = one.wish, []
    serves: list[UnderWay] = []
    if wish.cured is not None:
        missing = wish.cured.mass.value - one.on_hand_kg
        for state in pieces_for(context, one, wish.cured):
            if missing <= 1e-6 or state.code in taken:
                continue
            under = piece_under_way(context, state, one.key, bench)
            gives = finished_kg(context, state)
            if (
                under is None
                or gives <= 0
                or under.days.chance(days=(one.needed_by - context.today).days) < 0.05
            ):
                continue
            taken.add(state.code)
            serves.append(replace(under, finished_kg=gives))
            missing -= gives
    elif wish.dish is not None:
        packs = wish.dish.packs - one.on_hand_packs
        for batch in batches_under_way(context):
            if packs <= 0 or batch.code in taken or not matches(batch, wish):
                continue
            under = batch_under_way(context, batch, one.key)
            taken.add(batch.code)
            serves.append(under)
            packs -= batch.choice.packs
    asked = Asked(
        id=one.key, name=wish.name, needed_by=one.needed_by, makes=(), under_way=tuple(serves),
        on_hand_kg=one.on_hand_kg, on_hand_packs=one.on_hand_packs,
    )  # fmt: skip
    if wish.cured is not None and missing <= 1e-6:
        return Filled(one=one, asked=asked, filled=None, notes=())
    if wish.dish is not None and packs <= 0:
        return Filled(one=one, asked=asked, filled=None, notes=())
    try:
        if wish.cured is not None:
            need = cured_want(context, one, wish.cured, there)
            filled: CuredWant | DishWant = replace(need, finished_kg=missing)
            airs = chamber_airs(context, there, wish.cured, bench.priors)
            makes, against = piece_makes(want=replace(need, finished_kg=missing), chambers=airs, bench=bench)
            asked = replace(asked, makes=makes, kg=missing)
            if not makes:
                return Filled(one=one, asked=asked, filled=None, notes=(), against=_once(against))
            notes += [Note("chamber_cannot", {"chamber": c}) for c in _chambers_out(against)]
        elif wish.dish is not None:
            dish, said = dish_want(context, one, wish.dish)
            filled = replace(dish, packs=packs)
            makes = dish_makes(
                want=replace(dish, packs=packs), trays_m2=_room(there).trays_m2, work_h=_work(context, there),
                library=context.library,
            )  # fmt: skip
            notes += said
            asked = replace(asked, makes=makes, packs=packs)
        else:
            raise Refused(Problem("wish_one_of", "cured"))
    except Refused as refused:
        return Filled(one=one, asked=asked, filled=None, notes=tuple(notes), against=refused.problems)
    except (OutOfRange, NotConverged) as error:
        problem = Problem("beyond_the_models", "cured", params={"reason": type(error).__name__})
        return Filled(one=one, asked=asked, filled=None, notes=tuple(notes), against=(problem,))
    tried[one.key] = makes
    return Filled(one=one, asked=asked, filled=filled, notes=tuple(notes))


def _once(problems: Sequence[Problem]) -> tuple[Problem, ...]:
    return tuple({problem.code: problem for problem in problems}.values())


def _chambers_out(problems: Sequence[Problem]) -> list[str]:
    return sorted({str(p.params["chamber"]) for p in problems if "chamber" in p.params})


def _work(context: Context, there: RoomState) -> tuple[float, float]:
    def usual(name: str) -> float:
        return context.library.row(_RULES, name).number("clock_h")

    begins = there.work_from_h if there.work_from_h is not None else usual("work_begins")
    ends = there.work_until_h if there.work_until_h is not None else usual("work_ends")
    return begins, ends


def _all_under_way(context: Context, bench: Bench, serving: Sequence[UnderWay]) -> tuple[UnderWay, ...]:
    """Everything that hangs, whether it serves a want or not: it has its hook."""
    known = {one.code: one for one in serving}
    out = list(known.values())
    for state in pieces(context.journal):
        if state.state is State.TAKEN_DOWN or state.code in known:
            continue
        under = hook_taken(context, state, bench)
        if under is not None:
            out.append(under)
    return tuple(out)


def _offers(
    context: Context,
    want: Filled,
    wants: Sequence[Filled],
    plan: BackPlan,
    planned: Callable[[Sequence[Asked]], BackPlan],
    there: RoomState,
    bench: Bench,
) -> tuple[Offer, ...]:
    filled = want.filled
    if filled is None:
        return ()

    def planned_with(other: CuredWant | DishWant) -> BackPlan:
        asked = []
        for one in wants:
            if one.one.key != want.one.key:
                asked.append(one.asked)
                continue
            if isinstance(other, DishWant):
                makes = dish_makes(
                    want=other, trays_m2=_room(there).trays_m2, work_h=_work(context, there),
                    library=context.library,
                )  # fmt: skip
                makes = tuple(replace(make, want=want.one.key) for make in makes)
            else:
                cured = one.one.wish.cured
                if cured is None:
                    raise Refused(Problem("wish_one_of", "cured"))
                airs: tuple[ChamberAir, ...] = chamber_airs(context, there, cured, bench.priors)
                makes, _ = piece_makes(want=other, chambers=airs, bench=bench)
            asked.append(replace(one.asked, makes=makes))
        return planned(asked)

    instead = [
        replace(one.filled, id=filled.id, needed_by=filled.needed_by)
        for one in wants
        if isinstance(one.filled, DishWant) and one.one.key != want.one.key
    ]
    return offers(
        want=filled, plan=plan, planned_with=planned_with, instead=instead[:2], library=context.library
    )
