"""Cached and long work: one result a key, whole or not there; a process that can be found and stopped."""

from __future__ import annotations

import os
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from saltfare.core.errors import NotFound, Problem, Refused
from saltfare.jobs import Cache, Jobs, JobState, key_of, local_pool, map_over, model_version, write_whole

KEY = key_of(action="a", given={"x": 1}, heads={"piece/A": 3}, version="1")
OTHER = key_of(action="a", given={"x": 2}, heads={"piece/A": 3}, version="1")


@pytest.fixture(autouse=True)
def _importable(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYTHONPATH", str(Path(__file__).parent))


def work_double(given, progress):
    progress(0.5)
    return {"twice": given["x"] * 2, "pid": os.getpid()}


def work_slow(given, progress):
    for step in range(1000):
        progress(step / 1000)
        time.sleep(0.02)
    return "too late"


def work_stubborn(given, progress):
    import signal

    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    progress(0.25)
    time.sleep(60)


def work_refused(given, progress):
    raise Refused(Problem("impossible", "mass", "-2 kg", params={"low": 0.0}))


def work_broken(given, progress):
    return {"a": 1}["missing"]


def work_odd(given, progress):
    return float("nan")


def square(value):
    return value * value


def test_a_key_changes_with_each_thing_it_names_and_with_nothing_else():
    base = {"action": "a", "given": {"x": 1, "y": [2]}, "heads": {"p": 1, "q": 2}, "version": "1"}
    same = {**base, "given": {"y": [2], "x": 1}, "heads": {"q": 2, "p": 1}}
    assert key_of(**base) == key_of(**same)
    changed = [
        {"action": "b"},
        {"given": {"x": 1, "y": [3]}},
        {"given": {"x": "1", "y": [2]}},
        {"heads": {"p": 1, "q": 3}},
        {"heads": {"p": 1}},
        {"version": "2"},
    ]
    keys = {key_of(**{**base, **change}) for change in changed}
    assert len(keys) == len(changed) and key_of(**base) not in keys
    with pytest.raises(ValueError, match="JSON compliant"):
        key_of(action="a", given=float("nan"), heads={}, version="1")


def test_the_model_version_names_program_code_and_figures():
    assert model_version("abc") != model_version("abd")
    assert model_version("abc").split("+")[2] == "abc"


def test_a_result_is_computed_once_and_found_again(tmp_path: Path):
    calls = []
    first = Cache(tmp_path / "c").cached(KEY, lambda: calls.append(1) or {"v": (1, 2)})
    again = Cache(tmp_path / "c").cached(KEY, lambda: calls.append(1) or {"v": 0})
    assert first == again == {"v": [1, 2]}
    assert calls == [1]


def test_threads_asking_the_same_share_one_computation(tmp_path: Path):
    calls, gate = [], threading.Event()

    def compute():
        calls.append(1)
        gate.wait(5)
        return 7

    results = Cache(tmp_path)
    with ThreadPoolExecutor(8) as pool:
        asked = [pool.submit(results.cached, KEY, compute) for _ in range(8)]
        time.sleep(0.1)
        gate.set()
        assert [one.result() for one in asked] == [7] * 8
    assert calls == [1]


def test_a_failed_computation_keeps_nothing_and_does_not_block_the_next(tmp_path: Path):
    results = Cache(tmp_path)
    with pytest.raises(KeyError):
        results.cached(KEY, lambda: {}["x"])
    assert results.cached(KEY, lambda: 1) == 1


@pytest.mark.parametrize("place", [0, 10, 64, 66, 70, -1])
def test_a_damaged_result_counts_as_not_there(tmp_path: Path, place: int):
    results = Cache(tmp_path)
    results.put(KEY, {"mass_kg": 1.25})
    path = next(tmp_path.glob("*.json"))
    data = bytearray(path.read_bytes())
    data[place] ^= 1
    path.write_bytes(data)
    assert results.get(KEY) is None
    path.write_bytes(data[: len(data) // 2])
    assert results.get(KEY) is None


def test_a_result_under_the_name_of_another_key_is_not_taken_for_it(tmp_path: Path):
    results = Cache(tmp_path)
    results.put(KEY, 1)
    (tmp_path / f"{KEY}.json").rename(tmp_path / f"{OTHER}.json")
    assert results.get(OTHER) is None


@pytest.mark.parametrize("key", ["", "../../etc/passwd", "a" * 63, "A" * 64, "g" * 64, KEY + "\n"])
def test_only_keys_become_names_of_files(tmp_path: Path, key: str):
    with pytest.raises(NotFound):
        Cache(tmp_path).get(key)


def test_a_disk_that_takes_nothing_costs_only_the_keeping(tmp_path: Path):
    (tmp_path / "file").write_text("in the way")
    results = Cache(tmp_path / "file" / "cache")
    assert results.put(KEY, 1) is False
    assert results.cached(KEY, lambda: 5) == 5


def test_pruning_drops_the_least_lately_asked_for(tmp_path: Path):
    results = Cache(tmp_path)
    keys = [key_of(action="a", given=i, heads={}, version="1") for i in range(4)]
    for age, key in enumerate(keys):
        results.put(key, "x" * 1000)
        os.utime(tmp_path / f"{key}.json", (1000 + age, 1000 + age))
    assert results.get(keys[0]) is not None  # asked for: now the youngest
    assert results.prune(2500) == 2
    assert [results.get(key) is not None for key in keys] == [True, False, False, True]


def test_a_file_is_written_whole_or_stays_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    path = tmp_path / "f"
    write_whole(path, "old", last=True)

    def broken(descriptor: int) -> None:
        raise OSError(28, "no space left")

    monkeypatch.setattr(os, "fsync", broken)
    with pytest.raises(OSError, match="no space"):
        write_whole(path, "new", last=True)
    assert path.read_text() == "old"
    assert [one.name for one in tmp_path.iterdir()] == ["f"]


def test_work_runs_in_another_process_and_is_found_by_key(tmp_path: Path):
    jobs = Jobs(Cache(tmp_path))
    with pytest.raises(NotFound):
        jobs.status(KEY)
    assert jobs.start(KEY, work_double, {"x": 21}).state is JobState.RUNNING
    status = jobs.wait(KEY, timeout_s=20)
    assert status.state is JobState.DONE, (tmp_path / f"{KEY}.log").read_text()
    assert status.result["twice"] == 42 and status.result["pid"] != os.getpid()
    assert Jobs(Cache(tmp_path)).status(KEY) == status
    assert Jobs(Cache(tmp_path)).start(KEY, work_slow, {}).result == status.result


def test_a_job_is_joined_from_elsewhere_and_can_be_stopped_there(tmp_path: Path):
    jobs, elsewhere = Jobs(Cache(tmp_path)), Jobs(Cache(tmp_path))
    jobs.start(KEY, work_slow, {})
    assert elsewhere.status(KEY).state is JobState.RUNNING  # at once, before it even came up
    assert elsewhere.start(KEY, work_double, {"x": 1}).state is JobState.RUNNING
    end = time.monotonic() + 20
    while elsewhere.status(KEY).done_frac == 0 and time.monotonic() < end:
        time.sleep(0.02)
    assert elsewhere.status(KEY).done_frac > 0
    stopped = elsewhere.stop(KEY)
    assert stopped.state is JobState.STOPPED and 0 < stopped.done_frac < 1
    assert jobs.status(KEY).state is JobState.STOPPED
    assert jobs.start(KEY, work_double, {"x": 4}).state is JobState.RUNNING  # and may be begun again
    assert jobs.wait(KEY, timeout_s=20).result["twice"] == 8


@pytest.mark.deep
def test_work_that_will_not_end_is_ended(tmp_path: Path):
    jobs = Jobs(Cache(tmp_path))
    jobs.start(KEY, work_stubborn, {})
    end = time.monotonic() + 20
    while jobs.status(KEY).done_frac == 0 and time.monotonic() < end:
        time.sleep(0.02)
    assert jobs.stop(KEY).state is JobState.STOPPED


@pytest.mark.parametrize(
    ("work", "code"),
    [(work_refused, "impossible"), (work_broken, "job_failed"), (work_odd, "job_failed")],
)
def test_what_went_wrong_is_told_as_problems_without_a_traceback(tmp_path: Path, work, code: str):
    jobs = Jobs(Cache(tmp_path))
    jobs.start(KEY, work, {})
    status = jobs.wait(KEY, timeout_s=20)
    assert status.state is JobState.FAILED and status.result is None
    assert [problem.code for problem in status.problems] == [code]
    assert "Traceback" not in repr(status) and "Traceback" in (tmp_path / f"{KEY}.log").read_text()


def test_many_items_give_the_same_here_and_in_a_pool():
    items = list(range(20))
    here = list(map_over(None, square, items))
    with local_pool(1) as pool:
        there = list(map_over(pool, square, items))
    assert here == there == [value * value for value in items]
