"""The list of actions and the one way to run one: validate, weigh what is implausible, call.

The list is static so that a face can name every action without importing a model; a test holds it
to the functions themselves.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING, Any, Literal, get_type_hints

from saltfare.core.errors import NotFound

if TYPE_CHECKING:
    from pydantic import BaseModel

    from saltfare.actions.context import Context
    from saltfare.core.errors import Problem

Kind = Literal["query", "command"]
Part = Literal["bench", "pieces", "dishes", "shelf", "trips", "chambers", "sources", "settings"]


@dataclass(frozen=True, slots=True)
class Action:
    """One use case. Its function lives in actions.<module>, under its own name; what it does is told
    in the words catalogue under `action.<name>`."""

    name: str
    kind: Kind
    part: Part
    module: str

    @property
    def function(self) -> Callable[..., BaseModel]:
        """The typed function, imported on first use."""
        function: Callable[..., BaseModel] = getattr(
            import_module(f"saltfare.actions.{self.module}"), self.name
        )
        return function

    @property
    def Input(self) -> type[BaseModel]:  # noqa: N802 - it is a class
        """The pydantic model of what it takes."""
        found: type[BaseModel] = get_type_hints(self.function)["given"]
        return found

    @property
    def Output(self) -> type[BaseModel]:  # noqa: N802 - it is a class
        """The pydantic model of what it gives."""
        found: type[BaseModel] = get_type_hints(self.function)["return"]
        return found


ACTIONS: tuple[Action, ...] = (
    Action("bench", "query", "bench", "bench"),
    Action("pieces", "query", "pieces", "pieces"),
    Action("piece", "query", "pieces", "piece_view"),
    Action("plan_piece", "query", "pieces", "piece_start"),
    Action("start_piece", "command", "pieces", "piece_start"),
    Action("rub_day", "query", "pieces", "rub_day"),
    Action("rub_piece", "command", "pieces", "rub_day"),
    Action("salt_piece", "command", "pieces", "piece_work"),
    Action("turn_piece", "command", "pieces", "piece_work"),
    Action("wash_piece", "command", "pieces", "piece_work"),
    Action("hang_piece", "command", "pieces", "piece_work"),
    Action("weigh_in", "command", "pieces", "piece_work"),
    Action("drain_piece", "command", "pieces", "piece_handling"),
    Action("rest_piece", "command", "pieces", "piece_handling"),
    Action("end_rest", "command", "pieces", "piece_handling"),
    Action("shape_piece", "command", "pieces", "piece_handling"),
    Action("inject_piece", "command", "pieces", "piece_handling"),
    Action("smoke_piece", "command", "pieces", "piece_handling"),
    Action("taste_piece", "command", "pieces", "piece_handling"),
    Action("cut_piece", "command", "pieces", "piece_handling"),
    Action("tie_pieces", "command", "pieces", "piece_handling"),
    Action("change_tare", "command", "pieces", "piece_handling"),
    Action("look_at_piece", "command", "pieces", "piece_handling"),
    Action("discard_piece", "command", "pieces", "piece_handling"),
    Action("take_down", "command", "pieces", "piece_handling"),
    Action("note", "command", "pieces", "piece_work"),
    Action("correct", "command", "pieces", "correction"),
    Action("criteria_card", "query", "pieces", "judged_card"),
    Action("record_measurement", "command", "pieces", "judged_record"),
    Action("record_jar_test", "command", "pieces", "judged_record"),
    Action("record_log", "command", "pieces", "judged_record"),
    Action("record_origin", "command", "pieces", "judged_record"),
    Action("record_parasite_step", "command", "pieces", "judged_record"),
    Action("act_on_verdict", "command", "pieces", "judged_record"),
    Action("heat_plan", "query", "pieces", "heat_plan"),
    Action("log_picture", "query", "pieces", "heat_plan"),
    Action("trail_exposure", "query", "pieces", "trail_exposure"),
    Action("report_incident", "command", "pieces", "incidents"),
    Action("incident", "query", "pieces", "incidents"),
    Action("incidents", "query", "pieces", "incidents"),
    Action("close_incident", "command", "pieces", "incidents"),
    Action("looks_wrong", "query", "pieces", "looks"),
    Action("recall", "query", "pieces", "recall"),
    Action("section", "query", "pieces", "section"),
    Action("buying", "query", "pieces", "buying"),
    Action("tags", "query", "pieces", "tags"),
    Action("batch_sheet", "query", "pieces", "tags"),
    Action("open_code", "query", "shelf", "open_code"),
    Action("set_tag_address", "command", "settings", "tags"),
    Action("dishes", "query", "dishes", "dish_view"),
    Action("dish", "query", "dishes", "dish_view"),
    Action("find_food", "query", "dishes", "find_food"),
    Action("own_meat", "query", "dishes", "dish_beside"),
    Action("plan_dish", "query", "dishes", "dish_start"),
    Action("start_dish", "command", "dishes", "dish_start"),
    Action("change_recipe", "command", "dishes", "dish_start"),
    Action("again_dish", "command", "dishes", "dish_start"),
    Action("cook_dish", "command", "dishes", "dish_work"),
    Action("cool_dish", "command", "dishes", "dish_work"),
    Action("tray_dish", "command", "dishes", "dish_work"),
    Action("weigh_trays", "command", "dishes", "dish_work"),
    Action("dry_spoonful", "command", "dishes", "dish_work"),
    Action("condition_dish", "command", "dishes", "dish_work"),
    Action("try_pouch", "command", "dishes", "dish_work"),
    Action("pack_dish", "command", "dishes", "dish_work"),
    Action("note_dish", "command", "dishes", "dish_work"),
    Action("discard_dish", "command", "dishes", "dish_work"),
    Action("foods", "query", "dishes", "food_book"),
    Action("keep_food", "command", "dishes", "food_book"),
    Action("drop_food", "command", "dishes", "food_book"),
    Action("label", "query", "shelf", "labels"),
    Action("label_sheets", "query", "shelf", "labels"),
    Action("print_labels", "command", "shelf", "labels"),
    Action("printed_labels", "query", "shelf", "labels"),
    Action("set_mug", "command", "settings", "labels"),
    Action("shelf", "query", "shelf", "shelf"),
    Action("lot", "query", "shelf", "lot_view"),
    Action("draw_packs", "command", "shelf", "lot_work"),
    Action("finish_opened", "command", "shelf", "lot_work"),
    Action("return_packs", "command", "shelf", "lot_work"),
    Action("move_lot", "command", "shelf", "lot_work"),
    Action("count_lot", "command", "shelf", "lot_work"),
    Action("count_shelf", "command", "shelf", "lot_work"),
    Action("store_lot", "command", "shelf", "lot_work"),
    Action("places", "query", "shelf", "places"),
    Action("describe_place", "command", "shelf", "places"),
    Action("bought", "query", "shelf", "bought"),
    Action("add_bought", "command", "shelf", "bought"),
    Action("note_tasting", "command", "shelf", "tasting"),
    Action("swap_packs", "command", "shelf", "swapping"),
    Action("swaps", "query", "shelf", "swapping"),
    Action("keeping", "query", "shelf", "keeping_view"),
    Action("tell_food", "command", "shelf", "keeping_view"),
    Action("lots_at_hand", "query", "shelf", "keeping_view"),
    Action("pouch_plan", "query", "shelf", "pouch_planning"),
    Action("films", "query", "shelf", "pouch_films"),
    Action("keep_film", "command", "shelf", "pouch_films"),
    Action("pouch_mix", "query", "shelf", "pouch_mixing"),
    Action("mix_pack", "command", "shelf", "pouch_mixing"),
    Action("fit_isotherm", "query", "shelf", "own_isotherms"),
    Action("keep_isotherm", "command", "shelf", "own_isotherms"),
    Action("own_isotherms", "query", "shelf", "own_isotherms"),
    Action("prices", "query", "shelf", "price_book"),
    Action("set_price", "command", "shelf", "price_book"),
    Action("tell_work", "command", "shelf", "price_book"),
    Action("worth", "query", "shelf", "worth_view"),
    Action("swap_band", "query", "shelf", "worth_view"),
    Action("chambers", "query", "chambers", "chambers"),
    Action("chamber", "query", "chambers", "chamber_view"),
    Action("chamber_advice", "query", "chambers", "chamber_advice"),
    Action("chamber_together", "query", "chambers", "chamber_together"),
    Action("describe_chamber", "command", "chambers", "chambers"),
    Action("read_air", "command", "chambers", "chambers"),
    Action("learned", "query", "chambers", "learning"),
    Action("exclude_piece", "command", "chambers", "learning"),
    Action("reset_learning", "command", "chambers", "learning"),
    Action("trips", "query", "trips", "trips"),
    Action("trip", "query", "trips", "trip_view"),
    Action("trip_need", "query", "trips", "trip_need"),
    Action("plan_trip", "command", "trips", "trips"),
    Action("set_days", "command", "trips", "trips"),
    Action("set_party", "command", "trips", "trips"),
    Action("set_kitchen", "command", "trips", "trips"),
    Action("set_limits", "command", "trips", "trips"),
    Action("set_staples", "command", "trips", "trips"),
    Action("set_item", "command", "trips", "trips"),
    Action("hold_item", "command", "trips", "trips"),
    Action("bar_item", "command", "trips", "trips"),
    Action("let_go", "command", "trips", "trips"),
    Action("cancel_trip", "command", "trips", "trips"),
    Action("trip_items", "query", "trips", "trip_items"),
    Action("plan_menu", "query", "trips", "trip_menu"),
    Action("menu", "query", "trips", "trip_menu"),
    Action("explain_menu", "query", "trips", "trip_menu"),
    Action("trip_water_fuel", "query", "trips", "trip_load"),
    Action("trip_missing", "query", "trips", "trip_sheet"),
    Action("trip_sheet", "query", "trips", "trip_sheet"),
    Action("commit_menu", "command", "trips", "trip_commit"),
    Action("release_menu", "command", "trips", "trip_commit"),
    Action("take_along", "command", "trips", "trip_commit"),
    Action("after_trip", "command", "trips", "trip_commit"),
    Action("forecast_record", "query", "sources", "forecast_record"),
    Action("back_plan", "query", "trips", "back_plan"),
    Action("plan_room", "query", "trips", "plan_room"),
    Action("wish_stock", "command", "trips", "plan_room"),
    Action("drop_wish", "command", "trips", "plan_room"),
    Action("set_capacity", "command", "trips", "plan_room"),
    Action("tell_away", "command", "trips", "plan_room"),
    Action("accept_plan", "command", "trips", "back_plan"),
    Action("task_done", "command", "bench", "back_plan"),
    Action("calendar_feed", "query", "trips", "calendar"),
    Action("sources", "query", "sources", "sources"),
    Action("source", "query", "sources", "sources"),
    Action("glossary", "query", "sources", "sources"),
    Action("checks", "query", "sources", "checks"),
    Action("selftest", "query", "settings", "settings"),
    Action("settings", "query", "settings", "settings"),
    Action("set_settings", "command", "settings", "settings"),
)


def get(name: str) -> Action:
    """The action of that name. Raises NotFound."""
    for action in ACTIONS:
        if action.name == name:
            return action
    raise NotFound("action", name)


def run(name: str, context: Context, data: Mapping[str, Any]) -> BaseModel:
    """Run an action on plain data, as every face does.

    Raises Refused with one problem per field to mend, NotFound, Conflict, and what the action raises.
    An implausible value is kept where `reasons` gives a reason under its path.
    """
    from saltfare.core.errors import Refused

    action = get(name)
    given, unusual = _weighed(action, context, data)
    if unusual and action.kind == "command":
        raise Refused(*unusual)
    try:
        return action.function(context, given)
    except Refused:
        asked = getattr(given, "request_id", None)
        if action.kind != "command" or not asked or not context.journal.answered(asked):
            raise
        # the same tap came twice, and its twin was recorded between our look and our refusal
        return action.function(context, given)


def objections(name: str, context: Context, data: Mapping[str, Any]) -> tuple[Problem, ...]:
    """What `run` would refuse or question of the data before it calls the action; nothing is done."""
    from saltfare.core.errors import Refused

    try:
        return tuple(_weighed(get(name), context, data)[1])
    except Refused as refused:
        return refused.problems


def _weighed(action: Action, context: Context, data: Mapping[str, Any]) -> tuple[Any, list[Problem]]:
    """The data as the action takes it, and what is unusual in it without a reason."""
    from pydantic import ValidationError

    from saltfare.core.errors import Refused
    from saltfare.core.fields import implausible, problems_of

    now = context.settings
    reading = {"decimal": now.decimal, "measures": now.measures, "currency": now.currency}
    try:
        given = action.Input.model_validate(data, context=reading)
    except ValidationError as error:
        raise Refused(*problems_of(error)) from None
    reasons = getattr(given, "reasons", {})
    return given, [p for p in implausible(given) if not reasons.get(p.field, "").strip()]
