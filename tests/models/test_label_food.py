"""A person's own food off its label."""

from __future__ import annotations

import pytest

from saltfare.core import foods
from saltfare.core.errors import Refused
from saltfare.models.composition import Food, energy_eu
from saltfare.models.label_food import Law, food_from_label

KJ, G = 1000.0, 0.001
# an invented soup powder, per 100 g, as an EU label prints
EU_LABEL = {
    "energy": 1450 * KJ,
    "fat": 9.0 * G,
    "saturates": 4.5 * G,
    "carbohydrate": 52.0 * G,
    "sugars": 9.0 * G,
    "fibre": 6.0 * G,
    "protein": 11.0 * G,
    "salt": 12.0 * G,
}


def test_an_eu_label_becomes_columns_of_the_table() -> None:
    found = food_from_label(amounts=EU_LABEL, basis_kg=0.1, law="eu", water_frac=None)
    # total carbohydrate counts fibre in; salt is 2.5 times sodium
    assert found.per_kg["carbohydrate"] == pytest.approx(0.58)
    assert found.per_kg["sodium"] == pytest.approx(0.048)
    assert found.per_kg["energy"] == pytest.approx(1450 * KJ * 10)
    assert "salt" not in found.per_kg
    # 100 - 9 - 58 - 11 - 12
    assert found.water_estimated
    assert found.per_kg["water"] == pytest.approx(0.10)
    assert [note.code for note in found.notes] == ["label_water_estimated"]


def test_the_columns_make_a_food_that_gives_the_label_back() -> None:
    found = food_from_label(amounts=EU_LABEL, basis_kg=0.1, law="eu", water_frac=0.08)
    row = foods.own_row(
        food_id="mine",
        name="invented soup powder",
        group="06",
        per_kg=found.per_kg,
        source="saltfare_chosen",
        locator="label of an invented packet",
    )
    food = Food.from_row(row)
    assert food.per_kg["water"] == 0.08
    assert food.factors == (None, None, None)
    assert "calcium" not in food.per_kg
    reckoned = energy_eu(protein_kg=0.011, fat_kg=0.009, available_kg=0.052, fibre_kg=0.006, alcohol_kg=0.0)
    assert food.per_kg["energy"] * 0.1 == pytest.approx(reckoned, rel=0.02)


def test_per_serving_and_per_100_g_are_the_same_food() -> None:
    serving = {name: value * 0.35 for name, value in EU_LABEL.items()}
    one = food_from_label(amounts=EU_LABEL, basis_kg=0.1, law="eu", water_frac=None)
    other = food_from_label(amounts=serving, basis_kg=0.035, law="eu", water_frac=None)
    assert other.per_kg == pytest.approx(dict(one.per_kg))


def test_a_us_label_counts_fibre_in_carbohydrate() -> None:
    amounts = {
        "energy": 150 * 4184.0,
        "fat": 3.0 * G,
        "carbohydrate": 27.0 * G,
        "fibre": 4.0 * G,
        "protein": 5.0 * G,
        "sodium": 0.001 * G,
    }
    found = food_from_label(amounts=amounts, basis_kg=0.040, law="us", water_frac=None)
    assert found.per_kg["carbohydrate"] == pytest.approx(0.675)
    assert found.per_kg["water"] == pytest.approx(5.0 / 40.0, abs=1e-4)


def test_a_table_food_read_as_a_label_keeps_its_water() -> None:
    # usda_sr28: rolled oats and dry pasta, whose water is known, estimated to the ash a label does not print
    for food_id in ("08120", "20420", "16144"):
        row = foods.package_row(food_id)
        columns = ("energy", "protein", "fat", "carbohydrate", "fibre", "sodium")
        amounts = {name: row.number(name) * 0.1 for name in columns}
        found = food_from_label(amounts=amounts, basis_kg=0.1, law="us", water_frac=None)
        assert found.per_kg["water"] == pytest.approx(row.number("water") + row.number("ash"), abs=1e-3)


def test_what_a_label_does_not_say_stays_missing() -> None:
    less = {name: value for name, value in EU_LABEL.items() if name != "fibre"}
    found = food_from_label(amounts=less, basis_kg=0.1, law="eu", water_frac=None)
    assert "carbohydrate" not in found.per_kg
    assert "water" not in found.per_kg
    assert not found.water_estimated
    assert [note.code for note in found.notes] == ["label_fibre_missing", "label_water_missing"]


def test_an_energy_that_cannot_be_is_said() -> None:
    slip = EU_LABEL | {"energy": 145 * KJ}
    found = food_from_label(amounts=slip, basis_kg=0.1, law="eu", water_frac=0.1)
    (note,) = found.notes
    # Annex XIV: 17 x (11 + 52) + 37 x 9 + 8 x 6 = 1452 kJ
    assert note.code == "label_energy_below"
    assert note.params == pytest.approx(
        {"printed_j": 145 * KJ, "reckoned_j": 1452 * KJ, "apart_j": 1307 * KJ}
    )


def test_an_energy_too_high_is_said_with_its_size() -> None:
    found = food_from_label(amounts=EU_LABEL | {"energy": 3450 * KJ}, basis_kg=0.1, law="eu", water_frac=0.1)
    assert [note.code for note in found.notes] == ["label_energy_above"]
    assert found.notes[0].params["apart_j"] == pytest.approx(1998 * KJ)


@pytest.mark.parametrize(
    ("change", "basis_kg", "law", "water_frac", "code"),
    [
        ({}, 0.0, "eu", None, "mass_not_positive"),
        ({}, -0.1, "eu", None, "mass_not_positive"),
        ({}, float("nan"), "eu", None, "mass_not_positive"),
        ({"protein": -1 * G}, 0.1, "eu", None, "label_negative"),
        ({"protein": float("nan")}, 0.1, "eu", None, "label_negative"),
        ({"proteins": 1 * G}, 0.1, "eu", None, "nutrient_unknown"),
        ({"saturates": 12 * G}, 0.1, "eu", None, "label_part_exceeds_whole"),
        ({"sugars": 60 * G}, 0.1, "eu", None, "label_part_exceeds_whole"),
        ({"fibre": 60 * G}, 0.1, "us", None, "label_part_exceeds_whole"),
        ({"protein": 45 * G}, 0.1, "eu", None, "label_exceeds_basis"),
        ({}, 0.035, "eu", None, "label_exceeds_basis"),
        ({}, 0.1, "eu", 0.5, "label_exceeds_basis"),
        ({}, 0.1, "eu", 1.0, "water_impossible"),
        ({}, 0.1, "eu", -0.1, "water_impossible"),
    ],
)
def test_a_label_that_cannot_be_is_refused(
    change: dict[str, float], basis_kg: float, law: Law, water_frac: float | None, code: str
) -> None:
    with pytest.raises(Refused) as error:
        food_from_label(amounts=EU_LABEL | change, basis_kg=basis_kg, law=law, water_frac=water_frac)
    assert code in {problem.code for problem in error.value.problems}
