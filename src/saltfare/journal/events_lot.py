"""What is finished and stored. Stream: `lot/CODE`."""

from __future__ import annotations

from datetime import date
from typing import Literal

from pydantic import Field

from saltfare.core.fields import Measured
from saltfare.journal.events import Body

STREAM = "lot/"
Sealed = Literal["open", "air", "no_oxygen"]


class LotMade(Body, kind="lot_made"):
    """Packs of one size, made on a day from a piece or otherwise.

    sealed: open to air (wrapped in cloth or paper), closed with air in it, or without oxygen (vacuum
    or an absorber).
    """

    name: str = Field(min_length=1, max_length=120)
    piece: str | None = Field(default=None, max_length=20)
    packs: int = Field(ge=1, le=500)
    mass: Measured
    sealed: Sealed
    place: str = Field(max_length=80)
    packed_on: date
