"""A plan by the day: water, fuel, energy, protein and sodium by person, mass of pack and bin."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from saltfare.plans.menu_shapes import MenuProblem, Plan
from saltfare.plans.menu_totals import packs_for, totals


@dataclass(frozen=True, slots=True)
class DayLoad:
    """A day's figures. pack_g: food and fuel carried when the day begins, with the bin so far.

    bin_g: wrappings carried out so far, at its end. By person: kcal, protein_g, sodium_mg.
    """

    pack_g: int
    eaten_g: int
    bin_g: int
    water_ml: int
    fuel_mg: int
    kcal: tuple[int, ...]
    protein_g: tuple[int, ...]
    sodium_mg: tuple[int, ...]


def day_loads(problem: MenuProblem, plan: Plan) -> tuple[DayLoad, ...]:
    """The plan day by day, food picked up where a new carry begins.

    A pack that keeps is eaten from by the serving; its wrapping goes to the bin with its last.
    """
    days, people = range(len(problem.days)), range(len(problem.people))
    kcal, protein, sodium = Counter[tuple[int, int]](), Counter[tuple[int, int]](), Counter[tuple[int, int]]()
    kept: Counter[tuple[int, int]] = Counter()
    opened: Counter[tuple[int, int, int]] = Counter()
    for (d, s, i, p), n in plan.servings.items():
        item = problem.items[i]
        kcal[d, p] += n * item.kcal
        protein[d, p] += n * item.protein_g
        sodium[d, p] += n * item.sodium_mg
        if item.keeps_open:
            kept[d, i] += n
        else:
            opened[d, s, i] += n
    net, wraps, water, fuel = Counter[int](), Counter[int](), Counter[int](), Counter[int]()
    for (d, _, i), n in opened.items():
        item = problem.items[i]
        packs = packs_for(n, item)
        net[d] += packs * (item.pack_g - item.tare_g)
        wraps[d] += packs * item.tare_g
        water[d] += packs * item.servings * item.water_ml
        fuel[d] += packs * item.servings * item.fuel_mg
    eaten: Counter[tuple[int, int]] = Counter()
    for (d, i), n in sorted(kept.items()):
        item, carry = problem.items[i], problem.days[d].carry
        before = eaten[carry, i]
        eaten[carry, i] += n
        net_g = item.pack_g - item.tare_g
        net[d] += eaten[carry, i] * net_g // item.servings - before * net_g // item.servings
        wraps[d] += (eaten[carry, i] // item.servings - before // item.servings) * item.tare_g
        water[d] += n * item.water_ml
        fuel[d] += n * item.fuel_mg
    started = {problem.days[d].carry: d for d in reversed(days)}
    brought = totals(problem, plan)
    food_at = Counter[int]()
    for (carry, i), packs in brought.packs.items():
        food_at[started[carry]] += packs * problem.items[i].pack_g
    out, food, bin_g, fuel_mg = [], 0, 0, 0
    for d in days:
        food += food_at[d]
        if started[problem.days[d].carry] == d:
            fuel_mg += sum(fuel[e] for e in days if problem.days[e].carry == problem.days[d].carry)
        pack_g = food + bin_g + -(-fuel_mg // 1000)
        food -= net[d] + wraps[d]
        bin_g += wraps[d]
        fuel_mg -= fuel[d]
        out.append(
            DayLoad(
                pack_g,
                net[d],
                bin_g,
                water[d],
                fuel[d],
                tuple(kcal[d, p] for p in people),
                tuple(protein[d, p] for p in people),
                tuple(sodium[d, p] for p in people),
            )
        )
    return tuple(out)
