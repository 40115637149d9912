"""Every error the program raises on purpose, in one tree.

SaltfareError
├── Refused        what was given cannot be used; carries one Problem per thing to mend
├── NotFound       a code, key or name that leads nowhere
├── Conflict       the stream moved on since the person looked
├── OutOfRange     a model was asked for more than its validity range holds
├── NotConverged   a numerical step found no solution; names the member
├── BadTable       a package table disagrees with its sidecar
└── JournalError   the file of events
    ├── JournalBusy     another process holds it
    ├── JournalDamaged  it does not verify
    └── JournalNewer    it was written by a later program

No class here holds a sentence: a `code` and parameters are rendered by `faces.words`.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping


@dataclasses.dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with what was given.

    code: key of the words catalogue (section `problem`); `mend` there says how to put it right.
    field: dotted path of the input field, "" for the whole.
    given: what was given, as text.
    allowed: what would do, as text or parameters for the words.
    """

    code: str
    field: str = ""
    given: str = ""
    allowed: str = ""
    params: Mapping[str, str | float | int] = dataclasses.field(default_factory=dict)


class SaltfareError(Exception):
    """Root of the tree."""


class Refused(SaltfareError):
    """What was given cannot be used."""

    def __init__(self, *problems: Problem) -> None:
        if not problems:
            raise ValueError("a refusal names at least one problem")
        self.problems: tuple[Problem, ...] = problems
        super().__init__("; ".join(f"{p.code} {p.field}={p.given!r}" for p in problems))


class NotFound(SaltfareError):
    """A code, key or name that leads nowhere."""

    def __init__(self, what: str, key: str) -> None:
        self.what, self.key = what, key
        super().__init__(f"{what} {key!r} not found")


class Conflict(SaltfareError):
    """The stream has moved on: `seen` is what the person had looked at, `now` what is there."""

    def __init__(self, stream: str, seen: int, now: int) -> None:
        self.stream, self.seen, self.now = stream, seen, now
        super().__init__(f"{stream} is at version {now}, not {seen}")


class OutOfRange(SaltfareError):
    """A model was asked for a value outside the range its source covers."""

    def __init__(self, model: str, quantity: str, value: float, low: float, high: float) -> None:
        self.model, self.quantity, self.value, self.low, self.high = model, quantity, value, low, high
        super().__init__(f"{model}: {quantity} = {value:g} outside {low:g} to {high:g}")


class NotConverged(SaltfareError):
    """No solution within tolerance; `member` is the index in the ensemble, `residual` what was left."""

    def __init__(self, what: str, member: int, residual: float) -> None:
        self.what, self.member, self.residual = what, member, residual
        super().__init__(f"{what}: member {member} left a residual of {residual:.3g}")


class BadTable(SaltfareError):
    """A package table disagrees with its sidecar."""


class JournalError(SaltfareError):
    """Something is wrong with the file of events; `problem` says what, in the words' terms."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        super().__init__(f"{problem.code} {dict(problem.params)}")


class JournalBusy(JournalError):
    """Another process holds the journal."""


class JournalDamaged(JournalError):
    """The journal does not verify."""


class JournalNewer(JournalError):
    """The journal was written by a later program; it is not touched."""
