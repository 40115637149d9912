"""Cached and long work by one mechanism: a key names what is asked of which figures and events.

The same key always has the same result, so that results are kept on disk, a page loaded again finds
the work it began, and two pages asking the same share it. Work runs either at once (`Cache.cached`)
or in a process of its own (`Jobs`), started afresh, which can be stopped and holds no transaction:
it is given plain JSON and gives plain JSON back.

A result is a file of its own beside its key, written whole or not at all; a damaged one counts as
not there. Who works on a key holds a lock of the operating system on it, so that a job whose process
was killed is known to be over.
"""

from __future__ import annotations

import fcntl
import importlib
import json
import os
import signal
import subprocess
import sys
import tempfile
import threading
import time
import traceback
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from hashlib import sha256
from importlib.resources import files
from importlib.resources.abc import Traversable
from multiprocessing import get_context
from pathlib import Path
from typing import Any, TypeVar

from saltfare import __version__
from saltfare.core.errors import NotFound, Problem, Refused, SaltfareError

A = TypeVar("A")
R = TypeVar("R")

Json = Any
Progress = Callable[[float], None]
"""Called by long work with the share done, 0 to 1."""

_KEY = 64
_GRACE_S = 2.0
_POLL_S = 0.02


def model_version(library_version: str) -> str:
    """Changes when the program or any figure it computes with changes."""
    return f"{__version__}+{_code_version()}+{library_version}"


@cache
def _code_version() -> str:
    """A digest of the code that computes, so that a result never outlives the formula it came from."""
    digest = sha256()
    for part in ("core", "models", "plans"):
        for name, text in sorted(_modules(files("saltfare") / part, part)):
            digest.update(f"{name}\0{len(text)}\0".encode() + text)
    return digest.hexdigest()[:12]


def _modules(folder: Traversable, name: str) -> Iterator[tuple[str, bytes]]:
    for one in folder.iterdir():
        if one.is_dir():
            yield from _modules(one, f"{name}/{one.name}")
        elif one.name.endswith(".py"):
            yield f"{name}/{one.name}", one.read_bytes()


def key_of(*, action: str, given: Json, heads: Mapping[str, int | str], version: str) -> str:
    """The key of a piece of work: what is asked, of which input, at which heads, by which version.

    heads: stream -> its version, or better the hash of its last event, of every stream read.
    Raises ValueError for input that is not plain JSON.
    """
    text = _canonical([action, given, dict(heads), version])
    return sha256(text.encode()).hexdigest()


def _canonical(value: Json) -> str:
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False)


def write_whole(path: Path, text: str, *, last: bool) -> None:
    """Write a file so that it holds either the old or the new text, whatever happens.

    last: also survive a power cut (two syncs).
    """
    descriptor, part = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    try:
        with os.fdopen(descriptor, "w", encoding="utf-8") as file:
            file.write(text)
            if last:
                file.flush()
                os.fsync(file.fileno())
        Path(part).replace(path)
    except BaseException:
        with suppress(OSError):
            Path(part).unlink()
        raise
    if last:
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


class Cache:
    """Results on disk by key. Losing it loses time, nothing else."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._working: dict[str, threading.Lock] = {}
        self._guard = threading.Lock()

    def get(self, key: str) -> Json | None:
        """The result kept under a key, None where there is none that is whole."""
        path = self._path(key)
        try:
            digest, _, text = path.read_text("utf-8").partition("\n")
            if digest != _seal(key, text):
                return None
            os.utime(path)
            return json.loads(text)
        except (OSError, ValueError):
            return None

    def put(self, key: str, result: Json) -> bool:
        """Keep a result; False where the disk did not take it.

        Raises ValueError for a result that is None or not plain JSON.
        """
        if result is None:
            raise ValueError("None cannot be told from nothing kept")
        text = _canonical(result)
        try:
            self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            write_whole(self._path(key), f"{_seal(key, text)}\n{text}", last=True)
        except OSError:
            return False
        return True

    def cached(self, key: str, compute: Callable[[], Json]) -> Json:
        """The result of a key, computed once however many ask at the same time.

        What is given back has been through JSON, first time and later alike.
        """
        with self._one_at_a_time(key):
            found = self.get(key)
            if found is not None:
                return found
            result = compute()
            self.put(key, result)
            return json.loads(_canonical(result))

    def prune(self, most_bytes: int) -> int:
        """Drop the results least lately asked for until the rest fits; how many were dropped."""
        found = []
        for path in self.folder.glob("*.json"):
            with suppress(OSError):
                stat = path.stat()
                found.append((stat.st_mtime, stat.st_size, path))
        total, dropped = sum(size for _, size, _ in found), 0
        for _, size, path in sorted(found):
            if total <= most_bytes:
                break
            with suppress(OSError):
                path.unlink()
                total, dropped = total - size, dropped + 1
                for beside in ("asked", "state", "log"):
                    path.with_suffix(f".{beside}").unlink(missing_ok=True)
        return dropped

    def _path(self, key: str) -> Path:
        return self.folder / f"{_checked(key)}.json"

    @contextmanager
    def _one_at_a_time(self, key: str) -> Iterator[None]:
        with self._guard:
            lock = self._working.setdefault(key, threading.Lock())
        try:
            with lock:
                yield
        finally:
            with self._guard:
                if not lock.locked():
                    self._working.pop(key, None)


def _seal(key: str, text: str) -> str:
    return sha256(f"{key}\n{text}".encode()).hexdigest()


def _checked(key: str) -> str:
    """Keys become names of files; nothing else may."""
    if len(key) != _KEY or set(key) - set("0123456789abcdef"):
        raise NotFound("job", key[:_KEY])
    return key


class JobState(StrEnum):
    """How a job stands."""

    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"
    STOPPED = "stopped"


@dataclass(frozen=True, slots=True)
class JobStatus:
    """A job as it stands: share done, its result when done, what went wrong when failed."""

    key: str
    state: JobState
    done_frac: float
    result: Json = None
    problems: tuple[Problem, ...] = ()


class Jobs:
    """Long work, each in a process of its own; known by key from any process that shares the cache."""

    def __init__(self, results: Cache) -> None:
        self.results = results
        self._started: dict[str, subprocess.Popen[bytes]] = {}

    def start(self, key: str, work: Callable[[Json, Progress], Json], given: Json) -> JobStatus:
        """Begin work, or join what was begun: done or running work of that key is not begun again.

        work: a function of a module, called in a new process with `given` and a progress function.
        """
        self.results.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        while True:
            known = self._status(key)
            if known is not None and known.state in (JobState.DONE, JobState.RUNNING):
                return known
            lock = _lock(self._file(key, "lock"))
            if lock is not None:
                break
            time.sleep(_POLL_S)  # somebody began it, or only asked, in this moment
        try:
            asked = {"work": f"{work.__module__}:{work.__qualname__}", "given": given}
            write_whole(self._file(key, "asked"), _canonical(asked), last=False)
            _tell(self._file(key, "state"), JobState.RUNNING, 0.0)
            with self._file(key, "log").open("wb") as log:
                # the lock goes over to the new process, so that there is no moment without it
                process = subprocess.Popen(  # noqa: S603
                    [sys.executable, "-m", "saltfare.jobs", str(self.results.folder), key],
                    stdin=subprocess.DEVNULL,
                    stdout=log,
                    stderr=log,
                    start_new_session=True,
                    pass_fds=(lock,),
                )
            os.ftruncate(lock, 0)
            os.pwrite(lock, str(process.pid).encode(), 0)
        finally:
            os.close(lock)
        self._started[key] = process
        return JobStatus(key, JobState.RUNNING, 0.0)

    def status(self, key: str) -> JobStatus:
        """How a job stands. Raises NotFound where none of that key was begun."""
        found = self._status(key)
        if found is None:
            raise NotFound("job", key)
        return found

    def stop(self, key: str) -> JobStatus:
        """End a job's process. What was done already stays done."""
        now = self.status(key)
        end, sign = time.monotonic() + _GRACE_S, signal.SIGTERM
        while now.state is JobState.RUNNING:
            pid = _holder(self._file(key, "lock"))
            if pid is not None:
                with suppress(ProcessLookupError):
                    os.kill(pid, sign)
            if time.monotonic() > end:
                sign = signal.SIGKILL
            time.sleep(_POLL_S)
            now = self.status(key)
        if now.state is JobState.STOPPED:
            _tell(self._file(key, "state"), JobState.STOPPED, now.done_frac)
        return now

    def wait(self, key: str, *, timeout_s: float) -> JobStatus:
        """How a job stands once it is over, or after that time."""
        end = time.monotonic() + timeout_s
        while (now := self.status(key)).state is JobState.RUNNING and time.monotonic() < end:
            time.sleep(_POLL_S)
        return now

    def _status(self, key: str) -> JobStatus | None:
        running = self._running(key)  # asked first: work may end between the two questions
        result = self.results.get(key)
        if result is not None:
            return JobStatus(key, JobState.DONE, 1.0, result)
        told = _told(self._file(key, "state"))
        if told is None:
            return None
        state = JobState(told["state"])
        if state is JobState.RUNNING and not running:
            return JobStatus(key, JobState.STOPPED, told["done"])  # its process was ended
        if state is JobState.DONE:
            return None  # its result was pruned
        problems = tuple(Problem(**problem) for problem in told["problems"])
        return JobStatus(key, state, told["done"], None, problems)

    def _running(self, key: str) -> bool:
        process = self._started.get(key)
        if process is not None and process.poll() is not None:
            del self._started[key]
        lock = _lock(self._file(key, "lock"), make=False)
        if lock is None:
            return self._file(key, "lock").exists()
        os.close(lock)
        return False

    def _file(self, key: str, what: str) -> Path:
        return self.results.folder / f"{_checked(key)}.{what}"


def map_over(executor: Executor | None, function: Callable[[A], R], items: Iterable[A]) -> Iterator[R]:
    """A pure function over many items, in order: here without an executor, else by it.

    Any `concurrent.futures.Executor` will do, a pool of this machine or a client of a cluster.
    """
    return map(function, items) if executor is None else executor.map(function, items)


def local_pool(workers: int) -> Executor:
    """A pool of processes of this machine, each started afresh: a fork would copy open files and locks."""
    return ProcessPoolExecutor(workers, mp_context=get_context("spawn"))


def _tell(path: Path, state: JobState, done: float, problems: Iterable[Problem] = ()) -> None:
    listed = [
        {"code": p.code, "field": p.field, "given": p.given, "allowed": p.allowed, "params": dict(p.params)}
        for p in problems
    ]
    text = json.dumps({"state": state.value, "done": min(max(done, 0.0), 1.0), "problems": listed})
    write_whole(path, text, last=False)


def _told(path: Path) -> dict[str, Any] | None:
    try:
        told = json.loads(path.read_text("utf-8"))
        return told if set(told) == {"state", "done", "problems"} else None
    except (OSError, ValueError, TypeError):
        return None


def _lock(path: Path, *, make: bool = True) -> int | None:
    """The lock as an open file, None where another holds it or there is no such file."""
    try:
        descriptor = os.open(path, os.O_RDWR | (os.O_CREAT if make else 0), 0o600)
    except FileNotFoundError:
        return None
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        os.close(descriptor)
        return None
    return descriptor


def _holder(path: Path) -> int | None:
    try:
        return int(path.read_text("ascii"))
    except (OSError, ValueError):
        return None


def _work(folder: Path, key: str) -> int:
    """What the process of a job does, holding the lock it was given; 0 where the result is kept."""
    jobs = Jobs(Cache(folder))
    state = jobs._file(key, "state")
    done = 0.0

    def progress(share: float) -> None:
        nonlocal done
        done = share
        _tell(state, JobState.RUNNING, share)

    try:
        asked = json.loads(jobs._file(key, "asked").read_text("utf-8"))
        module, _, name = asked["work"].partition(":")
        result = getattr(importlib.import_module(module), name)(asked["given"], progress)
        kept = jobs.results.put(key, result)
    except Exception as error:
        traceback.print_exc()  # into the job's own log, for whoever mends it
        _tell(state, JobState.FAILED, done, _problems(error))
        return 1
    if not kept:
        _tell(state, JobState.FAILED, 1.0, (Problem("job_not_kept", params={"path": str(folder)}),))
        return 1
    _tell(state, JobState.DONE, 1.0)
    return 0


def _problems(error: Exception) -> tuple[Problem, ...]:
    if isinstance(error, Refused):
        return error.problems
    if isinstance(error, SaltfareError):
        return (Problem("job_failed", params={"reason": str(error)[:200]}),)
    return (Problem("job_failed", params={"reason": type(error).__name__}),)


if __name__ == "__main__":
    sys.exit(_work(Path(sys.argv[1]), sys.argv[2]))
