"""The catalogue: every code has its words, numbers read as the SI Brochure writes them.

Number style: BIPM, SI Brochure 9th ed., 5.4.3 (space between value and unit, °C and % included) and
5.4.4 (groups of three parted by a thin space).
"""

from __future__ import annotations

import ast
import re
import string
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

import saltfare
from saltfare.core.errors import NotFound, Problem
from saltfare.core.figure import Figure, Note
from saltfare.core.units import parse
from saltfare.faces.units_shown import Shown
from saltfare.faces.words import Words, catalogue, find, said_twice

ROOT = Path(saltfare.__file__).parent
SECTION = {"Problem": "problem", "_refuse": "problem", "Note": "note"}
W = Words()
NB = "\u00a0"


def _calls() -> Iterator[tuple[str, str, set[str] | None, str]]:
    """(maker, code, parameter names or None where not literal, where) of each code in the source."""
    for path in sorted(ROOT.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if not isinstance(node, ast.Call) or not node.args:
                continue
            name = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
            first = node.args[0]
            if name in SECTION and isinstance(first, ast.Constant) and isinstance(first.value, str):
                yield name, first.value, _params(node, name), f"{path.name}:{node.lineno}"


def _params(node: ast.Call, name: str) -> set[str] | None:
    if name == "_refuse":
        return {k.arg for k in node.keywords if k.arg}
    place = 1 if name == "Note" else 4
    params = next((k.value for k in node.keywords if k.arg == "params"), None)
    if params is None and len(node.args) > place:
        params = node.args[place]
    if params is None:
        return set()
    if isinstance(params, ast.Dict) and all(isinstance(k, ast.Constant) for k in params.keys):
        return {str(k.value) for k in params.keys if isinstance(k, ast.Constant)}
    return None  # made elsewhere: seen when the action runs


def _fields(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name is not None}


def _texts(tree: Any, path: str = "") -> Iterator[tuple[str, str]]:
    if isinstance(tree, str):
        yield path, tree
    elif isinstance(tree, dict):
        for key, value in tree.items():
            yield from _texts(value, f"{path}.{key}" if path else key)
    elif isinstance(tree, list):
        for value in tree:
            yield from _texts(value, path)


def test_the_walk_finds_the_codes_of_the_parser() -> None:
    assert {"comma_ambiguous", "unit_missing", "part_too_large"} <= {code for _, code, _, _ in _calls()}


def test_every_code_in_the_source_has_words_and_the_parameters_they_need() -> None:
    missing = []
    for maker, code, params, where in _calls():
        sections = ("note", "caution", "step") if maker == "Note" else ("problem",)
        found = next((f"{s}.{code}" for s in sections if W.has(f"{s}.{code}.text")), None)
        if found is None:
            missing.append(f"{where}: no words for {code}")
            continue
        wanted = _fields(find(f"{found}.text"))
        if found.startswith("problem"):
            wanted |= _fields(find(f"{found}.mend"))
            wanted -= {"given", "allowed", "field"}
        if params is not None and wanted - params:
            missing.append(f"{where}: {code} is not given {sorted(wanted - params)}")
    assert not missing, "\n".join(missing)


def test_no_key_is_said_by_two_files() -> None:
    assert not said_twice()


def test_every_problem_says_how_to_mend_it() -> None:
    for code, entry in catalogue()["problem"].items():
        assert entry["text"].strip() and entry["mend"].strip(), code


def test_no_text_promises_praises_or_shouts() -> None:
    banned = re.compile(
        r"\b(safe|safely|unsafe|safety|invalid|illegal|oops|sorry|please|great|awesome)\b|!", re.I
    )
    found = [f"{path}: {text}" for path, text in _texts(catalogue()) if banned.search(text)]
    assert not found, "\n".join(found)


def test_every_text_can_be_filled() -> None:
    for path, text in _texts(catalogue()):
        if path.startswith(("date.", "unit")):
            continue
        for _, name, spec, conversion in string.Formatter().parse(text):
            assert conversion is None, path
            if name is not None:
                assert re.fullmatch(r"[a-z_0-9]+", name), f"{path}: {name}"
                assert spec is None or "{" not in spec, path


def test_a_text_is_found_or_refused_by_name() -> None:
    with pytest.raises(NotFound):
        W.t("there.is.none")
    with pytest.raises(KeyError):
        W.say("problem.unit_unknown.text", {})


def test_parameters_cannot_reach_into_objects() -> None:
    words = Words()
    words.tree = {"x": "{a.__class__}", "y": "{a!r}"}
    with pytest.raises(KeyError):
        words.say("x", {"a": 1})
    with pytest.raises(ValueError, match="conversions"):
        words.say("y", {"a": 1})


def test_a_refusal_of_the_parser_reads_as_a_sentence_with_its_numbers() -> None:
    said = W.problem(
        Problem("comma_ambiguous", given="1,500 g", params={"thousands": "1500", "point": "1.500"})
    )
    assert "1500" in said.text and "1.500" in said.mend
    low = {"quantity": "green_weight", "kind": "mass", "low": 0.01, "high": 200.0}
    said = W.problem(Problem("impossible", given="900 kg", params=low))
    assert f"10{NB}g to 200{NB}kg" in said.text


def test_fields_take_their_unit_from_their_name_or_their_format() -> None:
    words = Words()
    words.tree = {
        **catalogue(),
        "x": "{mass_kg} {share_frac} {n:count|piece|pieces} {on:date} {dose:fraction:ppm} {plain}",
    }
    params = {
        "mass_kg": 1.62,
        "share_frac": 0.214,
        "n": 1,
        "on": "2026-03-09",
        "dose": 0.000156,
        "plain": 2.5,
    }
    assert words.say("x", params) == f"1.62{NB}kg 21.4{NB}% 1{NB}piece 9 March 2026 156{NB}ppm 2.5".replace(
        " 2026", " 2026" if words.shown.today else ""
    )


def test_pseudo_words_are_bracketed() -> None:
    pseudo = Words(pseudo=True)
    assert pseudo.problem(Problem("missing")).text.startswith("⟦")
    assert "⟦kg⟧" in pseudo.shown.quantity(2.0, "mass")


# numbers

S = Words().shown
US = Words(measures="us").shown
COMMA = Words(decimal="comma").shown


@pytest.mark.parametrize(
    ("value", "kind", "text"),
    [
        (2.345, "mass", "2.345 kg"),
        (2.3, "mass", "2.3 kg"),
        (0.9996, "mass", "1 kg"),
        (0.85, "mass", "850 g"),
        (0.0625, "mass", "62.5 g"),
        (0.0041, "mass", "4.1 g"),
        (1234.0, "mass", "1\u202f234 kg"),
        (0.214, "fraction", "21.4 %"),
        (0.000156, "fraction:ppm", "156 ppm"),
        (-18.0, "temperature", "\u221218 °C"),
        (86400.0 * 19, "time", "19 days"),
        (86400.0, "time:d", "1 day"),
        (3600.0 * 5, "time", "5 h"),
        (0.085, "length", "8.5 cm"),
        (0.0042, "length", "4.2 mm"),
        (0.853, "ratio", "0.853"),
    ],
)
def test_values_read_as_a_kitchen_scale_shows_them(value: float, kind: str, text: str) -> None:
    assert S.quantity(value, kind).replace(NB, " ") == text


@pytest.mark.parametrize(
    ("value", "half", "kind", "text"),
    [
        (0.2143, 0.0135, "fraction", "21.4 %"),
        (0.2143, 0.035, "fraction", "21 %"),
        (1.62345, 0.07, "mass", "1.62 kg"),
        (1.62345, 0.0005, "mass", "1.623 kg"),
        (0.0625, 0.0005, "mass", "62.5 g"),
        (0.853, 0.02, "ratio", "0.853"),
        (0.853, 0.05, "ratio", "0.85"),
        (4.0, 3.0, "temperature", "4 °C"),
    ],
)
def test_digits_follow_the_half_width_of_the_interval(
    value: float, half: float, kind: str, text: str
) -> None:
    assert S.quantity(value, kind, half_width=half).replace(NB, " ") == text


def test_american_measures() -> None:
    # 5 lb 3 oz = 2.35301 kg: international pound of 1959, exact
    assert US.quantity(2.353010, "mass").replace(NB, " ") == "5 lb 3 oz"
    assert US.quantity(0.2, "mass").replace(NB, " ") == "7.05 oz"
    assert US.quantity(0.0041, "mass").replace(NB, " ") == "4.1 g"  # a gram scale doses cure
    assert US.quantity(3.3333333, "temperature").replace(NB, " ") == "38 °F"
    assert US.quantity(5.0, "temperature_difference").replace(NB, " ") == "9 °F"


def test_an_interval_has_one_unit_and_the_same_digits() -> None:
    assert S.span(1.552, 1.688, "mass") == ("1.55", f"1.69{NB}kg")
    assert COMMA.span(0.201, 0.228, "fraction") == ("20,1", f"22,8{NB}%")
    figure = Figure(0.2143, "fraction", 0.201, 0.228, "band_80")
    assert W.interval(figure) == f"between 20.1 and 22.8{NB}% with a chance of 80 in 100"
    assert W.value(figure) == f"21.4{NB}%"


def test_a_missing_value_is_said_to_be_missing() -> None:
    assert W.value(Figure(None, "mass")) == W.t("figure.unknown")


@given(st.floats(min_value=0.001, max_value=150), st.sampled_from(["point", "comma"]))
def test_a_shown_mass_is_read_back_by_the_parser(value: float, decimal: Any) -> None:
    shown = Shown(catalogue(), decimal=decimal)
    assert parse(shown.quantity(value, "mass"), "mass", decimal=decimal) == pytest.approx(value, abs=0.00051)


@given(st.floats(min_value=0.001, max_value=150), st.sampled_from(["us", "imperial"]))
def test_a_shown_mass_in_pounds_is_read_back_by_the_parser(value: float, measures: Any) -> None:
    shown = Shown(catalogue(), measures=measures)
    # a tenth of an ounce is 2.8 g
    assert parse(shown.quantity(value, "mass"), "mass") == pytest.approx(value, abs=0.0015)


@given(st.floats(min_value=-1e6, max_value=1e6), st.integers(min_value=-2, max_value=6))
def test_no_number_shows_a_negative_nought(value: float, places: int) -> None:
    assert not re.fullmatch(r"\u2212[0.,\u202f]*", S.number(value, places))


def test_what_is_typed_back_into_a_field_loses_nothing_to_a_gram() -> None:
    assert S.typed(1234.567, "mass", "kg") == "1234.567"
    assert COMMA.typed(1.5, "mass", "kg") == "1,5"
    assert S.typed(-3.0, "temperature", "C") == "-3"


# dates

AT = datetime(2026, 3, 9, 23, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    ("locale", "text", "later"),
    [
        ("en", "10 March", "1 February 2027"),
        ("en-US", "March 10", "February 1, 2027"),
        ("iso", "2026-03-10", "2027-02-01"),
    ],
)
def test_dates_in_three_locales_where_the_person_is(locale: str, text: str, later: str) -> None:
    shown = Words(locale=locale, zone="Europe/Berlin", today=date(2026, 3, 1)).shown
    assert shown.on(AT) == text
    assert shown.on(date(2027, 2, 1)) == later
    assert shown.at(AT).endswith("00:30")


def test_words_of_notes_cautions_and_steps_are_found_by_code() -> None:
    with pytest.raises(NotFound):
        W.note(Note("no_such_note"))


def test_a_code_given_as_a_reason_is_said_in_words() -> None:
    for name, key in (("no_forecast", "reason"), ("plan_no_longer_holds", "problem")):
        known = W.note(Note(name, {key: "hung_too_long"}))
        other = W.note(Note(name, {key: "some_new_code"}))
        assert "check the day it was hung" in known and "does not fit the rest" in other
        assert "_" not in known + other


def test_an_instant_that_was_refused_is_said_as_people_write_one() -> None:
    said = Words(today=date(2027, 1, 1)).problem(
        Problem("before_hanging", "at", "x", "2026-03-20T10:00:00+00:00")
    )
    assert "20 March 2026, 10:00" in said.text.replace("\u00a0", " ")
    assert "2 T 4" in W.problem(Problem("not_one_of", given="2 T 4")).text


@pytest.mark.parametrize("said", ["use by", "best before", "past its best", "past their best", "eaten it by",
                                  "free of gluten", "gluten-free", "allergen-free", "eat it up"])  # fmt: skip
def test_no_date_to_eat_by_and_no_promise_of_absence_stands_in_the_catalogue(said: str) -> None:
    """A planning date is one to plan with; traces are never known, so nothing is free of anything."""
    found = [text for _, text in _texts(catalogue()) if said in text.lower()]
    assert found == []


def test_a_note_tells_a_criterion_by_its_name() -> None:
    said = Words().note(Note("trip_clock_runs_out", {"criterion": "rop_chilled", "day": 1}))
    assert "rop_chilled" not in said and "Food Code 3-502.12" in said
