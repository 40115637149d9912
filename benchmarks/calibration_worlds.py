"""Invented chambers and pieces for the calibration study: one world as the priors have it, five that
are deliberately not.

A chamber is a household's own: what it shares, its hygrometer's error, its air. Its pieces are dried as
they truly dry, those of one shape together, weighed as they are weighed, and forecast as the product would.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from saltfare.core.library import Library
from saltfare.models.drying import GRADING, RULES, SHELLS, DryingParameters, Hanging, density_additive
from saltfare.models.drying_march import march
from saltfare.models.drying_piece import Ratios, volume_stated
from saltfare.models.drying_shells import Shells, shell_weights
from saltfare.models.drying_surface import Stretches, Surface
from saltfare.models.sorption import ProteinIsotherm
from saltfare.plans.forecast import Forecast, forecast
from saltfare.plans.forecast_air import AirProgramme, AirReadings, UsualAir, air_programme
from saltfare.plans.forecast_drying import HangingPiece
from saltfare.plans.forecast_ensemble import Ensemble, ensemble
from saltfare.plans.forecast_posterior import Belief, WeighIn, model_error_cov
from saltfare.plans.forecast_priors import ForecastPriors
from saltfare.plans.learning import LearningPriors, Lesson, learn, lesson

Floats = NDArray[np.float64]
DAY = 86400.0
LIBRARY = Library()
PRIORS = ForecastPriors.from_library(library=LIBRARY)
LEVELS = LearningPriors.from_library(library=LIBRARY, priors=PRIORS)
PARAMETERS = DryingParameters.from_library(library=LIBRARY, law="lean_default", body="whole_muscle")
LEAN = ProteinIsotherm.from_row(LIBRARY.row("isotherms", "lean_meat"))

WORLDS = ("prior", "law", "fat", "humidity", "weighing", "door")
PIECES = 12
TAUGHT = (0, 1, 3, 10)
STAGES = (0.0, 0.25, 0.5, 0.75)
HORIZON_S = LIBRARY.row("hanging_rules", "horizon").number("time")
STEP_S = DAY / 2
EDGE_S = np.arange(1, round(HORIZON_S / STEP_S) + 1) * STEP_S
# what somebody weighs on: often at first, then weekly
WEIGH_DAYS = (2, 4, 7, 10, 14, 18, 23, 28, 34, 40, 47, 54, 61, 68, 75, 82, 89, 96, 103, 110, 117)
SPEED = 0.1


@dataclass(frozen=True)
class Weighing:
    """How one weighs: step and repeatability true, share of gross errors, and the step told."""

    step_kg: float = 0.001
    repeat_frac: float = PRIORS.repeatability_frac
    gross_share: float = PRIORS.outlier_share_frac
    told_kg: float = 0.001
    scale_after_s: float = np.inf
    scale_factor: float = 1.0


@dataclass(frozen=True)
class Chamber:
    """What its pieces share. bias_frac: read humidity below the true; drift per second."""

    effects: dict[str, Floats]
    spread: float
    temp_c: float
    rh_frac: float
    bias_frac: float
    drift_per_s: float
    gap_share: float
    parameters: DryingParameters
    weighing: Weighing
    model_error: bool
    layered: bool


@dataclass(frozen=True)
class Hung:
    """A piece as it is hung: as told and as it truly is, and its air, true and as read."""

    cut: str
    told: Hanging
    truly: Hanging
    multipliers: Floats
    temp_c: Floats
    rh_frac: Floats
    readings: AirReadings
    weighing: Weighing
    error_frac: Floats
    loss_frac: float
    stage: float


@dataclass(frozen=True)
class Piece:
    """One piece as it truly is and as it is told."""

    cut: str
    told: Hanging
    ready_s: float
    target_kg: float
    at_s: Floats
    mass_kg: Floats
    readings: AirReadings
    weigh_ins: tuple[WeighIn, ...]
    hanging: WeighIn


def drawn_chamber(world: str, rng: np.random.Generator) -> Chamber:
    """A chamber of a world."""

    def effect(var: Floats) -> Floats:
        return np.asarray(rng.standard_normal(2) * np.sqrt(var))

    own = effect(LEVELS.population_var) + effect(LEVELS.chamber_var)
    effects = {cut: own + effect(LEVELS.cut_var) for cut in ("round", "flat")}
    chamber = Chamber(
        effects=effects,
        spread=float(np.exp(LEVELS.spread_sd * rng.standard_normal())),
        temp_c=rng.uniform(10, 16),
        rh_frac=rng.uniform(0.70, 0.80),
        bias_frac=PRIORS.hygrometer_bias_frac * rng.standard_normal(),
        drift_per_s=0.0,
        gap_share=0.0,
        parameters=PARAMETERS,
        weighing=Weighing(),
        model_error=world not in ("law", "fat"),
        layered=world == "fat",
    )
    if world == "law":
        # the diffusivity nearly constant, or falling much faster as the meat dries
        law = replace(
            PARAMETERS.law,
            water_drag=float(rng.choice([2.0, 10.0])),
            activation_j_per_mol=float(rng.choice([15e3, 40e3])),
        )
        return replace(chamber, parameters=replace(PARAMETERS, law=law))
    if world == "humidity":
        drift = 0.06 * rng.standard_normal() / (60 * DAY)
        return replace(chamber, bias_frac=0.06 * rng.standard_normal(), drift_per_s=drift, gap_share=0.3)
    if world == "weighing":
        changed = {"scale_after_s": rng.uniform(5, 40) * DAY, "scale_factor": rng.choice([0.985, 1.015])}
        lumpy = Weighing(step_kg=0.02, repeat_frac=0.008, gross_share=0.06, told_kg=0.001)
        return replace(chamber, weighing=replace(lumpy, **changed) if rng.random() < 0.5 else lumpy)
    return chamber


def drawn_pieces(world: str, chamber: Chamber, seed: int) -> list[Piece]:
    """The pieces of a chamber, dried as they truly dry and weighed up to their mass."""
    chance = [np.random.default_rng([seed, WORLDS.index(world), 1 + i]) for i in range(PIECES)]
    hung = [_hung(world, chamber, i, rng) for i, rng in enumerate(chance)]
    return [_weighed_out(*one) for one in zip(hung, _dried(hung, chamber), chance, strict=True)]


def _hung(world: str, chamber: Chamber, number: int, rng: np.random.Generator) -> Hung:
    cut = "round" if number % 2 == 0 else "flat"
    fat = rng.uniform(0.15, 0.25) if chamber.layered else rng.uniform(0.02, 0.10)
    salt = rng.uniform(0.025, 0.033)
    water = 0.755 * (1 - fat) - salt / 2
    if cut == "round":
        shape, size = "cylinder", (rng.uniform(0.055, 0.095), rng.uniform(0.24, 0.38), 0.0)
    else:
        shape, size = "slab", (rng.uniform(0.035, 0.055), rng.uniform(0.25, 0.35), rng.uniform(0.15, 0.22))
    density = density_additive(water_frac=water, fat_frac=fat, salt_frac=salt, body=PARAMETERS.body)
    thick, length, width = size
    volume = volume_stated(shape=shape, thickness_m=thick, length_m=length, width_m=width)  # type: ignore[arg-type]
    mass = float(density) * volume
    told = Hanging(shape, thick, length, width, mass, water, fat, salt, 1.0, 0.0, 2)  # type: ignore[arg-type]

    own = PRIORS
    weighing = chamber.weighing
    if world == "prior":
        # every kind of piece there is, each as often as it is thought to be
        shares = [share for share, _ in PRIORS.kinds.values()]
        own = list(PRIORS.kinds.values())[int(rng.choice(len(shares), p=shares))][1]
        weighing = replace(weighing, repeat_frac=own.repeatability_frac)
    wide = LEVELS.odd_widening if rng.random() < LEVELS.odd_share else 1.0
    apart = chamber.spread * wide * np.sqrt(LEVELS.plain_var) * rng.standard_normal(2)
    # the forecast's box; what lies beyond is another study
    reach = 2.9 * np.sqrt(LEVELS.population_var + LEVELS.chamber_var + LEVELS.cut_var + LEVELS.piece_var)
    ln = np.clip(chamber.effects[cut] + apart, -reach, reach)
    rh = _wander(rng, chamber.rh_frac, 0.02, 10 * DAY)
    temp = _wander(rng, chamber.temp_c, 0.8, 10 * DAY)
    ajar = np.zeros(EDGE_S.size, np.bool_)
    if world == "door":
        # a door left ajar for a week or two: the room's dry warm air, which no reading tells of
        begin, lasts = rng.uniform(3, 30) * DAY, rng.uniform(4, 14) * DAY
        ajar = (begin < EDGE_S) & (begin + lasts >= EDGE_S)
    bias = chamber.bias_frac + chamber.drift_per_s * EDGE_S
    read = np.clip(rh - bias + 0.005 * rng.standard_normal(rh.size), 0.05, 0.99)
    kept = np.ones(EDGE_S.size, np.bool_)
    if chamber.gap_share:
        days = rng.random(EDGE_S.size // 12 + 1) < chamber.gap_share
        kept = ~np.repeat(days, 12)[: EDGE_S.size]
        kept[:4] = True
    shocks = rng.standard_normal(EDGE_S.size)
    return Hung(
        cut,
        told,
        replace(told, water_frac=water + PRIORS.initial_water_frac * rng.standard_normal()),
        np.exp(ln),
        np.where(ajar, temp + 3, temp),
        np.clip(np.where(ajar, rh - 0.18, rh), 0.3, 0.99),
        AirReadings((EDGE_S - STEP_S / 2)[kept], temp[kept], read[kept]),
        weighing,
        _model_error_root(own) @ shocks if chamber.model_error else np.zeros(EDGE_S.size),
        rng.uniform(0.28, 0.38),
        STAGES[number % len(STAGES)],
    )


def _weighed_out(one: Hung, dried: Floats, rng: np.random.Generator) -> Piece:
    """A piece with its weigh-ins; dried: its loss at the ends of the stretches."""
    mass = one.told.mass_kg
    at = np.concatenate([[0.0], EDGE_S])
    loss = np.concatenate([[0.0], dried + one.error_frac])
    target = min(one.loss_frac, 0.97 * float(loss[: round(105 * DAY / STEP_S)].max()))
    hung = float(_weighed(np.array([mass]), np.zeros(1), one.weighing, rng)[0])
    target_kg = hung * (1 - target)
    ready = _crossing(at, loss, 1 - target_kg / mass)
    days = [d * DAY for d in WEIGH_DAYS if d * DAY < ready]
    stage = one.stage * ready
    last = min(np.ceil(ready / DAY) * DAY, HORIZON_S - DAY)
    times = np.array(sorted({*days, last, *([stage] if stage else [])}))
    shown = _weighed(mass * (1 - np.interp(times, at, loss)), times, one.weighing, rng, mass)
    step = one.weighing.told_kg
    return Piece(
        one.cut,
        replace(one.told, mass_kg=hung),
        ready,
        target_kg,
        at,
        mass * (1 - loss),
        one.readings,
        tuple(WeighIn(float(t), float(m), step) for t, m in zip(times, shown, strict=True)),
        WeighIn(0.0, hung, step),
    )


def studied(job: tuple[str, int]) -> list[dict[str, float | int | str]]:
    """Every forecast of a chamber, told by its world and seed, beside what came: each piece at its stage,
    begun from the population's belief and from what one, three and ten of the others taught."""
    world, seed = job
    chamber = drawn_chamber(world, np.random.default_rng([seed, WORLDS.index(world)]))
    pieces = drawn_pieces(world, chamber, seed)
    lessons = [_lesson(one, i) for i, one in enumerate(pieces)]
    rows: list[dict[str, float | int | str]] = []
    for i, one in enumerate(pieces):
        stage = STAGES[i % len(STAGES)]
        now = stage * one.ready_s
        weigh_ins = [w for w in one.weigh_ins if w.time_s <= now * (1 + 1e-9)]
        programme = _programme(one, now, HORIZON_S)
        simulated = ensemble(simulate=_told(one), programme=programme, priors=PRIORS)
        for taught in TAUGHT:
            others = [lessons[(i + 1 + k) % PIECES] for k in range(taught)]
            belief = None
            if others:
                belief = learn(lessons=others, priors=LEVELS).belief(chamber="chamber", cut=one.cut)
            made = _forecast(one, simulated, programme, weigh_ins, belief)
            row = {"world": world, "seed": seed, "piece": i, "stage": stage, "taught": taught}
            rows.append({**row, **_scores(one, made, now, weigh_ins)})
    return rows


def _forecast(
    one: Piece, simulated: Ensemble, programme: AirProgramme, weigh_ins: list[WeighIn], belief: Belief | None
) -> Forecast:
    return forecast(
        ensemble=simulated,
        programme=programme,
        hanging=one.hanging,
        weigh_ins=weigh_ins,
        target_mass_kg=one.target_kg,
        priors=PRIORS,
        belief=belief,
    )


def _scores(one: Piece, made: Forecast, now: float, weigh_ins: list[WeighIn]) -> dict[str, float]:
    """Days, and 0 or 1 for a band that missed or held."""
    out = {"ready": one.ready_s / DAY, "chance": made.ready_frac_at(time_s=one.ready_s)}
    ends = {50: (0.25, 0.75), 80: (0.1, 0.9), 95: (0.025, 0.975)}
    for band, (low, high) in ends.items():
        early, late = (made.ready_s[q] for q in (low, high))
        early = HORIZON_S if early is None else early
        out[f"held_{band}"] = float(early <= one.ready_s <= (np.inf if late is None else late))
        if band == 80:
            out["width_80"] = ((HORIZON_S if late is None else late) - early) / DAY
    middle = made.ready_s[0.5]
    out["error"] = ((HORIZON_S if middle is None else middle) - one.ready_s) / DAY
    # the true mass two weeks on
    ahead = min(now + 14 * DAY, HORIZON_S - DAY)
    true = float(np.interp(ahead, one.at_s, one.mass_kg))
    levels = [float(np.interp(ahead, made.time_s, q)) for q in made.mass_kg]
    for band, (low, high) in {50: (2, 4), 80: (1, 5), 95: (0, 6)}.items():
        out[f"mass_{band}"] = float(levels[low] <= true <= levels[high])
    days, losses = [0.0], [0.0]
    for w in weigh_ins:
        days.append(w.time_s / DAY)
        losses.append(1 - w.mass_kg / one.hanging.mass_kg)
    target = 1 - one.target_kg / one.hanging.mass_kg
    if weigh_ins:
        out["line_error"] = _line(days, losses, target) - one.ready_s / DAY
        out["root_error"] = _root(days, losses, target) - one.ready_s / DAY
    return out


def _line(days: list[float], losses: list[float], target: float) -> float:
    """Day of the target on the straight line through the last two weighings; the horizon at the latest."""
    slope = (losses[-1] - losses[-2]) / (days[-1] - days[-2])
    if slope <= 0:
        return HORIZON_S / DAY
    return float(np.clip(days[-1] + (target - losses[-1]) / slope, days[-1], HORIZON_S / DAY))


def _root(days: list[float], losses: list[float], target: float) -> float:
    """Day of the target where the loss goes with the root of time, by least squares over all weighings."""
    root = np.sqrt(days)
    slope = float(root @ losses / (root @ root))
    if slope <= 0:
        return HORIZON_S / DAY
    return float(np.clip((target / slope) ** 2, days[-1], HORIZON_S / DAY))


def _lesson(one: Piece, number: int) -> Lesson:
    end = one.weigh_ins[-1].time_s
    programme = _programme(one, end, end)
    return lesson(
        piece=f"{number:02d}",
        chamber="chamber",
        cut=one.cut,
        ensemble=ensemble(simulate=_told(one), programme=programme, priors=PRIORS),
        hanging=one.hanging,
        weigh_ins=one.weigh_ins,
        priors=PRIORS,
    )


def _told(one: Piece) -> HangingPiece:
    return HangingPiece(one.told, SPEED, PARAMETERS, LEAN)


def _programme(one: Piece, until_s: float, horizon_s: float) -> AirProgramme:
    known = one.readings.time_s <= until_s
    readings = AirReadings(
        *(x[known] for x in (one.readings.time_s, one.readings.temp_c, one.readings.rh_frac))
    )
    usual = UsualAir(float(one.readings.temp_c[:4].mean()), float(one.readings.rh_frac[:4].mean()))
    return air_programme(readings=readings, usual=usual, horizon_s=horizon_s, priors=PRIORS)


def _dried(pieces: Sequence[Hung], chamber: Chamber) -> list[Floats]:
    """The loss of each at the ends of the stretches: as `models.drying.hang`, with seams of fat where
    asked for, pieces of one shape marched together."""
    out: dict[int, Floats] = {}
    for shape in ("cylinder", "slab"):
        these = [i for i, one in enumerate(pieces) if one.truly.shape == shape]
        if not these:
            continue
        insides, airs, ratios = zip(*(_parts(pieces[i], chamber) for i in these), strict=True)
        course = march(
            shells=_shells_together(insides),
            surfaces=_surfaces_together(airs),
            end_time_s=EDGE_S,
            water_ratio=np.concatenate([one.water for one in ratios]),
            out_time_s=EDGE_S,
            rules=RULES,
            crust_below=chamber.parameters.body.crust_water_ratio,
        )
        solids = np.concatenate([one.solids_frac for one in ratios])
        out |= dict(zip(these, (solids * np.array(course.loss)).T, strict=True))
    return [out[i] for i in range(len(pieces))]


def _parts(one: Hung, chamber: Chamber) -> tuple[Shells, Stretches, Ratios]:
    """A piece as a march of one member."""
    piece, single = one.truly, np.ones(1)
    ratios = Ratios.of(
        water_frac=single * piece.water_frac,
        fat_frac=single * piece.fat_frac,
        salt_frac=single * piece.salt_frac,
    )
    if chamber.layered:
        piece = replace(piece, open_frac=0.75)  # a cap of fat over a quarter of it
    surfaces = Stretches.of(
        end_time_s=EDGE_S,
        temp_c=one.temp_c[:, None],
        rh_frac=one.rh_frac[:, None],
        speed_m_per_s=np.full(EDGE_S.size, SPEED),
        piece=piece,
        resistance_multiplier=one.multipliers[1:],
        body=chamber.parameters.body,
        protein=LEAN,
    )
    inside = Shells.of(
        piece=piece,
        ratios=ratios,
        diffusivity_multiplier=one.multipliers[:1],
        parameters=chamber.parameters,
        protein=LEAN,
        weights=shell_weights(shells=SHELLS, grading=GRADING),
    )
    if chamber.layered:
        # two seams of fat that passes a tenth, round three quarters: a third of the way is left where
        # the meat is moist (1 / (1 + X) = 1/3), less where it is drier
        drag = np.full(SHELLS, inside.drag)
        drag[[6, 11]] += 3 * np.log(3.0)
        inside = replace(inside, drag=drag)
    return inside, surfaces, ratios


def _shells_together(parts: Sequence[Shells]) -> Shells:
    """Members of pieces of their own size as one march; they share shape, law and drag."""

    def member(name: str) -> Floats:
        return np.concatenate([np.atleast_1d(getattr(one, name)) for one in parts])

    names = ("span_m", "openness", "fixed_volume", "start_volume", "conductance")
    salt = np.concatenate([one.skin.salt_ratio for one in parts])
    return replace(
        parts[0], **{name: member(name) for name in names}, skin=replace(parts[0].skin, salt_ratio=salt)
    )


def _surfaces_together(parts: Sequence[Stretches]) -> Callable[[int], Surface]:
    def at(k: int) -> Surface:
        each = [one.stretch(k) for one in parts]
        return Surface(*(np.concatenate([getattr(s, f.name) for s in each]) for f in fields(Surface)))

    return at


def _weighed(
    true_kg: Floats, at_s: Floats, how: Weighing, rng: np.random.Generator, hung_kg: float | None = None
) -> Floats:
    """What the scale shows; at hanging, without `hung_kg`, it is no gross error."""
    whole = float(true_kg[0]) if hung_kg is None else hung_kg
    shown = true_kg * np.where(at_s > how.scale_after_s, how.scale_factor, 1.0)
    shown = shown + whole * how.repeat_frac * rng.standard_normal(shown.size)
    if hung_kg is not None:
        gross = rng.random(shown.size) < how.gross_share
        shown = shown + gross * whole * PRIORS.outlier_spread_frac * rng.standard_normal(shown.size)
    return np.asarray(np.maximum(np.round(shown / how.step_kg) * how.step_kg, how.step_kg))


def _wander(rng: np.random.Generator, mean: float, sd: float, time_s: float) -> Floats:
    """A mean that wanders: an autoregressive walk by stretches."""
    keep = np.exp(-STEP_S / time_s)
    out = np.empty(EDGE_S.size)
    now = sd * rng.standard_normal()
    for i, shock in enumerate(rng.standard_normal(EDGE_S.size)):
        now = keep * now + np.sqrt(1 - keep**2) * sd * shock
        out[i] = mean + now
    return out


def _crossing(at: Floats, loss: Floats, target: float) -> float:
    """The first time the loss reaches the target."""
    i = int(np.argmax(loss >= target))
    return float(at[i - 1] + (target - loss[i - 1]) / (loss[i] - loss[i - 1]) * (at[i] - at[i - 1]))


@cache
def _model_error_root(own: ForecastPriors) -> Floats:
    cov = model_error_cov(a_s=EDGE_S, b_s=EDGE_S, priors=own)
    return np.asarray(np.linalg.cholesky(cov + 1e-12 * np.eye(len(cov))))
