"""How fast salt moves in meat, and the exact series of the boundaries a piece can have.

The series stand beside the finite volumes of `salt_profile`: a dose all dissolved at once (the limit of a
weighed dose), a surface held at one strength (a box of salt), a stirred liquid of limited volume (a
brine). Nitrite and nitrate are not assumed to travel like salt.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, Self

import numpy as np
from scipy.optimize import brentq
from scipy.special import j0, j1, jn_zeros

from saltfare.core.errors import NotConverged
from saltfare.core.numerics import check_range
from saltfare.core.tables import Row

Shape = Literal["slab", "cylinder"]

# Roots of J1 and their J0, for the cylinder's series: mathematics, not data.
_ROOTS = jn_zeros(1, 80)
_ROOTS_J0 = j0(_ROOTS)
_ROOTS_0 = jn_zeros(0, 80)
_ROOTS_0_J1 = j1(_ROOTS_0)
# Molar gas constant, exact in the SI.
GAS_J_PER_MOL_K = 8.31446261815324
# Below this Fourier number the middle of either shape holds less than 1e-100 of its final share; above
# the other it differs from its final share by less than 1e-25.
_FOURIER_DRY = 1.0e-3
_FOURIER_EVEN = 6.0


def centre_share_dissolved(*, fourier: float, shape: Shape) -> float:
    """Salt in the middle as a share of the even distribution, the whole dose dissolved at once.

    Slab, both faces: 1 + 2 sum (-1)^n exp(-n^2 pi^2 Fo). Cylinder: 1 + sum exp(-a_n^2 Fo) / J0(a_n),
    J1(a_n) = 0. At small Fo the slab is summed over images of the source instead.

    Parameters
    ----------
    fourier : D t / L^2, L half the thickness or the radius; the whole thickness where one face is shut [-]
    shape : `slab` or `cylinder`

    Returns
    -------
    share, 0 to 1 [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    crank_1975_sources, sections 2.2.3 and 5.3
    """
    fo = float(
        check_range(fourier, low=0.0, high=math.inf, model="centre_share_dissolved", quantity="fourier")
    )
    if fo < _FOURIER_DRY:
        return 0.0
    if fo > _FOURIER_EVEN:
        return 1.0
    if shape == "cylinder":
        return float(1.0 + np.sum(np.exp(-(_ROOTS**2) * fo) / _ROOTS_J0))
    n = np.arange(1, 40)
    if fo < 0.2:
        images = np.exp(-((2 * n - 1) ** 2) / (4.0 * fo))
        return float(2.0 * np.sum(images) / math.sqrt(math.pi * fo))
    return float(1.0 + 2.0 * np.sum((-1.0) ** n * np.exp(-((n * math.pi) ** 2) * fo)))


def fourier_from_centre_share(*, centre_frac: float, shape: Shape) -> float:
    """Fourier number at which the middle holds a share. Inverse of `centre_share_dissolved`.

    Parameters
    ----------
    centre_frac : share of the even distribution, 0.001 to 0.999 [-]
    shape : `slab` or `cylinder`

    Returns
    -------
    D t / L^2 [-]

    Raises
    ------
    OutOfRange, NotConverged

    Source
    ------
    crank_1975_sources, sections 2.2.3 and 5.3
    """
    check_range(centre_frac, low=0.001, high=0.999, model="fourier_from_centre_share", quantity="centre_frac")

    def gap(fo: float) -> float:
        return centre_share_dissolved(fourier=fo, shape=shape) - centre_frac

    root, report = brentq(gap, 2 * _FOURIER_DRY, 3.0, xtol=1e-12, full_output=True, disp=False)
    if not report.converged:
        raise NotConverged("time to the middle", 0, gap(float(root)))
    return float(root)


def time_from_centre_share(
    *,
    centre_frac: float,
    thickness_m: float,
    shape: Shape,
    is_one_sided: bool,
    diffusivity_m2_per_s: float,
) -> float:
    """How long until the middle of a weighed dose holds a share of its final salt.

    Parameters
    ----------
    centre_frac : share of the final salt, 0.001 to 0.999 [-]
    thickness_m : thickness of the slab or diameter of the cylinder [m]
    shape : `slab` or `cylinder`
    is_one_sided : salt enters a slab by one face only, as with the skin left on
    diffusivity_m2_per_s : diffusivity of salt in the meat [m2/s]

    Returns
    -------
    time [s]

    Raises
    ------
    OutOfRange, NotConverged

    Source
    ------
    crank_1975_sources, sections 2.2.3 and 5.3
    """
    who = "time_from_centre_share"
    check_range(thickness_m, low=1e-4, high=2.0, model=who, quantity="thickness_m")
    check_range(diffusivity_m2_per_s, low=1e-13, high=1e-7, model=who, quantity="diffusivity_m2_per_s")
    way = salt_way(thickness_m=thickness_m, shape=shape, is_one_sided=is_one_sided)
    fourier = fourier_from_centre_share(centre_frac=centre_frac, shape=shape)
    return fourier * way**2 / diffusivity_m2_per_s


def centre_share_at(
    *,
    time_s: float,
    thickness_m: float,
    shape: Shape,
    is_one_sided: bool,
    diffusivity_m2_per_s: float,
) -> float:
    """Share of its final salt the middle holds after a time. Inverse of `time_from_centre_share`.

    Parameters
    ----------
    time_s : time since the dose dissolved [s]
    thickness_m : thickness of the slab or diameter of the cylinder [m]
    shape : `slab` or `cylinder`
    is_one_sided : salt enters a slab by one face only
    diffusivity_m2_per_s : diffusivity of salt in the meat [m2/s]

    Returns
    -------
    share, 0 to 1 [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    crank_1975_sources, sections 2.2.3 and 5.3
    """
    check_range(time_s, low=0.0, high=math.inf, model="centre_share_at", quantity="time_s")
    way = salt_way(thickness_m=thickness_m, shape=shape, is_one_sided=is_one_sided)
    return centre_share_dissolved(fourier=diffusivity_m2_per_s * time_s / way**2, shape=shape)


def salt_way(*, thickness_m: float, shape: Shape, is_one_sided: bool) -> float:
    """How far salt must travel: to the middle, or to the shut face.

    Parameters
    ----------
    thickness_m : thickness of the slab or diameter of the cylinder [m]
    shape : `slab` or `cylinder`
    is_one_sided : salt enters a slab by one face only; a cylinder with one shut side is not computed

    Returns
    -------
    distance [m]

    Raises
    ------
    ValueError for a one-sided cylinder

    Source
    ------
    saltfare_derived, a shut face is the middle of a slab twice as thick
    """
    if is_one_sided and shape != "slab":
        raise ValueError("only a slab can be salted from one side")
    return thickness_m if is_one_sided else thickness_m / 2.0


def time_trade_inch(*, thickness_m: float, time_per_step_s: float, step_m: float) -> float:
    """The trade's rule: so many days for each inch of thickness.

    Parameters
    ----------
    thickness_m : thickness or diameter [m]
    time_per_step_s : days of the rule [s]
    step_m : length they are for [m]

    Returns
    -------
    time [s]

    Source
    ------
    common_practice, seven days an inch
    """
    return thickness_m / step_m * time_per_step_s


@dataclass(frozen=True, slots=True)
class SaltDiffusivity:
    """Diffusivity of a salt in meat with its published spread, and what warmth does to it.

    low, middle, high: at temp_ref_c [m2/s]. least_j, middle_j, most_j: activation energy [J/mol].
    """

    low: float
    middle: float
    high: float
    temp_ref_c: float
    least_j: float
    middle_j: float
    most_j: float

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of the table `diffusion_salt` that has a spread and activation energies."""
        columns = ("d_low", "d", "d_high", "temp_c", "e_low", "e", "e_high")
        return cls(*(row.number(column) for column in columns))


def diffusivity_salt(*, temp_c: float, salt: SaltDiffusivity) -> tuple[float, float, float]:
    """Diffusivity of salt in meat at a temperature: least, middle and most.

    D = D_ref exp(-E/R (1/T - 1/T_ref)); the ends take the end of the activation energy that lies further
    out.

    Parameters
    ----------
    temp_c : temperature of the meat, -2 to 25 [°C]
    salt : diffusivities and activation energies

    Returns
    -------
    low, middle, high [m2/s]

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_chosen, Arrhenius about the temperature of measurement
    """
    check_range(temp_c, low=-2.0, high=25.0, model="diffusivity_salt", quantity="temp_c")
    lag = (1.0 / (temp_c + 273.15) - 1.0 / (salt.temp_ref_c + 273.15)) / GAS_J_PER_MOL_K

    def at(diffusivity: float, activation: float) -> float:
        return diffusivity * math.exp(-activation * lag)

    colder = lag > 0
    return (
        at(salt.low, salt.most_j if colder else salt.least_j),
        at(salt.middle, salt.middle_j),
        at(salt.high, salt.least_j if colder else salt.most_j),
    )


def centre_share_constant(*, fourier: float, shape: Shape) -> float:
    """Salt in the middle over that of the surface, the surface held at one strength from the start.

    Slab: 1 - 4/pi sum (-1)^n/(2n+1) exp(-(2n+1)^2 pi^2 Fo/4). Cylinder: 1 - 2 sum exp(-a_n^2 Fo) /
    (a_n J1(a_n)), J0(a_n) = 0.

    Parameters
    ----------
    fourier : D t / L^2, L half the thickness or the radius, 0.002 and more [-]
    shape : `slab` or `cylinder`

    Returns
    -------
    share, 0 to 1 [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    crank_1975_sources, constant surface concentration
    """
    fo = float(
        check_range(fourier, low=0.002, high=math.inf, model="centre_share_constant", quantity="fourier")
    )
    if shape == "cylinder":
        return float(1.0 - 2.0 * np.sum(np.exp(-(_ROOTS_0**2) * fo) / (_ROOTS_0 * _ROOTS_0_J1)))
    odd = 2.0 * np.arange(80) + 1.0
    terms = (-1.0) ** np.arange(80) / odd * np.exp(-((odd * math.pi) ** 2) * fo / 4.0)
    return float(1.0 - 4.0 / math.pi * np.sum(terms))


def mean_share_constant(*, fourier: float, shape: Shape) -> float:
    """Mean salt of the piece over that of the surface, the surface held at one strength from the start.

    Slab: 1 - 8/pi^2 sum exp(-(2n+1)^2 pi^2 Fo/4)/(2n+1)^2. Cylinder: 1 - 4 sum exp(-a_n^2 Fo)/a_n^2.

    Parameters
    ----------
    fourier : D t / L^2, L half the thickness or the radius, 0.002 and more [-]
    shape : `slab` or `cylinder`

    Returns
    -------
    share, 0 to 1 [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    crank_1975_sources, constant surface concentration
    """
    fo = float(
        check_range(fourier, low=0.002, high=math.inf, model="mean_share_constant", quantity="fourier")
    )
    if shape == "cylinder":
        return float(1.0 - 4.0 * np.sum(np.exp(-(_ROOTS_0**2) * fo) / _ROOTS_0**2))
    odd = 2.0 * np.arange(80) + 1.0
    return float(1.0 - 8.0 / math.pi**2 * np.sum(np.exp(-((odd * math.pi) ** 2) * fo / 4.0) / odd**2))


def limited_volume_root(*, volume_ratio: float, shape: Shape, index: int) -> float:
    """A root of the series of a limited, stirred liquid.

    Slab: tan q = -r q. Cylinder: r q J0(q) + 2 J1(q) = 0.

    Parameters
    ----------
    volume_ratio : r, liquid's water over the meat's, above 0 [kg/kg]
    shape : `slab` or `cylinder`
    index : 1 for the first

    Returns
    -------
    q [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    crank_1975_sources, stirred solution of limited volume
    """
    r = float(
        check_range(volume_ratio, low=1e-4, high=1e6, model="limited_volume_root", quantity="volume_ratio")
    )
    if shape == "cylinder":
        low, high = float(_ROOTS_0[index - 1]), float(_ROOTS[index - 1])
        return float(brentq(lambda q: r * q * j0(q) + 2.0 * j1(q), low, high, xtol=1e-13))
    # sin q + r q cos q has one sign change between the odd quarter and the half turn
    low, high = (index - 0.5) * math.pi, index * math.pi
    return float(brentq(lambda q: math.sin(q) + r * q * math.cos(q), low, high, xtol=1e-13))


def mean_share_limited(*, fourier: float, volume_ratio: float, shape: Shape) -> float:
    """Salt taken up over that taken up in the end, from a stirred liquid of limited volume.

    Slab: 1 - sum 2r(1+r)/(1+r+r^2 q^2) exp(-q^2 Fo). Cylinder: 1 - sum 4r(1+r)/(4+4r+r^2 q^2) exp(-q^2 Fo).

    Parameters
    ----------
    fourier : D t / L^2, L half the thickness or the radius, 0.005 and more [-]
    volume_ratio : liquid's water over the meat's [kg/kg]
    shape : `slab` or `cylinder`

    Returns
    -------
    share, 0 to 1 [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    crank_1975_sources, stirred solution of limited volume
    """
    fo = float(check_range(fourier, low=0.005, high=math.inf, model="mean_share_limited", quantity="fourier"))
    r, gone = volume_ratio, 0.0
    for index in range(1, 41):
        q = limited_volume_root(volume_ratio=r, shape=shape, index=index)
        if shape == "slab":
            weight = 2.0 * r * (1.0 + r) / (1.0 + r + (r * q) ** 2)
        else:
            weight = 4.0 * r * (1.0 + r) / (4.0 + 4.0 * r + (r * q) ** 2)
        gone += weight * math.exp(-q * q * fo)
    return 1.0 - gone
