"""Masses as a kitchen scale shows them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from saltfare.core.tables import Row
from saltfare.models import salting
from saltfare.plans.piece_parts import Amount


def shown_by_scale(mass_kg: float, step_kg: float) -> float:
    """The mass nearest to `mass_kg` that the scale can show."""
    return round(mass_kg / step_kg) * step_kg


def weighed(
    quantity: str,
    mass_kg: float,
    step_kg: float,
    model: Callable[..., Any],
    inputs: dict[str, float],
    rows: tuple[Row, ...] = (),
    name: str = "",
) -> Amount:
    """A mass as the scale shows it, with the interval of its step."""
    low, high = salting.dose_interval_scale(mass_kg=mass_kg, scale_step_kg=step_kg)
    return Amount(
        quantity=quantity,
        value=mass_kg,
        kind="mass",
        model=model,
        inputs={**inputs, "scale_step_kg": step_kg},
        rows=rows,
        low=low,
        high=high,
        interval="scale_step",
        name=name,
    )


def share_weighed(quantity: str, share: float, base: float, step: float, *, name: str = "") -> Amount:
    """Something dosed as a share of the meat."""
    mass = salting.share_mass(share_frac=share, base_mass_kg=base)
    return weighed(
        quantity,
        shown_by_scale(mass, step),
        step,
        salting.share_mass,
        {"share_frac": share, "base_mass_kg": base},
        name=name,
    )
