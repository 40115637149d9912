"""The page of the forecasts, read and sent without script. The household's pieces are invented."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from page_site import Site, running

from saltfare.actions import registry

BEGAN = datetime(2026, 3, 2, 9, tzinfo=UTC)
PLAN: dict[str, Any] = {
    "purpose": "home_cold",
    "cut": "pork_loin",
    "green_weight": "1.62 kg",
    "shape": "cylinder",
    "thickness": "75 mm",
    "length": "36 cm",
    "salt_share": "2.8 %",
    "mix": {"name": "jar", "nitrite": "6.25 %"},
    "scale_step": "0.1 g",
    "salting_temperature": "4 C",
    "chamber": "cupboard",
    "target_loss": "20 %",
}
WEIGHED = {24: "1.36 kg", 28: "1.27 kg", 34: "1.20 kg"}


class Days:
    """A clock in days from the start."""

    def __init__(self) -> None:
        self.day = 0.0

    def __call__(self) -> datetime:
        return BEGAN + timedelta(days=self.day)


@pytest.fixture
def house(tmp_path: Path) -> Iterator[Site]:
    """Two loins in one cupboard, one of them at its mass."""
    clock = Days()
    with running(tmp_path, clock=clock) as site:

        def do(day: float, name: str, /, **given: Any) -> Any:
            clock.day = day
            return registry.run(name, site.house.context(), given)

        air = {"temperature": "13 C", "humidity": "75 %", "air_speed": "0.1 m/s"}
        do(0, "describe_chamber", name="Cupboard", **air)
        codes = [do(0, "start_piece", **PLAN, name=f"Loin {i}").code for i in (1, 2)]
        for code in codes:
            do(0, "salt_piece", code=code, salt="42 g", mix="3.9 g")
        for code in codes:
            do(21, "hang_piece", code=code, mass="1.55 kg", chamber="cupboard")
        for day, mass in WEIGHED.items():
            for code in codes[: 2 if day < 30 else 1]:
                do(day, "weigh_in", code=code, mass=mass, reasons={"mass": "as weighed"})
        yield site


def words(site: Site, path: str) -> str:
    return next(iter(site.page(path).all("main"))).text.replace("\u00a0", " ")


def test_what_was_learned_is_read_left_out_and_taken_in_again(house: Site) -> None:
    said = words(house, "/forecasts")
    assert "Cupboard dries" in said and "2 pieces" in said and "Loin 1" in said and "Loin 2" in said
    page = house.page("/forecasts")
    headings = [int(n.tag[1]) for n in page.all("h1", "h2", "h3")]
    assert headings[0] == 1 and headings.count(1) == 1
    for table in page.all("table"):
        assert list(table.all("caption")) and all("scope" in th.attrs for th in table.all("th"))
    form = next(f for f in page.all("form") if f.attrs.get("action") == "/forecasts/exclude")
    sent = {n.attrs["name"]: n.attrs["value"] for n in form.all("input")}
    answer = house.post("/forecasts/exclude", sent)
    assert answer.status_code == 200 and answer.url.path == "/forecasts"
    said = answer.text.replace("\u00a0", " ")
    assert "left out by you" in said and "1 piece" in said and "It is kept" in said
    again = house.post("/forecasts/exclude", {**sent, "request_id": "again"})
    assert again.status_code == 422 and "Nothing was changed" in again.text
    house.post("/forecasts/exclude", {**sent, "request_id": "third", "excluded": "false"})
    assert "left out by you" not in words(house, "/forecasts")


def test_a_chamber_is_begun_anew_from_the_page(house: Site) -> None:
    page = house.page("/forecasts")
    form = next(f for f in page.all("form") if f.attrs.get("action") == "/forecasts/reset")
    sent = {n.attrs["name"]: n.attrs["value"] for n in form.all("input")}
    assert sent["scope"] == "chamber"
    assert house.post("/forecasts/reset", sent).status_code == 200
    assert "Cupboard dries" not in words(house, "/forecasts")


def test_sources_shows_how_forecasts_turned_out_and_the_study(house: Site) -> None:
    said = words(house, "/sources")
    assert "How the forecasts do" in said and "a coarse scale, mistakes" in said
    assert "forecasts of 1 piece can be judged" in said or "forecasts of 2 pieces can be judged" in said
    assert "Of the 80 % bands" in said and "All about the forecasts" in said
