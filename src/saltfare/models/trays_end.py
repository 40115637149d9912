"""The end point of drying on trays: a mass, what pins it down, when it is reached, and what it took.

A 4 % error in the solids of a recipe is as large as the step from 6 to 10 % of water, so a mass from a
recipe is an interval; a weighed spoonful dried to constant mass narrows it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from saltfare.core.errors import OutOfRange, Problem, Refused
from saltfare.core.numerics import check_range

EndPoint = Literal["dry", "not_at_mass", "still_losing", "weigh_again", "snap_it", "not_brittle"]


@dataclass(frozen=True, slots=True)
class Band:
    """A value with the ends of its interval."""

    low: float
    middle: float
    high: float


def end_mass(
    *, mass_kg: float, water_frac: float, solids_sd: float, target_water_frac: float, z: float
) -> Band:
    """What the trays must weigh in the end, and where that lies for all the solids may be.

    Parameters
    ----------
    mass_kg : laid on the trays [kg]
    water_frac : its share of water
    solids_sd : doubt of its solids, relative
    target_water_frac : share of water when dry
    z : standard deviations of the interval

    Returns
    -------
    mass [kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_derived, mass balance of solids
    """
    model = "end_mass"
    check_range(target_water_frac, low=0.0, high=water_frac, model=model, quantity="target_water_frac")
    check_range(solids_sd, low=0.0, high=0.5, model=model, quantity="solids_sd")
    middle = mass_kg * (1.0 - water_frac) / (1.0 - target_water_frac)
    spread = math.exp(z * solids_sd)
    return Band(middle / spread, middle, min(middle * spread, mass_kg))  # no more than was laid there


def water_at_mass(*, mass_kg: float, water_frac: float, solids_sd: float, end_kg: float, z: float) -> Band:
    """Share of water a weighed end mass can mean, for all the solids may be; 0 where it would be below.

    Parameters
    ----------
    mass_kg, water_frac : laid on the trays [kg], its share of water
    solids_sd : doubt of its solids, relative
    end_kg : mass on the trays [kg]
    z : standard deviations of the interval

    Returns
    -------
    share of water

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_derived, mass balance of solids
    """
    check_range(end_kg, low=1e-6, high=mass_kg, model="water_at_mass", quantity="end_kg")
    solids = mass_kg * (1.0 - water_frac)
    ends = [1.0 - solids * math.exp(s * z * solids_sd) / end_kg for s in (1.0, 0.0, -1.0)]
    return Band(*(max(0.0, w) for w in ends))


@dataclass(frozen=True, slots=True)
class Solids:
    """Share of solids of a weighed spoonful dried to constant mass, and its relative doubt."""

    solids_frac: float
    sd: float


def spoonful_solids(
    *, wet_kg: float, dry_kg: float, scale_step_kg: float, left_kg_per_kg: float, left_sd_kg_per_kg: float
) -> Solids:
    """Solids of the dish from a spoonful dried beside the trays until it no longer changes.

    Parameters
    ----------
    wet_kg, dry_kg : before and at constant mass, without its dish [kg]
    scale_step_kg : of the scale [kg]
    left_kg_per_kg, left_sd_kg_per_kg : water such a spoonful still holds and its doubt [kg/kg of solids]

    Returns
    -------
    solids

    Raises
    ------
    Refused: mass_not_positive, spoonful_gained, spoonful_too_small

    Source
    ------
    saltfare_derived, mass balance of solids
    """
    for name, value in (("wet", wet_kg), ("dry", dry_kg)):
        if not 0.0 < value < math.inf:
            raise Refused(Problem("mass_not_positive", f"spoonful.{name}", f"{value:.6g} kg"))
    if dry_kg >= wet_kg:
        raise Refused(Problem("spoonful_gained", "spoonful", params={"wet_kg": wet_kg, "dry_kg": dry_kg}))
    if dry_kg < 10.0 * scale_step_kg:
        raise Refused(
            Problem("spoonful_too_small", "spoonful", params={"dry_kg": dry_kg, "step_kg": scale_step_kg})
        )
    step = scale_step_kg / math.sqrt(12.0)
    sd = math.hypot(step / dry_kg, step / wet_kg, left_sd_kg_per_kg / (1.0 + left_kg_per_kg))
    return Solids(dry_kg / wet_kg / (1.0 + left_kg_per_kg), sd)


@dataclass(frozen=True, slots=True)
class TrayWeight:
    """Trays on the scale: time since they went in, mass shown, and the mass of the empty trays."""

    time_s: float
    gross_kg: float
    tare_kg: float

    @property
    def mass_kg(self) -> float:
        """Of the food."""
        return self.gross_kg - self.tare_kg


def tray_weight_problems(*, laid_kg: float, weights: Sequence[TrayWeight]) -> tuple[Problem, ...]:
    """What of tray weights cannot be: lighter than the tray, heavier than what was laid there, out of order.

    Parameters
    ----------
    laid_kg : laid on the trays [kg]
    weights : in order

    Source
    ------
    saltfare_chosen, what a scale under a drying tray can show
    """
    found = []
    last = 0.0
    for i, weight in enumerate(weights):
        field = f"weights.{i}"
        given: dict[str, str | float | int] = {"gross_kg": weight.gross_kg, "tare_kg": weight.tare_kg}
        if not weight.mass_kg > 0.0:
            found.append(Problem("tray_lighter_than_tare", field, params=given))
        elif weight.mass_kg > 1.02 * laid_kg:
            given["laid_kg"] = laid_kg
            found.append(Problem("tray_heavier_than_laid", field, params=given))
        if not weight.time_s > last:
            found.append(Problem("weights_not_in_order", field))
        last = weight.time_s
    return tuple(found)


def end_point(
    *,
    weights: Sequence[TrayWeight],
    thickest_brittle: bool | None,
    end_high_kg: float,
    change_frac: float,
    apart_s: float,
) -> EndPoint:
    """Whether trays are dry: at their mass, no longer changing, and the thickest piece brittle.

    Parameters
    ----------
    weights : in order
    thickest_brittle : whether the thickest piece snaps when cool, None where nobody looked
    end_high_kg : the heaviest the end mass may be [kg]
    change_frac, apart_s : change of mass that is none, over so much time [-, s]

    Returns
    -------
    one of `EndPoint`

    Source
    ------
    common_practice, less than 1 % in an hour, and the thickest piece brittle
    """
    if thickest_brittle is False:
        return "not_brittle"
    if not weights or weights[-1].mass_kg > end_high_kg:
        return "not_at_mass"
    last = weights[-1]
    # the two weighings must lie the time apart, to a minute in the hour
    earlier = [w for w in weights[:-1] if last.time_s - w.time_s >= 0.95 * apart_s]
    if not earlier:
        return "weigh_again"
    before = earlier[-1]
    rate = (before.mass_kg - last.mass_kg) / before.mass_kg * apart_s / (last.time_s - before.time_s)
    if abs(rate) >= change_frac:
        return "still_losing"
    return "dry" if thickest_brittle else "snap_it"


def drying_energy(*, power_w: Sequence[float], duty_frac: Sequence[float], time_s: Sequence[float]) -> float:
    """Energy of stretches of heating.

    Parameters
    ----------
    power_w, duty_frac, time_s : power, share of the time on and time of each stretch [W, -, s]

    Returns
    -------
    energy [J]

    Source
    ------
    msu_01600534, energy of a home dryer: power times hours
    """
    return math.fsum(p * d * t for p, d, t in zip(power_w, duty_frac, time_s, strict=True))


def energy_cost_minor(*, energy_j: float, price_minor_per_kwh: float) -> int:
    """What energy costs, half a unit rounded up.

    Parameters
    ----------
    energy_j : [J]
    price_minor_per_kwh : in the smallest unit of money [minor units per kWh]

    Returns
    -------
    cost [minor units]

    Raises
    ------
    OutOfRange

    Source
    ------
    msu_01600534, cost of a home dryer: energy times price
    """
    if not 0.0 <= price_minor_per_kwh < math.inf:
        raise OutOfRange("energy_cost_minor", "price", price_minor_per_kwh, 0.0, math.inf)
    return math.floor(energy_j / 3.6e6 * price_minor_per_kwh + 0.5)
