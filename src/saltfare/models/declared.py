"""Allergens and ways of eating, carried up from the ingredients.

What is not known of one ingredient is not known of the dish: an ingredient nothing is declared for
leaves every class it could hold at `cannot_tell`, and what only may be in it leaves that class so.
Nothing here speaks of traces.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Self

from saltfare.core.errors import BadTable
from saltfare.core.figure import Answer
from saltfare.core.tables import Row

_NONE = "none"


class Presence(StrEnum):
    """Whether a class of allergens is in a dish."""

    CONTAINS = "contains"
    CANNOT_TELL = "cannot_tell"
    NOT_PUT_IN = "not_put_in"


@dataclass(frozen=True, slots=True)
class Declared:
    """What is known of one ingredient.

    allergens: ids that are in it, None where nothing is known. holds: what diets ask for, None likewise.
    *_unsure: what may be in it besides.
    """

    allergens: frozenset[str] | None
    allergens_unsure: frozenset[str]
    holds: frozenset[str] | None
    holds_unsure: frozenset[str]

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of the pantry: an empty cell is not known, "none" is none."""
        return cls(
            _known(row, "allergens"),
            _known(row, "allergens_unsure") or frozenset(),
            _known(row, "holds"),
            _known(row, "holds_unsure") or frozenset(),
        )


UNKNOWN = Declared(None, frozenset(), None, frozenset())


def _known(row: Row, column: str) -> frozenset[str] | None:
    words = row.text(column).split()
    if not words:
        return None
    if _NONE in words and len(words) > 1:
        raise BadTable(f"{row.ref}: {column} = {row.text(column)}")
    return frozenset(words) - {_NONE}


@dataclass(frozen=True, slots=True)
class ClassFound:
    """One class of one law: whether it is in, which allergen by which ingredient, and who is unsure."""

    allergen_class: str
    presence: Presence
    by: tuple[tuple[str, str], ...]
    unsure: tuple[str, ...]


def allergens_found(
    *, ingredients: Sequence[tuple[str, Declared]], classes: Mapping[str, str]
) -> tuple[ClassFound, ...]:
    """Each class of a law, in the order of `classes`.

    Parameters
    ----------
    ingredients : name and what is known of each
    classes : class by allergen id; an id that is not there, or has no class, is not of that law

    Returns
    -------
    one answer per class

    Source
    ------
    eu_1169_2011, Annex II
    fdca_allergens, 21 USC 321(qq)
    fda_allergen_qa_5, table 1
    """
    out = []
    for wanted in dict.fromkeys(name for name in classes.values() if name):
        ids = {allergen for allergen, name in classes.items() if name == wanted}
        by = tuple(
            (name, allergen)
            for name, declared in ingredients
            for allergen in sorted((declared.allergens or frozenset()) & ids)
        )
        unsure = tuple(
            dict.fromkeys(
                name
                for name, declared in ingredients
                if declared.allergens is None or declared.allergens_unsure & ids
            )
        )
        presence = Presence.CANNOT_TELL if unsure else Presence.NOT_PUT_IN
        out.append(ClassFound(wanted, Presence.CONTAINS if by else presence, by, unsure))
    return tuple(out)


@dataclass(frozen=True, slots=True)
class DietFound:
    """Whether a dish fits a way of eating. because: ingredients that do not; unsure: that may not."""

    answer: Answer
    because: tuple[str, ...]
    unsure: tuple[str, ...]


def diet_found(*, ingredients: Sequence[tuple[str, Declared]], leaves_out: frozenset[str]) -> DietFound:
    """Whether every ingredient fits a way of eating; `meets` only where all are known to.

    Parameters
    ----------
    ingredients : name and what is known of each
    leaves_out : what that way of eating leaves out

    Returns
    -------
    answer and the ingredients it rests on

    Source
    ------
    saltfare_chosen, does_not_meet before cannot_tell before meets
    """
    because = tuple(name for name, declared in ingredients if (declared.holds or frozenset()) & leaves_out)
    unsure = tuple(
        name for name, declared in ingredients if declared.holds is None or declared.holds_unsure & leaves_out
    )
    if because:
        return DietFound(Answer.DOES_NOT_MEET, because, unsure)
    if unsure or not ingredients:
        return DietFound(Answer.CANNOT_TELL, (), unsure)
    return DietFound(Answer.MEETS, (), ())
