"""The passphrase: what one must be, how one is offered, how it is kept.

Length is asked for and nothing of its make-up: NIST SP 800-63B-4, 3.1.1.2 (at least 15 characters
where it stands alone, 64 and more taken, spaces and Unicode taken, normalised, never cut off, compared
with what is commonly guessed). It is kept as Argon2id with the parameters in the hash (RFC 9106).
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass

from saltfare.core.errors import Problem, Refused

LEAST, MOST = 15, 1024
WORDS_OFFERED = 6
_RUNS = ("01234567890123456789", "abcdefghijklmnopqrstuvwxyzabcdefghijklmnopqrstuvwxyz")
_ROWS = ("qwertyuiopasdfghjklzxcvbnm", "qwertzuiopasdfghjklyxcvbnm", "azertyuiopqsdfghjklmwxcvbn")
# what is tried first here: the program's name, what the field asks for, the example everybody knows
_EXPECTED = re.compile(
    r"(?:saltfare|passphrase|password|household|welcome|letmein|secret|admin|login|signin|bench|phone"
    r"|correcthorsebatterystaple|[0-9])+"
)


@dataclass(frozen=True, slots=True)
class Cost:
    """What one guess costs: memory [KiB], passes over it, lanes."""

    memory_kib: int
    passes: int
    lanes: int


# RFC 9106, section 4, second recommended option: 64 MiB, 3 passes, 4 lanes
COST = Cost(memory_kib=65536, passes=3, lanes=4)


def normal(text: str) -> str:
    """One spelling of what can be typed in several ways (NFKC)."""
    return unicodedata.normalize("NFKC", text)


def check(text: str) -> None:
    """Raise Refused where it cannot be a passphrase (too short, too long, not text, easily guessed)."""
    spelled = normal(text)
    try:
        spelled.encode()
    except UnicodeEncodeError:
        raise Refused(Problem("passphrase_not_text", "passphrase")) from None
    if min(len(text), len(spelled)) < LEAST:
        raise Refused(Problem("passphrase_short", "passphrase", allowed=str(LEAST)))
    if max(len(text), len(spelled)) > MOST:
        raise Refused(Problem("passphrase_long", "passphrase", allowed=str(MOST)))
    if _guessable(spelled):
        raise Refused(Problem("passphrase_guessable", "passphrase"))


def _guessable(text: str) -> bool:
    """Whether the whole of it is among what is tried before the lock: repeats, runs, the expected."""
    bare = "".join(c for c in text.casefold() if c.isalnum()) or text
    if any(bare[period:] == bare[:-period] for period in range(1, min(9, len(bare)))):
        return True
    if _EXPECTED.fullmatch(bare):
        return True
    return any(bare in line or bare in line[::-1] for line in (*_RUNS, *_ROWS))


def offered(entropy: Callable[[int], bytes], words: tuple[str, ...], count: int = WORDS_OFFERED) -> str:
    """A passphrase of words drawn by chance, each as likely as the other.

    words: a power of two of them, so that no draw is favoured.
    """
    mask = len(words) - 1
    if len(words) & mask or len(words) > 65536:
        raise ValueError("a power of two of words is drawn from")
    drawn = (int.from_bytes(entropy(2), "big") & mask for _ in range(count))
    return " ".join(words[n] for n in drawn)


class Hasher:
    """Hashes at one cost, and tells a hash made at another."""

    def __init__(self, cost: Cost = COST) -> None:
        from argon2 import PasswordHasher, Type

        self._argon2 = PasswordHasher(
            time_cost=cost.passes,
            memory_cost=cost.memory_kib,
            parallelism=cost.lanes,
            hash_len=32,
            salt_len=16,
            type=Type.ID,
        )

    def hash(self, text: str) -> str:
        """The hash of a passphrase, parameters and salt in it."""
        return self._argon2.hash(_octets(text))

    def matches(self, kept: str, text: str) -> bool:
        """Whether that is the passphrase; it costs the same whatever was typed."""
        from argon2.exceptions import InvalidHashError, VerificationError

        try:
            return self._argon2.verify(kept, _octets(text))
        except (VerificationError, InvalidHashError):
            return False

    def outdated(self, kept: str) -> bool:
        """Whether the hash was made at another cost than this one."""
        return self._argon2.check_needs_rehash(kept)


def _octets(text: str) -> bytes:
    return normal(text).encode("utf-8", "surrogatepass")
