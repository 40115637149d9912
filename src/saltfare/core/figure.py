"""What a result is: a Figure with its interval and trace, a Verdict with its answer and reasons.

Figures are built once, in an action, and only read after that; they have no operators so that no
face can do arithmetic with them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from hashlib import sha256
from json import dumps


@dataclass(frozen=True, slots=True)
class Note:
    """A remark as a key of the words catalogue with its parameters; never a sentence."""

    code: str
    params: Mapping[str, str | float | int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Trace:
    """Where a figure comes from: the model function, its inputs, the parameter rows, what they cite."""

    model: str
    inputs: Mapping[str, str | float | int | None]
    rows: tuple[str, ...]
    cites: tuple[str, ...]

    @property
    def id(self) -> str:
        """Stable for the same model, inputs and rows."""
        text = dumps([self.model, dict(self.inputs), self.rows], sort_keys=True, default=str)
        return sha256(text.encode()).hexdigest()[:12]


@dataclass(frozen=True, slots=True)
class Figure:
    """A number as shown: SI value, the unit kind it is shown in, its interval, its trace.

    interval: what `low` and `high` are ("band_80", "scale_step", "published_spread", "rounding"),
    a key of the words catalogue; None where there is no interval.
    extrapolated: True where a model was used outside its range; never feeds a verdict.
    """

    value: float | None
    kind: str
    low: float | None = None
    high: float | None = None
    interval: str | None = None
    trace: str = ""
    notes: tuple[Note, ...] = ()
    extrapolated: bool = False

    def __post_init__(self) -> None:
        """Refuse an interval without a name, or ends in the wrong order."""
        if (self.low is None) != (self.high is None):
            raise ValueError("an interval has two ends")
        if self.low is not None and self.high is not None:
            if self.interval is None:
                raise ValueError("an interval says what it is")
            if self.low > self.high:
                raise ValueError("an interval runs from low to high")


class Answer(StrEnum):
    """The three answers, and no others."""

    MEETS = "meets"
    DOES_NOT_MEET = "does_not_meet"
    CANNOT_TELL = "cannot_tell"


class Provenance(StrEnum):
    """How an input of a verdict is known."""

    MEASURED = "measured"
    LOGGED = "logged"
    ESTIMATED = "estimated"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Evidence:
    """One input of a verdict: quantity (glossary name), SI value or None, how it is known."""

    quantity: str
    value: float | None
    provenance: Provenance


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a published criterion answers, and on what.

    margin: in the criterion's own quantity, positive on the meeting side; None when unknown.
    settles: words keys naming what measurement would settle a doubt.
    instead: words keys naming what can be done without that measurement.
    """

    criterion: str
    edition: str
    answer: Answer
    margin: float | None
    evidence: tuple[Evidence, ...]
    settles: tuple[Note, ...] = ()
    instead: tuple[Note, ...] = ()
    cautions: tuple[Note, ...] = ()

    def __post_init__(self) -> None:
        """An estimated, missing or unnamed input never gives `meets`."""
        if self.answer is Answer.MEETS:
            firm = (Provenance.MEASURED, Provenance.LOGGED)
            if not self.evidence or any(e.value is None or e.provenance not in firm for e in self.evidence):
                raise ValueError(f"{self.criterion}: `meets` needs measured or logged inputs throughout")


_PRECEDENCE = (Answer.DOES_NOT_MEET, Answer.CANNOT_TELL, Answer.MEETS)


def joint_answer(answers: Sequence[Answer]) -> Answer:
    """The answer of several conditions together: does_not_meet, then cannot_tell, then meets.

    No condition at all is `cannot_tell`, never `meets`.
    """
    for answer in _PRECEDENCE:
        if answer in answers:
            return answer
    return Answer.CANNOT_TELL
