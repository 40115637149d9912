"""Worlds a plan is held against: drawn anew by a random generator and dried by the drying model itself.

Nothing of the plan's own draws, of the ensemble or of the forecast's quantiles is used here: effects of
population, chamber, cut and piece are drawn level by level, each world's piece is simulated in its own
air, the model's own error is added as a path, and the first moment at the target is looked for.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from saltfare.core.library import Library
from saltfare.models.drying import DryingParameters
from saltfare.models.sorption import ProteinIsotherm
from saltfare.plans.back_plan import back_plan
from saltfare.plans.back_plan_chance import HumidityFan
from saltfare.plans.back_plan_courses import (
    Bench,
    ChamberAir,
    CuredWant,
    hung_piece,
    piece_makes,
    simulated_in,
)
from saltfare.plans.back_plan_shapes import Asked, BackPlan, Room
from saltfare.plans.back_plan_shapes import Rules as Scheduling
from saltfare.plans.buying import Band
from saltfare.plans.forecast_air import UsualAir, air_programme
from saltfare.plans.forecast_drying import HangingPiece
from saltfare.plans.forecast_ensemble import Ensemble, output_times
from saltfare.plans.forecast_posterior import model_error_cov
from saltfare.plans.forecast_priors import ForecastPriors
from saltfare.plans.learning import Learned, LearningPriors, learn
from saltfare.plans.piece_parts import Freezing, MixLabel, PieceRequest
from saltfare.plans.piece_plan import plan_piece

DAY = 86400.0
TODAY = date(2026, 3, 2)
LIBRARY = Library()
PRIORS = ForecastPriors.from_library(library=LIBRARY)
LEVELS = LearningPriors.from_library(library=LIBRARY, priors=PRIORS)
PARAMETERS = DryingParameters.from_library(library=LIBRARY, law="lean_default", body="whole_muscle")
LEAN = ProteinIsotherm.from_row(LIBRARY.row("isotherms", "lean_meat"))
HORIZON = LIBRARY.row("hanging_rules", "horizon").number("time")
NOBODY = learn(lessons=[], priors=LEVELS)
RULES = Scheduling(
    levels={"level_low": 0.5, "level_mid": 0.8, "level_high": 0.95}, level="level_mid", moved_most=42,
    hook_held=0.95, late_least=0.5,
)  # fmt: skip
_KEPT: dict[str, tuple[Ensemble, HumidityFan]] = {}


def air(temp_c: float = 13.0, rh_frac: float = 0.72, key: str = "cupboard", speed: float = 0.1) -> ChamberAir:
    assumed = air_programme(
        readings=None, usual=UsualAir(temp_c, rh_frac), horizon_s=HORIZON, priors=PRIORS
    ).assumed
    return ChamberAir(key=key, air=assumed, speed_m_per_s=speed)


def simulated(hang: HangingPiece, assumed) -> tuple[Ensemble, HumidityFan]:
    key = repr((hang, assumed))
    if key not in _KEPT:
        _KEPT[key] = simulated_in(hang=hang, air=assumed, horizon_s=HORIZON, priors=PRIORS)
    return _KEPT[key]


def bench(learned: Learned = NOBODY) -> Bench:
    return Bench(library=LIBRARY, priors=PRIORS, learned=learned, simulated=simulated)


def any_bench() -> Bench:
    """Where only the days before hanging matter: every piece hangs as one does."""
    one = air()
    hang = HangingPiece(
        hung_piece(plan=plan_piece(request=request(), library=LIBRARY)), 0.1, PARAMETERS, LEAN
    )
    return Bench(
        library=LIBRARY, priors=PRIORS, learned=NOBODY, simulated=lambda _hang, _air: simulated(hang, one.air)
    )


def request(**changes) -> PieceRequest:
    given = {
        "start": TODAY, "purpose": "home_cold", "cut": "beef_eye_round", "rules": "us_home",
        "green_mass_kg": 1.0, "shape": "cylinder", "thickness_m": 0.06, "length_m": 0.3,
        "salt_frac": 0.028, "mix": MixLabel(name="jar", nitrite_frac=0.0625), "scale_step_kg": 1e-4,
        "salting_temp_c": 4.0, "chamber_temp_c": 13.0, "chamber_humidity_frac": 0.72,
    }  # fmt: skip
    return PieceRequest(**{**given, **changes})


def frozen(**changes) -> PieceRequest:
    return request(
        **{"cut": "pork_loin", "parasite_step": "freeze", "freezing": Freezing(temp_c=-18.0), **changes}
    )


def want(
    *,
    key: str = "round",
    kg: float = 0.4,
    by: date = TODAY + timedelta(days=120),
    of: PieceRequest | None = None,
) -> CuredWant:
    return CuredWant(
        id=key, name=key, finished_kg=kg, needed_by=by, request=of or request(),
        trim=Band(0.02, 0.06, 0.12), end_trim=Band(0.0, 0.02, 0.06),
    )  # fmt: skip


def planned(
    wants: list[CuredWant],
    chambers: list[ChamberAir],
    *,
    learned: Learned = NOBODY,
    rules: Scheduling = RULES,
    hooks: int = 20,
    away=(),
) -> BackPlan:
    asked = []
    for one in wants:
        makes, against = piece_makes(want=one, chambers=chambers, bench=bench(learned))
        assert makes, against
        asked.append(
            Asked(id=one.id, name=one.name, needed_by=one.needed_by, makes=makes, kg=one.finished_kg)
        )
    room = Room(hooks={c.key: hooks for c in chambers}, fridge=40, fridge_m3=1.0, freezer_m3=1.0)
    return back_plan(today=TODAY, asked=asked, room=room, away=away, under_way=[], rules=rules)


@dataclass(frozen=True)
class Lived:
    """What came of a plan in each world: of each want, and of all, whether it was there by its day."""

    wants: dict[str, np.ndarray]
    all: np.ndarray


def lived(
    plan: BackPlan,
    wants: list[CuredWant],
    chambers: list[ChamberAir],
    rng: np.random.Generator,
    *,
    worlds: int,
    levels: LearningPriors = LEVELS,
    odd: bool = False,
    learned: Learned = NOBODY,
) -> Lived:
    """Live through a plan `worlds` times. odd: pieces of widely different spread too, as the learning
    believes, in place of the normal distribution of the same variance."""
    effect = _learned_effects(rng, learned, worlds)
    own_var = float(learned.weight @ learned.spread**2) * levels.plain_var * levels.widened
    errors: dict[str, tuple[np.ndarray, ...]] = {}
    spread = np.exp(levels.spread_sd * rng.standard_normal(worlds)) if odd else np.ones(worlds)
    by_key = {one.key: one for one in chambers}
    asked = {one.id: one for one in wants}
    out: dict[str, np.ndarray] = {}
    for made in plan.wants:
        there = np.ones(worlds, bool)
        for one in made.made:
            want_of, chamber = asked[made.asked.id], by_key[one.course.chamber]
            key, cut = chamber.key, want_of.request.cut
            for name, var in ((f"chamber {key}", levels.chamber_var), (f"cut {cut}", levels.cut_var)):
                if name not in effect:
                    effect[name] = _normal(rng, var, worlds)
            if key not in errors:
                errors[key] = tuple(rng.standard_normal(worlds) for _ in range(3))
            ln = effect[""] + effect[f"chamber {key}"] + effect[f"cut {cut}"]
            if odd:
                wide = np.where(rng.random(worlds) < levels.odd_share, levels.odd_widening, 1.0) * spread
                ln = ln + wide * _normal(rng, levels.plain_var, worlds)
            else:
                ln = ln + _normal(rng, own_var, worlds)
            time = _hung(one, want_of, chamber, ln, errors[key], rng, worlds)
            left = (made.asked.needed_by - one.begun).days
            there &= np.ceil(time / DAY - 1e-9) <= left
        out[made.asked.id] = there
    return Lived(out, np.all(list(out.values()), axis=0))


def _learned_effects(rng: np.random.Generator, learned: Learned, worlds: int) -> dict[str, np.ndarray]:
    """Effects of the population and of every chamber and cut that taught, of one spread in each world."""
    which = rng.choice(learned.weight.size, worlds, p=learned.weight)
    size = learned.mean.shape[1]
    drawn = np.empty((size, worlds))
    for s in range(learned.weight.size):
        of = which == s
        root = np.linalg.cholesky(learned.cov[s] + 1e-14 * np.eye(size))
        drawn[:, of] = learned.mean[s][:, None] + root @ rng.standard_normal((size, int(of.sum())))
    names = ["", *(f"chamber {c}" for c in learned.chambers), *(f"cut {c}" for c in learned.cuts)]
    return {name: drawn[2 * i : 2 * i + 2] for i, name in enumerate(names)}


def _hung(one, want_of, chamber, ln, errors, rng, worlds) -> np.ndarray:
    """How long a piece hangs in each world, by the drying model [s]."""
    green = one.make.green
    plan = plan_piece(request=_filled(want_of.request, green, chamber), library=LIBRARY)
    hang = HangingPiece(hung_piece(plan=plan), chamber.speed_m_per_s, PARAMETERS, LEAN)
    bias, later_rh, later_temp = errors
    rh = chamber.air.rh_frac + PRIORS.hygrometer_bias_frac * bias + chamber.air.humidity_sd_frac * later_rh
    temp = chamber.air.temp_c + chamber.air.temp_sd_c * later_temp
    time = output_times(horizon_s=HORIZON)
    run = hang(
        diffusivity_multiplier=np.exp(ln[0]),
        resistance_multiplier=np.exp(ln[1]),
        water_shift_frac=PRIORS.initial_water_frac * rng.standard_normal(worlds),
        end_time_s=np.array([HORIZON]),
        temp_c=temp[None, :],
        rh_frac=np.clip(rh, 0.10, 0.995)[None, :],
        out_time_s=time,
    )
    loss = np.asarray(run.loss_frac).copy()
    # kinds of pieces with their shares: most weigh and dry as usual, some are unruly
    u, begun = rng.random(worlds), 0.0
    size, repeat = np.zeros(worlds), np.zeros(worlds)
    for share, own in PRIORS.kinds.values():
        of = (u >= begun) & (u < begun + share)
        size[of], repeat[of] = own.model_error_frac, own.repeatability_frac
        begun += share
    cov = model_error_cov(a_s=time, b_s=time, priors=PRIORS) / PRIORS.model_error_frac**2
    root = np.linalg.cholesky(cov + 1e-9 * np.eye(time.size))
    loss += (root @ rng.standard_normal((time.size, worlds))) * size
    target = plan.target.loss_from_hanging.value
    wanted = 1 - (1 - target) * (1 + repeat * rng.standard_normal(worlds))
    ready = np.full(worlds, np.inf)
    for n in range(worlds):
        at = np.flatnonzero(loss[:, n] >= wanted[n])
        if at.size:
            i = max(int(at[0]), 1)
            share = (wanted[n] - loss[i - 1, n]) / (loss[i, n] - loss[i - 1, n])
            ready[n] = time[i - 1] + np.clip(share, 0, 1) * (time[i] - time[i - 1])
    return ready


def _filled(of: PieceRequest, green, chamber: ChamberAir) -> PieceRequest:
    from dataclasses import replace

    return replace(
        of, green_mass_kg=green.each_kg, length_m=green.length_m, width_m=green.width_m,
        chamber_temp_c=chamber.air.temp_c, chamber_humidity_frac=chamber.air.rh_frac,
    )  # fmt: skip


def _normal(rng: np.random.Generator, var: np.ndarray, worlds: int) -> np.ndarray:
    return np.sqrt(var)[:, None] * rng.standard_normal((2, worlds))


def sd_from(stated: float, share: float, worlds: int) -> float:
    """How many binomial standard errors a share lies from the chance stated."""
    return (share - stated) / np.sqrt(max(stated * (1 - stated), 1e-6) / worlds)
