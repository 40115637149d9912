"""Numbers that must hold: every step converged, water conserved, another integrator agrees."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from drying_twin import (
    DAY,
    LEAN,
    PARAMETERS,
    Twin,
    a_piece,
    bessel_zero_sum,
    constant_air,
    slab_sum,
    swinging_air,
)

from saltfare.core.errors import NotConverged
from saltfare.core.numerics import Array
from saltfare.models.drying import GRADING, RULES, SHELLS, Air, Drying, Hanging, Members, hang
from saltfare.models.drying_march import Course, State, advance, march
from saltfare.models.drying_piece import Ratios
from saltfare.models.drying_shells import Shells, shell_weights
from saltfare.models.drying_surface import SkinLaw, Stretches, Surface
from saltfare.models.sorption import isotherm_curve, water_ratio_salted_meat

# the corners and the middle of what a forecast asks: ln multipliers at three prior deviations
CORNERS = Members(
    diffusivity_multiplier=np.array([1.0, 0.17, 6.0, 0.17, 6.0, 1.0]),
    resistance_multiplier=np.array([1.0, 0.22, 0.22, 4.5, 4.5, 0.5]),
)
ONE = Members(np.ones(1), np.ones(1))


def run(piece: Hanging, air: Air, members: Members, times: Array, **rules: float) -> Drying:
    return hang(piece=piece, air=air, members=members, parameters=PARAMETERS, protein=LEAN, out_time_s=times,
                rules=replace(RULES, **rules))  # type: ignore[arg-type] # fmt: skip


def begin(piece: Hanging, air: Air, members: Members) -> tuple[Shells, Stretches, State, Array]:
    """What `hang` sets up, for walking step by step."""
    count = len(members.diffusivity_multiplier)
    ratios = Ratios.of(
        water_frac=np.full(count, piece.water_frac), fat_frac=piece.fat_frac, salt_frac=piece.salt_frac
    )
    weights = shell_weights(shells=SHELLS, grading=GRADING)
    inside = Shells.of(
        piece=piece,
        ratios=ratios,
        diffusivity_multiplier=members.diffusivity_multiplier,
        parameters=PARAMETERS,
        protein=LEAN,
        weights=weights,
    )
    stretches = Stretches.of(
        end_time_s=air.end_time_s,
        temp_c=air.temp_c[:, None],
        rh_frac=air.rh_frac[:, None],
        speed_m_per_s=air.speed_m_per_s,
        piece=piece,
        resistance_multiplier=members.resistance_multiplier,
        body=PARAMETERS.body,
        protein=LEAN,
    )
    ratio = np.repeat(ratios.water[:, None], SHELLS, axis=1)
    surface = stretches.stretch(0)
    flows = inside.flows(water=ratio, surface=surface, start_k=surface.temp_k - 1.0)
    return inside, stretches, State(ratio * weights, ratio, flows, 0), ratios.water


def test_flux_used_agrees_with_the_constitutive_law_at_the_end_of_each_step() -> None:
    piece, air = a_piece(thickness=0.07), swinging_air(days=3, high=0.88, low=0.55)
    inside, stretches, state, total = begin(piece, air, CORNERS)
    pairs = zip(CORNERS.diffusivity_multiplier, CORNERS.resistance_multiplier, strict=True)
    twins = [Twin(piece, float(d), float(r), SHELLS, GRADING) for d, r in pairs]
    for k in range(6):
        surface = stretches.stretch(k)
        for _ in range(6):
            _, after, _ = advance(
                shells=inside,
                surface=surface,
                stretch=k,
                state=state,
                step=DAY / 12,
                scale=total,
                rules=RULES,
                course=Course(),
            )
            for i, twin in enumerate(twins):
                twin.set_air(13.0, float(air.rh_frac[k]), 0.1)
                # the law as scipy solves it, at the profile of the end of the step
                _, out = twin.rates(after.ratio[i])
                assert after.flows.out[i] * twin.solids == pytest.approx(out, rel=1e-3, abs=1e-12)
            state = after


def test_what_leaves_the_shells_is_what_crosses_the_surface() -> None:
    air = swinging_air(days=3, high=0.88, low=0.55)
    inside, stretches, state, total = begin(a_piece(), air, CORNERS)
    crossed = np.zeros(6)
    for k in range(6):
        for _ in range(4):
            middle, after, _ = advance(
                shells=inside,
                surface=stretches.stretch(k),
                stretch=k,
                state=state,
                step=DAY / 8,
                scale=total,
                rules=RULES,
                course=Course(),
            )
            gamma = 1 - 2**-0.5
            crossed += DAY / 8 * ((1 - gamma) * middle.flows.out + gamma * after.flows.out)
            # the water of record and the profile the fluxes belong to differ by the residual only
            drift = np.abs(after.water - after.ratio * inside.weights).sum(axis=1)
            assert (
                drift
                <= 1.01 * (RULES.residual * DAY / 8 * np.abs(after.flows.out) + RULES.residual_floor * total)
            ).all()
            state = after
    assert crossed == pytest.approx(total - state.water.sum(axis=1), rel=1e-9)


def test_every_balance_is_within_tolerance_and_the_worst_is_told() -> None:
    drying = run(a_piece(), swinging_air(days=10, high=0.88, low=0.6), CORNERS, np.array([10 * DAY]))
    # most that a member may leave in one step: the share allowed of what leaves it in half a day
    assert 0 < drying.worst_residual < RULES.residual * 0.1


AIRS = {
    "constant": constant_air(days=60),
    "dry": constant_air(days=60, temp=15.0, rh=0.5, speed=0.3),
    "swinging": swinging_air(days=30, high=0.88, low=0.6),
}


@pytest.mark.parametrize("name", AIRS)
def test_halving_the_step_moves_the_loss_by_less_than_a_tenth_of_a_point(name: str) -> None:
    air = AIRS[name]
    times = np.linspace(0.05, 1.0, 40) * air.end_time_s[-1]
    coarse = run(a_piece(thickness=0.08), air, CORNERS, times)
    # the error of a step goes with its square: a sixteenth is at most half the step, whatever the air does
    fine = run(
        a_piece(thickness=0.08),
        air,
        CORNERS,
        times,
        step_error=RULES.step_error / 16,
        most_step_s=0.125 * DAY,
    )
    assert fine.steps >= 1.9 * coarse.steps
    assert np.abs(coarse.loss_frac - fine.loss_frac).max() < 1e-3


@pytest.mark.parametrize("name", AIRS)
def test_doubling_the_shells_moves_the_loss_by_less_than_a_tenth_of_a_point(name: str) -> None:
    air = AIRS[name]
    times = np.linspace(0.05, 1.0, 40) * air.end_time_s[-1]
    coarse = run(a_piece(thickness=0.08), air, CORNERS, times)
    fine = hang(
        piece=a_piece(thickness=0.08),
        air=air,
        members=CORNERS,
        parameters=PARAMETERS,
        protein=LEAN,
        out_time_s=times,
        shells=2 * SHELLS,
    )
    assert np.abs(coarse.loss_frac - fine.loss_frac).max() < 1e-3
    # a crust, not a piece dried through, where the profile is flat and the depth means little
    thin = fine.crust_m < 5e-3
    assert np.abs(coarse.crust_m - fine.crust_m)[thin].max() < 2e-4


@pytest.mark.parametrize(
    ("shape", "thickness", "spread", "resist"),
    [("cylinder", 0.06, 0.6, 0.4), pytest.param("slab", 0.03, 0.4, 0.4, marks=pytest.mark.deep)],
)
def test_scipy_agrees_under_humidity_that_swings_daily_across_saturated_brine(
    shape: str, thickness: float, spread: float, resist: float
) -> None:
    piece = a_piece(shape=shape, thickness=thickness, width=0.15 if shape == "slab" else 0.0)
    air = swinging_air(days=7, high=0.90, low=0.58)
    expected = Twin(piece, spread, resist, SHELLS, GRADING).losses(air, air.end_time_s)
    found = run(piece, air, Members(np.array([spread]), np.array([resist])), air.end_time_s)
    assert found.loss_frac[:, 0] == pytest.approx(expected, abs=1e-3)
    assert found.aw_surface.min() < 0.70 and found.aw_surface.max() > 0.80


@pytest.mark.deep
def test_scipy_bdf_agrees_in_constant_air_to_two_months() -> None:
    piece, air, times = a_piece(), constant_air(days=60), np.array([7.0, 28.0, 60.0]) * DAY
    expected = Twin(piece, 1.0, 1.0, SHELLS, GRADING).losses(air, times, method="BDF")
    assert run(piece, air, ONE, times).loss_frac[:, 0] == pytest.approx(expected, abs=2e-4)


def bare_shells(*, cylinder: bool, span_m: float, diffusivity: float, shells: int) -> Shells:
    """No shrinkage, no drag, no ends: what textbooks solve."""
    one = np.ones(1)
    skin = SkinLaw(isotherm_curve(LEAN), 0.0 * one, 0.0, 286.15)
    weights = shell_weights(shells=shells, grading=GRADING)
    return Shells(
        weights, cylinder, span_m, 1.0, 1e-3 * one, 1e-3 * one, 1e30, 0.0, 2 * diffusivity * one, 0.0, skin
    )


def open_surface(aw: float) -> Surface:
    """Air that holds the surface at an activity whatever leaves it: no film, all the heat it needs."""
    one = np.ones(1)
    full = 1497.0
    t = 286.15 * one
    return Surface(t, aw * full * one, 1e12 * one, 1e-9 * one, t - 3.0, t + 20.0, t + 4.0)


@pytest.mark.parametrize("cylinder", [True, False])
def test_constant_diffusivity_agrees_with_the_series_mean_and_centre(cylinder: bool) -> None:
    # crank_1975, chapters 4 and 5: a surface held at once at its end value
    span, diffusivity = 0.05, 1e-10
    surface = open_surface(0.75)
    series = bessel_zero_sum if cylinder else slab_sum
    times = np.array([1.0, 5.0, 15.0, 40.0, 100.0]) * DAY
    shells = bare_shells(cylinder=cylinder, span_m=span, diffusivity=diffusivity, shells=40)
    course = march(
        shells=shells,
        surfaces=lambda _: surface,
        end_time_s=np.array([101 * DAY]),
        water_ratio=np.array([1.0]),
        out_time_s=times,
        rules=replace(RULES, step_error=2e-4),
        crust_below=0.55,
    )
    end = float(course.water_surface[-1][0])
    assert end == pytest.approx(water_ratio_salted_meat(aw=0.75, salt_ratio=0.0, protein=LEAN), rel=2e-3)
    for i, time in enumerate(times):
        fourier = diffusivity * time / span**2
        mean = (1.0 - course.loss[i][0] - end) / (1.0 - end)
        assert mean == pytest.approx(series(fourier, centre=False), abs=1.5e-3)
        core = (course.water_core[i][0] - end) / (1.0 - end)
        assert core == pytest.approx(series(fourier, centre=True), abs=2e-3)


@pytest.mark.deep
def test_constant_diffusivity_agrees_with_fipy() -> None:
    fipy = pytest.importorskip("fipy")
    span, diffusivity, cells = 0.05, 1e-10, 200
    mesh = fipy.CylindricalGrid1D(nx=cells, Lx=span)
    field = fipy.CellVariable(mesh=mesh, value=1.0)
    field.constrain(0.0, mesh.facesRight)
    step = DAY / 8
    for _ in range(15 * 8):
        (fipy.TransientTerm() == fipy.DiffusionTerm(coeff=diffusivity)).solve(var=field, dt=step)
    radii = mesh.cellCenters.value[0]
    expected = float((np.asarray(field) * radii).sum() / radii.sum())
    course = march(
        shells=bare_shells(cylinder=True, span_m=span, diffusivity=diffusivity, shells=40),
        surfaces=lambda _: open_surface(0.75),
        end_time_s=np.array([15 * DAY]),
        water_ratio=np.array([1.0]),
        out_time_s=np.array([15 * DAY]),
        rules=RULES,
        crust_below=0.55,
    )
    end = float(course.water_surface[-1][0])
    assert (1.0 - course.loss[0][0] - end) / (1.0 - end) == pytest.approx(expected, abs=3e-3)


def test_a_member_alone_is_the_member_in_the_crowd() -> None:
    air, times = swinging_air(days=6, high=0.85, low=0.6), np.linspace(0.5, 6.0, 24) * DAY
    # steps set by the clock alone, so that the crowd does not change them
    clock = {"step_error": 1.0, "most_step_s": 0.1 * DAY, "residual": 1e-6}
    crowd = run(a_piece(), air, CORNERS, times, **clock)
    for i in range(6):
        alone = Members(CORNERS.diffusivity_multiplier[[i]], CORNERS.resistance_multiplier[[i]])
        loss = run(a_piece(), air, alone, times, **clock).loss_frac[:, 0]
        assert loss == pytest.approx(crowd.loss_frac[:, i], abs=1e-7)


def test_members_that_are_the_same_stay_the_same() -> None:
    twice = Members(np.array([6.0, 1.0, 6.0]), np.array([0.2, 1.0, 0.2]))
    loss = run(a_piece(), AIRS["dry"], twice, np.linspace(1, 60, 60) * DAY).loss_frac
    assert loss[:, 0] == pytest.approx(loss[:, 2], rel=1e-12)


def test_a_step_that_does_not_converge_is_split_and_the_answer_stays() -> None:
    air, times = swinging_air(days=10, high=0.90, low=0.55), np.linspace(0.5, 10.0, 20) * DAY
    usual = run(a_piece(), air, CORNERS, times)
    hasty = run(a_piece(), air, CORNERS, times, rounds=1)
    assert hasty.splits > 0 and hasty.steps > usual.steps
    assert np.abs(hasty.loss_frac - usual.loss_frac).max() < 1e-3


def test_a_step_that_cannot_be_split_further_names_its_member() -> None:
    # the second member dries a thousand times faster, so it is the one that one round cannot solve
    members = Members(np.array([1e-3, 1e3]), np.array([1e3, 1e-3]))
    with pytest.raises(NotConverged) as caught:
        run(
            a_piece(),
            constant_air(days=5, rh=0.4),
            members,
            np.array([5 * DAY]),
            rounds=1,
            first_step_s=DAY,
            least_step_s=0.9 * DAY,
        )
    assert caught.value.member == 1 and caught.value.residual > 0


def test_a_surface_without_a_root_names_its_member() -> None:
    law = SkinLaw(isotherm_curve(LEAN), np.full(2, 0.1), 3000.0, 286.15)
    t = np.full(2, 286.15)
    surface = Surface(t, np.full(2, 1100.0), np.full(2, 10.0), np.full(2, 300.0), t - 3.0, t + 5.0, t - 1.0)
    with pytest.raises(NotConverged) as caught:
        law.solve(
            surface=surface,
            water=np.array([2.0, np.nan]),
            bring=np.full(2, 1e-6),
            d_bring=np.zeros(2),
            area=np.ones(2),
            start_k=t,
        )
    assert caught.value.member == 1


@pytest.mark.deep
def test_hourly_air_for_eighty_days_runs_and_agrees_with_its_daily_means() -> None:
    ends = np.arange(1, 80 * 24 + 1) * 3600.0
    rh = 0.78 + 0.02 * np.sin(2 * np.pi * ends / DAY)
    hourly = Air(ends, np.full(len(ends), 13.0), rh, np.full(len(ends), 0.1))
    times = np.arange(5, 81, 5) * DAY
    found = run(a_piece(), hourly, CORNERS, times)
    mean = run(a_piece(), constant_air(days=80, rh=0.78), CORNERS, times)
    assert np.abs(found.loss_frac - mean.loss_frac).max() < 3e-3
