"""What a pack cost, and what that is by mass, by energy and by protein.

A price that is missing is named; the cost is then what is known at the least. Without the price of the
meat or of the ingredients there is none at all.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from itertools import pairwise
from typing import Literal

from saltfare.actions.context import Context
from saltfare.actions.dish_view import plan_of
from saltfare.actions.money import minor_digits
from saltfare.actions.pack_content import pack_content
from saltfare.actions.price_book import Book, price_key
from saltfare.actions.shapes import Output, Tracer
from saltfare.core.errors import NotConverged, NotFound, OutOfRange, Refused
from saltfare.core.fields import Frozen
from saltfare.core.figure import Figure, Note
from saltfare.journal.dish import DishState
from saltfare.journal.dish import dish as dish_of
from saltfare.journal.lot import LotState
from saltfare.journal.lot import lot as lot_of
from saltfare.journal.piece import PieceState, pieces
from saltfare.journal.piece import piece as piece_of
from saltfare.journal.pouch import lot_said
from saltfare.journal.shelf import bought as bought_of
from saltfare.models.value import Cost, cost_dish, cost_piece, half_up, unit_price_shown, unit_prices

_MOST_DEEP = 4
_J_PER_KCAL = 4184.0
_DAY_S = 86400.0


class CostLine(Frozen):
    """One line of a cost in whole minor units; all lines add up to the cost."""

    what: str
    minor: int


class PackWorth(Output):
    """What one pack cost. cost_minor: without labour, what is known at the least where something is
    `missing`; None where the meat or every ingredient has no price.

    lines: of the whole lot, adding up to lot_minor. labour_minor: of the whole lot, beside it; None where
    nobody said. of_loss: of the meat's cost, what was trimmed and dried off. Unit prices: minor units for a
    kilogram, 1000 kcal and a kilogram of protein; value None where the content is not known.
    """

    code: str
    currency: str
    packs: int
    origin: Literal["made", "bought"]
    cost_minor: int | None
    lot_minor: int | None
    lines: tuple[CostLine, ...]
    labour_minor: int | None
    of_loss: tuple[CostLine, ...]
    per_kg: Figure | None
    per_1000_kcal: Figure | None
    per_protein_kg: Figure | None
    missing: tuple[str, ...]


def shown_rate(minor: float, currency: str) -> float:
    """A unit price as shops show it, in minor units."""
    return float(unit_price_shown(minor=minor, minor_per_major=10 ** minor_digits(currency)))


@dataclass(frozen=True, slots=True)
class _Costed:
    """A lot's whole cost, or none; what had no price."""

    cost: Cost | None
    missing: tuple[str, ...]


def pack_worth(context: Context, lot: LotState) -> PackWorth:
    """What one pack of a lot cost, and its unit prices."""
    packs = lot.made.packs
    foreign = bool(lot.made.currency) and lot.made.currency != context.settings.currency
    paid = _paid(context, lot)
    tracer = Tracer()
    if paid is not None and not foreign:
        trace = tracer.trace(unit_prices, {"price_paid": paid, "packs": packs})
        return _worth(
            context,
            lot,
            tracer,
            trace,
            "bought",
            paid,
            paid * packs,
            (CostLine(what="paid", minor=paid * packs),),
        )
    if lot.origin == "bought" or foreign:
        return _none(context, lot, "bought", ("price",))
    found = _cost(context, lot, Book.of(context), 0)
    if found.cost is None:
        return _none(context, lot, "made", found.missing)
    cost = found.cost
    trace = tracer.trace(
        cost_piece if lot.made.piece else cost_dish,
        {"pack_mass": lot.made.mass.value, "packs": packs, **dict(cost.lines)},
    )
    each = half_up(value=Fraction(cost.total_minor, packs))
    return _worth(
        context,
        lot,
        tracer,
        trace,
        "made",
        each,
        cost.total_minor,
        tuple(CostLine(what=what, minor=minor) for what, minor in cost.lines),
        labour=cost.labour_minor if _time(context, lot) is not None else None,
        losses=tuple(CostLine(what=what, minor=minor) for what, minor in cost.of_loss),
        missing=found.missing,
    )


def _paid(context: Context, lot: LotState) -> int | None:
    if lot.made.price_minor is not None:
        return lot.made.price_minor
    if lot.made.bought is None:
        return None
    try:
        told = bought_of(context.journal, lot.made.bought).described
    except NotFound:
        return None
    return told.price_minor if told.currency in ("", context.settings.currency) else None


def _none(
    context: Context, lot: LotState, origin: Literal["made", "bought"], missing: tuple[str, ...]
) -> PackWorth:
    return PackWorth(
        code=lot.code,
        currency=context.settings.currency,
        packs=lot.made.packs,
        origin=origin,
        cost_minor=None,
        lot_minor=None,
        lines=(),
        labour_minor=None,
        of_loss=(),
        per_kg=None,
        per_1000_kcal=None,
        per_protein_kg=None,
        missing=missing,
        notes=(Note("worth_price_missing"),),
    )


def _worth(
    context: Context,
    lot: LotState,
    tracer: Tracer,
    trace: str,
    origin: Literal["made", "bought"],
    each: int,
    whole: int,
    lines: tuple[CostLine, ...],
    *,
    labour: int | None = None,
    losses: tuple[CostLine, ...] = (),
    missing: tuple[str, ...] = (),
) -> PackWorth:
    energy_j = protein_kg = None
    try:
        content = pack_content(context, lot)
        energy_j = None if content.kcal is None else content.kcal * _J_PER_KCAL
        protein_kg = None if content.protein_g is None else 1e-3 * content.protein_g
    except (Refused, NotFound, OutOfRange, NotConverged):
        pass
    unit = unit_prices(minor=each, net_kg=lot.made.mass.value, energy_j=energy_j, protein_kg=protein_kg)

    def shown(value: float | None) -> Figure:
        return tracer.figure(value, "money_rate", trace)

    notes = [Note("worth_at_least")] if missing else []
    if energy_j is None:
        notes.append(Note("worth_content_not_known"))
    return PackWorth(
        code=lot.code,
        currency=context.settings.currency,
        packs=lot.made.packs,
        origin=origin,
        cost_minor=each,
        lot_minor=whole,
        lines=lines,
        labour_minor=labour,
        of_loss=losses,
        per_kg=shown(unit.per_kg),
        per_1000_kcal=shown(unit.per_1000_kcal),
        per_protein_kg=shown(unit.per_protein_kg),
        missing=missing,
        notes=tuple(notes),
        traces=tracer.traces,
    )


def _cost(context: Context, lot: LotState, book: Book, deep: int) -> _Costed:
    if lot.made.parts:
        return _mixed(context, lot, book, deep)
    try:
        if lot.made.piece:
            return _cured(context, lot, piece_of(context.journal, lot.made.piece), book)
        if lot.made.dish:
            return _dish(context, lot, dish_of(context.journal, lot.made.dish), book)
    except NotFound:
        pass
    return _Costed(None, ("price",))


def _pouch_minor(lot: LotState, book: Book, missing: list[str]) -> float:
    """The price of one pouch: as told of the lot, else of the price book."""
    told = lot.made.pouch.cost_minor if lot.made.pouch else None
    found = told if told is not None else book.one("pouch")
    if found is None:
        missing.append("pouch")
    return float(found or 0)


def _absorber_minor(lot: LotState, book: Book, missing: list[str]) -> float:
    if lot.made.pouch is None or lot.made.pouch.absorber is None:
        return 0.0
    found = book.one("absorber")
    if found is None:
        missing.append("absorber")
    return found or 0.0


def _time(context: Context, lot: LotState) -> float | None:
    work = lot_said(context.journal, lot.code).work
    return work.time.value if work else None


def _labour(context: Context, lot: LotState, book: Book, missing: list[str]) -> tuple[float, float]:
    """Time spent and what an hour counts; labour that has no price is named and stays out."""
    seconds = _time(context, lot)
    if not seconds:
        return 0.0, 0.0
    rate = book.one("labour")
    if rate is None:
        missing.append("labour")
        return 0.0, 0.0
    return seconds, rate


def _cured(context: Context, lot: LotState, state: PieceState, book: Book) -> _Costed:
    """A lot's share by mass of what its piece cost."""
    missing: list[str] = []
    meat = book.per_kg(f"meat-piece-{state.code}", f"meat-{state.started.cut}")
    if meat is None:
        return _Costed(None, ("meat",))
    green = state.green_weight_kg * state.kept_frac
    down = state.taken_down[-1].body if state.taken_down else None
    last = down.mass.value if down and down.mass else state.last_mass_kg or green
    trim = down.trim.value if down and down.trim else 0.0
    share = _share(context, lot, down.lots if down else ())
    cure = _cure_minor(state, book, missing) * state.kept_frac
    tariff = book.one("electricity")
    energy = _energy(context, state, book)
    if tariff is None:
        missing.append("electricity")
    if energy is None:
        missing.append("chamber_energy")
    whole = last + trim
    time_s, rate = _labour(context, lot, book, missing)
    cost = cost_piece(
        bought_kg=green * share,
        minor_per_kg=meat,
        trim_frac=trim / whole,
        loss_frac=min(max(1.0 - whole / green, 0.0), 0.99),
        cure_minor=cure * share,
        energy_j=(energy or 0.0) * share if tariff is not None else 0.0,
        minor_per_kwh=tariff or 0.0,
        pouches=lot.made.packs,
        pouch_minor=_pouch_minor(lot, book, missing) + _absorber_minor(lot, book, missing),
        labour_s=time_s,
        labour_minor_per_hour=rate,
    )
    return _Costed(cost, tuple(missing))


def _share(context: Context, lot: LotState, codes: tuple[str, ...]) -> float:
    """The lot's mass over that of all the lots made with it."""
    own = lot.made.packs * lot.made.mass.value
    total = own
    for code in codes:
        if code == lot.code:
            continue
        try:
            made = lot_of(context.journal, code).made
        except NotFound:
            continue
        total += made.packs * made.mass.value
    return own / total


def _cure_minor(state: PieceState, book: Book, missing: list[str]) -> float:
    """Salt and cure mix that were put on, by the price book."""
    total = 0.0
    salt = sum(e.body.salt.value for e in state.salted if e.body.salt)
    mix = sum(e.body.mix.value for e in state.salted if e.body.mix)
    for what, mass, keys in (("salt", salt, ("salt",)), ("cure_mix", mix, _mix_keys(state, book))):
        if not mass:
            continue
        price = book.per_kg(*keys)
        if price is None:
            missing.append(what)
        else:
            total += mass * price
    return total


def _mix_keys(state: PieceState, book: Book) -> tuple[str, ...]:
    """The mix by its name; where only one mix has a price, that one."""
    mix = state.started.salting.mix
    own = price_key("cure_mix", mix.name) if mix is not None else ""
    others = [key for key in book.entries if key.startswith("cure_mix-")]
    return (own, *others) if len(others) == 1 else (own,)


def _energy(context: Context, state: PieceState, book: Book) -> float | None:
    """The chamber's electricity while it hung, shared evenly by the pieces that hung there each moment."""
    if not state.hung or state.chamber is None:
        return 0.0 if not state.hung else None
    a_day = book.energy_a_day(state.chamber)
    if a_day is None:
        return None
    begin, end = _hung(state, context.now)
    others = [
        _hung(one, context.now)
        for one in pieces(context.journal)
        if one.code != state.code and one.hung and one.chamber == state.chamber
    ]
    marks = sorted({begin, end, *(at for span in others for at in span if begin < at < end)})
    energy = 0.0
    for since, until in pairwise(marks):
        count = 1 + sum(1 for first, last in others if first <= since and last >= until)
        energy += a_day * (until - since).total_seconds() / _DAY_S / count
    return energy


def _hung(state: PieceState, now: datetime) -> tuple[datetime, datetime]:
    begin = state.hung[-1].at
    end = state.taken_down[-1].at if state.taken_down else state.ended_at or now
    return begin, max(begin, end)


def _dish(context: Context, lot: LotState, state: DishState, book: Book) -> _Costed:
    """A lot's share by mass of what its batch cost."""
    missing: list[str] = []
    own = lot.made.packs * lot.made.mass.value
    share = own / max(state.packed_kg, own)
    known = 0.0
    priced = 0
    for line in state.choice.lines:
        keys = tuple(
            f"food-{name.lower().replace(' ', '-')}" for name in (line.food or "", line.name) if name
        )
        price = float(line.price_minor) if line.price_minor is not None else book.per_kg(*keys)
        if price is None:
            if line.food != "water":
                missing.append(line.name)
            continue
        priced += 1
        known += line.mass.value * price
    if not priced:
        return _Costed(None, tuple(missing) or ("ingredients",))
    tariff = state.choice.price_minor_per_kwh
    tariff = book.one("electricity") if tariff is None else tariff
    energy = _drying(context, state)
    if tariff is None or energy is None:
        missing.append("electricity")
    time_s, rate = _labour(context, lot, book, missing)
    cost = cost_dish(
        ingredients_minor=known * share,
        energy_j=(energy or 0.0) * share if tariff is not None else 0.0,
        minor_per_kwh=tariff or 0.0,
        pouches=lot.made.packs,
        pouch_minor=_pouch_minor(lot, book, missing),
        absorber_minor=_absorber_minor(lot, book, missing),
        labour_s=time_s,
        labour_minor_per_hour=rate,
    )
    return _Costed(cost, tuple(missing))


def _drying(context: Context, state: DishState) -> float | None:
    """The dryer's energy over its hours, from its power, else from the water it took off."""
    try:
        energy = plan_of(context, state).energy
    except (Refused, NotFound, OutOfRange, NotConverged):
        return None
    return (energy.by_power_j or energy.by_water_j).middle


def _mixed(context: Context, lot: LotState, book: Book, deep: int) -> _Costed:
    """The parts at what their own packs cost, with the new pouch."""
    if deep >= _MOST_DEEP:
        return _Costed(None, ("price",))
    missing: list[str] = []
    known = 0.0
    for part in lot.made.parts:
        try:
            source = lot_of(context.journal, part.code)
        except NotFound:
            return _Costed(None, (part.code,))
        paid = _paid(context, source)
        if paid is not None:
            per_kg = paid / source.made.mass.value
        else:
            found = _cost(context, source, book, deep + 1)
            if found.cost is None:
                return _Costed(None, (source.name,))
            missing += found.missing
            per_kg = found.cost.total_minor / (source.made.packs * source.made.mass.value)
        known += per_kg * part.mass.value * lot.made.packs
    time_s, rate = _labour(context, lot, book, missing)
    cost = cost_dish(
        ingredients_minor=known,
        energy_j=0.0,
        minor_per_kwh=0.0,
        pouches=lot.made.packs,
        pouch_minor=_pouch_minor(lot, book, missing),
        absorber_minor=_absorber_minor(lot, book, missing),
        labour_s=time_s,
        labour_minor_per_hour=rate,
    )
    return _Costed(cost, tuple(dict.fromkeys(missing)))
