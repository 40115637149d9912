"""Rub day: a piece like the last one. Its weight in, grams out; started and salted by one act."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Annotated

from pydantic import Field

from saltfare.actions.bench import AmountDue, amounts_of
from saltfare.actions.context import Context
from saltfare.actions.piece_shapes import (
    GreenWeight,
    KeptShown,
    Length,
    LimitShown,
    Line,
    MixMass,
    PlanShown,
    SaltMass,
    ScaleStep,
    Thickness,
    Width,
)
from saltfare.actions.piece_stages import repeated
from saltfare.actions.piece_start import issued, planned, shown, target_choice
from saltfare.actions.piece_work import doubt_double_dose, found
from saltfare.actions.shapes import Command, Done, Output, Query, done
from saltfare.core.errors import NotFound, Problem, Refused
from saltfare.core.fields import Called, Frozen, Measured, Quantity, implausible
from saltfare.core.figure import Note
from saltfare.journal import events_piece as kinds
from saltfare.journal.chamber import chamber
from saltfare.journal.codes import new_code
from saltfare.journal.piece import PieceState, State, pieces

_NEEDLES = ("pumped", "pumped_rubbed")
_SECOND = "weigh_out_second"


class RubDayGiven(Query):
    """The piece it is to be like, by its code, or the last one started of a cut, or of all. Weight and
    measures are of the new piece; thickness and length may wait while it is weighed out."""

    like: str | None = Field(default=None, max_length=40)
    cut: str | None = Field(default=None, max_length=60)
    green_weight: GreenWeight | None = None
    thickness: Thickness | None = None
    length: Length | None = None
    width: Width | None = None
    scale_step: ScaleStep | None = None
    start: date | None = None
    reasons: dict[str, str] = Field(default_factory=dict)


class Model(Frozen):
    """A piece that another can be like."""

    code: str
    name: str
    cut: str
    started_at: datetime
    green_kg: float
    shape: str
    thickness_m: float
    scale_step_kg: float
    method: str


class AsLast(Frozen):
    """What is taken over from the last time, as it was chosen (SI). mix_strength: as typed off its label."""

    salt_frac: float
    nitrite_frac: float | None
    mix: str | None
    mix_strength: str | None
    sugar_frac: float | None
    rules: str
    applications: int
    salting_temp_c: float
    chamber: str | None


class SecondDue(Frozen):
    """A piece whose second application is next: to be drained first, or to be rubbed now."""

    code: str
    name: str
    version: int
    drained: bool
    on: date | None
    amounts: tuple[AmountDue, ...]


class RubDayShown(Output):
    """What goes on now, with its limits and cautions; `plan` once the piece is measured.

    weigh: all of it, or the first of two applications. open: what is still to be measured before it can
    be started. models: the last started of each cut, the latest first. second: see SecondDue.
    """

    like: Model | None
    models: tuple[Model, ...]
    as_last: AsLast | None
    weigh: tuple[Line, ...]
    limits: tuple[LimitShown, ...]
    cautions: tuple[Note, ...]
    kept: tuple[KeptShown, ...]
    open: tuple[str, ...]
    unusual: tuple[str, ...]
    plan: PlanShown | None
    second: tuple[SecondDue, ...]


class RubGiven(Command):
    """A piece like another, as weighed and measured, and what was really weighed out for it."""

    like: str = Field(max_length=40)
    name: Called
    green_weight: GreenWeight
    thickness: Thickness
    length: Length
    width: Width | None = None
    scale_step: ScaleStep | None = None
    salt: SaltMass | None = None
    mix: MixMass | None = None
    sugar: Annotated[Measured, Quantity("sugar_dose")] | None = None
    spices: dict[str, Annotated[Measured, Quantity("spice_dose")]] = Field(
        default_factory=dict, max_length=24
    )


class Rubbed(Done):
    """The piece started and salted, and its plan."""

    code: str
    plan: PlanShown


def rub_day(context: Context, given: RubDayGiven) -> RubDayShown:
    """What to weigh out for a piece like the last one, and second applications that are due."""
    states = pieces(context.journal)
    models = _models(states)
    like = _like(context, given, models)
    out = RubDayShown(
        like=_model(like) if like else None,
        models=tuple(_model(state) for state in models),
        as_last=_as_last(like.started) if like else None,
        weigh=(),
        limits=(),
        cautions=(),
        kept=(),
        open=(),
        unusual=tuple(p.field for p in implausible(given)),
        plan=None,
        second=tuple(_second(context, states)),
    )
    if like is None or given.green_weight is None:
        return out.model_copy(update={"open": ("green_weight",)})
    size = _Size.of(like.started, given)
    begun = size.started(context, like.started, name="-", scale_step=given.scale_step)
    plan = planned(context, begun, start=given.start or context.today, reasons=given.reasons)
    slip = shown(plan)
    first = next(step for step in slip.steps if step.code == "weigh_out")
    return out.model_copy(
        update={
            "weigh": first.amounts,
            "limits": slip.limits,
            "cautions": (*first.notes, *first.cautions),
            "kept": slip.kept,
            "open": size.open,
            "plan": None if size.open else slip,
            "traces": slip.traces,
        }
    )


def rub_piece(context: Context, given: RubGiven) -> Rubbed:
    """Start a piece like another and record the salt that went on, together or not at all."""
    like = found(context, given.like)
    _can_be_rubbed(like)
    if given.salt is None and given.mix is None:
        raise Refused(Problem("nothing_weighed", "salt"))
    asked = RubDayGiven(
        green_weight=given.green_weight, thickness=given.thickness, length=given.length, width=given.width
    )
    size = _Size.of(like.started, asked)
    if size.open:
        raise Refused(*(Problem("missing", name) for name in size.open))
    begun = size.started(context, like.started, name=given.name, scale_step=given.scale_step)
    at = given.at or context.now
    plan = planned(context, begun, start=at.astimezone(context.zone).date(), reasons=given.reasons)
    body = begun.model_copy(update={"target": target_choice(plan), "plan": issued(plan)})
    doubt_double_dose(given, mix=given.mix, before=(), plan=body.plan)
    salted = kinds.Salted(
        salt=given.salt,
        mix=given.mix,
        sugar=given.sugar,
        spices=dict(given.spices),
        temperature=begun.salting.temperature,
    )
    before = (
        context.journal.answered(given.request_id) if repeated(context, given) and given.request_id else ()
    )
    taken = {stream.partition("/")[2] for stream in context.journal.streams()}
    code = before[0].stream.partition("/")[2] if before else new_code(context.entropy, taken)
    did = done(context, given, [(kinds.STREAM + code, body), (kinds.STREAM + code, salted)])
    return Rubbed(**dict(did), code=code, plan=shown(plan))


@dataclass(frozen=True, slots=True)
class _Size:
    """A new piece's weight and measures. Where it is weighed and not yet measured, the other's measures
    in proportion stand for its own: the dose does not depend on them, and nothing else is told of it."""

    green_weight: Measured
    thickness: Measured
    length: Measured
    width: Measured | None
    open: tuple[str, ...]

    @classmethod
    def of(cls, last: kinds.Started, given: RubDayGiven) -> _Size:
        if given.green_weight is None:
            raise Refused(Problem("missing", "green_weight"))
        scale = (given.green_weight.value / last.green_weight.value) ** (1 / 3)
        asked = [("thickness", given.thickness), ("length", given.length)]
        asked += [("width", given.width)] if last.shape == "slab" else []
        still = tuple(name for name, measured in asked if measured is None)

        def one(measured: Measured | None, like: Measured | None) -> Measured | None:
            return measured or (Measured.si(like.value * scale) if like else None)

        thickness, length = one(given.thickness, last.thickness), one(given.length, last.length)
        if thickness is None or length is None:
            raise AssertionError("a piece has been measured")
        width = one(given.width, last.width) if last.shape == "slab" else None
        return cls(given.green_weight, thickness, length, width, still)

    def started(
        self, context: Context, last: kinds.Started, *, name: str, scale_step: Measured | None
    ) -> kinds.Started:
        """The other piece's choices with this one's measures; what was measured of that one stays there."""
        salting = last.salting
        if scale_step is not None:
            salting = salting.model_copy(update={"scale_step": scale_step})
        return last.model_copy(
            update={
                "name": name,
                "green_weight": self.green_weight,
                "thickness": self.thickness,
                "length": self.length,
                "width": self.width,
                "fat_share": None,
                "water_share": None,
                "salting": salting,
                "air": _air(context, last),
                "wished": kinds.WishedTarget(loss_from_hanging=last.wished.loss_from_hanging),
                "target": None,
                "plan": None,
                "reasons": {},
            }
        )


def _air(context: Context, last: kinds.Started) -> kinds.AirChoice:
    """The air to count on: of the chamber as it is described now, else what was typed last time."""
    if last.chamber is not None:
        try:
            usual = chamber(context.journal, last.chamber).described
        except NotFound:
            usual = None
        if usual is not None and usual.temperature and usual.humidity:
            return kinds.AirChoice(temperature=usual.temperature, humidity=usual.humidity)
    return last.air


def _models(states: tuple[PieceState, ...]) -> list[PieceState]:
    """The last started of each cut, the latest first; what cannot be rubbed on the day is left out."""
    by_cut = {
        state.started.cut: state
        for state in sorted(states, key=lambda one: one.started_at)
        if not state.parent and not state.parts and _against(state) is None
    }
    return sorted(by_cut.values(), key=lambda one: one.started_at, reverse=True)


def _against(state: PieceState) -> Problem | None:
    if state.started.salting.method in _NEEDLES:
        return Problem("pumped_not_rubbed", "like", state.code)
    if state.started.parasite_step == "freeze":
        return Problem("frozen_first", "like", state.code)
    return None


def _can_be_rubbed(state: PieceState) -> None:
    against = _against(state)
    if against is not None:
        raise Refused(against)


def _like(context: Context, given: RubDayGiven, models: list[PieceState]) -> PieceState | None:
    if given.like is not None:
        state = found(context, given.like)
        _can_be_rubbed(state)
        return state
    of_cut = [state for state in models if given.cut in (None, state.started.cut)]
    return of_cut[0] if of_cut else None


def _model(state: PieceState) -> Model:
    begun = state.started
    return Model(
        code=state.code,
        name=state.name,
        cut=begun.cut,
        started_at=state.started_at,
        green_kg=begun.green_weight.value,
        shape=begun.shape,
        thickness_m=begun.thickness.value,
        scale_step_kg=begun.salting.scale_step.value,
        method=begun.salting.method,
    )


def _as_last(last: kinds.Started) -> AsLast:
    salting, mix = last.salting, last.salting.mix
    return AsLast(
        salt_frac=salting.salt.value,
        nitrite_frac=salting.nitrite.value if salting.nitrite else None,
        mix=mix.name if mix else None,
        mix_strength=mix.nitrite.typed if mix else None,
        sugar_frac=salting.sugar.value if salting.sugar else None,
        rules=salting.rules,
        applications=salting.applications,
        salting_temp_c=salting.temperature.value,
        chamber=last.chamber,
    )


def _second(context: Context, states: tuple[PieceState, ...]) -> list[SecondDue]:
    """Pieces between two applications, and those to be drained by today."""
    out = []
    for state in states:
        plan = state.started.plan
        steps = {step.code: step for step in plan.steps} if plan else {}
        if _SECOND not in steps:
            continue
        drained = state.state is State.DRAINING
        on = steps[_SECOND].on
        waiting = (
            state.state is State.IN_SALT and not state.drained and on is not None and on <= context.today
        )
        if drained or waiting:
            amounts = amounts_of(dict(steps[_SECOND].amounts))
            out.append(
                SecondDue(
                    code=state.code,
                    name=state.name,
                    version=state.version,
                    drained=drained,
                    on=on,
                    amounts=amounts,
                )
            )
    return out
