"""Find a food by what people call it, mistyped or not, the plain raw one first.

Each word asked for is matched with the words of the names: as it is, by its other words, as a beginning,
or within a typing slip. A food that matches every word stands before one that does not; among those, what
the word says first about the food counts most, and what is plain, raw and usual stands ahead. The marks
below order foods and are nothing else: no figure rests on them.
"""

from __future__ import annotations

import re
import unicodedata
from bisect import bisect_left
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from saltfare.core.foods import Named
from saltfare.core.numerics import Array
from saltfare.core.tables import Row

Indices = npt.NDArray[np.int64]

_WORD = re.compile(r"[a-z0-9]{2,}")
_PART = re.compile(r"[,;(]")
_STOP = frozenset(
    [
        *("and", "or", "with", "without", "of", "the", "in", "a", "an", "to", "for", "from", "by", "as"),
        *("not", "no", "added", "includes", "all"),
    ]
)
# What a word is worth by where it stands: first word, first part, second part, later parts.
_PLACES = (1.0, 0.85, 0.75, 0.6)
_SYNONYM, _BEGINNING, _SLIP, _TWO_SLIPS = 0.95, 0.9, 0.7, 0.5
_MARKS = {
    "raw": 0.30,
    "uncooked": 0.25,
    "unprepared": 0.25,
    "plain": 0.25,
    "dry": 0.10,
    "roasted": -0.15,
    "dried": 0.05,
    "fresh": 0.10,
    "imitation": -0.4,
    "substitute": -0.4,
    "meatless": -0.4,
    "sprouted": -0.2,
    "commodity": -0.3,
}
# By food group: baby foods, soups, cured sausages, breakfast cereals, baked goods, sweets, fast foods, meals,
# snacks, foods of the north, restaurants.
_GROUPS = {
    "03": -0.8,
    "06": -0.25,
    "07": -0.1,
    "08": -0.1,
    "18": -0.2,
    "19": -0.1,
    "21": -0.7,
    "22": -0.5,
    "25": -0.25,
    "35": -0.4,
    "36": -0.7,
}
# First parts of a name that say the kind, not the food: "Spices, cinnamon, ground".
_KINDS = frozenset(
    {"spices", "nuts", "seeds", "fish", "cheese", "crustaceans", "mollusks", "beverages", "game meat"}
    | {"alcoholic beverage", "cereals ready-to-eat"}
)
_MAKER, _PER_WORD, _PANTRY, _OWN, _WHOLE = -1.5, -0.03, 0.8, 0.6, 0.5


@dataclass(frozen=True, slots=True)
class Usual:
    """A usual ingredient as a search sees it: its own name, other names, and the food it points to."""

    id: str
    label: str
    also: str
    food_id: str

    @classmethod
    def from_row(cls, row: Row) -> Usual:
        """From a row of the pantry."""
        return cls(row.text("id"), row.text("label"), row.text("also"), row.text("food"))


@dataclass(frozen=True, slots=True)
class Hit:
    """A food found. usual_id: the usual ingredient it was found as, "" where it was not."""

    food_id: str
    name: str
    usual_id: str
    score: float


@dataclass(frozen=True, slots=True)
class FoodIndex:
    """Names taken apart once, to be searched many times."""

    hits: tuple[Hit, ...]
    prior: Array
    labels: Mapping[str, tuple[int, ...]]
    postings: Mapping[str, tuple[Indices, Array]]
    means: Mapping[str, tuple[str, ...]]
    vocabulary: tuple[str, ...]
    letters: npt.NDArray[np.int16] = field(repr=False)


@lru_cache(maxsize=16384)
def _words(text: str) -> tuple[str, ...]:
    """The words of a text as they are compared: no accents, no plural, no small words."""
    plain = text.lower()
    if not plain.isascii():
        plain = unicodedata.normalize("NFKD", plain).encode("ascii", "ignore").decode()
    return tuple(_stem(word) for word in _WORD.findall(plain) if word not in _STOP)


@lru_cache(maxsize=16384)
def _stem(word: str) -> str:
    if len(word) > 4 and word.endswith("ies"):
        return word[:-3] + "y"
    if len(word) > 4 and word.endswith(("oes", "ches", "shes", "sses", "xes")):
        return word[:-2]
    if len(word) > 3 and word.endswith("s") and not word.endswith(("ss", "us")):
        return word[:-1]
    return word


def build_index(
    *, foods: Iterable[Named], usual: Iterable[Usual], own: Iterable[Named], means: Mapping[str, str]
) -> FoodIndex:
    """Take the names apart.

    Parameters
    ----------
    foods : of the table
    usual : the pantry, which stands ahead
    own : the person's own foods, ahead of the table
    means : other words, each with the words of the table it stands for

    Returns
    -------
    the index

    Source
    ------
    saltfare_chosen, order of what is found
    """
    hits: list[Hit] = []
    prior: list[float] = []
    labels: dict[str, list[int]] = {}
    lists: dict[str, dict[int, float]] = {}

    def add(hit: Hit, mark: float, *named: Mapping[str, float]) -> None:
        at = len(hits)
        hits.append(hit)
        prior.append(mark)
        for places in named:
            labels.setdefault(" ".join(sorted(places)), []).append(at)
            for word, place in places.items():
                held = lists.setdefault(word, {})
                if place > held.get(at, 0.0):
                    held[at] = place

    for one in usual:
        called = (one.label, *one.also.split(";"))
        add(Hit(one.food_id, one.label, one.id, 0.0), _PANTRY, *map(_placed, called))
    for food in own:
        add(Hit(food.id, food.name, "", 0.0), _OWN, _placed(food.name))
    for food in foods:
        places = _placed(food.name)
        add(Hit(food.id, food.name, "", 0.0), _plainness(food, places), places)
    vocabulary = tuple(sorted(lists))
    return FoodIndex(
        tuple(hits),
        np.array(prior),
        {label: tuple(found) for label, found in labels.items()},
        {
            word: (np.fromiter(held, np.int64), np.fromiter(held.values(), np.float64))
            for word, held in lists.items()
        },
        {stem: _words(meaning) for word, meaning in means.items() for stem in _words(word)},
        vocabulary,
        np.array([_letters(word) for word in vocabulary], dtype=np.int16),
    )


def _placed(name: str) -> dict[str, float]:
    """Each word of a name with what it is worth where it stands."""
    out: dict[str, float] = {}
    parts = _PART.split(name)
    kind = len(parts) > 1 and parts[0].strip().lower() in _KINDS
    for part_at, part in enumerate(parts):
        # the part after the kind is the food; the kind itself is worth what a second part is
        at = (1 if part_at == 0 else part_at - 1) if kind else part_at
        for word_at, word in enumerate(_words(part)):
            place = _PLACES[0 if at == word_at == 0 else min(at, 2) + 1]
            if place > out.get(word, 0.0):
                out[word] = place
    return out


def _plainness(food: Named, words: Iterable[str]) -> float:
    mark = _MAKER if food.maker else _GROUPS.get(food.group, 0.0)
    return mark + sum(_MARKS.get(word, 0.0) + _PER_WORD for word in words)


def _letters(word: str) -> list[int]:
    counts = [0] * 36
    for letter in word:
        counts[ord(letter) - 97 if letter >= "a" else ord(letter) - 22] += 1
    return counts


def search(*, index: FoodIndex, query: str, limit: int) -> tuple[Hit, ...]:
    """The foods that answer a query best, best first, each once.

    Parameters
    ----------
    index : of the names
    query : as typed, the last word perhaps unfinished
    limit : most hits

    Returns
    -------
    hits, () for a query without a word that matches anything

    Source
    ------
    saltfare_chosen, order of what is found
    """
    asked = _joined(index, _words(query[:80])[:8])
    if not asked:
        return ()
    score, matched = np.zeros(len(index.hits)), np.zeros(len(index.hits), dtype=np.int64)
    for at, word in enumerate(asked):
        best = np.zeros(len(index.hits))
        for found, quality in _matches(index, word, unfinished=at == len(asked) - 1):
            where, places = index.postings[found]
            best[where] = np.maximum(best[where], quality * places)
        score += best
        matched += best > 0
    most = int(matched.max())
    if most == 0:
        return ()
    candidates = np.flatnonzero(matched == most)
    marks = score[candidates] / len(asked) * 2.0 + index.prior[candidates]
    exact = frozenset(index.labels.get(" ".join(sorted(set(asked))), ()))
    if exact:
        marks += _WHOLE * np.array([int(at) in exact for at in candidates])
    order = candidates[np.lexsort((candidates, -marks))]
    value = dict(zip(candidates.tolist(), marks.tolist(), strict=True))
    out: dict[str, Hit] = {}
    for at in order.tolist():
        hit = index.hits[at]
        out.setdefault(hit.food_id, Hit(hit.food_id, hit.name, hit.usual_id, value[at]))
        if len(out) >= limit:
            break
    return tuple(out.values())


def _joined(index: FoodIndex, words: tuple[str, ...]) -> list[str]:
    """Words asked for, two of them as one where only that is a word of the index: "chick peas"."""
    out: list[str] = []
    for word in words:
        if out and out[-1] + word in index.postings and out[-1] not in index.postings:
            out[-1] += word
        else:
            out.append(word)
    return out


def _matches(index: FoodIndex, word: str, *, unfinished: bool) -> Iterable[tuple[str, float]]:
    """Words of the index that a word asked for may be, each with how well."""
    out: dict[str, float] = {}
    if word in index.postings:
        out[word] = 1.0
    for other in index.means.get(word, ()):
        if other in index.postings:
            out.setdefault(other, _SYNONYM)
    if unfinished and len(word) >= 2:
        start = bisect_left(index.vocabulary, word)
        for found in index.vocabulary[start : bisect_left(index.vocabulary, word + "~")]:
            out.setdefault(found, _BEGINNING * (len(word) / len(found)) ** 0.25)
    if not out:
        out.update(_slips(index, word))
    return out.items()


def _slips(index: FoodIndex, word: str) -> Iterable[tuple[str, float]]:
    """Words within one slip, or within two where none is; short words are not guessed at."""
    if len(word) < 3:
        return
    allowed = 1 if len(word) < 6 else 2
    # of three letters only two neighbours swapped is a slip that can be told: all letters are there
    apart = 0 if len(word) == 3 else 2 * allowed
    near = np.abs(index.letters - np.array(_letters(word), dtype=np.int16)).sum(axis=1) <= apart
    found = [(other, _slip_count(word, other)) for other in np.array(index.vocabulary)[near].tolist()]
    least = min((count for _, count in found), default=9)
    if least <= allowed:
        yield from ((other, _SLIP if least == 1 else _TWO_SLIPS) for other, count in found if count == least)


def _slip_count(one: str, other: str) -> int:
    """Letters left out, put in, changed, or two neighbours swapped, to get from one word to the other."""
    before: list[int] = []
    row = list(range(len(other) + 1))
    for i, letter in enumerate(one, 1):
        last, before_last, before, row = row, before, row, [i]
        for j, wanted in enumerate(other, 1):
            cost = min(last[j] + 1, row[j - 1] + 1, last[j - 1] + (letter != wanted))
            if i > 1 and j > 1 and letter == other[j - 2] and one[i - 2] == wanted:
                cost = min(cost, before_last[j - 2] + 1)
            row.append(cost)
    return row[-1]
