"""What is known of a piece or lot, gathered from its events, each fact with how it is known.

Recorded measurements are `measured`, logs `logged`; a mass taken from an earlier weighing and a water
activity computed from it are `estimated`, and so is whatever nobody said. An estimate never meets.
"""

from __future__ import annotations

from datetime import datetime
from itertools import pairwise

from saltfare.actions.context import Context
from saltfare.actions.judged_dish import dish_facts
from saltfare.actions.judged_items import Item, told_of
from saltfare.actions.judged_kept import freezing, storage
from saltfare.actions.judged_known import Gathered
from saltfare.actions.judged_logs import COOLS, HEATS, begins_at, ends_at, instant_log, log_of, logs_for
from saltfare.core.errors import NotFound, Refused
from saltfare.core.figure import Note, Provenance
from saltfare.journal import events_handling as handling
from saltfare.journal import events_judged as judged
from saltfare.journal import events_piece as kinds
from saltfare.journal.events_dish import DishTrayed
from saltfare.journal.fold import Fact as Happened
from saltfare.journal.piece import PieceState
from saltfare.journal.piece import piece as piece_of
from saltfare.models.criteria_facts import NO_LOG, Fact, LogFact
from saltfare.models.jar import HumiditySalt, aw_jar_bracketed

MEASURED, ESTIMATED = Provenance.MEASURED, Provenance.ESTIMATED
_DAY_S = 86400.0
_CUTS = ("ham", "shoulder", "collar", "loin", "belly", "breast")
_POULTRY = frozenset({"chicken", "turkey", "duck", "goose", "other_poultry", "mixed_poultry"})
_MEASURES_FAT_SALT = ("water_phase_salt", "internal_salt", "salt_when_cooled")


def gathered(context: Context, item: Item) -> Gathered:
    """Everything the events of an item say."""
    known = Gathered()
    if item.piece is not None:
        _identity(context, item, item.piece, known)
        _salting(context, item, item.piece, known)
        _times(context, item, item.piece, known)
    if item.dish is not None:
        dish_facts(context, item.dish, item.happened, known)
    _told(item, known)
    _measurements(context, item, known)
    if item.piece is not None:
        _estimates(context, item, item.piece, known)
    _heat(context, item, known)
    freezing(context, item, known)
    storage(context, item, known)
    return known


def _identity(context: Context, item: Item, state: PieceState, known: Gathered) -> None:
    cuts = {_cut_of(context, code) for code in _forebears(context, state)}
    animals = {animal for animal, _ in cuts}
    begun = {"event_id": state.started_id, "at": state.started_at}
    if len(animals) == 1 and None not in animals:
        known.put("species", str(animals.pop()), MEASURED, typed=state.started.cut, **begun)  # type: ignore[arg-type]
    elif None not in animals and all(animal in _POULTRY for animal in animals):
        known.put("species", "mixed_poultry", MEASURED, **begun)  # type: ignore[arg-type]
    else:
        # meat and poultry together is a kind of its own; two kinds of meat are not: no table is for both
        poultry = [animal in _POULTRY for animal in animals if animal]
        if None not in animals and any(poultry) and not all(poultry) and len(animals - _POULTRY) == 1:
            known.put("species", "mixed", MEASURED, **begun)  # type: ignore[arg-type]
        known.notes.append(Note("species_mixed"))
    names = {cut for _, cut in cuts}
    if len(names) == 1 and None not in names:
        known.put("cut", str(names.pop()), MEASURED, typed=state.started.cut, **begun)  # type: ignore[arg-type]
    known.put("form", "whole", MEASURED, **begun)  # type: ignore[arg-type]
    known.put("intact", state.is_intact, ESTIMATED if state.is_intact else MEASURED)
    opened = [*item.of(handling.Shaped), *item.of(handling.Injected), *item.of(handling.TiedTogether)]
    if not state.is_intact and opened:
        known.put("intact", False, MEASURED, by=opened[-1])
    thickness = next((e.body.thickness for e in reversed(state.hung) if e.body.thickness), None)
    shaped = next((e.body.thickness for e in reversed(state.shaped) if e.body.thickness), None)
    thick = shaped or thickness or state.started.thickness
    known.put("thickness", thick.value, MEASURED, typed=thick.typed)


def _forebears(context: Context, state: PieceState) -> tuple[str, ...]:
    return state.parts or (state.code,)


def _cut_of(context: Context, code: str) -> tuple[str | None, str | None]:
    """The animal of a piece and which cut it is, as far as the table of cuts says."""
    try:
        state = piece_of(context.journal, code)
        row = context.library.row("cuts", state.started.cut)
    except NotFound:
        return None, None
    named = [word for word in state.started.cut.split("_") if word in _CUTS]
    return row.text("animal") or None, named[0] if len(named) == 1 else "other"


def _salting(context: Context, item: Item, state: PieceState, known: Gathered) -> None:
    begun = state.started.salting
    method = str(getattr(begun, "method", None) or "weighed_dose")
    salted, brined, needled = state.salted, "brine" in method, method.startswith("pumped")
    if salted and not state.parts:
        first = {"event_id": salted[0].event_id, "at": salted[0].at}
        known.put("dry_salted", not brined and not needled, MEASURED, **first)  # type: ignore[arg-type]
        mixed = sum(entry.body.mix.value for entry in salted if entry.body.mix)
        if mixed > 0 and begun.mix is not None:
            known.put("nitrite_or_nitrate", True, MEASURED, **first)  # type: ignore[arg-type]
            _nitrite(state, known, mixed)
        elif begun.mix is None and not state.injected:
            known.put("nitrite_or_nitrate", False, MEASURED, **first)  # type: ignore[arg-type]
            known.put("nitrite_ingoing", 0.0, MEASURED, error=0.0, **first)  # type: ignore[arg-type]
    known.put("immersed_in_brine", brined, MEASURED if brined else ESTIMATED)
    if state.injected or needled:
        known.put(
            "injected", True, MEASURED, event_id=state.injected[-1].event_id if state.injected else None
        )
        known.put("intact", False, MEASURED)
    else:
        known.put("injected", False, ESTIMATED)
    smoked = state.smoked[-1] if state.smoked else None
    cured = known.found.get("nitrite_or_nitrate")
    if smoked is not None and isinstance(cured, Fact) and cured.value is True:
        known.put("cured_and_smoked", True, MEASURED, event_id=smoked.event_id, at=smoked.at)


def _nitrite(state: PieceState, known: Gathered, mixed_kg: float) -> None:
    """Nitrite that went on, from the mix as weighed, on the whole green weight: the least it can be."""
    begun = state.started.salting
    if begun.mix is None or (strength := getattr(begun.mix, "nitrite", None)) is None:
        return
    whole = state.started.green_weight.value
    step = begun.scale_step.value * len(state.salted)
    weighed = all(entry.body.mix is not None for entry in state.salted)
    known.put(
        "nitrite_ingoing",
        mixed_kg * strength.value / whole,
        MEASURED if weighed else ESTIMATED,
        error=step * strength.value / whole,
        typed=" + ".join(entry.body.mix.typed for entry in state.salted if entry.body.mix),
        event_id=state.salted[-1].event_id,
        at=state.salted[-1].at,
    )


def _times(context: Context, item: Item, state: PieceState, known: Gathered) -> None:
    down = state.taken_down[-1].at if state.taken_down else None
    if state.salted and not state.parts:
        first = state.salted[0].at
        rested = state.hung[0].at if state.hung else down or context.now
        known.put("cure_time", (rested - first).total_seconds(), MEASURED, at=first)
        known.put("cure_and_drying_time", ((down or context.now) - first).total_seconds(), MEASURED, at=first)
    last = state.last_weight
    if last is not None and not state.parts:
        whole = state.comparable_kg(last[1], last[0])
        known.put("loss_from_green", 1 - whole / state.green_weight_kg, MEASURED, at=last[0])
    if state.hung:
        _warmest(context, state, known, down or context.now)


def _warmest(context: Context, state: PieceState, known: Gathered, until: datetime) -> None:
    """The warmest air while it hung; logged only where no day is without a reading."""
    since, temps, smoked = state.hung[0].at, [], [e.body.temperature.value for e in state.smoked]
    air = context.journal.readings.range(state.chamber, since, until) if state.chamber else []
    temps = [reading.temp_c for reading in air]
    if not temps:
        return
    times = [since, *(reading.at for reading in air), until]
    gap = max((b - a).total_seconds() for a, b in pairwise(times))
    known.put(
        "drying_peak_temperature",
        max([*temps, *smoked]),
        Provenance.LOGGED if gap <= _DAY_S else ESTIMATED,
        at=air[-1].at,
    )


def _told(item: Item, known: Gathered) -> None:
    """What a person said of it; the last word on each, but never against what was recorded."""
    split = [h.at for h in item.happened if isinstance(h.body, handling.SplitOff)]
    for happened in item.of(judged.OriginTold):
        body = told_of(happened)
        if body.species is not None:
            _species_told(known, body.species, happened)
        if body.form is not None:
            known.put("form", body.form, MEASURED, by=happened)
        for name, value in (("intact", body.intact), ("injected", body.injected)):
            recorded = known.found.get(name)
            firm = isinstance(recorded, Fact) and recorded.firm
            if value is not None and not firm and not _stale(happened, split):
                known.put(name, value, MEASURED, by=happened)
        if body.in_brine is not None:
            recorded = known.found.get("immersed_in_brine")
            if not (isinstance(recorded, Fact) and recorded.firm and recorded.value is True):
                known.put("immersed_in_brine", body.in_brine, MEASURED, by=happened)
        if body.cured is not None and "nitrite_or_nitrate" not in known.found:
            known.put("nitrite_or_nitrate", body.cured, MEASURED, by=happened)
            if not body.cured:
                known.put("nitrite_ingoing", 0.0, MEASURED, error=0.0, by=happened)
        for name, value in (
            ("natural_climate", body.natural_climate),
            ("naturally_acid", body.naturally_acid),
            ("heated", body.heated_ever),
        ):
            if value is not None:
                known.put(name, value, MEASURED, by=happened)
        if body.carcass_tested is not None:
            shown = bool(body.paper.strip()) or not body.carcass_tested
            known.put(
                "carcass_tested",
                body.carcass_tested,
                MEASURED if shown else ESTIMATED,
                by=happened,
                typed=body.paper,
            )


def _stale(happened: Happened, split: list[datetime]) -> bool:
    """Said of the whole before it was cut."""
    return bool(split) and happened.at <= max(split)


def _species_told(known: Gathered, species: str, happened: Happened) -> None:
    recorded = known.found.get("species")
    if isinstance(recorded, Fact) and recorded.value not in (None, species):
        known.forget("species")
        known.notes.append(Note("species_told_twice", {"first": str(recorded.value), "second": species}))
        return
    if not any(note.code in ("species_told_twice", "species_mixed") for note in known.notes):
        known.put("species", species, MEASURED, by=happened)


def _measurements(context: Context, item: Item, known: Gathered) -> None:
    """The last measurement of each quantity; of those within a day of it, the one that stands worst."""
    salted = [h.at for h in (*item.of(kinds.Salted), *item.of(handling.Injected))]
    salted += [h.at for h in item.of(DishTrayed)]  # what was still wet, likewise
    by_name: dict[str, list[tuple[Happened, float, float | None]]] = {}
    for happened in item.of(judged.MeasurementTaken):
        body = told_of(happened)
        if salted and happened.at < max(salted) and body.quantity != "storage_temperature":
            continue  # before salt was put to it: of another food
        value, error = _value(context, body)
        by_name.setdefault(body.quantity, []).append((happened, value, error))
    for name, found in by_name.items():
        if name == "core_temperature":
            continue
        last = found[-1][0].at
        near = [one for one in found if (last - one[0].at).total_seconds() <= _DAY_S]
        sign = -1.0 if name in _MEASURES_FAT_SALT else 1.0
        happened, value, error = max(near, key=lambda one: sign * one[1] + (one[2] or 0.0))
        body = told_of(happened)
        of_all = body.part == "wettest_thickest" or name == "storage_temperature"
        known.put(
            name, value, MEASURED if of_all else ESTIMATED, error=error, by=happened, typed=body.value.typed
        )
        if name in ("water_activity", "aw_when_cooled"):
            # what asks for an instrument is left open by a jar, and not failed
            jar = body.method == "jar"
            known.put(
                "aw_method", "jar" if jar else "instrument", ESTIMATED if jar else MEASURED, by=happened
            )


def _value(context: Context, body: judged.MeasurementTaken) -> tuple[float, float | None]:
    """The value of a measurement with its error; of a jar, set right by its two brines."""
    error = body.error.value if body.error else None
    if body.jar is None:
        return body.value.value, error
    aw, least = jar_value(context, body.jar)
    return aw, max(least, error or 0.0)


def jar_value(context: Context, jar: judged.JarTest) -> tuple[float, float]:
    """Water activity by a jar, and the least error it has. Raises OutOfRange."""
    library = context.library
    read = aw_jar_bracketed(
        sample_frac=jar.sample.value,
        sodium_frac=jar.sodium.value,
        potassium_frac=jar.potassium.value,
        temp_c=jar.temperature.value,
        sodium=HumiditySalt.from_row(library.row("humidity_salts", "sodium_chloride")),
        potassium=HumiditySalt.from_row(library.row("humidity_salts", "potassium_chloride")),
    )
    least = library.row("fact_errors", "water_activity_jar").number("half_width")
    return read.aw, least + read.beyond * abs(1.0 - read.slope)


def _estimates(context: Context, item: Item, state: PieceState, known: Gathered) -> None:
    """What is computed from masses where nothing was measured."""
    from saltfare.actions.judged_estimates import estimated

    known.put("piece_mass", state.last_mass_kg or state.green_weight_kg * state.kept_frac, ESTIMATED)
    for name, value, error in estimated(context, state):
        if name not in known.found:
            known.put(name, value, ESTIMATED, error=error)


def _heat(context: Context, item: Item, known: Gathered) -> None:
    """The last heating with what was said beside it, every cooling, and the surface."""
    heats, cools = logs_for(item, HEATS), logs_for(item, COOLS)
    if heats:
        last = heats[-1]
        _put_log(context, known, "heating_log", "heating", last)
        _beside(item, known, last)
    else:
        _instant(context, item, known)
    known.coolings = [
        log for happened in cools if (log := _log(context, known, happened, "cooling")) is not None
    ]
    if cools:
        _put_log(context, known, "cooling_log", "cooling", cools[-1])
        delay = told_of(cools[-1]).chill_delay
        if delay is not None:
            known.put("chill_delay", delay.value, MEASURED, by=cools[-1], typed=delay.typed)
    if heats and (not cools or ends_at(cools[-1]) <= begins_at(heats[-1])):
        known.coolings.append(NO_LOG)  # cooling after the last heating was not logged
    for name in ("surface", "freezer", "frozen_core", "carrying"):
        logs = logs_for(item, (name,))
        if logs:
            _put_log(context, known, f"{name}_log", name, logs[-1])


def _put_log(context: Context, known: Gathered, name: str, of: str, happened: Happened) -> None:
    log = _log(context, known, happened, of)
    if log is not None:
        known.put_log(name, log, happened, ends_at(happened))


def _log(context: Context, known: Gathered, happened: Happened, of: str) -> LogFact | None:
    try:
        return log_of(context, told_of(happened), of)
    except Refused as refused:  # corrected into something that is no log
        known.notes += [Note("log_not_used", {"problem": p.code}) for p in refused.problems]
        return None


def _beside(item: Item, known: Gathered, happened: Happened) -> None:
    body = told_of(happened)
    known.put("probe_at_coldest", body.place == "coldest", MEASURED, by=happened)
    if body.place == "not_said":
        known.forget("probe_at_coldest")
    if body.humidity is not None:
        known.put("humidity_while_heating", body.humidity, MEASURED, by=happened)
    for name, measured in (
        ("cook_time", body.cook_time),
        ("oven_temperature", body.oven),
        ("oven_time", body.oven_time),
        ("piece_mass", body.mass),
    ):
        if measured is not None:
            known.put(name, measured.value, MEASURED, by=happened, typed=measured.typed)
    hung = [h.at for h in item.of(kinds.Hung)]
    if hung and min(hung) <= begins_at(happened):
        known.put("dried_before_heating", True, MEASURED, by=happened)
    elif body.dried_before is not None:
        known.put("dried_before_heating", body.dried_before, MEASURED, by=happened)
    if body.in_closed_pack is not None:
        known.put("heated_in_pack", body.in_closed_pack, MEASURED, by=happened)


def _instant(context: Context, item: Item, known: Gathered) -> None:
    """The hottest the middle was read, where no log of heating is at hand."""
    read: list[tuple[float, float | None, Happened, bool]] = []
    for happened in item.of(judged.MeasurementTaken):
        body = told_of(happened)
        if body.quantity == "core_temperature":
            error = body.error.value if body.error else None
            read.append((body.value.value, error, happened, body.part == "wettest_thickest"))
    for happened in item.of(handling.Smoked):
        if told_of(happened).core is not None:
            read.append((told_of(happened).core.value, None, happened, False))
    if not read:
        return
    value, error, happened, coldest = max(read, key=lambda one: one[0])
    known.put_log("heating_log", instant_log(context, value, error), happened, happened.at)
    if coldest:
        known.put("probe_at_coldest", True, MEASURED, by=happened)
    known.notes.append(Note("one_reading_is_an_instant"))
    hung = [h.at for h in item.of(kinds.Hung)]
    if hung and min(hung) <= happened.at:
        known.put("dried_before_heating", True, MEASURED, by=happened)
