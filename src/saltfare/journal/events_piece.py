"""What happens to a piece, from the plan to taking it down. Stream: `piece/CODE`."""

from __future__ import annotations

from datetime import date, datetime
from typing import ClassVar, Literal

from pydantic import AwareDatetime, Field, JsonValue

from saltfare.core.fields import Frozen, Measured
from saltfare.journal.events import Body

STREAM = "piece/"


class CureMix(Frozen):
    """A cure mix as its label prints it, and which salts its nitrite and nitrate are."""

    name: str = Field(min_length=1, max_length=80)
    nitrite: Measured
    nitrate: Measured | None = None
    salt: Measured | None = None
    nitrite_salt: Literal["sodium", "potassium"] = "sodium"
    nitrate_salt: Literal["sodium", "potassium"] = "sodium"


class BrineMade(Frozen):
    """A brine: all its mass, what of it is taken up or pumped in, salt per kg of it, stitch to stitch."""

    mass: Measured
    uptake: Measured | None = None
    strength: Measured | None = None
    spacing: Measured | None = None


class FreezingChoice(Frozen):
    """Freezing against Trichinella before the salt: warmest air of the freezer, and the days."""

    temperature: Measured
    days: Measured | None = None


class SaltingChoice(Frozen):
    """What was chosen for the salting; shares are of green weight.

    applications: 2 for a weighed dose rubbed on twice; first_share and first_days are of the first.
    """

    rules: Literal["us_home", "us_commercial", "eu", "ca"]
    method: Literal[
        "weighed_dose", "excess_salt", "brine_uptake", "brine_equilibrium", "pumped", "pumped_rubbed"
    ] = "weighed_dose"
    salt: Measured
    mix: CureMix | None = None
    nitrite: Measured | None = None
    sugar: Measured | None = None
    spices: dict[str, Measured] = Field(default_factory=dict)
    applications: int = Field(default=1, ge=1, le=9)
    first_share: Measured | None = None
    first_days: Measured | None = None
    brine: BrineMade | None = None
    rest: Measured | None = None
    scale_step: Measured
    temperature: Measured
    days: Measured | None = None


class AirChoice(Frozen):
    """The air the plan counted on."""

    temperature: Measured
    humidity: Measured


class WishedTarget(Frozen):
    """A target the person typed, instead of what the purpose brings."""

    mass: Measured | None = None
    loss_from_hanging: Measured | None = None


class TargetChoice(Frozen):
    """When it is done: the mass to reach, the loss that is, and which of them was aimed at."""

    by: Literal["usual_loss", "aw", "typed_loss", "typed_mass"]
    mass: Measured
    loss_from_green: Measured | None = None
    loss_from_hanging: Measured | None = None


class StepIssued(Frozen):
    """A step of a plan as told. amounts: SI, by glossary name, `name:which` for one of several."""

    code: str = Field(max_length=40)
    on: date | None
    until: date | None
    reason: str = Field(max_length=80)
    amounts: dict[str, float]
    cautions: tuple[str, ...]


class PlanIssued(Frozen):
    """A plan as it left the house, and the program that made it."""

    program: str = Field(max_length=40)
    steps: tuple[StepIssued, ...]

    def weighed_out(self, quantity: str) -> float:
        """What the plan told to weigh out of something, over all applications (SI)."""
        weighing = ("weigh_out", "weigh_out_second")
        return sum(step.amounts.get(quantity, 0.0) for step in self.steps if step.code in weighing)


class Started(Body, kind="started"):
    """A piece planned, with the plan as it was issued."""

    name: str = Field(min_length=1, max_length=120)
    purpose: str = Field(max_length=40)
    cut: str = Field(max_length=80)
    green_weight: Measured
    shape: Literal["slab", "cylinder"]
    thickness: Measured
    width: Measured | None = None
    length: Measured
    skin_on: bool = False
    fat_share: Measured | None = None
    water_share: Measured | None = None
    bone_in: bool = False
    origin: Literal["inspected", "farm", "hunted"] | None = None
    parasite_step: Literal["none", "freeze", "tested"] = "none"
    freezing: FreezingChoice | None = None
    salting: SaltingChoice
    chamber: str | None = Field(default=None, max_length=80)
    air: AirChoice
    wished: WishedTarget = Field(default_factory=WishedTarget)
    target: TargetChoice | None = None
    plan: PlanIssued | None = None


class Salted(Body, kind="salted"):
    """One application of the rub, as it was weighed out."""

    application: int = Field(default=1, ge=1, le=9)
    salt: Measured | None = None
    mix: Measured | None = None
    sugar: Measured | None = None
    spices: dict[str, Measured] = Field(default_factory=dict)
    temperature: Measured | None = None


class Turned(Body, kind="turned"):
    """Turned in the salt."""


class Washed(Body, kind="washed"):
    """Out of the salt and washed: the rest begins."""

    mass: Measured | None = None


class Hung(Body, kind="hung"):
    """Hung in a chamber, at a mass. tare: what hangs with it, already taken off `mass`.

    target: the target mass as told at hanging, from the mass just weighed; it replaces the plan's.
    """

    chamber: str | None = Field(default=None, max_length=80)
    mass: Measured
    tare: Measured | None = None
    thickness: Measured | None = None
    target: TargetChoice | None = None
    casing: str | None = Field(default=None, max_length=80)


class Weighed(Body, kind="weighed"):
    """A weigh-in. tare: what hangs with it, already taken off `mass`."""

    mass: Measured
    tare: Measured | None = None
    scale_step: Measured | None = None


class TakenDown(Body, kind="taken_down"):
    """Taken down from the chamber: final mass, what was trimmed off, the lots made of the rest."""

    mass: Measured | None = None
    trim: Measured | None = None
    lots: tuple[str, ...] = ()


class ForecastIssued(Body, kind="forecast_issued"):
    """A forecast as it was shown, so that it can be held to account.

    piece_version: the version of the stream it rests on. air: what was assumed of the chamber.
    """

    observed: ClassVar[bool] = False

    model_version: str = Field(max_length=80)
    piece_version: int = Field(ge=0)
    air: dict[str, JsonValue]
    ready_at: AwareDatetime | None = None
    ready_early: AwareDatetime | None = None
    ready_late: AwareDatetime | None = None
    result: dict[str, JsonValue] = Field(default_factory=dict)

    @property
    def span(self) -> tuple[datetime | None, datetime | None]:
        """The interval of the ready date."""
        return self.ready_early, self.ready_late
