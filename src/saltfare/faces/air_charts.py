"""The air of a chamber as it was logged: temperature above, humidity below, gaps left open."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any

from markupsafe import Markup

from saltfare.faces.charts import ms, rendered, ticks


@dataclass(frozen=True, slots=True)
class AirLabels:
    """Everything the chart says, from the words catalogue."""

    description: str
    temperature: str
    humidity: str
    day: str
    months: tuple[str, ...]
    weekdays: tuple[str, ...]
    decimal: str = "."


@dataclass(frozen=True, slots=True)
class AirChart:
    """Temperature (in the unit it is shown in) and humidity (%) over time. run: which stretch without a gap
    a point belongs to. usual: what the chamber is described as, dashed; None where it is not."""

    times: tuple[datetime, ...]
    temp: tuple[float, ...]
    rh_pct: tuple[float, ...]
    run: tuple[int, ...]
    usual_temp: float | None
    usual_rh_pct: float | None
    labels: AirLabels


def air_svg(chart: AirChart, width: int) -> Markup:
    """The chart at a width in px, checked to hold nothing a strict content policy refuses."""
    return Markup(_air_svg(chart, width))  # noqa: S704 - the audit let it through


@lru_cache(maxsize=32)
def _air_svg(chart: AirChart, width: int) -> str:
    return rendered(air_spec(chart, width), chart.labels)


def air_spec(chart: AirChart, width: int) -> dict[str, Any]:
    """The specification of the chart, as plain data."""
    import altair as alt

    wide = width >= 480
    ends = [ms(chart.times[0]), ms(chart.times[-1])]
    if ends[0] == ends[1]:
        ends[1] += 3_600_000.0
    rows = [
        {"at": ms(t), "temp": c, "rh": h, "run": r}
        for t, c, h, r in zip(chart.times, chart.temp, chart.rh_pct, chart.run, strict=True)
    ]

    def panel(field: str, title: str, usual: float | None, axis: bool) -> Any:
        x = alt.X(
            "at:T",
            title=None,
            scale=alt.Scale(type="utc", domain=ends, nice=False),
            axis=alt.Axis(
                format=chart.labels.day,
                values=ticks(chart.times, 9 if wide else 5),
                grid=False,
                labels=axis,
                ticks=axis,
            ),
        )
        y = alt.Y(
            f"{field}:Q",
            title=title,
            scale=alt.Scale(zero=False, nice=True),
            axis=alt.Axis(tickCount=4, format="d" if field == "rh" else ".3~g", grid=True),
        )
        layers = []
        if usual is not None:
            level = [{field: usual}]
            layers.append(
                alt.Chart({"values": level}, name=f"usual_{field}")
                .mark_rule(aria=False, color="#56605A", strokeDash=[2, 3])
                .encode(y=y)
            )
        layers.append(
            alt.Chart({"values": rows}, name=f"air_{field}")
            .mark_line(aria=False, color="#1F5A45", strokeWidth=1.5)
            .encode(x=x, y=y, detail="run:N")
        )
        return alt.layer(*layers).properties(width=width - 52, height=110 if wide else 90)

    drawn = (
        alt.vconcat(
            panel("temp", chart.labels.temperature, chart.usual_temp, False),
            panel("rh", chart.labels.humidity, chart.usual_rh_pct, True),
            spacing=30,
        )
        .properties(description=chart.labels.description, padding=4, background="transparent")
        .properties(autosize=alt.AutoSizeParams(type="pad"))
        .configure(font="Palatino, Georgia, serif")
        .configure_view(stroke=None)
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
