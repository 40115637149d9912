"""A forecast as plain JSON and back, so that it is made once however often it is looked at."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from saltfare.actions.piece_drying import packed, unpacked
from saltfare.core.figure import Note
from saltfare.plans.forecast import Forecast, Multiplier, WeighInSeen
from saltfare.plans.forecast_air import AssumedAir

_ARRAYS = ("time_s", "mass_kg", "ready_frac", "crust_frac")


def plain_of(made: Forecast) -> dict[str, Any]:
    """The forecast as JSON can hold it."""
    rest = {name: value for name, value in asdict(made).items() if name not in (*_ARRAYS, "ready_s")}
    rest["notes"] = [_plain_note(note) for note in made.notes]
    rest["weigh_ins"] = [
        {**asdict(one), "notes": [_plain_note(note) for note in one.notes]} for one in made.weigh_ins
    ]
    return {
        **rest,
        "arrays": packed({name: getattr(made, name) for name in _ARRAYS}),
        "ready_s": [[level, time] for level, time in made.ready_s.items()],
    }


def forecast_of(plain: dict[str, Any]) -> Forecast:
    """The same forecast again."""
    rest = {k: v for k, v in plain.items() if k not in ("arrays", "ready_s")}
    return Forecast(
        **{
            **rest,
            **unpacked(plain["arrays"]),
            "ready_s": dict(plain["ready_s"]),
            "diffusivity": Multiplier(**plain["diffusivity"]),
            "resistance": Multiplier(**plain["resistance"]),
            "weigh_ins": tuple(
                WeighInSeen(**{**one, "notes": _notes(one["notes"])}) for one in plain["weigh_ins"]
            ),
            "air": AssumedAir(**plain["air"]),
            "notes": _notes(plain["notes"]),
        }
    )


def _plain_note(note: Note) -> dict[str, Any]:
    return {"code": note.code, "params": dict(note.params)}


def _notes(plain: list[dict[str, Any]]) -> tuple[Note, ...]:
    return tuple(Note(one["code"], one["params"]) for one in plain)
