"""Serving the pages on this machine: loopback sockets only, one process."""

from __future__ import annotations

import socket
from collections.abc import Callable

from saltfare.core.errors import Problem, Refused
from saltfare.faces.opening import House
from saltfare.faces.words import Words

LOOPBACK = (("127.0.0.1", socket.AF_INET), ("::1", socket.AF_INET6))


def loopback_sockets(port: int) -> list[socket.socket]:
    """Listening sockets on IPv4 and, where there is one, IPv6 loopback. Raises Refused (port_taken)."""
    found: list[socket.socket] = []
    for address, family in LOOPBACK:
        try:
            made = socket.socket(family, socket.SOCK_STREAM)
        except OSError:
            continue
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        if family == socket.AF_INET6:
            made.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 1)
        try:
            # port 0 asks for any free one; the second family then takes the same
            made.bind((address, found[0].getsockname()[1] if found and port == 0 else port))
        except OSError:
            made.close()
            if family == socket.AF_INET6:
                continue
            raise Refused(Problem("port_taken", "port", str(port))) from None
        found.append(made)
    return found


def serve(house: House, *, port: int, say: Callable[[str], object]) -> None:
    """Serve until stopped. Raises Refused (port_taken)."""
    import uvicorn

    from saltfare.faces.web.app import create_app

    sockets = loopback_sockets(port)
    actual = sockets[0].getsockname()[1]
    app = create_app(house.context, allowed_hosts=("127.0.0.1", "localhost", "::1"))
    config = uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        timeout_keep_alive=15,
        limit_concurrency=64,
    )
    say(Words().say("cli.serving", {"address": f"http://127.0.0.1:{actual}"}))
    uvicorn.Server(config).run(sockets=sockets)
