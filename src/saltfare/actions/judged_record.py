"""Recording what a criterion is held against: measurements, logs, origin, parasite step, what was done."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import AwareDatetime, Field

from saltfare import __version__
from saltfare.actions.context import Context
from saltfare.actions.judged_card import asked, criteria_of, facts_with_cooling
from saltfare.actions.judged_facts import gathered, jar_value
from saltfare.actions.judged_items import GONE, Item, item
from saltfare.actions.judged_logs import checked, rules_of
from saltfare.actions.judged_shapes import (
    Aw,
    AwCooled,
    AwError,
    ChillDelay,
    CookTime,
    Core,
    FreezerTemperature,
    InternalSalt,
    JarHumidity,
    JarTemperature,
    OneItem,
    OvenTemperature,
    OvenTime,
    Ph,
    PhError,
    PieceMass,
    ReadingGiven,
    SaltCooled,
    SaltError,
    Storage,
    TemperatureError,
    WaterPhaseSalt,
    recorded,
)
from saltfare.actions.piece_shapes import Thickness
from saltfare.actions.piece_work import doubt
from saltfare.actions.shapes import Done
from saltfare.core.errors import OutOfRange, Problem, Refused
from saltfare.core.fields import MayBeCalled, Measured
from saltfare.journal import events_judged as judged
from saltfare.journal.events import Body
from saltfare.models.criteria import Question

Species = Literal[
    "pork", "beef", "veal", "lamb", "goat", "venison", "wild_boar", "bear", "horse", "other_game",
    "chicken", "turkey", "duck", "goose", "other_poultry", "mixed_poultry", "mixed",
    "fish", "plant", "dairy", "egg",
]  # fmt: skip
Humidity = Literal[
    "immersed", "sealed_bag", "moist_casing", "direct_heat", "humid_throughout", "humid_quarter",
    "steam_half", "sealed_oven_half", "dry_air",
]  # fmt: skip
Part = Literal["wettest_thickest", "elsewhere", "not_said"]

_ERRORS = {
    "water_activity": "aw_error",
    "aw_when_cooled": "aw_error",
    "ph": "ph_error",
    "water_phase_salt": "salt_error",
    "internal_salt": "salt_error",
    "salt_when_cooled": "salt_error",
    "core_temperature": "temperature_error",
    "storage_temperature": "temperature_error",
}
_METHODS: dict[str, judged.Method] = {
    "water_phase_salt": "laboratory",
    "internal_salt": "laboratory",
    "salt_when_cooled": "laboratory",
    "core_temperature": "probe",
    "storage_temperature": "memory_thermometer",
}
_LAB_ONLY = frozenset({"water_phase_salt", "internal_salt", "salt_when_cooled"})


class MeasurementGiven(OneItem):
    """What was measured of the food, with the error of the instrument where it is known.

    part: which part the sample or probe was in; only the wettest, thickest part speaks for the whole.
    laboratory: salt is believed from a laboratory alone. core_temperature is the hottest the middle was read;
    storage_temperature the highest of a thermometer with a memory.
    """

    water_activity: Aw | None = None
    aw_when_cooled: AwCooled | None = None
    ph: Ph | None = None
    core_temperature: Core | None = None
    water_phase_salt: WaterPhaseSalt | None = None
    internal_salt: InternalSalt | None = None
    salt_when_cooled: SaltCooled | None = None
    storage_temperature: Storage | None = None
    aw_error: AwError | None = None
    ph_error: PhError | None = None
    salt_error: SaltError | None = None
    temperature_error: TemperatureError | None = None
    method: Literal["instrument", "laboratory"] = "instrument"
    part: Part = "not_said"
    by: str = Field(default="", max_length=120)


class JarGiven(OneItem):
    """A diced core sample in a closed jar with a hygrometer, and the same hygrometer over saturated sodium
    chloride and potassium chloride, all three at one temperature and on one day.

    standing: the three readings had stood still before they were taken. diced_core: the sample came from the
    middle of the thickest part, diced.
    """

    sample: JarHumidity
    sodium: JarHumidity
    potassium: JarHumidity
    sodium_at: AwareDatetime
    potassium_at: AwareDatetime
    temperature: JarTemperature
    diced_core: bool = False
    standing: bool = False


class LogGiven(OneItem):
    """Readings of a thermometer. of: what it is a log of; place: where the probe was.

    humidity: how the surface was kept moist. The flags: True, False, or left out where nobody knows.
    """

    of: judged.LogOf
    readings: tuple[ReadingGiven, ...] = Field(min_length=2, max_length=20_000)
    error: TemperatureError | None = None
    place: judged.ProbePlace = "not_said"
    humidity: Humidity | None = None
    cook_time: CookTime | None = None
    oven: OvenTemperature | None = None
    oven_time: OvenTime | None = None
    mass: PieceMass | None = None
    dried_before: bool | None = None
    in_closed_pack: bool | None = None
    chill_delay: ChillDelay | None = None
    deep_freezer: bool | None = None
    thickness: Thickness | None = None
    origin: str = Field(default="", max_length=200)


class OriginGiven(OneItem):
    """What it is and where it came from, in the person's own knowledge; left out where nobody knows.

    cured: with nitrite or nitrate.
    """

    species: Species | None = None
    form: Literal["whole", "strips", "ground", "dish"] | None = None
    intact: bool | None = None
    in_brine: bool | None = None
    injected: bool | None = None
    natural_climate: bool | None = None
    naturally_acid: bool | None = None
    cured: bool | None = None
    heated_ever: bool | None = None
    carcass_tested: bool | None = None
    paper: str = Field(default="", max_length=200)


class ParasiteGiven(OneItem):
    """Frozen against parasites, or not: the warmest reading of the whole time, from when to when."""

    frozen: bool
    place: Annotated[MayBeCalled, Field(max_length=80)] = ""
    begun: AwareDatetime | None = None
    ended: AwareDatetime | None = None
    warmest: FreezerTemperature | None = None
    temperature_error: TemperatureError | None = None
    thickness: Thickness | None = None
    deep_freezer: bool | None = None


class ActedGiven(OneItem):
    """What was done on the answer to a question; the answer is kept as it was then."""

    question: Question
    done: judged.Acted
    receiver: MayBeCalled = ""
    packs: Annotated[int | None, Field(ge=1, le=500)] = None
    packing: Literal["air", "vacuum", "absorber", "hermetic"] | None = None
    kept: Literal["warm", "chilled", "frozen"] | None = None


def record_measurement(context: Context, given: MeasurementGiven) -> Done:
    """Record what was measured of the food."""
    found = item(context, given.code)
    bodies: list[Body] = []
    for name, error_name in _ERRORS.items():
        value: Measured | None = getattr(given, name)
        if value is None:
            continue
        if name in _LAB_ONLY and given.method != "laboratory":
            raise Refused(Problem("salt_by_laboratory", "method", given.method, "laboratory"))
        bodies.append(
            judged.MeasurementTaken(
                quantity=name,
                value=value,
                error=getattr(given, error_name),
                method=_METHODS.get(name, given.method),
                part=given.part,
                by=given.by,
            )
        )
    if not bodies:
        raise Refused(Problem("nothing_measured", "water_activity"))
    return recorded(context, given, found.stream, bodies)


def record_jar_test(context: Context, given: JarGiven) -> Done:
    """Record a water activity by a closed jar with a hygrometer, set right by two saturated brines."""
    found = item(context, given.code)
    at = given.at or context.now
    day = at.astimezone(context.zone).date()
    for name in ("sodium_at", "potassium_at"):
        read: Any = getattr(given, name)
        if read > context.now:
            raise Refused(Problem("in_the_future", name, read.isoformat()))
        if read.astimezone(context.zone).date() != day:
            raise Refused(Problem("jar_not_same_day", name, read.isoformat(), day.isoformat()))
    for name in ("diced_core", "standing"):
        if not getattr(given, name):
            raise Refused(Problem(f"jar_{name}", name))
    jar = judged.JarTest(
        sample=given.sample,
        sodium=given.sodium,
        potassium=given.potassium,
        sodium_at=given.sodium_at,
        potassium_at=given.potassium_at,
        temperature=given.temperature,
    )
    try:
        aw, _ = jar_value(context, jar)
    except OutOfRange as out:
        if out.quantity == "temp_c":
            params: dict[str, str | float | int] = {"low_c": out.low, "high_c": out.high}
            raise Refused(
                Problem("jar_temperature_outside", "temperature", given.temperature.typed, params=params)
            ) from None
        raise Refused(Problem("jar_brines_not_apart", "potassium", given.potassium.typed)) from None
    if not 0.0 < aw <= 1.0:
        raise Refused(Problem("jar_impossible", "sample", given.sample.typed))
    body = judged.MeasurementTaken(
        quantity="water_activity", value=given.sample, method="jar", jar=jar, part="wettest_thickest"
    )
    return recorded(context, given, found.stream, [body])


def record_log(context: Context, given: LogGiven) -> Done:
    """Record a temperature log: heating, cooling, freezer, or on the way."""
    found = item(context, given.code)
    late = [i for i, r in enumerate(given.readings) if r.at > context.now]
    if late:
        raise Refused(
            Problem("in_the_future", f"readings.{late[0]}.at", given.readings[late[0]].at.isoformat())
        )
    readings = [(r.at, r.temperature.value) for r in given.readings]
    for rules in rules_of(context, given.of):
        log = checked(readings=readings, error_k=given.error.value if given.error else None, rules=rules)
    if given.of in ("heating", "heating_and_cooling") and given.place == "coldest":
        room = context.library.row("log_rules", "room")
        low, high = room.number("coldest_c"), room.number("hottest_c")
        still = float(log.temp_c.max() - log.temp_c.min()) < room.number("error_c")
        if still and low <= float(log.temp_c.mean()) <= high:
            doubt(given, "probe_at_room", f"{float(log.temp_c.mean()):g} C", field="place")
    if given.oven_time is not None and given.oven is None:
        raise Refused(Problem("missing", "oven"))
    at = given.at or given.readings[-1].at
    body = judged.TemperatureLogged(
        of=given.of,
        readings=tuple(judged.LogReading(at=r.at, temperature=r.temperature) for r in given.readings),
        error=given.error,
        place=given.place,
        humidity=given.humidity,
        cook_time=given.cook_time,
        oven=given.oven,
        oven_time=given.oven_time,
        mass=given.mass,
        dried_before=given.dried_before,
        in_closed_pack=given.in_closed_pack,
        chill_delay=given.chill_delay,
        deep_freezer=given.deep_freezer,
        thickness=given.thickness,
        origin=given.origin,
    )
    return recorded(context, given.model_copy(update={"at": at}), found.stream, [body])


def record_origin(context: Context, given: OriginGiven) -> Done:
    """Record what it is and where it came from."""
    found = item(context, given.code)
    body = judged.OriginTold(
        **{name: getattr(given, name) for name in judged.OriginTold.model_fields if name != "reasons"}
    )
    if body == judged.OriginTold():
        raise Refused(Problem("nothing_told", "species"))
    if given.carcass_tested and not given.paper.strip():
        raise Refused(Problem("test_needs_paper", "paper"))
    return recorded(context, given, found.stream, [body])


def record_parasite_step(context: Context, given: ParasiteGiven) -> Done:
    """Record a freezing against parasites, or that there was none."""
    found = item(context, given.code)
    if given.frozen:
        missing = [name for name in ("begun", "warmest", "thickness") if getattr(given, name) is None]
        if missing:
            raise Refused(*(Problem("missing", name) for name in missing))
    for name in ("begun", "ended"):
        at: Any = getattr(given, name)
        if at is not None and at > context.now:
            raise Refused(Problem("in_the_future", name, at.isoformat()))
    if given.begun and given.ended and given.ended <= given.begun:
        raise Refused(Problem("ends_before_begin", "ended", given.ended.isoformat(), given.begun.isoformat()))
    body = judged.ParasiteStep(
        frozen=given.frozen,
        place=given.place,
        begun=given.begun,
        ended=given.ended,
        warmest=given.warmest,
        error=given.temperature_error,
        thickness=given.thickness,
        deep_freezer=given.deep_freezer,
    )
    return recorded(context, given, found.stream, [body])


def act_on_verdict(context: Context, given: ActedGiven) -> Done:
    """Record what was done on an answer, with the answer as it stood: what left the house is kept."""
    found = item(context, given.code)
    if given.done == "given_away" and not given.receiver.strip():
        raise Refused(Problem("receiver_missing", "receiver"))
    if found.stands and not context.journal.answered(given.request_id or ""):
        left = found.stands.packs_left
        if given.done in GONE and (given.packs or 0) > left:
            raise Refused(Problem("more_than_left", "packs", str(given.packs), str(left), {"left": left}))
        if given.seen_version is None:  # of two who act on the last pack at once, one is told
            given = given.model_copy(update={"seen_version": found.version})
    return recorded(context, given, found.stream, [acted(context, found, given)])


def acted(context: Context, found: Item, given: ActedGiven) -> judged.VerdictActed:
    """The answer as it stands now, with what was done on it."""
    criteria = criteria_of(context)
    facts = facts_with_cooling(gathered(context, found), criteria)
    made = asked(found, given.question, facts, criteria, given.packing, given.kept)
    return judged.VerdictActed(
        question=given.question.value,
        answer=made.answer.value,
        verdicts={f"{v.criterion} {v.edition}": v.answer.value for v in made.verdicts},
        done=given.done,
        receiver=given.receiver.strip(),
        packs=given.packs,
        program=__version__,
    )
