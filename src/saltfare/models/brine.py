"""Brines: recipes by mass, what a brine or a needle brings, and the liquid that is drained away.

Strength is salt per kilogram of brine; litres come from the density of that strength.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Self

import numpy as np

from saltfare.core.numerics import check_range
from saltfare.core.tables import Row


@dataclass(frozen=True, slots=True)
class BrineDensity:
    """Density of brines of sodium chloride at one temperature, at rising strengths."""

    strength_frac: tuple[float, ...]
    density_kg_per_m3: tuple[float, ...]

    @classmethod
    def from_rows(cls, rows: Iterable[Row]) -> Self:
        """From the rows of the table `brine_density`."""
        pairs = sorted((row.number("strength_pct"), row.number("density")) for row in rows)
        return cls(tuple(s for s, _ in pairs), tuple(d for _, d in pairs))


def density_brine(*, strength_frac: float, table: BrineDensity) -> float:
    """Density of a brine of sodium chloride, linear between the printed strengths.

    Parameters
    ----------
    strength_frac : salt per kg of brine, 0 to saturation [kg/kg]
    table : printed densities

    Returns
    -------
    density [kg/m3]

    Raises
    ------
    OutOfRange

    Source
    ------
    poradnik_1974, sodium chloride at 20 C
    rogers_pitzer_1982, specific volumes at 20 C, an independent table it is held against
    """
    s = float(
        check_range(
            strength_frac,
            low=table.strength_frac[0],
            high=table.strength_frac[-1],
            model="density_brine",
            quantity="strength_frac",
        )
    )
    return float(np.interp(s, table.strength_frac, table.density_kg_per_m3))


def volume_brine(*, brine_kg: float, strength_frac: float, table: BrineDensity) -> float:
    """Volume of so much brine.

    Parameters
    ----------
    brine_kg : mass [kg]
    strength_frac : salt per kg of brine [kg/kg]
    table : printed densities

    Returns
    -------
    volume [m3]

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_derived, mass over density
    """
    check_range(brine_kg, low=0.0, high=math.inf, model="volume_brine", quantity="brine_kg")
    return brine_kg / density_brine(strength_frac=strength_frac, table=table)


def agent_ingoing_pick_up(*, agent_kg: float, uptake_frac: float, brine_kg: float) -> float:
    """What goes in with a brine that is pumped, or of which so much is taken up.

    Parameters
    ----------
    agent_kg : agent in the brine [kg]
    uptake_frac : brine pumped in or picked up, per kg of green weight [kg/kg]
    brine_kg : mass of all the brine [kg]

    Returns
    -------
    ingoing share of green weight [kg/kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    fsis_7620_3, pumped products; immersion, method 1
    """
    who = "agent_ingoing_pick_up"
    check_range(agent_kg, low=0.0, high=math.inf, model=who, quantity="agent_kg")
    check_range(uptake_frac, low=0.0, high=1.0, model=who, quantity="uptake_frac")
    check_range(brine_kg, low=1e-6, high=math.inf, model=who, quantity="brine_kg")
    return agent_kg * uptake_frac / brine_kg


def agent_mass_from_pick_up(*, ingoing_frac: float, uptake_frac: float, brine_kg: float) -> float:
    """Agent to put into a brine for an ingoing share. Inverse of `agent_ingoing_pick_up`.

    Parameters
    ----------
    ingoing_frac : agent wanted per kg of green weight [kg/kg]
    uptake_frac : brine pumped in or picked up, above 0 [kg/kg]
    brine_kg : mass of all the brine [kg]

    Returns
    -------
    mass of agent [kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    fsis_7620_3, pumped products; immersion, method 1
    """
    who = "agent_mass_from_pick_up"
    check_range(ingoing_frac, low=0.0, high=1.0, model=who, quantity="ingoing_frac")
    check_range(uptake_frac, low=1e-4, high=1.0, model=who, quantity="uptake_frac")
    check_range(brine_kg, low=1e-6, high=math.inf, model=who, quantity="brine_kg")
    return ingoing_frac * brine_kg / uptake_frac


def agent_ingoing_even(*, agent_kg: float, green_mass_kg: float, brine_kg: float) -> float:
    """What goes in with a brine left until meat and brine hold the same, both as one mass.

    Parameters
    ----------
    agent_kg : agent in the brine [kg]
    green_mass_kg : mass of the meat [kg]
    brine_kg : mass of all the brine [kg]

    Returns
    -------
    ingoing share [kg/kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    fsis_7620_3, immersion, method 2
    """
    who = "agent_ingoing_even"
    check_range(agent_kg, low=0.0, high=math.inf, model=who, quantity="agent_kg")
    check_range(green_mass_kg, low=1e-6, high=math.inf, model=who, quantity="green_mass_kg")
    check_range(brine_kg, low=0.0, high=math.inf, model=who, quantity="brine_kg")
    return agent_kg / (green_mass_kg + brine_kg)


def agent_mass_from_even(*, ingoing_frac: float, green_mass_kg: float, brine_kg: float) -> float:
    """Agent to put into a brine left to even out. Inverse of `agent_ingoing_even`.

    Parameters
    ----------
    ingoing_frac : agent wanted [kg/kg]
    green_mass_kg : mass of the meat [kg]
    brine_kg : mass of all the brine [kg]

    Returns
    -------
    mass of agent [kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    fsis_7620_3, immersion, method 2
    """
    check_range(ingoing_frac, low=0.0, high=1.0, model="agent_mass_from_even", quantity="ingoing_frac")
    check_range(
        green_mass_kg, low=1e-6, high=math.inf, model="agent_mass_from_even", quantity="green_mass_kg"
    )
    check_range(brine_kg, low=0.0, high=math.inf, model="agent_mass_from_even", quantity="brine_kg")
    return ingoing_frac * (green_mass_kg + brine_kg)


def agent_ingoing_summed(*, shares_frac: Iterable[float]) -> float:
    """What goes in by several ways of salting together.

    Parameters
    ----------
    shares_frac : what each way brings [kg/kg]

    Returns
    -------
    their sum [kg/kg]

    Source
    ------
    fsis_7620_3, more than one method: what every method brings is summed
    """
    return math.fsum(shares_frac)


def share_by_water(
    *, solute_kg: float, green_mass_kg: float, water_frac: float, brine_water_kg: float
) -> float:
    """What the meat holds once a solute is as strong in its water as in the brine's.

    Parameters
    ----------
    solute_kg : salt or agent in all [kg]
    green_mass_kg : mass of the meat [kg]
    water_frac : water of the meat [kg/kg]
    brine_water_kg : water of the brine [kg]

    Returns
    -------
    solute in the meat per kg of green weight [kg/kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_derived, balance over both waters
    """
    who = "share_by_water"
    check_range(solute_kg, low=0.0, high=math.inf, model=who, quantity="solute_kg")
    check_range(green_mass_kg, low=1e-6, high=math.inf, model=who, quantity="green_mass_kg")
    check_range(water_frac, low=0.01, high=1.0, model=who, quantity="water_frac")
    check_range(brine_water_kg, low=0.0, high=math.inf, model=who, quantity="brine_water_kg")
    return solute_kg * water_frac / (green_mass_kg * water_frac + brine_water_kg)


def salt_mass_from_share_by_water(
    *, salt_frac: float, green_mass_kg: float, water_frac: float, brine_kg: float, others_kg: float
) -> float:
    """Salt to make up a brine with, so that the meat ends with a share. Inverse of `share_by_water`.

    Parameters
    ----------
    salt_frac : salt wanted in the meat per kg of green weight [kg/kg]
    green_mass_kg : mass of the meat [kg]
    water_frac : water of the meat [kg/kg]
    brine_kg : mass of all the brine [kg]
    others_kg : what of the brine is neither water nor salt [kg]

    Returns
    -------
    salt of the brine; more than a brine can hold where it is too small for the share [kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_derived, balance over both waters
    """
    who = "salt_mass_from_share_by_water"
    check_range(salt_frac, low=0.0, high=0.5, model=who, quantity="salt_frac")
    check_range(water_frac, low=0.01, high=1.0, model=who, quantity="water_frac")
    check_range(brine_kg - others_kg, low=1e-9, high=math.inf, model=who, quantity="brine_kg")
    return salt_frac * (green_mass_kg * water_frac + brine_kg - others_kg) / (water_frac + salt_frac)


def salt_share_pumped(*, strength_frac: float, uptake_frac: float) -> float:
    """Salt of a pumped piece, per kg of its pumped weight.

    Parameters
    ----------
    strength_frac : salt per kg of brine [kg/kg]
    uptake_frac : brine pumped in per kg of green weight [kg/kg]

    Returns
    -------
    salt per kg of pumped weight [kg/kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_derived, balance of salt
    """
    check_range(strength_frac, low=0.0, high=1.0, model="salt_share_pumped", quantity="strength_frac")
    check_range(uptake_frac, low=0.0, high=1.0, model="salt_share_pumped", quantity="uptake_frac")
    return strength_frac * uptake_frac / (1.0 + uptake_frac)


def water_flux_sign(*, salt_kg_per_m3: float, balance_kg_per_m3: float, spread_kg_per_m3: float) -> int:
    """Which way water goes on the whole between lean meat and a brine.

    Parameters
    ----------
    salt_kg_per_m3 : salt in a cubic metre of brine [kg/m3]
    balance_kg_per_m3 : strength at which none goes either way [kg/m3]
    spread_kg_per_m3 : about it, where nothing is said [kg/m3]

    Returns
    -------
    1 into the meat, -1 out of it, 0 about the balance

    Source
    ------
    fses_2015_47, abstract
    """
    if abs(salt_kg_per_m3 - balance_kg_per_m3) <= spread_kg_per_m3:
        return 0
    return 1 if salt_kg_per_m3 < balance_kg_per_m3 else -1


def salt_with_liquid_bounds(
    *, liquid_kg: float, applied_kg: float, saturation_frac: float
) -> tuple[float, float]:
    """Least and most salt a drained liquid can have carried away: none, or what saturates it.

    Parameters
    ----------
    liquid_kg : mass of the drained liquid [kg]
    applied_kg : salt that had gone on [kg]
    saturation_frac : salt per kg of saturated brine [kg/kg]

    Returns
    -------
    least and most [kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_derived, 0 <= m c <= min(applied, saturation m)
    """
    who = "salt_with_liquid_bounds"
    check_range(liquid_kg, low=0.0, high=math.inf, model=who, quantity="liquid_kg")
    check_range(applied_kg, low=0.0, high=math.inf, model=who, quantity="applied_kg")
    check_range(saturation_frac, low=0.2, high=0.3, model=who, quantity="saturation_frac")
    most = saturation_frac * liquid_kg
    return 0.0, (applied_kg if applied_kg < most else most)


def salt_with_liquid(
    *, liquid_kg: float, strength_frac: float, applied_kg: float, saturation_frac: float
) -> float:
    """Salt a drained liquid carried away.

    Parameters
    ----------
    liquid_kg : mass of the drained liquid [kg]
    strength_frac : salt per kg of it [kg/kg]
    applied_kg : salt that had gone on [kg]
    saturation_frac : salt per kg of saturated brine [kg/kg]

    Returns
    -------
    salt [kg]

    Raises
    ------
    OutOfRange where that is more than saturates the liquid, or more than had gone on

    Source
    ------
    saltfare_derived, 0 <= m c <= min(applied, saturation m)
    """
    _, most = salt_with_liquid_bounds(
        liquid_kg=liquid_kg, applied_kg=applied_kg, saturation_frac=saturation_frac
    )
    check_range(strength_frac, low=0.0, high=1.0, model="salt_with_liquid", quantity="strength_frac")
    gone = liquid_kg * strength_frac
    check_range(gone, low=0.0, high=most * (1 + 1e-12), model="salt_with_liquid", quantity="salt drained")
    return gone
