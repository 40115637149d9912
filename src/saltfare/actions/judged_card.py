"""The criteria card of a piece or lot: every question, every criterion offered, and what settles it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Literal

from pydantic import Field

from saltfare.actions.context import Context
from saltfare.actions.judged_facts import gathered
from saltfare.actions.judged_items import Item, item
from saltfare.actions.judged_known import Gathered
from saltfare.actions.judged_shapes import CardShown, CardsShown, CriterionShown
from saltfare.actions.shapes import Query
from saltfare.actions.worked_once import Once
from saltfare.core.figure import Answer, Note, Provenance, Verdict
from saltfare.core.glossary import entry
from saltfare.models.criteria import Card, Criteria, Criterion, Question, card
from saltfare.models.criteria_facts import Fact, Facts, LogFact
from saltfare.models.criteria_terms import SIMPLE

Packing = Literal["air", "vacuum", "absorber", "hermetic"]
Kept = Literal["warm", "chilled", "frozen"]
_WORST_FIRST = (Answer.DOES_NOT_MEET, Answer.CANNOT_TELL, Answer.MEETS)
# What a margin is of, by the test behind it: a share of what is asked, a time, a count of decades.
_MARGIN_KINDS = {
    "hold": "fraction",
    "hold_at": "fraction",
    "freeze": "fraction",
    "exposure": "fraction",
    "cool": "time",
    "come_up": "time",
    "rise": "time",
    "between": "time",
    "growth": "ratio",
}
_LOT_PACKING: Mapping[str, Packing] = {"open": "air", "air": "air", "no_oxygen": "vacuum"}


class CardGiven(Query):
    """A piece or lot. packing, kept: how it would be sealed and kept, where that is asked about; else as it
    is. question: one of them, all where none is named."""

    code: str = Field(max_length=40)
    question: Question | None = None
    packing: Packing | None = None
    kept: Kept | None = None


def criteria_of(context: Context) -> Criteria:
    """The published criteria as the library holds them."""
    return _criteria("all", context.library)


_criteria: Once[str, Criteria] = Once(lambda _all, library: Criteria.from_library(library), most=4)


def criteria_card(context: Context, given: CardGiven) -> CardsShown:
    """What published criteria let be said of a piece or lot, on what is recorded of it."""
    found = item(context, given.code)
    known = gathered(context, found)
    criteria = criteria_of(context)
    facts = facts_with_cooling(known, criteria)
    asked = [given.question] if given.question else list(Question)
    cards = tuple(_shown(context, found, q, facts, criteria, given.packing, given.kept) for q in asked)
    species = facts.species.value
    return CardsShown(
        code=found.code,
        kind=found.kind,
        name=found.name,
        version=found.version,
        state=found.state,
        species=str(species) if species is not None else None,
        cards=cards,
        facts=tuple(known.shown[name] for name in sorted(known.shown)),
        notes=_once(known.notes),
    )


def _once(notes: list[Note]) -> tuple[Note, ...]:
    seen: dict[str, Note] = {}
    for note in notes:
        seen.setdefault(f"{note.code} {sorted(note.params.items())}", note)
    return tuple(seen.values())


def facts_with_cooling(known: Gathered, criteria: Criteria) -> Facts:
    """The facts with the cooling that stands worst of all there were: what grew once is not undone."""
    facts = known.facts
    candidates: list[LogFact] = known.coolings or [facts.cooling_log]
    worst = min(
        candidates,
        key=lambda log: _WORST_FIRST.index(
            card(question=Question.COOLING, facts=replace(facts, cooling_log=log), criteria=criteria).answer
        ),
    )
    return replace(facts, cooling_log=worst)


def facts_asked(
    found: Item, question: Question, facts: Facts, packing: str | None, kept: str | None
) -> Facts:
    """The facts with the packing and keeping the question is about.

    Kept without cold in air is asked of it in air, once opened. Sealed is asked of the packing it has, or is
    meant to have: without one, a vacuum, kept without cold, which asks most.
    """
    actual = _LOT_PACKING[found.lot.sealed] if found.lot else "air"
    if question is Question.KEPT_AIR:
        chosen, how = "air", "warm"
    elif question is Question.SEALED:
        chosen = packing if packing not in (None, "air") else ("vacuum" if actual == "air" else actual)
        how = kept or "warm"
    elif question is Question.CARRIED:
        chosen, how = packing or actual, "warm"
    else:
        chosen, how = packing or actual, kept or "warm"
    return replace(
        facts,
        packaging=Fact(chosen, Provenance.MEASURED),
        kept=Fact(how, Provenance.MEASURED),
    )


def asked(
    found: Item, question: Question, facts: Facts, criteria: Criteria, packing: str | None, kept: str | None
) -> Card:
    """The card of one question."""
    return card(
        question=question, facts=facts_asked(found, question, facts, packing, kept), criteria=criteria
    )


def _shown(
    context: Context,
    found: Item,
    question: Question,
    facts: Facts,
    criteria: Criteria,
    packing: str | None,
    kept: str | None,
) -> CardShown:
    put = facts_asked(found, question, facts, packing, kept)
    made = card(question=question, facts=put, criteria=criteria)
    return card_shown(context, made, criteria, packing=str(put.packaging.value), kept=str(put.kept.value))


def card_shown(context: Context, made: Card, criteria: Criteria, *, packing: str, kept: str) -> CardShown:
    """A card with margins, sources and cautions said once."""
    by_id = {criterion.id: criterion for criterion in criteria.all}
    shown = tuple(_criterion(context, by_id[v.criterion], v) for v in made.verdicts)
    cautions = [note for v in made.verdicts for note in v.cautions]
    return CardShown(
        question=made.question.value,
        answer=made.answer,
        packing=packing,
        kept=kept,
        criteria=shown,
        settles=made.settles,
        instead=made.instead,
        cautions=_once(cautions),
    )


def _criterion(context: Context, criterion: Criterion, verdict: Verdict) -> CriterionShown:
    lead = next((term for term in criterion.terms if term.lead), None)
    kind, of = "", ""
    if lead is not None:
        of = lead.quantity
        kind = _MARGIN_KINDS.get(lead.test, "") if lead.test not in SIMPLE else entry(lead.quantity).kind
        if kind == "temperature":
            kind = "temperature_difference"
    row = context.library.row("criteria", criterion.id)
    return CriterionShown(
        verdict=verdict,
        margin_kind=kind if verdict.margin is not None else "",
        margin_of=of,
        cite=row.cite,
        jurisdiction=criterion.jurisdiction,
        counts=criterion.counts,
    )
