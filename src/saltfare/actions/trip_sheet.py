"""What a menu asks for and the shelf lacks, and all that the sheets of a trip print."""

from __future__ import annotations

from datetime import timedelta
from math import ceil
from typing import Literal

from saltfare.actions.context import Context
from saltfare.actions.pack_content import pack_content
from saltfare.actions.trip_items import offered
from saltfare.actions.trip_load import trip_water_fuel
from saltfare.actions.trip_menu import explained_mends, menu
from saltfare.actions.trip_menu_shapes import (
    MakeShown,
    MenuGiven,
    MenuShown,
    MissingLine,
    MissingShown,
    OwnDecision,
    PackShown,
    SheetGiven,
    SheetShown,
    WaterFuelGiven,
)
from saltfare.actions.trip_view import cautions_of
from saltfare.actions.trips import found_trip
from saltfare.core.errors import NotFound
from saltfare.core.figure import Note
from saltfare.journal.events_lot import STREAM as LOTS
from saltfare.journal.events_trip import EatsNo
from saltfare.journal.lot import lot as lot_of
from saltfare.journal.lot import lots
from saltfare.journal.trip import TripState


def trip_missing(context: Context, given: SheetGiven) -> MissingShown:
    """What a menu asks for and the shelf lacks: to buy, to make, to finish."""
    state = found_trip(context, given.code)
    shown = menu(context, MenuGiven(code=given.code, preset=given.preset))
    return _missing(context, state, shown)


def _missing(context: Context, state: TripState, shown: MenuShown) -> MissingShown:
    lines = []
    for pack in shown.packs:
        needed = pack.packs if pack.have is None else pack.missing
        if pack.origin in ("dish", "piece"):
            needed = pack.packs
        if not needed:
            continue
        how = _how(context, pack)
        lines.append(
            MissingLine(
                item=pack.item,
                key=pack.key,
                name=pack.name,
                how=how,
                packs=needed,
                grams=needed * pack.grams // pack.packs,
                by=state.departure - timedelta(days=1) if how == "buy" else None,
                ready_on=None,
            )
        )
    return MissingShown(
        code=state.code,
        lines=tuple(lines),
        short=shown.short,
        mends=explained_mends(context, state) if shown.short else (),
        makes=_makes(context, state, shown) if shown.short else (),
    )


def _makes(context: Context, state: TripState, shown: MenuShown) -> tuple[MakeShown, ...]:
    """Dishes made before, each with the packs that would bring what is short to those who may eat them."""
    short = {one.person: one.short_kcal for one in shown.short}
    not_for = {one.item: one.not_for for one in offered(context, state).shown}
    out: dict[str, MakeShown] = {}
    for lot in reversed(lots(context.journal)):
        batch, name = lot.made.dish, lot.name
        if batch is None or lot.made.parts or name in out:
            continue
        kcal = pack_content(context, lot).kcal
        refused = not_for.get(LOTS + lot.code, {})
        people = tuple(person for person in short if person not in refused)
        wanted = sum(short[person] for person in people)
        if kcal is None or kcal < 1 or not wanted:
            continue
        out[name] = MakeShown(
            recipe=batch, name=name, packs=ceil(wanted / kcal), kcal=round(kcal), people=people
        )
    return tuple(sorted(out.values(), key=lambda one: (-len(one.people), one.packs, one.name)))


def _how(context: Context, pack: PackShown) -> Literal["buy", "make", "finish"]:
    if pack.origin == "food":
        return "buy"
    if pack.origin in ("dish", "piece"):
        return "finish"
    try:
        return "buy" if lot_of(context.journal, pack.key).origin == "bought" else "make"
    except NotFound:
        return "make"


def trip_sheet(context: Context, given: SheetGiven) -> SheetShown:
    """All that the sheets of a trip print: the menu by day, packs by supply, water and fuel, allergens,
    cautions."""
    state = found_trip(context, given.code)
    shown = menu(context, MenuGiven(code=given.code, preset=given.preset))
    load = trip_water_fuel(context, WaterFuelGiven(code=given.code, preset=given.preset))
    used = {pack.item for pack in shown.packs}
    items = tuple(one for one in offered(context, state).shown if one.item in used)
    committed = state.menu.body.items if state.menu is not None and given.preset is None else ()
    allergens = {one.name: (one.allergens, one.allergens_unsure) for one in items}
    allergens |= {one.name: (one.allergens, one.allergens_unsure) for one in committed}
    reasons = {one.item: one.why for one in committed} | {one.item: one.why_decided for one in items}
    settles = {one.item: one.settles for one in items}
    decided = {pack.item: pack.name for pack in shown.packs if pack.decided}
    every = sorted({name for present, _ in allergens.values() for name in present})
    cautions = [*cautions_of(state), *shown.cautions]
    if every:
        cautions.append(Note("trip_allergens", {"allergens": ", ".join(every)}))
    return SheetShown(
        code=state.code,
        name=state.name,
        departure=state.departure,
        last_day=state.last_day,
        people=tuple(one.name for one in state.party),
        eats_no={one.name: one.eats_no for one in state.party if one.eats_no != EatsNo()},
        menu=shown,
        load=load,
        missing=_missing(context, state, shown),
        items=items,
        decisions=tuple(
            OwnDecision(item=item, name=name, why=reasons.get(item, ""), settles=settles.get(item, ()))
            for item, name in decided.items()
        ),
        plain_foods=tuple(dict.fromkeys(pack.name for pack in shown.packs if pack.origin == "food")),
        allergens=allergens,
        cautions=tuple(cautions),
        issued=context.today,
        traces=load.traces,
    )
