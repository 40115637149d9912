"""Input fields made from the glossary: what is typed is parsed once, here, and kept as typed.

    green_weight: Annotated[Measured, Quantity("green_weight")]

takes "2.34 kg", "5 lb 3 oz" or a plain SI number, refuses what is impossible, and leaves what is
merely implausible to `implausible`, which the caller weighs against the reasons given.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, get_args, get_origin

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    ValidationError,
)
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from saltfare.core.errors import Problem, Refused
from saltfare.core.glossary import Entry, entry
from saltfare.core.units import KINDS, number, parse, spellings


class Frozen(BaseModel):
    """Base of every model that crosses a border: nothing unknown, no NaN, never changed after."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Measured(Frozen):
    """An observation: as typed and as parsed (SI)."""

    typed: str
    value: float

    @classmethod
    def si(cls, value: float) -> Measured:
        """A value that was given as a plain SI number."""
        return cls(typed=f"{value:.12g}", value=value)


@dataclass(frozen=True, slots=True)
class Quantity:
    """Marks a `Measured` field as the glossary quantity `name`."""

    name: str

    @property
    def entry(self) -> Entry:
        """Its glossary entry."""
        return entry(self.name)

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Parse before, check the possible range after."""
        return core_schema.with_info_plain_validator_function(
            self._read, serialization=core_schema.plain_serializer_function_ser_schema(_plain)
        )

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """A string with a unit or a plain SI number, described by the glossary."""
        found = self.entry
        out: JsonSchemaValue = {
            "anyOf": [{"type": "string", "maxLength": 64}, {"type": "number"}],
            "title": found.label,
            "description": found.meaning,
            "x-quantity": self.name,
            "x-kind": found.kind,
        }
        if found.kind in KINDS:
            out["x-units"] = list(spellings(found.kind))
        if found.possible:
            out["x-possible"] = list(found.possible)
        if found.plausible:
            out["x-plausible"] = list(found.plausible)
        return out

    def _read(self, given: Any, info: core_schema.ValidationInfo) -> Measured:
        found = self.entry
        context: Mapping[str, Any] = info.context or {}
        if isinstance(given, Measured):
            measured = given
        elif isinstance(given, bool) or not isinstance(given, str | int | float):
            # not even a typed/value pair: only the parser says what a text is worth
            raise _error(Problem("not_a_quantity", given=repr(given)[:64], allowed=_allowed(found)))
        elif isinstance(given, str):
            measured = Measured(typed=given, value=_parsed(given, found, context))
        else:
            measured = Measured.si(_finite(given, found))
        if found.possible and not found.possible[0] <= measured.value <= found.possible[1]:
            raise _error(
                Problem(
                    "impossible",
                    given=measured.typed,
                    params={
                        "quantity": self.name,
                        "kind": found.kind,
                        "low": found.possible[0],
                        "high": found.possible[1],
                    },
                )
            )
        return measured


def _finite(given: float, found: Entry) -> float:
    try:
        value = float(given)
    except OverflowError:
        value = math.inf
    if not math.isfinite(value):
        raise _error(Problem("not_a_quantity", given=repr(given)[:64], allowed=_allowed(found)))
    return value


def _parsed(given: str, found: Entry, context: Mapping[str, Any]) -> float:
    decimal = context.get("decimal", "point")
    try:
        if found.kind not in KINDS:  # a plain number: water activity, pH, a count
            return float(number(given, decimal=decimal))
        return parse(
            given,
            found.kind,
            decimal=decimal,
            measures=context.get("measures", "metric"),
        )
    except Refused as refused:
        raise _error(refused.problems[0]) from None


def _allowed(found: Entry) -> str:
    return ", ".join(spellings(found.kind)) if found.kind in KINDS else found.kind


def _plain(value: Any) -> Any:
    return value.model_dump() if isinstance(value, Measured) else value


def _error(problem: Problem) -> PydanticCustomError:
    return PydanticCustomError("problem", "{code}", {"code": problem.code, "problem": problem})


# marks that turn the direction of what follows them, beyond the name they stand in
_TURNING = frozenset({"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"})


def one_line(text: str) -> str:
    """What can be seen of a text, on one line; empty where nothing can."""
    kept = (
        ch
        for ch in text
        if ch.isspace()
        or (unicodedata.category(ch) != "Cc" and unicodedata.bidirectional(ch) not in _TURNING)
    )
    clean = " ".join("".join(kept).split())
    return clean if any(ch.isprintable() for ch in clean.replace(" ", "")) else ""


def _called(text: str) -> str:
    clean = one_line(text)
    if not clean:
        raise _error(Problem("empty"))
    return clean


Called = Annotated[str, Field(min_length=1, max_length=80), AfterValidator(_called)]
"""What a person calls something: one line that can be seen, read and printed."""

CalledLong = Annotated[str, Field(min_length=1, max_length=120), AfterValidator(_called)]
"""The same of what is printed on a label, which may be longer."""

MayBeCalled = Annotated[str, Field(max_length=120), AfterValidator(one_line)]
"""The same where nothing need be said: empty where there is nothing to read."""

_PYDANTIC_CODES = {
    "missing": "missing",
    "extra_forbidden": "unknown_field",
    "enum": "not_one_of",
    "literal_error": "not_one_of",
    "string_too_long": "too_long",
    "string_too_short": "empty",
    "too_long": "too_many",
    "too_short": "too_few",
    "finite_number": "not_a_quantity",
    "json_invalid": "not_json",
}


def problems_of(error: ValidationError) -> tuple[Problem, ...]:
    """What a failed validation says, as problems with dotted field paths."""
    out = []
    for one in error.errors(include_url=False):
        path = ".".join(str(part) for part in one["loc"])
        context = one.get("ctx", {})
        own = context.get("problem")
        if isinstance(own, Problem):
            out.append(Problem(own.code, path, own.given, own.allowed, own.params))
            continue
        given = "" if one["type"] == "missing" else repr(one["input"])[:64]
        allowed = _allowed_by(one["type"], context)
        out.append(Problem(_PYDANTIC_CODES.get(one["type"], "not_usable"), path, given, allowed))
    return tuple(out)


# what such a field takes, as it would be typed
_TYPED_AS = {"int": "1, 2, 3", "date": "2026-09-12", "datetime": "2026-09-12T08:00Z", "time": "21:30"}
_TYPED_AS |= {"timezone": "2026-09-12T08:00Z", "bool": "true, false"}
_BOUNDS = {"ge": "≥", "gt": ">", "le": "≤", "lt": "<"}


def _allowed_by(kind: str, context: Mapping[str, Any]) -> str:
    for name in ("expected", "max_length", "min_length"):
        if name in context:
            return str(context[name])
    for name, sign in _BOUNDS.items():
        if name in context:
            return f"{sign} {context[name]}"
    return _TYPED_AS.get(kind.partition("_")[0], "")


def implausible(model: BaseModel, prefix: str = "") -> Iterator[Problem]:
    """The fields that hold a possible but unusual value, as problems with dotted paths."""
    for name, info in type(model).model_fields.items():
        value = getattr(model, name)
        path = f"{prefix}{name}"
        if isinstance(value, Measured):
            for mark in _marks(info.metadata, info.annotation):
                yield from _unusual(mark, value, path)
        elif isinstance(value, BaseModel):
            yield from implausible(value, f"{path}.")
        elif isinstance(value, list | tuple):
            for index, item in enumerate(value):
                if isinstance(item, BaseModel):
                    yield from implausible(item, f"{path}.{index}.")


def _marks(metadata: Iterable[Any], annotation: Any) -> Iterator[Quantity]:
    """The marks of a field, also where it is `Annotated[Measured, Quantity(...)] | None`."""
    yield from (mark for mark in metadata if isinstance(mark, Quantity))
    for part in get_args(annotation):
        if get_origin(part) is Annotated:
            yield from (mark for mark in part.__metadata__ if isinstance(mark, Quantity))


def _unusual(mark: Quantity, value: Measured, path: str) -> Iterator[Problem]:
    span = mark.entry.plausible
    if span and not span[0] <= value.value <= span[1]:
        yield Problem(
            "implausible",
            path,
            value.typed,
            params={
                "quantity": mark.name,
                "kind": mark.entry.kind,
                "low": span[0],
                "high": span[1],
                "reason_for": path,
            },
        )
