"""One action, three faces: the same answers and the same refusals."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient
from test_cli import PLAN, do

from saltfare.actions.context import Context
from saltfare.actions.registry import ACTIONS, run
from saltfare.core.errors import SaltfareError
from saltfare.core.library import Library
from saltfare.faces.errors_shown import as_json, status
from saltfare.faces.web.app import create_app
from saltfare.faces.words import Words
from saltfare.jobs import Cache
from saltfare.journal.store import Journal

NOW = datetime(2026, 3, 2, 9, tzinfo=UTC)


@pytest.fixture
def context(tmp_path: Path) -> Iterator[Context]:
    def entropy(count: int) -> bytes:
        return sha256(b"same").digest()[:count]

    with Journal.open(tmp_path / "saltfare.db", entropy=entropy) as journal:
        yield Context(journal, Cache(tmp_path / "cache"), Library(), NOW, entropy)


@pytest.fixture
def client(context: Context) -> TestClient:
    app = create_app(lambda: context, allowed_hosts=("127.0.0.1",))
    return TestClient(app, base_url="http://127.0.0.1")


def posted(client: TestClient, action: str, given: Any) -> tuple[int, Any]:
    answer = client.post(f"/api/{action}", json=given, headers={"Sec-Fetch-Site": "same-origin"})
    return answer.status_code, answer.json()


QUERIES: list[tuple[str, dict[str, Any]]] = [
    ("plan_piece", {k: v for k, v in PLAN.items() if k != "name"}),
    ("bench", {}),
    ("pieces", {}),
    ("rub_day", {}),
    ("chambers", {}),
    ("sources", {}),
    ("glossary", {}),
    ("settings", {}),
    ("source", {"key": "nist_hb44_2023"}),
]


@pytest.mark.parametrize(("action", "given"), QUERIES, ids=lambda x: x if isinstance(x, str) else "")
def test_a_query_answers_alike(
    context: Context, client: TestClient, tmp_path: Path, action: str, given: dict[str, Any]
) -> None:
    direct = json.loads(run(action, context, given).model_dump_json())
    assert posted(client, action, given) == (200, direct)
    code, printed = do(tmp_path, action, given)
    assert code == 0
    assert printed == direct


BAD: list[tuple[str, dict[str, Any]]] = [
    ("start_piece", {}),
    ("start_piece", {**PLAN, "green_weight": "1,620 g"}),
    ("start_piece", {**PLAN, "green_weight": "9 kg"}),
    ("start_piece", {**PLAN, "mix": {"name": "jar"}}),
    ("start_piece", {**PLAN, "salt_share": "2 %"}),
    ("start_piece", {**PLAN, "salt_share": "7 %"}),
    ("start_piece", {**PLAN, "target_loss": "80 %"}),
    ("start_piece", {**PLAN, "chamber": "nowhere"}),
    ("weigh_in", {"code": "0000000", "mass": "1 kg"}),
    ("weigh_in", {"code": "0000001", "mass": "1 kg"}),
    ("turn_piece", {}),
    ("source", {"key": "nothing"}),
    ("correct", {"event_id": "no", "what": "withdraw"}),
    ("set_settings", {"zone": "Middle/Earth"}),
    ("describe_chamber", {"name": "x", "temperature": "13", "humidity": "75 %", "air_speed": "0.1 m/s"}),
    ("read_air", {"key": "nowhere", "rows": []}),
]


@pytest.mark.parametrize(("action", "given"), BAD, ids=lambda x: x if isinstance(x, str) else "")
def test_bad_input_is_refused_alike(
    context: Context, client: TestClient, tmp_path: Path, action: str, given: dict[str, Any]
) -> None:
    with pytest.raises(SaltfareError) as raised:
        run(action, context, given)
    said = as_json(raised.value, Words())
    assert posted(client, action, given) == (status(raised.value), said)
    assert do(tmp_path, action, given) == (2, said)
    assert context.journal.head() == 0


def test_the_interface_is_described_for_every_action(client: TestClient) -> None:
    paths = client.get("/openapi.json").json()["paths"]
    assert {f"/api/{a.name}" for a in ACTIONS} <= set(paths)
