"""The inside of a hanging piece: shells of fixed solids that shrink as they dry.

In the coordinate of solids the flux between shells is `A^2 D / v^2 dX/dm`, with A the area of the
face (for a cylinder A^2 = 4 pi L V, V the volume within the face) and v the volume per solids. All
is told per kilogram of solids, so no member's mass enters.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Self

import numpy as np

from saltfare.core.numerics import Array
from saltfare.models.drying_piece import DryingParameters, Hanging, Ratios, obstruction_maxwell, openness
from saltfare.models.drying_surface import Skin, SkinLaw, Surface
from saltfare.models.sorption import ProteinIsotherm, isotherm_curve


def shell_weights(*, shells: int, grading: float) -> Array:
    """Shares of the solids from the middle outwards; thinner towards the surface.

    Parameters
    ----------
    shells : how many
    grading : power of depth; 1 for equal shares, more for thinner outer shells

    Returns
    -------
    shares that sum to one, (shells,)

    Source
    ------
    saltfare_numerics, shares of a power law of depth
    """
    depth = np.linspace(1.0, 0.0, shells + 1) ** grading
    return -np.diff(depth)


@dataclass(frozen=True, slots=True)
class Flows:
    """The piece at one profile; arrays (n, N) and (n,).

    drain: water leaving each shell. lower, diagonal, upper: its slopes in the shells below, at and
    above. out: water leaving the piece. skin: the surface. bring, d_bring, area: what its balance was
    solved with.
    """

    drain: Array
    lower: Array
    diagonal: Array
    upper: Array
    out: Array
    skin: Skin
    bring: Array
    d_bring: Array
    area: Array


@dataclass(frozen=True, slots=True)
class Shells:
    """Every member's shells; weights (N,), the rest (n,).

    span_m: radius of a cylinder, or depth from the drying face of a slab to where nothing flows.
    openness: open sides and ends over sides. conductance: twice the diffusivity of a member at the
    law's reference temperature, without the drag of dryness.
    """

    weights: Array
    cylinder: bool
    span_m: float
    openness: float
    fixed_volume: Array
    start_volume: Array
    water_per_m3: float
    shrinkage_power: float
    conductance: Array
    drag: float
    skin: SkinLaw

    @classmethod
    def of(
        cls, *, piece: Hanging, ratios: Ratios, diffusivity_multiplier: Array, parameters: DryingParameters,
        protein: ProteinIsotherm, weights: Array,
    ) -> Self:  # fmt: skip
        """The shells of a piece whose members have those ratios (n,)."""
        body, law = parameters.body, parameters.law
        fixed = ratios.fixed_volume(body)
        start = fixed + ratios.water / body.water_kg_per_m3
        remains = obstruction_maxwell(fat_volume_frac=ratios.fat / body.fat_kg_per_m3 / start)
        drag_ref = np.exp(law.water_drag / (1.0 + law.water_ratio_ref))
        faces = 2.0 if piece.shape == "cylinder" else float(piece.drying_faces)
        conductance = 2.0 * law.diffusivity_m2_per_s * drag_ref * remains * diffusivity_multiplier
        skin = SkinLaw(
            isotherm_curve(protein),
            ratios.salt,
            law.activation_j_per_mol / 8.314462618,
            law.temp_ref_c + 273.15,
        )
        return cls(
            weights, piece.shape == "cylinder", piece.thickness_m / faces, openness(piece=piece), fixed,
            start, body.water_kg_per_m3, body.shrinkage_power, conductance, law.water_drag, skin,
        )  # fmt: skip

    def flows(self, *, water: Array, surface: Surface, start_k: Array) -> Flows:
        """Fluxes and their slopes at a profile of water ratios (n, N).

        The slopes leave out how the size and the surface's temperature follow from the profile; the
        fluxes hold both.

        Raises
        ------
        NotConverged naming the member whose surface found no balance
        """
        w = self.weights
        volume = water / self.water_per_m3 + self.fixed_volume[:, None]
        moist = 1.0 / (1.0 + water)
        half = w * volume
        within = np.cumsum(half, axis=1)
        half *= volume
        half *= np.exp(self.drag * moist)
        moist *= moist
        moist *= -self.drag
        d_half = (2.0 / self.water_per_m3) / volume
        d_half += moist
        d_half *= half
        whole = within[:, -1]
        shrunk = (whole / self.start_volume) ** self.shrinkage_power
        if self.cylinder:
            face = 4.0 * self.start_volume * shrunk / self.span_m**2
            area_squared = face * whole
        else:
            area_squared = face = (self.start_volume / self.span_m * shrunk * shrunk) ** 2
        bring = self.openness * self.conductance * area_squared / half[:, -1]
        d_bring = -bring * d_half[:, -1] / half[:, -1]
        area = self.openness * np.sqrt(area_squared)
        skin = self.skin.solve(
            surface=surface, water=water[:, -1], bring=bring, d_bring=d_bring, area=area, start_k=start_k,
        )  # fmt: skip
        out, d_out = area * skin.leaving, area * skin.slope

        scale = (self.openness * self.conductance * face * skin.warmth)[:, None]
        span = half[:, :-1] + half[:, 1:]
        inner = (scale * within[:, :-1]) if self.cylinder else np.broadcast_to(scale, span.shape)
        inner = inner / span
        flux = inner * (water[:, :-1] - water[:, 1:])
        span = flux / span
        d_left = inner - span * d_half[:, :-1]
        d_right = -inner - span * d_half[:, 1:]

        drain, diagonal = np.empty_like(water), np.empty_like(water)
        drain[:, :-1] = flux
        drain[:, -1] = out
        drain[:, 1:] -= flux
        diagonal[:, :-1] = d_left
        diagonal[:, -1] = d_out
        diagonal[:, 1:] -= d_right
        lower, upper = np.zeros_like(water), np.zeros_like(water)
        lower[:, 1:] = -d_left
        upper[:, :-1] = d_right
        return Flows(drain, lower, diagonal, upper, out, skin, bring, d_bring, area)

    def in_other_air(self, *, flows: Flows, water: Array, surface: Surface, tolerance_k: float) -> Flows:
        """The flows at the same profile with the surface solved anew: a direction for Newton's rule.

        What the new temperature of the surface does to the inside is left out.
        """
        skin = self.skin.solve(
            surface=surface, water=water[:, -1], bring=flows.bring, d_bring=flows.d_bring, area=flows.area,
            start_k=flows.skin.temp_k, tolerance_k=tolerance_k,
        )  # fmt: skip
        out = flows.area * skin.leaving
        drain, diagonal = flows.drain.copy(), flows.diagonal.copy()
        drain[:, -1] += out - flows.out
        diagonal[:, -1] += flows.area * (skin.slope - flows.skin.slope)
        return replace(flows, drain=drain, diagonal=diagonal, out=out, skin=skin)

    def core(self, *, water: Array) -> Array:
        """Water ratio in the very middle, (n,), from the two innermost shells.

        There the profile is a straight line in the volume of a cylinder and a parabola in the depth of
        a slab; the shells hold its means.
        """
        first, second = self.weights[:2]
        if self.cylinder:
            reach = first / (first + second)
        else:
            inner, outer = first**2 / 3.0, ((first + second) ** 3 - first**3) / (3.0 * second)
            reach = inner / (outer - inner)
        return np.asarray(water[:, 0] + reach * (water[:, 0] - water[:, 1]))

    def edges_m(self, *, water: Array) -> Array:
        """Where the shells end, (n, N + 1), at profiles (n, N): from the middle, or from where nothing
        flows, to the surface [m].

        Source
        ------
        saltfare_hanging_model, shells of fixed solids that shrink
        """
        volume = self.weights * (water / self.water_per_m3 + self.fixed_volume[:, None])
        within = np.concatenate([np.zeros((len(water), 1)), np.cumsum(volume, axis=1)], axis=1)
        whole = within[:, -1]
        share, grown = within / whole[:, None], whole / self.start_volume
        if self.cylinder:
            radius = self.span_m * np.sqrt(grown ** (1.0 - self.shrinkage_power))
            return np.asarray(radius[:, None] * np.sqrt(share))
        depth = self.span_m * grown ** (1.0 - 2.0 * self.shrinkage_power)
        return np.asarray(depth[:, None] * share)

    def crust_m(self, *, water: Array, surface_water: Array, below: float) -> Array:
        """Depth from the surface to where the water ratio first reaches `below`, (n,) [m].

        The profile is taken as straight between the surface and the middles of the shells.

        Source
        ------
        serra_2005, abstract: hardness rises sharply below 0.55
        """
        profile = np.concatenate([surface_water[:, None], water[:, ::-1]], axis=1)
        dry = profile < below
        if not dry[:, 0].any():
            return np.zeros(len(water))
        volume = (self.weights * (water / self.water_per_m3 + self.fixed_volume[:, None]))[:, ::-1]
        outside = np.cumsum(volume, axis=1)
        whole = outside[:, -1]
        depth = np.concatenate([np.zeros((len(water), 1)), outside - 0.5 * volume], axis=1)
        wet = np.argmin(dry, axis=1)  # first that is not dry; 0 where none is, or where the surface is not
        rows = np.arange(len(water))
        before = np.where(wet > 0, wet - 1, 0)
        low, high = profile[rows, before], profile[rows, np.where(wet > 0, wet, 1)]
        part = (below - low) / np.where(high == low, 1.0, high - low)
        reach = depth[rows, before] + part * (depth[rows, np.where(wet > 0, wet, 1)] - depth[rows, before])
        share = np.where(dry.all(axis=1), 1.0, np.where(wet > 0, reach / whole, 0.0))
        grown = whole / self.start_volume
        if self.cylinder:
            radius = self.span_m * np.sqrt(grown ** (1.0 - self.shrinkage_power))
            return np.asarray(radius * (1.0 - np.sqrt(1.0 - share)))
        return np.asarray(self.span_m * grown ** (1.0 - 2.0 * self.shrinkage_power) * share)
