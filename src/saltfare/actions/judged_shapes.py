"""What is typed about a food before a criterion is held against it, and what a card shows."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any

from pydantic import AwareDatetime, BeforeValidator, Field, ValidationInfo
from pydantic_core import PydanticCustomError

from saltfare.actions.context import Context
from saltfare.actions.shapes import Command, Done, Output, done
from saltfare.core.errors import Problem, Refused
from saltfare.core.fields import Frozen, Measured, Quantity
from saltfare.core.figure import Answer, Note, Verdict
from saltfare.core.units import parse
from saltfare.journal.events import Body, Corrected


def _ratio(given: Any, info: ValidationInfo) -> Any:
    """A bare number typed for a quantity that has no unit; a share typed in per cent is read as one."""
    if not isinstance(given, str):
        return given
    text = given if "%" in given else f"{given} fraction"
    decimal = (info.context or {}).get("decimal", "point")
    try:
        return Measured(typed=given, value=parse(text, "fraction", decimal=decimal))
    except Refused as refused:
        problem = refused.problems[0]
        code = problem.code if problem.code in _SAID else "number_unreadable"
        told = Problem(code, given=given[:64], allowed=problem.allowed, params=problem.params)
        raise PydanticCustomError("problem", "{code}", {"code": code, "problem": told}) from None


_SAID = frozenset({"comma_ambiguous", "separators_mixed", "empty", "number_unreadable", "too_long"})
Ratio = BeforeValidator(_ratio)

Aw = Annotated[Measured, Quantity("water_activity"), Ratio]
AwError = Annotated[Measured, Quantity("aw_error"), Ratio]
AwCooled = Annotated[Measured, Quantity("aw_when_cooled"), Ratio]
Ph = Annotated[Measured, Quantity("ph"), Ratio]
PhError = Annotated[Measured, Quantity("ph_error"), Ratio]
SaltError = Annotated[Measured, Quantity("salt_error")]
TemperatureError = Annotated[Measured, Quantity("temperature_error")]
Core = Annotated[Measured, Quantity("core_temperature")]
WaterPhaseSalt = Annotated[Measured, Quantity("water_phase_salt")]
SaltCooled = Annotated[Measured, Quantity("salt_when_cooled")]
InternalSalt = Annotated[Measured, Quantity("internal_salt")]
Storage = Annotated[Measured, Quantity("storage_temperature")]
LogTemperature = Annotated[Measured, Quantity("log_temperature")]
JarHumidity = Annotated[Measured, Quantity("jar_humidity")]
JarTemperature = Annotated[Measured, Quantity("jar_temperature")]
PieceMass = Annotated[Measured, Quantity("piece_mass")]
CookTime = Annotated[Measured, Quantity("cook_time")]
OvenTemperature = Annotated[Measured, Quantity("oven_temperature")]
OvenTime = Annotated[Measured, Quantity("oven_time")]
ChillDelay = Annotated[Measured, Quantity("chill_delay")]
FreezerTemperature = Annotated[Measured, Quantity("freezer_temperature")]
PlaceTemperature = Annotated[Measured, Quantity("place_temperature")]


class OneItem(Command):
    """A command on one piece or lot, by the code printed on its tag or label.

    instead_of: the event this stands for from now on; the first record stays readable.
    """

    code: str = Field(max_length=40)
    instead_of: str | None = Field(default=None, max_length=40)


class ReadingGiven(Frozen):
    """One reading of a thermometer."""

    at: AwareDatetime
    temperature: LogTemperature


class FactShown(Frozen):
    """One thing known: a glossary quantity, its SI value or word, how it is known, which event says so."""

    quantity: str
    value: float | str | bool | None
    provenance: str
    error: float | None
    typed: str
    event_id: str | None
    at: datetime | None


class CriterionShown(Frozen):
    """A verdict as the engine gave it, with what is needed to show its margin and its source.

    margin_kind: the kind of unit `margin` is in; margin_of: the glossary quantity it is of. counts: whether
    it enters the answer or stands beside it.
    """

    verdict: Verdict
    margin_kind: str
    margin_of: str
    cite: str
    jurisdiction: str
    counts: bool


class CardShown(Frozen):
    """A question with every criterion offered, and what they come to together.

    packing, kept: how it would be packed and kept for the question to be asked.
    """

    question: str
    answer: Answer
    packing: str
    kept: str
    criteria: tuple[CriterionShown, ...]
    settles: tuple[Note, ...]
    instead: tuple[Note, ...]
    cautions: tuple[Note, ...]


class CardsShown(Output):
    """What may be said of a piece or lot, question by question, and on what that rests."""

    code: str
    kind: str
    name: str
    version: int
    state: str
    species: str | None
    cards: tuple[CardShown, ...]
    facts: tuple[FactShown, ...]


def recorded(context: Context, given: OneItem, stream: str, bodies: list[Body]) -> Done:
    """Append what was told of an item; or, with `instead_of`, let it stand for what was told before.

    Raises Refused (instead_of_one, instead_of_elsewhere, in_the_future), NotFound, Conflict.
    """
    if given.instead_of is None:
        return done(context, given, [(stream, body) for body in bodies])
    if len(bodies) != 1:
        raise Refused(Problem("instead_of_one", "instead_of", str(len(bodies)), "1"))
    if given.at is not None and given.at > context.now:
        raise Refused(Problem("in_the_future", "at", given.at.isoformat()))
    event = context.journal.event(given.instead_of)
    if event.stream != stream:
        raise Refused(Problem("instead_of_elsewhere", "instead_of", given.instead_of))
    reasons = {k: v for k, v in given.reasons.items() if v.strip()}
    body = bodies[0].model_copy(update={"reasons": reasons}) if reasons else bodies[0]
    already = bool(given.request_id and context.journal.answered(given.request_id))
    made = context.journal.append(
        stream,
        Corrected(what="replace", new=body, new_at=given.at),
        at=context.now,
        zone=context.settings.zone,
        actor=context.actor,
        recorded_at=context.now,
        request_id=given.request_id,
        seen_version=given.seen_version,
        corrects=event.id,
    )
    version = context.journal.stream_head(stream)
    return Done(stream=stream, version=version, events=(made.id,), at=made.at, already=already)
