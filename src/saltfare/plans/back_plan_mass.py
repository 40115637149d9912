"""How much green meat a wanted mass asks for, so that what goes on the way is very likely covered."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from saltfare.models.salt_diffusion import Shape
from saltfare.plans.buying import Band, Shares

Floats = NDArray[np.float64]
_POINTS = 15


@dataclass(frozen=True, slots=True, kw_only=True)
class Green:
    """What to start from for a finished mass. Green weight is trimmed; bought is as it comes.

    pieces: how many of one size; each_kg, length_m, width_m: of one, green.
    """

    finished_kg: float
    green_kg: float
    bought_kg: float
    pieces: int
    each_kg: float
    length_m: float
    width_m: float | None


def share_quantiles(*, band: Band, points: int = _POINTS) -> Floats:
    """Middles of equal slices of a share whose least, usual and most are known: a triangle.

    Source
    ------
    saltfare_derived, inverse of the triangular distribution
    """
    u = (np.arange(points) + 0.5) / points
    low, mid, high = band.low, band.mid, band.high
    if high <= low:
        return np.full(points, mid)
    at = (mid - low) / (high - low)
    rising = low + np.sqrt(u * (high - low) * (mid - low))
    falling = high - np.sqrt((1 - u) * (high - low) * (high - mid))
    return np.asarray(np.where(u < at, rising, falling))


def kept_at_least(*, shares: Shares, chance: float, from_green: bool) -> float:
    """The share of what is bought (or of green weight) that is left in the pack, at the least, with a chance.

    Parameters
    ----------
    shares : the chain from the butcher to the pack
    chance : that so much or more is left
    from_green : leave the first trim out

    Source
    ------
    saltfare_chosen, independent triangles of the practice's bands
    """
    parts = [shares.net_loss, shares.loss, shares.end_trim]
    if not from_green:
        parts.insert(0, shares.trim)
    left = np.ones(1)
    for band in parts:
        left = (left[:, None] * (1 - share_quantiles(band=band))[None, :]).ravel()
    return float(np.quantile(left, 1 - chance))


def green_for(
    *,
    finished_kg: float,
    shares: Shares,
    chance: float,
    thickness_m: float,
    shape: Shape,
    width_m: float | None,
    density_kg_per_m3: float,
    longest_ratio: float,
    width_ratio: float,
) -> Green:
    """Green weight for a finished mass, cut into pieces that are no longer than they may be.

    Parameters
    ----------
    finished_kg : wanted in the pack [kg]
    shares, chance : what goes on the way, and how likely so little or less of it goes
    thickness_m, shape, width_m : of a piece [m]; width of a slab where it is known
    density_kg_per_m3 : of the raw meat
    longest_ratio, width_ratio : length and width of a piece over its thickness, at the most and as usual

    Source
    ------
    saltfare_chosen, order of a plan
    """
    green = finished_kg / kept_at_least(shares=shares, chance=chance, from_green=True)
    width = None
    if shape == "slab":
        width = width_m if width_m is not None else width_ratio * thickness_m
        area = thickness_m * width
        longest = longest_ratio * max(thickness_m, width)
    else:
        area = math.pi / 4.0 * thickness_m**2
        longest = longest_ratio * thickness_m
    pieces = max(math.ceil(green / (density_kg_per_m3 * area * longest) - 1e-9), 1)
    each = green / pieces
    return Green(
        finished_kg=finished_kg,
        green_kg=green,
        bought_kg=finished_kg / kept_at_least(shares=shares, chance=chance, from_green=False),
        pieces=pieces,
        each_kg=each,
        length_m=each / (density_kg_per_m3 * area),
        width_m=width,
    )
