"""What a form sends, as the plain data an action takes, and what comes back when it is refused.

A control is named by the dotted path of the input field it fills; a name that begins with an underscore
is the page's own. `NAME_unit` is the unit beside a quantity, used where the person typed none.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from saltfare.core.errors import NotFound, Problem
from saltfare.core.glossary import entry
from saltfare.faces.typed import local_instant, with_unit
from saltfare.faces.words import Words

INSTANTS = frozenset({"at"})
_REASONS = "reasons."
_ROW = re.compile(r"([^.]+)\.(\d+)(?:[._]|$)")


@dataclass(frozen=True, slots=True)
class Wrong:
    """One problem at its control, in words."""

    field: str
    anchor: str
    label: str
    code: str
    text: str
    mend: str
    reason_for: str = ""  # the key of `reasons` under which a written reason keeps the value


@dataclass(frozen=True, slots=True)
class Form:
    """A form as it is shown: the text in each control, and what is wrong with it."""

    typed: Mapping[str, str] = field(default_factory=dict)
    problems: tuple[Wrong, ...] = ()
    prefix: str = ""  # of the ids of its controls, where a page holds several forms

    def value(self, name: str) -> str:
        """The text of a control."""
        return self.typed.get(name, "")

    def holds(self, name: str, value: str) -> bool:
        """Whether one of a list of controls has a value."""
        return any(text == value for key, text in self.typed.items() if key.startswith(f"{name}."))

    def unit(self, name: str, default: str) -> str:
        """The unit chosen beside a quantity."""
        return self.typed.get(f"{name}_unit") or default

    def wrong(self, name: str) -> Wrong | None:
        """The first problem at a control or below it."""
        return next((p for p in self.problems if p.field == name or p.field.startswith(f"{name}.")), None)

    def asks_reason(self, name: str) -> bool:
        """Whether a reason is asked for, or was written, at a control."""
        return bool(self.typed.get(_REASONS + name)) or any(p.reason_for == name for p in self.problems)

    @property
    def returned(self) -> bool:
        """Whether the form comes back with problems."""
        return bool(self.problems)


def refused(
    typed: Mapping[str, str], problems: Iterable[Problem], words: Words, *, prefix: str = "", of: str = ""
) -> Form:
    """The form again, with the text as typed and each problem at its control."""
    whose = of or prefix.rstrip("-").replace("-", "_")
    found = tuple(
        Wrong(
            p.field,
            prefix + anchor_of(p.field, typed),
            label_of(p.field, words, of=whose),
            p.code,
            said.text,
            said.mend,
            str(p.params.get("reason_for", "")),
        )
        for p, said in ((p, words.problem(p)) for p in problems)
    )
    return Form(typed, found, prefix)


def anchor_of(path: str, typed: Mapping[str, str]) -> str:
    """The control a problem belongs to: its own, or the nearest above it that the form has."""
    at = path
    while at and at not in typed:
        at = at.rpartition(".")[0]
    return at or path or "main"


def label_of(path: str, words: Words, *, of: str = "") -> str:
    """What the control is called. of: the act it belongs to, where that names it closer."""
    parts = [part for part in path.split(".") if not part.isdigit()]
    if not parts or not parts[-1]:
        return ""
    whole, last = "_".join(parts), parts[-1]
    label = words.name(last)
    for name in (f"{of}_{last}", whole, last):
        if words.has(f"page.field.{name}"):
            label = words.t(f"field.{name}")
            break
        if is_named(name):
            label = words.name(name)
            break
    return label[:1].upper() + label[1:]


def is_named(quantity: str) -> bool:
    """Whether the glossary holds it."""
    try:
        entry(quantity)
    except NotFound:
        return False
    return True


def data(typed: Mapping[str, str], *, zone: str) -> dict[str, Any]:
    """Typed text as nested plain data: empty controls left out, units joined, local times made aware."""
    tree: dict[str, Any] = {}
    for name, text in typed.items():
        clean = text.strip()
        beside = name.removesuffix("_unit")
        if not clean or name.startswith("_") or (beside != name and beside in typed):
            continue
        if name.startswith(_REASONS):
            tree.setdefault("reasons", {})[name.removeprefix(_REASONS)] = clean
            continue
        _plant(tree, name.split("."), _value(name, clean, typed, zone))
    return {key: _lists(value) for key, value in tree.items()}


def closed_up(typed: Mapping[str, str]) -> dict[str, str]:
    """The form with gaps in its lists closed: what stands in the third row, with the second left open, is
    the second of the list, and a problem with it is shown there."""
    rows: dict[str, dict[int, list[str]]] = {}
    for name in typed:
        found = _ROW.match(name.removeprefix(_REASONS))
        if found:
            rows.setdefault(found[1], {}).setdefault(int(found[2]), []).append(name)
    out = dict(typed)
    for base, by_index in rows.items():
        full = [i for i, names in sorted(by_index.items()) if any(_says(typed, name) for name in names)]
        for name in (name for names in by_index.values() for name in names):
            out[name] = ""
        for to, at in enumerate(full):
            for name in by_index[at]:
                head, _, tail = name.partition(f"{base}.{at}")
                out[f"{head}{base}.{to}{tail}"] = typed[name]
    return out


def _says(typed: Mapping[str, str], name: str) -> bool:
    return bool(typed[name].strip()) and not (name.endswith("_unit") and name.removesuffix("_unit") in typed)


def _value(name: str, text: str, typed: Mapping[str, str], zone: str) -> str:
    unit = typed.get(f"{name}_unit", "")
    if unit:
        return with_unit(text, unit)
    if name.rpartition(".")[2] in INSTANTS:
        return local_instant(text, zone)
    return text


def _plant(tree: dict[str, Any], path: list[str], value: str) -> None:
    at = tree
    for step in path[:-1]:
        found = at.setdefault(step, {})
        if not isinstance(found, dict):
            return
        at = found
    at[path[-1]] = value


def _lists(tree: Any) -> Any:
    if not isinstance(tree, dict):
        return tree
    grown = {key: _lists(value) for key, value in tree.items()}
    if grown and all(key.isdigit() for key in grown):
        return [grown[key] for key in sorted(grown, key=int)]
    return grown
