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

Rules = Literal["us_home", "us_commercial"]
AimedBy = Literal["usual_loss", "aw", "typed_loss", "typed_mass"]


@dataclass(frozen=True, slots=True, kw_only=True)
class MixLabel:
    """A cure mix as its label prints it; a strength that is not on it is None, never guessed."""

    name: str
    nitrite_frac: float | None
    nitrate_frac: float | None = None
    salt_frac: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceRequest:
    """A piece to plan. Ids are rows of the library; shares are of green weight.

    start: civil day it goes into salt. mix: None for salt alone. nitrite_frac, salting_time_s, fat_frac,
    water_frac: None for the practice's or the cut's own. hanging_mass_kg: once it has been weighed.
    reasons: why a doubt is overruled, by problem code.
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
    """What is weighed out. base_kg: mass that takes up cure; salt_kg: all salt, that of the mix counted."""

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


@dataclass(frozen=True, slots=True, kw_only=True)
class SaltingTime:
    """Days in salt: as planned, as computed for the middle, as the trade counts, and how far it gets."""

    days: int
    planned: Amount
    through: Amount
    trade: Amount
    centre: Amount
    notes: tuple[Note, ...]


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
