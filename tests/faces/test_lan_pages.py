"""The pages from the home network: who is asked, what a role may do, what an answer gives away.

Requirements: OWASP ASVS 5 (sessions, access control, error handling), RFC 6265bis (cookies), RFC 9110.
"""

from __future__ import annotations

import asyncio
import json
import logging
import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from fastapi.routing import APIRoute

from saltfare.actions import registry
from saltfare.core.errors import JournalDamaged, JournalError, NotFound, Problem
from saltfare.faces.door.keeper import ABSOLUTE, IDLE, Door
from saltfare.faces.door.passphrase import Cost
from saltfare.faces.door.roles import BENCH_PARTS, FOR_ALL, needed
from saltfare.faces.door.store import ROLES, DoorBroken
from saltfare.faces.guard import CONTENT_SECURITY_POLICY, LOOPBACK, Guard
from saltfare.faces.opening import House, opened
from saltfare.faces.web import door as door_pages
from saltfare.faces.web.app import create_app
from saltfare.faces.web.gate import Gate, without_folders

CHEAP = Cost(memory_kib=8, passes=1, lanes=1)
PASS = {
    "all": "seven herons over the weir",
    "record": "a cupboard that stays cool",
    "look": "only to look at it all",
}
START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
HOST = "bench.local"
ORIGIN = f"http://{HOST}"


class Clock:
    """A clock set by hand."""

    at = START

    def __call__(self) -> datetime:
        return self.at


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    with opened(directory=tmp_path_factory.mktemp("house"), clock=lambda: START) as made:
        yield made


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def door(tmp_path: Path, clock: Clock) -> Door:
    made = Door(tmp_path, clock=clock, cost=CHEAP)
    for role in ROLES:
        made.set_passphrase(role, PASS[role])
    return made


@pytest.fixture
def app(house: House, door: Door) -> Guard:
    return create_app(house.context, allowed_hosts=(*LOOPBACK, HOST), door=door)


RUNNER = asyncio.Runner()


class Phone:
    """A browser at an address of the network. It follows nothing by itself."""

    def __init__(self, app: Any, address: str, base: str) -> None:
        transport = httpx.ASGITransport(app=app, client=(address, 50000), raise_app_exceptions=False)
        self.http = httpx.AsyncClient(transport=transport, base_url=base)
        self.cookies, self.headers = self.http.cookies, self.http.headers

    def request(self, method: str, path: str, **more: Any) -> httpx.Response:
        return RUNNER.run(self.http.request(method, path, **more))

    def get(self, path: str, **more: Any) -> httpx.Response:
        return self.request("GET", path, **more)

    def post(self, path: str, **more: Any) -> httpx.Response:
        return self.request("POST", path, **more)


def phone(app: Any, address: str = "192.168.1.7", *, base: str = ORIGIN, origin: bool = True) -> Phone:
    made = Phone(app, address, base)
    if origin:
        made.headers["origin"] = base
    return made


def sign_in(client: Phone, role: str = "all", text: str | None = None, **more: str) -> httpx.Response:
    given = {"passphrase": PASS[role] if text is None else text, "role": role, **more}
    return client.post("/sign-in", data=given)


def signed_in(app: Any, role: str) -> Phone:
    client = phone(app)
    assert sign_in(client, role).status_code == 303
    return client


# who is asked


@pytest.mark.parametrize(
    "path", ["/", "/pieces", "/pieces/X?a=1&b=2", "/settings", "/devices", "/no/such/page"]
)
@pytest.mark.parametrize("method", ["GET", "HEAD"])
def test_a_page_leads_to_the_form_and_from_there_back(app: Guard, path: str, method: str) -> None:
    client = phone(app)
    answer = client.request(method, path)
    assert answer.status_code == 303 and answer.content == b""
    where = answer.headers["location"]
    assert where.startswith("/sign-in")
    form = client.get(where).text
    onward = re.search(r'name="next" value="([^"]*)"', form)
    assert onward and onward[1].replace("&amp;", "&") == path
    after = sign_in(client, next=onward[1].replace("&amp;", "&"))
    assert (after.status_code, after.headers["location"]) == (303, path)


@pytest.mark.parametrize(
    "next_",
    [
        "//evil.example",
        "https://evil.example/",
        "/\\evil.example",
        "\\\\evil",
        "evil",
        "/sign-in?next=/",
        "/a\r\nb",
        "",
    ],
)
def test_the_way_back_leads_nowhere_else(app: Guard, next_: str) -> None:
    assert sign_in(phone(app), next=next_).headers["location"] == "/"
    assert door_pages.local("/pieces/X?done=1") == "/pieces/X?done=1"


def test_what_is_no_page_is_told_in_its_own_form(app: Guard) -> None:
    client = phone(app)
    answer = client.post("/api/pieces", json={})
    assert answer.status_code == 401 and answer.json()["errors"][0]["code"] == "not_signed_in"
    assert client.get("/openapi.json").json()["errors"][0]["code"] == "not_signed_in"
    answer = client.get("/understood?quantity=green_weight&typed=1", headers={"x-partial": "1"})
    assert answer.status_code == 401 and "<html" not in answer.text and "Sign in" in answer.text
    answer = client.post("/pieces/X/weigh", data={"mass": "1 kg"})
    assert answer.status_code == 401 and 'href="/sign-in"' in answer.text
    assert answer.headers["www-authenticate"]


def test_the_form_and_what_draws_it_are_open(app: Guard) -> None:
    client = phone(app)
    form = client.get("/sign-in")
    assert form.status_code == 200
    for address in re.findall(r'(?:href|src)="(/static/[^"]+)"', form.text):
        assert client.get(address).status_code == 200
    assert client.get("/static/../pieces").status_code == 303  # the client folds it
    assert client.get("/static/%2e%2e/pieces").status_code in (303, 404)
    assert client.get("/static/..%2fpieces").status_code in (303, 404)


def test_the_form_needs_no_script_and_lets_paste_and_password_keepers_work(app: Guard) -> None:
    text = phone(app).get("/sign-in").text
    field = re.search(r"<input[^>]*name=\"passphrase\"[^>]*>", text)
    assert field and 'type="password"' in field[0] and 'autocomplete="current-password"' in field[0]
    assert "maxlength" not in field[0] and "onpaste" not in text and "<button>" in text
    assert 'autocomplete="username"' in text
    assert not re.search(r"<(iframe|canvas|object)|style=| on[a-z]+=", text)
    assert "plain http" in text, "it says what that means"
    assert "plain http" not in phone(app, base=f"https://{HOST}").get("/sign-in").text


@pytest.mark.parametrize(
    ("client", "base", "headers", "asked"),
    [
        ("127.0.0.1", "http://127.0.0.1:8765", {}, False),
        ("::1", "http://[::1]:8765", {}, False),
        ("127.0.0.1", "http://127.0.0.1:8765", {"X-Forwarded-For": "192.168.1.7"}, True),
        ("127.0.0.1", "http://127.0.0.1:8765", {"Forwarded": "for=192.168.1.7"}, True),
        ("127.0.0.1", "http://127.0.0.1:8765", {"Via": "1.1 somebody"}, True),
        ("192.168.1.7", "http://127.0.0.1:8765", {}, True),
        ("127.0.0.1", ORIGIN, {}, True),
        ("192.168.1.7", ORIGIN, {}, True),
        ("::ffff:192.168.1.7", ORIGIN, {}, True),
    ],
)
def test_nobody_is_asked_at_the_machine_itself(
    app: Guard, house: House, door: Door, client: str, base: str, headers: dict[str, str], asked: bool
) -> None:
    assert phone(app, client, base=base).get("/help", headers=headers).status_code == (303 if asked else 200)
    asking = create_app(house.context, allowed_hosts=(*LOOPBACK, HOST), door=door, ask_here=True)
    assert phone(asking, client, base=base).get("/help", headers=headers).status_code == 303


def test_without_a_passphrase_the_machine_itself_works_as_ever(house: House, tmp_path: Path) -> None:
    for door in (None, Door(tmp_path, cost=CHEAP)):
        made = create_app(house.context, door=door)
        client = phone(made, "127.0.0.1", base="http://127.0.0.1:8765")
        assert client.get("/help").status_code == 200
        assert client.get("/help", headers={"X-Forwarded-For": "x"}).status_code == 200
        assert "No passphrase is set" in client.get("/devices").text
        assert client.get("/sign-in").status_code == (404 if door is None else 200)


HOSTS = [
    (HOST, True),
    ("BENCH.local.:8765", True),
    ("192.168.1.20:8765", True),
    ("[fd00::2]", True),
    ("[fd00:0:0::2]:8765", True),
    ("localhost", True),
    ("evil.example", False),
    ("192.168.1.21", False),
    ("[fd00::3]", False),
    ("bench.local.evil.example", False),
    ("xbench.local", False),
    ("0.0.0.0", False),
    ("", False),
]


def test_only_bound_addresses_and_given_names_are_answered(house: House, door: Door) -> None:
    from saltfare.faces.lan import lan
    from saltfare.faces.serving import hosts

    allowed = hosts(lan(["192.168.1.20", "fd00::2"], ["Bench.local"]))
    client = phone(create_app(house.context, allowed_hosts=allowed, door=door), origin=False)
    for host, ours in HOSTS:
        for method, path in (("GET", "/help"), ("HEAD", "/"), ("POST", "/help"), ("GET", "/static/door.js")):
            answer = client.request(method, path, headers={"host": host})
            assert (answer.status_code != 421) is ours, (method, path, host)


# sessions in the browser


@pytest.mark.parametrize("scheme", ["http", "https"])
def test_the_cookie_is_kept_from_scripts_and_from_other_sites(app: Guard, scheme: str) -> None:
    client = phone(app, base=f"{scheme}://{HOST}")
    raw = sign_in(client).headers["set-cookie"]
    pair, *rest = (part.strip() for part in raw.split(";"))
    attributes = {part.lower() for part in rest}
    assert {"httponly", "samesite=strict", "path=/", f"max-age={30 * 86400}"} <= attributes
    assert ("secure" in attributes) is (scheme == "https")
    assert not [a for a in attributes if a.startswith("domain")]
    assert pair.partition("=")[0] == ("__Host-saltfare" if scheme == "https" else "saltfare")
    assert len(pair.partition("=")[2]) == 43
    assert client.get("/help").status_code == 200
    gone = client.post("/sign-out").headers["set-cookie"]
    assert "max-age=0" in gone.lower() and "path=/" in gone.lower()


def test_a_session_put_there_beforehand_is_not_taken_up(app: Guard) -> None:
    client = phone(app)
    client.cookies.set("saltfare", "x" * 43)
    assert client.get("/help").status_code == 303
    assert "x" * 43 not in sign_in(client).headers["set-cookie"]
    attacker = phone(app)
    attacker.cookies.set("saltfare", "x" * 43)
    assert attacker.get("/help").status_code == 303


def test_signing_in_again_voids_what_was_held(app: Guard) -> None:
    client = signed_in(app, "all")
    old = client.cookies["saltfare"]
    assert sign_in(client, "look").status_code == 303
    stolen = phone(app)
    stolen.cookies.set("saltfare", old)
    assert stolen.get("/help").status_code == 303 and client.get("/help").status_code == 200


def test_what_was_signed_out_cannot_be_used_again(app: Guard) -> None:
    client = signed_in(app, "all")
    kept = client.cookies["saltfare"]
    assert client.get("/help").status_code == 200
    answer = client.post("/sign-out")
    assert answer.headers["location"].startswith("/sign-in")
    client.cookies.set("saltfare", kept)
    assert client.get("/help").status_code == 303
    assert client.get("/sign-out").status_code in (303, 405)  # a link signs nobody out


def test_it_expires(app: Guard, clock: Clock) -> None:
    client = signed_in(app, "all")
    clock.at += IDLE - timedelta(seconds=1)
    assert client.get("/help").status_code == 200
    clock.at += IDLE
    assert client.get("/help").status_code == 303
    client = signed_in(app, "all")
    for _ in range(ABSOLUTE.days - 1):
        clock.at += timedelta(days=1)
        assert client.get("/help").status_code == 200
    clock.at += timedelta(days=1)
    assert client.get("/help").status_code == 303


def test_devices_are_seen_and_signed_out_on_a_page(app: Guard) -> None:
    one, two = phone(app), phone(app, "192.168.1.8")
    sign_in(one, "all", device="<b>Wet</b> phone")
    sign_in(two, "look", device="Guest")
    page = one.get("/devices").text
    assert "&lt;b&gt;Wet&lt;/b&gt; phone" in page and "Guest" in page and "192.168.1.8" in page
    own = two.get("/devices").text
    assert "Guest" in own and "Wet" not in own, "who may only look sees itself"
    key = re.search(r'name="key" value="([0-9a-f]{8})"', page)
    assert key
    assert two.post("/devices/sign-out", data={"key": key[1]}).status_code == 403
    assert one.post("/devices/sign-out", data={"key": key[1]}).headers["location"] == "/devices?done=one"
    assert two.get("/help").status_code == 303 and one.get("/help").status_code == 200
    assert one.post("/devices/sign-out", data={"key": "00000000"}).status_code == 404
    sign_in(two, "look")
    one.post("/devices/sign-out")
    assert two.get("/help").status_code == 303 and one.get("/help").status_code == 200


def test_a_request_from_another_site_is_refused_with_a_session_too(app: Guard) -> None:
    client = signed_in(app, "all")
    for origin in ("http://evil.example", "null", f"http://{HOST}:81", f"https://{HOST}"):
        assert client.post("/sign-out", headers={"origin": origin}).status_code == 403
    del client.headers["origin"]
    assert client.post("/sign-out").status_code == 403, "a cookie alone says nothing of who sends"
    assert client.get("/help").status_code == 200


# what an answer tells


def test_every_wrong_passphrase_gets_the_same_answer(app: Guard, door: Door) -> None:
    answers = []
    for text in (
        "",
        "x",
        PASS["all"][:-1],
        PASS["all"].upper(),
        "z" * 15,
        "z" * 100_000,
        "\x00",
        "塩" * 20,
        "<script>",
    ):
        door.unlock()
        answer = sign_in(phone(app), text=text)
        assert text == "" or len(text) < 3 or text not in answer.text
        headers = {k: v for k, v in answer.headers.items() if k != "content-length"}
        answers.append((answer.status_code, answer.text, headers))
    assert all(one == answers[0] for one in answers)
    assert answers[0][0] == 403 and "set-cookie" not in answers[0][2]


def test_waiting_and_locked_are_said_with_what_to_do(app: Guard, door: Door, clock: Clock) -> None:
    client = phone(app)
    found = [sign_in(client, text="wrong").status_code for _ in range(4)]
    assert found == [403, 403, 403, 429]
    clock.at += timedelta(seconds=0.5)
    answer = sign_in(client)
    assert answer.status_code == 429 and answer.headers["retry-after"] == "2"
    assert "1.5" in answer.text or "2" in answer.text
    assert sign_in(phone(app, "192.168.1.9")).status_code == 303
    for _ in range(100):
        clock.at += timedelta(hours=1)
        try:
            door.sign_in("wrong", client="192.168.1.9")
        except Exception:
            continue
    answer = sign_in(client)
    assert answer.status_code == 403 and "saltfare unlock" in answer.text
    assert (
        door.locked and "locked" in phone(app, "127.0.0.1", base="http://127.0.0.1:8765").get("/devices").text
    )
    door.unlock()
    assert sign_in(client).status_code == 303


# roles, over every route and every action


@pytest.fixture
def ran(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The actions that would have run; none of them does."""
    names: list[str] = []

    def run(name: str, *_: object) -> None:
        names.append(name)
        raise NotFound("stub", name)

    monkeypatch.setattr(registry, "run", run)
    return names


def needs(name: str) -> str:
    """The rule, written again: queries look, commands record; settings, taking back and planning trips are
    for all, how a trip went is recorded."""
    action = registry.get(name)
    if action.kind == "query":
        return "look"
    if action.part == "trips":
        return "record" if name == "after_trip" else "all"
    return "all" if name == "correct" or action.part in ("settings", "sources") else "record"


def rank(role: str) -> int:
    return ("look", "record", "all").index(role)


def test_every_part_has_been_thought_of() -> None:
    known = BENCH_PARTS | {"sources", "settings", "trips"}
    assert {a.part for a in registry.ACTIONS} <= known, "say in faces.door.roles whose work a new part is"
    assert {a.name for a in registry.ACTIONS} >= FOR_ALL


def test_every_action_is_open_from_its_role_up(app: Guard, ran: list[str]) -> None:
    clients = {role: signed_in(app, role) for role in ROLES}
    stranger = phone(app)
    for action in registry.ACTIONS:
        need, address = needs(action.name), f"/api/{action.name}"
        assert needed(action) == need, action.name
        for role, client in clients.items():
            answer = client.post(address, json={})
            if rank(role) >= rank(need):
                assert (ran, answer.status_code) == ([action.name], 404), (action.name, role)
            else:
                assert (ran, answer.status_code) == ([], 403), (action.name, role)
                assert answer.json()["errors"][0]["code"] == "not_permitted"
            ran.clear()
        assert stranger.post(address, json={}).status_code == 401 and ran == [], action.name


def application(app: Guard) -> FastAPI:
    gate = app.app
    assert isinstance(gate, Gate) and isinstance(gate.app, FastAPI)
    return gate.app


def routes(app: FastAPI) -> list[tuple[str, str]]:
    """Every (method, path) there is, those of included routers too."""
    found: set[tuple[str, str]] = set()

    def walk(holder: Any) -> None:
        for route in getattr(holder, "routes", ()):
            methods = getattr(route, "methods", None)
            if methods and getattr(route, "path", ""):
                found.update((m, route.path) for m in methods)
            for inner in ("router", "original_router", "app"):
                if hasattr(route, inner) and not isinstance(route, APIRoute):
                    walk(getattr(route, inner))

    walk(app)
    return sorted(found)


OPEN = {("GET", "/sign-in"), ("POST", "/sign-in")}
FOR_ANYBODY_IN = {("POST", "/sign-out"), ("POST", "/api/{name}")}
ONLY_ALL = {
    ("POST", "/settings"),
    ("POST", "/devices/sign-out"),
    ("POST", "/tags/address"),
    ("POST", "/labels/mug"),
    ("POST", "/trips"),
    *(
        ("POST", f"/trips/{{code}}/{what}")
        for what in (
            *("about", "days", "party", "kitchen", "limits", "staples", "items", "cancel", "undo"),
            *("menu", "stop", "bar", "hold", "exchange", "let-go", "commit", "release", "take"),
        )
    ),
    *(("POST", f"/plan-back/{what}") for what in ("wish", "drop", "room", "away", "accept")),
}
ACTS_ONLY_ALL = {"correct"}


def concrete(path: str) -> list[str]:
    """Addresses of a route, each act of a piece among them."""
    filled = path.replace("{name}", "pieces")
    if "{act}" in filled:
        from saltfare.faces.web import pieces, shelf

        acts = shelf.ACTS if filled.startswith("/shelf/") else pieces.ACTS
        return [re.sub(r"\{\w+\}", "X", filled.replace("{act}", act)) for act in acts]
    return [re.sub(r"\{\w+(:\w+)?\}", "X", filled)]


def test_every_route_is_open_from_its_role_up(app: Guard, door: Door, ran: list[str]) -> None:
    every = routes(application(app))
    assert len(every) > 15 and set(every) >= OPEN | ONLY_ALL | FOR_ANYBODY_IN
    unknown = {m for m, _ in every} - {"GET", "HEAD", "POST"}
    assert not unknown, f"say what {unknown} needs"
    seen = 0
    clients = {role: signed_in(app, role) for role in ROLES}
    tokens = {role: client.cookies["saltfare"] for role, client in clients.items()}
    for method, path in every:
        for address in concrete(path):
            need = "look"
            if method == "POST" and (method, path) not in FOR_ANYBODY_IN:
                record = (method, path) not in ONLY_ALL and address.rpartition("/")[2] not in ACTS_ONLY_ALL
                need = "record" if record else "all"
            query = {"quantity": "green_weight"} if path == "/understood" else {}
            sent: dict[str, Any] = (
                {"json": {}} if path.startswith("/api/") else {"data": {}} if method == "POST" else {}
            )
            stranger = phone(app).request(method, address, params=query, **sent)
            if (method, path) in OPEN:
                assert stranger.status_code in (200, 403), address
                door.unlock()
                continue
            assert stranger.status_code in (303, 401), (method, address)
            assert ran == [], f"{address} does something for a stranger"
            for role, client in clients.items():
                answer = client.request(method, address, params=query, **sent)
                allowed = rank(role) >= rank(need)
                assert (answer.status_code == 403) is (not allowed), (
                    method,
                    address,
                    role,
                    answer.status_code,
                )
                assert answer.status_code not in (401, 500), (method, address, role)
                assert all(rank(needs(name)) <= rank(role) for name in ran), (address, role, ran)
                seen += 1
                ran.clear()
                if path in ("/sign-out", "/devices/sign-out"):  # these end sessions: begin anew
                    clients = {r: signed_in(app, r) for r in ROLES}
                    tokens = {r: c.cookies["saltfare"] for r, c in clients.items()}
    assert seen > 60 and len(set(tokens.values())) == 3


# what goes wrong gives nothing away

SECRET = "SELECT hash FROM event; /home/somebody/saltfare/saltfare.db"
PATHS = ("/home/", "somebody", "SELECT", "Traceback", 'File "', ".py", "sqlite", "argon2", "RuntimeError")
FAULTS = [
    RuntimeError(SECRET),
    JournalDamaged(
        Problem("journal_damaged", params={"path": "/home/somebody/x/saltfare.db", "reason": "torn"})
    ),
    JournalError(
        Problem(
            "journal_cannot_open",
            params={
                "path": "/home/somebody/my things/saltfare.db",
                "reason": "[Errno 13] Permission denied: '/home/somebody/my things/saltfare.db'",
            },
        )
    ),
]


@pytest.mark.parametrize(
    ("fault", "place"),
    [*((fault, "action") for fault in FAULTS), (FAULTS[0], "context"), (FAULTS[1], "context")],
    ids=lambda value: value if isinstance(value, str) else type(value).__name__,
)
def test_no_answer_shows_the_inside(
    house: House,
    door: Door,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
    fault: Exception,
    place: str,
) -> None:
    def fail(*_: object) -> Any:
        raise fault.with_traceback(None)  # one raised again and again would trail all its places

    app = create_app(house.context, allowed_hosts=(*LOOPBACK, HOST), door=door)
    client = signed_in(app, "all")
    token = client.cookies["saltfare"]
    if place == "action":
        monkeypatch.setattr(registry, "run", fail)
    else:
        app = create_app(fail, allowed_hosts=(*LOOPBACK, HOST), door=door)
        client = phone(app)
        client.cookies.set("saltfare", token)
    failures = 0
    for method, path in routes(application(app)):
        if path in ("/sign-out", "/openapi.json"):
            continue
        for address in concrete(path)[:2]:
            sent: dict[str, Any] = {"json": {}} if path.startswith("/api/") else {}
            answer = client.request(method, address, params={"quantity": "green_weight"}, **sent)
            failures += answer.status_code >= 500
            found = [word for word in PATHS if word in answer.text]
            assert not found, (method, address, found)
            assert answer.headers["content-security-policy"] == CONTENT_SECURITY_POLICY
            assert answer.headers["cache-control"] == "no-store"
    assert failures > 10
    logged = caplog.text
    assert token not in logged and not any(text in logged for text in PASS.values())


def test_a_door_that_cannot_be_read_is_shut_and_says_only_its_name(app: Guard, door: Door) -> None:
    client = signed_in(app, "all")
    door.store.path.write_text("{")
    for answer in (
        client.get("/"),
        client.post("/api/pieces", json={}),
        sign_in(phone(app)),
        client.get("/sign-in"),
    ):
        assert answer.status_code == 503 and "door.json" in answer.text
        assert str(door.store.path.parent) not in answer.text
    with pytest.raises(DoorBroken):
        door.opened_by()
    here = phone(app, "127.0.0.1", base="http://127.0.0.1:8765")
    assert here.get("/help").status_code == 200, "the machine itself is not shut out"


def test_a_failing_sign_in_logs_no_passphrase(
    app: Guard, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)

    def fail(*_: object, **__: object) -> None:
        raise RuntimeError("inside")

    monkeypatch.setattr(Door, "sign_in", fail)
    client = phone(app)
    client.cookies.set("saltfare", "k" * 43)
    answer = sign_in(client)
    assert answer.status_code == 500 and "inside" not in answer.text
    assert "failure" in caplog.text and "RuntimeError: inside" in caplog.text
    text = caplog.text + json.dumps([str(r.__dict__) for r in caplog.records])
    assert PASS["all"] not in text and "k" * 43 not in text


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("/home/a b/c.db", "c.db"),
        ("[Errno 13] Permission denied: '/home/a b/c.db'", "[Errno 13] Permission denied: 'c.db'"),
        ("Input/output error", "Input/output error"),
        ("disk I/O error", "disk I/O error"),
        ("c.db", "c.db"),
    ],
)
def test_folders_are_taken_out_and_nothing_else(text: str, told: str) -> None:
    assert without_folders(Problem("x", params={"path": text, "n": 3})).params == {"path": told, "n": 3}
