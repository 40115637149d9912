"""How forecasts turned out: each as issued against when the piece came to its mass.

A piece that is not yet at its mass tells too: a forecast whose interval is over has missed. Leaving
such pieces out would flatter the forecasts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median

# name of a band -> the quantiles at its ends
BANDS: Mapping[str, tuple[float, float]] = {
    "band_50": (0.25, 0.75),
    "band_80": (0.1, 0.9),
    "band_95": (0.025, 0.975),
}
STAGES = ((0.0, 0.25), (0.25, 0.5), (0.5, 0.75), (0.75, 1.0))


@dataclass(frozen=True, slots=True)
class Issued:
    """A forecast as it was issued; times from hanging.

    ready_s: quantile -> time, None beyond the horizon; a quantile that was not kept is not there.
    """

    at_s: float
    ready_s: Mapping[float, float | None]


@dataclass(frozen=True, slots=True)
class Outcome:
    """When a piece came to its mass, None while it has not; it was known not to be at it until `above_s`."""

    reached_s: float | None
    above_s: float


@dataclass(frozen=True, slots=True)
class Judged:
    """A forecast beside its outcome. progress_frac: how far along the piece was; error_s: the middle of
    the forecast less the outcome, late is positive; both None while it is open or was not given.
    held: band -> whether it held; None where that is not known yet.
    """

    progress_frac: float | None
    error_s: float | None
    held: Mapping[str, bool | None]


@dataclass(frozen=True, slots=True)
class Stage:
    """Errors of the date by how far along the pieces were; None where there are none."""

    from_frac: float
    to_frac: float
    count: int
    median_error_s: float | None
    median_size_s: float | None


def outcome(*, target_kg: float, weighed: Sequence[tuple[float, float]]) -> Outcome:
    """When a piece came to its mass, from its weighings in order of time, hanging among them.

    Between the last weighing above the target and the next, by a straight line.

    Parameters
    ----------
    target_kg : mass to reach [kg]
    weighed : time from hanging [s] and mass [kg]

    Source
    ------
    saltfare_derived, linear interpolation
    """
    above = [i for i, (_, mass) in enumerate(weighed) if mass > target_kg]
    if not above:
        return Outcome(0.0, 0.0)
    last = above[-1]
    t0, m0 = weighed[last]
    if last + 1 == len(weighed):
        return Outcome(None, t0)
    t1, m1 = weighed[last + 1]
    return Outcome(t0 + (t1 - t0) * (m0 - target_kg) / (m0 - m1), t0)


def judged(*, issued: Issued, came: Outcome) -> Judged | None:
    """A forecast beside what came; None for one issued when the piece was at its mass already.

    Source
    ------
    saltfare_derived, interval against outcome
    """
    reached = came.reached_s
    if reached is not None and issued.at_s >= reached:
        return None
    held: dict[str, bool | None] = {}
    for band, (low, high) in BANDS.items():
        if low not in issued.ready_s or high not in issued.ready_s:
            continue
        early, late = issued.ready_s[low], issued.ready_s[high]
        if reached is not None:
            held[band] = early is not None and early <= reached and (late is None or reached <= late)
        else:
            held[band] = False if late is not None and late < came.above_s else None
    if reached is None:
        return Judged(None, None, held)
    middle = issued.ready_s.get(0.5)
    return Judged(issued.at_s / reached, None if middle is None else middle - reached, held)


def stages(*, record: Iterable[Judged]) -> tuple[Stage, ...]:
    """Errors by quarter of the way.

    Source
    ------
    saltfare_derived, medians
    """
    known = [(j.progress_frac, j.error_s) for j in record if j.error_s is not None]
    out = []
    for low, high in STAGES:
        errors = [e for p, e in known if p is not None and e is not None and low <= p < high]
        out.append(
            Stage(
                low,
                high,
                len(errors),
                median(errors) if errors else None,
                median(abs(e) for e in errors) if errors else None,
            )
        )
    return tuple(out)
