"""What is told of a trip: its forms as they stand, and what they send as the actions take it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any

from saltfare.actions.trip_shapes import DayGiven, PersonGiven
from saltfare.core.fields import Measured
from saltfare.faces.units_shown import Shown
from saltfare.faces.web.desk import Desk
from saltfare.faces.web.forms import closed_up, data

SITTINGS = ("breakfast", "move", "supper")
_ROWS = re.compile(r"(\w+)\.(\d+)\.")
MOST_ROWS = 60

# field -> kind and the unit it is shown in for editing, by measures (metric, else)
_UNITS: Mapping[str, tuple[str, str, str]] = {
    "day": ("temperature", "C", "F"),
    "night": ("temperature", "C", "F"),
    "heat": ("temperature", "C", "F"),
    "water_temp": ("temperature", "C", "F"),
    "altitude": ("length", "m", "ft"),
    "walking": ("length", "km", "mi"),
    "ascent": ("length", "m", "ft"),
    "descent": ("length", "m", "ft"),
    "time": ("time", "h", "h"),
    "camp": ("time", "h", "h"),
    "paddling": ("time", "h", "h"),
    "snow": ("time", "h", "h"),
    "load_share": ("fraction", "%", "%"),
    "height": ("length", "cm", "in"),
    "mass": ("mass", "kg", "lb"),
    "ration": ("energy", "kcal", "kcal"),
    "pot": ("volume", "l", "l"),
    "snow_share": ("fraction", "%", "%"),
    "volume": ("volume", "l", "l"),
    "fuel": ("mass", "g", "oz"),
    "ration_share": ("fraction", "%", "%"),
    "pack": ("mass", "g", "oz"),
    "portion": ("mass", "g", "oz"),
    "tare": ("mass", "g", "oz"),
    "water": ("volume", "ml", "ml"),
}


def units_for(shown: Shown) -> dict[str, str]:
    """The unit each field is asked in."""
    metric = shown.measures == "metric"
    return {name: (si if metric else us) for name, (_, si, us) in _UNITS.items()}


def typed_of(shown: Shown, told: Any, at: str = "") -> dict[str, str]:
    """What stands in the controls of a model as it was told: dotted paths to text."""
    units, out = units_for(shown), {}
    for name in type(told).model_fields:
        value, path = getattr(told, name), f"{at}{name}"
        if isinstance(value, Measured):
            if name in _UNITS:
                out[path] = shown.typed(value.value, _UNITS[name][0], units[name])
            else:
                out[path] = shown.number(value.value, 0).replace("\u202f", "")
        elif isinstance(value, bool):
            out[path] = "true" if value else ""
        elif isinstance(value, tuple):
            for index, one in enumerate(value):
                if hasattr(type(one), "model_fields"):
                    out |= typed_of(shown, one, f"{path}.{index}.")
                else:
                    out[f"{path}.{index}"] = str(one)
        elif hasattr(type(value), "model_fields"):
            out |= typed_of(shown, value, f"{path}.")
        elif value is not None and not isinstance(value, dict):
            out[path] = value.isoformat() if hasattr(value, "isoformat") else str(value)
    return out


def days_typed(shown: Shown, days: tuple[Any, ...]) -> dict[str, str]:
    """The days as they stand in the form: each sitting is a tick of its own."""
    out: dict[str, str] = {}
    for index, day in enumerate(days):
        row = typed_of(shown, day, f"days.{index}.")
        out |= {k: v for k, v in row.items() if ".sittings." not in k}
        for sitting in day.sittings:
            out[f"_sit.{index}.{sitting.name}"] = "true"
            out[f"_hot.{index}.{sitting.name}"] = "true" if sitting.stove else ""
    return out


def fresh_day(index: int) -> dict[str, str]:
    """What a new day starts with: three sittings, a stove for the first and the last."""
    out = {f"_sit.{index}.{name}": "true" for name in SITTINGS}
    out[f"days.{index}.terrain"] = DayGiven().terrain  # as where nothing is said, not the first of a list
    return out | {f"_hot.{index}.{name}": "true" for name in ("breakfast", "supper")}


def fresh_person(index: int) -> dict[str, str]:
    """What a new person starts with: nothing but how they live where nothing is said."""
    level = PersonGiven.model_fields["level"].default
    return {f"people.{index}.name": "", f"people.{index}.level": str(level)}


def days_given(desk: Desk, typed: Mapping[str, str]) -> list[dict[str, Any]]:
    """The days as the action takes them. A day marked as the one before it takes over what that one is."""
    out: list[dict[str, Any]] = []
    for index in range(rows_of(typed, "days", "_sit", "_same", "_hot")):
        if typed.get(f"_gone.{index}") == "true":
            continue
        own = {k.split(".", 2)[2]: v for k, v in typed.items() if k.startswith(f"days.{index}.")}
        day = data(own, zone=desk.context.settings.zone)
        if typed.get(f"_same.{index}") == "true" and out:
            out.append({**out[-1], **{k: day[k] for k in ("spare", "resupply") if k in day}})
            continue
        sittings = []
        for name in SITTINGS:
            if typed.get(f"_sit.{index}.{name}") == "true":
                hot = typed.get(f"_hot.{index}.{name}") == "true"
                sittings.append({"name": name, "stove": hot, "main": name != "move"})
        out.append({**day, "sittings": sittings})
    return out


def people_given(desk: Desk, typed: Mapping[str, str]) -> list[dict[str, Any]]:
    """The party as the action takes it; ingredients somebody leaves out are typed with commas between."""
    people = []
    given = data(closed_up(typed), zone=desk.context.settings.zone).get("people", [])
    for index, person in enumerate(given):
        if set(person) <= {"level", "sex"}:
            continue  # a row nobody filled
        words = typed.get(f"_words.{index}", "")
        eats = person.pop("eats_no", {})
        eats["ingredients"] = [w.strip() for w in words.split(",") if w.strip()]
        people.append({**person, "eats_no": eats})
    return people


def rows_of(typed: Mapping[str, str], *bases: str) -> int:
    """How many rows a list in a form has."""
    found = (_ROWS.match(f"{name}.") for name in typed)
    return min(1 + max((int(m[2]) for m in found if m and m[1] in bases), default=-1), MOST_ROWS)


def listed(desk: Desk, typed: Mapping[str, str], base: str, *, needs: str) -> list[dict[str, Any]]:
    """The rows of a list in which one field is filled."""
    given = data(closed_up(typed), zone=desk.context.settings.zone).get(base, [])
    return [row for row in given if isinstance(row, dict) and row.get(needs)]


def pairs(codes: Iterator[Any]) -> list[tuple[str, str]]:
    """Choices as a list of controls takes them."""
    return [(one.id, one.label) for one in codes]
