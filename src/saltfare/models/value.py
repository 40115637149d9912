"""What a piece, a dish or a pack costs, what that is by mass, energy and protein, and a swap's two numbers.

Money is in whole minor units. Lines are kept exact until the total is rounded once; shown lines add up
to the total.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from saltfare.core.errors import Problem, Refused
from saltfare.core.figure import Note

# 1000 kcal in J, thermochemical calorie.
_THOUSAND_KCAL_J = 4.184e6
_KWH_J = 3.6e6


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a cost before rounding: what it is, and minor units not yet whole."""

    what: str
    minor: Fraction


@dataclass(frozen=True, slots=True)
class Cost:
    """Lines in whole minor units that add up to the total; labour stands beside it, not in it.

    of_loss: how much of the ingredients' cost was trimmed off and dried off, by line name.
    """

    lines: tuple[tuple[str, int], ...]
    total_minor: int
    labour_minor: int
    of_loss: tuple[tuple[str, int], ...]


def _exact(value: float, field: str) -> Fraction:
    """The number as typed: 14.1 is fourteen and a tenth, not the nearest binary."""
    if not (math.isfinite(value) and value >= 0.0):
        raise Refused(Problem("cost_negative", field, repr(value)))
    return Fraction(repr(float(value)))


def half_up(*, value: Fraction) -> int:
    """The nearest whole number, halves up.

    Parameters
    ----------
    value : zero or above

    Returns
    -------
    whole number

    Source
    ------
    price_marking_2004, article 13: a figure of 5 or higher is rounded up
    """
    return math.floor(value + Fraction(1, 2))


def _whole(lines: Sequence[Line]) -> tuple[tuple[tuple[str, int], ...], int]:
    """Lines in whole units that add up to their sum rounded once: the largest remainders go up."""
    total = half_up(value=sum((line.minor for line in lines), Fraction(0)))
    whole = [math.floor(line.minor) for line in lines]
    order = sorted(range(len(lines)), key=lambda i: (whole[i] - lines[i].minor, i))
    for i in order[: total - sum(whole)]:
        whole[i] += 1
    return tuple((line.what, value) for line, value in zip(lines, whole, strict=True)), total


def electricity_minor(*, energy_j: float, minor_per_kwh: float) -> Fraction:
    """Cost of electricity, not yet whole.

    Parameters
    ----------
    energy_j : [J]
    minor_per_kwh : tariff [minor units per kWh]

    Returns
    -------
    minor units

    Raises
    ------
    Refused: cost_negative

    Source
    ------
    saltfare_derived, energy by tariff
    """
    return _exact(energy_j, "energy") / Fraction(_KWH_J) * _exact(minor_per_kwh, "tariff")


def cost_piece(
    *,
    bought_kg: float,
    minor_per_kg: float,
    trim_frac: float,
    loss_frac: float,
    cure_minor: float,
    energy_j: float,
    minor_per_kwh: float,
    pouches: int,
    pouch_minor: float,
    labour_s: float,
    labour_minor_per_hour: float,
) -> Cost:
    """What a dried piece costs.

    Parameters
    ----------
    bought_kg : meat as bought [kg]
    minor_per_kg : its price [minor units per kg]
    trim_frac : trimmed off, of what was bought [-]
    loss_frac : dried off, of what was left [-]
    cure_minor : salt, cure mix, spice [minor units]
    energy_j : electricity [J]
    minor_per_kwh : tariff [minor units per kWh]
    pouches : how many
    pouch_minor : price of one [minor units]
    labour_s : time spent [s]
    labour_minor_per_hour : what it is counted at, 0 where it is not [minor units per hour]

    Returns
    -------
    lines, total without labour, labour, and what of the meat's cost was trimmed and dried off

    Raises
    ------
    Refused: cost_negative, cost_share_impossible

    Source
    ------
    saltfare_chosen, ingredients, cure, electricity and pouches; labour its own line
    """
    for share in (trim_frac, loss_frac):
        if not 0.0 <= share < 1.0:
            raise Refused(Problem("cost_share_impossible", "loss", repr(share)))
    meat = _exact(bought_kg, "bought") * _exact(minor_per_kg, "price")
    trim, loss = _exact(trim_frac, "trim"), _exact(loss_frac, "loss")
    return _cost(
        [
            Line("meat", meat),
            Line("cure", _exact(cure_minor, "cure")),
            Line("electricity", electricity_minor(energy_j=energy_j, minor_per_kwh=minor_per_kwh)),
            Line("pouches", pouches * _exact(pouch_minor, "pouch")),
        ],
        _exact(labour_s, "labour") / 3600 * _exact(labour_minor_per_hour, "labour"),
        [Line("trimmed_off", meat * trim), Line("dried_off", meat * (1 - trim) * loss)],
    )


def cost_dish(
    *,
    ingredients_minor: float,
    energy_j: float,
    minor_per_kwh: float,
    pouches: int,
    pouch_minor: float,
    absorber_minor: float,
    labour_s: float,
    labour_minor_per_hour: float,
) -> Cost:
    """What a dried dish costs, all its packs together.

    Parameters
    ----------
    ingredients_minor : as bought [minor units]
    energy_j : cooking and drying [J]
    minor_per_kwh : tariff [minor units per kWh]
    pouches : how many
    pouch_minor, absorber_minor : price of one pouch, and of what lies in it [minor units]
    labour_s : time spent [s]
    labour_minor_per_hour : what it is counted at [minor units per hour]

    Returns
    -------
    lines, total without labour, labour

    Raises
    ------
    Refused: cost_negative

    Source
    ------
    saltfare_chosen, ingredients, electricity and pouches; labour its own line
    """
    return _cost(
        [
            Line("ingredients", _exact(ingredients_minor, "ingredients")),
            Line("electricity", electricity_minor(energy_j=energy_j, minor_per_kwh=minor_per_kwh)),
            Line("pouches", pouches * _exact(pouch_minor, "pouch")),
            Line("absorbers", pouches * _exact(absorber_minor, "absorber")),
        ],
        _exact(labour_s, "labour") / 3600 * _exact(labour_minor_per_hour, "labour"),
        [],
    )


def _cost(lines: list[Line], labour: Fraction, losses: list[Line]) -> Cost:
    shown, total = _whole([line for line in lines if line.minor > 0])
    return Cost(
        shown, total, half_up(value=labour), tuple((line.what, half_up(value=line.minor)) for line in losses)
    )


def mass_left(*, bought_kg: float, trim_frac: float, loss_frac: float) -> float:
    """What is left of a piece after trimming and drying.

    Parameters
    ----------
    bought_kg : [kg]
    trim_frac : of what was bought [-]
    loss_frac : of what was left [-]

    Returns
    -------
    mass [kg]

    Source
    ------
    saltfare_derived, mass balance
    """
    return bought_kg * (1.0 - trim_frac) * (1.0 - loss_frac)


@dataclass(frozen=True, slots=True)
class UnitPrices:
    """Minor units, not rounded, per kg, per 1000 kcal and per kg of protein; None where not known."""

    per_kg: float
    per_1000_kcal: float | None
    per_protein_kg: float | None


def unit_prices(
    *, minor: float, net_kg: float, energy_j: float | None, protein_kg: float | None
) -> UnitPrices:
    """A price by what it buys: of net mass as it is eaten from the pack, of energy, of protein.

    Parameters
    ----------
    minor : what the pack costs [minor units]
    net_kg : without pouch and absorber [kg]
    energy_j : in it, None where not known [J]
    protein_kg : in it, None where not known [kg]

    Returns
    -------
    unit prices

    Raises
    ------
    Refused: net_mass_not_positive

    Source
    ------
    eu_98_6, article 2(b): price per kilogram
    nist_hb130_unit_pricing, price per kilogram or 100 g
    """
    if not 0.0 < net_kg < math.inf:
        raise Refused(Problem("net_mass_not_positive", "net", repr(net_kg)))
    return UnitPrices(
        minor / net_kg,
        minor * _THOUSAND_KCAL_J / energy_j if energy_j else None,
        minor / protein_kg if protein_kg else None,
    )


def unit_price_shown(*, minor: float, minor_per_major: int) -> Fraction:
    """A unit price as shops show it: whole minor units from one major unit on, tenths of one below.

    Parameters
    ----------
    minor : unit price, zero or above [minor units]
    minor_per_major : 100 for cents in a dollar

    Returns
    -------
    minor units, in tenths below one major unit

    Raises
    ------
    Refused: cost_negative

    Source
    ------
    price_marking_2004, article 13: below one pound to the nearest 0.1 p, 5 and higher up
    nist_hb130_unit_pricing, from one dollar on to the nearest cent
    """
    exact = _exact(round(minor, 9), "price")
    if exact >= minor_per_major:
        return Fraction(half_up(value=exact))
    return Fraction(half_up(value=exact * 10), 10)


@dataclass(frozen=True, slots=True)
class Side:
    """One side of a swap, per unit given: what it cost, and what its receiver would pay elsewhere.

    left_frac: keeping time left over the usual, 1 where it is fresh or not known.
    home_cured: whether there is meat in it that was cured or dried at home.
    """

    cost_minor: float
    elsewhere_minor: float
    left_frac: float
    home_cured: bool

    def __post_init__(self) -> None:
        """Refuse prices that are none."""
        for value in (self.cost_minor, self.elsewhere_minor):
            if not 0.0 < value < math.inf:
                raise Refused(Problem("swap_price_not_positive", "swap", repr(value)))
        if not 0.0 <= self.left_frac <= 1.0:
            raise Refused(Problem("cost_share_impossible", "left", repr(self.left_frac)))


@dataclass(frozen=True, slots=True)
class Swap:
    """How many units of the other side for what is given.

    by_cost and by_elsewhere are the two numbers and the ends of the band to show. least, most: where one
    side would do better not to swap. equal_gain: where both save the same money. must_go_along: what has
    to be handed over with it.
    """

    by_cost: float
    by_elsewhere: float
    least: float
    most: float
    equal_gain: float
    gain_minor: float
    notes: tuple[Note, ...]
    must_go_along: tuple[str, ...]


def swap(*, given_units: float, mine: Side, theirs: Side) -> Swap:
    """What a fair swap lies between.

    Parameters
    ----------
    given_units : units I give
    mine, theirs : the two sides

    Returns
    -------
    the two numbers and what goes along

    Raises
    ------
    Refused: swap_nothing_given, swap_out_of_time

    Source
    ------
    saltfare_derived, equal cost, equal replacement, and equal saving of both sides
    """
    if not 0.0 < given_units < math.inf:
        raise Refused(Problem("swap_nothing_given", "given", repr(given_units)))
    if mine.left_frac == 0.0 or theirs.left_frac == 0.0:
        raise Refused(Problem("swap_out_of_time", "left"))
    # a pack near its planning date would be replaced later by less: what it spares counts less
    mine_worth, their_worth = mine.elsewhere_minor * mine.left_frac, theirs.elsewhere_minor * theirs.left_frac
    by_cost = given_units * mine.cost_minor / theirs.cost_minor
    by_elsewhere = given_units * mine_worth / their_worth
    # I save n R_B - q u_A, the other saves q R_A - n u_B
    least = given_units * mine.cost_minor / their_worth
    most = given_units * mine_worth / theirs.cost_minor
    equal = given_units * (mine_worth + mine.cost_minor) / (their_worth + theirs.cost_minor)
    gain = equal * their_worth - given_units * mine.cost_minor
    notes = []
    if least > most:
        notes.append(Note("swap_without_gain"))
    if mine.left_frac < 1.0 or theirs.left_frac < 1.0:
        notes.append(Note("swap_keeping_counted"))
    if mine.home_cured or theirs.home_cured:
        notes.append(Note("giving_cured_meat_may_be_regulated"))
    notes.append(Note("labelling_law_first"))
    along = ("name", "ingredients", "allergens", "made_on", "planning_date", "kept_how", "lot_code")
    return Swap(by_cost, by_elsewhere, least, most, equal, gain, tuple(notes), along)


def swap_whole_packs(
    *, mine_minor: float, theirs_minor: float, most_mine: int
) -> tuple[tuple[int, int, float], ...]:
    """Whole packs against whole packs, each better matched than all with fewer of mine.

    Parameters
    ----------
    mine_minor, theirs_minor : worth of one pack of each side [minor units]
    most_mine : most packs of mine

    Returns
    -------
    packs of mine, packs of theirs, and the gap over the worth of mine

    Raises
    ------
    Refused: swap_price_not_positive

    Source
    ------
    saltfare_derived, |a u_A - b u_B| over a u_A
    """
    if not (0.0 < mine_minor < math.inf and 0.0 < theirs_minor < math.inf):
        raise Refused(Problem("swap_price_not_positive", "swap"))
    out: list[tuple[int, int, float]] = []
    for a in range(1, most_mine + 1):
        b = max(1, round(a * mine_minor / theirs_minor))
        gap = abs(a * mine_minor - b * theirs_minor) / (a * mine_minor)
        if not out or gap < out[-1][2] - 1e-12:
            out.append((a, b, gap))
    return tuple(out)
