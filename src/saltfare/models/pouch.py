"""A pouch: what its film lets through, how large it is, what fits, and whether a meal can be stirred in it.

Permeances are told in SI per pressure: kg/(m2 s Pa) for water vapour, m3/(m2 s Pa) for oxygen as gas
at the conditions of the tables. Each has a low, a middle and a high figure, in that order, since two
tables of one polymer differ more than any other input here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from saltfare.core.errors import BadTable, Problem, Refused
from saltfare.core.figure import Note
from saltfare.core.library import Library
from saltfare.core.numerics import Array, Floats, check_range
from saltfare.core.tables import Row
from saltfare.models.air import saturation_pressure_ashrae
from saltfare.models.isotherms_gab import GAS_J_PER_MOL_K, KELVIN

# Conditions of the tables of films: water at 38 °C against 90 % and dry; oxygen at 23 °C.
_VAPOUR_TEMP_C, _VAPOUR_RH, _OXYGEN_TEMP_C = 38.0, 0.90, 23.0


def permeance_from_transmission(*, rate_kg_per_m2_s: Floats, temp_c: float, rh_frac: float) -> Array:
    """Permeance to water vapour from a transmission rate against dry air.

    Parameters
    ----------
    rate_kg_per_m2_s : transmission rate [kg/(m2 s)]
    temp_c, rh_frac : of the test, dry on the other side [°C, -]

    Returns
    -------
    permeance [kg/(m2 s Pa)]

    Source
    ------
    pocas_fitness, rates at 38 °C and 90 %
    ashrae_2017, saturation pressure
    """
    return np.asarray(rate_kg_per_m2_s / (float(saturation_pressure_ashrae(temp_c=temp_c)) * rh_frac))[()]


def permeability_from_test(
    *,
    gain_kg: float,
    time_s: float,
    area_m2: float,
    thickness_m: float,
    temp_c: float,
    wet_frac: float,
    dry_frac: float,
) -> float:
    """Permeability to water vapour from a weighed test.

    Parameters
    ----------
    gain_kg : water that passed [kg]
    time_s : in this time [s]
    area_m2, thickness_m : of the film [m2, m]
    temp_c : of the test [°C]
    wet_frac, dry_frac : relative humidities on the two sides [-]

    Returns
    -------
    permeability [kg m/(m2 s Pa)]

    Source
    ------
    singh_heldman_2009, example 15.1
    ashrae_2017, saturation pressure
    """
    pressure_pa = float(saturation_pressure_ashrae(temp_c=temp_c)) * (wet_frac - dry_frac)
    return gain_kg * thickness_m / (time_s * area_m2 * pressure_pa)


@dataclass(frozen=True, slots=True)
class Sheet:
    """A layer as it comes, by three permeances: low, middle, high.

    The heats move them with temperature. wet_80, wet_90: oxygen passes so many times faster at 80 and
    90 % relative humidity than up to 60 %.
    """

    vapour: tuple[float, float, float]  # kg/(m2 s Pa) at 38 °C
    oxygen: tuple[float, float, float]  # m3/(m2 s Pa) at 23 °C
    vapour_heat_j_per_mol: float
    oxygen_heat_j_per_mol: float
    wet_80: float
    wet_90: float

    def vapour_at(self, temp_c: Floats) -> Array:
        """Permeance to vapour, shape (3, ...) for temperatures of shape (...)."""
        moved = _arrhenius(temp_c, self.vapour_heat_j_per_mol, _VAPOUR_TEMP_C)
        return np.asarray(np.multiply.outer(np.array(self.vapour), moved))

    def oxygen_at(self, temp_c: Floats, rh_frac: Floats) -> Array:
        """Permeance to oxygen at the humidity of the layer, shape (3, ...)."""
        rh = np.asarray(rh_frac, dtype=np.float64)
        first = np.log(self.wet_80) / 0.2
        then = (np.log(self.wet_90) - np.log(self.wet_80)) / 0.1
        wet = np.where(rh < 0.6, 0.0, np.where(rh < 0.8, first * (rh - 0.6), first * 0.2 + then * (rh - 0.8)))
        moved = _arrhenius(temp_c, self.oxygen_heat_j_per_mol, _OXYGEN_TEMP_C) * np.exp(wet)
        return np.asarray(np.multiply.outer(np.array(self.oxygen), moved))


def _arrhenius(temp_c: Floats, heat_j_per_mol: float, temp_ref_c: float) -> Array:
    t = np.asarray(temp_c, dtype=np.float64) + KELVIN
    return np.asarray(np.exp(-heat_j_per_mol / GAS_J_PER_MOL_K * (1.0 / t - 1.0 / (temp_ref_c + KELVIN))))


def sheet_of_row(*, row: Row) -> Sheet:
    """A layer that does not scale with thickness: foil, metallised film, a laminate bought whole.

    Parameters
    ----------
    row : of the table `film_sheets`

    Returns
    -------
    the layer

    Source
    ------
    film_maker_tables, transmission rates of metallised and foil laminates
    """
    vapour = [
        float(
            permeance_from_transmission(
                rate_kg_per_m2_s=row.number(c), temp_c=_VAPOUR_TEMP_C, rh_frac=_VAPOUR_RH
            )
        )
        for c in ("vapour_low", "vapour", "vapour_high")
    ]
    oxygen = [row.number(c) for c in ("oxygen_low", "oxygen", "oxygen_high")]
    return Sheet(
        (vapour[0], vapour[1], vapour[2]),
        (oxygen[0], oxygen[1], oxygen[2]),
        row.number("vapour_heat"),
        row.number("oxygen_heat"),
        1.0,
        1.0,
    )


def sheet_of_polymer(*, row: Row, thickness_m: float) -> Sheet:
    """A layer of a polymer of a thickness.

    Parameters
    ----------
    row : of the table `film_polymers`
    thickness_m : above zero [m]

    Returns
    -------
    the layer

    Raises
    ------
    OutOfRange

    Source
    ------
    pocas_fitness, part 5, slide 18
    biosystems_packaging, table 11.2 for the ends
    polymer_handbook, heats of permeation
    resin_maker_humidity, oxygen through wet film
    """
    check_range(thickness_m, low=1e-7, high=2e-3, model="sheet_of_polymer", quantity="thickness_m")

    def three(name: str) -> tuple[float, float, float]:
        middle = row.number(name)
        ends = [row.number_or_none(f"{name}_low"), row.number_or_none(f"{name}_high")]
        known = [middle, *(end for end in ends if end is not None)]
        return min(known) / thickness_m, middle / thickness_m, max(known) / thickness_m

    drive = float(saturation_pressure_ashrae(temp_c=_VAPOUR_TEMP_C)) * _VAPOUR_RH
    low, middle, high = three("vapour")
    return Sheet(
        (low / drive, middle / drive, high / drive),
        three("oxygen"),
        row.number("vapour_heat"),
        row.number("oxygen_heat"),
        row.number("wet_80"),
        row.number("wet_90"),
    )


@dataclass(frozen=True, slots=True)
class Film:
    """Layers on each other; their resistances add.

    takes_boiling_water: None where its maker has to say.
    """

    layers: tuple[Sheet, ...]
    takes_boiling_water: bool | None

    def vapour_permeance(self, temp_c: Floats) -> Array:
        """Low, middle, high [kg/(m2 s Pa)], shape (3, ...)."""
        return np.asarray(1.0 / sum(1.0 / layer.vapour_at(temp_c) for layer in self.layers))

    def oxygen_permeance(self, temp_c: Floats, rh_frac: Floats) -> Array:
        """Low, middle, high [m3/(m2 s Pa)] at the wetter side's humidity, shape (3, ...)."""
        return np.asarray(1.0 / sum(1.0 / layer.oxygen_at(temp_c, rh_frac) for layer in self.layers))


def film_of(*, library: Library, film_id: str) -> Film:
    """A film of the library in generic terms, such as "pa_pe_90".

    Parameters
    ----------
    library : where rows come from
    film_id : id in the table `films`

    Returns
    -------
    the film

    Raises
    ------
    NotFound, BadTable

    Source
    ------
    pocas_fitness, layers in series
    """
    row = library.row("films", film_id)
    layers = []
    for layer in row.text("layers").split("+"):
        kind, _, microns = layer.partition(":")
        if microns:
            try:
                thickness_m = 1e-6 * float(microns)
            except ValueError:
                raise BadTable(f"{row.ref}: layer {layer!r}") from None
            layers.append(sheet_of_polymer(row=library.row("film_polymers", kind), thickness_m=thickness_m))
        else:
            layers.append(sheet_of_row(row=library.row("film_sheets", kind)))
    said = row.text("boiling_water")
    return Film(tuple(layers), None if said == "ask" else said == "yes")


@dataclass(frozen=True, slots=True)
class Pouch:
    """A flat pouch: outer size, width of the seals, film; whether it stands.

    volume_m3: what it holds filled to where it still closes, measured with water; None: by formula.
    """

    width_m: float
    height_m: float
    seal_m: float
    film: Film
    stands: bool | None = None
    volume_m3: float | None = None

    def __post_init__(self) -> None:
        """Refuse a pouch that is all seal."""
        for side in (self.width_m, self.height_m):
            if not 0.0 <= 2.0 * self.seal_m < side < 2.0:
                raise Refused(Problem("pouch_impossible", "pouch", f"{side:.6g} m"))
        if self.volume_m3 is not None and not 0.0 < self.volume_m3 < 0.1:
            raise Refused(Problem("pouch_impossible", "pouch", f"{self.volume_m3:.6g} m3"))

    @property
    def sides_m(self) -> tuple[float, float]:
        """Shorter and longer side inside the seals."""
        inside = sorted(side - 2.0 * self.seal_m for side in (self.width_m, self.height_m))
        return inside[0], inside[1]


def pouch_area(*, width_m: float, height_m: float, seal_m: float) -> float:
    """Film that breathes: both faces inside the seals.

    Parameters
    ----------
    width_m, height_m : outer size [m]
    seal_m : width of the seals all round [m]

    Returns
    -------
    area [m2]

    Source
    ------
    plain_geometry, two rectangles
    """
    return 2.0 * (width_m - 2.0 * seal_m) * (height_m - 2.0 * seal_m)


def volume_paper_bag(*, width_m: float, height_m: float) -> float:
    """Most that a flat closed bag can hold, blown up.

    Parameters
    ----------
    width_m : shorter side inside the seals [m]
    height_m : longer side [m]

    Returns
    -------
    volume [m3]

    Source
    ------
    robin_2004, V = w^3 (h / (pi w) - 0.142 (1 - 10^(-h/w)))
    """
    ratio = height_m / width_m
    return float(width_m**3 * (ratio / np.pi - 0.142 * (1.0 - 10.0**-ratio)))


def pouch_volume(*, pouch: Pouch) -> float:
    """What the pouch holds: as measured, else by the formula of the blown-up bag.

    Parameters
    ----------
    pouch : the pouch

    Returns
    -------
    volume [m3]

    Source
    ------
    robin_2004, flat closed bag
    """
    if pouch.volume_m3 is not None:
        return pouch.volume_m3
    width_m, height_m = pouch.sides_m
    return volume_paper_bag(width_m=width_m, height_m=height_m)


@dataclass(frozen=True, slots=True)
class Fill:
    """One food in the pouch: its mass, how it lies in bulk, and what its solids and water really fill."""

    name: str
    mass_kg: float
    bulk_kg_per_m3: float
    true_kg_per_m3: float

    def __post_init__(self) -> None:
        """Refuse a food lighter than itself poured."""
        if not (self.mass_kg > 0.0 and 0.0 < self.bulk_kg_per_m3 <= self.true_kg_per_m3 < 3000.0):
            raise Refused(Problem("fill_impossible", "fill", self.name))


@dataclass(frozen=True, slots=True)
class Headspace:
    """What is inside besides food: poured volume of the food and gas left in and around it."""

    poured_m3: float
    gas_m3: float


def headspace(*, pouch_m3: float, fills: Sequence[Fill], gas_kept_frac: float) -> Headspace:
    """Gas sealed in with the food, the pores of the food among it.

    Parameters
    ----------
    pouch_m3 : volume of the pouch as it is sealed [m3]
    fills : what is in it
    gas_kept_frac : of the gas, what is not drawn or pressed out; 1 without vacuum [-]

    Returns
    -------
    poured volume and gas

    Raises
    ------
    Refused: pouch_smaller_than_food; OutOfRange

    Source
    ------
    wiley_packaging_scavengers, oxygen at the start from the free volume
    """
    check_range(gas_kept_frac, low=0.0, high=1.0, model="headspace", quantity="gas_kept_frac")
    poured = sum(fill.mass_kg / fill.bulk_kg_per_m3 for fill in fills)
    if poured > pouch_m3:
        raise Refused(
            Problem("pouch_smaller_than_food", "pouch", params={"pouch_m3": pouch_m3, "food_m3": poured})
        )
    true = sum(fill.mass_kg / fill.true_kg_per_m3 for fill in fills)
    return Headspace(poured, (pouch_m3 - true) * gas_kept_frac)


@dataclass(frozen=True, slots=True)
class Soak:
    """Whether a meal can be made in its pouch: room there is, room it takes, and what stands against it."""

    room_m3: float
    needed_m3: float
    fits: bool
    notes: tuple[Note, ...]


def soak_in_pouch(
    *, pouch: Pouch, fills: Sequence[Fill], water_kg: float, water_kg_per_m3: float, stir_frac: float
) -> Soak:
    """Whether food, the water poured on and room to stir go into the pouch.

    Parameters
    ----------
    pouch : the pouch
    fills : what is in it
    water_kg : boiling water to pour on [kg]
    water_kg_per_m3 : its density [kg/m3]
    stir_frac : share of the pouch left free to stir and close [-]

    Returns
    -------
    room, need and notes

    Raises
    ------
    Refused: pouch_smaller_than_food; OutOfRange

    Source
    ------
    saltfare_derived, volumes of solids and water add; room to stir is chosen
    """
    check_range(stir_frac, low=0.0, high=0.9, model="soak_in_pouch", quantity="stir_frac")
    volume = pouch_volume(pouch=pouch)
    headspace(pouch_m3=volume, fills=fills, gas_kept_frac=1.0)
    room = volume * (1.0 - stir_frac)
    # dry food floats before it drinks: whichever is larger, poured or true with its water
    true = sum(fill.mass_kg / fill.true_kg_per_m3 for fill in fills)
    poured = sum(fill.mass_kg / fill.bulk_kg_per_m3 for fill in fills)
    needed = max(true + water_kg / water_kg_per_m3, poured)
    notes = []
    if pouch.film.takes_boiling_water is False:
        notes.append(Note("pouch_not_for_boiling_water"))
    elif pouch.film.takes_boiling_water is None:
        notes.append(Note("pouch_boiling_water_not_known"))
    if needed > room:
        notes.append(Note("pouch_too_small_to_soak", {"needed_m3": needed, "room_m3": room}))
    if pouch.stands is False:
        notes.append(Note("pouch_does_not_stand"))
    return Soak(room, needed, needed <= room and pouch.film.takes_boiling_water is True, tuple(notes))
