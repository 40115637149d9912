"""The page of one piece: the sentence, the chart, the tables beside it, and the forms of its acts."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from markupsafe import Markup
from starlette.responses import Response

from saltfare.core.errors import NotFound
from saltfare.faces import charts
from saltfare.faces.web.desk import Desk
from saltfare.faces.web.forms import Form
from saltfare.faces.web.judged import piece_criteria
from saltfare.faces.web.says import ACT_NAMES, kept_for, remembered
from saltfare.faces.web.section import across
from saltfare.faces.words import find

if TYPE_CHECKING:
    from saltfare.actions.piece_view import ForecastShown, PieceShown
    from saltfare.actions.pieces import PieceLine
    from saltfare.core.figure import Note

_TABLE_ROWS = 24


def piece_page(
    desk: Desk,
    code: str,
    *,
    form: Form | None = None,
    done: str = "",
    act: str = "",
    drop: str = "",
    status: int = 200,
) -> Response:
    """One piece."""
    one: PieceShown = desk.run("piece", {"code": code})
    hung_kg = next((x.figure.value for x in one.hanging if x.quantity == "hanging_weight"), None)
    acts = [ACT_NAMES[name] for name in one.acts if name in ACT_NAMES]
    partners = _partners(desk, one) if "tie" in acts else []
    if not partners:
        acts = [name for name in acts if name != "tie"]
    first = act if form and act in acts else (acts[0] if acts else "")
    own = remembered(desk.words.shown, one.weighed, one.tare_kg, one.scale_step_kg)
    recorded = {entry.event_id for entry in one.log}
    chambers = {c.key: c.name for c in desk.run("chambers").chambers}
    return desk.page(
        "piece.html",
        part="pieces",
        status=status,
        form=form or Form(),
        one=one,
        record=desk.run("forecast_record", {"code": one.code}),
        odd=odd(one),
        sentence=sentence(desk, one),
        cut=cut_of(desk, one.cut),
        chamber=chambers.get(one.chamber or "", one.chamber or ""),
        chambers=chambers,
        first=first,
        more=[name for name in acts if name != first],
        known={"code": one.code, "partners": partners},
        form_of=lambda name: form if form and act == name else Form(kept_for(name, own), prefix=f"{name}-"),
        # one unit for the whole table, and the one last typed for the next weigh-in
        mass_kind=f"mass:{desk.words.shown.unit_for('mass', hung_kg or one.green_kg)}",
        chart=_chart(desk, one, hung_kg) if one.forecast and hung_kg else None,
        across=across(desk, one),
        table=_table(desk, one.forecast, hung_kg) if one.forecast and hung_kg else [],
        **piece_criteria(desk, code),
        done=done if done in recorded or act == "correct" else "",
        act=act,
        drop=drop,
    )


def _partners(desk: Desk, one: PieceShown) -> list[tuple[str, str]]:
    """The other pieces it could be tied to."""
    found: tuple[PieceLine, ...] = desk.run("pieces", {"forecasts": False}).pieces
    hang = [p for p in found if p.state in ("hanging", "at its mass") and p.code != one.code]
    return [(p.code, f"{p.name} {p.code}") for p in hang]


def cut_of(desk: Desk, cut: str) -> str:
    """What a cut is called."""
    try:
        return desk.context.library.row("cuts", cut).text("label")
    except NotFound:
        return cut


def sentence(desk: Desk, one: PieceShown) -> str:
    """How the piece is, in a sentence or two."""
    words, now = desk.words, desk.context.now
    state = one.state.replace(" ", "_")
    given: dict[str, Any] = {"green_kg": one.green_kg, "started": one.started_at}
    if one.salted_at:
        given |= {"salted": one.salted_at, "salted_s": _days(one.salted_at, now)}
    if one.hung_at:
        given |= {"hung": one.hung_at, "hung_s": _days(one.hung_at, now)}
    if one.loss_from_hanging:
        given["loss"] = words.value(one.loss_from_hanging)
    if one.last_kg is not None:
        given["last_kg"] = one.last_kg
    if one.taken_down_at or one.ended_at:
        given["down"] = one.taken_down_at or one.ended_at
    if one.ended:
        return words.t(f"piece.is.{one.ended}", **given)
    if one.state == "resting" and one.hung_at:
        return words.t("piece.is.resting_hung", **given)
    if one.target_kg is not None and one.target_loss_frac is not None:
        given |= {"target_kg": one.target_kg, "target_frac": one.target_loss_frac}
    if state != "hanging":
        return words.t(f"piece.is.{state}", **given)
    ready = one.forecast.ready if one.forecast else None
    if "target_kg" not in given:
        return words.t("piece.is.hanging_without_target", **given)
    if ready is None or ready.early is None:
        return words.t("piece.is.hanging", **given)
    given |= {"early": ready.early, "likely": ready.likely, "late": ready.late, "horizon": ready.horizon_at}
    if ready.late is None or ready.likely is None:
        return words.t("piece.is.hanging_open", **given)
    if words.shown.on(ready.early) == words.shown.on(ready.late):
        return words.t("piece.is.hanging_one_day", **given)
    return words.t("piece.is.hanging_ready", **given)


def odd(one: PieceShown) -> tuple[Note, ...]:
    """What stands against its last weigh-in, so that it can be weighed again while it is at hand."""
    return one.weigh_ins[-1].notes if one.weigh_ins and one.state != "taken down" else ()


def line_said(desk: Desk, one: PieceLine) -> str:
    """A piece of the list in a line."""
    words = desk.words
    given: dict[str, Any] = {"since": one.since}
    if one.state == "hanging" and one.ready_early and one.ready_late:
        given |= {"loss_frac": one.loss_frac or 0.0, "target_frac": one.target_loss_frac or 0.0}
        given |= {"early": one.ready_early, "late": one.ready_late}
        return words.t("pieces.is.hanging_ready", **given)
    if one.loss_frac is not None:
        return words.t(
            "pieces.is.with_loss", state=words.t(_state(one.state)), loss_frac=one.loss_frac, **given
        )
    return words.t("pieces.is.plain", state=words.t(_state(one.state)), **given)


def _state(state: str) -> str:
    return f"status.{state.replace(' ', '_')}"


def _days(since: datetime, now: datetime) -> float:
    return max(0, (now - since).days) * 86400.0


def _chart(desk: Desk, one: PieceShown, hung_kg: float) -> dict[str, Markup]:
    words, forecast = desk.words, one.forecast
    if forecast is None:
        raise ValueError("no forecast to draw")
    curve = forecast.curve
    pattern = "chart.day_us" if words.shown.locale == "en-US" else "chart.day"
    labels = charts.Labels(
        description=words.t("chart.description", name=one.name, sentence=sentence(desk, one)),
        loss=words.t("chart.loss"),
        target=words.t("chart.target", target_frac=one.target_loss_frac, target_kg=one.target_kg)
        if one.target_kg is not None and one.target_loss_frac is not None
        else "",
        air_assumed=words.t("chart.air_assumed"),
        day=words.t(pattern),
        months=tuple(find("date.months", words.tree)),
        weekdays=tuple(find("date.weekdays", words.tree)),
        decimal="," if words.shown.decimal == "comma" else ".",
    )
    drawn = charts.LossChart(
        times=tuple(words.shown.local(p.at) for p in curve),
        median_frac=tuple(1 - p.median_kg / hung_kg for p in curve),
        low80_frac=tuple(1 - p.high_80_kg / hung_kg for p in curve),
        high80_frac=tuple(1 - p.low_80_kg / hung_kg for p in curve),
        low95_frac=tuple(1 - p.high_95_kg / hung_kg for p in curve),
        high95_frac=tuple(1 - p.low_95_kg / hung_kg for p in curve),
        weigh_ins=tuple(
            charts.WeighIn(w.at, w.loss_frac, words.t("chart.weigh_in", at=w.at, loss_frac=w.loss_frac))
            for w in one.weigh_ins
        ),
        target_frac=one.target_loss_frac,
        air_assumed_from=forecast.last_reading_at,
        labels=labels,
    )
    return {
        "phone": charts.loss_svg(drawn, charts.PHONE_WIDTH),
        "desk": charts.loss_svg(drawn, charts.DESK_WIDTH),
    }


def _table(desk: Desk, forecast: ForecastShown | None, hung_kg: float) -> list[dict[str, Any]]:
    """The curve in a table: a row a day at most, evenly spread, the last among them."""
    by_day = {desk.words.shown.local(p.at).date(): p for p in (forecast.curve if forecast else ())}
    days = list(by_day.values())
    step = max(1, len(days) // _TABLE_ROWS)
    return [
        {
            "at": p.at,
            "median_kg": p.median_kg,
            "low_kg": p.low_80_kg,
            "high_kg": p.high_80_kg,
            "loss_frac": 1 - p.median_kg / hung_kg,
            "ready_frac": p.ready_frac,
        }
        for p in (*days[:-1:step], *days[-1:])
    ]
