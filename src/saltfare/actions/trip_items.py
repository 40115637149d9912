"""What may enter a trip's menu: each item with where it comes from, how it is treated and why it may not.

Nothing enters without a handling. What its criteria say does_not_meet stays out unless a handling mends just
that: cold kept until a day mends carrying, the pot mends what is not to be eaten uncooked. What cannot be
told enters only by the person's own recorded choice.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil, floor
from typing import Literal

from saltfare.actions.context import Context
from saltfare.actions.judged_card import asked, criteria_of, facts_with_cooling
from saltfare.actions.judged_facts import gathered
from saltfare.actions.judged_items import Item as Judged
from saltfare.actions.judged_items import item as judged_item
from saltfare.actions.shelf_lots import ShelfLot, shelf_lots
from saltfare.actions.trail_exposure import CarriedShown, DayGiven, TrailGiven, trail_exposure
from saltfare.actions.trip_content import Content, food_contents, lot_contents, marks, refused_marks
from saltfare.actions.trip_days import air_of, is_vulnerable
from saltfare.actions.trip_fuel import Boil, boil_of, serving_fuel
from saltfare.actions.trip_menu_shapes import ItemShown, ItemsShown
from saltfare.actions.trip_shapes import OneTrip
from saltfare.actions.trips import found_trip
from saltfare.core.errors import NotFound
from saltfare.core.figure import Answer, Note, joint_answer
from saltfare.journal import events_lot as lots
from saltfare.journal import events_piece as pieces
from saltfare.journal import events_trip as kinds
from saltfare.journal.lot import LotState
from saltfare.journal.lot import lot as lot_of
from saltfare.journal.piece import piece as piece_of
from saltfare.journal.shelf import bought as bought_of
from saltfare.journal.trip import TripState
from saltfare.models.criteria import Question
from saltfare.plans.menu_admit import kept_from
from saltfare.plans.menu_shapes import Handling, Item, Person

Origin = Literal["lot", "dish", "piece", "food"]
FOOD = "food/"
_FRESH = 10  # the age of what is to be eaten last


@dataclass(frozen=True, slots=True)
class Offer:
    """An item with its content and marks, before the person's own choices. packs: free for this trip."""

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
    pot_ml: int = 0
    staple: bool = False
    as_sold: bool = False
    base: str = ""


@dataclass(frozen=True, slots=True)
class Offered:
    """Everything of a trip, aligned: as shown and, where it may be planned with, as the planner takes it."""

    shown: tuple[ItemShown, ...]
    planned: Mapping[str, Item]
    lot_versions: Mapping[str, int]


def name_of_item(context: Context, item: str) -> str:
    """What an item is called; its id where it is gone."""
    kind, _, key = item.partition("/")
    try:
        if kind + "/" == lots.STREAM:
            return lot_of(context.journal, key).name
        if kind + "/" == pieces.STREAM:
            return piece_of(context.journal, key).name
        if kind + "/" == FOOD:
            return context.library.row("pantry", key).text("label")
    except NotFound:
        pass
    return item


def trip_items(context: Context, given: OneTrip) -> ItemsShown:
    """Everything that could be taken on a trip: how each is treated, and why some may not."""
    state = found_trip(context, given.code)
    found = offered(context, state)
    shown = tuple(sorted(found.shown, key=lambda one: (not one.enters, one.name.casefold(), one.item)))
    return ItemsShown(
        code=state.code,
        version=state.version,
        items=shown,
        order=tuple(one.item for one in shown),
        notes=_notes(shown),
    )


def _notes(shown: tuple[ItemShown, ...]) -> tuple[Note, ...]:
    open_ones = sum(one.why in ("no_handling", "cannot_tell") for one in shown)
    return (Note("trip_items_open", {"count": open_ones}),) if open_ones else ()


def offered(context: Context, state: TripState) -> Offered:
    """What could be taken, with the person's choices applied."""
    found = shelf_lots(context)
    here = [one for one in found if _free(one.lot, state.code) > 0]
    trail = _trail(context, state, [one.code for one in here if one.lot.origin != "bought"])
    offers = [_lot_offer(context, state, one, trail.get(one.code)) for one in here]
    ranks = [(_FRESH - 1) * at // max(len(here) - 1, 1) for at in range(len(here))]
    offers += [_food_offer(context, state, staple) for staple in state.staples]
    ranks += [_FRESH] * len(state.staples)
    boil = boil_of(context, state)
    shown, planned = [], {}
    words = tuple(word for one in state.party for word in one.eats_no.ingredients)
    people = people_of(context, state)
    for offer, rank in zip(offers, ranks, strict=True):
        made, item = _made(context, state, offer, rank, boil, words, people)
        shown.append(made)
        if item is not None and made.enters:
            planned[offer.item] = item
    return Offered(tuple(shown), planned, {one.code: one.lot.version for one in found})


def people_of(context: Context, state: TripState) -> tuple[Person, ...]:
    """The party with what each leaves out; the needs are filled in by who plans."""
    return tuple(
        Person(
            id=one.name,
            need_kcal=(),
            protein_g=0,
            excludes=refused_marks(context.library, one.eats_no),
            vulnerable=is_vulnerable(context.library, one)[0],
        )
        for one in state.party
    )


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
    if lot.made.piece or lot.made.parts:
        uncooked, raw, settles = _uncooked(context, judged_item(context, lot.code))
    pouch = lot.made.pouch
    tare = round(1000.0 * pouch.tare.value) if pouch and pouch.tare else 0
    room = 1e6 * pouch.volume.value if pouch and pouch.volume else content.volume_ml
    per_g = context.library.row("menu_rules", "room_per_g").number("value")
    net = lot.made.mass.value * 1000.0
    return Offer(
        item=lots.STREAM + lot.code,
        key=lot.code,
        origin="lot",
        name=lot.name,
        content=content,
        packs=_free(lot, state.code),
        pack_g=max(ceil(net) + tare, 1),
        tare_g=tare,
        pack_ml=ceil(room if room else per_g * net),
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
        notes=(Note("trip_taken_as_sold"),) if lot.origin == "bought" else _clock_notes(carried),
        cautions=carried.cautions if carried else (),
        as_sold=lot.origin == "bought",
    )


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


@dataclass(frozen=True, slots=True)
class _Choice:
    """A handling with what it makes of the answer."""

    handling: Handling | None
    answer: Answer
    decided: bool
    why_not: str


def _choice(offer: Offer, told: kinds.HandlingChosen | None) -> _Choice:
    """The handling in force, its answer, and what keeps the item off; "" where nothing does."""
    decided = told.decided if told else False
    handling = Handling(told.handling) if told and told.handling else None
    plain = joint_answer([offer.carrying, *([offer.uncooked] if offer.uncooked is not None else [])])
    if handling is None and (plain is Answer.MEETS or offer.as_sold):
        handling = Handling.AS_IT_IS
    if handling is None:
        return _Choice(None, plain, decided, "no_handling")
    if handling is Handling.NOT_ON_TRIP:
        return _Choice(handling, plain, decided, "not_on_trip")
    if offer.as_sold:
        return _Choice(handling, Answer.CANNOT_TELL, True, "")
    answer = plain
    if handling is Handling.COOKED_FIRST:
        answer = offer.carrying  # the pot mends what is raw, not what grew on the way
    elif handling is Handling.KEPT_COLD:
        answer = joint_answer([Answer.CANNOT_TELL, *([offer.uncooked] if offer.uncooked is not None else [])])
    if answer is Answer.DOES_NOT_MEET:
        return _Choice(handling, answer, decided, "does_not_meet")
    if answer is Answer.CANNOT_TELL and not decided:
        return _Choice(handling, answer, decided, "cannot_tell")
    return _Choice(handling, answer, decided, "")


def _made(
    context: Context,
    state: TripState,
    offer: Offer,
    rank: int,
    boil: Boil | None,
    words: tuple[str, ...],
    people: tuple[Person, ...],
) -> tuple[ItemShown, Item | None]:
    entry = state.handlings.get(offer.item)
    told = entry.body if entry else None
    chosen, content = _choice(offer, told), offer.content
    role = (told.role if told else None) or offer.role
    servings = (told.servings if told else None) or _servings(context, offer)
    pot_ml = round(1e6 * told.pot.value) if told and told.pot else offer.pot_ml
    if chosen.handling is Handling.COOKED_FIRST and not pot_ml:
        pot_ml = ceil((content.water_ml or 0.0) + 2.0 * content.mass_g)
    hot = offer.hot or chosen.handling is Handling.COOKED_FIRST
    water_ml = ceil((content.water_ml or 0.0) / servings)
    fuel_mg = serving_fuel(boil, water_ml, content.minutes if pot_ml else None, servings) if hot else 0
    keep = state.limits.keep_days if state.limits else 0
    planning = None
    if offer.planning_date is not None:
        planning = (offer.planning_date - state.departure).days - keep
    why = chosen.why_not
    if content.lacking and not why:
        why = "figures"
    item = Item(
        id=offer.item,
        role=role,
        sittings=frozenset((told.sittings if told and told.sittings else None) or offer.sittings),
        servings=servings,
        kcal=floor((content.kcal or 0.0) / servings),
        protein_g=floor((content.protein_g or 0.0) / servings),
        pack_g=offer.pack_g,
        tare_g=min(offer.tare_g, offer.pack_g - 1),
        pack_ml=offer.pack_ml,
        handling=chosen.handling,
        answer=chosen.answer,
        base=offer.base,
        sodium_mg=ceil((content.sodium_mg or 0.0) / servings),
        water_ml=water_ml,
        fuel_mg=fuel_mg,
        pot_ml=pot_ml,
        cost_minor=offer.cost_minor,
        stock=offer.packs,
        hot=hot,
        keeps_open=offer.keeps_open,
        staple=offer.staple if told is None or told.staple is None else told.staple,
        last_day=offer.last_day if chosen.handling is not Handling.KEPT_COLD else None,
        planning_day=planning,
        contains=marks(context.library, content, words),
        uncooked_cured=offer.uncooked_cured,
        chosen=chosen.decided,
        cold_until_day=told.cold_until if told else None,
        age_rank=rank,
    )
    shown = ItemShown(
        item=offer.item,
        key=offer.key,
        origin=offer.origin,
        name=offer.name,
        role=role,
        sittings=tuple(s for s in ("breakfast", "move", "supper") if s in item.sittings),
        servings=servings,
        stock=offer.packs,
        pack_g=item.pack_g,
        tare_g=item.tare_g,
        pack_ml=item.pack_ml,
        kcal=item.kcal,
        protein_g=item.protein_g,
        sodium_mg=item.sodium_mg,
        water_ml=water_ml,
        minutes=None if content.minutes is None else ceil(content.minutes),
        fuel_mg=fuel_mg,
        pot_ml=pot_ml,
        hot=hot,
        cost_minor=item.cost_minor,
        handling=chosen.handling.value if chosen.handling else None,
        chosen=bool(told and told.handling),
        decided=chosen.decided and not offer.as_sold,
        why_decided=told.why if told and told.decided else "",
        cold_until=item.cold_until_day,
        answer=chosen.answer,
        enters=not why,
        why=why,
        uncooked_cured=offer.uncooked_cured,
        last_day=item.last_day,
        last_on=None if item.last_day is None else state.departure + timedelta(days=item.last_day),
        planning_date=offer.planning_date,
        ready_on=offer.ready_on,
        allergens=tuple(sorted(content.present)),
        allergens_unsure=tuple(sorted(content.unsure)),
        not_for={one.id: reason for one in people if (reason := kept_from(item, one))},
        lacking=content.lacking,
        settles=offer.settles,
        notes=offer.notes,
        cautions=offer.cautions,
    )
    return shown, item


def _servings(context: Context, offer: Offer) -> int:
    """Servings of a pack: told by what is in it, else by the usual portion of meat, else one."""
    if offer.content.servings:
        return offer.content.servings
    if offer.role == "extra":
        portion = context.library.row("menu_rules", "meat_portion").number("value")
        return max(round(offer.content.mass_g / portion), 1)
    return 1
