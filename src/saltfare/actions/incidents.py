"""Reporting that something went wrong in a place, seeing what it means, and closing it."""

from __future__ import annotations

from datetime import datetime

from saltfare import __version__
from saltfare.actions.context import Context
from saltfare.actions.incident_shapes import (
    CloseGiven,
    IncidentAsked,
    IncidentGiven,
    IncidentLine,
    IncidentsGiven,
    IncidentShown,
    IncidentsShown,
    Reported,
    Touched,
)
from saltfare.actions.judged_incident import incident_facts, shown
from saltfare.actions.judged_items import incidents as all_incidents
from saltfare.actions.judged_items import item, items, told_of
from saltfare.actions.judged_logs import checked, rules_of
from saltfare.actions.shapes import Done, done
from saltfare.core.errors import Problem, Refused
from saltfare.journal import events_handling as handling
from saltfare.journal import events_judged as judged
from saltfare.journal import events_piece as kinds
from saltfare.journal.chamber import chambers
from saltfare.journal.codes import new_code, parse_code
from saltfare.journal.events import Body, Corrected
from saltfare.journal.events_dish import DishDiscarded

_COMFORT = ("throw_out", "cook_now", "keep")


def report_incident(context: Context, given: IncidentGiven) -> Reported:
    """Record that something went wrong in a place, so that everything there is judged again."""
    body = _told(context, given)
    if given.instead_of is not None:
        return _anew(context, given, body)
    before = context.journal.answered(given.request_id) if given.request_id else ()
    taken = {stream.partition("/")[2] for stream in context.journal.streams()}
    code = before[0].stream.partition("/")[2] if before else new_code(context.entropy, taken)
    did = done(context, given.model_copy(update={"at": None}), [(judged.INCIDENTS + code, body)])
    return Reported(**dict(did), code=code)


def _anew(context: Context, given: IncidentGiven, body: judged.IncidentReported) -> Reported:
    """The incident as it is told now; the first report stays readable."""
    event = context.journal.event(given.instead_of or "")
    if not event.stream.startswith(judged.INCIDENTS):
        raise Refused(Problem("instead_of_elsewhere", "instead_of", given.instead_of or ""))
    already = bool(given.request_id and context.journal.answered(given.request_id))
    made = context.journal.append(
        event.stream,
        Corrected(what="replace", new=body),
        at=context.now,
        zone=context.settings.zone,
        actor=context.actor,
        recorded_at=context.now,
        request_id=given.request_id,
        seen_version=given.seen_version,
        corrects=event.id,
    )
    return Reported(
        stream=event.stream,
        version=context.journal.stream_head(event.stream),
        events=(made.id,),
        at=made.at,
        already=already,
        code=event.stream.removeprefix(judged.INCIDENTS),
    )


def _told(context: Context, given: IncidentGiven) -> judged.IncidentReported:
    for name in ("since", "until"):
        at: datetime | None = getattr(given, name)
        if at is not None and at > context.now:
            raise Refused(Problem("in_the_future", name, at.isoformat()))
    if given.until is not None and given.until <= given.since:
        raise Refused(Problem("ends_before_begin", "until", given.until.isoformat(), given.since.isoformat()))
    if given.readings:
        points = [(r.at, r.temperature.value) for r in given.readings]
        checked(readings=points, error_k=None, rules=rules_of(context, "carrying")[0])
        late = next((i for i, (at, _) in enumerate(points) if at > context.now), None)
        if late is not None:
            raise Refused(Problem("in_the_future", f"readings.{late}.at", points[late][0].isoformat()))
    if set(given.also) & set(given.apart):
        raise Refused(Problem("there_and_not_there", "apart"))
    return judged.IncidentReported(
        place=given.place.strip(),
        what=given.what,
        since=given.since,
        until=given.until,
        warmest=given.warmest,
        error=given.error,
        readings=tuple(judged.LogReading(at=r.at, temperature=r.temperature) for r in given.readings),
        found=given.found,
        before_cold_back=given.before_cold_back,
        also=tuple(item(context, code).code for code in given.also),
        apart=tuple(item(context, code).code for code in given.apart),
        text=given.text,
    )


def incident(context: Context, given: IncidentAsked) -> IncidentShown:
    """What went wrong in a place, and what to throw out, cook now or keep, with the criterion."""
    return shown(context, parse_code(given.incident))


def incidents(context: Context, given: IncidentsGiven) -> IncidentsShown:
    """Everything that went wrong, the latest first, and the places there are."""
    lines = []
    for code, happened in all_incidents(context):
        body: judged.IncidentReported = told_of(happened)
        closed = any(isinstance(h.body, judged.IncidentClosed) for h in incident_facts(context, code))
        lines.append(
            IncidentLine(
                code=code, place=body.place, what=body.what, since=body.since, until=body.until, closed=closed
            )
        )
    names = [state.name for state in chambers(context.journal)]
    for found in items(context):
        names += [found.lot.place] if found.lot else []
        names += [entry.body.place for entry in found.piece.rests] if found.piece else []
    return IncidentsShown(
        incidents=tuple(sorted(lines, key=lambda line: line.since, reverse=True)),
        places=tuple(dict.fromkeys(name for name in names if name)),
    )


def close_incident(context: Context, given: CloseGiven) -> Done:
    """Record what became of everything an incident touched; what was thrown out is out of the store."""
    code = parse_code(given.incident)
    found = shown(context, code)
    stream = judged.INCIDENTS + code
    before = context.journal.answered(given.request_id) if given.request_id else ()
    if before:
        version = context.journal.stream_head(stream)
        ids = tuple(event.id for event in before)
        return Done(stream=stream, version=version, events=ids, at=before[0].at, already=True)
    if found.closed:
        raise Refused(Problem("incident_closed_already", "incident", code))
    decided = {parse_code(c): decision for c, decision in given.decisions.items()}
    strangers = set(decided) - {one.code for one in found.touched}
    if strangers:
        raise Refused(Problem("not_touched", "decisions", ", ".join(sorted(strangers))))
    bodies: list[tuple[str, Body]] = []
    kept: dict[str, judged.Decision] = {}
    against = []
    for one in found.touched:
        if one.perhaps and one.code not in decided:
            continue  # nobody said that it was there
        decision = decided.get(one.code, one.decision)
        kept[one.code] = decision
        if one.gone:
            continue
        if _COMFORT.index(decision) > _COMFORT.index(one.decision):
            against.append(one.name)
        bodies += _done_with(context, one, decision, found)
    if against and not given.reasons.get("decisions", "").strip():
        raise Refused(
            Problem(
                "kept_against_advice", "decisions", ", ".join(against), params={"reason_for": "decisions"}
            )
        )
    closing = judged.IncidentClosed(decisions=kept, text=given.text)
    return done(context, given, [(stream, closing), *bodies])


def _done_with(
    context: Context, one: Touched, decision: judged.Decision, found: IncidentShown
) -> list[tuple[str, Body]]:
    """What is recorded of an item: a piece thrown out ends, a lot leaves the store."""
    if decision == "keep":
        return []
    stream = item(context, one.code).stream
    if one.kind == "piece" and decision == "throw_out":
        return [(stream, handling.Discarded(why=f"{found.what} {found.code}"))]
    if one.kind == "dish" and decision == "throw_out":
        return [(stream, DishDiscarded(why=f"{found.what} {found.code}"))]
    if one.kind == "piece" and not stream.startswith(kinds.STREAM):
        return []
    acted = judged.VerdictActed(
        question="carried",
        answer=one.answer.value,
        verdicts={f"{c.verdict.criterion} {c.verdict.edition}": c.verdict.answer.value for c in one.criteria},
        done="thrown_out" if decision == "throw_out" else "cooked",
        program=__version__,
    )
    return [(stream, acted)]
