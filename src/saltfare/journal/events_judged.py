"""What a published criterion is held against: measurements, logs, where it came from, and what was acted on.

Streams: `piece/CODE` and `lot/CODE`; what happens to a place has a stream of its own, `incident/CODE`.
"""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import AwareDatetime, Field

from saltfare.core.fields import Frozen, Measured
from saltfare.journal.events import Body

INCIDENTS = "incident/"

MeasuredQuantity = Literal[
    "water_activity",
    "ph",
    "core_temperature",
    "water_phase_salt",
    "internal_salt",
    "aw_when_cooled",
    "salt_when_cooled",
    "storage_temperature",
]
Method = Literal["instrument", "jar", "laboratory", "probe", "memory_thermometer"]
LogOf = Literal["heating", "cooling", "heating_and_cooling", "surface", "freezer", "frozen_core", "carrying"]
ProbePlace = Literal["coldest", "elsewhere", "not_said"]
Acted = Literal["kept", "packed", "given_away", "eaten", "cooked", "thrown_out"]
What = Literal["freezer_off", "fridge_warm", "dryer_stopped", "chamber_warm"]
Found = Literal["frozen_hard", "ice_crystals", "cold", "warm", "not_looked"]
Decision = Literal["keep", "cook_now", "throw_out"]


class JarTest(Frozen):
    """A diced core sample in a closed jar with a hygrometer, and the same hygrometer over two brines.

    sample: the reading over the meat. sodium, potassium: over saturated sodium and potassium chloride,
    each with the day it was read; temperature: of all three.
    """

    sample: Measured
    sodium: Measured
    potassium: Measured
    sodium_at: AwareDatetime
    potassium_at: AwareDatetime
    temperature: Measured


class MeasurementTaken(Body, kind="measurement"):
    """A measurement of the food itself. error: half width, as told; None where it was not.

    part: which part the sample was. by: the laboratory or instrument, as the person calls it.
    """

    quantity: MeasuredQuantity
    value: Measured
    error: Measured | None = None
    method: Method
    jar: JarTest | None = None
    part: Literal["wettest_thickest", "elsewhere", "not_said"] = "not_said"
    by: str = Field(default="", max_length=120)


class LogReading(Frozen):
    """One reading of a thermometer."""

    at: AwareDatetime
    temperature: Measured


class TemperatureLogged(Body, kind="temperature_log"):
    """Readings of a thermometer in or by the food.

    place: where the probe was. humidity: how the surface was kept moist, by its glossary word. The flags are
    None where nothing was said. time_in_oven, oven: of an oven as it was measured.
    """

    of: LogOf
    readings: tuple[LogReading, ...] = Field(min_length=2, max_length=20_000)
    error: Measured | None = None
    place: ProbePlace = "not_said"
    humidity: str | None = Field(default=None, max_length=40)
    cook_time: Measured | None = None
    oven: Measured | None = None
    oven_time: Measured | None = None
    mass: Measured | None = None
    dried_before: bool | None = None
    in_closed_pack: bool | None = None
    chill_delay: Measured | None = None
    deep_freezer: bool | None = None
    thickness: Measured | None = None
    origin: str = Field(default="", max_length=200)


class OriginTold(Body, kind="origin"):
    """What it is and where it came from, as the person says; None where nothing was said.

    carcass_tested: a laboratory's paper that the carcass was found free of trichinae is at hand; paper: its
    number or date.
    """

    species: str | None = Field(default=None, max_length=40)
    form: str | None = Field(default=None, max_length=40)
    intact: bool | None = None
    in_brine: bool | None = None
    injected: bool | None = None
    natural_climate: bool | None = None
    naturally_acid: bool | None = None
    cured: bool | None = None
    heated_ever: bool | None = None
    carcass_tested: bool | None = None
    paper: str = Field(default="", max_length=200)


class ParasiteStep(Body, kind="parasite_step"):
    """Frozen against parasites, or not. time: without a break at or below `warmest`; thickness: of the whole
    package as it froze; deep_freezer: one that goes below what a household freezer does, unit checked."""

    frozen: bool
    place: str = Field(default="", max_length=80)
    begun: AwareDatetime | None = None
    ended: AwareDatetime | None = None
    warmest: Measured | None = None
    error: Measured | None = None
    thickness: Measured | None = None
    deep_freezer: bool | None = None


class VerdictActed(Body, kind="verdict_acted"):
    """What was done on an answer, with the answer as it was then: it left the house, so it is kept.

    verdicts: criterion and edition -> answer. receiver: to whom it went, as the person calls them.
    """

    observed: ClassVar[bool] = False

    question: str = Field(max_length=40)
    answer: Literal["meets", "does_not_meet", "cannot_tell"]
    verdicts: dict[str, str]
    done: Acted
    receiver: str = Field(default="", max_length=120)
    packs: int | None = Field(default=None, ge=1, le=500)
    program: str = Field(default="", max_length=40)


class IncidentReported(Body, kind="incident"):
    """Something went wrong in a place, from one instant to another; `until` None where it goes on.

    warmest: the highest it read there over the whole time, the only number told. readings: where a log is at
    hand. found: what the food was like before the cold came back; before_cold_back: whether that was looked
    at before it did. also, apart: pieces and lots said to have been there, and not.
    """

    place: str = Field(min_length=1, max_length=80)
    what: What
    since: AwareDatetime
    until: AwareDatetime | None = None
    warmest: Measured | None = None
    error: Measured | None = None
    readings: tuple[LogReading, ...] = Field(default=(), max_length=20_000)
    found: Found = "not_looked"
    before_cold_back: bool = False
    also: tuple[str, ...] = Field(default=(), max_length=200)
    apart: tuple[str, ...] = Field(default=(), max_length=200)
    text: str = Field(default="", max_length=2000)


class IncidentClosed(Body, kind="incident_closed"):
    """What became of each piece and lot, by code."""

    decisions: dict[str, Decision] = Field(max_length=400)
    text: str = Field(default="", max_length=2000)
