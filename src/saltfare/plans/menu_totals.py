"""What follows from a plan: packs, grams, room, fuel and money, and how short anyone is."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

from saltfare.plans.menu_shapes import Goal, Item, MenuProblem, Plan, Servings, Totals


def packs_for(servings: int, item: Item) -> int:
    """Whole packs that hold so many servings."""
    return -(-servings // item.servings)


def by_place(
    problem: MenuProblem, servings: Servings
) -> tuple[Counter[tuple[int, int]], Counter[tuple[int, int, int]]]:
    """Servings by (carry, item) of what keeps once opened, and by (day, sitting, item) of what does not."""
    kept: Counter[tuple[int, int]] = Counter()
    opened: Counter[tuple[int, int, int]] = Counter()
    for (d, s, i, _), n in servings.items():
        if problem.items[i].keeps_open:
            kept[problem.days[d].carry, i] += n
        else:
            opened[d, s, i] += n
    return kept, opened


def cooked_servings(servings: int, item: Item) -> int:
    """Servings heated: those eaten of what keeps, whole packs of what does not."""
    return servings if item.keeps_open else packs_for(servings, item) * item.servings


@dataclass(frozen=True, slots=True)
class Carried:
    """What one carry holds, packs with fuel."""

    food_g: int
    fuel_mg: int
    volume_ml: int


def carried(problem: MenuProblem, plan: Plan) -> tuple[Carried, ...]:
    """What each carry holds."""
    food, fuel, volume = Counter[int](), Counter[int](), Counter[int]()
    kept, opened = by_place(problem, plan.servings)
    for (r, i), n in kept.items():
        item = problem.items[i]
        food[r] += packs_for(n, item) * item.pack_g
        volume[r] += packs_for(n, item) * item.pack_ml
        fuel[r] += n * item.fuel_mg
    for (d, _, i), n in opened.items():
        item, r = problem.items[i], problem.days[d].carry
        food[r] += packs_for(n, item) * item.pack_g
        volume[r] += packs_for(n, item) * item.pack_ml
        fuel[r] += cooked_servings(n, item) * item.fuel_mg
    return tuple(Carried(food[r], fuel[r], volume[r]) for r in range(len(problem.carries)))


def totals(problem: MenuProblem, plan: Plan) -> Totals:
    """Packs and sums of a plan."""
    kept, opened = by_place(problem, plan.servings)
    packs: Counter[tuple[int, int]] = Counter()
    for (r, i), n in kept.items():
        packs[r, i] += packs_for(n, problem.items[i])
    by_sitting = {at: packs_for(n, problem.items[at[2]]) for at, n in opened.items()}
    for (d, _, i), n in by_sitting.items():
        packs[problem.days[d].carry, i] += n
    loads = carried(problem, plan)
    return Totals(
        dict(packs),
        by_sitting,
        sum(load.food_g for load in loads),
        sum(load.fuel_mg for load in loads),
        sum(load.volume_ml for load in loads),
        sum(n * problem.items[i].cost_minor for (_, i), n in packs.items()),
    )


@dataclass(frozen=True, slots=True)
class Shortness:
    """Who is short of what: kcal by (person, day) and by person over the trip, protein by person, and the
    sittings (day, sitting, person) left without a main."""

    day_kcal: Mapping[tuple[int, int], int]
    trip_kcal: Mapping[int, int]
    protein_g: Mapping[int, int]
    no_main: tuple[tuple[int, int, int], ...]

    @property
    def nobody(self) -> bool:
        """Whether nobody is short of anything."""
        return not self.whose

    @property
    def whose(self) -> frozenset[int]:
        """The people who are short of anything."""
        days, meals = (p for p, _ in self.day_kcal), (p for _, _, p in self.no_main)
        return frozenset((*days, *self.trip_kcal, *self.protein_g, *meals))


def shortness(problem: MenuProblem, plan: Plan) -> Shortness:
    """Who is short of what in a plan."""
    kcal: Counter[tuple[int, int]] = Counter()
    protein: Counter[int] = Counter()
    mains: Counter[tuple[int, int, int]] = Counter()
    for (d, s, i, p), n in plan.servings.items():
        item = problem.items[i]
        kcal[p, d] += n * item.kcal
        if not problem.days[d].spare:
            protein[p] += n * item.protein_g
        if item.role == "main":
            mains[d, s, p] += n
    days = range(len(problem.days))
    walking = [d for d in days if not problem.days[d].spare]
    people = range(len(problem.people))
    day_short = {(p, d): problem.floor_kcal(p, d) - kcal[p, d] for p in people for d in days}
    trip_short = {p: sum(problem.ration_kcal(p, d) - kcal[p, d] for d in walking) for p in people}
    protein_short = {p: problem.people[p].protein_g * len(walking) - protein[p] for p in people}
    return Shortness(
        {at: n for at, n in day_short.items() if n > 0},
        {p: n for p, n in trip_short.items() if n > 0},
        {p: n for p, n in protein_short.items() if n > 0},
        tuple(
            (d, s, p)
            for d in days
            for s, sitting in enumerate(problem.days[d].sittings)
            if sitting.main
            for p in people
            if not mains[d, s, p]
        ),
    )


# A sitting without a main weighs as this many kcal short, a gram of protein as this many.
MISSING_MAIN_KCAL = 500
PROTEIN_KCAL = 4


def short_value(problem: MenuProblem, short: Shortness) -> int:
    """Shortness as one number, kcal; the worst-off person counts once more for everyone of the party.

    For each person the trip's shortness is set against the mean ration, so that a small eater's gap weighs
    as a large eater's.
    """
    total = sum(short.day_kcal.values()) + sum(short.trip_kcal.values())
    total += PROTEIN_KCAL * sum(short.protein_g.values()) + MISSING_MAIN_KCAL * len(short.no_main)
    worst = max((-(-n * 100 // weight_pct(problem, p)) for p, n in short.trip_kcal.items()), default=0)
    return total + len(problem.people) * worst


def weight_pct(problem: MenuProblem, person: int) -> int:
    """The person's ration over the mean of the party, in per cent, whole."""
    rations = [
        sum(problem.ration_kcal(p, d) for d in range(len(problem.days))) for p in range(len(problem.people))
    ]
    return max(1, rations[person] * 100 * len(rations) // max(1, sum(rations)))


REPEAT_POINTS = 3
BASE_POINTS = 2


def variety_points(problem: MenuProblem, plan: Plan) -> int:
    """Repeats and dislikes: a dish beyond its free times 3, a base beyond its 2, a main 1 (0 if liked, 2 if
    disliked), a disliked extra 1. Spare days count likes only."""
    times: Counter[tuple[int, int]] = Counter()
    bases: defaultdict[tuple[int, str], int] = defaultdict(int)
    points = 0
    for (d, _, i, p), n in plan.servings.items():
        item = problem.items[i]
        like = problem.people[p].likes.get(item.id, 0)
        points += n * ((1 - like) if item.role == "main" else max(0, -like))
        if item.role == "main" and not problem.days[d].spare and not item.staple:
            times[p, i] += n
            if item.base:
                bases[p, item.base] += n
    free, base_free = problem.rules.repeat_free, problem.class_free()
    points += REPEAT_POINTS * sum(max(0, n - free) for n in times.values())
    return points + BASE_POINTS * sum(max(0, n - base_free) for n in bases.values())


def goal_value(problem: MenuProblem, plan: Plan, goal: Goal) -> int:
    """A goal as the plan reaches it: kcal short, mg carried, points, kcal times age rank, minor units."""
    if goal is Goal.SHORT:
        return short_value(problem, shortness(problem, plan))
    if goal is Goal.VARIETY:
        return variety_points(problem, plan)
    sums = totals(problem, plan)
    if goal is Goal.MASS:
        return 1000 * sums.food_g + sums.fuel_mg
    if goal is Goal.COST:
        return sums.cost_minor
    return sum(
        n * problem.items[i].servings * problem.items[i].kcal * problem.items[i].age_rank
        for (_, i), n in sums.packs.items()
    )
