"""Dishes as a browser without script would use them: from a typed recipe to packs, and every bad input."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from page_site import Node, Site, filled, parsed, running

from saltfare.actions import registry

NOW = datetime(2026, 9, 20, 9, 30, tzinfo=UTC)
# Invented: a recipe to type.
TYPED = {
    "lines.0.name": "potatos", "lines.0.amount": "1.2 kg", "lines.1.name": "leek",
    "lines.1.amount": "400 g", "lines.2.name": "olive oil", "lines.2.amount": "1 tbsp",
    "lines.3.name": "salt", "lines.3.amount": "10 g", "lines.4.name": "water", "lines.4.amount": "100 ml",
    "packs": "4", "trays.trays": "6", "trays.length": "33", "trays.width": "30", "trays.temperature": "60",
    "trays.power": "600", "trays.duty": "55", "camp.air": "8", "camp.altitude": "1200", "camp.cup": "240",
}  # fmt: skip


@pytest.fixture
def own(tmp_path: Path) -> Iterator[tuple[Site, list[datetime]]]:
    clock = [NOW]
    with running(tmp_path, clock=lambda: clock[0]) as site:
        yield site, clock


def _run(site: Site, name: str, /, **given: Any) -> Any:
    return registry.run(name, site.house.context(), given)


def _form(page: Node, form_id: str = "dish") -> dict[str, str]:
    form = next(f for f in page.all("form") if f.attrs.get("id") == form_id)
    return filled(page, form)


def _worked(site: Site, **changes: str) -> Node:
    typed = _form(site.page("/dishes/plan")) | TYPED | changes
    answer = site.get("/dishes/plan", params=typed)
    assert answer.status_code in (200, 422), answer.text[:300]
    return parsed(answer.text)


def _started(site: Site) -> str:
    page = _worked(site)
    answer = site.post("/dishes/start", _form(page) | {"name": "Hash"})
    assert answer.status_code == 200, answer.text[:500]
    return str(_run(site, "dishes").dishes[-1].code)


def _act(site: Site, code: str, act: str, **given: str) -> Any:
    page = site.page(f"/dishes/{code}")
    address = f"/dishes/{code}/{act}"
    form = next(f for f in page.all("form") if f.attrs.get("action") == address)
    return site.post(address, filled(page, form) | given)


def test_from_a_typed_recipe_to_packs(own: tuple[Site, list[datetime]]) -> None:
    site, clock = own
    assert "No dish yet" in site.page("/dishes").text
    page = _worked(site)
    text = page.text
    # mistyped, and taken as what was meant; the choice is shown and can be changed
    chosen = {n.attrs["name"]: n for n in page.all("select") if n.attrs.get("name", "").endswith(".food")}
    picked = [o.attrs["value"] for o in chosen["lines.0.food"].all("option") if "selected" in o.attrs]
    assert picked == ["potato"]
    for said in ("The mass to stop at", "First pour", "Held back", "What is in it", "Who can eat it"):
        assert said in text
    shown = _run(
        site, "plan_dish",
        lines=[{"food": f, "amount": a} for f, a in (("potato", "1.2 kg"), ("leek", "400 g"),
               ("olive_oil", "1 tbsp"), ("salt", "10 g"), ("water", "100 ml"))],
        target_water="6 %", packs=4, scale_step="1 g", start=NOW.replace(minute=0).isoformat(),
        trays={"trays": 6, "length": "33 cm", "width": "30 cm", "temperature": "60 C", "speed": "1 m/s",
               "room_temperature": "20 C", "room_humidity": "50 %", "power": "600", "duty": "55 %"},
        camp={"altitude": "1200 m", "air": "8 C", "wind": "0 m/s", "cover": "cosy", "pouch_width": "16 cm",
              "pouch_height": "22 cm", "cup": "240 ml"},
    )  # fmt: skip
    weighed = [n.text for n in page.all("dd") if n.attrs.get("class") == "weigh"]
    assert f"{round(shown.trays.end.value * 1000)}\u00a0g" in weighed
    assert f"{round(shown.pouch.first_pour.value * 1000)}\u00a0g" in weighed
    code = _started(site)
    assert "Hash" in site.page("/dishes").text
    clock[0] += timedelta(hours=1)
    assert "Cooking recorded" in _act(site, code, "cook", mass="2050", tare="550").text
    assert "Cooling recorded" in _act(site, code, "cool", how="in the sink").text
    clock[0] += timedelta(hours=1)
    assert "On the trays." in _act(site, code, "on-trays", mass="3500", tare="2000").text
    clock[0] += timedelta(hours=4)
    assert "worked out anew" in _act(site, code, "weigh-trays", mass="2550").text
    page = site.page(f"/dishes/{code}")
    assert next(n.text for n in page.all("dd") if n.attrs.get("class") == "weigh") == "550\u00a0g"
    bench = site.page("/").text
    order = [bench.index(said) for said in ("On the trays now", "The mass to stop at", "Still to leave")]
    assert order == sorted(order)
    clock[0] += timedelta(hours=6)
    assert "Conditioning recorded" in _act(site, code, "condition", step="in_jar", mass="372").text
    clock[0] += timedelta(days=7)
    tried = _act(site, code, "test-pouch", water="290", opened="25", hard_in_the_middle="true", soft_at="35")
    assert "goes by it" in tried.text
    done = _act(site, code, "pack", **{
        "portions.0.packs": "4", "portions.0.mass": "90", "portions.0.sealed": "no_oxygen",
        "portions.0.place": "larder",
    })  # fmt: skip
    assert "the packs are lots now" in done.text
    one = _run(site, "dish", code=code)
    assert one.state == "packed" and one.lots[0] in done.text
    assert "Test pouches: 1" in site.page(f"/dishes/{code}").text
    again = _act(site, code, "again", start="2026-10-03T08:00")
    assert again.status_code == 200
    fresh = _run(site, "dish", code=_run(site, "dishes").dishes[0].code)
    assert fresh.again_of == code and fresh.pouch.tests == 1 and fresh.trays.start.day == 3
    # a pack of the shelf is what a test pouch is taken for, unless it is said that it was none
    assert "goes by it" in _act(site, code, "test-pouch", water="290", opened="35").text
    assert _run(site, "lot", code=_run(site, "dish", code=code).lots[0]).line.packs_left == 3
    assert "goes by it" in _act(site, code, "test-pouch", water="290", opened="35", lot="").text
    assert _run(site, "lot", code=_run(site, "dish", code=code).lots[0]).line.packs_left == 3


def test_the_slip_follows_what_is_typed(own: tuple[Site, list[datetime]]) -> None:
    site, _ = own
    typed = _form(site.page("/dishes/plan")) | {"lines.0.name": "red lentls", "lines.0.amount": "180 g"}
    answer = site.get("/dishes/plan", params=typed, headers={"X-Partial": "1"})
    assert answer.status_code == 200 and "<html" not in answer.text
    slip = parsed(answer.text)
    assert "Still open:" in slip.text or "How many packs" in slip.text
    options = [o.text for o in slip.all("option")]
    assert options[0] == "red lentils" and "nothing is known of it" in options[-1]
    # another choice stands while the name does, and goes with it
    names = {n.attrs["name"]: n for n in slip.all("input", "select")}
    other = [o.attrs["value"] for o in names["lines.0.food"].all("option")][1]
    kept = typed | {"lines.0.food": other, "lines.0.was": "red lentls"}
    page = parsed(site.get("/dishes/plan", params=kept, headers={"X-Partial": "1"}).text)
    assert [o.attrs["value"] for o in page.all("option") if "selected" in o.attrs] == [other]
    page = parsed(
        site.get("/dishes/plan", params=kept | {"lines.0.name": "onion"}, headers={"X-Partial": "1"}).text
    )
    assert [o.attrs["value"] for o in page.all("option") if "selected" in o.attrs] == ["onion"]


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"lines.1.amount": "2 cups 30 g"}, "holds two measures"),
        ({"lines.1.amount": "3 handfuls"}, "has no measure"),
        ({"target_water": "-2"}, "outside what is possible"),
        ({"target_water": "95"}, "holds only"),
        ({"lines.5.name": "qqxzzv", "lines.5.amount": "50 g"}, "Nothing is known of qqxzzv"),
        ({"pack_mass": "400"}, "there is only"),
    ],
)
def test_what_cannot_be_is_told_on_the_page(
    own: tuple[Site, list[datetime]], changes: dict[str, str], said: str
) -> None:
    site, _ = own
    page = _worked(site, **changes)
    assert said in page.text, page.text[-1500:]
    if "lines.5.name" in changes:
        assert "There is no mass to stop at" in page.text and "at least" in page.text
    answer = site.post("/dishes/start", _form(page) | changes | {"name": "Hash"})
    assert answer.status_code == 422 and not _run(site, "dishes").dishes


def test_masses_that_cannot_be_are_told_at_their_control(own: tuple[Site, list[datetime]]) -> None:
    site, clock = own
    code = _started(site)
    clock[0] += timedelta(hours=1)
    heavy = _act(site, code, "cook", mass="1900")
    assert heavy.status_code == 422 and "only 1.724" in heavy.text.replace("\u00a0", " ")
    field = next(n for n in parsed(heavy.text).all("input") if n.attrs.get("id") == "cook-mass")
    assert field.attrs["aria-invalid"] == "true" and field.attrs["value"] == "1900"
    _act(site, code, "cook", mass="1500")
    _act(site, code, "on-trays", mass="3500", tare="2000")
    clock[0] += timedelta(hours=2)
    light = _act(site, code, "weigh-trays", mass="1900")
    assert light.status_code == 422 and "empty it weighs" in light.text
    assert _run(site, "dish", code=code).state == "on trays"


def test_a_batch_is_changed_and_what_was_recorded_taken_back(own: tuple[Site, list[datetime]]) -> None:
    site, clock = own
    code = _started(site)
    page = site.page(f"/dishes/{code}/change")
    form = _form(page)
    assert form["lines.0.amount"] == "1.2 kg" and form["trays.width"] == "30"
    done = site.post(f"/dishes/{code}/change", form | {"lines.0.amount": "1 kg"})
    assert done.status_code == 200 and "stays in the journal" in done.text
    assert _run(site, "dish", code=code).lines[0].mass_kg == pytest.approx(1.0)
    page = site.page(f"/dishes/{code}")
    back = next(f for f in page.all("form") if f.attrs.get("action", "").endswith("/correct"))
    clock[0] += timedelta(minutes=5)
    taken = site.post(f"/dishes/{code}/correct", filled(page, back))
    assert taken.status_code == 200 and _run(site, "dish", code=code).lines[0].mass_kg == pytest.approx(1.2)


def test_what_people_type_stays_text(own: tuple[Site, list[datetime]]) -> None:
    site, _ = own
    page = _worked(site, **{"lines.5.name": "<b onclick=x>leek</b>", "lines.5.amount": "10 g"})
    answer = site.post("/dishes/start", _form(page) | {"name": "<script>x</script>"})
    assert answer.status_code == 200
    code = _run(site, "dishes").dishes[-1].code
    for address in ("/dishes", f"/dishes/{code}", f"/dishes/{code}/change", "/"):
        html = site.get(address).text
        assert "<script>x" not in html and not re.search(r"<b onclick", html)


def test_a_long_recipe_keeps_all_its_lines(own: tuple[Site, list[datetime]]) -> None:
    site, _ = own
    many = {f"lines.{n}.name": "onion" for n in range(5, 33)} | {
        f"lines.{n}.amount": "5 g" for n in range(5, 33)
    }
    page = _worked(site, **many)
    form = _form(page)
    assert form["lines.32.amount"] == "5 g" and "lines.33.name" not in form
    shown = _worked(site, _rows="14")
    assert "lines.13.name" in _form(shown) and "lines.14.name" not in _form(shown)


def test_a_batch_opened_under_a_wrong_code_is_told(own: tuple[Site, list[datetime]]) -> None:
    site, _ = own
    assert site.get("/dishes/0000000").status_code == 404
    assert site.get("/dishes/12").status_code == 422


def _first_act(page: Node) -> str:
    return next(n.text for n in page.all("h2") if n.attrs.get("id") == "do-first")


def test_the_bench_says_whether_the_dryer_may_stop_at_bed(own: tuple[Site, list[datetime]]) -> None:
    site, _clock = own
    page = _worked(site, bed="23:00", start="2026-09-20T11:30")
    assert site.post("/dishes/start", _form(page) | {"name": "Hash"}).status_code == 200
    code = str(_run(site, "dishes").dishes[-1].code)
    _act(site, code, "cook", mass="1.7", mass_unit="kg")
    cooling = site.page("/")
    assert any(f"/dishes/{code}?act=on-trays" in a.attrs.get("href", "") for a in cooling.all("a"))
    laid = parsed(site.get(f"/dishes/{code}", params={"act": "on-trays"}).text)
    assert _first_act(laid) == "Lay it on the trays"
    _act(site, code, "on-trays", mass="1.7", mass_unit="kg")
    shown = _run(site, "dish", code=code)
    said = {
        "do_not_stop": "let it run: some is still wet",
        "may_stop": "may be switched off",
        "dry_before": "dry before it, by the late end",
    }[shown.trays.overnight]
    bench = site.page("/").text
    assert f"20 September, 23:00, bed: {said}." in bench
    assert "Nobody said it yet; it is asked once." in bench
    # weighed without the empty trays: told at its own control, by its own name
    answer = _act(site, code, "weigh-trays", mass="2.2 kg")
    assert answer.status_code == 422
    errors = next(n.text for n in parsed(answer.text).all("div") if n.attrs.get("id") == "errors")
    assert "Empty trays: " in errors and "Hook" not in errors


def test_what_is_dry_is_not_promised_for_later(own: tuple[Site, list[datetime]]) -> None:
    site, clock = own
    code = _started(site)
    _act(site, code, "cook", mass="1.7", mass_unit="kg")
    _act(site, code, "on-trays", mass="1.7", mass_unit="kg")
    end = _run(site, "dish", code=code).trays.end
    clock[0] += timedelta(hours=30)
    assert "Dry between" not in site.page("/").text, "hours that are over"
    assert "Dry between" not in site.page("/dishes").text
    for hours in (0, 2):
        clock[0] += timedelta(hours=hours)
        grams = f"{(end.low or 0) * 1000 + 300:.0f}"
        assert _act(site, code, "weigh-trays", mass=grams, tare="300", brittle="true").status_code == 200
    assert _run(site, "dish", code=code).on_trays.end_point == "dry"
    assert "Dry between" not in site.page("/").text
    page = site.page(f"/dishes/{code}")
    assert _first_act(page) == "Record the conditioning"


def _loin(site: Site, clock: list[datetime]) -> str:
    """An invented loin, cured, dried and packed; the code of its lot."""
    plan = {
        "purpose": "home_cold", "cut": "pork_loin", "green_weight": "1.62 kg", "shape": "cylinder",
        "thickness": "75 mm", "length": "36 cm", "salt_share": "2.8 %", "scale_step": "0.1 g",
        "mix": {"name": "jar", "nitrite": "6.25 %"}, "salting_temperature": "4 C",
        "chamber_temperature": "13 C", "chamber_humidity": "75 %",
    }  # fmt: skip
    code = _run(site, "start_piece", name="Loin", **plan).code
    _run(site, "salt_piece", code=code, salt="42 g", mix="3.9 g")
    clock[0] += timedelta(days=21)
    _run(site, "hang_piece", code=code, mass="1.55 kg")
    clock[0] += timedelta(days=39)
    _run(site, "weigh_in", code=code, mass="1.06 kg", reasons={"mass": "a test"})
    portion = {"packs": 4, "mass": "200 g", "sealed": "no_oxygen", "place": "larder"}
    why = {"mass": "a test", "portions.0.mass": "a test"}
    did = _run(site, "take_down", code=code, mass="1.06 kg", portions=[portion], reasons=why)
    return str(did.codes[0])


def test_own_meat_is_chosen_by_its_code_and_stands_on_page_and_label(
    own: tuple[Site, list[datetime]],
) -> None:
    site, clock = own
    meat = _loin(site, clock)
    clock[0] += timedelta(hours=1)
    form = site.page("/dishes/plan")
    select = next(n for n in form.all("select") if n.attrs.get("name") == "beside.0.own")
    options = {o.attrs["value"]: o.text.replace("\u00a0", " ") for o in select.all("option")}
    assert set(options) == {"", meat} and "packs of 200 g, 800 g free" in options[meat]
    # too much for four packs: refused at its own control, in words with the way out
    wrong = _worked(site, **{"beside.0.own": meat, "beside.0.amount": "300 g"})
    assert "1.2\u00a0kg of Loin, and 800\u00a0g is left" in wrong.text and "make fewer packs" in wrong.text
    bad = next(n for n in wrong.all("select") if n.attrs.get("name") == "beside.0.own")
    assert bad.attrs.get("aria-invalid") == "true"
    page = _worked(site, **{"beside.0.own": meat, "beside.0.amount": "40 g"})
    answer = site.post("/dishes/start", _form(page) | {"name": "Hash"})
    assert answer.status_code == 200, answer.text[:500]
    code = str(_run(site, "dishes").dishes[-1].code)
    shown = site.page(f"/dishes/{code}")
    assert f"/L/{meat}" in {a.attrs.get("href") for a in shown.all("a")}
    text = shown.text.replace("\u00a0", " ")
    for said in (
        "40 g of Loin for each pack.",
        "Cured with sodium nitrite (E 250).",
        "nothing of it was analysed",
        "no pork : does not fit",
    ):
        assert said in text, said
    assert "meets a criterion" not in text
    label = site.page(f"/labels/{code}").text.replace("\u00a0", " ")
    assert f"Loin, {meat}: refrigerated." in label and "Add at camp: Loin 40 g." in label
    # the form of a change starts with what was chosen
    again = site.page(f"/dishes/{code}/change")
    chosen = next(n for n in again.all("select") if n.attrs.get("name") == "beside.0.own")
    assert [o.attrs["value"] for o in chosen.all("option") if "selected" in o.attrs] == [meat]
    # another dish that wants more than is left over is told who holds it
    held = _worked(site, **{"beside.0.own": meat, "beside.0.amount": "170 g"})
    assert "a trip or another dish holds the rest" in held.text
