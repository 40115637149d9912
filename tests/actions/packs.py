"""Lots to keep and to mix: a dried loin in packs, a dish told by its owner."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from households import BEGAN, House

from saltfare.core.fields import Measured
from saltfare.journal import events_lot as lots
from saltfare.journal import events_pouch as pouch
from saltfare.journal.codes import code_of
from saltfare.journal.lot import LotState, lot

BARLEY = 4711  # a number for a code, nothing else


def si(value: float) -> Measured:
    return Measured.si(value)


def loin_lot(
    house: House,
    *,
    mass: str = "1.06 kg",
    packs: int = 4,
    place: str = "pantry",
    mass_of: str = "200 g",
    **pack: Any,
) -> str:
    """A loin weighed down to a mass and packed."""
    code = house.hung()
    house.do("weigh_in", 60, code=code, mass=mass, reasons={"mass": "a test"})
    portion = {"packs": packs, "mass": mass_of, "sealed": "no_oxygen", "place": place, **pack}
    did = house.do(
        "take_down",
        61,
        code=code,
        mass=mass,
        portions=[portion],
        reasons={"mass": "a test", "portions.0.mass": "a test"},
    )
    return str(did.codes[0])


def told_lot(house: House, number: int = BARLEY, *, day: float = 60, **changes: Any) -> str:
    """A lot of nobody's recipe whose food was told: cooked and dried grain, 7 % water."""
    code = code_of(number)
    told = {k: changes.pop(k) for k in ("food", "water", "fat", "salt", "isotherm") if k in changes}
    made: dict[str, Any] = {
        "name": "Barley stew",
        "packs": 6,
        "mass": si(0.12),
        "sealed": "air",
        "place": "pantry",
        "packed_on": (BEGAN + timedelta(days=day)).date(),
    } | changes
    put(house, code, lots.LotMade(**made), day)
    said = {"food": "starch_cooked", "water": 0.07, "fat": 0.03} | told
    body = pouch.FoodTold(**{k: si(v) if isinstance(v, float) else v for k, v in said.items()})
    put(house, code, body, day)
    return code


def put(house: House, code: str, body: Any, day: float) -> None:
    house.journal.append(
        f"lot/{code}",
        body,
        at=house.context(day).now,
        zone="UTC",
        actor="household",
        recorded_at=house.context(day).now,
    )


def lot_in(house: House, code: str) -> LotState:
    return lot(house.journal, code)


def day_of(day: float) -> date:
    return (BEGAN + timedelta(days=day)).date()
