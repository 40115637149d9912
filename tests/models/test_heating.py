"""Conduction against its series solution and two independent libraries; properties against a third."""

from __future__ import annotations

from typing import Any, get_args

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from saltfare.core.errors import OutOfRange
from saltfare.models.heating import (
    Shape,
    Spread,
    core_excess_series,
    course_conduction,
    eigenvalue_series,
    reach_conduction,
    time_reached,
)
from saltfare.models.thermal import (
    Composition,
    conductivity_choi_okos,
    density_choi_okos,
    heat_capacity_choi_okos,
)

LEAN = Composition(0.72, 0.21, 0.05, 0.0, 0.02)
SHAPES: tuple[Shape, ...] = get_args(Shape)
LIBRARY = {
    "water_frac": "FoodWater",
    "protein_frac": "FoodProtein",
    "fat_frac": "FoodFat",
    "carbohydrate_frac": "FoodCarbohydrate",
    "ash_frac": "FoodAsh",
}


def only(name: str) -> Composition:
    return Composition(**{n: 1.0 if n == name else 0.0 for n in LIBRARY})


@pytest.mark.parametrize("name", LIBRARY)
@pytest.mark.parametrize("temp_c", [5.0, 20.0, 60.0, 95.0])
def test_components_agree_with_coolprop_food_components(name: str, temp_c: float) -> None:
    def library(of: str) -> float:
        return float(PropsSI(of, "T", temp_c + 273.15, "P", 101325, f"INCOMP::{LIBRARY[name]}"))

    whole = only(name)
    assert float(conductivity_choi_okos(composition=whole, temp_c=temp_c)) == pytest.approx(
        library("L"), rel=2e-3
    )
    assert float(density_choi_okos(composition=whole, temp_c=temp_c)) == pytest.approx(library("D"), rel=2e-3)
    assert float(heat_capacity_choi_okos(composition=whole, temp_c=temp_c)) == pytest.approx(
        library("C"), rel=2e-3
    )


def test_composition_that_does_not_add_up_is_refused() -> None:
    with pytest.raises(OutOfRange):
        Composition(0.72, 0.21, 0.20, 0.0, 0.02)
    with pytest.raises(OutOfRange):
        conductivity_choi_okos(composition=LEAN, temp_c=-5.0)


# The constant properties of a course between two near temperatures, so that the series applies.
NARROW = (60.0, 60.5)


def constant() -> tuple[float, float]:
    middle = 60.25
    k = float(conductivity_choi_okos(composition=LEAN, temp_c=middle))
    held = float(density_choi_okos(composition=LEAN, temp_c=middle)) * float(
        heat_capacity_choi_okos(composition=LEAN, temp_c=middle)
    )
    return k, k / held


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("biot", [0.1, 1.0, 10.0, 100.0])
@pytest.mark.parametrize("warming", [True, False])
def test_course_agrees_with_incropera_series_solution(shape: Shape, biot: float, warming: bool) -> None:
    start, around = NARROW if warming else NARROW[::-1]
    k, diffusivity = constant()
    half = 0.03
    end = 1.2 * half**2 / diffusivity
    course = course_conduction(
        shape=shape,
        half_m=np.array([half]),
        composition=LEAN,
        start_temp_c=np.array([start]),
        surround_time_s=np.array([0.0, end]),
        surround_temp_c=np.array([[around, around]]),
        surface_w_per_m2_k=np.array([biot * k / half]),
        end_s=end,
        steps=240,
        cells=60,
    )
    excess = (course.core_temp_c[0] - around) / (start - around)
    for fourier in (0.1, 0.2, 0.5, 1.0):
        at = float(np.interp(fourier * half**2 / diffusivity, course.time_s, excess))
        printed = core_excess_series(shape=shape, biot=biot, fourier=fourier, terms=20)
        assert at == pytest.approx(printed, abs=1.5e-3)


@pytest.mark.parametrize("shape", SHAPES)
def test_series_ends_are_those_of_a_surface_held_at_its_surroundings(shape: Shape) -> None:
    # Ostrogorsky 2009 prints pi/2, 2.4048 and pi as the first roots where the Biot number is infinite
    assert eigenvalue_series(shape=shape, biot=1e6, index=0) == pytest.approx(
        {"slab": np.pi / 2, "cylinder": 2.4048, "sphere": np.pi}[shape], abs=1e-4
    )
    assert core_excess_series(shape=shape, biot=1.0, fourier=0.01, terms=40) == pytest.approx(1.0, abs=5e-3)


def slow_twin(shape: Shape, half: float, start: float, around: Any, h: float, times: Any) -> Any:
    """The same heat balance by another method: method of lines on nodes, properties at every instant, BDF."""
    n, power = 50, {"slab": 0, "cylinder": 1, "sphere": 2}[shape]
    r = np.linspace(0.0, half, n)
    dr = r[1]
    between = 0.5 * (r[1:] + r[:-1])
    edges = np.concatenate(([0.0], between, [half]))
    volume = np.diff(edges ** (power + 1)) / (power + 1)

    def slope(t: float, temp: Any) -> Any:
        k = conductivity_choi_okos(composition=LEAN, temp_c=0.5 * (temp[1:] + temp[:-1]))
        held = density_choi_okos(composition=LEAN, temp_c=temp) * heat_capacity_choi_okos(
            composition=LEAN, temp_c=temp
        )
        flux = k * np.diff(temp) / dr * between**power
        gained = np.zeros(n)
        gained[:-1] += flux
        gained[1:] -= flux
        gained[-1] += h * (around(t) - temp[-1]) * half**power
        return gained / (held * volume)

    solved = solve_ivp(
        slope, (0.0, times[-1]), np.full(n, start), "BDF", t_eval=times, rtol=1e-8, atol=1e-8, max_step=60.0
    )
    return solved.y[0]


@pytest.mark.parametrize("shape", SHAPES)
def test_course_in_varying_surroundings_agrees_with_scipy_bdf(shape: Shape) -> None:
    points, temps = np.array([0.0, 1800.0, 5400.0, 9000.0]), np.array([20.0, 90.0, 90.0, 2.0])
    times = np.linspace(0.0, 9000.0, 181)
    course = course_conduction(
        shape=shape,
        half_m=np.array([0.03]),
        composition=LEAN,
        start_temp_c=np.array([5.0]),
        surround_time_s=points,
        surround_temp_c=temps[None, :],
        surface_w_per_m2_k=np.array([80.0]),
        end_s=9000.0,
        steps=180,
        cells=50,
    )
    twin = slow_twin(shape, 0.03, 5.0, lambda t: np.interp(t, points, temps), 80.0, times)
    assert np.abs(course.core_temp_c[0] - twin).max() < 0.15


def test_cooling_agrees_with_fipy_cylinder() -> None:
    from fipy import (
        CellVariable,
        CylindricalGrid1D,
        DiffusionTerm,
        FaceVariable,
        ImplicitSourceTerm,
        LinearLUSolver,
        TransientTerm,
    )

    k, diffusivity = constant()
    half, h, start, around = 0.035, 120.0, *NARROW[::-1]
    n, dt, steps = 80, 30.0, 160
    mesh = CylindricalGrid1D(nx=n, dx=half / n)
    temp = CellVariable(mesh=mesh, value=1.0)  # excess over the surroundings, as a share
    # a convective surface as a series conductance of the outer half cell
    coefficient = FaceVariable(mesh=mesh, value=diffusivity)
    dr = half / n
    out = 1.0 / (1.0 / h + 0.5 * dr / k) / (k / diffusivity)
    coefficient.setValue(0.0, where=mesh.facesRight)
    area = half / (mesh.cellCenters.value[0][-1] * dr)
    last = CellVariable(mesh=mesh, value=[0.0] * (n - 1) + [out * area])
    equation = TransientTerm() == DiffusionTerm(coeff=coefficient) - ImplicitSourceTerm(last)
    core = [1.0]
    for _ in range(steps):
        equation.solve(var=temp, dt=dt, solver=LinearLUSolver())
        core.append(float(temp.value[0]))
    ours = course_conduction(
        shape="cylinder",
        half_m=np.array([half]),
        composition=LEAN,
        start_temp_c=np.array([start]),
        surround_time_s=np.array([0.0, dt * steps]),
        surround_temp_c=np.array([[around, around]]),
        surface_w_per_m2_k=np.array([h]),
        end_s=dt * steps,
        steps=steps,
        cells=80,
    )
    theirs = np.array(core)
    mine = (ours.core_temp_c[0] - around) / (start - around)
    assert np.abs(theirs - mine).max() < 0.01  # theirs is first order in time


def test_halving_the_steps_changes_little() -> None:
    def core(steps: int, cells: int) -> float:
        course = course_conduction(
            shape="cylinder",
            half_m=np.array([0.04]),
            composition=LEAN,
            start_temp_c=np.array([4.0]),
            surround_time_s=np.array([0.0, 7200.0]),
            surround_temp_c=np.array([[80.0, 80.0]]),
            surface_w_per_m2_k=np.array([200.0]),
            end_s=7200.0,
            steps=steps,
            cells=cells,
        )
        return float(np.interp(3600.0, course.time_s, course.core_temp_c[0]))

    assert core(120, 30) == pytest.approx(core(480, 90), abs=0.1)


def reach(half: Spread, h: Spread, around: Spread) -> Any:
    return reach_conduction(
        shape="cylinder",
        half_m=half,
        composition=LEAN,
        start_temp_c=Spread(2.0, 4.0, 6.0),
        surround_temp_c=around,
        surface_w_per_m2_k=h,
        target_c=65.0,
        end_s=5 * 3600.0,
        steps=200,
        cells=30,
    )


def test_interval_holds_the_middle_and_names_what_widens_it() -> None:
    wide = reach(Spread(0.035, 0.04, 0.045), Spread(100.0, 200.0, 400.0), Spread(73.0, 75.0, 77.0))
    assert wide.low_s < wide.middle_s < wide.high_s
    narrow = reach(Spread(0.04, 0.04, 0.04), Spread(100.0, 200.0, 400.0), Spread(73.0, 75.0, 77.0))
    assert narrow.high_s - narrow.low_s < wide.high_s - wide.low_s
    assert narrow.alone_s["half_m"] == 0.0
    assert max(wide.alone_s, key=lambda n: wide.alone_s[n]) == "half_m"


def test_what_is_not_reached_is_infinite_and_not_a_guess() -> None:
    cool = reach(Spread(0.035, 0.04, 0.045), Spread(100.0, 200.0, 400.0), Spread(60.0, 66.0, 70.0))
    assert cool.high_s == float("inf")
    assert time_reached(time_s=np.array([0.0, 1.0]), temp_c=np.array([5.0, 6.0]), target_c=60.0) == float(
        "inf"
    )


@settings(max_examples=25, deadline=None)
@given(half=st.floats(0.01, 0.06), h=st.floats(5.0, 400.0), around=st.floats(40.0, 120.0))
def test_core_stays_between_start_and_surroundings_and_never_turns_back(
    half: float, h: float, around: float
) -> None:
    course = course_conduction(
        shape="slab",
        half_m=np.array([half]),
        composition=LEAN,
        start_temp_c=np.array([5.0]),
        surround_time_s=np.array([0.0, 3600.0]),
        surround_temp_c=np.array([[around, around]]),
        surface_w_per_m2_k=np.array([h]),
        end_s=3600.0,
        steps=60,
        cells=25,
    )
    core = course.core_temp_c[0]
    assert core.min() >= 5.0 - 0.05
    assert core.max() <= around + 1e-6
    assert np.diff(core).min() > -0.05


@pytest.mark.parametrize(
    "change",
    [{"half_m": np.array([0.0])}, {"surround_temp_c": np.array([[300.0, 300.0]])}, {"end_s": 99999.0}],
)
def test_out_of_range_is_refused(change: dict[str, Any]) -> None:
    given_: dict[str, Any] = {
        "shape": "slab",
        "half_m": np.array([0.03]),
        "composition": LEAN,
        "start_temp_c": np.array([5.0]),
        "surround_time_s": np.array([0.0, 3600.0]),
        "surround_temp_c": np.array([[80.0, 80.0]]),
        "surface_w_per_m2_k": np.array([50.0]),
        "end_s": 3600.0,
        "steps": 10,
        "cells": 10,
    }
    with pytest.raises(OutOfRange):
        course_conduction(**(given_ | change))
