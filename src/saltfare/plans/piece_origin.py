"""Where the meat came from, and freezing against Trichinella as dated steps before the salt."""

from __future__ import annotations

import math

from saltfare.core.figure import Note, Provenance, Verdict
from saltfare.core.library import Library
from saltfare.core.tables import Row
from saltfare.models import parasite_freezing
from saltfare.models.criteria import Criteria, verdict
from saltfare.models.criteria_facts import Fact, Facts
from saltfare.models.parasite_freezing import FreezingRow
from saltfare.plans.piece_parts import Amount, Objections, Origins, PieceRequest

RULES = "salting_rules"
_DAY_S = 86400.0
_METHOD = "freeze_air"


def origins_of(
    *, request: PieceRequest, cut: Row, library: Library, criteria: Criteria, against: Objections
) -> Origins:
    """What is done against parasites before the salt, and what may be said of it."""
    species, cautions = cut.text("species"), []
    if request.origin == "inspected" and species in ("pork", "game"):
        cautions.append(Note("inspected_is_not_tested"))
    if request.origin == "hunted" and species != "game":
        against.refuse("hunted_is_game", "origin", request.origin, "inspected, farm")
    freezing, step = request.freezing, request.parasite_step
    if (step == "freeze") != (freezing is not None):
        against.refuse("missing" if step == "freeze" else "freezing_not_asked", "freezer_temperature")
        return Origins(cautions=tuple(cautions))
    if step == "tested" and species not in ("pork", "game"):
        against.refuse("no_parasite_step_here", "parasite_step", step, "none")
    if step == "none" and species == "pork" and request.origin == "farm":
        against.doubt("parasites_untreated", "parasite_step", step, "freeze, tested")
    if step == "none" and request.origin == "hunted" and species == "game":
        against.doubt("game_untreated", "parasite_step", step)
    if freezing is None:
        return Origins(cautions=tuple(cautions))
    if species != "pork":
        # no table for it: freezing is dated and shown for what it is
        cautions.append(Note("freezing_not_for_game" if species == "game" else "freezing_not_for_this"))
    rows = [row for row in library.rows("parasites") if row.text("method") == _METHOD]
    asked = parasite_freezing.freezing_time_table(
        thickness_m=request.thickness_m,
        temp_c=freezing.temp_c,
        rows=tuple(FreezingRow.from_row(row) for row in rows),
    )
    if asked is None:
        warmest = max(row.number("temp_f") for row in rows)
        against.refuse(
            "freezer_too_warm",
            "freezer_temperature",
            f"{freezing.temp_c:g} C",
            f"{warmest:g} C",
            temp_c=freezing.temp_c,
            limit_c=warmest,
        )
        return Origins(cautions=tuple(cautions))
    time_s, row_id = asked
    settles = library.row(RULES, "freezer_settles")
    wanted = time_s + settles.number("days")
    if freezing.time_s is not None and freezing.time_s < time_s:
        against.refuse(
            "freezing_too_short",
            "freezing_days",
            f"{freezing.time_s / _DAY_S:g} d",
            f"{time_s / _DAY_S:g} d",
            given_s=freezing.time_s,
            asked_s=time_s,
        )
    held = freezing.time_s if freezing.time_s is not None else wanted
    freeze_days = math.ceil(held / _DAY_S - 1e-9)
    thaw_row = library.row(RULES, "thaw")
    per_day = thaw_row.number("pounds") * _DAY_S / thaw_row.number("days")
    thaw_s = parasite_freezing.thaw_time_refrigerator(mass_kg=request.green_mass_kg, mass_per_day_kg=per_day)
    thaw_days = round(thaw_s / _DAY_S)
    printed = library.row("parasites", row_id)
    return Origins(
        freeze_days=freeze_days,
        thaw_days=thaw_days,
        freeze=Amount(
            quantity="freezing_days",
            value=freeze_days * _DAY_S,
            kind="time",
            model=parasite_freezing.freezing_time_table,
            inputs={"thickness_m": request.thickness_m, "temp_c": freezing.temp_c},
            rows=(printed, settles),
        ),
        thaw=Amount(
            quantity="thaw_days",
            value=thaw_days * _DAY_S,
            kind="time",
            model=parasite_freezing.thaw_time_refrigerator,
            inputs={"mass_kg": request.green_mass_kg, "mass_per_day_kg": per_day},
            rows=(thaw_row,),
        ),
        verdict=_verdict(request, cut, freeze_days, criteria) if species == "pork" else None,
        cautions=(*cautions, Note("trichinella_only"), Note("freezing_kills_no_bacteria")),
    )


def _verdict(request: PieceRequest, cut: Row, days: int, criteria: Criteria) -> Verdict | None:
    """What the table will say once it is done: a plan estimates, so it never meets."""
    freezing = request.freezing
    criterion = next(c for c in criteria.all if c.id == "trichinella_freeze_air")
    facts = Facts(
        species=Fact(cut.text("animal"), Provenance.MEASURED),
        thickness=Fact(request.thickness_m, Provenance.MEASURED),
        freezer_temperature=Fact(freezing.temp_c if freezing else None, Provenance.ESTIMATED),
        freezing_time=Fact(days * _DAY_S, Provenance.ESTIMATED),
        freezing_done=Fact(True, Provenance.ESTIMATED),
    )
    return verdict(criterion=criterion, facts=facts, book=criteria.book, instead=("cooked_probe",))
