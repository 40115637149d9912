"""Facts for the criteria tests, and a table of cases whose answers were worked out by hand from the texts.

Every case is (name, criterion, facts, answer); answer None where the criterion is known not to be about the
food. All figures are made for the test, at and around what the texts print.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

from saltfare.core.figure import Answer, Provenance
from saltfare.core.library import Library
from saltfare.models.criteria import Criteria
from saltfare.models.criteria_facts import NO_LOG, UNKNOWN, Fact, Facts, LogFact
from saltfare.models.hazards_log import LogRules, log_checked

LIBRARY = Library()
CRITERIA = Criteria.from_library(LIBRARY)
MEETS, FAILS, OPEN = Answer.MEETS, Answer.DOES_NOT_MEET, Answer.CANNOT_TELL
Case = tuple[str, str, Facts, Answer | None]


def seen(value: float | str | bool, error: float | None = 0.0) -> Fact:
    """Measured, without error unless one is given."""
    number = isinstance(value, float | int) and not isinstance(value, bool)
    return Fact(value, Provenance.MEASURED, error if number else None)


def guessed(fact: Fact) -> Fact:
    return replace(fact, provenance=Provenance.ESTIMATED)


def f_to_c(f: float) -> float:
    return (f - 32.0) / 1.8


def logged(
    minutes: Sequence[float],
    temps_c: Sequence[float],
    kind: str = "heating",
    error: float = 0.0,
    provenance: Provenance = Provenance.LOGGED,
) -> LogFact:
    rules = LogRules.from_row(LIBRARY.row("log_rules", kind))
    log = log_checked(time_s=[60.0 * m for m in minutes], temp_c=temps_c, error_c=error, rules=rules)
    return LogFact(log, provenance)


def heat_to(
    f: float, hold_min: float, *, come_up_min: float = 60.0, start_c: float = 4.0, **how: Any
) -> LogFact:
    """Straight up from cold to a temperature, held, and down; a reading every ten minutes or so."""
    top = f_to_c(f)
    if how.pop("sharp", False):
        # up and down at once, so that the row asked about is the only one held; trusted all the same
        rules = replace(LogRules.from_row(LIBRARY.row("log_rules", "heating")), jump_k_per_s=1e9, gap_s=1e9)
        t, c = [0.0, 600.0, 600.0 + 1e-6], [start_c, start_c, top]
        if hold_min > 0:
            t, c = [*t, t[-1] + 60.0 * hold_min], [*c, top]
        t, c = [*t, t[-1] + 1e-6, t[-1] + 600.0], [*c, start_c, start_c]
        log = log_checked(time_s=t, temp_c=c, error_c=how.get("error", 0.0), rules=rules)
        return LogFact(log, Provenance.LOGGED)
    t, c = [0.0], [start_c]

    def run(minutes: float, to: float) -> None:
        parts = max(int(minutes // 10) + 1, 1)
        for i in range(1, parts + 1):
            t.append(t[-1] + minutes / parts)
            c.append(c[-1] + (to - c[-1]) / (parts - i + 1))
        c[-1] = to

    run(come_up_min, top)
    if hold_min > 0:
        run(hold_min, top)
    run(60.0, 5.0)
    return logged(t, c, **how)


def cool(points: Sequence[tuple[float, float]], **how: Any) -> LogFact:
    """Through (hours, F), straight between, a reading every quarter hour."""
    t: list[float] = []
    c: list[float] = []
    for (h0, f0), (h1, f1) in pairwise(points):
        n = max(round((h1 - h0) / 0.25), 1)
        for i in range(n):
            t.append(60 * (h0 + (h1 - h0) * i / n))
            c.append(f_to_c(f0 + (f1 - f0) * i / n))
    t.append(60 * points[-1][0])
    c.append(f_to_c(points[-1][1]))
    return logged(t, c, "cooling", **how)


BEEF = Facts(
    species=seen("beef"),
    form=seen("whole"),
    intact=seen(True),
    heating_log=heat_to(146, 10.0),
    humidity_while_heating=seen("immersed"),
    dried_before_heating=seen(False),
    probe_at_coldest=seen(True),
)
TURKEY = replace(BEEF, species=seen("turkey"), heating_log=heat_to(161, 2.0), cured_and_smoked=seen(False))
PORK = replace(BEEF, species=seen("pork"), thickness=seen(0.10, 0.002))
HAM = Facts(
    species=seen("pork"),
    cut=seen("ham"),
    intact=seen(True),
    dry_salted=seen(True),
    injected=seen(False),
    immersed_in_brine=seen(False),
    nitrite_or_nitrate=seen(True),
    internal_salt=seen(0.05, 0.002),
    cure_time=seen(45 * 86400.0),
    cure_and_drying_time=seen(70 * 86400.0),
    drying_peak_temperature=seen(f_to_c(95)),
    loss_from_green=seen(0.20, 0.005),
)
DRY = Facts(
    species=seen("pork"), packaging=seen("air"), aw_method=seen("instrument"), water_activity=seen(0.84)
)
POUCH = replace(DRY, packaging=seen("vacuum"), kept=seen("warm"))
FRIDGE = replace(
    POUCH, kept=seen("chilled"), storage_temperature=seen(3.0), storage_time=seen(8 * 86400.0), ph=seen(5.8)
)


def without(facts: Facts, name: str) -> Facts:
    return replace(facts, **{name: NO_LOG if name.endswith("_log") else UNKNOWN})


def doubtful(facts: Facts, name: str) -> Facts:
    old = getattr(facts, name)
    return replace(facts, **{name: replace(old, provenance=Provenance.ESTIMATED)})


def weakened(criterion: str, base: Facts, names: Sequence[str]) -> Iterator[Case]:
    """Each fact missing, then each estimated: never more than cannot_tell."""
    for name in names:
        yield f"{name} missing", criterion, without(base, name), OPEN
        yield f"{name} estimated", criterion, doubtful(base, name), OPEN


HEATED = ("species", "heating_log", "humidity_while_heating", "dried_before_heating", "probe_at_coldest")
ROWS_MIN = {130: (112, 121), 135: (36, 37), 140: (12, 12), 142: (8, 8), 144: (5, 5), 145: (4, 4)}
ROWS_S = {146: (169, 182), 150: (67, 72), 154: (27, 29), 157: (14, 15)}


def meat() -> Iterator[Case]:
    c = "fsis_meat_6_5"
    yield "all there", c, BEEF, MEETS
    yield from weakened(c, BEEF, HEATED)
    yield "dried first", c, replace(BEEF, dried_before_heating=seen(True)), FAILS
    yield "probe not at the coldest", c, replace(BEEF, probe_at_coldest=seen(False)), FAILS
    dry = replace(BEEF, humidity_while_heating=seen("dry_air"))
    yield "dry oven, mass unknown", c, dry, OPEN
    yield "dry oven, small piece", c, replace(dry, piece_mass=seen(2.0)), FAILS
    big = replace(dry, piece_mass=seen(4.6), oven_temperature=seen(f_to_c(250)))
    yield "ten pounds at 250 F", c, big, MEETS
    yield "ten pounds, oven guessed", c, replace(big, oven_temperature=guessed(seen(121.2))), OPEN
    yield "ten pounds at 240 F", c, replace(big, oven_temperature=seen(f_to_c(240))), FAILS
    yield "just under ten pounds", c, replace(big, piece_mass=seen(4.5)), FAILS
    steam = replace(
        BEEF, humidity_while_heating=seen("steam_half"), piece_mass=seen(2.0), cook_time=seen(5400.0)
    )
    yield "steam, hour and a half, 146 F", c, steam, MEETS
    yield "steam, time not noted", c, without(steam, "cook_time"), OPEN
    yield "steam, fifty minutes", c, replace(steam, cook_time=seen(3000.0)), FAILS
    yield "steam, only 140 F", c, replace(steam, heating_log=heat_to(140, 13.0)), FAILS
    quarter = replace(steam, humidity_while_heating=seen("humid_quarter"), heating_log=heat_to(140, 13.0))
    yield "humid a quarter, 140 F", c, quarter, MEETS
    yield "humid a quarter, half an hour", c, replace(quarter, cook_time=seen(1800.0)), FAILS
    for f, (short, long) in ROWS_MIN.items():
        yield from at_row(f, short, long)
    for f, (short, long) in ROWS_S.items():
        yield from at_row(f, short / 60, long / 60)
    yield "158 F touched", c, replace(BEEF, heating_log=heat_to(158, 0.0, sharp=True)), MEETS
    yield "157.9 F touched", c, replace(BEEF, heating_log=heat_to(157.9, 0.0, sharp=True)), FAILS
    yield (
        "158 F touched, thermometer 1 K",
        c,
        replace(BEEF, heating_log=heat_to(158, 0.0, error=1.0, sharp=True)),
        OPEN,
    )
    yield "160 F touched, thermometer 1 K", c, replace(BEEF, heating_log=heat_to(160, 0.0, error=1.0)), MEETS
    yield "129 F for five hours", c, replace(BEEF, heating_log=heat_to(129, 300.0)), FAILS
    yield "come-up of seven hours", c, replace(BEEF, heating_log=heat_to(146, 10.0, come_up_min=600.0)), FAILS
    yield "log begins at 15 C", c, replace(BEEF, heating_log=heat_to(146, 10.0, start_c=15.0)), OPEN
    predicted = heat_to(146, 10.0, provenance=Provenance.ESTIMATED)
    yield "predicted course", c, replace(BEEF, heating_log=predicted), OPEN
    cold = heat_to(120, 10.0, provenance=Provenance.ESTIMATED)
    yield "predicted course too cold", c, replace(BEEF, heating_log=cold), FAILS
    up = ([0, 10, 20, 30, 40, 50], [4, 20, 35, 48, 58, f_to_c(146)])
    yield "log ends as the hold begins", c, replace(BEEF, heating_log=logged(*up)), OPEN
    gap = logged([*up[0], 90, 100, 110], [*up[1], f_to_c(146), 40, 20])
    yield "gap over the hold", c, replace(BEEF, heating_log=gap), OPEN
    jump = logged([*up[0], 50.5, 60, 61, 70], [*up[1], 80, 80, 40, 20])
    yield "probe slipped into the oven", c, replace(BEEF, heating_log=jump), OPEN
    room = logged([10 * i for i in range(12)], [21 + 0.05 * i for i in range(12)])
    yield "probe left on the table", c, replace(BEEF, heating_log=room), FAILS
    yield "not heated", c, replace(without(BEEF, "heating_log"), heated=seen(False)), FAILS
    yield (
        "said not to be heated, a guess",
        c,
        replace(without(BEEF, "heating_log"), heated=guessed(seen(False))),
        OPEN,
    )
    for species, answer in (("chicken", None), ("mixed", None), ("plant", None), ("venison", MEETS)):
        yield f"species {species}", c, replace(BEEF, species=seen(species)), answer
    yield "species guessed other", c, replace(BEEF, species=guessed(seen("chicken"))), OPEN
    yield "not intact still has a centre", c, replace(BEEF, intact=seen(False)), MEETS


def at_row(f: int, short: float, long: float) -> Iterator[Case]:
    """One row of the meat table: at it, short of it, colder than it, in doubt."""
    colder = f_to_c(f) - 0.2
    for c, asked in (("fsis_meat_6_5", short), ("fsis_meat_7", long)):
        yield f"{f} F for its time", c, replace(BEEF, heating_log=heat_to(f, asked, sharp=True)), MEETS
        yield f"{f} F, 2 % short", c, replace(BEEF, heating_log=heat_to(f, asked * 0.98, sharp=True)), FAILS
        cold = heat_to(colder * 1.8 + 32, asked, sharp=True)
        yield f"a shade under {f} F for its time", c, replace(BEEF, heating_log=cold), FAILS
        unsure = replace(BEEF, heating_log=heat_to(f, asked, error=0.5, sharp=True))
        yield f"{f} F with half a kelvin of doubt", c, unsure, OPEN


def poultry() -> Iterator[Case]:
    c = "fsis_poultry_7"
    yield "161 F two minutes", c, TURKEY, MEETS
    yield from weakened(c, TURKEY, HEATED)
    for f, minutes in ((136, 81.4), (140, 35), (142, 23.7), (144, 16.6)):
        yield f"{f} F for its time", c, replace(TURKEY, heating_log=heat_to(f, minutes)), MEETS
        yield f"{f} F, short", c, replace(TURKEY, heating_log=heat_to(f, minutes * 0.97)), FAILS
    yield "meat's time at 140 F", c, replace(TURKEY, heating_log=heat_to(140, 12.0)), FAILS
    yield "150 F counts at 144 F", c, replace(TURKEY, heating_log=heat_to(150, 5.0)), FAILS
    yield "135 F for three hours", c, replace(TURKEY, heating_log=heat_to(135, 180.0)), FAILS
    yield "160 F for 27 s", c, replace(TURKEY, heating_log=heat_to(160, 0.45)), MEETS
    yield "160 F for 20 s", c, replace(TURKEY, heating_log=heat_to(160, 0.2)), FAILS
    yield "meat and poultry together", c, replace(TURKEY, species=seen("mixed")), MEETS
    yield "beef", c, replace(TURKEY, species=seen("beef")), None
    c = "fsis_poultry_160"
    yield "160 F touched", c, replace(TURKEY, heating_log=heat_to(160, 0.0)), MEETS
    yield "159.5 F touched", c, replace(TURKEY, heating_log=heat_to(159.5, 0.0)), FAILS
    smoked = replace(TURKEY, heating_log=heat_to(156, 0.0))
    yield "156 F, not cured and smoked", c, smoked, FAILS
    yield "156 F, not said", c, without(smoked, "cured_and_smoked"), OPEN
    yield "156 F, cured and smoked", c, replace(smoked, cured_and_smoked=seen(True)), MEETS
    yield (
        "154 F, cured and smoked",
        c,
        replace(TURKEY, heating_log=heat_to(154, 0.0), cured_and_smoked=seen(True)),
        FAILS,
    )
    yield (
        "smoked, dry house",
        c,
        replace(
            smoked, cured_and_smoked=seen(True), humidity_while_heating=seen("dry_air"), piece_mass=seen(2.0)
        ),
        FAILS,
    )


def home() -> Iterator[Case]:
    yield "70 C two minutes", "listeria_70_2", replace(BEEF, heating_log=heat_to(158, 2.0)), MEETS
    yield "70 C 1.9 minutes", "listeria_70_2", replace(BEEF, heating_log=heat_to(158, 1.9)), FAILS
    cut = replace(BEEF, heating_log=heat_to(145, 3.0))
    yield "145 F three minutes", "usda_whole_cut", cut, MEETS
    yield "145 F two minutes", "usda_whole_cut", replace(BEEF, heating_log=heat_to(145, 2.0)), FAILS
    yield "rolled", "usda_whole_cut", replace(cut, intact=seen(False)), FAILS
    yield "not said whether intact", "usda_whole_cut", without(cut, "intact"), OPEN
    yield "strips are no whole cut", "usda_whole_cut", replace(cut, form=seen("strips")), None
    yield "ground at 145 F", "usda_ground", replace(cut, form=seen("ground")), FAILS
    yield "poultry 164 F", "usda_poultry", replace(TURKEY, heating_log=heat_to(164, 5.0)), FAILS
    yield "poultry 165 F", "usda_poultry", replace(TURKEY, heating_log=heat_to(165, 0.0)), MEETS
    strips = replace(BEEF, form=seen("strips"), heating_log=heat_to(160, 0.0))
    yield "strips 160 F first", "strips_before", strips, MEETS
    yield "poultry strips 160 F first", "strips_before", replace(strips, species=seen("turkey")), FAILS
    yield "strips of what", "strips_before", without(strips, "species"), OPEN
    yield "strips dried first", "strips_before", replace(strips, dried_before_heating=seen(True)), FAILS
    after = Facts(
        species=seen("beef"), form=seen("strips"), oven_temperature=seen(136.0), oven_time=seen(600.0)
    )
    yield "strips in the oven after", "strips_after", after, MEETS
    yield "oven by its dial", "strips_after", replace(after, oven_temperature=guessed(seen(136.0))), OPEN
    yield (
        "oven thermometer without error",
        "strips_after",
        replace(after, oven_temperature=seen(136.0, None)),
        OPEN,
    )
    yield "nine minutes", "strips_after", replace(after, oven_time=seen(540.0)), FAILS
    yield "oven 130 C", "strips_after", replace(after, oven_temperature=seen(130.0)), FAILS
    dried = replace(BEEF, dried_before_heating=seen(True), form=seen("strips"), heating_log=heat_to(165, 5.0))
    yield "dried then heated has no table", "fsis_meat_6_5", dried, FAILS


FAST = [(0, 140.0), (0.2, 130.0), (1.6, 80.0), (6.4, 40.0), (7.0, 38.0)]
SLOW = [(0, 140.0), (0.5, 130.0), (5.2, 80.0), (14.8, 45.0), (16.5, 39.0), (17.0, 38.0)]


def cooling() -> Iterator[Case]:
    stew = Facts(species=seen("beef"), form=seen("dish"), cooling_log=cool(FAST), chill_delay=seen(0.0))
    slow = replace(stew, cooling_log=cool(SLOW))
    cured = replace(
        slow, nitrite_ingoing=seen(120e-6), salt_when_cooled=seen(0.04), aw_when_cooled=seen(0.96)
    )
    yield "inside option 1", "cool_fsis_1", stew, MEETS
    yield "slow", "cool_fsis_1", slow, FAILS
    yield from weakened("cool_fsis_1", stew, ("cooling_log",))
    first = [(0, 140.0), (0.2, 130.0), (1.8, 80.0), (5.0, 40.0), (5.5, 38.0)]
    yield "first stage 6 minutes over", "cool_fsis_1", replace(stew, cooling_log=cool(first)), FAILS
    edge = [(0, 140.0), (0.2, 130.0), (1.7, 80.0), (6.7, 40.0), (7.5, 38.0)]
    yield "both stages to the minute", "cool_fsis_1", replace(stew, cooling_log=cool(edge)), MEETS
    yield (
        "to the minute, half a kelvin",
        "cool_fsis_1",
        replace(stew, cooling_log=cool(edge, error=0.5)),
        OPEN,
    )
    warm = [*FAST[:3], (5.0, 45.0)]
    yield "log stops at 45 F", "cool_fsis_1", replace(stew, cooling_log=cool(warm)), OPEN
    yield "log begins at 100 F", "cool_fsis_1", replace(stew, cooling_log=cool([(0, 100.0), (2, 38.0)])), OPEN
    again = [*FAST[:4], (7.0, 60.0), (12.5, 38.0)]
    yield "warmed again", "cool_fsis_1", replace(stew, cooling_log=cool(again)), FAILS
    gap = logged([0, 12, 60, 180, 390, 420], [60, 54.5, 26, 15, 4, 3.5], "cooling")
    yield "hours without a reading", "cool_fsis_1", replace(stew, cooling_log=gap), OPEN
    two = [(0, 140.0), (0.3, 120.0), (1.2, 80.0), (6.0, 54.0), (9.0, 39.0), (9.5, 38.0)]
    yield "option 2", "cool_fsis_2", replace(stew, cooling_log=cool(two)), MEETS
    yield (
        "option 2, chilled after 2 h",
        "cool_fsis_2",
        replace(stew, cooling_log=cool(two), chill_delay=seen(7200.0)),
        FAILS,
    )
    yield (
        "option 2, delay not noted",
        "cool_fsis_2",
        without(replace(stew, cooling_log=cool(two)), "chill_delay"),
        OPEN,
    )
    yield "option 2, never to 40 F", "cool_fsis_2", replace(stew, cooling_log=cool(two[:4])), OPEN
    yield "cured curve, cured", "cool_fsis_3", cured, MEETS
    yield "cured curve, 99 ppm", "cool_fsis_3", replace(cured, nitrite_ingoing=seen(99e-6)), FAILS
    yield "cured curve, nitrite not known", "cool_fsis_3", slow, OPEN
    yield (
        "cured curve, nitrite guessed",
        "cool_fsis_3",
        replace(cured, nitrite_ingoing=guessed(seen(150e-6))),
        OPEN,
    )
    yield "twenty hours, A", "cool_california", cured, MEETS
    low = replace(cured, salt_when_cooled=seen(0.03))
    yield "twenty hours, salt 3 %", "cool_california", low, FAILS
    yield (
        "twenty hours, 40 ppm and 6 %",
        "cool_california",
        replace(cured, nitrite_ingoing=seen(45e-6), salt_when_cooled=seen(0.06)),
        MEETS,
    )
    yield (
        "twenty hours, 40 ppm and 5 %",
        "cool_california",
        replace(cured, nitrite_ingoing=seen(45e-6), salt_when_cooled=seen(0.05)),
        FAILS,
    )
    yield (
        "twenty hours by water activity",
        "cool_california",
        replace(low, aw_when_cooled=seen(0.92), aw_method=seen("instrument")),
        MEETS,
    )
    late = replace(low, aw_when_cooled=UNKNOWN, water_activity=seen(0.80), aw_method=seen("instrument"))
    yield "dried after it was cooled", "cool_california", late, OPEN
    bump = [(0, 140.0), (2.0, 100.0), (3.0, 108.0), (12.0, 39.0), (12.5, 38.0)]
    yield "rises on the way", "cool_california", replace(cured, cooling_log=cool(bump)), OPEN
    surface = replace(cured, cooling_log=cool(bump), surface_log=cool([(0, 130.0), (1.5, 70.0), (3.0, 50.0)]))
    yield "rises, surface quick", "cool_california", surface, MEETS
    yield (
        "rises, surface slow",
        "cool_california",
        replace(surface, surface_log=cool([(0, 130.0), (5.0, 70.0), (8.0, 50.0)])),
        FAILS,
    )
    yield (
        "retail",
        "cool_food_code",
        replace(stew, cooling_log=cool([(0, 140.0), (1.9, 70.0), (5.5, 40.0), (6, 39.0)])),
        MEETS,
    )
    yield (
        "retail, three hours to 70 F",
        "cool_food_code",
        replace(stew, cooling_log=cool([(0, 140.0), (3.0, 70.0), (5.5, 40.0)])),
        FAILS,
    )
    yield "model on a fast cooling", "cool_perfringens", stew, OPEN
    yield "model on a slow one", "cool_perfringens", slow, FAILS


def parasites() -> Iterator[Case]:
    for f, minutes in ((120, 1260.0), (124, 270.0), (130, 30.0), (136, 3.0), (140, 1.0), (144, 0.0)):
        yield f"{f} F for its time", "trichinella_heat", replace(PORK, heating_log=heat_to(f, minutes)), MEETS
        if minutes:
            short = replace(PORK, heating_log=heat_to(f, minutes * 0.9, sharp=True))
            yield f"{f} F, short", "trichinella_heat", short, FAILS
    yield from weakened("trichinella_heat", PORK, ("species", "heating_log", "probe_at_coldest"))
    crawl = replace(PORK, heating_log=heat_to(140, 5.0, come_up_min=420.0))
    yield "140 F after three hours on the way", "trichinella_heat", crawl, OPEN
    fresh = replace(crawl, nitrite_or_nitrate=seen(False))
    yield "the same, not cured", "trichinella_heat", fresh, FAILS
    yield "the same, cured", "trichinella_heat", replace(crawl, nitrite_or_nitrate=seen(True)), MEETS
    yield "beef", "trichinella_heat", replace(PORK, species=seen("beef")), None
    yield "boar is no pork here", "trichinella_heat", replace(PORK, species=seen("wild_boar")), None
    c = "trichinella_freeze_air"
    frozen = replace(PORK, freezer_temperature=seen(-18.0), freezing_time=seen(20 * 86400.0))
    yield "10 cm, -18 C, 20 d", c, frozen, MEETS
    yield "10 cm, -18 C, 19 d", c, replace(frozen, freezing_time=seen(19 * 86400.0)), FAILS
    yield "16 cm, -18 C, 20 d", c, replace(frozen, thickness=seen(0.16)), FAILS
    yield (
        "16 cm, -18 C, 30 d",
        c,
        replace(frozen, thickness=seen(0.16), freezing_time=seen(30 * 86400.0)),
        MEETS,
    )
    yield (
        "-14 C, 60 d",
        c,
        replace(frozen, freezer_temperature=seen(-14.0), freezing_time=seen(60 * 86400.0)),
        FAILS,
    )
    yield "-15.5 C by a kitchen thermometer", c, replace(frozen, freezer_temperature=seen(-15.5, None)), OPEN
    yield from weakened(c, frozen, ("species", "thickness", "freezer_temperature", "freezing_time"))
    cold = replace(frozen, freezer_temperature=seen(-29.0), freezing_time=seen(6 * 86400.0))
    yield "-29 C, perhaps typed in the wrong unit", c, cold, OPEN
    yield "-29 C, freezer confirmed", c, replace(cold, deep_freezer=seen(True)), MEETS
    days = [1440.0 * d for d in range(24)]
    log = replace(
        without(without(frozen, "freezer_temperature"), "freezing_time"),
        freezer_log=logged(days, [-17.0] * 24, "freezing"),
    )
    yield "log of 23 days", c, log, MEETS
    off = [-17.0] * 12 + [-5.0] + [-17.0] * 11
    yield "freezer off one day", c, replace(log, freezer_log=logged(days, off, "freezing")), OPEN
    yield "never frozen", c, replace(PORK, freezing_done=seen(False)), FAILS
    c = "trichinella_freeze_core"
    core = replace(PORK, frozen_core_log=logged([60.0 * h for h in range(112)], [-18.0] * 112, "freezing"))
    yield "core at -18 C, 111 h", c, core, MEETS
    brief = [20.0, *[-18.0] * 100, 5.0]
    short = replace(core, frozen_core_log=logged([60.0 * h for h in range(102)], brief, "freezing"))
    yield "core at -18 C, 99 h", c, short, FAILS
    yield "core not logged", c, without(core, "frozen_core_log"), OPEN
    yield "core guessed", c, doubtful(core, "frozen_core_log"), OPEN
    yield "tested", "trichinella_tested", replace(PORK, carcass_tested=seen(True)), MEETS
    yield "not tested", "trichinella_tested", replace(PORK, carcass_tested=seen(False)), FAILS
    yield "test hoped for", "trichinella_tested", replace(PORK, carcass_tested=guessed(seen(True))), OPEN
    game = replace(BEEF, species=seen("venison"), heating_log=heat_to(166, 0.0))
    yield "venison 166 F", "game_165", game, MEETS
    yield "venison 160 F", "game_165", replace(game, heating_log=heat_to(160, 5.0)), FAILS
    yield "venison uncooked", "game_165", replace(without(game, "heating_log"), heated=seen(False)), FAILS
    yield "venison, nothing said", "game_165", without(game, "heating_log"), OPEN
    yield (
        "boar 145 F",
        "game_165",
        replace(game, species=seen("wild_boar"), heating_log=heat_to(145, 5.0)),
        FAILS,
    )


def lines() -> Iterator[Case]:
    for name, aw, error, answer in (
        ("0.85 to the digit", 0.85, 0.0, MEETS),
        ("0.851", 0.851, 0.0, FAILS),
        ("0.84 with 0.01", 0.84, 0.01, MEETS),
        ("0.845 with 0.01", 0.845, 0.01, OPEN),
        ("0.86 with 0.02", 0.86, 0.02, OPEN),
        ("0.88 with 0.02", 0.88, 0.02, FAILS),
        ("0.84 without an error", 0.84, None, OPEN),
        ("0.82 without an error", 0.82, None, MEETS),
    ):
        dry = replace(DRY, water_activity=seen(aw, error))
        yield name, "aw_air_0_85", dry, answer
        yield name, "carried_dry", dry, answer
    yield from weakened("aw_air_0_85", DRY, ("species", "packaging", "water_activity"))
    yield from weakened("carried_dry", DRY, ("species", "water_activity"))
    jar = replace(DRY, aw_method=seen("jar"), water_activity=seen(0.83, 0.005))
    yield "jar reading 0.83", "aw_air_0_85", jar, OPEN
    yield "jar reading 0.81", "aw_air_0_85", replace(jar, water_activity=seen(0.81, 0.005)), MEETS
    yield "method not told, 0.83", "aw_air_0_85", without(jar, "aw_method"), OPEN
    yield "guessed wet", "aw_air_0_85", replace(DRY, water_activity=guessed(seen(0.93))), FAILS
    yield "typed 0.085", "aw_air_0_85", replace(DRY, water_activity=seen(0.085)), OPEN
    yield "typed 84", "aw_air_0_85", replace(DRY, water_activity=seen(84.0)), FAILS
    yield "typed 0", "carried_dry", replace(DRY, water_activity=seen(0.0)), OPEN
    yield "typed 0.08", "food_code_b", replace(DRY, water_activity=seen(0.08), ph=seen(5.8)), OPEN
    yield "pH typed 0.58", "food_code_b", replace(DRY, water_activity=seen(0.93), ph=seen(0.58)), OPEN
    yield "in vacuum", "aw_air_0_85", replace(DRY, packaging=seen("vacuum")), None
    yield "absorber is no air", "aw_air_0_85", replace(DRY, packaging=seen("absorber")), None


def sealed() -> Iterator[Case]:
    for pack in ("vacuum", "absorber", "hermetic"):
        dry = replace(POUCH, packaging=seen(pack))
        for c in ("botulinum_growth", "low_acid_0_85", "aw_sealed_0_91"):
            yield f"{pack} 0.84", c, dry, MEETS
    yield "air", "botulinum_growth", replace(POUCH, packaging=seen("air")), None
    yield "packing guessed", "botulinum_growth", replace(POUCH, packaging=guessed(seen("air"))), OPEN
    for c in ("botulinum_growth", "low_acid_0_85", "aw_sealed_0_91"):
        yield from weakened(c, POUCH, ("packaging", "kept", "water_activity", "aw_method"))
        jar = replace(
            POUCH,
            aw_method=seen("jar"),
            water_activity=seen(0.75, 0.03),
            ph=seen(5.8),
            water_phase_salt=seen(0.06),
        )
        # a jar never meets where oxygen is shut out
        yield "jar reading 0.75", c, jar, FAILS
    share = replace(POUCH, water_activity=seen(0.95), ph=seen(5.8), water_phase_salt=seen(6.0))
    yield "salt typed 6 for 6 %", "botulinum_growth", share, OPEN
    yield (
        "pH typed 0.58",
        "botulinum_growth",
        replace(share, ph=seen(0.58), water_phase_salt=seen(0.06)),
        OPEN,
    )
    wet = replace(POUCH, water_activity=seen(0.93), ph=seen(5.8), water_phase_salt=seen(0.08))
    yield "0.93 is not below 0.93", "botulinum_growth", wet, FAILS
    yield "0.929", "botulinum_growth", replace(wet, water_activity=seen(0.929)), MEETS
    yield "0.90 with 0.05", "botulinum_growth", replace(wet, water_activity=seen(0.90, 0.05)), OPEN
    yield "pH 4.6 is not below 4.6", "botulinum_growth", replace(wet, ph=seen(4.6)), FAILS
    yield "pH 4.5", "botulinum_growth", replace(wet, ph=seen(4.5)), MEETS
    yield "pH 4.5 without an error", "botulinum_growth", replace(wet, ph=seen(4.5, None)), OPEN
    yield "salt 10 % is not above 10 %", "botulinum_growth", replace(wet, water_phase_salt=seen(0.10)), FAILS
    yield "salt 10.5 %", "botulinum_growth", replace(wet, water_phase_salt=seen(0.105)), MEETS
    between = replace(wet, water_activity=seen(0.90), naturally_acid=seen(False))
    yield "0.90 warm and closed", "low_acid_0_85", between, FAILS
    yield "acid of itself", "low_acid_0_85", replace(between, ph=seen(4.5), naturally_acid=seen(True)), MEETS
    yield "made acid", "low_acid_0_85", replace(between, ph=seen(4.5)), FAILS
    yield "0.91", "aw_sealed_0_91", replace(between, water_activity=seen(0.91)), MEETS
    yield "0.915", "aw_sealed_0_91", replace(between, water_activity=seen(0.915)), FAILS
    fridge = replace(FRIDGE, water_activity=seen(0.90))
    yield "fridge 3 C, 0.90, 8 d", "rop_chilled", fridge, MEETS
    yield "fridge 6 C", "rop_chilled", replace(fridge, storage_temperature=seen(6.0)), FAILS
    yield (
        "fridge 5 C by a kitchen thermometer",
        "rop_chilled",
        replace(fridge, storage_temperature=seen(5.0, None)),
        OPEN,
    )
    yield "31 days", "rop_chilled", replace(fridge, storage_time=seen(31 * 86400.0)), FAILS
    yield "wet and not acid", "rop_chilled", replace(fridge, water_activity=seen(0.96)), FAILS
    yield from weakened("rop_chilled", fridge, ("storage_temperature", "storage_time", "packaging", "kept"))
    raw = replace(FRIDGE, water_activity=seen(0.99), water_phase_salt=seen(0.0), heated_in_pack=seen(False))
    yield (
        "ten days at 8 C",
        "uk_chilled",
        replace(raw, storage_temperature=seen(8.0), storage_time=seen(10 * 86400.0)),
        MEETS,
    )
    old = replace(raw, storage_time=seen(11 * 86400.0))
    yield "eleven days, nothing else", "uk_chilled", old, FAILS
    yield "eleven days, pH 5", "uk_chilled", replace(old, ph=seen(5.0)), MEETS
    yield "eleven days, salt 3.5 %", "uk_chilled", replace(old, water_phase_salt=seen(0.035)), FAILS
    yield "eleven days, salt 4 %", "uk_chilled", replace(old, water_phase_salt=seen(0.04)), MEETS
    yield "eleven days, 0.97", "uk_chilled", replace(old, water_activity=seen(0.97)), FAILS
    yield "eleven days, 0.965", "uk_chilled", replace(old, water_activity=seen(0.965)), MEETS
    hot = replace(old, heated_in_pack=seen(True), probe_at_coldest=seen(True), heating_log=heat_to(194, 10.0))
    yield "eleven days, 90 C ten minutes in the pack", "uk_chilled", hot, MEETS
    yield "eleven days, 90 C then packed", "uk_chilled", replace(hot, heated_in_pack=seen(False)), FAILS
    yield "eleven days, 85 C ten minutes", "uk_chilled", replace(hot, heating_log=heat_to(185, 10.0)), FAILS
    yield "eleven days, 85 C 36 minutes", "uk_chilled", replace(hot, heating_log=heat_to(185, 36.0)), MEETS
    yield "fridge 9 C", "uk_chilled", replace(raw, storage_temperature=seen(9.0)), FAILS
    for name, aw, ph, answer in (
        ("0.92", 0.92, 6.0, MEETS),
        ("0.921", 0.921, 6.0, FAILS),
        ("pH 4.4", 0.98, 4.4, MEETS),
        ("pH 4.41", 0.98, 4.41, FAILS),
        ("pH 5.0 and 0.94", 0.94, 5.0, MEETS),
        ("pH 5.0 and 0.941", 0.941, 5.0, FAILS),
        ("pH 5.01 and 0.94", 0.94, 5.01, FAILS),
    ):
        yield name, "eu_listeria", replace(FRIDGE, water_activity=seen(aw), ph=seen(ph)), answer
    yield (
        "frozen",
        "frozen_botulinum",
        replace(POUCH, kept=seen("frozen"), storage_temperature=seen(-18.0)),
        MEETS,
    )
    yield "frozen, not read", "frozen_botulinum", replace(POUCH, kept=seen("frozen")), OPEN
    yield (
        "said frozen, read 4 C",
        "frozen_botulinum",
        replace(POUCH, kept=seen("frozen"), storage_temperature=seen(4.0)),
        FAILS,
    )


def carried() -> Iterator[Case]:
    c = "carried_two_hours"

    def way(hours: Sequence[float], temps: Sequence[float], **how: Any) -> Facts:
        return Facts(
            species=seen("beef"), carrying_log=logged([60 * h for h in hours], temps, "carrying", **how)
        )

    yield "fridge all the way", c, way([0, 12, 24], [3, 3, 3]), MEETS
    yield "two hours at 20 C", c, way([0, 1, 2], [20, 20, 20]), MEETS
    yield "three hours at 20 C", c, way([0, 1, 3], [20, 20, 20]), FAILS
    yield "one hour at 35 C", c, way([0, 0.5, 1], [35, 35, 35]), MEETS
    yield "hour and a half at 35 C", c, way([0, 0.5, 1.5], [35, 35, 35]), FAILS
    yield "an hour at 30 C and half at 35 C", c, way([0, 1, 1.01, 1.55], [30, 30, 35, 35]), FAILS
    yield "forecast, hot", c, way([0, 12, 24], [10, 25, 10], provenance=Provenance.ESTIMATED), FAILS
    yield "forecast, cold", c, way([0, 12, 24], [-2, 3, -2], provenance=Provenance.ESTIMATED), OPEN
    yield "two days without a reading", c, way([0, 1, 60, 61], [3, 3, 3, 3]), OPEN
    yield "no history", c, Facts(species=seen("beef")), OPEN
    yield "4.4 C by a kitchen thermometer", c, way([0, 12, 24], [4.4, 4.4, 4.4], error=1.0), OPEN


def ham() -> Iterator[Case]:
    c = "country_ham"
    yield "by the standard", c, HAM, MEETS
    yield from weakened(
        c,
        HAM,
        (
            "species",
            "cut",
            "intact",
            "dry_salted",
            "injected",
            "immersed_in_brine",
            "nitrite_or_nitrate",
            "internal_salt",
            "cure_time",
            "cure_and_drying_time",
            "loss_from_green",
        ),
    )
    yield "peak not known", c, without(HAM, "drying_peak_temperature"), OPEN
    for name, value in (
        ("intact", False),
        ("dry_salted", False),
        ("injected", True),
        ("immersed_in_brine", True),
    ):
        yield f"{name} {value}", c, replace(HAM, **{name: seen(value)}), FAILS
    yield "salt 3.9 %", c, replace(HAM, internal_salt=seen(0.039)), FAILS
    yield "salt 4 % to the digit", c, replace(HAM, internal_salt=seen(0.04)), MEETS
    yield "salt 4.1 % without an error", c, replace(HAM, internal_salt=seen(0.041, None)), OPEN
    yield "44 days", c, replace(HAM, cure_time=seen(44 * 86400.0)), FAILS
    yield "69 days in all", c, replace(HAM, cure_and_drying_time=seen(69 * 86400.0)), FAILS
    yield (
        "96 F",
        c,
        replace(HAM, drying_peak_temperature=seen(f_to_c(96)), natural_climate=seen(False)),
        FAILS,
    )
    yield (
        "96 F, natural climate",
        c,
        replace(HAM, drying_peak_temperature=seen(f_to_c(96)), natural_climate=seen(True)),
        MEETS,
    )
    yield "loss 17 %", c, replace(HAM, loss_from_green=seen(0.17)), FAILS
    short = replace(HAM, cure_time=seen(25 * 86400.0), cure_and_drying_time=seen(50 * 86400.0))
    yield "ham by a shoulder's days", c, short, FAILS
    yield "shoulder by its days", c, replace(short, cut=seen("shoulder")), MEETS
    plain = replace(
        HAM,
        nitrite_or_nitrate=seen(False),
        water_activity=seen(0.95),
        aw_method=seen("instrument"),
        water_phase_salt=seen(0.06),
    )
    yield "salt alone, 5 % inside", c, plain, FAILS
    yield "salt alone, brine 10 %", c, replace(plain, water_phase_salt=seen(0.10)), MEETS
    yield "salt alone, brine 9.9 %", c, replace(plain, water_phase_salt=seen(0.099)), FAILS
    yield (
        "salt alone, 0.92",
        c,
        replace(plain, water_activity=seen(0.92), aw_method=seen("instrument")),
        MEETS,
    )
    for cut in ("collar", "loin", "belly"):
        yield f"cut {cut}", c, replace(HAM, cut=seen(cut)), None
    yield "beef round", c, replace(HAM, species=seen("beef")), None
    yield "venison haunch", c, replace(HAM, species=seen("venison")), None


def uncooked() -> Iterator[Case]:
    c = "rte_dried_2023"
    yield "dry piece, nothing shown", c, DRY, OPEN
    shown = replace(DRY, salmonella_reduction=seen(5.0), listeria_reduction=seen(3.0))
    yield "challenge study", c, shown, MEETS
    yield "study guessed", c, replace(shown, salmonella_reduction=guessed(seen(6.0))), OPEN
    yield "4.9 log", c, replace(shown, salmonella_reduction=seen(4.9)), FAILS
    yield "2.5 log of Listeria", c, replace(shown, listeria_reduction=seen(2.5)), FAILS
    yield "wet", c, replace(shown, water_activity=seen(0.90)), FAILS


TABLE: list[Case] = [
    case
    for part in (meat, poultry, home, cooling, parasites, lines, sealed, carried, ham, uncooked)
    for case in part()
]
