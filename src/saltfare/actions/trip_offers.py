"""Where a trip's items come from: the shelf, plain foods as sold, and what hangs or dries and will be
packed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from math import ceil, floor
from typing import Literal

from saltfare.actions.context import Context
from saltfare.actions.judged_card import asked, criteria_of, facts_with_cooling
from saltfare.actions.judged_facts import gathered
from saltfare.actions.judged_items import Item as Judged
from saltfare.actions.judged_items import item as judged_item
from saltfare.actions.shelf_lots import ShelfLot, shelf_lots
from saltfare.actions.trail_exposure import CarriedShown, DayGiven, TrailGiven, trail_exposure
from saltfare.actions.trip_beside import (
    batch_of,
    beside_g,
    beside_of_lot,
    foods_beside,
    held_beside,
    joined,
    rest_of,
)
from saltfare.actions.trip_content import (
    Content,
    batch_contents,
    food_contents,
    lot_contents,
    piece_contents,
)
from saltfare.actions.trip_days import air_of
from saltfare.core.errors import NotFound, Problem, Refused
from saltfare.core.figure import Answer, Note
from saltfare.journal import events_dish as dishes
from saltfare.journal import events_lot as lots
from saltfare.journal import events_piece as pieces
from saltfare.journal import events_trip as kinds
from saltfare.journal.codes import parse_code
from saltfare.journal.dish import DishStage, DishState
from saltfare.journal.dish import dish as dish_of
from saltfare.journal.dish import dishes as dish_states
from saltfare.journal.lot import LotState
from saltfare.journal.lot import lot as lot_of
from saltfare.journal.piece import PieceState, State
from saltfare.journal.piece import piece as piece_of
from saltfare.journal.piece import pieces as piece_states
from saltfare.journal.shelf import bought as bought_of
from saltfare.journal.trip import TripState
from saltfare.models.criteria import Question

Origin = Literal["lot", "dish", "piece", "food"]
FOOD = "food/"
_HANGS = (State.HANGING, State.RESTING, State.AT_ITS_MASS)


@dataclass(frozen=True, slots=True)
class Offer:
    """An item with its content and marks, before the person's own choices. packs: free for this trip. late:
    likely not ready by the departure. beside: own meat that goes with each pack; beside_lost: names of what
    should and is in no lot. beside_dish: packs of it go beside a dish."""

    item: str
    key: str
    origin: Origin
    name: str
    content: Content
    packs: int | None
    pack_g: int
    tare_g: int
    pack_ml: int
    role: kinds.RoleName
    sittings: tuple[kinds.SittingName, ...]
    hot: bool
    keeps_open: bool
    cost_minor: int
    carrying: Answer
    uncooked: Answer | None
    uncooked_cured: bool
    last_day: int | None
    planning_date: date | None
    ready_on: date | None
    settles: tuple[Note, ...]
    notes: tuple[Note, ...]
    cautions: tuple[Note, ...]
    late: bool = False
    pot_ml: int = 0
    staple: bool = False
    as_sold: bool = False
    base: str = ""
    beside: tuple[kinds.BesideHeld, ...] = ()
    beside_lost: tuple[str, ...] = ()
    beside_dish: bool = False


def name_of_item(context: Context, item: str) -> str:
    """What an item is called; its id where it is gone."""
    kind, _, key = item.partition("/")
    try:
        if kind + "/" == lots.STREAM:
            return lot_of(context.journal, key).name
        if kind + "/" == pieces.STREAM:
            return piece_of(context.journal, key).name
        if kind + "/" == dishes.STREAM:
            return dish_of(context.journal, key).name
        if kind + "/" == FOOD:
            return context.library.row("pantry", key).text("label")
    except NotFound:
        pass
    return item


def _free(lot: LotState, code: str) -> int:
    """Packs no other trip holds."""
    return max(lot.packs_left - sum(n for trip, n in lot.reserved.items() if trip != code), 0)


def _trail(context: Context, state: TripState, codes: list[str]) -> dict[str, CarriedShown]:
    if not codes or not state.days:
        return {}
    days = []
    for number in range(len(state.days)):
        night, warm = air_of(state, number)
        days.append(DayGiven(least=night, most=warm))
    shown = trail_exposure(
        context, TrailGiven(departure=state.departure, days=tuple(days), codes=tuple(codes[:200]))
    )
    return {one.code: one for one in shown.carried}


def _lot_offer(context: Context, state: TripState, shelf: ShelfLot, carried: CarriedShown | None) -> Offer:
    lot = shelf.lot
    content = lot_contents(context, lot)
    what = _bought_as(context, lot)
    meat = bool(lot.made.piece) or what == "cured_meat"
    hot = content.water_ml is not None and content.water_ml > 0
    main = not meat and (hot or lot.made.dish is not None or what == "meal")
    # whether bought cured meat was ever heated stands on no label that is typed here
    uncooked, raw, settles = None, what == "cured_meat", tuple[Note, ...]()
    if lot.made.piece or _has_meat(context, lot):
        uncooked, raw, settles = _uncooked(context, judged_item(context, lot.code))
    pouch = lot.made.pouch
    tare = round(1000.0 * pouch.tare.value) if pouch and pouch.tare else 0
    room = 1e6 * pouch.volume.value if pouch and pouch.volume else content.volume_ml
    per_g = context.library.row("menu_rules", "room_per_g").number("value")
    batch = batch_of(context, lot)
    held, lost = beside_of_lot(context, lot)
    more_g = beside_g(context, batch) if batch is not None else 0.0
    net = lot.made.mass.value * 1000.0 + more_g
    return Offer(
        item=lots.STREAM + lot.code,
        key=lot.code,
        origin="lot",
        name=lot.name,
        content=content,
        packs=_free(lot, state.code),
        pack_g=max(ceil(net) + tare, 1),
        tare_g=tare,
        pack_ml=ceil(room + per_g * more_g if room else per_g * net),
        role="main" if main else "extra",
        sittings=("breakfast", "supper")
        if main and hot
        else ("breakfast", "move", "supper")
        if main
        else ("move",),
        hot=hot,
        keeps_open=not main,
        cost_minor=lot.made.price_minor or 0,
        carrying=carried.answer if carried else Answer.CANNOT_TELL,
        uncooked=uncooked,
        uncooked_cured=raw,
        last_day=_last_day(carried),
        planning_date=shelf.planning_date,
        ready_on=None,
        settles=(*(carried.settles if carried else ()), *settles),
        notes=(
            *((Note("trip_taken_as_sold"),) if lot.origin == "bought" else _clock_notes(carried)),
            *(foods_beside(context, batch) if batch is not None else ()),
        ),
        cautions=carried.cautions if carried else (),
        as_sold=lot.origin == "bought",
        beside=held,
        beside_lost=lost,
    )


def _has_meat(context: Context, lot: LotState) -> bool:
    """Whether a part of a mixed pack came from a piece, or is bought cured meat."""
    for part in lot.made.parts:
        try:
            other = lot_of(context.journal, part.code)
        except NotFound:
            continue  # a batch, which is cooked through before it dries
        if other.made.piece or _bought_as(context, other) == "cured_meat" or _has_meat(context, other):
            return True
    return False


def _bought_as(context: Context, lot: LotState) -> str:
    """What kind of product a bought lot is; "" for any other."""
    if lot.made.bought is None:
        return ""
    try:
        described = bought_of(context.journal, lot.made.bought).described
    except NotFound:
        return "meal"
    return described.what if described is not None else "meal"


def _uncooked(context: Context, found: Judged) -> tuple[Answer, bool, tuple[Note, ...]]:
    """Whether cured meat may be eaten uncooked, and whether it was ever heated to a criterion."""
    criteria = criteria_of(context)
    facts = facts_with_cooling(gathered(context, found), criteria)
    eaten = asked(found, Question.EATEN_UNCOOKED, facts, criteria, None, None)
    heat = asked(found, Question.HEAT, facts, criteria, None, None)
    return eaten.answer, heat.answer is not Answer.MEETS, eaten.settles


def _last_day(carried: CarriedShown | None) -> int | None:
    """The last whole day before every clock ran out, for what was measured to need one; -1 for none.

    A clock says nothing of what is dry enough to last, nor of what nobody measured and the person takes on
    their own decision: it binds what failed a lasting criterion.
    """
    if carried is None or not carried.failing or carried.lasting or not carried.clocks:
        return None
    if any(clock.day is None for clock in carried.clocks):
        return None
    return max(clock.day or 1 for clock in carried.clocks) - 2


def _clock_notes(carried: CarriedShown | None) -> tuple[Note, ...]:
    if carried is None or carried.lasting:
        return ()
    return tuple(
        Note("trip_clock_runs_out", {"criterion": clock.criterion, "day": clock.day})
        for clock in carried.clocks
        if clock.day is not None and carried.answer is not Answer.MEETS
    )


def _food_offer(context: Context, state: TripState, staple: kinds.StapleWanted) -> Offer:
    content = food_contents(context, staple)
    net = 1000.0 * staple.pack.value
    tare = round(1000.0 * staple.tare.value) if staple.tare else 0
    per_g = context.library.row("menu_rules", "room_per_g").number("value")
    room = 1e6 * staple.volume.value if staple.volume else per_g * net
    return Offer(
        item=FOOD + staple.food,
        key=staple.food,
        origin="food",
        name=content.ingredients[0],
        content=content,
        packs=staple.packs,
        pack_g=max(ceil(net) + tare, 1),
        tare_g=tare,
        pack_ml=ceil(room),
        role=staple.role,
        sittings=staple.sittings,
        hot=staple.hot,
        keeps_open=True,
        cost_minor=staple.price_minor or 0,
        carrying=Answer.CANNOT_TELL,
        uncooked=None,
        uncooked_cured=False,
        last_day=None,
        planning_date=None,
        ready_on=None,
        settles=(),
        notes=(Note("trip_taken_as_sold"),),
        cautions=(),
        staple=True,
        as_sold=True,
    )


def item_of(context: Context, text: str, field: str = "item") -> str:
    """The item of what was typed: its id, or the code of a lot, a batch or a piece. Raises Refused."""
    if "/" in text:
        return text
    try:
        code = parse_code(text)
    except Refused:
        raise Refused(Problem("trip_no_such_item", field, text[:80])) from None
    streams = set(context.journal.streams())
    for prefix in (lots.STREAM, dishes.STREAM, pieces.STREAM):
        if prefix + code in streams:
            return prefix + code
    raise Refused(Problem("trip_no_such_item", field, text[:80]))


def offers(context: Context, state: TripState) -> tuple[tuple[tuple[Offer, int], ...], dict[str, int]]:
    """Everything there is, each with its age for the eater (0 to be eaten first), and the versions of the
    lots."""
    found = shelf_lots(context)
    here = [one for one in found if _free(one.lot, state.code) > 0]
    coming = [one for one in piece_states(context.journal) if one.state in _HANGS and one.ended is None]
    coming = [one for one in coming if one.target_now_kg]
    batches = [
        one
        for one in dish_states(context.journal)
        if one.ended is None and one.state not in (DishStage.PACKED,)
    ]
    judged = [one.code for one in here if one.lot.origin != "bought"] + [one.code for one in coming]
    trail = _trail(context, state, judged)
    fresh = 10
    alone = [_lot_offer(context, state, one, trail.get(one.code)) for one in here]
    planned = [made for one in batches if (made := _batch_offer(context, state, one)) is not None]
    meats = {one.key: one for one in alone if not one.beside}
    left = {code: one.packs or 0 for code, one in meats.items()}

    def whole(one: Offer) -> Offer:
        return joined(one, meats, left) if one.beside or one.beside_lost else one

    # packed dishes come first, what is to be eaten first before the others; batches take what is left then
    with_meat = [whole(one) for one in alone]
    planned = [whole(one) for one in planned]
    out = [
        (rest_of(one, left.get(one.key, one.packs or 0)), (fresh - 1) * at // max(len(here) - 1, 1))
        for at, one in enumerate(with_meat)
    ]
    out += [(_piece_offer(context, state, one, trail.get(one.code)), fresh) for one in coming]
    out += [(one, fresh) for one in planned]
    out += [(_food_offer(context, state, staple), fresh) for staple in state.staples]
    return tuple(out), {one.code: one.lot.version for one in found}


def _piece_offer(
    context: Context, state: TripState, piece: PieceState, carried: CarriedShown | None
) -> Offer:
    """A piece that hangs, in packs of the usual size at the mass it is aimed at, on the day its last
    forecast puts the late end of its band."""
    library, target = context.library, piece.target_now_kg or 0.0
    pack_g = library.row("menu_rules", "piece_pack").number("value")
    packs = floor(1000.0 * target / pack_g)
    whole = piece_contents(context, piece, target)
    share = pack_g / (1000.0 * target) if target else 0.0
    late = piece.forecasts[-1].body.ready_late if piece.forecasts else None
    ready = late.astimezone(context.zone).date() if late else None
    if piece.state is State.AT_ITS_MASS:
        ready = context.today
    uncooked, raw, settles = _uncooked(context, judged_item(context, piece.code))
    per_g = library.row("menu_rules", "room_per_g").number("value")
    return Offer(
        item=pieces.STREAM + piece.code,
        key=piece.code,
        origin="piece",
        name=piece.name,
        content=whole.scaled(share),
        packs=packs,
        pack_g=round(pack_g),
        tare_g=0,
        pack_ml=ceil(per_g * pack_g),
        role="extra",
        sittings=("move",),
        hot=False,
        keeps_open=True,
        cost_minor=0,
        carrying=carried.answer if carried else Answer.CANNOT_TELL,
        uncooked=uncooked,
        uncooked_cured=raw,
        last_day=_last_day(carried),
        planning_date=None,
        ready_on=ready,
        settles=(*(carried.settles if carried else ()), *settles),
        notes=(Note("trip_not_packed"), *_clock_notes(carried)),
        cautions=carried.cautions if carried else (),
        late=ready is None or ready >= state.departure,
    )


def _batch_offer(context: Context, state: TripState, batch: DishState) -> Offer | None:
    """A batch that is not packed yet, as it is planned; None where its plan does not hold."""
    try:
        content, packs = batch_contents(context, batch)
    except Refused:
        return None
    per_g = context.library.row("menu_rules", "room_per_g").number("value")
    hot = content.water_ml is not None and content.water_ml > 0
    held, lost = held_beside(context, batch)
    return Offer(
        item=dishes.STREAM + batch.code,
        key=batch.code,
        origin="dish",
        name=batch.name,
        content=content,
        packs=packs,
        pack_g=max(ceil(content.mass_g), 1),
        tare_g=0,
        pack_ml=ceil(content.volume_ml or per_g * content.mass_g),
        role="main",
        sittings=("breakfast", "supper") if hot else ("breakfast", "move", "supper"),
        hot=hot,
        keeps_open=False,
        cost_minor=0,
        carrying=Answer.CANNOT_TELL,
        uncooked=None,
        uncooked_cured=False,
        last_day=None,
        planning_date=None,
        ready_on=None,
        settles=(),
        notes=(Note("trip_not_packed"), *foods_beside(context, batch)),
        cautions=(),
        base=batch.name,
        beside=held,
        beside_lost=lost,
    )
