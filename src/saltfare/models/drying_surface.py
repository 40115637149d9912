"""Where a hanging piece meets the air: one balance of water and heat, solved member by member.

The unknown is the temperature of the surface. The heat that reaches it gives the water that leaves,
`j = h (T_air - T) / L(T)`; the films give the activity that sends so much water out,
`a = (j R_v T r + p_vapour) / p_sat(T)`; the isotherm gives the water at that activity. What the
outer half shell brings less what leaves rises with T everywhere, so there is one root and it is
bracketed by the ends of the isotherm.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np

from saltfare.core.errors import NotConverged
from saltfare.core.numerics import Array
from saltfare.models import air as humid
from saltfare.models import air_film
from saltfare.models.drying_piece import Body, Hanging
from saltfare.models.sorption import IsothermCurve, ProteinIsotherm

# A step of Newton's rule this short is taken and leaves its square behind.
TOLERANCE_K = 1e-6
ROUNDS = 60


@dataclass(frozen=True, slots=True)
class Surface:
    """The air of one stretch of time at every member's surface; arrays (n,).

    heat_w_per_m2_k: film and radiation. resistance_s_per_m: film and casing, for vapour. low_k,
    high_k: surface temperatures at which the activity leaves the isotherm's range above and below;
    crystal_k: at which it is that of saturated brine.
    """

    temp_k: Array
    vapour_pa: Array
    heat_w_per_m2_k: Array
    resistance_s_per_m: Array
    low_k: Array
    high_k: Array
    crystal_k: Array

    def flows(self, temp_k: Array) -> tuple[Array, Array, Array, Array]:
        """Water leaving [kg/(m2 s)], its slope in T, activity, its slope in T."""
        latent = humid.latent_heat_at(temp_c=temp_k - humid.ZERO_C_K)
        leaving = self.heat_w_per_m2_k * (self.temp_k - temp_k) / latent
        d_leaving = (2361.0 * leaving - self.heat_w_per_m2_k) / latent
        full, d_full = humid.saturation_over_water(temp_k=temp_k)
        spread = humid.VAPOUR_J_PER_KG_K * self.resistance_s_per_m
        aw = (leaving * temp_k * spread + self.vapour_pa) / full
        d_aw = (spread * (d_leaving * temp_k + leaving) - aw * d_full) / full
        return leaving, d_leaving, aw, d_aw


@dataclass(frozen=True, slots=True)
class Skin:
    """A solved surface; arrays (n,).

    leaving: per area [kg/(m2 s)]. slope, d_temp: of `leaving` and of the temperature in the water of
    the outermost shell, all else solved. warmth: factor of the diffusivity at the surface's temperature.
    """

    temp_k: Array
    aw: Array
    water: Array
    leaving: Array
    slope: Array
    d_temp: Array
    warmth: Array


@dataclass(frozen=True, slots=True)
class SkinLaw:
    """What does not change from step to step: isotherm, salt, and the diffusivity's temperature law."""

    curve: IsothermCurve
    salt_ratio: Array
    activation_k: float
    temp_ref_k: float

    def solve(
        self, *, surface: Surface, water: Array, bring: Array, d_bring: Array, area: Array, start_k: Array,
        tolerance_k: float = TOLERANCE_K,
    ) -> Skin:  # fmt: skip
        """The balance `bring * warmth(T) * (water - X(a)) = area * j` of each member.

        Newton's rule kept inside a bracket that closes from both sides, with bisection where its step
        outgrows the one before last. A step that would pass over the crystallisation of the salt
        stops there first: on either side of it the balance is nearly straight.

        Parameters
        ----------
        surface : the air, (n,)
        water : of the outermost shell's middle, (n,) [kg/kg]
        bring : conductance of its outer half at the reference temperature, (n,) [kg/s per unit of water]
        d_bring : its slope in `water`, (n,)
        area : (n,) [m2], per the same mass as `bring`
        start_k : first guess of the surface's temperature, (n,) [K]
        tolerance_k : the step of Newton's rule that ends the search; wider where only a slope is wanted

        Returns
        -------
        the solved surface

        Raises
        ------
        NotConverged naming the member
        """
        low, high = surface.low_k, surface.high_k
        t = np.where((start_k > low) & (start_k < high), start_k, 0.5 * (low + high))
        step_k = surface.crystal_k
        before = last = np.full(t.shape, np.inf)
        for _ in range(ROUNDS):
            leaving, d_leaving, aw, d_aw = surface.flows(t)
            held, d_held = self.curve.water(aw=aw, salt_ratio=self.salt_ratio)
            warmth = np.exp(self.activation_k * (1.0 / self.temp_ref_k - 1.0 / t))
            come, gap, d_held_t = bring * warmth, water - held, d_held * d_aw
            value = come * gap - area * leaving
            d_value = come * (self.activation_k / (t * t) * gap - d_held_t) - area * d_leaving
            move = -value / d_value
            size = np.abs(move)
            if (size <= tolerance_k).all():
                d_temp = -warmth * (bring + d_bring * gap) / d_value
                return Skin(
                    t + move, aw + d_aw * move, held + d_held_t * move, leaving + d_leaving * move,
                    d_leaving * d_temp, d_temp, warmth,
                )  # fmt: skip
            below = value < 0
            low, high = np.where(below, t, low), np.where(below, high, t)
            fresh = t + move
            fresh = np.where((t - step_k) * (fresh - step_k) < 0.0, step_k, fresh)
            # a member that has its root waits for the others: rounding must not send it bisecting
            sound = ((fresh > low) & (fresh < high) & (size <= before)) | (size <= tolerance_k)
            fresh = np.where(sound, fresh, 0.5 * (low + high))
            before, last, t = last, np.abs(fresh - t), fresh
        member = int(np.argmax(np.where(np.isfinite(size), size, np.inf)))
        raise NotConverged("surface balance", member, float(value[member]))


@dataclass(frozen=True, slots=True)
class Stretches:
    """Surfaces of every stretch of air; arrays (k, n), handed out a stretch at a time."""

    end_time_s: Array
    temp_k: Array
    vapour_pa: Array
    heat_w_per_m2_k: Array
    resistance_s_per_m: Array
    low_k: Array
    high_k: Array
    crystal_k: Array

    @classmethod
    def of(
        cls, *, end_time_s: Array, temp_c: Array, rh_frac: Array, speed_m_per_s: Array, piece: Hanging,
        resistance_multiplier: Array, body: Body, protein: ProteinIsotherm,
        casing_resistance_s_per_m: Array | None = None,
    ) -> Self:  # fmt: skip
        """Films and brackets for air temp_c, rh_frac (k, 1) or (k, n), and speed (k,) or (k, n); casing
        (k, 1) or (k, n) where it is not the piece's own all along.

        Raises
        ------
        OutOfRange for air outside the films' range
        """
        # air passes across a hanging cylinder, and along the shorter side of a hanging slab
        size = piece.thickness_m if piece.shape == "cylinder" else min(piece.length_m, piece.width_m)
        speed = speed_m_per_s[:, None] if speed_m_per_s.ndim == 1 else speed_m_per_s
        film = air_film.heat_film(
            shape=piece.shape, size_m=size, speed_m_per_s=speed, temp_c=temp_c,
            buoyancy_k=body.buoyancy_k, pressure_pa=body.pressure_pa,
        )  # fmt: skip
        vapour_film = air_film.vapour_film_lewis(
            heat_film_w_per_m2_k=film, temp_c=temp_c, pressure_pa=body.pressure_pa
        )
        casing = piece.casing_resistance_s_per_m
        wrapped = casing if casing_resistance_s_per_m is None else casing_resistance_s_per_m
        resistance = resistance_multiplier * (1.0 / vapour_film + wrapped)
        heat = film + air_film.radiation_film(temp_c=temp_c, emissivity=body.emissivity)
        temp_k = temp_c + humid.ZERO_C_K
        vapour = rh_frac * humid.saturation_over_water(temp_k=temp_k)[0]
        shape = np.broadcast_shapes(resistance.shape, vapour.shape, (1, resistance_multiplier.shape[-1]))
        temp_k, vapour, heat, resistance = (
            np.broadcast_to(a, shape) for a in (temp_k, vapour, heat, resistance)
        )
        unknown = cls(end_time_s, temp_k, vapour, heat, resistance, temp_k, temp_k, temp_k)
        at = (unknown.temp_at_aw(aw) for aw in (protein.aw_high, protein.aw_low, protein.crystal_aw))
        return cls(end_time_s, temp_k, vapour, heat, resistance, *at)

    def temp_at_aw(self, aw: float) -> Array:
        """Surface temperatures at which the surface has this activity, (k, n) [K].

        Source
        ------
        quasi_steady_wet_surface, heat and vapour in balance
        """
        t = self.temp_k
        surface = Surface(self.temp_k, self.vapour_pa, self.heat_w_per_m2_k, self.resistance_s_per_m, t, t, t)
        for _ in range(30):
            # in j rather than in a: nearly straight, so Newton's rule runs in from the air's temperature
            leaving, d_leaving, _, _ = surface.flows(t)
            full, d_full = humid.saturation_over_water(temp_k=t)
            spread = humid.VAPOUR_J_PER_KG_K * self.resistance_s_per_m
            value = aw * full - self.vapour_pa - leaving * t * spread
            change = value / (aw * d_full - spread * (d_leaving * t + leaving))
            t = t - change
            if np.max(np.abs(change)) < 1e-10:
                return t
        raise NotConverged(
            "bracket of the surface balance", int(np.argmax(np.abs(change)) % t.shape[-1]), 0.0
        )

    def stretch(self, k: int) -> Surface:
        """The surfaces of stretch k."""
        return Surface(
            self.temp_k[k], self.vapour_pa[k], self.heat_w_per_m2_k[k], self.resistance_s_per_m[k],
            self.low_k[k], self.high_k[k], self.crystal_k[k],
        )  # fmt: skip
