"""The dated steps of a plan: what to do, on which civil day, with how much, why, and with what care."""

from __future__ import annotations

from datetime import timedelta

from saltfare.core.figure import Note
from saltfare.core.tables import Row
from saltfare.plans.piece_parts import Dose, Hanging, PieceRequest, SaltingTime, Step, Target

# Days after hanging on which a piece is weighed: close together while the air decides the rate, further
# apart once the meat does. Chosen: with these a simulated piece's two multipliers were found to 3 %.
WEIGH_IN_DAYS = (2, 5, 9, 14, 21, 28, 42, 56, 77)
FIRST = "local_codes_first"


def steps_of(
    *,
    request: PieceRequest,
    cut: Row,
    dose: Dose,
    time: SaltingTime,
    hanging: Hanging,
    target: Target,
    liquid: Row,
    cold: Row,
) -> tuple[Step, ...]:
    """The steps in order of their days. liquid, cold: rules on the liquid in the bag, on its cold."""
    start, out = request.start, request.start + timedelta(days=time.days)
    doses = tuple(a for a in (dose.cure_mix, dose.salt, dose.sugar, *dose.spices) if a is not None)
    handling = (Note("nitrite_poison"), Note("grams_not_spoons"), Note("label_strength"))
    steps = [
        Step(
            code="weigh_out",
            on=start,
            amounts=doses,
            reason="dose_by_mass",
            notes=dose.notes,
            cautions=handling if dose.cure_mix is not None else (Note("no_nitrite"),),
        ),
        Step(
            code="rub",
            on=start,
            amounts=() if dose.nitrite is None else (dose.nitrite,),
            reason="all_of_it_counts",
        ),
        Step(
            code="bag",
            on=start,
            reason="liquid_stays",
            cautions=(Note("keep_cold_in_salt", {"cold_c": cold.number("temp_c")}),),
        ),
    ]
    if time.days > 1:
        steps.append(
            Step(
                code="turn",
                on=start + timedelta(days=1),
                until=out - timedelta(days=1),
                reason="even_brine",
                notes=(
                    Note(
                        "bag_liquid",
                        {
                            "low_kg": liquid.number("pct_low") * request.green_mass_kg,
                            "high_kg": liquid.number("pct_high") * request.green_mass_kg,
                        },
                    ),
                ),
            )
        )
    steps += [
        Step(code="wash_dress", on=out, amounts=(time.centre,), reason="salt_is_in", notes=time.notes),
        Step(
            code="hang",
            on=out,
            amounts=(hanging.mass, target.mass),
            reason="weigh_at_hanging",
            notes=target.notes,
            cautions=(Note("mould_seen"),),
        ),
    ]
    steps += [
        Step(code="weigh_in", on=out + timedelta(days=days), reason="weighing_teaches")
        for days in WEIGH_IN_DAYS
    ]
    steps.append(
        Step(
            code="at_its_mass",
            on=None,
            amounts=(target.mass, target.loss_from_hanging, target.loss_from_green, target.aw),
            reason="mass_is_the_end_point",
            cautions=(Note("sealed_without_oxygen"), *parasites(cut)),
        )
    )
    return tuple(steps)


def parasites(cut: Row) -> tuple[Note, ...]:
    """What is said about parasites: that no criterion on them is claimed."""
    species = cut.text("species")
    return (Note(f"parasites_{species}"),) if species in ("pork", "game") else ()


def cautions_of(*, cut: Row) -> tuple[Note, ...]:
    """What stands over the whole plan."""
    return (Note(FIRST), Note("vulnerable_people"), Note("raw_until_cooked"), *parasites(cut))
