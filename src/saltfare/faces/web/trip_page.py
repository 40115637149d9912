"""One trip on its page: what it needs, its menu, what is done with it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from starlette.responses import Response

from saltfare.actions.trip_menu_shapes import PlanMenuGiven
from saltfare.core.errors import NotFound, Problem, Refused
from saltfare.core.figure import Note
from saltfare.faces.day_charts import DESK_WIDTH, PHONE_WIDTH, DayBar, DayChart, day_svg
from saltfare.faces.paper.trip_sheet import (
    KCAL_J,
    allergens_said,
    beside_said,
    minutes_said,
    missing_said,
    range_said,
    shares_said,
    short_said,
)
from saltfare.faces.web.desk import Desk

PRESETS = tuple(str(preset.value) for preset in type(PlanMenuGiven.model_fields["preset"].default))
_PLANNING = ("PLANNED", "COMMITTED")


def trip_page(
    desk: Desk,
    code: str,
    *,
    preset: str = "",
    kept: str = "",
    drop: str = "",
    problems: Sequence[Problem] = (),
    status: int = 200,
) -> Response:
    """The page of a trip."""
    one = desk.run("trip", {"code": code})
    said = [desk.words.problem(p) for p in problems]
    need, traces = None, dict(one.traces)
    if one.days and one.party:
        try:
            need = desk.run("trip_need", {"code": code})
            traces |= need.traces
        except Refused as error:
            said += [desk.words.problem(p) for p in error.problems]
    view = menu_view(desk, one, preset)
    if view["menu"]:
        traces |= view["menu"].traces
    if view["load"]:
        traces |= view["load"].traces
    return desk.page(
        "trip.html",
        part="trips",
        status=status,
        kept=kept if desk.words.has(f"page.trips.kept.{kept}") else "",
        drop=drop,
        problems=said,
        sentence=_sentence(desk, one),
        need=need,
        need_said=_need_said(desk, need) if need else "",
        people=[_person(desk, p) for p in need.people] if need else [],
        chart=_need_chart(desk, need, _eaten(view["menu"])) if need else None,
        found_traces=traces,
        **view,
    )


def menu_view(desk: Desk, one: Any, preset: str) -> dict[str, Any]:
    """What the menu's fragment shows."""
    words = desk.words
    menu = load = missing = explained = None
    if not one.lacks:
        asked = {"code": one.code, **({"preset": preset} if preset in PRESETS else {})}
        try:
            menu = desk.run("menu", asked)
        except NotFound:
            menu = None
        if menu is not None and menu.anything:
            load = _or_none(desk, "trip_water_fuel", asked)
            missing = _or_none(desk, "trip_missing", asked)
            if menu.short and menu.work != "working" and one.stand.name in _PLANNING:
                explained = _or_none(desk, "explain_menu", {"code": one.code})
    items = {}
    if menu is not None and menu.anything and one.stand.name in _PLANNING:
        items = {i.item: i for i in desk.run("trip_items", {"code": one.code}).items if i.enters}
    chosen = menu.preset.value if menu is not None else (preset if preset in PRESETS else PRESETS[0])
    return {
        "one": one,
        "menu": menu,
        "load": load,
        "missing": missing,
        "explained": explained,
        "preset": chosen,
        "presets": PRESETS,
        "can_change": one.stand.name == "PLANNED",
        "packs_in_all": sum(p.packs for p in menu.packs) if menu is not None and menu.anything else 0,
        "mass_chart": _mass_chart(desk, menu) if menu is not None and menu.anything else None,
        "short_said": short_said(words, menu) if menu is not None else [],
        "note_of": Note,
        "shares_said": lambda shares, party: shares_said(words, shares, party),
        "dish_said": lambda dish: _dish(words, dish),
        "exchange_for": lambda sitting, dish: [
            i
            for i in items.values()
            if i.item != dish.item and i.role == dish.role and sitting.sitting in i.sittings
        ],
        "pin_said": lambda pin: _pin(words, one, pin),
        "pack_said": lambda pack: _pack(words, pack),
        "missing_said": lambda line: missing_said(words, line),
        "range_said": lambda figure, kind: range_said(words, figure, kind),
    }


def _or_none(desk: Desk, action: str, given: Mapping[str, Any]) -> Any:
    """What an action gives, None where it has nothing to go by yet."""
    try:
        return desk.run(action, given)
    except (Refused, NotFound):
        return None


def _sentence(desk: Desk, one: Any) -> str:
    words, days = desk.words, one.days_until
    if one.stand.name in ("OVER", "CANCELLED"):
        return words.t(f"trips.sentence_{one.stand.name.lower()}", departure=one.departure, last=one.last_day)
    if days > 0:
        return words.t("trips.in_days", days=days)
    if days == 0:
        return words.t("trips.today")
    return words.t("trips.away", departure=one.departure, last=one.last_day)


def _need_said(desk: Desk, need: Any) -> str:
    key = "trips.need_share" if need.share < 1.0 else "trips.need_whole"
    days = len(need.people[0].days)
    return desk.words.t(
        key,
        people=len(need.people),
        days=days,
        need=desk.words.shown.quantity(need.energy.value, "energy:kcal"),
        ration=desk.words.shown.quantity(need.ration.value, "energy:kcal"),
        share_frac=need.share,
    )


def _person(desk: Desk, person: Any) -> dict[str, str]:
    shown = desk.words.shown
    return {
        "name": person.name,
        "need": _between(desk, [d.energy for d in person.days], "energy:kcal"),
        "ration": _between(desk, [d.ration for d in person.days], "energy:kcal", span=False),
        "protein": shown.quantity(person.protein_planned.value, "mass:g"),
        "drink": _between(desk, [d.drink for d in person.days], "volume:l"),
    }


def _between(desk: Desk, figures: Sequence[Any], kind: str, *, span: bool = True) -> str:
    """From the least to the most of some days, doubt included where asked."""
    shown = desk.words.shown
    low = min(f.low if span and f.low is not None else f.value for f in figures)
    high = max(f.high if span and f.high is not None else f.value for f in figures)
    if high - low < 0.01 * high:
        return shown.quantity(figures[0].value, kind)
    first, last = shown.span(low, high, kind)
    return desk.words.t("trips.span", low=first, high=last)


def _need_chart(desk: Desk, need: Any, eaten: Mapping[int, float]) -> dict[str, Any]:
    """Need of the whole party by day, the range of the models through it, and as the mark what the menu
    brings, the ration where there is none."""
    shown = desk.words.shown
    bars = []
    for number, day in enumerate(need.people[0].days):
        own = [p.days[number] for p in need.people]
        value = sum(d.energy.value for d in own) / KCAL_J
        low = sum((d.energy.value if d.energy.low is None else d.energy.low) for d in own) / KCAL_J
        high = sum((d.energy.value if d.energy.high is None else d.energy.high) for d in own) / KCAL_J
        ration = sum(d.ration.value for d in own) / KCAL_J
        bars.append(DayBar(_day_label(desk, day.on), value, low, high, eaten.get(number, ration)))
    words = desk.words
    chart = DayChart(
        tuple(bars),
        words.t("trips.need_axis"),
        words.t("trips.need_description", people=len(need.people), days=len(bars)),
        lambda v: shown.number(v, 0),
    )
    return {"phone": day_svg(chart, PHONE_WIDTH), "desk": day_svg(chart, DESK_WIDTH)}


def _eaten(menu: Any) -> dict[int, float]:
    """Energy the menu brings on each day, in kcal."""
    if menu is None or not menu.anything:
        return {}
    return {day.day: float(sum(p.kcal for p in day.people)) for day in menu.days}


def _mass_chart(desk: Desk, menu: Any) -> dict[str, Any]:
    """What is carried when each day begins, the empty wrappings at its end as the mark."""
    words, shown = desk.words, desk.words.shown
    bars = tuple(
        DayBar(_day_label(desk, day.on), day.pack_g / 1000, mark=day.bin_g / 1000) for day in menu.days
    )
    said = words.t("trips.mass_description", days=len(bars), first_kg=menu.days[0].pack_g / 1000)
    chart = DayChart(bars, words.t("trips.mass_axis"), said, lambda v: shown.number(v, 1))
    return {"phone": day_svg(chart, PHONE_WIDTH), "desk": day_svg(chart, DESK_WIDTH)}


def _day_label(desk: Desk, on: Any) -> str:
    return f"{desk.words.tree['date']['weekdays'][on.weekday()]} {on.day}"


def _dish(words: Any, dish: Any) -> str:
    shown, parts = words.shown, []
    if dish.packs:
        parts.append(words.t("trips.opens", packs=dish.packs))
    parts.append(words.t("trips.each_kcal", kcal=shown.quantity(dish.each_kcal * KCAL_J, "energy:kcal")))
    if dish.water_ml:
        parts.append(words.t("trips.pour", water=shown.quantity(dish.water_ml / 1e6, "volume:ml")))
    if dish.minutes:
        parts.append(minutes_said(words, dish))
    if dish.handling != "as_it_is":
        parts.append(words.t(f"trips.handled.{dish.handling}"))
    if dish.allergens:
        parts.append(words.t("trips.contains", allergens=allergens_said(words, dish.allergens)))
    return "; ".join(str(part) for part in parts)


def _pin(words: Any, one: Any, pin: Any) -> str:
    where = ""
    if pin.day is not None:
        day = words.t("trips.day_short", n=pin.day + 1)
        sitting = words.t(f"trips.sitting.{pin.sitting}") if pin.sitting else ""
        where = f"{day} {sitting}".strip()
    return str(
        words.t(
            f"trips.pin_{pin.kind}",
            name=pin.item_name,
            who=pin.person or words.t("trips.everyone"),
            where=where or words.t("trips.everywhere"),
        )
    )


def _pack(words: Any, pack: Any) -> str:
    said = words.t(
        "trips.pack_line",
        packs=pack.packs,
        name=pack.name,
        supply=pack.carry + 1,
        mass_kg=pack.grams / 1000,
    )
    return ", ".join([str(said), *beside_said(words, pack)])
