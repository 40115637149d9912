"""The page of one batch: where it stands, its trays, the pouch at camp, and the forms of its acts."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from markupsafe import Markup
from starlette.responses import Response

from saltfare.core.errors import NotFound
from saltfare.core.units import to_unit
from saltfare.faces import tray_charts
from saltfare.faces.shelf_text import answers_said
from saltfare.faces.web.desk import Desk
from saltfare.faces.web.forms import Form
from saltfare.faces.web.judged import piece_criteria

if TYPE_CHECKING:
    from saltfare.actions.dish_report_shapes import TraysShown
    from saltfare.actions.dish_view import DishLineShown, DishShown

# How the pages name the acts in addresses and words, by action.
NAMES = {
    "cook_dish": "cook",
    "cool_dish": "cool",
    "tray_dish": "on-trays",
    "weigh_trays": "weigh-trays",
    "dry_spoonful": "spoonful",
    "condition_dish": "condition",
    "try_pouch": "test-pouch",
    "pack_dish": "pack",
    "discard_dish": "discard",
}
_TABLE_ROWS = 12
# what is said for the run on the trays alone
_OF_THE_RUN = frozenset(
    {
        *("thinner_load", "thinner_load_none", "spread_thick", "solids_from_recipe", "slow_part"),
        *("overnight_dry_before", "overnight_may_stop", "overnight_do_not_stop", "drying_beyond_horizon"),
    }
)


def dish_page(
    desk: Desk,
    code: str,
    *,
    form: Form | None = None,
    done: str = "",
    act: str = "",
    drop: str = "",
    status: int = 200,
) -> Response:
    """One batch."""
    one: DishShown = desk.run("dish", {"code": code})
    acts = [NAMES[name] for name in one.acts if name in NAMES]
    # once it is packed and tried nothing is asked of it any more
    likeliest = "" if one.state == "packed" and one.tried else acts[0] if acts else ""
    if one.on_trays is not None and one.on_trays.end_point == "dry" and "condition" in acts:
        likeliest = "condition"
    # asked for by its address, or being put right
    first = act if act in acts and (form or not done) else likeliest
    recorded = {entry.event_id for entry in one.log}
    run_over = one.state in ("conditioning", "packed") or bool(one.ended)
    return desk.page(
        "dish.html",
        part="dishes",
        status=status,
        form=form or Form(),
        one=one,
        sentence=sentence(desk, one),
        first=first,
        more=[name for name in acts if name != first],
        can_change="change_recipe" in one.acts,
        form_of=lambda name: form if form and act == name else act_form_of(desk, name, one),
        lot_options=_packs_left(desk, one),
        notes=[n for n in one.notes if not (run_over and n.code in _OF_THE_RUN)],
        run_over=run_over,
        against=[desk.words.problem(problem) for problem in one.against],
        chart=chart(desk, one.name, one.trays) if one.trays and one.trays.curve else None,
        points=_points(one.trays) if one.trays else [],
        mass_kind=_mass_kind(desk, one.trays) if one.trays else "mass",
        answers_said=lambda answers: answers_said(desk.words, answers),
        agents_said=lambda agents: ", ".join(desk.words.t(f"label.agent.{agent}") for agent in agents),
        lies_said=lambda kind: desk.context.library.row("tray_foods", kind).text("label"),
        done=done if done in recorded or act in ("correct", "change") else "",
        act=act,
        drop=drop,
        **_criteria(desk, one),
    )


def _criteria(desk: Desk, one: DishShown) -> dict[str, Any]:
    try:
        return piece_criteria(desk, one.code)
    except NotFound:
        return {"judged": None, "js": None}


def _packs_left(desk: Desk, one: DishShown) -> list[tuple[str, str]]:
    """The lots a test pouch may be a pack of, and last that it was none of them."""
    said = desk.words.t
    left = [(code, said("dish.act.test-pouch.lot_of", code=code)) for code in one.lots_left]
    return [*left, ("", said("dish.act.test-pouch.lot_none"))] if left else []


def act_form_of(desk: Desk, act: str, one: Any) -> Form:
    """The form of an act, with what need not be typed again."""
    shown = desk.words.shown
    typed = kept_for_dish(desk, act, one.on_trays) if one.on_trays is not None else {}
    if act == "condition":
        typed = {"step": "shaken" if one.state == "conditioning" else "in_jar"}
    if act == "test-pouch":
        camp, us = one.choice.camp, shown.measures == "us"
        typed = {
            "altitude": shown.typed(camp.altitude.value, "length", "m"),
            "air": shown.typed(camp.air.value, "temperature", "F" if us else "C"),
            "cover": camp.cover,
            "lot": one.lots_left[0] if one.lots_left else "",
        }
        if one.pouch is not None:
            typed["dry"] = shown.typed(one.pouch.pack.value, "mass", "g")
    return Form(typed, prefix=f"{act}-")


def kept_for_dish(desk: Desk, act: str, one: Any) -> dict[str, str]:
    """What an act on the Bench starts with: the empty trays as told last, the jar shaken."""
    if act == "weigh-trays" and one.tare_kg:
        return {"tare": desk.words.shown.typed(one.tare_kg, "mass", "g"), "tare_unit": "g"}
    if act == "condition":
        return {"step": "shaken" if getattr(one, "step", "") == "shake_jar" else "in_jar"}
    return {}


def sentence(desk: Desk, one: DishShown) -> str:
    """How the batch is, in a sentence or two."""
    words = desk.words
    if one.ended:
        return words.t("dish.is.discarded")
    state = one.state.replace(" ", "_")
    given: dict[str, Any] = {
        "at": {
            "planned": one.planned_at,
            "cooked": one.cooked_at,
            "cooling": one.cooled_at,
            "on trays": one.trays_since,
            "conditioning": one.jar_since,
            "packed": one.packed_at,
        }[one.state],
        "packs": one.packs,
    }
    trays = one.on_trays
    # hours reckoned before they ran out say nothing any more, and what is dry is not about to be
    if (
        trays is not None
        and trays.end_point != "dry"
        and trays.dry_low is not None
        and trays.dry_high is not None
        and trays.dry_high > desk.context.now
    ):
        given |= {"low": trays.dry_low, "high": trays.dry_high}
        return words.t("dish.is.on_trays_ready", **given)
    return words.t(f"dish.is.{state}", **given)


def line_said(desk: Desk, one: DishLineShown) -> str:
    """A batch of the list in a line."""
    words = desk.words
    state = "discarded" if one.ended else one.state.replace(" ", "_")
    given: dict[str, Any] = {"since": one.since, "packs": one.packs}
    if one.dry_low is not None and one.dry_high is not None and one.dry_high > desk.context.now:
        return words.t("dishes.is.on_trays_ready", low=one.dry_low, high=one.dry_high, **given)
    return words.t(f"dishes.is.{state}", **given)


def chart(desk: Desk, name: str, trays: TraysShown) -> dict[str, Markup]:
    """The mass on the trays against the clock, at two widths."""
    words = desk.words
    unit = _mass_kind(desk, trays).partition(":")[2]

    def scaled(kg: float) -> float:
        return to_unit(kg, "mass", unit)

    def clock(at: datetime) -> str:
        return f"{words.shown.local(at):%H:%M}"

    end = trays.end
    middle = end.value or 0.0
    low, high = (end.low or middle, end.high or middle)
    drawn = tray_charts.TrayChart(
        times=tuple(point.at for point in trays.curve),
        low=tuple(scaled(point.low_kg) for point in trays.curve),
        middle=tuple(scaled(point.middle_kg) for point in trays.curve),
        high=tuple(scaled(point.high_kg) for point in trays.curve),
        target=(scaled(low), scaled(middle), scaled(high)),
        weights=tuple(
            (w.at, scaled(w.mass_kg), words.t("dish.chart.weighed", at=w.at, mass_kg=w.mass_kg))
            for w in trays.weights
        ),
        description=words.t("dish.chart.description", name=name),
        axis=words.t("dish.chart.axis", unit=words.shown.label(unit)),
        target_said=words.t("dish.chart.target", mass_kg=middle),
        number=lambda value: words.shown.number(value, 2),
        clock=clock,
    )
    return {
        "phone": tray_charts.tray_svg(drawn, tray_charts.PHONE_WIDTH),
        "desk": tray_charts.tray_svg(drawn, tray_charts.DESK_WIDTH),
    }


def _mass_kind(desk: Desk, trays: TraysShown) -> str:
    return f"mass:{desk.words.shown.unit_for('mass', trays.laid.value or 1.0)}"


def _points(trays: TraysShown) -> list[Any]:
    step = max(1, len(trays.curve) // _TABLE_ROWS)
    return [*trays.curve[:-1:step], *trays.curve[-1:]]
