"""A piece at hanging: what it is made of, how large it is, and what it weighs at a water activity.

Water, salt and fat are told per kilogram of dry solids free of both, which stay as they are while
the piece dries.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Self

import numpy as np

from saltfare.core.library import Library
from saltfare.core.numerics import Array, Floats, check_range
from saltfare.core.tables import Row
from saltfare.models.sorption import ProteinIsotherm, aw_salted_meat, water_ratio_salted_meat

Shape = Literal["slab", "cylinder"]


@dataclass(frozen=True, slots=True)
class DiffusionLaw:
    """Moisture diffusivity of lean meat: `D = D_ref exp(-E/R (1/T - 1/T_r)) exp(-b (1/(1+X) - 1/(1+X_r)))`.

    diffusivity_m2_per_s: D_ref; activation_j_per_mol: E; water_drag: b; temp_ref_c, water_ratio_ref:
    T_r and X_r, where D_ref holds.
    """

    diffusivity_m2_per_s: float
    activation_j_per_mol: float
    water_drag: float
    temp_ref_c: float
    water_ratio_ref: float

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of the table `diffusion`."""
        columns = ("diffusivity", "activation", "water_drag", "temp_ref", "water_ratio_ref")
        return cls(*(row.number(column) for column in columns))


@dataclass(frozen=True, slots=True)
class Body:
    """Densities of what a piece is made of, how it shrinks, and what its surface does.

    shrinkage_power: lengths along the faces go with this power of the volume (1/3: alike in all
    directions). buoyancy_k: difference of temperature that drives still air. crust_water_ratio: kg of
    water per kg of solids below which the outside counts as crust.
    """

    solids_kg_per_m3: float
    fat_kg_per_m3: float
    salt_kg_per_m3: float
    water_kg_per_m3: float
    shrinkage_power: float
    emissivity: float
    buoyancy_k: float
    crust_water_ratio: float
    pressure_pa: float

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of the table `drying_body`."""
        columns = (
            "solids_density", "fat_density", "salt_density", "water_density", "shrinkage_power", "emissivity",
            "buoyancy", "crust_water_ratio", "pressure",
        )  # fmt: skip
        return cls(*(row.number(column) for column in columns))


@dataclass(frozen=True, slots=True)
class DryingParameters:
    """All the physical parameters of hanging, apart from the isotherm."""

    law: DiffusionLaw
    body: Body

    @classmethod
    def from_rows(cls, *, law: Row, body: Row) -> Self:
        """From a row of `diffusion` and a row of `drying_body`."""
        return cls(DiffusionLaw.from_row(law), Body.from_row(body))

    @classmethod
    def from_library(cls, *, library: Library, law: str, body: str) -> Self:
        """From the library's rows of those ids. Raises NotFound, BadTable."""
        return cls.from_rows(law=library.row("diffusion", law), body=library.row("drying_body", body))


@dataclass(frozen=True, slots=True)
class Hanging:
    """One piece on the day it is hung.

    thickness_m: of a slab between its two large faces, or the diameter of a cylinder. width_m: of a
    slab, 0 for a cylinder. water_frac, fat_frac, salt_frac: of mass_kg. open_frac: share of the dried
    sides open to air (the rest under fat or skin). drying_faces: 2, or 1 for a slab that is closed on one
    large face. casing_resistance_s_per_m: added to the film, 0 when bare. end_open_frac: share of the
    ends of a cylinder, or the edges of a slab, open to air; None where they are cut and bare.

    Raises OutOfRange for a piece out of bounds.
    """

    shape: Shape
    thickness_m: float
    length_m: float
    width_m: float
    mass_kg: float
    water_frac: float
    fat_frac: float
    salt_frac: float
    open_frac: float
    casing_resistance_s_per_m: float
    drying_faces: int
    end_open_frac: float | None = None

    def __post_init__(self) -> None:
        """Refuse what is no piece."""
        if self.shape not in ("slab", "cylinder"):
            raise ValueError(f"no piece of the shape {self.shape!r}")
        if self.drying_faces not in ((1, 2) if self.shape == "slab" else (2,)):
            raise ValueError(f"a {self.shape} does not dry on {self.drying_faces} faces")
        bounds = (
            ("thickness_m", 0.002, 0.5), ("length_m", 0.01, 3.0), ("mass_kg", 0.001, 200.0),
            ("water_frac", 0.05, 0.90), ("fat_frac", 0.0, 0.90), ("salt_frac", 0.0, 0.15),
            ("open_frac", 0.0, 1.0), ("casing_resistance_s_per_m", 0.0, 1e5),
        )  # fmt: skip
        for name, low, high in bounds:
            check_range(getattr(self, name), low=low, high=high, model="Hanging", quantity=name)
        if self.end_open_frac is not None:
            check_range(self.end_open_frac, low=0.0, high=1.0, model="Hanging", quantity="end_open_frac")
        if self.shape == "slab":
            check_range(self.width_m, low=0.01, high=3.0, model="Hanging", quantity="width_m")
        solids = 1.0 - self.water_frac - self.fat_frac - self.salt_frac
        check_range(solids, low=0.02, high=0.95, model="Hanging", quantity="solids_frac")


@dataclass(frozen=True, slots=True)
class Ratios:
    """Per kg of fat-free salt-free solids: water, salt, fat; and those solids per kg at hanging."""

    solids_frac: Array
    water: Array
    salt: Array
    fat: Array

    @classmethod
    def of(cls, *, water_frac: Floats, fat_frac: Floats, salt_frac: Floats) -> Self:
        """From fractions of the mass; arrays broadcast. Raises OutOfRange where no solids are left."""
        water, fat, salt = np.broadcast_arrays(
            *(np.asarray(f, dtype=np.float64) for f in (water_frac, fat_frac, salt_frac))
        )
        solids = check_range(
            1.0 - water - fat - salt, low=0.02, high=1.0, model="Ratios", quantity="solids_frac"
        )
        return cls(solids, water / solids, salt / solids, fat / solids)

    def fixed_volume(self, body: Body) -> Array:
        """Volume of solids, fat and salt [m3 per kg of solids]."""
        return 1.0 / body.solids_kg_per_m3 + self.fat / body.fat_kg_per_m3 + self.salt / body.salt_kg_per_m3


def density_additive(*, water_frac: Floats, fat_frac: Floats, salt_frac: Floats, body: Body) -> Array:
    """Density of meat whose parts keep their volumes; no pores.

    Parameters
    ----------
    water_frac, fat_frac, salt_frac : of the mass; the rest is solids
    body : densities of the parts

    Returns
    -------
    density [kg/m3]

    Raises
    ------
    OutOfRange

    Source
    ------
    additive_volumes, sum of mass over density
    """
    r = Ratios.of(water_frac=water_frac, fat_frac=fat_frac, salt_frac=salt_frac)
    return (1.0 / (r.solids_frac * (r.fixed_volume(body) + r.water / body.water_kg_per_m3)))[()]


def volume_stated(*, shape: Shape, thickness_m: float, length_m: float, width_m: float) -> float:
    """Volume of the cylinder or slab of those dimensions.

    Parameters
    ----------
    shape, thickness_m, length_m, width_m : as in Hanging [m]

    Returns
    -------
    volume [m3]

    Source
    ------
    plain_geometry, cylinder and block
    """
    if shape == "cylinder":
        return float(np.pi / 4.0 * thickness_m**2 * length_m)
    return thickness_m * length_m * width_m


def length_from_mass(
    *, shape: Shape, thickness_m: float, width_m: float, mass_kg: float, density_kg_per_m3: float
) -> float:
    """Length of a cylinder or slab of that mass.

    Parameters
    ----------
    shape, thickness_m, width_m : as in Hanging [m]
    mass_kg : mass [kg]
    density_kg_per_m3 : density [kg/m3]

    Returns
    -------
    length [m]

    Source
    ------
    plain_geometry, cylinder and block
    """
    return (
        mass_kg
        / density_kg_per_m3
        / volume_stated(shape=shape, thickness_m=thickness_m, length_m=1.0, width_m=width_m)
    )


def thickness_from_mass(
    *, shape: Shape, length_m: float, width_m: float, mass_kg: float, density_kg_per_m3: float
) -> float:
    """Thickness of a slab, or diameter of a cylinder, of that mass.

    Parameters
    ----------
    shape, length_m, width_m : as in Hanging [m]
    mass_kg : mass [kg]
    density_kg_per_m3 : density [kg/m3]

    Returns
    -------
    thickness or diameter [m]

    Source
    ------
    plain_geometry, cylinder and block
    """
    volume = mass_kg / density_kg_per_m3
    if shape == "cylinder":
        return float(np.sqrt(4.0 * volume / (np.pi * length_m)))
    return volume / (length_m * width_m)


def fill_ratio(*, piece: Hanging, body: Body) -> float:
    """Volume the mass takes over the volume of the stated shape.

    1 where they agree; well above 1 the piece is heavier than its shape allows, below 1 it is a shape
    with tapered ends or a gap.

    Parameters
    ----------
    piece : the piece at hanging
    body : densities

    Returns
    -------
    ratio [-]

    Source
    ------
    additive_volumes, sum of mass over density
    """
    density = density_additive(
        water_frac=piece.water_frac, fat_frac=piece.fat_frac, salt_frac=piece.salt_frac, body=body
    )
    stated = volume_stated(
        shape=piece.shape, thickness_m=piece.thickness_m, length_m=piece.length_m, width_m=piece.width_m
    )
    return float(piece.mass_kg / density / stated)


def end_share(*, piece: Hanging) -> float:
    """Area of the ends of a cylinder, or the edges of a slab, over that of its drying sides.

    Parameters
    ----------
    piece : the piece at hanging

    Returns
    -------
    ratio of areas [-]

    Source
    ------
    plain_geometry, cylinder and block
    """
    if piece.shape == "cylinder":
        return piece.thickness_m / (2.0 * piece.length_m)
    edges = 2.0 * (piece.length_m + piece.width_m) * piece.thickness_m
    return edges / (piece.drying_faces * piece.length_m * piece.width_m)


def openness(*, piece: Hanging) -> float:
    """Area open to air over the area of the drying sides; above 1 where ends are open too.

    Parameters
    ----------
    piece : the piece at hanging

    Returns
    -------
    ratio of areas [-]

    Source
    ------
    plain_geometry, cylinder and block
    """
    ends = 1.0 if piece.end_open_frac is None else piece.end_open_frac
    return piece.open_frac + ends * end_share(piece=piece)


def obstruction_maxwell(*, fat_volume_frac: Floats) -> Array:
    """What dispersed fat, which carries no water, leaves of the diffusivity.

    Parameters
    ----------
    fat_volume_frac : share of fat in the volume, 0 to 0.95

    Returns
    -------
    diffusivity over that of the lean [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    maxwell_1873, spheres that do not conduct: 2 (1 - p) / (2 + p)
    """
    p = check_range(
        fat_volume_frac, low=0.0, high=0.95, model="obstruction_maxwell", quantity="fat_volume_frac"
    )
    return (2.0 * (1.0 - p) / (2.0 + p))[()]


def obstruction_between_fat_contents(
    *, fat_frac: Floats, leaner_fat_frac: Floats, water_per_lean: Floats, body: Body
) -> Array:
    """Diffusivity of a fatter over that of a leaner mixture of one and the same lean.

    Parameters
    ----------
    fat_frac, leaner_fat_frac : share of fat in the mass
    water_per_lean : share of water in the lean
    body : densities

    Returns
    -------
    ratio of diffusivities [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    maxwell_1873, spheres that do not conduct: 2 (1 - p) / (2 + p)
    """

    def remains(fat: Floats) -> Array:
        share = np.asarray(fat, dtype=np.float64)
        density = density_additive(
            water_frac=(1.0 - share) * water_per_lean, fat_frac=share, salt_frac=0.0, body=body
        )
        return obstruction_maxwell(fat_volume_frac=share * density / body.fat_kg_per_m3)

    return (remains(fat_frac) / remains(leaner_fat_frac))[()]


def diffusivity_lean(*, water_ratio: Floats, temp_c: Floats, law: DiffusionLaw) -> Array:
    """Moisture diffusivity of lean meat.

    Parameters
    ----------
    water_ratio : kg of water per kg of solids, 0 to 8 [kg/kg]
    temp_c : -5 to 45 [°C]
    law : the law's parameters

    Returns
    -------
    diffusivity [m2/s]

    Raises
    ------
    OutOfRange

    Source
    ------
    lean_diffusivity_chosen, form and constants
    """
    x = check_range(water_ratio, low=0.0, high=8.0, model="diffusivity_lean", quantity="water_ratio")
    t = check_range(temp_c, low=-5.0, high=45.0, model="diffusivity_lean", quantity="temp_c")
    warmth = np.exp(
        -law.activation_j_per_mol / 8.314462618 * (1.0 / (t + 273.15) - 1.0 / (law.temp_ref_c + 273.15))
    )
    drag = np.exp(-law.water_drag * (1.0 / (1.0 + x) - 1.0 / (1.0 + law.water_ratio_ref)))
    return (law.diffusivity_m2_per_s * warmth * drag)[()]


def loss_ceiling_frac(
    *, rh_frac: Floats, water_frac: Floats, fat_frac: Floats, salt_frac: Floats, protein: ProteinIsotherm
) -> Array:
    """The most a piece can lose in air of a humidity, however long it hangs.

    Parameters
    ----------
    rh_frac : relative humidity, within the isotherm's range
    water_frac, fat_frac, salt_frac : of the mass at hanging; arrays broadcast
    protein : the salt-free isotherm

    Returns
    -------
    loss over the mass at hanging; below zero where the air would give water to the piece

    Raises
    ------
    OutOfRange

    Source
    ------
    additive_rule_chosen, water left at the activity that equals the humidity
    """
    r = Ratios.of(water_frac=water_frac, fat_frac=fat_frac, salt_frac=salt_frac)
    left = water_ratio_salted_meat(aw=rh_frac, salt_ratio=r.salt, protein=protein)
    return (r.solids_frac * (r.water - left))[()]


def aw_at_mass(
    *, mass_kg: Floats, hanging_kg: Floats, water_frac: Floats, fat_frac: Floats, salt_frac: Floats,
    protein: ProteinIsotherm,
) -> Array:  # fmt: skip
    """Water activity of a piece of that mass, were its water evenly spread.

    Parameters
    ----------
    mass_kg : mass now [kg]
    hanging_kg : mass at hanging [kg]
    water_frac, fat_frac, salt_frac : of the mass at hanging; arrays broadcast
    protein : the salt-free isotherm

    Returns
    -------
    water activity [-]

    Raises
    ------
    OutOfRange where the piece would have lost more water than it had, or lies outside the isotherm

    Source
    ------
    additive_rule_chosen, activity of the water left
    """
    r = Ratios.of(water_frac=water_frac, fat_frac=fat_frac, salt_frac=salt_frac)
    hung = check_range(hanging_kg, low=1e-6, high=1e6, model="aw_at_mass", quantity="hanging_kg")
    lost = 1.0 - np.asarray(mass_kg, dtype=np.float64) / hung
    return aw_salted_meat(water_ratio=r.water - lost / r.solids_frac, salt_ratio=r.salt, protein=protein)


def mass_at_aw(
    *, aw: Floats, hanging_kg: Floats, water_frac: Floats, fat_frac: Floats, salt_frac: Floats,
    protein: ProteinIsotherm,
) -> Array:  # fmt: skip
    """Mass of a piece when its evenly spread water has a given activity. Inverse of `aw_at_mass`.

    Parameters
    ----------
    aw : water activity, within the isotherm's range [-]
    hanging_kg : mass at hanging [kg]
    water_frac, fat_frac, salt_frac : of the mass at hanging; arrays broadcast
    protein : the salt-free isotherm

    Returns
    -------
    mass [kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    additive_rule_chosen, water left at an activity
    """
    hung = check_range(hanging_kg, low=1e-6, high=1e6, model="mass_at_aw", quantity="hanging_kg")
    loss = loss_ceiling_frac(
        rh_frac=aw, water_frac=water_frac, fat_frac=fat_frac, salt_frac=salt_frac, protein=protein
    )
    return (hung * (1.0 - loss))[()]
