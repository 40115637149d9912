"""Rounding on labels at every boundary the law has.

cfr_21_101_9: 21 CFR 101.9(c)(1) to (c)(8), (b)(8)(i), (d)(7)(ii) and the examples of (d)(8).
eu_rounding_2012: guidance on tolerances, table 4. Half a step goes up (chosen, neither text says).
"""

from __future__ import annotations

import math

import pytest

from saltfare.core import tables
from saltfare.core.errors import OutOfRange
from saltfare.models.label_rounding import Band, daily_share, label_rounded, servings_said

ROWS = list(tables.load("label_rounding").rows.values())


def bands(rule: str) -> list[Band]:
    return [Band.from_row(row) for row in ROWS if row.text("rule") == rule]


def said(rule: str, amount: float) -> str:
    found = label_rounded(amount=amount, bands=bands(rule))
    return f"{'<' if found.less_than else ''}{found.value:.{found.places}f}"


BELOW = 1e-6


@pytest.mark.parametrize(
    ("rule", "amount", "printed"),
    [
        # (c)(1): below 5 none; to 50 by fives; above by tens
        *(("us_energy", a, p) for a, p in ((0, "0"), (4.999, "0"), (5, "5"), (7.499, "5"), (7.5, "10"))),
        *(
            ("us_energy", a, p)
            for a, p in ((47.5, "50"), (50, "50"), (50.001, "50"), (55, "60"), (54.99, "50"))
        ),
        *(("us_energy", a, p) for a, p in ((104.99, "100"), (105, "110"), (427, "430"))),
        # (c)(2): below 0.5 none; below 5 by halves; from 5 whole
        *(("us_fat", a, p) for a, p in ((0.499, "0"), (0.5, "0.5"), (0.749, "0.5"), (0.75, "1.0"))),
        *(("us_fat", a, p) for a, p in ((4.74, "4.5"), (4.75, "5.0"), (4.999, "5.0"), (5, "5"), (5.5, "6"))),
        # (c)(3): below 2 none; 2 to 5 less than 5; then by fives
        *(("us_cholesterol", a, p) for a, p in ((1.999, "0"), (2, "<5"), (4.999, "<5"), (5, "5"))),
        *(("us_cholesterol", a, p) for a, p in ((7.49, "5"), (7.5, "10"), (142, "140"))),
        # (c)(4): below 5 none; to 140 by fives; above by tens
        *(("us_sodium", a, p) for a, p in ((4.999, "0"), (5, "5"), (137.5, "140"), (140, "140"))),
        *(("us_sodium", a, p) for a, p in ((140.001, "140"), (144.99, "140"), (145, "150"), (1234, "1230"))),
        # (c)(6), (c)(7): below half none; below one less than one; then whole
        *(("us_gram", a, p) for a, p in ((0.499, "0"), (0.5, "<1"), (0.999, "<1"), (1, "1"), (1.5, "2"))),
        # (c)(8)(iii): to 10 by twos, to 50 by fives, above by tens
        *(("us_percent_vitamin", a, p) for a, p in ((1.99, "0"), (2, "2"), (2.99, "2"), (3, "4"), (9, "10"))),
        *(("us_percent_vitamin", a, p) for a, p in ((10, "10"), (10.01, "10"), (12.5, "15"), (47.5, "50"))),
        *(("us_percent_vitamin", a, p) for a, p in ((50, "50"), (50.01, "50"), (55, "60"), (104, "100"))),
        *(("us_percent", a, p) for a, p in ((0.49, "0"), (0.5, "1"), (12.5, "13"))),
        *(("us_ten_mg", a, p) for a, p in ((4.9, "0"), (5, "10"), (261, "260"))),
        *(("us_tenth", a, p) for a, p in ((0.049, "0"), (0.05, "0.1"), (7.96, "8.0"))),
        # table 4: energy whole; fat and the like at 0.5 and 10 g; saturates at 0.1; salt at 0.0125 and 1 g
        *(("eu_energy", a, p) for a, p in ((0.4, "0"), (1451.5, "1452"), (347.49, "347"))),
        *(("eu_gram", a, p) for a, p in ((0, "<0.5"), (0.5, "<0.5"), (0.5 + BELOW, "0.5"), (0.55, "0.6"))),
        *(
            ("eu_gram", a, p)
            for a, p in ((9.94, "9.9"), (9.95, "10.0"), (9.999, "10.0"), (10, "10"), (10.5, "11"))
        ),
        *(
            ("eu_saturates", a, p)
            for a, p in ((0.1, "<0.1"), (0.1 + BELOW, "0.1"), (9.95, "10.0"), (10, "10"))
        ),
        *(("eu_salt", a, p) for a, p in ((0.0125, "<0.01"), (0.0125 + BELOW, "0.01"), (0.994, "0.99"))),
        *(("eu_salt", a, p) for a, p in ((0.995, "1.00"), (1, "1.0"), (1.05, "1.1"), (6.24, "6.2"))),
    ],
)
def test_every_boundary(rule: str, amount: float, printed: str) -> None:
    assert said(rule, amount) == printed


@pytest.mark.parametrize(
    ("nutrient", "amount", "printed"),
    [("vitamin_d", 2.0, "10"), ("calcium", 260.0, "20"), ("iron", 8.0, "45"), ("potassium", 235.0, "6")],
)
def test_the_percentages_that_101_9_d_8_prints(nutrient: str, amount: float, printed: str) -> None:
    """21 CFR 101.9(d)(8), examples: vitamin D 2 mcg 10 %, calcium 260 mg 20 %, iron 8 mg 45 %,
    potassium 235 mg 6 %."""
    row = tables.load("label_panel").row(f"us_{nutrient}")
    share = daily_share(amount=amount, daily=row.number("daily"))
    assert said(row.text("percent_rule"), share) == printed


def test_noise_of_a_float_never_moves_a_boundary() -> None:
    assert said("us_fat", 0.1 + 0.2 + 0.2) == "0.5"
    assert said("us_fat", 5.0 - 1e-13) == "5"
    assert said("eu_gram", 0.1 * 5) == "<0.5"
    assert said("us_sodium", 0.00014 * 1e6) == "140"


@pytest.mark.parametrize("rule", sorted({row.text("rule") for row in ROWS}))
def test_bands_ascend_and_what_is_printed_never_falls(rule: str) -> None:
    found = bands(rule)
    ends = [band.upto for band in found]
    assert ends[-1] is None and all(end is not None for end in ends[:-1])
    assert ends[:-1] == sorted(end for end in ends if end is not None)
    last = 0.0
    for n in range(0, 4000):
        one = label_rounded(amount=n * 0.05, bands=found)
        value = 0.0 if one.less_than else one.value
        assert value >= last
        last = value


def test_a_printed_number_is_never_further_off_than_half_its_step() -> None:
    for rule, spans in {
        "us_energy": ((5, 50, 2.5), (50.01, 900, 5)),
        "eu_gram": ((0.51, 9.9, 0.05),),
    }.items():
        for low, high, half in spans:
            for n in range(200):
                amount = low + (high - low) * n / 200
                assert abs(label_rounded(amount=amount, bands=bands(rule)).value - amount) <= half + 1e-9


@pytest.mark.parametrize("amount", [-0.001, math.nan, math.inf])
def test_an_amount_that_cannot_be(amount: float) -> None:
    with pytest.raises(OutOfRange):
        label_rounded(amount=amount, bands=bands("us_energy"))


@pytest.mark.parametrize(
    ("servings", "printed"),
    [
        (0.3, 1),
        (1.49, 1),
        (1.5, 2),
        (2.0, 2),
        (2.24, 2),
        (2.25, 2.5),
        (4.75, 5),
        (5.0, 5),
        (5.4, 5),
        (5.5, 6),
    ],
)
def test_servings_as_101_9_b_8_says_them(servings: float, printed: float) -> None:
    assert servings_said(servings=servings) == printed
