"""What is thought of a piece and its air before anything is weighed; every figure is chosen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from saltfare.core.library import Library

TABLE = "forecast_priors"


@dataclass(frozen=True, slots=True)
class ForecastPriors:
    """Standard deviations and times of the forecast's uncertainty; fractions are of hanging mass
    where they are losses or masses, of saturation where they are humidities.

    The two multipliers are log-normal about 1. The box simulated reaches `BOX_SD` of their
    standard deviations either way.
    """

    diffusivity_ln_sd: float
    resistance_ln_sd: float
    hygrometer_bias_frac: float
    initial_water_frac: float
    later_humidity_read_frac: float
    later_humidity_usual_frac: float
    later_temp_read_c: float
    later_temp_usual_c: float
    model_error_frac: float
    model_error_time_s: float
    repeatability_frac: float
    outlier_share_frac: float
    outlier_spread_frac: float
    rough_share_frac: float
    rough_factor: float
    unruly_share_frac: float
    unruly_factor: float
    unruly_time_s: float
    air_bin_s: float
    alike_humidity_frac: float
    alike_temp_c: float
    air_gap_s: float
    air_recent_s: float

    @property
    def kinds(self) -> Mapping[str, tuple[float, ForecastPriors]]:
        """Kinds of pieces: share of each, and the priors it has. A rough one is weighed with more noise,
        an unruly one dries further from the equations and sooner so; the rest is `usual`."""
        usual = replace(self, rough_share_frac=0.0, unruly_share_frac=0.0)
        rough = replace(usual, repeatability_frac=self.rough_factor * self.repeatability_frac)
        unruly = replace(
            usual,
            model_error_frac=self.unruly_factor * self.model_error_frac,
            model_error_time_s=self.unruly_time_s,
        )
        shares = {
            "usual": (1 - self.rough_share_frac - self.unruly_share_frac, usual),
            "rough": (self.rough_share_frac, rough),
            "unruly": (self.unruly_share_frac, unruly),
        }
        return {kind: told for kind, told in shares.items() if told[0] > 0}

    @classmethod
    def from_library(cls, *, library: Library) -> ForecastPriors:
        """The rows of `forecast_priors`, the person's own laid over the package's.

        Raises
        ------
        NotFound, BadTable

        Source
        ------
        saltfare_chosen, forecast priors
        """

        def number(row_id: str, column: str) -> float:
            return library.row(TABLE, row_id).number(column)

        return cls(
            diffusivity_ln_sd=number("diffusivity", "ln_sd"),
            resistance_ln_sd=number("resistance", "ln_sd"),
            hygrometer_bias_frac=number("hygrometer_bias", "fraction"),
            initial_water_frac=number("initial_water", "fraction"),
            later_humidity_read_frac=number("later_humidity_read", "fraction"),
            later_humidity_usual_frac=number("later_humidity_usual", "fraction"),
            later_temp_read_c=number("later_temp_read", "temperature_difference"),
            later_temp_usual_c=number("later_temp_usual", "temperature_difference"),
            model_error_frac=number("model_error", "fraction"),
            model_error_time_s=number("model_error_time", "time"),
            repeatability_frac=number("repeatability", "fraction"),
            outlier_share_frac=number("outlier_share", "fraction"),
            outlier_spread_frac=number("outlier_spread", "fraction"),
            rough_share_frac=number("rough_share", "fraction"),
            rough_factor=number("rough_factor", "number"),
            unruly_share_frac=number("unruly_share", "fraction"),
            unruly_factor=number("unruly_factor", "number"),
            unruly_time_s=number("unruly_time", "time"),
            air_bin_s=number("air_bin", "time"),
            alike_humidity_frac=number("alike_humidity", "fraction"),
            alike_temp_c=number("alike_temp", "temperature_difference"),
            air_gap_s=number("air_gap", "time"),
            air_recent_s=number("air_recent", "time"),
        )
