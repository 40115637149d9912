"""The menu as a program: whole servings by eater, block of days, sitting and item.

One builder makes every size of model. An eater is a person or several counted together, a block a day or
several of one kind counted together. Counting together loses rules that speak of one person or one day and
adds none, so the coarse model's bound holds for the fine one. Layers of different grain stand side by side:
a window of days in full beside what is left of the trip in the rough.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from saltfare.plans.menu_admit import Admission
from saltfare.plans.menu_outside import Used
from saltfare.plans.menu_program import Program
from saltfare.plans.menu_shapes import Goal, Item, MenuProblem, Servings
from saltfare.plans.menu_totals import (
    BASE_POINTS,
    MISSING_MAIN_KCAL,
    PROTEIN_KCAL,
    REPEAT_POINTS,
    packs_for,
    weight_pct,
)

# Everything is scaled to order one: hundreds of kcal, of grams and of ml, tens of grams of protein.
KCAL, GRAM, ML, PROTEIN = 100.0, 100.0, 1000.0, 25.0
# Units of each goal in its own whole number, for one unit of the program's objective.
SCALE: Mapping[Goal, float] = {
    Goal.SHORT: KCAL,
    Goal.MASS: GRAM * 1000.0,
    Goal.VARIETY: 1.0,
    Goal.AGE: KCAL * 10.0,
    Goal.COST: 100.0,
}


# Items worth offering to a person on a day: (person, day) to item indices.
Keep = Mapping[tuple[int, int], frozenset[int]]


@dataclass(frozen=True, slots=True)
class Layer:
    """Eaters and blocks of one grain. whole: servings are counted, not divided."""

    eaters: tuple[tuple[int, ...], ...]
    blocks: tuple[tuple[int, ...], ...]
    whole: bool = True


@dataclass(frozen=True, slots=True)
class Follows:
    """A column that is at least constant + terms, rounded up where it counts whole things."""

    column: int
    constant: float
    terms: tuple[tuple[int, float], ...]
    whole: bool


@dataclass(slots=True)
class MenuModel:
    """The program, and what its columns stand for.

    eaten: (eater, block, sitting, item) to column. goals: terms of each objective.
    follows: the columns that follow from what is eaten, in an order that can be worked through.
    """

    program: Program
    eaten: dict[tuple[tuple[int, ...], tuple[int, ...], int, int], int] = field(default_factory=dict)
    goals: dict[Goal, list[tuple[int, float]]] = field(default_factory=dict)
    follows: list[Follows] = field(default_factory=list)


def fine_layer(problem: MenuProblem, days: Sequence[int] | None = None) -> Layer:
    """Every person and every day (of `days`) by itself."""
    chosen = range(len(problem.days)) if days is None else days
    return Layer(tuple((p,) for p in range(len(problem.people))), tuple((d,) for d in chosen))


def coarse_layer(
    problem: MenuProblem, table: Admission, days: Sequence[int], *, whole: bool, guide: bool = False
) -> Layer:
    """People who may have the same counted together, days of one kind counted together.

    guide: days are of one kind though food perishes between them; what is left on the last is offered on
    all. Such a layer steers, and bounds nothing.
    """
    people: defaultdict[object, list[int]] = defaultdict(list)
    pinned = {p for _, _, _, p in table.barred if p is not None}
    pinned |= {n for n, one in enumerate(problem.people) if any(h.person == one.id for h in problem.holds)}
    for p in range(len(problem.people)):
        people[(p if p in pinned else -1, table.allowed[p])].append(p)
    kinds: defaultdict[object, list[int]] = defaultdict(list)
    marked = {d for d, _, _, _ in table.barred if d is not None} | {h.day for h in problem.holds}
    for d in days:
        day = problem.days[d]
        offer = None if guide else table.slots[d]
        kinds[(d if d in marked else -1, day.carry, day.spare, day.sittings, offer)].append(d)
    return Layer(
        tuple(tuple(group) for group in people.values()),
        tuple(tuple(group) for group in kinds.values()),
        whole,
    )


class _Builder:
    """Adds the rows of one model; a class because every row reads the same tables."""

    def __init__(
        self,
        problem: MenuProblem,
        table: Admission,
        layers: Sequence[Layer],
        rest: Servings,
        settled: frozenset[int],
        keep: Keep | None,
        *,
        even: bool,
    ) -> None:
        self.problem, self.table, self.layers, self.rest = problem, table, layers, rest
        self.settled, self.keep, self.even = settled, keep, even
        self.model = MenuModel(Program())
        self.program = self.model.program
        self.servings_at: dict[tuple[tuple[int, ...], int, int], list[tuple[int, float]]] = {}
        self.goal_terms: dict[Goal, list[tuple[int, float]]] = {goal: [] for goal in Goal}

    def build(self) -> MenuModel:
        for layer in self.layers:
            for block in layer.blocks:
                for eaters in layer.eaters:
                    self._columns(layer, eaters, block)
        for layer in self.layers:
            for eaters in layer.eaters:
                for block in layer.blocks:
                    self._day(eaters, block)
        self._packs()
        self._trip()
        self._variety()
        self.model.goals = self.goal_terms
        return self.model

    # columns ------------------------------------------------------------------------------------------

    def _columns(self, layer: Layer, eaters: tuple[int, ...], block: tuple[int, ...]) -> None:
        problem, table, day = self.problem, self.table, block[-1]
        allowed = table.allowed[eaters[0]]
        keep = None if self.keep is None else self.keep[eaters[0], day]
        for i, slots in enumerate(table.slots[day]):
            if not slots or i not in allowed or (keep is not None and i not in keep):
                continue
            item = problem.items[i]
            most = len(eaters) * len(block) * (1 if item.role == "main" else problem.rules.same_extra_day)
            for s in slots:
                if table.barred and any(table.bars(d, s, i, p) for p in eaters for d in block):
                    continue
                column = self.program.column(upper=float(most), whole=layer.whole)
                self.model.eaten[eaters, block, s, i] = column
                self.servings_at.setdefault((block, s, i), []).append((column, 1.0))
        if len(block) == 1 == len(eaters):
            self._holds(eaters[0], day, block)

    def _holds(self, person: int, day: int, block: tuple[int, ...]) -> None:
        names = {item.id: n for n, item in enumerate(self.problem.items)}
        for at, hold in enumerate(self.problem.holds):
            if hold.day != day or hold.person != self.problem.people[person].id:
                continue
            column = self.model.eaten.get(((person,), block, hold.sitting, names[hold.item]))
            terms = [] if column is None else [(column, 1.0)]
            self.program.row(terms, low=float(hold.servings), group=f"hold:{at}")

    # rows of one eater and block ----------------------------------------------------------------------

    def _of(self, eaters: tuple[int, ...], block: tuple[int, ...]) -> list[tuple[int, int, int]]:
        """(sitting, item, column) of an eater in a block."""
        return self._index()[eaters, block]

    def _index(self) -> Mapping[tuple[tuple[int, ...], tuple[int, ...]], list[tuple[int, int, int]]]:
        if not hasattr(self, "_held"):
            held: defaultdict[tuple[tuple[int, ...], tuple[int, ...]], list[tuple[int, int, int]]]
            held = defaultdict(list)
            for (eaters, block, s, i), column in self.model.eaten.items():
                held[eaters, block].append((s, i, column))
            self._held = held
        return self._held

    def _soft(self, weight_kcal: float) -> int:
        """A column of shortness, weighed in the first goal."""
        column = self.program.column()
        self.goal_terms[Goal.SHORT].append((column, weight_kcal / KCAL))
        return column

    def _follow(
        self, column: int, constant: float, terms: Iterable[tuple[int, float]], *, whole: bool = False
    ) -> None:
        self.model.follows.append(Follows(column, constant, tuple(terms), whole))

    def _day(self, eaters: tuple[int, ...], block: tuple[int, ...]) -> None:
        problem, program = self.problem, self.program
        heads, days = len(eaters), len(block)
        cells = self._of(eaters, block)
        for s, sitting in enumerate(problem.days[block[0]].sittings):
            mains = [(c, 1.0) for t, i, c in cells if t == s and problem.items[i].role == "main"]
            if sitting.main:
                missing = self._soft(MISSING_MAIN_KCAL)
                whole = float(heads * days)
                program.row([*mains, (missing, 1.0)], low=whole, high=whole, group=f"main:{s}")
                self._follow(missing, whole, ((c, -1.0) for c, _ in mains))
        extras = [(c, 1.0) for _, i, c in cells if problem.items[i].role == "extra"]
        most = float(problem.rules.extras_day * heads * days)
        if extras:
            program.row(extras, high=most, group="extras")
        floor = sum(problem.floor_kcal(p, d) for p in eaters for d in block)
        short = self._soft(KCAL)
        energy = [(c, problem.items[i].kcal / KCAL) for _, i, c in cells]
        program.row([*energy, (short, 1.0)], low=floor / KCAL, group="day_energy")
        self._follow(short, floor / KCAL, ((c, -v) for c, v in energy))

    # packs and what they weigh ------------------------------------------------------------------------

    def _packs(self) -> None:
        problem, program = self.problem, self.program
        of_carry: dict[str, defaultdict[int, list[tuple[int, float]]]] = {
            name: defaultdict(list) for name in ("mass", "volume", "fuel")
        }
        stock: defaultdict[int, list[tuple[int, float]]] = defaultdict(list)
        kept: defaultdict[tuple[int, int], list[tuple[int, float]]] = defaultdict(list)
        pots: defaultdict[tuple[tuple[int, ...], int], list[tuple[int, int, float]]] = defaultdict(list)
        used = Used(problem, self.rest)
        counted = {block for layer in self.layers if layer.whole for block in layer.blocks}

        def weigh(carry: int, i: int, column: int, packs: float, cooked: float) -> None:
            """A column that stands for so many packs, with so many servings cooked."""
            item = problem.items[i]
            if packs:
                of_carry["mass"][carry].append((column, packs * item.pack_g / GRAM))
                of_carry["volume"][carry].append((column, packs * item.pack_ml / ML))
                stock[i].append((column, packs))
                self._count(item, column, packs)
            if cooked and item.fuel_mg:
                of_carry["fuel"][carry].append((column, cooked * item.fuel_mg / (1000.0 * GRAM)))

        for (block, s, i), terms in self.servings_at.items():
            item, carry = problem.items[i], problem.days[block[0]].carry
            if item.keeps_open:
                kept[carry, i].extend(terms)
                for column, _ in terms:
                    weigh(carry, i, column, 0.0, 1.0)
                    if item.pot_ml:
                        pots[block, s].append((column, i, item.pot_ml / item.servings))
                continue
            if item.servings == 1:
                for column, _ in terms:
                    weigh(carry, i, column, 1.0, 1.0)
                    if item.pot_ml:
                        pots[block, s].append((column, i, float(item.pot_ml)))
                continue
            packs = program.column(whole=block in counted)
            program.row([(packs, float(item.servings)), *((c, -1.0) for c, _ in terms)], low=0.0)
            self._follow(packs, 0.0, ((c, 1.0 / item.servings) for c, _ in terms), whole=True)
            weigh(carry, i, packs, 1.0, float(item.servings))
            if item.pot_ml:
                pots[block, s].append((packs, i, float(item.pot_ml)))
        for (carry, i), terms in kept.items():
            item = problem.items[i]
            already = used.kept[carry, i]
            packs = program.column(whole=True, lower=float(packs_for(already, item)))
            program.row([(packs, float(item.servings)), *((c, -1.0) for c, _ in terms)], low=float(already))
            share = 1.0 / item.servings
            self._follow(packs, already * share, ((c, share) for c, _ in terms), whole=True)
            weigh(carry, i, packs, 1.0, 0.0)
        self._stock(stock, used, {i for _, i in kept})
        self._limits(of_carry, used, set(kept))
        self._pots(pots, counted)

    def _count(self, item: Item, column: int, packs: float) -> None:
        age = item.servings * item.kcal * item.age_rank
        if age:
            self.goal_terms[Goal.AGE].append((column, packs * age / SCALE[Goal.AGE]))
        if item.cost_minor:
            self.goal_terms[Goal.COST].append((column, packs * item.cost_minor / SCALE[Goal.COST]))

    def _stock(self, stock: Mapping[int, list[tuple[int, float]]], used: Used, kept_items: set[int]) -> None:
        for i, terms in stock.items():
            item = self.problem.items[i]
            if item.stock is None:
                continue
            outside = used.packs[i] + sum(
                packs_for(n, item)
                for (r, j), n in used.kept.items()
                if j == i and (r, i) not in self._kept_here
            )
            self.program.row(terms, high=float(item.stock - outside), group=f"stock:{i}")

    def _limits(
        self,
        of_carry: Mapping[str, Mapping[int, list[tuple[int, float]]]],
        used: Used,
        kept: set[tuple[int, int]],
    ) -> None:
        problem = self.problem
        for r, carry in enumerate(problem.carries):
            mass, fuel = of_carry["mass"][r], of_carry["fuel"][r]
            outside_g = used.food_g[r] + used.kept_g(r, self._kept_here)
            outside_ml = used.volume_ml[r] + used.kept_ml(r, self._kept_here)
            outside_mg = used.fuel_mg[r]
            self.goal_terms[Goal.MASS].extend(mass)
            self.goal_terms[Goal.MASS].extend(fuel)
            if carry.mass_g is not None and (mass or fuel):
                left = (carry.mass_g - outside_g - outside_mg / 1000.0) / GRAM
                self.program.row(merged([*mass, *fuel]), high=left, group=f"mass:{r}")
            if carry.volume_ml is not None and of_carry["volume"][r]:
                left = (carry.volume_ml - outside_ml) / ML
                self.program.row(of_carry["volume"][r], high=left, group=f"volume:{r}")
            if carry.fuel_g is not None and fuel:
                left = (carry.fuel_g - outside_mg / 1000.0) / GRAM
                self.program.row(fuel, high=left, group=f"fuel:{r}")

    @property
    def _kept_here(self) -> set[tuple[int, int]]:
        """(carry, item) of what keeps and is eaten in the window: its packs are counted by the window."""
        return {
            (self.problem.days[block[0]].carry, i)
            for block, _, i in self.servings_at
            if self.problem.items[i].keeps_open
        }

    def _pots(
        self,
        pots: Mapping[tuple[tuple[int, ...], int], list[tuple[int, int, float]]],
        counted: set[tuple[int, ...]],
    ) -> None:
        """A pot holds one dish at a time: fillings by dish, and no more of them than there are."""
        kitchen = self.problem.kitchen
        for (block, s), dishes in pots.items():
            by_item: defaultdict[int, list[tuple[int, float]]] = defaultdict(list)
            for column, i, ml in dishes:
                by_item[i].append((column, ml / ML))
            most = kitchen.pots * kitchen.fillings * len(block)
            fillings = []
            for terms in by_item.values():
                filling = self.program.column(upper=float(most), whole=block in counted)
                fillings.append((filling, 1.0))
                self.program.row([(filling, kitchen.pot_ml / ML), *((c, -ml) for c, ml in terms)], low=0.0)
                share = ML / kitchen.pot_ml
                self._follow(filling, 0.0, ((c, ml * share) for c, ml in terms), whole=True)
            self.program.row(fillings, high=float(most), group=f"pots:{block[0]}:{s}")

    # rows over the trip -------------------------------------------------------------------------------

    def _accounts(self) -> list[tuple[tuple[int, ...], list[tuple[int, int, int]], set[int]]]:
        """Each eater with the cells of everyone in it, and the days these cover in full."""
        eaters = dict.fromkeys(e for layer in self.layers for e in layer.eaters)
        out = []
        for account in eaters:
            members, days = set(account), set[int]()
            cells: list[tuple[int, int, int]] = []
            for layer in self.layers:
                inside = [e for e in layer.eaters if set(e) <= members]
                if sum(len(e) for e in inside) != len(members):
                    continue
                for block in layer.blocks:
                    days |= set(block)
                    for e in inside:
                        cells.extend((block[0], i, c) for _, i, c in self._of(e, block))
            out.append((account, cells, days))
        return out

    def _trip(self) -> None:
        problem, program = self.problem, self.program
        worst = self._soft(KCAL * len(problem.people))
        kcal, protein = Counter[int](), Counter[int]()
        for (d, _, i, p), n in self.rest.items():
            if not problem.days[d].spare:
                kcal[p] += n * problem.items[i].kcal
                protein[p] += n * problem.items[i].protein_g
        for account, cells, days in self._accounts():
            walking = [d for d in days | self.settled if not problem.days[d].spare]
            if not self.even and len(walking) < problem.walking_days():
                continue
            here = [(i, c) for d, i, c in cells if not problem.days[d].spare]
            ration = sum(problem.ration_kcal(p, d) for p in account for d in walking)
            short = self._soft(KCAL)
            terms = [(c, problem.items[i].kcal / KCAL) for i, c in here]
            done = sum(kcal[p] for p in account)
            program.row([*terms, (short, 1.0)], low=(ration - done) / KCAL, group="trip_energy")
            self._follow(short, (ration - done) / KCAL, ((c, -v) for c, v in terms))
            share = sum(weight_pct(problem, p) for p in account) / 100.0
            program.row([(worst, share), (short, -1.0)], low=0.0)
            self._follow(worst, 0.0, [(short, 1.0 / share)])
            lack = self._soft(PROTEIN_KCAL * PROTEIN)
            terms = [(c, problem.items[i].protein_g / PROTEIN) for i, c in here]
            need = sum(problem.people[p].protein_g for p in account) * len(walking)
            done = sum(protein[p] for p in account)
            program.row([*terms, (lack, 1.0)], low=(need - done) / PROTEIN, group="protein")
            self._follow(lack, (need - done) / PROTEIN, ((c, -v) for c, v in terms))

    def _variety(self) -> None:
        problem, program = self.problem, self.program
        points = self.goal_terms[Goal.VARIETY]
        for (eaters, _, _, i), column in self.model.eaten.items():
            item = problem.items[i]
            like = max(problem.people[p].likes.get(item.id, 0) for p in eaters)
            weight = (1 - like) if item.role == "main" else max(0, -like)
            if weight:
                points.append((column, float(weight)))
        times, near = Counter[tuple[int, int]](), set[tuple[int, int, int]]()
        for (d, _, i, p), n in self.rest.items():
            if problem.items[i].role == "main" and not problem.days[d].spare:
                times[p, i] += n
                near.add((d, i, p))
        for account, cells, _ in self._accounts():
            by_item: defaultdict[int, list[tuple[int, float]]] = defaultdict(list)
            by_base: defaultdict[str, list[tuple[int, float]]] = defaultdict(list)
            for d, i, c in cells:
                item = problem.items[i]
                if item.role == "main" and not item.staple and not problem.days[d].spare:
                    by_item[i].append((c, 1.0))
                    if item.base:
                        by_base[item.base].append((c, 1.0))
            heads = len(account)
            for i, terms in by_item.items():
                done = sum(times[p, i] for p in account)
                cap, free = heads * problem.repeat_cap(), heads * problem.rules.repeat_free
                reach = sum(program.upper[c] for c, _ in terms)
                if done + reach > cap:
                    program.row(terms, high=float(max(0, cap - done)), group="repeats")
                if done + reach > free and problem.repeat_cap() > problem.rules.repeat_free:
                    over = program.column()
                    points.append((over, float(REPEAT_POINTS)))
                    program.row([(over, 1.0), *((c, -1.0) for c, _ in terms)], low=float(done - free))
                    self._follow(over, float(done - free), terms)
            for base, terms in by_base.items():
                done = sum(
                    n
                    for (p, i), n in times.items()
                    if p in account and problem.items[i].base == base and not problem.items[i].staple
                )
                over = program.column()
                points.append((over, float(BASE_POINTS)))
                free = heads * problem.class_free()
                program.row([(over, 1.0), *((c, -1.0) for c, _ in terms)], low=float(done - free))
                self._follow(over, float(done - free), terms)
        self._neighbours(near)

    def _neighbours(self, near: set[tuple[int, int, int]]) -> None:
        """No dish on two days running, staples and spare days apart."""
        problem, program = self.problem, self.program
        by_day: defaultdict[tuple[int, int, int], list[int]] = defaultdict(list)
        for (eaters, block, _, i), column in self.model.eaten.items():
            item = problem.items[i]
            one = len(eaters) == 1 == len(block)
            if one and item.role == "main" and not item.staple and not problem.days[block[0]].spare:
                by_day[block[0], i, eaters[0]].append(column)
        for (d, i, p), columns in by_day.items():
            if (d - 1, i, p) in near or (d + 1, i, p) in near:
                for column in columns:
                    program.fix(column, low=0.0, high=0.0)
            together = columns + by_day.get((d + 1, i, p), [])
            if len(together) > 1:
                program.row([(c, 1.0) for c in together], high=1.0, group="running")


def merged(terms: Sequence[tuple[int, float]]) -> list[tuple[int, float]]:
    """Terms with each column once."""
    sums: defaultdict[int, float] = defaultdict(float)
    for column, value in terms:
        sums[column] += value
    return list(sums.items())


def menu_model(
    problem: MenuProblem,
    table: Admission,
    layers: Sequence[Layer],
    *,
    rest: Servings | None = None,
    settled: Iterable[int] = (),
    keep: Keep | None = None,
    even: bool = False,
) -> MenuModel:
    """The program for the layers, beside what is settled for other days.

    rest: a plan, of which the `settled` days count and no other.
    even: while days are still open elsewhere, hold everyone to the ration of the days settled so far.
    """
    days = frozenset(settled)
    outside = {at: n for at, n in (rest or {}).items() if at[0] in days}
    return _Builder(problem, table, layers, outside, days, keep, even=even).build()
