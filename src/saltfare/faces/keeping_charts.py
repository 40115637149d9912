"""The course inside a pack over months, and the way of a mixed pouch to its end.

Drawn by hand as static SVG: no style, no script, no address; its layers carry the class names the stylesheet
knows.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from markupsafe import Markup, escape

PHONE_WIDTH, DESK_WIDTH = 320, 640
_LEFT, _RIGHT, _TOP, _GAP, _BOTTOM = 44.0, 10.0, 28.0, 44.0, 30.0
_PANEL_PHONE, _PANEL_DESK = 120.0, 150.0


@dataclass(frozen=True, slots=True)
class Curve:
    """One line over the times of its panel, with its ends where it has a band. said: at its end."""

    middle: tuple[float, ...]
    low: tuple[float, ...] = ()
    high: tuple[float, ...] = ()
    said: str = ""
    dashed: bool = False


@dataclass(frozen=True, slots=True)
class Panel:
    """One scale: what it is of, its curves, the marks on its scale, and lines to look out for."""

    title: str
    curves: tuple[Curve, ...]
    low: float
    high: float
    ticks: tuple[tuple[float, str], ...]
    limits: tuple[tuple[float, str], ...] = ()


@dataclass(frozen=True, slots=True)
class CourseChart:
    """Panels over one time, in days since the pack was closed. marks: days to name on the axis."""

    days: tuple[float, ...]
    marks: tuple[tuple[float, str], ...]
    panels: tuple[Panel, ...]
    description: str


def course_svg(chart: CourseChart, width: int) -> Markup:
    """The chart at a width in px; every text in it is escaped."""
    wide = width >= 480
    tall = _PANEL_DESK if wide else _PANEL_PHONE
    height = _TOP + len(chart.panels) * tall + (len(chart.panels) - 1) * _GAP + _BOTTOM
    first, last = chart.days[0], chart.days[-1]

    def x(day: float) -> float:
        share = (day - first) / (last - first) if last > first else 0.0
        return _LEFT + share * (width - _LEFT - _RIGHT)

    parts: list[str] = []
    for index, panel in enumerate(chart.panels):
        top = _TOP + index * (tall + _GAP)
        parts += _panel(panel, chart.days, x, top, tall, width)
    base = height - _BOTTOM
    for day, said in chart.marks if wide else chart.marks[:: 1 if len(chart.marks) < 5 else 2]:
        anchor = "start" if day <= first else "end" if x(day) > width - _RIGHT - 20 else "middle"
        parts.append(
            f'<g class="role-axis"><text x="{x(day):.1f}" y="{base + 20:.1f}" text-anchor="{anchor}" '
            f'fill="#56605A">{escape(said)}</text></g>'
        )
    return Markup(  # noqa: S704 - every text in it went through escape
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height:.0f}" '
        f'viewBox="0 0 {width} {height:.0f}" role="img" aria-label="{escape(chart.description)}" '
        f'font-family="Palatino, Georgia, serif" font-size="14">{"".join(parts)}</svg>'
    )


def _panel(
    panel: Panel, days: Sequence[float], x: Callable[[float], float], top: float, tall: float, width: int
) -> list[str]:
    def y(value: float) -> float:
        held = min(max(value, panel.low), panel.high)
        return top + tall * (1.0 - (held - panel.low) / (panel.high - panel.low))

    parts = [
        f'<g class="role-axis"><text x="0" y="{top - 12:.1f}" fill="#56605A">{escape(panel.title)}</text></g>'
    ]
    for value, said in panel.ticks:
        parts.append(
            f'<g class="role-axis-grid"><line x1="{_LEFT}" x2="{width - _RIGHT}" y1="{y(value):.1f}" '
            f'y2="{y(value):.1f}" stroke="#E4DFD3"/></g><g class="role-axis"><text x="{_LEFT - 6}" '
            f'y="{y(value) + 5:.1f}" text-anchor="end" fill="#56605A">{escape(said)}</text></g>'
        )
    for curve in panel.curves:
        if curve.low and curve.high:
            there = [f"{x(d):.1f},{y(v):.1f}" for d, v in zip(days, curve.high, strict=True)]
            back = [f"{x(d):.1f},{y(v):.1f}" for d, v in zip(days, curve.low, strict=True)][::-1]
            parts.append(
                f'<g class="band80_marks"><path d="M{" L".join((*there, *back))} Z" fill="#CFE0D6"/></g>'
            )
    for value, said in panel.limits:
        if panel.low <= value <= panel.high:
            parts.append(
                f'<g class="target_marks"><line x1="{_LEFT}" x2="{width - _RIGHT}" y1="{y(value):.1f}" '
                f'y2="{y(value):.1f}" stroke="#1F2421" stroke-width="1.25"/></g>'
                f'<g class="target_text_marks"><text x="{_LEFT + 4:.1f}" y="{y(value) - 5:.1f}" '
                f'text-anchor="start" fill="#1F2421">{escape(said)}</text></g>'
            )
    for curve in panel.curves:
        points = " L".join(f"{x(d):.1f},{y(v):.1f}" for d, v in zip(days, curve.middle, strict=True))
        name = "listeria_marks" if curve.dashed else "median_marks"
        dash = ' stroke-dasharray="5 4"' if curve.dashed else ""
        parts.append(
            f'<g class="{name}"><path d="M{points}" fill="none" stroke="#1F5A45" stroke-width="2"{dash}/></g>'
        )
    return parts + _names(panel, days, x, y)


def _names(
    panel: Panel, days: Sequence[float], x: Callable[[float], float], y: Callable[[float], float]
) -> list[str]:
    """The name of each curve at its beginning: below one that rises, above the others, none on another."""
    out, before = [], -1e9
    falls = [curve for curve in panel.curves if curve.said and curve.middle[-1] <= curve.middle[0]]
    rises = [curve for curve in panel.curves if curve.said and curve not in falls]
    spots = [(y(curve.middle[0]) - 8.0, curve.said) for curve in falls]
    spots += [(y(curve.middle[0]) + 17.0, curve.said) for curve in rises]
    for at, said in sorted(spots):
        at = max(at, before + 15.0)
        before = at
        out.append(
            f'<g class="target_text_marks"><text x="{x(days[0]) + 4:.1f}" y="{at:.1f}" text-anchor="start" '
            f'fill="#1F2421">{escape(said)}</text></g>'
        )
    return out
