"""What one pack of a lot holds: energy, nutrients, water, allergens, and what is added to eat it.

What is not known of a part is not known of the pack: it is None and the part is named, never nought.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from saltfare.actions.context import Context
from saltfare.core.errors import Problem, Refused
from saltfare.core.figure import Note, Trace
from saltfare.journal.lot import LotState
from saltfare.journal.piece import PieceState
from saltfare.models.composition import Amounts
from saltfare.models.declared import ClassFound, Declared, DietFound

_J_PER_KCAL = 4184.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PackContent:
    """One pack as it is closed, nothing added yet.

    amounts: all of it, SI. declared: ingredients with what is known of each. ingredients: names with their
    share of what went in, descending. parts: what it was put together from. water_to_add_ml, minutes,
    cold_minutes: None where it is eaten as it is, or nobody knows. nitrite_ppm: put in, mg per kg of green
    weight, None where none was. volume_ml: as it lies, None where not known.
    """

    amounts: Amounts
    declared: tuple[tuple[str, Declared], ...]
    ingredients: tuple[tuple[str, float], ...]
    allergens: Mapping[str, tuple[ClassFound, ...]]
    diets: Mapping[str, DietFound]
    parts: tuple[str, ...]
    water_to_add_ml: float | None = None
    minutes: float | None = None
    cold_minutes: float | None = None
    servings: float = 1.0
    volume_ml: float | None = None
    notes: tuple[Note, ...] = ()
    trace: str = ""
    traces: Mapping[str, Trace] = field(default_factory=dict)

    @property
    def mass_kg(self) -> float:
        """Net."""
        return self.amounts.mass_kg

    @property
    def missing(self) -> Mapping[str, tuple[str, ...]]:
        """Nutrient -> names of what is in the pack but not in its figure."""
        return self.amounts.missing

    @property
    def kcal(self) -> float | None:
        """Energy as the food table gives it; by the general factors where it does not."""
        energy = self.amounts.value("energy")
        energy = self.amounts.value("energy_general") if energy is None else energy
        return None if energy is None else energy / _J_PER_KCAL

    @property
    def protein_g(self) -> float | None:
        """Protein."""
        return self._of("protein", 1e3)

    @property
    def fat_g(self) -> float | None:
        """Fat."""
        return self._of("fat", 1e3)

    @property
    def carbohydrate_g(self) -> float | None:
        """Carbohydrate by difference, fibre counted."""
        return self._of("carbohydrate", 1e3)

    @property
    def fibre_g(self) -> float | None:
        """Fibre."""
        return self._of("fibre", 1e3)

    @property
    def sugars_g(self) -> float | None:
        """Sugars."""
        return self._of("sugars", 1e3)

    @property
    def sodium_mg(self) -> float | None:
        """Sodium."""
        return self._of("sodium", 1e6)

    @property
    def water_g(self) -> float | None:
        """Water in it."""
        return self._of("water", 1e3)

    def _of(self, nutrient: str, scale: float) -> float | None:
        found = self.amounts.value(nutrient)
        return None if found is None else found * scale


def pack_content(context: Context, lot: LotState) -> PackContent:
    """What one pack of a lot holds. Raises Refused (content_not_told) where nothing tells."""
    raise Refused(Problem("content_not_told", "code", lot.code))


def piece_content(context: Context, state: PieceState, *, mass_kg: float | None = None) -> PackContent:
    """What a piece holds at a mass; without one at its last mass, or at its target where it still dries."""
    raise Refused(Problem("content_not_told", "code", state.code))
