"""Buying: forward and backward are one chain, and days and losses are those a plan tells."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from saltfare.core.errors import OutOfRange
from saltfare.core.library import Library
from saltfare.models.sorption import ProteinIsotherm
from saltfare.plans.buying import (
    Band,
    Shares,
    bought_from_finished,
    finished_from_bought,
    loss_to_aw,
    time_in_salt,
)
from saltfare.plans.piece_parts import MixLabel, PieceRequest
from saltfare.plans.piece_plan import plan_piece

LIBRARY = Library()
SHARE = st.floats(0.0, 0.8)


@given(st.floats(1e-3, 1e3), SHARE, st.floats(-0.15, 0.4), SHARE, SHARE)
def test_what_is_bought_backward_gives_forward_what_was_wanted(
    finished: float, trim: float, net: float, loss: float, end: float
) -> None:
    shares = {"trim_frac": trim, "net_loss_frac": net, "loss_frac": loss, "end_trim_frac": end}
    bought = bought_from_finished(finished_kg=finished, **shares)
    assert finished_from_bought(bought_kg=bought, **shares) == pytest.approx(finished, rel=1e-12)
    assert finished_from_bought(bought_kg=2 * bought, **shares) == pytest.approx(2 * finished, rel=1e-12)


@given(SHARE, SHARE, st.floats(0.001, 0.1))
def test_losing_more_asks_for_more(trim: float, loss: float, more: float) -> None:
    def bought(**changes: float) -> float:
        shares = {"trim_frac": trim, "net_loss_frac": 0.045, "loss_frac": loss, "end_trim_frac": 0.02}
        return bought_from_finished(finished_kg=1.0, **(shares | changes))

    assert bought(trim_frac=trim + more) > bought()
    assert bought(loss_frac=loss + more) > bought()
    assert bought() >= 1.0


def test_a_worked_chain() -> None:
    """By hand: 1000 g, less 10 % = 900, less 5 % = 855, less 40 % = 513, less 0 = 513 g."""
    shares = {"trim_frac": 0.10, "net_loss_frac": 0.05, "loss_frac": 0.40, "end_trim_frac": 0.0}
    assert finished_from_bought(bought_kg=1.0, **shares) == pytest.approx(0.513, rel=1e-12)


def test_a_dry_cured_side_of_1944_comes_out_of_the_chain() -> None:
    """Fresh 100 to dry cured 95 (awi_108_1944, table of yields): the net loss alone."""
    shares = {"trim_frac": 0.0, "net_loss_frac": 0.05, "loss_frac": 0.0, "end_trim_frac": 0.0}
    assert finished_from_bought(bought_kg=100.0, **shares) == pytest.approx(95.0)
    rule = LIBRARY.row("salting_rules", "net_loss_in_salt")
    assert rule.number("pct_low") <= 0.05 <= rule.number("pct_high")


@given(st.lists(st.lists(st.floats(0.0, 0.6), min_size=3, max_size=3).map(sorted), min_size=4, max_size=4))
def test_the_band_of_what_is_left_has_the_usual_inside(found: list[list[float]]) -> None:
    shares = Shares(*(Band(*ends) for ends in found))
    assert 0 < shares.kept.low <= shares.kept.mid <= shares.kept.high <= 1
    every = [1.0]
    for ends in found:
        every = [left * (1 - share) for left in every for share in ends]
    assert (min(every), max(every)) == pytest.approx((shares.kept.low, shares.kept.high))


def test_everything_lost_is_out_of_range() -> None:
    with pytest.raises(OutOfRange):
        bought_from_finished(
            finished_kg=1.0, trim_frac=0.0, net_loss_frac=0.0, loss_frac=0.99, end_trim_frac=0.0
        )


def _plan(**changes: Any) -> Any:
    request: dict[str, Any] = {
        "start": date(2026, 3, 2),
        "purpose": "home_cold",
        "cut": "pork_loin",
        "rules": "us_home",
        "green_mass_kg": 1.6,
        "shape": "cylinder",
        "thickness_m": 0.075,
        "length_m": 0.36,
        "salt_frac": 0.03,
        "mix": MixLabel(name="jar", nitrite_frac=0.0625),
        "scale_step_kg": 1e-4,
        "salting_temp_c": 4.0,
        "chamber_temp_c": 13.0,
        "chamber_humidity_frac": 0.75,
    }
    return plan_piece(request=PieceRequest(**(request | changes)), library=LIBRARY)


@pytest.mark.parametrize(
    ("thickness", "temp", "cut"),
    [(0.05, 4.0, "pork_loin"), (0.075, 2.0, "venison_haunch"), (0.095, 4.5, "pork_collar")],
)
def test_days_in_salt_are_those_of_the_plan(thickness: float, temp: float, cut: str) -> None:
    mass = 1000 * 3.14159 / 4 * thickness**2 * 0.36
    plan = _plan(thickness_m=thickness, salting_temp_c=temp, cut=cut, green_mass_kg=mass)
    found = time_in_salt(
        thickness_m=thickness,
        shape="cylinder",
        salt_frac=0.03,
        water_frac=LIBRARY.row("cuts", cut).number("water_pct"),
        temp_c=temp,
        library=LIBRARY,
    )
    assert round(found / 86400) == plan.time.days


def test_the_loss_to_a_water_activity_is_that_of_the_plan() -> None:
    plan = _plan(purpose="carried", salt_frac=0.032)
    hanging, whole = plan.hanging, plan.hanging.mass_kg
    found = loss_to_aw(
        aw=0.85 - 2 * 0.015,
        water_frac=hanging.water_kg / whole,
        fat_frac=hanging.fat_kg / whole,
        salt_frac=hanging.salt_kg / whole,
        protein=ProteinIsotherm.from_row(LIBRARY.row("isotherms", "lean_meat")),
    )
    assert found == pytest.approx(plan.target.loss_from_hanging.value, rel=1e-9)
