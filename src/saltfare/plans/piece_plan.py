"""A plan of one piece: what it is for, what is weighed out, how long it lies, what mass it comes to.

Refusals are collected, so that everything against a plan is said at once. A doubt that may be overruled
is kept with the reason written under its code.
"""

from __future__ import annotations

import math
from dataclasses import replace

from saltfare.core.errors import NotFound, OutOfRange
from saltfare.core.figure import Note
from saltfare.core.glossary import entry
from saltfare.core.library import Library
from saltfare.core.tables import Row
from saltfare.models import salt_diffusion
from saltfare.plans.piece_dose import weigh_out
from saltfare.plans.piece_parts import (
    Amount,
    Dose,
    Hanging,
    Kept,
    MixLabel,
    Objections,
    PiecePlan,
    PieceRequest,
    SaltingTime,
    Step,
    Target,
)
from saltfare.plans.piece_steps import cautions_of, steps_of
from saltfare.plans.piece_target import green_composition, hanging_piece, target_of

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
_DAY_S = 86400.0
_LONGEST_DAYS = 365


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
    _cold_chain(request, library, against)
    made: tuple[Hanging, Target | None, Dose, SaltingTime] | None = None
    try:
        made = _computed(request, purpose, cut, library, against)
    except OutOfRange as out:
        # what was asked lies beyond a model; what else stands against the plan is said with it
        against.refuse(
            "outside_model",
            "",
            f"{out.value:g}",
            f"{out.low:g}-{out.high:g}",
            quantity=out.quantity,
            value=out.value,
            low=out.low,
            high=out.high,
        )
    kept = against.settle()
    if made is None:
        raise AssertionError("a plan outside its models was not refused")
    hanging, target, dose, time = made
    if target is None:
        raise AssertionError("a plan without a target was not refused")
    steps = steps_of(
        request=request,
        cut=cut,
        dose=dose,
        time=time,
        hanging=hanging,
        target=target,
        liquid=library.row(RULES, "bag_liquid"),
        cold=library.row(RULES, "cure_cold"),
    )
    return PiecePlan(
        request=request,
        purpose=purpose,
        cut=cut,
        dose=dose,
        time=time,
        hanging=hanging,
        target=target,
        steps=steps,
        cautions=cautions_of(cut=cut),
        kept=kept,
    )


def _computed(
    request: PieceRequest, purpose: Row, cut: Row, library: Library, against: Objections
) -> tuple[Hanging, Target | None, Dose, SaltingTime]:
    """Dose, days, piece at hanging and target. Raises OutOfRange."""
    green = green_composition(request=request, cut=cut, against=against)
    # the finished mass bounds what nitrite is left, and the salt weighed decides the finished mass
    draft = weigh_out(
        request=request,
        cut=cut,
        target_kg=request.green_mass_kg,
        library=library,
        against=Objections(request.reasons),
    )
    wettest = request.green_mass_kg + draft.salt_kg + draft.sugar_kg
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
        request=request, purpose=purpose, cut=cut, hanging=hanging, library=library, against=against
    )
    finished = target.mass.value if target is not None else hanging.mass_kg
    dose = weigh_out(request=request, cut=cut, target_kg=finished, library=library, against=against)
    time = _salting_time(request, library)
    if time.days > _LONGEST_DAYS:
        against.refuse(
            "salting_over_a_year",
            "thickness" if request.salting_time_s is None else "salting_days",
            f"{time.days} d",
            f"{_LONGEST_DAYS} d",
            days=time.days,
        )
    return hanging, target, dose, time


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
    if request.skin_on and request.shape != "slab":
        against.refuse("skin_needs_slab", "shape", request.shape, "slab")
    if request.skin_on and cut.text("bacon_like") != "yes":
        against.refuse("skin_share_unknown", "skin_on", cut.text("label"))


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
    # salt that was weighed is told to the step of its scale; salt that is planned is exact
    told = request.scale_step_kg / request.green_mass_kg if request.hanging_mass_kg is not None else 0.0
    if request.salt_frac + told < floor.number("pct") * (1 - 1e-9):
        against.doubt(
            "salt_below_floor",
            "salt_share",
            f"{request.salt_frac * 100:g} %",
            f"{floor.number('pct') * 100:g} %",
            salt_frac=request.salt_frac,
            floor_frac=floor.number("pct"),
            temp_c=request.chamber_temp_c,
            limit_c=floor.number("temp_c"),
        )
    if request.mix is None or request.nitrite_frac == 0:
        against.doubt(
            "no_cure_mix_warm", "cure_mix_dose", temp_c=request.chamber_temp_c, limit_c=floor.number("temp_c")
        )


def _salting_time(request: PieceRequest, library: Library) -> SaltingTime:
    """Days in salt: the longer of what diffusion and what the trade ask for, unless days were typed."""
    salt, share = library.row("diffusion_salt", "nacl_span"), library.row(RULES, "centre_share")
    inch = library.row(RULES, "trade_days")
    part = share.number("pct")

    def until(column: str) -> float:
        return salt_diffusion.time_from_centre_share(
            centre_frac=part,
            thickness_m=request.thickness_m,
            shape=request.shape,
            is_one_sided=request.skin_on,
            diffusivity_m2_per_s=salt.number(column),
        )

    fast, best, slow = until("d_high"), until("d"), until("d_low")
    trade = salt_diffusion.time_trade_inch(
        thickness_m=request.thickness_m,
        time_per_step_s=inch.number("days"),
        step_m=inch.number("inches"),
    )
    typed = request.salting_time_s
    days = math.ceil((typed if typed is not None else max(best, trade)) / _DAY_S - 1e-9)
    planned = days * _DAY_S
    common: dict[str, str | float | int | None] = {
        "thickness_m": request.thickness_m,
        "shape": request.shape,
        "is_one_sided": int(request.skin_on),
        "diffusivity_m2_per_s": salt.number("d"),
    }

    def reached(column: str) -> float:
        return salt_diffusion.centre_share_at(
            time_s=planned,
            thickness_m=request.thickness_m,
            shape=request.shape,
            is_one_sided=request.skin_on,
            diffusivity_m2_per_s=salt.number(column),
        )

    through = Amount(
        quantity="salt_through",
        value=best,
        kind="time",
        model=salt_diffusion.time_from_centre_share,
        inputs={"centre_frac": part, **common},
        rows=(salt, share),
        low=fast,
        high=slow,
        interval="published_spread",
    )
    counted = Amount(
        quantity="trade_days",
        value=trade,
        kind="time",
        model=salt_diffusion.time_trade_inch,
        inputs={"thickness_m": request.thickness_m},
        rows=(inch,),
    )
    centre = Amount(
        quantity="centre_share",
        value=reached("d"),
        kind="fraction",
        model=salt_diffusion.centre_share_at,
        inputs={"time_s": planned, **common},
        rows=(salt,),
        low=reached("d_low"),
        high=reached("d_high"),
        interval="published_spread",
    )
    by = counted if typed is None and trade > best else through
    chosen = Amount(
        quantity="salting_days", value=planned, kind="time", model=by.model, inputs=by.inputs, rows=by.rows
    )
    notes = [Note("dissolved_at_once")]
    if typed is not None and planned < best:
        notes.append(
            Note("salting_short", {"planned_s": planned, "through_s": best, "centre_frac": centre.value})
        )
    if trade < 0.9 * best:
        notes.append(Note("trade_falls_short", {"trade_s": trade, "through_s": best}))
    return SaltingTime(
        days=days, planned=chosen, through=through, trade=counted, centre=centre, notes=tuple(notes)
    )
