"""The dated steps of a plan: what to do, on which civil day, with how much, why, and with what care."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from saltfare.core.figure import Note
from saltfare.core.tables import Row
from saltfare.plans.piece_parts import (
    BRINES,
    NEEDLES,
    Amount,
    Dose,
    Hanging,
    LeavingCold,
    Origins,
    PieceRequest,
    SaltingTime,
    Step,
    Target,
)

# Days after hanging on which a piece is weighed: close together while the air decides the rate, further
# apart once the meat does. Chosen: with these a simulated piece's two multipliers were found to 3 %.
WEIGH_IN_DAYS = (2, 5, 9, 14, 21, 28, 42, 56, 77)
FIRST = "local_codes_first"


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """A plan computed, ready to be told as steps. liquid, cold: rules on the bag's liquid, on its cold."""

    request: PieceRequest
    cut: Row
    dose: Dose
    time: SaltingTime
    hanging: Hanging
    target: Target
    origins: Origins
    leaving_cold: LeavingCold | None
    liquid: Row
    cold: Row

    @property
    def salt_on(self) -> date:
        """Civil day it goes into salt."""
        return self.request.start + timedelta(days=self.origins.days)

    @property
    def out_on(self) -> date:
        """Civil day it comes out of the salt."""
        return self.salt_on + timedelta(days=self.time.days)

    @property
    def hang_on(self) -> date:
        """Civil day it is hung."""
        return self.out_on + timedelta(days=self.time.rest_days)


def steps_of(*, course: Course) -> tuple[Step, ...]:
    """The steps in order of their days."""
    return (*_before_salt(course), *_salting(course), *_after_salt(course))


def _before_salt(course: Course) -> list[Step]:
    """Freezing and thawing."""
    origins, start = course.origins, course.request.start
    if origins.freeze is None or origins.thaw is None:
        return []
    thaw_on = start + timedelta(days=origins.freeze_days)
    return [
        Step(
            code="freeze",
            on=start,
            until=thaw_on - timedelta(days=1),
            amounts=(origins.freeze,),
            reason="freeze_by_table",
            cautions=origins.cautions,
        ),
        Step(
            code="thaw",
            on=thaw_on,
            until=course.salt_on - timedelta(days=1),
            amounts=(origins.thaw,),
            reason="thaw_slowly",
            cautions=(Note("keep_cold_in_salt", {"cold_c": course.cold.number("temp_c")}),),
        ),
    ]


def _salting(course: Course) -> list[Step]:
    """From weighing out to the day it comes out of the salt."""
    request, dose, start = course.request, course.dose, course.salt_on
    parts = dose.applications or (
        tuple(a for a in (dose.cure_mix, dose.salt, dose.sugar, *dose.spices, *dose.brine) if a is not None),
    )
    handling = (Note("nitrite_poison"), Note("grams_not_spoons"), Note("label_strength"))
    care = handling if dose.cure_mix is not None else (Note("no_nitrite"),)
    steps = [
        Step(
            code="weigh_out",
            on=start,
            amounts=parts[0],
            reason="dose_by_mass",
            notes=dose.notes,
            cautions=care,
        ),
        *_put_on(course, start),
    ]
    if len(parts) > 1 and course.time.first_days is not None:
        drain_on = start + timedelta(days=course.time.first_days)
        steps += _turned(course, start, drain_on)
        steps += [
            Step(
                code="drain_wash",
                on=drain_on,
                amounts=tuple(a for a in (course.time.drained, *dose.kept) if a is not None),
                reason="weigh_what_drains",
                notes=() if course.time.drained is not None else (Note("drained_not_weighed"),),
            ),
            Step(code="weigh_out_second", on=drain_on, amounts=parts[1], reason="half_later", cautions=care),
            Step(code="rub_second", on=drain_on, reason="all_of_it_counts"),
        ]
        return steps + _turned(course, drain_on, course.out_on)
    if request.method != "excess_salt":
        steps += _turned(course, start, course.out_on)
    return steps


def _put_on(course: Course, on: date) -> list[Step]:
    """How salt and piece come together."""
    request, dose = course.request, course.dose
    going: tuple[Amount, ...] = () if dose.nitrite is None else (dose.nitrite,)
    cold = (Note("keep_cold_in_salt", {"cold_c": course.cold.number("temp_c")}),)
    if request.method == "excess_salt":
        taken = () if course.time.uptake is None else (course.time.uptake,)
        return [Step(code="bury", on=on, amounts=taken, reason="days_decide_in_a_box", cautions=cold)]
    if request.method in BRINES:
        return [
            Step(code="make_brine", on=on, amounts=going, reason="brine_dissolved_cold"),
            Step(code="immerse", on=on, reason="brine_all_round", cautions=cold),
        ]
    steps = []
    if request.method in NEEDLES:
        steps = [
            Step(code="make_brine", on=on, amounts=going, reason="brine_dissolved_cold"),
            Step(code="pump", on=on, reason="weigh_while_pumping", cautions=(Note("needle_carries_in"),)),
        ]
    if request.method != "pumped":
        steps.append(Step(code="rub", on=on, amounts=going, reason="all_of_it_counts"))
    return [*steps, Step(code="bag", on=on, reason="liquid_stays", cautions=cold)]


def _turned(course: Course, begun: date, ends: date) -> list[Step]:
    """Turned daily between two days."""
    if (ends - begun).days < 2:
        return []
    request, liquid = course.request, course.liquid
    notes: tuple[Note, ...] = ()
    if request.method in ("weighed_dose", "pumped_rubbed"):
        gathered = {
            "low_kg": liquid.number("pct_low") * request.green_mass_kg,
            "high_kg": liquid.number("pct_high") * request.green_mass_kg,
        }
        notes = (
            Note("bag_liquid" if not course.dose.applications else "bag_liquid_until_drained", gathered),
        )
    return [
        Step(
            code="turn",
            on=begun + timedelta(days=1),
            until=ends - timedelta(days=1),
            reason="even_brine",
            notes=notes,
        )
    ]


def _after_salt(course: Course) -> list[Step]:
    """Washing, rest, hanging, weigh-ins, the end."""
    time, target, out, hang = course.time, course.target, course.out_on, course.hang_on
    steps = [Step(code="wash_dress", on=out, amounts=(time.centre,), reason="salt_is_in", notes=time.notes)]
    if time.rest is not None and time.rest_days > 0:
        steps.append(
            Step(
                code="rest",
                on=out,
                until=hang - timedelta(days=1),
                amounts=(time.rest,),
                reason="rest_evens_salt",
                cautions=(Note("keep_cold_in_salt", {"cold_c": course.cold.number("temp_c")}),),
            )
        )
    leaving = course.leaving_cold
    steps.append(
        Step(
            code="hang",
            on=hang,
            amounts=(course.hanging.mass, target.mass, *(() if leaving is None else (leaving.least_salted,))),
            reason="weigh_at_hanging",
            notes=(*target.notes, *(() if leaving is None else leaving.notes)),
            cautions=(Note("mould_seen"),),
        )
    )
    steps += [
        Step(code="weigh_in", on=hang + timedelta(days=days), reason="weighing_teaches")
        for days in WEIGH_IN_DAYS
    ]
    steps.append(
        Step(
            code="at_its_mass",
            on=None,
            amounts=(target.mass, target.loss_from_hanging, target.loss_from_green, target.aw),
            reason="mass_is_the_end_point",
            cautions=(Note("sealed_without_oxygen"), *parasites(course.cut)),
        )
    )
    return steps


def parasites(cut: Row) -> tuple[Note, ...]:
    """What is said about parasites: that a plan claims no criterion on them."""
    species = cut.text("species")
    return (Note(f"parasites_{species}"),) if species in ("pork", "game") else ()


def cautions_of(*, cut: Row, origins: Origins) -> tuple[Note, ...]:
    """What stands over the whole plan."""
    return (
        Note(FIRST),
        Note("vulnerable_people"),
        Note("raw_until_cooked"),
        *parasites(cut),
        *origins.cautions,
    )
