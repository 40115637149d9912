"""The sheets of a trip in words: day by day, by bag, to get, allergens; the same on paper and on a phone."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from saltfare.core.figure import Note
from saltfare.faces.paper.press import printed
from saltfare.faces.words import Words

if TYPE_CHECKING:
    from datetime import datetime

    from saltfare.actions.trip_menu_shapes import (
        DishShown,
        MenuDayShown,
        MenuShown,
        MissingLine,
        PackShown,
        SheetShown,
        SittingShown,
    )

KCAL_J = 4184.0


def trip_pdf(words: Words, shown: SheetShown, at: datetime, money: Callable[[float], str]) -> bytes:
    """The sheets as a PDF."""
    return printed("trip", trip_sheet(words, shown, at, money))


def trip_sheet(
    words: Words, shown: SheetShown, at: datetime, money: Callable[[float], str]
) -> dict[str, Any]:
    """The sheets as layout and page take them."""
    said, menu = words.t, shown.menu
    load = {day.day: day for day in shown.load.days}
    supplies = sorted({pack.carry for pack in menu.packs})
    return {
        "title": said("trips.sheet.title", name=shown.name),
        "when": said("trips.sheet.when", first=shown.departure, last=shown.last_day),
        "who": ", ".join(shown.people),
        "eats_no": [
            said("trips.sheet.eats_no", person=person, what=leaves_out(words, told))
            for person, told in shown.eats_no.items()
        ],
        "lead": said(
            "trips.totals",
            food_kg=menu.food_g / 1000,
            each_kg=menu.grams_person_day / 1000,
            packs=sum(pack.packs for pack in menu.packs),
        ),
        "short": short_said(words, menu),
        "days": [_day(words, day, load.get(day.day), len(shown.people)) for day in menu.days],
        "bags_title": said("trips.sheet.bags"),
        "bags": [
            {
                "title": said("trips.carry_n", n=carry + 1) if len(supplies) > 1 else said("trips.sheet.bag"),
                "lines": [
                    {
                        "label": _pack(words, pack),
                        "code": pack.key if pack.origin != "food" else "",
                        "figure": words.shown.quantity(pack.grams / 1000, "mass"),
                    }
                    for pack in menu.packs
                    if pack.carry == carry
                ],
            }
            for carry in supplies
        ],
        "missing_title": said("trips.missing"),
        "missing": [missing_said(words, line) for line in shown.missing.lines],
        "allergens_title": said("trips.sheet.allergens"),
        "allergens": [
            {"name": name, "said": _allergens(words, contains, unsure)}
            for name, contains, unsure in _named(shown)
        ],
        "decisions_title": said("trips.sheet.decisions"),
        "decisions": [
            {
                "name": one.name,
                "why": one.why,
                "settles_title": said("trips.settles"),
                "settles": " ".join(words.note(note) for note in one.settles),
            }
            for one in shown.decisions
        ],
        "cautions_title": said("piece.cautions"),
        "cautions": [_caution(words, note) for note in shown.cautions],
        "footer": said("trips.sheet.footer", on=shown.issued),
        "cost": said("trips.sheet.cost", cost=money(menu.cost_minor)) if menu.cost_minor else "",
        "columns": {
            key: said(f"trips.sheet.{key}") for key in ("what", "for_whom", "water", "minutes", "done")
        },
    }


def short_said(words: Words, menu: MenuShown) -> list[str]:
    """Who is short of what, a line each: also the question that is answered by deciding all the same."""
    out, shown, days = [], words.shown, max(len(menu.days), 1)
    for one in menu.short:
        if one.kcal < one.ration_kcal:
            out.append(
                words.t(
                    "trips.short_energy",
                    person=one.person,
                    percent=round(100 * one.kcal / one.ration_kcal),
                    kcal=shown.quantity((one.ration_kcal - one.kcal) / days * KCAL_J, "energy:kcal"),
                    ration=shown.quantity(one.ration_kcal / days * KCAL_J, "energy:kcal"),
                )
            )
        elif one.short_days:
            out.append(words.t("trips.short_days", person=one.person, days=len(one.short_days)))
        if one.protein_short_g:
            grams = shown.quantity(one.protein_short_g / 1000, "mass:g")
            out.append(words.t("trips.short_protein", person=one.person, short=grams))
        if one.no_main:
            out.append(words.t("trips.short_meals", person=one.person, sittings=len(one.no_main)))
    return out


def _day(words: Words, day: MenuDayShown, load: Any, party: int) -> dict[str, Any]:
    said, shown = words.t, words.shown
    title = said("trips.day_n", n=day.day + 1, on=shown.on(day.on, weekday=True))
    totals = [said("trips.sheet.kcal_each", kcal=_kcal_each(words, day))]
    if load is not None:
        totals.append(said("trips.sheet.find", water=range_said(words, load.find, "volume:l")))
        totals.append(said("trips.sheet.fuel", fuel=range_said(words, load.fuel, "mass:g")))
        totals.append(said("trips.sheet.carried", mass=range_said(words, load.pack, "mass:kg")))
    return {
        "title": title + (f" {said('trips.is_spare')}" if day.spare else ""),
        "totals": "; ".join(totals),
        "sittings": [_sitting(words, one, party) for one in day.sittings if one.dishes or one.missing],
    }


def _kcal_each(words: Words, day: MenuDayShown) -> str:
    return ", ".join(
        f"{one.person} {words.shown.quantity(one.kcal * KCAL_J, 'energy:kcal')}" for one in day.people
    )


def _sitting(words: Words, one: SittingShown, party: int) -> dict[str, Any]:
    name = words.t(f"trips.sitting.{one.sitting}")
    return {
        "title": name[:1].upper() + name[1:] + ("" if one.stove else f" ({words.t('trips.no_stove')})"),
        "lines": [_dish(words, dish, party) for dish in one.dishes],
        "without": words.t("trips.no_main", who=", ".join(one.missing)) if one.main and one.missing else "",
    }


def _dish(words: Words, dish: DishShown, party: int) -> dict[str, str]:
    said, more = words.t, []
    if dish.packs:
        more.append(said("trips.opens", packs=dish.packs))
    if dish.handling != "as_it_is":
        more.append(said(f"trips.handled.{dish.handling}"))
    if dish.decided:
        more.append(said("trips.sheet.decided"))
    if dish.allergens:
        more.append(said("trips.contains", allergens=allergens_said(words, dish.allergens)))
    return {
        "name": dish.name,
        "code": dish.key if dish.origin != "food" else "",
        "for_whom": shares_said(words, dish.shares, party),
        "water": poured(words, dish),
        "minutes": minutes_said(words, dish),
        "more": "; ".join(more),
    }


def minutes_said(words: Words, dish: DishShown) -> str:
    """How long it stands or cooks, with its span, in the words of its label."""
    n, low, high = dish.minutes, dish.minutes_low, dish.minutes_high
    if not n:
        return ""
    if low is None or (low == n == high):
        return words.t("label.minutes", n=n)
    if high is None:
        return words.t("label.minutes_from", n=n, low=low)
    return words.t("label.minutes_between", n=n, low=low, high=high)


def poured(words: Words, dish: DishShown) -> str:
    """What is poured: into each pouch, where whole packs alike are opened for it."""
    if not dish.water_ml:
        return ""
    servings = sum(share.servings for share in dish.shares)
    if dish.packs > 1 and servings % dish.packs == 0:
        each = words.shown.quantity(dish.water_ml / dish.packs / 1e6, "volume:ml")
        return words.t("trips.sheet.poured_each", n=dish.packs, each=each)
    return words.shown.quantity(dish.water_ml / 1e6, "volume:ml")


def shares_said(words: Words, shares: Sequence[Any], party: int) -> str:
    """Who gets how much of something."""
    counts = {s.servings for s in shares}
    if len(shares) == party and len(counts) == 1:
        each = counts.pop()
        return words.t("trips.for_all") if each == 1 else words.t("trips.for_all_each", each=each)
    return ", ".join(
        s.person if s.servings == 1 else words.t("trips.share_of", person=s.person, n=s.servings)
        for s in shares
    )


def allergens_said(words: Words, found: Sequence[str]) -> str:
    """Allergens by the names the laws give them."""
    return ", ".join(_allergen(words, one) for one in found)


def leaves_out(words: Words, told: Any) -> str:
    """What somebody does not eat, as it was told."""
    diets = [words.say(f"diet.{diet}") for diet in told.diets]
    others = [*(_allergen(words, one) for one in told.allergens), *told.ingredients]
    return ", ".join([*diets, *(words.t("trips.sheet.no_such", what=one) for one in others)])


def _caution(words: Words, note: Note) -> str:
    listed = note.params.get("allergens")
    if isinstance(listed, str):
        note = Note(note.code, {**note.params, "allergens": allergens_said(words, listed.split(", "))})
    return words.note(note, "caution")


def not_for_said(words: Words, person: str, why: str) -> str:
    """Why somebody is not given something. why: as the plan marks it, `excluded:KIND:WHAT`."""
    _, _, mark = why.partition(":")
    kind, _, what = mark.partition(":")
    if kind == "diet":
        what = words.say(f"diet.{what}")
    elif kind in ("allergen", "unsure"):
        what = _allergen(words, what)
    key = f"page.trips.not_for.{kind or why}"
    return words.say(key if words.has(key) else "page.trips.not_for.item", {"who": person, "what": what})


def _allergen(words: Words, one: str) -> str:
    return words.say(f"allergen.{one}") if words.has(f"allergen.{one}") else one


def _allergens(words: Words, contains: Sequence[str], unsure: Sequence[str]) -> str:
    parts = []
    if contains:
        parts.append(words.t("trips.contains", allergens=allergens_said(words, contains)))
    if unsure:
        parts.append(words.t("trips.sheet.may_hold", allergens=allergens_said(words, unsure)))
    return "; ".join(parts) or words.t("trips.sheet.none_put_in")


def _named(shown: SheetShown) -> list[tuple[str, Sequence[str], Sequence[str]]]:
    names = {item.item: item.name for item in shown.items}
    return [(names.get(item, item), contains, unsure) for item, (contains, unsure) in shown.allergens.items()]


def _pack(words: Words, pack: PackShown) -> str:
    said = words.t("trips.sheet.pack", packs=pack.packs, name=pack.name)
    return ", ".join([said, *beside_said(words, pack)])


def beside_said(words: Words, pack: PackShown) -> list[str]:
    """Packs of own meat that go with those of a dish, by their code."""
    return [
        words.t("trips.pack_beside", packs=one.packs, name=one.name, code=one.code)
        for one in pack.beside
        if one.packs
    ]


def missing_said(words: Words, line: MissingLine) -> str:
    """Something to buy, to make or to finish."""
    by = words.t("trips.by", on=line.by) if line.by else ""
    said = words.t(f"trips.get.{line.how}", packs=line.packs, name=line.name, mass_kg=line.grams / 1000)
    return f"{said} {by}".strip()


def range_said(words: Words, figure: Any, kind: str) -> str:
    """A figure with its interval, where it has one that shows."""
    if figure.value is None:
        return words.t("figure.unknown")
    low, high = figure.low, figure.high
    if low is None or high is None or high - low < 0.02 * max(abs(high), 1e-9):
        return words.shown.quantity(figure.value, kind)
    first, last = words.shown.span(low, high, kind)
    return words.t("trips.span", low=first, high=last)
