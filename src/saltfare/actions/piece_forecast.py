"""The forecast of a hanging piece: simulated once for its air, re-weighted at every weigh-in, and begun
from what the household's other pieces taught."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from saltfare.actions.context import Context
from saltfare.actions.forecast_kept import forecast_of, plain_of
from saltfare.actions.lessons import Taught, shares, taught
from saltfare.actions.piece_drying import (
    Made,
    Simulated,
    hanging_of,
    horizon_s,
    hung_as,
    made_of,
    simulated,
    weighed_as,
)
from saltfare.core.errors import NotConverged, OutOfRange, Problem, Refused
from saltfare.core.figure import Note
from saltfare.core.tables import Row
from saltfare.jobs import key_of, model_version
from saltfare.journal import events_piece as kinds
from saltfare.journal.learning import learning
from saltfare.journal.piece import PieceState
from saltfare.models.drying import Hanging
from saltfare.plans.forecast import BANDS, LEVELS, Forecast, forecast
from saltfare.plans.forecast_posterior import Belief, WeighIn
from saltfare.plans.forecast_priors import ForecastPriors

__all__ = ["Cast", "Made", "cast", "hanging_of", "issue", "made_of"]


@dataclass(frozen=True, slots=True)
class Cast:
    """A forecast with the instant its times count from, and what it was made of.

    Its masses are of the piece with nothing cut off; `kept_frac` of them is what the scale shows now.
    Its times leave out sealed rests, `rests` so far; `hung_s` is now. taught, belief:
    what it began from, None where no piece taught. key: of all it was made of, by which what rests on it
    is kept.
    """

    forecast: Forecast
    hung_at: datetime
    hung_s: float
    rests: tuple[tuple[datetime, datetime], ...]
    kept_frac: float
    piece: Hanging
    rows: tuple[Row, ...]
    model: str
    run: Simulated
    priors: ForecastPriors
    hanging: WeighIn
    weigh_ins: tuple[WeighIn, ...]
    belief: Belief | None
    taught: Taught
    key: str

    def at(self, time_s: float | None) -> datetime | None:
        """An instant from a time since hanging; None stays None."""
        if time_s is None:
            return None
        at = self.hung_at + timedelta(seconds=time_s)
        for begun, end in self.rests:
            at += end - begun if at > begun else timedelta()
        return at

    @property
    def ready(self) -> tuple[datetime | None, datetime | None, datetime | None]:
        """Ready instants: early and late end of the 80 % interval, and the middle between them."""
        low, high = BANDS["band_80"]
        found = self.forecast.ready_s
        return self.at(found[low]), self.at(found[0.5]), self.at(found[high])


def cast(context: Context, state: PieceState) -> Cast | None:
    """The forecast of a piece as it is known now; None where it does not hang or has no target.

    Raises Refused, OutOfRange, NotConverged where the models do not hold the piece or its air.
    """
    target = state.target_mass_kg
    if not state.hung or target is None:
        return None
    hung = state.hung[-1]
    priors = ForecastPriors.from_library(library=context.library)
    hung_s = state.hanging_s(context.now)
    most_s = context.library.row("hanging_rules", "horizon_most").number("time")
    if hung_s > most_s:
        raise Refused(Problem("hung_too_long", params={"hung_s": hung_s, "most_s": most_s}))
    run = simulated(context, state, priors, until=context.now, horizon_s=horizon_s(context, hung_s))
    known = taught(context, besides=state)
    chamber, cut = shares(state, learning(context.journal))
    belief = known.learned.belief(chamber=chamber, cut=cut) if known.pieces else None
    hanging, weigh_ins = hung_as(context, state), tuple(weighed_as(context, state))
    version = model_version(context.library.version)
    key = key_of(
        action="forecast",
        given=[run.key, repr(hanging), repr(weigh_ins), target, known.key, chamber, cut],
        heads={},
        version=version,
    )
    kept = context.cache.cached(
        key,
        lambda: plain_of(
            forecast(
                ensemble=run.ensemble,
                programme=run.programme,
                hanging=hanging,
                weigh_ins=weigh_ins,
                target_mass_kg=target,
                priors=priors,
                belief=belief,
            )
        ),
    )
    made = forecast_of(kept)
    if known.pieces:
        begun = Note(
            "begun_from_others",
            {
                "pieces": len(known.pieces),
                "in_chamber": known.learned.counts.get(f"chamber {chamber}", 0),
                "of_cut": known.learned.counts.get(f"cut {cut}", 0),
            },
        )
        made = replace(made, notes=(*made.notes, begun))
    return Cast(
        forecast=made,
        hung_at=hung.at,
        hung_s=hung_s,
        rests=state.sealed_rests(context.now),
        kept_frac=state.kept_frac,
        piece=run.piece,
        rows=run.rows,
        model=version,
        run=run,
        priors=priors,
        hanging=hanging,
        weigh_ins=weigh_ins,
        belief=belief,
        taught=known,
        key=key,
    )


def issue(context: Context, state: PieceState, request_id: str | None) -> tuple[str | None, tuple[Note, ...]]:
    """Keep the forecast that follows from what was just recorded: the id of its event, and notes.

    Never raises for a forecast that cannot be made: what was observed is recorded already.
    """
    if not context.forecasts:
        return None, ()
    try:
        made = cast(context, state)
    except (Refused, OutOfRange, NotConverged) as error:
        return None, (Note("no_forecast", {"reason": type(error).__name__}),)
    if made is None:
        return None, ()
    early, middle, late = made.ready
    body = kinds.ForecastIssued(
        model_version=made.model,
        piece_version=state.version,
        air={
            "temp_c": made.forecast.air.temp_c,
            "rh_frac": made.forecast.air.rh_frac,
            "basis": made.forecast.air.basis,
        },
        ready_at=middle,
        ready_early=early,
        ready_late=late,
        result={
            "within_horizon_frac": made.forecast.within_horizon_frac,
            "target_kg": made.forecast.target_mass_kg,
            "taught_by": len(made.taught.pieces),
            # every quantile of the date, so that each band can be held to account
            "ready": {f"{level:g}": _text(made.at(made.forecast.ready_s[level])) for level in LEVELS},
        },
    )
    event = context.journal.append(
        kinds.STREAM + state.code,
        body,
        at=context.now,
        zone=context.settings.zone,
        actor=context.actor,
        recorded_at=context.now,
        request_id=f"{request_id}#forecast" if request_id else None,
    )
    return event.id, made.forecast.notes


def _text(at: datetime | None) -> str | None:
    return None if at is None else at.isoformat()
