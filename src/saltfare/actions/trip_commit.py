"""What a menu does to the shelf: packs held for it, freed, taken along and brought back.

Everything of one act is appended together, with the versions of every lot that was looked at: two people
cannot both take the last pack.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

from saltfare.actions.context import Context
from saltfare.actions.shapes import Done, done
from saltfare.actions.trip_beside import beside_of_lot, packs_beside
from saltfare.actions.trip_load import loads_shown
from saltfare.actions.trip_menu import found_menu
from saltfare.actions.trip_menu_shapes import (
    AfterTripGiven,
    CommitGiven,
    ReleaseGiven,
    TakeAlongGiven,
    TakenAlong,
)
from saltfare.actions.trip_menu_shown import packs_by_carry
from saltfare.actions.trip_offers import item_of
from saltfare.actions.trip_problem import Posed, posed
from saltfare.actions.trips import found_trip, open_trip
from saltfare.core.errors import NotFound, Problem, Refused
from saltfare.jobs import model_version
from saltfare.journal import events_lot as lots
from saltfare.journal import events_trip as kinds
from saltfare.journal.events import Body
from saltfare.journal.lot import LotState
from saltfare.journal.lot import lot as lot_of
from saltfare.journal.lot import lots as lot_states
from saltfare.journal.trip import TripStand, TripState
from saltfare.plans.menu_carry import day_loads
from saltfare.plans.menu_plain import plain
from saltfare.plans.menu_shapes import Handling
from saltfare.plans.menu_stages import Outcome
from saltfare.plans.menu_totals import short_value

Bodies = list[tuple[str, Body]]


def commit_menu(context: Context, given: CommitGiven) -> Done:
    """Hold a menu: its packs are held on the shelf for this trip, and it is kept as it was shown.

    Raises Refused where the trip or the shelf is no longer what the menu was shown for, where it breaks a
    rule, and where somebody is short and that was not said to be kept.
    """
    state = open_trip(context, given.code)
    if given.request_id and context.journal.answered(given.request_id):
        return _again(context, given, state)
    if state.taken:
        raise Refused(Problem("trip_has_left", "code", state.code))
    asked = posed(context, state)
    if given.key is not None and asked.key(given.preset) != given.key:
        raise Refused(Problem("trip_menu_out_of_date", "key", given.preset.value))
    outcome = found_menu(context, asked, given.preset).outcome
    if not outcome.plan.servings:
        raise Refused(Problem("trip_menu_empty", "key"))
    if outcome.broken:
        worst = outcome.broken[0]
        raise Refused(
            Problem("trip_menu_breaks_rules", "key", worst.where, params={"count": len(outcome.broken)})
        )
    if not outcome.short.nobody and not given.short:
        who = ", ".join(one.id for p, one in enumerate(asked.problem.people) if p in outcome.short.whose)
        kcal = short_value(asked.problem, outcome.short)
        raise Refused(Problem("trip_menu_short", "short", params={"who": who, "kcal": kcal}))
    body = _committed(context, asked, given, outcome)
    held = Counter[str]()
    for taken in body.items:
        if taken.origin == "lot":
            held[taken.key] += sum(taken.packs.values())
            for meat in taken.beside:
                held[meat.lot] += packs_beside(meat, sum(taken.packs.values()))
    bodies: Bodies = [(kinds.STREAM + state.code, body)]
    seen = {kinds.STREAM + state.code: state.version}
    # the versions the items were worked out from, asked for before the search: what moved since is a conflict
    seen |= {lots.STREAM + code: asked.lot_versions[code] for code in held}
    for lot in lot_states(context.journal):
        before = lot.reserved.get(state.code, 0)
        if held[lot.code] != before:
            bodies.append((lots.STREAM + lot.code, lots.PacksReserved(trip=state.code, packs=held[lot.code])))
            seen.setdefault(lots.STREAM + lot.code, lot.version)
    return done(context, given, bodies, seen=seen)


def _again(context: Context, given: CommitGiven, state: TripState) -> Done:
    """The first answer of a request sent twice."""
    assert given.request_id is not None  # noqa: S101
    before = context.journal.answered(given.request_id)
    return Done(
        stream=before[0].stream,
        version=context.journal.stream_head(before[0].stream),
        events=tuple(event.id for event in before),
        at=before[0].at,
        already=True,
    )


def _committed(context: Context, asked: Posed, given: CommitGiven, outcome: Outcome) -> kinds.MenuCommitted:
    problem, plan = asked.problem, outcome.plan
    by_item: dict[str, dict[int, int]] = {}
    for (carry, i), count in packs_by_carry(problem, plan).items():
        by_item.setdefault(problem.items[i].id, {})[carry] = count
    used = {item.id: item for item in problem.items if item.id in by_item}
    loads = day_loads(problem, plan)
    found = loads_shown(context, asked.state, problem, plan, asked.need).water
    # an item nobody eats is no part of what was issued
    issued = plain(problem) | {"items": [plain(item) for item in problem.items if item.id in used]}
    return kinds.MenuCommitted(
        preset=given.preset.value,
        served=tuple(
            kinds.Served(
                day=d,
                sitting=problem.days[d].sittings[s].name,
                item=problem.items[i].id,
                person=problem.people[p].id,
                servings=n,
            )
            for (d, s, i, p), n in sorted(plan.servings.items())
        ),
        items=tuple(
            kinds.ItemTaken(
                item=name,
                key=asked.shown[name].key,
                origin=asked.shown[name].origin,
                name=asked.shown[name].name,
                packs=by_item[name],
                had=asked.shown[name].stock,
                handling=(item.handling or Handling.AS_IT_IS).value,
                answer=item.answer.value,
                decided=asked.shown[name].decided,
                why=asked.shown[name].why_decided,
                minutes=asked.shown[name].minutes,
                minutes_low=asked.shown[name].minutes_low,
                minutes_high=asked.shown[name].minutes_high,
                allergens=asked.shown[name].allergens,
                allergens_unsure=asked.shown[name].allergens_unsure,
                beside=asked.shown[name].beside,
            )
            for name, item in sorted(used.items())
        ),
        goals={value.goal.value: (value.reached, value.bound) for value in outcome.values},
        short_kcal=short_value(problem, outcome.short),
        fuel_g=-(-sum(load.fuel_mg for load in loads) // 1000),
        water_ml=round(1e6 * (found.value or 0.0)),
        end=outcome.end.value,
        model_version=model_version(context.library.version),
        problem=issued,
    )


def release_menu(context: Context, given: ReleaseGiven) -> Done:
    """Let a committed menu go; the packs it held are free again."""
    state = open_trip(context, given.code)
    if state.menu is None:
        raise Refused(Problem("trip_no_menu", "code", state.code))
    if state.taken:
        raise Refused(Problem("trip_has_left", "code", state.code))
    bodies: Bodies = [(kinds.STREAM + state.code, kinds.MenuReleased(reason=given.reason))]
    seen = {kinds.STREAM + state.code: state.version}
    for lot in lot_states(context.journal):
        if state.code in lot.reserved:
            bodies.append((lots.STREAM + lot.code, lots.PacksReserved(trip=state.code, packs=0)))
            seen[lots.STREAM + lot.code] = lot.version
    return done(context, given, bodies, seen=seen)


def take_along(context: Context, given: TakeAlongGiven) -> TakenAlong:
    """Take packs off the shelf for the trip: all that the menu holds, or those named."""
    state = open_trip(context, given.code)
    if given.packs is None and state.menu is None:
        raise Refused(Problem("trip_no_menu", "code", state.code))
    named = None if given.packs is None else by_item(context, given.packs, "packs")
    wanted = _wanted(state) if named is None else {i: n for i, n in named.items() if n}
    if not wanted:
        raise Refused(Problem("trip_nothing_to_take", "packs"))
    seen = {kinds.STREAM + state.code: state.version}
    taken, missing = dict[str, int](), dict[str, int]()
    drawn, beside = Counter[str](), list[kinds.BesideTaken]()
    for item, count in sorted(wanted.items()):
        kind, _, key = item.partition("/")
        if kind + "/" != lots.STREAM:
            missing[item] = (
                count  # bought on the way out, or made in time: nothing on the shelf stands for it
            )
            continue
        lot = _lot(context, key, item)
        free = _free(lot, state.code) - drawn[key]
        if given.packs is not None and count > free:
            params: dict[str, str | float | int] = {"free": max(free, 0)}
            raise Refused(Problem("trip_more_than_free", f"packs.{item}", str(count), params=params))
        draw = min(count, max(free, 0))
        if draw < count:
            missing[item] = count - draw
        if not draw:
            continue
        taken[item] = draw
        drawn[key] += draw
        for meat, packs in _meat_of(context, state, lot, draw):
            there = max(_free(_lot(context, meat.lot, item), state.code) - drawn[meat.lot], 0)
            if named is not None and packs > there:
                params = {"name": meat.name, "packs": packs, "free": there}
                raise Refused(Problem("trip_beside_short", f"packs.{item}", str(count), params=params))
            goes = min(packs, there)
            if goes < packs:
                at = lots.STREAM + meat.lot
                missing[at] = missing.get(at, 0) + packs - goes
            if goes:
                drawn[meat.lot] += goes
                beside.append(kinds.BesideTaken(**dict(meat), dish=key, packs=goes))
    bodies: Bodies = []
    for key, packs in drawn.items():
        lot = lot_of(context.journal, key)
        bodies.append((lots.STREAM + key, lots.PacksDrawn(packs=packs, why="on_trip", trip=state.code)))
        seen[lots.STREAM + key] = lot.version
        if lot.reserved.get(state.code, 0) > packs and named is None:
            bodies.append((lots.STREAM + key, lots.PacksReserved(trip=state.code, packs=0)))
    left = {item.partition("/")[2]: count for item, count in taken.items()}
    bodies.insert(0, (kinds.STREAM + state.code, kinds.PacksTaken(packs=left, beside=tuple(beside))))
    made = done(context, given, bodies, seen=seen)
    return TakenAlong(**dict(made), taken=taken, missing=missing)


def _free(lot: LotState, trip: str) -> int:
    """Packs no other trip holds; below zero where more is held than there is."""
    return lot.packs_left - sum(n for by, n in lot.reserved.items() if by != trip)


def _meat_of(
    context: Context, state: TripState, lot: LotState, draw: int
) -> list[tuple[kinds.BesideHeld, int]]:
    """Own meat that leaves with packs of a dish, as the menu holds it or as the dish is meant now, and how
    many packs of it more than left with those taken before."""
    item = lots.STREAM + lot.code
    menu = state.menu.body.items if state.menu is not None else ()
    held = next((one.beside for one in menu if one.item == item), None)
    if held is None:
        held, lost = beside_of_lot(context, lot)
        if lost:
            raise Refused(Problem("trip_beside_gone", f"packs.{item}", lot.code, params={"name": lost[0]}))
    before = taken_packs(state).get(item, 0)
    more = [(one, packs_beside(one, before + draw) - packs_beside(one, before)) for one in held]
    return [(one, packs) for one, packs in more if packs > 0]


def _wanted(state: TripState) -> dict[str, int]:
    """Packs the menu holds, less what was taken already."""
    assert state.menu is not None  # noqa: S101 - asked for by the caller
    wanted = Counter({item.item: sum(item.packs.values()) for item in state.menu.body.items})
    for entry in state.taken:
        wanted.subtract({lots.STREAM + code: n for code, n in entry.body.packs.items()})
    return {item: n for item, n in wanted.items() if n > 0}


def _lot(context: Context, key: str, item: str) -> LotState:
    try:
        return lot_of(context.journal, key)
    except NotFound:
        raise Refused(Problem("menu_pin_leads_nowhere", f"packs.{item}", item)) from None


def taken_packs(state: TripState) -> dict[str, int]:
    """Packs that left for the trip, by item."""
    out = Counter[str]()
    for entry in state.taken:
        out.update({lots.STREAM + code: n for code, n in entry.body.packs.items()})
    return dict(out)


def after_trip(context: Context, given: AfterTripGiven) -> Done:
    """Enter how a trip went: leftovers come back to the shelf, what was disliked is noted with the lot, fuel
    and water used correct the next plan."""
    state = found_trip(context, given.code)
    if state.stand in (TripStand.CANCELLED, TripStand.OVER):
        raise Refused(Problem("trip_closed", "code", state.code, params={"stand": state.stand.value}))
    if state.departure > context.today:
        raise Refused(Problem("trip_not_begun", "code", state.departure.isoformat()))
    taken = taken_packs(state)
    given = given.model_copy(
        update={
            "left": by_item(context, given.left, "left"),
            "thrown_out": by_item(context, given.thrown_out, "thrown_out"),
            "disliked": _said_of(context, given.disliked, "disliked"),
            "liked": _said_of(context, given.liked, "liked"),
        }
    )
    _in_bounds(taken, given)
    people = {one.name for one in state.party}
    for field, entries in (("disliked", given.disliked), ("liked", given.liked)):
        for at, one in enumerate(entries):
            if one.person and one.person not in people:
                raise Refused(Problem("menu_pin_leads_nowhere", f"{field}.{at}.person", one.person))
    eaten = {
        item: n
        for item, count in taken.items()
        if (n := count - given.left.get(item, 0) - given.thrown_out.get(item, 0)) > 0
    }
    body = kinds.TripAfter(
        eaten=eaten,
        left={item: n for item, n in given.left.items() if n},
        thrown_out={item: n for item, n in given.thrown_out.items() if n},
        disliked=given.disliked,
        liked=given.liked,
        fuel=given.fuel,
        water=given.water,
        text=given.text,
    )
    bodies: Bodies = [(kinds.STREAM + state.code, body)]
    seen = {kinds.STREAM + state.code: state.version}
    back = Counter(body.left) + _meat_back(state, taken, body.left)
    for item, count in sorted(back.items()):
        bodies.append((item, lots.PacksReturned(packs=count, trip=state.code)))
        seen[item] = context.journal.stream_head(item)
    bodies += _tastings(context, given)
    bodies += [
        (lots.STREAM + lot.code, lots.PacksReserved(trip=state.code, packs=0))
        for lot in lot_states(context.journal)
        if state.code in lot.reserved
    ]
    return done(context, given, bodies, seen=seen)


def _meat_back(state: TripState, taken: Mapping[str, int], left: Mapping[str, int]) -> Counter[str]:
    """Packs of own meat that come back whole with packs of a dish: those that the rest took nothing of."""
    gone, held = Counter[tuple[str, str]](), dict[tuple[str, str], kinds.BesideTaken]()
    for entry in state.taken:
        for one in entry.body.beside:
            gone[one.dish, one.lot] += one.packs
            held[one.dish, one.lot] = one
    back = Counter[str]()
    for (dish, meat), packs in gone.items():
        item = lots.STREAM + dish
        used = packs_beside(held[dish, meat], taken.get(item, 0) - left.get(item, 0))
        back[lots.STREAM + meat] += max(packs - used, 0)
    return +back


def by_item(context: Context, packs: Mapping[str, int], field: str) -> dict[str, int]:
    """Packs by item, where they were named by code too."""
    return {item_of(context, item, f"{field}.{item}"): n for item, n in packs.items()}


def _said_of(context: Context, entries: tuple[kinds.Disliked, ...], field: str) -> tuple[kinds.Disliked, ...]:
    return tuple(
        one.model_copy(update={"item": item_of(context, one.item, f"{field}.{at}.item")})
        for at, one in enumerate(entries)
    )


def _in_bounds(taken: Mapping[str, int], given: AfterTripGiven) -> None:
    for item in sorted({*given.left, *given.thrown_out}):
        back = given.left.get(item, 0) + given.thrown_out.get(item, 0)
        if back > taken.get(item, 0):
            params: dict[str, str | float | int] = {"taken": taken.get(item, 0)}
            raise Refused(Problem("trip_more_back_than_taken", f"left.{item}", str(back), params=params))


def _tastings(context: Context, given: AfterTripGiven) -> Bodies:
    """What was said of a lot, kept with the lot too."""
    out: Bodies = []
    known = set(context.journal.streams(lots.STREAM))
    for entries, liked in ((given.disliked, "disliked"), (given.liked, "liked")):
        for one in entries:
            if one.item in known:
                body = lots.TastingNoted(
                    who=one.person,
                    liked="disliked" if liked == "disliked" else "liked",
                    would_carry_again=liked == "liked",
                    text=one.text,
                )
                out.append((one.item, body))
    return out
