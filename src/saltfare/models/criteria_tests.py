"""The conditions of a criterion that need a log or a printed table, by name of the test.

Each reads its row's figures and answers with a Finding; none gives meets on a predicted course.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Self

import numpy as np

from saltfare.core.errors import BadTable, OutOfRange
from saltfare.core.figure import Answer, Evidence, Note, Provenance
from saltfare.core.glossary import entry
from saltfare.core.library import Library
from saltfare.core.tables import Row
from saltfare.core.units import parse
from saltfare.models.criteria_facts import Facts, LogFact
from saltfare.models.criteria_terms import Finding, Term, finding, is_plausible
from saltfare.models.growth import GrowthModel, growth_after_lag_baranyi, growth_history
from saltfare.models.growth_limits import GrowthEnvelope, growth_envelope
from saltfare.models.hazards import Hold, come_up_time, held_table, rise_time
from saltfare.models.hazards_cooling import Stage, cooled_stages, is_dropping, time_exposed
from saltfare.models.hazards_log import Log, hold_below, time_between


@dataclass(frozen=True, slots=True)
class Rulebook:
    """The printed tables the tests read.

    holds: by "table:column" the rows with their temperature; freezing: rows by method.
    """

    holds: Mapping[str, tuple[Hold, ...]]
    cooling: Mapping[str, tuple[Stage, ...]]
    parasites: tuple[Row, ...]
    matrix: Mapping[str, tuple[Row, ...]]
    models: Mapping[str, GrowthModel]
    limits: Mapping[str, GrowthEnvelope]
    errors: Mapping[str, float]
    household_coldest_c: float
    room_c: tuple[float, float, float]

    @classmethod
    def from_library(cls, library: Library) -> Self:
        """From the tables of heat, cooling, parasites, Food Code, growth, and errors."""
        holds: dict[str, list[Hold]] = {}
        for row in library.rows("lethality"):
            for column in ("short", "long"):
                if row.number_or_none(f"{column}_min") is None and row.number_or_none(f"{column}_s") is None:
                    continue
                holds.setdefault(f"{row.text('table')}:{column}", []).append(Hold.from_row(row, column))
        parasites = tuple(library.rows("parasites"))
        holds["parasites:heat"] = [
            Hold(row.number("temp_f"), _printed_time(row))
            for row in parasites
            if row.text("method") == "heat"
        ]
        cooling: dict[str, list[Stage]] = {}
        for row in library.rows("cooling"):
            cooling.setdefault(row.text("option"), []).append(Stage.from_row(row))
        matrix: dict[str, list[Row]] = {}
        for row in library.rows("tcs_matrix"):
            matrix.setdefault(row.text("table"), []).append(row)
        models = {row.text("id"): GrowthModel.from_row(row) for row in library.rows("growth_rates")}
        bounds = tuple(library.rows("growth_limits"))
        room = library.row("log_rules", "room")
        return cls(
            {name: tuple(found) for name, found in holds.items()},
            {name: tuple(found) for name, found in cooling.items()},
            parasites,
            {name: tuple(found) for name, found in matrix.items()},
            models,
            {m.organism: growth_envelope(organism=m.organism, rows=bounds) for m in models.values()},
            {row.text("id"): row.number("half_width") for row in library.rows("fact_errors")},
            library.row("log_rules", "household_freezer").number("coldest_c"),
            (room.number("coldest_c"), room.number("hottest_c"), room.number("error_c")),
        )


def _printed_time(row: Row) -> float:
    for column in ("time_min", "time_h", "time_d"):
        found = row.number_or_none(column)
        if found is not None:
            return found
    raise BadTable(f"{row.ref} holds no time")


def _temperature(word: str) -> float:
    """A printed temperature in a words cell, such as 130_F."""
    return parse(word.replace("_", " "), "temperature")


def _no_log(term: Term, facts: Facts, *, done: str) -> Finding:
    """Without a log: not done is does_not_meet, anything else cannot_tell."""
    fact = facts.fact(done)
    if fact.value is False and fact.firm:
        evidence = (Evidence(done, 0.0, fact.provenance),)
        return finding(answer=Answer.DOES_NOT_MEET, term=term, evidence=evidence, margin=None, notes=())
    evidence = (Evidence(term.quantity, None, Provenance.UNKNOWN),)
    return finding(answer=Answer.CANNOT_TELL, term=term, evidence=evidence, margin=None, notes=())


def _shares(
    term: Term, log: Log | None, known: Provenance, worst: float, best: float, notes: tuple[Note, ...] = ()
) -> Finding:
    """A share of what is asked, 1 and more meets."""
    if log is not None:
        notes = (*notes, *_doubts(log))
    answer = Answer.CANNOT_TELL
    if best < 1.0 - 1e-9:
        answer = Answer.DOES_NOT_MEET
    elif worst >= 1.0 - 1e-9 and not (log is not None and log.jumps):
        answer = Answer.MEETS
    if log is not None and log.jumps and answer is Answer.DOES_NOT_MEET:
        answer = Answer.CANNOT_TELL  # a probe that slipped shows neither
    shown = max(worst, 0.0) if np.isfinite(worst) or worst < 0 else None
    evidence = (Evidence(term.quantity, shown, known if shown is not None else Provenance.UNKNOWN),)
    margin = None if shown is None else shown - 1.0
    return finding(answer=answer, term=term, evidence=evidence, margin=margin, notes=notes)


def _doubts(log: Log) -> tuple[Note, ...]:
    """What is wrong with a log, as our own remarks."""
    notes = []
    if log.jumps:
        notes.append(Note("ours_log_jumps"))
    elif not log.whole:
        notes.append(Note("ours_log_gaps"))
    return tuple(notes)


def _hold(term: Term, facts: Facts, book: Rulebook) -> Finding:
    """A hold at some row of a printed table; words: table:column, or table:column:from."""
    found = facts.log(term.quantity)
    if found.log is None:
        return _no_log(term, facts, done="heated")
    table, column, *lowest = term.words[0].split(":")
    holds = book.holds[f"{table}:{column}"]
    if lowest:
        holds = tuple(h for h in holds if h.temp_c >= _temperature(lowest[0]) - 1e-9)
    held = held_table(log=found.log, holds=holds)
    low, high, span = book.room_c
    room = float(np.ptp(found.log.temp_c)) < span and low <= float(found.log.temp_c.mean()) <= high
    notes: tuple[Note, ...] = (Note("ours_probe_at_room"),) if room else ()
    if table in ("meat", "poultry"):
        if held.row is not None and holds[held.row].temp_c < 60.0:
            notes = (*notes, Note("ours_below_60_listeria"))
        if facts.nitrite_or_nitrate.value is True or facts.dry_salted.value is True:
            notes = (*notes, Note("ours_salt_resistance"))
    return _shares(term, found.log, found.provenance, held.worst, held.best, notes)


def _hold_at(term: Term, facts: Facts, book: Rulebook) -> Finding:
    """At or above one temperature for a time; no time printed is at once."""
    del book
    found = facts.log(term.quantity)
    if found.log is None:
        return _no_log(term, facts, done="heated")
    hold = Hold(term.of("limit_f", "limit_c"), term.limits.get("limit_min", 0.0))
    held = held_table(log=found.log, holds=(hold,))
    return _shares(term, found.log, found.provenance, held.worst, held.best)


def _come_up(term: Term, facts: Facts, book: Rulebook) -> Finding:
    """Time in a range on the way up; words: low high."""
    del book
    found = facts.log(term.quantity)
    if found.log is None:
        return _no_log(term, facts, done="heated")
    low, high = (_temperature(word) for word in term.words)
    most = term.of("limit_h")
    worst = come_up_time(log=found.log, low_c=low, high_c=high, worst=True)
    best = come_up_time(log=found.log, low_c=low, high_c=high, worst=False)
    return _times(term, found, worst, best, most)


def _rise(term: Term, facts: Facts, book: Rulebook) -> Finding:
    """Time from one temperature up to another for the first time; words: low high."""
    del book
    found = facts.log(term.quantity)
    if found.log is None:
        return _no_log(term, facts, done="heated")
    low, high = (_temperature(word) for word in term.words)
    worst = rise_time(log=found.log, low_c=low, high_c=high, worst=True)
    best = rise_time(log=found.log, low_c=low, high_c=high, worst=False)
    return _times(term, found, worst, best, term.of("limit_h"))


def _times(term: Term, found: LogFact, worst: float, best: float, most: float) -> Finding:
    """A time that may not exceed `most`."""
    answer = Answer.CANNOT_TELL
    if best > most + 1e-6:
        answer = Answer.DOES_NOT_MEET
    elif worst <= most + 1e-6:
        answer = Answer.MEETS
    log = found.log
    notes = _doubts(log) if log is not None else ()
    if log is not None and log.jumps:
        answer = Answer.CANNOT_TELL
    shown = worst if np.isfinite(worst) else None
    evidence = (
        Evidence(term.quantity, shown, found.provenance if shown is not None else Provenance.UNKNOWN),
    )
    margin = None if shown is None else most - shown
    return finding(answer=answer, term=term, evidence=evidence, margin=margin, notes=notes)


def _cool(term: Term, facts: Facts, book: Rulebook) -> Finding:
    """Every stage of a cooling option; words: the option."""
    found = facts.log(term.quantity)
    if found.log is None:
        return _no_log(term, facts, done="heated")
    findings = []
    for cooled in cooled_stages(log=found.log, stages=book.cooling[term.words[0]]):
        most = cooled.stage.most_s
        findings.append(
            _times(term, found, cooled.worst_s, cooled.best_s, np.finfo(float).max if most is None else most)
        )
    answers = [f.answer for f in findings]
    order = (Answer.DOES_NOT_MEET, Answer.CANNOT_TELL, Answer.MEETS)
    answer = next(a for a in order if a in answers)
    margins = [f.margin for f in findings if f.margin is not None and f.margin < 1e9]
    evidence = tuple(e for f in findings for e in f.evidence)
    margin = (
        min(margins)
        if margins and len(margins) == sum(f.margin is None or f.margin < 1e9 for f in findings)
        else None
    )
    notes = tuple(dict.fromkeys(n.code for f in findings for n in f.notes))
    return finding(
        answer=answer, term=term, evidence=evidence, margin=margin, notes=tuple(Note(code) for code in notes)
    )


def _dropping(term: Term, facts: Facts, book: Rulebook) -> Finding:
    """Whether a cooling log never rises again."""
    del book
    found = facts.log(term.quantity)
    if found.log is None:
        return _no_log(term, facts, done="heated")
    drops = is_dropping(log=found.log)
    return _shares(
        term, found.log, found.provenance, 1.0 if drops else 0.0, 1.0 if drops or not found.log.whole else 0.0
    )


def _between(term: Term, facts: Facts, book: Rulebook) -> Finding:
    """Time between two temperatures; words: low high."""
    del book
    found = facts.log(term.quantity)
    if found.log is None:
        return _no_log(term, facts, done="heated")
    low, high = (_temperature(word) for word in term.words)
    cooled = (
        found.log.temp_c[0] - found.log.error_c >= high and found.log.temp_c[-1] + found.log.error_c <= low
    )
    worst = time_between(log=found.log, low_c=low, high_c=high, worst=True) if cooled else float("inf")
    best = time_between(log=found.log, low_c=low, high_c=high, worst=False)
    return _times(term, found, worst, best, term.of("limit_h"))


def _freeze(term: Term, facts: Facts, book: Rulebook) -> Finding:
    """A row of a freezing table; words: the method."""
    method = term.words[0]
    found = facts.log(term.quantity)
    unsure = _freezer_unit(found.log, facts, book)
    rows = [row for row in book.parasites if row.text("method") == method]
    extra: tuple[Evidence, ...] = ()
    if method == "freeze_air":
        thickness = facts.thickness
        if not isinstance(thickness.value, float | int):
            return _no_log(term, facts, done="freezing_done")
        error = book.errors["thickness"] if thickness.error is None else thickness.error
        thick = float(thickness.value) + error
        usual = entry("thickness").plausible
        if usual is not None and thick < usual[0]:  # another unit typed, perhaps
            return _no_log(term, facts, done="freezing_done")
        rows = [row for row in rows if thick <= row.number("thickness_to_in") + 1e-9]
        extra = (Evidence("thickness", float(thickness.value), thickness.provenance),)
    if found.log is None and not (method == "freeze_air" and facts.freezer_temperature.value is not None):
        return _no_log(term, facts, done="freezing_done")
    worst, best = float("-inf"), float("-inf")
    for row in rows:
        temp = row.number_or_none("temp_f")
        level = row.number("temp_c") if temp is None else temp
        asked = _printed_time(row)
        certain, hoped = _frozen(found.log, facts, book, level)
        worst, best = max(worst, certain / asked), max(best, hoped / asked)
    provenance = found.provenance
    if found.log is None:
        provenance = _weaker(facts.freezer_temperature.provenance, facts.freezing_time.provenance)
    result = _shares(term, found.log, provenance, worst, best)
    evidence = (*result.evidence, *extra)
    answer = result.answer if rows else Answer.DOES_NOT_MEET
    notes = result.notes
    if unsure and answer is not Answer.DOES_NOT_MEET:
        answer, notes = Answer.CANNOT_TELL, (*notes, Note("ours_freezer_very_cold"))
    return finding(answer=answer, term=term, evidence=evidence, margin=result.margin, notes=notes)


def _weaker(first: Provenance, second: Provenance) -> Provenance:
    order = (Provenance.UNKNOWN, Provenance.ESTIMATED, Provenance.LOGGED, Provenance.MEASURED)
    return min(first, second, key=order.index)


def _frozen(log: Log | None, facts: Facts, book: Rulebook, level: float) -> tuple[float, float]:
    """Time held at or below a level, for certain and with every doubt given."""
    if log is not None:
        return hold_below(log=log, temp_c=level, worst=True), hold_below(log=log, temp_c=level, worst=False)
    temp, time = facts.freezer_temperature, facts.freezing_time
    if not isinstance(temp.value, float | int) or not isinstance(time.value, float | int):
        return float("-inf"), float("inf")
    error = book.errors["freezer_temperature"] if temp.error is None else temp.error
    held = float(time.value)
    certain = held if float(temp.value) + error <= level + 1e-9 else float("-inf")
    return certain, held if float(temp.value) - error <= level + 1e-9 else float("-inf")


def _freezer_unit(log: Log | None, facts: Facts, book: Rulebook) -> bool:
    """Whether a freezer reads colder than a household one does, and nobody said it is one that can."""
    coldest = facts.freezer_temperature.value
    seen = [float(log.temp_c.min())] if log is not None else []
    seen += [float(coldest)] if isinstance(coldest, float | int) else []
    confirmed = facts.deep_freezer.value is True and facts.deep_freezer.firm
    return bool(seen) and min(seen) < book.household_coldest_c and not confirmed


def _matrix(term: Term, facts: Facts, book: Rulebook) -> Finding:
    """A table of water activity against pH; words: the table. An assessment asked for cannot tell."""
    cells = book.matrix[term.words[0]]
    aw, ph = facts.water_activity, facts.ph
    if not isinstance(aw.value, float | int):
        unknown = (Evidence("water_activity", None, Provenance.UNKNOWN),)
        return finding(answer=Answer.CANNOT_TELL, term=term, evidence=unknown, margin=None, notes=())
    error = book.errors["water_activity"] if aw.error is None else aw.error
    if facts.aw_method.value != "instrument":
        error = max(error, book.errors["water_activity_jar"])
    if not is_plausible(quantity="water_activity", value=float(aw.value)):
        note = Note("ours_implausible", {"quantity": "water_activity"})
        odd = (Evidence("water_activity", float(aw.value), aw.provenance),)
        return finding(answer=Answer.CANNOT_TELL, term=term, evidence=odd, margin=None, notes=(note,))
    wet = float(aw.value) + error
    acid = float("inf")
    evidence: tuple[Evidence, ...] = (Evidence("water_activity", float(aw.value), aw.provenance),)
    if _cell(cells, wet, acid) == "non_tcs":  # whatever the pH
        return finding(answer=Answer.MEETS, term=term, evidence=evidence, margin=None, notes=())
    if isinstance(ph.value, float | int):
        acid = float(ph.value) + (book.errors["ph"] if ph.error is None else ph.error)
        evidence = (*evidence, Evidence("ph", float(ph.value), ph.provenance))
    else:
        evidence = (*evidence, Evidence("ph", None, Provenance.UNKNOWN))
    answer = Answer.MEETS if _cell(cells, wet, acid) == "non_tcs" else Answer.CANNOT_TELL
    if not is_plausible(quantity="ph", value=acid):
        answer = Answer.CANNOT_TELL
    return finding(answer=answer, term=term, evidence=evidence, margin=None, notes=())


def _cell(cells: tuple[Row, ...], aw: float, ph: float) -> str:
    """The answer of the first cell, in order of the table, whose ends hold both."""

    def within(value: float, row: Row, name: str) -> bool:
        end = row.number_or_none(f"{name}_to")
        if end is None:
            return True
        return value <= end + 1e-12 if row.text(f"{name}_end") == "included" else value < end - 1e-12

    return next(row.text("answer") for row in cells if within(aw, row, "aw") and within(ph, row, "ph"))


def _exposure(term: Term, facts: Facts, book: Rulebook) -> Finding:
    """Share of the time allowed out of the cold; words: cold warm; limit_h below warm, limit_min above."""
    del book
    found = facts.log(term.quantity)
    if found.log is None:
        evidence = (Evidence(term.quantity, None, Provenance.UNKNOWN),)
        return finding(answer=Answer.CANNOT_TELL, term=term, evidence=evidence, margin=None, notes=())
    cold, warm = (_temperature(word) for word in term.words)

    def used(worst: bool) -> float:
        assert found.log is not None  # noqa: S101
        over = time_exposed(log=found.log, above_c=cold, worst=worst)
        hot = time_exposed(log=found.log, above_c=warm, worst=worst)
        return (over - hot) / term.of("limit_h") + hot / term.of("limit_min")

    return _times(term, found, used(True), used(False), 1.0)


def _growth(term: Term, facts: Facts, book: Rulebook) -> Finding:
    """Least growth by a published model; more than the limit does not meet, less cannot tell."""
    found = facts.log(term.quantity)
    if found.log is None:
        return _no_log(term, facts, done="heated")
    model = book.models[term.words[0]]
    falling = found.log.part(found.log.peak, len(found.log.time_s) - 1)
    if len(falling.time_s) < 2 or found.log.jumps:
        return _shares(term, found.log, found.provenance, float("-inf"), float("inf"))
    try:
        grown = growth_history(
            time_s=falling.time_s,
            temp_c=falling.temp_c,
            ph=None,
            aw=None,
            model=model,
            limits=book.limits[model.organism],
            outside="nothing",
        )[-1]
    except OutOfRange:
        return _shares(term, found.log, found.provenance, float("-inf"), float("inf"))
    if model.q0 is not None:
        grown = growth_after_lag_baranyi(growth_log10=float(grown), q0=model.q0)
    over = float(grown) > term.of("limit")
    evidence = (Evidence(term.quantity, float(grown), Provenance.ESTIMATED),)
    answer = Answer.DOES_NOT_MEET if over else Answer.CANNOT_TELL
    return finding(
        answer=answer,
        term=term,
        evidence=evidence,
        margin=term.of("limit") - float(grown),
        notes=(Note("ours_growth_is_predicted"),),
    )


TESTS: Mapping[str, Callable[[Term, Facts, Rulebook], Finding]] = {
    "hold": _hold,
    "hold_at": _hold_at,
    "come_up": _come_up,
    "rise": _rise,
    "cool": _cool,
    "dropping": _dropping,
    "between": _between,
    "freeze": _freeze,
    "matrix": _matrix,
    "exposure": _exposure,
    "growth": _growth,
}
