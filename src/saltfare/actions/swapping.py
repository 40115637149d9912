"""Swaps: packs of ours for packs of somebody else's, recorded on both sides at once, and what is fair."""

from __future__ import annotations

from datetime import date, datetime

from pydantic import Field

from saltfare.actions.chambers import key_of
from saltfare.actions.codes_given import codes_before, new_codes
from saltfare.actions.context import Context
from saltfare.actions.lot_work import enough, home_made
from saltfare.actions.money import Price
from saltfare.actions.pack_keeping import pack_keeping
from saltfare.actions.pack_worth import pack_worth
from saltfare.actions.piece_work import doubt
from saltfare.actions.shapes import Command, Done, Output, Query, Tracer, done
from saltfare.actions.shelf_shapes import Code, PackMass, Packs, PlaceName, found_lot, not_ahead, told_place
from saltfare.core.errors import Problem, Refused
from saltfare.core.fields import CalledLong, Frozen, MayBeCalled
from saltfare.core.figure import Figure, Note
from saltfare.journal import events_shelf as kinds
from saltfare.journal.codes import parse_code
from saltfare.journal.events import Body
from saltfare.journal.events_lot import STREAM, LotMade, PacksDrawn, Sealed
from saltfare.journal.lot import LotState
from saltfare.journal.lot import lot as lot_of
from saltfare.journal.shelf import SwapState
from saltfare.journal.shelf import swap as swap_of
from saltfare.journal.shelf import swaps as swap_states
from saltfare.models import value

ALONG: tuple[kinds.HandedOver, ...] = (
    "name", "ingredients", "allergens", "made_on", "planning_date", "kept_how", "lot_code",
)  # fmt: skip
"""What goes along with a pack, in the order models.value names it."""


class WentGiven(Frozen):
    """Packs of one of our lots that go. elsewhere: what the other would pay for one such pack elsewhere."""

    code: Code
    packs: Packs
    elsewhere: Price | None = None


class CameGiven(Frozen):
    """Packs that come, each row a lot of its own. elsewhere: what one such pack would cost us elsewhere;
    cost: what one cost the other side, as far as they say. packed_on: left out where they do not know, and
    counted from the day of the swap. product: the key of a bought one, whose label it has.
    """

    name: CalledLong
    packs: Packs
    mass: PackMass
    sealed: Sealed
    place: PlaceName = ""
    packed_on: date | None = None
    printed_on: date | None = None
    elsewhere: Price | None = None
    cost: Price | None = None
    product: str | None = Field(default=None, max_length=60)


class SwapGiven(Command):
    """A swap: with whom, what goes, what comes, what was handed over with ours and received with theirs."""

    partner: MayBeCalled = ""
    went: tuple[WentGiven, ...] = Field(default=(), max_length=12)
    came: tuple[CameGiven, ...] = Field(default=(), max_length=12)
    handed: tuple[kinds.HandedOver, ...] = Field(default=(), max_length=8)
    received: tuple[kinds.HandedOver, ...] = Field(default=(), max_length=8)
    text: str = Field(default="", max_length=2000)


class SwappedDone(Done):
    """The code of the swap, and of the lots that came, in the order given."""

    code: str
    codes: tuple[str, ...]


class SwapsGiven(Query):
    """Every swap, or one by its code."""

    code: Code | None = None


class SideShown(Frozen):
    """Packs of one lot that changed hands. pack_kg: of one; each price of one pack, None where not told."""

    code: str
    name: str
    packs: int
    pack_kg: float
    elsewhere_minor: int | None
    cost_minor: int | None
    home_made: bool


class BandShown(Frozen):
    """What a fair swap of what went lies between, in packs of what came: by what each side cost, and by what
    each would pay elsewhere. came: the packs that really came. least, most: beyond which one side would do
    better not to swap; even: where both spare as much."""

    by_cost: Figure | None
    by_elsewhere: Figure | None
    least: Figure | None
    most: Figure | None
    even: Figure | None
    came: int
    left_frac: tuple[float, float]


class SwapLine(Frozen):
    """A swap. missing: what would have to be told for the two numbers: went_cost, went_elsewhere,
    came_cost, came_elsewhere. not_handed: what should go along with ours and was not handed over."""

    code: str
    version: int
    event_id: str
    at: datetime
    partner: str
    went: tuple[SideShown, ...]
    came: tuple[SideShown, ...]
    handed: tuple[kinds.HandedOver, ...]
    received: tuple[kinds.HandedOver, ...]
    not_handed: tuple[kinds.HandedOver, ...]
    currency: str
    text: str
    band: BandShown | None
    missing: tuple[str, ...]
    cautions: tuple[Note, ...]


class SwapsShown(Output):
    """Swaps, the latest first."""

    swaps: tuple[SwapLine, ...]


def swap_packs(context: Context, given: SwapGiven) -> SwappedDone:
    """Record a swap, both sides at once: our packs leave, theirs come, or nothing happens."""
    if not given.partner.strip():
        raise Refused(Problem("swap_with_nobody", "partner"))
    if not given.went or not given.came:
        raise Refused(Problem("swap_of_nothing", "came" if given.went else "went"))
    states = [found_lot(context, row.code) for row in given.went]
    if not context.journal.answered(given.request_id or ""):
        _may_go(given, states)
    for n, row in enumerate(given.came):
        told_place(row.place, f"came.{n}.place")
        if row.packed_on is not None:
            not_ahead(context, row.packed_on, f"came.{n}.packed_on")
    code = (codes_before(context, given, kinds.Swapped) or new_codes(context, 1))[0]
    codes = codes_before(context, given, LotMade) or _others(context, len(given.came), code)
    partner = given.partner.strip()
    bodies: list[tuple[str, Body]] = [(kinds.SWAPS + code, _body(context, given, states, codes))]
    for state, out in zip(states, given.went, strict=True):
        drawn = PacksDrawn(packs=out.packs, why="swapped", receiver=partner, swap=code)
        bodies.append((STREAM + state.code, drawn))
    on = (given.at or context.now).astimezone(context.zone).date()
    for lot_code, row in zip(codes, given.came, strict=True):
        bodies.append((STREAM + lot_code, _made(context, row, partner, code, on)))
    seen = {STREAM + state.code: state.version for state in states}
    return SwappedDone(**dict(done(context, given, bodies, seen=seen)), code=code, codes=codes)


def swaps(context: Context, given: SwapsGiven) -> SwapsShown:
    """The swaps: what went, what came, and the two numbers between which a fair one lies."""
    tracer = Tracer()
    if given.code is not None:
        states: tuple[SwapState, ...] = (swap_of(context.journal, parse_code(given.code)),)
    else:
        states = tuple(reversed(swap_states(context.journal)))
    return SwapsShown(swaps=tuple(_shown(context, one, tracer) for one in states), traces=tracer.traces)


def _may_go(given: SwapGiven, states: list[LotState]) -> None:
    for n, (state, row) in enumerate(zip(states, given.went, strict=True)):
        if state.code in [other.code for other in states[:n]]:
            raise Refused(Problem("swapped_twice", f"went.{n}.code", state.code))
        enough(state, row.packs, f"went.{n}.packs")
        if row.packs > state.free:
            held = state.packs_left - state.free
            field = f"went.{n}.packs"
            doubt(given, "held_by_trip", str(row.packs), field=field, held=held, free=state.free)


def _others(context: Context, count: int, code: str) -> tuple[str, ...]:
    """New codes beside the swap's own."""
    found = new_codes(context, count + 1)
    return tuple(one for one in found if one != code)[:count]


def _body(
    context: Context, given: SwapGiven, states: list[LotState], codes: tuple[str, ...]
) -> kinds.Swapped:
    went = tuple(
        kinds.SwapSide(
            lot=state.code,
            packs=row.packs,
            elsewhere_minor=row.elsewhere,
            cost_minor=pack_worth(context, state).cost_minor,
        )
        for state, row in zip(states, given.went, strict=True)
    )
    came = tuple(
        kinds.SwapSide(lot=code, packs=row.packs, elsewhere_minor=row.elsewhere, cost_minor=row.cost)
        for code, row in zip(codes, given.came, strict=True)
    )
    return kinds.Swapped(
        partner=given.partner.strip(),
        went=went,
        came=came,
        handed=given.handed,
        received=given.received,
        currency=context.settings.currency,
        text=given.text.strip(),
    )


def _made(context: Context, row: CameGiven, partner: str, code: str, on: date) -> LotMade:
    return LotMade(
        name=row.name.strip(),
        packs=row.packs,
        mass=row.mass,
        sealed=row.sealed,
        place=row.place.strip(),
        packed_on=row.packed_on or on,
        printed_on=row.printed_on,
        bought=key_of(row.product) if row.product else None,
        maker=partner,
        swap=code,
    )


def _shown(context: Context, state: SwapState, tracer: Tracer) -> SwapLine:
    told = state.swapped
    went = [_side(context, one, tracer) for one in told.went]
    came = [_side(context, one, tracer) for one in told.came]
    missing = tuple(
        f"{name}_{price}"
        for name, sides in (("went", went), ("came", came))
        for price in ("cost", "elsewhere")
        if any(getattr(side, f"{price}_minor") is None for side in sides)
    )
    ours = [side for side in went if side.home_made]
    cautions = []
    if ours:
        cautions += [Note("giving_cured_meat_may_be_regulated"), Note("labelling_law_first")]
    not_handed = tuple(name for name in ALONG if name not in told.handed) if ours else ()
    band, notes = _band(context, state, went, came, tracer)
    return SwapLine(
        code=state.code,
        version=state.version,
        event_id=state.swapped_id,
        at=state.at,
        partner=told.partner,
        went=tuple(went),
        came=tuple(came),
        handed=told.handed,
        received=told.received,
        not_handed=not_handed,
        currency=told.currency,
        text=told.text,
        band=band,
        missing=missing,
        cautions=tuple({note.code: note for note in (*cautions, *notes)}.values()),
    )


def _side(context: Context, side: kinds.SwapSide, tracer: Tracer) -> SideShown:
    lot = lot_of(context.journal, side.lot)
    return SideShown(
        code=lot.code,
        name=lot.name,
        packs=side.packs,
        pack_kg=lot.made.mass.value,
        elsewhere_minor=side.elsewhere_minor,
        cost_minor=side.cost_minor,
        home_made=home_made(lot),
    )


def _band(
    context: Context, state: SwapState, went: list[SideShown], came: list[SideShown], tracer: Tracer
) -> tuple[BandShown | None, tuple[Note, ...]]:
    """The two numbers, in packs of what came for all that went; what is not known stays open."""
    packs = sum(side.packs for side in came)
    ours = _prices(went), _left(context, state, went)
    theirs = _prices(came), _left(context, state, came)
    (our_cost, our_else), our_left = ours
    (their_cost, their_else), their_left = theirs
    if not (our_cost and our_else and their_cost and their_else):
        return None, ()
    if 0.0 in (our_left, their_left):
        return None, (Note("swap_past_its_date"),)
    mine = value.Side(our_cost, our_else, our_left, any(side.home_made for side in went))
    other = value.Side(their_cost / packs, their_else / packs, their_left, False)
    found = value.swap(given_units=1.0, mine=mine, theirs=other)
    inputs: dict[str, str | float | int | None] = {
        "packs": 1,
        "price_paid": our_cost,
        "price_elsewhere": our_else,
        "other_cost": their_cost / packs,
        "other_elsewhere": their_else / packs,
        "left_share": our_left,
        "other_left_share": their_left,
    }
    trace = tracer.trace(value.swap, inputs)

    def packs_of(number: float) -> Figure:
        return tracer.figure(number, "number", trace)

    band = BandShown(
        by_cost=packs_of(found.by_cost),
        by_elsewhere=packs_of(found.by_elsewhere),
        least=packs_of(found.least),
        most=packs_of(found.most),
        even=packs_of(found.equal_gain),
        came=packs,
        left_frac=(our_left, their_left),
    )
    return band, found.notes


def _prices(sides: list[SideShown]) -> tuple[float | None, float | None]:
    """What all packs of one side cost, and would cost elsewhere; None where one of them is not told."""

    def summed(name: str) -> float | None:
        told = [getattr(side, name) for side in sides]
        known = [minor * side.packs for minor, side in zip(told, sides, strict=True) if minor is not None]
        return float(sum(known)) if len(known) == len(sides) else None

    return summed("cost_minor"), summed("elsewhere_minor")


def _left(context: Context, state: SwapState, sides: list[SideShown]) -> float:
    """Keeping time left at the swap over the whole, of the side's lot nearest to its planning date; 1 where
    no planning date is known."""
    shares = [1.0]
    on = state.at.astimezone(context.zone).date()
    for side in sides:
        lot = lot_of(context.journal, side.code)
        until = pack_keeping(context, lot).planning_date
        whole = (until - lot.made.packed_on).days if until else 0
        if until and whole > 0:
            shares.append(min(1.0, max(0.0, (until - on).days / whole)))
    return min(shares)
