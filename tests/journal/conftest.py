"""A journal in a fresh folder."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from journal_bench import Bench, seeded

from saltfare.journal.store import Journal


@pytest.fixture
def tmp_path() -> Iterator[Path]:
    """In memory where there is such a folder: these tests do not ask what reaches the disk, and a sync
    costs nothing there. What reaches it is asked by test_crash and test_powercut."""
    memory = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=memory if memory.is_dir() else None) as folder:
        yield Path(folder)


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
