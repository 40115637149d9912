"""Tags and the week's sheet, read back from the paper: codes, sizes, text, names that mean harm."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from page_site import Site, running
from paper_read import Paper

from saltfare.actions import registry
from saltfare.actions.bench import AmountDue
from saltfare.actions.tags import DEFAULT_ADDRESS, MixTold, TagShown, TagsShown
from saltfare.core.errors import NotFound, Refused
from saltfare.faces.paper import press
from saltfare.faces.paper.tags import SIZES, Size, address_of, tag, tags_pdf
from saltfare.faces.words import Words

NOW = datetime(2026, 11, 25, 10, tzinfo=UTC)
WORDS = Words(today=NOW.date())
CUTS = {"pork_collar": "pork collar (neck)"}
# Invented: tags to print, no expected value of anything.
CURING = TagShown(
    kind="curing",
    code="JQGPFJG",
    name="Collar, left side",
    cut="pork_collar",
    state="in salt",
    intact=True,
    green_kg=1.84,
    salt_on=date(2026, 11, 16),
    second_on=None,
    wash_on=date(2026, 12, 17),
    hang_on=date(2026, 12, 17),
    planned=("target_kg", "wash_on", "hang_on"),
    mix=MixTold(name="the jar with the blue lid", nitrite_frac=0.0625, nitrate_frac=None),
    amounts=(
        AmountDue(quantity="cure_mix_dose", name="", value=0.0044),
        AmountDue(quantity="salt_dose", name="", value=0.0548),
        AmountDue(quantity="spice_dose", name="black pepper", value=0.0092),
        AmountDue(quantity="spice_dose", name="sweet paprika", value=0.0074),
    ),
    salting_c=3.5,
    cold_c=4.0,
    hung_kg=None,
    target_kg=1.073,
    target_loss_frac=0.37,
    tare_kg=None,
    chamber="Cool cupboard",
    weigh_on=(),
)
SECOND = CURING.model_copy(
    update={
        "kind": "second_half",
        "second_on": date(2026, 11, 24),
        "planned": ("target_kg", "second_on", "wash_on", "amounts"),
    }
)
HANGING = CURING.model_copy(
    update={
        "kind": "hanging",
        "code": "CJKSJK8",
        "planned": (),
        "hung_kg": 1.755,
        "hang_on": date(2026, 10, 23),
        "target_kg": 1.106,
        "tare_kg": 0.012,
        "amounts": (),
        "weigh_on": (date(2026, 12, 4), date(2026, 12, 18), date(2027, 1, 8)),
    }
)
HOSTILE = [
    "\"quotes\" 'single' `back`",
    "#panic() #[] $x^2$ *b* _i_ <l> @ref // /* \\ ~ --",
    '"); #read("/etc/passwd") #("',
    ']] }} {{ sys.inputs }} #include "x"',
    "= Heading",
    "- item",
    "½ kg, Grün & Söhne, œuf, žito",
    "עֵץ שלום",
    "مرحبا",
    "Ελληνικά, Русский",
]
NAMES = [*HOSTILE, "Very long name " * 13 + "ends.", "x" * 200]


def pdf(*tags: TagShown, size: Size = "sheet", address: str = DEFAULT_ADDRESS) -> Paper:
    return Paper(tags_pdf(WORDS, TagsShown(address=address, tags=tags), size, CUTS))


@pytest.mark.parametrize(
    ("size", "pages", "address"),
    [
        ("sheet", 2, DEFAULT_ADDRESS),
        ("card", 10, DEFAULT_ADDRESS),
        ("roll", 10, "http://192.168.100.200:8765"),
        ("sheet", 2, "https://a-long-name-of-a-machine.home.arpa:18765"),
    ],
)
def test_every_code_on_paper_is_read_back(size: Size, pages: int, address: str) -> None:
    """zxing-cpp reads each code of the rasterised page, right text, error correction H (ISO/IEC 18004)."""
    codes = [f"{n}QGPFJ{n}" for n in range(10)]
    paper = pdf(*(HANGING.model_copy(update={"code": code}) for code in codes), size=size, address=address)
    assert len(paper) == pages
    read = [code for page in range(pages) for code in paper.codes(page)]
    assert sorted(code.text for code in read) == [address_of(address, code) for code in codes]
    for code in read:
        assert code.text == code.text.upper()
        assert code.ecc == "H"


def test_a_code_takes_the_alphanumeric_mode_and_no_less_than_its_mm() -> None:
    """32 characters in capitals are version 3 at H: 37 modules with quiet zone, 18.5 mm at half a
    millimetre a module (ISO/IEC 18004, tables 3 and 7; measured with segno in the house's notes)."""
    import segno

    text = "HTTP://192.168.1.20:8765/L/7K3QX"
    made = segno.make(text, error="h", micro=False, boost_error=False)
    assert (made.version, made.mode, made.error) == (3, "alphanumeric", "H")
    assert press.qr(text)["mm"] == 18.5
    assert segno.make(text.lower(), error="h", micro=False, boost_error=False).version == 4
    paper = pdf(HANGING, size="card", address="http://192.168.1.20:8765")
    (code,) = paper.codes(0, dpi=300)
    modules = press.qr(code.text)["mm"] / press.MODULE_MM
    # what the reader finds is the code without its quiet zone of four modules on either side
    assert code.width_mm == pytest.approx((modules - 8) * press.MODULE_MM, abs=0.35)


def test_nothing_is_printed_in_the_quiet_zone() -> None:
    paper = pdf(HANGING, size="card")
    (code,) = paper.codes(0, dpi=300)
    quiet, height = 4 * press.MODULE_MM, paper.size_mm(0)[1]
    for char in paper.chars(0):
        beside = char.right < code.left_mm - quiet or char.left > code.left_mm + code.width_mm + quiet
        top = height - char.top
        above = (
            height - char.bottom < code.top_mm - quiet + 0.3
            or top > code.top_mm + code.width_mm + quiet - 0.3
        )
        assert beside or above, char


@pytest.mark.parametrize("size", SIZES)
def test_pages_are_as_large_as_they_say(size: Size) -> None:
    paper = pdf(*[CURING] * 9, size=size)
    for page in range(len(paper)):
        width, height = paper.size_mm(page)
        if size == "sheet":
            assert (width, height) == pytest.approx((210, 297), abs=0.3)
        elif size == "card":
            assert (width, height) == pytest.approx((100, 60), abs=0.1)
        else:
            assert width == pytest.approx(62, abs=0.1)
            assert 60 < height < 160


@pytest.mark.parametrize("name", NAMES, ids=range(len(NAMES)))
def test_a_name_prints_as_it_was_typed_and_breaks_nothing(name: str) -> None:
    for kind, size in ((CURING, "sheet"), (HANGING, "card"), (HANGING, "roll")):
        tagged = kind.model_copy(update={"name": name, "chamber": name[:80]})
        paper = pdf(tagged, size=size)
        assert len(paper) == 1
        said = paper.text().replace(" ", "")
        if any("\u0590" <= char <= "\u06ff" for char in name):
            # written from the right: the same signs, in whatever order the reader gives them
            assert sorted(set(press.printable(name)) - {" "}) == sorted(
                c for c in set(name) if c in said and c != " "
            )
        else:
            assert " ".join(name.split()).replace(" ", "") in said
        assert [code.text for code in paper.codes(0)] == [address_of(DEFAULT_ADDRESS, tagged.code)]
        width, height = paper.size_mm(0)
        for char in paper.chars(0):
            assert char.left >= 0 and char.right <= width and char.bottom >= 0 and char.top <= height


def test_what_no_font_holds_is_told_in_words() -> None:
    """Unicode's own names (the Unicode Character Database, as Python ships it)."""
    assert press.printable("ham 🐖 house") == "ham [pig] house"
    assert press.printable("日本") == "[U+65E5][U+672C]"
    assert "[pig]" in pdf(CURING.model_copy(update={"name": "🐖 Collar"}), size="card").text()


def test_marks_that_steer_the_line_are_dropped() -> None:
    assert press.printable("ab\u202ecd\u202c\u2066e\u2069\ufe0f\u200d\x00f\ng\tx\u2028y") == "abcde f g x y"
    assert press.printable("e\u0301") == "é"


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("one", [CURING, SECOND, HANGING], ids=lambda t: t.kind)
def test_no_letter_is_smaller_than_six_points(one: TagShown, size: Size) -> None:
    long = one.model_copy(update={"name": "Very long name " * 13})
    for shown in (one, long):
        sizes = [char.size_pt for char in pdf(shown, size=size).chars(0)]
        assert len(sizes) > 150
        assert min(sizes) >= 6.0


@pytest.mark.parametrize("size", SIZES)
def test_the_mass_aimed_at_is_the_largest_thing_on_a_tag(size: Size) -> None:
    paper = pdf(HANGING, size=size)
    chars = list(paper.chars(0))
    largest = max(char.size_pt for char in chars)
    assert "".join(c.text for c in chars if c.size_pt == largest) == "1.106kg"
    assert largest >= 18


def test_a_tag_tells_the_figures_of_the_action() -> None:
    text = pdf(CURING, size="card").text().replace("\u00a0", " ")
    for figure in (
        "1.84 kg",
        "6.25 % nitrite",
        "4.4 g",
        "54.8 g",
        "1.073 kg",
        "JQGPFJG",
        "Collar, left side",
    ):
        assert figure in text
    assert "Black pepper" in text and "9.2 g" in text and "Sweet paprika 7.4 g" in text
    assert "planned Thu 17 December" in text and "Mon 16 November" in text
    assert "planned Mon 16 November" not in text
    assert "planned target mass" in text
    text = pdf(HANGING, size="card").text().replace("\u00a0", " ")
    for figure in ("1.755 kg", "1.106 kg", "37 %", "12 g", "1.118 kg with hook and net", "CJKSJK8"):
        assert figure in text
    assert "planned" not in text
    text = pdf(SECOND, size="card").text().replace("\u00a0", " ")
    assert "planned Tue 24 November" in text and "planned 4.4 g" in text


def test_no_tag_promises() -> None:
    for one in (CURING, SECOND, HANGING, HANGING.model_copy(update={"intact": False})):
        text = pdf(one, size="roll").text().lower()
        assert not re.search(r"use by|best before|\bsafe|safely|unsafe", text)
        assert "local codes and licensed practice come first" in text
    assert "not one whole muscle" in text


def test_a_name_fills_its_own_box_only() -> None:
    """The layout is one and the same text: two tags differ in their data alone."""
    one, two = (
        tag(WORDS, t, DEFAULT_ADDRESS, "x") for t in (CURING, CURING.model_copy(update={"name": "#x"}))
    )
    assert {k: v for k, v in one.items() if k != "name"} == {k: v for k, v in two.items() if k != "name"}


# on the site


# Invented: a household with one piece in salt, one hung.
PLAN = {
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
}


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    moment = [NOW - timedelta(days=30)]
    with running(tmp_path_factory.mktemp("paper"), clock=lambda: moment[0]) as made:
        _run(
            made,
            "describe_chamber",
            name="Cupboard",
            temperature="13 C",
            humidity="75 %",
            air_speed="0.1 m/s",
        )
        old = _run(made, "start_piece", **PLAN, name="Loin, right").code
        _run(made, "salt_piece", code=old, salt="42.1 g", mix="3.9 g")
        moment[0] = NOW - timedelta(days=4)
        _run(made, "hang_piece", code=old, mass="1.551 kg")
        new = _run(made, "start_piece", **PLAN, name="Loin, left").code
        _run(made, "salt_piece", code=new, salt="42.3 g", mix="3.8 g")
        moment[0] = NOW
        yield made


def _run(site: Site, name: str, /, **given: Any) -> Any:
    return registry.run(name, site.house.context(), given)


def test_the_site_prints_a_tag_for_every_piece_under_way(site: Site) -> None:
    shown = _run(site, "tags")
    assert isinstance(shown, TagsShown) and len(shown.tags) == 2
    answer = site.get("/tags.pdf")
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.headers["cache-control"] == "no-store"
    paper = Paper(answer.content)
    read = [code.text for page in range(len(paper)) for code in paper.codes(page)]
    assert sorted(read) == sorted(address_of(shown.address, one.code) for one in shown.tags)
    text = paper.text()
    for one in shown.tags:
        assert one.name in text and one.code in text
        assert WORDS.shown.quantity(one.green_kg, "mass") in text.replace(" ", "\u00a0")
        if one.target_kg is not None:
            assert WORDS.shown.quantity(one.target_kg, "mass") in text.replace(" ", "\u00a0")


def test_a_tag_leads_to_its_piece_in_any_case(site: Site) -> None:
    code = _run(site, "tags").tags[0].code
    paper = Paper(site.get(f"/pieces/{code}/tag.pdf").content)
    for path in (f"/L/{code}", f"/l/{code.lower()}", f"/L/{code[:3]}-{code[3:].lower()}"):
        answer = site.get(path)
        assert (answer.status_code, answer.headers["location"]) == (303, f"/pieces/{code}")
    assert paper.codes(0)[0].text.endswith(f"/L/{code}")


def test_a_code_typed_wrong_is_told_so(site: Site) -> None:
    code = _run(site, "tags").tags[0].code
    wrong = ("3" if code[0] != "3" else "4") + code[1:]
    assert site.get(f"/L/{wrong}").status_code == 422
    assert site.get("/L/LOOK").status_code == 422
    with pytest.raises(NotFound):
        _run(site, "open_code", code="0000000")


def test_the_week_has_a_line_for_every_reading_due(site: Site) -> None:
    sheet = _run(site, "batch_sheet")
    bench = _run(site, "bench")
    due = {(one.code, one.step) for lists in (bench.late, bench.due, bench.coming) for one in lists}
    assert due and due <= {(line.code, line.what) for line in sheet.lines}
    paper = Paper(site.get("/week.pdf").content)
    text = paper.text()
    for line in sheet.lines:
        assert line.name in text and line.code in text
    for chamber in sheet.chambers:
        assert chamber in text
    assert paper.size_mm(0) == pytest.approx((210, 297), abs=0.3)
    assert min(char.size_pt for char in paper.chars(0)) >= 6.0


def test_the_address_is_the_one_the_person_set(tmp_path: Path) -> None:
    with running(tmp_path, clock=lambda: NOW) as own:
        assert _run(own, "tags").address == "http://127.0.0.1:8765"
        page = own.page("/tags")
        for bad in (
            "ftp://x",
            "http://[::1]:8765",
            "http://a b",
            "http://a/b",
            "javascript:1",
            "http://ä.de",
        ):
            answer = own.send(page, "/tags/address", {"address": bad})
            assert answer.status_code == 422 and "QR code" in answer.text
            with pytest.raises(Refused):
                _run(own, "set_tag_address", address=bad)
        answer = own.send(page, "/tags/address", {"address": "http://192.168.1.20:8765/"})
        assert answer.status_code == 200
        assert _run(own, "tags").address == "http://192.168.1.20:8765"
        assert own.get("/tags.pdf").status_code == 422
        assert own.get("/tags.pdf?size=huge").status_code == 422
