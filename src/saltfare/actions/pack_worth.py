"""What a pack cost, and what that is by mass, by energy and by protein."""

from __future__ import annotations

from typing import Literal

from saltfare.actions.context import Context
from saltfare.actions.shapes import Output
from saltfare.core.fields import Frozen
from saltfare.core.figure import Figure, Note
from saltfare.journal.lot import LotState


class CostLine(Frozen):
    """One line of a cost in whole minor units; all lines add up to the cost."""

    what: str
    minor: int


class PackWorth(Output):
    """What one pack cost. cost_minor: without labour; None where a price is missing (`missing` names what).

    lines: of the whole lot, adding up to lot_minor. labour_minor: of the whole lot, beside it. of_loss: of
    the meat's cost, what was trimmed and dried off. unit prices: minor units per kg, per 1000 kcal and per
    kg of protein, as figures of kind "money_rate"; value None where the content is not known.
    """

    code: str
    currency: str
    packs: int
    origin: Literal["made", "bought"]
    cost_minor: int | None
    lot_minor: int | None
    lines: tuple[CostLine, ...]
    labour_minor: int | None
    of_loss: tuple[CostLine, ...]
    per_kg: Figure | None
    per_1000_kcal: Figure | None
    per_protein_kg: Figure | None
    missing: tuple[str, ...]


def pack_worth(context: Context, lot: LotState) -> PackWorth:
    """What one pack of a lot cost, and its unit prices."""
    return PackWorth(
        code=lot.code,
        currency="EUR",
        packs=lot.made.packs,
        origin="bought" if lot.origin == "bought" else "made",
        cost_minor=None,
        lot_minor=None,
        lines=(),
        labour_minor=None,
        of_loss=(),
        per_kg=None,
        per_1000_kcal=None,
        per_protein_kg=None,
        missing=("price",),
        notes=(Note("worth_price_missing"),),
    )
