"""A journal of its own, with a clock that is told."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from households import PLAN, House
from judged_household import Larder

from saltfare.journal.store import Journal


@pytest.fixture(scope="session")
def simulations(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One cache for all tests: the same piece in the same air is simulated once."""
    return tmp_path_factory.mktemp("simulations")


@pytest.fixture
def house(tmp_path: Path, simulations: Path) -> Iterator[House]:
    with Journal.open(tmp_path / "saltfare.db") as journal:
        yield House(journal, simulations)


@pytest.fixture
def plan() -> Callable[..., dict[str, Any]]:
    return lambda **changes: {**PLAN, **changes}


@pytest.fixture
def larder(tmp_path: Path, simulations: Path) -> Iterator[Larder]:
    """Pieces put straight into a journal."""
    with Journal.open(tmp_path / "larder.db") as journal:
        yield Larder(journal, simulations)
