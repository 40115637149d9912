"""The home network: which addresses of this machine to listen on, by which names, with what certificate.

The pages answer only to the literals they are bound to and to names given, so there is no address that
stands for all; and an address that can be reached from outside a home is taken only where it is named.
"""

from __future__ import annotations

import ipaddress
import socket
import ssl
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from saltfare.core.errors import Problem, Refused
from saltfare.faces.door.keeper import Door
from saltfare.faces.guard import split_host

# Nothing is sent to these (RFC 5737, RFC 3849): they only ask the system which address it would use.
_ASK = ((socket.AF_INET, "192.0.2.1"), (socket.AF_INET6, "2001:db8::1"))
_HOME = tuple(
    ipaddress.ip_network(net)
    for net in ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "fc00::/7")
)  # RFC 1918, RFC 3927, RFC 4193
Address = ipaddress.IPv4Address | ipaddress.IPv6Address


@dataclass(frozen=True, slots=True)
class Lan:
    """How the pages are served beyond this machine."""

    addresses: tuple[str, ...]
    names: tuple[str, ...] = ()
    certificate: Path | None = None
    key: Path | None = None


def lan(
    addresses: Sequence[str],
    names: Sequence[str] = (),
    certificate: Path | None = None,
    key: Path | None = None,
) -> Lan:
    """What was asked for, looked over; the machine's home address where none is given.

    Raises Refused (address_out_of_form, no_home_network, name_out_of_form, certificate_and_key,
    certificate_unusable).
    """
    taken = tuple(dict.fromkeys(_address(text) for text in addresses)) or home_addresses()
    if not taken:
        raise Refused(Problem("no_home_network", "address"))
    if (certificate is None) != (key is None):
        raise Refused(Problem("certificate_and_key", "certificate" if key else "key"))
    if certificate is not None and key is not None:
        _check_certificate(certificate, key)
    return Lan(taken, tuple(dict.fromkeys(_name(name) for name in names)), certificate, key)


def home_addresses() -> tuple[str, ...]:
    """The addresses this machine has on a home network, as the system routes."""
    found = []
    for family, far in _ASK:
        try:
            with socket.socket(family, socket.SOCK_DGRAM) as asked:
                asked.connect((far, 9))
                address = ipaddress.ip_address(asked.getsockname()[0])
        except (OSError, ValueError):
            continue
        if of_home(address):
            found.append(str(address))
    return tuple(found)


def of_home(address: Address) -> bool:
    """Whether an address is of a range kept for private networks."""
    return any(address in net for net in _HOME if net.version == address.version)


def public(address: str) -> bool:
    """Whether an address may be reached from outside a home."""
    found = ipaddress.ip_address(address)
    return not (of_home(found) or found.is_loopback)


def require_passphrase(door: Door) -> None:
    """Raise Refused (passphrase_not_set, door_exposed), DoorBroken where nobody could be kept out."""
    if not door.opened_by():
        raise Refused(Problem("passphrase_not_set"))
    if door.store.exposed():
        raise Refused(Problem("door_exposed", params={"name": door.store.path.name}))


def _address(text: str) -> str:
    try:
        found = ipaddress.ip_address(text.strip("[]"))
    except ValueError:
        found = None
    # an address with a scope cannot stand in a Host header
    if found is None or found.is_unspecified or found.is_multicast or getattr(found, "scope_id", None):
        raise Refused(Problem("address_out_of_form", "address", text[:64]))
    return str(found)


def _name(text: str) -> str:
    split = split_host(text)
    if split is None or split[1] is not None or text.startswith("["):
        raise Refused(Problem("name_out_of_form", "name", text[:64]))
    try:
        ipaddress.ip_address(split[0])
    except ValueError:
        return split[0]
    raise Refused(Problem("name_out_of_form", "name", text[:64]))  # an address is bound, not named


def _check_certificate(certificate: Path, key: Path) -> None:
    try:
        # a key with a password would have the system ask for it on the terminal
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key, password=lambda: b"")
    except (OSError, ValueError) as error:  # SSLError is an OSError
        reason = getattr(error, "reason", None) or getattr(error, "strerror", None) or type(error).__name__
        raise Refused(
            Problem("certificate_unusable", "certificate", params={"reason": str(reason)})
        ) from None
