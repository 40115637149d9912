"""A sealed cold rest after hanging: how long until the outside is no crust any more.

Hung with the drying model, then closed: the water that is there moves by the same law, and none leaves.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from saltfare.core import tables
from saltfare.core.library import Library
from saltfare.models.drying import Members, hang
from saltfare.models.drying_air import Air
from saltfare.models.drying_piece import DryingParameters, Hanging, diffusivity_lean
from saltfare.models.sorption import ProteinIsotherm

DAY = 86400.0


def softening_days(*, hung_days: float, rh_frac: float) -> dict[str, float]:
    """Days at 4 C, closed: until the outside is no crust, and until it has three quarters and nine tenths
    of the mean water. Invented piece."""
    parameters = DryingParameters.from_library(library=Library(), law="lean_default", body="whole_muscle")
    protein = ProteinIsotherm.from_row(tables.load("isotherms").row("lean_meat"))
    piece = Hanging(
        shape="cylinder",
        thickness_m=0.07,
        length_m=0.34,
        width_m=0.0,
        mass_kg=1.35,
        water_frac=0.70,
        fat_frac=0.04,
        salt_frac=0.028,
        open_frac=1.0,
        casing_resistance_s_per_m=0.0,
        drying_faces=2,
    )
    end = np.array([hung_days * DAY])
    dried = hang(
        piece=piece,
        air=Air(end, np.array([14.0]), np.array([rh_frac]), np.array([0.3])),
        members=Members(np.ones(1), np.ones(1)),
        parameters=parameters,
        protein=protein,
        out_time_s=end,
        profiles=True,
    )
    assert dried.profiles is not None
    start, edges = dried.profiles.water_ratio[-1, 0], dried.profiles.edges_m[-1, 0]
    crust = parameters.body.crust_water_ratio
    assert start[-1] < crust < start[0]
    middles, area = 0.5 * (edges[1:] + edges[:-1]), 2 * edges[1:-1]
    fixed = 1 / parameters.body.solids_kg_per_m3 + 0.04 / 0.23 / parameters.body.fat_kg_per_m3
    solids = np.diff(edges**2) / (fixed + start / parameters.body.water_kg_per_m3)

    def rate(_: float, x: NDArray[np.float64]) -> NDArray[np.float64]:
        per_solids = fixed + x / parameters.body.water_kg_per_m3
        c = diffusivity_lean(water_ratio=x, temp_c=4.0, law=parameters.law) / per_solids
        half = 0.5 * np.diff(edges)
        flux = np.zeros(len(edges))
        flux[1:-1] = area * (x[:-1] - x[1:]) / (half[:-1] / c[:-1] + half[1:] / c[1:])
        return np.asarray(-np.diff(flux) / solids)

    assert len(middles) == len(start)
    times = np.linspace(0.0, 90 * DAY, 721)
    rested = solve_ivp(rate, (0.0, times[-1]), start, method="LSODA", t_eval=times, rtol=1e-6, atol=1e-8)
    assert rested.success
    # sealed: no water is lost
    assert solids @ rested.y[:, -1] == pytest.approx(float(solids @ start), rel=1e-5)
    mean = float(solids @ start / solids.sum())

    def first(water: float) -> float:
        reached = np.flatnonzero(rested.y[-1] >= water)
        return float(times[reached[0]] / DAY) if len(reached) else float("inf")

    return {"no_crust": first(crust), "three_quarters": first(0.75 * mean), "nine_tenths": first(0.9 * mean)}


@pytest.mark.parametrize(("hung_days", "rh_frac"), [(14, 0.60), (21, 0.60), (28, 0.65)])
def test_a_rim_evens_out_about_the_weeks_of_practice(hung_days: float, rh_frac: float) -> None:
    # common practice: a rim softens in 2 to 4 weeks of sealed cold rest; nobody says how soft that is. The
    # band lies between three quarters and nine tenths of the mean water at the outside
    band = tables.load("salting_bands").row("rim_softens")
    found = softening_days(hung_days=hung_days, rh_frac=rh_frac)
    assert found["three_quarters"] < band.number("high")
    assert found["nine_tenths"] > band.number("low")


@pytest.mark.parametrize(("hung_days", "rh_frac"), [(14, 0.60), (28, 0.65)])
def test_the_crust_itself_is_gone_sooner_than_practice_says(hung_days: float, rh_frac: float) -> None:
    # a miss, kept in sight: by the water ratio at which hardness was measured to rise (0.55), the very
    # outside is no crust within days, where practice waits weeks; the law has no memory of having been dry
    band = tables.load("salting_bands").row("rim_softens")
    assert 0.5 < softening_days(hung_days=hung_days, rh_frac=rh_frac)["no_crust"] < 4 < band.number("low")
