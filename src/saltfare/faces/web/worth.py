"""What packs cost: the price book, a lot's worth in full, a swap looked at before it is made; and the two
cards of a lot's page."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Request
from starlette.responses import Response

from saltfare.actions.pack_worth import shown_rate
from saltfare.core.errors import Refused
from saltfare.faces.web.desk import AtDesk, Desk, Typed
from saltfare.faces.web.forms import Form
from saltfare.faces.web.keeping import kept_view

router = APIRouter(include_in_schema=False)
_KINDS = ("meat", "food", "salt", "cure_mix", "electricity", "chamber", "pouch", "absorber", "labour")
_KNOWN = frozenset(
    {
        *(
            "price",
            "meat",
            "salt",
            "cure_mix",
            "electricity",
            "chamber_energy",
            "pouch",
            "absorber",
            "labour",
        ),
        "ingredients",
    }
)


def lot_cards(desk: Desk, code: str) -> dict[str, Any]:
    """What a lot's page shows of its keeping and its worth."""
    shown = desk.run("keeping", {"code": code})
    worth = desk.run("worth", {"code": code})
    return {
        "keeping": shown.kept,
        "kept": kept_view(desk, shown.kept),
        "worth": worth,
        "worth_of": worth_view(desk, worth.worth),
    }


def worth_view(desk: Desk, worth: Any) -> dict[str, Any]:
    """A pack's worth in words."""
    words = desk.words
    rates = [
        (words.t(f"worth.rate.{name}"), rate(desk, figure.value / per, of), figure.trace)
        for name, per, of in (
            ("per_kg", 1.0, "worth.of_kg"),
            ("per_1000_kcal", 1.0, "worth.of_1000_kcal"),
            ("per_protein_kg", 10.0, "worth.of_protein"),
        )
        if (figure := getattr(worth, name)) is not None and figure.value is not None
    ]
    return {
        "lines": [(words.t(f"worth.line.{line.what}"), desk.money(line.minor)) for line in worth.lines],
        "losses": [
            (words.t(f"worth.line.{line.what}"), desk.money(line.minor))
            for line in worth.of_loss
            if line.minor
        ],
        "rates": rates,
        "missing": [words.t(f"worth.missing.{name}") if name in _KNOWN else name for name in worth.missing],
    }


def rate(desk: Desk, minor: float, of: str) -> str:
    """A unit price as shops show it."""
    return desk.words.t(of, price=desk.money(shown_rate(minor, desk.context.settings.currency)))


@router.get("/shelf/prices")
def prices(desk: AtDesk, done: str = "") -> Response:
    """The price book."""
    return _prices(desk, Form(), done=done)


@router.post("/shelf/prices")
def set_price(desk: AtDesk, typed: Typed) -> Response:
    """Write a price down."""
    try:
        did = desk.send("set_price", typed)
    except Refused as error:
        return _prices(desk, desk.refused(typed, error.problems), status=422)
    return desk.go(f"/shelf/prices?done={did.events[0]}")


@router.post("/shelf/prices/correct")
def strike(desk: AtDesk, typed: Typed) -> Response:
    """Take a price back."""
    did = desk.send("correct", typed)
    return desk.go(f"/shelf/prices?done={did.events[0]}")


def _prices(desk: Desk, form: Form, *, done: str = "", status: int = 200) -> Response:
    found, words = desk.run("prices"), desk.words
    chambers = [(one.key, one.name) for one in desk.run("chambers").chambers]
    labels = {**dict(chambers), **dict(found.cuts)}
    rows = []
    for one in found.prices:
        piece = one.key.removeprefix("meat-piece-") if one.key.startswith("meat-piece-") else ""
        name = labels.get(one.name, one.name)
        if one.energy_j is not None:
            said = words.shown.quantity(one.energy_j, "energy:kWh", half_width=0.005 * 3.6e6)
        elif one.minor is not None:
            of = words.shown.quantity(one.mass_kg, "mass") if one.mass_kg else ""
            said = words.t(f"worth.price_of.{one.what}", price=desk.money(one.minor), of=of)
        else:
            said = ""
        rows.append(
            {
                "what": words.t(f"worth.kind.{one.what}"),
                "name": words.t("worth.piece", code=piece) if piece else name,
                "said": said,
                "event_id": one.event_id,
                "foreign": one.key in found.foreign,
            }
        )
    return desk.page(
        "prices.html",
        part="shelf",
        form=form,
        status=status,
        found=found,
        rows=rows,
        kinds=[(kind, words.t(f"worth.kind.{kind}")) for kind in _KINDS],
        chambers=chambers,
        done=done,
    )


@router.get("/shelf/worth/{code}")
def worth(desk: AtDesk, code: str, request: Request, done: str = "") -> Response:
    """A lot's worth in full; with a swap in the address, what a fair one lies between."""
    typed = {k: v for k, v in request.query_params.items() if k != "done"}
    form, band, status = Form({"packs": "1", **typed}), None, 200
    if typed:
        try:
            band = desk.send("swap_band", typed, code=code)
        except Refused as error:
            form, status = desk.refused(typed, error.problems), 422
    return _worth(desk, code, form=form, band=band, status=status, done=done)


@router.post("/shelf/worth/{code}/work")
def work(desk: AtDesk, code: str, typed: Typed) -> Response:
    """How long was worked on it."""
    try:
        did = desk.send("tell_work", typed, code=code)
    except Refused as error:
        told = desk.refused(typed, error.problems, prefix="work-")
        return _worth(desk, code, told=told, status=422)
    return desk.go(f"/shelf/worth/{quote(code)}?done={did.events[0]}")


def _worth(
    desk: Desk,
    code: str,
    *,
    form: Form | None = None,
    told: Form | None = None,
    band: Any = None,
    status: int = 200,
    done: str = "",
) -> Response:
    found = desk.run("worth", {"code": code})
    beside = [
        {"name": one.name, "code": one.code, "worth": one.worth, **worth_view(desk, one.worth)}
        for one in found.beside
    ]
    others = [
        (one.code, f"{one.name} {one.code}")
        for one in desk.run("lots_at_hand").lots
        if one.code != found.code
    ]
    return desk.page(
        "worth.html",
        part="shelf",
        status=status,
        form=form or Form({"packs": "1"}),
        told=told or Form(prefix="work-"),
        found=found,
        worth=found.worth,
        view=worth_view(desk, found.worth),
        beside=beside,
        others=others,
        band=band,
        swap=swap_view(desk, band) if band else None,
        done=done,
    )


def swap_view(desk: Desk, band: Any) -> dict[str, Any]:
    """A swap in words."""
    words = desk.words

    def packs(value: float) -> str:
        return words.shown.number(value, 1)

    low, high = packs(band.band.low), packs(band.band.high)
    sides = []
    for side in (band.mine, band.theirs):
        allergens = None
        if side.allergens is not None:
            allergens = [
                words.t(f"worth.allergen.{how}", name=words.say(f"allergen.{name}"))
                for name, how in side.allergens
            ]
        sides.append(
            {
                "name": side.name or words.t("worth.other_side"),
                "cost": desk.money(side.cost_minor),
                "elsewhere": desk.money(side.elsewhere_minor),
                "left": words.t("worth.days_left", n=side.days_left)
                if side.days_left is not None
                else words.t("worth.left_not_known"),
                "allergens": allergens,
            }
        )
    return {
        "between": words.t("worth.band_one", low=low)
        if low == high
        else words.t("worth.band", low=low, high=high),
        "by_cost": packs(band.by_cost.value),
        "by_elsewhere": packs(band.by_elsewhere.value),
        "least": packs(band.least),
        "most": packs(band.most),
        "equal": words.t(
            "worth.equal_gain", n=packs(band.equal_gain.value), gain=desk.money(round(band.gain_minor))
        )
        if band.gain_minor > 0
        else "",
        "whole": [
            words.t("worth.whole_packs", mine=a, theirs=b, gap=words.shown.quantity(gap, "fraction"))
            for a, b, gap in band.whole
        ],
        "along": [words.t(f"shelf.along.{name}") for name in band.along],
        "sides": sides,
    }
