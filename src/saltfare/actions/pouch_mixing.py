"""Foods sealed together: where their water ends, which part softens and which hardens, and what may be
said of each before and after. And mixing packs of the shelf into new ones."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date
from typing import Annotated, Literal

from pydantic import Field

from saltfare.actions.codes_given import codes_before, new_codes
from saltfare.actions.context import Context
from saltfare.actions.judged_card import asked, criteria_of, facts_with_cooling
from saltfare.actions.judged_facts import gathered
from saltfare.actions.judged_items import Item, item
from saltfare.actions.money import Price
from saltfare.actions.pack_food import FOODS, Food
from saltfare.actions.pack_keeping import bulk_of
from saltfare.actions.pack_place import RULES
from saltfare.actions.pack_pouch import film_named
from saltfare.actions.pouch_shapes import PartGiven, PartMass, Temperature, lot_named, part_foods
from saltfare.actions.shapes import Command, Done, Output, Query, Tracer, done
from saltfare.core.errors import NotConverged, NotFound, OutOfRange, Problem, Refused
from saltfare.core.fields import Called, CalledLong, Frozen, Measured, Quantity
from saltfare.core.figure import Answer, Figure, Note, joint_answer
from saltfare.journal import events_lot as lots
from saltfare.journal.events import Body
from saltfare.journal.lot import LotState
from saltfare.models.criteria import Question
from saltfare.models.criteria_facts import Facts
from saltfare.models.mixing import (
    Mix,
    Part,
    aw_salwin_slawson_of,
    exchange_rate,
    mix_aw_fact,
    mix_equilibrium,
    mix_notes,
    mix_path,
)
from saltfare.models.pouch import Pouch, pouch_volume
from saltfare.models.pouch_place import DAY_S

_QUESTIONS = (Question.SEALED, Question.KEPT_AIR, Question.EATEN_UNCOOKED)
_USUAL_SIZE_M = 0.008  # half-way between flakes and dice, where nobody said
_CURVE_DAYS = (0.0, 0.25, 0.5, 1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 14.0, 21.0, 30.0, 45.0, 60.0, 90.0)


class MixGiven(Query):
    """Foods to seal together. temperature: where they will be kept. curve: whether the way there is asked
    for. without_oxygen: how they would be sealed."""

    parts: tuple[PartGiven, ...] = Field(min_length=1, max_length=8)
    temperature: Temperature | None = None
    curve: bool = False
    without_oxygen: bool = True


class JudgedPart(Frozen):
    """One question of one part, before and after: the answer of the criteria, None where it is no lot."""

    question: str
    before: Answer
    after: Answer


class PartShown(Frozen):
    """One part, by itself and when all is even. aw figures are marked where an isotherm was used outside
    its range. change: softens, hardens or stays. judged: of a lot, empty for a food that was only typed."""

    name: str
    code: str | None
    before: Figure
    after: Figure
    water_before_kg: float
    water_after_kg: float
    change: Literal["softens", "hardens", "stays"]
    judged: tuple[JudgedPart, ...]


class PathPoint(Frozen):
    """So long after sealing: activity of the air between, and of each part in the order given."""

    time_s: float
    air: float
    parts: tuple[float, ...]


class MixShown(Output):
    """Where the pouch ends. straight: by straight isotherms, beside it. before, after: the worst answer of
    any part to each question; a part that is no lot cannot tell. counts: the worse of the two. doubtful:
    it feeds no verdict."""

    aw: Figure
    straight: float | None
    parts: tuple[PartShown, ...]
    before: dict[str, Answer]
    after: dict[str, Answer]
    counts: dict[str, Answer]
    doubtful: bool
    curve: tuple[PathPoint, ...]


def pouch_mix(context: Context, given: MixGiven) -> MixShown:
    """Where foods sealed together end: which part softens, which hardens, and what may be said of each."""
    if len(given.parts) < 2:
        raise Refused(Problem("mix_of_one", "parts", str(len(given.parts))))
    rule, temp_c = context.library.row, _temperature(context, given.temperature)
    told: list[tuple[PartGiven, Food]] = []
    for index, part in enumerate(given.parts):
        told += [(part, food) for food in part_foods(context, part, f"parts.{index}")]
    parts = [food.part for _, food in told]
    try:
        mix = mix_equilibrium(
            parts=parts, temp_c=temp_c, least_change_aw=rule(RULES, "least_change").number("share")
        )
    except OutOfRange as wet:
        most = {"most_kg": wet.high, "given_kg": wet.value}
        raise Refused(Problem("mix_too_wet", "parts", wet.quantity, params=most)) from None
    tracer = Tracer()
    trace = tracer.trace(
        mix_equilibrium,
        {"temperature": temp_c, **{food.name: food.mass_kg for _, food in told}},
        tuple({row.ref: row for _, food in told for row in food.rows}.values()),
    )
    error = rule(RULES, "aw_error").number("share")
    shown, before, after = [], [], []
    for (part, _food), shift in zip(told, mix.parts, strict=True):
        judged = _judged(context, part.code, mix, error, given.without_oxygen)
        before.append({one.question: one.before for one in judged})
        after.append({one.question: one.after for one in judged})
        marked = bool(shift.doubts)
        shown.append(
            PartShown(
                name=shift.name,
                code=part.code,
                before=_aw(tracer, shift.aw_before, error, trace, marked),
                after=_aw(tracer, shift.aw_after, error, trace, bool(mix.doubts)),
                water_before_kg=shift.water_before_kg,
                water_after_kg=shift.water_after_kg,
                change=shift.change,
                judged=judged,
            )
        )
    notes = list(mix_notes(mix=mix))
    if mix.doubts:
        notes.append(Note("mix_feeds_no_verdict"))
    return MixShown(
        aw=_aw(tracer, mix.aw, error, trace, bool(mix.doubts)),
        straight=_straight(parts, temp_c),
        parts=tuple(shown),
        before=_worst(before),
        after=_worst(after),
        counts=_worst([*before, *after]),
        doubtful=bool(mix.doubts),
        curve=_curve(context, told, parts, temp_c) if given.curve else (),
        notes=tuple(notes),
        traces=tracer.traces,
    )


def _temperature(context: Context, given: Measured | None) -> float:
    return given.value if given else context.library.row(RULES, "place_not_told").number("temp")


def _aw(tracer: Tracer, value: float, error: float, trace: str, marked: bool) -> Figure:
    return tracer.figure(
        value,
        "ratio",
        trace,
        span=(max(value - error, 0.0), min(value + error, 1.0)),
        interval="published_spread",
        extrapolated=marked,
    )


def _straight(parts: list[Part], temp_c: float) -> float | None:
    try:
        return aw_salwin_slawson_of(parts=parts, temp_c=temp_c)
    except OutOfRange:
        return None


def _judged(
    context: Context, code: str | None, mix: Mix, error: float, without_oxygen: bool
) -> tuple[JudgedPart, ...]:
    """What the criteria answer of a lot as it is, and with the water activity the pouch ends at. The new
    one is computed, so it is estimated at best, and unknown where it is marked."""
    if code is None:
        return tuple(
            JudgedPart(question=q.value, before=Answer.CANNOT_TELL, after=Answer.CANNOT_TELL)
            for q in _QUESTIONS
        )
    found = item(context, lot_named(context, code).code)
    criteria = criteria_of(context)
    facts = facts_with_cooling(gathered(context, found), criteria)
    wet = replace(facts, water_activity=mix_aw_fact(aw=mix.aw, doubts=mix.doubts, error=error))
    packing = "vacuum" if without_oxygen else "air"

    def answer(facts: Facts, question: Question, found: Item = found) -> Answer:
        return asked(found, question, facts, criteria, packing, None).answer

    return tuple(
        JudgedPart(question=q.value, before=answer(facts, q), after=answer(wet, q)) for q in _QUESTIONS
    )


def _worst(answers: list[dict[str, Answer]]) -> dict[str, Answer]:
    return {q.value: joint_answer([one[q.value] for one in answers]) for q in _QUESTIONS}


def _curve(
    context: Context, told: list[tuple[PartGiven, Food]], parts: list[Part], temp_c: float
) -> tuple[PathPoint, ...]:
    rates = []
    for part, food in told:
        row = context.library.row("exchange", context.library.row(FOODS, food.kinds[0]).text("exchange"))
        half = 0.5 * (part.size.value if part.size else _USUAL_SIZE_M)
        rates.append(exchange_rate(half_thickness_m=half, diffusivity_m2_per_s=row.number("diffusivity")))
    try:
        path = mix_path(
            parts=parts, rate_per_s=rates, temp_c=temp_c, times_s=[day * DAY_S for day in _CURVE_DAYS]
        )
    except (OutOfRange, NotConverged):
        return ()
    return tuple(
        PathPoint(
            time_s=float(path.times_s[i]),
            air=float(path.aw_air[i]),
            parts=tuple(float(v) for v in path.aw_parts[:, i]),
        )
        for i in range(path.times_s.size)
    )


class DrawnPart(Frozen):
    """So much of a lot into each pack."""

    code: str = Field(max_length=40)
    mass: PartMass


class PouchGiven(Frozen):
    """What the packs are closed in; width and height inside the seals."""

    film: str = Field(default="", max_length=80)
    width: Annotated[Measured, Quantity("pouch_width")] | None = None
    height: Annotated[Measured, Quantity("pouch_height")] | None = None
    volume: Annotated[Measured, Quantity("pouch_room")] | None = None
    takes_boiling_water: bool | None = None
    stands: bool | None = None
    absorber: Annotated[Measured, Quantity("absorber_capacity")] | None = None
    desiccant: Annotated[Measured, Quantity("desiccant_mass")] | None = None
    cost: Price | None = None


class MixPackGiven(Command):
    """Packs mixed from lots of the shelf, so much of each in every pack; whole packs are opened for it."""

    name: CalledLong
    packs: int = Field(ge=1, le=200)
    parts: tuple[DrawnPart, ...] = Field(min_length=1, max_length=8)
    sealed: lots.Sealed
    place: Called
    packed_on: date | None = None
    pouch: PouchGiven | None = None


class Drawn(Frozen):
    """Packs opened of a lot, and what of them was left over (kg)."""

    code: str
    packs: int
    left_kg: float


class Mixed(Done):
    """The new lot, and what was drawn for it."""

    code: str
    drawn: tuple[Drawn, ...]


def mix_pack(context: Context, given: MixPackGiven) -> Mixed:
    """Mix packs of the shelf into new ones: those opened leave their lots, the new lot holds the parts."""
    if before := codes_before(context, given, lots.LotMade):
        return _already(context, given, before[0])
    states = [lot_named(context, part.code) for part in given.parts]
    if len({state.code for state in states}) < 2:
        raise Refused(Problem("mix_of_one", "parts", str(len({state.code for state in states}))))
    drawn = _drawn(given, states)
    made = _made(context, given, states)
    code = new_codes(context, 1)[0]
    bodies: list[tuple[str, Body]] = [(f"{lots.STREAM}{code}", made)]
    for one in drawn:
        body = lots.PacksDrawn(packs=one.packs, why="in_a_pack", into=code)
        bodies.append((f"{lots.STREAM}{one.code}", body))
    seen = {f"{lots.STREAM}{state.code}": state.version for state in states}
    did = done(context, given, bodies, seen=seen)
    left = sum(one.left_kg for one in drawn)
    notes = (Note("mix_left_over", {"left_kg": left}),) if left > 1e-6 else ()
    return Mixed(**{**dict(did), "notes": notes}, code=code, drawn=drawn)


def _drawn(given: MixPackGiven, states: list[LotState]) -> tuple[Drawn, ...]:
    """Whole packs that hold what is asked of each lot. Raises Refused where a lot does not hold it."""
    needed: dict[str, float] = {}
    for part, state in zip(given.parts, states, strict=True):
        needed[state.code] = needed.get(state.code, 0.0) + given.packs * part.mass.value
    out, problems = [], []
    by_code = {state.code: state for state in states}
    for index, (code, mass) in enumerate(needed.items()):
        state = by_code[code]
        each = state.made.mass.value
        packs = math.ceil(mass / each - 1e-9)
        if packs > state.free:
            params: dict[str, str | float | int] = {
                "held_kg": state.free * each,
                "asked_kg": mass,
                "name": state.name,
            }
            problems.append(Problem("mass_above_lot", f"parts.{index}.mass", f"{mass:.6g} kg", params=params))
        out.append(Drawn(code=code, packs=packs, left_kg=max(packs * each - mass, 0.0)))
    if problems:
        raise Refused(*problems)
    return tuple(out)


def _made(context: Context, given: MixPackGiven, states: list[LotState]) -> lots.LotMade:
    packed = given.packed_on or context.today
    if packed > context.today:
        raise Refused(Problem("in_the_future", "packed_on", packed.isoformat()))
    pouch = None
    if given.pouch is not None:
        told = {name: getattr(given.pouch, name) for name in PouchGiven.model_fields}
        pouch = lots.Pouch(cost_minor=told.pop("cost"), **told)
        _fits(context, given, pouch)
    by_code: dict[str, Measured] = {}
    for part, state in zip(given.parts, states, strict=True):
        before = by_code.get(state.code)
        by_code[state.code] = Measured.si(before.value + part.mass.value) if before else part.mass
    return lots.LotMade(
        name=given.name,
        parts=tuple(lots.PackPart(code=code, mass=mass) for code, mass in by_code.items()),
        packs=given.packs,
        mass=Measured.si(sum(part.mass.value for part in given.parts)),
        sealed=given.sealed,
        place=given.place,
        packed_on=packed,
        pouch=pouch,
    )


def _fits(context: Context, given: MixPackGiven, pouch: lots.Pouch) -> None:
    """Refuse an unknown film, a pouch smaller than its food however dense it lies, an absorber together
    with a desiccant, and one in a pack that lies open."""
    film = film_named(context, pouch.film, field="pouch.film")[0] if pouch.film else None
    if pouch.absorber is not None and pouch.desiccant is not None:
        raise Refused(Problem("absorber_with_desiccant", "pouch.desiccant"))
    if pouch.absorber is not None and given.sealed != "no_oxygen":
        raise Refused(Problem("absorber_in_open_pack", "sealed", given.sealed))
    volume = pouch.volume.value if pouch.volume else None
    if volume is None and film is not None and pouch.width is not None and pouch.height is not None:
        volume = pouch_volume(
            pouch=Pouch(width_m=pouch.width.value, height_m=pouch.height.value, seal_m=0.0, film=film)
        )
    if volume is None:
        return
    poured = 0.0
    for index, part in enumerate(given.parts):
        whole = PartGiven(code=part.code, mass=part.mass)
        try:
            foods = part_foods(context, whole, f"parts.{index}")
        except (Refused, NotFound):
            return  # what it is was not told: nothing to hold it against
        poured += sum(food.mass_kg / bulk_of(context, food.kinds[0])[2] for food in foods)
    if poured > volume:
        params = {"pouch_m3": volume, "food_m3": poured}
        raise Refused(Problem("pouch_smaller_than_food", "pouch.width", params=params))


def _already(context: Context, given: MixPackGiven, code: str) -> Mixed:
    """The answer of the first time."""
    before = context.journal.answered(given.request_id or "")
    drawn = tuple(
        Drawn(code=event.stream.partition("/")[2], packs=event.body.packs, left_kg=0.0)
        for event in before
        if isinstance(event.body, lots.PacksDrawn)
    )
    stream = f"{lots.STREAM}{code}"
    return Mixed(
        stream=stream,
        version=context.journal.stream_head(stream),
        events=tuple(event.id for event in before),
        at=before[0].at,
        already=True,
        code=code,
        drawn=drawn,
    )
