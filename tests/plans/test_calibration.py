"""The study of how often the bands hold: it goes on where it stopped, on any executor, and counts right."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from subprocess import PIPE, Popen, run

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent.parent.parent / "benchmarks"))

import calibration
import calibration_ranks as ranks
import calibration_worlds as worlds


def test_pieces_dried_together_dry_as_they_do_alone():
    # a cap and seams of fat: the course that bends most
    chamber = worlds.drawn_chamber("fat", np.random.default_rng(3))
    hung = [worlds._hung("fat", chamber, i, np.random.default_rng([3, i])) for i in (0, 1, 2)]
    together = worlds._dried(hung, chamber)
    for one, course in zip(hung, together, strict=True):
        assert np.abs(course - worlds._dried([one], chamber)[0]).max() < 1e-4
    assert together[0][-1] != pytest.approx(together[2][-1], abs=1e-3)  # and are not one another


def test_the_world_as_the_priors_have_it_holds_every_kind_as_often_as_they_say():
    chamber = worlds.drawn_chamber("prior", np.random.default_rng(4))
    hung = [worlds._hung("prior", chamber, i, np.random.default_rng([4, i])) for i in range(400)]
    rough = np.mean([one.weighing.repeat_frac > worlds.PRIORS.repeatability_frac for one in hung])
    share = worlds.PRIORS.rough_share_frac
    assert rough == pytest.approx(share, abs=3 * np.sqrt(share * (1 - share) / 400))
    # the mean square of an error that is zero at hanging, long after: of all kinds together
    late = np.mean([one.error_frac[-1] ** 2 for one in hung])
    want = sum(share * own.model_error_frac**2 for share, own in worlds.PRIORS.kinds.values())
    assert late == pytest.approx(want, rel=0.35)


def rows_of(job: tuple[str, int]) -> list[dict[str, object]]:
    return [{"world": job[0], "seed": job[1], "stage": 0.5, "taught": 0}]


def test_a_study_goes_on_where_it_was_stopped(monkeypatch, tmp_path):
    asked: list[tuple[str, int]] = []

    def counted(job):
        asked.append(job)
        return rows_of(job)

    monkeypatch.setattr(worlds, "studied", counted)
    jobs = [("prior", 0), ("door", 0), ("prior", 1)]
    kept = tmp_path / "kept.jsonl"
    first = calibration.study(jobs[:2], kept, None)
    text = kept.read_text("utf-8")
    kept.write_text(text[: text.rindex("door")], "utf-8")  # stopped in the middle of a line
    whole = calibration.study(jobs, kept, None)
    assert asked == [("prior", 0), ("door", 0), ("door", 0), ("prior", 1)]
    assert whole[:2] == first and [(row["world"], row["seed"]) for row in whole] == jobs
    monkeypatch.setattr(calibration, "version", lambda: "other")
    calibration.study(jobs[:1], kept, None)
    assert asked[-1] == ("prior", 0)  # what another version found is not taken for its own


def test_what_is_kept_reads_back_after_a_line_cut_short(tmp_path):
    kept = tmp_path / "kept.jsonl"
    entry = {"version": "v", "world": "law", "seed": 2, "rows": [{"x": 1}]}
    kept.write_text('{"version": "v", "wor\n' + json.dumps(entry) + "\n", "utf-8")
    assert calibration.kept(kept, "v") == {("law", 2): [{"x": 1}]}


def made_up(seed: int, chance: float, held: float, error: float) -> dict[str, object]:
    bands = {f"{what}_{band}": held for what in ("held", "mass") for band in (50, 80, 95)}
    keys = {"world": "prior", "seed": seed, "stage": 0.5, "taught": 0, "width_80": 4.0}
    return {**keys, **bands, "chance": chance, "error": error, "line_error": 4.0, "root_error": -6.0}


def test_shares_and_errors_are_counted_right():
    rows = [made_up(i // 5, (i + 0.5) / 20, float(i % 5 != 0), (-1) ** i * 1.5) for i in range(20)]
    (line,) = calibration.summary(rows)
    assert line["held_80"] == pytest.approx(0.8) and line["pieces"] == 20
    assert line["error_80"] == pytest.approx(0.0)  # every chamber alike
    assert (line["error"], line["line_error"], line["root_error"]) == (1.5, 4.0, 6.0)


def test_ranks_are_counted_by_tenths():
    even = [{"day": 0, "chance": (i + 0.5) / 20} for i in range(20)]
    late = [{"day": 7, "chance": 0.95} for _ in range(20)]
    lines = ranks.section([*even, *late]).splitlines()
    assert lines[2] == "| 0 | 20 | " + " | ".join(["2"] * 10) + " | 0.0 | 0.500 ± 0.066 |"
    assert "| 180.0 | 0.950 ± 0.000 |" in lines[3]


def test_a_rank_is_asked_on_days_nobody_chose_by_what_came():
    rows = ranks.ranked(("ranks", 3))
    assert [row["day"] for row in rows] == list(ranks.DAYS)[: len(rows)] and rows
    assert all(0.0 <= row["chance"] <= 1.0 for row in rows)
    assert ranks.ranked(("ranks", 3)) == rows


CLUSTER = """
from distributed import LocalCluster
if __name__ == "__main__":
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster:
        print(cluster.scheduler_address, flush=True)
        input()
"""


@pytest.mark.deep
def test_two_workers_of_a_cluster_find_what_this_process_finds(tmp_path):
    """The command by a cluster's address; its workers know nothing of the files of the study."""
    pytest.importorskip("distributed")
    (tmp_path / "cluster.py").write_text(CLUSTER, "utf-8")
    kept = tmp_path / "kept.jsonl"
    began = {"cwd": tmp_path, "stdin": PIPE, "stdout": PIPE, "text": True}
    with Popen([sys.executable, "cluster.py"], **began) as cluster:
        try:
            address = cluster.stdout.readline().strip()
            command = [sys.executable, calibration.__file__, "--worlds", "prior,door", "--keep", str(kept)]
            told = run([*command, "--cluster", address], check=True, capture_output=True, text=True)
        finally:
            cluster.communicate("\n")
    assert "2 of 2 chambers" in told.stderr and "### door" in told.stdout
    there = calibration.kept(kept, calibration.version())
    assert set(there) == {("prior", 0), ("door", 0)}
    # the last digits follow how many threads the linear algebra has there and here
    for one, other in zip(there["prior", 0], worlds.studied(("prior", 0)), strict=True):
        assert one["world"] == other["world"]
        numbers = [[v for k, v in row.items() if k != "world"] for row in (one, other)]
        assert numbers[0] == pytest.approx(numbers[1], rel=1e-6)
