from __future__ import annotations

import numpy as np
import pytest
from drying_twin import DAY, LEAN, PARAMETERS, a_piece

from saltfare.models.drying import Air, Members, hang
from saltfare.models.drying_air import Merging, merged

SOME = Merging(share=0.05, rh_frac=0.05, temp_c=2.0)


def chamber(*, hours: int, days: int, mean: float, swing: float) -> Air:
    """Invented readings that swing daily."""
    ends = np.arange(hours, 24 * days + 1, hours) * 3600.0
    wave = np.sin(2 * np.pi * (ends - 1800.0 * hours) / DAY)
    return Air(ends, 13.0 - 0.5 * wave, mean + swing * wave, np.full(len(ends), 0.1))


def test_merging_keeps_time_and_mean_vapour_and_never_outlasts_its_share() -> None:
    air = chamber(hours=1, days=60, mean=0.84, swing=0.02)
    fewer = merged(air=air, merging=SOME)
    assert len(fewer.end_time_s) < 0.15 * len(air.end_time_s)
    assert fewer.end_time_s[-1] == air.end_time_s[-1]
    lengths = np.diff(fewer.end_time_s, prepend=0.0)
    starts = fewer.end_time_s - lengths
    assert (lengths <= np.maximum(3600.0, SOME.share * starts) + 1e-6).all()
    assert (fewer.temp_c[:, 0] * lengths).sum() == pytest.approx((air.temp_c * 3600.0).sum(), rel=1e-12)


def test_air_that_swings_widely_is_left_as_it_is() -> None:
    wide = chamber(hours=12, days=60, mean=0.75, swing=0.12)
    assert merged(air=wide, merging=SOME) is wide
    quiet = chamber(hours=6, days=30, mean=0.84, swing=0.0)
    fan = Air(quiet.end_time_s, quiet.temp_c, quiet.rh_frac, np.where(np.arange(120) % 2, 0.1, 0.3))
    assert merged(air=fan, merging=SOME) is fan
    assert merged(air=quiet, merging=Merging(0.0, 0.0, 0.0)) is quiet


def test_merged_air_dries_alike_where_brine_stays_dissolved() -> None:
    air = chamber(hours=6, days=60, mean=0.84, swing=0.02)
    members = Members(np.array([1.0, 0.17, 6.0, 1.0]), np.array([1.0, 0.22, 0.22, 4.5]))
    times = np.arange(1, 61) * DAY
    exact, fast = (
        hang(piece=a_piece(), air=air, members=members, parameters=PARAMETERS, protein=LEAN, out_time_s=times,
             merging=merging)
        for merging in (Merging(0.0, 0.0, 0.0), SOME)
    )  # fmt: skip
    assert fast.steps < 0.5 * exact.steps
    assert np.abs(fast.loss_frac - exact.loss_frac).max() < 1.5e-3
    assert np.abs(fast.loss_frac - exact.loss_frac)[-1].max() < 5e-4
