"""A trip told to a house: days, party, kitchen and plain foods. All of it is invented."""

from __future__ import annotations

from typing import Any

from households import House

DEPARTURE = "2026-04-10"
DAY: dict[str, Any] = {
    "walking": "12 km",
    "ascent": "600 m",
    "descent": "400 m",
    "terrain": "dirt_road",
    "load_share": "20 %",
    "camp": "2 h",
}
ANNA: dict[str, Any] = {
    "name": "Anna", "sex": "female", "age": 34, "height": "168 cm", "mass": "62 kg", "level": "active",
}  # fmt: skip
BO: dict[str, Any] = {
    "name": "Bo", "sex": "male", "age": 40, "height": "180 cm", "mass": "80 kg", "level": "active",
    "eats_no": {"diets": ["no_pork"]},
}  # fmt: skip
KITCHEN: dict[str, Any] = {
    "pots": 2, "pot": "2 l", "fillings": 2, "stove": "gas_bare", "fuel": "isobutane",
}  # fmt: skip


def staple(food: str, pack: str, portion: str, **more: Any) -> dict[str, Any]:
    return {"food": food, "pack": pack, "portion": portion, **more}


STAPLES = [
    staple("oats_rolled", "500 g", "120 g", role="main", sittings=["breakfast"], hot=True, water="300 ml"),
    staple("couscous", "500 g", "140 g", role="main", sittings=["supper"], hot=True, water="250 ml"),
    staple("rice_white", "500 g", "150 g", role="main", sittings=["supper"], hot=True, water="350 ml"),
    staple("lentils_red", "500 g", "130 g", role="main", sittings=["supper"], hot=True, water="350 ml"),
    staple("almonds", "200 g", "50 g"),
    staple("raisins", "250 g", "50 g"),
    staple("cheddar", "300 g", "50 g"),
]


class Camp(House):
    """A house with a trip told to it."""

    def trip(self, *, days: int = 3, staples: list[dict[str, Any]] | None = None, **changes: Any) -> str:
        made = self.do(
            "plan_trip",
            **{
                "name": "Over the ridge (invented)",
                "departure": DEPARTURE,
                "day": "16 C",
                "night": "6 C",
                "altitude": "900 m",
                **changes.pop("plan", {}),
            },
        )
        code = str(made.code)
        self.do("set_days", code=code, days=changes.pop("days_told", [DAY] * days))
        people, reasons = changes.pop("people", [ANNA, BO]), changes.pop("reasons", {})
        self.do("set_party", code=code, people=people, reasons=reasons)
        self.do("set_kitchen", code=code, **{**KITCHEN, **changes.pop("kitchen", {})})
        self.do("set_staples", code=code, staples=STAPLES if staples is None else staples)
        return code

    def planned(self, code: str, preset: str = "lightest", day: float = 0.0) -> Any:
        return self.do("plan_menu", day, code=code, preset=preset, wait_s=60)
