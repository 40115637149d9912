"""Trips through their pages: told, worked out, changed, decided, printed, told of afterwards. Invented."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest
from page_site import Site, parsed, running
from paper_read import Paper

from saltfare.actions.registry import run
from saltfare.actions.trip_menu_shapes import MeatPacks, PackShown
from saltfare.faces.paper import trip_sheet
from saltfare.faces.web.trip_page import PRESETS
from saltfare.faces.words import Words

START = datetime(2026, 8, 20, 9, tzinfo=UTC)
STAPLES = (
    {"food": "oats_rolled", "pack": "500 g", "portion": "90 g", "role": "main", "sittings": ["breakfast"]}
    | {"hot": True, "water": "250 ml", "tare": "10 g"},
    {"food": "couscous", "pack": "500 g", "portion": "120 g", "role": "main", "sittings": ["supper"]}
    | {"hot": True, "water": "300 ml", "tare": "8 g"},
    {"food": "polenta", "pack": "500 g", "portion": "120 g", "role": "main", "sittings": ["supper"]}
    | {"hot": True, "water": "480 ml", "tare": "8 g"},
    {"food": "almonds", "pack": "200 g", "portion": "40 g", "tare": "6 g", "price_minor": "3.20"},
    {"food": "raisins", "pack": "250 g", "portion": "50 g", "tare": "6 g"},
    {"food": "olive_oil", "pack": "230 g", "portion": "15 g", "tare": "30 g", "sittings": ["supper"]},
    {"food": "peanut_butter", "pack": "350 g", "portion": "40 g", "sittings": ["move", "breakfast"]},
)


class Clock:
    """A clock set by hand."""

    at = START

    def __call__(self) -> datetime:
        return self.at


@pytest.fixture(scope="module")
def clock() -> Clock:
    return Clock()


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory, clock: Clock) -> Iterator[Site]:
    with running(Path(tmp_path_factory.mktemp("trips")), clock=clock) as made:
        assert "No trip is planned" in made.page("/trips").text
        yield made


@pytest.fixture(scope="module")
def code(site: Site) -> str:
    """A trip told through its forms."""
    about = {"name": "Ridge (invented)", "departure": "2026-09-12", "day": "18", "night": "6"}
    answer = site.send(site.page("/trips/new"), "/trips", about | {"altitude": "900"})
    made = re.search(r"/trips/(\w+)/days", str(answer.url))
    assert made
    code = made[1]
    day = {"days.0.walking": "14", "days.0.ascent": "600", "days.0.descent": "200"}
    days = day | {"_same.1": "true", "_gone.2": "true"}
    answer = site.send(parsed(answer.text), f"/trips/{code}/days", days)
    assert "The days are kept" in parsed(answer.text).text
    ida, bo = person(0, "Ida", "female", "41", "171", "66"), person(1, "Bo", "male", "44", "183", "82")
    more = site.post(f"/trips/{code}/party", {"_more": "1", **ida})
    answer = site.send(parsed(more.text), f"/trips/{code}/party", bo)
    assert answer.status_code == 200, parsed(answer.text).text[:600]
    kitchen = {"pots": "1", "pot": "2", "stove": "gas_bare", "fuel": "isobutane", "fillings": "2"}
    answer = site.send(site.page(f"/trips/{code}/kitchen"), f"/trips/{code}/kitchen", kitchen)
    assert answer.status_code == 200
    run("set_staples", site.house.context(), {"code": code, "staples": STAPLES})
    return code


def person(n: int, name: str, sex: str, age: str, height: str, mass: str) -> dict[str, str]:
    told = {"name": name, "sex": sex, "age": age, "height": height, "mass": mass, "level": "active"}
    return {f"people.{n}.{key}": value for key, value in told.items()}


def worked_out(site: Site, code: str, preset: str = "lightest"):
    for _ in range(60):
        answer = site.get(f"/trips/{code}/menu?preset={preset}", headers={"x-partial": "1"})
        assert answer.status_code == 200
        if "data-going" not in answer.text:
            return parsed(answer.text)
        time.sleep(0.5)
    raise AssertionError("the menu was not worked out")


def test_what_was_told_stands_in_the_forms_again(site: Site, code: str):
    page = site.page(f"/trips/{code}/days")
    values = {n.attrs.get("name"): n.attrs.get("value") for n in page.all("input")}
    assert (values["days.0.walking"], values["days.1.walking"]) == ("14", "14")
    assert "days.2.walking" not in values
    party = site.page(f"/trips/{code}/party")
    names = [n.attrs["value"] for n in party.all("input") if n.attrs.get("name", "").endswith(".name")]
    assert names == ["Ida", "Bo"]
    for what in ("about", "kitchen", "limits", "staples", "items"):
        assert site.get(f"/trips/{code}/{what}").status_code == 200


def test_the_page_shows_the_need_with_its_rivals(site: Site, code: str):
    text = site.page(f"/trips/{code}").text
    assert re.search(r"2.people together need", text) and "Looney 2022" in text and "Pandolf 1977" in text


def test_what_cannot_be_comes_back_with_what_to_do(site: Site, code: str):
    page = site.page(f"/trips/{code}/days")
    answer = site.send(page, f"/trips/{code}/days", {"days.0.ascent": "9000"})
    assert answer.status_code == 422 and "Not recorded yet" in answer.text
    page = site.page(f"/trips/{code}/party")
    answer = site.send(page, f"/trips/{code}/party", {"people.0.mass": "6"})
    assert answer.status_code == 422
    answer = site.post("/trips", {"name": "", "departure": "2026-13-45", "day": "5", "night": "9"})
    assert answer.status_code == 422
    assert site.get("/trips/NOSUCH0").status_code in (404, 422)


def test_a_menu_is_worked_out_changed_decided_and_printed(site: Site, code: str, clock: Clock):
    page = site.page(f"/trips/{code}")
    answer = site.send(page, f"/trips/{code}/menu", {"preset": "lightest"})
    assert answer.status_code == 200
    page = worked_out(site, code)
    assert "Nobody is short" in page.text and "Day 2" in page.text
    # kept off, it is gone; held, it stays; exchanged, the other comes
    first = next(f for f in page.all("form") if f.attrs["action"].endswith("/bar"))
    item = next(n.attrs["value"] for n in first.all("input") if n.attrs.get("name") == "item")
    answer = site.post(f"/trips/{code}/bar", {"item": "food/raisins", "_preset": "lightest"})
    assert answer.status_code == 200
    page = worked_out(site, code)
    assert "raisins kept off for everyone, the whole trip" in page.text
    hold = {"item": item, "day": "0", "sitting": "breakfast", "_for.Ida": "1", "_preset": "lightest"}
    assert site.post(f"/trips/{code}/hold", hold).status_code == 200
    supper = {"item": "food/couscous", "_instead": "food/polenta", "day": "1", "sitting": "supper"}
    answer = site.post(f"/trips/{code}/exchange", supper | {"_for.Ida": "1", "_for.Bo": "1"})
    assert answer.status_code == 200
    page = worked_out(site, code)
    second = page.text.partition("Day 2")[2]
    assert "polenta" in second.partition("Each of them")[0]
    # let go of all that is held
    while gone := next((f for f in page.all("form") if f.attrs["action"].endswith("/let-go")), None):
        event = next(n.attrs["value"] for n in gone.all("input") if n.attrs.get("name") == "of.0")
        assert site.post(f"/trips/{code}/let-go", {"of.0": event}).status_code == 200
        page = worked_out(site, code)
    whole = site.page(f"/trips/{code}?preset=lightest")
    answer = site.send(whole, f"/trips/{code}/commit", {})
    assert "The menu is decided" in parsed(answer.text).text
    paper = Paper(site.get(f"/trips/{code}/sheet.pdf").content)
    text = paper.text()
    assert "Ridge (invented): what is eaten when" in text and "Ida" in text and "kcal" in text
    assert "Treat found water as the local authority says" in text
    sheet = site.get(f"/trips/{code}/sheet.html")
    assert sheet.headers["content-disposition"].startswith("attachment")
    assert not re.search(r"(src|href)=\"(?!#)|url\(|@import|<script", sheet.text)  # needs no network
    calendar(site.get(f"/trips/{code}/days.ics").content)
    answer = site.send(site.page(f"/trips/{code}"), f"/trips/{code}/take", {})
    assert answer.status_code == 200 and "Away" in parsed(answer.text).text
    answer = site.send(site.page(f"/trips/{code}/after"), f"/trips/{code}/after", {"fuel": "60"})
    assert answer.status_code == 422  # it has not begun
    clock.at = START + timedelta(days=27)
    try:
        told = {"fuel": "60", "water": "14", "_liked:food/oats_rolled": "Ida, Bo"}
        answer = site.send(site.page(f"/trips/{code}/after"), f"/trips/{code}/after", told)
        assert answer.status_code == 200, parsed(answer.text).text[:500]
        assert "Was from" in parsed(answer.text).text
    finally:
        clock.at = START


def calendar(content: bytes) -> None:
    """Read back by a library of the format."""
    icalendar = pytest.importorskip("icalendar")
    events = list(icalendar.Calendar.from_ical(content).walk("VEVENT"))
    assert [str(e["DTSTART"].dt) for e in events] == ["2026-09-12", "2026-09-13"]
    assert len({str(e["UID"]) for e in events}) == 2 and "Breakfast" in str(events[0]["DESCRIPTION"])


def test_the_presets_of_the_page_are_those_of_the_plan():
    assert PRESETS == ("lightest", "most_varied", "oldest_first")


def test_nobody_can_write_into_the_page(site: Site):
    name = '<script>alert("1")</script>\u202e{{ 7*7 }}'
    about = {"name": name, "departure": "2026-09-12", "day": "18", "night": "6"}
    answer = site.send(site.page("/trips/new"), "/trips", about)
    assert answer.status_code == 200 and "<script>alert" not in answer.text
    assert "<script>alert" not in site.get("/trips").text


def test_the_sheet_says_who_eats_what_not_and_who_has_nothing(site: Site):
    """Nobody at camp reads a code, or takes a blank supper for one that was forgotten."""
    about = {"name": "Short (invented)", "departure": "2026-09-12", "day": "18", "night": "6"}
    made = re.search(r"/trips/(\w+)/days", str(site.send(site.page("/trips/new"), "/trips", about).url))
    assert made
    code = made[1]
    # the ground and life at home nobody chose are those that are taken where nothing is said
    asked = site.page(f"/trips/{code}/days").all("select")
    terrain = next(n for n in asked if n.attrs["name"] == "days.0.terrain")
    assert [o.attrs["value"] for o in terrain.all("option") if "selected" in o.attrs] == ["dirt_road"]
    level = next(n for n in site.page(f"/trips/{code}/party").all("select"))
    assert [o.attrs["value"] for o in level.all("option") if "selected" in o.attrs] == ["active"]
    context = site.house.context
    day = {"walking": "9 km", "sittings": [{"name": "breakfast"}]}
    run("set_days", context(), {"code": code, "days": [day]})
    body = {"sex": "female", "age": 40, "height": "170 cm", "mass": "66 kg"}
    bo = {"name": "Bo", "eats_no": {"diets": ["no_gluten"], "allergens": ["milk"], "ingredients": ["garlic"]}}
    run("set_party", context(), {"code": code, "people": [body | {"name": "Ida"}, body | bo]})
    kitchen = {"pots": 1, "pot": "2 l", "stove": "gas_bare", "fuel": "isobutane"}
    run("set_kitchen", context(), {"code": code, **kitchen})
    run("set_staples", context(), {"code": code, "staples": [STAPLES[0]]})
    items = site.page(f"/trips/{code}/items").text
    assert "Not for Bo, who eats no gluten." in items and "excluded" not in items
    site.send(site.page(f"/trips/{code}"), f"/trips/{code}/menu", {"preset": "lightest"})
    page = worked_out(site, code)
    # what is ticked is who is short of how much, by name
    asked = next(n for n in page.all("label") if n.all("input") and "somebody is short" in n.text)
    menu = run("menu", context(), {"code": code, "preset": "lightest"})
    assert {one.person for one in menu.short} >= {"Bo"} and menu.days
    for one in menu.short:
        if one.kcal < one.ration_kcal:
            percent = round(100 * one.kcal / one.ration_kcal)
            said = re.search(rf"{one.person} gets ({percent})\s%\s[^:]*: ([\d\s]+)\skcal of", asked.text)
            assert said, asked.text
            each = (one.ration_kcal - one.kcal) / len(menu.days)
            assert float(re.sub(r"\s", "", said[2])) == pytest.approx(each, rel=0.02)
    assert "Bo has nothing as a meal at" in asked.text
    refused = site.send(site.page(f"/trips/{code}?preset=lightest"), f"/trips/{code}/commit", {})
    assert refused.status_code == 422 and "somebody is short: " in parsed(refused.text).text
    answer = site.send(
        site.page(f"/trips/{code}?preset=lightest"), f"/trips/{code}/commit", {"short": "true"}
    )
    assert "The menu is decided" in parsed(answer.text).text, parsed(answer.text).text[:600]
    paper = " ".join(Paper(site.get(f"/trips/{code}/sheet.pdf").content).text().split())
    phone = parsed(site.get(f"/trips/{code}/sheet.html").text).text
    for sheet in (paper.replace("\u200b", ""), phone):
        assert "Bo: no gluten, no milk, no garlic." in sheet
        assert "Nothing as a meal for Bo." in sheet
        assert "before anyone eats: cereals containing gluten, oats." in sheet
        assert "gluten_cereals" not in sheet
    unfolded = site.get(f"/trips/{code}/days.ics").text.replace("\r\n ", "")
    assert "Nothing as a meal for Bo." in unfolded


def test_a_trip_that_is_near_stands_on_the_bench(site: Site, clock: Clock):
    about = {"name": "Near (invented)", "departure": "2026-10-12", "day": "18", "night": "6"}
    made = re.search(r"/trips/(\w+)/days", str(site.send(site.page("/trips/new"), "/trips", about).url))
    assert made
    try:
        for day, there in ((0, False), (40, True), (53, True), (54, False)):
            clock.at = START + timedelta(days=day)
            page = site.page("/")
            assert any(a.attrs.get("href") == f"/trips/{made[1]}" for a in page.all("a")) is there, day
            assert any(a.attrs.get("href") == "/plan-back" for a in page.all("a"))
    finally:
        clock.at = START


def test_sixty_days_and_a_party_of_24_go_through_the_forms(site: Site):
    """What an action takes its form can send."""
    about = {"name": '#eval("1") $x$ *b* <b> \u202e سمك (invented)', "departure": "2026-09-12"}
    answer = site.send(site.page("/trips/new"), "/trips", about | {"day": "18", "night": "6"})
    made = re.search(r"/trips/(\w+)/days", str(answer.url))
    assert made
    code = made[1]
    day = {"walking": "12", "walking_unit": "km", "ascent": "300", "ascent_unit": "m", "terrain": "dirt_road"}
    empty = dict.fromkeys(("time", "camp", "paddling", "snow", "load_share", "day", "night", "snow_by"), "")
    rows = {f"days.{n}.{k}": v for n in range(60) for k, v in (day | empty).items()}
    ticks = {f"_sit.{n}.{name}": "true" for n in range(60) for name in ("breakfast", "move", "supper")}
    answer = site.post(f"/trips/{code}/days", rows | ticks)
    assert answer.status_code == 200 and "The days are kept" in answer.text, parsed(answer.text).text[:400]
    party: dict[str, str] = {}
    for n in range(24):
        party |= person(n, f"P{n}", "male", "40", "180", "80")
        party |= {f"people.{n}.height_unit": "cm", f"people.{n}.mass_unit": "kg"}
    answer = site.post(f"/trips/{code}/party", party)
    assert answer.status_code == 200 and "The party is kept" in answer.text
    assert "24 people together need" in parsed(answer.text).text.replace("\u00a0", " ")
    # no menu yet: the sheet says so, and is no empty page
    sheet = site.get(f"/trips/{code}/sheet.pdf")
    assert sheet.status_code == 422 and "html" in sheet.headers["content-type"]
    # wrong way round: told by the names of the controls
    answer = site.post("/trips", {"name": "x", "departure": "2026-09-12", "day": "", "night": "hot"})
    assert answer.status_code == 422 and "Coldest of the night:" in parsed(answer.text).text


@pytest.mark.parametrize(
    ("packs", "servings", "said"),
    [(4, 4, "4 × 372 ml"), (1, 1, "1 488 ml"), (2, 3, "1 488 ml"), (0, 3, "1 488 ml")],
)
def test_the_sheet_says_what_goes_into_each_pouch(packs: int, servings: int, said: str):
    """At camp nobody divides: alike pouches opened whole are poured one by one."""
    dish = SimpleNamespace(water_ml=1488, packs=packs, shares=[SimpleNamespace(servings=servings)])
    told = trip_sheet.poured(Words(), dish)  # type: ignore[arg-type]
    assert told.replace("\u00a0", " ").replace("\u202f", " ") == said


@pytest.mark.parametrize(
    ("minutes", "said"),
    [
        ((None, None, None), ""),
        ((None, 12, None), "12 min"),
        ((9, 12, 20), "12 min (9 to 20)"),
        ((9, 12, None), "12 min, from 9, and longer if it cools"),
    ],
)
def test_the_sheet_gives_the_span_of_the_label(minutes: tuple[int | None, ...], said: str):
    low, middle, high = minutes
    dish = SimpleNamespace(minutes=middle, minutes_low=low, minutes_high=high)
    told = trip_sheet.minutes_said(Words(), dish)  # type: ignore[arg-type]
    assert told.replace("\u00a0", " ") == said


def test_meat_that_goes_with_a_dish_stands_by_its_code_in_the_list_of_packs() -> None:
    pack = PackShown(
        item="lot/HASH", key="HASH", origin="lot", name="Hash", carry=0, packs=4, have=4, missing=0,
        grams=600, millilitres=900, cost_minor=0, handling="as_it_is", decided=False,
        beside=(
            MeatPacks(code="LOIN123", name="Loin", packs=1),
            MeatPacks(code="NONE456", name="Collar", packs=0),  # all of it went with the supply before
        ),
    )  # fmt: skip
    said = [one.replace("\u00a0", " ") for one in trip_sheet.beside_said(Words(), pack)]
    assert said == ["with 1 pack of Loin, LOIN123, beside"]
