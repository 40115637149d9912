"""What people read: codes with parameters in, sentences out, from one catalogue.

The catalogue is data/words, one file per domain, merged; sections are problem, note, caution, step,
unit, date, page and whatever a domain adds. Fields are python format fields with these additions:
a format that names a kind of unit (`{salt:mass}`, `{x:fraction:ppm}`, or `{low:own}` for the kind
given as the parameter `kind`), `date` and `datetime`, `name` of a glossary quantity, and
`count|one|other`. A bare numeric field whose name ends in a unit suffix (`mass_kg`, `time_s`) is
shown as that kind.
"""

from __future__ import annotations

import string
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from importlib.resources import files
from typing import Any

from saltfare.core.errors import NotFound, Problem
from saltfare.core.figure import Figure, Note
from saltfare.core.glossary import entry
from saltfare.core.units import KINDS
from saltfare.faces.units_shown import BARE_KINDS, Shown

_SUFFIXES = {
    "_kg": "mass",
    "_c": "temperature",
    "_k": "temperature_difference",
    "_s": "time",
    "_frac": "fraction",
    "_m": "length",
    "_m_per_s": "speed",
    "_pa": "pressure",
    "_j": "energy",
    "_m3": "volume",
}
Params = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Said:
    """A problem in words: what is wrong, and how to put it right."""

    text: str
    mend: str


@cache
def catalogue() -> Mapping[str, Any]:
    """All words by section and key. Where two files say the same key the first stands; see `said_twice`."""
    merged: dict[str, Any] = {}
    for _, words in _domains():
        _merge(merged, words, "", [])
    return merged


def said_twice() -> list[str]:
    """The keys that more than one file says: a fault of the package, held against it by a test."""
    merged: dict[str, Any] = {}
    found: list[str] = []
    for name, words in _domains():
        twice: list[str] = []
        _merge(merged, words, "", twice)
        found += [f"{name}: {path}" for path in twice]
    return found


def _domains() -> Iterator[tuple[str, Mapping[str, Any]]]:
    for path in sorted((files("saltfare.data") / "words").iterdir(), key=lambda p: p.name):
        if path.name.endswith(".toml"):
            yield path.name, tomllib.loads(path.read_text("utf-8"))


def _merge(into: dict[str, Any], new: Mapping[str, Any], at: str, twice: list[str]) -> None:
    for key, value in new.items():
        path = f"{at}.{key}" if at else key
        if isinstance(value, Mapping) and isinstance(into.get(key, {}), dict):
            _merge(into.setdefault(key, {}), value, path, twice)
        elif key in into:
            twice.append(path)
        else:
            into[key] = value


def find(path: str, words: Mapping[str, Any] | None = None) -> Any:
    """What stands at a dotted path of the catalogue. Raises NotFound."""
    at: Any = catalogue() if words is None else words
    for step in path.split("."):
        if not isinstance(at, Mapping) or step not in at:
            raise NotFound("words", path)
        at = at[step]
    return at


class _Fields(string.Formatter):
    """The format fields of the catalogue."""

    def __init__(self, shown: Shown, params: Params) -> None:
        self.shown = shown
        self.params = params
        self.field = ""

    def get_field(self, field_name: str, args: Sequence[Any], kwargs: Mapping[str, Any]) -> Any:
        self.field = field_name
        if field_name not in kwargs:  # no attribute or index access: parameters are plain values
            raise KeyError(field_name)
        return kwargs[field_name], field_name

    def convert_field(self, value: Any, conversion: str | None) -> Any:
        if conversion:
            raise ValueError(f"{self.field}: conversions are not used")
        return value

    def format_field(self, value: Any, format_spec: str) -> str:
        shown, numeric = self.shown, isinstance(value, (int, float)) and not isinstance(value, bool)
        kind = format_spec.partition(":")[0]
        if format_spec == "own":
            kind = format_spec = str(self.params.get("kind", ""))
        if format_spec == "name":
            return label_of(str(value))
        if format_spec == "date":
            return shown.on(value)
        if format_spec == "datetime":
            return shown.at(value)
        if format_spec.startswith("count|"):
            _, one, other = format_spec.split("|")
            amount = shown.number(float(value), 1)
            return f"{amount}\u00a0{one if amount == '1' else other}"
        if numeric and (kind in KINDS or kind in BARE_KINDS):
            return shown.quantity(float(value), format_spec)
        if format_spec and numeric:
            return _in_decimal_sign(format(value, format_spec), shown)
        if numeric:
            for suffix, named in _SUFFIXES.items():
                if self.field.endswith(suffix):
                    return shown.quantity(float(value), named)
            return shown.number(float(value), 3)
        return str(value)


def label_of(quantity: str) -> str:
    """The glossary's label of a quantity; the name itself where the glossary does not hold it."""
    try:
        return entry(quantity).label
    except NotFound:
        return quantity.replace("_", " ")


def _in_decimal_sign(text: str, shown: Shown) -> str:
    return text.replace(".", ",") if shown.decimal == "comma" else text


class Words:
    """The catalogue as one person reads it.

    pseudo: every text is set in brackets, so that a page shows what did not come from here.
    """

    def __init__(self, *, pseudo: bool = False, **reading: Any) -> None:
        self.pseudo = pseudo
        self.tree = _bracketed(catalogue()) if pseudo else catalogue()
        self.shown = Shown(self.tree, **reading)

    def say(self, path: str, params: Params | None = None) -> str:
        """The text at a path, its fields filled. Raises NotFound, KeyError for a field not given."""
        text = find(path, self.tree)
        if not isinstance(text, str):
            raise NotFound("words", path)
        given = params or {}
        return _Fields(self.shown, given).vformat(text, (), given)

    def t(self, key: str, **params: Any) -> str:
        """A text of the pages: `t("bench.title")`."""
        return self.say(f"page.{key}", params)

    def has(self, path: str) -> bool:
        """Whether there is anything at that path."""
        try:
            find(path, self.tree)
        except NotFound:
            return False
        return True

    def problem(self, problem: Problem) -> Said:
        """What is wrong and how to mend it, with the numbers."""
        params = {
            "given": self._instant(problem.given),
            "allowed": self._instant(problem.allowed),
            "field": problem.field,
            **problem.params,
        }
        path = f"problem.{problem.code}"
        return Said(self.say(f"{path}.text", params), self.say(f"{path}.mend", params))

    def note(self, note: Note, section: str = "note") -> str:
        """A note, caution, step or reason in words: the section asked for, then the others. A code that a
        note gives as its reason is said too, and a criterion by its name."""
        whys = {k: self._why(str(v)) for k, v in note.params.items() if k in ("reason", "problem")}
        if "criterion" in note.params:
            whys["criterion"] = self.say(f"criterion.{note.params['criterion']}.text")
        params = {**note.params, **whys}
        for found in (section, "note", "caution", "step", "reason"):
            if self.has(f"{found}.{note.code}.text"):
                return self.say(f"{found}.{note.code}.text", params)
        raise NotFound("words", f"{section}.{note.code}")

    def _instant(self, text: str) -> str:
        """An instant as people write one; any other text as it is."""
        try:
            at = datetime.fromisoformat(text) if "T" in text else None
        except ValueError:
            return text
        return text if at is None or at.tzinfo is None else self.shown.at(at)

    def _why(self, code: str) -> str:
        return self.say(f"why.{code}" if self.has(f"why.{code}") else "why.other")

    def name(self, quantity: str) -> str:
        """A glossary name as people say it."""
        label = label_of(quantity)
        return f"⟦{label}⟧" if self.pseudo else label

    def value(self, figure: Figure) -> str:
        """The value of a figure with its unit, "not known" where there is none."""
        if figure.value is None:
            return self.t("figure.unknown")
        half = None
        if figure.low is not None and figure.high is not None:
            half = (figure.high - figure.low) / 2
        return self.shown.quantity(figure.value, figure.kind, half_width=half or None)

    def interval(self, figure: Figure) -> str:
        """The interval of a figure, "" where there is none: between a and b, and what it is."""
        if figure.low is None or figure.high is None or figure.low == figure.high:
            return ""
        low, high = self.shown.span(figure.low, figure.high, figure.kind)
        return self.say(f"interval.{figure.interval}.between", {"low": low, "high": high})


def _bracketed(tree: Any) -> Any:
    if isinstance(tree, str):
        return f"⟦{tree}⟧"
    if isinstance(tree, Mapping):
        return {key: _bracketed(value) for key, value in tree.items()}
    if isinstance(tree, list):
        return [_bracketed(value) for value in tree]
    return tree
