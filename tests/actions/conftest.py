"""A journal of its own, with a clock that is told."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from households import PLAN, House

from saltfare.journal.store import Journal


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    with Journal.open(tmp_path / "saltfare.db") as journal:
        yield House(journal, tmp_path)


@pytest.fixture
def plan() -> Callable[..., dict[str, Any]]:
    return lambda **changes: {**PLAN, **changes}
