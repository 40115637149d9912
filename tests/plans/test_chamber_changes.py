"""What a change to the chamber does to a piece: nothing where nothing changes, and the way it must."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from saltfare.core.library import Library
from saltfare.models.drying import Air, DryingParameters, Hanging, Members, hang
from saltfare.models.sorption import ProteinIsotherm
from saltfare.plans.chamber_changes import Change, Effect, Kind, effects
from saltfare.plans.forecast_air import AirProgramme, AssumedAir

DAY = 86400.0
LIBRARY = Library()
PARAMETERS = DryingParameters.from_rows(
    law=LIBRARY.row("diffusion", "lean_default"), body=LIBRARY.row("drying_body", "whole_muscle")
)
PROTEIN = ProteinIsotherm.from_row(LIBRARY.row("isotherms", "lean_meat"))
# Invented: a piece that dries too fast in a dry pantry.
PIECE = Hanging(
    shape="cylinder",
    thickness_m=0.069,
    length_m=0.28,
    width_m=0.0,
    mass_kg=1.06,
    water_frac=0.68,
    fat_frac=0.03,
    salt_frac=0.029,
    open_frac=1.0,
    casing_resistance_s_per_m=0.0,
    drying_faces=2,
)
AIR = AirProgramme(
    end_time_s=np.array([10 * DAY, 120 * DAY]),
    temp_c=np.array([13.0, 14.0]),
    rh_frac=np.array([0.60, 0.58]),
    read=np.array([True, False]),
    assumed=AssumedAir(14.0, 0.58, "recent_readings", 5 * DAY, 0.02, 0.5),
    last_reading_s=10 * DAY,
    unread_s=0.0,
    near_saturation_s=0.0,
)


def _run(*changes: Change, from_days: float = 12.0, piece: Hanging = PIECE) -> tuple[Effect, ...]:
    return effects(
        piece=piece,
        programme=AIR,
        speed_m_per_s=0.3,
        parameters=PARAMETERS,
        protein=PROTEIN,
        likeliest=Kind(1.0, 1.0),
        closes_easily=Kind(0.8, 0.8),
        target_mass_kg=0.68,
        from_s=from_days * DAY,
        settles_s=7 * DAY,
        changes=changes,
    )


def test_as_it_is_is_the_hanging_model_itself() -> None:
    before, same = _run(Change(name="nothing"))
    assert replace(same, name="") == before
    time = np.arange(0, 120) * DAY
    course = hang(
        piece=PIECE,
        air=Air(AIR.end_time_s, AIR.temp_c, AIR.rh_frac, np.full(2, 0.3)),
        members=Members(np.ones(1), np.ones(1)),
        parameters=PARAMETERS,
        protein=PROTEIN,
        out_time_s=time,
    )
    ready = float(np.interp(-0.68, -course.mass_kg[:, 0], time))
    assert before.ready_s == pytest.approx(ready, abs=0.2 * DAY)
    # the one that closes easily is a course of its own
    assert before.crust_m > course.crust_m[time <= ready].max()


def test_a_casing_on_from_the_start_is_the_piece_wrapped() -> None:
    """Casing told of the air's stretches and casing told of the piece are one thing."""
    wrapped = _run(Change(name="wrap", casing_s_per_m=350.0), from_days=1e-9)[1]
    own = _run(piece=replace(PIECE, casing_resistance_s_per_m=350.0), from_days=1e-9)[0]
    assert wrapped.ready_s == pytest.approx(own.ready_s or 0.0, rel=1e-3)


def test_slower_eases_the_crust_and_costs_days_and_faster_gains_them() -> None:
    slower = (
        Change(name="wrap", casing_s_per_m=350.0),
        Change(name="still", speed_m_per_s=0.05),
        Change(name="damp", rh_frac=0.753),
        Change(name="shut", rh_shift_frac=0.05),
    )
    before, *eased, faster = _run(*slower, Change(name="fan", speed_m_per_s=0.6))
    assert before.ready_s and before.crust_m > 1e-3
    for one in eased:
        assert one.ready_s and one.ready_s > before.ready_s, one
        assert one.crust_m < before.crust_m, one
        assert one.crust_from_m == before.crust_from_m
    assert faster.ready_s and faster.ready_s < before.ready_s


def test_a_sealed_rest_softens_the_rim_and_stops_the_clock() -> None:
    rest = Change(name="rest", temp_c=3.0, casing_s_per_m=1e5, lasts_s=14 * DAY)
    before, rested = _run(rest, from_days=25.0)
    assert before.ready_s and rested.ready_s
    assert rested.ready_s - before.ready_s == pytest.approx(14 * DAY, abs=3 * DAY)
    assert rested.crust_m < before.crust_m


def test_humidity_moved_past_the_isotherm_stops_there() -> None:
    edge, past = _run(Change(name="edge", rh_frac=0.995), Change(name="past", rh_shift_frac=0.9))[1:]
    assert replace(past, name="edge") == edge
