"""The keeper of the door: sets passphrases, lets devices in and out, counts what went wrong.

An attempt is counted before the passphrase is looked at and forgiven after, so that neither guesses
sent at once nor a process killed in between go uncounted. Every passphrase is compared on every
attempt: how long an answer takes does not tell which was nearly right.
"""

from __future__ import annotations

import logging
import secrets
import threading
from base64 import urlsafe_b64encode
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from ipaddress import IPv6Address, ip_address
from pathlib import Path

from saltfare.core.errors import NotFound, Problem, Refused
from saltfare.faces.door import passphrase, throttle
from saltfare.faces.door.store import NAME, ROLES, Failures, Held, Passphrase, Role, Session, Store

log = logging.getLogger("saltfare.door")

TOKEN_BYTES = 32
IDLE = timedelta(days=7)
ABSOLUTE = timedelta(days=30)  # NIST SP 800-63B-4, 2.1.3: sign in anew every 30 days or sooner
SEEN_EVERY = timedelta(minutes=5)
MOST_SESSIONS, MOST_CLIENTS = 64, 256
_NAME_MOST, _AGENT_MOST = 40, 160


@dataclass(frozen=True, slots=True)
class Entered:
    """A device let in: the secret it keeps, and what is kept of it here."""

    token: str
    session: Session


def _now() -> datetime:
    return datetime.now(UTC)


class Door:
    """The door of one house.

    clock: the machine's own, not the instant the journal is looked at: a wait must pass by itself.
    """

    def __init__(
        self,
        folder: Path,
        *,
        clock: Callable[[], datetime] = _now,
        entropy: Callable[[int], bytes] = secrets.token_bytes,
        cost: passphrase.Cost = passphrase.COST,
    ) -> None:
        self.store = Store(folder / NAME)
        self._clock, self._entropy, self._cost = clock, entropy, cost
        self._one_guess = threading.Lock()  # memory of one guess at a time, whoever asks

    @property
    def _hasher(self) -> passphrase.Hasher:
        return passphrase.Hasher(self._cost)

    # passphrases

    def opened_by(self) -> tuple[Role, ...]:
        """The roles that have a passphrase."""
        held = self.store.read().passphrases
        return tuple(role for role in ROLES if role in held)

    def set_passphrase(self, role: Role, text: str) -> None:
        """Keep a passphrase for a role; devices that came with the one before are signed out.

        Raises Refused (passphrase_short, passphrase_long, passphrase_not_text, passphrase_guessable,
        passphrase_of_another).
        """
        passphrase.check(text)
        for other, kept in self.store.read().passphrases.items():
            if other != role and self._hasher.matches(kept.hash, text):
                raise Refused(Problem("passphrase_of_another", "passphrase", params={"role": other}))
        made = Passphrase(hash=self._hasher.hash(text), set_at=self._clock())

        def step(held: Held) -> Held:
            rest = tuple(s for s in held.sessions if s.by != role)
            known = {**held.passphrases, role: made}
            return held.model_copy(update={"passphrases": known, "sessions": rest})

        self.store.change(step)

    def remove_passphrase(self, role: Role) -> None:
        """Forget a passphrase; devices that came with it are signed out. Raises NotFound."""

        def step(held: Held) -> Held:
            if role not in held.passphrases:
                raise NotFound("passphrase", role)
            known = {r: p for r, p in held.passphrases.items() if r != role}
            rest = tuple(s for s in held.sessions if s.by != role)
            return held.model_copy(update={"passphrases": known, "sessions": rest})

        self.store.change(step)

    # in

    def sign_in(
        self,
        text: str,
        *,
        client: str | None,
        name: str = "",
        agent: str = "",
        role: Role = "all",
        before: str = "",
    ) -> Entered:
        """Let a device in with a passphrase, for what the passphrase opens and `role` at most.

        client: the address it comes from. before: the secret it held until now, void from here on.
        Raises Refused (passphrase_wrong, sign_in_waits, sign_in_locked).
        """
        who = client_key(client)
        self._count(who)
        by = self._opens(text)
        if by is None:
            log.info("a passphrase was wrong, from %s", who)
            if self.locked:
                log.warning("signing in is locked after %d wrong passphrases", throttle.LOCK_AFTER)
            raise Refused(Problem("passphrase_wrong", "passphrase"))
        token = urlsafe_b64encode(self._entropy(TOKEN_BYTES)).rstrip(b"=").decode()
        now = self._clock()
        session = Session(
            key=self._entropy(4).hex(),
            hash=_hashed(token),
            role=min(by, role, key=ROLES.index),
            by=by,
            name=" ".join(name.split())[:_NAME_MOST],
            agent=agent[:_AGENT_MOST],
            client=client or "",
            at=now,
            seen=now,
        )

        def step(held: Held) -> Held:
            if by not in held.passphrases:  # taken back while this was looked at
                raise Refused(Problem("passphrase_wrong", "passphrase"))
            others = [s for s in held.sessions if s.hash != _hashed(before) and _alive(s, now)]
            others = sorted(others, key=lambda s: s.seen)[-(MOST_SESSIONS - 1) :]
            counted = {c: f for c, f in held.by_client.items() if c != who}
            # a passphrase for less forgives itself, and no guesses at the one that opens most
            one_less = held.failures.model_copy(update={"count": max(0, held.failures.count - 1)})
            failures = Failures() if by == max(held.passphrases, key=ROLES.index) else one_less
            return held.model_copy(
                update={"sessions": (*others, session), "by_client": counted, "failures": failures}
            )

        self.store.change(step)
        return Entered(token, session)

    def _count(self, who: str) -> None:
        """Count an attempt, or refuse to take one yet."""
        now = self._clock()

        def step(held: Held) -> Held:
            all_, one = held.failures, held.by_client.get(who, Failures())
            if all_.count >= throttle.LOCK_AFTER:
                raise Refused(Problem("sign_in_locked"))
            wait_s = max(
                throttle.remaining_s(throttle.delay_each_s(one.count), one.last, now),
                throttle.remaining_s(throttle.delay_all_s(all_.count), all_.last, now),
            )
            if wait_s > 0:
                raise Refused(Problem("sign_in_waits", params={"wait_s": wait_s}))
            counted = {**held.by_client, who: one.one_more(now)}
            newest = sorted(counted.items(), key=lambda item: item[1].last or now)[-MOST_CLIENTS:]
            return held.model_copy(update={"failures": all_.one_more(now), "by_client": dict(newest)})

        self.store.change(step)

    def _opens(self, text: str) -> Role | None:
        """The role a passphrase opens; its hash is made anew where it was made at another cost."""
        hasher = self._hasher
        with self._one_guess:
            kept = self.store.read().passphrases
            matching = [role for role, one in kept.items() if hasher.matches(one.hash, text)]
            if not matching:
                return None
            role = matching[0]
            if not hasher.outdated(kept[role].hash):
                return role
            anew = kept[role].model_copy(update={"hash": hasher.hash(text)})

        def step(held: Held) -> Held:
            if held.passphrases.get(role) != kept[role]:  # changed on the console meanwhile
                return held
            return held.model_copy(update={"passphrases": {**held.passphrases, role: anew}})

        self.store.change(step)
        return role

    # while in

    def admit(self, token: str, client: str | None = None) -> Session | None:
        """The session of a secret, None where it is unknown, signed out or expired."""
        if not token:
            return None
        now, mark = self._clock(), _hashed(token)
        found = next((s for s in self.store.read().sessions if secrets.compare_digest(s.hash, mark)), None)
        if found is None or not _alive(found, now):
            return None
        if now - found.seen >= SEEN_EVERY:
            seen = found.model_copy(update={"seen": now, "client": client or found.client})

            def step(held: Held) -> Held:
                kept = tuple(seen if s.hash == mark else s for s in held.sessions if _alive(s, now))
                return held.model_copy(update={"sessions": kept})

            self.store.change(step)
        return found

    def devices(self) -> tuple[Session, ...]:
        """The devices that are signed in, the one seen last first."""
        now = self._clock()
        alive = (s for s in self.store.read().sessions if _alive(s, now))
        return tuple(sorted(alive, key=lambda s: s.seen, reverse=True))

    # out

    def sign_out(self, token: str) -> None:
        """Void a secret."""
        mark = _hashed(token)
        self._drop(lambda session: session.hash == mark)

    def revoke(self, key: str) -> None:
        """Sign a device out. Raises NotFound."""
        if all(s.key != key for s in self.devices()):
            raise NotFound("device", key)
        self._drop(lambda session: session.key == key)

    def revoke_others(self, key: str = "") -> None:
        """Sign every device out but the one of that key."""
        self._drop(lambda session: session.key != key)

    def _drop(self, gone: Callable[[Session], bool]) -> None:
        self.store.change(
            lambda held: held.model_copy(update={"sessions": tuple(s for s in held.sessions if not gone(s))})
        )

    @property
    def locked(self) -> bool:
        """Whether no passphrase is taken until the console says so."""
        return self.store.read().failures.count >= throttle.LOCK_AFTER

    def unlock(self) -> int:
        """Take passphrases again; how many failures were forgotten."""
        before = self.store.read().failures.count
        self.store.change(lambda held: held.model_copy(update={"failures": Failures(), "by_client": {}}))
        return before


def _hashed(token: str) -> str:
    return sha256(token.encode("utf-8", "surrogatepass")).hexdigest()


def _alive(session: Session, now: datetime) -> bool:
    return now - session.seen < IDLE and now - session.at < ABSOLUTE


def client_key(client: str | None) -> str:
    """What is counted as one device: an IPv4 address, or the network of an IPv6 one (/64)."""
    try:
        address = ip_address((client or "").partition("%")[0])
    except ValueError:
        return "unknown"
    if isinstance(address, IPv6Address):
        if address.ipv4_mapped:
            return str(address.ipv4_mapped)
        return f"{IPv6Address(int(address) >> 64 << 64)}/64"
    return str(address)
