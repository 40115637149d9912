"""One condition of a criterion, read from a row and held against the facts.

A number is taken at its worst edge to meet and at its best edge to fail; between the two the answer
is cannot_tell. Estimated never meets.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Self

from saltfare.core.errors import BadTable
from saltfare.core.figure import Answer, Evidence, Note, Provenance
from saltfare.core.glossary import entry
from saltfare.core.tables import Row
from saltfare.models.criteria_facts import Fact, Facts

_LIMITS = (
    "limit",
    "limit_pct",
    "limit_ppm",
    "limit_f",
    "limit_c",
    "limit_min",
    "limit_h",
    "limit_d",
    "limit_in",
    "limit_lb",
)
_COMPARED = {"at_most": 1, "below": 1, "at_least": -1, "above": -1}
_STRICT = frozenset({"below", "above"})
SIMPLE = frozenset({*_COMPARED, "is", "yes", "no"})


@dataclass(frozen=True, slots=True)
class Term:
    """One row of `criteria_terms`: in `group` (0 is scope) and `branch`, a test of a quantity.

    limits: SI values by column, so that a test may carry a temperature and a time.
    """

    row_id: str
    criterion: str
    group: int
    branch: str
    quantity: str
    test: str
    words: tuple[str, ...]
    limits: Mapping[str, float]
    settles: str
    lead: bool

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of `criteria_terms`."""
        limits = {name: v for name in _LIMITS if (v := row.number_or_none(name)) is not None}
        return cls(
            row.text("id"),
            row.text("criterion"),
            int(row.number("group")),
            row.text("branch"),
            row.text("quantity"),
            row.text("test"),
            tuple(row.text("words").split()),
            limits,
            row.text("settles"),
            row.text("lead") == "yes",
        )

    @property
    def limit(self) -> float:
        """The one limit of a simple comparison. Raises BadTable where there is none or more."""
        if len(self.limits) != 1:
            raise BadTable(f"criteria_terms:{self.row_id} needs one limit")
        return next(iter(self.limits.values()))

    def of(self, *names: str) -> float:
        """The limit in the first of those columns that holds one. Raises BadTable."""
        for name in names:
            if name in self.limits:
                return self.limits[name]
        raise BadTable(f"criteria_terms:{self.row_id} holds none of {names}")


@dataclass(frozen=True, slots=True)
class Finding:
    """What one term answers, its margin in its own quantity, the evidence, what would settle it."""

    answer: Answer
    margin: float | None
    evidence: tuple[Evidence, ...]
    settles: tuple[Note, ...]
    notes: tuple[Note, ...] = ()


def finding(
    *,
    answer: Answer,
    term: Term,
    evidence: tuple[Evidence, ...],
    margin: float | None,
    notes: tuple[Note, ...],
) -> Finding:
    """A finding in which a doubt names what settles it.

    Parameters
    ----------
    answer : answer of the term
    term : Term
    evidence : what it rests on; not measured or logged turns meets into cannot_tell
    margin : positive on the meeting side, None where unknown
    notes : remarks of the test

    Returns
    -------
    Finding

    Source
    ------
    saltfare_chosen, estimated or missing input never meets
    """
    firm = all(
        e.value is not None and e.provenance in (Provenance.MEASURED, Provenance.LOGGED) for e in evidence
    )
    if answer is Answer.MEETS and not (evidence and firm):
        answer = Answer.CANNOT_TELL
    settles = (Note(term.settles, {"quantity": term.quantity}),) if answer is Answer.CANNOT_TELL else ()
    return Finding(answer, margin, evidence, settles, notes)


def simple_finding(*, term: Term, facts: Facts, errors: Mapping[str, float]) -> Finding:
    """A comparison, a choice or a yes and no held against the facts.

    Parameters
    ----------
    term : Term whose test is one of SIMPLE
    facts : Facts
    errors : half width of the error by quantity, where a fact states none

    Returns
    -------
    Finding

    Source
    ------
    saltfare_chosen, worst edge to meet and best edge to fail
    """
    fact = facts.fact(term.quantity)
    if fact.value is None:
        unknown = (Evidence(term.quantity, None, Provenance.UNKNOWN),)
        return finding(answer=Answer.CANNOT_TELL, term=term, evidence=unknown, margin=None, notes=())
    if term.test in _COMPARED:
        return _compared(term, fact, _error(term.quantity, fact, facts, errors))
    if term.test == "is":
        holds = fact.value in term.words
    else:
        if not isinstance(fact.value, bool):
            raise BadTable(f"criteria_terms:{term.row_id}: {term.quantity} is no yes or no")
        holds = fact.value is (term.test == "yes")
    evidence = (Evidence(term.quantity, 1.0 if holds else 0.0, fact.provenance),)
    answer = Answer.MEETS if holds else Answer.DOES_NOT_MEET
    if not holds and not fact.firm:
        answer = Answer.CANNOT_TELL
    return finding(answer=answer, term=term, evidence=evidence, margin=None, notes=())


def _error(quantity: str, fact: Fact, facts: Facts, errors: Mapping[str, float]) -> float:
    error = errors.get(quantity, 0.0) if fact.error is None else fact.error
    # a jar with a hygrometer, or no word on how: never finer than that
    if quantity in ("water_activity", "aw_when_cooled") and facts.aw_method.value != "instrument":
        error = max(error, errors["water_activity_jar"])
    return error


def _compared(term: Term, fact: Fact, error: float) -> Finding:
    if isinstance(fact.value, bool) or not isinstance(fact.value, float | int):
        raise BadTable(f"criteria_terms:{term.row_id}: {term.quantity} is no number")
    sign, value, limit = _COMPARED[term.test], float(fact.value), term.limit
    slack = 1e-12 * max(abs(limit), 1.0)  # a printed limit typed in another unit is still that limit
    worst, best = sign * (limit - value) - error, sign * (limit - value) + error
    strict = term.test in _STRICT
    if worst > slack or (worst >= -slack and not strict):
        answer = Answer.MEETS
    elif best < -slack or (strict and best <= slack):
        answer = Answer.DOES_NOT_MEET
    else:
        answer = Answer.CANNOT_TELL
    notes: tuple[Note, ...] = ()
    if answer is Answer.MEETS and not is_plausible(quantity=term.quantity, value=value):
        # a percent or another unit typed as a share looks like this
        answer, notes = Answer.CANNOT_TELL, (Note("ours_implausible", {"quantity": term.quantity}),)
    evidence = (Evidence(term.quantity, value, fact.provenance),)
    return finding(answer=answer, term=term, evidence=evidence, margin=worst, notes=notes)


def is_plausible(*, quantity: str, value: float) -> bool:
    """Whether a value lies within the plausible range of its glossary entry; True where it has none.

    Parameters
    ----------
    quantity : glossary name
    value : SI value

    Returns
    -------
    True or False

    Source
    ------
    saltfare_chosen, an unusual value is asked about before anything rests on it
    """
    span = entry(quantity).plausible
    return span is None or span[0] <= value <= span[1]
