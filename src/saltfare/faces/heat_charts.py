"""The running picture of a log: log reductions against their target, the temperature on its own panel.

Drawn by hand as static SVG: no style, no script, no address; its layers carry the class names the stylesheet
colours charts by.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

from markupsafe import Markup, escape

PHONE_WIDTH, DESK_WIDTH = 320, 640
_LEFT, _RIGHT, _TOP, _GAP, _BOTTOM = 34.0, 10.0, 26.0, 44.0, 26.0
_STEPS = (1, 2, 5, 10, 20, 50, 100)
_HOURS = (0.25, 0.5, 1.0, 2.0, 3.0, 6.0, 12.0, 24.0, 48.0, 96.0)


@dataclass(frozen=True, slots=True)
class LogChart:
    """times, and for each the reading and both log reductions; the target, and everything the chart says."""

    times: tuple[datetime, ...]
    temp: tuple[float, ...]
    salmonella: tuple[float, ...]
    listeria: tuple[float, ...]
    target: float
    description: str
    reduction: str
    temperature: str
    target_said: str
    number: Callable[[float], str]
    clock: Callable[[datetime], str]


def log_svg(chart: LogChart, width: int) -> Markup:
    """The two panels at a width in px."""
    wide = width >= 480
    upper, lower = (190.0, 150.0) if wide else (150.0, 120.0)
    height = _TOP + upper + _GAP + lower + _BOTTOM
    first, last = chart.times[0], chart.times[-1]
    span = max((last - first).total_seconds(), 1.0)
    inner = width - _LEFT - _RIGHT

    def x(at: datetime) -> float:
        return _LEFT + inner * (at - first).total_seconds() / span

    most = max(chart.target * 1.15, min(max(chart.salmonella[-1], chart.listeria[-1]), chart.target * 1.6))
    low_t, high_t = min(chart.temp), max(chart.temp)
    low_t, high_t = low_t - 1.0, high_t + 1.0
    base = _TOP + upper + _GAP

    def y_log(value: float) -> float:
        return _TOP + upper * (1.0 - value / most)

    def y_temp(value: float) -> float:
        return base + lower * (1.0 - (value - low_t) / (high_t - low_t))

    parts = [_title(chart.reduction, _TOP - 10), _title(chart.temperature, base - 10)]
    parts += [_grid(y_log(v), width, chart.number(v)) for v in _ticks(0.0, most, 4)]
    parts += [_grid(y_temp(v), width, chart.number(v)) for v in _ticks(low_t, high_t, 4)]
    parts += _clocks(chart, first, last, x, height - _BOTTOM, 5 if not wide else 8)
    at_target = y_log(chart.target)
    parts.append(
        f'<g class="target_marks"><line x1="{_LEFT}" x2="{width - _RIGHT}" y1="{at_target:.1f}" '
        f'y2="{at_target:.1f}" stroke="#1F2421" stroke-width="1.25"/></g>'
    )
    parts.append(_said(chart.target_said, _LEFT + 4, at_target - 4, "start"))
    parts.append(_line("listeria_marks", chart, x, chart.listeria, y_log, most=most, dashed=True))
    parts.append(_line("median_marks", chart, x, chart.salmonella, y_log, most=most))
    parts.append(_line("median_marks", chart, x, chart.temp, y_temp, most=high_t))
    body = "".join(parts)
    return Markup(  # noqa: S704 - every text in it went through escape
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height:.0f}" '
        f'viewBox="0 0 {width} {height:.0f}" role="img" aria-label="{escape(chart.description)}" '
        f'font-family="Palatino, Georgia, serif" font-size="14">{body}</svg>'
    )


def _title(text: str, y: float) -> str:
    return f'<g class="role-axis"><text x="0" y="{y:.1f}" fill="#56605A">{escape(text)}</text></g>'


def _grid(y: float, width: int, label: str) -> str:
    return (
        f'<g class="role-axis-grid"><line x1="{_LEFT}" x2="{width - _RIGHT}" y1="{y:.1f}" y2="{y:.1f}" '
        f'stroke="#E4DFD3"/></g><g class="role-axis"><text x="{_LEFT - 5}" y="{y + 5:.1f}" text-anchor="end" '
        f'fill="#56605A">{escape(label)}</text></g>'
    )


def _clocks(
    chart: LogChart,
    first: datetime,
    last: datetime,
    x: Callable[[datetime], float],
    y: float,
    most: int,
) -> list[str]:
    hours = (last - first).total_seconds() / 3600.0
    step = next((h for h in _HOURS if hours / h <= most - 1), _HOURS[-1])
    out = []
    index = 0
    while index * step <= hours + 1e-9:
        at = first + (last - first) * min(index * step / hours, 1.0) if hours > 0 else first
        anchor = "start" if index == 0 else "end" if x(at) > x(last) - 18 else "middle"
        out.append(
            f'<g class="role-axis"><text x="{x(at):.1f}" y="{y + 18:.1f}" text-anchor="{anchor}" '
            f'fill="#56605A">{escape(chart.clock(at))}</text></g>'
        )
        index += 1
    return out


def _line(
    name: str,
    chart: LogChart,
    x: Callable[[datetime], float],
    values: Sequence[float],
    y: Callable[[float], float],
    *,
    most: float,
    dashed: bool = False,
) -> str:
    """A line that leaves its panel at the top where it rises beyond it."""
    points = []
    for i, (at, value) in enumerate(zip(chart.times, values, strict=True)):
        if value > most:
            before = values[i - 1] if i else value
            share = (most - before) / (value - before) if value > before else 0.0
            left = x(chart.times[i - 1]) if i else x(at)
            points.append((left + share * (x(at) - left), y(most)))
            break
        points.append((x(at), y(value)))
    path = " ".join(f"{'M' if i == 0 else 'L'}{px:.1f},{py:.1f}" for i, (px, py) in enumerate(points))
    dash = ' stroke-dasharray="5 4"' if dashed else ""
    ink = "#56605A" if dashed else "#1F5A45"
    return f'<g class="{name}"><path d="{path}" fill="none" stroke="{ink}" stroke-width="2"{dash}/></g>'


def _said(text: str, x: float, y: float, anchor: str) -> str:
    return (
        f'<g class="target_text_marks"><text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" '
        f'fill="#1F2421">{escape(text)}</text></g>'
    )


def _ticks(low: float, high: float, about: int) -> list[float]:
    step = next((s for s in _STEPS if (high - low) / s <= about), _STEPS[-1])
    first = math.ceil(low / step)
    return [float(step * k) for k in range(first, math.floor(high / step) + 1)]
