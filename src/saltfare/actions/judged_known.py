"""Facts as they were found, each with where it came from."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from saltfare.actions.judged_shapes import FactShown
from saltfare.core.figure import Note, Provenance
from saltfare.journal.fold import Fact as Happened
from saltfare.models.criteria_facts import Fact, Facts, LogFact


@dataclass(slots=True)
class Gathered:
    """Facts by name as they were found, where each came from, and remarks."""

    found: dict[str, Fact | LogFact] = field(default_factory=dict)
    shown: dict[str, FactShown] = field(default_factory=dict)
    notes: list[Note] = field(default_factory=list)
    coolings: list[LogFact] = field(default_factory=list)

    def put(
        self,
        name: str,
        value: float | str | bool,
        provenance: Provenance,
        *,
        error: float | None = None,
        by: Happened | None = None,
        typed: str = "",
        event_id: str | None = None,
        at: datetime | None = None,
    ) -> None:
        """Keep a fact, in place of one kept before."""
        self.found[name] = Fact(value, provenance, error)
        self.shown[name] = FactShown(
            quantity=name,
            value=value,
            provenance=provenance.value,
            error=error,
            typed=typed,
            event_id=by.event.id if by else event_id,
            at=by.at if by else at,
        )

    def put_log(self, name: str, log: LogFact, by: Happened | None, at: datetime | None) -> None:
        """Keep a log."""
        self.found[name] = log
        self.shown[name] = FactShown(
            quantity=name,
            value=None,
            provenance=log.provenance.value,
            error=log.log.error_c if log.log else None,
            typed="",
            event_id=by.event.id if by else None,
            at=at,
        )

    def forget(self, name: str) -> None:
        """What was known is known no more."""
        self.found.pop(name, None)
        self.shown.pop(name, None)

    @property
    def facts(self) -> Facts:
        """As the criteria take them."""
        return Facts(**self.found)  # type: ignore[arg-type]
