"""The shelf: every lot in store, what to eat first at the top."""

from __future__ import annotations

from pydantic import Field

from saltfare.actions.context import Context
from saltfare.actions.judged_items import key_of_place
from saltfare.actions.shapes import Output, Query
from saltfare.actions.shelf_line import Origin, ShelfLine, line_of
from saltfare.actions.shelf_lots import shelf_lots
from saltfare.core.fields import Frozen


class ShelfGiven(Query):
    """Only lots in a place, of a kind, or whose name or code holds a text. gone: those that are gone too."""

    place: str | None = Field(default=None, max_length=80)
    kind: Origin | None = None
    text: str = Field(default="", max_length=120)
    gone: bool = False


class PlaceCount(Frozen):
    """A place and the packs that stand there."""

    key: str
    name: str
    lots: int
    packs: int


class ShelfShown(Output):
    """The lots asked for in the order in which to eat them; places and kinds there are, of all lots.

    packs, opened: of the lots asked for. all_lots: how many there are in all.
    """

    lots: tuple[ShelfLine, ...]
    places: tuple[PlaceCount, ...]
    kinds: tuple[Origin, ...]
    packs: int
    opened: int
    all_lots: int


_KINDS: tuple[Origin, ...] = ("piece", "dish", "mixed", "bought", "other")


def shelf(context: Context, given: ShelfGiven) -> ShelfShown:
    """The lots in store: what to eat first, how many are left, where, how long they keep."""
    found = [line_of(context, one) for one in shelf_lots(context, include_gone=given.gone)]
    wanted = key_of_place(given.place) if given.place else None
    text = given.text.strip().casefold()
    compact = "".join(char for char in text if char.isalnum())
    shown = [
        line
        for line in found
        if (wanted is None or line.place_key == wanted)
        and (given.kind is None or line.kind == given.kind)
        and (not text or text in line.name.casefold() or (compact and compact in line.code.casefold()))
    ]
    places: dict[str, list[ShelfLine]] = {}
    for line in found:
        if line.state in ("whole", "opened"):
            places.setdefault(line.place_key, []).append(line)
    return ShelfShown(
        lots=tuple(shown),
        places=tuple(
            PlaceCount(
                key=key, name=lines[0].place, lots=len(lines), packs=sum(line.packs_left for line in lines)
            )
            for key, lines in places.items()
        ),
        kinds=tuple(kind for kind in _KINDS if any(line.kind == kind for line in found)),
        packs=sum(line.packs_left for line in shown),
        opened=sum(line.opened for line in shown),
        all_lots=len(found),
    )
