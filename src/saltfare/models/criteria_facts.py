"""What is known of a piece, dish, pack or lot, each fact with how it is known.

Something seen or done and written down (the species, that a piece was injected) counts as measured.
Nothing is assumed: a fact not given is unknown, and an unknown fact never meets a criterion.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

from saltfare.core.errors import Problem, Refused
from saltfare.core.figure import Provenance
from saltfare.models.hazards_log import Log

FIRM = (Provenance.MEASURED, Provenance.LOGGED)


@dataclass(frozen=True, slots=True)
class Fact:
    """One fact: a number in SI, a word, or yes and no; how it is known; half width of its error."""

    value: float | str | bool | None
    provenance: Provenance
    error: float | None = None

    def __post_init__(self) -> None:
        """Refuse what is no fact: a value that is not known, a number that is none, an error below zero."""
        number = isinstance(self.value, float | int) and not isinstance(self.value, bool)
        if (self.value is None) != (self.provenance is Provenance.UNKNOWN):
            raise Refused(Problem("fact_without_value", given=str(self.provenance)))
        if number and not math.isfinite(float(self.value or 0.0)):
            raise Refused(Problem("fact_not_a_number", given=repr(self.value)))
        if self.error is not None and not (self.error >= 0.0 and math.isfinite(self.error)):
            raise Refused(Problem("fact_error_negative", given=repr(self.error)))

    @property
    def firm(self) -> bool:
        """Measured or logged."""
        return self.provenance in FIRM


@dataclass(frozen=True, slots=True)
class LogFact:
    """A temperature log and how it is known: logged, or a course that was predicted (estimated)."""

    log: Log | None
    provenance: Provenance

    def __post_init__(self) -> None:
        """Refuse a log without a provenance."""
        if (self.log is None) != (self.provenance is Provenance.UNKNOWN):
            raise Refused(Problem("fact_without_value", given=str(self.provenance)))

    @property
    def firm(self) -> bool:
        """Measured or logged."""
        return self.provenance in FIRM


UNKNOWN = Fact(None, Provenance.UNKNOWN)
NO_LOG = LogFact(None, Provenance.UNKNOWN)


@dataclass(frozen=True, slots=True)
class Facts:
    """Everything a criterion may ask. Names are those of the glossary; numbers are SI.

    Choices: species, cut, form, packaging, kept, humidity, aw_method.
    Yes or no: intact ... opened_before. Numbers: water_activity ... listeria_reduction. Then the logs.
    """

    species: Fact = UNKNOWN
    cut: Fact = UNKNOWN
    form: Fact = UNKNOWN
    packaging: Fact = UNKNOWN
    kept: Fact = UNKNOWN
    humidity_while_heating: Fact = UNKNOWN
    aw_method: Fact = UNKNOWN

    intact: Fact = UNKNOWN
    injected: Fact = UNKNOWN
    immersed_in_brine: Fact = UNKNOWN
    dry_salted: Fact = UNKNOWN
    nitrite_or_nitrate: Fact = UNKNOWN
    natural_climate: Fact = UNKNOWN
    heated: Fact = UNKNOWN
    heated_in_pack: Fact = UNKNOWN
    dried_before_heating: Fact = UNKNOWN
    cured_and_smoked: Fact = UNKNOWN
    probe_at_coldest: Fact = UNKNOWN
    carcass_tested: Fact = UNKNOWN
    freezing_done: Fact = UNKNOWN
    deep_freezer: Fact = UNKNOWN
    naturally_acid: Fact = UNKNOWN

    water_activity: Fact = UNKNOWN
    ph: Fact = UNKNOWN
    water_phase_salt: Fact = UNKNOWN
    internal_salt: Fact = UNKNOWN
    aw_when_cooled: Fact = UNKNOWN
    salt_when_cooled: Fact = UNKNOWN
    nitrite_ingoing: Fact = UNKNOWN
    thickness: Fact = UNKNOWN
    piece_mass: Fact = UNKNOWN
    cure_time: Fact = UNKNOWN
    cure_and_drying_time: Fact = UNKNOWN
    drying_peak_temperature: Fact = UNKNOWN
    loss_from_green: Fact = UNKNOWN
    storage_temperature: Fact = UNKNOWN
    storage_time: Fact = UNKNOWN
    oven_temperature: Fact = UNKNOWN
    oven_time: Fact = UNKNOWN
    cook_time: Fact = UNKNOWN
    chill_delay: Fact = UNKNOWN
    freezer_temperature: Fact = UNKNOWN
    freezing_time: Fact = UNKNOWN
    salmonella_reduction: Fact = UNKNOWN
    listeria_reduction: Fact = UNKNOWN

    heating_log: LogFact = NO_LOG
    cooling_log: LogFact = NO_LOG
    surface_log: LogFact = NO_LOG
    freezer_log: LogFact = NO_LOG
    frozen_core_log: LogFact = NO_LOG
    carrying_log: LogFact = NO_LOG

    def fact(self, name: str) -> Fact:
        """The fact of that name. Raises Refused for a log or a name there is not."""
        found = getattr(self, name, None)
        if not isinstance(found, Fact):
            raise Refused(Problem("fact_unknown_name", given=name))
        if name == "heated" and found.value is None:
            # a log of it being heated or cooling down says that it was
            for log in (self.heating_log, self.cooling_log):
                if log.log is not None:
                    return Fact(True, log.provenance)
        return found

    def log(self, name: str) -> LogFact:
        """The log of that name. Raises Refused for a fact or a name there is not."""
        found = getattr(self, name, None)
        if not isinstance(found, LogFact):
            raise Refused(Problem("fact_unknown_name", given=name))
        return found


FACT_NAMES = tuple(f.name for f in fields(Facts) if f.default is UNKNOWN)
LOG_NAMES = tuple(f.name for f in fields(Facts) if f.default is NO_LOG)
