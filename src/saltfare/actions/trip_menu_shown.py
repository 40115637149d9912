"""A plan as a menu: by day and sitting, led by who is short of what, grams and energy of everybody below."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from saltfare.actions.context import Context
from saltfare.actions.trip_beside import packs_beside
from saltfare.actions.trip_menu_shapes import (
    BrokenShown,
    DishShown,
    GoalShown,
    MeatPacks,
    MenuDayShown,
    MenuShown,
    PackShown,
    PersonDayShown,
    PersonMenuShown,
    ShareShown,
    SittingShown,
    Work,
)
from saltfare.actions.trip_need import NeedShown
from saltfare.core.figure import Note
from saltfare.journal.events_trip import BesideHeld, ItemTaken, MenuCommitted
from saltfare.journal.trip import TripState
from saltfare.models.trip_energy_food import Band
from saltfare.plans.menu_carry import DayLoad, day_loads
from saltfare.plans.menu_plain import problem_of
from saltfare.plans.menu_shapes import Handling, MenuProblem, Plan, Preset, Value
from saltfare.plans.menu_stages import Outcome
from saltfare.plans.menu_totals import packs_for, short_value, weight_pct


@dataclass(frozen=True, slots=True)
class About:
    """What is told of an item beside its figures. have: packs free for this trip, None for as many as
    wanted."""

    key: str
    origin: str
    name: str
    minutes: int | None
    minutes_low: int | None
    minutes_high: int | None
    decided: bool
    allergens: tuple[str, ...]
    have: int | None
    beside: tuple[BesideHeld, ...] = ()


@dataclass(frozen=True, slots=True)
class How:
    """How a menu came to be."""

    key: str
    work: Work
    share: float
    committed: bool
    changed: bool
    quick: bool
    stopped: bool


def plan_of_committed(state: TripState, body: MenuCommitted) -> tuple[MenuProblem, Plan]:
    """The problem and the plan of a committed menu, as they were."""
    problem = problem_of(body.problem)
    item_at = {item.id: n for n, item in enumerate(problem.items)}
    person_at = {person.id: n for n, person in enumerate(problem.people)}
    servings = {}
    for one in body.served:
        names = [sitting.name for sitting in problem.days[one.day].sittings]
        servings[one.day, names.index(one.sitting), item_at[one.item], person_at[one.person]] = one.servings
    return problem, Plan(servings)


def about_taken(items: Iterable[ItemTaken]) -> dict[str, About]:
    """What a committed menu tells of its items."""
    return {
        one.item: About(
            one.key,
            one.origin,
            one.name,
            one.minutes,
            one.minutes_low,
            one.minutes_high,
            one.decided,
            one.allergens,
            one.had,
            one.beside,
        )
        for one in items
    }


def menu_shown(
    context: Context,
    state: TripState,
    problem: MenuProblem,
    outcome: Outcome,
    about: Mapping[str, About],
    how: How,
    preset: Preset,
    need: NeedShown | None,
) -> MenuShown:
    """A menu for a page."""
    plan, short = outcome.plan, outcome.short
    loads = day_loads(problem, plan)
    days = tuple(_day(state, problem, outcome, about, n, load) for n, load in enumerate(loads))
    people = tuple(_person(problem, outcome, loads, p) for p in range(len(problem.people)))
    order = sorted(
        range(len(people)),
        key=lambda p: (
            -(people[p].short_kcal * 100 // weight_pct(problem, p)),
            -len(people[p].no_main),
            -people[p].protein_short_g,
            people[p].kcal * 100 // max(people[p].ration_kcal, 1),
        ),
    )
    ranked = tuple(people[p] for p in order)
    packs = _packs(problem, plan, about)
    food_g = sum(one.grams for one in packs)
    person_days = max(len(problem.people) * len(problem.days), 1)
    return MenuShown(
        code=state.code,
        version=state.version,
        preset=preset,
        key=how.key,
        work=how.work,
        share=how.share,
        committed=how.committed,
        changed=how.changed,
        quick=how.quick,
        stopped=how.stopped,
        anything=bool(plan.servings),
        goals=tuple(_goal(value) for value in outcome.values),
        short_kcal=short_value(problem, short),
        short=tuple(one for one in ranked if _is_short(one)),
        people=ranked,
        days=days,
        packs=packs,
        broken=tuple(
            BrokenShown(code=one.code, where=one.where, found=one.found, allowed=one.allowed)
            for one in outcome.broken
        ),
        food_g=food_g,
        fuel_mg=sum(load.fuel_mg for load in loads),
        volume_ml=sum(one.millilitres for one in packs),
        cost_minor=sum(one.cost_minor for one in packs),
        grams_person_day=food_g // person_days,
        cautions=_cautions(context, problem, loads, need, packs),
        notes=(Note("menu_stopped"),) if how.stopped else (),
    )


def _is_short(one: PersonMenuShown) -> bool:
    return bool(one.short_kcal or one.short_days or one.protein_short_g or one.no_main)


def _goal(value: Value) -> GoalShown:
    return GoalShown(goal=value.goal.value, reached=value.reached, bound=value.bound, gap=value.gap)


def _day(
    state: TripState,
    problem: MenuProblem,
    outcome: Outcome,
    about: Mapping[str, About],
    d: int,
    load: DayLoad,
) -> MenuDayShown:
    day, plan = problem.days[d], outcome.plan
    eaten: defaultdict[tuple[int, int], dict[int, int]] = defaultdict(dict)
    for (at, s, i, p), n in plan.servings.items():
        if at == d:
            eaten[s, i][p] = n
    return MenuDayShown(
        day=d,
        on=state.on(d),
        carry=day.carry,
        spare=day.spare,
        sittings=tuple(
            SittingShown(
                sitting=sitting.name,
                stove=sitting.stove,
                main=sitting.main,
                dishes=tuple(
                    _dish(problem, about, d, s, i, shares)
                    for (at, i), shares in sorted(
                        eaten.items(), key=lambda one: (problem.items[one[0][1]].role != "main", one[0])
                    )
                    if at == s
                ),
                missing=tuple(
                    problem.people[p].id for day_, s_, p in outcome.short.no_main if (day_, s_) == (d, s)
                ),
            )
            for s, sitting in enumerate(day.sittings)
        ),
        people=tuple(
            PersonDayShown(
                person=person.id,
                kcal=load.kcal[p],
                ration_kcal=problem.ration_kcal(p, d),
                need_kcal=person.need_kcal[d],
                short_kcal=outcome.short.day_kcal.get((p, d), 0),
                protein_g=load.protein_g[p],
                sodium_mg=load.sodium_mg[p],
            )
            for p, person in enumerate(problem.people)
        ),
        pack_g=load.pack_g,
        eaten_g=load.eaten_g,
        bin_g=load.bin_g,
        water_ml=load.water_ml,
        fuel_mg=load.fuel_mg,
    )


def _dish(
    problem: MenuProblem, about: Mapping[str, About], d: int, s: int, i: int, shares: Mapping[int, int]
) -> DishShown:
    item, told = problem.items[i], about[problem.items[i].id]
    servings = sum(shares.values())
    packs = 0 if item.keeps_open else packs_for(servings, item)
    cooked = servings if item.keeps_open else packs * item.servings
    return DishShown(
        item=item.id,
        key=told.key,
        origin=told.origin,
        name=told.name,
        role=item.role,
        shares=tuple(ShareShown(person=problem.people[p].id, servings=n) for p, n in sorted(shares.items())),
        servings=servings,
        packs=packs,
        each_g=(item.pack_g - item.tare_g) // item.servings,
        each_kcal=item.kcal,
        water_ml=cooked * item.water_ml,
        minutes=told.minutes,
        minutes_low=told.minutes_low,
        minutes_high=told.minutes_high,
        fuel_mg=cooked * item.fuel_mg,
        handling=(item.handling or Handling.AS_IT_IS).value,
        decided=told.decided,
        held=tuple(
            hold.person for hold in problem.holds if (hold.day, hold.sitting, hold.item) == (d, s, item.id)
        ),
        allergens=told.allergens,
    )


def _person(problem: MenuProblem, outcome: Outcome, loads: tuple[DayLoad, ...], p: int) -> PersonMenuShown:
    person, short = problem.people[p], outcome.short
    walking = [d for d, day in enumerate(problem.days) if not day.spare]
    grams = sum(
        n * problem.items[i].pack_g / problem.items[i].servings
        for (_, _, i, who), n in outcome.plan.servings.items()
        if who == p
    )
    return PersonMenuShown(
        person=person.id,
        kcal=sum(load.kcal[p] for load in loads),
        ration_kcal=sum(problem.ration_kcal(p, d) for d in range(len(loads))),
        need_kcal=sum(person.need_kcal),
        short_kcal=short.trip_kcal.get(p, 0),
        short_days=tuple(sorted(d for who, d in short.day_kcal if who == p)),
        protein_g=sum(loads[d].protein_g[p] for d in walking),
        protein_wanted_g=person.protein_g * len(walking),
        protein_short_g=short.protein_g.get(p, 0),
        sodium_mg=sum(load.sodium_mg[p] for load in loads),
        no_main=tuple((d, problem.days[d].sittings[s].name) for d, s, who in short.no_main if who == p),
        grams=round(grams),
    )


def packs_by_carry(problem: MenuProblem, plan: Plan) -> dict[tuple[int, int], int]:
    """Whole packs by (carry, item)."""
    kept: Counter[tuple[int, int]] = Counter()
    opened: Counter[tuple[int, int, int]] = Counter()
    for (d, s, i, _), n in plan.servings.items():
        if problem.items[i].keeps_open:
            kept[problem.days[d].carry, i] += n
        else:
            opened[d, s, i] += n
    packs: Counter[tuple[int, int]] = Counter()
    for (r, i), n in kept.items():
        packs[r, i] += packs_for(n, problem.items[i])
    for (d, _, i), n in opened.items():
        packs[problem.days[d].carry, i] += packs_for(n, problem.items[i])
    return dict(packs)


def _packs(problem: MenuProblem, plan: Plan, about: Mapping[str, About]) -> tuple[PackShown, ...]:
    left: dict[str, int | None] = {one: told.have for one, told in about.items()}
    out = []
    gone = Counter[str]()
    packs = packs_by_carry(problem, plan)
    for (r, i), count in sorted(
        packs.items(), key=lambda one: (one[0][0], about[problem.items[one[0][1]].id].name)
    ):
        item, told = problem.items[i], about[problem.items[i].id]
        have = left[item.id]
        missing = 0 if have is None else max(count - have, 0)
        if have is not None:
            left[item.id] = max(have - count, 0)
        before = gone[item.id]
        gone[item.id] += count
        out.append(
            PackShown(
                item=item.id,
                key=told.key,
                origin=told.origin,
                name=told.name,
                carry=r,
                packs=count,
                have=told.have,
                missing=missing,
                grams=count * item.pack_g,
                millilitres=count * item.pack_ml,
                cost_minor=count * item.cost_minor,
                handling=(item.handling or Handling.AS_IT_IS).value,
                decided=told.decided,
                beside=tuple(
                    MeatPacks(
                        code=meat.lot,
                        name=meat.name,
                        packs=packs_beside(meat, before + count) - packs_beside(meat, before),
                    )
                    for meat in told.beside
                ),
            )
        )
    return tuple(out)


def _cautions(
    context: Context,
    problem: MenuProblem,
    loads: tuple[DayLoad, ...],
    need: NeedShown | None,
    packs: tuple[PackShown, ...],
) -> tuple[Note, ...]:
    library, out, cool = context.library, [], False
    field = Band.sodium_from_row(library.row("trip_nutrition", "sodium_field"))
    least = Band.sodium_from_row(library.row("trip_nutrition", "sodium_ai"))
    for p, person in enumerate(problem.people):
        high = [d + 1 for d, load in enumerate(loads) if load.sodium_mg[p] > 1e6 * field.high]
        if high:
            out.append(Note("trip_sodium_high", {"person": person.id, "days": _listed(high)}))
        low = []
        if need is not None and p < len(need.people):
            for d, load in enumerate(loads):
                sweat = need.people[p].days[d].sweat_sodium
                wanted = least.low + (sweat.low or 0.0) if sweat is not None else 0.0
                if load.sodium_mg[p] >= 1e6 * wanted:
                    continue
                # below the heat of the printed table the hourly water, and so the sweat, is chosen
                if need.people[p].days[d].in_heat_table:
                    low.append(d + 1)
                else:
                    cool = True
        if low:
            out.append(Note("trip_sodium_low", {"person": person.id, "days": _listed(low)}))
    if cool:
        out.append(Note("trip_sodium_cool"))
    longest = library.row("trip_nutrition", "single_ration_days").number("days") / 86400.0
    if len(problem.days) > longest:
        out.append(Note("trip_long_sole_ration", {"days": int(longest)}))
    names = dict.fromkeys(one.name for one in packs if one.decided)
    out += [Note("trip_own_decision", {"item": name}) for name in names]
    return tuple(out)


def _listed(days: list[int]) -> str:
    return ", ".join(str(day) for day in days)
