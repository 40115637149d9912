"""Labels read back from the paper: codes, sizes, places on the sheet, names that mean harm."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from paper_read import Paper

from saltfare.actions.label_shapes import (
    BesideShown,
    IngredientShown,
    LabelShown,
    NutrientLine,
    Panel,
    PanelLine,
    Printed,
    WaterShown,
)
from saltfare.actions.labels import SheetShown
from saltfare.core import tables
from saltfare.core.errors import Refused
from saltfare.core.figure import Figure, Note
from saltfare.faces.paper.labels import Extent, label_of, label_picture, labels_pdf
from saltfare.faces.paper.tags import address_of
from saltfare.faces.words import Words

WORDS = Words(today=date(2026, 11, 25))
SHEETS = {
    row.text("id"): SheetShown(
        id=row.text("id"),
        page_width_m=row.number("page_width"),
        page_height_m=row.number_or_none("page_height"),
        rows=int(row.number("rows")),
        columns=int(row.number("columns")),
        label_width_m=row.number("label_width"),
        label_height_m=row.number_or_none("label_height"),
        left_m=row.number("left"),
        top_m=row.number("top"),
        gap_x_m=row.number("gap_x"),
        gap_y_m=row.number("gap_y"),
    )
    for row in tables.load("label_sheets").rows.values()
}
# Invented: a stew to label, no expected value of anything.
STEW = LabelShown(
    code="1S1PJFN",
    kind="dish",
    under_way=False,
    name="Barley stew (invented)",
    what=("",),
    maker="",
    net_kg=0.118,
    packs=4,
    nutrients=(
        NutrientLine(nutrient="energy", figure=Figure(1.779e6, "energy:kcal"), missing=()),
        NutrientLine(nutrient="protein", figure=Figure(0.0177, "mass"), missing=()),
        NutrientLine(nutrient="sugars", figure=Figure(None, "mass"), missing=("red lentils",)),
        NutrientLine(nutrient="salt_equivalent", figure=Figure(0.0029, "mass"), missing=()),
    ),
    together_kcal=None,
    together_salt=None,
    panel=None,
    ingredients=(
        IngredientShown(name="pearl barley", share_frac=0.4, allergens=("barley",)),
        IngredientShown(name="stock paste", share_frac=0.3, allergens=("celery", "milk")),
        IngredientShown(name="salt", share_frac=0.01, allergens=()),
    ),
    ingredients_printed="",
    contains=("barley", "milk", "celery"),
    may_hold=(("mustard", "stock paste"),),
    unsure=("aunt's rub",),
    agents=(),
    water=WaterShown(
        volume_m3=472e-6,
        first_m3=418e-6,
        cups=472 / 240,
        mug_m3=240e-6,
        minutes=(19.4, 27.1, 43.2),
        stir_minutes=(0.0, 5.0, 10.0),
        cold_minutes=306.0,
        cover="cosy",
        fill_m=0.101,
    ),
    takes_boiling_water=None,
    beside=(BesideShown(name="dried beef", mass_kg=0.03),),
    packed_on=date(2026, 10, 23),
    planning_date=date(2027, 1, 22),
    printed_on=None,
    keep="cool_dry",
    cautions=(
        Note("label_once_wet", {"within_time_s": 7200.0}),
        *(
            Note(code)
            for code in (
                "label_absorber_out",
                "label_water_scalds",
                "label_pouch_for_boiling_water",
                "label_traces_not_known",
                "label_law_first",
            )
        ),
    ),
    address="http://127.0.0.1:8765",
    lacking=(),
)
LOIN = STEW.model_copy(
    update={
        "kind": "cured",
        "what": ("pork loin",),
        "name": "Loin",
        "water": None,
        "beside": (),
        "agents": ("sodium_nitrite",),
        "cautions": (Note("label_cured_meat"), Note("label_law_first")),
        "keep": "cold",
        "planning_date": None,
    }
)
HOSTILE = [
    "\"quotes\" 'single' `back`",
    "#panic() #[] $x^2$ *b* _i_ <l> @ref // /* \\ ~ --",
    '"); #read("/etc/passwd") #("',
    ']] }} {{ sys.inputs }} #include "x"',
    "= Heading",
    "<script>alert(1)</script> & <b>",
    "½ kg, Grün & Söhne, œuf, žito",
    "עֵץ שלום",
    "مرحبا",
    "a\u202eb\u2066c\u200bd",
    "Very long name " * 7 + "ends.",
    "x" * 120,
]


def paper(
    shown: LabelShown, sheet: str = "a4_3x2", *, copies: int = 1, skip: int = 0, extent: Extent = "full"
) -> Paper:
    return Paper(labels_pdf(WORDS, shown, SHEETS[sheet], copies=copies, skip=skip, extent=extent))


@pytest.mark.parametrize("sheet", ["a4_3x2", "a4_2x2", "letter_2x2", "single_100_150", "single_62_roll"])
def test_every_code_is_read_back_from_the_page(sheet: str) -> None:
    """zxing-cpp reads each code of the rasterised page, error correction H (ISO/IEC 18004)."""
    made = paper(STEW, sheet, copies=7)
    read = [code for page in range(len(made)) for code in made.codes(page)]
    assert [code.text for code in read] == [address_of(STEW.address, STEW.code)] * 7
    assert {code.ecc for code in read} == {"H"}
    assert STEW.code in made.text(0)


@pytest.mark.parametrize("sheet", sorted(SHEETS))
def test_pages_are_as_large_as_they_say_and_labels_stay_in_their_places(sheet: str) -> None:
    given = SHEETS[sheet]
    each = given.rows * given.columns
    try:
        made = paper(LOIN, sheet, copies=each + 1, skip=0, extent="brief")
    except Refused as refused:
        assert refused.problems[0].code == "label_too_small"
        return
    width, height = made.size_mm(0)
    assert width == pytest.approx(given.page_width_m * 1000, abs=0.2)
    assert len(made) == 2
    if given.page_height_m is None or given.label_height_m is None:
        return
    assert height == pytest.approx(given.page_height_m * 1000, abs=0.2)
    places = [
        (
            1000 * (given.left_m + (n % given.columns) * (given.label_width_m + given.gap_x_m)),
            1000 * (given.top_m + (n // given.columns) * (given.label_height_m + given.gap_y_m)),
        )
        for n in range(each)
    ]
    wide, high = 1000 * given.label_width_m, 1000 * given.label_height_m
    for char in made.chars(0):
        x, y = 0.5 * (char.left + char.right), height - 0.5 * (char.bottom + char.top)
        assert any(left <= x <= left + wide and top <= y <= top + high for left, top in places), char
        # slip.typ: nothing is set smaller than 6.5 pt
        assert char.size_pt > 6.4
    assert len(made.codes(0)) == each and len(made.codes(1)) == 1


def test_places_used_up_are_left_free() -> None:
    made = paper(LOIN, "a4_4x2", copies=6, skip=5, extent="brief")
    first, second = made.codes(0), made.codes(1)
    assert (len(first), len(second)) == (3, 3)
    # the sixth place is the right one of the third row
    sheet = SHEETS["a4_4x2"]
    top = 1000 * (sheet.top_m + 2 * sheet.label_height_m)
    assert min(code.top_mm for code in first) > top
    assert min(code.top_mm for code in second) < 1000 * sheet.top_m + 20


def test_a_full_label_says_all_the_issue_asks_for() -> None:
    text = paper(STEW).text()
    for said in (
        "Cooked and dried dish",
        "Barley stew (invented)",
        "118 g",
        "470 ml (2 × your mug of 240 ml)",
        "27 min (19 to 43)",
        "at once, and after 5, 10 min",
        "about 10.1 cm over the bottom seam",
        "Pour 420 ml first",
        "Add at camp: dried beef 30 g",
        "Contains: barley, milk, celery.",
        "May hold: mustard (stock paste).",
        "Nothing is known of: aunt's rub.",
        "pearl barley, stock paste (celery, milk), salt.",
        "425 kcal, protein 17.7 g, salt 2.9 g. Not known: sugars.",
        "23 October 2026",
        "22 January 2027",
        "The planning date is for planning alone",
        "cool, dry, dark",
        "Once wet, eat it within 2 h; do not carry the rest on.",
        "Take absorber and drying bag out before the water goes in.",
        "Boiling water scalds",
        "only into a pouch made for it",
        "Local food and labelling law comes first.",
    ):
        assert said.replace("\u00a0", " ") in text.replace("\u00a0", " "), said


@pytest.mark.parametrize("extent", ["full", "brief"])
@pytest.mark.parametrize("shown", [STEW, LOIN], ids=["stew", "loin"])
def test_no_label_gives_a_date_to_eat_by_or_a_comforting_word(shown: LabelShown, extent: Extent) -> None:
    text = paper(shown, "a4_2x2", extent=extent).text().lower()
    assert not [word for word in ("use by", "best before", "eat by", "expir", "safe") if word in text]
    assert "planning" in text


def test_a_cured_label_names_its_nitrite_and_a_date_not_worked_out() -> None:
    text = paper(LOIN).text()
    assert "Cured, dried meat: pork loin" in text
    assert "Cured with sodium nitrite (E 250)." in text
    assert "not worked out yet" in text
    assert "refrigerated" in text
    assert "Boiling water" not in text


def test_allergens_are_set_strong_among_the_ingredients() -> None:
    listed = label_of(WORDS, STEW)["ingredients"]["listed"]
    assert [(one["text"], one["strong"]) for one in listed] == [
        ("pearl barley", True),
        ("stock paste (celery, milk)", True),
        ("salt", False),
    ]


def test_a_brief_label_keeps_allergens_water_dates_and_cautions() -> None:
    text = paper(STEW, "a4_4x2", extent="brief").text()
    for said in (
        "Contains: barley, milk, celery.",
        "Nothing is known of: aunt's rub.",
        "27 min",
        "22 January",
    ):
        assert said in text.replace("\u00a0", " ")
    assert "Absorber out first." in text and "scalds" in text and "Local food and labelling law" in text
    assert "stock paste (celery" not in text and "kcal" not in text


def test_an_agent_of_cure_stands_on_the_brief_label_too() -> None:
    assert "sodium nitrite" in paper(LOIN, "a4_4x2", extent="brief").text()


def test_a_label_too_small_for_it_is_refused_and_not_cut_off() -> None:
    with pytest.raises(Refused) as told:
        paper(STEW, "a4_6x3")
    assert [(p.code, p.field, p.given) for p in told.value.problems] == [
        ("label_too_small", "sheet", "a4_6x3")
    ]
    with pytest.raises(Refused):
        label_picture(WORDS, STEW, SHEETS["a4_6x3"], extent="full")


@pytest.mark.parametrize("name", HOSTILE)
def test_what_people_typed_is_printed_and_nothing_else(name: str) -> None:
    """As a name, an ingredient, an unknown rub, a maker, added at camp: it breaks and injects nothing."""
    shown = STEW.model_copy(
        update={
            "name": name,
            "maker": name,
            "unsure": (name,),
            "ingredients": (IngredientShown(name=name, share_frac=1.0, allergens=("milk",)),),
            "beside": (BesideShown(name=name, mass_kg=0.03),),
            "may_hold": (("milk", name),),
        }
    )
    made = paper(shown, "a4_1x1")
    assert [code.text for code in made.codes(0)] == [address_of(STEW.address, STEW.code)]
    text = made.text()
    assert "Local food and labelling law comes first." in text
    assert "root:" not in text
    if name.isascii():
        # bold, roman and broken over lines, all its signs are there each time
        seen = text.replace(" ", "")
        assert seen.count(name.strip().replace(" ", "")) >= 5
    narrow = paper(shown, "single_62_roll")
    width = narrow.size_mm(0)[0]
    assert all(char.left >= -0.1 and char.right <= width + 0.1 for char in narrow.chars(0))


def test_signs_no_font_here_has_are_told_in_words() -> None:
    text = paper(STEW.model_copy(update={"name": "Stew \U0001f372 \U0001f600"})).text()
    assert "[pot of food]" in text and "[grinning face]" in text


def test_direction_marks_do_not_turn_the_line() -> None:
    text = paper(STEW.model_copy(update={"name": "a\u202eb\u2066c"})).text()
    assert "abc" in text


def test_panels_print_less_than_not_known_and_the_law_s_units() -> None:
    def amount(value: float, places: int = 0, less: bool = False) -> Printed:
        return Printed(value=value, less_than=less, places=places)

    us = Panel(
        law="us",
        servings=2.5,
        serving_kg=0.0472,
        lines=(
            PanelLine(id="us_energy", unit="kcal", indent=0, each=(amount(170),), percent=None, missing=()),
            PanelLine(
                id="us_cholesterol",
                unit="mg",
                indent=0,
                each=(amount(5, less=True),),
                percent=amount(1),
                missing=(),
            ),
            PanelLine(id="us_sugars", unit="g", indent=1, each=(None,), percent=None, missing=("lentils",)),
            PanelLine(
                id="us_vitamin_d", unit="ug", indent=0, each=(amount(0.3, 1),), percent=amount(2), missing=()
            ),
        ),
    )
    text = paper(STEW.model_copy(update={"panel": us}), "a4_2x2").text().replace("\u00a0", " ")
    for said in (
        "2.5 servings of 47 g in this pack.",
        "Calories 170",
        "less than 5 mg",
        "not known",
        "0.3 µg 2 %",
        "Left open because it is not known of: lentils.",
    ):
        assert said in text, said
    assert "425 kcal" not in text  # the panel stands instead of the plain line


def test_a_picture_is_one_label_alone() -> None:
    made: Any = label_picture(WORDS, STEW, SHEETS["a4_3x2"], extent="full")
    assert made[:8] == b"\x89PNG\r\n\x1a\n"
    width, height = int.from_bytes(made[16:20]), int.from_bytes(made[20:24])
    assert width / height == pytest.approx(99.1 / 93.1, rel=0.01)
