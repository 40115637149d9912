"""Water activity of brine and of salted meat.

The water of salted meat is the water its protein holds plus the water its salt holds at the same
water activity, each as if alone (isopiestic addition). Below the activity of saturated brine the salt
has crystallised and holds none; the drop is smeared by a logistic so that activity stays a
single-valued function of water.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Self

import numpy as np

from saltfare.core.errors import NotConverged, OutOfRange
from saltfare.core.numerics import Array, Floats, check_range, root_increasing
from saltfare.core.tables import Row

# Molar masses, kg/mol: sodium chloride from the standard atomic weights, water likewise.
NACL_KG_PER_MOL = 0.0584428
WATER_KG_PER_MOL = 0.0180153
# Pitzer & Mayorga 1973, equation 1 for a 1:1 salt at 25 °C and the NaCl row of their table I.
_A, _B = 0.3915, 1.2
_BETA0, _BETA1, _CPHI = 0.0765, 0.2664, 0.00127
_MOLALITY_HIGH = 6.2
# Intervals of the piecewise cubic of an isotherm, for solvers that ask for it often.
_INTERVALS = 8192
# The logistic of the crystallisation step is below 1e-21 here; the curve is never used further down.
_AW_TAIL = 0.60


@dataclass(frozen=True, slots=True)
class ProteinIsotherm:
    """Salt-free lean meat, per kg of fat-free salt-free dry solids, and where its salt crystallises.

    scale, power, bend: f, g, h of `X = f [(1 - a)^-g - 1 / (1 + a^h)]`.
    crystal_aw, crystal_width: activity of saturated brine; width of the logistic in activity.
    aw_low, aw_high: range of validity.
    """

    scale: float
    power: float
    bend: float
    crystal_aw: float
    crystal_width: float
    aw_low: float
    aw_high: float

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of the table `isotherms`."""
        columns = ("scale", "power", "bend", "crystal_aw", "crystal_width", "aw_low", "aw_high")
        return cls(*(row.number(column) for column in columns))


def _osmotic(m: Array) -> tuple[Array, Array]:
    """Osmotic coefficient and its slope in molality."""
    root = np.sqrt(m)
    debye = 1.0 + _B * root
    fade = np.exp(-2.0 * root)
    phi = 1.0 - _A * root / debye + m * (_BETA0 + _BETA1 * fade) + m * m * _CPHI
    with np.errstate(divide="ignore"):
        slope = -_A / (2.0 * root * debye * debye) + _BETA0 + _BETA1 * fade * (1.0 - root) + 2.0 * m * _CPHI
    return phi, slope


def _log_aw(m: Array) -> tuple[Array, Array]:
    """Logarithm of the water activity and its slope in molality."""
    phi, slope = _osmotic(m)
    factor = -2.0 * WATER_KG_PER_MOL
    with np.errstate(invalid="ignore"):  # the slope has none at zero molality
        return factor * m * phi, factor * (phi + m * slope)


# First guesses of the inverse, from the equation itself; polished by Newton's rule at every use.
_GUESS_M = np.linspace(1e-9, 11.0, 1200)
_GUESS_LOG_AW = _log_aw(_GUESS_M)[0][::-1]
_GUESS_M = _GUESS_M[::-1]
_LOG_TAIL = float(_GUESS_LOG_AW[0])


def _molality(aw: Array) -> tuple[Array, Array]:
    """Molality at an activity and its slope in activity; `aw` within the guesses, not checked."""
    target = np.log(aw)
    m = np.interp(target, _GUESS_LOG_AW, _GUESS_M)
    for _ in range(3):
        value, slope = _log_aw(m)
        change = (target - value) / slope
        m = np.abs(m + change)
    if not (np.abs(change) <= 1e-9).all():
        member = int(np.argmax(np.nan_to_num(np.abs(np.ravel(change)), nan=np.inf)))
        raise NotConverged("molality of brine", member, float(np.ravel(change)[member]))
    return m, 1.0 / (aw * slope)


def osmotic_coefficient_nacl_pitzer(*, molality_mol_per_kg: Floats) -> Array:
    """Osmotic coefficient of sodium chloride in water at 25 °C.

    Parameters
    ----------
    molality_mol_per_kg : moles of salt per kg of water, 0 to 6.2 [mol/kg]

    Returns
    -------
    osmotic coefficient [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    pitzer_mayorga_1973, equation 1 and table I, NaCl
    """
    m = check_range(
        molality_mol_per_kg,
        low=0.0,
        high=_MOLALITY_HIGH,
        model="osmotic_coefficient_nacl_pitzer",
        quantity="molality_mol_per_kg",
    )
    return _osmotic(m)[0][()]


def aw_nacl_pitzer(*, molality_mol_per_kg: Floats) -> Array:
    """Water activity of a sodium chloride brine at 25 °C.

    Between 0 and 30 °C it moves by less than 0.004.

    Parameters
    ----------
    molality_mol_per_kg : moles of salt per kg of water, 0 to 6.2 [mol/kg]

    Returns
    -------
    water activity [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    pitzer_mayorga_1973, equation 1 and table I, NaCl
    """
    m = check_range(
        molality_mol_per_kg,
        low=0.0,
        high=_MOLALITY_HIGH,
        model="aw_nacl_pitzer",
        quantity="molality_mol_per_kg",
    )
    return np.exp(_log_aw(m)[0])[()]


def molality_from_aw_nacl_pitzer(*, aw: Floats) -> Array:
    """Molality of the sodium chloride brine of a given water activity at 25 °C.

    Parameters
    ----------
    aw : water activity, from that of 6.2 mol/kg to 1 [-]

    Returns
    -------
    moles of salt per kg of water [mol/kg]

    Raises
    ------
    OutOfRange, NotConverged

    Source
    ------
    pitzer_mayorga_1973, equation 1 and table I, NaCl
    """
    low = float(np.exp(_log_aw(np.asarray(_MOLALITY_HIGH))[0]))
    a = check_range(aw, low=low, high=1.0, model="molality_from_aw_nacl_pitzer", quantity="aw")
    dilute = a > 1.0 - 1e-9
    m, _ = _molality(np.where(dilute, 0.99, a))
    return np.where(dilute, 0.0, m)[()]


def aw_brine(*, salt_kg: Floats, water_kg: Floats) -> Array:
    """Water activity of so much salt in so much water.

    Parameters
    ----------
    salt_kg, water_kg : masses of sodium chloride and water, water above zero [kg]

    Returns
    -------
    water activity [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    pitzer_mayorga_1973, equation 1 and table I, NaCl
    """
    water = check_range(water_kg, low=1e-12, high=np.inf, model="aw_brine", quantity="water_kg")
    salt = check_range(salt_kg, low=0.0, high=np.inf, model="aw_brine", quantity="salt_kg")
    return aw_nacl_pitzer(molality_mol_per_kg=salt / (NACL_KG_PER_MOL * water))


def aw_saturated_brine(*, protein: ProteinIsotherm) -> float:
    """Water activity at which the salt of this isotherm crystallises.

    Parameters
    ----------
    protein : the isotherm

    Returns
    -------
    water activity [-]

    Source
    ------
    crc_humidity_constant, sodium chloride, A = 69.20, B = 25
    """
    return protein.crystal_aw


def water_of_salted_meat(*, aw: Array, salt_ratio: Array, protein: ProteinIsotherm) -> tuple[Array, Array]:
    """Water ratio and its slope in activity, without a range check: the inner loop of a solver.

    Parameters
    ----------
    aw, salt_ratio, protein : as in `water_ratio_salted_meat`, arrays of one shape

    Returns
    -------
    water ratio and slope

    Source
    ------
    additive_rule_chosen, isopiestic addition of protein and brine
    """
    dry = 1.0 - aw
    swell = dry**-protein.power
    bend = aw**protein.bend
    bow = 1.0 / (1.0 + bend)
    ratio = protein.scale * (swell - bow)
    slope = protein.scale * (protein.power * swell / dry + protein.bend * bend / aw * bow * bow)
    wet = aw > _AW_TAIL
    m, dm = _molality(np.where(wet, aw, 0.8))
    rise = 1.0 / (1.0 + np.exp((protein.crystal_aw - aw) / protein.crystal_width))
    brine = np.where(wet, salt_ratio * rise / (NACL_KG_PER_MOL * m), 0.0)
    return ratio + brine, slope + brine * ((1.0 - rise) / protein.crystal_width - dm / m)


def water_ratio_salted_meat(*, aw: Floats, salt_ratio: Floats, protein: ProteinIsotherm) -> Array:
    """Water that salted lean meat holds at a water activity; arrays broadcast.

    Parameters
    ----------
    aw : water activity, within the range of the isotherm [-]
    salt_ratio : kg of sodium chloride per kg of fat-free salt-free dry solids, 0 to 1 [kg/kg]
    protein : the salt-free isotherm and the activity at which salt crystallises

    Returns
    -------
    kg of water per kg of fat-free salt-free dry solids [kg/kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    additive_rule_chosen, isopiestic addition of protein and brine
    comaposada_1999, chapter 4.1: the drop at the activity of saturated brine
    """
    a = check_range(
        aw, low=protein.aw_low, high=protein.aw_high, model="water_ratio_salted_meat", quantity="aw"
    )
    s = check_range(salt_ratio, low=0.0, high=1.0, model="water_ratio_salted_meat", quantity="salt_ratio")
    a, s = np.broadcast_arrays(a, s)
    return water_of_salted_meat(aw=a, salt_ratio=s, protein=protein)[0][()]


def aw_salted_meat(*, water_ratio: Floats, salt_ratio: Floats, protein: ProteinIsotherm) -> Array:
    """Water activity of salted lean meat; arrays broadcast. Inverse of `water_ratio_salted_meat`.

    Parameters
    ----------
    water_ratio : kg of water per kg of fat-free salt-free dry solids [kg/kg]
    salt_ratio : kg of sodium chloride per kg of the same, 0 to 1 [kg/kg]
    protein : the salt-free isotherm and the activity at which salt crystallises

    Returns
    -------
    water activity [-]

    Raises
    ------
    OutOfRange where the water lies outside what the isotherm's range of activity holds, NotConverged

    Source
    ------
    additive_rule_chosen, isopiestic addition of protein and brine
    """
    s = check_range(salt_ratio, low=0.0, high=1.0, model="aw_salted_meat", quantity="salt_ratio")
    x, s = np.broadcast_arrays(np.asarray(water_ratio, dtype=np.float64), s)
    least = water_of_salted_meat(aw=np.full(x.shape, protein.aw_low), salt_ratio=s, protein=protein)[0]
    most = water_of_salted_meat(aw=np.full(x.shape, protein.aw_high), salt_ratio=s, protein=protein)[0]
    outside = np.ravel(~((x >= least) & (x <= most)))
    if outside.any():
        at = int(np.flatnonzero(outside)[0])
        raise OutOfRange(
            "aw_salted_meat",
            "water_ratio",
            float(np.ravel(x)[at]),
            float(np.ravel(least)[at]),
            float(np.ravel(most)[at]),
        )
    flat_x, flat_s = np.ravel(x), np.ravel(s)

    def gap(a: Array) -> tuple[Array, Array]:
        ratio, slope = water_of_salted_meat(aw=a, salt_ratio=flat_s, protein=protein)
        # in logarithms the curve is nearly straight towards pure water, where it runs to infinity
        return np.log(ratio / flat_x), slope / ratio

    # a hair outside the ends, so that an end itself can be the answer
    low = np.full(flat_x.shape, protein.aw_low * (1.0 - 1e-9))
    high = np.full(flat_x.shape, protein.aw_high + 1e-9)
    root = root_increasing(
        gap,
        low=low,
        high=high,
        start=np.full(flat_x.shape, 0.9),
        tolerance=1e-12,
        what="water activity of salted meat",
    )
    return root.reshape(x.shape)[()]


@dataclass(frozen=True, slots=True)
class IsothermCurve:
    """The isotherm as a piecewise cubic, for solvers that ask for it millions of times.

    Value and slope are the isotherm's at 8193 activities; between them it is within 1e-6 of it
    (tests). Holds for every salt content: protein and brine lie side by side.
    """

    low: float
    per_interval: float
    cubics: Array  # (intervals, 8): four of protein, four of brine per salt

    def water(self, *, aw: Array, salt_ratio: Array) -> tuple[Array, Array]:
        """Water ratio and its slope in activity; `aw` within the isotherm's range, not checked.

        Source
        ------
        additive_rule_chosen, isopiestic addition of protein and brine
        """
        at = (aw - self.low) * self.per_interval
        index = at.astype(np.intp)
        at -= index
        both = self.cubics.take(index, axis=0, mode="clip")
        c = (both[:, :4] + salt_ratio[:, None] * both[:, 4:]).T
        value = c[0] + at * (c[1] + at * (c[2] + at * c[3]))
        return value, self.per_interval * (c[1] + at * (2.0 * c[2] + 3.0 * at * c[3]))


@cache
def isotherm_curve(protein: ProteinIsotherm) -> IsothermCurve:
    """The curve of an isotherm, made once.

    Source
    ------
    additive_rule_chosen, isopiestic addition of protein and brine
    """
    aw = np.linspace(protein.aw_low, protein.aw_high, _INTERVALS + 1)
    width = aw[1] - aw[0]
    bare, d_bare = water_of_salted_meat(aw=aw, salt_ratio=np.zeros_like(aw), protein=protein)
    salted, d_salted = water_of_salted_meat(aw=aw, salt_ratio=np.ones_like(aw), protein=protein)
    columns = []
    for value, slope in ((bare, d_bare * width), (salted - bare, (d_salted - d_bare) * width)):
        rise, left, right = np.diff(value), slope[:-1], slope[1:]
        columns += [value[:-1], left, 3.0 * rise - 2.0 * left - right, left + right - 2.0 * rise]
    return IsothermCurve(protein.aw_low, float(1.0 / width), np.stack(columns, axis=1))
