"""Every way of salting from the plan's questions, as a browser without script would ask them."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from page_site import Node, Site, filled, parsed, running

from saltfare.core.figure import Note
from saltfare.faces.words import Words

NOW = datetime(2026, 9, 20, 9, 30, tzinfo=UTC)
ANSWERS = {
    "purpose": "home_cold",
    "cut": "pork_loin",
    "shape": "cylinder",
    "green_weight": "1.845 kg",
    "thickness": "85 mm",
    "length": "300 mm",
    "salt_share": "2.8",
    "mix.name": "mix",
    "mix.nitrite": "6.25",
    "scale_step": "0.1",
    "salting_temperature": "3",
    "chamber_temperature": "12",
    "chamber_humidity": "75",
}


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    folder: Path = tmp_path_factory.mktemp("ways")
    with running(folder, clock=lambda: NOW) as found:
        yield found


def _asked(site: Site, status: int = 200, **more: str) -> Node:
    page = site.page("/pieces/plan")
    form = next(f for f in page.all("form") if f.attrs.get("id") == "plan")
    given = filled(page, form) | ANSWERS | {k.replace("__", "."): v for k, v in more.items()}
    answer = site.get("/pieces/plan", params=given)
    assert answer.status_code == status, parsed(answer.text).text[:900]
    return parsed(answer.text)


def _slip(page: Node) -> str:
    return next(n for n in page.all("div") if n.attrs.get("id") == "slip").text


def test_two_applications_tell_both_halves(site: Site) -> None:
    slip = _slip(_asked(site, applications="2"))
    assert slip.count("Cure mix to weigh") == 3  # in all, and at each
    for step in ("drain_wash", "weigh_out_second", "rub_second"):
        assert Words().say(f"step.{step}.text") in slip


def test_brines_and_needles_tell_water_and_strength(site: Site) -> None:
    even = _slip(_asked(site, method="brine_equilibrium", brine__mass="2.4 kg"))
    assert "Strength of the brine" in even and "Lay the piece in the brine" in even
    missing = _asked(site, 422, method="brine_equilibrium")
    assert "Still open: Brine." in _slip(missing)
    pumped = _slip(_asked(site, method="pumped", brine__mass="800 g", brine__uptake="12"))
    assert "Pump the brine in" in pumped


def test_a_box_refuses_nitrite_and_the_bone_is_refused(site: Site) -> None:
    box = _asked(site, 422, method="excess_salt")
    assert "never" in _slip(box) or "nitrite" in _slip(box)
    own = {"mix__name": "", "mix__nitrite": "", "chamber_temperature": "4"}
    assert "Bury it in the salt" in _slip(_asked(site, method="excess_salt", **own))
    assert _asked(site, 422, bone_in="true")


def test_freezing_and_the_cold_are_judged_and_dated(site: Site) -> None:
    page = _asked(site, origin="farm", parasite_step="freeze", freezing__temperature="-21")
    slip = _slip(page)
    assert "Before the salt" in slip and "Before it leaves the cold" in slip
    said = [n.text for n in page.all("p") if n.attrs.get("class") == "says"]
    assert sum("frozen against Trichinella" in text for text in said) == 1
    assert sum("0.96" in text for text in said) == 1


@pytest.mark.parametrize(
    ("typed", "was", "unit", "anew"),
    [
        ("1845", "g", "kg", "1.845"),  # both are weights of a piece: taken along
        ("2", "kg", "lb", "4.409245"),
        ("1.845", "g", "kg", ""),  # no piece weighs two grams: the unit was the mistake
        ("1.845 kg", "g", "lb", ""),  # it brings its own
        ("1.845", "kg", "kg", ""),
    ],
)
def test_a_number_goes_along_when_its_unit_is_changed(
    site: Site, typed: str, was: str, unit: str, anew: str
) -> None:
    query = {"quantity": "green_weight", "typed": typed, "unit": unit, "was": was}
    told = parsed(site.get("/understood", params=query).text)
    found = [n.attrs["data-anew"] for n in told.all("span") if "data-anew" in n.attrs]
    assert found == ([anew] if anew else [])
    assert ("Taken along from" in told.text) is bool(anew)


def test_chances_and_humidities_stand_off_their_unit() -> None:
    words = Words()
    said = words.note(Note("air_assumed_usual", {"temp_c": 12.4, "rh_frac": 0.752}))
    assert "12.4\u00a0°C" in said and "75.2\u00a0%" in said
    assert "54.3\u00a0°F" in Words(measures="us").note(
        Note("air_assumed_usual", {"temp_c": 12.4, "rh_frac": 0.752})
    )
