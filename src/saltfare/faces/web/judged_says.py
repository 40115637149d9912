"""How a criteria card, an incident and a log are said on a page."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from saltfare.core.errors import NotFound
from saltfare.core.figure import Answer, Evidence, Note
from saltfare.core.glossary import entry
from saltfare.faces.words import Words

if TYPE_CHECKING:
    from saltfare.actions.judged_shapes import CardShown, CriterionShown, FactShown

_WORDED = frozenset({"choice", "flag"})
# What is never folded away, whatever the answer.
_ALWAYS = frozenset(
    {"botulism", "toxins_survive", "trichinella_only", "freeze_resistant", "dry_heat", "clock_runs_already"}
)


def judged_says(words: Words) -> dict[str, Callable[..., Any]]:
    """The functions the pages of the criteria say things with."""

    def name_of(criterion: str) -> str:
        return words.say(f"criterion.{criterion}.text")

    def card_answer(card: CardShown) -> str:
        """The answer in words, with the criteria it rests on."""
        named = [
            name_of(one.verdict.criterion)
            for one in card.criteria
            if one.counts and one.verdict.answer is card.answer
        ]
        if card.answer is Answer.CANNOT_TELL or not named:
            return words.t("criteria.is.cannot_tell")
        return words.t(f"criteria.is.{card.answer.value}", criteria="; ".join(named))

    def margin(one: CriterionShown) -> str:
        """How far on the meeting side, or short of it; "" where that is not known."""
        value = one.verdict.margin
        if value is None or not one.margin_kind:
            return ""
        text = words.shown.quantity(abs(value), one.margin_kind)
        return words.t("criteria.margin" if value >= 0 else "criteria.short", value=text)

    def evidence(item: Evidence) -> str:
        known = words.t(f"criteria.known.{item.provenance.value}")
        kind = entry(item.quantity).kind
        name = words.name(item.quantity)
        if item.value is None:
            return words.t("criteria.evidence_none", name=name)
        if item.quantity.endswith("_log"):
            return words.t("criteria.evidence_log", name=name, known=known)
        if kind in _WORDED:
            text = words.t("criteria.as_asked" if item.value else "criteria.not_as_asked")
        else:
            text = number(item.quantity, item.value, None)
        return words.t("criteria.evidence", name=name, value=text, known=known)

    def number(quantity: str, value: float, error: float | None) -> str:
        kind = entry(quantity).kind
        if quantity.startswith("nitrite"):
            kind = "fraction:ppm"
        return words.shown.quantity(value, kind, half_width=error or None)

    def fact_value(fact: FactShown) -> str:
        """The value of a fact as people read it."""
        if isinstance(fact.value, bool):
            return words.t("criteria.yes" if fact.value else "criteria.no")
        if isinstance(fact.value, str):
            return choice(fact.quantity, fact.value)
        if fact.value is None:
            return ""
        text = number(fact.quantity, fact.value, fact.error)
        if not fact.error:
            return text
        kind = entry(fact.quantity).kind
        wide = "temperature_difference" if kind == "temperature" else kind
        if fact.quantity.startswith("nitrite"):
            wide = "fraction:ppm"
        return words.t("criteria.give_or_take", value=text, error=words.shown.quantity(fact.error, wide))

    def choice(quantity: str, value: str) -> str:
        try:
            return words.say(f"choice.{quantity}.{value}")
        except NotFound:
            return value

    def choices(quantity: str) -> list[tuple[str, str]]:
        """The words of a choice, in the order of the catalogue."""
        from saltfare.faces.words import find

        return [
            (key, words.say(f"choice.{quantity}.{key}")) for key in find(f"choice.{quantity}", words.tree)
        ]

    def cautions_of(card: CardShown, *, hidden: bool = False) -> list[Note]:
        """The cautions said at once, or those kept with the criteria one by one. Whom no criterion is for is
        said above them all."""
        told = [note for note in card.cautions if note.code != "vulnerable_people"]
        at_once = [n for n in told if card.answer is Answer.MEETS or n.code in _ALWAYS]
        return [n for n in told if n not in at_once] if hidden else at_once

    def clock_text(card: Any) -> str:
        if card.on is None:
            return words.t("trail.does_not_run_out", used=words.shown.quantity(card.used, "fraction"))
        return words.t("trail.runs_out", day=card.day, at=card.at)

    return {
        "criterion_name": name_of,
        "card_answer": card_answer,
        "margin_text": margin,
        "evidence_text": evidence,
        "fact_value": fact_value,
        "choice_text": choice,
        "choices_of": choices,
        "clock_text": clock_text,
        "cautions_of": cautions_of,
        "of_card": lambda notes, section="note": [words.note(n, section) for n in notes],
    }
