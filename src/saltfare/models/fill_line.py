"""How high a pouch stands full: the line to pour to."""

from __future__ import annotations

import math

from scipy.optimize import brentq

from saltfare.core.errors import OutOfRange


def volume_open_bag(*, width_m: float, height_m: float) -> float:
    """What an open pouch holds filled to a height over its bottom seam.

    It is half of a closed bag twice as high, cut across its middle.

    Parameters
    ----------
    width_m : of the mouth, laid flat [m]
    height_m : of what is in it [m]

    Returns
    -------
    volume [m3]

    Source
    ------
    robin_2004, V = w^3 (h / (pi w) - 0.142 (1 - 10^(-h/w))), of a bag twice as high, halved
    """
    ratio = 2.0 * height_m / width_m
    return 0.5 * width_m**3 * (ratio / math.pi - 0.142 * (1.0 - math.pow(10.0, -ratio)))


def fill_height(*, volume_m3: float, width_m: float, height_m: float) -> float:
    """How high so much stands in an open pouch.

    Parameters
    ----------
    volume_m3 : of food and water [m3]
    width_m, height_m : of the pouch inside its seams [m]

    Returns
    -------
    height over the bottom seam [m]

    Raises
    ------
    OutOfRange where it does not go in

    Source
    ------
    saltfare_derived, height at which `volume_open_bag` is the volume
    """
    most = volume_open_bag(width_m=width_m, height_m=height_m)
    if not 0.0 < volume_m3 <= most:
        raise OutOfRange("fill_height", "volume", volume_m3, 0.0, most)

    def over(at_m: float) -> float:
        return volume_open_bag(width_m=width_m, height_m=at_m) - volume_m3

    return float(brentq(over, 0.0, height_m, xtol=1e-5))
