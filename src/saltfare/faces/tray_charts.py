"""The mass of the food on the trays against the clock: its band, the weighings, the mass to stop at.

Drawn by hand as static SVG: no style, no script, no address; its layers carry the class names the stylesheet
colours charts by.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from markupsafe import Markup, escape

PHONE_WIDTH, DESK_WIDTH = 320, 640
_LEFT, _RIGHT, _TOP, _BOTTOM = 44.0, 12.0, 26.0, 28.0
_HOURS = (1.0, 2.0, 3.0, 4.0, 6.0, 12.0, 24.0, 48.0)
_STEPS = (0.01, 0.02, 0.05, 0.1, 0.2, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)


@dataclass(frozen=True, slots=True)
class TrayChart:
    """Masses in the unit they are shown in, and everything the chart says.

    target: low, middle and high of the mass to stop at. weights: when, mass, what is said of it.
    """

    times: tuple[datetime, ...]
    low: tuple[float, ...]
    middle: tuple[float, ...]
    high: tuple[float, ...]
    target: tuple[float, float, float]
    weights: tuple[tuple[datetime, float, str], ...]
    description: str
    axis: str
    target_said: str
    number: Callable[[float], str]
    clock: Callable[[datetime], str]


def tray_svg(chart: TrayChart, width: int) -> Markup:
    """The chart at a width in px."""
    wide = width >= 480
    plot = 260.0 if wide else 200.0
    height = _TOP + plot + _BOTTOM
    first, last = chart.times[0], chart.times[-1]
    span = max((last - first).total_seconds(), 1.0)
    inner = width - _LEFT - _RIGHT
    most = max(*chart.high, *(mass for _, mass, _ in chart.weights), chart.target[2]) * 1.02

    def x(at: datetime) -> float:
        return _LEFT + inner * min(max((at - first).total_seconds() / span, 0.0), 1.0)

    def y(mass: float) -> float:
        return _TOP + plot * (1.0 - mass / most)

    parts = [
        f'<g class="role-axis"><text x="0" y="{_TOP - 10}" fill="#56605A">{escape(chart.axis)}</text></g>'
    ]
    step = next((s for s in _STEPS if most / s <= 5.0), most / 4.0)
    for k in range(int(most / step) + 1):
        parts.append(
            f'<g class="role-axis-grid"><line x1="{_LEFT}" x2="{width - _RIGHT}" y1="{y(k * step):.1f}" '
            f'y2="{y(k * step):.1f}" stroke="#E4DFD3"/></g><g class="role-axis"><text x="{_LEFT - 5}" '
            f'y="{y(k * step) + 5:.1f}" text-anchor="end" fill="#56605A">'
            f"{escape(chart.number(k * step))}</text></g>"
        )
    parts += _clocks(chart, x, height - _BOTTOM, 7 if wide else 4)
    parts.append(_area(chart, x, y))
    low, middle, high = (y(mass) for mass in chart.target)
    parts.append(
        f'<g class="band95_marks"><path d="M{_LEFT},{high:.1f} H{width - _RIGHT} V{low:.1f} H{_LEFT} Z" '
        f'fill="#E7EFE9"/></g><g class="target_marks"><line x1="{_LEFT}" x2="{width - _RIGHT}" '
        f'y1="{middle:.1f}" y2="{middle:.1f}" stroke="#1F2421" stroke-width="1.25"/></g>'
    )
    points = " ".join(
        f"{'M' if i == 0 else 'L'}{x(at):.1f},{y(mass):.1f}"
        for i, (at, mass) in enumerate(zip(chart.times, chart.middle, strict=True))
    )
    parts.append(
        f'<g class="median_marks"><path d="{points}" fill="none" stroke="#1F5A45" stroke-width="2"/></g>'
    )
    parts.append(
        f'<g class="target_text_marks"><text x="{_LEFT + 4}" y="{min(low + 18, _TOP + plot - 4):.1f}" '
        f'fill="#1F2421">{escape(chart.target_said)}</text></g>'
    )
    parts += [
        f'<g class="weighed_marks"><path aria-label="{escape(said)}" role="img" '
        f'd="M{x(at) - 4:.1f},{y(mass) - 4:.1f} h8 v8 h-8 Z" fill="#1F2421"/></g>'
        for at, mass, said in chart.weights
    ]
    body = "".join(parts)
    return Markup(  # noqa: S704 - every text in it went through escape
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height:.0f}" '
        f'viewBox="0 0 {width} {height:.0f}" role="img" aria-label="{escape(chart.description)}" '
        f'font-family="Palatino, Georgia, serif" font-size="14">{body}</svg>'
    )


def _area(chart: TrayChart, x: Callable[[datetime], float], y: Callable[[float], float]) -> str:
    up = [f"{x(at):.1f},{y(mass):.1f}" for at, mass in zip(chart.times, chart.high, strict=True)]
    down = [f"{x(at):.1f},{y(mass):.1f}" for at, mass in zip(chart.times, chart.low, strict=True)]
    return f'<g class="band80_marks"><path d="M{" L".join([*up, *reversed(down)])} Z" fill="#CFE0D6"/></g>'


def _clocks(chart: TrayChart, x: Callable[[datetime], float], y: float, most: int) -> list[str]:
    first, last = chart.times[0], chart.times[-1]
    hours = (last - first).total_seconds() / 3600.0
    step = next((h for h in _HOURS if hours / h <= most - 1), _HOURS[-1])
    out = []
    for index in range(int(hours / step + 1e-9) + 1):
        at = first + (last - first) * min(index * step / hours, 1.0) if hours > 0 else first
        anchor = "start" if index == 0 else "end" if x(at) > x(last) - 18 else "middle"
        out.append(
            f'<g class="role-axis"><text x="{x(at):.1f}" y="{y + 18:.1f}" text-anchor="{anchor}" '
            f'fill="#56605A">{escape(chart.clock(at))}</text></g>'
        )
    return out
