"""Published limits of growth: every source's figures, and the widest of them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from saltfare.core.numerics import Array, check_range
from saltfare.core.tables import Row


@dataclass(frozen=True, slots=True)
class GrowthEnvelope:
    """Lowest minimum and highest maximum any source prints for an organism; None where none prints one.

    rows: the table rows it rests on.
    """

    organism: str
    aw_min: float | None
    ph_min: float | None
    ph_max: float | None
    salt_max_frac: float | None
    temp_min_c: float | None
    temp_max_c: float | None
    rows: tuple[str, ...]

    def grows_at(self, temp_c: Array) -> npt.NDArray[np.bool_]:
        """Whether growth is possible at a temperature; a missing end never stops it."""
        low = -np.inf if self.temp_min_c is None else self.temp_min_c
        high = np.inf if self.temp_max_c is None else self.temp_max_c
        return np.asarray((temp_c >= low) & (temp_c <= high))


def growth_envelope(*, organism: str, rows: Iterable[Row]) -> GrowthEnvelope:
    """The widest limits of growth over all sources.

    Parameters
    ----------
    organism : name in the table `growth_limits`
    rows : rows of that table; those of other organisms are passed over

    Returns
    -------
    GrowthEnvelope; empty where no row is of the organism

    Source
    ------
    saltfare_chosen, lowest minimum and highest maximum of all sources
    """
    own = [row for row in rows if row.text("organism") == organism]

    def most(column: str, pick: Callable[[list[float]], float]) -> float | None:
        found = [v for row in own if (v := row.number_or_none(column)) is not None]
        return pick(found) if found else None

    return GrowthEnvelope(
        organism,
        most("aw_min", min),
        most("ph_min", min),
        most("ph_max", max),
        most("salt_max_pct", max),
        most("temp_min_c", min),
        most("temp_max_c", max),
        tuple(row.ref for row in own),
    )


def aw_salt_le_marc(*, water_phase_salt_frac: float) -> float:
    """Water activity of meat brine from its water-phase salt.

    Parameters
    ----------
    water_phase_salt_frac : salt / (salt + water), 0 to 0.20 [-]

    Returns
    -------
    water activity [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    le_marc_2012, water activity from sodium chloride as transcribed
    """
    check_range(
        water_phase_salt_frac, low=0.0, high=0.20, model="aw_salt_le_marc", quantity="water_phase_salt_frac"
    )
    n = 100.0 * water_phase_salt_frac
    return 1.0 - n * (5.2471 + 0.12206 * n) / 1000.0
