"""A lot's keeping as it is asked about: what the criteria answer first, then how long it keeps, as it is
and were it kept otherwise."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated

import numpy as np
from pydantic import Field

from saltfare.actions.context import Context
from saltfare.actions.judged_card import asked, criteria_of, facts_with_cooling
from saltfare.actions.judged_facts import gathered
from saltfare.actions.judged_items import item
from saltfare.actions.pack_food import food_as_said, foods_of
from saltfare.actions.pack_keeping import PackKeeping, keeping_of, not_known, pack_keeping
from saltfare.actions.pack_place import KeptIn, kept_in
from saltfare.actions.pack_pouch import closed, film_named
from saltfare.actions.pouch_shapes import (
    Fat,
    Humidity,
    Salt,
    Swing,
    Temperature,
    Water,
    lot_named,
    typed_place,
)
from saltfare.actions.shapes import Command, Done, Output, Query, done
from saltfare.core.errors import NotConverged, NotFound, OutOfRange, Refused
from saltfare.core.fields import Frozen, Measured, Quantity
from saltfare.core.figure import Answer
from saltfare.journal.events_lot import STREAM
from saltfare.journal.events_pouch import FoodTold
from saltfare.journal.lot import LotState
from saltfare.journal.lot import lots as all_lots
from saltfare.models.criteria import Question

_QUESTIONS = (Question.KEPT_AIR, Question.SEALED, Question.EATEN_UNCOOKED)


class KeepingGiven(Query):
    """A lot by its code. The rest: were it kept otherwise, in that air, film, or with an absorber."""

    code: str = Field(max_length=40)
    temperature: Temperature | None = None
    swing: Swing | None = None
    humidity: Humidity | None = None
    film: str = Field(default="", max_length=80)
    absorber: Annotated[Measured, Quantity("absorber_capacity")] | None = None


class KeepingShown(Output):
    """answers: of the criteria, by question, first and apart. kept: as it is. otherwise: as was asked."""

    code: str
    name: str
    version: int
    answers: dict[str, Answer]
    kept: PackKeeping
    otherwise: PackKeeping | None
    food_told: str


def keeping(context: Context, given: KeepingGiven) -> KeepingShown:
    """How long a lot keeps: what the criteria answer, the first limit reached, and the date to plan with."""
    lot = lot_named(context, given.code)
    kept = pack_keeping(context, lot)
    asks = given.temperature or given.swing or given.humidity or given.film or given.absorber
    return KeepingShown(
        code=lot.code,
        name=lot.name,
        version=lot.version,
        answers=answers_of(context, lot),
        kept=kept,
        otherwise=_otherwise(context, lot, given) if asks else None,
        food_told=_told(context, lot),
        traces=kept.traces,
    )


def answers_of(context: Context, lot: LotState) -> dict[str, Answer]:
    """What the criteria answer of a lot; nothing it is not judged by is called met."""
    try:
        found = item(context, lot.code)
    except (NotFound, Refused):
        return {q.value: Answer.CANNOT_TELL for q in _QUESTIONS}
    criteria = criteria_of(context)
    facts = facts_with_cooling(gathered(context, found), criteria)
    return {q.value: asked(found, q, facts, criteria, None, None).answer for q in _QUESTIONS}


def _otherwise(context: Context, lot: LotState, given: KeepingGiven) -> PackKeeping:
    made = lot.made
    pouch, air = closed(context, made), kept_in(context, lot)
    if given.film:
        film, rows = film_named(context, given.film)
        pouch = replace(
            pouch,
            pouch=replace(pouch.pouch, film=film),
            film=given.film,
            rows=rows,
            assumed=tuple(one for one in pouch.assumed if one[0] != "film"),
        )
    sealed = made.sealed
    if given.absorber is not None:
        pouch, sealed = replace(pouch, absorber_m3=given.absorber.value), "no_oxygen"
    if given.temperature is not None or given.swing is not None or given.humidity is not None:
        place, assumed = typed_place(
            context,
            temperature=given.temperature or Measured.si(float(np.mean(air.place.temp_c))),
            swing=given.swing,
            humidity=given.humidity or Measured.si(float(np.mean(air.place.rh_frac))),
            time_s=float(air.place.ends_s[-1]),
        )
        air = KeptIn(place, air.since, "described", assumed, ())
    try:
        return keeping_of(
            context,
            code=lot.code,
            foods=foods_of(context, lot),
            pouch=pouch,
            sealed=sealed,
            air=air,
            printed_on=made.printed_on,
        )
    except Refused as refused:
        return not_known(lot, *(problem.code for problem in refused.problems))
    except (OutOfRange, NotConverged):
        return not_known(lot, "keeping_out_of_range")


def _told(context: Context, lot: LotState) -> str:
    try:
        return ", ".join(dict.fromkeys(kind for food in foods_of(context, lot).foods for kind in food.kinds))
    except (Refused, OutOfRange, NotConverged):
        return ""


class LotsAtHandGiven(Query):
    """Nothing."""


class LotAtHand(Frozen):
    """A lot with packs left that no trip holds."""

    code: str
    name: str
    free: int


class LotsAtHand(Output):
    """Lots to take packs from, by their names."""

    lots: tuple[LotAtHand, ...]


def lots_at_hand(context: Context, given: LotsAtHandGiven) -> LotsAtHand:
    """The lots with packs left, by name alone, to choose from."""
    found = [LotAtHand(code=one.code, name=one.name, free=one.free) for one in all_lots(context.journal)]
    return LotsAtHand(lots=tuple(sorted((one for one in found if one.free), key=lambda one: one.name)))


class TellFoodGiven(Command):
    """What the food of a lot is: its class or an own isotherm, and its water."""

    code: str = Field(max_length=40)
    food: str = Field(max_length=40)
    isotherm: str | None = Field(default=None, max_length=60)
    water: Water
    fat: Fat | None = None
    salt: Salt | None = None


def tell_food(context: Context, given: TellFoodGiven) -> Done:
    """Say what the food of a lot is and how much water it holds, where nothing else tells it."""
    lot = lot_named(context, given.code)
    # refuses a class, an isotherm or shares that cannot be
    food_as_said(
        context,
        name=lot.name,
        food=given.food,
        isotherm=given.isotherm,
        mass_kg=lot.made.mass.value,
        water_frac=given.water.value,
        fat_frac=given.fat.value if given.fat else None,
        salt_frac=given.salt.value if given.salt else 0.0,
    )
    body = FoodTold(
        food=given.food, isotherm=given.isotherm, water=given.water, fat=given.fat, salt=given.salt
    )
    return done(context, given, [(STREAM + lot.code, body)])
