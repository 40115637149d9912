"""What a batch of a dish says of itself before a criterion is held against it."""

from __future__ import annotations

from saltfare.actions.context import Context
from saltfare.actions.dish_recipe import line_of
from saltfare.actions.judged_known import Gathered
from saltfare.core.errors import Refused
from saltfare.core.figure import Note, Provenance
from saltfare.journal import events_dish as kinds
from saltfare.journal.dish import DishState
from saltfare.journal.fold import Fact as Happened
from saltfare.plans.dish_plan_parts import DishLine

MEASURED = Provenance.MEASURED
# Usual ingredients by the beginning of their names, where what they hold says no more than meat.
_ANIMALS = ("chicken", "turkey", "venison")
_POULTRY = frozenset({"chicken", "turkey"})
_REST = ("fish", "egg", "dairy")


def dish_facts(context: Context, state: DishState, happened: tuple[Happened, ...], known: Gathered) -> None:
    """Form, animal and heat of a batch: as the recipe and its events tell, and no further."""
    begun = {"event_id": state.planned_id, "at": state.planned_at}
    known.put("form", "dish", MEASURED, **begun)  # type: ignore[arg-type]
    species = _species(context, state)
    if species is not None:
        known.put("species", species, MEASURED, **begun)  # type: ignore[arg-type]
    else:
        known.notes.append(Note("dish_species_open"))
    cooked = [h for h in happened if isinstance(h.body, kinds.DishCooked)]
    if cooked:
        known.put("heated", True, MEASURED, by=cooked[-1])
    trayed = [h.at for h in happened if isinstance(h.body, kinds.DishTrayed)]
    if cooked and (not trayed or cooked[-1].at <= min(trayed)):
        known.put("dried_before_heating", False, MEASURED, by=cooked[-1])


def _species(context: Context, state: DishState) -> str | None:
    """The animal the criteria are to be asked for: the meat's where there is any; None where the recipe
    leaves it open, or holds meats no one table is for."""
    try:
        lines = [line_of(context, line) for line in state.choice.lines]
    except Refused:
        return None
    if any(line.declared.holds is None for line in lines):
        return None
    held = [line for line in lines if line.declared.holds]
    animals = {_animal(line) for line in held if (line.declared.holds or frozenset()) & {"meat"}}
    if animals:
        if None in animals or any("fish" in (line.declared.holds or ()) for line in held):
            return None
        if len(animals) == 1:
            return animals.pop()
        if animals <= _POULTRY:
            return "mixed_poultry"
        return "mixed" if animals & _POULTRY and len(animals - _POULTRY) == 1 else None
    found = [name for name in _REST if any(name in (line.declared.holds or ()) for line in held)]
    return found[0] if found else "plant"


def _animal(line: DishLine) -> str | None:
    holds = line.declared.holds or frozenset()
    for name in ("pork", "beef"):
        if name in holds:
            return name
    return next((name for name in _ANIMALS if (line.pantry or "").startswith(name)), None)
