"""Every code of foods and dishes has its words, and every allergen and diet its name."""

from __future__ import annotations

import inspect
import re

import pytest

from saltfare.core import foods, measures, tables
from saltfare.core.errors import Problem, Refused
from saltfare.faces.words import Words, catalogue
from saltfare.models import composition, cooking, declared, dish, food_search, label_food

MODULES = (foods, measures, composition, cooking, declared, dish, food_search, label_food)
SOURCE = "".join(inspect.getsource(module) for module in MODULES)


@pytest.mark.parametrize("code", sorted(set(re.findall(r'Problem\(\s*"(\w+)"', SOURCE))))
def test_every_problem_has_text_and_mend(code: str) -> None:
    assert {"text", "mend"} <= set(catalogue()["problem"][code])


@pytest.mark.parametrize("code", sorted(set(re.findall(r'Note\(\s*"(\w+)"', SOURCE))))
def test_every_note_has_text(code: str) -> None:
    assert catalogue()["note"][code]["text"]


def test_a_refusal_reads_with_its_numbers() -> None:
    with pytest.raises(Refused) as error:
        dish.dish_cooked(
            parts=[composition.Amounts(0.5, {"water": 0.4, "alcohol": 0.0}, {})],
            cooked_mass_kg=0.6,
            left_behind_kg=0.0,
        )
    said = Words().problem(error.value.problems[0])
    assert "600" in said.text
    assert "500" in said.text


def test_every_problem_of_dishes_reads() -> None:
    words = Words()
    for code, params in {
        "cooked_lighter_than_solids": {"cooked_kg": 0.2, "solids_kg": 0.3},
        "target_wetter_than_dish": {"target_frac": 0.9, "dish_frac": 0.8},
        "packs_exceed_dish": {"packed_kg": 0.4, "dish_kg": 0.3},
        "measure_unknown": {"measure": "handful"},
        "measure_which": {"measure": "cup"},
        "label_exceeds_basis": {"parts_kg": 0.12, "basis_kg": 0.1},
        "label_part_exceeds_whole": {"part": "saturates", "whole": "fat"},
    }.items():
        said = words.problem(Problem(code, given="2 cups", allowed="g, cup", params=params))
        assert said.text
        assert said.mend
        assert "{" not in said.text + said.mend


def test_every_allergen_class_and_diet_has_a_name() -> None:
    names, diets = catalogue()["allergen"], catalogue()["diet"]
    for row in tables.load("allergens"):
        for key in (row.text("id"), row.text("us"), row.text("eu")):
            assert not key or names[key]
    assert set(diets) == set(tables.load("diets").rows)
    assert set(catalogue()["presence"]) == {presence.value for presence in declared.Presence}
