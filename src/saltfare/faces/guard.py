"""Who may talk to the pages: the door in front of every face that listens on a socket.

A page of a foreign site can reach a program on this machine in two ways: by a name it lets resolve to
a loopback address (then Host and Origin both carry the foreign name, so comparing the two shows
nothing), and by posting a form across origins. Against the first stands a closed list of hosts, asked
on every request; against the second the browser's own word about the origin of an unsafe request.
The guard also sets the headers of every answer, its own refusals and the server's errors included,
and reads a body only up to a limit.
"""

from __future__ import annotations

import asyncio
import ipaddress
import json
import re
from collections.abc import Awaitable, Callable, Collection, MutableMapping
from contextlib import suppress
from typing import Any

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

LOOPBACK = ("localhost", "127.0.0.1", "::1")
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
MAX_BODY_BYTES = 2 * 1024 * 1024
DISCARDED_BYTES = 16 * 1024 * 1024
MAX_QUERY_BYTES = 16 * 1024
BODY_TIMEOUT_S = 20.0

CONTENT_SECURITY_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
# `same-origin`, not `no-referrer`: the latter makes the browser send `Origin: null` with our own forms.
HEADERS = {
    "content-security-policy": CONTENT_SECURITY_POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}
PRIVATE = "no-store"

_AUTHORITY = re.compile(
    r"(?:\[(?P<six>[0-9a-f:.]{2,45})\]|(?P<name>[a-z0-9](?:[a-z0-9.-]{0,252})))(?::(?P<port>[0-9]{1,5}))?"
)


def split_host(header: str) -> tuple[str, int | None] | None:
    """The host and port of a Host header in one spelling, None where it is out of form.

    Lower case, without the brackets of an IPv6 literal and without one trailing dot; an address is
    written in its shortest form, so that `[0:0:0:0:0:0:0:1]` and `[::1]` are one.
    """
    match = _AUTHORITY.fullmatch(header.lower())
    if not match:
        return None
    port = int(match["port"]) if match["port"] else None
    if port is not None and not 0 < port < 65536:
        return None
    if match["six"] is not None:
        try:
            return str(ipaddress.IPv6Address(match["six"])), port
        except ValueError:
            return None
    name = match["name"].removesuffix(".")
    if not name or ".." in name or name.endswith("."):
        return None
    return name, port


def _origin(header: str) -> tuple[str, str, int | None] | None:
    scheme, mark, rest = header.lower().partition("://")
    if not mark or scheme not in ("http", "https"):
        return None
    split = split_host(rest)
    return None if split is None else (scheme, *split)


class Guard:
    """ASGI middleware around the whole application.

    Parameters
    ----------
    app
        What stands behind it.
    hosts
        Names and address literals it answers to, without brackets or ports, such as the loopback
        names and the literals it is bound to. There is no wildcard.
    max_body_bytes, body_timeout_s
        The largest body read, and how long a client may take to send it [s].
    """

    def __init__(
        self,
        app: App,
        *,
        hosts: Collection[str] = LOOPBACK,
        max_body_bytes: int = MAX_BODY_BYTES,
        body_timeout_s: float = BODY_TIMEOUT_S,
    ) -> None:
        self.app = app
        self.hosts = frozenset(_one_spelling(host) for host in hosts)
        self.max_body_bytes = max_body_bytes
        self.body_timeout_s = body_timeout_s

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse, or pass on with the headers of the answer seen to."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":  # nothing here speaks over web sockets
            await send({"type": "websocket.close", "code": 1008})
            return
        sealed = _sealed(scope, send)
        refusal = self._refusal(scope)
        if refusal is not None:
            if refusal[0] == 413:
                with suppress(TimeoutError):
                    await asyncio.wait_for(self._body(receive), self.body_timeout_s)
            await _refuse(scope, sealed, *refusal)
            return
        if scope["method"] in ("GET", "HEAD"):
            await self.app(scope, receive, sealed)
            return
        try:
            body = await asyncio.wait_for(self._body(receive), self.body_timeout_s)
        except TimeoutError:
            await _refuse(scope, sealed, 408, "body_too_slow")
            return
        if body is None:
            await _refuse(scope, sealed, 413, "body_too_large")
            return
        await self.app(scope, _replay(body, receive), sealed)

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        values: dict[bytes, list[str]] = {}
        for name, value in scope["headers"]:
            values.setdefault(name.lower(), []).append(value.decode("latin-1"))
        hosts = values.get(b"host", [])
        split = split_host(hosts[0]) if len(hosts) == 1 else None
        if split is None or split[0] not in self.hosts:
            return 421, "host_not_ours"
        if len(scope.get("query_string", b"")) > MAX_QUERY_BYTES:
            return 414, "address_too_long"
        lengths = values.get(b"content-length", [])
        if any(not n.isdecimal() for n in lengths) or len(set(lengths)) > 1:
            return 400, "request_unreadable"
        if lengths and int(lengths[0]) > self.max_body_bytes:
            return 413, "body_too_large"
        if scope["method"] not in SAFE_METHODS and not _own_request(values, scope["scheme"], split):
            return 403, "request_from_elsewhere"
        return None

    async def _body(self, receive: Receive) -> bytes | None:
        """The body; None where it is too large. What is too large is let fall, within bounds: a browser cut
        off while it sends shows its own failure, and not what we say."""
        parts: list[bytes] = []
        size = 0
        while True:
            message = await receive()
            if message["type"] == "http.disconnect":
                return b"".join(parts)
            part = message.get("body", b"")
            size += len(part)
            if size <= self.max_body_bytes:
                parts.append(part)
            if not message.get("more_body", False) or size > max(self.max_body_bytes, DISCARDED_BYTES):
                return b"".join(parts) if size <= self.max_body_bytes else None


def _one_spelling(host: str) -> str:
    plain = host.strip("[]").lower().removesuffix(".")
    try:
        return str(ipaddress.ip_address(plain))
    except ValueError:
        return plain


def _own_request(values: dict[bytes, list[str]], scheme: str, host: tuple[str, int | None]) -> bool:
    """Whether an unsafe request comes from our own page, or from something that is no browser."""
    sites, origins = values.get(b"sec-fetch-site", []), values.get(b"origin", [])
    if len(sites) > 1 or len(origins) > 1:
        return False
    if sites:
        return sites[0].strip().lower() in ("same-origin", "none")
    if origins:
        # the host is on the list already, so the origin that equals it is one of the allowed
        return _origin(origins[0].strip()) == (scheme, *host)
    return b"cookie" not in values


def _sealed(scope: Scope, send: Send) -> Send:
    static = scope["path"].startswith("/static/")

    async def sealed(message: Message) -> None:
        if message["type"] == "http.response.start":
            kept = [
                (name, value)
                for name, value in message.get("headers", [])
                if name.lower().decode("latin-1") not in HEADERS
                and not name.lower().startswith(b"access-control-")
                and (static or name.lower() != b"cache-control")
            ]
            kept += [(name.encode(), value.encode()) for name, value in HEADERS.items()]
            if not any(name.lower() == b"cache-control" for name, _ in kept):
                kept.append((b"cache-control", PRIVATE.encode()))
            message = {**message, "headers": kept}
        await send(message)

    return sealed


def _replay(body: bytes, receive: Receive) -> Receive:
    sent = False

    async def replay() -> Message:
        nonlocal sent
        if sent:
            return await receive()
        sent = True
        return {"type": "http.request", "body": body, "more_body": False}

    return replay


async def _refuse(scope: Scope, send: Send, status: int, code: str) -> None:
    # the words are asked for late: the guard must stand even when the catalogue does not load
    from saltfare.core.errors import Problem
    from saltfare.faces.words import Words

    said = Words().problem(Problem(code))
    if scope["path"].startswith("/api/"):
        error = {"code": code, "field": "", "given": "", "allowed": "", "mend": said.mend, "text": said.text}
        kind, body = "application/json", json.dumps({"errors": [error]}).encode()
    else:
        kind, body = "text/plain; charset=utf-8", f"{said.text}\n{said.mend}\n".encode()
    headers = [
        (b"content-type", kind.encode()),
        (b"content-length", str(len(body)).encode()),
        (b"connection", b"close"),
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": b"" if scope["method"] == "HEAD" else body})
