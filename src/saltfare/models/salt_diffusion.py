"""How long a weighed dose of salt takes to reach the middle of a piece.

A weighed dose is a finite source. Here it is taken as all dissolved at once on the surface, with no
flux after that: the limit case. Nitrite and nitrate are not assumed to travel like salt.
"""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from scipy.optimize import brentq
from scipy.special import j0, jn_zeros

from saltfare.core.errors import NotConverged
from saltfare.core.numerics import check_range

Shape = Literal["slab", "cylinder"]

# Roots of J1 and their J0, for the cylinder's series: mathematics, not data.
_ROOTS = jn_zeros(1, 80)
_ROOTS_J0 = j0(_ROOTS)
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
