"""The hanging piece as the forecast's simulation: `models.drying` with everything but the members bound."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from saltfare.models.drying import Air, Drying, DryingParameters, Hanging, Members, hang
from saltfare.models.sorption import ProteinIsotherm

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class HangingPiece:
    """One piece in one chamber; call it to simulate members (see `forecast_ensemble.Simulate`)."""

    piece: Hanging
    speed_m_per_s: float
    parameters: DryingParameters
    protein: ProteinIsotherm

    def __call__(
        self,
        *,
        diffusivity_multiplier: Floats,
        resistance_multiplier: Floats,
        water_shift_frac: Floats,
        end_time_s: Floats,
        temp_c: Floats,
        rh_frac: Floats,
        out_time_s: Floats,
    ) -> Drying:
        """Dry all members; what water a member has more, its solids have less.

        Source
        ------
        saltfare_hanging_model, an ensemble of one piece
        """
        return hang(
            piece=self.piece,
            air=Air(end_time_s, temp_c, rh_frac, np.full(end_time_s.size, self.speed_m_per_s)),
            members=Members(
                diffusivity_multiplier, resistance_multiplier, self.piece.water_frac + water_shift_frac
            ),
            parameters=self.parameters,
            protein=self.protein,
            out_time_s=out_time_s,
        )
