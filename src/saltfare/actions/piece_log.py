"""What has happened to a piece, line by line: what counts, and what was taken back."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from datetime import datetime
from typing import Any

from saltfare.actions.context import Context
from saltfare.core.fields import Frozen, Measured
from saltfare.journal import events_piece as kinds
from saltfare.journal.events import Body, Corrected
from saltfare.journal.fold import Fact, effective, withdrawn
from saltfare.journal.piece import PieceState


class LogLine(Frozen):
    """One thing that happened, as it counts now; with `withdrawn_by`, as it counted until it was taken
    back, and by which record: taking that one back restores it."""

    event_id: str
    kind: str
    at: datetime
    recorded_at: datetime
    params: dict[str, str]
    reasons: dict[str, str]
    corrected: bool
    withdrawable: bool
    withdrawn_by: str | None = None
    withdrawn_at: datetime | None = None
    withdrawn_why: str = ""


_Told = dict[str, Measured | str | None]
_TOLD: dict[str, Callable[[Any], _Told]] = {
    "started": lambda b: {"green_weight": b.green_weight},
    "salted": lambda b: {"salt": b.salt, "mix": b.mix, "sugar": b.sugar},
    "drained": lambda b: {"liquid": b.liquid, "liquid_salt": b.salt},
    "washed": lambda b: {"mass": b.mass},
    "rest_begun": lambda b: {
        "place": b.place,
        "temperature": b.temperature,
        "sealed": "yes" if b.sealed else "no",
    },
    "rest_ended": lambda b: {"mass": b.mass},
    "shaped": lambda b: {"how": b.how, "thickness": b.thickness},
    "injected": lambda b: {"brine": b.brine, "brine_salt": b.salt, "brine_nitrite": b.nitrite},
    "smoked": lambda b: {
        "how": b.how,
        "lasted": b.lasted,
        "temperature": b.temperature,
        "core": b.core,
    },
    "hung": lambda b: {"mass": b.mass, "chamber": b.chamber},
    "weighed": lambda b: {"mass": b.mass},
    "tasted": lambda b: {"before": b.before, "after": b.after},
    "cut_in_two": lambda b: {"parts": _parts(b.parts)},
    "split_off": lambda b: {"parent": b.parent, "mass": b.mass},
    "tied_into": lambda b: {"into": b.code, "mass": b.mass},
    "tied_together": lambda b: {"parts": _parts(b.parts)},
    "tare_changed": lambda b: {"tare": b.tare},
    "looked": lambda b: {
        "mould": ",".join(b.mould) or None,
        "smell": b.smell,
        "soft_spot": "yes" if b.soft_spot else None,
        "slime": "yes" if b.slime else None,
        "photo": b.photo or None,
        "text": b.text or None,
    },
    "discarded": lambda b: {"why": b.why, "mass": b.mass},
    "taken_down": lambda b: {"mass": b.mass, "trim": b.trim, "lots": ", ".join(b.lots) or None},
    "noted": lambda b: {"text": b.text},
}


def _parts(parts: Mapping[str, Measured]) -> str:
    return ", ".join(f"{code} {mass.typed}" for code, mass in parts.items())


def log_of(context: Context, state: PieceState) -> tuple[LogLine, ...]:
    """What happened, newest first; forecasts have a list of their own."""
    events = context.journal.events(kinds.STREAM + state.code)
    by_id = {event.id: event for event in events}
    out = [_line(fact) for fact in _of_people(effective(events))]
    for fact in _of_people(withdrawn(events)):
        back = by_id[fact.corrected_by or ""]
        why = back.body.reason if isinstance(back.body, Corrected) else ""
        gone = {"corrected": False, "withdrawable": False, "withdrawn_by": back.id}
        out.append(
            _line(fact).model_copy(update={**gone, "withdrawn_at": back.recorded_at, "withdrawn_why": why})
        )
    out.sort(key=lambda line: (line.at, line.recorded_at))
    out.reverse()  # so that of one moment, too, the later recorded comes first
    return tuple(out)


def _of_people(facts: Iterable[Fact]) -> list[Fact]:
    return [f for f in facts if not isinstance(f.body, Corrected | kinds.ForecastIssued)]


def _line(fact: Fact) -> LogLine:
    told = _told(fact.event.kind, fact.body)
    return LogLine(
        event_id=fact.event.id,
        kind=fact.event.kind,
        at=fact.at,
        recorded_at=fact.event.recorded_at,
        params={
            name: value.typed if isinstance(value, Measured) else value
            for name, value in told.items()
            if value is not None
        },
        reasons=dict(fact.body.reasons),
        corrected=fact.corrected_by is not None,
        withdrawable=fact.event.kind != "started",
    )


def _told(kind: str, body: Body) -> _Told:
    found = _TOLD.get(kind)
    return found(body) if found else {}
