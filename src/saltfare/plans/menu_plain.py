"""Menu problems and plans as plain JSON and back: the same problem always gives the same text."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from fractions import Fraction
from typing import Any

from pydantic import TypeAdapter

from saltfare.plans.menu_program import End
from saltfare.plans.menu_shapes import Goal, MenuProblem, Plan, Value
from saltfare.plans.menu_stages import Effort

_PROBLEM: TypeAdapter[MenuProblem] = TypeAdapter(MenuProblem)
_EFFORT: TypeAdapter[Effort] = TypeAdapter(Effort)


def plain(value: Any) -> Any:
    """A frozen dataclass and all in it as plain JSON; sets in order, fractions as text."""
    if is_dataclass(value):
        return {field.name: plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, Fraction):
        return f"{value.numerator}/{value.denominator}"
    if isinstance(value, frozenset | set):
        return sorted(plain(one) for one in value)
    if isinstance(value, Mapping):
        return {str(key): plain(value[key]) for key in sorted(value)}
    if isinstance(value, tuple | list):
        return [plain(one) for one in value]
    return value


def problem_of(told: Any) -> MenuProblem:
    """The problem of its plain JSON."""
    return _PROBLEM.validate_python(told)


def effort_of(told: Any) -> Effort:
    """The effort of its plain JSON."""
    return _EFFORT.validate_python(told)


def plan_plain(plan: Plan) -> list[list[int]]:
    """A plan as rows of day, sitting, item, person and servings, in order."""
    return sorted([*at, n] for at, n in plan.servings.items())


def plan_of(rows: Any) -> Plan:
    """The plan of its rows."""
    return Plan({(int(d), int(s), int(i), int(p)): int(n) for d, s, i, p, n in rows})


def values_plain(values: tuple[Value, ...]) -> list[list[Any]]:
    """Goals with what they reached and their bounds."""
    return [[value.goal.value, value.reached, value.bound] for value in values]


def values_of(rows: Any) -> tuple[Value, ...]:
    """The goals of their rows."""
    return tuple(Value(Goal(goal), int(reached), float(bound)) for goal, reached, bound in rows)


def end_of(told: str) -> End:
    """How a search ended."""
    return End(told)
