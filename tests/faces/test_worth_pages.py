"""Pouch, mix, own measurements, prices, keeping and worth on their pages, without script."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any
from urllib.parse import urlencode

import pytest
from page_site import Node, Site, filled, parsed, running

from saltfare.actions import registry
from saltfare.faces.words import Words

NOW = datetime(2026, 11, 25, 10, tzinfo=UTC)
WORDS = Words(today=NOW.date())
BARLEY = {
    "parts.0.food": "starch_cooked",
    "parts.0.mass": "120",
    "parts.0.mass_unit": "g",
    "parts.0.water": "7",
    "parts.0.water_unit": "%",
}
POUCH = {
    **BARLEY,
    "film": "pet_cpp_82",
    "width": "160",
    "width_unit": "mm",
    "height": "230",
    "height_unit": "mm",
    "pour": "300",
    "pour_unit": "ml",
}


def _plain(text: str) -> str:
    return " ".join(text.replace("\u00a0", " ").replace("\u202f", " ").split())


def _lot(site: Site, name: str, food: str, water: str, **more: Any) -> str:
    given = {"name": name, "packs": 6, "mass": "120 g", "sealed": "air", "place": "Pantry"}
    code = registry.run("store_lot", site.house.context(), {**given, "packed_on": "2026-11-01", **more}).code  # type: ignore[attr-defined]
    told = {"code": code, "food": food, "water": water, "fat": "3 %"}
    registry.run("tell_food", site.house.context(), told)
    return str(code)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    with running(tmp_path_factory.mktemp("worth"), clock=lambda: NOW) as made:
        yield made


@pytest.fixture(scope="module")
def grain(site: Site) -> str:
    return _lot(site, "Barley (invented)", "starch_cooked", "7 %", price="1.20")


@pytest.fixture(scope="module")
def fruit(site: Site) -> str:
    return _lot(site, "Apple (invented)", "fruit", "14 %")


def _wrong(page: Node, field: str) -> str:
    return next(_plain(n.text) for n in page.all("span") if n.attrs.get("id") == f"{field}-wrong")


def test_a_pouch_is_planned_with_the_figures_of_the_action(site: Site) -> None:
    first = site.page("/shelf/pouch")
    form = next(f for f in first.all("form") if f.attrs.get("action") == "/shelf/pouch")
    given = filled(first, form) | POUCH
    text = _plain(site.page(f"/shelf/pouch?{urlencode(given)}").text)
    found = registry.run(
        "pouch_plan",
        site.house.context(),
        {
            "parts": [{"food": "starch_cooked", "mass": "120 g", "water": "7 %"}],
            "film": "pet_cpp_82",
            "width": "160 mm",
            "height": "230 mm",
            "seal": "8 mm",
            "pour": "300 ml",
        },
    )
    assert _plain(WORDS.value(found.needed)) in text and _plain(WORDS.value(found.oxygen_needed)) in text  # type: ignore[attr-defined]
    assert "The meal cannot be made in this pouch" in text and "ask its maker" in text
    assert "Not both: an absorber needs the water that a desiccant takes." in text
    assert not re.search(r"\bsafe|safely|unsafe", text.lower())
    slip = site.get(f"/shelf/pouch?{urlencode(given)}", headers={"X-Partial": "1"})
    assert slip.status_code == 200 and "<html" not in slip.text and "<svg" in slip.text


@pytest.mark.parametrize(
    ("changes", "field", "says"),
    [
        ({"width": "60", "height": "70"}, "width", "Take a larger pouch"),
        ({"film": "pet_cpp_82", "gas_left": "0", "gas_left_unit": "%"}, "gas_left", "Leave the absorber out"),
        ({"parts.0.water": ""}, "parts.0.water", "missing"),
    ],
)
def test_what_a_pouch_cannot_be_is_said_at_its_field(
    site: Site, changes: dict[str, str], field: str, says: str
) -> None:
    answer = site.get(f"/shelf/pouch?{urlencode(POUCH | changes)}")
    assert answer.status_code == 422
    page = parsed(answer.text)
    said = _wrong(page, field)
    assert says in said or says == "missing"


def test_an_unknown_film_or_lot_in_the_address_is_refused_not_a_failure(site: Site) -> None:
    film = site.get(f"/shelf/pouch?{urlencode(POUCH | {'film': 'cling'})}")
    assert film.status_code == 422 and "There is no film cling" in _plain(parsed(film.text).text)
    lot = site.get(f"/shelf/pouch?{urlencode(POUCH | {'parts.0.food': '', 'parts.0.code': '0000000'})}")
    assert lot.status_code == 422


def test_a_mix_is_looked_at_and_packed(site: Site, grain: str, fruit: str) -> None:
    page = site.page("/shelf/mix")
    values = {
        "parts.0.code": grain,
        "parts.0.mass": "80",
        "parts.1.code": fruit,
        "parts.1.mass": "20",
        "temperature": "20",
    }
    looked = site.send(page, "/shelf/mix", values)
    assert looked.status_code == 200
    text = _plain(parsed(looked.text).text)
    assert "Barley (invented) takes up water from the rest and softens" in text
    assert "Apple (invented) gives water to the rest and hardens" in text
    assert text.index("takes up water") < text.index("Where it ends")  # the warning first
    assert "The way there in time" in text or "Show the way there in time" in text
    assert "The worse counts." in text
    shown = parsed(looked.text)
    way = next(a.attrs["href"] for a in shown.all("a") if "curve=true" in a.attrs.get("href", ""))
    assert "<svg" in site.get(way).text
    named = {**values, "name": "Barley with apple (invented)", "packs": "2", "place": "Pantry"}
    form = next(f for f in shown.all("form") if f.attrs.get("action") == "/shelf/mix")
    sent = filled(shown, form) | named | {"sealed": "air", "_pack": "1"}
    packed = site.post("/shelf/mix", sent)
    assert packed.status_code == 200 and "/L/" in str(packed.url)
    assert "Barley with apple (invented)" in packed.text and "Packed, and taken" in packed.text
    # the same form once more is the same act
    again = site.post("/shelf/mix", sent)
    assert str(again.url) == str(packed.url)


def test_what_cannot_be_mixed_is_said_at_its_field(site: Site, grain: str, fruit: str) -> None:
    sent = {
        "parts.0.code": grain,
        "parts.0.mass": "390",
        "parts.0.mass_unit": "g",
        "parts.1.code": fruit,
        "parts.1.mass": "20",
        "parts.1.mass_unit": "g",
        "name": "x",
        "packs": "5",
        "place": "Pantry",
        "sealed": "air",
        "_pack": "1",
    }
    answer = site.post("/shelf/mix", sent)
    assert answer.status_code == 422
    assert "is asked for" in _wrong(parsed(answer.text), "parts.0.mass")
    one = site.post("/shelf/mix", {**BARLEY, "_look": "1"})
    assert one.status_code == 422 and "A mix needs two parts" in parsed(one.text).text


def test_how_a_lot_keeps_is_told_first_by_the_criteria_then_by_its_limits(site: Site, grain: str) -> None:
    page = site.page(f"/shelf/keeping/{grain}")
    text = _plain(page.text)
    kept = registry.run("keeping", site.house.context(), {"code": grain}).kept  # type: ignore[attr-defined]
    on = _plain(WORDS.shown.on(kept.planning_date))
    assert f"Plan with {on}" in text and "a date to plan with, not a promise" in text
    assert text.index("First, what the criteria answer") < text.index("Then, how long it keeps")
    assert "Nobody said, so it was taken" in text and "Some years in a warm cupboard" in text
    assert not re.search(r"use by|best before|\bsafe|safely|unsafe", text.lower())
    asked = {"temperature": "5", "temperature_unit": "C", "film": "foil_pe"}
    cool = site.page(f"/shelf/keeping/{grain}?{urlencode(asked)}")
    assert "Kept so, plan with" in cool.text
    bad = site.get(f"/shelf/keeping/{grain}?{urlencode({'temperature': '900', 'temperature_unit': 'C'})}")
    assert bad.status_code == 422 and "temperature-wrong" in bad.text


def test_what_its_food_is_can_be_told_and_taken_back(site: Site) -> None:
    code = _lot(site, "Mush (invented)", "starch_cooked", "7 %")
    page = site.page(f"/shelf/keeping/{code}")
    refused = site.send(page, f"/shelf/keeping/{code}/food", {"food": "nut", "water": "", "fat": "45"})
    assert refused.status_code == 422 and "food-water-wrong" in refused.text
    told = site.send(page, f"/shelf/keeping/{code}/food", {"food": "nut", "water": "4", "fat": "50"})
    assert told.status_code == 200 and "no longer crisp" in told.text
    undone = site.send(parsed(told.text), f"/shelf/lots/{code}/correct", {})
    assert undone.status_code == 200
    assert "no longer crisp" not in site.page(f"/shelf/keeping/{code}").text


def test_both_cards_stand_on_the_page_of_a_lot(site: Site, grain: str) -> None:
    text = _plain(site.page(f"/L/{grain}").text)
    assert "Date to plan with" in text and "Cost of a pack 1.20 EUR" in text
    assert "10.00 EUR a kg" in text  # 1.20 for 120 g


def test_a_price_is_written_and_struck_out(site: Site) -> None:
    page = site.page("/shelf/prices")
    wrong = site.send(page, "/shelf/prices", {"what": "salt", "price": "-2"})
    assert wrong.status_code == 422 and "price-wrong" in wrong.text
    written = site.send(
        page, "/shelf/prices", {"what": "salt", "price": "0.89", "mass": "500", "mass_unit": "g"}
    )
    assert written.status_code == 200
    assert "0.89 EUR for 500 g" in _plain(parsed(written.text).text)
    meat = site.send(
        site.page("/shelf/prices"), "/shelf/prices", {"what": "meat", "name": "pork_loin", "price": "11"}
    )
    assert "11.00 EUR for 1 kg" in _plain(parsed(meat.text).text)
    shown = parsed(meat.text)
    salt = next(tr for tr in shown.all("tr") if tr.text.startswith("Salt"))
    form = next(salt.all("form"))
    struck = site.post("/shelf/prices/correct", filled(shown, form))
    assert struck.status_code == 200 and "0.89 EUR" not in _plain(struck.text).replace("&nbsp;", " ")


def test_worth_stands_beside_bought_packs_and_a_swap_has_its_band(site: Site, grain: str) -> None:
    label = {"name": "Pouch meal (invented)", "what": "meal", "mass": "125 g", "energy": "400 kcal"}
    given = {"label": label, "price": "7.20", "packs": 2, "place": "Pantry"}
    registry.run("add_bought", site.house.context(), given)
    page = site.page(f"/shelf/worth/{grain}")
    text = _plain(page.text)
    assert "A pack cost 1.20 EUR" in text and "Pouch meal (invented)" in text
    asked = {
        "packs": "2", "cost": "6.00", "elsewhere": "12.00", "other_name": "Ham (invented)",
        "other_cost": "3.00", "other_elsewhere": "8.00", "other_home_cured": "true",
    }  # fmt: skip
    band = _plain(site.page(f"/shelf/worth/{grain}?{urlencode(asked)}").text)
    found = registry.run("swap_band", site.house.context(), {"code": grain, **asked, "packs": 2})
    low, high = (WORDS.shown.number(v, 1) for v in (found.band.low, found.band.high))  # type: ignore[attr-defined]
    assert f"Between {low} and {high} of theirs" in band
    assert "may be regulated like selling it" in band and "To hand over with it" in band
    bad = site.get(f"/shelf/worth/{grain}?{urlencode(asked | {'other_cost': '-3'})}")
    assert bad.status_code == 422 and "other_cost-wrong" in bad.text
    work = site.send(page, f"/shelf/worth/{grain}/work", {"time": "30"})
    assert work.status_code == 200


def test_own_pairs_and_films_are_looked_at_kept_and_struck_out(site: Site) -> None:
    typed = {"like": "starch_cooked", "temperature": "22", "temperature_unit": "C"}
    for n, (water, aw) in enumerate(((5, 0.15), (7, 0.3), (9, 0.45), (12, 0.65), (15, 0.8))):
        typed |= {f"pairs.{n}.water": str(water), f"pairs.{n}.water_unit": "%", f"pairs.{n}.aw": str(aw)}
    looked = site.get(f"/shelf/own?{urlencode(typed)}")
    assert looked.status_code == 200 and "A curve of your own, by the equation GAB" in looked.text
    bad = site.get(f"/shelf/own?{urlencode(typed | {'pairs.1.aw': '1'})}")
    assert bad.status_code == 422 and "pairs.1.aw-wrong" in bad.text
    kept = site.post("/shelf/own/isotherm", {**typed, "name": "Our rice"})
    assert kept.status_code == 200 and "Our rice" in kept.text
    film = {
        "name": "Bag (invented)", "vapour": "3", "test_temperature": "38", "test_temperature_unit": "C",
        "test_humidity": "90", "test_humidity_unit": "%", "oxygen": "55",
    }  # fmt: skip
    refused = site.post("/shelf/own/film", film | {"oxygen": "0"})
    assert refused.status_code == 422 and "A film lets through more than nothing" in refused.text
    made = site.post("/shelf/own/film", film)
    assert made.status_code == 200 and "Bag (invented)" in made.text
    assert "Bag (invented)" in site.page("/shelf/pouch").text
    shown = site.page("/shelf/own")
    row = next(tr for tr in shown.all("tr") if "Bag (invented)" in tr.text)
    struck = site.post("/shelf/own/correct", filled(shown, next(row.all("form"))))
    assert "Bag (invented)" not in struck.text


def test_a_lot_that_is_not_there_is_not_found(site: Site) -> None:
    for path in ("/shelf/keeping/0000000", "/shelf/worth/0000000"):
        assert site.get(path).status_code in (404, 422)
