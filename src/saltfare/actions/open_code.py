"""Whose a code is, scanned off a label or typed."""

from __future__ import annotations

import re
from typing import Literal

from pydantic import Field

from saltfare.actions.context import Context
from saltfare.actions.shapes import Output, Query
from saltfare.core.errors import NotFound
from saltfare.journal.codes import parse_code
from saltfare.journal.lot import lot

What = Literal["piece", "dish", "lot", "swap", "trip", "incident"]
_WHATS: tuple[What, ...] = ("piece", "dish", "lot", "swap", "trip", "incident")
# What a QR of a tag or label holds: an address that ends in the code.
_ADDRESS = re.compile(r"\s*https?://[^\s]+/l/(?P<code>[^/?#\s]+)\s*", re.IGNORECASE)


class OpenCodeGiven(Query):
    """A code as printed or typed: any case, blanks and hyphens between allowed; or the whole address that a
    printed QR holds."""

    code: str = Field(max_length=200)


class Opened(Output):
    """What bears a code."""

    code: str
    what: What


def open_code(context: Context, given: OpenCodeGiven) -> Opened:
    """Whose a code is: a piece's, a dish's, a lot's, a swap's, a trip's."""
    address = _ADDRESS.fullmatch(given.code)
    code = parse_code(address["code"] if address else given.code)
    for what in _WHATS:
        if context.journal.stream_head(f"{what}/{code}"):
            if what == "lot":  # one whose making was taken back is no lot
                lot(context.journal, code)
            return Opened(code=code, what=what)
    raise NotFound("code", code)
