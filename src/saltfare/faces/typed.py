"""Small readings of what a person typed, before an action sees it."""

from __future__ import annotations

import re
from datetime import datetime
from zoneinfo import ZoneInfo

_HAS_UNIT = re.compile(r"[^\W\d_]|[%°\"″']")


def with_unit(text: str, unit: str) -> str:
    """A quantity as typed, with the unit beside its field where it has none of its own."""
    return text if not unit or not text or _HAS_UNIT.search(text) else f"{text} {unit}"


def local_instant(text: str, zone: str) -> str:
    """A time as typed where the person is, with its offset; text that is no time is left to the action."""
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        return text
    return (at if at.tzinfo else at.replace(tzinfo=ZoneInfo(zone))).isoformat()
