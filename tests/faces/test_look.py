"""The look: contrast computed from the stylesheet in its three themes (WCAG 2.2, 1.4.3 and 1.4.11)."""

from __future__ import annotations

import re
from importlib.resources import files
from pathlib import Path

import pytest

import saltfare.faces

CSS = (files("saltfare.faces") / "static" / "saltfare.css").read_text("utf-8")
SCRIPT = (files("saltfare.faces") / "static" / "partial.js").read_text("utf-8")
TEMPLATES = sorted((Path(saltfare.faces.__file__).parent / "templates").glob("*.html"))


def _themes() -> dict[str, dict[str, str]]:
    light = re.search(r"^:root \{(.*?)^\}", CSS, re.S | re.M)
    dark = re.search(r"prefers-color-scheme: dark\) \{\s*:root \{(.*?)\}", CSS, re.S)
    paper = re.search(r"@media print \{\s*:root \{(.*?)\}", CSS, re.S)
    assert light and dark and paper
    out = {}
    for name, found in (("light", light), ("dark", dark), ("print", paper)):
        out[name] = dict(re.findall(r"--([a-z-]+): (#[0-9A-Fa-f]{6})", found[1]))
    return out


THEMES = _themes()


def luminance(colour: str) -> float:
    """WCAG 2.2, relative luminance."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, contrast ratio."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_formula_gives_the_ends_of_its_scale() -> None:
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0)
    assert contrast("#777777", "#FFFFFF") == pytest.approx(4.48, abs=0.005)  # the usual grey that just fails


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("text", ["ink", "quiet", "accent", "oxide", "ochre"])
@pytest.mark.parametrize("ground", ["paper", "card", "band-outer"])
def test_text_stands_out(theme: str, text: str, ground: str) -> None:
    assert contrast(THEMES[theme][text], THEMES[theme][ground]) >= 4.5


@pytest.mark.parametrize("theme", THEMES)
def test_buttons_and_edges_stand_out(theme: str) -> None:
    colours = THEMES[theme]
    assert contrast(colours["on-accent"], colours["accent"]) >= 4.5
    for ground in ("paper", "card"):
        assert contrast(colours["line"], colours[ground]) >= 3.0
        assert contrast(colours["accent"], colours[ground]) >= 3.0
    for drawn in ("accent", "ink"):
        assert contrast(colours[drawn], colours["band"]) >= 3.0


def test_each_theme_names_the_same_colours() -> None:
    assert len({frozenset(theme) for theme in THEMES.values()}) == 1


def test_every_colour_is_named_once() -> None:
    body = re.sub(r":root \{.*?\}", "", CSS, flags=re.S)
    assert not re.findall(r"#[0-9A-Fa-f]{3,8}\b|rgb|hsl", body)


def test_corners_are_square_and_nothing_casts_a_shadow() -> None:
    assert set(re.findall(r"border-radius: ([^;]+)", CSS)) == {"0"}
    assert all(shadow.startswith("inset") for shadow in re.findall(r"box-shadow: ([^;]+)", CSS))


def test_nothing_is_fetched_from_elsewhere() -> None:
    assert "url(" not in CSS and "@import" not in CSS
    assert "http" not in SCRIPT and "import " not in SCRIPT


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda p: p.name)
def test_templates_hold_no_inline_script_or_style_and_no_raw_text(path: Path) -> None:
    text = path.read_text("utf-8")
    assert not re.search(r"\sstyle=|<style|<script(?! type=\"module\" src=)|\son[a-z]+=", text)
    assert "|safe" not in text.replace(" ", "") and "autoescape false" not in text
    assert not re.search(r"type=\"(number|range|color)\"", text)
    assert not re.search(r"(src|href|action)=\"(https?:)?//", text)
