"""Own meat that goes beside the packs of a dish on a trip: what it makes of the item, and how much leaves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import ceil, floor
from typing import TYPE_CHECKING

from saltfare.actions.context import Context
from saltfare.actions.dish_beside import carried, meat_of
from saltfare.core.errors import NotFound, Refused
from saltfare.core.figure import Note, joint_answer
from saltfare.journal.dish import DishState
from saltfare.journal.dish import dish as dish_of
from saltfare.journal.events_trip import BesideHeld
from saltfare.journal.lot import LotState

if TYPE_CHECKING:
    from saltfare.actions.trip_offers import Offer

# Whole packs, whatever the last digit of a mass.
_SLACK = 1e-9


def packs_beside(one: BesideHeld, count: int) -> int:
    """Packs of the meat that so many packs of the dish take: what is over of the last one comes along."""
    return ceil(count * one.each_kg / one.pack_kg - _SLACK)


def held_beside(context: Context, batch: DishState) -> tuple[tuple[BesideHeld, ...], tuple[str, ...]]:
    """Own meat beside each pack of a batch, by lot, and the names of what is in no lot."""
    found: dict[str, BesideHeld] = {}
    lost = []
    for one in carried(context, batch.choice):
        if not one.code:
            continue
        try:
            lot = meat_of(context, one.code).lot
        except Refused:
            lot = None
        if lot is None:
            lost.append(one.part.name)
            continue
        before = found[lot.code].each_kg if lot.code in found else 0.0
        found[lot.code] = BesideHeld(
            lot=lot.code,
            name=lot.name,
            each_kg=before + one.part.amounts.mass_kg,
            pack_kg=lot.made.mass.value,
        )
    return tuple(found.values()), tuple(lost)


def beside_of_lot(context: Context, lot: LotState) -> tuple[tuple[BesideHeld, ...], tuple[str, ...]]:
    """Own meat beside each pack of a lot of a dish alone, and the names of what is in no lot."""
    batch = batch_of(context, lot)
    return held_beside(context, batch) if batch is not None else ((), ())


def batch_of(context: Context, lot: LotState) -> DishState | None:
    """The batch a lot was packed from with nothing else in it, None for any other lot."""
    if lot.made.dish is None or lot.made.parts:
        return None
    try:
        return dish_of(context.journal, lot.made.dish)
    except NotFound:
        return None


def beside_g(context: Context, batch: DishState) -> float:
    """What is carried beside each pack, foods and own meat."""
    return 1000.0 * sum(one.part.amounts.mass_kg for one in carried(context, batch.choice))


def foods_beside(context: Context, batch: DishState) -> tuple[Note, ...]:
    """That foods go beside it which no lot stands for."""
    names = [one.part.name for one in carried(context, batch.choice) if not one.code]
    return (Note("trip_beside_food", {"names": ", ".join(names)}),) if names else ()


def joined(offer: Offer, meats: Mapping[str, Offer], left: dict[str, int]) -> Offer:
    """A dish and its meat as one item: the worse answer of both, and as many as there is meat for, which is
    then taken from what is left of it."""
    found = [(one, meats[one.lot]) for one in offer.beside if one.lot in meats]
    lost = [*offer.beside_lost, *(one.name for one in offer.beside if one.lot not in meats)]
    packs = offer.packs or 0
    for one, _ in found:
        packs = min(packs, floor(left.get(one.lot, 0) * one.pack_kg / one.each_kg + _SLACK))
    if lost:
        packs = 0
    for one, _ in found:
        left[one.lot] = left.get(one.lot, 0) - packs_beside(one, packs)
    of_meat = [meat for _, meat in found]
    uncooked = [one.uncooked for one in (offer, *of_meat) if one.uncooked is not None]
    last = [one.last_day for one in (offer, *of_meat) if one.last_day is not None]
    until = [one.planning_date for one in (offer, *of_meat) if one.planning_date is not None]
    cost = sum(one.each_kg / one.pack_kg * meat.cost_minor for one, meat in found)
    notes = [
        Note("trip_beside", {"name": one.name, "code": one.lot, "mass_kg": one.each_kg}) for one, _ in found
    ]
    notes += [Note("trip_beside_not_had", {"name": name}) for name in lost]
    return replace(
        offer,
        packs=packs,
        carrying=joint_answer([offer.carrying, *(meat.carrying for meat in of_meat)]),
        uncooked=joint_answer(uncooked) if uncooked else None,
        uncooked_cured=offer.uncooked_cured or any(meat.uncooked_cured for meat in of_meat),
        last_day=min(last) if last else None,
        planning_date=min(until) if until else None,
        cost_minor=offer.cost_minor + ceil(cost - _SLACK),
        settles=_once([*offer.settles, *(note for meat in of_meat for note in meat.settles)]),
        notes=_once([*offer.notes, *notes, *(note for meat in of_meat for note in meat.notes)]),
        cautions=_once([*offer.cautions, *(note for meat in of_meat for note in meat.cautions)]),
    )


def rest_of(offer: Offer, left: int) -> Offer:
    """A lot of meat with the packs that no dish takes."""
    if offer.packs is None or left >= offer.packs:
        return offer
    taken = Note("trip_meat_beside_dish", {"packs": offer.packs - left})
    return replace(offer, packs=left, beside_dish=True, notes=(*offer.notes, taken))


def _once(notes: Sequence[Note]) -> tuple[Note, ...]:
    out: list[Note] = []
    for note in notes:
        if note not in out:
            out.append(note)
    return tuple(out)
