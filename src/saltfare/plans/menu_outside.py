"""What the part of a plan that is settled takes, while another part is planned."""

from __future__ import annotations

from collections import Counter

from saltfare.plans.menu_shapes import MenuProblem, Servings
from saltfare.plans.menu_totals import packs_for


class Used:
    """What the plan outside the window takes: packs of what does not keep, servings of what does."""

    def __init__(self, problem: MenuProblem, rest: Servings) -> None:
        self.problem = problem
        self.kept: Counter[tuple[int, int]] = Counter()
        self.packs: Counter[int] = Counter()
        self.food_g, self.volume_ml, self.fuel_mg = Counter[int](), Counter[int](), Counter[int]()
        opened: Counter[tuple[int, int, int]] = Counter()
        for (d, s, i, _), n in rest.items():
            item, r = problem.items[i], problem.days[d].carry
            if item.keeps_open:
                self.kept[r, i] += n
                self.fuel_mg[r] += n * item.fuel_mg
            else:
                opened[d, s, i] += n
        for (d, _, i), n in opened.items():
            item, r = problem.items[i], problem.days[d].carry
            packs = packs_for(n, item)
            self.packs[i] += packs
            self.food_g[r] += packs * item.pack_g
            self.volume_ml[r] += packs * item.pack_ml
            self.fuel_mg[r] += packs * item.servings * item.fuel_mg

    def kept_g(self, carry: int, but: set[tuple[int, int]]) -> int:
        """Grams of what keeps in a carry, without what the window counts itself."""
        return sum(
            packs_for(n, self.problem.items[i]) * self.problem.items[i].pack_g
            for (r, i), n in self.kept.items()
            if r == carry and (r, i) not in but
        )

    def kept_ml(self, carry: int, but: set[tuple[int, int]]) -> int:
        """Millilitres of the same."""
        return sum(
            packs_for(n, self.problem.items[i]) * self.problem.items[i].pack_ml
            for (r, i), n in self.kept.items()
            if r == carry and (r, i) not in but
        )
