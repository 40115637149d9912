"""The price book: what meat, food, cure, electricity, pouches and time cost. Money in minor units."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from saltfare.actions.context import Context
from saltfare.actions.judged_items import key_of_place
from saltfare.actions.money import Price
from saltfare.actions.pouch_shapes import lot_named
from saltfare.actions.shapes import Command, Done, Output, Query, done
from saltfare.core.errors import NotFound, Problem, Refused
from saltfare.core.fields import Frozen, MayBeCalled, Measured, Quantity
from saltfare.journal.chamber import chambers
from saltfare.journal.codes import parse_code
from saltfare.journal.events_lot import STREAM
from saltfare.journal.events_pouch import PRICE, PriceOf, PriceSet, WorkTold
from saltfare.journal.piece import piece as piece_of
from saltfare.journal.pouch import prices as priced

# What there is one of: its key is its kind.
_SINGLE = frozenset({"salt", "electricity", "pouch", "absorber", "labour"})
_BY_MASS = frozenset({"meat", "food", "salt", "cure_mix"})


class PricesGiven(Query):
    """Nothing."""


class PriceShown(Frozen):
    """One price. minor: for `mass_kg` of it, a kWh, an hour, or one. energy_j: of a chamber in a day."""

    key: str
    what: PriceOf
    name: str
    minor: int | None
    mass_kg: float | None
    energy_j: float | None
    event_id: str


class PricesShown(Output):
    """The price book, and the currency it is in; foreign: prices in another one, which count nowhere."""

    currency: str
    prices: tuple[PriceShown, ...]
    foreign: tuple[str, ...]
    cuts: tuple[tuple[str, str], ...]


class SetPriceGiven(Command):
    """A price. meat: `name` is a cut of the library or the code of one piece; food: an ingredient's name or
    id; cure_mix: its name; chamber: its key, with `energy` of a day. mass: that `price` is for, a kilogram
    where nobody said."""

    what: PriceOf
    name: Annotated[MayBeCalled, Field(max_length=80)] = ""
    price: Price | None = None
    mass: Annotated[Measured, Quantity("price_mass")] | None = None
    energy: Annotated[Measured, Quantity("energy_a_day")] | None = None
    origin: str = Field(default="", max_length=200)


class TellWorkGiven(Command):
    """Time spent on a lot, in all."""

    code: str = Field(max_length=40)
    time: Annotated[Measured, Quantity("work_time")]


def prices(context: Context, given: PricesGiven) -> PricesShown:
    """The price book: meat, food, cure, electricity, pouches and time, with the currency they are in."""
    currency = context.settings.currency
    shown, foreign = [], []
    for key, kept in priced(context.journal).items():
        body = kept.body
        if body.currency != currency:
            foreign.append(key)
        amount = body.amount.value if body.amount else None
        shown.append(
            PriceShown(
                key=key,
                what=body.what,
                name=body.name,
                minor=body.minor,
                mass_kg=(amount or 1.0) if body.what in _BY_MASS else None,
                energy_j=amount if body.what == "chamber" else None,
                event_id=kept.event_id,
            )
        )
    return PricesShown(
        currency=currency,
        prices=tuple(sorted(shown, key=lambda one: (one.what, one.name))),
        foreign=tuple(foreign),
        cuts=tuple((row.text("id"), row.text("label")) for row in context.library.rows("cuts")),
    )


def set_price(context: Context, given: SetPriceGiven) -> Done:
    """Write a price into the price book; the one before stays readable."""
    if given.what == "chamber":
        if given.energy is None:
            raise Refused(Problem("missing", "energy"))
        _chamber(context, given.name)
    elif given.price is None:
        raise Refused(Problem("missing", "price"))
    amount = given.energy if given.what == "chamber" else given.mass if given.what in _BY_MASS else None
    body = PriceSet(
        what=given.what,
        name=_name(context, given),
        minor=None if given.what == "chamber" else given.price,
        amount=amount,
        currency=context.settings.currency,
        origin=given.origin,
    )
    return done(context, given, [(PRICE + _key(context, given), body)])


def tell_work(context: Context, given: TellWorkGiven) -> Done:
    """Say how long was worked on a lot; it is counted as a line of its own."""
    lot = lot_named(context, given.code)
    return done(context, given, [(STREAM + lot.code, WorkTold(time=given.time))])


def _key(context: Context, given: SetPriceGiven) -> str:
    if given.what in _SINGLE:
        return given.what
    if not given.name.strip():
        raise Refused(Problem("missing", "name"))
    if given.what == "meat":
        return f"meat-{_meat(context, given.name)}"
    return price_key(given.what, given.name)


def price_key(what: str, name: str) -> str:
    """The key of a named price: of one food, cure mix or chamber."""
    return f"{what}-{key_of_place(name)}"[:80]


def _name(context: Context, given: SetPriceGiven) -> str:
    """What the price is of: a cut by its id, a piece by its code, else as typed."""
    return _meat(context, given.name).removeprefix("piece-") if given.what == "meat" else given.name.strip()


def _meat(context: Context, name: str) -> str:
    """A cut of the library by its id or name, or one piece by its code."""
    said = name.strip().lower()
    for row in context.library.rows("cuts"):
        if said in (row.text("id"), row.text("label").lower()):
            return row.text("id")
    try:
        return f"piece-{piece_of(context.journal, parse_code(name)).code}"
    except (Refused, NotFound):
        raise Refused(Problem("meat_not_named", "name", name)) from None


def _chamber(context: Context, key: str) -> None:
    known = [state.key for state in chambers(context.journal)]
    if key not in known:
        raise Refused(Problem("chamber_unknown", "name", key, ", ".join(known)))


@dataclass(frozen=True, slots=True)
class Book:
    """The prices that count: of the household's currency."""

    entries: dict[str, PriceSet]

    @classmethod
    def of(cls, context: Context) -> Book:
        """The price book as it stands."""
        currency = context.settings.currency
        found = priced(context.journal).items()
        return cls({key: kept.body for key, kept in found if kept.body.currency == currency})

    def per_kg(self, *keys: str) -> float | None:
        """Minor units for a kilogram, of the first of the keys that has a price."""
        for key in keys:
            body = self.entries.get(key)
            if body is not None and body.minor is not None:
                return body.minor / (body.amount.value if body.amount else 1.0)
        return None

    def one(self, key: str) -> float | None:
        """Minor units for one, an hour or a kilowatt-hour."""
        body = self.entries.get(key)
        return None if body is None or body.minor is None else float(body.minor)

    def energy_a_day(self, chamber: str) -> float | None:
        """Energy a chamber uses in a day [J]."""
        body = self.entries.get(price_key("chamber", chamber))
        return body.amount.value if body is not None and body.amount else None
