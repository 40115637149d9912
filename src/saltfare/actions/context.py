"""What an action is given besides its input: no action reads a clock, a locale or a file itself."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime
from zoneinfo import ZoneInfo

from saltfare.core.library import Library
from saltfare.core.units import DecimalSign, Measures
from saltfare.jobs import Cache
from saltfare.journal.store import Journal


@dataclass(frozen=True, slots=True)
class Settings:
    """The person's own: zone (IANA), locale, decimal sign, measures, currency (ISO 4217)."""

    zone: str = "UTC"
    locale: str = "en"
    decimal: DecimalSign = "point"
    measures: Measures = "metric"
    currency: str = "EUR"


@dataclass(frozen=True, slots=True)
class Context:
    """now: an aware UTC instant. entropy: n random bytes, injected so that a run can be repeated.

    demo: the journal is the invented one, and every face says so. forecasts: whether a command keeps the
    forecast that follows from it; a replay of the past keeps the last of each piece alone.
    """

    journal: Journal
    cache: Cache
    library: Library
    now: datetime
    entropy: Callable[[int], bytes]
    settings: Settings = field(default_factory=Settings)
    actor: str = "household"
    demo: bool = False
    forecasts: bool = True

    def __post_init__(self) -> None:
        """Refuse an instant without a zone: it would be somebody's local time."""
        if self.now.tzinfo is None:
            raise ValueError("now is an aware instant")

    @property
    def zone(self) -> ZoneInfo:
        """The zone civil dates are said in."""
        return ZoneInfo(self.settings.zone)

    @property
    def today(self) -> date:
        """The civil date where the person is."""
        return self.now.astimezone(self.zone).date()
