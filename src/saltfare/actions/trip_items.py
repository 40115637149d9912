"""What may enter a trip's menu, with where it comes from, how it is treated and why it may not."""

from __future__ import annotations

from saltfare.actions.context import Context
from saltfare.core.errors import NotFound
from saltfare.journal import events_lot as lots
from saltfare.journal import events_piece as pieces
from saltfare.journal.lot import lot as lot_of
from saltfare.journal.piece import piece as piece_of

FOOD = "food/"


def name_of_item(context: Context, item: str) -> str:
    """What an item is called; its id where it is gone."""
    kind, _, key = item.partition("/")
    try:
        if kind + "/" == lots.STREAM:
            return lot_of(context.journal, key).name
        if kind + "/" == pieces.STREAM:
            return piece_of(context.journal, key).name
        if kind + "/" == FOOD:
            return context.library.row("pantry", key).text("label")
    except NotFound:
        pass
    return item
