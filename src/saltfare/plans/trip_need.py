"""The energy and the drinking water of one person on one day of a trip, every model side by side.

A day on the move is a ledger of its hours, once for each walking equation; the equations of habitual life
stand beside it and lead on days of rest. Children, and people older than the resting equation was measured
on, are led by the larger of their own equation at its most active and the plain multiples.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from saltfare.core.errors import OutOfRange
from saltfare.core.library import Library
from saltfare.core.tables import Row
from saltfare.core.units import factor
from saltfare.models.trip_energy import (
    DAY_S,
    HOUR_S,
    Adder,
    NeedEquation,
    Sex,
    Span,
    day_energy_dri,
    day_energy_ledger,
    power_met,
    power_met_resting,
    resting_power_mifflin,
)
from saltfare.models.trip_energy_walking import (
    Ground,
    power_walk_looney_2019,
    power_walk_looney_2022,
    power_walk_models,
    power_walk_pandolf,
)
from saltfare.models.trip_water import DayDrink, DrinkCap, DrinkRate, day_drink_split, drink_row

Level = Literal["inactive", "low_active", "active", "very_active"]
_LB = factor("mass", "lb")
# Rows of the compendium for what a day holds beside walking.
_SLEEP, _REST, _CAMP, _PADDLE = "met2011_07030", "met2011_07021", "met2011_09110", "met2011_18020"
_SNOW = {"snowshoes": "met2011_19190", "skis": "met2011_19080"}
# Rows for walking by the load: up to so many pounds, in hills; on the level one row for a full pack.
_HILLS = ((9.0, "met2011_17035"), (20.0, "met2011_17040"), (42.0, "met2011_17050"), (1e9, "met2011_17060"))
_LEVEL = "met2011_17010"
_HILLY = 0.01
# Loads of the heat tables: under 30 lb easy, from 40 lb hard.
_EASY_LB, _HARD_LB = 30.0, 40.0


@dataclass(frozen=True, slots=True)
class Body:
    """A person as the equations want one."""

    sex: Sex
    age_years: float
    height_m: float
    mass_kg: float
    level: Level


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of the way at one pace and slope."""

    time_s: float
    speed_m_per_s: float
    grade_frac: float


@dataclass(frozen=True, slots=True)
class DayWork:
    """What a day asks of anybody. load_frac: carried, of the body mass. snow_by: snowshoes or skis, "" for
    none."""

    stretches: tuple[Stretch, ...]
    terrain: str
    load_frac: float
    camp_s: float
    paddling_s: float
    snow_s: float
    snow_by: str

    @property
    def moving_s(self) -> float:
        """Time of work, as the water tables count it."""
        return sum(one.time_s for one in self.stretches) + self.paddling_s + self.snow_s

    @property
    def is_rest(self) -> bool:
        """Whether nobody moves on."""
        return self.moving_s <= 0.0


@dataclass(frozen=True, slots=True)
class Air:
    """A day's air. wbgt_c: wet-bulb globe temperature, None where nobody told it."""

    least_c: float
    most_c: float
    wbgt_c: float | None
    altitude_m: float
    clothed: bool


@dataclass(frozen=True, slots=True)
class DayEnergy:
    """One model's answer for a day; None where it does not cover it, with what lies outside."""

    name: str
    energy_j: float | None
    outside: str
    habitual: bool
    function: Callable[..., Any]
    inputs: Mapping[str, str | float | int | None]
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class Added:
    """What the place adds; counted: it is in the figure planned with."""

    row: Row
    adder: Adder
    counted: bool


def _equation(library: Library, body: Body, edition: str, level: str) -> Row | None:
    for row in library.rows("energy_need"):
        same = row.text("edition") == edition and row.text("sex") == body.sex and row.text("level") == level
        ages = row.number("age_low") <= body.age_years < row.number("age_high")
        if same and ages and "overweight" not in row.text("id"):
            return row
    return None


def growth_j(*, library: Library, body: Body) -> tuple[float, tuple[Row, ...]]:
    """Energy laid down in growth, nothing for adults; with its row.

    Source
    ------
    nasem_2023, growth allowances of the child equations
    """
    for row in library.rows("energy_growth"):
        if row.text("sex") == body.sex and row.number("age_low") <= body.age_years < row.number("age_high"):
            return row.number("growth"), (row,)
    return 0.0, ()


def _habitual(library: Library, body: Body, edition: str, level: str, name: str) -> DayEnergy:
    inputs = _inputs(body) | {"level": level}
    row = _equation(library, body, edition, level)
    if row is None:
        return DayEnergy(name, None, "age_years", True, day_energy_dri, inputs, ())
    growth, rows = growth_j(library=library, body=body)
    try:
        energy = day_energy_dri(
            equation=NeedEquation.from_row(row),
            age_years=body.age_years,
            height_m=body.height_m,
            mass_kg=body.mass_kg,
        )
    except OutOfRange as outside:
        return DayEnergy(name, None, outside.quantity, True, day_energy_dri, inputs, (row,))
    return DayEnergy(name, energy + growth, "", True, day_energy_dri, inputs, (row, *rows))


def _inputs(body: Body) -> dict[str, str | float | int | None]:
    return {
        "sex": body.sex,
        "age_years": body.age_years,
        "height_m": body.height_m,
        "mass_kg": body.mass_kg,
    }


def resting_w(*, body: Body) -> float | None:
    """Resting power of an adult, None for anybody the equation was not measured on.

    Source
    ------
    mifflin_1990, equations for men and women
    """
    try:
        return resting_power_mifflin(
            sex=body.sex, age_years=body.age_years, height_m=body.height_m, mass_kg=body.mass_kg
        )
    except OutOfRange:
        return None


def day_energies(*, library: Library, body: Body, work: DayWork) -> tuple[DayEnergy, ...]:
    """Every model's energy of one day, ledgers first.

    Parameters
    ----------
    library : parameters
    body : person
    work : what the day asks

    Returns
    -------
    an answer for each model

    Source
    ------
    looney_2022, load carriage equation
    pandolf_1977, equation for metabolic rate
    looney_2019, graded walking equation
    compendium_2011, multiples of resting
    nasem_2023, Tables 5-16 and S-3
    iom_2005, chapter 5, equations for adults
    """
    resting = resting_w(body=body)
    out: list[DayEnergy] = []
    if not work.is_rest or work.camp_s > 0.0:
        if resting is not None:
            out += _ledgers(library, body, work, resting)
        out.append(_plain(library, body, work))
    out.append(_habitual(library, body, "2023", body.level, "dri_2023"))
    out.append(_habitual(library, body, "2005", body.level, "dri_2005"))
    if resting is None and body.level != "very_active":
        out.append(_habitual(library, body, "2023", "very_active", "dri_2023_very_active"))
    return tuple(out)


def _spans(
    library: Library, work: DayWork, power: Callable[[float], float]
) -> tuple[list[Span], tuple[Row, ...]]:
    """The hours beside walking, resting for what is left of the day."""
    sleep_s = HOUR_S * library.row("menu_rules", "sleep_hours").number("value")
    parts = [(_SLEEP, sleep_s), (_CAMP, work.camp_s), (_PADDLE, work.paddling_s)]
    if work.snow_by:
        parts.append((_SNOW[work.snow_by], work.snow_s))
    walking = sum(one.time_s for one in work.stretches)
    parts.append((_REST, DAY_S - walking - sum(time for _, time in parts)))
    rows = tuple(library.row("activity", row) for row, time in parts if time > 0.0)
    spans = [Span(t, power(library.row("activity", row).number("met"))) for row, t in parts if t > 0.0]
    return spans, rows


def _ledgers(library: Library, body: Body, work: DayWork, resting: float) -> Iterable[DayEnergy]:
    """A ledger for each walking equation, everything else as multiples of the person's own resting rate."""

    def own(met: float) -> float:
        return power_met_resting(met=met, resting_power_w=resting)

    spans, rows = _spans(library, work, own)
    ground_row = library.row("terrain", work.terrain)
    names = ("looney_2022", "pandolf", "looney_2019")
    functions: Mapping[str, Callable[..., Any]] = {
        "looney_2022": power_walk_looney_2022,
        "pandolf": power_walk_pandolf,
        "looney_2019": power_walk_looney_2019,
    }
    if not work.stretches:
        yield DayEnergy(
            "ledger",
            day_energy_ledger(spans=spans),
            "",
            False,
            day_energy_ledger,
            _inputs(body) | {"resting_w": resting},
            rows,
        )
        return
    walked: dict[str, list[Span]] = {name: [] for name in names}
    outside: dict[str, str] = {}
    for stretch in work.stretches:
        for estimate in power_walk_models(
            mass_kg=body.mass_kg,
            load_kg=work.load_frac * body.mass_kg,
            speed_m_per_s=stretch.speed_m_per_s,
            grade_frac=stretch.grade_frac,
            ground=Ground.from_row(ground_row),
            resting_power_w=resting,
            ground_on_slope="uphill",
        ):
            if estimate.power_w is None:
                outside.setdefault(estimate.model, estimate.outside)
            else:
                walked[estimate.model].append(Span(stretch.time_s, estimate.power_w))
    for name in names:
        inputs = _inputs(body) | {
            "resting_w": resting,
            "load_kg": work.load_frac * body.mass_kg,
            "ground": work.terrain,
            **{f"stretch_{n}_s": one.time_s for n, one in enumerate(work.stretches)},
            **{f"stretch_{n}_grade": one.grade_frac for n, one in enumerate(work.stretches)},
        }
        energy = None if name in outside else day_energy_ledger(spans=[*spans, *walked[name]])
        yield DayEnergy(
            name, energy, outside.get(name, ""), False, functions[name], inputs, (ground_row, *rows)
        )


def _plain(library: Library, body: Body, work: DayWork) -> DayEnergy:
    """Everything by plain multiples, walking by its row for the load."""

    def plain(met: float) -> float:
        return power_met(met=met, mass_kg=body.mass_kg)

    spans, rows = _spans(library, work, plain)
    used: list[Row] = []
    load_lb = work.load_frac * body.mass_kg / _LB
    for stretch in work.stretches:
        hilly = abs(stretch.grade_frac) >= _HILLY
        name = next(row for most, row in _HILLS if load_lb <= most) if hilly else _LEVEL
        row = library.row("activity", name)
        used.append(row)
        spans.append(Span(stretch.time_s, plain(row.number("met"))))
    return DayEnergy(
        "compendium",
        day_energy_ledger(spans=spans),
        "",
        False,
        power_met,
        _inputs(body) | {"load_kg": work.load_frac * body.mass_kg},
        tuple({row.ref: row for row in (*used, *rows)}.values()),
    )


_LEADING = ("looney_2022", "pandolf", "ledger", "compendium")


def leading(*, energies: Iterable[DayEnergy], body: Body, work: DayWork) -> DayEnergy | None:
    """The model planned with: of habitual life on a day of rest, else the first ledger that covers the day;
    for people without a resting equation the larger of the plain ledger and their own at its most active.

    Source
    ------
    saltfare_chosen, habitual life for days of rest and a ledger for days on the move
    """
    known = {one.name: one for one in energies if one.energy_j is not None}
    if resting_w(body=body) is None:
        most = known.get("dri_2023_very_active") or known.get("dri_2023")
        if work.is_rest:
            return known.get("dri_2023")
        both = [one for one in (known.get("compendium"), most) if one is not None]
        return max(both, key=lambda one: one.energy_j or 0.0, default=None)
    if work.is_rest:
        return known.get("dri_2023") or known.get("ledger")
    return next((known[name] for name in _LEADING if name in known), None)


def adders(*, library: Library, air: Air) -> tuple[Added, ...]:
    """What cold, heat, height and clothing add; both texts on cold stand in the range, ours is counted.

    Source
    ------
    saltfare_chosen, which rows are counted
    ar_40_25_2001, notes on climate
    """
    mean = (air.least_c + air.most_c) / 2.0
    out = []
    for row in library.rows("trip_adders"):
        name, counted = row.text("id"), False
        low, high = row.number_or_none("temp_c_low"), row.number_or_none("temp_c_high")
        if name in ("cold_chosen", "cold_severe_chosen"):
            inside = (low is None or air.most_c >= low) and high is not None and air.most_c < high
            counted = inside
        elif name == "cold_field_guide":
            inside = air.most_c < 0.0
        elif row.text("cause") == "temperature":
            t = mean if high is not None and high <= 20.0 else air.most_c
            inside = (low is None or t >= low) and (high is None or t < high)
        elif row.text("cause") == "altitude":
            least = row.number("altitude_low")
            inside = air.altitude_m >= least
            counted = inside and name == "altitude_chosen"
        else:
            inside = air.clothed
        if inside:
            out.append(Added(row, Adder.from_row(row), counted))
    return tuple(out)


def drinking(
    *, library: Library, body: Body, work: DayWork, air: Air
) -> tuple[DayDrink, str, tuple[Row, ...], bool]:
    """Water to drink on a day; with the work it was taken as, its rows, and whether the heat was told.

    Where no wet-bulb globe temperature was told the warmest air stands for it.

    Raises
    ------
    OutOfRange

    Source
    ------
    tb_med_507, work, rest and water table
    iom_2004_water, drinking share of the daily intake
    """
    load_lb = work.load_frac * body.mass_kg / _LB
    steep = any(one.grade_frac > 0.08 for one in work.stretches)
    effort = "hard" if load_lb >= _HARD_LB or work.snow_s > 0.0 else "moderate"
    if load_lb < _EASY_LB and not steep and work.snow_s <= 0.0:
        effort = "easy" if not work.stretches else "moderate"
    base = library.row("water_need", f"dri_{body.sex}")
    heat = air.most_c if air.wbgt_c is None else air.wbgt_c
    rate = drink_row(rows=library.rows("water_need"), wbgt_c=heat, work=effort)
    cap = library.row("water_need", "cap")
    made = day_drink_split(
        base_m3=base.number("drinks_l"),
        work_s=work.moving_s,
        rate=DrinkRate.from_row(rate),
        cap=DrinkCap.from_row(cap),
    )
    return made, effort, (base, rate, cap), air.wbgt_c is not None
