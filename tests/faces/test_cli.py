"""The command line: the contract's three commands, the made ones, and the report."""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

NOW = "2026-03-02T09:00Z"
PLAN: dict[str, Any] = {
    "name": "Loin",
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


def saltfare(folder: Path, *args: str, given: str = "", now: str = NOW) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "saltfare.faces.cli", "--now", now, *args],
        input=given,
        capture_output=True,
        text=True,
        env={"SALTFARE_DATA": str(folder), "PATH": "/usr/bin:/bin", "TZ": "UTC"},
        check=False,
    )


def do(folder: Path, action: str, given: Any, now: str = NOW) -> tuple[int, Any]:
    text = given if isinstance(given, str) else json.dumps(given)
    ran = saltfare(folder, "do", action, given=text, now=now)
    assert "Traceback" not in ran.stderr, ran.stderr
    return ran.returncode, json.loads(ran.stdout)


def test_a_real_piece_is_planned_recorded_and_forecast_from_json(tmp_path: Path) -> None:
    code, started = do(tmp_path, "start_piece", PLAN)
    assert code == 0
    piece = started["code"]
    assert do(tmp_path, "salt_piece", {"code": piece, "salt": "42 g", "mix": "3.9 g"})[0] == 0
    later = "2026-03-23T09:00Z"
    assert do(tmp_path, "hang_piece", {"code": piece, "mass": "1.55 kg"}, later)[0] == 0
    week = "2026-03-30T09:00Z"
    assert do(tmp_path, "weigh_in", {"code": piece, "mass": "3 lb 0.5 oz"}, week)[0] == 0
    code, shown = do(tmp_path, "piece", {"code": piece}, week)
    assert code == 0
    assert shown["weigh_ins"][0]["typed"] == "3 lb 0.5 oz"
    assert shown["forecast"]["ready"]["early"] > week
    listed = saltfare(tmp_path, "weigh-in", piece, "--mass", "1.30 kg", now="2026-04-06T09:00Z")
    assert listed.returncode == 0, listed.stdout
    assert json.loads(listed.stdout)["version"] > shown["version"]


@pytest.mark.parametrize(
    ("action", "given", "code", "field"),
    [
        ("plan_piece", {**PLAN, "name": None}, "unknown_field", "name"),
        ("start_piece", {**PLAN, "green_weight": "1620"}, "unit_missing", "green_weight"),
        ("start_piece", {}, "missing", "green_weight"),
        ("start_piece", "[1]", "not_an_object", ""),
        ("start_piece", "{", "not_json", ""),
        ("start_piece", '{"green_weight": NaN}', "not_a_quantity", "green_weight"),
        ("start_piece", "[" * 100_000, "not_json", ""),
        ("piece", {"code": "0000000"}, "not_found", ""),
        ("no_such_action", {}, "not_found", ""),
    ],
)
def test_bad_input_leaves_with_two_and_says_what_where_and_how(
    tmp_path: Path, action: str, given: Any, code: str, field: str
) -> None:
    left, said = do(tmp_path, action, given)
    assert left == 2
    found = [e for e in said["errors"] if e["code"] == code and e["field"] == field]
    assert found, said
    assert set(found[0]) == {"code", "field", "given", "allowed", "mend", "text"}
    assert found[0]["mend"]


def test_actions_and_schemas_are_listed(tmp_path: Path) -> None:
    listed = saltfare(tmp_path, "actions").stdout.splitlines()
    assert any(line.startswith("weigh_in ") for line in listed)
    schema = json.loads(saltfare(tmp_path, "schema", "weigh_in").stdout)
    assert schema["input"]["properties"]["mass"]["x-kind"] == "mass"
    assert saltfare(tmp_path, "schema", "nothing").returncode == 2


def test_help_names_every_action_without_importing_a_model(tmp_path: Path) -> None:
    heavy = "('numpy', 'pydantic', 'fastapi', 'sqlalchemy')"
    probe = (
        "import sys; from saltfare.faces.cli import main; main(['--help'], standalone_mode=False);"
        f"sys.stderr.write(','.join(m for m in {heavy} if m in sys.modules))"
    )
    ran = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, check=True)
    assert ran.stderr == ""
    assert "weigh-in" in ran.stdout
    assert saltfare(tmp_path, "weigh-in", "--help").returncode == 0


def test_the_worked_examples_run_from_the_command_line(tmp_path: Path) -> None:
    ran = saltfare(tmp_path, "check-sources")
    assert ran.returncode == 0, ran.stdout
    rows = [line.split("\t") for line in ran.stdout.splitlines()[:-1]]
    assert len(rows) > 20
    assert all(len(row) == 7 for row in rows)


def test_the_demo_reports_and_leaves_the_persons_journal_alone(tmp_path: Path) -> None:
    ran = saltfare(tmp_path, "run", "--demo", "--once")
    assert ran.returncode == 0, ran.stderr
    assert "invented" in ran.stdout
    assert "At its mass between" in ran.stdout
    assert not (tmp_path / "saltfare.db").exists()
    again = saltfare(tmp_path, "run", "--once")
    assert again.stdout.splitlines()[1:] == ran.stdout.splitlines()


@pytest.mark.parametrize("kind", ["text", "folder", "database of others", "file for a folder"])
@pytest.mark.parametrize("command", [["run", "--once"], ["serve"], ["bench"]])
def test_what_is_no_journal_is_said_and_left_alone(tmp_path: Path, kind: str, command: list[str]) -> None:
    place = tmp_path / "data"
    journal = place / "saltfare.db"
    if kind == "file for a folder":
        place.write_text("not a folder")
    else:
        place.mkdir()
    if kind == "text":
        journal.write_text("hello")
    elif kind == "folder":
        journal.mkdir()
    elif kind == "database of others":
        with sqlite3.connect(journal) as other:
            other.execute("create table t (x)")
    before = journal.read_bytes() if journal.is_file() else None
    done = saltfare(place, *command)
    assert done.returncode == 2, done.stderr
    told = done.stdout + done.stderr
    assert "Traceback" not in told and str(place) in told
    assert before is None or journal.read_bytes() == before
