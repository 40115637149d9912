"""Humidity over saturated salts against another table, and the line through two brines."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from saltfare.core.errors import OutOfRange
from saltfare.core.library import Library
from saltfare.models.jar import HumiditySalt, JarReading, aw_jar_bracketed, humidity_saturated

SODIUM = HumiditySalt.from_row(Library().row("humidity_salts", "sodium_chloride"))
POTASSIUM = HumiditySalt.from_row(Library().row("humidity_salts", "potassium_chloride"))

# Greenspan, J. Res. Nat. Bur. Stand. 81A (1977) 89, per cent, as tabled by padfield.org (cfys/satslt): an
# evaluated compilation made apart from the constants used here
GREENSPAN = [
    (SODIUM, 10.0, 75.7),
    (SODIUM, 15.0, 75.6),
    (SODIUM, 25.0, 75.3),
    (POTASSIUM, 10.0, 86.8),
    (POTASSIUM, 15.0, 85.9),
    (POTASSIUM, 20.0, 85.1),
    (POTASSIUM, 25.0, 84.3),
]


@pytest.mark.parametrize(("salt", "temp_c", "printed"), GREENSPAN)
def test_saturated_salts_against_an_evaluated_compilation(
    salt: HumiditySalt, temp_c: float, printed: float
) -> None:
    # a hundredth of what a jar is believed to be good to
    assert 100 * humidity_saturated(salt=salt, temp_c=temp_c) == pytest.approx(printed, abs=0.3)


def read(sample: float, sodium: float, potassium: float, temp_c: float = 21.0) -> JarReading:
    return aw_jar_bracketed(
        sample_frac=sample,
        sodium_frac=sodium,
        potassium_frac=potassium,
        temp_c=temp_c,
        sodium=SODIUM,
        potassium=POTASSIUM,
    )


@given(
    aw=st.floats(0.6, 0.95),
    gain=st.floats(0.6, 1.8),
    offset=st.floats(-0.05, 0.05),
    temp_c=st.floats(10.0, 25.0),
)
def test_a_hygrometer_wrong_on_a_straight_line_is_set_right(
    aw: float, gain: float, offset: float, temp_c: float
) -> None:
    def shown(true: float) -> float:
        return gain * true + offset

    low = humidity_saturated(salt=SODIUM, temp_c=temp_c)
    high = humidity_saturated(salt=POTASSIUM, temp_c=temp_c)
    found = read(shown(aw), shown(low), shown(high), temp_c)
    assert found.aw == pytest.approx(aw, abs=1e-9)
    assert found.beyond == pytest.approx(max(low - aw, aw - high, 0.0), abs=1e-9)


@pytest.mark.parametrize(
    ("sodium", "potassium", "temp_c"),
    [(0.76, 0.77, 21), (0.84, 0.75, 21), (0.6, 0.95, 21), (0.76, 0.85, 9), (0.76, 0.85, 26)],
)
def test_a_hygrometer_that_tells_nothing_is_out_of_range(
    sodium: float, potassium: float, temp_c: float
) -> None:
    with pytest.raises(OutOfRange):
        read(0.8, sodium, potassium, temp_c)
