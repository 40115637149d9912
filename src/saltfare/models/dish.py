"""From a recipe to the dish as cooked and as dried, and what a pack of it holds.

Yield is taken for the dish, by weighing the pot; retention for each ingredient. A change of mass in the
pot is water. Drying takes water off, and alcohol with it, and leaves the solids.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from saltfare.core.errors import Problem, Refused
from saltfare.models.composition import Amounts, portion, total, without_alcohol
from saltfare.models.cooking import Ingredient, Retention, ingredient_amounts, ingredient_problems

# Scales and sums end in the last digit of a float here.
_EQUAL = 1e-9


@dataclass(frozen=True, slots=True)
class Dish:
    """A dish as put in, as cooked and as dried.

    put_in: the raw ingredients, edible part. cooked: after cooking. dried: None where no target was given
    or its solids are not known. weighed: whether the cooked mass was weighed, else nothing evaporated is
    counted. water_gone_kg: by cooking, negative never. dried_off_kg: by drying.
    without_composition: names of ingredients nothing is known of. drying_estimated: vitamins after drying
    stand on the factors for dried fruit.
    """

    put_in: Amounts
    cooked: Amounts
    dried: Amounts | None
    weighed: bool
    water_gone_kg: float
    dried_off_kg: float | None
    without_composition: tuple[str, ...]
    drying_estimated: bool


def water_frac(*, amounts: Amounts) -> float | None:
    """Share of water.

    Parameters
    ----------
    amounts : of a dish

    Returns
    -------
    water over mass, None where the water of a part is missing [kg/kg]

    Source
    ------
    saltfare_derived, mass balance
    """
    water = amounts.value("water")
    return None if water is None else water / amounts.mass_kg


def solids_kg(*, amounts: Amounts) -> float | None:
    """What is neither water nor alcohol: what drying leaves.

    Parameters
    ----------
    amounts : of a dish

    Returns
    -------
    solids, None where water or alcohol of a part is missing [kg]

    Source
    ------
    saltfare_derived, mass balance
    """
    water, alcohol = amounts.value("water"), amounts.value("alcohol")
    return None if water is None or alcohol is None else amounts.mass_kg - water - alcohol


def dish_cooked(*, parts: Sequence[Amounts], cooked_mass_kg: float, left_behind_kg: float) -> Amounts:
    """The dish as cooked, from what went in and what the pot weighs.

    Parameters
    ----------
    parts : ingredients after their own changes
    cooked_mass_kg : the dish, without the pot [kg]
    left_behind_kg : of it on walls and spoons, not in the cooked mass [kg]

    Returns
    -------
    amounts in the cooked mass

    Raises
    ------
    Refused: mass_not_positive, cooked_heavier_than_put_in, cooked_lighter_than_solids

    Source
    ------
    greenfield_southgate_2003, calculation of recipes: the difference of mass is water
    """
    put_in = total(parts=parts)
    if not 0.0 < cooked_mass_kg < math.inf:
        raise Refused(Problem("mass_not_positive", "cooked_mass", f"{cooked_mass_kg:.6g} kg"))
    if not 0.0 <= left_behind_kg < math.inf:
        raise Refused(Problem("mass_not_positive", "left_behind", f"{left_behind_kg:.6g} kg"))
    whole_kg = cooked_mass_kg + left_behind_kg
    change_kg = whole_kg - put_in.mass_kg
    limits: dict[str, str | float | int] = {"cooked_kg": whole_kg, "put_in_kg": put_in.mass_kg}
    if change_kg > _EQUAL * put_in.mass_kg:
        raise Refused(Problem("cooked_heavier_than_put_in", "cooked_mass", params=limits))
    known = dict(put_in.known)
    if "water" in known:
        known["water"] += change_kg
        if known["water"] < 0.0:
            if put_in.value("water") is not None:
                limits["solids_kg"] = put_in.mass_kg - put_in.known["water"]
                raise Refused(Problem("cooked_lighter_than_solids", "cooked_mass", params=limits))
            del known["water"]  # more went than is known to have been there: nothing is known of what is left
    return portion(amounts=Amounts(whole_kg, known, put_in.missing), mass_kg=cooked_mass_kg)


def dish_dried(*, cooked: Amounts, target_water_frac: float, drying: Retention | None) -> Amounts | None:
    """The dish dried to a share of water.

    Alcohol is taken to leave in step with the water; it leaves sooner, so that is the most there can be.

    Parameters
    ----------
    cooked : the dish on the trays
    target_water_frac : share of water when dry [kg/kg of the dried dish]
    drying : what drying keeps, None where not counted

    Returns
    -------
    amounts in the dried dish, None where its solids are not known

    Raises
    ------
    Refused: target_water_impossible, target_wetter_than_dish

    Source
    ------
    saltfare_derived, mass balance of solids
    usda_r6_2007, code 158, fruits dried, standing in for tray drying
    """
    if not 0.0 <= target_water_frac < 1.0:
        raise Refused(Problem("target_water_impossible", "target_water", f"{target_water_frac:.6g}"))
    solids, water, alcohol = solids_kg(amounts=cooked), cooked.value("water"), cooked.value("alcohol")
    if solids is None or water is None or alcohol is None:
        return None
    if target_water_frac * cooked.mass_kg > water * (1.0 + _EQUAL):
        params: dict[str, str | float | int] = {
            "target_frac": target_water_frac,
            "dish_frac": water / cooked.mass_kg,
        }
        raise Refused(Problem("target_wetter_than_dish", "target_water", params=params))
    left = target_water_frac * solids / (water - target_water_frac * (water + alcohol)) if water else 1.0
    dry = without_alcohol(amounts=cooked, kept_frac=left)
    known = dict(dry.known)
    known["water"] = water * left
    if drying is not None:
        for name, kept in drying.kept_frac.items():
            if name in known and name != "alcohol":
                known[name] *= kept
    return Amounts(solids + (water + alcohol) * left, known, cooked.missing)


def dish(
    *,
    ingredients: Sequence[Ingredient],
    cooked_mass_kg: float | None,
    left_behind_kg: float,
    target_water_frac: float | None,
    drying: Retention | None,
) -> Dish:
    """A recipe as put in, as cooked and as dried.

    Parameters
    ----------
    ingredients : the lines, added water among them
    cooked_mass_kg : the pot's content when cooked, None where it was not weighed [kg]
    left_behind_kg : of it on walls and spoons, not in the cooked mass [kg]
    target_water_frac : share of water when dried, None where it is not dried [kg/kg]
    drying : what drying keeps, None where not counted

    Returns
    -------
    the dish

    Raises
    ------
    Refused: dish_empty, what is wrong with each line, and what `dish_cooked` and `dish_dried` refuse

    Source
    ------
    greenfield_southgate_2003, calculation of recipes
    """
    if not ingredients:
        raise Refused(Problem("dish_empty", "ingredients"))
    problems = [
        problem
        for index, one in enumerate(ingredients)
        for problem in ingredient_problems(ingredient=one, field=f"ingredients.{index}")
    ]
    if problems:
        raise Refused(*problems)
    put_in = total(parts=[ingredient_amounts(ingredient=one, cooked=False) for one in ingredients])
    parts = [ingredient_amounts(ingredient=one, cooked=True) for one in ingredients]
    cooked = total(parts=parts)
    before_kg = cooked.mass_kg
    if cooked_mass_kg is not None:
        cooked = dish_cooked(parts=parts, cooked_mass_kg=cooked_mass_kg, left_behind_kg=left_behind_kg)
        before_kg -= left_behind_kg
    dried = None
    if target_water_frac is not None:
        dried = dish_dried(cooked=cooked, target_water_frac=target_water_frac, drying=drying)
    return Dish(
        put_in,
        cooked,
        dried,
        cooked_mass_kg is not None,
        before_kg - cooked.mass_kg,
        None if dried is None else cooked.mass_kg - dried.mass_kg,
        tuple(one.name for one in ingredients if one.food is None),
        dried is not None and drying is not None,
    )


@dataclass(frozen=True, slots=True)
class Packs:
    """So many packs of one dish: what each holds and what is left over."""

    count: int
    each: Amounts
    left_over_kg: float


def dish_packs(*, amounts: Amounts, count: int, pack_mass_kg: float | None) -> Packs:
    """A dish portioned into packs of a given mass, or into equal ones with nothing left over.

    Parameters
    ----------
    amounts : the dish as packed
    count : packs
    pack_mass_kg : in each, None for equal parts of the whole [kg]

    Returns
    -------
    the packs

    Raises
    ------
    Refused: packs_not_positive, packs_exceed_dish

    Source
    ------
    saltfare_derived, mass balance
    """
    each_kg = amounts.mass_kg / count if pack_mass_kg is None and count > 0 else (pack_mass_kg or 0.0)
    if count < 1 or not 0.0 < each_kg < math.inf:
        raise Refused(Problem("packs_not_positive", "packs", f"{count} x {each_kg:.6g} kg"))
    left_over_kg = amounts.mass_kg - count * each_kg
    if left_over_kg < -_EQUAL * amounts.mass_kg:
        params: dict[str, str | float | int] = {"packed_kg": count * each_kg, "dish_kg": amounts.mass_kg}
        raise Refused(Problem("packs_exceed_dish", "packs", params=params))
    # what is within rounding of nothing is nothing
    rest_kg = 0.0 if abs(left_over_kg) <= _EQUAL * amounts.mass_kg else left_over_kg
    return Packs(count, portion(amounts=amounts, mass_kg=each_kg), rest_kg)


def ingredient_order(
    *, masses_kg: Sequence[tuple[str, float]], water_kg: float, finished_kg: float, water_name: str
) -> tuple[tuple[str, float], ...]:
    """Names in descending mass as put in, the same name once; equal masses in the order given.

    Added water counts as what the finished food weighs above everything else put in, and is named only
    above 5 % of the finished food: a dried dish names none.

    Parameters
    ----------
    masses_kg : name and mass put in of each ingredient but water [kg]
    water_kg : water put in [kg]
    finished_kg : the finished food [kg]
    water_name : how added water is called

    Returns
    -------
    name and mass of each, descending [kg]

    Source
    ------
    eu_1169_2011, Article 18 and Annex VII part A
    """
    merged: dict[str, float] = {}
    for name, mass_kg in masses_kg:
        merged[name] = merged.get(name, 0.0) + mass_kg
    left_kg = min(water_kg, finished_kg - sum(merged.values()))
    if left_kg > 0.05 * finished_kg:
        merged[water_name] = merged.get(water_name, 0.0) + left_kg
    return tuple(sorted(merged.items(), key=lambda item: -item[1]))


def shares_minor(*, total_minor: int, weights: Sequence[float]) -> tuple[int, ...]:
    """A sum of money shared by weight in whole minor units that add to it; the largest remainders round up.

    Parameters
    ----------
    total_minor : the sum [minor units]
    weights : of the parts, not negative and not all zero

    Returns
    -------
    parts, in order [minor units]

    Source
    ------
    saltfare_chosen, method of largest remainders
    """
    whole = math.fsum(weights)
    exact = [total_minor * weight / whole for weight in weights]
    parts = [math.floor(value) for value in exact]
    order = sorted(range(len(parts)), key=lambda i: (parts[i] - exact[i], i))
    for i in order[: total_minor - sum(parts)]:
        parts[i] += 1
    return tuple(parts)


@dataclass(frozen=True, slots=True)
class Cost:
    """What ingredients cost: the part that is known, rounded once, and who has no price."""

    known_minor: int
    without_price: tuple[str, ...]


def ingredients_cost(
    *, bought_kg: Sequence[tuple[str, float]], price_minor_per_kg: Mapping[str, float]
) -> Cost:
    """Cost of the ingredients as bought, peel and bone included.

    Parameters
    ----------
    bought_kg : name and mass as bought of each [kg]
    price_minor_per_kg : price by name; a name that is not there has none [minor units per kg]

    Returns
    -------
    cost, half a unit rounded up [minor units]

    Source
    ------
    saltfare_chosen, rounded once at the end
    """
    priced = [mass_kg * price_minor_per_kg[name] for name, mass_kg in bought_kg if name in price_minor_per_kg]
    # ten digits, so that 199 a half-kilogram twice is 398 and not a hair less
    known_minor = math.floor(round(math.fsum(priced), 6) + 0.5)
    return Cost(
        known_minor,
        tuple(dict.fromkeys(name for name, _ in bought_kg if name not in price_minor_per_kg)),
    )
