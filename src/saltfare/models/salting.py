"""Salt and cure weighed out for a whole piece: shares and masses, published limits, and what stays."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Self

from saltfare.core.errors import BadTable
from saltfare.core.numerics import check_range
from saltfare.core.tables import Row


@dataclass(frozen=True, slots=True)
class CureMix:
    """A cure mix as its label prints it: nitrite, nitrate and salt, shares of the mix.

    nitrite_agent, nitrate_agent: which salts they are, rows of `cure_agents`.
    """

    nitrite_frac: float
    nitrate_frac: float
    salt_frac: float
    nitrite_agent: str = "sodium_nitrite"
    nitrate_agent: str = "sodium_nitrate"

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of the table `cure_mixes`."""
        return cls(row.number("nitrite_pct"), row.number("nitrate_pct"), row.number("salt_pct"))


@dataclass(frozen=True, slots=True)
class CureLimit:
    """A published ceiling on one agent.

    limit_frac: kg of agent per kg of its basis. basis: `green`, `green_skin_free` or `finished`.
    """

    limit_frac: float
    agent: str
    basis: str

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of the table `cure_limits`: ounces to 100 lb, grams to 100 kg, ppm, or pounds to 100
        gallons of pickle at a pump level."""
        plain = (row.number_or_none(column) for column in ("oz_per_100_lb", "g_per_100_kg", "ppm"))
        found = [value for value in plain if value is not None]
        pounds = row.number_or_none("lb_per_100_gal")
        if pounds is not None:
            pickle = 100.0 * row.number("brine_lb_per_gal")
            found.append(pounds / pickle * row.number("pump_pct"))
        if len(found) != 1:
            raise BadTable(f"{row.ref}: a limit is printed in one unit, not {len(found)}")
        return cls(found[0], row.text("agent"), row.text("basis"))


def limit_as_frac(*, limit: CureLimit) -> float:
    """A published limit as a share of its basis, whatever unit it was printed in.

    Parameters
    ----------
    limit : the limit, from its row

    Returns
    -------
    kg of agent per kg of basis [kg/kg]

    Source
    ------
    cfr_9_424_21, paragraph (c)
    cfr_9_424_22, paragraph (b)
    cfr_21_172_175, home meat-curing preparations
    """
    return limit.limit_frac


def agent_ingoing_dry(*, mix_mass_kg: float, agent_frac: float, base_mass_kg: float) -> float:
    """What goes on with a dry cure: agent per kg of meat before anything is lost.

    Parameters
    ----------
    mix_mass_kg : mass of cure mix weighed out [kg]
    agent_frac : agent in the mix, 0 to 1 [kg/kg]; a label's 6.25 % is 0.0625
    base_mass_kg : mass the limit is about: green weight, without skin where the rule says so [kg]

    Returns
    -------
    ingoing share [kg/kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    fsis_7620_3, dry cure formula
    """
    who = "agent_ingoing_dry"
    check_range(mix_mass_kg, low=0.0, high=math.inf, model=who, quantity="mix_mass_kg")
    check_range(agent_frac, low=0.0, high=1.0, model=who, quantity="agent_frac")
    check_range(base_mass_kg, low=1e-6, high=math.inf, model=who, quantity="base_mass_kg")
    return mix_mass_kg * agent_frac / base_mass_kg


def mix_mass_from_ingoing_dry(*, ingoing_frac: float, agent_frac: float, base_mass_kg: float) -> float:
    """Mass of cure mix that brings an ingoing share. Inverse of `agent_ingoing_dry`.

    Parameters
    ----------
    ingoing_frac : agent wanted per kg of meat [kg/kg]
    agent_frac : agent in the mix, above 0, to 1 [kg/kg]
    base_mass_kg : mass the share is about [kg]

    Returns
    -------
    mass of cure mix [kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    fsis_7620_3, dry cure formula solved for the mix
    """
    who = "mix_mass_from_ingoing_dry"
    check_range(ingoing_frac, low=0.0, high=1.0, model=who, quantity="ingoing_frac")
    check_range(agent_frac, low=1e-6, high=1.0, model=who, quantity="agent_frac")
    check_range(base_mass_kg, low=1e-6, high=math.inf, model=who, quantity="base_mass_kg")
    return ingoing_frac * base_mass_kg / agent_frac


def base_mass_skin_on(*, green_mass_kg: float, skin_frac: float) -> float:
    """Mass that takes up cure, where skin that takes up almost none was left on.

    Parameters
    ----------
    green_mass_kg : mass with the skin [kg]
    skin_frac : share of the mass that is skin [kg/kg]

    Returns
    -------
    mass without the skin [kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    fsis_7620_3, skin-on bellies
    """
    check_range(green_mass_kg, low=0.0, high=math.inf, model="base_mass_skin_on", quantity="green_mass_kg")
    check_range(skin_frac, low=0.0, high=0.5, model="base_mass_skin_on", quantity="skin_frac")
    return green_mass_kg * (1.0 - skin_frac)


def salt_mass_beside_mix(
    *, salt_frac: float, green_mass_kg: float, mix_mass_kg: float, mix_salt_frac: float
) -> float:
    """Plain salt to weigh, the salt inside the cure mix counted.

    Parameters
    ----------
    salt_frac : all salt per kg of green weight [kg/kg]
    green_mass_kg : green weight [kg]
    mix_mass_kg : cure mix weighed out [kg]
    mix_salt_frac : salt in the mix [kg/kg]

    Returns
    -------
    plain salt; below zero where the mix alone brings more than was wanted [kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_derived, balance of salt over mix and plain salt
    """
    who = "salt_mass_beside_mix"
    check_range(salt_frac, low=0.0, high=1.0, model=who, quantity="salt_frac")
    check_range(green_mass_kg, low=0.0, high=math.inf, model=who, quantity="green_mass_kg")
    check_range(mix_mass_kg, low=0.0, high=math.inf, model=who, quantity="mix_mass_kg")
    check_range(mix_salt_frac, low=0.0, high=1.0, model=who, quantity="mix_salt_frac")
    return salt_frac * green_mass_kg - mix_mass_kg * mix_salt_frac


def dose_interval_scale(*, mass_kg: float, scale_step_kg: float) -> tuple[float, float]:
    """Between what masses a dose lies, when a scale that rounds to its step shows `mass_kg`.

    Rounding alone, half a step either way; a scale out of adjustment adds its own error.

    Parameters
    ----------
    mass_kg : mass shown [kg]
    scale_step_kg : smallest change the scale shows [kg]

    Returns
    -------
    least and most [kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_derived, rounding to a step
    """
    check_range(mass_kg, low=0.0, high=math.inf, model="dose_interval_scale", quantity="mass_kg")
    check_range(scale_step_kg, low=1e-9, high=1.0, model="dose_interval_scale", quantity="scale_step_kg")
    half = scale_step_kg / 2.0
    # a mass is never below nothing: the step is then coarser than twice the dose
    return (mass_kg - half if mass_kg > half else 0.0), mass_kg + half


def divisions_of_scale(*, mass_kg: float, scale_step_kg: float) -> float:
    """How many steps of the scale a load is: few steps, large relative error.

    Parameters
    ----------
    mass_kg : load [kg]
    scale_step_kg : smallest change the scale shows [kg]

    Returns
    -------
    steps [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    nist_hb44_2023, section 2.20 UR.3.1
    """
    check_range(mass_kg, low=0.0, high=math.inf, model="divisions_of_scale", quantity="mass_kg")
    check_range(scale_step_kg, low=1e-9, high=1.0, model="divisions_of_scale", quantity="scale_step_kg")
    return mass_kg / scale_step_kg


def agent_finished_bound(*, ingoing_frac: float, base_mass_kg: float, finished_mass_kg: float) -> float:
    """Most of an agent a finished piece can hold: all that went on, none used up, none drained.

    Parameters
    ----------
    ingoing_frac : agent that went on per kg of the base [kg/kg]
    base_mass_kg : mass that share is about [kg]
    finished_mass_kg : mass of the finished piece [kg]

    Returns
    -------
    upper bound, a share of the finished mass [kg/kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_derived, balance of the agent
    """
    who = "agent_finished_bound"
    check_range(ingoing_frac, low=0.0, high=1.0, model=who, quantity="ingoing_frac")
    check_range(base_mass_kg, low=1e-6, high=math.inf, model=who, quantity="base_mass_kg")
    check_range(finished_mass_kg, low=1e-6, high=math.inf, model=who, quantity="finished_mass_kg")
    return ingoing_frac * base_mass_kg / finished_mass_kg


@dataclass(frozen=True, slots=True)
class Salted:
    """A piece out of the salt, as shares of its green weight; they sum to its mass over green weight."""

    water_frac: float
    fat_frac: float
    solids_frac: float
    salt_frac: float
    sugar_frac: float

    @property
    def mass_frac(self) -> float:
        """Mass over green weight."""
        return self.water_frac + self.fat_frac + self.solids_frac + self.salt_frac + self.sugar_frac


def salted_composition(
    *, water_frac: float, fat_frac: float, salt_frac: float, sugar_frac: float, net_loss_frac: float
) -> Salted:
    """What a piece is made of after a weighed dose, given its net loss in salt.

    The liquid that leaves is brine of the same strength as the water left behind (the dose was weighed,
    and liquid and piece lay together); protein lost with it is not counted.

    Parameters
    ----------
    water_frac, fat_frac : of green weight [kg/kg]; what is left are solids that neither leave nor change
    salt_frac, sugar_frac : what went on, per kg of green weight [kg/kg]
    net_loss_frac : green weight less washed weight, over green weight [kg/kg]

    Returns
    -------
    shares of green weight

    Raises
    ------
    OutOfRange where more leaves than there is liquid

    Source
    ------
    saltfare_derived, balances of water, salt and sugar
    """
    who = "salted_composition"
    solids = float(
        check_range(
            1.0 - water_frac - fat_frac, low=1e-3, high=0.5, model=who, quantity="fat-free dry solids"
        )
    )
    liquid = water_frac + salt_frac + sugar_frac
    leaves = net_loss_frac + salt_frac + sugar_frac
    stays = 1.0 - float(check_range(leaves / liquid, low=0.0, high=0.9, model=who, quantity="liquid lost"))
    return Salted(water_frac * stays, fat_frac, solids, salt_frac * stays, sugar_frac * stays)


def salted_composition_taken(
    *, water_frac: float, fat_frac: float, salt_frac: float, sugar_frac: float, net_loss_frac: float
) -> Salted:
    """What a piece is made of once it has taken up so much salt, given its net loss or gain.

    For boxes, brines and needles: what is left outside was never counted. The rest of the change is water.

    Parameters
    ----------
    water_frac, fat_frac : of green weight [kg/kg]
    salt_frac, sugar_frac : taken up, per kg of green weight [kg/kg]
    net_loss_frac : green weight less weight out of the salt, over green weight; below zero for a gain

    Returns
    -------
    shares of green weight

    Raises
    ------
    OutOfRange where more leaves than there is water

    Source
    ------
    saltfare_derived, balances of water, salt and sugar
    """
    who = "salted_composition_taken"
    solids = float(
        check_range(
            1.0 - water_frac - fat_frac, low=1e-3, high=0.5, model=who, quantity="fat-free dry solids"
        )
    )
    water = water_frac - net_loss_frac - salt_frac - sugar_frac
    check_range(water, low=0.01 * water_frac, high=1.0, model=who, quantity="water left")
    return Salted(water, fat_frac, solids, salt_frac, sugar_frac)


def share_mass(*, share_frac: float, base_mass_kg: float) -> float:
    """Mass of something dosed as a share of the meat: sugar, a spice.

    Parameters
    ----------
    share_frac : per kg of meat [kg/kg]
    base_mass_kg : the meat [kg]

    Returns
    -------
    mass [kg]

    Source
    ------
    saltfare_derived, share times mass
    """
    check_range(share_frac, low=0.0, high=1.0, model="share_mass", quantity="share_frac")
    check_range(base_mass_kg, low=0.0, high=math.inf, model="share_mass", quantity="base_mass_kg")
    return share_frac * base_mass_kg


def loss_between(*, before_kg: float, after_kg: float) -> float:
    """Share of a mass that is gone; below zero where it grew.

    Parameters
    ----------
    before_kg : mass the loss is a share of, above zero [kg]
    after_kg : mass now [kg]

    Returns
    -------
    loss [kg/kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_derived, definition of a loss
    """
    check_range(before_kg, low=1e-6, high=math.inf, model="loss_between", quantity="before_kg")
    check_range(after_kg, low=0.0, high=math.inf, model="loss_between", quantity="after_kg")
    return 1.0 - after_kg / before_kg


def mass_after_loss(*, before_kg: float, loss_frac: float) -> float:
    """Mass left after a loss. Inverse of `loss_between`.

    Parameters
    ----------
    before_kg : mass the loss is a share of [kg]
    loss_frac : share gone, below 1 [kg/kg]

    Returns
    -------
    mass [kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_derived, definition of a loss
    """
    check_range(before_kg, low=1e-6, high=math.inf, model="mass_after_loss", quantity="before_kg")
    check_range(loss_frac, low=-1.0, high=0.99, model="mass_after_loss", quantity="loss_frac")
    return before_kg * (1.0 - loss_frac)
