"""What the streams an answer was read from end in: the part of a cache's key that changes when they do."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from saltfare.actions.context import Context


def tails(context: Context, streams: Iterable[str]) -> dict[str, str]:
    """The hash of the last event of each stream; a version alone could be another journal's."""
    found = context.journal.tails()
    return {stream: found[stream] for stream in streams if stream in found}


def tails_of(context: Context, prefix: str) -> Mapping[str, str]:
    """The same of every stream whose name begins so."""
    return context.journal.tails(prefix)
