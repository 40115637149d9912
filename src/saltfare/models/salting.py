"""Salt and cure weighed out for a whole piece: shares and masses, limits, and the time to the middle.

A weighed dose is a finite source. Here it is taken as all dissolved at once on the surface, with no
flux after that: the limit case. Nitrite and nitrate are not assumed to travel like salt.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, Self

import numpy as np
from scipy.optimize import brentq
from scipy.special import j0, jn_zeros

from saltfare.core.errors import BadTable, NotConverged
from saltfare.core.numerics import check_range
from saltfare.core.tables import Row

Shape = Literal["slab", "cylinder"]

# Roots of J1 and their J0, for the cylinder's series: mathematics, not data.
_ROOTS = jn_zeros(1, 80)
_ROOTS_J0 = j0(_ROOTS)
# Below this Fourier number the middle of either shape holds less than 1e-100 of its final share, and
# above it 80 terms have run out of double precision.
_FOURIER_DRY = 1.0e-3
_FOURIER_EVEN = 6.0


@dataclass(frozen=True, slots=True)
class CureMix:
    """A cure mix as its label prints it: sodium nitrite, sodium nitrate and salt, shares of the mix."""

    nitrite_frac: float
    nitrate_frac: float
    salt_frac: float

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
        """From a row of the table `cure_limits`, printed as ounces to 100 lb or as ppm."""
        printed = [row.number_or_none("oz_per_100_lb"), row.number_or_none("ppm")]
        found = [value for value in printed if value is not None]
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


def centre_share_dissolved(*, fourier: float, shape: Shape) -> float:
    """Salt in the middle as a share of the even distribution, the whole dose dissolved at once.

    Slab, both faces: 1 + 2 sum (-1)^n exp(-n^2 pi^2 Fo). Cylinder: 1 + sum exp(-a_n^2 Fo) / J0(a_n),
    J1(a_n) = 0. At small Fo the slab is summed over images of the source instead.

    Parameters
    ----------
    fourier : D t / L^2, L half the thickness or the radius; the whole thickness where one face is shut [-]
    shape : `slab` or `cylinder`

    Returns
    -------
    share, 0 to 1 [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    crank_1975_sources, sections 2.2.3 and 5.3
    """
    fo = float(
        check_range(fourier, low=0.0, high=math.inf, model="centre_share_dissolved", quantity="fourier")
    )
    if fo < _FOURIER_DRY:
        return 0.0
    if fo > _FOURIER_EVEN:
        return 1.0
    if shape == "cylinder":
        return float(1.0 + np.sum(np.exp(-(_ROOTS**2) * fo) / _ROOTS_J0))
    n = np.arange(1, 40)
    if fo < 0.2:
        images = np.exp(-((2 * n - 1) ** 2) / (4.0 * fo))
        return float(2.0 * np.sum(images) / math.sqrt(math.pi * fo))
    return float(1.0 + 2.0 * np.sum((-1.0) ** n * np.exp(-((n * math.pi) ** 2) * fo)))


def fourier_from_centre_share(*, centre_frac: float, shape: Shape) -> float:
    """Fourier number at which the middle holds a share. Inverse of `centre_share_dissolved`.

    Parameters
    ----------
    centre_frac : share of the even distribution, 0.001 to 0.999 [-]
    shape : `slab` or `cylinder`

    Returns
    -------
    D t / L^2 [-]

    Raises
    ------
    OutOfRange, NotConverged

    Source
    ------
    crank_1975_sources, sections 2.2.3 and 5.3
    """
    check_range(centre_frac, low=0.001, high=0.999, model="fourier_from_centre_share", quantity="centre_frac")

    def gap(fo: float) -> float:
        return centre_share_dissolved(fourier=fo, shape=shape) - centre_frac

    root, report = brentq(gap, 2 * _FOURIER_DRY, 3.0, xtol=1e-12, full_output=True, disp=False)
    if not report.converged:
        raise NotConverged("time to the middle", 0, gap(float(root)))
    return float(root)


def time_from_centre_share(
    *,
    centre_frac: float,
    thickness_m: float,
    shape: Shape,
    is_one_sided: bool,
    diffusivity_m2_per_s: float,
) -> float:
    """How long until the middle of a weighed dose holds a share of its final salt.

    Parameters
    ----------
    centre_frac : share of the final salt, 0.001 to 0.999 [-]
    thickness_m : thickness of the slab or diameter of the cylinder [m]
    shape : `slab` or `cylinder`
    is_one_sided : salt enters a slab by one face only, as with the skin left on
    diffusivity_m2_per_s : diffusivity of salt in the meat [m2/s]

    Returns
    -------
    time [s]

    Raises
    ------
    OutOfRange, NotConverged

    Source
    ------
    crank_1975_sources, sections 2.2.3 and 5.3
    """
    who = "time_from_centre_share"
    check_range(thickness_m, low=1e-4, high=2.0, model=who, quantity="thickness_m")
    check_range(diffusivity_m2_per_s, low=1e-13, high=1e-7, model=who, quantity="diffusivity_m2_per_s")
    way = salt_way(thickness_m=thickness_m, shape=shape, is_one_sided=is_one_sided)
    fourier = fourier_from_centre_share(centre_frac=centre_frac, shape=shape)
    return fourier * way**2 / diffusivity_m2_per_s


def centre_share_at(
    *,
    time_s: float,
    thickness_m: float,
    shape: Shape,
    is_one_sided: bool,
    diffusivity_m2_per_s: float,
) -> float:
    """Share of its final salt the middle holds after a time. Inverse of `time_from_centre_share`.

    Parameters
    ----------
    time_s : time since the dose dissolved [s]
    thickness_m : thickness of the slab or diameter of the cylinder [m]
    shape : `slab` or `cylinder`
    is_one_sided : salt enters a slab by one face only
    diffusivity_m2_per_s : diffusivity of salt in the meat [m2/s]

    Returns
    -------
    share, 0 to 1 [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    crank_1975_sources, sections 2.2.3 and 5.3
    """
    check_range(time_s, low=0.0, high=math.inf, model="centre_share_at", quantity="time_s")
    way = salt_way(thickness_m=thickness_m, shape=shape, is_one_sided=is_one_sided)
    return centre_share_dissolved(fourier=diffusivity_m2_per_s * time_s / way**2, shape=shape)


def salt_way(*, thickness_m: float, shape: Shape, is_one_sided: bool) -> float:
    """How far salt must travel: to the middle, or to the shut face.

    Parameters
    ----------
    thickness_m : thickness of the slab or diameter of the cylinder [m]
    shape : `slab` or `cylinder`
    is_one_sided : salt enters a slab by one face only; a cylinder with one shut side is not computed

    Returns
    -------
    distance [m]

    Raises
    ------
    ValueError for a one-sided cylinder

    Source
    ------
    saltfare_derived, a shut face is the middle of a slab twice as thick
    """
    if is_one_sided and shape != "slab":
        raise ValueError("only a slab can be salted from one side")
    return thickness_m if is_one_sided else thickness_m / 2.0


def time_trade_inch(*, thickness_m: float, time_per_step_s: float, step_m: float) -> float:
    """The trade's rule: so many days for each inch of thickness.

    Parameters
    ----------
    thickness_m : thickness or diameter [m]
    time_per_step_s : days of the rule [s]
    step_m : length they are for [m]

    Returns
    -------
    time [s]

    Source
    ------
    common_practice, seven days an inch
    """
    return thickness_m / step_m * time_per_step_s


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
