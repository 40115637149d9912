"""Something went wrong in a place: every piece and lot that was there is judged again."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Literal

from saltfare.actions.context import Context
from saltfare.actions.incident_shapes import IncidentShown, Receiver, Touched
from saltfare.actions.judged_card import asked, card_shown, criteria_of, facts_asked, facts_with_cooling
from saltfare.actions.judged_facts import gathered
from saltfare.actions.judged_items import Item, items, key_of_place, stays, told_of, touched
from saltfare.actions.judged_logs import checked
from saltfare.core.errors import NotFound
from saltfare.core.figure import Answer, Note, Provenance
from saltfare.core.tables import Row
from saltfare.journal import events_judged as judged
from saltfare.journal.fold import Fact as Happened
from saltfare.journal.fold import effective
from saltfare.models.criteria import Card, Criteria, Question, card
from saltfare.models.criteria_facts import NO_LOG, UNKNOWN, Fact, Facts, LogFact
from saltfare.models.hazards_cooling import time_exposed
from saltfare.models.hazards_log import Log, LogRules

_ORDER = ("throw_out", "cook_now", "keep")
_COLD = ("freezer_off", "fridge_warm")
_SURELY = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Heard:
    """How warm it got, as far as that is known: the log of the whole time, or the most it can have been.

    whole: whether a log was read from beginning to end. upper: no more than an upper bound is known.
    """

    log: LogFact
    whole: bool
    warmest_c: float | None
    upper: bool


@dataclass(frozen=True, slots=True)
class Ruled:
    """What one item comes to."""

    rule: str
    answer: Answer
    card: Card | None
    settles: tuple[Note, ...] = ()


def incident_facts(context: Context, code: str) -> tuple[Happened, ...]:
    """What counts of an incident. Raises NotFound."""
    happened = context.journal.fold(judged.INCIDENTS + code, effective) or ()
    if not any(isinstance(h.body, judged.IncidentReported) for h in happened):
        raise NotFound("incident", code)
    return happened


def shown(context: Context, code: str) -> IncidentShown:
    """An incident as it stands, with what each item there comes to."""
    happened = incident_facts(context, code)
    first = next(h for h in happened if isinstance(h.body, judged.IncidentReported))
    body: judged.IncidentReported = told_of(first)
    closing = [h for h in happened if isinstance(h.body, judged.IncidentClosed)]
    return IncidentShown(
        code=code,
        version=context.journal.stream_head(judged.INCIDENTS + code),
        event_id=first.event.id,
        place=body.place,
        what=body.what,
        since=body.since,
        until=body.until,
        warmest_c=body.warmest.value if body.warmest else None,
        found=body.found if body.before_cold_back else "not_looked",
        closed=bool(closing),
        decisions=dict(told_of(closing[-1]).decisions) if closing else {},
        text=body.text,
        touched=judged_again(context, body),
        notes=_notes(body),
    )


def _notes(body: judged.IncidentReported) -> tuple[Note, ...]:
    notes = []
    if body.found != "not_looked" and not body.before_cold_back:
        notes.append(Note("looked_too_late"))
    if body.until is None:
        notes.append(Note("incident_goes_on"))
    return tuple(notes)


def judged_again(context: Context, body: judged.IncidentReported) -> tuple[Touched, ...]:
    """Every item that was there or may have been, what to throw out first."""
    criteria = criteria_of(context)
    out = []
    for found in items(context):
        there = touched(context, found, body, context.now)
        if there is False or _ended_otherwise(found):
            continue
        ruled = _rule(context, found, body, criteria)
        row = context.library.row("incident_rules", ruled.rule)
        decision: judged.Decision = row.text("decision")  # type: ignore[assignment]
        made = ruled.card
        card = card_shown(context, made, criteria, packing="", kept="") if made else None
        kind: Literal["piece", "dish", "lot"] = "lot" if found.lot else "dish" if found.dish else "piece"
        out.append(
            Touched(
                code=found.code,
                kind=kind,
                name=found.name,
                state=found.state,
                decision=decision,
                perhaps=there is None,
                answer=ruled.answer,
                rule=ruled.rule,
                why=Note(f"incident_{ruled.rule}"),
                cite=_cite(row),
                criteria=card.criteria if card else (),
                settles=ruled.settles,
                cautions=card.cautions if card else (),
                gone=found.is_gone,
                receivers=receivers(found),
            )
        )
    return tuple(sorted(out, key=lambda one: (_ORDER.index(one.decision), one.gone, one.name)))


def _cite(row: Row) -> str:
    return row.cite if row.text("locator") else row.text("source")


def receivers(found: Item) -> tuple[Receiver, ...]:
    """To whom an item went, on an answer or off the shelf."""
    told = [
        Receiver(name=b.receiver, at=h.at, done=b.done, packs=b.packs, event_id=h.event.id)
        for h in found.acted
        if (b := told_of(h)).receiver
    ]
    known = {one.event_id for one in told}
    told += [
        Receiver(name=m.receiver, at=m.at, done=m.why, packs=-m.packs, event_id=m.event_id)
        for m in (found.stands.moves if found.stands else ())
        if m.receiver and m.event_id not in known
    ]
    return tuple(sorted(told, key=lambda one: one.at))


def _ended_otherwise(found: Item) -> bool:
    """A piece that goes on as others, or as lots: they are asked instead."""
    state = found.piece
    if found.lot or state is None:
        return False
    made_lots = bool(state.taken_down and state.taken_down[-1].body.lots)
    return state.ended in ("cut_in_two", "tied_into") or made_lots


def _rule(context: Context, found: Item, body: judged.IncidentReported, criteria: Criteria) -> Ruled:
    facts = facts_with_cooling(gathered(context, found), criteria)
    heard = heard_of(context, body)
    hangs = _hangs(context, found, body)
    put = replace(facts, carrying_log=heard.log)
    carried = asked(found, Question.CARRIED, put, criteria, None, None)
    answers = {v.criterion: v.answer for v in carried.verdicts}
    if answers.get("carried_dry") is Answer.MEETS and carried.answer is Answer.MEETS:
        return Ruled("dry", Answer.MEETS, carried)
    if hangs:
        return _hanging(context, found, body, facts, heard, carried, criteria)
    return _kept_cold(context, found, body, facts, heard, carried, criteria)


def _hangs(context: Context, found: Item, body: judged.IncidentReported) -> bool:
    """Whether it hung there, as it was meant to, when it went wrong."""
    state = found.piece
    if found.lot or state is None or not state.hung or body.what in _COLD:
        return False
    hung = state.hung[-1].at
    until = body.until or context.now
    rests = [key_of_place(entry.body.place) for entry in state.rests]
    there = [stay for stay in stays(context, found) if stay.meets(body.since, until)]
    return hung <= until and any(stay.place not in rests or not rests for stay in there)


def _kept_cold(
    context: Context,
    found: Item,
    body: judged.IncidentReported,
    facts: Facts,
    heard: Heard,
    carried: Card,
    criteria: Criteria,
) -> Ruled:
    """What is kept cold, judged by what was read, or by ice seen before the cold came back."""
    seen = body.found if body.before_cold_back else "not_looked"
    two_hours = next((v for v in carried.verdicts if v.criterion == "carried_two_hours"), None)
    answer = two_hours.answer if two_hours else Answer.CANNOT_TELL
    if seen == "warm":
        return Ruled("found_warm", Answer.DOES_NOT_MEET, carried)
    if seen in ("frozen_hard", "ice_crystals") and body.what == "freezer_off":
        # seen in the food itself, which the air around it is not
        return Ruled("ice_crystals" if body.until else "cold_thawed", Answer.MEETS, carried)
    if answer is Answer.DOES_NOT_MEET and heard.upper:
        return Ruled("may_have_run_out", Answer.CANNOT_TELL, carried, settles=(Note("read_log"),))
    if answer is Answer.DOES_NOT_MEET:
        return Ruled("run_out", answer, carried)
    if answer is Answer.MEETS and not heard.whole:
        answer = Answer.CANNOT_TELL
    if answer is Answer.CANNOT_TELL:
        return Ruled("not_read", answer, carried, settles=(Note("read_warmest"),))
    if body.what == "freezer_off" and not _stayed_frozen(heard):
        return Ruled("cold_thawed", answer, carried)
    sealed = found.lot is not None and found.lot.sealed == "no_oxygen"
    if sealed:
        unread = replace(facts, storage_temperature=UNKNOWN)
        before = card(
            question=Question.SEALED,
            facts=facts_asked(found, Question.SEALED, unread, None, "chilled"),
            criteria=criteria,
        )
        now = card(
            question=Question.SEALED,
            facts=facts_asked(found, Question.SEALED, _warm_as(facts, heard), None, "chilled"),
            criteria=criteria,
        )
        if before.answer is Answer.DOES_NOT_MEET:
            return Ruled("did_not_meet_before", before.answer, before)
        if now.answer is Answer.DOES_NOT_MEET:
            return Ruled("sealed_warm", now.answer, now)
    return Ruled("two_hours" if body.until else "still_going", answer, carried)


def _stayed_frozen(heard: Heard) -> bool:
    log = heard.log.log
    return log is not None and heard.warmest_c is not None and heard.warmest_c + log.error_c <= 0.0


def _warm_as(facts: Facts, heard: Heard) -> Facts:
    if heard.warmest_c is None:
        return facts
    return replace(facts, storage_temperature=Fact(heard.warmest_c, Provenance.MEASURED))


def _hanging(
    context: Context,
    found: Item,
    body: judged.IncidentReported,
    facts: Facts,
    heard: Heard,
    carried: Card,
    criteria: Criteria,
) -> Ruled:
    """What hung: no published text is about it but the ham's; else no longer and no warmer than meant."""
    ham = card(question=Question.COMPOSITION, facts=_peak(facts, heard), criteria=criteria)
    if ham.answer is Answer.MEETS and heard.whole:
        return Ruled("country_ham", Answer.MEETS, ham)
    state = found.piece
    planned = state.started.air.temperature.value if state else float("-inf")
    row = context.library.row("incident_rules", "hanging_cool")
    for rule, limit_c in (("hanging_cool", row.number("limit_f")), ("hanging_as_planned", planned)):
        if heard.log.log is None or not heard.whole:
            break
        slack = heard.log.log.error_c if rule == "hanging_as_planned" else 0.0
        if _short(heard.log.log, limit_c + slack, row.number("limit_h")):
            return Ruled(rule, Answer.CANNOT_TELL, carried, settles=(Note("measure_aw"),))
    settles = (Note("measure_aw"),) if heard.whole else (Note("read_warmest"), Note("measure_aw"))
    return Ruled("hanging_warm", Answer.CANNOT_TELL, carried, settles=settles)


def _peak(facts: Facts, heard: Heard) -> Facts:
    if heard.warmest_c is None:
        return replace(facts, drying_peak_temperature=UNKNOWN)
    before = facts.drying_peak_temperature
    known = [heard.warmest_c, *([float(before.value)] if before.value is not None else [])]
    provenance = before.provenance if before.firm else Provenance.ESTIMATED
    return replace(facts, drying_peak_temperature=Fact(max(known), provenance))


def _short(log: Log, limit_c: float, most_s: float) -> bool:
    return time_exposed(log=log, above_c=limit_c, worst=True) <= most_s


def heard_of(context: Context, body: judged.IncidentReported) -> Heard:
    """How warm it got: by the log given, by the chamber's own readings, or by one warmest reading."""
    until = body.until or context.now
    rules = LogRules.from_row(context.library.row("log_rules", "carrying"))
    points = [(r.at, r.temperature.value) for r in body.readings]
    if not points and body.warmest is None:
        air = context.journal.readings.range(key_of_place(body.place), body.since, until)
        points = [(reading.at, reading.temp_c) for reading in air]
    if len(points) >= 2:
        whole = points[0][0] - body.since <= _SURELY and until - points[-1][0] <= _SURELY
        gaps = [b[0] - a[0] for a, b in pairwise(points)]
        error = body.error.value if body.error else None
        log = checked(readings=points, error_k=error, rules=rules)
        warmest = float(log.temp_c.max())
        if body.warmest is not None:
            warmest = max(warmest, body.warmest.value)
        return Heard(LogFact(log, Provenance.LOGGED), whole and max(gaps) <= _SURELY, warmest, upper=False)
    if body.warmest is None or until <= body.since:
        return Heard(NO_LOG, False, body.warmest.value if body.warmest else None, upper=True)
    return _bounded(context, body, until, rules)


def _bounded(context: Context, body: judged.IncidentReported, until: datetime, rules: LogRules) -> Heard:
    """The warmest reading taken to have stood from beginning to end: a bound, which shows what did not run
    out; that it did run out it can only suggest."""
    assert body.warmest is not None  # noqa: S101
    warmest, span = body.warmest.value, until - body.since
    count = max(2, int(span / timedelta(hours=1)) + 2)
    points = [(body.since + span * (k / (count - 1)), warmest) for k in range(count)]
    log = checked(readings=points, error_k=body.error.value if body.error else None, rules=rules)
    return Heard(LogFact(log, Provenance.MEASURED), True, warmest, upper=True)
