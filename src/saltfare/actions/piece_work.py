"""What is done to a piece: salted, turned, washed, hung, weighed, noted."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Annotated, NamedTuple

from pydantic import Field

from saltfare.actions.context import Context
from saltfare.actions.piece_forecast import issue, made_of
from saltfare.actions.piece_shapes import MixMass, SaltMass, ScaleStep, Thickness
from saltfare.actions.piece_stages import besides, open_to
from saltfare.actions.piece_start import replanned, target_choice
from saltfare.actions.shapes import Command, Done, done
from saltfare.core.errors import NotFound, Problem, Refused
from saltfare.core.fields import Measured, Quantity
from saltfare.journal import events_piece as kinds
from saltfare.journal.chamber import chamber
from saltfare.journal.codes import parse_code
from saltfare.journal.events import Noted
from saltfare.journal.piece import PieceState, State, pieces
from saltfare.journal.piece import piece as piece_of

# A scale that repeats to 0.2 % is a good kitchen scale; a bare cut of 3 cm in a draught loses about 10 %
# of its mass on its first day. Outside these a weight is asked about, never refused.
_SLACK = 0.002
_FAST_FRAC_PER_DAY = 0.12

Weight = Annotated[Measured, Quantity("weigh_in")]
HangingWeight = Annotated[Measured, Quantity("hanging_weight")]
SpiceDose = Annotated[Measured, Quantity("spice_dose")]
Tare = Annotated[Measured, Quantity("tare")]


class OnePiece(Command):
    """A command on one piece, by the code printed on its tag."""

    code: str = Field(max_length=40)


class SaltGiven(OnePiece):
    """What was really weighed out for this application."""

    salt: SaltMass | None = None
    mix: MixMass | None = None
    sugar: Annotated[Measured, Quantity("sugar_dose")] | None = None
    spices: dict[str, Annotated[Measured, Quantity("spice_dose")]] = Field(
        default_factory=dict, max_length=24
    )
    temperature: Annotated[Measured, Quantity("salting_temperature")] | None = None


class TurnGiven(Command):
    """One piece by its code, or every piece in salt."""

    code: str | None = Field(default=None, max_length=40)


class WashGiven(OnePiece):
    """Out of the salt and washed; its mass where it was weighed."""

    mass: HangingWeight | None = None


class HangGiven(OnePiece):
    """Hung in a chamber at a mass. Where hook and net were weighed with it, give them as tare."""

    mass: HangingWeight
    tare: Tare | None = None
    chamber: str | None = Field(default=None, max_length=60)
    thickness: Thickness | None = None


class WeighGiven(OnePiece):
    """A weigh-in. Where hook and net were weighed with it, give them as tare."""

    mass: Weight
    tare: Tare | None = None
    scale_step: ScaleStep | None = None


class NoteGiven(OnePiece):
    """A remark."""

    text: str = Field(min_length=1, max_length=4000)


class Hung(Done):
    """Hung, and the target mass this piece now has."""

    target_mass_kg: float


class Turned(Done):
    """Which pieces were turned."""

    codes: tuple[str, ...]


def found(context: Context, code: str) -> PieceState:
    """The piece a typed code means. Raises Refused for what is no code, NotFound."""
    return piece_of(context.journal, parse_code(code))


def salt_piece(context: Context, given: SaltGiven) -> Done:
    """Record an application of the rub as it was weighed."""
    state = found(context, given.code)
    open_to(context, given, state, "salt_piece")
    if given.salt is None and given.mix is None:
        raise Refused(Problem("nothing_weighed", "salt"))
    earlier = besides(context, given, state.salted)
    put_on = [entry.body.mix for entry in earlier if entry.body.mix]
    doubt_double_dose(given, mix=given.mix, before=put_on, plan=state.started.plan)
    body = kinds.Salted(
        application=len(earlier) + 1,
        salt=given.salt,
        mix=given.mix,
        sugar=given.sugar,
        spices=dict(given.spices),
        temperature=given.temperature,
    )
    return done(context, given, [(kinds.STREAM + state.code, body)])


def doubt_double_dose(
    given: Command, *, mix: Measured | None, before: Iterable[Measured], plan: kinds.PlanIssued | None
) -> None:
    """More cure mix than was planned in all is kept only with a reason: nitrite adds up."""
    planned = plan.weighed_out("cure_mix_dose") if plan else 0.0
    given_kg = (mix.value if mix else 0.0) + sum(one.value for one in before)
    if given_kg == 0 or given.reasons.get("mix", "").strip():
        return
    if given_kg > planned * 1.1:
        raise Refused(
            Problem(
                "more_cure_than_planned",
                "mix",
                mix.typed if mix else "",
                params={"mass_kg": given_kg, "planned_kg": planned, "reason_for": "mix"},
            )
        )


def turn_piece(context: Context, given: TurnGiven) -> Turned:
    """Record that a piece, or every piece in salt, was turned."""
    states: tuple[PieceState, ...]
    if given.code is not None:
        states = (found(context, given.code),)
        open_to(context, given, states[0], "turn_piece")
    else:
        states = tuple(s for s in pieces(context.journal) if s.state is State.IN_SALT)
        if not states:
            raise Refused(Problem("none_in_salt", "code"))
        if given.seen_version is not None:
            raise Refused(Problem("seen_version_of_many", "seen_version", str(given.seen_version)))
    did = done(context, given, [(kinds.STREAM + s.code, kinds.Turned()) for s in states])
    return Turned(**dict(did), codes=tuple(s.code for s in states))


def wash_piece(context: Context, given: WashGiven) -> Done:
    """Record that the piece came out of the salt and was washed."""
    state = found(context, given.code)
    open_to(context, given, state, "wash_piece")
    return done(context, given, [(kinds.STREAM + state.code, kinds.Washed(mass=given.mass))])


def hang_piece(context: Context, given: HangGiven) -> Hung:
    """Record that the piece was hung, and work out its target from the mass just weighed."""
    state = found(context, given.code)
    open_to(context, given, state, "hang_piece")
    salted, at = state.salting_begun_at, given.at or context.now
    if salted is not None and at < salted:
        raise Refused(Problem("before_salting", "at", at.isoformat(), salted.isoformat()))
    where = given.chamber or state.started.chamber
    air = _air_of(context, where) if where is not None else None
    mass = net(given.mass, given.tare)
    if mass.value > state.green_weight_kg * 1.02:
        green = state.green_weight_kg
        doubt(given, "heavier_than_green", given.mass.typed, mass_kg=mass.value, green_kg=green)
    plan = replanned(context, state, hanging_kg=mass.value, air=air, reasons=given.reasons)
    body = kinds.Hung(
        chamber=where, mass=mass, tare=given.tare, thickness=given.thickness, target=target_choice(plan)
    )
    did = done(context, given, [(kinds.STREAM + state.code, body)])
    return Hung(**with_forecast(context, given, state.code, did), target_mass_kg=plan.target.mass.value)


def _air_of(context: Context, key: str) -> kinds.AirChoice | None:
    """The usual air of a chamber, None where it was not described. Raises Refused (chamber_unknown)."""
    try:
        usual = chamber(context.journal, key).described
    except NotFound:
        raise Refused(Problem("chamber_unknown", "chamber", key)) from None
    if usual is None or usual.temperature is None or usual.humidity is None:
        return None
    return kinds.AirChoice(temperature=usual.temperature, humidity=usual.humidity)


def weigh_in(context: Context, given: WeighGiven) -> Done:
    """Record a weigh-in and issue the forecast that follows from it."""
    state = found(context, given.code)
    open_to(context, given, state, "weigh_in")
    at = given.at or context.now
    hung = state.hung[-1]
    mass = net(given.mass, given.tare)
    if at < hung.at:
        raise Refused(Problem("before_hanging", "at", at.isoformat(), hung.at.isoformat()))
    left = mass.value / state.comparable_kg(mass.value, at)
    dry = made_of(context, state).dry_kg * left
    if mass.value < dry:
        raise Refused(Problem("lighter_than_dry", "mass", given.mass.typed, params={"dry_kg": dry}))
    last = _last_before(state, at)
    step = given.scale_step.value if given.scale_step else 0.0
    if mass.value > last.mass_kg + max(2 * step, _SLACK * last.mass_kg):
        doubt(given, "heavier_than_last", given.mass.typed, mass_kg=mass.value, last_kg=last.mass_kg)
    days = (at - last.at).total_seconds() / 86400.0
    if mass.value < last.mass_kg * (1 - min(_FAST_FRAC_PER_DAY * max(days, 1.0), 0.9)):
        doubt(given, "much_lighter_than_last", given.mass.typed, mass_kg=mass.value, last_kg=last.mass_kg)
    body = kinds.Weighed(mass=mass, tare=given.tare, scale_step=given.scale_step)
    did = done(context, given, [(kinds.STREAM + state.code, body)])
    return Done(**with_forecast(context, given, state.code, did))


def note(context: Context, given: NoteGiven) -> Done:
    """Write a note on a piece."""
    state = found(context, given.code)
    return done(context, given, [(kinds.STREAM + state.code, Noted(text=given.text))])


def net(mass: Measured, tare: Measured | None) -> Measured:
    """What the piece alone weighs, with what was typed. Raises Refused (tare_too_heavy)."""
    if tare is None:
        return mass
    if tare.value >= mass.value:
        raise Refused(Problem("tare_too_heavy", "tare", tare.typed, mass.typed))
    return Measured(typed=f"{mass.typed} - {tare.typed}", value=mass.value - tare.value)


def doubt(given: Command, code: str, typed: str, *, field: str = "mass", **params: float) -> None:
    """Refuse something unlikely unless a reason is written for its field."""
    if not given.reasons.get(field, "").strip():
        raise Refused(Problem(code, field, typed, params={"reason_for": field, **params}))


class _Weight(NamedTuple):
    at: datetime
    mass_kg: float


def _last_before(state: PieceState, at: datetime) -> _Weight:
    """The weight before an instant, however late it was recorded; the one at hanging counts."""
    hung = state.hung[-1]
    weights = [_Weight(hung.at, hung.body.mass.value)]
    weights += [_Weight(w.at, w.body.mass.value) for w in state.weigh_ins if hung.at <= w.at <= at]
    last = max(weights, key=lambda w: w.at)
    whole = state.comparable_kg(last.mass_kg, last.at)
    return _Weight(last.at, whole * last.mass_kg / state.comparable_kg(last.mass_kg, at))


def with_forecast(context: Context, given: Command, code: str, did: Done) -> dict[str, object]:
    """What was done, with the forecast issued after it; a forecast that fails never loses a weigh-in."""
    out = dict(did)
    if not did.already:
        event, notes = issue(context, piece_of(context.journal, code), given.request_id)
        out |= {
            "events": did.events + ((event,) if event else ()),
            "notes": notes,
            "version": context.journal.stream_head(did.stream),
        }
    return out
