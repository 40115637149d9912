"""Published criteria held against facts: three answers, each with its reasons.

A criterion is a row of `criteria` with its conditions in `criteria_terms`. The code knows no criterion
by name; what a text asks stands in the tables.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import groupby
from typing import Self

from saltfare.core.figure import Answer, Note, Verdict, joint_answer
from saltfare.core.library import Library
from saltfare.models.criteria_facts import Facts
from saltfare.models.criteria_terms import SIMPLE, Finding, Term, simple_finding
from saltfare.models.criteria_tests import TESTS, Rulebook


class Question(StrEnum):
    """What is asked of a piece, dish, pack or lot."""

    EATEN_UNCOOKED = "eaten_uncooked"
    KEPT_AIR = "kept_air"
    SEALED = "sealed"
    CARRIED = "carried"
    HEAT = "heat"
    COOLING = "cooling"
    PARASITES = "parasites"
    COMPOSITION = "composition"


# What needs no instrument people do not own, per question; keys of the words catalogue.
_INSTEAD: Mapping[Question, tuple[str, ...]] = {
    Question.EATEN_UNCOOKED: ("cooked_probe", "cooked_water_bath", "heated_in_pot"),
    Question.KEPT_AIR: ("kept_cold", "frozen", "cooked_probe"),
    Question.SEALED: ("frozen", "kept_cold", "packed_in_air"),
    Question.CARRIED: ("frozen_until_departure", "kept_cold", "heated_in_pot"),
    Question.HEAT: ("cooked_probe", "cooked_water_bath", "heated_in_pot"),
    Question.COOLING: ("thrown_out_if_slow", "cooled_in_ice_water"),
    Question.PARASITES: ("cooked_probe", "heated_in_pot"),
    Question.COMPOSITION: ("cooked_probe", "kept_cold"),
}
_BEST_FIRST = (Answer.MEETS, Answer.CANNOT_TELL, Answer.DOES_NOT_MEET)


@dataclass(frozen=True, slots=True)
class Criterion:
    """One published criterion and its conditions."""

    id: str
    questions: tuple[str, ...]
    family: str
    counts: bool
    edition: str
    jurisdiction: str
    cautions: tuple[str, ...]
    terms: tuple[Term, ...]


@dataclass(frozen=True, slots=True)
class Criteria:
    """Every criterion, and the printed tables their conditions read."""

    all: tuple[Criterion, ...]
    book: Rulebook

    @classmethod
    def from_library(cls, library: Library) -> Self:
        """From the tables criteria and criteria_terms."""
        terms = [Term.from_row(row) for row in library.rows("criteria_terms")]
        found = tuple(
            Criterion(
                row.text("id"),
                tuple(row.text("questions").split()),
                row.text("family"),
                row.text("counts") == "yes",
                row.text("edition"),
                row.text("jurisdiction"),
                tuple(row.text("cautions").split()),
                tuple(term for term in terms if term.criterion == row.text("id")),
            )
            for row in library.rows("criteria")
        )
        return cls(found, Rulebook.from_library(library))


@dataclass(frozen=True, slots=True)
class Card:
    """A question with the verdict of every criterion offered, and what they come to together.

    answer: families must all hold, any criterion of a family does; only those that count. No criterion
    offered is cannot_tell. settles and instead: of the whole question.
    """

    question: Question
    answer: Answer
    verdicts: tuple[Verdict, ...]
    settles: tuple[Note, ...]
    instead: tuple[Note, ...]


def verdict(*, criterion: Criterion, facts: Facts, book: Rulebook, instead: Sequence[str]) -> Verdict | None:
    """What one criterion answers; None where it is known not to be about this food.

    Parameters
    ----------
    criterion : Criterion
    facts : Facts
    book : printed tables
    instead : keys of handlings that need no further measurement

    Returns
    -------
    Verdict or None

    Source
    ------
    saltfare_chosen, precedence does_not_meet, cannot_tell, meets over the published conditions
    """
    findings = {term.row_id: _finding(term, facts, book) for term in criterion.terms}
    scope = [findings[term.row_id] for term in criterion.terms if term.group == 0]
    if any(f.answer is Answer.DOES_NOT_MEET for f in scope):
        return None
    parts, margin = list(scope), None
    answers = [f.answer for f in scope]
    for _, group in groupby(
        sorted(criterion.terms, key=lambda t: (t.group, t.branch)), key=lambda t: t.group
    ):
        terms = list(group)
        if terms[0].group == 0:
            continue
        answer, chosen = _group(terms, findings)
        answers.append(answer)
        parts += [findings[t.row_id] for t in chosen]
        leads = [findings[t.row_id].margin for t in chosen if t.lead]
        margin = leads[0] if leads else margin
    answer = joint_answer(answers)
    settles = _unique(note for f in parts for note in f.settles) if answer is Answer.CANNOT_TELL else ()
    notes = _unique(note for f in parts for note in f.notes)
    return Verdict(
        criterion=criterion.id,
        edition=criterion.edition,
        answer=answer,
        margin=margin,
        evidence=tuple(dict.fromkeys(e for f in parts for e in f.evidence)),
        settles=settles,
        instead=() if answer is Answer.MEETS else tuple(Note(key) for key in instead),
        cautions=(*(Note(code) for code in criterion.cautions), *notes),
    )


def _finding(term: Term, facts: Facts, book: Rulebook) -> Finding:
    if term.test in SIMPLE:
        return simple_finding(term=term, facts=facts, errors=book.errors)
    return TESTS[term.test](term, facts, book)


def _group(terms: Sequence[Term], findings: Mapping[str, Finding]) -> tuple[Answer, list[Term]]:
    """The best branch of a group: its answer, and the terms it rests on.

    A doubt rests on every branch that is still open, so that each names what would settle it.
    """
    branches = [list(branch) for _, branch in groupby(terms, key=lambda t: t.branch)]
    answers = [joint_answer([findings[t.row_id].answer for t in branch]) for branch in branches]
    best = next(a for a in _BEST_FIRST if a in answers)
    if best is Answer.MEETS:
        return best, branches[answers.index(best)]
    return best, [t for branch, a in zip(branches, answers, strict=True) if a is best for t in branch]


def _unique(notes: object) -> tuple[Note, ...]:
    seen: dict[tuple[str, tuple[tuple[str, object], ...]], Note] = {}
    for note in notes:  # type: ignore[attr-defined]
        seen.setdefault((note.code, tuple(sorted(note.params.items()))), note)
    return tuple(seen.values())


def card(*, question: Question, facts: Facts, criteria: Criteria) -> Card:
    """Every criterion offered for a question, and what they come to.

    Parameters
    ----------
    question : Question
    facts : Facts
    criteria : Criteria

    Returns
    -------
    Card

    Source
    ------
    saltfare_chosen, families must all hold, any criterion of a family does
    """
    instead = _INSTEAD[question]
    verdicts: list[Verdict] = []
    families: dict[str, list[Answer]] = {}
    for criterion in criteria.all:
        if question.value not in criterion.questions:
            continue
        found = verdict(criterion=criterion, facts=facts, book=criteria.book, instead=instead)
        if found is None:
            continue
        verdicts.append(found)
        if criterion.counts:
            families.setdefault(criterion.family, []).append(found.answer)
    best = [next(a for a in _BEST_FIRST if a in answers) for answers in families.values()]
    answer = joint_answer(best)
    settles = _unique(note for v in verdicts for note in v.settles) if answer is Answer.CANNOT_TELL else ()
    if answer is Answer.CANNOT_TELL and not settles:
        settles = (Note("no_criterion_held"),)
    return Card(
        question,
        answer,
        tuple(verdicts),
        settles,
        () if answer is Answer.MEETS else tuple(Note(key) for key in instead),
    )


def cards(*, facts: Facts, criteria: Criteria) -> tuple[Card, ...]:
    """Every question in order.

    Parameters
    ----------
    facts : Facts
    criteria : Criteria

    Returns
    -------
    one Card a question

    Source
    ------
    saltfare_chosen, the questions asked of every piece, dish, pack and lot
    """
    return tuple(card(question=question, facts=facts, criteria=criteria) for question in Question)
