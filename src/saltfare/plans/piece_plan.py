"""A plan of one piece: what it is for, what is weighed out, how long it lies, what mass it comes to.

Refusals are collected, so that everything against a plan is said at once. A doubt that may be overruled
is kept with the reason written under its code.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from saltfare.core.errors import NotFound, OutOfRange
from saltfare.core.glossary import entry
from saltfare.core.library import Library
from saltfare.core.tables import Row
from saltfare.models.criteria import Criteria
from saltfare.plans.piece_cold import leaving_cold, with_kept_salt
from saltfare.plans.piece_criteria import criteria_of
from saltfare.plans.piece_days import salting_time
from saltfare.plans.piece_dose import weigh_out
from saltfare.plans.piece_method import hold_method
from saltfare.plans.piece_origin import origins_of
from saltfare.plans.piece_parts import (
    Amount,
    Dose,
    Hanging,
    Kept,
    MixLabel,
    Objections,
    Origins,
    PiecePlan,
    PieceRequest,
    SaltingTime,
    Step,
    Target,
)
from saltfare.plans.piece_steps import Course, cautions_of, steps_of
from saltfare.plans.piece_target import Green, green_composition, hanging_piece, target_of
from saltfare.plans.piece_time import DAY_S

__all__ = [
    "Amount",
    "Dose",
    "Hanging",
    "Kept",
    "MixLabel",
    "PiecePlan",
    "PieceRequest",
    "SaltingTime",
    "Step",
    "Target",
    "plan_piece",
]

RULES = "salting_rules"
_LONGEST_DAYS = 365
# What a share of salt can be at all, as the glossary has it.
_MOST_SALT = 0.12


def plan_piece(*, request: PieceRequest, library: Library) -> PiecePlan:
    """The plan of a piece.

    Parameters
    ----------
    request : what is planned
    library : the figures it rests on

    Returns
    -------
    the plan, with doubts kept by a written reason in `kept`

    Raises
    ------
    Refused with every problem found

    Source
    ------
    saltfare_chosen, order of a plan
    """
    against = Objections(request.reasons)
    purpose = _one_of("purposes", "purpose", request.purpose, library, against)
    cut = _one_of("cuts", "cut", request.cut, library, against)
    if purpose is None or cut is None:
        against.settle()
        raise AssertionError("an unknown cut or purpose was not refused")
    _sound(request, cut, library, against)
    against.settle()
    criteria = criteria_of(library=library)
    _cold_chain(request, library, against)
    made: _Made | None = None
    origins = Origins()
    try:
        origins = origins_of(request=request, cut=cut, library=library, criteria=criteria, against=against)
        made = _computed(request, purpose, cut, library, criteria, against)
    except OutOfRange as out:
        # what was asked lies beyond a model; what else stands against the plan is said with it
        told = {"quantity": out.quantity, "value": out.value, "low": out.low}
        if math.isinf(out.high):
            against.refuse("below_model", "", f"{out.value:g}", f"{out.low:g}", **told)
        else:
            allowed = f"{out.low:g}-{out.high:g}"
            against.refuse("outside_model", "", f"{out.value:g}", allowed, **told, high=out.high)
    kept = against.settle()
    if made is None:
        raise AssertionError("a plan outside its models was not refused")
    if made.target is None:
        raise AssertionError("a plan without a target was not refused")
    leaving = leaving_cold(
        request=made.request,
        green=made.green,
        dose=made.dose,
        time=made.time,
        hanging=made.hanging,
        target=made.target,
        library=library,
    )
    steps = steps_of(
        course=Course(
            request=made.request,
            cut=cut,
            dose=made.dose,
            time=made.time,
            hanging=made.hanging,
            target=made.target,
            origins=origins,
            leaving_cold=leaving,
            liquid=library.row(RULES, "bag_liquid"),
            cold=library.row(RULES, "cure_cold"),
        )
    )
    return PiecePlan(
        request=request,
        purpose=purpose,
        cut=cut,
        dose=made.dose,
        time=made.time,
        hanging=made.hanging,
        target=made.target,
        steps=steps,
        cautions=cautions_of(cut=cut, origins=origins),
        kept=kept,
        leaving_cold=leaving,
        origins=origins,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Made:
    """What was computed. request: with the salt a box will have brought, and no impossible weight."""

    request: PieceRequest
    green: Green
    dose: Dose
    time: SaltingTime
    hanging: Hanging
    target: Target | None


def _computed(
    request: PieceRequest, purpose: Row, cut: Row, library: Library, criteria: Criteria, against: Objections
) -> _Made:
    """Dose, days, piece at hanging and target. Raises OutOfRange."""
    green = green_composition(request=request, cut=cut, against=against)

    def dose_of(asked: PieceRequest, target_kg: float, said: Objections) -> Dose:
        return weigh_out(
            request=asked,
            cut=cut,
            water_frac=green.water_frac,
            target_kg=target_kg,
            library=library,
            against=said,
        )

    # the finished mass bounds what nitrite is left, and the salt weighed decides the finished mass
    draft = dose_of(request, request.green_mass_kg, Objections(request.reasons))
    time = salting_time(
        request=request, dose=draft, water_frac=green.water_frac, library=library, against=against
    )
    if time.days > _LONGEST_DAYS:
        against.refuse(
            "salting_over_a_year",
            "thickness" if request.salting_time_s is None else "salting_days",
            f"{time.days} d",
            f"{_LONGEST_DAYS} d",
            days=time.days,
        )
    if request.method == "excess_salt" and time.uptake is not None:
        # what a box brings is decided by whole days, not by what was wished
        request = replace(request, salt_frac=min(time.uptake.value, _MOST_SALT))
        draft = dose_of(request, request.green_mass_kg, Objections(request.reasons))
    draft = with_kept_salt(dose=draft, time=time)
    _poultry(request, cut, time, library, against)
    _salt_floor(request, draft, library, against)
    wettest = request.green_mass_kg + draft.salt_kg + draft.sugar_kg
    if request.brine is not None:
        wettest += request.brine.mass_kg
    if request.hanging_mass_kg is not None and request.hanging_mass_kg > wettest:
        against.refuse(
            "hanging_weight_impossible",
            "hanging_weight",
            f"{request.hanging_mass_kg:g} kg",
            f"{wettest:.3f} kg",
            wettest_kg=wettest,
        )
        request = replace(request, hanging_mass_kg=None)
    hanging = hanging_piece(request=request, cut=cut, green=green, dose=draft, library=library)
    target = target_of(
        request=request,
        purpose=purpose,
        cut=cut,
        hanging=hanging,
        library=library,
        criteria=criteria,
        against=against,
    )
    finished = target.mass.value if target is not None else hanging.mass_kg
    dose = with_kept_salt(dose=dose_of(request, finished, against), time=time)
    return _Made(request=request, green=green, dose=dose, time=time, hanging=hanging, target=target)


def _one_of(table: str, field: str, given: str, library: Library, against: Objections) -> Row | None:
    try:
        return library.row(table, given)
    except NotFound:
        known = ", ".join(row.ref.partition(":")[2] for row in library.rows(table))
        against.refuse("not_one_of", field, given, known)
        return None


def _sound(request: PieceRequest, cut: Row, library: Library, against: Objections) -> None:
    """What cannot be a piece at all."""
    mix = request.mix
    given: list[tuple[str, str, float | None]] = [
        ("green_weight", "green_weight", request.green_mass_kg),
        ("thickness", "thickness", request.thickness_m),
        ("length", "length", request.length_m),
        ("width", "width", request.width_m),
        ("scale_step", "scale_step", request.scale_step_kg),
        ("salting_days", "salting_days", request.salting_time_s),
        ("salting_temperature", "salting_temperature", request.salting_temp_c),
        ("chamber_temperature", "chamber_temperature", request.chamber_temp_c),
        ("chamber_humidity", "chamber_humidity", request.chamber_humidity_frac),
        ("salt_share", "salt_share", request.salt_frac),
        ("sugar_share", "sugar_share", request.sugar_frac),
        ("nitrite_aim", "nitrite_aim", request.nitrite_frac),
        ("fat_share", "fat_share", request.fat_frac),
        ("water_share", "water_share", request.water_frac),
        ("target_mass", "target_mass", request.target_mass_kg),
        ("loss_from_hanging", "loss_from_hanging", request.target_loss_frac),
        ("hanging_weight", "hanging_weight", request.hanging_mass_kg),
        ("mix_nitrite_share", "mix_nitrite_share", mix.nitrite_frac if mix else None),
        ("mix_nitrate_share", "mix_nitrate_share", mix.nitrate_frac if mix else None),
        ("mix_salt_share", "mix_salt_share", mix.salt_frac if mix else None),
        *((f"spices.{name}", "spice_share", share) for name, share in request.spices.items()),
        ("rest_days", "rest_days", request.rest_time_s),
        *_chosen(request),
    ]
    bad = False
    for field, name, value in given:
        found = entry(name)
        if value is None or found.possible is None:
            continue
        low, high = found.possible
        if not low <= value <= high:  # NaN lies in no interval
            against.refuse(
                "impossible", field, f"{value:g}", quantity=name, kind=found.kind, low=low, high=high
            )
            bad = True
    if bad:
        return
    _shape(request, library, against)
    hold_method(request=request, library=library, against=against)
    if request.skin_on and request.shape != "slab":
        against.refuse("skin_needs_slab", "shape", request.shape, "slab")
    if request.skin_on and cut.text("bacon_like") != "yes":
        against.refuse("skin_share_unknown", "skin_on", cut.text("label"))


def _chosen(request: PieceRequest) -> list[tuple[str, str, float | None]]:
    """Numbers of brine, applications and freezing."""
    brine, twice, freezing = request.brine, request.twice, request.freezing
    found: list[tuple[str, str, float | None]] = []
    if brine is not None:
        found += [
            ("brine_mass", "brine_mass", brine.mass_kg),
            ("brine_uptake", "brine_uptake", brine.uptake_frac),
            ("brine_strength", "brine_strength", brine.strength_frac),
            ("needle_spacing", "needle_spacing", brine.spacing_m),
        ]
    if twice is not None:
        found += [
            ("first_share", "first_share", twice.first_frac),
            ("first_days", "first_days", twice.first_time_s),
            ("drained_mass", "drained_mass", twice.drained_kg),
            ("drained_salt", "drained_salt", twice.drained_salt_frac),
        ]
    if freezing is not None:
        found += [
            ("freezer_temperature", "freezer_temperature", freezing.temp_c),
            ("freezing_days", "freezing_days", freezing.time_s),
        ]
    return found


def _shape(request: PieceRequest, library: Library, against: Objections) -> None:
    """A cut heavier than its measures can hold was measured wrongly; so was one far too light."""
    if request.shape == "slab":
        if request.width_m is None:
            against.refuse("missing", "width")
            return
        volume = request.thickness_m * request.width_m * request.length_m
    else:
        volume = math.pi / 4.0 * request.thickness_m**2 * request.length_m
    density = request.green_mass_kg / volume
    most = library.row(RULES, "density_most").number("kg_per_m3")
    least = library.row(RULES, "density_least").number("kg_per_m3")
    if density > most:
        against.refuse(
            "heavier_than_its_shape",
            "green_weight",
            f"{request.green_mass_kg:g} kg",
            f"{most * volume:.2f} kg",
            most_kg=most * volume,
            mass_kg=request.green_mass_kg,
        )
    elif density < least:
        against.doubt(
            "lighter_than_its_shape",
            "green_weight",
            f"{request.green_mass_kg:g} kg",
            f"{least * volume:.2f} kg",
            least_kg=least * volume,
            mass_kg=request.green_mass_kg,
        )


def _cold_chain(request: PieceRequest, library: Library, against: Objections) -> None:
    """Warm without enough salt, or without cure mix, only with a written reason."""
    cold, floor = library.row(RULES, "cure_cold"), library.row(RULES, "salt_floor")
    if request.salting_temp_c > cold.number("temp_c"):
        against.doubt(
            "salting_too_warm",
            "salting_temperature",
            f"{request.salting_temp_c:g} C",
            f"{cold.number('temp_c'):g} C",
            temp_c=request.salting_temp_c,
            limit_c=cold.number("temp_c"),
        )
    if request.chamber_temp_c <= floor.number("temp_c"):
        return
    if request.mix is None or request.nitrite_frac == 0:
        against.doubt(
            "no_cure_mix_warm", "cure_mix_dose", temp_c=request.chamber_temp_c, limit_c=floor.number("temp_c")
        )


def _salt_floor(request: PieceRequest, dose: Dose, library: Library, against: Objections) -> None:
    """Warm with too little salt only with a written reason; what was drained away is taken off first."""
    floor = library.row(RULES, "salt_floor")
    if request.chamber_temp_c <= floor.number("temp_c"):
        return
    kept = next((amount.value for amount in dose.kept if amount.quantity == "salt_kept"), None)
    salt = request.salt_frac if kept is None else kept
    # salt that was weighed is told to the step of its scale; salt that is planned is exact
    told = request.scale_step_kg / request.green_mass_kg if request.hanging_mass_kg is not None else 0.0
    if salt + told < floor.number("pct") * (1 - 1e-9):
        against.doubt(
            "salt_below_floor",
            "salt_share",
            f"{salt * 100:g} %",
            f"{floor.number('pct') * 100:g} %",
            salt_frac=salt,
            floor_frac=floor.number("pct"),
            temp_c=request.chamber_temp_c,
            limit_c=floor.number("temp_c"),
        )


def _poultry(
    request: PieceRequest, cut: Row, time: SaltingTime, library: Library, against: Objections
) -> None:
    """Raw poultry for longer than is published for a kitchen, or hung out of the cold, only with a reason."""
    if cut.text("species") != "poultry":
        return
    most, cold = library.row(RULES, "poultry_in_salt"), library.row(RULES, "salt_floor")
    days = time.days + time.rest_days
    if days > most.number("days") / DAY_S:
        against.doubt(
            "poultry_long_in_salt",
            "salting_days",
            f"{days} d",
            f"{most.number('days') / DAY_S:g} d",
            days=days,
            most_s=most.number("days"),
        )
    if request.chamber_temp_c > cold.number("temp_c"):
        against.doubt(
            "poultry_hung_warm",
            "chamber_temperature",
            f"{request.chamber_temp_c:g} C",
            f"{cold.number('temp_c'):g} C",
            temp_c=request.chamber_temp_c,
            limit_c=cold.number("temp_c"),
        )
