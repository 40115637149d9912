"""Bought packs: the product as its label says, and the packs of it that were put on the shelf."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, Literal

from pydantic import Field

from saltfare.actions.chambers import key_of
from saltfare.actions.codes_given import codes_before, new_codes
from saltfare.actions.context import Context
from saltfare.actions.money import Price
from saltfare.actions.shapes import Command, Done, Output, Query, done
from saltfare.actions.shelf_shapes import Packs, PlaceName, instant_of, not_ahead, told_place
from saltfare.core.errors import Problem, Refused
from saltfare.core.fields import CalledLong, Frozen, Measured, Quantity
from saltfare.journal import events_shelf as kinds
from saltfare.journal.events import Body
from saltfare.journal.events_lot import STREAM, LotMade, Sealed
from saltfare.journal.lot import lots
from saltfare.journal.shelf import BoughtState, all_bought
from saltfare.journal.shelf import bought as bought_of

NetMass = Annotated[Measured, Quantity("net_mass")]
Energy = Annotated[Measured, Quantity("label_energy")]
Nutrient = Annotated[Measured, Quantity("label_mass")]
Water = Annotated[Measured, Quantity("label_water")]
Wait = Annotated[Measured, Quantity("label_wait")]
Servings = Annotated[Measured, Quantity("label_servings")]
Word = Annotated[str, Field(max_length=40)]
# What no label can say: more of it than there is food.
_SUMMED = ("protein", "fat", "carbohydrate", "fibre", "salt")
_NUTRIENTS = (*_SUMMED, "sugars", "sodium")
_SLACK = 1.02
_PER_KG = 0.1


class LabelGiven(Frozen):
    """A product as its label says; what the label does not say is left out, never nought.

    per: what energy and nutrients are printed for. allergens: left out where nothing is said of them, an
    empty list where the label says there are none. holds: what ways of eating leave out, likewise.
    """

    name: CalledLong
    what: kinds.BoughtKind = "meal"
    mass: NetMass
    per: Literal["pack", "100_g"] = "100_g"
    energy: Energy | None = None
    protein: Nutrient | None = None
    fat: Nutrient | None = None
    carbohydrate: Nutrient | None = None
    sugars: Nutrient | None = None
    fibre: Nutrient | None = None
    salt: Nutrient | None = None
    sodium: Nutrient | None = None
    ingredients: str = Field(default="", max_length=2000)
    allergens: tuple[Word, ...] | None = Field(default=None, max_length=40)
    may_contain: tuple[Word, ...] = Field(default=(), max_length=40)
    holds: tuple[Word, ...] | None = Field(default=None, max_length=40)
    may_hold: tuple[Word, ...] = Field(default=(), max_length=40)
    water: Water | None = None
    wait: Wait | None = None
    cold_wait: Wait | None = None
    takes_boiling_water: bool | None = None
    servings: Servings | None = None


class AddBoughtGiven(Command):
    """Packs that were bought. product: the key of one typed before, or its label where it is new or has
    changed. printed_on: the date printed on these packs. price: of one. packs left out: the label alone.
    """

    product: str | None = Field(default=None, max_length=60)
    label: LabelGiven | None = None
    packs: Packs | None = None
    place: PlaceName = ""
    sealed: Sealed = "no_oxygen"
    printed_on: date | None = None
    bought_on: date | None = None
    price: Price | None = None


class Added(Done):
    """The key of the product, and the code of its lot where packs came with it."""

    product: str
    code: str | None


class BoughtGiven(Query):
    """Nothing."""


class BoughtShown(Frozen):
    """A product as its label was typed last. lots: those on the shelf; packs: left of them."""

    key: str
    label: LabelGiven
    price_minor: int | None
    currency: str
    described_id: str
    described_at: datetime
    lots: tuple[str, ...]
    packs: int


class AllBoughtShown(Output):
    """Every bought product, and the words its label may be told in."""

    products: tuple[BoughtShown, ...]
    allergens: tuple[str, ...]
    holds: tuple[str, ...]


def add_bought(context: Context, given: AddBoughtGiven) -> Added:
    """Put bought packs on the shelf, with what their label says."""
    if given.product is None and given.label is None:
        raise Refused(Problem("label_missing", "label.name"))
    if given.label is None and given.packs is None:
        raise Refused(Problem("nothing_bought", "packs"))
    key = key_of(given.label.name) if given.label and given.product is None else str(given.product)
    known = _known(context, key, given)
    if given.label is not None:
        _believable(context, given.label)
    bodies: list[tuple[str, Body]] = []
    price = given.price if given.price is not None else (known.described.price_minor if known else None)
    if given.label is not None:
        bodies.append((kinds.BOUGHT + key, _described(context, given.label, price)))
    codes: tuple[str, ...] = ()
    if given.packs is not None:
        bought_on = given.bought_on or context.today
        not_ahead(context, bought_on, "bought_on")
        codes = codes_before(context, given, LotMade) or new_codes(context, 1)
        told = given.label or label_of(known)
        body = LotMade(
            name=told.name.strip(),
            bought=key,
            packs=given.packs,
            mass=told.mass,
            sealed=given.sealed,
            place=told_place(given.place),
            packed_on=bought_on,
            price_minor=price,
            currency=context.settings.currency if price is not None else "",
            printed_on=given.printed_on,
        )
        bodies.append((STREAM + codes[0], body))
        if given.at is None:
            given = given.model_copy(update={"at": instant_of(context, bought_on)})
    return Added(**dict(done(context, given, bodies)), product=key, code=codes[0] if codes else None)


def bought(context: Context, given: BoughtGiven) -> AllBoughtShown:
    """The bought products, as their labels say."""
    states = lots(context.journal)
    found = []
    for one in all_bought(context.journal):
        own = [state for state in states if state.made.bought == one.key]
        found.append(
            BoughtShown(
                key=one.key,
                label=label_of(one),
                price_minor=one.described.price_minor,
                currency=one.described.currency,
                described_id=one.described_id,
                described_at=one.described_at,
                lots=tuple(state.code for state in own),
                packs=sum(state.packs_left for state in own),
            )
        )
    allergens, holds = _words(context)
    return AllBoughtShown(products=tuple(found), allergens=allergens, holds=holds)


def label_of(state: BoughtState | None) -> LabelGiven:
    """A product's label as it was typed last."""
    if state is None:
        raise Refused(Problem("label_missing", "label.name"))
    told = state.described
    return LabelGiven(**{name: getattr(told, name) for name in LabelGiven.model_fields})


def _known(context: Context, key: str, given: AddBoughtGiven) -> BoughtState | None:
    """The product typed before; it must be there where no label is given."""
    states = {one.key: one for one in all_bought(context.journal)}
    if given.product is not None and key not in states:
        return bought_of(context.journal, key)  # raises NotFound
    return states.get(key)


def _described(context: Context, label: LabelGiven, price: int | None) -> kinds.BoughtDescribed:
    told = {name: getattr(label, name) for name in LabelGiven.model_fields}
    told["name"] = label.name.strip()
    return kinds.BoughtDescribed(
        **told, price_minor=price, currency=context.settings.currency if price is not None else ""
    )


def _words(context: Context) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The allergens of the library, and the words ways of eating leave out."""
    allergens = tuple(row.text("id") for row in context.library.rows("allergens"))
    holds = {word: None for row in context.library.rows("diets") for word in row.text("leaves_out").split()}
    return allergens, tuple(holds)


def _believable(context: Context, label: LabelGiven) -> None:
    """Refuse words nobody knows and nutrients that outweigh what they are printed for."""
    allergens, holds = _words(context)
    for field, known in (
        ("allergens", allergens),
        ("may_contain", allergens),
        ("holds", holds),
        ("may_hold", holds),
    ):
        for word in getattr(label, field) or ():
            if word not in known:
                raise Refused(Problem("label_word_unknown", f"label.{field}", word, ", ".join(known)))
    amount = label.mass.value if label.per == "pack" else _PER_KG
    summed = sum(value.value for name in _SUMMED if (value := getattr(label, name)) is not None)
    if summed > amount * _SLACK:
        params: dict[str, str | float | int] = {"sum_kg": summed, "amount_kg": amount}
        raise Refused(Problem("label_outweighs", "label.mass", label.mass.typed, params=params))
    if label.sugars and label.carbohydrate and label.sugars.value > label.carbohydrate.value * _SLACK:
        raise Refused(
            Problem("sugars_above_carbohydrate", "label.sugars", label.sugars.typed, label.carbohydrate.typed)
        )
