"""Quantities as people type them, to SI floats; a closed list, and refusals that say why.

General parsers read `38 F` as farads, `5 lb 3 oz` as a product and `1,5 kg` as 15 kg; here what is
ambiguous is refused. Factors are exact by definition (international pound and inch, 1959; US gallon
231 in3; imperial gallon 4.54609 l; thermochemical calorie 4.184 J), checked against pint in the tests.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Literal

from saltfare.core.errors import Problem, Refused

DecimalSign = Literal["point", "comma"]
Measures = Literal["metric", "us", "imperial"]

_LB = Fraction(45359237, 100000000)
_IN = Fraction(254, 10000)
_US_GAL = _IN**3 * 231
_IMP_GAL = Fraction(454609, 100000000)
_F = Fraction(5, 9)


@dataclass(frozen=True, slots=True)
class Unit:
    """One spelling family: SI value = (typed + offset) * factor."""

    name: str
    kind: str
    factor: Fraction
    offset: Fraction = Fraction(0)
    family: str = ""  # units that may be said together, "5 lb 3 oz"
    carry: int = 0  # how many of it make the next larger of the family


def _units() -> dict[str, dict[str, Unit]]:
    table: dict[str, dict[str, Unit]] = {}

    def add(
        kind: str,
        factor: Fraction | int,
        *spellings: str,
        offset: Fraction = Fraction(0),
        family: str = "",
        carry: int = 0,
    ) -> None:
        unit = Unit(spellings[0], kind, Fraction(factor), offset, family, carry)
        for spelling in spellings:
            if table.setdefault(kind, {}).setdefault(spelling, unit) is not unit:
                raise ValueError(f"{spelling!r} stands for two units of {kind}")

    add("mass", 1, "kg", "kilogram", "kilograms", "kilo", "kilos")
    add("mass", Fraction(1, 1000), "g", "gram", "grams", "gramme", "grammes", "gr.")
    add("mass", Fraction(1, 10**6), "mg", "milligram", "milligrams")
    add("mass", _LB, "lb", "lbs", "pound", "pounds", family="lb")
    add("mass", _LB / 16, "oz", "ounce", "ounces", family="lb", carry=16)
    add("length", 1, "m", "metre", "metres", "meter", "meters")
    add("length", 1000, "km", "kilometre", "kilometres", "kilometer", "kilometers")
    add("length", _IN * 12 * 5280, "mi", "mile", "miles")
    add("length", Fraction(1, 100), "cm", "centimetre", "centimetres", "centimeter", "centimeters")
    add("length", Fraction(1, 1000), "mm", "millimetre", "millimetres", "millimeter", "millimeters")
    add("length", _IN * 12, "ft", "foot", "feet", family="ft")
    add("length", _IN, "in", "inch", "inches", "″", '"', family="ft", carry=12)
    add("temperature", 1, "C", "°C", "degC", "celsius")
    add("temperature", _F, "F", "°F", "degF", "fahrenheit", offset=Fraction(-32))
    add("temperature_difference", 1, "C", "°C", "degC", "K", "celsius")
    add("temperature_difference", _F, "F", "°F", "degF", "fahrenheit")
    add("time", 1, "s", "sec", "second", "seconds", family="d", carry=60)
    add("time", 60, "min", "minute", "minutes", family="d", carry=60)
    add("time", 3600, "h", "hour", "hours", "hr", "hrs", family="d", carry=24)
    add("time", 86400, "d", "day", "days", family="d", carry=7)
    add("time", 604800, "week", "weeks", "wk", family="d")
    add("fraction", 1, "fraction")
    add("fraction", Fraction(1, 100), "%", "percent", "per cent")
    add("fraction", Fraction(1, 1000), "g/kg")
    add("fraction", Fraction(1, 10**6), "ppm", "mg/kg")
    add("volume", Fraction(1, 1000), "l", "L", "litre", "litres", "liter", "liters")
    add("volume", Fraction(1, 10**4), "dl", "dL", "decilitre", "decilitres")
    add("volume", Fraction(1, 10**6), "ml", "mL", "millilitre", "millilitres", "milliliter", "milliliters")
    add("volume", 1, "m³")
    add("speed", 1, "m/s")
    add("speed", Fraction(1000, 3600), "km/h")
    add("speed", _IN * 12 * 5280 / 3600, "mph")
    add("pressure", 1, "Pa")
    add("pressure", 100, "hPa", "mbar")
    add("pressure", 1000, "kPa")
    add("pressure", 10**5, "bar")
    add("energy", 1, "J")
    add("energy", 1000, "kJ")
    add("energy", 10**6, "MJ")
    add("energy", 4184, "kcal")
    add("energy", 3600000, "kWh")
    return table


UNITS = _units()
KINDS = tuple(UNITS)

_MEASURE_SPELLINGS = {
    "cup": ("cup", "cups"),
    "fl oz": ("fl oz", "floz", "fluid ounce", "fluid ounces"),
    "tbsp": ("tbsp", "tablespoon", "tablespoons"),
    "tsp": ("tsp", "teaspoon", "teaspoons"),
    "pint": ("pint", "pints", "pt"),
    "quart": ("quart", "quarts", "qt"),
    "gal": ("gal", "gallon", "gallons"),
}
_MEASURES: dict[str, dict[str, Fraction]] = {
    "us": {
        "cup": _US_GAL / 16,
        "fl oz": _US_GAL / 128,
        "tbsp": _US_GAL / 256,
        "tsp": _US_GAL / 768,
        "pint": _US_GAL / 8,
        "quart": _US_GAL / 4,
        "gal": _US_GAL,
    },
    "imperial": {
        "fl oz": _IMP_GAL / 160,
        "pint": _IMP_GAL / 8,
        "quart": _IMP_GAL / 4,
        "gal": _IMP_GAL,
    },
    "metric": {"cup": Fraction(250, 10**6), "tbsp": Fraction(15, 10**6), "tsp": Fraction(5, 10**6)},
}
# Read by different people as different things; refused, and the words say what each could be.
_AMBIGUOUS = frozenset({"T", "t", "c", "stone", "st", "gr", "grain", "M", "G", "'"})

_VULGAR = {
    "¼": "1/4",
    "½": "1/2",
    "¾": "3/4",
    "⅓": "1/3",
    "⅔": "2/3",
    "⅛": "1/8",
    "⅜": "3/8",
    "⅝": "5/8",
    "⅞": "7/8",
    "⅕": "1/5",
    "⅖": "2/5",
    "⅗": "3/5",
    "⅘": "4/5",
    "⅙": "1/6",
}
_NUMBER = re.compile(
    r"""(?P<sign>[+-])?(?:
        (?P<whole>\d+)\s+(?P<num1>\d+)/(?P<den1>\d+)      # 1 1/4
      | (?P<num2>\d+)/(?P<den2>\d+)                        # 3/4
      | (?P<dec>\d[\d.,]*|[.,]\d[\d.,]*)                   # 2.34  1,25
    )""",
    re.VERBOSE,
)
_UNIT_END = re.compile(r"[^\d\s+.,-][^\d+,-]*")
_LONGEST = 64


def _refuse(code: str, given: str, allowed: str = "", **params: str | float | int) -> Refused:
    return Refused(Problem(code, given=given[:_LONGEST], allowed=allowed, params=params))


def spellings(kind: str, *, measures: Measures = "metric") -> tuple[str, ...]:
    """The unit names offered for a kind, first spelling of each."""
    own = tuple(dict.fromkeys(u.name for u in UNITS[kind].values()))
    return own + tuple(_MEASURES[measures]) if kind == "volume" else own


def number(text: str, *, decimal: DecimalSign = "point") -> Fraction:
    """A plain number as typed.

    A point is always the decimal sign. A comma is a decimal sign too, but one followed by exactly
    three digits may be a thousands sign and is refused unless `decimal` is "comma".

    Raises Refused (number_unreadable, comma_ambiguous).
    """
    clean = _clean(text)
    match = _NUMBER.fullmatch(clean)
    if not match:
        raise _refuse("number_unreadable", text, "2.5, 2,5 or 2 1/2")
    return _value(match, text, decimal)


def _clean(text: str) -> str:
    if len(text) > _LONGEST:
        raise _refuse("too_long", text, str(_LONGEST))
    out = text.replace("−", "-").replace("\u00a0", " ").replace("\u202f", " ").replace("\u2009", " ")
    for sign, plain in _VULGAR.items():
        out = re.sub(rf"(\d)\s*{sign}", rf"\1 {plain}", out).replace(sign, plain)
    # a space between groups of three after one to three digits is a thousands space: 1 250 g
    return re.sub(
        r"(?<![\d.,/])(\d{1,3})((?: \d{3})+)(?![\d/])", lambda m: m[1] + m[2].replace(" ", ""), out.strip()
    )


def _value(match: re.Match[str], text: str, decimal: DecimalSign) -> Fraction:
    sign = -1 if match["sign"] == "-" else 1
    if match["dec"] is not None:
        digits = match["dec"]
        if digits.count(",") + digits.count(".") > 1:
            raise _refuse("separators_mixed", text, "1250.5")
        if re.search(r",\d{3}$", digits) and decimal != "comma":
            raise _refuse(
                "comma_ambiguous",
                text,
                f"{digits.replace(',', '')} | {digits.replace(',', '.')}",
                thousands=digits.replace(",", ""),
                point=digits.replace(",", "."),
            )
        if digits[-1] in ".,":
            raise _refuse("number_unreadable", text, "2.5")
        return sign * Fraction(digits.replace(",", "."))
    whole = Fraction(match["whole"] or 0)
    top, bottom = int(match["num1"] or match["num2"]), int(match["den1"] or match["den2"])
    if bottom == 0:
        raise _refuse("number_unreadable", text, "1/2")
    return sign * (whole + Fraction(top, bottom))


def _unit(name: str, kind: str, text: str, measures: Measures) -> Unit:
    table = UNITS[kind]
    squeezed = re.sub(r"\s+", " ", name.strip())
    if kind == "volume":
        for measure, names in _MEASURE_SPELLINGS.items():
            if squeezed.lower() in names:
                factor = _MEASURES[measures].get(measure)
                if factor is None:
                    raise _refuse("measure_ambiguous", text, "ml", unit=squeezed, measures=measures)
                return Unit(measure, kind, factor)
    if squeezed in table:
        return table[squeezed]
    if len(squeezed) > 1 and squeezed.lower() in table:
        return table[squeezed.lower()]
    offered = ", ".join(spellings(kind, measures=measures))
    other = next((k for k, t in UNITS.items() if squeezed in t), None)
    if squeezed in _AMBIGUOUS:
        raise _refuse("unit_ambiguous", text, offered, unit=squeezed)
    if other is not None:
        raise _refuse("unit_wrong_kind", text, offered, unit=squeezed, kind=kind, other=other)
    raise _refuse("unit_unknown", text, offered, unit=squeezed, kind=kind)


def parse(text: str, kind: str, *, decimal: DecimalSign = "point", measures: Measures = "metric") -> float:
    """The SI value of a quantity as typed: kg, m, °C, K (difference), s, fraction, m3, m/s, Pa, J.

    Several parts may be said together when they belong together and run from larger to smaller:
    `5 lb 3 oz`, `1 ft 2 in`, `2 d 4 h`.

    Raises Refused with codes number_unreadable, comma_ambiguous, separators_mixed, unit_missing,
    unit_unknown, unit_ambiguous, unit_wrong_kind, measure_ambiguous, parts_disagree, part_too_large,
    too_long.
    """
    clean = _clean(text)
    if not clean:
        raise _refuse("empty", text)
    at, parts = 0, []
    while at < len(clean):
        match = _NUMBER.match(clean, at)
        if not match:
            raise _refuse("number_unreadable", text, ", ".join(spellings(kind, measures=measures)))
        value, at = _value(match, text, decimal), match.end()
        while at < len(clean) and clean[at] == " ":
            at += 1
        end = _UNIT_END.match(clean, at)
        if not end:
            raise _refuse("unit_missing", text, ", ".join(spellings(kind, measures=measures)))
        parts.append((value, _unit(end[0], kind, text, measures), match))
        at = end.end()
    total = _together(parts, text)
    result = float(total)
    if not math.isfinite(result):
        raise _refuse("number_unreadable", text)
    return result


def _together(parts: list[tuple[Fraction, Unit, re.Match[str]]], text: str) -> Fraction:
    for (value, unit, _), (later, smaller, match) in pairwise(parts):
        if not unit.family or unit.family != smaller.family or unit.factor <= smaller.factor:
            raise _refuse("parts_disagree", text, first=unit.name, second=smaller.name)
        if value.denominator != 1 or match["sign"]:
            raise _refuse("parts_disagree", text, first=unit.name, second=smaller.name)
        if later >= unit.factor / smaller.factor:
            raise _refuse("part_too_large", text, unit=smaller.name, most=int(unit.factor / smaller.factor))
    # a sign leads the whole: -(1 d 4 h) is never typed, so only the first part may carry one
    return sum(((value + unit.offset) * unit.factor for value, unit, _ in parts), Fraction(0))


def factor(kind: str, unit: str) -> float:
    """SI per unit, for a unit without offset. Raises KeyError for a name not in the list."""
    found = UNITS[kind][unit]
    if found.offset:
        raise KeyError(f"{unit} has an offset")
    return float(found.factor)


def to_unit(value: float, kind: str, unit: str) -> float:
    """An SI value expressed in `unit` of `kind`."""
    found = UNITS[kind][unit]
    return value / float(found.factor) - float(found.offset)
