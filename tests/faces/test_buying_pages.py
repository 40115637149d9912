"""The buying card on the phone and on paper: without script, and with the action's own figures."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any
from urllib.parse import urlencode

import pytest
from page_site import Site, filled, parsed, running
from paper_read import Paper

from saltfare.actions import registry
from saltfare.faces.words import Words

NOW = datetime(2026, 11, 25, 10, tzinfo=UTC)
WORDS = Words(today=NOW.date())
TYPED = {
    "packs": "12",
    "pack": "80",
    "pack_unit": "g",
    "cut": "pork_loin",
    "purpose": "home_cold",
    "trim": "8",
    "trim_unit": "%",
    "offered": "2",
    "offered_unit": "kg",
    "salt_share": "3",
    "salt_share_unit": "%",
    "chamber": "cupboard",
    "wanted_on": "2027-02-01",
}


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    with running(tmp_path_factory.mktemp("buying"), clock=lambda: NOW) as made:
        given = {"name": "Cupboard", "temperature": "13 C", "humidity": "75 %", "air_speed": "0.1 m/s"}
        registry.run("describe_chamber", made.house.context(), given)
        yield made


@pytest.fixture(scope="module")
def card(site: Site) -> Any:
    given = {
        "packs": 12,
        "pack": "80 g",
        "cut": "pork_loin",
        "purpose": "home_cold",
        "trim": "8 %",
        "offered": "2 kg",
        "salt_share": "3 %",
        "chamber": "cupboard",
        "wanted_on": "2027-02-01",
    }
    return registry.run("buying", site.house.context(), given)


def _plain(text: str) -> str:
    return " ".join(text.replace("\u00a0", " ").replace("\u202f", " ").split())


def test_four_answers_are_enough_and_the_slip_says_what_to_buy(site: Site) -> None:
    page = site.page("/buying")
    form = next(f for f in page.all("form") if f.attrs.get("id") == "buying")
    given = filled(page, form) | {"packs": "6", "pack": "100", "cut": "beef_eye_round"}
    answer = site.get(f"/buying?{urlencode(given)}")
    assert answer.status_code == 200
    text = _plain(parsed(answer.text).text)
    assert "6 packs of 100 g: beef eye of round" in text
    buy = registry.run(
        "buying",
        site.house.context(),
        {"packs": 6, "pack": "100 g", "cut": "beef_eye_round", "purpose": "home_cold", "dates": False},
    ).buy  # type: ignore[attr-defined]
    assert _plain(WORDS.value(buy)) in text and _plain(WORDS.interval(buy)) in text


def test_page_and_paper_tell_the_figures_of_the_action(site: Site, card: Any) -> None:
    page = site.page(f"/buying?{urlencode(TYPED)}&_dates=1")
    paper = Paper(site.get(f"/buying.pdf?{urlencode(TYPED)}").content)
    assert len(paper) == 1
    assert paper.size_mm(0) == pytest.approx((105, 148), abs=0.3)
    assert min(char.size_pt for char in paper.chars(0)) >= 6.0
    for text in (_plain(page.text), _plain(paper.text())):
        assert _plain(WORDS.value(card.buy)) in text
        assert f"2 kg gives {card.offered.packs} packs" in text
        assert f"between {card.offered.packs_low} and {card.offered.packs_high}" in text
        for share in card.shares:
            assert _plain(WORDS.value(share.figure)) in text
        for one in card.thicknesses:
            assert f"{round(1000 * one.thickness_m)} mm" in text
            assert f"{one.salt_days} days in salt" in text
            if one.early:
                assert f"earliest {_plain(WORDS.shown.on(one.early))}" in text
        assert "Local codes and licensed practice come first" in text
        assert not re.search(r"use by|best before|\bsafe|safely|unsafe", text.lower())
    assert "Planned 25 November" in _plain(paper.text())
    size = max(char.size_pt for char in paper.chars(0))
    big = "".join(char.text for char in paper.chars(0) if char.size_pt == size)
    assert big == _plain(WORDS.value(card.buy)).replace(" ", "")


def test_the_fragment_answers_at_once_and_leaves_the_dates_to_be_asked_for(site: Site) -> None:
    answer = site.get(f"/buying?{urlencode(TYPED)}", headers={"X-Partial": "1"})
    assert answer.status_code == 200 and "<html" not in answer.text
    slip = parsed(answer.text)
    links = [a.attrs["href"] for a in slip.all("a")]
    asked = next(link for link in links if "_dates=1" in link)
    assert "earliest" not in slip.text
    assert "earliest" in site.page(asked).text
    assert any(link.startswith("/buying.pdf?") for link in links)


def test_what_cannot_be_used_is_said_at_its_field_and_typed_text_stays(site: Site) -> None:
    answer = site.get(f"/buying?{urlencode(TYPED | {'pack': 'lots'})}")
    assert answer.status_code == 422
    page = parsed(answer.text)
    field = next(n for n in page.all("input") if n.attrs.get("id") == "pack")
    assert field.attrs["value"] == "lots" and field.attrs["aria-invalid"] == "true"
    assert next(n for n in page.all("input") if n.attrs.get("id") == "packs").attrs["value"] == "12"
    empty = parsed(site.get("/buying?packs=12&purpose=home_cold").text)
    assert "Still open" in empty.text
    assert site.get("/buying.pdf").status_code == 422
