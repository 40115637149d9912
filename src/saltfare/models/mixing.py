"""Foods sealed together trade water until they share one water activity.

The balance is of all the water: every part starts with what it has, ends on its own isotherm, and what
leaves one part arrives in another. The air in the pouch holds next to nothing and carries it. The path
there in time is each part's own slow inside; the shared air has no memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from saltfare.core.errors import NotConverged, OutOfRange, Problem, Refused
from saltfare.core.figure import Note, Provenance
from saltfare.core.numerics import Array, Floats, check_range
from saltfare.models.criteria_facts import UNKNOWN, Fact
from saltfare.models.isotherms import AW_FLOOR, Blend, Doubt, Isotherm, SaltedMeat
from saltfare.models.sorption import ProteinIsotherm

Change = Literal["softens", "hardens", "stays"]
# What is lost or found in a balance, as a share of all the water.
_CONSERVED = 1e-10


@dataclass(frozen=True, slots=True)
class Part:
    """One food in the pouch.

    solids_kg: dry solids free of fat, and of salt in salted meat; what its isotherm is told per.
    """

    name: str
    solids_kg: float
    water_kg: float
    isotherm: Isotherm

    def __post_init__(self) -> None:
        """Refuse what is no food."""
        if not (0.0 < self.solids_kg < np.inf and 0.0 <= self.water_kg < np.inf):
            raise Refused(Problem("part_without_solids", "parts", self.name))


def dry_part(*, name: str, mass_kg: float, water_frac: float, fat_frac: float, isotherm: Isotherm) -> Part:
    """A dried food from its mass, water and fat.

    Parameters
    ----------
    name : of the part
    mass_kg : as packed [kg]
    water_frac, fat_frac : of that mass [kg/kg]
    isotherm : per kg of fat-free dry solids

    Returns
    -------
    the part

    Raises
    ------
    Refused: part_without_solids

    Source
    ------
    saltfare_derived, mass balance; fat holds next to no water
    """
    return Part(name, mass_kg * (1.0 - water_frac - fat_frac), mass_kg * water_frac, isotherm)


def cured_part(
    *,
    name: str,
    mass_kg: float,
    water_frac: float,
    fat_frac: float,
    salt_frac: float,
    protein: ProteinIsotherm,
    temp_low_c: float,
    temp_high_c: float,
) -> Part:
    """A cured meat from its mass, water, fat and salt.

    Parameters
    ----------
    name : of the part
    mass_kg : as packed [kg]
    water_frac, fat_frac, salt_frac : of that mass [kg/kg]
    protein : isotherm of the salt-free lean
    temp_low_c, temp_high_c : where that isotherm was seen not to move [°C]

    Returns
    -------
    the part

    Raises
    ------
    Refused: part_without_solids

    Source
    ------
    additive_rule_chosen, isopiestic addition of protein and brine
    """
    solids_kg = mass_kg * (1.0 - water_frac - fat_frac - salt_frac)
    if solids_kg <= 0.0:
        raise Refused(Problem("part_without_solids", "parts", name))
    meat = SaltedMeat(protein, mass_kg * salt_frac / solids_kg, temp_low_c, temp_high_c)
    return Part(name, solids_kg, mass_kg * water_frac, meat)


def blend(*, parts: Sequence[Part]) -> Blend:
    """The isotherm of a dish from its parts, by the mass of their fat-free solids.

    Parameters
    ----------
    parts : what it is made of

    Returns
    -------
    the isotherm, per kg of all their fat-free solids

    Source
    ------
    peleg_normand_1992, dry mixtures without interaction
    """
    total = sum(part.solids_kg for part in parts)
    return Blend(tuple((part.solids_kg / total, part.isotherm) for part in parts))


def _all_water(parts: Sequence[Part], aw: float, temp_c: float) -> tuple[float, float]:
    a = np.asarray(aw)
    water = slope = 0.0
    for part in parts:
        ratio, rise = part.isotherm.water(aw=a, temp_c=temp_c)
        water += part.solids_kg * float(ratio)
        slope += part.solids_kg * float(rise)
    return water, slope


def _solve(parts: Sequence[Part], water_kg: float, temp_c: float, name: str) -> float:
    """The activity at which the parts hold so much water between them."""
    high = min(part.isotherm.ceiling(temp_c) for part in parts)
    least, most = _all_water(parts, AW_FLOOR, temp_c)[0], _all_water(parts, high, temp_c)[0]
    if water_kg > most:
        raise OutOfRange("mix_equilibrium", f"water of {name}", water_kg, max(least, 0.0), most)
    if water_kg <= least:
        # drier than any isotherm tells apart: the floor itself, which every range marks
        return AW_FLOOR
    root = float(
        brentq(lambda a: _all_water(parts, a, temp_c)[0] - water_kg, AW_FLOOR, high, xtol=1e-15, rtol=1e-14)
    )
    # one step of Newton takes out what is left of the bracket
    held, slope = _all_water(parts, root, temp_c)
    return min(max(root - (held - water_kg) / slope, AW_FLOOR), high)


def part_aw(*, part: Part, temp_c: float) -> tuple[float, tuple[Doubt, ...]]:
    """Water activity of one part by itself, and what is doubtful about it.

    Parameters
    ----------
    part : a food
    temp_c : [°C]

    Returns
    -------
    water activity and doubts

    Raises
    ------
    OutOfRange : more water than its isotherm can hold

    Source
    ------
    saltfare_derived, the part's isotherm inverted
    """
    aw = _solve((part,), part.water_kg, temp_c, part.name)
    return aw, part.isotherm.within.doubts(aw=aw, temp_c=temp_c)


@dataclass(frozen=True, slots=True)
class PartShift:
    """What sealing together does to one part; doubts are of its isotherm before or after."""

    name: str
    aw_before: float
    aw_after: float
    water_before_kg: float
    water_after_kg: float
    change: Change
    doubts: tuple[Doubt, ...]


@dataclass(frozen=True, slots=True)
class Mix:
    """Where a sealed pouch ends. doubts: of any part; a mix with doubts feeds no verdict."""

    aw: float
    parts: tuple[PartShift, ...]
    doubts: tuple[Doubt, ...]


def mix_equilibrium(*, parts: Sequence[Part], temp_c: float, least_change_aw: float) -> Mix:
    """Where foods sealed together end, by the balance of all their water.

    Parameters
    ----------
    parts : the foods, two or more or one
    temp_c : of the pouch [°C]
    least_change_aw : a smaller move of water activity is called none [-]

    Returns
    -------
    the shared activity, and each part before and after; water is conserved to 1e-10

    Raises
    ------
    Refused: mix_empty; OutOfRange : more water than the isotherms can hold; NotConverged

    Source
    ------
    peleg_normand_1992, water balance of dry mixtures in a sealed container
    """
    if not parts:
        raise Refused(Problem("mix_empty", "parts"))
    total = sum(part.water_kg for part in parts)
    aw = _solve(parts, total, temp_c, "the pouch")
    held = [
        part.solids_kg * float(part.isotherm.water(aw=np.asarray(aw), temp_c=temp_c)[0]) for part in parts
    ]
    gap = sum(held) - total
    if aw > AW_FLOOR and abs(gap) > _CONSERVED * total:
        raise NotConverged("water of the pouch", 0, gap)
    if aw == AW_FLOOR:
        held = [part.water_kg for part in parts]  # all but dry: nothing to trade
    shifts = []
    for part, after in zip(parts, held, strict=True):
        before, doubts = part_aw(part=part, temp_c=temp_c)
        move = aw - before
        change: Change = "stays" if abs(move) < least_change_aw else "softens" if move > 0 else "hardens"
        late = part.isotherm.within.doubts(aw=aw, temp_c=temp_c)
        both = doubts + tuple(doubt for doubt in late if doubt not in doubts)
        shifts.append(PartShift(part.name, before, aw, part.water_kg, after, change, both))
    doubts = tuple(dict.fromkeys(doubt for shift in shifts for doubt in shift.doubts))
    return Mix(aw, tuple(shifts), doubts)


def mix_notes(*, mix: Mix) -> tuple[Note, ...]:
    """What to say of a mix first: which part softens, which hardens, and what is doubtful.

    Parameters
    ----------
    mix : of `mix_equilibrium`

    Returns
    -------
    notes and cautions, as codes

    Source
    ------
    saltfare_chosen, the warning before the curve
    """
    out = []
    for shift in mix.parts:
        before, after = round(shift.aw_before, 2), round(shift.aw_after, 2)
        if shift.change == "softens":
            out.append(Note("part_softens", {"part": shift.name, "before": before, "after": after}))
        elif shift.change == "hardens":
            out.append(Note("part_hardens", {"part": shift.name, "before": before, "after": after}))
    if "aw_outside" in mix.doubts:
        out.append(Note("isotherm_outside_aw"))
    if "temp_outside" in mix.doubts:
        out.append(Note("isotherm_outside_temperature"))
    if "range_not_read" in mix.doubts:
        out.append(Note("isotherm_range_not_read"))
    return tuple(out)


def mix_aw_fact(*, aw: float, doubts: Sequence[Doubt], error: float) -> Fact:
    """Predicted water activity as a criterion may use it: estimated, and unknown where it is doubtful.

    Parameters
    ----------
    aw : predicted [-]
    doubts : of the isotherms it rests on
    error : half width of its error [-]

    Returns
    -------
    the fact; an estimated one never meets a criterion

    Source
    ------
    saltfare_chosen, a marked figure feeds no verdict
    """
    return UNKNOWN if doubts else Fact(aw, Provenance.ESTIMATED, error)


def aw_salwin_slawson(*, solids_kg: Floats, slope: Floats, aw: Floats) -> float:
    """Shared water activity by straight isotherms: the mean of the parts weighed by solids and slope.

    Exact where the isotherms are straight between start and end; it erred by 0.04 where parts began far
    apart. Shown beside the full balance, never instead of it.

    Parameters
    ----------
    solids_kg : dry solids of each part [kg]
    slope : of each isotherm, dX/daw [kg/kg]
    aw : of each part before [-]

    Returns
    -------
    water activity [-]

    Source
    ------
    salwin_slawson_1959, a = sum W S a over sum W S
    """
    weight = np.asarray(solids_kg, dtype=np.float64) * np.asarray(slope, dtype=np.float64)
    return float((weight * np.asarray(aw)).sum() / weight.sum())


def aw_salwin_slawson_of(*, parts: Sequence[Part], temp_c: float) -> float:
    """The same with each part's isotherm straightened at where it starts.

    Parameters
    ----------
    parts : the foods
    temp_c : [°C]

    Returns
    -------
    water activity [-]

    Source
    ------
    salwin_slawson_1959, a = sum W S a over sum W S
    """
    start = [part_aw(part=part, temp_c=temp_c)[0] for part in parts]
    slopes = [
        float(p.isotherm.water(aw=np.asarray(a), temp_c=temp_c)[1]) for p, a in zip(parts, start, strict=True)
    ]
    return aw_salwin_slawson(
        solids_kg=np.array([p.solids_kg for p in parts]), slope=np.array(slopes), aw=np.array(start)
    )


def exchange_rate(*, half_thickness_m: float, diffusivity_m2_per_s: float) -> float:
    """How fast a slice takes up the surface's water: rate of the slowest mode of Fick's equation.

    Parameters
    ----------
    half_thickness_m : of a slice that breathes on both faces [m]
    diffusivity_m2_per_s : of water in it [m2/s]

    Returns
    -------
    rate [1/s]

    Source
    ------
    crank_1975_sheet, first term of the plane sheet: pi^2 D / (4 L^2)
    """
    return float(np.pi**2 * diffusivity_m2_per_s / (4.0 * half_thickness_m**2))


@dataclass(frozen=True, slots=True)
class MixPath:
    """A pouch on its way: at each time the activity of its air, and water and activity of each part."""

    times_s: Array
    aw_air: Array
    aw_parts: Array  # (parts, times)
    water_kg: Array  # (parts, times)


def mix_path(
    *, parts: Sequence[Part], rate_per_s: Sequence[float], temp_c: float, times_s: Sequence[float]
) -> MixPath:
    """The way to equilibrium: each part relaxes towards the air it shares, which holds nothing.

    Parameters
    ----------
    parts : the foods
    rate_per_s : of each, by `exchange_rate` [1/s]
    temp_c : of the pouch [°C]
    times_s : rising, from 0 on [s]

    Returns
    -------
    the path; water is conserved to 1e-9 at every time

    Raises
    ------
    Refused: mix_empty; OutOfRange; NotConverged

    Source
    ------
    peleg_normand_1992, water balance of dry mixtures in a sealed container
    crank_1975_sheet, first term of the plane sheet, as a linear driving force
    """
    if not parts:
        raise Refused(Problem("mix_empty", "parts"))
    times = check_range(
        np.asarray(times_s, dtype=np.float64), low=0.0, high=np.inf, model="mix_path", quantity="times_s"
    )
    total = sum(part.water_kg for part in parts)
    solids = np.array([part.solids_kg for part in parts])
    weight = solids * np.asarray(rate_per_s, dtype=np.float64)
    high = min(part.isotherm.ceiling(temp_c) for part in parts)

    def wanted(aw: float) -> Array:
        a = np.asarray(aw)
        return np.array([float(part.isotherm.water(aw=a, temp_c=temp_c)[0]) for part in parts])

    def air(ratios: Array) -> float:
        def excess(aw: float) -> float:
            return float((weight * (wanted(aw) - ratios)).sum())

        if excess(AW_FLOOR) >= 0.0:
            return AW_FLOOR
        return float(brentq(excess, AW_FLOOR, high, xtol=1e-14, rtol=1e-13))

    def flow(_: float, ratios: Array) -> Array:
        rates = np.asarray(rate_per_s) * (wanted(air(ratios)) - ratios)
        # what rounding leaves over is shared out, so that nothing is made or lost
        return np.asarray(rates - (solids * rates).sum() / solids.sum())

    start = np.array([part.water_kg for part in parts]) / solids
    found = solve_ivp(
        flow, (0.0, float(times[-1]) or 1.0), start, method="RK45", t_eval=times, rtol=1e-7, atol=1e-10
    )
    if not found.success:
        raise NotConverged("path of the pouch", 0, float("nan"))
    water = solids[:, None] * found.y
    gap = float(np.abs(water.sum(axis=0) - total).max())
    if gap > 1e-9 * max(total, 1e-12):
        raise NotConverged("water of the pouch on its way", 0, gap)
    aw_parts = np.array(
        [
            [_solve((part,), max(float(part.solids_kg * x), 0.0), temp_c, part.name) for x in found.y[index]]
            for index, part in enumerate(parts)
        ]
    )
    return MixPath(times, np.array([air(y) for y in found.y.T]), aw_parts, water)
