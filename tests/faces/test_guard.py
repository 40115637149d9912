"""The door: hosts, origins, headers, limits.

Requirements: OWASP ASVS 5 (headers, cross-site requests), W3C Fetch Metadata.
"""

from __future__ import annotations

import asyncio
import json
from typing import Any

import pytest

from saltfare.faces.guard import CONTENT_SECURITY_POLICY, Guard, split_host

OURS = [
    "localhost",
    "LOCALHOST",
    "localhost.",
    "localhost:8000",
    "localhost.:8000",
    "LocalHost:65535",
    "127.0.0.1",
    "127.0.0.1:1",
    "127.0.0.1:8000",
    "[::1]",
    "[::1]:8000",
    "[0:0:0:0:0:0:0:1]",
    "[0000:0000::0001]:8000",
    "192.168.1.20:8000",
    "127.0.0.1.",  # read as the address by the WHATWG host parser
]
NOT_OURS = [
    "",
    "evil.example",
    "evil.example:8000",
    "localhost.evil.example",
    "localhost:8000.evil.example",
    "evil.example#localhost",
    "localhost@evil.example",
    "evil.example@localhost",
    "localhost:0",
    "localhost:65536",
    "localhost:",
    "localhost:80:80",
    "localhost..",
    "localhost /",
    " localhost",
    "local host",
    "127.0.0.2",
    "127.1",
    "2130706433",
    "0x7f.0.0.1",
    "0.0.0.0",
    "192.168.1.21",
    "::1",
    "[::1",
    "::1]",
    "[::2]",
    "[::ffff:127.0.0.1]",
    "[::1]evil.example",
    "[fe80::1%25eth0]",
    "*",
    "localhost\u00e9",
]


async def _app(scope: Any, receive: Any, send: Any) -> None:
    body = b""
    while True:
        message = await receive()
        if message["type"] != "http.request":
            break
        body += message.get("body", b"")
        if not message.get("more_body"):
            break
    if scope["path"] == "/boom":
        raise RuntimeError("boom")
    headers = [
        (b"Access-Control-Allow-Origin", b"*"),
        (b"Cache-Control", b"public"),
        (b"Referrer-Policy", b"x"),
    ]
    await send({"type": "http.response.start", "status": 200, "headers": headers})
    await send({"type": "http.response.body", "body": str(len(body)).encode()})


def call(
    method: str = "GET",
    path: str = "/",
    headers: list[tuple[str, str]] | None = None,
    chunks: list[bytes] | None = None,
    query: bytes = b"",
    slow: bool = False,
    read: list[int] | None = None,
    **limits: Any,
) -> tuple[int, list[tuple[str, str]], bytes]:
    """One request through the guard."""
    guard = Guard(_app, hosts=("localhost", "127.0.0.1", "::1", "192.168.1.20"), **limits)
    sent: list[Any] = []
    parts = list(chunks or [b""])

    async def receive() -> Any:
        if slow:
            await asyncio.sleep(60)
        part = parts.pop(0)
        if read is not None:
            read.append(len(part))
        return {"type": "http.request", "body": part, "more_body": bool(parts)}

    async def send(message: Any) -> None:
        sent.append(message)

    scope = {
        "type": "http",
        "method": method,
        "path": path,
        "scheme": "http",
        "query_string": query,
        "headers": [(k.lower().encode(), v.encode("utf-8")) for k, v in headers or []],
    }
    asyncio.run(guard(scope, receive, send))
    start = sent[0]
    out = [(k.decode().lower(), v.decode()) for k, v in start["headers"]]
    return start["status"], out, b"".join(m.get("body", b"") for m in sent[1:])


@pytest.mark.parametrize("method", ["GET", "HEAD", "POST", "OPTIONS"])
@pytest.mark.parametrize("path", ["/", "/static/saltfare.css", "/api/bench"])
@pytest.mark.parametrize("host", OURS)
def test_our_hosts_are_answered(host: str, path: str, method: str) -> None:
    assert call(method, path, [("Host", host)])[0] == 200


@pytest.mark.parametrize("method", ["GET", "HEAD", "POST", "OPTIONS"])
@pytest.mark.parametrize("path", ["/", "/static/saltfare.css", "/api/bench"])
@pytest.mark.parametrize("host", NOT_OURS)
def test_any_other_host_is_misdirected(host: str, path: str, method: str) -> None:
    # a rebound name: Host and Origin agree with each other, and still nothing is given
    headers = [("Host", host), ("Origin", f"http://{host}"), ("Sec-Fetch-Site", "same-origin")]
    status, _, body = call(method, path, headers)
    assert status == 421
    if path.startswith("/api/") and method != "HEAD":
        assert json.loads(body)["errors"][0]["code"] == "host_not_ours"
    assert (body == b"") == (method == "HEAD")


def test_no_host_and_two_hosts_are_misdirected() -> None:
    assert call(headers=[])[0] == 421
    assert call(headers=[("Host", "localhost"), ("Host", "localhost")])[0] == 421
    assert call(headers=[("Host", "localhost"), ("Host", "evil.example")])[0] == 421


def test_host_spellings_meet_in_one() -> None:
    assert split_host("[0:0:0:0:0:0:0:1]:80") == ("::1", 80)
    assert split_host("LOCALHOST.:8000") == ("localhost", 8000)
    assert split_host("a..b") is None


COOKIE = ("Cookie", "a=b")
HOST = ("Host", "localhost:8000")
OWN = ("Origin", "http://localhost:8000")
MATRIX: list[tuple[list[tuple[str, str]], bool]] = [
    ([], True),  # the command line: no browser, no cookie
    ([COOKIE], False),
    ([OWN], True),
    ([OWN, COOKIE], True),
    ([("Origin", "HTTP://LOCALHOST:8000")], True),
    ([("Origin", "https://localhost:8000")], False),
    ([("Origin", "http://localhost:8001")], False),
    ([("Origin", "http://localhost")], False),
    ([("Origin", "http://127.0.0.1:8000")], False),
    ([("Origin", "http://evil.example")], False),
    ([("Origin", "http://localhost:8000.evil.example")], False),
    ([("Origin", "http://localhost:8000/")], False),
    ([("Origin", "null")], False),
    ([("Origin", "")], False),
    ([OWN, OWN], False),
    ([OWN, ("Origin", "http://evil.example")], False),
    ([("Sec-Fetch-Site", "same-origin")], True),
    ([("Sec-Fetch-Site", "none")], True),
    ([("Sec-Fetch-Site", "same-site")], False),
    ([("Sec-Fetch-Site", "cross-site")], False),
    ([("Sec-Fetch-Site", "cross-site"), OWN], False),
    ([("Sec-Fetch-Site", "same-site"), OWN, COOKIE], False),
    ([("Sec-Fetch-Site", "same-origin"), COOKIE], True),
    ([("Sec-Fetch-Site", "")], False),
    ([("Sec-Fetch-Site", "same-origin"), ("Sec-Fetch-Site", "cross-site")], False),
]


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE", "TRACE", "BREW"])
@pytest.mark.parametrize(("headers", "passes"), MATRIX)
def test_an_unsafe_request_is_our_own_or_refused(
    headers: list[tuple[str, str]], passes: bool, method: str
) -> None:
    assert call(method, headers=[HOST, *headers])[0] == (200 if passes else 403)


@pytest.mark.parametrize("method", ["GET", "HEAD", "OPTIONS"])
@pytest.mark.parametrize(("headers", "passes"), MATRIX)
def test_a_safe_request_passes_from_anywhere(
    headers: list[tuple[str, str]], passes: bool, method: str
) -> None:
    assert call(method, headers=[HOST, *headers])[0] == 200


EXPECTED = {
    "content-security-policy": CONTENT_SECURITY_POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
}


@pytest.mark.parametrize(
    ("method", "path", "headers", "status"),
    [
        ("GET", "/", [HOST], 200),
        ("POST", "/", [HOST, OWN], 200),
        ("GET", "/", [("Host", "evil.example")], 421),
        ("POST", "/", [HOST, ("Origin", "null")], 403),
        ("POST", "/api/x", [HOST, ("Content-Length", "999999999")], 413),
        ("POST", "/", [HOST, ("Content-Length", "x")], 400),
        ("POST", "/", [HOST, ("Content-Length", "1"), ("Content-Length", "2")], 400),
    ],
)
def test_every_answer_carries_the_headers_once_and_no_cors(
    method: str, path: str, headers: list[tuple[str, str]], status: int
) -> None:
    got, found, _ = call(method, path, headers)
    assert got == status
    for name, value in EXPECTED.items():
        assert [v for k, v in found if k == name] == [value]
    assert not [k for k, _ in found if k.startswith("access-control-")]


def test_the_policy_has_no_unsafe_word_and_no_wildcard() -> None:
    assert "unsafe" not in CONTENT_SECURITY_POLICY
    assert "*" not in CONTENT_SECURITY_POLICY
    assert "http" not in CONTENT_SECURITY_POLICY
    for part in ("default-src 'none'", "base-uri 'none'", "frame-ancestors 'none'", "form-action 'self'"):
        assert part in CONTENT_SECURITY_POLICY


def test_static_files_may_be_kept() -> None:
    _, found, _ = call(path="/static/saltfare.css", headers=[HOST])
    assert dict(found)["cache-control"] == "public"


def test_a_body_is_read_up_to_the_limit() -> None:
    headers = [HOST]
    assert call("POST", headers=headers, chunks=[b"x" * 60, b"x" * 40], max_body_bytes=100)[2] == b"100"
    assert call("POST", headers=headers, chunks=[b"x" * 60, b"x" * 41], max_body_bytes=100)[0] == 413
    endless = [b"x" * 50 for _ in range(1000)]
    assert call("POST", headers=headers, chunks=endless, max_body_bytes=100)[0] == 413


def test_a_body_too_large_is_let_arrive_and_fall_so_that_the_answer_is_seen() -> None:
    """Held on a socket: a client still sending when it is closed gets a reset instead of the answer."""
    read: list[int] = []
    for told in ([], [("Content-Length", "3000000")]):
        chunks = [b"x" * 60000 for _ in range(50)]
        assert call("POST", headers=[HOST, *told], chunks=chunks, read=read)[0] == 413
        assert sum(read) == 3_000_000
        read.clear()
    # but not without end
    chunks = [b"x" * 2**20 for _ in range(64)]
    assert call("POST", headers=[HOST], chunks=chunks, read=read)[0] == 413
    assert 2**24 <= sum(read) < 2**25


def test_a_slow_body_is_given_up() -> None:
    assert call("POST", headers=[HOST], slow=True, body_timeout_s=0.05)[0] == 408


def test_a_long_address_is_refused() -> None:
    assert call(headers=[HOST], query=b"x" * 20_000)[0] == 414


def test_web_sockets_are_closed() -> None:
    sent: list[Any] = []

    async def send(message: Any) -> None:
        sent.append(message)

    async def receive() -> Any:
        return {"type": "websocket.connect"}

    asyncio.run(Guard(_app)({"type": "websocket", "path": "/", "headers": []}, receive, send))
    assert sent == [{"type": "websocket.close", "code": 1008}]
