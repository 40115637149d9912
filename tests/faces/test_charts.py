"""The loss chart: what it draws, that it may be set inline, that it says what it shows."""

from __future__ import annotations

import dataclasses
import math
import re
from datetime import UTC, datetime, timedelta
from importlib.resources import files
from xml.etree import ElementTree

import pytest

from saltfare.faces.charts import (
    DESK_WIDTH,
    PHONE_WIDTH,
    Labels,
    LossChart,
    WeighIn,
    audited,
    loss_spec,
    loss_svg,
)

START = datetime(2026, 8, 1, 7, 30, tzinfo=UTC)
DAYS = range(0, 45, 3)
MEDIAN = tuple(0.42 * (1 - math.exp(-d / 25)) for d in DAYS)
LABELS = Labels(
    "Loss of <b>A1</b> & friend: about 21 %.",
    "lost, %",
    "at its mass: 34 %",
    "air assumed from here",
    "%-d %b",
    (
        "January",
        "February",
        "March",
        "April",
        "May",
        "June",
        "July",
        "August",
        "September",
        "October",
        "November",
        "December",
    ),
    ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"),
)
CHART = LossChart(
    tuple(START + timedelta(days=d) for d in DAYS),
    MEDIAN,
    tuple(m * 0.9 for m in MEDIAN),
    tuple(m * 1.1 for m in MEDIAN),
    tuple(m * 0.8 for m in MEDIAN),
    tuple(m * 1.2 for m in MEDIAN),
    (WeighIn(START + timedelta(days=5), 0.072, "6 August: 7.2 %"),),
    0.34,
    START + timedelta(days=21),
    LABELS,
)


def test_the_svg_holds_nothing_a_strict_policy_refuses() -> None:
    for width in (PHONE_WIDTH, DESK_WIDTH):
        svg = loss_svg(CHART, width)
        assert not re.search(r"style=|<style|<script|\son[a-z]+=|href|url\(|<image|<foreignObject", svg)
        assert len(svg) < 40_000


def test_the_svg_is_one_picture_that_says_what_it_shows() -> None:
    root = ElementTree.fromstring(loss_svg(CHART, PHONE_WIDTH))
    assert root.get("role") == "img"
    assert root.get("aria-label") == LABELS.description
    assert not [e for e in root.iter() if e is not root and any(a.startswith("aria-") for a in e.attrib)]


@pytest.mark.parametrize("width", [PHONE_WIDTH, DESK_WIDTH])
def test_the_svg_is_as_wide_as_asked(width: int) -> None:
    root = ElementTree.fromstring(loss_svg(CHART, width))
    assert width - 25 <= float(root.get("width", "0")) <= width + 5


def test_the_drawing_is_the_data() -> None:
    """The median's path, taken back through the axes, is the series."""
    svg = loss_svg(CHART, DESK_WIDTH)
    path = re.search(r'median_marks"[^>]*>\s*<path d="([^"]+)"', svg)
    assert path
    points = [tuple(map(float, p.split(","))) for p in re.split("[ML]", path[1]) if p]
    spec = loss_spec(CHART, DESK_WIDTH)
    width, height = spec["width"], spec["height"]
    ticks = [float(t) for t in re.findall(r'translate\(-?[\d.]+,[\d.]+\)"[^>]*>(\d+)</text>', svg)]
    top = max(ticks)
    ys = [(height - y) / height for _, y in points]
    scale = MEDIAN[-1] / ys[-1]
    assert scale * 100 >= top * 0.99
    for (x, _), share, day, median in zip(points, ys, DAYS, MEDIAN, strict=True):
        assert share * scale == pytest.approx(median, abs=1e-3)
        assert x / width == pytest.approx(day / DAYS[-1], abs=1e-3)


def test_colours_are_attributes_that_the_stylesheet_reaches_by_layer() -> None:
    css = (files("saltfare.faces") / "static" / "saltfare.css").read_text("utf-8")
    drawn = set(re.findall(r"role-mark ([a-z0-9_]+_marks)", loss_svg(CHART, PHONE_WIDTH)))
    assert drawn == {
        "band95_marks",
        "band80_marks",
        "assumed_marks",
        "assumed_text_marks",
        "target_marks",
        "target_text_marks",
        "median_marks",
        "weighed_marks",
    }
    for name in drawn:
        assert f".loss .{name} " in css


def test_without_target_or_readings_the_rules_are_left_out() -> None:
    bare = dataclasses.replace(CHART, target_frac=None, air_assumed_from=None, weigh_ins=())
    svg = loss_svg(bare, PHONE_WIDTH)
    assert "target_marks" not in svg and "assumed_marks" not in svg and "weighed_marks" not in svg
    assert "median_marks" in svg


def test_words_and_decimal_sign_come_from_outside() -> None:
    french = dataclasses.replace(
        CHART, labels=dataclasses.replace(LABELS, loss="perte", months=("Xyz",) * 12)
    )
    svg = loss_svg(french, PHONE_WIDTH)
    assert "perte" in svg and "Xyz" in svg and "lost" not in svg


@pytest.mark.parametrize(
    "bad",
    [
        "<script/>",
        '<g style="x"/>',
        '<g onload="x"/>',
        '<a href="x"/>',
        '<path fill="url(#x)"/>',
        "<foreignObject/>",
    ],
)
def test_a_drawing_with_more_in_it_is_refused(bad: str) -> None:
    with pytest.raises(ValueError, match="in a chart"):
        audited(f'<svg xmlns="http://www.w3.org/2000/svg">{bad}</svg>', "")
