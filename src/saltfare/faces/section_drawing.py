"""A piece cut across, as static SVG: water on its left half, salt on its right, by tone and contour.

One hue by lightness; the contours carry their values, so that nothing hangs on the tone. The rings are
drawn where the contours lie, between the depths the section was computed at, by straight lines.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal

from markupsafe import Markup

from saltfare.faces.charts import audited

TONES = ("#F1F6F2", "#DFEBE3", "#CCDFD3", "#B8D2C2", "#A3C5B0", "#8DB79D", "#76A98A")
WATER_AT = (0.2, 0.3, 0.4, 0.5, 0.6, 0.7)
BRINE_AT = (0.04, 0.06, 0.08, 0.10, 0.15, 0.20)
_VEGA_LITE = "6.4"
_FONT = "Palatino, Georgia, serif"
_SAMPLES = 600
_TITLE_PX, _FOOT_PX = 46, 40
_LEAST_MM = 0.05  # a ring thinner than this cannot be seen and would only thicken its contour


@dataclass(frozen=True, slots=True)
class Cut:
    """One section. title: over it. depths_mm rise from the middle, or from the closed face; water and
    brine are fractions there."""

    title: str
    depths_mm: tuple[float, ...]
    water_frac: tuple[float, ...]
    brine_frac: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class SectionDrawing:
    """What is drawn: the sections side by side or one under the other, all to one scale.

    one_sided: a slab that is closed below. water, brine: over the halves. scale: under the rule.
    percent: how a fraction is written on its contour.
    """

    shape: Literal["slab", "cylinder"]
    one_sided: bool
    cuts: tuple[Cut, ...]
    water: str
    brine: str
    scale: str
    description: str
    percent: tuple[tuple[float, str], ...]


@dataclass(frozen=True, slots=True)
class Ring:
    """What lies between two contours: depths from the middle (mm), and which tone."""

    inner_mm: float
    outer_mm: float
    tone: int


def section_svg(drawing: SectionDrawing, width: int) -> Markup:
    """The drawing at a width in px, checked to hold nothing a strict content policy refuses."""
    return Markup(_svg(drawing, width))  # noqa: S704 - audited let it through


@lru_cache(maxsize=64)
def _svg(drawing: SectionDrawing, width: int) -> str:
    import vl_convert

    made = vl_convert.vegalite_to_svg(section_spec(drawing, width), vl_version=_VEGA_LITE)
    return audited(made, drawing.description)


def rings(depths_mm: Sequence[float], values: Sequence[float], levels: Sequence[float]) -> list[Ring]:
    """The rings between contours, from the middle outwards. Tone 0 is below the first level."""
    edge = depths_mm[-1]
    out: list[Ring] = []
    begun, tone = 0.0, _tone(values[0], levels)
    for before, after, low, high in zip(depths_mm, depths_mm[1:], values, values[1:], strict=False):
        crossed = [level for level in levels if min(low, high) < level <= max(low, high)]
        for level in crossed if high > low else reversed(crossed):
            at = before + (level - low) / (high - low) * (after - before)
            out.append(Ring(begun, at, tone))
            begun, tone = at, _tone(level + math.copysign(1e-9, high - low), levels)
    out.append(Ring(begun, edge, tone))
    return [ring for ring in out if ring.outer_mm - ring.inner_mm > _LEAST_MM]


def _tone(value: float, levels: Sequence[float]) -> int:
    return sum(value >= level for level in levels)


def section_spec(drawing: SectionDrawing, width: int) -> dict[str, Any]:
    """The specification of the drawing, as plain data."""
    import altair as alt

    beside = width >= 480 and len(drawing.cuts) > 1
    room = (width - 24 * (len(drawing.cuts) - 1)) / len(drawing.cuts) if beside else width
    widest = max(cut.depths_mm[-1] for cut in drawing.cuts)
    slab = drawing.shape == "slab"
    span_mm = widest if slab and drawing.one_sided else 2 * widest
    # a slab's breadth is not to scale: only across it does anything change
    px = min(room - 8, 300) / span_mm if not slab else min(170, 0.6 * room) / span_mm
    fills: list[dict[str, Any]] = []
    lines: list[dict[str, Any]] = []
    texts: list[dict[str, Any]] = []
    step = span_mm * px + _TITLE_PX + 18
    for index, cut in enumerate(drawing.cuts):
        left = index * (room + 24) if beside else 0.0
        top = 0.0 if beside else index * step
        at = _Place(drawing, cut, px, left, top + _TITLE_PX, room, span_mm)
        texts.append(_text(at.middle, top + 12, cut.title, "title"))
        texts += [
            _text(at.left_label, top + 36, drawing.water, "half"),
            _text(at.right_label, top + 36, drawing.brine, "half"),
        ]
        for half, values, levels in ((-1, cut.water_frac, WATER_AT), (1, cut.brine_frac, BRINE_AT)):
            found = rings(cut.depths_mm, values, levels)
            fills += [shape for ring in found for shape in at.shapes(ring, half)]
            lines += [shape for ring in found[:-1] for shape in at.contour(ring.outer_mm, half)]
            texts += at.labels(found, levels, half, dict(drawing.percent))
        lines += at.outline()
    height = (0 if beside else step * (len(drawing.cuts) - 1)) + span_mm * px + _TITLE_PX + _FOOT_PX
    rule = 10 * px
    x = alt.X("x:Q", scale=None, axis=None)
    y = alt.Y("y:Q", scale=None, axis=None)
    to_x, to_y = alt.X2("x2:Q"), alt.Y2("y2:Q")
    layers = []
    for tone, colour in enumerate(TONES):
        rows = [row for row in fills if row["tone"] == tone]
        if not rows:
            continue
        base = alt.Chart({"values": rows}, name=f"tone{tone}")
        if slab:
            layers.append(base.mark_rect(aria=False, color=colour).encode(x=x, x2=to_x, y=y, y2=to_y))
        else:
            layers.append(
                base.mark_arc(aria=False, color=colour).encode(
                    x=x,
                    y=y,
                    theta=alt.Theta("t:Q", scale=None, stack=None),
                    theta2=alt.Theta2("t2:Q"),
                    radius=alt.Radius("r:Q", scale=None, stack=None),
                    radius2=alt.Radius2("r2:Q"),
                )
            )
    path = alt.Chart({"values": lines}, name="contour")
    layers.append(
        path.mark_line(aria=False, color="#56605A", strokeWidth=0.8).encode(
            x=x, y=y, order=alt.Order("n:Q"), detail="id:N"
        )
    )
    foot = {"values": [{"x": 4, "x2": 4 + rule, "y": height - 20}]}
    layers.append(
        alt.Chart(foot, name="rule")
        .mark_rule(aria=False, color="#1F2421", strokeWidth=1.5)
        .encode(x=x, x2=to_x, y=y)
    )
    texts.append(_text(10 + rule, height - 20, drawing.scale, "rule"))
    for kind, size in (("title", 16), ("half", 14), ("value", 13), ("rule", 14)):
        rows = [row for row in texts if row["kind"] == kind]
        layers.append(
            alt.Chart({"values": rows}, name=f"{kind}_text")
            .mark_text(
                aria=False,
                fontSize=size,
                align="left" if kind == "rule" else "center",
                baseline="middle",
                color="#1F2421" if kind in ("title", "value") else "#56605A",
            )
            .encode(x=x, y=y, text="text:N")
        )
    drawn = (
        alt.layer(*layers)
        .resolve_scale(theta="independent", radius="independent", x="independent", y="independent")
        .properties(
            width=width, height=height, padding=2, background="transparent", description=drawing.description
        )
        .properties(autosize=alt.AutoSizeParams(type="none"))
        .configure(font=_FONT)
        .configure_view(stroke=None)
    )
    spec: dict[str, Any] = drawn.to_dict()
    return spec


def _text(x: float, y: float, text: str, kind: str) -> dict[str, Any]:
    return {"x": x, "y": y, "text": text, "kind": kind}


class _Place:
    """Where one section lies on the drawing, and its shapes there; half -1 is the left one, 1 the right."""

    def __init__(
        self,
        drawing: SectionDrawing,
        cut: Cut,
        px: float,
        left: float,
        top: float,
        room: float,
        span_mm: float,
    ) -> None:
        self.slab, self.one_sided = drawing.shape == "slab", drawing.one_sided
        self.px, self.top = px, top
        self.id = f"{left:.0f},{top:.0f}"
        self.edge = cut.depths_mm[-1]
        self.middle = left + room / 2
        self.breadth = (room - 8) / 2 if self.slab else self.edge * px
        # the middle of a cylinder or slab; a slab closed below has its closed face at the foot
        self.level = top + span_mm * px * (1.0 if self.slab and self.one_sided else 0.5)
        away = max(self.breadth / 2, 46)
        self.left_label, self.right_label = self.middle - away, self.middle + away

    def shapes(self, ring: Ring, half: int) -> list[dict[str, Any]]:
        """The fill of a ring on one half."""
        inner, outer = ring.inner_mm * self.px, ring.outer_mm * self.px
        if not self.slab:
            turn = (0.0, math.pi) if half > 0 else (math.pi, 2 * math.pi)
            arc = {"x": self.middle, "y": self.level, "t": turn[0], "t2": turn[1], "r": outer, "r2": inner}
            return [{**arc, "tone": ring.tone}]
        x = sorted((self.middle, self.middle + half * self.breadth))
        if inner == 0.0 and not self.one_sided:
            # one piece through the middle, or a seam would show
            return [
                {"x": x[0], "x2": x[1], "y": self.level - outer, "y2": self.level + outer, "tone": ring.tone}
            ]
        sides = (-1,) if self.one_sided else (-1, 1)
        return [
            {
                "x": x[0],
                "x2": x[1],
                "y": self.level + s * inner,
                "y2": self.level + s * outer,
                "tone": ring.tone,
            }
            for s in sides
        ]

    def contour(self, depth_mm: float, half: int) -> list[dict[str, Any]]:
        """A contour on one half, as points of a line."""
        r = depth_mm * self.px
        name = f"{self.id},{half},{depth_mm:.4f}"
        if not self.slab:
            turns = [half * math.pi * n / 48 for n in range(49)]
            return [
                self._point(self.middle + r * math.sin(a), self.level - r * math.cos(a), n, name)
                for n, a in enumerate(turns)
            ]
        out = []
        for s in (-1,) if self.one_sided else (-1, 1):
            y = self.level + s * r
            ends = (self.middle, self.middle + half * self.breadth)
            out += [self._point(x, y, n, f"{name},{s}") for n, x in enumerate(ends)]
        return out

    def outline(self) -> list[dict[str, Any]]:
        """The edge of the piece, and the line between the halves."""
        edge = self.edge * self.px
        low = self.level if self.one_sided and self.slab else self.level + edge
        out = [
            self._point(self.middle, y, n, f"{self.id},split") for n, y in enumerate((self.level - edge, low))
        ]
        if not self.slab:
            return out + self.contour(self.edge, -1) + self.contour(self.edge, 1)
        xs = (self.middle - self.breadth, self.middle + self.breadth)
        box = (
            (xs[0], low),
            (xs[0], self.level - edge),
            (xs[1], self.level - edge),
            (xs[1], low),
            (xs[0], low),
        )
        return out + [self._point(x, y, n, f"{self.id},edge") for n, (x, y) in enumerate(box)]

    def labels(
        self, found: list[Ring], levels: Sequence[float], half: int, percent: dict[float, str]
    ) -> list[dict[str, Any]]:
        """The value of each contour, set on it; turned or set apart so that they do not meet."""
        out = []
        count = len(found) - 1
        for index in range(count):
            level = levels[max(found[index].tone, found[index + 1].tone) - 1]
            r = found[index].outer_mm * self.px
            share = (index + 1) / (count + 1)
            if self.slab:
                x = self.middle + half * self.breadth * share
                y = self.level - r
            else:
                x = self.middle + half * r * math.sin(math.pi * share)
                y = self.level - r * math.cos(math.pi * share)
            out.append(_text(x, y, percent[level], "value"))
        return out

    @staticmethod
    def _point(x: float, y: float, n: int, name: str) -> dict[str, Any]:
        return {"x": x, "y": y, "n": n, "id": name}
