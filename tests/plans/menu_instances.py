"""Invented trips for tests and benchmarks: seeded, so that the same numbers come back."""

from __future__ import annotations

from fractions import Fraction
from random import Random

from saltfare.core.figure import Answer
from saltfare.plans.menu_shapes import (
    Carry,
    Day,
    Handling,
    Item,
    Kitchen,
    MenuProblem,
    Person,
    Rules,
    Sitting,
)

RULES = Rules(
    ration_share=Fraction(875, 1000),
    day_share=Fraction(971, 1000),
    share_days=7,
    repeat_days=5,
    repeat_free=2,
    class_per_week=3,
    extras_day=14,
    same_extra_day=3,
)
_BASES = (
    "pulse_rice",
    "pulse_barley",
    "meat_pasta",
    "meat_potato",
    "egg_potato",
    "cheese_maize",
    "fish_rice",
)
_DAY = (Sitting("breakfast", True, True), Sitting("move", False, True), Sitting("supper", True, True))
_COLD = (Sitting("breakfast", False, True), Sitting("move", False, True), Sitting("supper", True, True))
_SPARE = (Sitting("breakfast", False, True), Sitting("move", False, True), Sitting("supper", False, True))


def trip(*, people: int, days: int, items: int, seed: int, spare: bool = False) -> MenuProblem:
    """A party, days and a shelf in proportion, all figures invented."""
    rng = Random(seed)
    party = tuple(
        Person(
            f"p{n}",
            tuple(rng.randrange(2200, 4600, 10) for _ in range(days + spare))
            if n < 0
            else (rng.randrange(2400, 4400, 10),) * (days + spare),
            rng.randrange(60, 110),
            excludes=frozenset({"gluten"} if n % 5 == 3 else {"pork"} if n % 5 == 4 else set()),
            vulnerable=n % 7 == 6,
            likes={f"i{rng.randrange(items)}": rng.choice((-1, 1)) for _ in range(3)},
        )
        for n in range(people)
    )
    shelf = tuple(_item(rng, n, items, people, days) for n in range(items))
    plan = tuple(Day(_COLD if d % 4 == 3 else _DAY) for d in range(days))
    if spare:
        plan += (Day(_SPARE, spare=True),)
    per_day = 45 * people
    return MenuProblem(
        party,
        plan,
        shelf,
        (Carry(None, 2600 * people * len(plan), per_day * len(plan)),),
        Kitchen(1 + people // 5, 2600, 2),
        RULES,
    )


def _item(rng: Random, n: int, items: int, people: int, days: int) -> Item:
    mains = n < items * 6 // 10
    density = rng.uniform(3.2, 4.9) if mains else rng.uniform(3.0, 6.2)
    kcal = rng.randrange(420, 760, 5) if mains else rng.randrange(90, 420, 5)
    servings = rng.choice((1, 1, 2, 2, 4)) if mains else rng.choice((1, 1, 4, 6))
    net = kcal / density * servings
    tare = rng.randrange(5, 16)
    where = ("breakfast", "move", "supper")[n % 3] if mains else "move"
    hot = mains and (where == "supper" or (where == "breakfast" and rng.random() < 0.6))
    need = people * days
    stock = (
        None if rng.random() < 0.1 else max(1, round(need * rng.uniform(2.5, 7.0) / (items / 3) / servings))
    )
    perish = rng.random() < 0.1
    return Item(
        id=f"i{n}",
        role="main" if mains else "extra",
        sittings=frozenset({where}),
        servings=servings,
        kcal=kcal,
        protein_g=round(kcal * rng.uniform(0.02, 0.06)),
        pack_g=round(net) + tare,
        tare_g=tare,
        pack_ml=round(net * rng.uniform(1.4, 2.4)),
        handling=Handling.AS_IT_IS,
        answer=Answer.MEETS,
        base=_BASES[rng.randrange(len(_BASES))] if mains else "",
        sodium_mg=rng.randrange(50, 1200),
        water_ml=350 if hot else 0,
        fuel_mg=rng.randrange(6000, 11000) if hot else 0,
        pot_ml=(550 * servings if hot and rng.random() < 0.4 else 0),
        cost_minor=rng.randrange(80, 600),
        stock=stock,
        hot=hot,
        keeps_open=not mains and servings > 1,
        staple=mains and where != "supper" and rng.random() < 0.3,
        last_day=rng.randrange(0, max(1, days // 2)) if perish else None,
        contains=frozenset(
            w for w, c in (("gluten", 0.3), ("pork", 0.12), ("nuts", 0.15)) if rng.random() < c
        ),
        uncooked_cured=rng.random() < 0.06,
        age_rank=rng.randrange(0, 11),
    )
