"""Bodies to append, a clock that is set by hand, chance that repeats. All amounts invented."""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from saltfare.core.fields import Measured
from saltfare.journal.events import Body, Event
from saltfare.journal.events_piece import AirChoice, Hung, SaltingChoice, Started, TargetChoice, Weighed
from saltfare.journal.store import Journal

NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)


def kg(value: float) -> Measured:
    return Measured(typed=f"{value} kg", value=value)


def weighed(value: float) -> Weighed:
    return Weighed(mass=kg(value))


def hung(value: float) -> Hung:
    return Hung(mass=kg(value), chamber="cupboard")


def started(name: str = "loin", green: float = 2.0, target: float | None = 1.3) -> Started:
    return Started(
        name=name,
        purpose="kept_cold",
        cut="pork_loin",
        green_weight=kg(green),
        shape="cylinder",
        thickness=Measured(typed="7 cm", value=0.07),
        length=Measured(typed="30 cm", value=0.3),
        salting=SaltingChoice(
            rules="us_home",
            salt=Measured(typed="3 %", value=0.03),
            scale_step=Measured(typed="1 g", value=0.001),
            temperature=Measured(typed="4 C", value=4.0),
        ),
        air=AirChoice(
            temperature=Measured(typed="12 C", value=12.0), humidity=Measured(typed="78 %", value=0.78)
        ),
        target=None if target is None else TargetChoice(by="typed_mass", mass=kg(target)),
    )


def seeded(seed: int = 1) -> Callable[[int], bytes]:
    return random.Random(seed).randbytes


class Bench:
    """Appends to a journal at a time set by hand."""

    def __init__(self, journal: Journal) -> None:
        self.journal, self.now = journal, NOON

    def put(self, stream: str, body: Body, *, hours: float = 0.0, **more) -> Event:
        at = self.now + timedelta(hours=hours)
        return self.journal.append(
            stream, body, at=at, zone="Europe/Vienna", actor="test", recorded_at=self.now, **more
        )
