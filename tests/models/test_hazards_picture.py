"""The picture by rows: a hold at a printed row for its printed time is worth the target, and no more."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from saltfare.core.library import Library
from saltfare.models.criteria_tests import Rulebook
from saltfare.models.hazards_picture import log_reduction_rows

HOLDS = Rulebook.from_library(Library()).holds["poultry:long"]
# FSIS time-temperature tables for poultry, 12 % fat, typed apart: F, minutes for 7 log
PRINTED = [(136, 81.4), (137, 65.5), (140, 35.0), (142, 23.7), (144, 16.6), (160, 26.9 / 60)]


def worth(times: list[float], temps: list[float]) -> float:
    return float(
        log_reduction_rows(time_s=np.array(times), temp_c=np.array(temps), holds=HOLDS, target=7.0)[-1]
    )


@pytest.mark.parametrize(("fahrenheit", "minutes"), PRINTED)
def test_a_hold_at_a_row_is_worth_the_target(fahrenheit: float, minutes: float) -> None:
    temp = (fahrenheit - 32) / 1.8
    assert worth([0, 60 * minutes], [temp, temp]) == pytest.approx(7.0, rel=1e-9)
    # between two rows the cooler one counts, below the first none
    assert worth([0, 60 * minutes], [temp + 0.2, temp + 0.2]) == pytest.approx(7.0, rel=1e-9)
    assert worth([0, 60 * minutes], [temp - 0.01, temp - 0.01]) < 7.0


def test_below_the_first_row_nothing_is_counted() -> None:
    assert worth([0, 1e6], [57.0, 57.7]) == 0.0


@given(st.lists(st.floats(20, 95), min_size=2, max_size=12), st.floats(0.0, 5.0))
def test_more_heat_never_lowers_it_and_a_split_changes_nothing(temps: list[float], more: float) -> None:
    times = [600.0 * i for i in range(len(temps))]
    whole = worth(times, temps)
    assert worth(times, [t + more for t in temps]) >= whole - 1e-9
    middle = [0.5 * (a + b) for a, b in pairwise(temps)]
    fine_t = sorted([*times, *(t + 300.0 for t in times[:-1])])
    fine = [x for pair in zip(temps, middle, strict=False) for x in pair] + [temps[-1]]
    assert worth(fine_t, fine) == pytest.approx(whole, rel=1e-9, abs=1e-9)
