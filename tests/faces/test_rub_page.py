"""Rub day's one screen, as a browser without script would use it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from page_site import Node, Site, controls, filled, parsed, running
from test_piece_acts import PLAN

from saltfare.actions import registry

NOW = datetime(2026, 9, 20, 9, 30, tzinfo=UTC)


@pytest.fixture
def own(tmp_path: Path) -> Iterator[tuple[Site, list[datetime]]]:
    clock = [NOW]
    with running(tmp_path, clock=lambda: clock[0]) as site:
        yield site, clock


def _run(site: Site, name: str, /, **given: Any) -> Any:
    return registry.run(name, site.house.context(), given)


def _form(page: Node) -> dict[str, str]:
    form = next(f for f in page.all("form") if f.attrs.get("id") == "rub")
    return filled(page, form)


def _weighed(page: Node) -> list[str]:
    return [n.text for n in page.all("dd") if n.attrs.get("class") == "weigh"]


def test_the_weight_goes_in_and_the_grams_come_out(own: tuple[Site, list[datetime]]) -> None:
    site, clock = own
    assert "no piece to be like yet" in site.page("/rub").text
    like = _run(site, "start_piece", **{**PLAN, "spices": {"pepper": "0.4 %"}}).code
    clock[0] += timedelta(days=7)
    page = site.page("/rub")
    assert not _weighed(page) and "Type the weight" in page.text
    worked = site.get("/rub", params=_form(page) | {"green_weight": "1.8", "green_weight_unit": "kg"})
    page = parsed(worked.text)
    dose = {a.quantity: a for a in _run(site, "rub_day", like=like, green_weight="1.8 kg").weigh}
    assert _weighed(page) == ["4.3\u00a0g", "46.4\u00a0g"]
    assert dose["salt_dose"].figure.value == pytest.approx(0.0464)
    assert "show once it is measured: Thickness, Length" in page.text
    assert "ceiling" in page.text and "No spoon" not in page.text
    # not measured yet: it is not started, and what was typed is kept
    head = site.house.context().journal.head()
    refused = site.post("/rub", _form(page) | {"name": "Second"})
    assert refused.status_code == 422 and site.house.context().journal.head() == head
    page = parsed(refused.text)
    assert _form(page)["green_weight"] == "1.8"
    done = site.post("/rub", _form(page) | {"thickness": "80", "length": "380", "name": "Second"})
    assert done.status_code == 200 and "Started and salted." in done.text
    code = str(done.url).rpartition("/")[2].partition("?")[0]
    salted = site.house.context().journal.events(f"piece/{code}")[1].body
    assert salted.salt.typed == "46.4 g" and salted.mix.typed == "4.3 g"  # type: ignore[attr-defined]
    assert salted.spices["pepper"].value == pytest.approx(0.0072)  # type: ignore[attr-defined]


def test_a_name_left_open_is_the_cut_and_the_day(own: tuple[Site, list[datetime]]) -> None:
    site, clock = own
    _run(site, "start_piece", **PLAN)
    clock[0] += timedelta(days=7)
    typed = {
        "green_weight": "1.8",
        "green_weight_unit": "kg",
        "thickness": "80",
        "length": "380",
        "name": " ",
    }
    # nothing was read off a scale yet
    refused = site.post("/rub", _form(site.page("/rub")) | typed)
    assert refused.status_code == 422
    assert "Salt: Neither salt nor cure mix was given" in parsed(refused.text).text
    done = site.post("/rub", _form(parsed(refused.text)))
    assert done.status_code == 200
    assert next(n.text for n in parsed(done.text).all("h1")) == "pork loin, 27 September"


def test_what_the_scale_showed_stands_and_the_dose_follows_the_weight(
    own: tuple[Site, list[datetime]],
) -> None:
    site, _ = own
    _run(site, "start_piece", **PLAN)
    sent = _form(site.page("/rub")) | {"green_weight": "1.8", "green_weight_unit": "kg"}
    first = _form(parsed(site.get("/rub", params=sent).text))
    heavier = _form(parsed(site.get("/rub", params=first | {"green_weight": "2.0"}).text))
    assert first["salt"] == "46.4" and heavier["salt"] != first["salt"]
    kept = _form(parsed(site.get("/rub", params=first | {"salt": "46.9", "green_weight": "2.0"}).text))
    assert kept["salt"] == "46.9" and kept["mix"] == heavier["mix"]


def test_a_second_half_is_weighed_out_here_too(own: tuple[Site, list[datetime]]) -> None:
    site, clock = own
    code = _run(site, "start_piece", **{**PLAN, "applications": 2}).code
    _run(site, "salt_piece", code=code, salt="21.5 g", mix="1.9 g")
    clock[0] += timedelta(days=9)
    page = site.page("/rub")
    assert "Pour the liquid off Loin first" in page.text
    drained = site.send(page, f"/pieces/{code}/drain", {"liquid": "44"})
    assert "Draining recorded" in drained.text
    page = site.page("/rub")
    assert len(_weighed(page)) == 2 and "Now onto Loin" in page.text
    done = site.send(page, f"/pieces/{code}/salt", {})
    assert "Salting recorded" in done.text
    assert _run(site, "piece", code=code).state == "in salt"
    assert "Now onto" not in site.page("/rub").text


def test_a_doubt_is_named_beside_the_scale_and_kept_with_its_reason(own: tuple[Site, list[datetime]]) -> None:
    site, _ = own
    _run(site, "start_piece", **PLAN)
    sent = _form(site.page("/rub")) | {"green_weight": "1.8", "green_weight_unit": "kg"}
    sent |= {"thickness": "150", "length": "600", "name": "Thin"}
    asked = site.get("/rub", params=sent)
    page = parsed(asked.text)
    assert asked.status_code == 422 and not _weighed(page)
    names = {
        n.attrs.get("name")
        for n in controls(page, next(f for f in page.all("form") if f.attrs.get("id") == "rub"))
    }
    assert "reasons.lighter_than_its_shape" in names
    told = site.get("/rub", params=sent | {"reasons.lighter_than_its_shape": "tapers very much"})
    page = parsed(told.text)
    assert told.status_code == 200 and _weighed(page)
    kept = site.post("/rub", _form(page))
    assert kept.status_code == 200 and "Started and salted." in kept.text
    assert "tapers very much" in kept.text
