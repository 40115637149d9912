"""A household on days counted from its start, and one plan to start from."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any

from saltfare.actions.context import Context, Settings
from saltfare.actions.registry import run
from saltfare.core.library import Library
from saltfare.jobs import Cache
from saltfare.journal.store import Journal

BEGAN = datetime(2026, 3, 2, 9, tzinfo=UTC)
# Invented: a piece to plan, no expected value of anything.
PLAN: dict[str, Any] = {
    "purpose": "home_cold",
    "cut": "pork_loin",
    "green_weight": "1.62 kg",
    "shape": "cylinder",
    "thickness": "75 mm",
    "length": "36 cm",
    "salt_share": "2.8 %",
    "mix": {"name": "jar", "nitrite": "6.25 %"},
    "scale_step": "0.1 g",
    "salting_temperature": "4 C",
    "chamber_temperature": "13 C",
    "chamber_humidity": "75 %",
}


class House:
    """Runs actions on days counted from the start."""

    def __init__(self, journal: Journal, folder: Path) -> None:
        self.journal, self.cache, self.library = journal, Cache(folder / "cache"), Library()
        self.settings = Settings()
        self._count = 0

    def entropy(self, count: int) -> bytes:
        self._count += 1
        return sha256(str(self._count).encode()).digest()[:count]

    def context(self, day: float = 0.0) -> Context:
        return Context(
            journal=self.journal,
            cache=self.cache,
            library=self.library,
            now=BEGAN + timedelta(days=day),
            entropy=self.entropy,
            settings=self.settings,
        )

    def do(self, name: str, day: float = 0.0, /, **given: Any) -> Any:
        return run(name, self.context(day), given)

    def started(self, **changes: Any) -> str:
        return str(self.do("start_piece", **{**PLAN, "name": "Loin", **changes}).code)

    def hung(self, mass: str = "1.55 kg", **changes: Any) -> str:
        code = self.started(**changes)
        self.do("salt_piece", code=code, salt="42 g", mix="3.9 g")
        self.do("hang_piece", 21, code=code, mass=mass)
        return code
