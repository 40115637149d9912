"""A chamber's page: its air drawn, what is its owner's to change, what that would do."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from page_site import Node, Site, filled, parsed, running
from test_piece_acts import PLAN

from saltfare.actions import registry

NOW = datetime(2026, 9, 20, 9, 30, tzinfo=UTC)
AIR = {"name": "Pantry", "temperature": "14", "humidity": "62", "air_speed": "0.3"}


@pytest.fixture
def own(tmp_path: Path) -> Iterator[tuple[Site, list[datetime]]]:
    clock = [NOW]
    with running(tmp_path, clock=lambda: clock[0]) as site:
        yield site, clock


def _run(site: Site, name: str, /, **given: Any) -> Any:
    return registry.run(name, site.house.context(), given)


def _describe(page: Node) -> dict[str, str]:
    form = next(f for f in page.all("form") if f.attrs["action"] == "/chambers")
    return filled(page, form)


def test_what_is_the_owners_to_change_is_kept_and_can_be_cleared(own: tuple[Site, list[datetime]]) -> None:
    site, _ = own
    ticked = {"changeable.0": "wrap", "changeable.2": "fan"}
    site.post("/chambers", _describe(site.page("/chambers")) | AIR | ticked)
    page = site.page("/chambers/pantry")
    again = _describe(page)
    assert {v for k, v in again.items() if k.startswith("changeable.")} == {"wrap", "fan"}
    assert _run(site, "chamber", key="pantry").chamber.changeable == ("wrap", "fan")
    none = {k: v for k, v in again.items() if not k.startswith("changeable.")}
    site.post("/chambers", none)
    assert _run(site, "chamber", key="pantry").chamber.changeable == ()


def test_the_air_is_drawn_and_told_in_a_table(own: tuple[Site, list[datetime]]) -> None:
    site, clock = own
    site.post("/chambers", _describe(site.page("/chambers")) | AIR)
    assert "Nothing was read in these days" in site.page("/chambers/pantry").text
    rows = [
        {
            "at": (clock[0] - timedelta(hours=3 * n)).isoformat(),
            "temperature": f"{13 + n % 8 / 8:.1f} C",
            "humidity": "61 %",
        }
        for n in range(80)
    ]
    _run(site, "read_air", key="pantry", rows=rows)
    page = site.page("/chambers/pantry")
    drawn = [n for n in page.all("svg") if n.attrs.get("role") == "img"]
    assert len(drawn) == 2 and "temperature and humidity as logged" in drawn[0].attrs["aria-label"]
    table = next(n for n in page.all("table"))
    assert len(list(table.all("tr"))) == 12 and "13\u00a0°C to 13.9\u00a0°C" in table.text
    three = site.page("/chambers/pantry?days=3")
    assert len(list(next(iter(three.all("table"))).all("tr"))) == 5


def test_advice_is_given_on_asking_in_the_owners_terms(own: tuple[Site, list[datetime]]) -> None:
    site, clock = own
    boxes = {"changeable.0": "wrap", "changeable.1": "salt_tray", "changeable.5": "fridge"}
    site.post("/chambers", _describe(site.page("/chambers")) | AIR | boxes)
    eye = {"cut": "beef_eye_round", "green_weight": "1.12 kg", "thickness": "72 mm", "length": "28 cm"}
    plan = {k: v for k, v in PLAN.items() if not k.startswith(("chamber_", "target"))}
    code = _run(site, "start_piece", **{**plan, **eye, "chamber": "pantry"}).code
    _run(site, "salt_piece", code=code, salt="28.7 g", mix="2.7 g")
    clock[0] += timedelta(days=21)
    _run(site, "hang_piece", code=code, mass="1.06 kg")
    clock[0] += timedelta(days=6)
    _run(site, "weigh_in", code=code, mass="0.86 kg", reasons={"mass": "dry air"})
    page = site.page("/chambers/pantry")
    assert "Loin" in page.text and "Advised:" not in page.text
    asked = next(a.attrs["href"] for a in page.all("a") if "advice=1" in a.attrs["href"])
    text = site.page(asked.partition("#")[0]).text
    assert "A crust has a chance of" in text and "Wrap it in a bag that breathes" in text
    assert "Advised:" in text and "at the deepest instead of" in text
    assert "Keep the fan off" not in text and "Keep the door shut" not in text  # not the owner's
    # no place was read cold, so no sealed rest; the caution stands all the same
    assert "Rest it sealed" not in text and "A sealed rest is not offered" in text
    assert "that is where botulism grows" in text
    answer = parsed(site.get("/chambers/none").text)
    assert "chamber" in answer.text
