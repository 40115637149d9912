"""The power goes: what was acknowledged is there after every cut, for the pragmas shipped.

A writer runs under strace; what it wrote, synced and renamed is recorded. Then the files are rebuilt as
after a cut at a chosen point: what was synced is there; of the rest nothing (`nothing`), or a random part,
writes torn at 512 bytes, names of files in order (`torn`). Negative controls show that this can see: other
pragmas must fail in it. Not modelled: disks that ignore a sync, and bits that rot.
"""

from __future__ import annotations

import random
import re
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

import pytest

from saltfare.core.errors import SaltfareError
from saltfare.journal import backups
from saltfare.journal.store import Journal

pytestmark = pytest.mark.deep

SECTOR = 512
CALLS = (
    "openat,close,write,pwrite64,lseek,ftruncate,fsync,fdatasync,unlink,unlinkat,rename,renameat,renameat2"
)
CUTS = 300


class Op(NamedTuple):
    """what: write, cut (truncate), sync, link, unlink, rename, syncdir, ack."""

    what: str
    inode: int = 0
    place: int = 0
    data: bytes = b""
    name: str = ""
    other: str = ""


@dataclass
class Recorder:
    """Turns the lines of strace into operations on the files of one folder."""

    folder: str
    ops: list[Op] = field(default_factory=list)
    names: dict[str, int] = field(default_factory=dict)
    opened: dict[int, tuple[int, int]] = field(default_factory=dict)  # descriptor -> inode, position
    folders: set[int] = field(default_factory=set)
    inodes: int = 0

    def line(self, line: str) -> None:
        match = re.match(r"(\w+)\((.*)\)\s*=\s*(-?\d+)", line)
        if not match or int(match[3]) < 0:
            return
        call, result = match[1], int(match[3])
        texts = [
            bytes.fromhex(t.replace("\\x", "")) for t in re.findall(r'"((?:\\x[0-9a-f]{2})*)"', match[2])
        ]
        numbers = [int(n) for n in re.findall(r"(?:^|, )(-?\d+)(?=,|$)", re.sub(r'"[^"]*"', "", match[2]))]
        handler = getattr(self, f"_{call}", None)
        if handler is not None:
            handler(texts, numbers, match[2], result)

    def _inside(self, path: bytes) -> str | None:
        text = path.decode()
        return text[len(self.folder) + 1 :] if text.startswith(self.folder + "/") else None

    def _openat(self, texts, numbers, whole: str, result: int) -> None:
        self.opened.pop(result, None)
        self.folders.discard(result)
        if texts[0].decode() == self.folder:
            self.folders.add(result)
        name = self._inside(texts[0])
        if name is None:
            return
        if name not in self.names:
            self.inodes += 1
            self.names[name] = self.inodes
            self.ops.append(Op("link", self.inodes, name=name))
        if "O_TRUNC" in whole:
            self.ops.append(Op("cut", self.names[name], 0))
        self.opened[result] = (self.names[name], 0)

    def _close(self, texts, numbers, whole, result) -> None:
        self.opened.pop(numbers[0], None)
        self.folders.discard(numbers[0])

    def _pwrite64(self, texts, numbers, whole, result) -> None:
        if numbers[0] in self.opened:
            assert len(texts[0]) == result
            self.ops.append(Op("write", self.opened[numbers[0]][0], numbers[-1], texts[0]))

    def _write(self, texts, numbers, whole, result) -> None:
        descriptor = numbers[0]
        if descriptor == 1:
            self.ops.append(Op("ack", name=texts[0].decode()))
        elif descriptor in self.opened:
            inode, place = self.opened[descriptor]
            self.ops.append(Op("write", inode, place, texts[0][:result]))
            self.opened[descriptor] = (inode, place + result)

    def _lseek(self, texts, numbers, whole, result) -> None:
        if numbers[0] in self.opened:
            self.opened[numbers[0]] = (self.opened[numbers[0]][0], result)

    def _ftruncate(self, texts, numbers, whole, result) -> None:
        if numbers[0] in self.opened:
            self.ops.append(Op("cut", self.opened[numbers[0]][0], numbers[1]))

    def _fsync(self, texts, numbers, whole, result) -> None:
        if numbers[0] in self.folders:
            self.ops.append(Op("syncdir"))
        elif numbers[0] in self.opened:
            self.ops.append(Op("sync", self.opened[numbers[0]][0]))

    _fdatasync = _fsync

    def _unlink(self, texts, numbers, whole, result) -> None:
        name = self._inside(texts[0])
        if name is not None:
            self.names.pop(name)
            self.ops.append(Op("unlink", name=name))

    _unlinkat = _unlink

    def _rename(self, texts, numbers, whole, result) -> None:
        old, new = self._inside(texts[0]), self._inside(texts[1])
        if old is not None and new is not None:
            self.names[new] = self.names.pop(old)
            self.ops.append(Op("rename", name=old, other=new))

    _renameat = _renameat2 = _rename


def record(folder: Path, program: str, *arguments: str) -> list[Op]:
    """Run a program under strace; what it did to the files of the folder, and what it acknowledged."""
    folder.mkdir()
    log = folder.parent / f"{folder.name}.strace"
    run = subprocess.run(
        ["strace", "-f", "-qq", "-xx", "-s", "10000000", "-e", f"trace={CALLS}", "-e", "signal=none",
         "-o", str(log), sys.executable, "-c", program, str(folder), *arguments],
        capture_output=True, text=True, timeout=300,
    )  # fmt: skip
    assert run.returncode == 0, run.stderr
    recorder = Recorder(str(folder))
    with log.open() as lines:
        for line in lines:
            recorder.line(re.sub(r"^\d+\s+", "", line))
    log.unlink()
    return recorder.ops


def after_cut(ops: list[Op], chance: random.Random | None) -> dict[str, bytes]:
    """The folder after a cut at the end of `ops`; chance: what of the unsynced survives, None: nothing."""
    files: dict[int, list[Op]] = {}
    unsynced: dict[int, list[Op]] = {}
    links: list[Op] = []
    loose: list[Op] = []
    for op in ops:
        if op.what in ("write", "cut"):
            unsynced.setdefault(op.inode, []).append(op)
        elif op.what == "sync":
            files.setdefault(op.inode, []).extend(unsynced.pop(op.inode, []))
        elif op.what == "syncdir":
            links, loose = links + loose, []
        elif op.what != "ack":
            loose.append(op)
    if chance is not None:
        links = links + loose[: chance.randint(0, len(loose))]
    content = {}
    for inode in set(files) | set(unsynced):
        data = bytearray()
        for op in files.get(inode, []):
            _apply(data, op)
        if chance is not None:
            share = chance.choice([0.0, 0.2, 0.5, 0.8, 1.0])
            for op in unsynced.get(inode, []):
                for part in _torn(op):
                    if chance.random() < share:
                        _apply(data, part)
        content[inode] = bytes(data)
    names: dict[str, int] = {}
    for op in links:
        if op.what == "link":
            names[op.name] = op.inode
        elif op.what == "unlink":
            names.pop(op.name, None)
        elif op.name in names:
            names[op.other] = names.pop(op.name)
    return {name: content.get(inode, b"") for name, inode in names.items()}


def _torn(op: Op) -> Iterator[Op]:
    if op.what == "cut":
        yield op
        return
    start = 0
    while start < len(op.data):
        stop = min(len(op.data), start + SECTOR - (op.place + start) % SECTOR)
        yield op._replace(place=op.place + start, data=op.data[start:stop])
        start = stop


def _apply(data: bytearray, op: Op) -> None:
    if op.what == "cut":
        del data[op.place :]
        data.extend(bytes(op.place - len(data)))
        return
    if len(data) < op.place:
        data.extend(bytes(op.place - len(data)))
    data[op.place : op.place + len(op.data)] = op.data


@dataclass
class Outcome:
    """Over many cuts: how many files were corrupt, how many cuts lost what was acknowledged."""

    corrupt: int = 0
    losing: int = 0
    worst: int = 0
    first: str = ""


Judge = Callable[[Path, list[str]], tuple[bool, int]]
"""Folder and what was acknowledged -> is it whole, how many of the acknowledged are missing."""


def replay(ops: list[Op], judge: Judge, room: Path, *, torn: bool, seed: int = 1) -> Outcome:
    """Rebuild and judge after many cuts."""
    chance, outcome = random.Random(seed), Outcome()
    points = sorted(chance.sample(range(1, len(ops) + 1), min(CUTS, len(ops))))
    for number, point in enumerate(points):
        shutil.rmtree(room, ignore_errors=True)
        room.mkdir(parents=True)
        for name, data in after_cut(ops[:point], chance if torn else None).items():
            (room / name).write_bytes(data)
        acknowledged = [op.name for op in ops[:point] if op.what == "ack"]
        whole, missing = judge(room, acknowledged)
        outcome.corrupt += not whole
        outcome.losing += missing > 0
        outcome.worst = max(outcome.worst, missing)
        if (not whole or missing) and not outcome.first:
            outcome.first = (
                f"cut {number} at operation {point} of {len(ops)}: whole {whole}, missing {missing}"
            )
    return outcome


JOURNAL = """
import os, sys
from datetime import UTC, datetime, timedelta
from saltfare.journal.events import Draft, Noted
from saltfare.journal.readings import Reading
from saltfare.journal.store import Journal
NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)
with Journal.open(sys.argv[1] + "/journal.db") as journal:
    for n in range(60):
        body = Noted(text=f"{n} " + "x" * (n * 37 % 900))
        drafts = [Draft(f"piece/{i}", body, NOON, "UTC", "t", NOON) for i in range(3)]
        journal.append_many(drafts, request_id=f"r{n}")
        os.write(1, f"r{n}".encode())
        if n % 10 == 9:
            rows = [Reading(NOON + timedelta(hours=n, seconds=i), 12.0, 0.7) for i in range(100)]
            journal.readings.import_("c", rows, zone="UTC", actor="t", recorded_at=NOON, request_id=f"i{n}")
            os.write(1, f"i{n}".encode())
"""


def judge_journal(folder: Path, acknowledged: list[str]) -> tuple[bool, int]:
    path = folder / "journal.db"
    if not path.exists():
        return True, len(acknowledged)
    try:
        with Journal.open(path) as journal:
            found = journal.verify()
            sizes = {len(journal.answered(f"r{n}")) for n in range(60)}
            whole = found.ok and not journal.damage and sizes <= {0, 3} and found.readings % 100 == 0
            return whole, sum(not journal.answered(name) for name in acknowledged)
    except SaltfareError:
        return False, len(acknowledged)


PLAIN = """
import os, sqlite3, sys
db = sqlite3.connect(sys.argv[1] + "/plain.db", isolation_level=None)
db.execute(f"PRAGMA journal_mode={sys.argv[2]}").fetchall()
db.execute(f"PRAGMA synchronous={sys.argv[3]}")
db.execute("CREATE TABLE t (n INTEGER, i INTEGER, x TEXT)")
for n in range(60):
    db.execute("BEGIN IMMEDIATE")
    for i in range(3):
        db.execute("INSERT INTO t VALUES (?, ?, ?)", (n, i, "x" * (n * 37 % 900)))
    db.execute("COMMIT")
    os.write(1, str(n).encode())
os._exit(0)
"""


def judge_plain(folder: Path, acknowledged: list[str]) -> tuple[bool, int]:
    try:
        db = sqlite3.connect(folder / "plain.db")
        try:
            whole = db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
            counts = dict(db.execute("SELECT n, count(*) FROM t GROUP BY n").fetchall())
        finally:
            db.close()
    except sqlite3.DatabaseError as error:
        return "no such table" in str(error), len(acknowledged)
    return whole and set(counts.values()) <= {3}, sum(int(n) not in counts for n in acknowledged)


@pytest.fixture(scope="module")
def room() -> Iterator[Path]:
    """Where files are rebuilt: in memory where there is such a folder, for speed."""
    import tempfile

    memory = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=memory if memory.is_dir() else None) as folder:
        yield Path(folder) / "room"


@pytest.fixture(scope="module", autouse=True)
def _strace() -> None:
    if shutil.which("strace") is None:
        pytest.skip("strace is not installed: what reaches the disk cannot be recorded")
    tried = subprocess.run(["strace", "-qq", "-e", "trace=none", "true"], capture_output=True, text=True)
    if tried.returncode:
        pytest.skip(f"strace may not trace here: {tried.stderr.strip()[-200:]}")


def test_the_recorder_sees_every_byte(tmp_path: Path):
    """With everything surviving, the rebuilt file is the file."""
    ops = record(tmp_path / "d", JOURNAL)
    made = after_cut([*ops, *(Op("sync", i) for i in range(1, 9)), Op("syncdir")], None)
    for name in ("journal.db", "journal.db-journal"):
        assert made[name] == (tmp_path / "d" / name).read_bytes()
    assert sum(op.what == "ack" for op in ops) == 66
    assert sum(op.what == "sync" for op in ops) > 66


@pytest.mark.parametrize("torn", [False, True], ids=["nothing", "torn"])
def test_the_journal_loses_nothing_acknowledged_and_is_never_corrupt(tmp_path: Path, room: Path, torn: bool):
    outcome = replay(record(tmp_path / "d", JOURNAL), judge_journal, room, torn=torn)
    assert (outcome.corrupt, outcome.losing) == (0, 0), outcome


@pytest.mark.parametrize(
    ("mode", "synchronous", "torn"),
    [("WAL", "NORMAL", False), ("WAL", "NORMAL", True), ("DELETE", "FULL", False)],
)
def test_negative_control_pragmas_that_lose_commits_are_seen_to(
    tmp_path: Path, room: Path, mode: str, synchronous: str, torn: bool
):
    """The default of WAL's usual advice, and Python's own default: both lose what was acknowledged."""
    outcome = replay(record(tmp_path / "d", PLAIN, mode, synchronous), judge_plain, room, torn=torn)
    assert outcome.corrupt == 0
    assert outcome.losing > CUTS / 10, outcome


def test_negative_control_pragmas_that_corrupt_are_seen_to(tmp_path: Path, room: Path):
    outcome = replay(record(tmp_path / "d", PLAIN, "TRUNCATE", "OFF"), judge_plain, room, torn=True)
    assert outcome.corrupt > CUTS / 20, outcome


WHOLE = """
import os, sys
from pathlib import Path
from saltfare.jobs import write_whole
for n in range(40):
    write_whole(Path(sys.argv[1]) / "file", str(n) + "\\n" + str(n) * (n * 97 % 3000), last=True)
    os.write(1, str(n).encode())
"""


def judge_whole(folder: Path, acknowledged: list[str]) -> tuple[bool, int]:
    path = folder / "file"
    if not path.exists():
        return True, len(acknowledged)
    number, _, rest = path.read_text("ascii").partition("\n")
    if not number.isdigit() or rest != number * (int(number) * 97 % 3000):
        return False, len(acknowledged)
    return True, sum(int(n) > int(number) for n in acknowledged)


@pytest.mark.parametrize("torn", [False, True], ids=["nothing", "torn"])
def test_a_file_written_whole_is_the_old_or_the_new_one(tmp_path: Path, room: Path, torn: bool):
    outcome = replay(record(tmp_path / "d", WHOLE), judge_whole, room, torn=torn)
    assert (outcome.corrupt, outcome.losing) == (0, 0), outcome


BACKUP = """
import os, sys
from datetime import UTC, datetime
from pathlib import Path
from saltfare.journal.events import Noted
from saltfare.journal.store import Journal
NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)
with Journal.open(sys.argv[2]) as journal:
    for n in range(15):
        journal.append("piece/A", Noted(text="x" * 500), at=NOON, zone="UTC", actor="t", recorded_at=NOON)
        made = journal.backup(Path(sys.argv[1]) / "backup.db")
        os.write(1, str(made.events).encode())
"""


def judge_backup(folder: Path, acknowledged: list[str]) -> tuple[bool, int]:
    path = folder / "backup.db"
    if not path.exists():
        return True, len(acknowledged)
    try:
        events = backups.examine(path).events
        with Journal.open(path, read_only=True) as journal:
            return journal.verify().ok, sum(int(n) > events for n in acknowledged)
    except SaltfareError:
        return False, len(acknowledged)


@pytest.mark.parametrize("torn", [False, True], ids=["nothing", "torn"])
def test_a_backup_is_whole_and_there_once_acknowledged(tmp_path: Path, room: Path, torn: bool):
    ops = record(tmp_path / "d", BACKUP, str(tmp_path / "source.db"))
    outcome = replay(ops, judge_backup, room, torn=torn)
    assert (outcome.corrupt, outcome.losing) == (0, 0), outcome
