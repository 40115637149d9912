"""What a way through warm days does to what is carried: the day each criterion's time runs out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime, timedelta
from datetime import time as clock
from typing import Annotated

from pydantic import Field

from saltfare.actions.context import Context
from saltfare.actions.judged_card import asked, criteria_of, facts_with_cooling
from saltfare.actions.judged_facts import gathered
from saltfare.actions.judged_items import Item, item, items
from saltfare.actions.shapes import Output, Query
from saltfare.core.errors import Problem, Refused
from saltfare.core.fields import Frozen, Measured, Quantity
from saltfare.core.figure import Answer, Note, Provenance
from saltfare.core.numerics import Array
from saltfare.core.units import parse
from saltfare.models.criteria import Criteria, Question
from saltfare.models.criteria_facts import Facts, LogFact
from saltfare.models.criteria_trail import DayRange, RunOut, history_from_days, rehydrated_time, run_outs
from saltfare.models.hazards_log import LogRules, log_checked

_STEP_S = 900.0
# The coldest of the day is taken at five in the morning where nobody says another hour: chosen.
_COLDEST = clock(5, 0)


class DayGiven(Frozen):
    """Least and greatest temperature of a day where the food is carried."""

    least: Annotated[Measured, Quantity("day_least")]
    most: Annotated[Measured, Quantity("day_most")]


class TrailGiven(Query):
    """The days of a way from the day of departure, and what is carried: by code, else whatever is in store.

    coldest_at: the hour of the least temperature, up to noon.
    """

    departure: date
    days: tuple[DayGiven, ...] = Field(min_length=1, max_length=120)
    codes: tuple[Annotated[str, Field(max_length=40)], ...] = Field(default=(), max_length=200)
    coldest_at: clock = _COLDEST


class ClockShown(Frozen):
    """A criterion with a clock: the day of the way, from 1, and the instant it runs out; None: not on this
    way. used: the share of its time that is used up at the end."""

    criterion: str
    cite: str
    day: int | None
    on: date | None
    at: datetime | None
    used: float


class CarriedShown(Frozen):
    """A piece or lot on the way. answer: of the criteria for carrying, on a history that is a prediction;
    lasting: criteria that hold whatever the clock says, measured."""

    code: str
    kind: str
    name: str
    answer: Answer
    clocks: tuple[ClockShown, ...]
    lasting: tuple[str, ...]
    failing: tuple[str, ...]
    settles: tuple[Note, ...]
    instead: tuple[Note, ...]
    cautions: tuple[Note, ...]


class TrailShown(Output):
    """Each thing carried with its clocks. rehydrated_warm_s, rehydrated_cold_s: how long cooked food
    or soaked food may stand at the warmest and at the coldest of the way."""

    departure: date
    carried: tuple[CarriedShown, ...]
    warmest_c: float
    rehydrated_warm_s: float
    rehydrated_cold_s: float


def trail_exposure(context: Context, given: TrailGiven) -> TrailShown:
    """The day on which each criterion's time runs out, for everything carried."""
    coldest_s = given.coldest_at.hour * 3600.0 + given.coldest_at.minute * 60.0
    if coldest_s > 12 * 3600.0:
        raise Refused(Problem("coldest_after_noon", "coldest_at", given.coldest_at.isoformat()))
    for index, day in enumerate(given.days):
        if day.least.value > day.most.value:
            raise Refused(
                Problem("day_upside_down", f"days.{index}.least", f"{day.least.typed} / {day.most.typed}")
            )
    days = [DayRange(day.least.value, day.most.value) for day in given.days]
    times, temps = history_from_days(days=days, coldest_s=coldest_s, step_s=_STEP_S)
    criteria = criteria_of(context)
    outs = run_outs(time_s=times, temp_c=temps, criteria=criteria)
    rules = LogRules.from_row(context.library.row("log_rules", "carrying"))
    log = log_checked(time_s=list(times), temp_c=list(temps), error_c=0.0, rules=rules)
    predicted = LogFact(log, Provenance.ESTIMATED)
    if given.codes:
        found = [item(context, code) for code in dict.fromkeys(given.codes)]
    else:
        found = [one for one in items(context) if not one.is_gone and (one.lot or _ready(one))]
    warmest = float(temps.max())
    cold_s, warm_s = _rehydrated(criteria, temps)
    return TrailShown(
        departure=given.departure,
        carried=tuple(_carried(context, one, predicted, outs, given.departure, criteria) for one in found),
        warmest_c=warmest,
        rehydrated_warm_s=warm_s,
        rehydrated_cold_s=cold_s,
        notes=(Note("day_history_is_predicted"), Note("runs_out_is_no_leave")),
    )


def _ready(found: Item) -> bool:
    return found.state in ("at its mass", "taken down")


def _carried(
    context: Context,
    found: Item,
    predicted: LogFact,
    outs: Mapping[str, RunOut],
    departure: date,
    criteria: Criteria,
) -> CarriedShown:
    facts: Facts = facts_with_cooling(gathered(context, found), criteria)
    put = replace(facts, carrying_log=predicted)
    made = asked(found, Question.CARRIED, put, criteria, None, None)
    offered = {v.criterion: v.answer for v in made.verdicts}
    if found.lot is not None and found.lot.sealed == "no_oxygen":
        for kept in ("chilled", "frozen"):
            sealed = asked(found, Question.SEALED, put, criteria, None, kept)
            offered |= {v.criterion: v.answer for v in sealed.verdicts if v.criterion not in offered}
    clocks = [_clock(context, name, out, departure) for name, out in outs.items() if name in offered]
    rest = {name: answer for name, answer in offered.items() if name not in outs}
    own = {v.criterion for v in made.verdicts}
    cautions = {n.code: n for v in made.verdicts for n in v.cautions}
    return CarriedShown(
        code=found.code,
        kind=found.kind,
        name=found.name,
        answer=made.answer,
        clocks=tuple(sorted(clocks, key=lambda c: (c.day is None, c.day or 0, -c.used))),
        lasting=tuple(n for n, a in rest.items() if a is Answer.MEETS and n in own),
        failing=tuple(n for n, a in rest.items() if a is Answer.DOES_NOT_MEET and n in own),
        settles=made.settles,
        instead=made.instead,
        cautions=tuple(cautions.values()),
    )


def _clock(context: Context, name: str, out: RunOut, departure: date) -> ClockShown:
    on = departure + timedelta(days=out.day - 1) if out.day is not None else None
    at = None
    if out.time_s is not None:
        at = datetime.combine(departure, clock(0, 0), context.zone) + timedelta(seconds=out.time_s)
    row = context.library.row("criteria", name)
    return ClockShown(criterion=name, cite=row.cite, day=out.day, on=on, at=at, used=out.used)


def _rehydrated(criteria: Criteria, temps: Array) -> tuple[float, float]:
    """The two-hour clock of food made wet again, at the coldest and the warmest of the way."""
    term = next(t for c in criteria.all for t in c.terms if t.test == "exposure")
    _, warm = (parse(word.replace("_", " "), "temperature") for word in term.words)

    def stand(temp_c: float) -> float:
        return rehydrated_time(
            surround_temp_c=temp_c,
            warm_c=warm,
            most_cold_s=term.of("limit_h"),
            most_warm_s=term.of("limit_min"),
        )

    return stand(float(temps.min())), stand(float(temps.max()))
