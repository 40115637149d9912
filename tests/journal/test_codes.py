"""Seven symbols that notice one wrong symbol and two changed places: shown for every pair of places."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from journal_bench import seeded

from saltfare.core.errors import Refused
from saltfare.journal.codes import LENGTH, SYMBOLS, code_of, new_code, parse_code

NUMBERS = st.integers(0, 2**30 - 1)


def refused(text: str):
    with pytest.raises(Refused) as caught:
        parse_code(text)
    return caught.value.problems[0]


def test_symbols_are_digits_and_letters_without_i_l_o_u():
    assert len(SYMBOLS) == len(set(SYMBOLS)) == 32
    assert set("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789") - set(SYMBOLS) == set("ILOU")


@settings(deadline=None)
@given(NUMBERS)
def test_a_code_is_read_in_any_case_with_blanks_and_hyphens(number: int):
    code = code_of(number)
    assert len(code) == LENGTH == 7
    assert parse_code(code) == parse_code(code.lower()) == parse_code(f" {code[:3]}-{code[3:]} ") == code


def test_different_numbers_have_different_codes_and_none_lies_outside():
    assert len({code_of(number) for number in range(5000)}) == 5000
    assert code_of(0) == "0000000" and len(code_of(2**30 - 1)) == 7
    for number in (-1, 2**30):
        with pytest.raises(ValueError, match="no code"):
            code_of(number)


@settings(deadline=None)
@given(NUMBERS)
def test_every_single_wrong_symbol_is_noticed(number: int):
    """All 7 x 31 of each code tried."""
    code = code_of(number)
    for place, wrong in itertools.product(range(7), SYMBOLS):
        if code[place] != wrong:
            assert refused(code[:place] + wrong + code[place + 1 :]).code == "code_check"


@settings(deadline=None)
@given(NUMBERS)
def test_every_exchange_of_two_symbols_is_noticed_adjacent_or_not(number: int):
    code = code_of(number)
    for one, other in itertools.combinations(range(7), 2):
        if code[one] != code[other]:
            changed = list(code)
            changed[one], changed[other] = changed[other], changed[one]
            assert refused("".join(changed)).code == "code_check"


def test_no_error_of_one_symbol_or_one_exchange_slips_through_for_any_code():
    """The check is linear over GF(32): a code plus an error passes just where the error alone sums to
    zero. So it is enough to try every error alone: 7 x 31 single symbols, and for an exchange of the
    places i and j, which adds the same difference to both, 21 pairs x 31 differences."""
    passes = 0
    zero = ["0"] * 7
    for place, difference in itertools.product(range(7), SYMBOLS[1:]):
        error = zero.copy()
        error[place] = difference
        passes += _passes("".join(error))
    for (one, other), difference in itertools.product(itertools.combinations(range(7), 2), SYMBOLS[1:]):
        error = zero.copy()
        error[one] = error[other] = difference
        passes += _passes("".join(error))
    assert passes == 0


def test_the_check_is_linear_as_the_proof_above_needs():
    """The sum of two codes, symbol by symbol (exclusive or of their numbers), is a code: all pairs of
    the 30 codes of one bit, from which all others are sums."""
    codes = [code_of(1 << bit) for bit in range(30)]
    for left, right in itertools.combinations(codes, 2):
        total = "".join(
            SYMBOLS[SYMBOLS.index(a) ^ SYMBOLS.index(b)] for a, b in zip(left, right, strict=True)
        )
        assert parse_code(total) == total


def _passes(text: str) -> bool:
    try:
        parse_code(text)
    except Refused:
        return False
    return True


@pytest.mark.parametrize(
    ("typed", "symbol", "place", "perhaps"),
    [("O000000", "O", 1, "0"), ("00l0000", "l", 3, "1"), ("000000u", "u", 7, "V"), ("12É4567", "É", 3, ""),
     ("１234567", "１", 1, ""), ("00ſ0000", "ſ", 3, ""), ("00/0000", "/", 3, "")],
)  # fmt: skip
def test_it_says_which_symbol_cannot_be(typed: str, symbol: str, place: int, perhaps: str):
    problem = refused(typed)
    assert problem.code == "code_symbol"
    assert problem.params == {"symbol": symbol, "place": place, "perhaps": perhaps}


@pytest.mark.parametrize("typed", ["", "   ", "000000", "00000000", "0" * 5000])
def test_a_code_of_another_length_is_refused(typed: str):
    assert refused(typed).code == "code_length"


@settings(deadline=None)
@given(st.text(max_size=12))
def test_any_text_is_a_code_or_refused(text: str):
    try:
        assert len(parse_code(text)) == 7
    except Refused as error:
        assert error.problems[0].code.startswith("code_")


def test_new_codes_come_from_injected_chance_and_avoid_those_taken():
    first = new_code(seeded(5), set())
    assert first == new_code(seeded(5), set())
    assert new_code(seeded(5), {first}) != first
    with pytest.raises(RuntimeError):
        new_code(lambda count: b"\0" * count, {"0000000"})
