"""Planning a piece, and starting it: keeping the plan as issued and giving it a code."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date

from pydantic import Field

from saltfare import __version__
from saltfare.actions.context import Context
from saltfare.actions.piece_shapes import (
    KeptShown,
    LimitShown,
    Line,
    PieceFields,
    PlanShown,
    StepShown,
    figure_of,
    lines_of,
)
from saltfare.actions.shapes import Command, Done, Query, Tracer, done
from saltfare.actions.worked_once import Once
from saltfare.core.errors import NotFound, Problem, Refused
from saltfare.core.fields import Called, Measured, implausible
from saltfare.journal import events_piece as kinds
from saltfare.journal.chamber import chamber
from saltfare.journal.codes import new_code
from saltfare.journal.piece import PieceState
from saltfare.models.salting import base_mass_skin_on
from saltfare.plans.piece_parts import (
    Amount,
    BrineChoice,
    Freezing,
    MixLabel,
    PiecePlan,
    PieceRequest,
    TwoApplications,
)
from saltfare.plans.piece_parts import Step as PlanStep
from saltfare.plans.piece_plan import plan_piece as plan_of


class PlanGiven(PieceFields, Query):
    """A piece to plan. reasons: why a doubt is overruled, by problem code."""

    reasons: dict[str, str] = Field(default_factory=dict)


class StartGiven(PieceFields, Command):
    """A piece to start, under a name."""

    name: Called


class Started(Done):
    """The piece started, and its plan."""

    code: str
    plan: PlanShown


def plan_piece(context: Context, given: PlanGiven) -> PlanShown:
    """Work out a plan for a piece; records nothing. Unusual values are named, not refused."""
    begun = _begun(context, given, name="-")
    plan = planned(context, begun, start=given.start or context.today, reasons=given.reasons)
    return shown(plan, unusual=tuple(p.field for p in implausible(given)))


def start_piece(context: Context, given: StartGiven) -> Started:
    """Keep the plan of a piece as issued, under a new code."""
    begun = _begun(context, given, name=given.name)
    plan = planned(context, begun, start=given.start or context.today, reasons=given.reasons)
    body = begun.model_copy(update={"target": target_choice(plan), "plan": issued(plan)})
    known = context.journal.answered(given.request_id) if given.request_id else ()
    taken = {stream.removeprefix(kinds.STREAM) for stream in context.journal.streams(kinds.STREAM)}
    code = known[0].stream.removeprefix(kinds.STREAM) if known else new_code(context.entropy, taken)
    did = done(context, given, [(kinds.STREAM + code, body)])
    return Started(**dict(did), code=code, plan=shown(plan))


def _begun(context: Context, given: PieceFields, *, name: str) -> kinds.Started:
    """What was asked for, as an event keeps it; target and plan come after."""
    temperature, humidity = _air(context, given)
    mix = given.mix
    return kinds.Started(
        name=name,
        purpose=given.purpose,
        cut=given.cut,
        green_weight=given.green_weight,
        shape=given.shape,
        thickness=given.thickness,
        width=given.width,
        length=given.length,
        skin_on=given.skin_on,
        fat_share=given.fat_share,
        water_share=given.water_share,
        salting=kinds.SaltingChoice(
            rules=given.rules,
            salt=given.salt_share,
            mix=None
            if mix is None
            else kinds.CureMix(
                name=mix.name,
                nitrite=mix.nitrite,
                nitrate=mix.nitrate,
                salt=mix.salt,
                nitrite_salt=mix.nitrite_salt,
                nitrate_salt=mix.nitrate_salt,
            ),
            nitrite=given.nitrite_aim,
            sugar=given.sugar_share,
            spices=dict(given.spices),
            scale_step=given.scale_step,
            temperature=given.salting_temperature,
            days=given.salting_days,
            method=given.method,
            applications=given.applications,
            first_share=given.first_share,
            first_days=given.first_days,
            brine=None
            if given.brine is None
            else kinds.BrineMade(
                mass=given.brine.mass,
                uptake=given.brine.uptake,
                strength=given.brine.strength,
                spacing=given.brine.spacing,
            ),
            rest=given.rest_days,
        ),
        bone_in=given.bone_in,
        origin=given.origin,
        parasite_step=given.parasite_step,
        freezing=None
        if given.freezing is None
        else kinds.FreezingChoice(temperature=given.freezing.temperature, days=given.freezing.days),
        chamber=given.chamber,
        air=kinds.AirChoice(temperature=temperature, humidity=humidity),
        wished=kinds.WishedTarget(mass=given.target_mass, loss_from_hanging=given.target_loss),
    )


def _air(context: Context, given: PieceFields) -> tuple[Measured, Measured]:
    """The air to count on: as typed, else the chamber's usual. Raises Refused where neither tells."""
    temperature, humidity = given.chamber_temperature, given.chamber_humidity
    if given.chamber is not None:
        try:
            usual = chamber(context.journal, given.chamber).described
        except NotFound:
            raise Refused(Problem("chamber_unknown", "chamber", given.chamber)) from None
        if usual is not None:
            temperature, humidity = temperature or usual.temperature, humidity or usual.humidity
    if temperature is None or humidity is None:
        named = (("chamber_temperature", temperature), ("chamber_humidity", humidity))
        raise Refused(*(Problem("missing", name) for name, value in named if value is None))
    return temperature, humidity


# the plan speaks of quantities by their glossary names; a face must find the field that was typed
_FIELDS = {
    "mix_nitrite_share": "mix.nitrite",
    "mix_nitrate_share": "mix.nitrate",
    "mix_salt_share": "mix.salt",
    "cure_mix_dose": "mix",
    "loss_from_hanging": "target_loss",
    "hanging_weight": "mass",
    "brine_mass": "brine.mass",
    "brine_uptake": "brine.uptake",
    "brine_strength": "brine.strength",
    "needle_spacing": "brine.spacing",
    "freezer_temperature": "freezing.temperature",
    "freezing_days": "freezing.days",
}


_planned: Once[PieceRequest, PiecePlan] = Once(
    lambda request, library: plan_of(request=request, library=library), most=256
)


def planned(
    context: Context,
    begun: kinds.Started,
    *,
    start: date,
    reasons: Mapping[str, str],
    hanging_kg: float | None = None,
    salt_frac: float | None = None,
    drained_kg: float | None = None,
    drained_salt_frac: float | None = None,
) -> PiecePlan:
    """The plan of what was asked for, with the mass at hanging and the salt once they were weighed.

    drained_kg, drained_salt_frac: liquid weighed between two applications, and its salt where known.

    Raises Refused with the fields of the planning actions.
    """
    salting, mix = begun.salting, begun.salting.mix
    request = PieceRequest(
        start=start,
        purpose=begun.purpose,
        cut=begun.cut,
        rules=salting.rules,
        green_mass_kg=begun.green_weight.value,
        shape=begun.shape,
        thickness_m=begun.thickness.value,
        length_m=begun.length.value,
        width_m=_si(begun.width),
        skin_on=begun.skin_on,
        salt_frac=salting.salt.value if salt_frac is None else salt_frac,
        mix=None
        if mix is None
        else MixLabel(
            name=mix.name,
            nitrite_frac=mix.nitrite.value,
            nitrate_frac=_si(mix.nitrate),
            salt_frac=_si(mix.salt),
            nitrite_salt=mix.nitrite_salt,
            nitrate_salt=mix.nitrate_salt,
        ),
        nitrite_frac=_si(salting.nitrite),
        sugar_frac=_si(salting.sugar) or 0.0,
        spices={name: share.value for name, share in salting.spices.items()},
        scale_step_kg=salting.scale_step.value,
        salting_temp_c=salting.temperature.value,
        salting_time_s=_si(salting.days),
        chamber_temp_c=begun.air.temperature.value,
        chamber_humidity_frac=begun.air.humidity.value,
        fat_frac=_si(begun.fat_share),
        water_frac=_si(begun.water_share),
        target_mass_kg=_si(begun.wished.mass),
        target_loss_frac=_si(begun.wished.loss_from_hanging),
        hanging_mass_kg=hanging_kg,
        reasons=reasons,
        method=salting.method,
        brine=None
        if salting.brine is None
        else BrineChoice(
            mass_kg=salting.brine.mass.value,
            uptake_frac=_si(salting.brine.uptake),
            strength_frac=_si(salting.brine.strength),
            spacing_m=_si(salting.brine.spacing),
        ),
        twice=TwoApplications(
            first_frac=_si(salting.first_share),
            first_time_s=_si(salting.first_days),
            drained_kg=drained_kg,
            drained_salt_frac=drained_salt_frac,
        )
        if salting.applications == 2
        else None,
        rest_time_s=_si(salting.rest),
        origin=begun.origin,
        parasite_step=begun.parasite_step,
        freezing=None
        if begun.freezing is None
        else Freezing(temp_c=begun.freezing.temperature.value, time_s=_si(begun.freezing.days)),
        bone_in=begun.bone_in,
    )
    try:
        return _planned(request, context.library)
    except Refused as refused:
        raise Refused(*(replace(p, field=_FIELDS.get(p.field, p.field)) for p in refused.problems)) from None
    except NotFound as missing:
        if missing.what not in ("cuts", "purposes"):
            raise
        raise Refused(Problem("not_one_of", missing.what.rstrip("s"), missing.key)) from None


def replanned(
    context: Context,
    state: PieceState,
    *,
    hanging_kg: float | None,
    air: kinds.AirChoice | None = None,
    reasons: Mapping[str, str] | None = None,
) -> PiecePlan:
    """The plan of a piece under way. Doubts kept with a reason at its start stay kept."""
    begun = state.started if air is None else state.started.model_copy(update={"air": air})
    liquids = [e.body.liquid.value for e in state.drained if e.body.liquid is not None]
    return planned(
        context,
        begun,
        start=state.started_at.astimezone(context.zone).date(),
        reasons={**begun.reasons, **(reasons or {})},
        hanging_kg=hanging_kg,
        salt_frac=_salt_weighed(context, state),
        drained_kg=sum(liquids) if liquids else None,
        drained_salt_frac=_drained_salt(state),
    )


def _drained_salt(state: PieceState) -> float | None:
    """Salt of all the liquid drained, None where it was not found out of each."""
    parts = [(e.body.liquid, e.body.salt) for e in state.drained if e.body.liquid is not None]
    if not parts or any(salt is None for _, salt in parts):
        return None
    whole = sum(liquid.value for liquid, _ in parts)
    return sum(liquid.value * salt.value for liquid, salt in parts if salt is not None) / whole


def _salt_weighed(context: Context, state: PieceState) -> float | None:
    """Share of salt as it was weighed in all applications; None where it was not all weighed, and where
    what is weighed is not what the piece takes up."""
    begun, mix = state.started, state.started.salting.mix
    if begun.salting.method != "weighed_dose" or len(state.salted) < begun.salting.applications:
        return None
    if any(entry.body.salt is None or (mix is not None and entry.body.mix is None) for entry in state.salted):
        return None
    inside = 0.0
    if mix is not None:
        others = mix.nitrite.value + (_si(mix.nitrate) or 0.0)
        inside = mix.salt.value if mix.salt is not None else 1.0 - others
    kg = sum(
        (entry.body.salt.value if entry.body.salt else 0.0)
        + (entry.body.mix.value * inside if entry.body.mix else 0.0)
        for entry in state.salted
    )
    base = begun.green_weight.value
    if begun.skin_on:
        skin = context.library.row("salting_rules", "skin_share")
        base = base_mass_skin_on(green_mass_kg=base, skin_frac=skin.number("pct"))
    return kg / base


def _si(measured: Measured | None) -> float | None:
    return None if measured is None else measured.value


def shown(plan: PiecePlan, *, unusual: tuple[str, ...] = ()) -> PlanShown:
    """A plan as its slips."""
    tracer = Tracer()
    dose, salting, hanging, target = plan.dose, plan.time, plan.hanging, plan.target
    leaving = plan.leaving_cold
    lines: dict[str, tuple[Amount | None, ...]] = {
        "dose": (dose.cure_mix, dose.salt, dose.sugar, *dose.spices, *dose.brine),
        "ingoing": (dose.salt_share, dose.nitrite, dose.nitrate),
        "time": (
            salting.planned,
            salting.through,
            salting.trade,
            salting.centre,
            salting.uptake,
            salting.rest,
        ),
        "physical": (salting.drained, *dose.kept),
        "before": (plan.origins.freeze, plan.origins.thaw),
        "cold": ()
        if leaving is None
        else (leaving.least_salted, leaving.even, leaving.rest, leaving.salt, leaving.cold_mass),
        "hanging": (hanging.mass, hanging.water, hanging.fat, hanging.salt),
        "target": (target.mass, target.loss_from_hanging, target.loss_from_green, target.ceiling, target.aw),
    }
    slips: dict[str, tuple[Line, ...]] = {name: lines_of(amounts, tracer) for name, amounts in lines.items()}
    limits = tuple(
        LimitShown(
            id=check.limit.text("id"),
            agent=check.agent,
            basis=check.basis,
            jurisdiction=check.limit.text("jurisdiction"),
            edition=check.limit.text("edition"),
            limit=tracer.figure(
                check.limit_frac,
                "fraction",
                tracer.trace(check.amount.model, {}, (check.limit,)),
            ),
            amount=figure_of(check.amount, tracer),
            note=check.note,
        )
        for check in dose.limits
    )
    steps = tuple(_step(step, tracer) for step in plan.steps)
    return PlanShown(
        purpose=plan.request.purpose,
        cut=plan.request.cut,
        **slips,
        limits=limits,
        aimed_by=target.aimed_by,
        claims=target.claims,
        hang_on=plan.hang_on,
        leaving_cold=None if leaving is None else leaving.verdict,
        parasites=plan.origins.verdict,
        steps=steps,
        cautions=plan.cautions,
        kept=tuple(KeptShown(code=kept.problem.code, reason=kept.reason) for kept in plan.kept),
        unusual=unusual,
        notes=(*dose.notes, *salting.notes, *target.notes, *(() if leaving is None else leaving.notes)),
        traces=tracer.traces,
    )


def _step(step: PlanStep, tracer: Tracer) -> StepShown:
    return StepShown(
        code=step.code,
        on=step.on,
        until=step.until,
        amounts=lines_of(step.amounts, tracer),
        reason=step.reason,
        notes=step.notes,
        cautions=step.cautions,
    )


def target_choice(plan: PiecePlan) -> kinds.TargetChoice:
    """The target of a plan as an event keeps it: the mass told, and the loss it stands for."""
    target = plan.target
    return kinds.TargetChoice(
        by=target.aimed_by,
        mass=Measured.si(target.mass.value),
        loss_from_green=Measured.si(target.loss_from_green.value),
        loss_from_hanging=Measured.si(target.loss_from_hanging.value),
    )


def issued(plan: PiecePlan) -> kinds.PlanIssued:
    """The plan as it leaves the house: dates and amounts, for the bench and to be held to account."""
    return kinds.PlanIssued(
        program=__version__,
        steps=tuple(
            kinds.StepIssued(
                code=step.code,
                on=step.on,
                until=step.until,
                reason=step.reason,
                amounts={f"{a.quantity}:{a.name}" if a.name else a.quantity: a.value for a in step.amounts},
                cautions=tuple(caution.code for caution in step.cautions),
            )
            for step in plan.steps
        ),
    )
