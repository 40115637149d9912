"""Whatever people call anything, in any command: one line that can be seen, read and printed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any, get_args

import pytest
from pydantic import BaseModel, TypeAdapter, ValidationError
from pydantic.fields import FieldInfo

from saltfare.actions.registry import ACTIONS

NAMES = frozenset({"name", "place", "partner", "receiver", "maker", "who", "other_name"})
# what somebody chose from a list, not what they call something
_CHOSEN = ("Literal", "SittingName")


def _models(found: Any) -> Iterator[type[BaseModel]]:
    if isinstance(found, type) and issubclass(found, BaseModel):
        yield found
        for info in found.model_fields.values():
            yield from _models(info.annotation)
    for part in get_args(found):
        yield from _models(part)


def _named() -> dict[str, FieldInfo]:
    out = {}
    for action in ACTIONS:
        if action.kind != "command":
            continue
        for model in _models(action.Input):
            for field, info in model.model_fields.items():
                texts = info.annotation is str or str in get_args(info.annotation)
                if field in NAMES and texts and not any(one in str(info.annotation) for one in _CHOSEN):
                    out[f"{model.__name__}.{field}"] = info
    return out


FIELDS = _named()


def test_the_names_of_every_part_are_looked_at() -> None:
    models = {path.split(".")[0] for path in FIELDS}
    assert models >= {"StartDishGiven", "PlanTripGiven", "PersonGiven", "AddBoughtGiven", "KeepFoodGiven"}
    assert len(FIELDS) > 15


@pytest.mark.parametrize("path", sorted(FIELDS))
def test_a_name_is_one_line_that_can_be_seen(path: str) -> None:
    """Direction marks, line ends and control characters fall away; markup of page and layout stays text."""
    info = FIELDS[path]
    adapter = TypeAdapter(Annotated[info.annotation, *info.metadata])  # type: ignore[name-defined]
    assert adapter.validate_python(" a\n\u202eb\x00 \t") == "a b"
    for kept in ("<b>x</b>", "#strong[x] $x$ {{ x }}", "سمك", "🥕", "ž"):
        assert adapter.validate_python(kept) == kept
    for blank in ("\n", " \u202e ", "\u200b"):
        try:
            assert adapter.validate_python(blank) == ""
        except ValidationError as error:
            assert error.errors()[0]["type"] in ("problem", "string_too_short")
