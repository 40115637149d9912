"""What a plan of a piece is asked for with, and what it is made of. Nothing here computes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Literal

from saltfare.core.errors import Problem, Refused
from saltfare.core.figure import Note, Verdict
from saltfare.core.tables import Row
from saltfare.models.salt_diffusion import Shape
from saltfare.models.salt_profile import Profile

Rules = Literal["us_home", "us_commercial", "eu", "ca"]
Method = Literal[
    "weighed_dose", "excess_salt", "brine_uptake", "brine_equilibrium", "pumped", "pumped_rubbed"
]
Origin = Literal["inspected", "farm", "hunted"]
ParasiteStep = Literal["none", "freeze", "tested"]
CureSalt = Literal["sodium", "potassium"]
BRINES: tuple[Method, ...] = ("brine_uptake", "brine_equilibrium")
NEEDLES: tuple[Method, ...] = ("pumped", "pumped_rubbed")
AimedBy = Literal["usual_loss", "aw", "typed_loss", "typed_mass"]


@dataclass(frozen=True, slots=True, kw_only=True)
class MixLabel:
    """A cure mix as its label prints it; a strength that is not on it is None, never guessed.

    nitrite_salt, nitrate_salt: sodium or potassium, as the label names them.
    """

    name: str
    nitrite_frac: float | None
    nitrate_frac: float | None = None
    salt_frac: float | None = None
    nitrite_salt: CureSalt = "sodium"
    nitrate_salt: CureSalt = "sodium"


@dataclass(frozen=True, slots=True, kw_only=True)
class BrineChoice:
    """A brine. mass_kg: all of it, water, salt, cure mix and sugar.

    uptake_frac: brine picked up or pumped in, of green weight; not asked where the brine is left to even
    out. strength_frac: salt per kg of brine; None to have it worked out of the salt wanted (with a rub
    beside the needle it must be given). spacing_m: between the stitches of the needle, None for usual.
    """

    mass_kg: float
    uptake_frac: float | None = None
    strength_frac: float | None = None
    spacing_m: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoApplications:
    """Salt rubbed on twice, drained and washed between.

    first_frac: share of everything that goes on first, first_time_s: until it is drained; None for the
    practice's own. drained_kg, drained_salt_frac: the liquid as weighed, and its salt where known.
    """

    first_frac: float | None = None
    first_time_s: float | None = None
    drained_kg: float | None = None
    drained_salt_frac: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Freezing:
    """Freezing against Trichinella, before salting. time_s: None for the days of the published table."""

    temp_c: float
    time_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceRequest:
    """A piece to plan. Ids are rows of the library; shares are of green weight.

    start: civil day work begins: it goes into salt, or first into the freezer. mix: None for salt alone.
    nitrite_frac (told as sodium nitrite), salting_time_s, rest_time_s, fat_frac, water_frac: None for the
    practice's, the model's or the cut's own. salt_frac: salt wanted in the meat. hanging_mass_kg: once it
    has been weighed. reasons: why a doubt is overruled, by problem code. brine: for brines and needles.
    twice: for a weighed dose rubbed on twice. origin: None where nobody said.
    """

    start: date
    purpose: str
    cut: str
    rules: Rules
    green_mass_kg: float
    shape: Shape
    thickness_m: float
    length_m: float
    width_m: float | None = None
    skin_on: bool = False
    salt_frac: float
    mix: MixLabel | None
    nitrite_frac: float | None = None
    sugar_frac: float = 0.0
    spices: Mapping[str, float] = field(default_factory=dict)
    scale_step_kg: float
    salting_temp_c: float
    salting_time_s: float | None = None
    chamber_temp_c: float
    chamber_humidity_frac: float
    fat_frac: float | None = None
    water_frac: float | None = None
    target_mass_kg: float | None = None
    target_loss_frac: float | None = None
    hanging_mass_kg: float | None = None
    reasons: Mapping[str, str] = field(default_factory=dict)
    method: Method = "weighed_dose"
    brine: BrineChoice | None = None
    twice: TwoApplications | None = None
    rest_time_s: float | None = None
    origin: Origin | None = None
    parasite_step: ParasiteStep = "none"
    freezing: Freezing | None = None
    bone_in: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """A number with all a figure needs: glossary name, interval, and what made it from what.

    interval: key of the words catalogue's section `interval`, None where there is none.
    """

    quantity: str
    value: float
    kind: str
    model: Callable[..., Any]
    inputs: Mapping[str, str | float | int | None]
    rows: tuple[Row, ...] = ()
    low: float | None = None
    high: float | None = None
    interval: str | None = None
    name: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitCheck:
    """A published limit beside what goes on. A limit is a ceiling: being under it earns nothing."""

    limit: Row
    limit_frac: float
    agent: str
    basis: str
    amount: Amount
    note: Note


@dataclass(frozen=True, slots=True, kw_only=True)
class Dose:
    """What is weighed out. base_kg: mass that takes up cure; salt_kg: all salt that goes on or in, that of
    the mix counted.

    stays: the salt is what the meat takes up, so that none of it leaves with the liquid. brine: what a
    brine is made of, and its litres. applications: what goes on at each of two applications. kept: salt
    and agents still there after the drained liquid was taken off, an estimate; the law counts all of it.
    """

    base_kg: float
    salt_kg: float
    sugar_kg: float
    cure_mix: Amount | None
    salt: Amount
    sugar: Amount | None
    spices: tuple[Amount, ...]
    salt_share: Amount
    nitrite: Amount | None
    nitrate: Amount | None
    limits: tuple[LimitCheck, ...]
    notes: tuple[Note, ...]
    stays: bool = False
    brine: tuple[Amount, ...] = ()
    applications: tuple[tuple[Amount, ...], ...] = ()
    kept: tuple[Amount, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SaltingTime:
    """Days in salt: as planned, as computed for the middle, as the trade counts, and how far it gets.

    rest, rest_days: cold rest after the salt until it is even; none is 0. first_days: of two
    applications. profiles: salt across the piece at the end of salting and rest, with the least, the
    middle and the greatest diffusivity. uptake: salt a box or a brine has brought by then. drained: salt
    in the liquid weighed between two applications.
    """

    days: int
    planned: Amount
    through: Amount
    trade: Amount
    centre: Amount
    notes: tuple[Note, ...]
    rest_days: int = 0
    rest: Amount | None = None
    first_days: int | None = None
    profiles: tuple[Profile, ...] = ()
    uptake: Amount | None = None
    drained: Amount | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LeavingCold:
    """Whether every part is low enough in water activity before it leaves the cold, and what would help.

    least_salted: our own figure of the wettest part; even: were the salt evenly spread. The rest are ways
    to get there, where they do: more days of rest, more salt, or a mass to come down to in the cold.
    """

    verdict: Verdict
    least_salted: Amount
    even: Amount
    rest: Amount | None
    salt: Amount | None
    cold_mass: Amount | None
    notes: tuple[Note, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Origins:
    """Where the meat came from and what is done against parasites; days before it goes into salt."""

    freeze_days: int = 0
    thaw_days: int = 0
    freeze: Amount | None = None
    thaw: Amount | None = None
    verdict: Verdict | None = None
    cautions: tuple[Note, ...] = ()

    @property
    def days(self) -> int:
        """Days from the start to the salt."""
        return self.freeze_days + self.thaw_days


@dataclass(frozen=True, slots=True, kw_only=True)
class Hanging:
    """The piece as it will hang, masses in kg; an estimate until it is weighed."""

    water_kg: float
    fat_kg: float
    solids_kg: float
    salt_kg: float
    sugar_kg: float
    is_measured: bool
    mass: Amount
    water: Amount
    fat: Amount
    salt: Amount

    @property
    def dry_kg(self) -> float:
        """Everything but water."""
        return self.fat_kg + self.solids_kg + self.salt_kg + self.sugar_kg

    @property
    def mass_kg(self) -> float:
        """Mass at hanging."""
        return self.water_kg + self.dry_kg


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """The mass aimed at, what loss that is, the most this air allows, and what may be claimed of it."""

    aimed_by: AimedBy
    mass: Amount
    loss_from_hanging: Amount
    loss_from_green: Amount
    ceiling: Amount
    aw: Amount
    claims: tuple[Verdict, ...]
    notes: tuple[Note, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """Something to do: on a day, or daily from `on` to `until`, or (`on` None) when it weighs so much."""

    code: str
    on: date | None
    until: date | None = None
    amounts: tuple[Amount, ...] = ()
    reason: str
    notes: tuple[Note, ...] = ()
    cautions: tuple[Note, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A doubt overruled, and the written reason that stays on the piece."""

    problem: Problem
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PiecePlan:
    """A plan of one piece."""

    request: PieceRequest
    purpose: Row
    cut: Row
    dose: Dose
    time: SaltingTime
    hanging: Hanging
    target: Target
    steps: tuple[Step, ...]
    cautions: tuple[Note, ...]
    kept: tuple[Kept, ...]
    leaving_cold: LeavingCold | None = None
    origins: Origins = field(default_factory=Origins)

    @property
    def hang_on(self) -> date:
        """Civil day it is hung."""
        return next(step.on for step in self.steps if step.code == "hang" and step.on is not None)


class Objections:
    """Collects what stands against a plan, so that all of it is said at once."""

    def __init__(self, reasons: Mapping[str, str]) -> None:
        self._reasons = reasons
        self._problems: list[Problem] = []
        self._kept: list[Kept] = []

    def refuse(self, code: str, field: str, given: object = "", allowed: str = "", **params: Any) -> None:
        """Something that cannot stand."""
        self._problems.append(Problem(code, field, str(given), allowed, params))

    def doubt(self, code: str, field: str, given: object = "", allowed: str = "", **params: Any) -> None:
        """Something that stands only with a written reason given under its code."""
        reason = self._reasons.get(code, "").strip()
        problem = Problem(code, field, str(given), allowed, {**params, "reason_for": code})
        if reason:
            self._kept.append(Kept(problem=problem, reason=reason))
        else:
            self._problems.append(problem)

    def settle(self) -> tuple[Kept, ...]:
        """The doubts kept with a reason. Raises Refused where anything stands against the plan."""
        if self._problems:
            raise Refused(*self._problems)
        return tuple(self._kept)
