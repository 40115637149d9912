"""What is known of a chamber and its air. Stream: `chamber/KEY`.

Readings live in their own table; the event of their import names how many and fixes them by digest.
"""

from __future__ import annotations

from typing import Literal

from pydantic import AwareDatetime, Field

from saltfare.core.fields import Measured
from saltfare.journal.events import Body

STREAM = "chamber/"


Changeable = Literal["wrap", "salt_tray", "fan", "door", "shelf", "fridge"]


class ChamberDescribed(Body, kind="chamber_described"):
    """A chamber named, with the air it usually has.

    changeable: what of it its owner can change; None where nobody said.
    """

    name: str = Field(min_length=1, max_length=120)
    temperature: Measured | None = None
    humidity: Measured | None = None
    air_speed: Measured | None = None
    changeable: tuple[Changeable, ...] | None = None


class Read(Body, kind="read"):
    """Air readings taken in. origin: where they come from, as told (a file's name, by hand).

    rows: those that were new. digest: SHA-256 over them, as `readings.digest` makes it.
    """

    origin: str = Field(default="", max_length=200)
    rows: int = Field(ge=1)
    first_at: AwareDatetime
    last_at: AwareDatetime
    digest: str = Field(pattern="^[0-9a-f]{64}$")
