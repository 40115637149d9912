"""Something day by day, as static SVG: a bar a day, its doubt a line through it, a mark it is held against.

Drawn by hand: no style, no script, no address; its layers carry the class names the stylesheet colours by.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from markupsafe import Markup, escape

PHONE_WIDTH, DESK_WIDTH = 320, 640
_LEFT, _RIGHT, _TOP, _BOTTOM = 52.0, 6.0, 26.0, 28.0
_STEPS = (1, 2, 2.5, 5, 10)


@dataclass(frozen=True, slots=True)
class DayBar:
    """One day: what it is called, its value, the interval it may lie in, and the mark it is held against."""

    label: str
    value: float
    low: float | None = None
    high: float | None = None
    mark: float | None = None


@dataclass(frozen=True, slots=True)
class DayChart:
    """Days in order, what the axis says, and the whole in one sentence."""

    days: tuple[DayBar, ...]
    axis: str
    description: str
    number: Callable[[float], str]


def day_svg(chart: DayChart, width: int) -> Markup:
    """The chart at a width in px."""
    height = 230.0 if width >= 480 else 190.0
    inner, tall = width - _LEFT - _RIGHT, height - _TOP - _BOTTOM
    most = max((max(d.value, d.high or 0.0, d.mark or 0.0) for d in chart.days), default=1.0) * 1.06 or 1.0
    step = inner / max(len(chart.days), 1)

    def y(value: float) -> float:
        return _TOP + tall * (1.0 - max(value, 0.0) / most)

    parts = [f'<g class="role-axis-title"><text x="0" y="14" font-size="14">{escape(chart.axis)}</text></g>']
    parts += [_grid(y(v), width, chart.number(v)) for v in ticks(most)]
    bars, doubts, marks, names = [], [], [], []
    every = max(1, round(len(chart.days) * 44 / inner + 0.49))
    for index, day in enumerate(chart.days):
        left, wide = _LEFT + index * step + step * 0.16, step * 0.68
        middle = left + wide / 2
        bars.append(
            f'<path d="M{left:.1f} {y(day.value):.1f}h{wide:.1f}V{y(0):.1f}h{-wide:.1f}z" fill="#CFE0D6"/>'
        )
        if day.low is not None and day.high is not None:
            doubts.append(
                f'<line x1="{middle:.1f}" x2="{middle:.1f}" y1="{y(day.high):.1f}" y2="{y(day.low):.1f}" '
                'stroke="#1F5A45" stroke-width="2"/>'
            )
        if day.mark is not None:
            marks.append(
                f'<line x1="{left - 3:.1f}" x2="{left + wide + 3:.1f}" y1="{y(day.mark):.1f}" '
                f'y2="{y(day.mark):.1f}" stroke="#1F2421" stroke-width="2"/>'
            )
        if index % every == 0:
            names.append(
                f'<text x="{middle:.1f}" y="{height - 8:.1f}" text-anchor="middle" font-size="14">'
                f"{escape(day.label)}</text>"
            )
    parts.append(f'<g class="band80_marks">{"".join(bars)}</g>')
    parts.append(f'<g class="doubt_marks">{"".join(doubts)}</g>')
    parts.append(f'<g class="target_marks">{"".join(marks)}</g>')
    parts.append(f'<g class="role-axis-label">{"".join(names)}</g>')
    return Markup(  # noqa: S704 - every text in it went through escape
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height:.0f}" width="{width}" '
        f'height="{height:.0f}" role="img" aria-label="{escape(chart.description)}" '
        f'font-family="Palatino, Georgia, serif">{"".join(parts)}</svg>'
    )


def ticks(most: float, about: int = 4) -> Sequence[float]:
    """Round values from nought up, about so many."""
    if most <= 0:
        return (0.0,)
    size = 10.0 ** _decade(most / about)
    step = next(s * size for s in _STEPS if most / (s * size) <= about + 0.5)
    return [n * step for n in range(int(most / step + 1e-9) + 1)]


def _decade(value: float) -> int:
    found = 0
    while value < 1.0:
        value, found = value * 10.0, found - 1
    while value >= 10.0:
        value, found = value / 10.0, found + 1
    return found


def _grid(at: float, width: float, said: str) -> str:
    return (
        f'<g class="role-axis-grid"><line x1="{_LEFT}" x2="{width - _RIGHT}" y1="{at:.1f}" y2="{at:.1f}" '
        f'stroke="#E4DFD3"/></g><g class="role-axis-label"><text x="{_LEFT - 6}" y="{at + 5:.1f}" '
        f'text-anchor="end" font-size="14">{escape(said)}</text></g>'
    )
