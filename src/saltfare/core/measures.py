"""Kitchen measures of one food to a mass: "2 cups", "1 medium", "250 ml", "180 g".

The table's cups and spoons are US ones; a cup typed under another setting is scaled to it. A food whose
cup depends on how it is cut, and a measure the food has not got, are refused with what it has.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

from saltfare.core.errors import Problem, Refused
from saltfare.core.foods import Measure
from saltfare.core.units import DecimalSign, Measures, number, parse

_AMOUNT = re.compile(r"\s*([+\-−]?[\d.,/\s\u00a0¼½¾⅓⅔⅛⅜⅝⅞⅕⅖⅗⅘⅙]*[\d¼½¾⅓⅔⅛⅜⅝⅞⅕⅖⅗⅘⅙])\s*(\S.*)")
_VOLUMES = {
    "cup": "cup",
    "tbsp": "tbsp",
    "tablespoon": "tbsp",
    "tsp": "tsp",
    "teaspoon": "tsp",
    "fl oz": "fl oz",
}


def mass_from_measure(
    text: str,
    *,
    measures: Sequence[Measure],
    decimal: DecimalSign = "point",
    system: Measures = "metric",
) -> float:
    """The mass in kg of an amount as typed, by mass, by the food's own measures, or by volume.

    Raises Refused: mass_not_positive, measure_unknown, measure_which, measure_two_units, and what the
    parser of quantities refuses.
    """
    mass_kg = _mass(text, measures, decimal, system)
    if not (math.isfinite(mass_kg) and mass_kg > 0):
        raise Refused(Problem("mass_not_positive", given=text[:64]))
    return mass_kg


def _mass(text: str, measures: Sequence[Measure], decimal: DecimalSign, system: Measures) -> float:
    try:
        return parse(text, "mass", decimal=decimal)
    except Refused as refused:
        by_mass = refused
    match = _AMOUNT.fullmatch(text[:64])
    if not match or by_mass.problems[0].code not in ("unit_unknown", "unit_wrong_kind"):
        raise by_mass
    said = _plain(match[2])
    named = [measure for measure in measures if said == _plain(measure.name)]
    if named:
        return float(number(match[1], decimal=decimal)) * named[0].mass_kg * _scale(named[0], system)
    if re.search(r"\d", said):
        raise Refused(Problem("measure_two_units", given=text, allowed=_offered(measures)))
    try:
        volume_m3 = parse(text, "volume", decimal=decimal, measures=system)
    except Refused:
        volume_m3 = None
    heads = [measure for measure in measures if _head(measure) == said]
    if volume_m3 is None and len(heads) == 1:
        return float(number(match[1], decimal=decimal)) * heads[0].mass_kg
    if volume_m3 is None or not any(_head(measure) in _VOLUMES for measure in measures):
        code = "measure_which" if heads else "measure_unknown"
        raise Refused(
            Problem(code, given=text, allowed=_offered(heads or measures), params={"measure": match[2]})
        )
    return volume_m3 * _density(text, said, measures)


def _density(text: str, said: str, measures: Sequence[Measure]) -> float:
    """kg per m3 from the food's cup or spoon: the measure said where it has it, the plain one first."""
    found = [measure for measure in measures if _head(measure) in _VOLUMES]
    same = [measure for measure in found if _VOLUMES[_head(measure)] == _VOLUMES.get(said, said)]
    plain = [measure for measure in same or found if _plain(measure.name) in _VOLUMES]
    chosen = plain or same or found
    densities = [
        measure.mass_kg / parse(f"1 {_VOLUMES[_head(measure)]}", "volume", measures="us")
        for measure in chosen
    ]
    # spoons and cups of one food agree within rounding; cut another way they do not
    if max(densities) > 1.1 * min(densities):
        raise Refused(
            Problem("measure_which", given=text, allowed=_offered(chosen), params={"measure": said})
        )
    return densities[0]


def _scale(measure: Measure, system: Measures) -> float:
    """What the setting's cup is of the US cup; 1 for a measure that is no volume or not in the setting."""
    unit = _VOLUMES.get(_head(measure))
    if unit is None or system == "us":
        return 1.0
    try:
        return parse(f"1 {unit}", "volume", measures=system) / parse(f"1 {unit}", "volume", measures="us")
    except Refused:
        return 1.0


def _head(measure: Measure) -> str:
    return _plain(re.split(r"[,(]", measure.name)[0])


def _plain(name: str) -> str:
    words = re.sub(r"\s+", " ", name.strip().lower().replace(" ,", ",")).split(" ")
    return " ".join(_singular(word) for word in words)


def _singular(word: str) -> str:
    bare = word.rstrip(",")
    single = bare[:-1] if len(bare) > 3 and bare.endswith("s") and not bare.endswith("ss") else bare
    return single + word[len(bare) :]


def _offered(measures: Sequence[Measure]) -> str:
    return ", ".join(["g", *(measure.name for measure in measures)][:8])
