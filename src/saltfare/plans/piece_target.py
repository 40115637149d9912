"""The piece as it will hang, the mass aimed at, and what that mass may and may not claim.

Everything here is computed, so no claim is ever met: a line is missed where even the favourable side
of the estimate misses it, else it cannot be told without a measurement.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from saltfare.core.errors import OutOfRange
from saltfare.core.figure import Note, Provenance, Verdict
from saltfare.core.library import Library
from saltfare.core.tables import Row
from saltfare.models import drying_piece, salting
from saltfare.models.criteria import Criteria, verdict
from saltfare.models.criteria_facts import Fact, Facts
from saltfare.models.sorption import ProteinIsotherm
from saltfare.plans.piece_brine import water_sign
from saltfare.plans.piece_parts import (
    BRINES,
    NEEDLES,
    AimedBy,
    Amount,
    Dose,
    Hanging,
    Objections,
    PieceRequest,
    Target,
)

RULES = "salting_rules"
ISOTHERM = ("isotherms", "lean_meat")


@dataclass(frozen=True, slots=True)
class Green:
    """Water and fat of the piece before salting, shares of green weight."""

    water_frac: float
    fat_frac: float


def green_composition(*, request: PieceRequest, cut: Row, against: Objections) -> Green:
    """The cut's composition with what the person knows better laid over it.

    A typed fat share keeps the water of what is not fat, which hardly differs from lean loin to belly.

    Source
    ------
    usda_sr28, raw cuts
    saltfare_derived, water of the fat-free part
    """
    fat = request.fat_frac if request.fat_frac is not None else cut.number("fat_pct")
    scaled = cut.number("water_pct") / (1.0 - cut.number("fat_pct")) * (1.0 - fat)
    water = request.water_frac if request.water_frac is not None else scaled
    lean, solids = 1.0 - fat, 1.0 - water - fat
    # raw lean is a fifth to a third dry; below 0.03 of the whole (bare fat) nothing here is about it
    if not (solids >= 0.03 and 0.12 <= solids / lean <= 0.45):
        against.refuse(
            "composition_does_not_add",
            "water_share" if request.water_frac is not None else "fat_share",
            f"{water * 100:.0f} % + {fat * 100:.0f} %",
            water_frac=water,
            fat_frac=fat,
        )
        return Green(cut.number("water_pct"), cut.number("fat_pct"))
    return Green(water, fat)


def _losses(request: PieceRequest, dose: Dose, library: Library) -> tuple[tuple[float, ...], Row]:
    """Net loss in salt: least, usual, most, below zero for a gain; and its row."""

    def ends(row: Row, sign: float, shift: float = 0.0) -> tuple[tuple[float, ...], Row]:
        found = sorted(sign * row.number(end) + shift for end in ("pct_low", "pct", "pct_high"))
        return tuple(found), row

    if request.method in NEEDLES and request.brine is not None:
        pumped = request.brine.uptake_frac or 0.0
        return ends(library.row(RULES, "pump_drip"), 1.0, -pumped)
    if request.method in BRINES:
        made = {amount.quantity: amount.value for amount in dose.brine}
        salt_kg = made["brine_strength"] * made["brine_mass"]
        sign = water_sign(salt_kg_per_m3=salt_kg / made["brine_volume"], library=library)
        if sign < 0:
            return ends(library.row(RULES, "net_loss_strong_brine"), 1.0)
        return ends(library.row(RULES, "net_gain_immersed"), -1.0)
    return ends(library.row(RULES, "net_loss_in_salt"), 1.0)


def hanging_piece(*, request: PieceRequest, cut: Row, green: Green, dose: Dose, library: Library) -> Hanging:
    """The piece at hanging: estimated from the usual net loss in salt, or from its weighed mass."""
    losses, rule = _losses(request, dose, library)
    whole = request.green_mass_kg
    if request.hanging_mass_kg is not None:
        losses = (salting.loss_between(before_kg=whole, after_kg=request.hanging_mass_kg),) * 3
    compose = salting.salted_composition_taken if dose.stays else salting.salted_composition
    kept = next((amount.value * dose.base_kg for amount in dose.kept if amount.quantity == "salt_kept"), None)
    salt, sugar = (dose.salt_kg if kept is None else kept) / whole, dose.sugar_kg / whole

    def left(loss: float) -> salting.Salted:
        return compose(
            water_frac=green.water_frac,
            fat_frac=green.fat_frac,
            salt_frac=salt,
            sugar_frac=sugar,
            net_loss_frac=loss,
        )

    little, middle, much = (left(loss) for loss in losses)
    inputs = {
        "water_frac": green.water_frac,
        "fat_frac": green.fat_frac,
        "salt_frac": salt,
        "sugar_frac": sugar,
        "net_loss_frac": losses[1],
    }
    measured = request.hanging_mass_kg is not None

    def amount(quantity: str, of: Callable[[salting.Salted], float], kind: str) -> Amount:
        ends = sorted((of(little), of(much)))
        return Amount(
            quantity=quantity,
            value=of(middle),
            kind=kind,
            model=compose,
            inputs=inputs,
            rows=(cut,) if measured else (cut, rule),
            low=None if measured else ends[0],
            high=None if measured else ends[1],
            interval=None if measured else "practice_range",
        )

    return Hanging(
        water_kg=middle.water_frac * whole,
        fat_kg=middle.fat_frac * whole,
        solids_kg=middle.solids_frac * whole,
        salt_kg=middle.salt_frac * whole,
        sugar_kg=middle.sugar_frac * whole,
        is_measured=measured,
        mass=amount("hanging_weight", lambda s: s.mass_frac * whole, "mass"),
        water=amount("water_at_hanging", lambda s: s.water_frac / s.mass_frac, "fraction"),
        fat=amount("fat_at_hanging", lambda s: s.fat_frac / s.mass_frac, "fraction"),
        salt=amount("salt_at_hanging", lambda s: s.salt_frac / s.mass_frac, "fraction"),
    )


def mass_at_aw(*, aw: float, hanging: Hanging, protein: ProteinIsotherm) -> float:
    """Mass of the whole piece in balance at a water activity [kg]. Sugar lies by and holds no water.

    Source
    ------
    additive_rule_chosen, isopiestic addition of protein and brine
    """
    shares = _shares(hanging)
    return hanging.sugar_kg + float(drying_piece.mass_at_aw(aw=aw, **shares, protein=protein))


def aw_at_mass(*, mass_kg: float, hanging: Hanging, protein: ProteinIsotherm) -> float:
    """Water activity of the whole piece, evenly spread, at a mass. Inverse of `mass_at_aw`.

    Source
    ------
    additive_rule_chosen, isopiestic addition of protein and brine
    """
    left = mass_kg - hanging.sugar_kg
    return float(drying_piece.aw_at_mass(mass_kg=left, **_shares(hanging), protein=protein))


def _shares(hanging: Hanging) -> dict[str, float]:
    """The piece without its sugar, as the drying model takes it."""
    whole = hanging.mass_kg - hanging.sugar_kg
    return {
        "hanging_kg": whole,
        "water_frac": hanging.water_kg / whole,
        "fat_frac": hanging.fat_kg / whole,
        "salt_frac": hanging.salt_kg / whole,
    }


def target_of(
    *,
    request: PieceRequest,
    purpose: Row,
    cut: Row,
    hanging: Hanging,
    library: Library,
    criteria: Criteria,
    against: Objections,
) -> Target | None:
    """The mass aimed at; None where something was refused on the way."""
    isotherm = library.row(*ISOTHERM)
    protein = ProteinIsotherm.from_row(isotherm)
    air = request.chamber_humidity_frac
    if not protein.aw_low <= air <= protein.aw_high:
        against.refuse("humidity_out_of_isotherm", "chamber_humidity", f"{air * 100:g} %", kind="fraction")
        return None
    floor_kg = mass_at_aw(aw=air, hanging=hanging, protein=protein)
    mass_kg, aimed_by, trace = _aim(request, purpose, cut, hanging, library, protein, against)
    if mass_kg is None:
        return None
    most = salting.loss_between(before_kg=hanging.mass_kg, after_kg=floor_kg)
    loss = salting.loss_between(before_kg=hanging.mass_kg, after_kg=mass_kg)
    field = {"typed_mass": "target_mass", "typed_loss": "loss_from_hanging"}.get(aimed_by, "purpose")
    if mass_kg >= hanging.mass_kg:
        given, allowed = f"{mass_kg:.3f} kg", f"{hanging.mass_kg:.3f} kg"
        against.refuse("target_not_below_hanging", field, given, allowed)
        return None
    if mass_kg < floor_kg:
        if aimed_by == "aw":
            aw = float(trace[1]["aw"])
            against.refuse(
                "carried_needs_drier_air",
                "chamber_humidity",
                f"{air * 100:g} %",
                f"{aw * 100:g} %",
                air_frac=air,
                aw_frac=aw,
            )
        else:
            against.refuse(
                "target_beyond_ceiling",
                field,
                f"{loss * 100:.0f} %",
                f"{most * 100:.0f} %",
                loss_frac=loss,
                ceiling_frac=most,
                air_frac=air,
            )
        return None
    model, inputs, rows = trace
    edge = hanging.mass
    spread = not hanging.is_measured and aimed_by in ("usual_loss", "typed_loss")
    low = high = None
    if spread and edge.low is not None and edge.high is not None:
        low, high = (mass_kg * end / hanging.mass_kg for end in (edge.low, edge.high))
    mass = Amount(
        quantity="target_mass",
        value=mass_kg,
        kind="mass",
        model=model,
        inputs=inputs,
        rows=rows,
        low=low,
        high=high,
        interval="practice_range" if spread else None,
    )
    aw_amount = _aw_amount(mass_kg, hanging, request, library, protein, isotherm)
    notes = [Note("target_refigured_at_hanging")] if spread else []
    if loss > 0.9 * most:
        notes.append(Note("target_near_ceiling", {"loss_frac": loss, "ceiling_frac": most}))
    if aimed_by == "usual_loss":
        notes.append(Note(f"loss_known_{cut.text('loss_known')}"))
    return Target(
        aimed_by=aimed_by,
        mass=mass,
        loss_from_hanging=_loss("loss_from_hanging", hanging.mass_kg, mass_kg),
        loss_from_green=_loss("loss_from_green", request.green_mass_kg, mass_kg),
        ceiling=Amount(
            quantity="loss_ceiling",
            value=most,
            kind="fraction",
            model=drying_piece.loss_ceiling_frac,
            inputs={"rh_frac": air, **_shares(hanging)},
            rows=(isotherm,),
        ),
        aw=aw_amount,
        claims=tuple(
            _claim(line, aw_amount, purpose, cut, criteria) for line in purpose.text("lines").split()
        ),
        notes=tuple(notes),
    )


_Trace = tuple[Callable[..., Any], dict[str, float], tuple[Row, ...]]


def _aim(
    request: PieceRequest,
    purpose: Row,
    cut: Row,
    hanging: Hanging,
    library: Library,
    protein: ProteinIsotherm,
    against: Objections,
) -> tuple[float | None, AimedBy, _Trace]:
    """The mass aimed at, by what, and its trace."""
    nothing: _Trace = (salting.mass_after_loss, {}, ())
    typed_mass, typed_loss = request.target_mass_kg, request.target_loss_frac
    if typed_mass is not None and typed_loss is not None:
        against.refuse("two_targets", "target_mass", f"{typed_mass:g} kg, {typed_loss * 100:g} %")
        return None, "typed_mass", nothing
    if typed_mass is not None:
        return typed_mass, "typed_mass", (salting.mass_after_loss, {"typed_kg": typed_mass}, ())
    if typed_loss is not None or purpose.text("aims_at") == "usual_loss":
        loss = typed_loss if typed_loss is not None else cut.number("loss_aim_pct")
        mass = salting.mass_after_loss(before_kg=hanging.mass_kg, loss_frac=loss)
        inputs = {"before_kg": hanging.mass_kg, "loss_frac": loss}
        if typed_loss is not None:
            return mass, "typed_loss", (salting.mass_after_loss, inputs, ())
        return mass, "usual_loss", (salting.mass_after_loss, inputs, (cut, purpose))
    sd, doubt = library.row(RULES, "isotherm_sd"), library.row(RULES, "isotherm_doubt")
    aw = purpose.number("aw") - doubt.number("count") * sd.number("pct")
    mass = mass_at_aw(aw=aw, hanging=hanging, protein=protein)
    rows = (purpose, library.row(*ISOTHERM), sd, doubt)
    return mass, "aw", (drying_piece.mass_at_aw, {"aw": aw, **_shares(hanging)}, rows)


def _loss(quantity: str, before_kg: float, after_kg: float) -> Amount:
    return Amount(
        quantity=quantity,
        value=salting.loss_between(before_kg=before_kg, after_kg=after_kg),
        kind="fraction",
        model=salting.loss_between,
        inputs={"before_kg": before_kg, "after_kg": after_kg},
    )


def _aw_amount(
    mass_kg: float,
    hanging: Hanging,
    request: PieceRequest,
    library: Library,
    protein: ProteinIsotherm,
    isotherm: Row,
) -> Amount:
    """Water activity at the target, with twice the isotherm's error and the spread of the meat's water."""
    sd, doubt = library.row(RULES, "isotherm_sd"), library.row(RULES, "isotherm_doubt")
    spread = library.row(RULES, "green_water_spread")
    error = doubt.number("count") * sd.number("pct")
    shift = spread.number("pct") * (request.green_mass_kg - hanging.fat_kg)

    def at(more_water_kg: float) -> float:
        """Had it held more water, and so much less dry lean, from the start."""
        other = replace(
            hanging,
            water_kg=hanging.water_kg + more_water_kg,
            solids_kg=hanging.solids_kg - more_water_kg,
        )
        return aw_at_mass(mass_kg=mass_kg, hanging=other, protein=protein)

    value = aw_at_mass(mass_kg=mass_kg, hanging=hanging, protein=protein)
    ends = []
    for more in (-shift, shift):
        try:
            ends.append(at(more))
        except OutOfRange:  # drier or wetter than the isotherm reaches: nothing is known on that side
            ends.append(0.0 if more < 0 else 1.0)
    ends.sort()
    return Amount(
        quantity="water_activity",
        value=value,
        kind="ratio",
        model=drying_piece.aw_at_mass,
        inputs={"mass_kg": mass_kg - hanging.sugar_kg, **_shares(hanging)},
        rows=(isotherm, sd, doubt, spread),
        low=max(min(ends[0], value) - error, 0.0),
        high=min(max(ends[1], value) + error, 1.0),
        interval="isotherm_error",
    )


# How a piece would be kept for a line to speak of it: the question put, not a claim about the piece.
_KEPT: dict[str, tuple[str, str]] = {"aw_sealed_0_91": ("vacuum", "warm")}


def _claim(line: str, aw: Amount, purpose: Row, cut: Row, criteria: Criteria) -> Verdict:
    """A published criterion put to the estimate at the target mass, were it kept as the criterion asks."""
    criterion = next(c for c in criteria.all if c.id == line)
    favourable = aw.low if aw.low is not None else aw.value
    packed, kept = _KEPT.get(line, ("air", "warm"))
    facts = Facts(
        species=Fact(cut.text("animal"), Provenance.MEASURED),
        packaging=Fact(packed, Provenance.MEASURED),
        kept=Fact(kept, Provenance.MEASURED),
        water_activity=Fact(aw.value, Provenance.ESTIMATED, error=aw.value - favourable),
    )
    found = verdict(
        criterion=criterion, facts=facts, book=criteria.book, instead=purpose.text("instead").split()
    )
    if found is None:
        raise AssertionError(f"{line} is not about {cut.text('animal')}")
    return found
