"""Growth models in several hurdles at once, equations with their own coefficients.

Used to show what a hurdle does; like every growth model they may fail a food and never pass one.
"""

from __future__ import annotations

import numpy as np

from saltfare.core.numerics import Array, Floats, check_range
from saltfare.models.growth_limits import aw_salt_le_marc


def rate_listeria_mejlholm(*, temp_c: Floats, ph: float, aw: float, nitrite_frac: float) -> Array:
    """Growth rate of L. monocytogenes in ready-to-eat meat and seafood, no acids, smoke or carbon dioxide.

    Parameters
    ----------
    temp_c : -2.83 to 45 [°C]
    ph : 4.97 to 7.7; slower below [-]
    aw : water activity, 0.923 to 1 [-]
    nitrite_frac : residual nitrite, 0 to 350e-6 [-]

    Returns
    -------
    rate, natural logarithm, shape of `temp_c` [1/h]

    Raises
    ------
    OutOfRange

    Source
    ------
    mejlholm_2010, model repository entry 317, terms for temperature, water activity, pH and nitrite
    """
    model = "rate_listeria_mejlholm"
    t = check_range(temp_c, low=-2.83, high=45.0, model=model, quantity="temp_c")
    check_range(ph, low=4.97, high=7.7, model=model, quantity="ph")
    check_range(aw, low=0.923, high=1.0, model=model, quantity="aw")
    check_range(nitrite_frac, low=0.0, high=350e-6, model=model, quantity="nitrite_frac")
    hurdles = (aw - 0.923) / 0.077 * (1.0 - 10.0 ** (4.97 - ph)) * ((350.0 - 1e6 * nitrite_frac) / 350.0) ** 2
    return np.asarray(0.419 * ((t + 2.83) / 27.83) ** 2 * hurdles)[()]


def rate_perfringens_le_marc(*, temp_c: Floats, ph: float, water_phase_salt_frac: float) -> Array:
    """Growth rate of C. perfringens in cooling bulk meat, by its pH and salt.

    Parameters
    ----------
    temp_c : 12.2 to 54.47 [°C]
    ph : 5 to 6.25 [-]
    water_phase_salt_frac : salt / (salt + water), 0.005 to 0.04 [-]

    Returns
    -------
    rate, natural logarithm, shape of `temp_c` [1/h]

    Raises
    ------
    OutOfRange

    Source
    ------
    le_marc_2012, model repository entry 1317
    """
    model = "rate_perfringens_le_marc"
    t = check_range(temp_c, low=12.2, high=54.47, model=model, quantity="temp_c")
    check_range(ph, low=5.0, high=6.25, model=model, quantity="ph")
    check_range(water_phase_salt_frac, low=0.005, high=0.04, model=model, quantity="water_phase_salt_frac")
    aw = aw_salt_le_marc(water_phase_salt_frac=water_phase_salt_frac)
    warmth = (t - 12.2) ** 2 * (1.0 - np.exp(0.095 * (t - 54.47)))
    return np.asarray(7.45 * warmth * (aw - 0.9755) * (2.0 - aw - 0.9755) * (ph - 4.76))[()]
