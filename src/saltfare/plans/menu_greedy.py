"""A first answer at once: sitting by sitting, then extras to whoever is furthest from the ration.

It breaks no hard rule; it may leave someone short, which is measured like any other plan's shortness. It
also finishes a plan that was left with gaps.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

from saltfare.plans.menu_admit import Admission
from saltfare.plans.menu_shapes import MenuProblem, Plan, Servings
from saltfare.plans.menu_totals import packs_for


class _Store:
    """What is left of everything while a plan grows. `take` gives or refuses a serving as a whole."""

    def __init__(self, problem: MenuProblem, table: Admission) -> None:
        self.problem, self.table = problem, table
        self.servings: dict[tuple[int, int, int, int], int] = {}
        self.kept: Counter[tuple[int, int]] = Counter()
        self.opened: Counter[tuple[int, int, int]] = Counter()
        self.packs: Counter[int] = Counter()
        self.mass_mg, self.volume_ml, self.fuel_mg = Counter[int](), Counter[int](), Counter[int]()
        self.kcal: Counter[tuple[int, int]] = Counter()
        self.times: Counter[tuple[int, int]] = Counter()
        self.extras: Counter[tuple[int, int]] = Counter()
        self.mains: Counter[tuple[int, int, int]] = Counter()
        self.eaten_on: set[tuple[int, int, int]] = set()
        self.in_pots: dict[tuple[int, int], Counter[int]] = {}

    def fits(self, d: int, s: int, i: int, p: int) -> bool:
        """Whether the rules of this person and place allow one more serving."""
        problem, item = self.problem, self.problem.items[i]
        if s not in self.table.slots[d][i] or i not in self.table.allowed[p] or self.table.bars(d, s, i, p):
            return False
        if item.role == "extra":
            more = self.extras[d, p] < problem.rules.extras_day
            return more and self.servings.get((d, s, i, p), 0) < problem.rules.same_extra_day
        if self.mains[d, s, p]:
            return False
        if item.staple or problem.days[d].spare:
            return True
        running = (
            (d - 1, i, p) in self.eaten_on or (d + 1, i, p) in self.eaten_on or (d, i, p) in self.eaten_on
        )
        return not running and self.times[p, i] < problem.repeat_cap()

    def cost(self, d: int, s: int, i: int, heads: int) -> tuple[int, int, int, int] | None:
        """Packs, mg, ml and mg of fuel that so many more servings take; None where they are not to be had."""
        problem, item = self.problem, self.problem.items[i]
        carry = problem.days[d].carry
        limit = problem.carries[carry]
        before = self.kept[carry, i] if item.keeps_open else self.opened[d, s, i]
        packs = packs_for(before + heads, item) - packs_for(before, item)
        cooked = heads if item.keeps_open else packs * item.servings
        fuel, volume = cooked * item.fuel_mg, packs * item.pack_ml
        mass = packs * item.pack_g * 1000 + fuel
        if item.stock is not None and self.packs[i] + packs > item.stock:
            return None
        for used, more, most in (
            (self.mass_mg[carry], mass, None if limit.mass_g is None else limit.mass_g * 1000),
            (self.volume_ml[carry], volume, limit.volume_ml),
            (self.fuel_mg[carry], fuel, None if limit.fuel_g is None else limit.fuel_g * 1000),
        ):
            if most is not None and used + more > most:
                return None
        return None if not self._pots_hold(d, s, i, before + heads) else (packs, mass, volume, fuel)

    def _pots_hold(self, d: int, s: int, i: int, servings: int) -> bool:
        kitchen, item = self.problem.kitchen, self.problem.items[i]
        if not item.pot_ml:
            return True
        dishes = Counter(self.in_pots.get((d, s), Counter()))
        here = servings
        if item.keeps_open:  # counted over the carry; the pot sees this sitting alone
            here = self.at_sitting(d, s, i) + servings - self.kept[self.problem.days[d].carry, i]
        dishes[i] = self._pot_share(i, here)
        fillings = sum(
            -(-ml // (kitchen.pot_ml * self.problem.items[n].servings)) for n, ml in dishes.items()
        )
        return fillings <= kitchen.pots * kitchen.fillings

    def at_sitting(self, d: int, s: int, i: int) -> int:
        """Servings of an item at a sitting so far."""
        return sum(self.servings.get((d, s, i, p), 0) for p in range(len(self.problem.people)))

    def _pot_share(self, i: int, servings: int) -> int:
        """Room in the pot, in ml times the servings of a pack, so that it stays whole."""
        item = self.problem.items[i]
        cooked = servings if item.keeps_open else packs_for(servings, item) * item.servings
        return cooked * item.pot_ml

    def take(self, d: int, s: int, i: int, p: int) -> bool:
        """One serving to one person; False, and nothing changed, where it cannot be."""
        price = self.cost(d, s, i, 1) if self.fits(d, s, i, p) else None
        if price is None:
            return False
        item, carry = self.problem.items[i], self.problem.days[d].carry
        packs, mass, volume, fuel = price
        self.packs[i] += packs
        self.mass_mg[carry] += mass
        self.volume_ml[carry] += volume
        self.fuel_mg[carry] += fuel
        self.servings[d, s, i, p] = self.servings.get((d, s, i, p), 0) + 1
        if item.keeps_open:
            self.kept[carry, i] += 1
        else:
            self.opened[d, s, i] += 1
        if item.pot_ml:
            self.in_pots.setdefault((d, s), Counter())[i] = self._pot_share(i, self.at_sitting(d, s, i))
        self.kcal[p, d] += item.kcal
        if item.role == "extra":
            self.extras[d, p] += 1
            return True
        self.mains[d, s, p] += 1
        if not item.staple and not self.problem.days[d].spare:
            self.times[p, i] += 1
            self.eaten_on.add((d, i, p))
        return True


def greedy(problem: MenuProblem, table: Admission, *, start: Servings | None = None) -> Plan:
    """A plan that breaks no hard rule: what is held first, then mains, then extras.

    start: servings to build on, taken as far as the rules allow.
    """
    store = _Store(problem, table)
    items = {item.id: n for n, item in enumerate(problem.items)}
    people = {person.id: n for n, person in enumerate(problem.people)}
    for hold in problem.holds:
        for _ in range(hold.servings):
            store.take(hold.day, hold.sitting, items[hold.item], people[hold.person])
    for (d, s, i, p), n in sorted((start or {}).items()):
        for _ in range(n - store.servings.get((d, s, i, p), 0)):
            store.take(d, s, i, p)
    for d, day in enumerate(problem.days):
        for s, sitting in enumerate(day.sittings):
            if sitting.main:
                _mains(store, d, s)
        _extras(store, d)
    _trip_extras(store)
    return Plan(store.servings)


def _mains(store: _Store, d: int, s: int) -> None:
    problem = store.problem
    hungry = [p for p in range(len(problem.people)) if not store.mains[d, s, p]]
    dishes = [
        i
        for i in range(len(problem.items))
        if problem.items[i].role == "main" and s in store.table.slots[d][i]
    ]
    while hungry:
        best: tuple[tuple[float, ...], int, list[int]] | None = None
        for i in dishes:
            diners = [p for p in hungry if store.fits(d, s, i, p)]
            while diners and store.cost(d, s, i, len(diners)) is None:
                diners.pop()
            if not diners:
                continue
            price = store.cost(d, s, i, len(diners))
            item = problem.items[i]
            grams = price[1] / (len(diners) * max(1, item.kcal)) if price else 0.0
            repeats = sum(store.times[p, i] for p in diners) / len(diners)
            dislikes = sum(problem.people[p].likes.get(item.id, 0) for p in diners) / len(diners)
            rank = (-len(diners), repeats - dislikes, grams * (10 + item.age_rank), float(i))
            if best is None or rank < best[0]:
                best = (rank, i, diners)
        if best is None:
            return
        served = [p for p in best[2] if store.take(d, s, best[1], p)]
        if not served:
            return
        hungry = [p for p in hungry if p not in served]


def _extras(store: _Store, d: int) -> None:
    """Extras of a day, to whoever is furthest below the ration, until everyone has it."""
    problem = store.problem
    _feed(store, [d], {p: problem.ration_kcal(p, d) for p in range(len(problem.people))})


def _trip_extras(store: _Store) -> None:
    """Extras on any day for whoever is still short over the trip."""
    problem = store.problem
    walking = [d for d in range(len(problem.days)) if not problem.days[d].spare]
    people = range(len(problem.people))
    _feed(store, walking, {p: sum(problem.ration_kcal(p, d) for d in walking) for p in people})


def _feed(store: _Store, days: list[int], target: Mapping[int, int]) -> None:
    problem = store.problem

    def missing(p: int) -> int:
        return target[p] - sum(store.kcal[p, d] for d in days)

    extras = [i for i, item in enumerate(problem.items) if item.role == "extra" and item.kcal > 0]
    extras.sort(
        key=lambda i: (problem.items[i].pack_g / (problem.items[i].servings * problem.items[i].kcal), i)
    )
    open_ = {p for p in target if missing(p) > 0}
    while open_:
        p = max(sorted(open_), key=lambda q: missing(q) / target[q])
        given = any(
            store.take(d, s, i, p)
            for i in extras
            if i in store.table.allowed[p]
            for d in days
            for s in store.table.slots[d][i][:1]
        )
        if not given or missing(p) <= 0:
            open_.discard(p)
