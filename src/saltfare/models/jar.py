"""Water activity from a closed jar: a hygrometer over the food, set right by two saturated brines."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Self

from saltfare.core.errors import OutOfRange
from saltfare.core.numerics import check_range
from saltfare.core.tables import Row

_KELVIN = 273.15


@dataclass(frozen=True, slots=True)
class HumiditySalt:
    """Relative humidity over a saturated salt, A exp(B / T), within a range of temperature."""

    a_frac: float
    b_k: float
    low_c: float
    high_c: float

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of the table `humidity_salts`."""
        return cls(row.number("a"), row.number("b"), row.number("low_c"), row.number("high_c"))


@dataclass(frozen=True, slots=True)
class JarReading:
    """aw: the corrected reading. beyond: how far it lies outside the two brines, 0 between them.

    slope: change of true humidity by that of the hygrometer.
    """

    aw: float
    beyond: float
    slope: float


def humidity_saturated(*, salt: HumiditySalt, temp_c: float) -> float:
    """Relative humidity over a saturated solution with salt left undissolved.

    Parameters
    ----------
    salt : HumiditySalt
    temp_c : within the range of the salt [°C]

    Returns
    -------
    relative humidity, and so water activity [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    crc_humidity_constant, equation 1
    """
    check_range(temp_c, low=salt.low_c, high=salt.high_c, model="humidity_saturated", quantity="temp_c")
    return salt.a_frac * math.exp(salt.b_k / (temp_c + _KELVIN))


def aw_jar_bracketed(
    *,
    sample_frac: float,
    sodium_frac: float,
    potassium_frac: float,
    temp_c: float,
    sodium: HumiditySalt,
    potassium: HumiditySalt,
) -> JarReading:
    """Water activity of a sample, its hygrometer set right on a straight line through two brines.

    Parameters
    ----------
    sample_frac : what the hygrometer reads over the sample [-]
    sodium_frac : what it reads over saturated sodium chloride [-]
    potassium_frac : what it reads over saturated potassium chloride [-]
    temp_c : temperature of all three [°C]
    sodium, potassium : the two salts

    Returns
    -------
    JarReading

    Raises
    ------
    OutOfRange where the hygrometer does not tell the brines apart, or for the temperature

    Source
    ------
    crc_humidity_constant, sodium chloride and potassium chloride
    saltfare_chosen, a straight line through the two brines
    """
    low = humidity_saturated(salt=sodium, temp_c=temp_c)
    high = humidity_saturated(salt=potassium, temp_c=temp_c)
    span = potassium_frac - sodium_frac
    # half to twice the true difference: else the line through the two says nothing
    least, most = 0.5 * (high - low), 2.0 * (high - low)
    if not least <= span <= most:
        raise OutOfRange("aw_jar_bracketed", "span", span, least, most)
    slope = (high - low) / span
    aw = low + slope * (sample_frac - sodium_frac)
    return JarReading(aw, max(low - aw, aw - high, 0.0), slope)
