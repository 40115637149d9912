"""A plan over the weeks: one line a thing, from the day it is begun to the day it is packed.

What lies in the cold, what dries and when it is likely down differ by height and place, not by hue alone;
the name stands over its line, so that a phone needs no column for it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from typing import Any

from markupsafe import Markup

from saltfare.faces.charts import ms, rendered, ticks

_FONT = "Palatino, Georgia, serif"
_ROW_PX = 50
_FOOT_PX = 8


@dataclass(frozen=True, slots=True)
class PlanLabels:
    """Everything the picture says, from the words catalogue."""

    description: str
    away: str
    today: str
    day: str
    months: tuple[str, ...]
    weekdays: tuple[str, ...]
    decimal: str = "."


@dataclass(frozen=True, slots=True)
class Line:
    """One thing: its name as said, when it is begun, when what is uncertain begins, when it is packed, and
    between which days it is likely done; None where that is beyond sight."""

    name: str
    start: date
    begun: date
    packed: date
    early: date | None
    likely: date | None
    late: date | None


@dataclass(frozen=True, slots=True)
class PlanChart:
    """The lines in order, the days nobody is home, and today."""

    lines: tuple[Line, ...]
    away: tuple[tuple[date, date], ...]
    today: date
    labels: PlanLabels


def plan_svg(chart: PlanChart, width: int) -> Markup:
    """The picture at a width in px, checked to hold nothing a strict content policy refuses."""
    return Markup(_plan_svg(chart, width))  # noqa: S704 - the audit let it through


@lru_cache(maxsize=32)
def _plan_svg(chart: PlanChart, width: int) -> str:
    return rendered(plan_spec(chart, width), chart.labels)


def plan_spec(chart: PlanChart, width: int) -> dict[str, Any]:
    """The specification of the picture, as plain data."""
    import altair as alt

    first = min([chart.today, *(line.start for line in chart.lines)])
    last = max(max(line.packed, line.late or line.packed) for line in chart.lines)
    # a date of years ahead would press everything else together
    last = min(last, max(line.packed for line in chart.lines) + timedelta(days=21))
    ends = [_at(first), _at(last + timedelta(days=1))]
    height = _ROW_PX * len(chart.lines) + _FOOT_PX
    inner = width - 16
    scale = alt.Scale(type="utc", domain=ends, nice=False, clamp=True)
    span = (
        datetime.combine(first, datetime.min.time(), UTC),
        datetime.combine(last + timedelta(days=1), datetime.min.time(), UTC),
    )
    axis = alt.Axis(
        format=chart.labels.day, values=ticks(span, 8 if width >= 480 else 4), grid=False, labelFlush=True
    )
    x = alt.X("from:T", title=None, scale=scale, axis=axis)
    to_x = alt.X2("to:T")
    y = alt.Y("top:Q", scale=alt.Scale(domain=[height, 0], nice=False), axis=None)
    to_y = alt.Y2("bottom:Q")

    def layer(name: str, rows: list[dict[str, Any]]) -> Any:
        return alt.Chart({"values": rows}, name=name)

    def box(begin: date, end: date, row: int, top: float, bottom: float) -> dict[str, Any]:
        at = _ROW_PX * row
        return {"from": _at(begin), "to": _at(end), "top": at + top, "bottom": at + bottom}

    away = [
        {
            "from": _at(max(begin, first)),
            "to": _at(min(end, last) + timedelta(days=1)),
            "top": 0,
            "bottom": height,
        }
        for begin, end in chart.away
        if end >= first and begin <= last
    ]
    cold, drying, likely, middle, done, names = [], [], [], [], [], []
    for row, line in enumerate(chart.lines):
        cold.append(box(line.start, line.begun, row, 34, 40))
        drying.append(box(line.begun, line.packed + timedelta(days=1), row, 27, 40))
        if line.early is not None:
            late = last if line.late is None else min(line.late, last)
            likely.append(box(min(line.early, last), late + timedelta(days=1), row, 24, 43))
        if line.likely is not None and line.likely <= last:
            middle.append(box(line.likely, line.likely, row, 24, 43))
        done.append({"from": _at(line.packed), "top": _ROW_PX * row + 33.5})
        names.append({"top": _ROW_PX * row + 14, "text": line.name})
    layers = [
        layer("away", away).mark_rect(aria=False, color="#E4DFD3").encode(x=x, x2=to_x, y=y, y2=to_y),
        layer("cold", cold).mark_rect(aria=False, color="#8F8778").encode(x=x, x2=to_x, y=y, y2=to_y),
        layer("drying", drying).mark_rect(aria=False, color="#E7EFE9", stroke="#8F8778", strokeWidth=0.75)
        .encode(x=x, x2=to_x, y=y, y2=to_y),
        layer("likely", likely).mark_rect(aria=False, color="#CFE0D6").encode(x=x, x2=to_x, y=y, y2=to_y),
        layer("middle", middle).mark_rule(aria=False, color="#1F5A45", strokeWidth=2)
        .encode(x=x, y=y, y2=to_y),
        layer("done", done).mark_point(aria=False, shape="square", filled=True, size=70, color="#1F2421",
                                         opacity=1)
        .encode(x=x, y=y),
        layer("today", [{"from": _at(chart.today), "top": 0, "bottom": height}])
        .mark_rule(aria=False, color="#56605A", strokeDash=[2, 3]).encode(x=x, y=y, y2=to_y),
        layer("name_text", names).mark_text(aria=False, align="left", baseline="middle", color="#1F2421")
        .encode(x=alt.value(2), y=y, text="text:N"),
    ]  # fmt: skip
    drawn = (
        alt.layer(*layers)
        .properties(width=inner, height=height, padding=4, background="transparent")
        .properties(description=chart.labels.description, autosize=alt.AutoSizeParams(type="pad"))
        .configure(font=_FONT)
        .configure_view(stroke=None)
        .configure_text(fontSize=14)
        .configure_axis(labelFontSize=14, labelColor="#56605A", domainColor="#8F8778", tickColor="#8F8778")
    )
    spec: dict[str, Any] = drawn.to_dict()
    return spec


def _at(day: date) -> float:
    return ms(datetime.combine(day, datetime.min.time(), UTC))
