"""What the streams an answer was read from end in: the part of a cache's key that changes when they do."""

from __future__ import annotations

from collections.abc import Iterable

from saltfare.actions.context import Context
from saltfare.journal.events import Event


def tails(context: Context, streams: Iterable[str]) -> dict[str, str]:
    """The hash of the last event of each stream; a version alone could be another journal's."""
    found = {stream: context.journal.fold(stream, _tail) for stream in streams}
    return {stream: tail for stream, tail in found.items() if tail is not None}


def tails_of(context: Context, prefix: str) -> dict[str, str]:
    """The same of every stream whose name begins so."""
    return context.journal.fold_all(prefix, _tail)


def _tail(events: tuple[Event, ...]) -> str:
    return events[-1].hash
