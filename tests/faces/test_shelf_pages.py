"""The shelf from its pages, as a browser without script would send them. Everything typed is invented."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from page_site import Node, Site, controls, filled, parsed, running
from paper_read import Paper
from test_lan_pages import (  # noqa: F401 - fixtures
    ROLES,
    app,
    clock,
    door,
    house,
    signed_in,
)

from saltfare.actions import registry
from saltfare.faces.guard import Guard
from saltfare.faces.web.shelf import ACTS

NOW = datetime(2026, 9, 20, 9, 30, tzinfo=UTC)


class Store:
    """A site with a clock in the hand, and lots to do things to."""

    def __init__(self, site: Site, at: list[datetime]) -> None:
        self.site, self.at = site, at

    def later(self, days: float = 0.05) -> None:
        self.at[0] += timedelta(days=days)

    def do(self, name: str, /, **given: Any) -> Any:
        return registry.run(name, self.site.house.context(), given)

    def lot(self, name: str = "Beans (invented)", packs: int = 4, **more: Any) -> str:
        given = {"mass": "150 g", "sealed": "no_oxygen", "place": "Larder", "packed_on": "2026-08-01", **more}
        return str(self.do("store_lot", name=name, packs=packs, **given).code)

    def send(self, path: str, action: str, status: int = 200, /, **values: str) -> tuple[Node, str]:
        """Fill in the form of a page that posts to an address; the page that came of it and its address."""
        self.later()
        given = {name.replace("__", "."): text for name, text in values.items()}
        page = self.site.page(path)
        forms = [
            f for f in page.all("form") if (f.attrs.get("action"), f.attrs.get("method")) == (action, "post")
        ]
        names = {n.attrs.get("name") for n in controls(page, forms[0])}
        assert set(given) <= names, f"no controls {set(given) - names} at {action}"
        answer = self.site.post(action, filled(page, forms[0]) | given)
        assert answer.status_code == status, parsed(answer.text).text[:800]
        return parsed(answer.text), str(answer.url)

    def act(self, code: str, act: str, status: int = 200, /, **values: str) -> tuple[Node, str]:
        """An act on a lot's page. Where several forms post there, the one with all of the fields."""
        self.later()
        page = self.site.page(f"/L/{code}")
        wanted = {name.replace("__", "."): text for name, text in values.items()}
        for form in page.all("form"):
            names = {n.attrs.get("name") for n in controls(page, form)}
            visible = {n.attrs.get("name") for n in controls(page, form) if n.attrs.get("type") != "hidden"}
            if form.attrs.get("action") == f"/shelf/lots/{code}/{act}" and set(wanted) <= names and visible:
                answer = self.site.post(form.attrs["action"], filled(page, form) | wanted)
                assert answer.status_code == status, parsed(answer.text).text[:800]
                return parsed(answer.text), str(answer.url)
        raise AssertionError(f"no form for {act} with {sorted(wanted)}")

    def left(self, code: str) -> int:
        return int(self.do("lot", code=code).line.packs_left)


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    at = [NOW]
    folder: Path = tmp_path_factory.mktemp("shelf")
    with running(folder, clock=lambda: at[0]) as site:
        yield Store(site, at)


def test_an_empty_shelf_says_how_it_fills(tmp_path: Path) -> None:
    with running(tmp_path, clock=lambda: NOW) as site:
        page = site.page("/shelf")
    assert "Nothing is on the shelf yet" in page.text
    assert {"/shelf/store", "/shelf/bought"} <= {a.attrs.get("href") for a in page.all("a")}


def test_a_lot_is_put_on_the_shelf_and_opened_by_its_code(store: Store) -> None:
    page, url = store.send(
        "/shelf/store", "/shelf/store", name="Peas (invented)", packs="3", mass="80", sealed="air",
        place="Larder", packed_on="2026-09-01", price="1.10",
    )  # fmt: skip
    code = url.split("/L/")[1][:7]
    assert "Peas (invented)" in page.text and "1.10 EUR" in page.text.replace("\u00a0", " ")
    for typed in (code, code.lower(), f"{code[:3]}-{code[3:]}"):
        found = store.site.get("/shelf", params={"text": typed})
        assert (found.status_code, found.headers["location"]) == (303, f"/L/{code}")
    assert "Peas (invented)" in store.site.page("/shelf?text=pea").text
    assert "No lot is like that" in store.site.page("/shelf?text=caviar").text


def test_packs_leave_by_one_tap_and_come_back_by_another(store: Store) -> None:
    code = store.lot("Tap (invented)")
    page = store.site.page("/shelf")
    tap = next(
        f
        for f in page.all("form")
        if f.attrs.get("action") == f"/shelf/lots/{code}/draw"
        and any(n.attrs.get("value") == "eaten" for n in f.all("input"))
    )
    given = {n.attrs["name"]: n.attrs.get("value", "") for n in tap.all("input")}
    answer = store.site.post(f"/shelf/lots/{code}/draw", given)
    assert store.left(code) == 3
    again = store.site.post(f"/shelf/lots/{code}/draw", given)  # the same tap sent twice is one pack
    assert (again.status_code, store.left(code)) == (200, 3)
    back = parsed(answer.text)
    undo = next(f for f in back.all("form") if f.attrs.get("action") == f"/shelf/lots/{code}/correct")
    store.later()
    store.site.post(undo.attrs["action"], {n.attrs["name"]: n.attrs["value"] for n in undo.all("input")})
    assert store.left(code) == 4


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"packs": "9", "why": "eaten"}, "Only 4 packs are left, not 9."),
        ({"packs": "0", "why": "eaten"}, "is not a number of packs a lot can have"),
        ({"packs": "two", "why": "eaten"}, "is no whole number of packs"),
        ({"packs": "1", "why": "given_away"}, "It went to nobody."),
        ({"packs": "1", "why": "thrown_out"}, "It is not said why it was thrown out."),
        ({"packs": "1", "why": "eaten", "at": "2031-01-01T10:00"}, "is still to come"),
        ({"packs": "1", "why": "eaten", "at": "2026-07-01T10:00"}, "is before the lot"),
    ],
)
def test_what_cannot_be_taken_is_said_at_its_field(store: Store, values: dict[str, str], said: str) -> None:
    code = store.lot("Wrong (invented)")
    page, _ = store.act(code, "draw", 422, **values)
    text = page.text.replace("\u00a0", " ")
    assert said in text, text[:900]
    anchors = {n.attrs.get("id") for n in page.all("input", "select", "fieldset", "main")}
    errors = next(n for n in page.all("div") if n.attrs.get("id") == "errors")
    for link in errors.all("a"):
        assert link.attrs["href"].removeprefix("#") in anchors
    assert store.left(code) == 4


def test_every_act_on_a_lot_is_done_and_told_in_its_history(store: Store) -> None:
    code = store.lot("Acts (invented)", packs=6)
    store.act(code, "draw", packs="2", why="opened")
    store.act(code, "finish", packs="1", why="thrown_out", reason="too wet (invented)")
    store.act(code, "draw", packs="1", why="given_away", receiver="Neighbour (invented)")
    store.act(code, "return", packs="1", reason="brought back")
    store.act(code, "move", place="Cellar (invented)")
    store.act(code, "count", packs="3", reason="one was behind the jars")
    page, _ = store.act(code, "taste", who="Ane (invented)", liked="liked", text="good with bread")
    told = page.text.replace("\u00a0", " ")
    for words in ("too wet (invented)", "to Neighbour (invented)", "brought back", "Cellar (invented)",
                  "one was behind the jars", "Liked it. good with bread"):  # fmt: skip
        assert words in told, words
    assert (store.left(code), store.do("lot", code=code).line.opened) == (3, 1)
    assert "meets a criterion" in told or "cannot tell" in told


def test_a_move_to_nowhere_is_refused_on_the_page(store: Store) -> None:
    code = store.lot("Nowhere (invented)")
    page, _ = store.act(code, "move", 422, place="  ")
    assert "No place is named." in page.text


def test_who_counts_while_another_eats_is_told(store: Store) -> None:
    code = store.lot("Race (invented)")
    page = store.site.page(f"/L/{code}")
    form = next(f for f in page.all("form") if f.attrs.get("action") == f"/shelf/lots/{code}/count")
    given = {n.attrs["name"]: n.attrs.get("value", "") for n in form.all("input") if "name" in n.attrs}
    store.do("draw_packs", code=code, packs=1, why="eaten")
    answer = store.site.post(f"/shelf/lots/{code}/count", given | {"packs": "4"})
    assert (answer.status_code, store.left(code)) == (409, 3)


def test_a_count_of_the_shelf_shows_what_differs(store: Store) -> None:
    first = store.lot("Counted (invented)", place="Attic (invented)")
    second = store.lot("Left open (invented)", place="Attic (invented)")
    path = "/shelf/count?place=attic-invented"
    page = store.site.page(path)
    codes = [n.attrs["value"] for n in page.all("input") if n.attrs.get("name", "").endswith(".code")]
    assert sorted(codes) == sorted([first, second])
    row = codes.index(first)
    wrong, _ = store.send(path, "/shelf/count", 422, **{f"rows__{row}__packs": "501"})
    assert "is not a number of packs a lot can have" in wrong.text
    none, _ = store.send(path, "/shelf/count", 422)
    assert "No lot is counted." in none.text
    counted, _ = store.send(path, "/shelf/count", **{f"rows__{row}__packs": "3"})
    text = counted.text.replace("\u00a0", " ")
    assert "1 fewer" in text and "Not counted" in text and "Left open (invented)" in text
    assert (store.left(first), store.left(second)) == (3, 4)


LABEL = {
    "label__name": "Pouch meal (invented)", "label__mass": "130", "label__energy": "410", "label__fat": "11",
    "label__carbohydrate": "60", "label__protein": "15", "label__salt": "2.2", "label__allergens__0": "wheat",
    "label__water": "350", "label__wait": "10",
}  # fmt: skip


def test_a_bought_pack_is_typed_from_its_label(store: Store) -> None:
    packs = {"packs": "2", "place": "Cupboard (invented)", "price": "6.90", "printed_on": "2028-01-31"}
    for change, said in (
        ({"price": "-1"}, "A price cannot be below nought"),
        ({"label__protein": "70"}, "What the label lists adds up to"),
        ({"bought_on": "2031-01-01"}, "is still to come"),
        ({"place": ""}, "No place is named."),
    ):
        page, _ = store.send("/shelf/bought", "/shelf/bought", 422, **{**LABEL, **packs, **change})
        assert said in page.text.replace("\u00a0", " "), said
    page, url = store.send("/shelf/bought", "/shelf/bought", **LABEL, **packs)
    text = page.text.replace("\u00a0", " ")
    assert "/L/" in url and "its maker says how it is kept" in text and "6.90 EUR" in text
    again, url = store.send(
        "/shelf/bought", "/shelf/bought", product="pouch-meal-invented", packs="1", place="X"
    )
    assert "Pouch meal (invented)" in again.text
    beside = store.site.page("/shelf/beside").text.replace("\u00a0", " ")
    # 410 kcal for 100 g, 130 g a pack: 533 kcal; 6.90 for that is 12.95 for 1000 kcal, 53.08 a kilogram
    assert "533 kcal" in beside and "12.95 EUR" in beside and "53.08 EUR" in beside


def test_a_swap_is_both_sides_or_none(store: Store) -> None:
    code = store.lot("For the neighbour (invented)", packs=5, price="4.00")
    swap = {
        "partner": "The mill (invented)",
        "went__0__code": code, "went__0__packs": "2", "went__0__elsewhere": "6.00",
        "came__0__name": "Bars (invented)", "came__0__packs": "3", "came__0__mass": "70",
        "came__0__sealed": "air",
        "came__0__place": "Cupboard (invented)", "came__0__elsewhere": "3.00", "came__0__cost": "2.00",
    }  # fmt: skip
    page = store.site.page("/shelf/swap").text
    assert "may be regulated" in page and "its allergens" in page
    empty = {k: "" for k in swap if k.startswith("came")}
    for change, said in (
        ({"went__0__packs": "6"}, "Only 5 packs are left, not 6."),
        ({"partner": " "}, "It is not said with whom it was swapped."),
        (empty, "Packs go one way only."),
        ({"went__0__code": "", "went__0__packs": "", "went__0__elsewhere": ""}, "Packs go one way only."),
        ({"came__0__elsewhere": "-3"}, "A price cannot be below nought"),
        ({"came__0__packed_on": "2031-01-01"}, "is still to come"),
        ({"came__0__place": " "}, "No place is named."),
    ):
        refused, _ = store.send("/shelf/swap", "/shelf/swap", 422, **{**swap, **change})
        assert said in refused.text.replace("\u00a0", " "), said
    assert store.left(code) == 5
    done, url = store.send("/shelf/swap", "/shelf/swap", **swap)
    text = done.text.replace("\u00a0", " ")
    # 2 x 4.00 over 2.00 is 4 packs by cost; 2 x 6.00 over 3.00 is 4 by what each would pay elsewhere
    assert text.count("4") >= 2 and "Not handed over with yours" in text and "may be regulated" in text
    assert store.left(code) == 3
    (told,) = store.do("swaps", code=url.split("/swaps/")[1][:7]).swaps
    assert (told.band.by_cost.value, told.band.by_elsewhere.value, told.band.came) == (4.0, 4.0, 3)
    undo = next(f for f in done.all("form") if f.attrs["action"].endswith("/correct"))
    store.later()
    store.site.post(undo.attrs["action"], {n.attrs["name"]: n.attrs["value"] for n in undo.all("input")})
    assert store.left(code) == 5 and store.do("swaps").swaps == ()
    assert "Bars (invented)" not in store.site.page("/shelf?gone=true").text


def test_a_place_is_described_and_taken_back(store: Store) -> None:
    page, _ = store.send(
        "/shelf/places", "/shelf/places", 422, name="Vault (invented)", coldest="18", warmest="6"
    )
    assert "would be warmer than its warmest" in page.text
    page, _ = store.send(
        "/shelf/places",
        "/shelf/places",
        name="Vault (invented)",
        coldest="6",
        warmest="14",
        warmest_month="8",
    )
    assert "in August" in page.text and "Vault (invented)" in page.text
    undo = next(f for f in page.all("form") if f.attrs["action"] == "/shelf/places/correct")
    store.later()
    store.site.post(undo.attrs["action"], {n.attrs["name"]: n.attrs["value"] for n in undo.all("input")})
    assert "Vault (invented)" not in store.site.page("/shelf/places").text


def test_a_tasting_of_anything_finds_its_way(store: Store) -> None:
    code = store.lot("Tasted (invented)")
    page, _ = store.send("/shelf/taste", "/shelf/taste", 422, code=code)
    assert "Nothing is said of how it was." in page.text
    page, _ = store.send("/shelf/taste", "/shelf/taste", 404, code="0000000", liked="loved")
    page, url = store.send("/shelf/taste", "/shelf/taste", code=code, liked="loved", who="Bert (invented)")
    assert code in url and "One person: loved it." in page.text


def test_the_sheet_prints_what_the_list_lists(store: Store) -> None:
    lots = store.do("shelf").lots
    paper = Paper(store.site.get("/shelf.pdf").content)
    text = paper.text()
    assert lots and all(one.code in text and one.name in text for one in lots)
    where = [text.index(one.code) for one in lots]
    assert where == sorted(where)


def test_opened_packs_and_near_dates_are_on_the_bench(store: Store) -> None:
    code = store.lot("Open on the bench (invented)")
    store.do("draw_packs", code=code, packs=1, why="opened")
    page = store.site.page("/")
    assert (
        "Open on the bench (invented)" in page.text
        and "1 pack is opened: first in turn." in page.text.replace("\u00a0", " ")
    )


@pytest.mark.parametrize("act", sorted(set(ACTS) - {"correct"}))
def test_a_lot_is_changed_by_who_may_record_and_taken_back_by_who_may_all(app: Guard, act: str) -> None:  # noqa: F811
    for role in ROLES:
        client = signed_in(app, role)
        told = client.post(f"/shelf/lots/X/{act}", data={}).status_code
        back = client.post("/shelf/lots/X/correct", data={}).status_code
        assert (told == 403) is (role == "look"), (role, told)
        assert (back == 403) is (role != "all"), (role, back)


@pytest.mark.parametrize("path", ["store", "bought", "count", "places", "swap", "taste"])
def test_the_forms_of_the_shelf_are_sent_by_who_may_record(app: Guard, path: str) -> None:  # noqa: F811
    for role in ROLES:
        client = signed_in(app, role)
        assert client.get(f"/shelf/{path}").status_code == 200
        assert (client.post(f"/shelf/{path}", data={}).status_code == 403) is (role == "look"), role
