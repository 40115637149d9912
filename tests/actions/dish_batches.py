"""A dish to plan, and batches brought to a stage. Invented throughout; no expected value of anything."""

from __future__ import annotations

from typing import Any

from households import House

HASH: tuple[tuple[str, str], ...] = (
    ("potato", "1200 g"),
    ("leek", "400 g"),
    ("olive_oil", "20 g"),
    ("salt", "10 g"),
    ("water", "100 g"),
)
STEW: tuple[tuple[str, str], ...] = (
    ("barley_pearl", "200 g"),
    ("lentils_red", "180 g"),
    ("onion", "200 g"),
    ("carrot", "250 g"),
    ("tomato_canned", "400 g"),
    ("olive_oil", "1 tbsp"),
    ("salt", "10 g"),
    ("water", "1.6 l"),
)
TRAYS: dict[str, Any] = {
    "trays": 6, "length": "33 cm", "width": "30 cm", "kind": "sheet", "temperature": "60 C",
    "speed": "1 m/s", "room_temperature": "21 C", "room_humidity": "50 %", "power": "600", "duty": "55 %",
}  # fmt: skip
CAMP: dict[str, Any] = {
    "altitude": "1500 m", "air": "8 C", "wind": "0.5 m/s", "cover": "cosy", "pouch_width": "16 cm",
    "pouch_height": "20 cm", "cup": "240 ml",
}  # fmt: skip


def recipe(*lines: tuple[str, str]) -> list[dict[str, Any]]:
    return [{"food": food, "amount": amount} for food, amount in lines or HASH]


def dish(**changes: Any) -> dict[str, Any]:
    given: dict[str, Any] = {
        "lines": recipe(), "target_water": "6 %", "trays": TRAYS, "packs": 4, "scale_step": "1 g",
        "camp": CAMP, "bed": "23:00",
    }  # fmt: skip
    return given | changes


def started(house: House, **changes: Any) -> str:
    return str(house.do("start_dish", name="Hash", **dish(**changes)).code)


def on_trays(house: House, **changes: Any) -> str:
    code = started(house, **changes)
    house.do("cook_dish", 0.1, code=code, mass="2050 g", tare="550 g")
    house.do("tray_dish", 0.2, code=code, mass="3500 g", tare="2 kg")
    return code


def in_jar(house: House, **changes: Any) -> str:
    code = on_trays(house, **changes)
    house.do("condition_dish", 1, code=code, step="in_jar", mass="375 g")
    return code


def packed(house: House, **changes: Any) -> tuple[str, str]:
    """The batch and its lot."""
    code = in_jar(house, **changes)
    portions = [{"packs": 4, "mass": "90 g", "sealed": "air", "place": "larder"}]
    return code, str(house.do("pack_dish", 8, code=code, portions=portions).codes[0])
