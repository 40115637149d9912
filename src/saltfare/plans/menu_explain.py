"""Why somebody is short, and what would mend it: an irreducible set of limits and needs, as codes.

A limit belongs to the set if without it, and without those already found idle, everyone is fed. What is left
cannot be met together, and giving way in any one of it meets the rest.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Mapping

from saltfare.core.figure import Answer, Note
from saltfare.plans.menu_admit import Admission, admission, kept_off
from saltfare.plans.menu_answers import goal_limit
from saltfare.plans.menu_model import SCALE, MenuModel, coarse_layer, fine_layer, menu_model
from saltfare.plans.menu_program import Limits, solve
from saltfare.plans.menu_shapes import Carry, Goal, Handling, Item, MenuProblem, Person, Sitting

_FED = 1e-4
_LIMITS = Limits(1e-4, 200, 200)


@dataclasses.dataclass(frozen=True, slots=True)
class Explanation:
    """needs: who or what is left short. limits: what stands in the way, each needed for it.
    mends: what alone would feed everyone. proven: every answer behind it was settled, none cut short."""

    needs: tuple[Note, ...]
    limits: tuple[Note, ...]
    mends: tuple[Note, ...]
    proven: bool


def _items(problem: MenuProblem, change: Callable[[Item], Item]) -> MenuProblem:
    return dataclasses.replace(problem, items=tuple(change(item) for item in problem.items))


def _people(problem: MenuProblem, change: Callable[[Person], Person]) -> MenuProblem:
    return dataclasses.replace(problem, people=tuple(change(person) for person in problem.people))


def _carry(problem: MenuProblem, at: int, name: str) -> MenuProblem:
    freed: Carry = dataclasses.replace(problem.carries[at], **{name: None})
    return dataclasses.replace(
        problem, carries=tuple(freed if r == at else carry for r, carry in enumerate(problem.carries))
    )


def _admitted(item: Item) -> Item:
    if not kept_off(item) or item.handling is Handling.NOT_ON_TRIP:
        return item
    return dataclasses.replace(item, handling=Handling.AS_IT_IS, answer=Answer.MEETS, chosen=True)


def _stoves(problem: MenuProblem) -> MenuProblem:
    def lit(sitting: Sitting) -> Sitting:
        return dataclasses.replace(sitting, stove=True)

    days = tuple(
        day if day.spare else dataclasses.replace(day, sittings=tuple(lit(s) for s in day.sittings))
        for day in problem.days
    )
    return dataclasses.replace(problem, days=days)


def _without(problem: MenuProblem) -> Mapping[tuple[str, str], Callable[[MenuProblem], MenuProblem]]:
    """Each limit as (code, whose) with the problem that lacks it; only those the problem has."""
    out: dict[tuple[str, str], Callable[[MenuProblem], MenuProblem]] = {}
    people, items = problem.people, problem.items
    if problem.holds:
        out["holds", ""] = lambda m: dataclasses.replace(m, holds=())
    if problem.bars:
        out["bars", ""] = lambda m: dataclasses.replace(m, bars=())
    if any(not sitting.stove for day in problem.days if not day.spare for sitting in day.sittings):
        out["no_stove", ""] = _stoves
    for r, carry in enumerate(problem.carries):
        for name in ("mass_g", "volume_ml", "fuel_g"):
            if getattr(carry, name) is not None:
                out[name, str(r)] = lambda m, r=r, name=name: _carry(m, r, name)  # type: ignore[misc]
    out["pots", ""] = lambda m: dataclasses.replace(
        m, kitchen=dataclasses.replace(m.kitchen, pots=m.kitchen.pots + 4 * len(people))
    )
    out["repeats", ""] = lambda m: _items(m, lambda i: dataclasses.replace(i, staple=True))
    out["extras_day", ""] = lambda m: dataclasses.replace(
        m, rules=dataclasses.replace(m.rules, extras_day=10_000, same_extra_day=10_000)
    )
    if any(item.last_day is not None or item.planning_day is not None for item in items):
        out["last_day", ""] = lambda m: _items(
            m, lambda i: dataclasses.replace(i, last_day=None, planning_day=None)
        )
    if any(kept_off(item) not in ("", "not_on_trip") for item in items):
        out["handling", ""] = lambda m: _items(m, _admitted)
    for person in people:
        if person.excludes or person.vulnerable:
            name = person.id
            out["excludes", name] = lambda m, name=name: _people(  # type: ignore[misc]
                m,
                lambda p: (
                    dataclasses.replace(p, excludes=frozenset(), vulnerable=False) if p.id == name else p
                ),
            )
    if any(item.stock is not None for item in items):
        out["stock", ""] = lambda m: _items(m, lambda i: dataclasses.replace(i, stock=None))
    return out


class _Asker:
    """Answers whether a problem feeds everyone; remembers whether every answer was settled."""

    def __init__(self, whole_columns: int) -> None:
        self.whole_columns, self.proven = whole_columns, True

    def model(self, problem: MenuProblem, table: Admission) -> MenuModel:
        """The fine model where it is small enough to solve, the rough one otherwise."""
        fine = menu_model(problem, table, [fine_layer(problem)])
        if len(fine.program.lower) <= self.whole_columns:
            return fine
        self.proven = False
        return self.rough(problem, table)

    def rough(self, problem: MenuProblem, table: Admission) -> MenuModel:
        """The whole trip with people and days counted together."""
        layer = coarse_layer(problem, table, range(len(problem.days)), whole=True)
        return menu_model(problem, table, [layer])

    def feeds(self, problem: MenuProblem) -> bool:
        table = admission(problem)
        rough = self.rough(problem, table)
        solved = solve(rough.program, rough.goals[Goal.SHORT], _LIMITS, relaxed=True)
        if solved.values is None or solved.objective > _FED:
            return False
        model = self.model(problem, table)
        solved = solve(model.program, model.goals[Goal.SHORT], _LIMITS)
        if solved.values is not None and solved.objective <= _FED:
            return True
        if solved.bound <= _FED:
            self.proven = False
        return False


def explain(problem: MenuProblem, *, whole_columns: int = 3000) -> Explanation | None:
    """Why the problem feeds not everyone; None where it does.

    problem: as planned, checked by `problems_of_menu` before.
    """
    asker = _Asker(whole_columns)
    if asker.feeds(problem):
        return None
    without = _without(problem)
    freed, kept = problem, []
    for limit, change in without.items():
        trial = change(freed)
        if asker.feeds(trial):
            kept.append(limit)
        else:
            freed = trial
    needs = _needs(freed, asker)
    mends = [mend for limit in kept if (mend := _mend(problem, limit, without[limit], asker)) is not None]
    return Explanation(
        needs,
        tuple(Note(f"menu_limit_{code}", {"whose": whose}) for code, whose in kept),
        tuple(mends),
        asker.proven,
    )


def _needs(problem: MenuProblem, asker: _Asker) -> tuple[Note, ...]:
    """Who cannot be fed while all else is given up: each person alone, then what of it fails."""
    out = []
    for n, person in enumerate(problem.people):
        alone = dataclasses.replace(
            problem,
            people=(person,),
            holds=tuple(h for h in problem.holds if h.person == person.id),
            bars=tuple(b for b in problem.bars if b.person in (None, person.id)),
        )
        if asker.feeds(alone):
            continue
        table = admission(alone)
        model = menu_model(alone, table, [fine_layer(alone)])
        solved = solve(model.program, model.goals[Goal.SHORT], _LIMITS, relaxed=True)
        kcal = round(solved.objective * SCALE[Goal.SHORT]) if solved.values is not None else 0
        code = "menu_need_contradicted" if solved.values is None else "menu_need_person"
        out.append(Note(code, {"person": problem.people[n].id, "weighed_kcal": kcal}))
    return tuple(out) or (Note("menu_need_together", {}),)


def _mend(
    problem: MenuProblem,
    limit: tuple[str, str],
    change: Callable[[MenuProblem], MenuProblem],
    asker: _Asker,
) -> Note | None:
    """What giving up this limit alone takes; None where it does not suffice."""
    freed = change(problem)
    if not asker.feeds(freed):
        return None
    code, whose = limit
    if code in ("mass_g", "fuel_g", "volume_ml"):
        least = _least(freed, code, int(whose), asker)
        have = getattr(problem.carries[int(whose)], code)
        return Note(f"menu_mend_{code}", {"carry": whose, "least": least, "have": have, "more": least - have})
    if code == "stock":
        return Note("menu_mend_stock", {"packs": _missing_packs(problem, asker)})
    return Note(f"menu_mend_{code}", {"whose": whose})


def _least(freed: MenuProblem, code: str, carry: int, asker: _Asker) -> int:
    """The least of a carried quantity that feeds everyone; of a large trip by the rough model, never more
    than needed."""
    table = admission(freed)
    most = 10**9
    capped = dataclasses.replace(
        freed,
        carries=tuple(
            dataclasses.replace(c, **{code: most}) if r == carry else c for r, c in enumerate(freed.carries)
        ),
    )
    model = asker.model(capped, table)
    goal_limit(model, Goal.SHORT, 1e-7)
    name = f"{code.split('_')[0]}:{carry}"
    row = model.program.groups.index(name)
    terms = model.program.terms(row)
    solved = solve(model.program, terms, _LIMITS)
    unit = 1000.0 if code == "volume_ml" else 100.0
    bound = solved.objective if solved.values is not None else solved.bound
    return math.ceil(bound * unit - 1e-3)


def _missing_packs(problem: MenuProblem, asker: _Asker) -> str:
    """Packs beyond the stock in the answer that needs the fewest grams of them: "item:packs" by comma."""
    extra = tuple(
        dataclasses.replace(item, id=f"{item.id}\n", stock=None)
        for item in problem.items
        if item.stock is not None
    )
    if not extra:
        return ""
    wide = dataclasses.replace(problem, items=(*problem.items, *extra))
    table = admission(wide)
    model = asker.model(wide, table)
    goal_limit(model, Goal.SHORT, 1e-7)
    first = len(problem.items)
    cost = [
        (column, float(wide.items[i].pack_g) / (100.0 * wide.items[i].servings))
        for (_, _, _, i), column in model.eaten.items()
        if i >= first
    ]
    solved = solve(model.program, cost, _LIMITS)
    if solved.values is None:
        return ""
    servings: dict[int, float] = {}
    for (_, _, _, i), column in model.eaten.items():
        if i >= first:
            servings[i] = servings.get(i, 0.0) + float(solved.values[column])
    return ", ".join(
        f"{wide.items[i].id.strip()}:{-int(-n // wide.items[i].servings)}"
        for i, n in servings.items()
        if n > 0.5
    )
