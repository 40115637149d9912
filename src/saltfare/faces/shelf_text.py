"""How a lot, its place and its tastings are said on a page and on paper."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from saltfare.faces.words import Words

if TYPE_CHECKING:
    from saltfare.actions.lot_view import StayShown, TastingShown
    from saltfare.actions.piece_log import LogLine
    from saltfare.actions.shelf_line import Liked, ShelfLine
    from saltfare.core.figure import Answer

_FLAGS = ("too_wet", "hard_in_the_middle", "would_carry_again")


def answers_said(words: Words, answers: Iterable[tuple[str, Answer]]) -> list[tuple[str, str]]:
    """Each answer there is, the worst first, and what it is about."""
    known, out = list(answers), []
    for answer in ("does_not_meet", "cannot_tell", "meets"):
        about = [words.t(f"shelf.about.{k}") for k, found in known if found.value == answer]
        if about:
            told = ", ".join(about)
            out.append((answer, words.t(f"shelf.answer.{answer}", about=told[:1].upper() + told[1:])))
    return out


def shelf_says(words: Words) -> dict[str, Any]:
    """The functions the pages of the shelf say things with."""

    def why_first(line: ShelfLine) -> str:
        """Why it stands where it does in the order."""
        if line.state not in ("whole", "opened"):
            return words.t(f"shelf.gone_as.{line.state}")
        return words.t(f"shelf.why.{line.why}", on=line.planning_date, packed=line.packed_on, n=line.opened)

    def left(line: ShelfLine) -> str:
        """How many, of how many, how heavy, and where."""
        parts = [words.t("shelf.left", left=line.packs_left, packs=line.packs)]
        if line.opened:
            parts.append(words.t("shelf.opened", n=line.opened))
        held = sum(one.packs for one in line.held)
        if held:
            parts.append(words.t("shelf.held", n=held))
        parts.append(words.t("shelf.each", mass_kg=line.pack_kg))
        parts.append(line.place)
        return ", ".join(parts)

    def until(line: ShelfLine) -> str:
        """How late the first limit may come, and the date its maker printed."""
        told = []
        if line.planning_date is not None and line.latest and line.latest > line.planning_date:
            told.append(words.t("shelf.until_as_late", latest=line.latest))
        if line.printed_on is not None:
            told.append(words.t("shelf.printed", on=line.printed_on))
        return " ".join(told)

    def answers(line: ShelfLine) -> list[tuple[str, str]]:
        """Each answer there is, the worst first, and what it is about."""
        return answers_said(words, line.answers.items())

    def liked(found: Liked) -> str:
        if not found.people:
            return ""
        if found.people == 1:
            return words.t("shelf.liked_by_one", word=words.t(f"shelf.liked_as.{found.middle}"))
        told = ", ".join(
            f"{words.t(f'shelf.liked_as.{word}')} {count}" for word, count in found.counts.items()
        )
        return words.t("shelf.liked_by", n=found.people, told=told)

    def tasted(one: TastingShown) -> str:
        """One tasting in words."""
        parts = [words.t(f"shelf.liked_as.{one.liked}")] if one.liked else []
        for flag in _FLAGS:
            value = getattr(one, flag)
            if value is not None:
                parts.append(words.t(f"shelf.tasted.{flag}.{'yes' if value else 'no'}"))
        said = ", ".join(parts)
        said = said[:1].upper() + said[1:]
        return f"{said}. {one.text}" if said and one.text else said or one.text

    def warm(stay: StayShown) -> str:
        """How warm it was where it stood."""
        if stay.basis == "not_told" or stay.low_c is None:
            return words.t("shelf.warm.not_told")
        key = f"shelf.warm.{stay.basis}"
        low, high = words.shown.span(stay.low_c, stay.high_c or stay.low_c, "temperature")
        if low == high:
            return words.t(f"{key}_one", mean_c=stay.mean_c, n=stay.readings)
        return words.t(key, low=low, high=high, mean_c=stay.mean_c, n=stay.readings)

    def happened(entry: LogLine) -> str:
        """A line of a lot's history."""
        told = [
            words.t(f"shelf.told.{name}", value=_value(name, value)) for name, value in entry.params.items()
        ]
        key = f"shelf.log.{entry.kind}"
        if not words.has(f"page.{key}"):
            key = "shelf.log.other"
        return words.t(key, told=", ".join(told))

    def _value(name: str, value: str) -> str:
        if name in ("why_drawn", "done", "liked"):
            group = {"why_drawn": "gone_as", "done": "done_as", "liked": "liked_as"}[name]
            return words.t(f"shelf.{group}.{value}")
        return value

    def said_words(codes: tuple[str, ...]) -> list[tuple[str, str]]:
        """Allergens and what ways of eating leave out, as people say them."""
        return [
            (
                code,
                words.say(
                    f"allergen.{code}" if words.has(f"allergen.{code}") else f"page.shelf.label_word.{code}"
                ),
            )
            for code in codes
        ]

    return {
        "said_words": said_words,
        "why_first": why_first,
        "left_of": left,
        "until_of": until,
        "answers_said": answers,
        "liked_said": liked,
        "tasted_said": tasted,
        "warm_said": warm,
        "happened_said": happened,
    }
