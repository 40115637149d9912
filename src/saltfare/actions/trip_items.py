"""What may enter a trip's menu: each item with how it is treated and why it may not.

Nothing enters without a handling. What its criteria say does_not_meet stays out unless a handling mends just
that: cold kept until a day mends carrying, the pot mends what is not to be eaten uncooked. What cannot be
told enters only by the person's own recorded choice.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from math import ceil, floor

from saltfare.actions.context import Context
from saltfare.actions.trip_content import marks, refused_marks
from saltfare.actions.trip_days import is_vulnerable
from saltfare.actions.trip_fuel import Boil, boil_of, serving_fuel
from saltfare.actions.trip_menu_shapes import ItemShown, ItemsShown
from saltfare.actions.trip_offers import Offer, offers
from saltfare.actions.trip_shapes import OneTrip
from saltfare.actions.trips import found_trip
from saltfare.core.figure import Answer, Note, joint_answer
from saltfare.journal import events_trip as kinds
from saltfare.journal.trip import TripState
from saltfare.plans.menu_admit import kept_from
from saltfare.plans.menu_shapes import Handling, Item, Person


@dataclass(frozen=True, slots=True)
class Offered:
    """Everything of a trip, aligned: as shown and, where it may be planned with, as the planner takes it."""

    shown: tuple[ItemShown, ...]
    planned: Mapping[str, Item]
    lot_versions: Mapping[str, int]


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


_KEPT: OrderedDict[tuple[object, ...], Offered] = OrderedDict()
_MOST_KEPT = 8


def offered(context: Context, state: TripState) -> Offered:
    """What could be taken, with the person's choices applied; worked out once for a journal as it stands and
    a day, because a page asks for it several times."""
    key = (context.journal.head_hash(), state.code, context.today, context.library.version, context.settings)
    known = _KEPT.get(key)
    if known is None:
        known = _KEPT[key] = _offered(context, state)
        while len(_KEPT) > _MOST_KEPT:
            _KEPT.popitem(last=False)
    return known


def _offered(context: Context, state: TripState) -> Offered:
    found, versions = offers(context, state)
    boil = boil_of(context, state)
    shown, planned = [], dict[str, Item]()
    words = tuple(word for one in state.party for word in one.eats_no.ingredients)
    people = people_of(context, state)
    for offer, rank in found:
        made, item = _made(context, state, offer, rank, boil, words, people)
        shown.append(made)
        if item is not None and made.enters:
            planned[offer.item] = item
    return Offered(tuple(shown), planned, versions)


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
    if offer.packs == 0 and (offer.beside or offer.beside_lost or offer.beside_dish):
        why = "beside_dish" if offer.beside_dish else "no_meat"  # whatever else is said, there is none
    if offer.late and not why:
        why = "not_ready"
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
        minutes=_whole(content.minutes),
        minutes_low=_whole(content.minutes_span[0]),
        minutes_high=_whole(content.minutes_span[1]),
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
        beside=offer.beside,
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


def _whole(minutes: float | None) -> int | None:
    """Minutes as the label tells them: the same number stands on both."""
    return None if minutes is None else round(max(minutes, 1.0))
