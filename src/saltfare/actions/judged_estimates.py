"""Water activity and salt of a piece as computed from its masses: estimates, which never meet."""

from __future__ import annotations

from collections.abc import Iterator

from saltfare.actions.context import Context
from saltfare.actions.piece_forecast import Made, made_of
from saltfare.actions.piece_start import replanned
from saltfare.core.errors import NotConverged, NotFound, OutOfRange, Refused
from saltfare.journal.piece import PieceState
from saltfare.models.drying_piece import aw_at_mass
from saltfare.models.sorption import ProteinIsotherm

Estimate = tuple[str, float, float]


def estimated(context: Context, state: PieceState) -> tuple[Estimate, ...]:
    """Quantity, value and half width of its error; none where the plan no longer holds the piece."""
    try:
        return tuple(_estimates(context, state))
    except (Refused, OutOfRange, NotConverged, NotFound):
        return ()


def _estimates(context: Context, state: PieceState) -> Iterator[Estimate]:
    last = state.last_weight
    if not state.hung or last is None:
        return
    hung_kg = state.hung[-1].body.mass.value
    plan = replanned(context, state, hanging_kg=hung_kg)
    of = plan.hanging
    made = made_of(context, state) if state.parts else Made(of.water_kg, of.fat_kg, of.salt_kg, of.solids_kg)
    mass_kg = state.comparable_kg(last[1], last[0])
    water_kg = made.water_kg - (hung_kg - mass_kg)
    if water_kg <= 0.0:
        return
    yield "internal_salt", made.salt_kg / mass_kg, 0.25 * made.salt_kg / mass_kg
    in_water = made.salt_kg / (made.salt_kg + water_kg)
    yield "water_phase_salt", in_water, 0.25 * in_water
    target = plan.target.aw
    half = 0.0 if target.low is None or target.high is None else 0.5 * (target.high - target.low)
    error = max(half, context.library.row("fact_errors", "water_activity_jar").number("half_width"))
    aw = aw_at_mass(
        mass_kg=mass_kg,
        hanging_kg=hung_kg,
        water_frac=made.water_kg / hung_kg,
        fat_frac=made.fat_kg / hung_kg,
        salt_frac=made.salt_kg / hung_kg,
        protein=ProteinIsotherm.from_row(context.library.row("isotherms", "lean_meat")),
    )
    yield "water_activity", float(aw), error
