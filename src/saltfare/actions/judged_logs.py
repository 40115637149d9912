"""Temperature logs of an item as evidence: checked, chosen, and what was said beside them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from saltfare.actions.context import Context
from saltfare.actions.judged_items import Item
from saltfare.core.figure import Provenance
from saltfare.journal import events_judged as judged
from saltfare.journal.fold import Fact as Happened
from saltfare.models.criteria_facts import LogFact
from saltfare.models.hazards_log import Log, LogRules, log_checked

HEATS = ("heating", "heating_and_cooling")
COOLS = ("cooling", "heating_and_cooling")
RULES = {
    "heating": "heating",
    "cooling": "cooling",
    "surface": "cooling",
    "freezer": "freezing",
    "frozen_core": "freezing",
    "carrying": "carrying",
}


def rules_of(context: Context, of: str) -> tuple[LogRules, ...]:
    """What a log must be to be believed; one that covers heating and cooling is held to both."""
    names = ("heating", "cooling") if of == "heating_and_cooling" else (RULES[of],)
    return tuple(LogRules.from_row(context.library.row("log_rules", name)) for name in names)


def checked(*, readings: Sequence[tuple[datetime, float]], error_k: float | None, rules: LogRules) -> Log:
    """Readings as a log from their first instant. Raises Refused as `log_checked` does."""
    first = readings[0][0]
    return log_checked(
        time_s=[(at - first).total_seconds() for at, _ in readings],
        temp_c=[temp for _, temp in readings],
        error_c=error_k,
        rules=rules,
    )


def log_of(context: Context, body: judged.TemperatureLogged, of: str) -> LogFact:
    """A recorded log as the criteria take it, under the rules of what it is read for."""
    made = checked(
        readings=[(r.at, r.temperature.value) for r in body.readings],
        error_k=body.error.value if body.error else None,
        rules=LogRules.from_row(context.library.row("log_rules", RULES[of])),
    )
    return LogFact(made, Provenance.LOGGED)


def instant_log(context: Context, temp_c: float, error_k: float | None) -> LogFact:
    """A single reading of the middle as a log of that instant: it shows that a temperature was reached, not
    how long it was held nor how it was come up to."""
    rules = LogRules.from_row(context.library.row("log_rules", "heating"))
    made = log_checked(time_s=[0.0, 1e-3], temp_c=[temp_c, temp_c], error_c=error_k, rules=rules)
    return LogFact(made, Provenance.MEASURED)


def logs_for(found: Item, kinds: tuple[str, ...]) -> list[Happened]:
    """The logs of those kinds, in time of their last reading."""
    logs = [h for h in found.of(judged.TemperatureLogged) if h.body.of in kinds]  # type: ignore[attr-defined]
    return sorted(logs, key=ends_at)


def ends_at(happened: Happened) -> datetime:
    """The last reading of a log."""
    body = happened.body
    assert isinstance(body, judged.TemperatureLogged)  # noqa: S101
    return max(reading.at for reading in body.readings)


def begins_at(happened: Happened) -> datetime:
    """The first reading of a log."""
    body = happened.body
    assert isinstance(body, judged.TemperatureLogged)  # noqa: S101
    return min(reading.at for reading in body.readings)
