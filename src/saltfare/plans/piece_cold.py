"""Before a piece leaves the cold: is every part computed low enough in water activity, and what would help.

Everything here is computed, so the published line is never met. The least salted part is the middle, at
the water it came with: the water drawn off comes from outside.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from saltfare.core.errors import OutOfRange
from saltfare.core.figure import Answer, Evidence, Note, Provenance, Verdict
from saltfare.core.library import Library
from saltfare.core.tables import Row
from saltfare.models import salt_profile, sorption
from saltfare.models.sorption import ProteinIsotherm
from saltfare.plans.piece_parts import Amount, Dose, Hanging, LeavingCold, PieceRequest, SaltingTime, Target
from saltfare.plans.piece_target import ISOTHERM, Green, mass_at_aw
from saltfare.plans.piece_time import DAY_S, LONG, STEPS, Setting, setting_of

RULES = "salting_rules"
CRITERION = "cold_exit_0_96"


def aw_of_parts(*, salt_ratios: Sequence[float], green: Green, protein: ProteinIsotherm) -> list[float]:
    """Water activities of parts with their own water and so much salt per kg of it; 1 beyond the isotherm.

    Source
    ------
    additive_rule_chosen, isopiestic addition of protein and brine
    """
    water = _water(green)
    salts = np.array([ratio * water for ratio in salt_ratios])
    try:
        return [
            float(a) for a in sorption.aw_salted_meat(water_ratio=water, salt_ratio=salts, protein=protein)
        ]
    except OutOfRange:  # wetter or saltier than the isotherm reaches: nothing comforting is known
        return [1.0 for _ in salt_ratios]


def salt_at_aw(*, aw: float, green: Green, protein: ProteinIsotherm) -> float | None:
    """Salt per kg of its own water that brings a part to a water activity; None where it is there without.

    Brine and protein lie side by side, so water goes in a straight line with salt.

    Source
    ------
    additive_rule_chosen, isopiestic addition of protein and brine
    """
    water = _water(green)
    bare = float(sorption.water_ratio_salted_meat(aw=aw, salt_ratio=0.0, protein=protein))
    salted = float(sorption.water_ratio_salted_meat(aw=aw, salt_ratio=1.0, protein=protein))
    return (water - bare) / (salted - bare) / water if water > bare else None


def _water(green: Green) -> float:
    """kg of water per kg of fat-free solids."""
    return green.water_frac / (1.0 - green.water_frac - green.fat_frac)


def leaving_cold(
    *,
    request: PieceRequest,
    green: Green,
    dose: Dose,
    time: SaltingTime,
    hanging: Hanging,
    target: Target,
    library: Library,
) -> LeavingCold | None:
    """The line before the cold is left; None for a piece that stays in the cold."""
    line = library.row(RULES, "cold_exit")
    if request.chamber_temp_c <= line.number("temp_c"):
        return None
    isotherm = library.row(*ISOTHERM)
    protein = ProteinIsotherm.from_row(isotherm)
    limit = line.number("aw")
    sd, doubt = library.row(RULES, "isotherm_sd"), library.row(RULES, "isotherm_doubt")
    error = sd.number("pct") * doubt.number("count")
    rows = (isotherm, sd, doubt)
    at = setting_of(request=request, dose=dose, water_frac=green.water_frac, library=library)

    def figure(quantity: str, values: list[float], inputs: dict[str, float]) -> Amount:
        value = values[len(values) // 2]
        return Amount(
            quantity=quantity,
            value=value,
            kind="ratio",
            model=sorption.aw_salted_meat,
            inputs={**inputs, "water_frac": green.water_frac, "fat_frac": green.fat_frac},
            rows=rows,
            low=max(min(values) - error, 0.0),
            high=min(max(values) + error, 1.0),
            interval="isotherm_error",
        )

    middles = [profile.centre for profile in time.profiles]
    evens = [profile.mean for profile in time.profiles]
    found = aw_of_parts(salt_ratios=[*middles, *evens], green=green, protein=protein)
    least = figure("aw_least_salted", found[:3], {"salt_ratio": middles[1]})
    even = figure("aw_even_salt", found[3:], {"salt_ratio": evens[1]})
    favourable = least.low if least.low is not None else least.value
    answer = Answer.DOES_NOT_MEET if favourable > limit else Answer.CANNOT_TELL
    needed = salt_at_aw(aw=limit, green=green, protein=protein)
    rest = salt = cold_mass = None
    notes: list[Note] = []
    if least.value > limit:
        if needed is not None and evens[1] > needed:
            rest = _rest(at, time, needed)
        if needed is not None:
            salt = _more_salt(at, dose, time, needed, isotherm, line)
        cold_mass = _cold_mass(limit, hanging, target, protein, isotherm, line)
        notes = _ways(rest, salt, cold_mass, hanging, target, line)
    verdict = Verdict(
        criterion=CRITERION,
        edition=line.text("locator"),
        answer=answer,
        margin=limit - least.value,
        evidence=(Evidence("aw_least_salted", least.value, Provenance.ESTIMATED),),
        settles=(Note("measure_aw_before_warm", {"limit": limit}),),
        instead=tuple(notes) or (Note("kept_cold"),),
        cautions=(Note("cold_exit_is_for_hams"),),
    )
    return LeavingCold(
        verdict=verdict,
        least_salted=least,
        even=even,
        rest=rest,
        salt=salt,
        cold_mass=cold_mass,
        notes=tuple(notes),
    )


def _rest(at: Setting, time: SaltingTime, needed: float) -> Amount | None:
    """More days of cold rest until the middle has enough, where the whole has enough."""
    waits = []
    for profile, diffusivity in zip(time.profiles, at.diffusivity, strict=True):
        course = salt_profile.course_of_salt(
            profile=profile, reservoir=None, fourier=LONG, steps=STEPS, relative=None
        )
        found = salt_profile.fourier_from_share(course=course, salt_ratio=needed, of="centre")
        if found is None:
            return None
        waits.append(at.time(found, diffusivity))
    days = [math.ceil(wait / DAY_S - 1e-9) * DAY_S for wait in waits]
    return Amount(
        quantity="rest_more",
        value=days[1],
        kind="time",
        model=salt_profile.course_of_salt,
        inputs={"salt_ratio": needed, **at.inputs},
        rows=(at.salt,),
        low=min(days),
        high=max(days),
        interval="published_spread",
    )


def _more_salt(
    at: Setting, dose: Dose, time: SaltingTime, needed: float, isotherm: Row, line: Row
) -> Amount | None:
    """Salt share with which the middle would be there on the planned day: shares scale with the dose."""
    middle = time.profiles[1].centre
    if middle <= 0:
        return None
    share = dose.salt_kg / dose.base_kg * needed / middle
    if share > 0.12:
        return None
    return Amount(
        quantity="salt_for_cold_exit",
        value=share,
        kind="fraction",
        model=sorption.aw_salted_meat,
        inputs={"salt_ratio": needed, **at.inputs},
        rows=(isotherm, line),
    )


def _cold_mass(
    limit: float, hanging: Hanging, target: Target, protein: ProteinIsotherm, isotherm: Row, line: Row
) -> Amount | None:
    """Mass to come down to while still in the cold, water and salt taken as even by then."""
    try:
        mass = mass_at_aw(aw=limit, hanging=hanging, protein=protein)
    except OutOfRange:
        return None
    if not target.mass.value < mass < hanging.mass_kg:
        return None
    return Amount(
        quantity="cold_mass",
        value=mass,
        kind="mass",
        model=sorption.aw_salted_meat,
        inputs={"aw": limit, "hanging_kg": hanging.mass_kg},
        rows=(isotherm, line),
    )


def _ways(
    rest: Amount | None,
    salt: Amount | None,
    cold_mass: Amount | None,
    hanging: Hanging,
    target: Target,
    line: Row,
) -> list[Note]:
    found = []
    cold = line.number("temp_c")
    if rest is not None:
        found.append(Note("cold_exit_by_rest", {"more_s": rest.value, "cold_c": cold}))
    if cold_mass is not None:
        whole = hanging.mass_kg - target.mass.value
        found.append(
            Note(
                "cold_exit_by_loss",
                {
                    "mass_kg": cold_mass.value,
                    "loss_frac": 1.0 - cold_mass.value / hanging.mass_kg,
                    "part_frac": (hanging.mass_kg - cold_mass.value) / whole,
                    "cold_c": cold,
                },
            )
        )
    if salt is not None:
        found.append(Note("cold_exit_by_salt", {"salt_frac": salt.value}))
    return found


def with_kept_salt(*, dose: Dose, time: SaltingTime) -> Dose:
    """A dose with what stays of it once the drained liquid is taken off; the law still counts all of it."""
    drained = time.drained
    if drained is None or not dose.applications:
        return dose
    first = {amount.quantity: amount.value for amount in dose.applications[0]}
    ends = (drained.low, drained.value, drained.high)
    gone = [drained.value if end is None else end for end in ends]
    span = drained.low is not None

    def share(quantity: str, whole: float, kind: str, lost: Callable[[float], float]) -> Amount:
        values = sorted(whole - lost(kg) for kg in gone)
        return Amount(
            quantity=quantity,
            value=whole - lost(gone[1]),
            kind=kind,
            model=drained.model,
            inputs=drained.inputs,
            rows=drained.rows,
            low=max(values[0], 0.0) if span else None,
            high=values[-1] if span else None,
            interval="salt_bounds" if span else None,
        )

    kept = [share("salt_kept", dose.salt_kg / dose.base_kg, "fraction", lambda kg: kg / dose.base_kg)]
    if dose.nitrite is not None and dose.cure_mix is not None and dose.cure_mix.value > 0:
        # nitrite leaves in the ratio salt leaves: both are dissolved in the liquid
        part = first.get("cure_mix_dose", 0.0) / dose.cure_mix.value
        now, whole = dose.nitrite.value * part, dose.nitrite.value
        salt_first = first.get("salt_dose", 0.0) + (dose.salt_kg - dose.salt.value) * part
        kept.append(
            share(
                "nitrite_kept",
                whole,
                "fraction:ppm",
                lambda kg: now * min(kg / salt_first, 1.0) if salt_first > 0 else 0.0,
            )
        )
    return replace(dose, kept=tuple(kept))
