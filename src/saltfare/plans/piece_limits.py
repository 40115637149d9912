"""Published limits beside what goes on or in. Ceilings are never aims; a bound on the finished piece is
shown and never lowers a dose."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from saltfare.core.figure import Note
from saltfare.core.library import Library
from saltfare.core.tables import Row
from saltfare.core.units import factor
from saltfare.models import cure_rules, salting
from saltfare.models.cure_rules import Agent, Ceiling, Way
from saltfare.models.salting import CureMix
from saltfare.plans.piece_parts import BRINES, Amount, LimitCheck, Method, Objections, PieceRequest

_PPM = factor("fraction", "ppm")
_ION_QUANTITY = {"nitrite_ion": "nitrite_ion_ingoing", "nitrate_ion": "nitrate_ion_ingoing"}


def ways_of(method: Method) -> tuple[Way, ...]:
    """The ways of salting a method is, as the rules part them."""
    if method in BRINES:
        return ("immersed",)
    if method == "pumped":
        return ("pumped",)
    return ("pumped", "dry") if method == "pumped_rubbed" else ("dry",)


@dataclass(frozen=True, slots=True)
class Book:
    """The curing salts in hand by their ion, and every limit on each."""

    rules: str
    agents: Mapping[str, Agent]
    ceilings: Mapping[str, tuple[Ceiling, ...]]

    def lowest(self, ion: str) -> Ceiling | None:
        """The ingoing ceiling that binds."""
        return cure_rules.lowest_ceiling(ceilings=self.ceilings.get(ion, ()))

    def actual_frac(self, ion: str, sodium_frac: float) -> float:
        """A share told as the sodium salt, as the salt in hand."""
        return sodium_frac / self.agents[ion].as_sodium

    def allows(self, ion: str, actual_frac: float) -> bool:
        """Whether a share of the salt in hand is within every ingoing ceiling."""
        lowest = self.lowest(ion)
        return lowest is None or actual_frac <= lowest.of_salt_frac * (1 + 1e-9)

    def room_frac(self, ion: str, actual_frac: float) -> float:
        """What is left below the ceiling beside a share of the salt in hand."""
        lowest = self.lowest(ion)
        return math.inf if lowest is None else max(lowest.of_salt_frac - actual_frac, 0.0)

    def hold_aim(self, aim_frac: float, against: Objections) -> None:
        """Refuse an aim past the ceiling. aim_frac: as sodium nitrite."""
        lowest = self.lowest("nitrite_ion")
        if lowest is None or self.allows("nitrite_ion", self.actual_frac("nitrite_ion", aim_frac)):
            return
        most = lowest.of_salt_frac * self.agents["nitrite_ion"].as_sodium
        against.refuse(
            "nitrite_over_limit",
            "nitrite_aim",
            f"{aim_frac / _PPM:g} ppm",
            f"{most / _PPM:g} ppm",
            aim_frac=aim_frac,
            limit_frac=most,
        )

    def notes(self, going: Mapping[str, Amount | None]) -> list[Note]:
        """What cannot be told of these rules, and what goes with these salts."""
        found = []
        if self.rules == "eu" and going.get("nitrite_ion") is not None:
            found.append(Note("eu_residual_cannot_tell"))
        if going.get("nitrate_ion") is not None:
            found.append(Note("nitrate_needs_weeks"))
            if not self.ceilings.get("nitrate_ion"):
                found.append(Note("no_nitrate_limit_read"))
        return found


def book_of(*, request: PieceRequest, cut: Row, mix: CureMix | None, library: Library) -> Book:
    """The limits on a piece, by whose rules are chosen. The home is held to the trade's ceilings too."""
    if mix is None:
        return Book(request.rules, {}, {})
    names = {"nitrite_ion": mix.nitrite_agent, "nitrate_ion": mix.nitrate_agent}
    agents = {ion: Agent.from_row(library.row("cure_agents", name)) for ion, name in names.items()}
    ceilings = {
        ion: cure_rules.ceilings_for(
            rows=library.rows("cure_limits"),
            rules=request.rules,
            is_belly=cut.text("bacon_like") == "yes",
            ways=ways_of(request.method),
            agent=agent,
        )
        for ion, agent in agents.items()
    }
    return Book(request.rules, agents, ceilings)


def limit_checks(
    *,
    going: Mapping[str, Amount | None],
    book: Book,
    base_kg: float,
    target_kg: float,
    request: PieceRequest,
    against: Objections,
) -> tuple[LimitCheck, ...]:
    """Every limit with what it speaks of. going: by ion, as the sodium salt."""
    checks = []
    for ion, amount in going.items():
        if amount is None:
            continue
        agent = book.agents[ion]
        for ceiling in book.ceilings[ion]:
            held = _in_terms_of(ceiling, amount, agent, ion)
            if ceiling.limit.basis == "finished":
                checks.append(_finished(ceiling, held, base_kg, target_kg))
            else:
                checks.append(_ingoing(ceiling, held, ion, against))
    return tuple(checks)


def _in_terms_of(ceiling: Ceiling, amount: Amount, agent: Agent, ion: str) -> Amount:
    """What goes in, told as the limit tells it."""
    per_sodium = ceiling.counts_as / agent.as_sodium
    if abs(per_sodium - 1.0) < 1e-12:
        return amount
    is_ion = ceiling.limit.agent == ion

    def told(value: float | None) -> float | None:
        return None if value is None else value * per_sodium

    return Amount(
        quantity=_ION_QUANTITY[ion] if is_ion else amount.quantity,
        value=amount.value * per_sodium,
        kind=amount.kind,
        model=cure_rules.share_as_ion if is_ion else cure_rules.share_as_sodium_salt,
        inputs={"share_frac": amount.value, "agent": agent.name},
        rows=amount.rows,
        low=told(amount.low),
        high=told(amount.high),
        interval=amount.interval,
    )


def _ingoing(ceiling: Ceiling, amount: Amount, ion: str, against: Objections) -> LimitCheck:
    limit = ceiling.limit.limit_frac
    if ceiling.row.text("bound") == "least":
        return _check(ceiling, amount, "over_least" if amount.value >= limit else "under_least")
    code = "under_ceiling"
    if amount.value > limit * (1 + 1e-9):
        code = "over_ceiling"
        if ion == "nitrate_ion" and limit > 0:  # nitrite is refused with its aim, belly with its mix
            against.refuse(
                "nitrate_over_limit",
                "mix_nitrate_share",
                f"{amount.value / _PPM:.0f} ppm",
                f"{limit / _PPM:g} ppm",
                going_frac=amount.value,
                limit_frac=limit,
            )
    elif amount.high is not None and amount.high > limit * (1 + 1e-9):
        code = "scale_may_exceed_ceiling"
    return _check(ceiling, amount, code)


def _finished(ceiling: Ceiling, amount: Amount, base_kg: float, target_kg: float) -> LimitCheck:
    inputs = {"ingoing_frac": amount.value, "base_mass_kg": base_kg, "finished_mass_kg": target_kg}
    bound = Amount(
        quantity="nitrite_finished" if amount.quantity.startswith("nitrite") else "nitrate_finished",
        value=salting.agent_finished_bound(**inputs),
        kind="fraction:ppm",
        model=salting.agent_finished_bound,
        inputs=inputs,
    )
    over = bound.value > ceiling.limit.limit_frac * (1 + 1e-9)
    return _check(ceiling, bound, "bound_over_limit" if over else "bound_under_limit")


def _check(ceiling: Ceiling, amount: Amount, code: str) -> LimitCheck:
    limit = ceiling.limit
    return LimitCheck(
        limit=ceiling.row,
        limit_frac=limit.limit_frac,
        agent=limit.agent,
        basis=limit.basis,
        amount=amount,
        note=Note(code, {"limit_frac": limit.limit_frac, "share_frac": amount.value}),
    )
