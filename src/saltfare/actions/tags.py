"""What goes on paper beside a piece: its tag, and the sheet of a week's readings.

A tag tells what was done as it was done, and what is planned as planned; nothing on it is worked out
anew but the days, so that it agrees with the page of the piece.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from datetime import date, datetime, timedelta
from typing import Annotated, Literal

from pydantic import AfterValidator, Field
from pydantic_core import PydanticCustomError

from saltfare.actions.bench import AmountDue, amounts_of
from saltfare.actions.context import Context
from saltfare.actions.due import due
from saltfare.actions.piece_work import found
from saltfare.actions.shapes import Command, Done, Output, Query, done
from saltfare.core.errors import Problem, Refused
from saltfare.core.fields import Frozen
from saltfare.journal import events_piece
from saltfare.journal.chamber import SETTINGS, chambers, settings
from saltfare.journal.events import SettingChanged
from saltfare.journal.piece import PieceState, State, pieces

TagKind = Literal["curing", "second_half", "hanging"]
DEFAULT_ADDRESS = "http://127.0.0.1:8765"
_ADDRESS = "tag_address"
_DOSES = ("cure_mix_dose", "salt_dose")
# What a QR can hold in its alphanumeric mode (ISO/IEC 18004, table of 45 characters), of a host.
_HOST = re.compile(r"https?://[A-Za-z0-9.-]{1,48}(:[0-9]{1,5})?")
_SHEET_DAYS = 7


class TagsGiven(Query):
    """Pieces by their codes, all under way where none is named. kind: only tags of that kind."""

    codes: tuple[str, ...] = Field(default=(), max_length=200)
    kind: TagKind | None = None


class MixTold(Frozen):
    """A cure mix as its label prints it; None for what is not on it."""

    name: str
    nitrite_frac: float | None
    nitrate_frac: float | None


class TagShown(Frozen):
    """One tag. Days are civil; `planned` names those that are not done yet.

    amounts: what was weighed in, or is to be. hung_kg, target_kg: what the scale shows without what hangs
    with the piece. target_low_kg, target_high_kg: before hanging, where the plan told an interval.
    """

    kind: TagKind
    code: str
    name: str
    cut: str
    state: str
    intact: bool
    green_kg: float
    salt_on: date | None
    second_on: date | None
    wash_on: date | None
    hang_on: date | None
    planned: tuple[Literal["salt_on", "second_on", "wash_on", "hang_on", "amounts", "target_kg"], ...]
    mix: MixTold | None
    amounts: tuple[AmountDue, ...]
    salting_c: float
    cold_c: float
    hung_kg: float | None
    target_kg: float | None
    target_loss_frac: float | None
    tare_kg: float | None
    chamber: str | None
    weigh_on: tuple[date, ...]


class TagsShown(Output):
    """Tags, and the address their QR codes begin with."""

    address: str
    tags: tuple[TagShown, ...]


def tags(context: Context, given: TagsGiven) -> TagsShown:
    """What is printed on the tags of pieces under way."""
    if given.codes:
        states: Iterable[PieceState] = [found(context, code) for code in dict.fromkeys(given.codes)]
        for state in states:
            if state.state is State.TAKEN_DOWN:
                raise Refused(Problem("no_tag_taken_down", "codes", state.code, params={"name": state.name}))
    else:
        states = [state for state in pieces(context.journal) if state.state is not State.TAKEN_DOWN]
    made = [tag for state in states for tag in _tags_of(context, state)]
    return TagsShown(
        address=_address(context),
        tags=tuple(tag for tag in made if given.kind in (None, tag.kind)),
    )


def _tags_of(context: Context, state: PieceState) -> Iterator[TagShown]:
    if state.hung:
        yield _tag(context, state, "hanging", {})
        return
    dosing = _dosing(state)
    if state.state is State.RESTING:
        yield _tag(context, state, "hanging", {})
        return
    first = dosing[0].amounts if dosing else {}
    yield _tag(context, state, "curing", first)
    if len(dosing) > 1 and len(state.salted) < 2:
        yield _tag(context, state, "second_half", dosing[1].amounts, dosing[1].on)


def _dosing(state: PieceState) -> list[events_piece.StepIssued]:
    """The steps of the plan on which salt is put on, one for each application."""
    plan = state.started.plan
    return [step for step in plan.steps if any(d in step.amounts for d in _DOSES)] if plan else []


def _tag(
    context: Context, state: PieceState, kind: TagKind, amounts: dict[str, float], second: date | None = None
) -> TagShown:
    begun, salting, planned = state.started, state.started.salting, []
    steps = {step.code: step.on for step in begun.plan.steps} if begun.plan else {}
    told = salting.mix

    def day(done_at: datetime | None, step: str, name: str) -> date | None:
        if done_at is not None:
            return done_at.astimezone(context.zone).date()
        on = None if state.hung else steps.get(step)  # a step passed over is planned no longer
        if on is not None:
            planned.append(name)
        return None if on is None else on + shift

    shift = timedelta()
    salted_on = state.salted[0].at.astimezone(context.zone).date() if state.salted else None
    if salted_on and steps.get("weigh_out"):
        shift = salted_on - (steps["weigh_out"] or salted_on)  # salted later than planned: what follows moves
    weighed = _weighed(state) if kind == "curing" else {}
    if second is not None:
        planned.append("second_on")
    if not weighed and amounts:
        planned.append("amounts")
    if not state.hung:
        planned.append("target_kg")
    hung = state.hung[-1] if state.hung else None
    target = (hung.body.target if hung else None) or begun.target
    tare = state.tare or (hung.body.tare if hung else None)
    keys = {chamber.key: chamber.name for chamber in chambers(context.journal)}
    return TagShown(
        kind=kind,
        code=state.code,
        name=state.name,
        cut=begun.cut,
        state=state.state.value,
        intact=state.is_intact,
        green_kg=state.green_weight_kg,
        salt_on=day(state.salted[0].at if state.salted else None, "weigh_out", "salt_on"),
        second_on=None if second is None else second + shift,
        wash_on=day(state.washed[-1].at if state.washed else None, "wash_dress", "wash_on"),
        hang_on=day(hung.at if hung else None, "hang", "hang_on"),
        planned=tuple(dict.fromkeys(planned)),
        mix=None
        if told is None
        else MixTold(
            name=told.name,
            nitrite_frac=told.nitrite.value if told.nitrite else None,
            nitrate_frac=told.nitrate.value if told.nitrate else None,
        ),
        amounts=amounts_of(weighed or dict(amounts)),
        salting_c=salting.temperature.value,
        cold_c=context.library.row("salting_rules", "cold_limit").number("temp_c"),
        hung_kg=hung.body.mass.value if hung else None,
        target_kg=state.target_now_kg,
        target_loss_frac=target.loss_from_hanging.value if target and target.loss_from_hanging else None,
        tare_kg=tare.value if tare else None,
        chamber=keys.get(state.chamber, state.chamber) if state.chamber else None,
        weigh_on=tuple(_weigh_days(context, state)),
    )


def _weighed(state: PieceState) -> dict[str, float]:
    """What was really put on so far, by the names the plan uses."""
    out: dict[str, float] = {}
    for entry in state.salted:
        body = entry.body
        parts = {"cure_mix_dose": body.mix, "salt_dose": body.salt, "sugar_dose": body.sugar}
        parts |= {f"spice_dose:{name}": mass for name, mass in body.spices.items()}
        for name, mass in parts.items():
            if mass is not None:
                out[name] = out.get(name, 0.0) + mass.value
    return out


def _weigh_days(context: Context, state: PieceState) -> Iterator[date]:
    """The days on which the plan has it weighed, counted from the real hanging, from today on."""
    plan = state.started.plan
    begun = next((step.on for step in plan.steps if step.code == "hang"), None) if plan else None
    if plan is None or begun is None or not state.hung:
        return
    hung = state.hung[-1].at.astimezone(context.zone).date()
    for step in plan.steps:
        if step.code == "weigh_in" and step.on and hung + (step.on - begun) >= context.today:
            yield hung + (step.on - begun)


# the sheet of a week's readings


class SheetGiven(Query):
    """Nothing: the week that begins today."""


class SheetLine(Frozen):
    """One piece on the sheet. what: step of what is due, on the days given; none where nothing is due and
    a blank is left all the same."""

    code: str
    name: str
    state: str
    what: str
    on: tuple[date, ...]
    last_kg: float | None
    target_kg: float | None


class SheetShown(Output):
    """The days of the week, what is due on them by piece, and the chambers whose air is read."""

    days: tuple[date, ...]
    lines: tuple[SheetLine, ...]
    chambers: tuple[str, ...]


def batch_sheet(context: Context, given: SheetGiven) -> SheetShown:
    """What is due in the week that begins today, with a line to write each reading on."""
    days = tuple(context.today + timedelta(days=n) for n in range(_SHEET_DAYS))
    under_way = [state for state in pieces(context.journal) if state.state is not State.TAKEN_DOWN]
    lines = [line for state in under_way for line in _sheet_lines(context, state, days)]
    used = {state.chamber for state in under_way if state.hung}
    return SheetShown(
        days=days,
        lines=tuple(lines),
        chambers=tuple(one.name for one in chambers(context.journal) if one.key in used),
    )


def _sheet_lines(context: Context, state: PieceState, days: tuple[date, ...]) -> Iterator[SheetLine]:
    asked = list(due(context, state))

    def line(what: str, on: Iterable[date]) -> SheetLine:
        within = tuple(day for day in on if day <= days[-1])
        return SheetLine(
            code=state.code,
            name=state.name,
            state=state.state.value,
            what=what,
            on=within,
            last_kg=state.last_mass_kg,
            target_kg=state.target_now_kg,
        )

    out = next((one.on for one in asked if one.step == "wash_dress"), None)
    for one in asked:
        daily = one.step == "turn"
        ends = out - timedelta(days=1) if out else days[-1]
        yield line(one.step, [day for day in days if one.on <= day <= ends] if daily else [one.on])
    if not any(one.act == "weigh_in" for one in asked) and state.state in (State.HANGING, State.AT_ITS_MASS):
        yield line("weigh_in", [])


# the address


def _host(text: str) -> str:
    found = text.strip().rstrip("/")
    if not _HOST.fullmatch(found):
        problem = Problem("address_not_for_a_tag", given=text[:80], allowed=DEFAULT_ADDRESS)
        raise PydanticCustomError("problem", "{code}", {"code": problem.code, "problem": problem})
    return found


class AddressGiven(Command):
    """Where a phone finds the pages: scheme, host and port."""

    address: Annotated[str, Field(max_length=80), AfterValidator(_host)]


def set_tag_address(context: Context, given: AddressGiven) -> Done:
    """Keep the address that the QR codes of tags begin with."""
    return done(context, given, [(SETTINGS, SettingChanged(name=_ADDRESS, value=given.address))])


def _address(context: Context) -> str:
    return str(settings(context.journal).get(_ADDRESS, DEFAULT_ADDRESS))
