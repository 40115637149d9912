"""Input fields made from the glossary."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Annotated, Any

import pytest
from pydantic import Field, ValidationError

from saltfare.core import fields
from saltfare.core.fields import Frozen, Measured, Quantity, implausible, problems_of
from saltfare.core.glossary import Entry

MASS = Entry("m", "test", "Mass", "A mass.", "m", "mass", "", (0.1, 15.0), (0.001, 200.0), "")


class One(Frozen):
    mass: Annotated[Measured, Quantity("m")]
    other: Annotated[Measured, Quantity("m")] | None = None


class Many(Frozen):
    ones: tuple[One, ...]


@pytest.fixture(autouse=True)
def _one_entry(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setattr(fields, "entry", lambda _: MASS)
    return


def test_typed_and_parsed_are_both_kept() -> None:
    assert One.model_validate({"mass": "5 lb 3 oz"}).mass == Measured(typed="5 lb 3 oz", value=2.353010419375)


def test_the_settings_reach_the_parser() -> None:
    assert One.model_validate({"mass": "1,500 kg"}, context={"decimal": "comma"}).mass.value == 1.5


@pytest.mark.parametrize(
    ("data", "code", "field"),
    [
        ({"mass": "5 lb 3 F"}, "unit_wrong_kind", "mass"),
        ({"mass": True}, "not_a_quantity", "mass"),
        ({"mass": float("nan")}, "not_a_quantity", "mass"),
        ({"mass": 10**400}, "not_a_quantity", "mass"),
        ({"mass": [1]}, "not_a_quantity", "mass"),
        ({"mass": {"typed": "2 kg", "value": 5}}, "not_a_quantity", "mass"),
        ({"mass": 500}, "impossible", "mass"),
        ({"mass": -1}, "impossible", "mass"),
        ({}, "missing", "mass"),
        ({"mass": 1, "maas": 1}, "unknown_field", "maas"),
        ({"mass": 1, "other": "1,500 g"}, "comma_ambiguous", "other"),
    ],
)
def test_what_cannot_be_is_refused_with_its_field(data: dict[str, Any], code: str, field: str) -> None:
    with pytest.raises(ValidationError) as error:
        One.model_validate(data)
    found = [p for p in problems_of(error.value) if p.code == code]
    assert found, problems_of(error.value)
    assert found[0].field.startswith(field)


def test_the_unusual_is_found_wherever_it_sits() -> None:
    many = Many.model_validate({"ones": [{"mass": 1}, {"mass": "90 g", "other": "20 kg"}]})
    assert [p.field for p in implausible(many)] == ["ones.1.mass", "ones.1.other"]
    assert {p.code for p in implausible(many)} == {"implausible"}


def test_the_schema_says_units_and_ranges() -> None:
    mass = One.model_json_schema()["properties"]["mass"]
    assert mass["x-possible"] == [0.001, 200.0]
    assert "lb" in mass["x-units"]


def test_a_quantity_without_a_unit_is_read_as_a_plain_number(monkeypatch: pytest.MonkeyPatch) -> None:
    ratio = Entry("aw", "test", "aw", "Water activity.", "aw", "ratio", "", (0.5, 1.0), (0.0, 1.0), "")
    monkeypatch.setattr(fields, "entry", lambda _: ratio)
    assert One.model_validate({"mass": "0,85"}).mass.value == 0.85
    with pytest.raises(ValidationError) as error:
        One.model_validate({"mass": "0.85 kg"})
    assert problems_of(error.value)[0].code == "number_unreadable"


class _Bound(Frozen):
    count: int = Field(ge=0, le=12)
    on: date | None = None


@pytest.mark.parametrize(
    ("given", "allowed"),
    [({"count": -1}, "≥ 0"), ({"count": 13}, "≤ 12"), ({"count": "x"}, "1, 2, 3"),
     ({"count": 1, "on": "soon"}, "2026-09-12")],
)  # fmt: skip
def test_a_refusal_says_what_would_be_taken(given: dict[str, Any], allowed: str) -> None:
    with pytest.raises(ValidationError) as error:
        _Bound.model_validate(given)
    assert [problem.allowed for problem in problems_of(error.value)] == [allowed]
