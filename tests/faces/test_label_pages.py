"""The pages of labels and own foods: looking, printing, typing in, changing, taking back."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from page_site import Site, parsed, running
from paper_read import Paper

from saltfare.actions.registry import run

# Invented: a dish to plan, no expected value of anything.
STEW: dict[str, Any] = {
    "name": "Stew (invented)",
    "lines": [
        {"food": "barley_pearl", "amount": "200 g"},
        {"food": "carrot", "amount": "150 g"},
        {"food": "water", "amount": "700 g"},
    ],
    "target_water": "7 %",
    "trays": {
        "trays": 5,
        "length": "34 cm",
        "width": "30 cm",
        "temperature": "60 C",
        "speed": "1.2 m/s",
        "room_temperature": "20 C",
        "room_humidity": "50 %",
    },
    "packs": 2,
    "scale_step": "1 g",
    "camp": {
        "altitude": "0 m",
        "air": "15 C",
        "wind": "0 m/s",
        "cover": "cosy",
        "pouch_width": "16 cm",
        "pouch_height": "23 cm",
        "cup": "240 ml",
    },
}
SOUP = {
    "name": "Soup powder (invented)",
    "energy": "1450",
    "fat": "9",
    "saturates": "4.5",
    "carbohydrate": "52",
    "sugars": "9",
    "fibre": "6",
    "protein": "11",
    "salt": "12",
    "allergens.19": "celery",
}


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    with running(tmp_path_factory.mktemp("labels")) as found:
        yield found


def do(site: Site, name: str, /, **given: Any) -> Any:
    return run(name, site.house.context(), given)


@pytest.fixture(scope="module")
def batch(site: Site) -> str:
    return str(do(site, "start_dish", **STEW).code)


@pytest.fixture(scope="module")
def bought(site: Site) -> str:
    """Packs of a bought meal, whose label says enough for a label of ours."""
    told = {
        "name": "Pasta <b>in</b> tomato (invented)",
        "mass": "125 g",
        "energy": "1600 kJ",
        "protein": "12 g",
        "fat": "10 g",
        "carbohydrate": "60 g",
        "fibre": "5 g",
        "salt": "2.5 g",
        "allergens": ["wheat"],
        "water": "350 ml",
        "wait": "8 min",
        "ingredients": "pasta (wheat), tomato",
    }
    return str(do(site, "add_bought", label=told, packs=3, place="shelf").code)


def test_a_lot_is_looked_at_and_its_labels_printed_and_kept(site: Site, bought: str) -> None:
    lot = site.page(f"/L/{bought}")
    assert any(a.attrs.get("href") == f"/labels/{bought}" for a in lot.all("a"))
    page = site.page(f"/labels/{bought}")
    picture = next(n for n in page.all("img") if "label" in n.attrs.get("class", ""))
    seen = site.get(picture.attrs["src"])
    assert seen.headers["content-type"] == "image/png" and seen.content[:4] == b"\x89PNG"
    assert "Pasta <b>in</b> tomato (invented)" in picture.attrs["alt"]
    answer = site.send(page, f"/labels/{bought}/print", {"copies": "5", "skip": "1"})
    assert answer.status_code == 200
    link = next(
        a.attrs["href"] for a in parsed(answer.text).all("a") if a.attrs.get("href", "").endswith(".pdf")
    )
    made = site.get(link)
    assert made.headers["content-type"] == "application/pdf"
    paper = Paper(made.content)
    codes = [code.text for n in range(len(paper)) for code in paper.codes(n)]
    assert len(codes) == 5 and set(codes) == {codes[0]} and codes[0].endswith(f"/L/{bought}")
    assert "Pasta <b>in</b> tomato (invented)" in paper.text(0)
    assert do(site, "lot", code=bought).labels == 1


@pytest.mark.parametrize("panel", ["us", "eu"])
def test_a_panel_is_looked_at_in_words_too(site: Site, bought: str, panel: str) -> None:
    page = site.page(f"/labels/{bought}?panel={panel}&sheet=a4_2x2")
    (table,) = [
        t for t in page.all("table") if any("factors and rounding" in c.text for c in t.all("caption"))
    ]
    rows = {next(iter(r.all("th"))).text: [d.text for d in r.all("td")] for r in table.all("tr")}
    # 2.5 g of salt in 100 g, as typed
    if panel == "eu":
        assert rows["Salt"] == ["2.5\u00a0g", "3.1\u00a0g"]
        assert rows["of which sugars"] == ["not known", "not known"]
    else:
        assert rows["Sodium"][0] == "1\u202f250\u00a0mg"


def test_a_label_that_does_not_fit_says_what_does(site: Site, bought: str) -> None:
    page = site.page(f"/labels/{bought}?sheet=a4_6x3")
    assert not [n for n in page.all("img") if "label" in n.attrs.get("class", "")]
    assert "does not go on" in page.text and "It goes on:" in page.text
    before = do(site, "lot", code=bought).labels
    answer = site.send(page, f"/labels/{bought}/print", {})
    assert answer.status_code == 422
    assert do(site, "lot", code=bought).labels == before


@pytest.mark.parametrize(
    ("typed", "said"),
    [({"copies": "none"}, "How many"), ({"skip": "60"}, "Places used up"), ({"copies": "0"}, "How many")],
)
def test_what_cannot_be_printed_is_said_at_its_field(
    site: Site, bought: str, typed: dict[str, str], said: str
) -> None:
    answer = site.send(site.page(f"/labels/{bought}"), f"/labels/{bought}/print", typed)
    assert answer.status_code == 422
    errors = next(n for n in parsed(answer.text).all("div") if n.attrs.get("id") == "errors")
    assert said in errors.text


def test_a_batch_under_way_shows_its_label_and_offers_no_print(site: Site, batch: str) -> None:
    dish = site.page(f"/dishes/{batch}")
    assert any(a.attrs.get("href") == f"/labels/{batch}" for a in dish.all("a"))
    page = site.page(f"/labels/{batch}")
    assert "not packed yet" in page.text
    assert not [f for f in page.all("form") if f.attrs.get("action") == f"/labels/{batch}/print"]


def test_the_own_mug_is_kept(site: Site, batch: str) -> None:
    page = site.page(f"/labels/{batch}")
    answer = site.send(page, "/labels/mug", {"mug": "350"})
    assert answer.status_code == 200 and "350" in answer.text
    assert do(site, "label", code=batch).water.mug_m3 == pytest.approx(350e-6)
    assert site.send(page, "/labels/mug", {"mug": "some"}).status_code == 422


@pytest.mark.parametrize(
    "path", ["/labels/NOTHING", "/labels/0000000", "/labels/printed/none.pdf", "/labels/0000000.png"]
)
def test_a_label_of_nothing_is_said_not_to_be_there(site: Site, path: str) -> None:
    assert site.get(path).status_code in (404, 422)


def test_a_food_is_typed_in_changed_dropped_and_brought_back(site: Site) -> None:
    answer = site.send(site.page("/foods"), "/foods", SOUP)
    page = parsed(answer.text)
    assert answer.status_code == 200
    own = [li for li in page.all("li") if li.attrs.get("id", "").startswith("own-")]
    (item,) = [li for li in own if "Soup powder (invented)" in li.text]
    assert "celery" in item.text

    def foods():
        return [one for one in do(site, "foods").foods if one.label.name == "Soup powder (invented)"]

    (shown,) = foods()
    assert shown.energy.value == pytest.approx(1450e3)
    change = site.page(f"/foods?food={shown.food}")
    answer = site.send(change, "/foods", {"energy": "1480 kJ"})
    assert answer.status_code == 200
    (shown,) = foods()
    assert (shown.energy.value, shown.label.allergens) == (pytest.approx(1480e3), ("celery",))
    form = next(
        f
        for f in parsed(answer.text).all("form")
        if f.attrs.get("action") == "/foods/drop"
        and any(n.attrs.get("value") == str(shown.food) for n in f.all("input"))
    )
    given = {n.attrs["name"]: n.attrs.get("value", "") for n in form.all("input") if "name" in n.attrs}
    answer = site.post("/foods/drop", given)
    assert answer.status_code == 200 and not foods()
    undone = site.send(parsed(answer.text), "/foods/correct", {})
    assert undone.status_code == 200 and len(foods()) == 1


def test_a_food_that_cannot_be_comes_back_as_typed_with_what_is_wrong(site: Site) -> None:
    bad = {**SOUP, "name": "Another (invented)", "protein": "-3", "fat": "9 cups"}
    answer = site.send(site.page("/foods"), "/foods", bad)
    assert answer.status_code == 422
    page = parsed(answer.text)
    errors = next(n for n in page.all("div") if n.attrs.get("id") == "errors")
    assert "Protein" in errors.text and "Fat" in errors.text
    typed = {n.attrs["name"]: n.attrs.get("value") for n in page.all("input") if "name" in n.attrs}
    assert typed["protein"] == "-3" and typed["fat"] == "9 cups" and typed["name"] == "Another (invented)"
    empty = site.send(site.page("/foods"), "/foods", {"name": "Bare"})
    assert empty.status_code == 422 and "The label says nothing" in empty.text


def test_none_of_these_and_silence_are_not_the_same(site: Site) -> None:
    for name, more, wanted in (("Silent", {}, None), ("None", {"_no_allergens": "true"}, ())):
        answer = site.send(site.page("/foods"), "/foods", {"name": name, "energy": "100", **more})
        assert answer.status_code == 200
        shown = next(one for one in do(site, "foods").foods if one.label.name == name)
        assert shown.label.allergens == wanted


def test_the_pages_are_well_formed_and_every_control_has_its_label(
    site: Site, bought: str, batch: str
) -> None:
    for path in (
        "/foods",
        f"/labels/{bought}",
        f"/labels/{batch}",
        f"/labels/{bought}?panel=us&sheet=a4_6x3",
    ):
        page = site.page(path)
        ids = [n.attrs["id"] for n in page.all() if "id" in n.attrs]
        assert len(ids) == len(set(ids)), f"{path}: {sorted(i for i in ids if ids.count(i) > 1)}"
        headings = [int(n.tag[1]) for n in page.all("h1", "h2", "h3", "h4")]
        assert headings.count(1) == 1 and headings[0] == 1
        labelled = {n.attrs.get("for") for n in page.all("label")}
        for node in page.all("input", "select", "textarea"):
            if node.attrs.get("type") == "hidden":
                continue
            inside = node.parent is not None and node.parent.tag == "label"
            assert inside or node.attrs.get("id") in labelled or "aria-label" in node.attrs, node.attrs
