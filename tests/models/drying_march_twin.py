"""The twin with the product's own fluxes: scipy's integrator on the very same right-hand side."""

from __future__ import annotations

import numpy as np
from drying_twin import LEAN, PARAMETERS, Twin

from saltfare.models.drying import Air, Hanging
from saltfare.models.drying_piece import Ratios
from saltfare.models.drying_shells import Shells, shell_weights
from saltfare.models.drying_surface import Stretches


class ArrayTwin(Twin):
    """One member; fluxes by `Shells.flows`, time by scipy."""

    def __init__(self, piece: Hanging, spread: float, resist: float, shells: int, grading: float) -> None:
        super().__init__(piece, spread, resist, shells, grading)
        one = np.ones(1)
        ratios = Ratios.of(
            water_frac=one * piece.water_frac, fat_frac=piece.fat_frac, salt_frac=piece.salt_frac
        )
        self.weights = shell_weights(shells=shells, grading=grading)
        self.inside = Shells.of(piece=piece, ratios=ratios, diffusivity_multiplier=one * spread,
                                parameters=PARAMETERS, protein=LEAN, weights=self.weights)  # fmt: skip
        self.start_k: np.ndarray | None = None

    def set_air(self, temp: float, rh: float, speed: float) -> None:
        """The stretch's air and films."""
        air = Air(np.ones(1), np.array([temp]), np.array([rh]), np.array([speed]))
        self.surface = Stretches.of(
            end_time_s=air.end_time_s, temp_c=air.temp_c[:, None], rh_frac=air.rh_frac[:, None],
            speed_m_per_s=air.speed_m_per_s, piece=self.piece, resistance_multiplier=np.array([self.resist]),
            body=self.body, protein=LEAN,
        ).stretch(0)  # fmt: skip
        self.start_k = self.surface.temp_k

    def rates(self, x: np.ndarray) -> tuple[np.ndarray, float]:
        """dX/dt of the shells and the water leaving the piece [kg/s]."""
        assert self.start_k is not None
        flows = self.inside.flows(water=x[None, :], surface=self.surface, start_k=self.start_k)
        self.start_k = flows.skin.temp_k
        return -flows.drain[0] / self.weights, float(flows.out[0]) * self.solids
