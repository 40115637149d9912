"""A piece cut across: what is drawn is what was computed, in one hue, named and with its table."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from importlib.resources import files
from itertools import pairwise
from typing import Any
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from page_site import Site, running
from test_look import THEMES, contrast, luminance

from saltfare.actions import registry
from saltfare.faces.charts import DESK_WIDTH, PHONE_WIDTH
from saltfare.faces.section_drawing import (
    BRINE_AT,
    TONES,
    WATER_AT,
    Cut,
    SectionDrawing,
    rings,
    section_spec,
    section_svg,
)

CSS = (files("saltfare.faces") / "static" / "saltfare.css").read_text("utf-8")
DEPTHS = tuple(0.5 * n for n in range(61))
# Invented: a smooth fall of water and rise of salt, no expected value of anything.
CUT = Cut(
    "Now: 616 g",
    DEPTHS,
    tuple(0.68 - 0.36 * (d / 30) ** 3 for d in DEPTHS),
    tuple(0.045 + 0.11 * (d / 30) ** 3 for d in DEPTHS),
)
PERCENT = tuple((level, f"{100 * level:.0f} %") for level in (*WATER_AT, *BRINE_AT))


def drawing(shape: Any = "cylinder", *, one_sided: bool = False, cuts: int = 2) -> SectionDrawing:
    return SectionDrawing(shape, one_sided, (CUT,) * cuts, "water", "salt", "10 mm", "A <b> & told.", PERCENT)


@pytest.mark.parametrize("width", [PHONE_WIDTH, DESK_WIDTH])
@pytest.mark.parametrize(("shape", "one_sided"), [("cylinder", False), ("slab", False), ("slab", True)])
def test_the_svg_may_be_set_inline_and_says_what_it_shows(shape: str, one_sided: bool, width: int) -> None:
    svg = section_svg(drawing(shape, one_sided=one_sided), width)
    assert not re.search(r"style=|<style|<script|\son[a-z]+=|href|url\(|<image|<foreignObject", svg)
    assert len(svg) < 40_000
    root = ElementTree.fromstring(svg)
    assert (root.get("role"), root.get("aria-label")) == ("img", "A <b> & told.")
    assert float(root.get("width", "0")) == pytest.approx(width, abs=6)


def test_contours_lie_where_the_profile_crosses_their_values() -> None:
    for values, levels in ((CUT.water_frac, WATER_AT), (CUT.brine_frac, BRINE_AT)):
        found = rings(DEPTHS, values, levels)
        assert found[0].inner_mm == 0 and found[-1].outer_mm == DEPTHS[-1]
        for inner, outer in pairwise(found):
            assert inner.outer_mm == outer.inner_mm
            level = levels[max(inner.tone, outer.tone) - 1]
            exact = 30 * ((0.68 - level) / 0.36 if values is CUT.water_frac else (level - 0.045) / 0.11) ** (
                1 / 3
            )
            assert inner.outer_mm == pytest.approx(exact, abs=0.02)


@given(
    st.lists(st.floats(0.0, 0.9), min_size=2, max_size=12),
    st.lists(st.floats(0.1, 5.0), min_size=11, max_size=11),
)
@settings(max_examples=150, deadline=None)
def test_rings_cover_the_whole_and_hold_the_values_they_say(values: list[float], steps: list[float]) -> None:
    depths = [0.0]
    for step in steps[: len(values) - 1]:
        depths.append(depths[-1] + step)
    found = rings(depths, values, WATER_AT)
    thin = 0.05 * (len(values) * len(WATER_AT) + 1)
    assert sum(r.outer_mm - r.inner_mm for r in found) == pytest.approx(depths[-1], abs=thin)
    for ring in found:
        middle = (ring.inner_mm + ring.outer_mm) / 2
        at = next(n for n, d in enumerate(depths) if d >= middle)
        part = (middle - depths[at - 1]) / (depths[at] - depths[at - 1])
        value = values[at - 1] + part * (values[at] - values[at - 1])
        low = WATER_AT[ring.tone - 1] if ring.tone else -math.inf
        high = WATER_AT[ring.tone] if ring.tone < len(WATER_AT) else math.inf
        assert low - 1e-6 <= value <= high + 1e-6


def test_each_contour_carries_its_value_and_both_cuts_have_one_scale() -> None:
    spec = section_spec(drawing(), DESK_WIDTH)
    rows = spec.get("datasets", {})
    held = [
        row
        for layer in spec["layer"]
        for row in layer["data"].get("values", rows.get(layer["data"].get("name"), []))
    ]
    texts = [row["text"] for row in held if "text" in row]
    crossed = [f"{100 * v:.0f} %" for v in (0.4, 0.5, 0.6, 0.06, 0.08, 0.10, 0.15)]
    assert sorted(t for t in texts if t.endswith("%")) == sorted(crossed * 2)
    svg = section_svg(drawing(), DESK_WIDTH)
    for text in (*crossed, "water", "salt", "10 mm", "Now: 616 g"):
        assert text in svg


def test_the_rule_is_ten_millimetres_of_the_piece() -> None:
    svg = section_svg(drawing(cuts=1), PHONE_WIDTH)
    radius = max(float(r) for r in re.findall(r"A([\d.]+),", svg))
    rule = re.search(r'rule_marks"[^>]*>\s*<line[^>]*x2="(-?[\d.]+)"', svg)
    assert rule
    assert abs(float(rule[1])) / 10 == pytest.approx(radius / DEPTHS[-1], rel=1e-3)


def _lightness(colour: str) -> float:
    """CIE 1976 L* (CIE 15)."""
    y = luminance(colour)
    return 116 * y ** (1 / 3) - 16 if y > 0.008856 else 903.3 * y


@pytest.mark.parametrize("theme", THEMES)
def test_tones_are_one_hue_by_lightness_and_text_reads_on_all(theme: str) -> None:
    colours = THEMES[theme]
    tones = [colours[f"tone-{n}"] for n in "abcdefg"]
    steps = [abs(_lightness(b) - _lightness(a)) for a, b in pairwise(tones)]
    assert min(steps) >= 4.0
    ordered = [_lightness(t) for t in tones]
    assert ordered in (sorted(ordered), sorted(ordered, reverse=True))
    for tone in tones:
        assert contrast(colours["ink"], tone) >= 4.5  # WCAG 2.2, 1.4.3
        red, green, blue = (int(tone[i : i + 2], 16) for i in (1, 3, 5))
        assert green >= red and green >= blue  # nothing like meat, raw or cooked


def test_the_light_tones_are_those_of_the_drawing() -> None:
    assert tuple(THEMES["light"][f"tone-{n}"] for n in "abcdefg") == TONES


def test_every_layer_is_coloured_by_the_stylesheet() -> None:
    drawn = set()
    for shape in ("cylinder", "slab"):
        drawn |= set(re.findall(r"role-mark ([a-z0-9_]+_marks)", section_svg(drawing(shape), PHONE_WIDTH)))
    assert {"contour_marks", "value_text_marks", "rule_marks"} < drawn
    for name in drawn:
        assert f".section .{name} " in CSS


# on the page

NOW = datetime(2026, 11, 25, 10, tzinfo=UTC)
PLAN = {
    "purpose": "home_cold",
    "cut": "pork_belly_lean",
    "green_weight": "2.1 kg",
    "shape": "slab",
    "thickness": "45 mm",
    "width": "18 cm",
    "length": "28 cm",
    "salt_share": "2.8 %",
    "mix": {"name": "jar", "nitrite": "6.25 %"},
    "scale_step": "0.1 g",
    "salting_temperature": "4 C",
    "chamber": "cupboard",
}


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    moment = [NOW - timedelta(days=30)]
    with running(tmp_path_factory.mktemp("section"), clock=lambda: moment[0]) as made:

        def do(name: str, /, **what: Any) -> Any:
            return registry.run(name, made.house.context(), what)

        do("describe_chamber", name="Cupboard", temperature="13 C", humidity="75 %", air_speed="0.1 m/s")
        code = do("start_piece", **PLAN, name="Belly").code
        do("salt_piece", code=code, salt="54.5 g", mix="5 g")
        moment[0] = NOW - timedelta(days=12)
        do("hang_piece", code=code, mass="2.02 kg")
        moment[0] = NOW
        do("weigh_in", code=code, mass="1.745 kg")
        yield made


def test_the_page_holds_drawing_caption_and_table(site: Site) -> None:
    code = registry.run("pieces", site.house.context(), {"forecasts": False}).pieces[0].code  # type: ignore[attr-defined]
    found: Any = registry.run("section", site.house.context(), {"code": code})
    page = site.page(f"/pieces/{code}")
    details = next(n for n in page.all("details") if n.attrs.get("id") == "across")
    pictures = [n for n in details.all("svg") if n.attrs.get("role") == "img"]
    assert len(pictures) == 2
    label = pictures[0].attrs["aria-label"]
    assert label.startswith("Belly, cut across.") and "table below" in label
    caption = next(details.all("figcaption")).text
    assert "Computed, not measured" in caption and "1 weigh-in up to 25 November" in caption.replace(
        "\u00a0", " "
    )
    assert "breadth is not to scale" in caption
    table = next(details.all("table"))
    rows = [
        [n.text.replace("\u00a0", " ") for n in row.all("th", "td")]
        for row in next(table.all("tbody")).all("tr")
    ]
    assert len(rows) == 6 and all(len(row) == 7 for row in rows)
    water = [100 * found.now.places[0].water_frac, 100 * found.now.places[-1].water_frac]
    assert [rows[0][2], rows[-1][2]] == [f"{round(w)} %" for w in water]
    assert rows[-1][1] == "0 mm" and rows[0][1] == f"{round(500 * found.now.thickness_m)} mm"


def test_the_section_agrees_with_its_own_mass_and_ends_at_the_target(site: Site) -> None:
    code = registry.run("pieces", site.house.context(), {"forecasts": False}).pieces[0].code  # type: ignore[attr-defined]
    found: Any = registry.run("section", site.house.context(), {"code": code})
    assert found.weigh_ins == 1 and found.target is not None
    # a straight line between two days of a course that bends little
    assert found.target.mass_kg == pytest.approx(found.target_kg, rel=1e-6)
    # one weigh-in of a piece hung 12 days: the likeliest course passes close by it
    assert found.now.mass_kg == pytest.approx(1.745, rel=0.02)
    for cut in (found.now, found.target):
        water, salt = [p.water_frac for p in cut.places], [p.brine_frac for p in cut.places]
        assert water == sorted(water, reverse=True) and salt == sorted(salt)
        # salt stays with the solids: its share of what it is dissolved in is all that changes
        kept = [s / (1 - s) * w for s, w in zip(salt, water, strict=True)]
        dry = [1 - w for w in water]
        assert [k / d for k, d in zip(kept, dry, strict=True)] == pytest.approx([kept[0] / dry[0]] * len(dry))
    assert found.target.thickness_m < found.now.thickness_m < 0.045


def test_a_piece_that_does_not_hang_has_none(site: Site) -> None:
    code = registry.run("start_piece", site.house.context(), {**PLAN, "name": "Other"}).code  # type: ignore[attr-defined]
    page = site.page(f"/pieces/{code}")
    assert not [n for n in page.all("details") if n.attrs.get("id") == "across"]
