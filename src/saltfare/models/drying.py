"""Hanging: a piece dries in its chamber's air, an ensemble of possible pieces at once.

Salt and fat go with the solids and stay even; water moves by diffusion that falls as the meat dries;
the piece shrinks; at the surface film and casing stand in series and evaporation cools. Left out: salt
that moves on its own, layers of fat, the humidity a piece adds to a small chamber, the piece's own heat.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from saltfare.core.numerics import Array, check_range
from saltfare.models.drying_air import Air, Merging, merged
from saltfare.models.drying_march import Rules, march
from saltfare.models.drying_piece import (
    Body,
    DiffusionLaw,
    DryingParameters,
    Hanging,
    Ratios,
    Shape,
    aw_at_mass,
    density_additive,
    end_share,
    fill_ratio,
    length_from_mass,
    loss_ceiling_frac,
    mass_at_aw,
    obstruction_maxwell,
    openness,
    thickness_from_mass,
    volume_stated,
)
from saltfare.models.drying_shells import Shells, shell_weights
from saltfare.models.drying_surface import Stretches
from saltfare.models.sorption import ProteinIsotherm, aw_salted_meat

__all__ = [
    "Air", "Body", "DiffusionLaw", "Drying", "DryingParameters", "Hanging", "Members", "Profiles",
    "aw_at_mass", "density_additive", "end_share", "fill_ratio", "hang", "length_from_mass",
    "loss_ceiling_frac",
    "loss_cylinder_constant_air", "loss_slab_constant_air",
    "mass_at_aw",    "obstruction_maxwell", "openness", "thickness_from_mass", "volume_stated",
]  # fmt: skip

# Numerical choices, no property of meat; what each costs in accuracy is held by the tests.
SHELLS = 20
GRADING = 1.6
RULES = Rules(
    residual=5e-4, residual_floor=1e-9, step_error=2e-3, first_step_s=600.0, least_step_s=1e-3,
    most_step_s=4.0 * 86400.0, rounds=8,
)  # fmt: skip
# None: humidity that wanders about saturated brine is told apart from its mean by half a point of loss.
MERGING = Merging(share=0.0, rh_frac=0.0, temp_c=0.0)


@dataclass(frozen=True, slots=True)
class Members:
    """The ensemble: what differs between members, (n,) each; None where nothing does.

    diffusivity_multiplier: up dries faster. resistance_multiplier: of film and casing; up dries
    slower. water_frac, fat_frac: of the mass at hanging, instead of the piece's.
    """

    diffusivity_multiplier: Array
    resistance_multiplier: Array
    water_frac: Array | None = None
    fat_frac: Array | None = None


@dataclass(frozen=True, slots=True)
class Profiles:
    """What lies across the piece; water_ratio (k, n, N), edges_m (k, n, N + 1), from the middle outwards.

    water_ratio: mean of each shell, kg of water per kg of solids. edges_m: where the shells end.
    solids_frac, fat_ratio (n,): solids in the mass at hanging; fat per kg of solids.
    """

    water_ratio: Array
    edges_m: Array
    solids_frac: Array
    fat_ratio: Array


@dataclass(frozen=True, slots=True)
class Drying:
    """The course of every member; arrays (k, n) at time_s (k,).

    loss_frac: of the mass at hanging. crust_m: depth of the outside drier than the crust's water
    ratio. water_core, water_mean: kg of water per kg of solids. steps, splits, solves: of the march.
    worst_residual: the most left of any balance of any member, over the water at hanging. profiles: where
    they were asked for.
    """

    time_s: Array
    mass_kg: Array
    loss_frac: Array
    aw_surface: Array
    temp_surface_c: Array
    crust_m: Array
    water_surface: Array
    water_core: Array
    water_mean: Array
    salt_ratio: Array
    protein: ProteinIsotherm
    steps: int
    splits: int
    solves: int
    worst_residual: float
    profiles: Profiles | None = None

    @property
    def aw_core(self) -> Array:
        """Water activity in the middle, (k, n); solved when asked for."""
        return aw_salted_meat(water_ratio=self.water_core, salt_ratio=self.salt_ratio, protein=self.protein)

    @property
    def aw_mean(self) -> Array:
        """Water activity were the water evenly spread, (k, n); solved when asked for."""
        return aw_salted_meat(water_ratio=self.water_mean, salt_ratio=self.salt_ratio, protein=self.protein)


def hang(
    *, piece: Hanging, air: Air, members: Members, parameters: DryingParameters, protein: ProteinIsotherm,
    out_time_s: Array, shells: int = SHELLS, rules: Rules = RULES, merging: Merging = MERGING,
    profiles: bool = False,
) -> Drying:  # fmt: skip
    """Dry an ensemble of one piece in given air.

    The mass and the thickness rule; the stated length and width say only what share the ends have
    and how air passes.

    Parameters
    ----------
    piece : the piece at hanging
    air : constant by stretches from hanging on; it must last to the last time asked for
    members : what differs between the n members
    parameters : of diffusion, densities, shrinkage and surface
    protein : the isotherm of the salt-free lean
    out_time_s : rising times from hanging, 0 and later, (k,) [s]
    shells : number of shells
    rules : tolerances and steps
    merging : which stretches of air are taken together for speed, none unless told; what is told of the
        surface is then of their mean
    profiles : keep what lies across the piece at every time

    Returns
    -------
    the course, arrays (k, n)

    Raises
    ------
    OutOfRange for air, composition or multipliers outside the models; NotConverged naming the member

    Source
    ------
    saltfare_hanging_model, shells of fixed solids, film and casing in series, quasi-steady surface
    lean_diffusivity_chosen, form and constants
    additive_rule_chosen, activity of salted meat
    """
    count = len(members.diffusivity_multiplier)
    spread = check_range(
        members.diffusivity_multiplier, low=1e-3, high=1e3, model="hang", quantity="diffusivity_multiplier"
    )
    resist = check_range(
        members.resistance_multiplier, low=1e-3, high=1e3, model="hang", quantity="resistance_multiplier"
    )
    times = np.asarray(out_time_s, dtype=np.float64)
    ends = np.asarray(air.end_time_s, dtype=np.float64)
    check_range(times, low=0.0, high=float(ends[-1]), model="hang", quantity="out_time_s")
    if (np.diff(times) < 0).any() or (np.diff(ends) <= 0).any() or ends[0] <= 0:
        raise ValueError("times rise from hanging")
    # before any mean is taken, so that one wrong reading cannot hide in it
    check_range(air.rh_frac, low=protein.aw_low, high=protein.aw_high, model="hang", quantity="rh_frac")
    check_range(air.temp_c, low=-5.0, high=45.0, model="hang", quantity="temp_c")
    air = merged(air=air, merging=merging)
    ratios = Ratios.of(
        water_frac=np.broadcast_to(
            piece.water_frac if members.water_frac is None else members.water_frac, count
        ),
        fat_frac=np.broadcast_to(piece.fat_frac if members.fat_frac is None else members.fat_frac, count),
        salt_frac=np.broadcast_to(piece.salt_frac, count),
    )
    # refuses a composition the isotherm does not hold
    aw_salted_meat(water_ratio=ratios.water, salt_ratio=ratios.salt, protein=protein)
    stretches = Stretches.of(
        end_time_s=air.end_time_s, temp_c=_by_member(air.temp_c), rh_frac=_by_member(air.rh_frac),
        speed_m_per_s=np.asarray(air.speed_m_per_s, dtype=np.float64), piece=piece,
        resistance_multiplier=resist, body=parameters.body, protein=protein,
        casing_resistance_s_per_m=None
        if air.casing_resistance_s_per_m is None else _by_member(air.casing_resistance_s_per_m),
    )  # fmt: skip
    inside = Shells.of(
        piece=piece, ratios=ratios, diffusivity_multiplier=spread, parameters=parameters, protein=protein,
        weights=shell_weights(shells=shells, grading=GRADING),
    )  # fmt: skip
    course = march(
        shells=inside, surfaces=stretches.stretch, end_time_s=air.end_time_s, water_ratio=ratios.water,
        out_time_s=times, rules=rules, crust_below=parameters.body.crust_water_ratio, profiles=profiles,
    )  # fmt: skip
    across = None
    if profiles:
        across = Profiles(
            np.array(course.ratio), np.array([inside.edges_m(water=ratio) for ratio in course.ratio]),
            ratios.solids_frac, ratios.fat,
        )  # fmt: skip
    lost = np.array(course.loss)
    loss = ratios.solids_frac * lost
    return Drying(
        times, piece.mass_kg * (1.0 - loss), loss, np.array(course.aw_surface),
        np.array(course.temp_surface_k) - 273.15, np.array(course.crust_m), np.array(course.water_surface),
        np.array(course.water_core), ratios.water - lost, ratios.salt, protein, course.steps, course.splits,
        course.solves, course.worst_residual, across,
    )  # fmt: skip


def loss_cylinder_constant_air(
    *, diameter_m: float, length_m: float, water_frac: float, fat_frac: float, salt_frac: float,
    open_frac: float, casing_resistance_s_per_m: float, temp_c: float, rh_frac: float, speed_m_per_s: float,
    time_s: float, law: DiffusionLaw, body: Body, protein: ProteinIsotherm,
) -> float:  # fmt: skip
    """Loss of a full cylinder in constant air, nothing uncertain.

    Parameters
    ----------
    diameter_m, length_m : of the cylinder [m]
    water_frac, fat_frac, salt_frac : of the mass at hanging
    open_frac : share of the side open to air; the ends are open
    casing_resistance_s_per_m : in series with the film [s/m]
    temp_c, rh_frac, speed_m_per_s : of the air
    time_s : from hanging [s]
    law, body, protein : parameters

    Returns
    -------
    loss over the mass at hanging

    Raises
    ------
    OutOfRange, NotConverged

    Source
    ------
    saltfare_hanging_model, shells of fixed solids, film and casing in series, quasi-steady surface
    """
    return _loss_constant_air(
        "cylinder", diameter_m, length_m, 0.0, 2, (water_frac, fat_frac, salt_frac), open_frac,
        casing_resistance_s_per_m, (temp_c, rh_frac, speed_m_per_s), time_s, DryingParameters(law, body),
        protein,
    )  # fmt: skip


def loss_slab_constant_air(
    *, thickness_m: float, length_m: float, width_m: float, drying_faces: int, water_frac: float,
    fat_frac: float, salt_frac: float, open_frac: float, end_open_frac: float,
    casing_resistance_s_per_m: float, temp_c: float, rh_frac: float, speed_m_per_s: float,
    time_s: float, law: DiffusionLaw, body: Body, protein: ProteinIsotherm,
) -> float:  # fmt: skip
    """Loss of a full slab in constant air, nothing uncertain.

    Parameters
    ----------
    thickness_m, length_m, width_m : of the slab [m]
    drying_faces : 1 or 2 of its large faces
    water_frac, fat_frac, salt_frac : of the mass at hanging
    open_frac, end_open_frac : share of those faces, and of the edges, open to air
    casing_resistance_s_per_m : in series with the film [s/m]
    temp_c, rh_frac, speed_m_per_s : of the air
    time_s : from hanging [s]
    law, body, protein : parameters

    Returns
    -------
    loss over the mass at hanging

    Raises
    ------
    OutOfRange, NotConverged

    Source
    ------
    saltfare_hanging_model, shells of fixed solids, film and casing in series, quasi-steady surface
    """
    return _loss_constant_air(
        "slab", thickness_m, length_m, width_m, int(drying_faces), (water_frac, fat_frac, salt_frac),
        open_frac, casing_resistance_s_per_m, (temp_c, rh_frac, speed_m_per_s), time_s,
        DryingParameters(law, body), protein, end_open_frac,
    )  # fmt: skip


def _loss_constant_air(
    shape: Shape, thickness_m: float, length_m: float, width_m: float, drying_faces: int,
    made_of: tuple[float, float, float], open_frac: float, casing: float, air: tuple[float, float, float],
    time_s: float, parameters: DryingParameters, protein: ProteinIsotherm, end_open_frac: float | None = None,
) -> float:  # fmt: skip
    water, fat, salt = made_of
    density = density_additive(water_frac=water, fat_frac=fat, salt_frac=salt, body=parameters.body)
    volume = volume_stated(shape=shape, thickness_m=thickness_m, length_m=length_m, width_m=width_m)
    piece = Hanging(
        shape, thickness_m, length_m, width_m, float(density) * volume, water, fat, salt, open_frac, casing,
        drying_faces, end_open_frac,
    )  # fmt: skip
    temp, humidity, speed = (np.array([value]) for value in air)
    course = hang(
        piece=piece, air=Air(np.array([time_s]), temp, humidity, speed),
        members=Members(np.ones(1), np.ones(1)), parameters=parameters, protein=protein,
        out_time_s=np.array([time_s]),
    )  # fmt: skip
    return float(course.loss_frac[0, 0])


def _by_member(values: Array) -> Array:
    given = np.asarray(values, dtype=np.float64)
    return given[:, None] if given.ndim == 1 else given
