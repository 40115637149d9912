"""Prices as typed. Decimals of each currency: ISO 4217, as public copies of its list print them."""

from __future__ import annotations

import pytest

from saltfare.actions.money import minor_digits
from saltfare.core.errors import Refused
from saltfare.core.money import minor_of


@pytest.mark.parametrize(
    ("text", "currency", "minor"),
    [
        ("4.50", "EUR", 450),
        ("4,50", "EUR", 450),
        ("4", "EUR", 400),
        ("EUR 4.5", "EUR", 450),
        ("4.50 eur", "EUR", 450),
        ("450", "JPY", 450),
        ("1.250", "KWD", 1250),
        ("0", "USD", 0),
    ],
)
def test_a_price_is_read_to_whole_minor_units(text: str, currency: str, minor: int) -> None:
    assert minor_of(text, currency=currency, digits=minor_digits(currency)) == minor


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("-1", "price_negative"),
        ("\u22121.20", "price_negative"),
        ("1.005", "price_too_fine"),
        ("4 USD", "price_other_currency"),
        ("cheap as chips", "price_unreadable"),
        ("1,250", "comma_ambiguous"),
        ("", "price_unreadable"),
        ("99999999999999", "price_too_large"),
    ],
)
def test_what_is_no_price_is_refused(text: str, code: str) -> None:
    with pytest.raises(Refused) as refused:
        minor_of(text, currency="EUR", digits=2)
    assert refused.value.problems[0].code == code


def test_decimals_agree_with_the_list() -> None:
    assert [minor_digits(code) for code in ("EUR", "JPY", "KRW", "ISK", "BHD", "TND", "CHF")] == [
        2, 0, 0, 0, 3, 3, 2,
    ]  # fmt: skip
