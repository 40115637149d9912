"""How a cooling log stands against printed cooling times."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

import numpy as np

from saltfare.core.tables import Row
from saltfare.models.hazards_log import Log, passage, time_between


@dataclass(frozen=True, slots=True)
class Stage:
    """From one temperature down to another within most_s; None where no time is printed for it."""

    from_c: float
    to_c: float
    most_s: float | None

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of the table `cooling`."""
        return cls(row.number("from_f"), row.number("to_f"), row.number_or_none("most_h"))


@dataclass(frozen=True, slots=True)
class Cooled:
    """Time a stage took with every doubt against it and with every doubt for it; worst may be infinite."""

    stage: Stage
    worst_s: float
    best_s: float


def cooled_stages(*, log: Log, stages: Sequence[Stage]) -> tuple[Cooled, ...]:
    """How long each stage of a cooling option took, from the last hottest reading on.

    Parameters
    ----------
    log : Log of the slowest point; heating before the peak is left out
    stages : stages of the option

    Returns
    -------
    one Cooled a stage; worst is infinite where the log does not show the stage from end to end

    Source
    ------
    fsis_appendix_b_1999, options 1 and 2
    food_code_2022, 3-501.14
    """
    falling = log.part(log.peak, len(log.time_s) - 1)
    if len(falling.time_s) < 2:
        return tuple(Cooled(stage, float("inf"), 0.0) for stage in stages)
    out = []
    for stage in stages:
        worst = passage(log=falling, from_c=stage.from_c, to_c=stage.to_c, worst=True)
        # a stretch not seen may hide a warm spell after the stage seemed done
        if not falling.whole:
            worst = float("inf")
        best = passage(log=falling, from_c=stage.from_c, to_c=stage.to_c, worst=False)
        out.append(Cooled(stage, worst, best))
    return tuple(out)


def is_dropping(*, log: Log) -> bool:
    """Whether the temperature falls without a rise beyond the thermometer's error, from the peak on.

    Parameters
    ----------
    log : Log

    Returns
    -------
    True where it does

    Source
    ------
    ca_3_ccr_910_15, (b), continuous drop in temperature
    """
    falling = log.part(log.peak, len(log.time_s) - 1)
    lowest = np.minimum.accumulate(falling.temp_c)
    return bool(falling.whole and (falling.temp_c - lowest <= log.error_c).all())


def time_exposed(*, log: Log, above_c: float, worst: bool) -> float:
    """Time above a temperature.

    Parameters
    ----------
    log : Log
    above_c : the temperature [°C]
    worst : as in `time_between`

    Returns
    -------
    time [s]

    Source
    ------
    saltfare_derived, straight between readings
    """
    return time_between(log=log, low_c=above_c, high_c=float("inf"), worst=worst)
