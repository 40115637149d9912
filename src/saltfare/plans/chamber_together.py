"""Several pieces of different age in one chamber: which air from today on brings all of them to their mass by
a day with their crusts below a limit.

The water they give off together is held against what the chamber takes away. Where it is more, the air
gets wetter until both are equal, and the pieces are dried again in that air. Two courses stand for each
piece: the likeliest for its date and what it gives off, one that closes easily for its crust.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from saltfare.models.drying import Air, Drying, DryingParameters, Hanging, Members, hang
from saltfare.models.sorption import ProteinIsotherm
from saltfare.plans.chamber_changes import Kind
from saltfare.plans.forecast_air import AirProgramme

Floats = NDArray[np.float64]
DAY_S = 86400.0
_DRIEST, _WETTEST = 0.10, 0.995
_ROUNDS = 8
_STILL_FRAC = 2e-3  # humidity that no longer moves
_SPELL_S = 2 * DAY_S  # stretches of air ahead


@dataclass(frozen=True, slots=True, kw_only=True)
class HangsHere:
    """A piece as its forecast has it. programme: its air so far and as assumed. now_s: since it was hung."""

    code: str
    piece: Hanging
    programme: AirProgramme
    speed_m_per_s: float
    likeliest: Kind
    closes_easily: Kind
    target_mass_kg: float
    now_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Regime:
    """Air from now on: one humidity for a time, another then; None for the temperature leaves it. rest_s:
    pieces of `resting` lie sealed in the cold so long first."""

    rh_first_frac: float
    rh_then_frac: float
    first_s: float
    temp_c: float | None = None
    rest_s: float = 0.0
    rest_temp_c: float | None = None
    resting: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class Fate:
    """What a regime does to a piece. ready_s: from now, None beyond what is looked at. crust_m: the deepest
    of one that closes easily, from when the air has settled until the likeliest is at its mass."""

    code: str
    ready_s: float | None
    crust_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What a regime does to all. day_s (n,): ends of the stretches from now. given_off_kg_per_s (n,): by all
    likeliest pieces. rh_frac (n,): the humidity that is held, where they give off more than is taken away
    above what was meant. over_s: for how long that is."""

    regime: Regime
    fates: tuple[Fate, ...]
    day_s: Floats
    given_off_kg_per_s: Floats
    rh_frac: Floats
    over_s: float

    def late(self, *, by_s: float) -> int:
        """How many pieces are not at their mass by then."""
        return sum(one.ready_s is None or one.ready_s > by_s for one in self.fates)

    def crusted(self, *, limit_m: float) -> int:
        """How many pieces would have a crust deeper than that, should they close easily."""
        return sum(one.crust_m > limit_m for one in self.fates)


def outcomes(
    *,
    pieces: Sequence[HangsHere],
    regimes: Sequence[Regime],
    horizon_s: float,
    settles_s: float,
    takes_away_kg_per_s: float | None,
    sealed_s_per_m: float,
    parameters: DryingParameters,
    protein: ProteinIsotherm,
) -> tuple[Outcome, ...]:
    """What each regime does to all pieces together; one run a piece and round for all regimes.

    Parameters
    ----------
    pieces : sequence of HangsHere
    regimes : sequence of Regime
    horizon_s : how far from now is looked [s]
    settles_s : after that, or after a rest, a crust is judged [s]
    takes_away_kg_per_s : water the chamber can carry off; None where nobody told
    sealed_s_per_m : resistance of a sealed bag [s/m]
    parameters, protein : of the drying model

    Raises
    ------
    OutOfRange, NotConverged
        From the model.

    Source
    ------
    saltfare_chosen, two courses of each posterior; water given off equals water taken away
    """
    spells = max(int(np.ceil(horizon_s / _SPELL_S)), 1)
    ends = np.minimum(_SPELL_S * np.arange(1, spells + 1), horizon_s)
    for rest in {r.rest_s for r in regimes} | {r.first_s for r in regimes}:
        if 0 < rest < horizon_s:
            ends = np.unique(np.append(ends, rest))
    begins = np.append(0.0, ends[:-1])
    meant = np.array(
        [np.where(begins < r.rest_s + r.first_s, r.rh_first_frac, r.rh_then_frac) for r in regimes]
    ).T
    held = meant.copy()
    width = np.diff(np.append(0.0, ends))
    runs: list[Drying] = []
    given = np.zeros_like(held)
    for _ in range(_ROUNDS if takes_away_kg_per_s is not None else 1):
        runs = [_dried(one, regimes, ends, held, sealed_s_per_m, parameters, protein) for one in pieces]
        given, surface = _given_off(pieces, regimes, runs, ends, width, begins)
        if takes_away_kg_per_s is None:
            break
        over = given > takes_away_kg_per_s
        # what a piece gives off goes with its surface's activity less the humidity of the air
        drive = np.maximum(surface - held, 1e-3)
        wetter = np.where(over, surface - drive * takes_away_kg_per_s / np.maximum(given, 1e-12), held)
        # what no longer needs it goes back towards what was meant
        back = np.where(over | (held <= meant), wetter, np.maximum(meant, held - 0.5 * (held - meant)))
        back = np.where(back > _WETTEST, _WETTEST, np.where(back < meant, meant, back))
        still = float(np.abs(back - held).max())
        held = back
        if still < _STILL_FRAC:
            break
    out = []
    for i, regime in enumerate(regimes):
        fates = tuple(
            _fate(one, run, i, len(regimes), regime, settles_s) for one, run in zip(pieces, runs, strict=True)
        )
        out.append(
            Outcome(
                regime=regime,
                fates=fates,
                day_s=ends,
                given_off_kg_per_s=given[:, i],
                rh_frac=held[:, i],
                over_s=float(width[held[:, i] > meant[:, i] + 0.005].sum()),
            )
        )
    return tuple(out)


def best_of(*, found: Sequence[Outcome], as_it_is: Outcome, by_s: float, limit_m: float) -> Outcome:
    """The regime that leaves fewest pieces with too deep a crust, then fewest late, and of those the one
    nearest to the air as it is.

    Parameters
    ----------
    found : outcomes of the regimes tried
    as_it_is : of leaving it alone
    by_s : the day wanted, from now [s]
    limit_m : crust that is not to be passed [m]

    Source
    ------
    saltfare_chosen, crusts before dates, dates before change
    """

    def cost(one: Outcome) -> tuple[float, ...]:
        usual, own = as_it_is.regime, one.regime
        moved = abs(own.rh_first_frac - usual.rh_first_frac) + abs(own.rh_then_frac - usual.rh_then_frac)
        moved += (
            0.02 * abs((own.temp_c or 0.0) - (usual.temp_c or 0.0)) if own.temp_c and usual.temp_c else 0.0
        )
        moved += 0.05 * bool(own.resting)
        return one.crusted(limit_m=limit_m), one.late(by_s=by_s), moved

    return min((as_it_is, *found), key=cost)


def _dried(
    one: HangsHere,
    regimes: Sequence[Regime],
    ends: Floats,
    held: Floats,
    sealed: float,
    parameters: DryingParameters,
    protein: ProteinIsotherm,
) -> Drying:
    """A piece through its own past into each regime; members: all likeliest, then all that close easily."""
    count = len(regimes)
    past = one.programme
    before = past.end_time_s < one.now_s
    end_s = np.concatenate([past.end_time_s[before], [one.now_s], one.now_s + ends])
    known = np.searchsorted(past.end_time_s, [*past.end_time_s[before], one.now_s])
    rows = known.size
    temp = np.full((end_s.size, count), past.assumed.temp_c)
    rh = np.empty((end_s.size, count))
    temp[:rows] = past.temp_c[known][:, None]
    rh[:rows] = past.rh_frac[known][:, None]
    rh[rows:] = held
    casing = np.full((end_s.size, count), one.piece.casing_resistance_s_per_m)
    begins = np.append(0.0, ends[:-1])
    for i, regime in enumerate(regimes):
        if regime.temp_c is not None:
            temp[rows:, i] = regime.temp_c
        if one.code in regime.resting:
            lies = rows + np.flatnonzero(begins < regime.rest_s)
            casing[lies, i] = sealed
            if regime.rest_temp_c is not None:
                temp[lies, i] = regime.rest_temp_c
    rh = np.where(rh < _DRIEST, _DRIEST, np.where(rh > _WETTEST, _WETTEST, rh))
    speed = np.full((end_s.size, count), one.speed_m_per_s)
    kinds = (one.likeliest, one.closes_easily)
    return hang(
        piece=one.piece,
        air=Air(end_s, *(np.tile(told, 2) for told in (temp, rh, speed, casing))),
        members=Members(
            np.repeat([kind.diffusivity for kind in kinds], count),
            np.repeat([kind.resistance for kind in kinds], count),
        ),
        parameters=parameters,
        protein=protein,
        out_time_s=np.append(one.now_s, one.now_s + ends),
    )


def _given_off(
    pieces: Sequence[HangsHere],
    regimes: Sequence[Regime],
    runs: Sequence[Drying],
    ends: Floats,
    width: Floats,
    begins: Floats,
) -> tuple[Floats, Floats]:
    """Water given off to the chamber (spells, regimes) and the activity of the surfaces, weighed by it; what
    is at its mass is taken down, what lies sealed gives nothing off."""
    count = len(regimes)
    total, weighed = np.zeros((ends.size, count)), np.zeros((ends.size, count))
    for one, run in zip(pieces, runs, strict=True):
        mass = run.mass_kg[:, :count]
        lost = np.maximum(mass[:-1] - mass[1:], 0.0) / width[:, None]
        hangs = mass[:-1] > one.target_mass_kg
        for i, regime in enumerate(regimes):
            if one.code in regime.resting:
                hangs[:, i] &= begins >= regime.rest_s
        rate = lost * hangs
        total += rate
        weighed += rate * 0.5 * (run.aw_surface[:-1, :count] + run.aw_surface[1:, :count])
    surface = np.where(total > 0, weighed / np.maximum(total, 1e-15), 1.0)
    return total, surface


def _fate(one: HangsHere, run: Drying, i: int, count: int, regime: Regime, settles_s: float) -> Fate:
    time = run.time_s - one.now_s
    ready = _reached(time, run.mass_kg[:, i], one.target_mass_kg)
    judged = (regime.rest_s if one.code in regime.resting else 0.0) + settles_s
    until = time[-1] if ready is None else max(ready, judged)
    within = (time >= min(judged, time[-1])) & (time <= until)
    crust = run.crust_m[:, count + i]
    deepest = float(crust[within].max()) if within.any() else float(crust[-1])
    return Fate(code=one.code, ready_s=ready, crust_m=deepest)


def _reached(time_s: Floats, mass_kg: Floats, target_kg: float) -> float | None:
    below = np.flatnonzero(mass_kg <= target_kg)
    if not below.size:
        return None
    i = int(below[0])
    if i == 0:
        return 0.0
    share = (mass_kg[i - 1] - target_kg) / (mass_kg[i - 1] - mass_kg[i])
    return float(time_s[i - 1] + share * (time_s[i] - time_s[i - 1]))


def regimes_tried(
    *,
    as_it_is: Regime,
    steps_frac: Sequence[float],
    driest_frac: float,
    wettest_frac: float,
    temps_c: Sequence[float],
    rest: Regime | None,
) -> tuple[Regime, ...]:
    """Humidities about the one there is, wetter first or the same throughout, each at a few temperatures
    where it is the same throughout, and after a rest where one can be had.

    Parameters
    ----------
    as_it_is : Regime
    steps_frac : humidities tried beside it
    driest_frac, wettest_frac : between which they lie
    temps_c : temperatures tried
    rest : a regime whose rest is tried too

    Source
    ------
    saltfare_chosen, what is tried
    """
    levels = sorted(
        {
            round(as_it_is.rh_first_frac + step, 4)
            for step in steps_frac
            if driest_frac <= as_it_is.rh_first_frac + step <= wettest_frac
        }
    )
    out = [
        replace(as_it_is, rh_first_frac=first, rh_then_frac=then)
        for first in levels
        for then in levels
        if then <= first
    ]
    out += [
        replace(as_it_is, rh_first_frac=level, rh_then_frac=level, temp_c=temp)
        for level in levels
        for temp in temps_c
    ]
    if rest is not None:
        out += [replace(rest, rh_first_frac=level, rh_then_frac=level) for level in levels]
    return tuple(out)
