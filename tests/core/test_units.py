"""Quantities as typed: worked readings, refusals with their reason, and pint as the oracle of factors."""

from __future__ import annotations

import math
from fractions import Fraction

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from saltfare.core import units
from saltfare.core.errors import Refused
from saltfare.core.units import UNITS, number, parse, to_unit


@pytest.mark.parametrize(
    ("text", "kind", "si"),
    [
        ("2.34 kg", "mass", 2.34),
        ("1,25 kg", "mass", 1.25),
        ("5 lb 3 oz", "mass", 83 * 0.45359237 / 16),
        ("5lb3oz", "mass", 83 * 0.45359237 / 16),
        ("1 1/4 lb", "mass", 1.25 * 0.45359237),
        ("½ lb", "mass", 0.5 * 0.45359237),
        ("2½ kg", "mass", 2.5),
        ("1 250 g", "mass", 1.25),
        ("1\u202f250 g", "mass", 1.25),
        ("38 F", "temperature", 10 / 3),
        ("38 °F", "temperature", 10 / 3),
        ("-18 C", "temperature", -18.0),
        ("−18 °C", "temperature", -18.0),
        ("-0.4 F", "temperature", -18.0),
        ("9 F", "temperature_difference", 5.0),
        ("5 C", "temperature_difference", 5.0),
        ("2 d 4 h", "time", 187200.0),
        ("3 %", "fraction", 0.03),
        ("156 ppm", "fraction", 156e-6),
        ("156 mg/kg", "fraction", 156e-6),
        ("1 ft 2 in", "length", 14 * 0.0254),
        ("250 ml", "volume", 250e-6),
    ],
)
def test_reads_what_people_type(text: str, kind: str, si: float) -> None:
    assert parse(text, kind) == pytest.approx(si, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "kind", "code"),
    [
        ("1,500 g", "mass", "comma_ambiguous"),
        ("0,125 kg", "mass", "comma_ambiguous"),
        ("1.250,5 kg", "mass", "separators_mixed"),
        ("1,250.5 g", "mass", "separators_mixed"),
        ("2.34", "mass", "unit_missing"),
        ("38", "temperature", "unit_missing"),
        ("", "mass", "empty"),
        ("   ", "mass", "empty"),
        ("nan kg", "mass", "number_unreadable"),
        ("inf kg", "mass", "number_unreadable"),
        ("kg", "mass", "number_unreadable"),
        ("1e3 kg", "mass", "unit_unknown"),
        ("1/0 kg", "mass", "number_unreadable"),
        ("5. kg", "mass", "number_unreadable"),
        ("3 stone", "mass", "unit_ambiguous"),
        ("1 T", "mass", "unit_ambiguous"),
        ("1 c", "volume", "unit_ambiguous"),
        ("5 oz 3 lb", "mass", "parts_disagree"),
        ("5.5 lb 3 oz", "mass", "parts_disagree"),
        ("5 lb -3 oz", "mass", "parts_disagree"),
        ("5 kg 3 g", "mass", "parts_disagree"),
        ("20 C 5 C", "temperature", "parts_disagree"),
        ("5 lb 17 oz", "mass", "part_too_large"),
        ("5 lb 3 F", "mass", "unit_wrong_kind"),
        ("38 F", "mass", "unit_wrong_kind"),
        ("3 m", "time", "unit_wrong_kind"),
        ("2 kg 5", "mass", "unit_missing"),
        ("9" * 80 + " kg", "mass", "too_long"),
        ("2 cups", "mass", "unit_unknown"),
        ("1 pint", "volume", "measure_ambiguous"),
    ],
)
def test_refuses_with_the_reason(text: str, kind: str, code: str) -> None:
    with pytest.raises(Refused) as refused:
        parse(text, kind)
    assert refused.value.problems[0].code == code


def test_a_comma_with_three_digits_is_read_where_the_setting_says_decimal_comma() -> None:
    assert parse("1,500 kg", "mass", decimal="comma") == 1.5


def test_kitchen_measures_follow_the_setting() -> None:
    assert parse("1 cup", "volume", measures="us") == pytest.approx(236.5882365e-6, rel=1e-12)
    assert parse("1 cup", "volume", measures="metric") == pytest.approx(250e-6, rel=1e-12)
    assert parse("1 pint", "volume", measures="imperial") == pytest.approx(568.26125e-6, rel=1e-12)


PINT = {
    "C": "degC",
    "F": "degF",
    "lb": "pound",
    "oz": "ounce",
    "in": "inch",
    "ft": "foot",
    "mi": "mile",
    "km": "kilometer",
    "d": "day",
    "h": "hour",
    "mph": "mile/hour",
    "ml": "milliliter",
    "dl": "deciliter",
    "l": "liter",
    "m³": "m**3",
    "kcal": "kilocalorie",
    "kWh": "kilowatt_hour",
    "hPa": "hectopascal",
}
PINT_SI = {
    "mass": "kg",
    "length": "m",
    "time": "s",
    "volume": "m**3",
    "speed": "m/s",
    "pressure": "Pa",
    "energy": "J",
    "temperature": "degC",
    "temperature_difference": "delta_degC",
}


@pytest.mark.parametrize(
    ("kind", "name"),
    sorted({(k, u.name) for k, table in UNITS.items() for u in table.values() if k in PINT_SI}),
)
def test_factors_agree_with_pint(kind: str, name: str) -> None:
    registry = pint.UnitRegistry()
    theirs = PINT.get(name, name)
    if kind == "temperature_difference":
        theirs = {"degC": "delta_degC", "degF": "delta_degF"}[theirs]
    for typed in (0.0, 1.0, 37.5):
        expected = registry.Quantity(typed, theirs).to(PINT_SI[kind]).magnitude
        assert parse(f"{typed} {name}", kind) == pytest.approx(expected, rel=1e-9, abs=1e-9)


@given(st.integers(0, 400), st.integers(0, 15))
def test_pounds_and_ounces_are_exact(pounds: int, ounces: int) -> None:
    exact = float(Fraction(pounds * 16 + ounces) * Fraction(45359237, 1600000000))
    assert parse(f"{pounds} lb {ounces} oz", "mass") == exact


@given(st.text(max_size=40), st.sampled_from(units.KINDS))
def test_any_text_is_read_or_refused(text: str, kind: str) -> None:
    try:
        assert math.isfinite(parse(text, kind))
    except Refused as refused:
        assert refused.problems[0].code


@given(st.decimals(-999, 999, places=3))
def test_a_shown_value_is_read_back(value: object) -> None:
    text = f"{value} F"
    back = to_unit(parse(text, "temperature"), "temperature", "F")
    assert back == pytest.approx(float(str(value)), abs=1e-9)


def test_a_plain_number_is_read_alone() -> None:
    assert number("2 1/2") == Fraction(5, 2)
    with pytest.raises(Refused):
        number("2 kg")
