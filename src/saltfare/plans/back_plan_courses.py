"""What a want turns into: pieces with the steps of their plans, runs of trays with theirs.

A piece's days come from `piece_plan`, as they would for a piece begun by hand; only how long it hangs is
drawn, from the forecast's own simulation of it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from saltfare.core.errors import Problem, Refused
from saltfare.core.figure import Note
from saltfare.core.library import Library
from saltfare.core.tables import Row
from saltfare.models.drying import DryingParameters, Hanging, density_additive
from saltfare.models.sorption import ProteinIsotherm
from saltfare.plans.back_plan_belief import multipliers
from saltfare.plans.back_plan_chance import Days, HumidityFan, ToHang, hanging_time, normal_column, whole_days
from saltfare.plans.back_plan_mass import Green, green_for
from saltfare.plans.back_plan_shapes import Course, Make, Step, Use
from saltfare.plans.buying import Band, Shares
from saltfare.plans.forecast_air import AirProgramme, AssumedAir
from saltfare.plans.forecast_drying import HangingPiece
from saltfare.plans.forecast_ensemble import Ensemble
from saltfare.plans.forecast_ensemble import ensemble as ensemble_of
from saltfare.plans.forecast_priors import ForecastPriors
from saltfare.plans.learning import Learned
from saltfare.plans.piece_parts import PiecePlan, PieceRequest
from saltfare.plans.piece_plan import plan_piece

RULES = "back_plan_rules"
_Z80 = 1.2815515655446004
# what is weighed out and put on in one act
_SALTING = frozenset({"weigh_out", "make_brine", "immerse", "pump", "rub", "bag", "bury"})
_TOLD = frozenset({"freezing_days", "thaw_days", "hanging_weight", "target_mass"})
_SECOND = frozenset({"drain_wash", "weigh_out_second", "rub_second"})


@dataclass(frozen=True, slots=True, kw_only=True)
class ChamberAir:
    """A chamber a piece could hang in."""

    key: str
    air: AssumedAir
    speed_m_per_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CuredWant:
    """A finished mass of a cured cut. request: what its pieces are begun with; green weight, length, start
    and air are filled in. trim, end_trim: shares known better than by practice."""

    id: str
    name: str
    finished_kg: float
    needed_by: date
    request: PieceRequest
    trim: Band
    end_trim: Band


@dataclass(frozen=True, slots=True, kw_only=True)
class DishWant:
    """Packs of a dish. tray_kg: of one pack as it goes on the trays. hours: on the trays, early, likely and
    late end of an 80 % interval [h]. soak: whether something in it is soaked overnight."""

    id: str
    name: str
    packs: int
    needed_by: date
    tray_kg: float
    hours: tuple[float, float, float]
    soak: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """What courses are worked out with. simulated: a piece in a chamber's air, from a cache or computed by
    `simulated_in`."""

    library: Library
    priors: ForecastPriors
    learned: Learned
    simulated: Callable[[HangingPiece, AssumedAir], tuple[Ensemble, HumidityFan]]


def piece_makes(
    *, want: CuredWant, chambers: Sequence[ChamberAir], bench: Bench
) -> tuple[tuple[Make, ...], tuple[Problem, ...]]:
    """The pieces of a want, each with a course in every chamber that can bring it there, and what stands
    against the chambers that cannot.

    Parameters
    ----------
    want : CuredWant
    chambers : sequence of ChamberAir
    bench : Bench

    Source
    ------
    saltfare_chosen, order of a plan
    """
    library, request = bench.library, want.request
    against: list[Problem] = []
    by_piece: dict[int, list[Course]] = {}
    green: Green | None = None
    for chamber in chambers:
        try:
            aired = replace(
                request, chamber_temp_c=chamber.air.temp_c, chamber_humidity_frac=chamber.air.rh_frac
            )
            green, plan = _sized(want, aired, library)
            courses = _piece_courses(want, chamber, green, plan, bench)
        except Refused as refused:
            against += [replace(p, params={**p.params, "chamber": chamber.key}) for p in refused.problems]
            continue
        for number, course in enumerate(courses):
            by_piece.setdefault(number, []).append(course)
    several = len(by_piece) > 1
    return tuple(
        Make(
            id=f"{want.id}/{number + 1}",
            want=want.id,
            name=f"{want.name} {number + 1}" if several else want.name,
            kind="piece",
            ways=tuple(ways),
            green=green,
        )
        for number, ways in sorted(by_piece.items())
    ), tuple(against)


def _sized(want: CuredWant, request: PieceRequest, library: Library) -> tuple[Green, PiecePlan]:
    """Green weight and number of pieces, and the plan of one of them."""
    cut = library.row("cuts", request.cut)
    rule = {row.text("id"): row for row in library.rows(RULES)}
    body = DryingParameters.from_library(library=library, law="lean_default", body="whole_muscle").body
    density = float(
        density_additive(
            water_frac=cut.number("water_pct"), fat_frac=cut.number("fat_pct"), salt_frac=0.0, body=body
        )
    )
    net = _band(library.row("salting_rules", "net_loss_in_salt"))
    loss = Band(*(cut.number(f"loss_{end}_pct") for end in ("low", "aim", "high")))

    def green_of(loss: Band) -> Green:
        return green_for(
            finished_kg=want.finished_kg, shares=Shares(want.trim, net, loss, want.end_trim),
            chance=rule["enough"].number("share"), thickness_m=request.thickness_m, shape=request.shape,
            width_m=request.width_m, density_kg_per_m3=density,
            longest_ratio=rule["longest"].number("ratio"), width_ratio=rule["slab_width"].number("ratio"),
        )  # fmt: skip

    def plan_of(green: Green) -> PiecePlan:
        filled = replace(request, green_mass_kg=green.each_kg, length_m=green.length_m, width_m=green.width_m)
        return plan_piece(request=filled, library=library)

    green = green_of(loss)
    plan = plan_of(green)
    if plan.target.aimed_by != "usual_loss":
        # a target told otherwise has its own loss; the cut's band about it tells how far it may lie off
        aim = plan.target.loss_from_hanging.value
        shift = aim - loss.mid
        green = green_of(Band(loss.low + shift, aim, loss.high + shift))
        plan = plan_of(green)
    return green, plan


def _band(row: Row) -> Band:
    return Band(*(row.number(column) for column in ("pct_low", "pct", "pct_high")))


def hung_piece(*, plan: PiecePlan) -> Hanging:
    """The piece of a plan as the drying model takes it at hanging.

    Source
    ------
    saltfare_derived, shares of the planned piece
    """
    made, request = plan.hanging, plan.request
    mass = made.mass_kg
    return Hanging(
        shape=request.shape,
        thickness_m=request.thickness_m,
        length_m=request.length_m,
        width_m=request.width_m or 0.0,
        mass_kg=mass,
        water_frac=made.water_kg / mass,
        fat_frac=made.fat_kg / mass,
        salt_frac=made.salt_kg / mass,
        open_frac=1.0,
        casing_resistance_s_per_m=0.0,
        drying_faces=1 if request.skin_on else 2,
    )


def simulated_in(
    *, hang: HangingPiece, air: AssumedAir, horizon_s: float, priors: ForecastPriors
) -> tuple[Ensemble, HumidityFan]:
    """A piece not yet hung in air that nobody could read yet.

    Source
    ------
    saltfare_hanging_model, the forecast's ensemble and a fan of humidities
    """
    programme = AirProgramme(
        np.array([horizon_s]), np.array([air.temp_c]), np.array([air.rh_frac]), np.array([False]), air,
        None, 0.0, 0.0,
    )  # fmt: skip
    made = ensemble_of(simulate=hang, programme=programme, priors=priors)
    fan = HumidityFan.simulate(
        simulate=hang,
        programme=programme,
        sd_frac=math.hypot(priors.hygrometer_bias_frac, air.humidity_sd_frac),
        priors=priors,
        time_s=made.time_s,
    )
    return made, fan


def _piece_courses(
    want: CuredWant, chamber: ChamberAir, green: Green, plan: PiecePlan, bench: Bench
) -> list[Course]:
    library = bench.library
    law = library.row("diffusion", "lean_default")
    body, meat = library.row("drying_body", "whole_muscle"), library.row("isotherms", "lean_meat")
    parameters, protein = DryingParameters.from_rows(law=law, body=body), ProteinIsotherm.from_row(meat)
    ensemble, fan = bench.simulated(
        HangingPiece(hung_piece(plan=plan), chamber.speed_m_per_s, parameters, protein), chamber.air
    )
    loss = plan.target.loss_from_hanging.value
    names = [f"{want.id}/{n + 1}" for n in range(green.pieces)]
    edge: dict[str, float] = {}
    cut = plan.cut.text("id")
    drawn = [
        hanging_time(
            piece=ToHang(
                name=name, chamber=chamber.key, ensemble=ensemble, fan=fan, target_loss_frac=loss,
                humidity_sd_frac=chamber.air.humidity_sd_frac,
                multipliers=multipliers(learned=bench.learned, piece=name, chamber=chamber.key, cut=cut),
            ),
            priors=bench.priors,
            held_at_edge=edge.__setitem__,
        )
        for name in names
    ]  # fmt: skip
    days = [whole_days(time_s=time) for time in drawn]
    together = Days(np.max([one.worlds for one in days], axis=0), edge)
    lead, lead_days = _lead(green, plan)
    room = green.each_kg / 1000.0 * library.row(RULES, "bag_room").number("ratio")
    freeze = plan.origins.freeze_days
    uses = [
        Use(place="fridge", first=freeze, last=lead_days - 1, amount=1),
        Use(place="fridge_room", first=freeze, last=lead_days - 1, amount=room),
        Use(place="hook", first=lead_days, last=None, amount=1, key=chamber.key),
    ]
    if freeze:
        uses.append(Use(place="freezer_room", first=0, last=freeze - 1, amount=room))
    hung = plan.hang_on
    looks = tuple((s.on - hung).days for s in plan.steps if s.code == "weigh_in" and s.on)
    pack = Step(code="pack", day=0, home="must", amounts={"finished_mass": want.finished_kg / green.pieces})
    return [
        Course(
            chamber=chamber.key, lead=lead, lead_days=lead_days, days=one, together=together, tail=(pack,),
            tail_days=0, waits=True, uses=tuple(uses), looks=looks,
        )
        for one in days
    ]  # fmt: skip


def _lead(green: Green, plan: PiecePlan) -> tuple[tuple[Step, ...], int]:
    """The steps of a plan from buying to hanging, in days from the first; what is one act is one step."""
    start = plan.request.start
    bought = {"bought_mass": green.bought_kg / green.pieces, "green_weight": green.each_kg}
    steps = [Step(code="buy", day=0, home="must", amounts=bought)]
    salt: dict[int, dict[str, float]] = {}
    second: dict[int, dict[str, float]] = {}
    cautions: dict[int, list[Note]] = {}
    lead_days = (plan.hang_on - start).days
    for step in plan.steps:
        if step.on is None or step.code in ("weigh_in", "at_its_mass"):
            continue
        day = (step.on - start).days
        until = None if step.until is None else (step.until - start).days
        amounts = {f"{a.quantity}:{a.name}" if a.name else a.quantity: a.value for a in step.amounts}
        if step.code in _SALTING or step.code in _SECOND:
            into = salt if step.code in _SALTING else second
            into.setdefault(day, {}).update(
                {k: v for k, v in amounts.items() if step.code in ("weigh_out", "weigh_out_second")}
            )
            cautions.setdefault(day, []).extend(step.cautions)
            continue
        home = {"thaw": "must", "turn": "daily", "wash_dress": "must", "hang": "must"}.get(step.code, "any")
        told = {name: value for name, value in amounts.items() if name in _TOLD}
        if until is not None and until <= day:
            until = None
        steps.append(
            Step(code=step.code, day=day, until=until, home=home, amounts=told, cautions=step.cautions)  # type: ignore[arg-type]
        )
    for code, found in (("salt", salt), ("salt_second", second)):
        steps += [
            Step(code=code, day=day, home="must", amounts=amounts, cautions=_once(cautions.get(day, ())))
            for day, amounts in found.items()
        ]
    order = ("buy", "freeze", "thaw", "salt", "turn", "salt_second", "wash_dress", "rest", "hang")
    return tuple(sorted(steps, key=lambda s: (s.day, order.index(s.code)))), lead_days


def _once(notes: Sequence[Note]) -> tuple[Note, ...]:
    return tuple({note.code: note for note in notes}.values())


def dish_makes(
    *,
    want: DishWant,
    trays_m2: float | None,
    work_h: tuple[float, float],
    library: Library,
) -> tuple[Make, ...]:
    """The runs of trays of a dish: as many as its packs need on the trays there are.

    Parameters
    ----------
    want : DishWant
    trays_m2 : area of all trays [m2]; None where it was not told, then all goes in one run
    work_h : hours of the day between which somebody takes trays off
    library : the figures it rests on

    Source
    ------
    saltfare_chosen, order of a plan
    """
    rule = {row.text("id"): row for row in library.rows(RULES)}
    load = library.row("tray_rules", "load_most").number("factor")
    whole = want.packs * want.tray_kg
    runs, packs = 1, [want.packs]
    if trays_m2 is not None:
        fits = max(math.floor(trays_m2 * load / want.tray_kg + 1e-9), 0)
        if fits < 1:
            raise Refused(
                Problem(
                    "trays_too_small", "trays_area", f"{trays_m2:g} m2", f"{want.tray_kg / load:.2f} m2",
                    params={"area_m2": trays_m2, "pack_kg": want.tray_kg, "least_m2": want.tray_kg / load},
                )
            )  # fmt: skip
        runs = math.ceil(want.packs / fits)
        packs = [want.packs // runs + (1 if n < want.packs % runs else 0) for n in range(runs)]
    else:
        trays_m2 = whole / load
    days = Days(_tray_days(want, work_h, rule["trays_in"].number("clock_h")))
    cook = round(rule["shop"].number("time") / 86400.0)
    steps = [Step(code="shop", day=0, home="must")]
    if want.soak:
        steps.append(Step(code="soak", day=cook, home="must"))
        cook += round(rule["soak"].number("time") / 86400.0)
    condition = round(rule["condition"].number("time") / 86400.0)
    test = round(rule["test_pouch"].number("time") / 86400.0)
    makes = []
    for number, count in enumerate(packs):
        wet = {"tray_load": count * want.tray_kg}
        lead = (
            *steps,
            Step(code="cook", day=cook, home="must", amounts=wet),
            Step(code="cool", day=cook),
            Step(code="lay_on_trays", day=cook, amounts=wet),
        )
        tail = (
            Step(code="condition", day=0, until=condition),
            Step(code="test_pouch", day=condition, home="must"),
            Step(code="fill_packs", day=condition + test, home="must", amounts={"packs": float(count)}),
        )
        course = Course(
            chamber="", lead=lead, lead_days=cook, days=days, together=days, tail=tail,
            tail_days=condition + test, waits=False,
            uses=(Use(place="trays", first=cook, last=None,
                      amount=min(count * want.tray_kg / load, trays_m2)),),
            begun_code="lay_on_trays", done_code="off_trays",
        )  # fmt: skip
        name = f"{want.name} {number + 1}" if runs > 1 else want.name
        makes.append(
            Make(
                id=f"{want.id}/{number + 1}",
                want=want.id,
                name=name,
                kind="dish",
                ways=(course,),
                packs=count,
            )
        )
    return tuple(makes)


def _tray_days(want: DishWant, work_h: tuple[float, float], trays_in_h: float) -> np.ndarray:
    """Days after the trays went in on which they are taken off: dry, and somebody up."""
    low, likely, high = want.hours
    spread = math.log(high / low) / (2 * _Z80)
    # what is doubtful is the recipe and the dryer: all runs of a dish are off alike
    hours = likely * np.exp(spread * normal_column(name=f"trays {want.id}"))
    at = trays_in_h + hours
    day = np.floor(at / 24.0)
    return np.asarray(day + (at - 24.0 * day > work_h[1]))
