"""How the household's own forecasts turned out, beside what the study of invented pieces found."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import Any

from pydantic import Field

from saltfare.actions.context import Context
from saltfare.actions.piece_work import found
from saltfare.actions.shapes import Output, Query
from saltfare.core import tables
from saltfare.core.fields import Frozen
from saltfare.journal import events_piece as kinds
from saltfare.journal.piece import Entry, PieceState, pieces
from saltfare.plans.forecast import LEVELS
from saltfare.plans.forecast_record import BANDS, Issued, Judged, judged, outcome, stages

TABLE = "calibration"


class RecordGiven(Query):
    """One piece by its code, or all of them."""

    code: str | None = Field(default=None, max_length=40)


class BandRecord(Frozen):
    """How often a band of the ready date held; `open` are not known yet."""

    band: str
    promised_frac: float
    held: int
    missed: int
    open: int


class StageRecord(Frozen):
    """Errors of the date by how far along the pieces were. Late is positive."""

    from_frac: float
    to_frac: float
    count: int
    median_error_s: float | None
    median_size_s: float | None


class ForecastOfRecord(Frozen):
    """A forecast as issued, and how it turned out."""

    code: str
    at: datetime
    early: datetime | None
    likely: datetime | None
    late: datetime | None
    progress_frac: float | None
    error_s: float | None
    held: dict[str, bool | None]


class StudyLine(Frozen):
    """A row of the study of invented pieces: in which world, after how many pieces in the same chamber,
    how far along; how often the bands of the date held; the median error of the date (s), and that of
    a straight line and of the square-root law, which need a weigh-in."""

    id: str
    world: str
    taught: int
    progress_frac: float
    pieces: int
    held_50_frac: float
    held_80_frac: float
    held_95_frac: float
    width_80_s: float
    error_s: float
    line_error_s: float | None
    root_error_s: float | None


class RecordShown(Output):
    """The record: of how many pieces, each band, each quarter of the way, each forecast; and the study."""

    pieces: int
    at_mass: int
    bands: tuple[BandRecord, ...]
    stages: tuple[StageRecord, ...]
    forecasts: tuple[ForecastOfRecord, ...]
    study: tuple[StudyLine, ...]


def forecast_record(context: Context, given: RecordGiven) -> RecordShown:
    """How the forecasts issued turned out, newest first; of one piece, or of all with the study."""
    states = [found(context, given.code)] if given.code else list(pieces(context.journal))
    states = [state for state in states if state.hung and state.target_mass_kg is not None]
    listed = [(state, entry, judge) for state in states for entry, judge in _judged(state)]
    record = [judge for _, _, judge in listed]
    return RecordShown(
        pieces=len({state.code for state, _, _ in listed}),
        at_mass=len({state.code for state, _, judge in listed if judge.progress_frac is not None}),
        bands=tuple(_band(band, record) for band in BANDS),
        stages=tuple(
            StageRecord(**{n: getattr(s, n) for n in StageRecord.model_fields}) for s in stages(record=record)
        ),
        forecasts=tuple(
            ForecastOfRecord(
                code=state.code,
                at=entry.at,
                early=entry.body.ready_early,
                likely=entry.body.ready_at,
                late=entry.body.ready_late,
                progress_frac=judge.progress_frac,
                error_s=judge.error_s,
                held=dict(judge.held),
            )
            for state, entry, judge in sorted(listed, key=lambda one: one[1].at, reverse=True)
        ),
        study=() if given.code else tuple(_study()),
    )


def _judged(state: PieceState) -> Iterator[tuple[Entry[kinds.ForecastIssued], Judged]]:
    """Forecasts issued of a piece since it hung, those of one moment once, the last of them."""
    target, hung = state.target_mass_kg, state.hung[-1]
    if target is None:
        return
    weighed = [(0.0, hung.body.mass.value)]
    weighed += [
        ((e.at - hung.at).total_seconds(), state.comparable_kg(e.body.mass.value, e.at))
        for e in state.weigh_ins
        if e.at > hung.at
    ]
    came = outcome(target_kg=target, weighed=weighed)
    by_moment = {entry.at: entry for entry in state.forecasts if entry.at >= hung.at}
    for at, entry in by_moment.items():
        issued = Issued((at - hung.at).total_seconds(), _quantiles(entry.body, hung.at))
        judge = judged(issued=issued, came=came)
        if judge is not None:
            yield entry, judge


def _quantiles(body: kinds.ForecastIssued, hung_at: datetime) -> dict[float, float | None]:
    """Quantiles kept; forecasts of the first days of the journal kept three."""
    kept: dict[float, datetime | None] = {0.1: body.ready_early, 0.5: body.ready_at, 0.9: body.ready_late}
    told: Any = body.result.get("ready")
    if isinstance(told, dict):
        kept |= {
            level: datetime.fromisoformat(str(text)) if (text := told[f"{level:g}"]) else None
            for level in LEVELS
            if f"{level:g}" in told
        }
    return {level: None if at is None else (at - hung_at).total_seconds() for level, at in kept.items()}


def _band(band: str, record: list[Judged]) -> BandRecord:
    known = [judge.held[band] for judge in record if band in judge.held]
    low, high = BANDS[band]
    return BandRecord(
        band=band,
        promised_frac=high - low,
        held=known.count(True),
        missed=known.count(False),
        open=known.count(None),
    )


def _study() -> Iterator[StudyLine]:
    for row in tables.load(TABLE):
        yield StudyLine(
            id=row.text("id"),
            world=row.text("world"),
            taught=round(row.number("taught")),
            progress_frac=row.number("progress"),
            pieces=round(row.number("pieces")),
            held_50_frac=row.number("held_50"),
            held_80_frac=row.number("held_80"),
            held_95_frac=row.number("held_95"),
            width_80_s=row.number("width_80"),
            error_s=row.number("error"),
            line_error_s=row.number_or_none("line_error"),
            root_error_s=row.number_or_none("root_error"),
        )
