"""How high a pouch stands full."""

from __future__ import annotations

import math

import pytest

from saltfare.core.errors import OutOfRange
from saltfare.models.fill_line import fill_height, volume_open_bag
from saltfare.models.pouch import volume_paper_bag


def test_a_tall_open_bag_is_a_tube_of_its_girth() -> None:
    """Plain geometry: 2 w around is a circle of w^2 / pi, so a height more adds that area times it."""
    added = volume_open_bag(width_m=0.1, height_m=2.01) - volume_open_bag(width_m=0.1, height_m=2.0)
    assert added == pytest.approx(0.01 * 0.1**2 / math.pi, rel=1e-6)


def test_two_open_bags_mouth_to_mouth_are_the_closed_bag_of_robin_2004() -> None:
    for height in (0.1, 0.2, 0.3):
        closed = volume_paper_bag(width_m=0.16, height_m=2 * height)
        assert 2 * volume_open_bag(width_m=0.16, height_m=height) == pytest.approx(closed)


@pytest.mark.parametrize("height", [0.02, 0.1, 0.2299])
def test_the_height_gives_the_volume_back(height: float) -> None:
    volume = volume_open_bag(width_m=0.16, height_m=height)
    assert fill_height(volume_m3=volume, width_m=0.16, height_m=0.23) == pytest.approx(height, abs=2e-5)


@pytest.mark.parametrize("volume", [0.0, -1e-4, 5e-3, float("nan")])
def test_what_does_not_go_in_is_refused(volume: float) -> None:
    with pytest.raises(OutOfRange):
        fill_height(volume_m3=volume, width_m=0.16, height_m=0.23)
