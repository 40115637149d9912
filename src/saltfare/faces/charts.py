"""Charts as static SVG: one specification for page and print, drawn in this process.

The SVG is set inline, so it carries no style, no script and no address; colours are presentation
attributes that the stylesheet overrides by the class of each layer. The grammar and the renderer are
imported on first use: `warm` does that in a thread at start-up.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import Any, Protocol
from xml.etree import ElementTree

from markupsafe import Markup

PHONE_WIDTH = 320
DESK_WIDTH = 640
_VEGA_LITE = "6.4"
_SVG = "http://www.w3.org/2000/svg"
_ELEMENTS = frozenset(
    {"svg", "g", "path", "rect", "line", "text", "tspan", "title", "desc", "defs", "clipPath"}
)
_FONT = "Palatino, Georgia, serif"


@dataclass(frozen=True, slots=True)
class WeighIn:
    """One point: when, the loss as a fraction, and what a screen reader says of it."""

    at: datetime
    loss_frac: float
    said: str


@dataclass(frozen=True, slots=True)
class Labels:
    """Everything the chart says, from the words catalogue. months: twelve, for the axis."""

    description: str
    loss: str
    target: str
    air_assumed: str
    day: str
    months: tuple[str, ...]
    weekdays: tuple[str, ...]
    decimal: str = "."


@dataclass(frozen=True, slots=True)
class LossChart:
    """Loss of a piece over time: median, bands of the true loss, weigh-ins, target, and where the
    air stops being read and starts being assumed. Fractions; all series have the length of `times`."""

    times: tuple[datetime, ...]
    median_frac: tuple[float, ...]
    low80_frac: tuple[float, ...]
    high80_frac: tuple[float, ...]
    low95_frac: tuple[float, ...]
    high95_frac: tuple[float, ...]
    weigh_ins: tuple[WeighIn, ...]
    target_frac: float | None
    air_assumed_from: datetime | None
    labels: Labels


def loss_svg(chart: LossChart, width: int) -> Markup:
    """The chart at a width in px, checked to hold nothing a strict content policy refuses."""
    return Markup(_loss_svg(chart, width))  # noqa: S704 - audited let it through


@lru_cache(maxsize=64)
def _loss_svg(chart: LossChart, width: int) -> str:
    return rendered(loss_spec(chart, width), chart.labels)


class Said(Protocol):
    """What every chart says of itself and of its axis of time."""

    @property
    def description(self) -> str: ...  # noqa: D102 - told at the charts' own labels
    @property
    def months(self) -> tuple[str, ...]: ...  # noqa: D102
    @property
    def weekdays(self) -> tuple[str, ...]: ...  # noqa: D102
    @property
    def decimal(self) -> str: ...  # noqa: D102


def rendered(spec: dict[str, Any], said: Said) -> str:
    """A specification as SVG, drawn in this process and audited."""
    import vl_convert

    return audited(
        vl_convert.vegalite_to_svg(
            spec,
            vl_version=_VEGA_LITE,
            format_locale={
                "decimal": said.decimal,
                "thousands": "\u202f",
                "grouping": [3],
                "currency": ["", ""],
            },
            time_format_locale=_time_locale(said),
        ),
        said.description,
    )


def warm() -> threading.Thread:
    """Start the renderer in a thread, so that the first page does not wait for it."""
    # two threads that first import numpy at once can each be handed half of it; so it is here already
    import numpy as np  # noqa: F401

    def draw() -> None:
        at = datetime(2026, 1, 1, tzinfo=UTC), datetime(2026, 1, 2, tzinfo=UTC)
        low, high = (0.0, 0.1), (0.0, 0.2)
        words = Labels("", "", "", "", "%-d %b", ("",) * 12, ("",) * 7)
        loss_svg(LossChart(at, low, low, high, low, high, (), 0.3, None, words), PHONE_WIDTH)

    thread = threading.Thread(target=draw, name="charts", daemon=True)
    thread.start()
    return thread


def loss_spec(chart: LossChart, width: int) -> dict[str, Any]:
    """The specification of the chart, as plain data."""
    import altair as alt

    wide = width >= 480
    ends = ms(chart.times[0]), ms(chart.times[-1])
    x = alt.X(
        "at:T",
        title=None,
        scale=alt.Scale(type="utc", domain=list(ends), nice=False),
        axis=alt.Axis(format=chart.labels.day, values=ticks(chart.times, 9 if wide else 5), grid=False),
    )

    # a piece may weigh in above its hanging weight; the bands' own dip below nought is not drawn
    floor = min(0.0, *(100 * w.loss_frac for w in chart.weigh_ins), 0.0)

    def y(field: str) -> Any:
        axis = alt.Axis(tickCount=6, format="d", grid=True)
        scale = alt.Scale(domainMin=floor, nice=True)
        return alt.Y(f"{field}:Q", title=chart.labels.loss, scale=scale, axis=axis)

    def layer(name: str, rows: Sequence[dict[str, Any]]) -> Any:
        return alt.Chart({"values": list(rows)}, name=name)

    rows = [
        {
            "at": ms(t),
            "median": max(100 * m, floor),
            "low80": max(100 * a, floor),
            "high80": 100 * b,
            "low95": max(100 * c, floor),
            "high95": 100 * d,
        }
        for t, m, a, b, c, d in zip(
            chart.times,
            chart.median_frac,
            chart.low80_frac,
            chart.high80_frac,
            chart.low95_frac,
            chart.high95_frac,
            strict=True,
        )
    ]
    layers = [
        layer("band95", rows).mark_area(aria=False, color="#E7EFE9").encode(x=x, y=y("low95"), y2="high95:Q"),
        layer("band80", rows).mark_area(aria=False, color="#CFE0D6").encode(x=x, y=y("low80"), y2="high80:Q"),
    ]
    if chart.air_assumed_from is not None and ends[0] < ms(chart.air_assumed_from) < ends[1]:
        at = ms(chart.air_assumed_from)
        late = at > ends[0] + 0.55 * (ends[1] - ends[0])
        edge = [{"at": at, "text": chart.labels.air_assumed}]
        layers.append(
            layer("assumed", edge).mark_rule(aria=False, color="#56605A", strokeDash=[2, 3]).encode(x=x)
        )
        layers.append(
            layer("assumed_text", edge)
            .mark_text(
                aria=False,
                align="right" if late else "left",
                dx=-5 if late else 5,
                baseline="top",
                color="#56605A",
            )
            .encode(x=x, y=alt.value(2), text="text:N")
        )
    if chart.target_frac is not None:
        aim = [{"aim": 100 * chart.target_frac, "text": chart.labels.target}]
        layers.append(
            layer("target", aim).mark_rule(aria=False, color="#1F2421", strokeWidth=1.25).encode(y=y("aim"))
        )
        layers.append(
            layer("target_text", aim)
            .mark_text(aria=False, align="left", baseline="bottom", dy=-4, color="#1F2421")
            .encode(x=alt.value(4), y=y("aim"), text="text:N")
        )
    layers.append(
        layer("median", rows).mark_line(aria=False, color="#1F5A45", strokeWidth=2).encode(x=x, y=y("median"))
    )
    if chart.weigh_ins:
        points = [{"at": ms(w.at), "loss": 100 * w.loss_frac, "said": w.said} for w in chart.weigh_ins]
        layers.append(
            layer("weighed", points)
            .mark_point(shape="square", filled=True, size=55, color="#1F2421", opacity=1)
            .encode(x=x, y=y("loss"), description="said:N")
        )
    drawn = (
        alt.layer(*layers)
        .properties(width=width - 52, height=300 if wide else 230, padding=4, background="transparent")
        .properties(description=chart.labels.description, autosize=alt.AutoSizeParams(type="pad"))
        .configure(font=_FONT)
        .configure_view(stroke=None)
        .configure_text(fontSize=14)
        .configure_axis(
            labelFontSize=14,
            titleFontSize=14,
            titleFontWeight="normal",
            labelColor="#56605A",
            titleColor="#56605A",
            gridColor="#E4DFD3",
            domainColor="#8F8778",
            tickColor="#8F8778",
        )
        .configure_axisY(
            titleAngle=0, titleAlign="left", titleAnchor="start", titleX=-34, titleY=-12, domain=False
        )
    )
    spec: dict[str, Any] = drawn.to_dict()
    return spec


def ticks(times: Sequence[datetime], most: int) -> list[float]:
    """Midnights to label, as many as there is room for, a whole number of days apart."""
    first, last = times[0], times[-1]
    step = next(
        s for s in (1, 2, 3, 7, 14, 28, 56, 112, 365) if (last - first).days / s <= most - 1 or s == 365
    )
    midnight = first.replace(hour=0, minute=0, second=0, microsecond=0)
    if midnight < first:
        midnight += timedelta(days=1)
    return [ms(midnight + timedelta(days=d)) for d in range(0, (last - midnight).days + 1, step)]


def ms(at: datetime) -> float:
    """An instant on the axis of time."""
    return at.timestamp() * 1000.0


def _time_locale(labels: Said) -> dict[str, Any]:
    return {
        "dateTime": "%x, %X",
        "date": "%Y-%m-%d",
        "time": "%H:%M",
        "periods": ["", ""],
        "days": list(labels.weekdays),
        "shortDays": list(labels.weekdays),
        "months": list(labels.months),
        "shortMonths": [month[:3] for month in labels.months],
    }


def audited(svg: str, description: str) -> str:
    """The SVG as it may be set inline: known elements only, no style, script, handler or address.

    The root becomes one picture with one name; what a reader of the screen gets beyond that is the
    table beside it.
    """
    ElementTree.register_namespace("", _SVG)
    root = ElementTree.fromstring(svg)  # noqa: S314 - drawn in this process, not received
    for element in root.iter():
        name = element.tag.removeprefix(f"{{{_SVG}}}")
        if name not in _ELEMENTS:
            raise ValueError(f"element {name} in a chart")
        for attribute in list(element.attrib):
            value = element.attrib[attribute]
            if attribute == "style" or attribute.startswith("on") or "href" in attribute or "url(" in value:
                raise ValueError(f"attribute {attribute} in a chart")
            if attribute.startswith("aria-") or attribute == "role":
                del element.attrib[attribute]
    root.set("role", "img")
    root.set("aria-label", description)
    root.attrib.pop("version", None)
    return ElementTree.tostring(root, encoding="unicode")
