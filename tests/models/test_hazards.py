"""Heat, parasites, cooling and logs against the printed tables, an independent quadrature, and themselves."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from importlib.resources import files
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from saltfare.core.errors import OutOfRange, Refused
from saltfare.core.library import Library
from saltfare.models.hazards import (
    Hold,
    Resistance,
    come_up_time,
    held_table,
    hold_bigelow,
    lethal_rate_bigelow,
    lethal_time_bigelow,
    log_reduction_bigelow,
    log_reduction_of_log,
    rise_time,
)
from saltfare.models.hazards_cooling import Stage, cooled_stages, is_dropping
from saltfare.models.hazards_log import Log, LogRules, hold_above, hold_below, log_checked, time_between

LIBRARY = Library()
SALMONELLA = Resistance.from_row(LIBRARY.row("heat_resistance", "salmonella_meat"))
LISTERIA = Resistance.from_row(LIBRARY.row("heat_resistance", "listeria"))
SPORES = Resistance.from_row(LIBRARY.row("heat_resistance", "nonproteolytic"))
HEATING = LogRules.from_row(LIBRARY.row("log_rules", "heating"))
COOLING = LogRules.from_row(LIBRARY.row("log_rules", "cooling"))
FREEZING = LogRules.from_row(LIBRARY.row("log_rules", "freezing"))
MEAT = [row for row in LIBRARY.rows("lethality") if row.text("table") == "meat"]


def f_to_c(f: float) -> float:
    return (f - 32.0) / 1.8


def log_of(
    minutes: Sequence[float], temps: Sequence[float], error: float = 0.0, rules: LogRules = HEATING
) -> Log:
    return log_checked(time_s=[60.0 * m for m in minutes], temp_c=temps, error_c=error, rules=rules)


# FSIS Appendix A, June 1999, typed apart from the shipped table: F, 6.5 log, 7 log; minutes to 145 F,
# then seconds.
APPENDIX_A = """130 112 121|131 89 97|132 71 77|133 56 62|134 45 47|135 36 37|136 28 32|137 23 24|138 18 19
139 15 15|140 12 12|141 9 10|142 8 8|143 6 6|144 5 5|145 4 4|146 169 182
147 134 144|148 107 115|149 85 91|150 67 72
151 54 58|152 43 46|153 34 37|154 27 29|155 22 23|156 17 19|157 14 15|158 0 0"""


@pytest.mark.parametrize("line", APPENDIX_A.replace("\n", "|").split("|"))
@pytest.mark.parametrize("column", [1, 2])
def test_meat_rows_are_those_of_fsis_appendix_a(line: str, column: int) -> None:
    cells = [int(x) for x in line.split()]
    hold = Hold.from_row(LIBRARY.row("lethality", f"meat_{cells[0]}"), ("short", "long")[column - 1])
    assert hold.temp_c == pytest.approx(f_to_c(cells[0]))
    assert hold.time_s == cells[column] * (60 if cells[0] <= 145 else 1)


def test_meat_rows_hold_the_residual_bands_of_one_d_and_z() -> None:
    # 6.5 log: printed minus 112 * 10^(-(F - 130)/10) lies within -0.20 to +0.93 of the printed unit
    residuals, sevens = [], []
    for row in MEAT[:-1]:
        f, unit = float(row.printed["temp_f"]), 60.0 if row.printed["short_min"] else 1.0
        for column, out, base in (("short", residuals, 112.0), ("long", sevens, 121.0)):
            time = Hold.from_row(row, column).time_s
            out.append((time - 60.0 * base * 10.0 ** (-(f - 130.0) / 10.0)) / unit)
    assert min(residuals) == pytest.approx(-0.20, abs=0.005)
    assert max(residuals) == pytest.approx(0.93, abs=0.005)
    assert min(sevens) == pytest.approx(-1.26, abs=0.01)
    assert max(sevens) == pytest.approx(1.61, abs=0.01)
    f = np.array([float(row.printed["temp_f"]) for row in MEAT[:-1]])
    times = np.array([Hold.from_row(row, "short").time_s for row in MEAT[:-1]])
    assert 9.9 < -1.0 / np.polyfit(f, np.log10(times), 1)[0] < 10.1


@pytest.mark.parametrize("row", MEAT[:-1], ids=lambda r: r.text("id"))
def test_a_hold_at_each_printed_row_is_worth_what_the_column_says(row: object) -> None:
    hold = Hold.from_row(row, "short")  # type: ignore[arg-type]
    worth = log_reduction_bigelow(
        time_s=np.array([0.0, hold.time_s]), temp_c=np.full(2, hold.temp_c), resistance=SALMONELLA
    )[-1]
    assert 6.47 <= round(worth, 2) <= 7.36


def test_spore_table_comes_out_as_printed() -> None:
    # FSA training, module 3: 21 rows, whole minutes above 10, then one decimal
    with (files("saltfare.data") / "lethality.csv").open() as file:
        rows = [r for r in csv.DictReader(file) if r["table"] == "nonproteolytic"]
    assert len(rows) == 21
    for row in rows:
        minutes = hold_bigelow(log_reduction=6.0, temp_c=float(row["temp_c"]), resistance=SPORES) / 60.0
        shown = f"{minutes:.0f}" if minutes > 10.5 else f"{minutes:.1f}"
        assert shown == row["long_min"]


def test_listeria_is_asked_more_than_salmonella_below_60() -> None:
    for temp_c in (55.0, 57.0, 60.0):
        assert hold_bigelow(log_reduction=6.0, temp_c=temp_c, resistance=LISTERIA) > hold_bigelow(
            log_reduction=6.5, temp_c=temp_c, resistance=SALMONELLA
        )
    assert float(lethal_rate_bigelow(temp_c=90.0, resistance=LISTERIA)) == 1.0  # no credit above 70


RAMPS = st.lists(
    st.tuples(st.floats(1.0, 1800.0), st.floats(40.0, 90.0)), min_size=2, max_size=8, unique_by=lambda p: p[0]
)


def points(ramps: list[tuple[float, float]]) -> tuple[np.ndarray, np.ndarray]:
    return np.cumsum([p[0] for p in ramps]), np.array([p[1] for p in ramps])


@settings(deadline=None, max_examples=60)
@given(ramps=RAMPS, which=st.sampled_from([SALMONELLA, LISTERIA, SPORES]))
def test_ramp_step_agrees_with_scipy_quadrature(ramps: list[tuple[float, float]], which: Resistance) -> None:
    times, temps = points(ramps)
    ours = lethal_time_bigelow(time_s=times, temp_c=temps, resistance=which)[-1]
    total = 0.0
    for i in range(len(times) - 1):
        a, b, t0, t1 = times[i], times[i + 1], temps[i], temps[i + 1]
        breaks = [
            a + (level - t0) / (t1 - t0) * (b - a)
            for level in (which.count_from_c, which.t_ref_c)
            if t0 != t1 and 0 < (level - t0) / (t1 - t0) < 1
        ]
        ends = [a, *sorted(breaks), b]
        for low, high in pairwise(ends):

            def rate(t: float, a: float = a, b: float = b, t0: float = t0, t1: float = t1) -> float:
                return float(lethal_rate_bigelow(temp_c=t0 + (t1 - t0) * (t - a) / (b - a), resistance=which))

            total += quad(rate, low, high, limit=200)[0]
    assert ours == pytest.approx(total, rel=1e-6, abs=1e-6)


@settings(deadline=None, max_examples=60)
@given(ramps=RAMPS, share=st.floats(0.01, 0.99), at=st.integers(0, 6))
def test_splitting_a_history_changes_nothing(ramps: list[tuple[float, float]], share: float, at: int) -> None:
    times, temps = points(ramps)
    at %= len(times) - 1
    cut = times[at] + share * (times[at + 1] - times[at])
    more_t = np.insert(times, at + 1, cut)
    more_c = np.insert(temps, at + 1, np.interp(cut, times, temps))
    whole = log_reduction_bigelow(time_s=times, temp_c=temps, resistance=SALMONELLA)[-1]
    assert log_reduction_bigelow(time_s=more_t, temp_c=more_c, resistance=SALMONELLA)[-1] == pytest.approx(
        whole, rel=1e-9, abs=1e-12
    )
    first = log_reduction_bigelow(time_s=more_t[: at + 2], temp_c=more_c[: at + 2], resistance=SALMONELLA)[-1]
    second = log_reduction_bigelow(time_s=more_t[at + 1 :], temp_c=more_c[at + 1 :], resistance=SALMONELLA)[
        -1
    ]
    assert first + second == pytest.approx(whole, rel=1e-9, abs=1e-12)


@settings(deadline=None, max_examples=80)
@given(ramps=RAMPS, at=st.integers(0, 7), hotter=st.floats(0.0, 10.0))
def test_more_heat_never_lowers_a_log_reduction(
    ramps: list[tuple[float, float]], at: int, hotter: float
) -> None:
    times, temps = points(ramps)
    more = temps.copy()
    more[at % len(more)] += hotter
    for which in (SALMONELLA, LISTERIA, SPORES):
        before = log_reduction_bigelow(time_s=times, temp_c=temps, resistance=which)[-1]
        after = log_reduction_bigelow(time_s=times, temp_c=more, resistance=which)[-1]
        assert after >= before - 1e-9 * max(before, 1.0)


def test_trapezoid_lies_above_the_exact_ramp() -> None:
    times, temps = np.array([0.0, 600.0]), np.array([55.0, 70.0])
    exact = lethal_time_bigelow(time_s=times, temp_c=temps, resistance=SALMONELLA)[-1]
    ends = lethal_rate_bigelow(temp_c=temps, resistance=SALMONELLA)
    assert exact < 0.5 * float(np.sum(ends)) * 600.0


@pytest.mark.parametrize(
    ("times", "temps", "code"),
    [
        ([0.0], [60.0], "log_too_few"),
        ([], [], "log_too_few"),
        ([0.0, 60.0], [60.0], "log_lengths_differ"),
        ([0.0, 60.0, 30.0], [20.0, 30.0, 40.0], "log_time_backwards"),
        ([0.0, 60.0, 60.0], [20.0, 30.0, 40.0], "log_time_backwards"),
        ([0.0, 60.0], [20.0, float("nan")], "log_not_a_number"),
        ([0.0, float("inf")], [20.0, 30.0], "log_not_a_number"),
        ([0.0, 600.0], [70.0, 145.0], "log_too_hot"),  # 70 and 145 F read as C
        ([0.0, 600.0], [41.0, 165.0], "log_too_hot"),
        ([0.0, 600.0], [-60.0, 20.0], "log_too_cold"),
    ],
)
def test_bad_logs_are_refused(times: list[float], temps: list[float], code: str) -> None:
    with pytest.raises(Refused) as refused:
        log_checked(time_s=times, temp_c=temps, error_c=0.5, rules=HEATING)
    assert refused.value.problems[0].code == code


def test_negative_error_is_refused_and_a_missing_one_is_one_kelvin() -> None:
    with pytest.raises(Refused):
        log_of([0, 1], [60, 60], error=-1.0)
    assert log_checked(time_s=[0, 60], temp_c=[60, 60], error_c=None, rules=HEATING).error_c == 1.0


def test_a_gap_counts_nothing_for_and_everything_against() -> None:
    gap = log_of([0, 5, 45, 50], [63, 63, 63, 63])
    assert hold_above(log=gap, temp_c=62.0, worst=True) == 300.0
    assert hold_above(log=gap, temp_c=62.0, worst=False) == float("inf")
    assert time_between(log=gap, low_c=10.0, high_c=20.0, worst=True) == 2400.0
    assert time_between(log=gap, low_c=10.0, high_c=20.0, worst=False) == 0.0
    assert log_reduction_of_log(log=gap, resistance=SALMONELLA) == pytest.approx(
        2
        * log_reduction_bigelow(time_s=np.array([0, 300.0]), temp_c=np.full(2, 63.0), resistance=SALMONELLA)[
            -1
        ]
    )


def test_a_hold_is_measured_between_crossings() -> None:
    log = log_of([0, 10, 20, 30], [50, 60, 60, 50])
    assert hold_above(log=log, temp_c=55.0, worst=True) == pytest.approx(20 * 60.0)
    assert hold_above(log=log, temp_c=60.0, worst=True) == pytest.approx(10 * 60.0)
    assert hold_above(log=log, temp_c=60.1, worst=True) == float("-inf")
    assert hold_below(log=log, temp_c=55.0, worst=True) == pytest.approx(5 * 60.0)


def test_error_moves_a_hold_both_ways() -> None:
    log = log_of([0, 10, 20, 30], [50, 60, 60, 50], error=1.0)
    assert hold_above(log=log, temp_c=60.0, worst=True) == float("-inf")
    assert hold_above(log=log, temp_c=60.0, worst=False) == pytest.approx(12 * 60.0)


@settings(deadline=None, max_examples=80)
@given(ramps=RAMPS, level=st.floats(45.0, 85.0), error=st.floats(0.0, 2.0))
def test_worst_is_never_better_than_best(
    ramps: list[tuple[float, float]], level: float, error: float
) -> None:
    times, temps = points(ramps)
    log = log_checked(time_s=list(times), temp_c=list(temps), error_c=error, rules=HEATING)
    assert hold_above(log=log, temp_c=level, worst=True) <= hold_above(log=log, temp_c=level, worst=False)
    wide = time_between(log=log, low_c=level - 5, high_c=level, worst=True)
    assert wide >= time_between(log=log, low_c=level - 5, high_c=level, worst=False) - 1e-9


def test_nothing_is_read_between_rows() -> None:
    holds = [Hold.from_row(row, "short") for row in MEAT]
    almost = f_to_c(139.9)  # between 139 (15 min) and 140 F (12 min): 15 minutes are asked
    short = log_of([0, 3, 16.5, 19.5], [40, almost, almost, 40], rules=HEATING)
    assert held_table(log=short, holds=holds).worst < 1.0
    long = log_of([0, 3, 10, 18.2, 21.2], [40, almost, almost, almost, 40])
    assert held_table(log=long, holds=holds).worst >= 1.0


def test_come_up_is_counted_to_the_peak_and_needs_a_cold_start() -> None:
    cold = log_of([10 * i for i in range(13)], [4 + 5 * i for i in range(13)])
    assert come_up_time(log=cold, low_c=10.0, high_c=f_to_c(130), worst=True) == pytest.approx(
        (f_to_c(130) - 10.0) / 5.0 * 600.0
    )
    warm = log_of([0, 10, 20], [15, 20, 25])
    assert come_up_time(log=warm, low_c=10.0, high_c=f_to_c(130), worst=True) == float("inf")


# ---- parasites: 9 CFR 318.10 as reproduced, typed apart from the shipped table
HEAT = "120 75600|122 34200|124 16200|126 7200|128 3600|130 1800|132 900|134 360|136 180|138 120"
HEAT += "|140 60|142 60|144 0"
AIR = "thin 5 20|thin -10 10|thin -20 6|thick 5 30|thick -10 20|thick -20 12"
CORE = "-17.8 106|-20.6 82|-23.3 63|-26.1 48|-28.9 35|-31.7 22|-34.5 8|-37.2 0.5"


@pytest.mark.parametrize("line", HEAT.split("|"))
def test_trichina_heating_rows(line: str) -> None:
    f, seconds = line.split()
    row = LIBRARY.row("parasites", f"heat_{f}")
    time = row.number_or_none("time_h")
    assert row.number("temp_f") == pytest.approx(f_to_c(float(f)))
    assert (row.number("time_min") if time is None else time) == float(seconds)


@pytest.mark.parametrize("line", AIR.split("|"))
def test_trichina_freezing_rows_by_air(line: str) -> None:
    group, f, days = line.split()
    row = LIBRARY.row("parasites", f"freeze_{group}_{f}".replace("-", "m"))
    assert row.number("temp_f") == pytest.approx(f_to_c(float(f)))
    assert row.number("time_d") == float(days) * 86400.0
    assert row.number("thickness_to_in") == pytest.approx({"thin": 0.1524, "thick": 0.6858}[group])


@pytest.mark.parametrize("line", CORE.split("|"))
def test_trichina_freezing_rows_by_core(line: str) -> None:
    c, hours = line.split()
    row = LIBRARY.row("parasites", f"freeze_core_{c}".replace("-", "m").replace(".", "_"))
    assert row.number("temp_c") == float(c)
    assert row.number("time_h") == float(hours) * 3600.0


@pytest.mark.parametrize(("temp_c", "killed_s"), [(52.0, 47 * 60.0), (55.0, 6 * 60.0), (60.0, 60.0)])
def test_trichina_table_asks_no_less_than_the_kill_data_of_an_animal_health_review(
    temp_c: float, killed_s: float
) -> None:
    # OIE review: larvae dead after 47 min at 52 C, 6 min at 55 C, less than a minute at 60 C
    rows = [r for r in LIBRARY.rows("parasites") if r.text("method") == "heat"]
    met = [r for r in rows if r.number("temp_f") <= temp_c + 1e-9]
    hottest = max(met, key=lambda r: r.number("temp_f"))
    time = hottest.number_or_none("time_h")
    assert (hottest.number("time_min") if time is None else time) >= killed_s


# ---- cooling
OPTION_1 = [Stage.from_row(r) for r in LIBRARY.rows("cooling") if r.text("option") == "fsis_1"]


@pytest.mark.parametrize(
    ("option", "printed"),
    [
        ("fsis_1", [(130, 80, 1.5), (80, 40, 5)]),
        ("fsis_2", [(120, 80, 1), (120, 55, 6), (120, 40, None)]),
        ("fsis_3", [(130, 80, 5), (80, 45, 10)]),
        ("california", [(120, 40, 20)]),
        ("food_code", [(135, 70, 2), (135, 41, 6)]),
    ],
)
def test_cooling_stages_are_as_printed(option: str, printed: list[tuple[float, float, float | None]]) -> None:
    rows = [r for r in LIBRARY.rows("cooling") if r.text("option") == option]
    for row, (start, stop, hours) in zip(rows, printed, strict=True):
        stage = Stage.from_row(row)
        assert stage.from_c == pytest.approx(f_to_c(start))
        assert stage.to_c == pytest.approx(f_to_c(stop))
        assert stage.most_s == (None if hours is None else hours * 3600.0)


def linear(first_h: float, second_h: float) -> Log:
    """From 140 F, straight through 130, 80 and 40 F to 38 F, with a reading every half hour or so."""
    t130 = first_h * 10 / 50
    knots = [(0.0, 140.0), (t130, 130.0), (t130 + first_h, 80.0), (t130 + first_h + second_h, 40.0)]
    knots.append((knots[-1][0] + 0.5, 38.0))
    hours = np.unique(np.concatenate([np.arange(0.0, knots[-1][0], 0.25), [k[0] for k in knots]]))
    f = np.interp(hours, [k[0] for k in knots], [k[1] for k in knots])
    return log_of(list(hours * 60), [f_to_c(x) for x in f], rules=COOLING)


def test_cooling_stage_times_are_those_of_the_course() -> None:
    stages = cooled_stages(log=linear(1.25, 4.75), stages=OPTION_1)
    assert [s.worst_s for s in stages] == pytest.approx([1.25 * 3600, 4.75 * 3600], rel=1e-6)
    assert [s.best_s for s in stages] == pytest.approx([1.25 * 3600, 4.75 * 3600], rel=1e-6)


def test_a_cooling_log_that_ends_warm_or_starts_late_is_open() -> None:
    whole = linear(1.0, 4.0)
    cut = whole.part(0, len(whole.time_s) - 6)
    assert cooled_stages(log=cut, stages=OPTION_1)[1].worst_s == float("inf")
    late = whole.part(8, len(whole.time_s) - 1)
    assert cooled_stages(log=late, stages=OPTION_1)[0].worst_s == float("inf")


def test_a_rise_is_seen_only_beyond_the_error() -> None:
    assert is_dropping(log=log_of([0, 30, 60], [60, 40, 40.4], error=0.5, rules=COOLING))
    assert not is_dropping(log=log_of([0, 30, 60], [60, 40, 41], error=0.5, rules=COOLING))


def test_rates_far_outside_are_refused() -> None:
    with pytest.raises(OutOfRange):
        lethal_rate_bigelow(temp_c=170.0, resistance=SALMONELLA)
    with pytest.raises(OutOfRange):
        lethal_time_bigelow(
            time_s=np.array([0.0, 1.0]), temp_c=np.array([20.0, np.nan]), resistance=SALMONELLA
        )


def test_freezing_log_by_day_is_trusted_and_a_missing_day_is_not() -> None:
    days = [1440.0 * d for d in range(22)]
    assert (
        hold_below(log=log_of(days, [-18.0] * 22, rules=FREEZING), temp_c=-15.0, worst=True) == 21 * 86400.0
    )
    missing = days[:5] + days[7:]
    held = hold_below(log=log_of(missing, [-18.0] * 20, rules=FREEZING), temp_c=-15.0, worst=True)
    assert held == 14 * 86400.0


def test_the_rise_is_timed_from_the_last_cold_to_the_first_hot() -> None:
    log = log_of([0, 10, 20, 30, 40], [10, 20, 30, 40, 50])
    assert rise_time(log=log, low_c=15.0, high_c=45.0, worst=True) == pytest.approx(1800.0)
    doubt = log_of([0, 10, 20, 30, 40], [10, 20, 30, 40, 50], error=1.0)
    assert rise_time(log=doubt, low_c=15.0, high_c=45.0, worst=True) == pytest.approx(1920.0)
    assert rise_time(log=doubt, low_c=15.0, high_c=45.0, worst=False) == pytest.approx(1680.0)
    for open_ in (log_of([0, 10], [20, 50]), log_of([0, 10], [10, 40]), log_of([0, 30], [10, 50])):
        assert rise_time(log=open_, low_c=15.0, high_c=45.0, worst=True) == float("inf")
        assert rise_time(log=open_, low_c=15.0, high_c=45.0, worst=False) == 0.0
