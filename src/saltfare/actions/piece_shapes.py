"""What is asked for a piece and what its plan shows: the shapes of the planning actions."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field
from pydantic_core import PydanticCustomError

from saltfare.actions.shapes import Output, Tracer
from saltfare.core.errors import Refused
from saltfare.core.fields import Called, Frozen, Measured, Quantity
from saltfare.core.figure import Figure, Note, Verdict
from saltfare.plans.piece_dose import refuse_measure
from saltfare.plans.piece_parts import Amount


def _by_mass(given: Any) -> Any:
    """A dose of cure mix typed as a volume is refused with its own reason."""
    if isinstance(given, str):
        try:
            refuse_measure(given)
        except Refused as refused:
            problem = refused.problems[0]
            raise PydanticCustomError(
                "problem", "{code}", {"code": problem.code, "problem": problem}
            ) from None
    return given


MixMass = Annotated[Measured, Quantity("cure_mix_dose"), BeforeValidator(_by_mass)]
SaltMass = Annotated[Measured, Quantity("salt_dose")]
GreenWeight = Annotated[Measured, Quantity("green_weight")]
Thickness = Annotated[Measured, Quantity("thickness")]
Length = Annotated[Measured, Quantity("length")]
Width = Annotated[Measured, Quantity("width")]
ScaleStep = Annotated[Measured, Quantity("scale_step")]
Spice = Annotated[Measured, Quantity("spice_share")]


class MixGiven(Frozen):
    """A cure mix as its label prints it. The strength has no default: mixes differ."""

    name: Called
    nitrite: Annotated[Measured, Quantity("mix_nitrite_share")]
    nitrate: Annotated[Measured, Quantity("mix_nitrate_share")] | None = None
    salt: Annotated[Measured, Quantity("mix_salt_share")] | None = None
    nitrite_salt: Literal["sodium", "potassium"] = "sodium"
    nitrate_salt: Literal["sodium", "potassium"] = "sodium"


class BrineGiven(Frozen):
    """A brine. mass: all of it. uptake: picked up or pumped in, of green weight; not asked where the brine
    is left to even out. strength: left empty, it is worked out of the salt share."""

    mass: Annotated[Measured, Quantity("brine_mass")]
    uptake: Annotated[Measured, Quantity("brine_uptake")] | None = None
    strength: Annotated[Measured, Quantity("brine_strength")] | None = None
    spacing: Annotated[Measured, Quantity("needle_spacing")] | None = None


class FreezingGiven(Frozen):
    """Freezing against Trichinella before the salt. days: left empty, those of the published table."""

    temperature: Annotated[Measured, Quantity("freezer_temperature")]
    days: Annotated[Measured, Quantity("freezing_days")] | None = None


class PieceFields(Frozen):
    """A piece to plan. Shares are of green weight. Where the chamber is given by its key, its usual
    air is taken; else temperature and humidity are needed. A loss is of hanging weight."""

    purpose: Literal["home_cold", "pot", "carried"]
    cut: str = Field(max_length=60)
    rules: Literal["us_home", "us_commercial", "eu", "ca"] = "us_home"
    green_weight: GreenWeight
    shape: Literal["slab", "cylinder"]
    thickness: Thickness
    length: Length
    width: Width | None = None
    skin_on: bool = False
    salt_share: Annotated[Measured, Quantity("salt_share")]
    mix: MixGiven | None = None
    nitrite_aim: Annotated[Measured, Quantity("nitrite_aim")] | None = None
    sugar_share: Annotated[Measured, Quantity("sugar_share")] | None = None
    spices: dict[str, Spice] = Field(default_factory=dict, max_length=24)
    scale_step: ScaleStep
    salting_temperature: Annotated[Measured, Quantity("salting_temperature")]
    salting_days: Annotated[Measured, Quantity("salting_days")] | None = None
    chamber: str | None = Field(default=None, max_length=60)
    chamber_temperature: Annotated[Measured, Quantity("chamber_temperature")] | None = None
    chamber_humidity: Annotated[Measured, Quantity("chamber_humidity")] | None = None
    fat_share: Annotated[Measured, Quantity("fat_share")] | None = None
    water_share: Annotated[Measured, Quantity("water_share")] | None = None
    target_mass: Annotated[Measured, Quantity("target_mass")] | None = None
    target_loss: Annotated[Measured, Quantity("loss_from_hanging")] | None = None
    start: date | None = None
    method: Literal[
        "weighed_dose", "excess_salt", "brine_uptake", "brine_equilibrium", "pumped", "pumped_rubbed"
    ] = "weighed_dose"
    brine: BrineGiven | None = None
    applications: Literal[1, 2] = 1
    first_share: Annotated[Measured, Quantity("first_share")] | None = None
    first_days: Annotated[Measured, Quantity("first_days")] | None = None
    rest_days: Annotated[Measured, Quantity("rest_days")] | None = None
    bone_in: bool = False
    origin: Literal["inspected", "farm", "hunted"] | None = None
    parasite_step: Literal["none", "freeze", "tested"] = "none"
    freezing: FreezingGiven | None = None


class Line(Frozen):
    """One line of a slip: a glossary quantity (`name` tells which spice), and its figure."""

    quantity: str
    name: str
    figure: Figure


class LimitShown(Frozen):
    """A published limit beside what goes on."""

    id: str
    agent: str
    basis: str
    jurisdiction: str
    edition: str
    limit: Figure
    amount: Figure
    note: Note


class StepShown(Frozen):
    """Something to do, on a day, daily until one, or when it weighs so much."""

    code: str
    on: date | None
    until: date | None
    amounts: tuple[Line, ...]
    reason: str
    notes: tuple[Note, ...]
    cautions: tuple[Note, ...]


class KeptShown(Frozen):
    """A doubt overruled with a written reason."""

    code: str
    reason: str


class PlanShown(Output):
    """A plan as slips: what to weigh, limits beside it, time in salt, hanging, target, steps.

    physical: estimates beside what the law counts. leaving_cold and cold: the line before it leaves the
    cold, our own figures of it and what would get it there. parasites and before: the same of freezing.
    """

    purpose: str
    cut: str
    dose: tuple[Line, ...]
    ingoing: tuple[Line, ...]
    limits: tuple[LimitShown, ...]
    time: tuple[Line, ...]
    hanging: tuple[Line, ...]
    target: tuple[Line, ...]
    aimed_by: str
    claims: tuple[Verdict, ...]
    hang_on: date
    steps: tuple[StepShown, ...]
    cautions: tuple[Note, ...]
    kept: tuple[KeptShown, ...]
    physical: tuple[Line, ...] = ()
    leaving_cold: Verdict | None = None
    cold: tuple[Line, ...] = ()
    parasites: Verdict | None = None
    before: tuple[Line, ...] = ()
    unusual: tuple[str, ...] = ()


def figure_of(amount: Amount, tracer: Tracer) -> Figure:
    """An amount as a figure with its trace."""
    trace = tracer.trace(amount.model, amount.inputs, amount.rows)
    span = None if amount.low is None or amount.high is None else (amount.low, amount.high)
    return tracer.figure(amount.value, amount.kind, trace, span=span, interval=amount.interval)


def lines_of(amounts: Iterable[Amount | None], tracer: Tracer) -> tuple[Line, ...]:
    """The amounts there are, as lines."""
    return tuple(
        Line(quantity=amount.quantity, name=amount.name, figure=figure_of(amount, tracer))
        for amount in amounts
        if amount is not None
    )
