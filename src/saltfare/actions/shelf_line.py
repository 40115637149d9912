"""A lot in a line of the shelf: what it is, how many are left, where, until when, and what it is beside
another: price, energy, mass, keeping, liking."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from datetime import date
from typing import Literal

from saltfare.actions.context import Context
from saltfare.actions.pack_content import pack_content
from saltfare.actions.pack_worth import pack_worth
from saltfare.actions.shelf_lots import ShelfLot
from saltfare.actions.tasting import said_of
from saltfare.core.errors import NotFound, Refused
from saltfare.core.fields import Frozen
from saltfare.core.figure import Answer, Figure
from saltfare.journal.events_lot import Sealed
from saltfare.journal.lot import LotState
from saltfare.journal.trip import trips

Origin = Literal["piece", "dish", "bought", "mixed", "other"]
_BEST_FIRST = ("loved", "liked", "so_so", "disliked")


class Liked(Frozen):
    """How it was liked: people by word, and the middle word of them; "" where nobody said."""

    people: int
    middle: str
    counts: dict[str, int]


class HeldBy(Frozen):
    """Packs a trip's menu holds."""

    trip: str
    name: str
    packs: int


class ShelfLine(Frozen):
    """A lot on the shelf. kind: what it is made of. rank, why: what to eat first, and for what reason.

    answers: by kept, eaten, carried. planning_date: to plan with, never a promise; printed_on: the date on a
    bought pack. kcal, cost_minor: of one pack, None where not known; rates in minor units.
    """

    code: str
    version: int
    name: str
    kind: Origin
    state: str
    piece: str | None
    dish: str | None
    product: str | None
    swap: str | None
    maker: str
    packs: int
    packs_left: int
    free: int
    opened: int
    held: tuple[HeldBy, ...]
    pack_kg: float
    sealed: Sealed
    place: str
    place_key: str
    since: date
    packed_on: date
    printed_on: date | None
    planning_date: date | None
    latest: date | None
    first_limit: str
    doubtful: bool
    answers: dict[str, Answer]
    rank: int
    why: str
    kcal: float | None
    protein_g: float | None
    cost_minor: int | None
    per_kg: Figure | None
    per_1000_kcal: Figure | None
    liked: Liked


def line_of(context: Context, one: ShelfLot) -> ShelfLine:
    """A lot of the shelf as it is listed."""
    state, keeping = one.lot, one.keeping
    kcal, protein = _content(context, state)
    worth = pack_worth(context, state)
    return ShelfLine(
        code=state.code,
        version=state.version,
        name=state.name,
        kind=_kind(state),
        state=state.state,
        piece=state.made.piece,
        dish=state.made.dish,
        product=state.made.bought,
        swap=state.made.swap,
        maker=state.made.maker,
        packs=state.made.packs,
        packs_left=state.packs_left,
        free=state.free,
        opened=state.opened,
        held=_held(context, state),
        pack_kg=state.made.mass.value,
        sealed=state.made.sealed,
        place=one.place,
        place_key=one.place_key,
        since=one.since,
        packed_on=state.made.packed_on,
        printed_on=state.made.printed_on,
        planning_date=keeping.planning_date,
        latest=keeping.high,
        first_limit=keeping.first_limit,
        doubtful=keeping.doubtful,
        answers=dict(one.answers),
        rank=one.rank,
        why=one.why,
        kcal=kcal,
        protein_g=protein,
        cost_minor=worth.cost_minor,
        per_kg=worth.per_kg,
        per_1000_kcal=worth.per_1000_kcal,
        liked=liked_by(entry.body.liked for _, entry in said_of(context, state)),
    )


def liked_by(words: Iterable[str | None]) -> Liked:
    """How it was liked, of what each person said."""
    said = [word for word in words if word]
    ordered = sorted(said, key=_BEST_FIRST.index)
    middle = ordered[(len(ordered)) // 2] if ordered else ""  # of an even number, the less kind of the two
    return Liked(people=len(said), middle=middle, counts=dict(Counter(ordered)))


def _kind(state: LotState) -> Origin:
    found = state.origin
    return found if found in ("piece", "dish", "bought", "mixed") else "other"  # type: ignore[return-value]


def _content(context: Context, state: LotState) -> tuple[float | None, float | None]:
    try:
        content = pack_content(context, state)
    except (NotFound, Refused):
        return None, None
    return content.kcal, content.protein_g


def _held(context: Context, state: LotState) -> tuple[HeldBy, ...]:
    if not state.reserved:
        return ()
    names = {one.code: one.name for one in trips(context.journal)}
    return tuple(
        HeldBy(trip=code, name=names.get(code, code), packs=packs) for code, packs in state.reserved.items()
    )
