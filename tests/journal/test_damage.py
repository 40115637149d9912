"""A file gone wrong is noticed or it does not matter; a disk gone wrong is told; neither is a crash."""

from __future__ import annotations

import os
import random
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from journal_bench import NOON, Bench, weighed

from saltfare.core.errors import JournalDamaged, JournalError, NotFound, SaltfareError
from saltfare.journal import exchange
from saltfare.journal.events import Noted
from saltfare.journal.readings import Reading
from saltfare.journal.store import Journal


@pytest.fixture(scope="module")
def model(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("model") / "journal.db"
    with Journal.open(path) as journal:
        bench = Bench(journal)
        for index in range(60):
            bench.put(f"piece/{index % 5}", weighed(2.0 - index / 100), request_id=f"r{index}")
            if index % 10 == 0:
                bench.put(f"piece/{index % 5}", Noted(text="x" * 3000))
        rows = [Reading(NOON.replace(minute=m), 12.0, m / 100, f"line {m}") for m in range(60)]
        journal.readings.import_("cup", rows, zone="UTC", actor="t", recorded_at=NOON)
    return path


@pytest.fixture
def filled(model: Path, path: Path) -> Path:
    path.parent.mkdir(mode=0o700)
    shutil.copy(model, path)
    return path


def content(journal: Journal) -> list[str]:
    return list(exchange.lines(journal))


def use(path: Path, truth: list[str]) -> str:
    """What somebody meets who opens, verifies, reads and writes; anything but an error of ours is a crash."""
    try:
        with Journal.open(path) as journal:
            noticed = bool(journal.damage) or not journal.verify().ok
            try:
                same = content(journal) == truth
                journal.readings.range("cup", NOON, NOON.replace(minute=59))
                Bench(journal).put("piece/0", weighed(1.0))
            except SaltfareError:
                return "noticed"
            journal.selftest()
            assert noticed or same, "read otherwise than written, and nobody noticed"
            return "noticed" if noticed else "harmless"
    except SaltfareError:
        return "noticed"


@pytest.mark.parametrize(
    "rounds", [pytest.param(25, id="few"), pytest.param(200, id="many", marks=pytest.mark.deep)]
)
def test_a_flipped_bit_anywhere_is_noticed_or_harmless(filled: Path, tmp_path: Path, rounds: int):
    with Journal.open(filled, read_only=True) as journal:
        truth = content(journal)
    good, chance = filled.read_bytes(), random.Random(20260301)
    told = {"noticed": 0, "harmless": 0}
    for number in range(rounds):
        # the first hundred bytes steer everything, so they get their share
        place = chance.randrange(100) if number % 4 == 0 else chance.randrange(len(good))
        spoilt = bytearray(good)
        spoilt[place] ^= 1 << chance.randrange(8)
        copy = tmp_path / "spoilt" / "journal.db"
        shutil.rmtree(copy.parent, ignore_errors=True)
        copy.parent.mkdir()
        copy.write_bytes(spoilt)
        told[use(copy, truth)] += 1
    assert told["noticed"] > rounds / 3, told  # it can see


@pytest.mark.parametrize("cut", [1, 99, 100, 4095, 4096, 4097, 8192, 20000])
def test_a_file_cut_short_is_noticed(filled: Path, cut: int):
    with Journal.open(filled, read_only=True) as journal:
        truth = content(journal)
    filled.write_bytes(filled.read_bytes()[:cut])
    assert use(filled, truth) == "noticed"


def test_a_page_of_another_time_is_noticed(filled: Path):
    """As after a disk that wrote some pages and not others: a page of the past in the present file."""
    past = filled.read_bytes()
    with Journal.open(filled) as journal:
        for index in range(40):
            Bench(journal).put("piece/0", weighed(1.0 + index / 100))
        truth = content(journal)
    now, told = filled.read_bytes(), []
    for page in range(1, len(past) // 4096):
        old = past[page * 4096 : (page + 1) * 4096]
        if old != now[page * 4096 : (page + 1) * 4096]:
            filled.write_bytes(now[: page * 4096] + old + now[(page + 1) * 4096 :])
            told.append(use(filled, truth))
    assert told and set(told) == {"noticed"}


def test_a_damaged_journal_is_read_where_it_can_be_and_never_written(filled: Path):
    raw = sqlite3.connect(filled)
    (root,) = raw.execute("SELECT rootpage FROM sqlite_master WHERE name = 'reading'").fetchone()
    raw.close()
    data = bytearray(filled.read_bytes())
    data[4096 * (root - 1)] = 0
    filled.write_bytes(data)
    with Journal.open(filled) as journal:
        assert journal.damage and len(journal.events()) == 67
        with pytest.raises(JournalDamaged):
            Bench(journal).put("piece/0", weighed(1.0))
        with pytest.raises(JournalDamaged):
            journal.readings.import_("c", [Reading(NOON, 1.0, 0.5)], zone="UTC", actor="t", recorded_at=NOON)
        assert not journal.verify().ok


@pytest.mark.parametrize("sort", ["text", "zeros", "folder"])
def test_what_is_no_journal_is_refused(path: Path, sort: str):
    path.parent.mkdir()
    if sort == "folder":
        path.mkdir()
    else:
        path.write_bytes(b"x" * 5000 if sort == "text" else bytes(5000))
    for read_only in (True, False):
        with pytest.raises((JournalError, NotFound)):
            Journal.open(path, read_only=read_only)


def test_a_full_disk_is_told_and_costs_nothing(filled: Path):
    """SQLite's own limit on pages gives the very error of a full disk."""
    with Journal.open(filled) as journal:
        before = journal.head()
        for connection in _every_connection(journal):
            (pages,) = connection.execute("PRAGMA page_count").fetchone()
            connection.execute(f"PRAGMA max_page_count={pages}")
        with pytest.raises(JournalError) as caught:
            for _ in range(50):
                Bench(journal).put("piece/0", Noted(text="y" * 4000))
        assert caught.value.problem.code == "disk_full"
        stored = journal.head()
        assert stored >= before and journal.verify().ok and len(journal.events()) == stored
        for connection in _every_connection(journal):
            connection.execute("PRAGMA max_page_count=100000")
        assert Bench(journal).put("piece/0", weighed(1.0)).seq == stored + 1


def _every_connection(journal: Journal):
    with journal.database.engine.connect() as connection:
        assert journal.database.engine.pool.checkedout() == 1
        yield connection.connection.dbapi_connection


LIMITED = """
import resource, sys
from pathlib import Path
sys.path.insert(0, sys.argv[2])
from journal_bench import Bench
from saltfare.core.errors import JournalError
from saltfare.journal.events import Noted
from saltfare.journal.store import Journal
import signal
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
with Journal.open(sys.argv[1]) as journal:
    size = Path(sys.argv[1]).stat().st_size
    resource.setrlimit(resource.RLIMIT_FSIZE, (size + 8192, resource.RLIM_INFINITY))
    try:
        for _ in range(50):
            Bench(journal).put("piece/0", Noted(text="y" * 4000))
    except JournalError as error:
        print(error.problem.code)
    head = journal.head()
    assert journal.verify().ok and len(journal.events()) == head
    resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    assert Bench(journal).put("piece/0", Noted(text="again")).seq == head + 1
    print("went on")
"""


def test_a_write_the_system_refuses_is_told_and_the_journal_goes_on(filled: Path):
    done = subprocess.run(
        [sys.executable, "-c", LIMITED, str(filled), str(Path(__file__).parent)],
        capture_output=True, text=True, timeout=60,
    )  # fmt: skip
    told = done.stdout.split("\n")
    assert done.returncode == 0, done.stderr
    assert told[0] in ("disk_full", "disk_failed") and told[1] == "went on"


READ_ONLY = """
import os, sys
sys.path.insert(0, sys.argv[2])
from journal_bench import Bench, weighed
from saltfare.core.errors import JournalError
from saltfare.journal.store import Journal
with Journal.open(sys.argv[3]) as journal:  # what is imported late is imported now, while it may be read
    Bench(journal).put("piece/0", weighed(1.0))
    journal.verify(), journal.selftest()
os.setgid(65534)
os.setuid(65534)
with Journal.open(sys.argv[1], read_only=True) as journal:
    print(journal.head(), journal.verify().ok)
try:
    with Journal.open(sys.argv[1]) as journal:
        Bench(journal).put("piece/0", weighed(1.0))
    print("written")
except JournalError as error:
    print(error.problem.code)
"""


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can become somebody without the right to write")
@pytest.mark.parametrize("with_lock_file", [True, False])
def test_a_folder_that_cannot_be_written_is_read_and_the_rest_is_told(
    filled: Path, tmp_path_factory: pytest.TempPathFactory, with_lock_file: bool
):
    if with_lock_file:
        Journal.open(filled).close()
        filled.with_name("journal.db.lock").chmod(0o644)
    for folder in filled.parents:
        if folder.owner() == "root" and folder != folder.parent and folder.stat().st_mode & 0o5 != 0o5:
            folder.chmod(0o755)
    filled.chmod(0o644)
    filled.parent.chmod(0o555)
    warm = tmp_path_factory.mktemp("warm") / "journal.db"
    done = subprocess.run(
        [sys.executable, "-c", READ_ONLY, str(filled), str(Path(__file__).parent), str(warm)],
        capture_output=True, text=True, timeout=60,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stdout.split() == ["67", "True", "journal_read_only"]
