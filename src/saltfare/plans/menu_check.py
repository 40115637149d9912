"""Whether a plan keeps every hard rule: worked out again from the problem alone, in whole numbers.

Nothing is shared with the model or the greedy answer, so that a mistake there shows here.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from saltfare.core.figure import Answer
from saltfare.plans.menu_shapes import Handling, Item, MenuProblem, Person, Plan


@dataclass(frozen=True, slots=True)
class Broken:
    """A rule a plan breaks: its code, where, what is there and the most (or least) allowed."""

    code: str
    where: str
    found: int
    allowed: int


def broken_rules(problem: MenuProblem, plan: Plan) -> tuple[Broken, ...]:
    """Every hard rule the plan breaks; empty for a plan that may be shown."""
    return (
        *_places(problem, plan),
        *_persons(problem, plan),
        *_packs(problem, plan),
        *_pots(problem, plan),
        *_pins(problem, plan),
    )


def _may_enter(item: Item) -> bool:
    match item.handling:
        case None | Handling.NOT_ON_TRIP:
            return False
        case Handling.AS_IT_IS if item.answer is Answer.DOES_NOT_MEET:
            return False
        case _:
            return item.answer is not Answer.CANNOT_TELL or item.chosen


def _may_have(person: Person, item: Item) -> bool:
    raw = item.uncooked_cured and item.handling is not Handling.COOKED_FIRST
    named = item.id in person.excludes or any(word in person.excludes for word in item.contains)
    return not named and not (raw and person.vulnerable)


def _places(problem: MenuProblem, plan: Plan) -> list[Broken]:
    out = []
    for (d, s, i, p), n in plan.servings.items():
        item, person, day = problem.items[i], problem.people[p], problem.days[d]
        where = f"{d}.{s}.{item.id}.{person.id}"
        sitting = day.sittings[s]
        if n < 1:
            out.append(Broken("servings", where, n, 1))
        if not _may_enter(item):
            out.append(Broken("not_admitted", where, n, 0))
        if not _may_have(person, item):
            out.append(Broken("excluded", where, n, 0))
        if sitting.name not in item.sittings or (item.role == "main" and not sitting.main):
            out.append(Broken("wrong_sitting", where, n, 0))
        if (item.hot or item.handling is Handling.COOKED_FIRST) and not sitting.stove:
            out.append(Broken("no_stove", where, n, 0))
        for end in (item.last_day, item.planning_day):
            if end is not None and d > end:
                out.append(Broken("too_late", where, d, end))
        cold = item.cold_until_day
        if item.handling is Handling.KEPT_COLD and (cold is None or d > cold):
            out.append(Broken("too_late", where, d, -1 if cold is None else cold))
        if item.carries is not None and day.carry not in item.carries:
            out.append(Broken("wrong_carry", where, day.carry, -1))
    return out


def _persons(problem: MenuProblem, plan: Plan) -> list[Broken]:
    mains: Counter[tuple[int, int, int]] = Counter()
    extras: Counter[tuple[int, int]] = Counter()
    same: Counter[tuple[int, int, int]] = Counter()
    days_of: defaultdict[tuple[int, int], list[int]] = defaultdict(list)
    for (d, s, i, p), n in plan.servings.items():
        item = problem.items[i]
        if item.role == "extra":
            extras[d, p] += n
            same[d, i, p] += n
            continue
        mains[d, s, p] += n
        if not item.staple and not problem.days[d].spare:
            days_of[p, i].extend([d] * n)
    rules = problem.rules
    out = [Broken("two_mains", f"{d}.{s}.{p}", n, 1) for (d, s, p), n in mains.items() if n > 1]
    out += [
        Broken("extras", f"{d}.{p}", n, rules.extras_day)
        for (d, p), n in extras.items()
        if n > rules.extras_day
    ]
    most = rules.same_extra_day
    out += [Broken("same_extra", f"{d}.{i}.{p}", n, most) for (d, i, p), n in same.items() if n > most]
    walking = len([day for day in problem.days if not day.spare])
    cap = max(rules.repeat_free, -(-walking // rules.repeat_days))
    for (p, i), days in days_of.items():
        where = f"{problem.items[i].id}.{problem.people[p].id}"
        if len(days) > cap:
            out.append(Broken("repeats", where, len(days), cap))
        days.sort()
        if any(later - day <= 1 for day, later in pairwise(days)):
            out.append(Broken("running", where, 2, 1))
    return out


def _packs(problem: MenuProblem, plan: Plan) -> list[Broken]:
    by_place: Counter[tuple[int, ...]] = Counter()
    for (d, s, i, _), n in plan.servings.items():
        carry = problem.days[d].carry
        by_place[(carry, i) if problem.items[i].keeps_open else (carry, i, d, s)] += n
    packs: Counter[int] = Counter()
    mass, volume, fuel = Counter[int](), Counter[int](), Counter[int]()
    for (carry, i, *_), n in by_place.items():
        item = problem.items[i]
        whole = (n + item.servings - 1) // item.servings
        packs[i] += whole
        mass[carry] += whole * item.pack_g
        volume[carry] += whole * item.pack_ml
        fuel[carry] += (n if item.keeps_open else whole * item.servings) * item.fuel_mg
    out = []
    for i, n in packs.items():
        stock = problem.items[i].stock
        if stock is not None and n > stock:
            out.append(Broken("stock", problem.items[i].id, n, stock))
    for r, limit in enumerate(problem.carries):
        if limit.mass_g is not None and Fraction(fuel[r], 1000) + mass[r] > limit.mass_g:
            out.append(Broken("mass", str(r), mass[r] + -(-fuel[r] // 1000), limit.mass_g))
        if limit.volume_ml is not None and volume[r] > limit.volume_ml:
            out.append(Broken("volume", str(r), volume[r], limit.volume_ml))
        if limit.fuel_g is not None and Fraction(fuel[r], 1000) > limit.fuel_g:
            out.append(Broken("fuel", str(r), -(-fuel[r] // 1000), limit.fuel_g))
    return out


def _pots(problem: MenuProblem, plan: Plan) -> list[Broken]:
    servings: Counter[tuple[int, int, int]] = Counter()
    for (d, s, i, _), n in plan.servings.items():
        if problem.items[i].pot_ml:
            servings[d, s, i] += n
    fillings: Counter[tuple[int, int]] = Counter()
    for (d, s, i), n in servings.items():
        item = problem.items[i]
        packs = Fraction(n, item.servings) if item.keeps_open else Fraction(-(-n // item.servings))
        room = packs * item.pot_ml / problem.kitchen.pot_ml
        fillings[d, s] += -(-room.numerator // room.denominator)
    most = problem.kitchen.pots * problem.kitchen.fillings
    return [Broken("pots", f"{d}.{s}", n, most) for (d, s), n in fillings.items() if n > most]


def _pins(problem: MenuProblem, plan: Plan) -> list[Broken]:
    out = []
    item_at = {item.id: n for n, item in enumerate(problem.items)}
    person_at = {person.id: n for n, person in enumerate(problem.people)}
    for hold in problem.holds:
        at = (hold.day, hold.sitting, item_at[hold.item], person_at[hold.person])
        if plan.servings.get(at, 0) < hold.servings:
            out.append(
                Broken(
                    "hold",
                    f"{hold.day}.{hold.sitting}.{hold.item}.{hold.person}",
                    plan.servings.get(at, 0),
                    hold.servings,
                )
            )
    for bar in problem.bars:
        for (d, s, i, p), n in plan.servings.items():
            same = problem.items[i].id == bar.item and bar.day in (None, d) and bar.sitting in (None, s)
            if same and bar.person in (None, problem.people[p].id):
                out.append(Broken("barred", f"{d}.{s}.{bar.item}.{problem.people[p].id}", n, 0))
    return out
