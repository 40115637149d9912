"""Whether what was chosen for the salting makes sense: method, brine, applications, bone."""

from __future__ import annotations

from saltfare.core.library import Library
from saltfare.plans.piece_parts import BRINES, NEEDLES, Objections, PieceRequest

RULES = "salting_rules"


def hold_method(*, request: PieceRequest, library: Library, against: Objections) -> None:
    """Refuse what does not go together. Numbers are within their possible ranges by now."""
    method, brine, twice = request.method, request.brine, request.twice
    if request.bone_in:
        against.refuse("bone_in", "bone_in", "yes", "no")
    if method == "excess_salt" and request.mix is not None and request.nitrite_frac != 0:
        against.refuse("cure_in_excess_salt", "mix", request.mix.name)
    if twice is not None and method != "weighed_dose":
        against.refuse("twice_is_rubbed", "applications", method, "weighed_dose")
    if method in BRINES or method in NEEDLES:
        _hold_brine(request, against)
    elif brine is not None:
        against.refuse("brine_not_used", "brine_mass", method)
    if twice is not None:
        _hold_drained(request, library, against)


def _hold_brine(request: PieceRequest, against: Objections) -> None:
    brine, method = request.brine, request.method
    if brine is None:
        against.refuse("missing", "brine_mass")
        return
    if method != "brine_equilibrium":
        if brine.uptake_frac is None:
            against.refuse("missing", "brine_uptake")
        elif brine.uptake_frac * request.green_mass_kg > brine.mass_kg * (1 + 1e-9):
            against.refuse(
                "brine_too_little",
                "brine_mass",
                f"{brine.mass_kg:g} kg",
                f"{brine.uptake_frac * request.green_mass_kg:g} kg",
                brine_kg=brine.mass_kg,
                taken_kg=brine.uptake_frac * request.green_mass_kg,
            )
    if method == "pumped_rubbed" and brine.strength_frac is None:
        against.refuse("missing", "brine_strength")


def _hold_drained(request: PieceRequest, library: Library, against: Objections) -> None:
    """A drained liquid holds no more salt than saturates it, or than had gone on."""
    twice = request.twice
    if twice is None or twice.drained_kg is None or twice.drained_salt_frac is None:
        return
    first = twice.first_frac
    if first is None:
        first = library.row(RULES, "first_share").number("pct")
    applied = first * request.salt_frac * request.green_mass_kg
    most = min(applied, library.row(RULES, "salt_saturation").number("pct") * twice.drained_kg)
    gone = twice.drained_kg * twice.drained_salt_frac
    # salt on a skin-on piece is a tenth less than counted here: the model then refuses what this lets pass
    if gone > most * (1 + 1e-9):
        against.refuse(
            "drained_impossible",
            "drained_salt",
            f"{twice.drained_salt_frac * 100:g} %",
            gone_kg=gone,
            most_kg=most,
        )
