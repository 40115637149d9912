"""A pouch at camp: its water, how long it soaks and stays warm, and what a test pouch teaches the label.

A test pouch is told by what was seen: how long it was still hard, when it was soft, what was poured off or
added. Each seen moment cuts the doubt about minutes from one side.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr

from saltfare.core.errors import Problem, Refused
from saltfare.core.figure import Note
from saltfare.core.library import Library
from saltfare.core.tables import Row
from saltfare.models import soaking, soaking_heat
from saltfare.models.soaking import FirstPour, Softening
from saltfare.models.soaking_heat import Cover
from saltfare.models.thermal import Composition, heat_capacity_choi_okos
from saltfare.models.trays_end import Band
from saltfare.models.trays_layers import Diffusivity, diffusivity_arrhenius
from saltfare.models.trip_fuel import pressure_standard

RULES = "tray_rules"
# Of the grid: how far a course is followed, its steps, and the points of the belief about minutes.
_COURSE_S, _COURSE_STEPS, _POINTS = 12 * 3600.0, 1441, 801
_RULES_USED = (
    *("water_back", "hold_back", "pour_drop", "soak_ref", "soak_energy", "soak_energy_low"),
    *("soak_energy_high", "cooling", "emissivity", "water_heat", "water_density", "wet_clock"),
    *("wet_clock_hot", "hot_hold", "clump", "soft_seen"),
)
STIR_S = (0.0, 300.0, 600.0)
_Z80 = 1.2815515655446004  # 10th and 90th of a hundred of a normal distribution


@dataclass(frozen=True, slots=True, kw_only=True)
class Camp:
    """Where and how a pouch is brought back.

    cover: row of `pouch_covers`. water_temp_c: of a cold soak, None for boiling. wind_m_per_s: past the
    pouch. pouch_area_m2, pouch_height_m: both sides; height. cup_m3: the person's own mug.
    """

    altitude_m: float
    air_temp_c: float
    wind_m_per_s: float
    cover: str
    water_temp_c: float | None
    pouch_area_m2: float
    pouch_height_m: float
    cup_m3: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PouchPart:
    """A part of the dish as it soaks: row of `soaking_foods` and its size, None for the usual."""

    name: str
    soak: str
    size_m: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PouchTrial:
    """What a test pouch of the batch showed.

    at: where it was tried. dry_kg in it; water_kg poured, poured_off_kg left over, added_kg put in later.
    hard_at_s, soft_at_s: when it was seen hard in the middle, seen soft; None where nobody looked.
    """

    at: Camp
    dry_kg: float

    water_kg: float
    poured_off_kg: float
    added_kg: float
    hard_at_s: float | None
    soft_at_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PouchPlan:
    """A pouch as it will go at camp, corrected by test pouches if there were any.

    water: with its interval. minutes: soft from when, an end None where the pouch cools before.
    slow: the part that takes longest. boil_c, mixed_c: water as it boils, pouch after the pour.
    temp_at: pouch at the middle time. above_hot_s: how long it stays hot. unstirred_dry_frac,
    unstirred_even_s: of a clump, and time heat takes through. eat_within_s: from the pour.
    learnt: multipliers of water and minutes.
    """

    water_kg: Band
    pour: FirstPour
    soft_s: tuple[float | None, float | None, float | None]
    slow: str
    boil_c: float
    mixed_c: float
    course_s: NDArray[np.float64]
    course_c: NDArray[np.float64]
    above_hot_s: float
    stir_s: tuple[float, ...]
    unstirred_dry_frac: float
    unstirred_even_s: float
    eat_within_s: float
    learnt_water: Band
    learnt_minutes: Band
    notes: tuple[Note, ...]


def pouch_plan(
    *,
    dry_kg: float,
    dry_water: Band,
    dish_water_frac: float,
    composition: Composition,
    parts: Sequence[PouchPart],
    camp: Camp,
    taste_factor: float,
    trials: Sequence[PouchTrial],
    library: Library,
) -> PouchPlan:
    """Plan a pouch.

    Parameters
    ----------
    dry_kg, dry_water : dried dish in it [kg], its share of water
    dish_water_frac : as cooked
    composition : of the dry dish
    parts : of the dish
    camp : where
    taste_factor : 1 as cooked
    trials : test pouches of this batch
    library : the figures it rests on

    Raises
    ------
    Refused, OutOfRange

    Source
    ------
    saltfare_derived, balances of water and heat
    """
    problems = [p for i, t in enumerate(trials) for p in trial_problems(trial=t, field=f"trials.{i}")]
    if not parts:
        problems.append(Problem("dish_empty", "parts"))
    if problems:
        raise Refused(*problems)
    rule = {name: library.row(RULES, name) for name in _RULES_USED}
    per_kg = soaking.water_to_add(
        dry_kg=1.0, dry_water_frac=dry_water.middle, dish_water_frac=dish_water_frac,
        taste_factor=taste_factor,
    )  # fmt: skip
    water_belief = _water_belief(per_kg, rule["water_back"].number("sd"), trials)
    water = Band(*(dry_kg * per_kg * f for f in (water_belief.low, water_belief.middle, water_belief.high)))
    pour = soaking.first_pour(
        water_kg=water.middle, doubt_frac=min(0.9, 1.0 - water.low / water.middle),
        least_held_frac=rule["hold_back"].number("share"),
        density_kg_per_m3=rule["water_density"].number("factor"), cup_m3=camp.cup_m3,
    )  # fmt: skip
    cold = camp.water_temp_c is not None
    dry_heat = float(heat_capacity_choi_okos(composition=composition, temp_c=40.0))
    pouch = _Pouch.of(camp, water.middle, dry_kg, dry_heat, rule, library)
    time = np.linspace(0.0, _COURSE_S, _COURSE_STEPS)
    spread = math.exp(_Z80 * rule["cooling"].number("sd"))
    courses = [pouch.course(time, f) for f in (1 / spread, 1.0, spread)]
    trial_courses = [
        _Pouch.of(t.at, t.water_kg, t.dry_kg, dry_heat, rule, library).course(time, 1.0) for t in trials
    ]
    ref = rule["soak_ref"].number("temp_c")
    energies = [
        rule[n].number("energy_kj_mol") for n in ("soak_energy_low", "soak_energy", "soak_energy_high")
    ]
    needed = [
        (soaking.softening_time(
            softening=Softening.from_row(library.row("soaking_foods", p.soak)), size_m=p.size_m), p)
        for p in parts
    ]  # fmt: skip
    slow_band, slow = max(needed, key=lambda pair: pair[0].middle)
    band = Band(max(b.low for b, _ in needed), slow_band.middle, max(b.high for b, _ in needed))
    minutes = _minutes_belief(
        band, trials, trial_courses, time, ref, energies[1], rule["soft_seen"].number("sd")
    )
    wanted = (
        slow_band.middle * minutes.low,
        slow_band.middle * minutes.middle,
        slow_band.middle * minutes.high,
    )
    soft = tuple(
        soaking.soaked_time(time_s=time, temp_c=c, needed_s=n, ref_temp_c=ref, activation_j_per_mol=e)
        for c, n, e in zip(courses, wanted, energies, strict=True)
    )
    middle_s = soft[1] if soft[1] is not None else slow_band.middle
    hot = rule["hot_hold"].number("temp_c")
    above = 0.0 if cold else soaking_heat.time_above(
        temp_c=hot, start_temp_c=pouch.mixed_c, air_temp_c=camp.air_temp_c, loss_w_per_k=pouch.loss_w_per_k,
        heat_j_per_k=pouch.held_j_per_k,
    )  # fmt: skip
    eat = soaking.wet_clock(
        air_temp_c=camp.air_temp_c, hot_above_c=rule["wet_clock_hot"].number("temp_c"),
        allowed_s=rule["wet_clock"].number("time_h"), allowed_hot_s=rule["wet_clock_hot"].number("time_h"),
    )  # fmt: skip
    into = Diffusivity.from_row(library.row("diffusion_trays", "rice_soaking"))
    clump = rule["clump"].number("factor")
    at_c = float(np.interp(0.5 * middle_s, time, courses[1]))
    notes = _notes(soft, cold, eat, above, camp)
    return PouchPlan(
        water_kg=water,
        pour=pour,
        soft_s=(soft[0], soft[1], soft[2]),
        slow=slow.name,
        boil_c=soaking_heat.boiling_temp(altitude_m=camp.altitude_m),
        mixed_c=pouch.mixed_c,
        course_s=time,
        course_c=courses[1],
        above_hot_s=above,
        stir_s=tuple(t for t in STIR_S if t <= middle_s),
        unstirred_dry_frac=soaking.unstirred_dry(
            time_s=middle_s,
            diffusivity_m2_per_s=float(diffusivity_arrhenius(diffusivity=into, temp_c=max(at_c, 0.0))),
            clump_half_m=clump,
        ),
        unstirred_even_s=soaking_heat.evening_time(
            composition=_wet(composition, dry_kg, water.middle), temp_c=60.0, half_thickness_m=2.0 * clump
        ),
        eat_within_s=eat,
        learnt_water=water_belief,
        learnt_minutes=minutes,
        notes=notes,
    )


@dataclass(frozen=True, slots=True)
class _Pouch:
    """A pouch after the pour: its temperature, the heat it holds and loses; cold soaks lose none."""

    mixed_c: float
    air_temp_c: float
    loss_w_per_k: float
    held_j_per_k: float

    @classmethod
    def of(
        cls, camp: Camp, water_kg: float, dry_kg: float, dry_heat: float, rule: Mapping[str, Row],
        library: Library,
    ) -> Self:  # fmt: skip
        boil = soaking_heat.boiling_temp(altitude_m=camp.altitude_m)
        poured = boil - rule["pour_drop"].number("factor") if camp.water_temp_c is None else camp.water_temp_c
        water_heat = rule["water_heat"].number("factor")
        held = water_kg * water_heat + dry_kg * dry_heat
        if camp.water_temp_c is not None:
            return cls(camp.water_temp_c, camp.air_temp_c, 0.0, held)
        mixed = soaking_heat.mixed_temp(
            water_kg=water_kg, water_temp_c=poured, dry_kg=dry_kg, dry_temp_c=camp.air_temp_c,
            water_j_per_kg_k=water_heat, dry_j_per_kg_k=dry_heat,
        )  # fmt: skip
        loss = soaking_heat.pouch_loss(
            temp_c=mixed, air_temp_c=camp.air_temp_c, wind_m_per_s=camp.wind_m_per_s,
            size_m=camp.pouch_height_m, cover=Cover.from_row(library.row("pouch_covers", camp.cover)),
            emissivity=rule["emissivity"].number("share"),
            pressure_pa=pressure_standard(altitude_m=camp.altitude_m),
        )  # fmt: skip
        return cls(mixed, camp.air_temp_c, loss * camp.pouch_area_m2, held)

    def course(self, time: NDArray[np.float64], loss_factor: float) -> NDArray[np.float64]:
        """Temperature at times; where it would freeze it stays at 0, and softening stands still."""
        if self.loss_w_per_k == 0.0:
            return np.full_like(time, self.mixed_c)
        cooled = soaking_heat.pouch_temp(
            time_s=time, start_temp_c=self.mixed_c, air_temp_c=self.air_temp_c,
            loss_w_per_k=self.loss_w_per_k * loss_factor, heat_j_per_k=self.held_j_per_k,
        )  # fmt: skip
        return np.maximum(cooled, 0.0)


def _wet(dry: Composition, dry_kg: float, water_kg: float) -> Composition:
    whole = dry_kg + water_kg
    shares = {name: x * dry_kg / whole for name, x in dry.shares.items()}
    shares["water_frac"] += water_kg / whole
    return Composition(**shares)


def _notes(
    soft: tuple[float | None, ...], cold: bool, eat: float, above: float, camp: Camp
) -> tuple[Note, ...]:
    found = [Note("boiling_water_scalds")] if not cold else []
    if soft[1] is None:
        found.append(Note("pouch_never_soft"))
    elif soft[2] is None:
        found.append(Note("pouch_may_cool_first"))
    if soft[1] is not None and soft[1] > eat:
        found.append(Note("soft_after_clock", {"soft_time_s": soft[1], "within_time_s": eat}))
    if cold:
        found.append(Note("cold_soak_precooked"))
    elif soft[1] is not None and above < soft[1]:
        found.append(Note("pouch_below_hot", {"hot_time_s": above}))
    if not cold and camp.cover == "bare" and camp.wind_m_per_s > 1.0:
        found.append(Note("pouch_out_of_wind"))
    found.append(Note("wet_clock_started", {"within_time_s": eat}))
    return tuple(found)


def trial_problems(*, trial: PouchTrial, field: str) -> tuple[Problem, ...]:
    """What of a test pouch cannot be, as problems of `field`.

    Source
    ------
    saltfare_chosen, what a test pouch can show
    """
    found = []
    if not 0.0 < trial.water_kg < math.inf:
        found.append(Problem("mass_not_positive", f"{field}.water", f"{trial.water_kg:.6g} kg"))
    elif not 0.0 <= trial.poured_off_kg < trial.water_kg + trial.added_kg or trial.added_kg < 0.0:
        left: dict[str, str | float | int] = {"off_kg": trial.poured_off_kg, "water_kg": trial.water_kg}
        found.append(Problem("poured_off_exceeds_water", field, params=left))
    if trial.hard_at_s is not None and trial.soft_at_s is not None and trial.soft_at_s <= trial.hard_at_s:
        found.append(Problem("soft_before_hard", field))
    for name, when in (("hard_at", trial.hard_at_s), ("soft_at", trial.soft_at_s)):
        if when is not None and not 0.0 < when <= _COURSE_S:
            found.append(Problem("time_impossible", f"{field}.{name}", f"{when:g} s"))
    return tuple(found)


def _water_belief(per_kg: float, sd: float, trials: Sequence[PouchTrial]) -> Band:
    """Multiplier of the water: normal in its logarithm, each test worth half the prior's doubt."""
    precision, weighted = 1.0 / sd**2, 0.0
    for trial in trials:
        right = (trial.water_kg - trial.poured_off_kg + trial.added_kg) / (per_kg * trial.dry_kg)
        precision += 4.0 / sd**2
        weighted += 4.0 / sd**2 * math.log(right)
    middle, spread = weighted / precision, _Z80 / math.sqrt(precision)
    return Band(math.exp(middle - spread), math.exp(middle), math.exp(middle + spread))


def _minutes_belief(
    band: Band, trials: Sequence[PouchTrial], courses: Sequence[NDArray[np.float64]],
    time: NDArray[np.float64], ref: float, energy: float, seen_sd: float,
) -> Band:  # fmt: skip
    """Multiplier of the time at the reference temperature, prior from the practice's band.

    What counts of a moment is how much the pouch had done by then at the reference temperature.
    """
    sd = math.log(band.high / band.low) / (2.0 * _Z80)
    centre = 0.5 * math.log(band.high * band.low) - math.log(band.middle)
    x = np.linspace(centre - 5.0 * sd, centre + 5.0 * sd, _POINTS)
    log = -0.5 * ((x - centre) / sd) ** 2
    for trial, course in zip(trials, courses, strict=True):
        speed = soaking.soak_speed(temp_c=course, ref_temp_c=ref, activation_j_per_mol=energy)
        done = np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]) * np.diff(time))])
        for when, sign in ((trial.hard_at_s, 1.0), (trial.soft_at_s, -1.0)):
            if when is not None:
                at = math.log(float(np.interp(when, time, done)) / band.middle)
                log = log + log_ndtr(sign * (x - at) / seen_sd)
    weight = np.exp(log - log.max())
    reached = np.cumsum(weight)
    reached = (reached - 0.5 * weight) / reached[-1]
    return Band(*(math.exp(v) for v in np.interp([0.1, 0.5, 0.9], reached, x)))
