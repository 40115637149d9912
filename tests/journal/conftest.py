"""A journal in a fresh folder."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from journal_bench import Bench, seeded

from saltfare.journal.store import Journal


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "data" / "journal.db"


@pytest.fixture
def journal(path: Path) -> Iterator[Journal]:
    with Journal.open(path, entropy=seeded()) as made:
        yield made


@pytest.fixture
def bench(journal: Journal) -> Bench:
    return Bench(journal)
