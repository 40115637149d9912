"""What may teach the forecasts and what not, as the person decided. Stream: `learning`."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from saltfare.journal.events import Body

STREAM = "learning"
Scope = Literal["all", "chamber", "cut"]


class PieceExcluded(Body, kind="piece_excluded"):
    """A piece that is to teach nothing, or, not `excluded`, to teach again."""

    code: str = Field(max_length=20)
    excluded: bool
    why: str = Field(default="", max_length=1000)


class LearningReset(Body, kind="learning_reset"):
    """Something is no longer as it was: what was hung before says nothing of what is hung after.

    scope, key: one chamber, one cut, or everything, which has no key.
    """

    scope: Scope
    key: str = Field(default="", max_length=80)
    why: str = Field(default="", max_length=1000)
