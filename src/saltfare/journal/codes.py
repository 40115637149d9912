"""Codes of pieces and lots: seven symbols, the last a check symbol.

Digits and letters without I, L, O and U make 32 symbols, the elements of the field GF(32). A code is
right where the sum of its symbols, each times its own power of the field's generator, is zero. The
weights are different and none is zero, so that one wrong symbol, or any two changed places, never
leaves the sum at zero.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Mapping

from saltfare.core.errors import Problem, Refused

SYMBOLS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
LENGTH = 7
_LOOKS_LIKE = {"I": "1", "L": "1", "O": "0", "U": "V"}
_POLYNOMIAL = 0b100101  # x^5 + x^2 + 1 is primitive: x generates all 31 elements
_MOST_TRIES = 1000

Params = Mapping[str, str | float | int]


def _times(left: int, right: int) -> int:
    product = 0
    while right:
        if right & 1:
            product ^= left
        left <<= 1
        if left & 32:
            left ^= _POLYNOMIAL
        right >>= 1
    return product


def _weights() -> tuple[int, ...]:
    out = [1]
    while len(out) < LENGTH:
        out.append(_times(out[-1], 2))
    return tuple(reversed(out))  # the check symbol's weight is 1


_WEIGHTS = _weights()


def _sum(values: list[int]) -> int:
    total = 0
    for value, weight in zip(values, _WEIGHTS, strict=False):
        total ^= _times(value, weight)
    return total


def code_of(number: int) -> str:
    """The code of a number from 0 to 2^30 - 1. Raises ValueError outside."""
    if not 0 <= number < 1 << 5 * (LENGTH - 1):
        raise ValueError(f"{number} has no code")
    values = [number >> 5 * place & 31 for place in reversed(range(LENGTH - 1))]
    return "".join(SYMBOLS[value] for value in (*values, _sum(values)))


def new_code(entropy: Callable[[int], bytes], taken: Container[str]) -> str:
    """A code by chance that is not taken. Raises RuntimeError where chance gives none."""
    for _ in range(_MOST_TRIES):
        code = code_of(int.from_bytes(entropy(4), "big") >> 2)
        if code not in taken:
            return code
    raise RuntimeError("no free code found")


def parse_code(text: str) -> str:
    """The code as printed, from what was typed: any case, blanks and hyphens between allowed.

    Raises Refused: code_symbol (which symbol, at which place, what it may have been), code_length,
    code_check.
    """
    shown = text[:40]
    typed = [char for char in text if not char.isspace() and char != "-"]
    values = []
    for place, char in enumerate(typed[: LENGTH + 1], 1):
        symbol = char.upper() if char.isascii() else char
        value = SYMBOLS.find(symbol)
        if value < 0:
            params: Params = {"symbol": char, "place": place, "perhaps": _LOOKS_LIKE.get(symbol, "")}
            raise Refused(Problem("code_symbol", "code", shown, SYMBOLS, params))
        values.append(value)
    if len(typed) != LENGTH:
        size: Params = {"length": len(typed), "wanted": LENGTH}
        raise Refused(Problem("code_length", "code", shown, str(LENGTH), size))
    if _sum(values):
        raise Refused(Problem("code_check", "code", shown))
    return "".join(SYMBOLS[value] for value in values)
