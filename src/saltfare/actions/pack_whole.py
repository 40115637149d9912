"""One pack as it is closed, what is carried beside it, and what follows from what went into both."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import fsum

from saltfare.actions.context import Context
from saltfare.core.errors import Problem
from saltfare.core.figure import Note, Trace
from saltfare.models import dish as dishes
from saltfare.models.composition import Amounts, total
from saltfare.models.declared import ClassFound, Declared, DietFound, allergens_found, diet_found

_J_PER_KCAL = 4184.0
_WATER = "water"
_LAWS = ("us", "eu")


@dataclass(frozen=True, slots=True)
class PutIn:
    """An ingredient. mass_kg: that went in for one pack, as it went in. is_water: added water."""

    name: str
    mass_kg: float
    declared: Declared
    is_water: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class BesidePack:
    """What is carried beside a pack. own: code of the lot or piece it is of, "" for a food. against: why
    it cannot be had as things stand."""

    name: str
    amounts: Amounts
    put_in: tuple[PutIn, ...]
    agents: tuple[str, ...] = ()
    own: str = ""
    against: Problem | None = None

    @property
    def mass_kg(self) -> float:
        """Of it, for one pack."""
        return self.amounts.mass_kg


@dataclass(frozen=True, slots=True, kw_only=True)
class PackContent:
    """One pack as it is closed, nothing added yet.

    amounts: all of it, SI. put_in: ingredients as they went in. ingredients: their names with their share,
    descending, water only where a label names it. printed: what a bought pack's label lists instead.
    agents: curing agents in it, rows of `cure_agents`. parts: what it was put together from.
    water_to_add_ml, minutes with their span, stir_minutes, cold_minutes: None where it is eaten as it is, or
    nobody knows. volume_ml: as it lies, None where not known. beside: carried beside it and added at camp;
    together: both as eaten. pouch_m: width and height it is brought back in; cup_ml: the own mug;
    cover: what it is wrapped in meanwhile.
    """

    amounts: Amounts
    put_in: tuple[PutIn, ...]
    ingredients: tuple[tuple[str, float], ...]
    allergens: Mapping[str, tuple[ClassFound, ...]]
    diets: Mapping[str, DietFound]
    parts: tuple[str, ...]
    agents: tuple[str, ...] = ()
    printed: str = ""
    water_to_add_ml: float | None = None
    minutes: float | None = None
    minutes_span: tuple[float | None, float | None] = (None, None)
    stir_minutes: tuple[float, ...] = ()
    first_pour_ml: float | None = None
    beside: tuple[BesidePack, ...] = ()
    together: Amounts | None = None
    pouch_m: tuple[float, float] | None = None
    cup_ml: float | None = None
    cover: str = ""
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


def content_made(
    context: Context, amounts: Amounts, put_in: Sequence[PutIn], *, parts: tuple[str, ...], **told: object
) -> PackContent:
    """A pack with what follows from what was put in: ingredients, allergens by law, diets."""
    library = context.library
    dry = [one for one in put_in if not one.is_water]
    rows = list(library.rows("allergens"))
    declared = [(one.name, one.declared) for one in dry]
    order = dishes.ingredient_order(
        masses_kg=[(one.name, one.mass_kg) for one in dry],
        water_kg=fsum(one.mass_kg for one in put_in if one.is_water),
        finished_kg=amounts.mass_kg,
        water_name=library.row("pantry", _WATER).text("label"),
    )
    whole = fsum(kg for _, kg in order)
    return PackContent(
        amounts=amounts,
        put_in=tuple(put_in),
        ingredients=tuple((name, kg / whole) for name, kg in order),
        allergens={
            law: allergens_found(
                ingredients=declared, classes={row.text("id"): row.text(law) for row in rows}
            )
            for law in _LAWS
        },
        diets={
            row.text("id"): diet_found(
                ingredients=declared, leaves_out=frozenset(row.text("leaves_out").split())
            )
            for row in library.rows("diets")
        },
        parts=parts,
        **told,  # type: ignore[arg-type]
    )


def with_beside(context: Context, found: PackContent) -> PackContent:
    """A pack and what is carried beside it as one: what both give, and what is in both."""
    if not found.beside:
        return found
    put_in = (*found.put_in, *(item for one in found.beside for item in one.put_in))
    both = content_made(
        context,
        total(parts=[found.amounts, *(one.amounts for one in found.beside)]),
        put_in,
        parts=found.parts,
    )
    agents = dict.fromkeys([*found.agents, *(agent for one in found.beside for agent in one.agents)])
    return replace(
        found,
        amounts=both.amounts,
        put_in=put_in,
        ingredients=both.ingredients,
        allergens=both.allergens,
        diets=both.diets,
        agents=tuple(agents),
        beside=(),
    )
