"""Oxygen in a pouch: what is sealed in, what comes through, what an absorber takes, and a hole.

Oxygen is told as the volume of pure gas at the conditions of the room, as absorbers are sold.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from saltfare.core.errors import Problem, Refused
from saltfare.core.figure import Note
from saltfare.core.numerics import Array, check_range
from saltfare.core.tables import Row
from saltfare.models.air import saturation_pressure_ashrae
from saltfare.models.isotherms_gab import GAS_J_PER_MOL_K, KELVIN
from saltfare.models.pouch import Film
from saltfare.models.pouch_place import Place
from saltfare.models.sorption import WATER_KG_PER_MOL

# Dry air at sea level, ISO 2533: share of oxygen by volume, and pressure.
AIR_OXYGEN_FRAC = 0.20948
_AIR_PA = 101325.0
# Iron to its hydroxide: 4 Fe + 3 O2 + 6 H2O; molar mass of iron, kg/mol.
_OXYGEN_PER_IRON_MOL, _IRON_KG_PER_MOL = 0.75, 0.055845

Kind = Literal["self_reacting", "needs_moisture"]


def oxygen_by_iron(*, iron_kg: float, temp_c: float) -> float:
    """Oxygen that iron binds when all of it rusts.

    Parameters
    ----------
    iron_kg : [kg]
    temp_c : at which the gas is measured, at one atmosphere [°C]

    Returns
    -------
    volume of oxygen [m3]

    Source
    ------
    iron_scavenger_article, 4 Fe + 3 O2 + 6 H2O to 4 Fe(OH)3
    codata_2018, molar gas constant
    """
    moles = _OXYGEN_PER_IRON_MOL * iron_kg / _IRON_KG_PER_MOL
    return moles * GAS_J_PER_MOL_K * (temp_c + KELVIN) / _AIR_PA


def oxygen_sealed_in(*, gas_m3: float) -> float:
    """Oxygen in the gas sealed in with the food, the pores of the food among it.

    Parameters
    ----------
    gas_m3 : gas at the pressure of the air [m3]

    Returns
    -------
    volume of oxygen [m3]

    Source
    ------
    isa_1976, composition of dry air
    """
    return AIR_OXYGEN_FRAC * gas_m3


@dataclass(frozen=True, slots=True)
class OxygenPath:
    """Oxygen inside at the start and the end of each step, for the film's low, middle, high permeance.

    frac: share of the gas inside, at the pressure of the air. entered_m3: come through so far.
    left_m3: what the absorber can still take; None where there is none.
    spent_s: when it is exhausted, by member; None where it is not on the path, or there is none.
    """

    times_s: Array
    frac: Array  # (3, steps + 1)
    entered_m3: Array  # (3, steps + 1)
    left_m3: Array | None
    spent_s: tuple[float | None, float | None, float | None]


def oxygen_through_film(
    *,
    film: Film,
    area_m2: float,
    gas_m3: float,
    place: Place,
    aw_inside: float,
    absorber_m3: float | None,
    start_frac: float,
    leak_m3_per_s_pa: float,
) -> OxygenPath:
    """Oxygen inside a pouch over the air where it is kept; exact in each step of constant air.

    The gas inside is taken at the pressure of the air. An absorber takes at once what there is until it
    is exhausted; the food itself is taken to bind none, which errs towards more oxygen.

    Parameters
    ----------
    film : the film
    area_m2 : both faces inside the seals [m2]
    gas_m3 : gas inside, above zero [m3]
    place : steps of air outside; the wetter side sets the humidity of the film
    aw_inside : water activity inside [-]
    absorber_m3 : oxygen the absorber can take, None without one [m3]
    start_frac : share of oxygen in the gas sealed in [-]
    leak_m3_per_s_pa : what a hole adds, 0 where there is none [m3/(s Pa)]

    Returns
    -------
    the path

    Raises
    ------
    Refused: absorber_without_headspace; OutOfRange

    Source
    ------
    wiley_packaging_scavengers, oxygen at the start and ingress over the life
    isa_1976, composition of dry air
    """
    check_range(aw_inside, low=0.0, high=1.0, model="oxygen_through_film", quantity="aw_inside")
    check_range(start_frac, low=0.0, high=1.0, model="oxygen_through_film", quantity="start_frac")
    if not gas_m3 > 0.0:
        raise Refused(Problem("absorber_without_headspace", "headspace", f"{gas_m3:.6g} m3"))
    wet = np.maximum(place.rh_frac, aw_inside)
    flow = film.oxygen_permeance(place.temp_c, wet) * area_m2 + leak_m3_per_s_pa  # m3/(s Pa)
    steps = place.ends_s.size
    frac, entered = np.empty((3, steps + 1)), np.zeros((3, steps + 1))
    left = None if absorber_m3 is None else np.empty((3, steps + 1))
    frac[:, 0] = start_frac
    spare = np.zeros(3) if absorber_m3 is None else absorber_m3 - start_frac * gas_m3
    if left is not None:
        # what is sealed in is bound first, within days: told as bound at once
        frac[:, 0] = np.maximum(-spare, 0.0) / gas_m3
        spare = np.maximum(spare, 0.0)
        left[:, 0] = spare
    # the same gas lies before every member
    at_once = absorber_m3 is not None and absorber_m3 <= start_frac * gas_m3
    spent: list[float | None] = [0.0 if at_once else None] * 3
    for step, (end_s, span) in enumerate(zip(place.ends_s, place.spans_s, strict=True)):
        inward = flow[:, step] * AIR_OXYGEN_FRAC * _AIR_PA  # while there is none inside
        used = np.minimum(spare, inward * span)
        with np.errstate(divide="ignore", invalid="ignore"):
            rest = np.where(inward > 0.0, span - used / np.where(inward > 0.0, inward, 1.0), 0.0)
        rest = np.where(spare > inward * span, 0.0, rest)
        for member in range(3):
            if absorber_m3 is not None and spent[member] is None and rest[member] > 0.0:
                spent[member] = float(end_s - rest[member])
        spare = spare - used
        fade = np.exp(-flow[:, step] * _AIR_PA * rest / gas_m3)
        fresh = AIR_OXYGEN_FRAC + (frac[:, step] - AIR_OXYGEN_FRAC) * fade
        fresh = np.where(rest > 0.0, fresh, frac[:, step])
        entered[:, step + 1] = entered[:, step] + used + (fresh - frac[:, step]) * gas_m3
        frac[:, step + 1] = fresh
        if left is not None:
            left[:, step + 1] = spare
    return OxygenPath(np.append(0.0, place.ends_s), frac, entered, left, (spent[0], spent[1], spent[2]))


@dataclass(frozen=True, slots=True)
class AbsorberSize:
    """Oxygen to be taken over the time, low, middle and high, and the size that takes the high one.

    size_m3: capacity of the row chosen, None where none is large enough. count: how many of it.
    """

    sealed_in_m3: float
    needed_m3: tuple[float, float, float]
    size_m3: float | None
    count: int


def absorber_size(
    *,
    gas_m3: float,
    film: Film,
    area_m2: float,
    place: Place,
    aw_inside: float,
    sizes_m3: Sequence[float],
    most: int,
) -> AbsorberSize:
    """Absorber for what is sealed in and what comes through while kept at nearly none.

    Parameters
    ----------
    gas_m3 : gas sealed in [m3]
    film : the film
    area_m2 : both faces inside the seals [m2]
    place : air over the time it shall last
    aw_inside : water activity inside [-]
    sizes_m3 : capacities on offer [m3]
    most : most absorbers in one pouch

    Returns
    -------
    need, and the smallest total that covers its high end

    Raises
    ------
    Refused: absorber_without_headspace

    Source
    ------
    wiley_packaging_scavengers, oxygen at the start and ingress over the life
    """
    if not gas_m3 > 0.0:
        raise Refused(Problem("absorber_without_headspace", "headspace", f"{gas_m3:.6g} m3"))
    wet = np.maximum(place.rh_frac, aw_inside)
    flow = film.oxygen_permeance(place.temp_c, wet) * area_m2 * AIR_OXYGEN_FRAC * _AIR_PA
    sealed = oxygen_sealed_in(gas_m3=gas_m3)
    need = [float(sealed + (row * place.spans_s).sum()) for row in flow]
    offers = sorted((size * count, count, size) for size in sizes_m3 for count in range(1, most + 1))
    enough = next((offer for offer in offers if offer[0] >= need[2]), None)
    return AbsorberSize(
        sealed,
        (need[0], need[1], need[2]),
        None if enough is None else enough[2],
        0 if enough is None else enough[1],
    )


@dataclass(frozen=True, slots=True)
class AbsorberRules:
    """Where kinds of absorber work: activities chosen among what makers print, rows of `absorbers`.

    dry_below_aw: under it iron needs its own water. refuse_above_aw: no sealing without oxygen.
    warn_above_aw: sealing without oxygen is doubted.
    """

    dry_below_aw: float
    warn_above_aw: float
    refuse_above_aw: float

    @classmethod
    def from_row(cls, row: Row) -> AbsorberRules:
        """From the row of the table `absorber_rules`."""
        return cls(*(row.number(c) for c in ("dry_below_aw", "warn_above_aw", "refuse_above_aw")))


def absorber_notes(
    *,
    kind: Kind,
    aw: float | None,
    desiccant: bool,
    rules: AbsorberRules,
    spent_s: float | None,
    time_s: float,
) -> tuple[Note, ...]:
    """What stands against an absorber in this pouch; the criteria decide whether it may be sealed at all.

    Parameters
    ----------
    kind : carries its own water, or takes it from the food
    aw : of the food, None where unknown [-]
    desiccant : whether one lies beside it
    rules : activities between the kinds
    spent_s : when it is exhausted at the film's high permeance, None where it is not [s]
    time_s : how long it shall last [s]

    Returns
    -------
    notes and cautions, as codes

    Source
    ------
    iron_scavenger_article, rusting needs humid air unless salt and water are built in
    cfr_21_114_3, water activity 0.85
    """
    out = []
    if desiccant:
        out.append(Note("absorber_with_desiccant"))
    if aw is None:
        out.append(Note("absorber_aw_not_known"))
    else:
        if kind == "needs_moisture" and aw < rules.dry_below_aw:
            out.append(Note("absorber_kind_too_dry"))
        if aw > rules.refuse_above_aw:
            out.append(Note("absorber_not_above_aw", {"limit": rules.refuse_above_aw}))
        elif aw > rules.warn_above_aw:
            out.append(Note("absorber_doubted_above_aw", {"limit": rules.warn_above_aw}))
    if spent_s is not None and spent_s < time_s:
        out.append(Note("absorber_spent_early", {"spent_s": spent_s}))
    return tuple(out)


def desiccant_units(*, water_kg: float, unit_kg: float) -> float:
    """Units of desiccant for water that comes in while the air inside is kept under a humidity.

    Parameters
    ----------
    water_kg : to be taken up [kg]
    unit_kg : what one unit takes at that humidity [kg]

    Returns
    -------
    units, not rounded

    Source
    ------
    din_55474, n = A e D t / a
    """
    check_range(unit_kg, low=1e-6, high=1.0, model="desiccant_units", quantity="unit_kg")
    return water_kg / unit_kg


def water_through_dry(
    *, film: Film, area_m2: float, place: Place, kept_aw: float
) -> tuple[float, float, float]:
    """Water that comes in while the inside is kept at one activity: what a desiccant must take.

    Parameters
    ----------
    film : the film
    area_m2 : both faces inside the seals [m2]
    place : air over the time
    kept_aw : activity the inside is kept at [-]

    Returns
    -------
    for low, middle and high permeance, not below zero [kg]

    Source
    ------
    din_55474, ingress against the humidity kept inside
    ashrae_2017, saturation pressure
    """
    pull = np.asarray(saturation_pressure_ashrae(temp_c=place.temp_c)) * np.maximum(
        place.rh_frac - kept_aw, 0.0
    )
    sums = (film.vapour_permeance(place.temp_c) * area_m2 * pull * place.spans_s).sum(axis=1)
    return float(sums[0]), float(sums[1]), float(sums[2])


@dataclass(frozen=True, slots=True)
class Hole:
    """What a round hole lets through by diffusion, per pressure."""

    oxygen_m3_per_s_pa: float
    vapour_kg_per_s_pa: float


def hole_diffusion(
    *, diameter_m: float, depth_m: float, oxygen_m2_per_s: float, vapour_m2_per_s: float, temp_c: float
) -> Hole:
    """A round hole through a film, air standing on both sides.

    Parameters
    ----------
    diameter_m : of the hole [m]
    depth_m : of the film there [m]
    oxygen_m2_per_s, vapour_m2_per_s : diffusivities in air [m2/s]
    temp_c : [°C]

    Returns
    -------
    what passes per pressure

    Source
    ------
    brown_escombe_1900, Q = D A / (depth + pi d / 4)
    massman_1998, diffusivity of oxygen in air
    codata_2018, molar gas constant
    """
    check_range(diameter_m, low=0.0, high=0.01, model="hole_diffusion", quantity="diameter_m")
    ease_m = np.pi * diameter_m**2 / 4.0 / (depth_m + np.pi * diameter_m / 4.0)
    kelvin = temp_c + KELVIN
    return Hole(
        float(oxygen_m2_per_s * ease_m / _AIR_PA),
        float(vapour_m2_per_s * ease_m * WATER_KG_PER_MOL / (GAS_J_PER_MOL_K * kelvin)),
    )
