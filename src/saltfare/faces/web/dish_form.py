"""The form of a dish: ingredients in a table, each taken as a food that is shown and can be changed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from saltfare.core.errors import NotFound, Refused
from saltfare.core.fields import Measured
from saltfare.faces.typed import local_instant
from saltfare.faces.web.desk import Desk
from saltfare.faces.web.forms import closed_up, data

UNKNOWN = "-"
"""What the choice of a food says where none of those found is meant."""
# a form may send so many fields at most (desk.MAX_FIELDS); a longer recipe keeps its lines, and no spare ones
_LEAST, _SPARE, _MOST, _BESIDE = 8, 3, 26, 3
_COOKINGS = 8


@dataclass(frozen=True, slots=True)
class Taken:
    """A line as it is taken: the food chosen, those found for its name, and how it may be cooked."""

    part: str
    index: int
    name: str
    food: str
    options: tuple[tuple[str, str], ...]
    cookings: tuple[tuple[str, str], ...]


def rows(typed: Mapping[str, str], part: str = "lines") -> range:
    """The rows of the table: those filled in and some to go on with."""
    least, spare = (_LEAST, _SPARE) if part == "lines" else (_BESIDE, 1)
    full = [
        int(name.split(".")[1])
        for name, text in typed.items()
        if name.startswith(f"{part}.") and name.endswith((".name", ".amount", ".own")) and text.strip()
    ]
    more = int(typed["_rows"]) if typed.get("_rows", "").isdigit() and part == "lines" else 0
    most = _MOST if part == "lines" else _BESIDE + 1
    there = max(full, default=-1) + 1
    return range(max(there, min(max(least, there + spare, more), most)))


def given_of(desk: Desk, typed: Mapping[str, str]) -> tuple[dict[str, Any], list[Taken]]:
    """The form as the actions take it, and what each line was taken as."""
    zone = desk.context.settings.zone
    out = data(closed_up(typed), zone=zone)
    taken = []
    for part in ("lines", "beside"):
        found = out.get(part)
        if not isinstance(found, list):
            continue
        for index, line in enumerate(found):
            if part == "beside" and line.get("own"):
                # meat of one's own is known by its code: its name and its food are not asked
                for name in ("name", "food", "was", "cooking"):
                    line.pop(name, None)
            else:
                line.pop("own", None)
                taken.append(_take(desk, part, index, line))
    if out.get("start"):
        out["start"] = local_instant(out["start"], zone)
    trays = out.get("trays")
    if isinstance(trays, dict):
        trays["turned"] = trays.get("turned") == "true"
    return {name: value for name, value in out.items() if value not in (None, "")}, taken


def _take(desk: Desk, part: str, index: int, line: dict[str, Any]) -> Taken:
    """Settle the food of a line: as chosen, while its name is the same; else the best that is found."""
    name = str(line.get("name", "")).strip()
    chosen, was = str(line.pop("food", "")), str(line.pop("was", ""))
    hits = desk.run("find_food", {"name": name[:80], "most": 6}).foods if name else ()
    options = [(hit.food, _said(hit)) for hit in hits]
    if not (chosen and was == name):
        chosen = hits[0].food if hits else UNKNOWN
    elif chosen != UNKNOWN and all(chosen != food for food, _ in options):
        options.insert(0, (chosen, name))
    hit = next((hit for hit in hits if hit.food == chosen), None)
    if chosen != UNKNOWN:
        line["food"] = chosen
        if hit is not None and hit.known_as == "usual":
            line["name"] = hit.name
    options.append((UNKNOWN, desk.words.t("dish.form.none_of_these")))
    number = hit.ref.rpartition(":")[2] if hit is not None else ""
    return Taken(part, index, name, chosen, tuple(options), _cookings(desk, number))


def _said(hit: Any) -> str:
    table = "" if hit.known_as != "table" else f" ({hit.group})"
    return f"{hit.name}{table}"


def _cookings(desk: Desk, number: str) -> tuple[tuple[str, str], ...]:
    """Yields printed for this very food; for most there are none."""
    if not number:
        return ()
    found = [
        (f"yields:{row.text('id')}", row.text("method"))
        for row in desk.context.library.rows("yields")
        if row.text("food").zfill(5) == number.zfill(5)
    ]
    return tuple(found[:_COOKINGS])


def first(desk: Desk) -> dict[str, str]:
    """What stands in the form before anything is typed: trays and camp as they were last, else usual ones.

    Nothing of the recipe, and no mass.
    """
    known = desk.run("dishes").dishes
    usual = {
        "start": f"{desk.words.shown.local(desk.context.now):%Y-%m-%dT%H:00}",
        "target_water": "6",
        "scale_step": "1",
        "trays.kind": "sheet",
        "trays.turned": "true",
        "trays.speed": "1",
        "trays.room_temperature": "20",
        "trays.room_humidity": "50",
        "camp.altitude": "0",
        "camp.wind": "0",
        "camp.cover": "cosy",
        "camp.pouch_width": "16",
        "camp.pouch_height": "22",
    }
    if not known:
        return usual
    choice = desk.run("dish", {"code": known[-1].code}).choice
    kept = ("trays.", "camp.", "target_water", "scale_step", "energy_price", "bed")
    return usual | {k: v for k, v in typed_of(desk, choice).items() if k.startswith(kept)}


def typed_of(desk: Desk, choice: Any) -> dict[str, str]:
    """A dish as it would be typed into the form."""
    shown = desk.words.shown
    us = shown.measures == "us"
    out: dict[str, str] = {}

    def put(name: str, value: Measured | None, kind: str, unit: str) -> None:
        if value is None:
            return
        plain = kind == "plain"
        out[name] = shown.number(value.value, 3) if plain else shown.typed(value.value, kind, unit)
        if not plain:
            out[f"{name}_unit"] = unit

    degrees = "F" if us else "C"
    for part, lines in (("lines", choice.lines), ("beside", choice.beside)):
        for n, line in enumerate(lines):
            at = f"{part}.{n}"
            if part == "beside" and line.own is not None:
                out |= {f"{at}.own": line.own, f"{at}.amount": line.mass.typed}
                continue
            out |= {f"{at}.name": line.name, f"{at}.amount": line.mass.typed, f"{at}.was": line.name}
            out |= {
                f"{at}.food": line.food or UNKNOWN,
                f"{at}.kind": line.kind,
                f"{at}.cooking": line.cooking,
            }
            put(f"{at}.size", line.size, "length", "mm")
            put(f"{at}.edible", line.edible, "fraction", "%")
            if line.price_minor is not None:
                out[f"{at}.price"] = _major(desk, line.price_minor)
    out |= {"servings": str(choice.servings), "packs": str(choice.packs)}
    put("target_water", choice.target_water, "fraction", "%")
    put("pack_mass", choice.pack_mass, "mass", "g")
    put("scale_step", choice.scale_step, "mass", "g")
    trays, camp = choice.trays, choice.camp
    out |= {"trays.trays": str(trays.trays), "trays.kind": trays.kind}
    out |= {"trays.turned": "true" if trays.turned else ""}
    put("trays.length", trays.length, "length", "cm")
    put("trays.width", Measured.si(trays.area.value / trays.length.value), "length", "cm")
    put("trays.temperature", trays.temperature, "temperature", degrees)
    put("trays.speed", trays.speed, "speed", "m/s")
    put("trays.room_temperature", trays.room_temperature, "temperature", degrees)
    put("trays.room_humidity", trays.room_humidity, "fraction", "%")
    put("trays.inside_humidity", trays.inside_humidity, "fraction", "%")
    put("trays.power", trays.power, "plain", "")
    put("trays.duty", trays.duty, "fraction", "%")
    put("camp.altitude", camp.altitude, "length", "m")
    put("camp.air", camp.air, "temperature", degrees)
    put("camp.wind", camp.wind, "speed", "m/s")
    out["camp.cover"] = camp.cover
    put("camp.water", camp.water, "temperature", degrees)
    put("camp.pouch_width", camp.pouch_width, "length", "cm")
    put("camp.pouch_height", camp.pouch_height, "length", "cm")
    put("camp.cup", camp.cup, "volume", "ml")
    if choice.taste != 1.0:
        put("taste", Measured.si(choice.taste), "fraction", "%")
    if choice.price_minor_per_kwh is not None:
        out["energy_price"] = _major(desk, choice.price_minor_per_kwh)
    if choice.bed is not None:
        out["bed"] = f"{choice.bed:%H:%M}"
    start: datetime = shown.local(choice.start)
    out["start"] = f"{start:%Y-%m-%dT%H:%M}"
    return out


def _major(desk: Desk, minor: float) -> str:
    return desk.money(minor).split("\u00a0")[0].replace("\u202f", "")


def work(desk: Desk, typed: Mapping[str, str], code: str = "") -> dict[str, Any]:
    """What the slip shows: the dish as far as it can be worked out, and what is still open or wrong."""
    given, taken = given_of(desk, typed)
    for name in ("name", "request_id", "seen_version"):
        given.pop(name, None)
    out: dict[str, Any] = {"taken": taken, "report": None, "problems": ()}
    try:
        out["report"] = desk.run("plan_dish", {**given, **({"code": code} if code else {})})
    except Refused as error:
        out["problems"] = error.problems
    return out


def own_options(desk: Desk) -> Callable[[str], list[tuple[str, str]]]:
    """Meat of one's own to choose from, by its code, with what was chosen before among it."""
    words = desk.words
    found = [
        (
            one.code,
            words.t(
                "dish.form.own_piece" if one.hangs else "dish.form.own_lot",
                code=one.code,
                name=one.name,
                pack_kg=one.pack_kg,
                free_kg=one.free_kg,
            ),
        )
        for one in desk.run("own_meat").meat
    ]

    def options(chosen: str) -> list[tuple[str, str]]:
        if chosen and all(code != chosen for code, _ in found):
            return [(chosen, words.t("dish.form.own_now", code=chosen)), *found]
        return found

    return options


def tables(desk: Desk) -> dict[str, Any]:
    """What the form offers to choose from."""
    library = desk.context.library

    def options(table: str) -> list[tuple[str, str]]:
        try:
            return [(row.text("id"), row.text("label")) for row in library.rows(table)]
        except NotFound:
            return []

    return {
        "lies": options("tray_foods"),
        "tray_kinds": options("tray_kinds"),
        "covers": options("pouch_covers"),
    }
