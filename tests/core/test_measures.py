"""Kitchen measures to masses, and the refusals."""

from __future__ import annotations

import pytest

from saltfare.core.errors import Refused
from saltfare.core.foods import Measure, measures
from saltfare.core.measures import mass_from_measure
from saltfare.core.units import DecimalSign, Measures

LENTILS, ONION, GARLIC, OIL = "16144", "11282", "11215", "04053"


@pytest.mark.parametrize(
    ("food", "text", "mass_kg"),
    # usda_sr28, WEIGHT: red lentils 192 g a cup; onion 160 g a cup chopped, 115 g sliced, 110 g the medium;
    # a clove of garlic 3 g; olive oil 216 g a cup, 13.5 g a tablespoon
    [
        (LENTILS, "2 cups", 0.384),
        (LENTILS, "1 1/2 cup", 0.288),
        (LENTILS, "½ Cup", 0.096),
        (ONION, '1 medium (2-1/2" dia)', 0.110),
        (ONION, "2 medium", 0.220),
        (ONION, "1 cup, chopped", 0.160),
        (ONION, "1 cup, sliced", 0.115),
        (GARLIC, "3 cloves", 0.009),
        (OIL, "2 tbsp", 0.027),
        (OIL, "1 tablespoon", 0.0135),
        (LENTILS, "180 g", 0.180),
        (LENTILS, "1 lb 2 oz", 0.51029),
        (LENTILS, "0,25 kg", 0.25),
    ],
)
def test_measures_agree_with_usda_sr28_weight(food: str, text: str, mass_kg: float) -> None:
    found = mass_from_measure(text, measures=measures(food), system="us")
    assert found == pytest.approx(mass_kg, rel=1e-3)


@pytest.mark.parametrize(
    ("text", "system", "mass_kg"),
    [
        # a metric cup is 250 ml, the table's is 236.588 ml
        ("1 cup", "metric", 0.192 * 250 / 236.588),
        ("250 ml", "metric", 0.192 * 250 / 236.588),
        ("1 pint", "us", 0.384),
    ],
)
def test_a_cup_is_scaled_to_the_setting(text: str, system: Measures, mass_kg: float) -> None:
    assert mass_from_measure(text, measures=measures(LENTILS), system=system) == pytest.approx(
        mass_kg, rel=1e-4
    )


@pytest.mark.parametrize(
    ("food", "text", "code"),
    [
        (LENTILS, "3 handfuls", "measure_unknown"),
        (LENTILS, "2 cups 30 g", "measure_two_units"),
        (LENTILS, "30 g 2 cups", "measure_two_units"),
        (ONION, "1 cup", "measure_which"),
        (LENTILS, "0 g", "mass_not_positive"),
        (LENTILS, "-2 cups", "mass_not_positive"),
        (LENTILS, "half a cup", "number_unreadable"),
        (LENTILS, "", "empty"),
        (LENTILS, "2", "unit_missing"),
        (LENTILS, "1,500 cups", "comma_ambiguous"),
        ("99999", "1 cup", "measure_unknown"),
        (LENTILS, "1 " + "cup" * 40, "too_long"),
    ],
)
def test_what_cannot_be_weighed_is_refused(food: str, text: str, code: str) -> None:
    with pytest.raises(Refused) as error:
        mass_from_measure(text, measures=measures(food))
    assert error.value.problems[0].code == code


def test_a_refusal_offers_what_the_food_has() -> None:
    with pytest.raises(Refused) as error:
        mass_from_measure("3 handfuls", measures=measures(LENTILS))
    assert error.value.problems[0].allowed == "g, cup"
    assert error.value.problems[0].params["measure"] == "handfuls"


@pytest.mark.parametrize(("decimal", "grams"), [("comma", 1500.0), ("point", None)])
def test_the_decimal_sign_reaches_the_parser(decimal: DecimalSign, grams: float | None) -> None:
    own = (Measure("piece", 0.001),)
    if grams is None:
        with pytest.raises(Refused):
            mass_from_measure("1,500 kg", measures=own, decimal=decimal)
    else:
        assert mass_from_measure("1,5 kg", measures=own, decimal=decimal) == pytest.approx(grams / 1000)
