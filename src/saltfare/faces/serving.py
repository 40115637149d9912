"""Serving the pages: on this machine, and where it is asked for on the home network. One process."""

from __future__ import annotations

import asyncio
import ipaddress
import socket
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from saltfare.core.errors import Problem, Refused
from saltfare.faces.guard import LOOPBACK
from saltfare.faces.opening import House
from saltfare.faces.words import Words

if TYPE_CHECKING:
    import uvicorn

    from saltfare.faces.door.keeper import Door
    from saltfare.faces.lan import Lan

HERE = ("127.0.0.1", "::1")
HEADERS_WITHIN_S = 15.0


def listening(port: int, addresses: Sequence[str] = ()) -> list[socket.socket]:
    """Sockets on IPv4 and, where there is one, IPv6 loopback, and on those addresses, all on one port.

    Raises Refused (port_taken, address_not_here); nothing is left open then.
    """
    found: list[socket.socket] = []
    try:
        for address in (*HERE, *addresses):
            # port 0 asks for any free one; those after take the same
            chosen = found[0].getsockname()[1] if found and port == 0 else port
            try:
                found.append(_bound(address, chosen))
            except OSError:
                if address == "::1":  # a machine without IPv6
                    continue
                if address in HERE:
                    raise Refused(Problem("port_taken", "port", str(port))) from None
                raise Refused(
                    Problem("address_not_here", "address", address, params={"port": str(chosen)})
                ) from None
    except BaseException:
        for one in found:
            one.close()
        raise
    return found


def _bound(address: str, port: int) -> socket.socket:
    six = ipaddress.ip_address(address).version == 6
    made = socket.socket(socket.AF_INET6 if six else socket.AF_INET, socket.SOCK_STREAM)
    try:
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        if six:
            made.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 1)
        made.bind((address, port))
    except BaseException:
        made.close()
        raise
    return made


def hosts(lan: Lan | None) -> tuple[str, ...]:
    """The hosts the pages answer to: loopback, the literals they are bound to, the names given."""
    return LOOPBACK if lan is None else (*LOOPBACK, *lan.addresses, *lan.names)


def serve(
    house: House,
    *,
    port: int,
    say: Callable[[str], object],
    lan: Lan | None = None,
    ask_here: bool = False,
) -> None:
    """Serve until stopped.

    lan: where else than on this machine; refused without a passphrase. ask_here: ask for the
    passphrase on this machine too.

    Raises Refused (passphrase_not_set, door_exposed, port_taken, address_not_here), DoorBroken.
    """
    from saltfare.faces.door.keeper import Door
    from saltfare.faces.lan import require_passphrase

    door = Door(house.path.parent)
    if lan is not None or ask_here:
        require_passphrase(door)
    made = server(house, door, lan=lan, ask_here=ask_here)
    sockets = listening(port, lan.addresses if lan else ())
    for line in opening(sockets[0].getsockname()[1], lan, door.opened_by() if lan else ()):
        say(line)
    made.run(sockets=sockets)


def server(house: House, door: Door, *, lan: Lan | None, ask_here: bool) -> uvicorn.Server:
    """The server, not yet started."""
    import uvicorn

    from saltfare.faces.web.app import create_app

    config = uvicorn.Config(
        create_app(house.context, allowed_hosts=hosts(lan), door=door, ask_here=ask_here),
        http=_impatient(),
        log_level="warning",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        timeout_keep_alive=15,
        limit_concurrency=64,
        ssl_certfile=lan.certificate if lan else None,
        ssl_keyfile=lan.key if lan else None,
    )
    return uvicorn.Server(config)


def opening(port: int, lan: Lan | None, roles: Sequence[str]) -> list[str]:
    """What is said at the start: where the pages are, who is asked for what, what plain http means."""
    from saltfare.faces.lan import public

    words = Words()
    scheme = "https" if lan and lan.certificate else "http"
    lines = [words.say("cli.serving", {"address": f"{scheme}://127.0.0.1:{port}"})]
    if lan is None:
        return lines
    shown = [f"[{a}]" if ":" in a else a for a in (*lan.names, *lan.addresses)]
    addresses = ", ".join(f"{scheme}://{host}:{port}" for host in shown)
    lines.append(words.say("cli.door.serving_lan", {"addresses": addresses}))
    lines.append(words.say("cli.door.opened_by", {"roles": ", ".join(words.say(f"role.{r}") for r in roles)}))
    lines.extend(words.say("cli.door.public", {"address": a}) for a in lan.addresses if public(a))
    lines.append(words.say("cli.door.certificate_covers" if lan.certificate else "cli.door.plain"))
    return lines


def _impatient() -> type[asyncio.Protocol]:
    """The protocol of a connection, which gives up on a client that does not come to its point."""
    import h11
    from uvicorn.protocols.http.h11_impl import H11Protocol

    class Impatient(H11Protocol):
        """Closes a connection whose request line and headers do not arrive in time."""

        _due: asyncio.TimerHandle | None = None

        def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
            super().connection_made(transport)
            self._wait()

        def data_received(self, data: bytes) -> None:
            super().data_received(data)
            if self.conn.their_state is h11.IDLE and self.conn.trailing_data[0]:
                self._wait()
            else:
                self._enough()

        def connection_lost(self, exc: Exception | None) -> None:
            self._enough()
            super().connection_lost(exc)

        def _wait(self) -> None:
            if self._due is None:  # from the first byte on, however slowly the others drip in
                self._due = self.loop.call_later(HEADERS_WITHIN_S, self.transport.close)

        def _enough(self) -> None:
            if self._due is not None:
                self._due.cancel()
                self._due = None

    return Impatient
