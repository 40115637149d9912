"""Published courses of hanging meat through the forecast and through what the others taught: how often the
bands held what was printed next.

Run: python benchmarks/published_curves.py
     ... --write                               its part of docs/calibration.md
Losses are as printed. Air, size and cover of the pieces are printed for none of them and are assumed; the
doubt about them is the forecast's own.
"""

from __future__ import annotations

import os
import sys

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from saltfare.core.library import Library
from saltfare.models.drying import DryingParameters, Hanging
from saltfare.models.sorption import ProteinIsotherm
from saltfare.plans.forecast_air import AirProgramme, UsualAir, air_programme
from saltfare.plans.forecast_drying import HangingPiece
from saltfare.plans.forecast_ensemble import Ensemble, ensemble
from saltfare.plans.forecast_mixture import mixture_quantiles
from saltfare.plans.forecast_posterior import Belief, WeighIn, posterior
from saltfare.plans.forecast_priors import ForecastPriors
from saltfare.plans.learning import LearningPriors, Lesson, learn, lesson

DAY = 86400.0
LIBRARY = Library()
PRIORS = ForecastPriors.from_library(library=LIBRARY)
LEVELS = LearningPriors.from_library(library=LIBRARY, priors=PRIORS)
PARAMETERS = DryingParameters.from_library(library=LIBRARY, law="lean_default", body="whole_muscle")
LEAN = ProteinIsotherm.from_row(LIBRARY.row("isotherms", "lean_meat"))
ENDS = (0.025, 0.1, 0.25, 0.5, 0.75, 0.9, 0.975)
BANDS = {50: (2, 4), 80: (1, 5), 95: (0, 6)}

# J. Anim. Sci. Technol. 58:20 (2016), table 1, cooler shrink of dry-aged beef; each age other cuts
BEEF = "jast_2016_58_20, table 1"
# Food Sci. Anim. Resour. 43:901 (2023), table 3, aging loss of pork loin in earthenware
JARS = "kosfa_2023_e46, table 3"
# J. Food Sci. Technol. 53:3795 (2016), table 1, moisture of the lean of dry-cured belly
BACON = "PMC5147706, table 1"


@dataclass(frozen=True)
class Curve:
    """A published course and what is assumed of the piece and its air. step_frac: to which the losses are
    printed; how far means of other pieces scatter is not told to the forecast."""

    name: str
    where: str
    shared: str
    cut: str
    days: tuple[int, ...]
    loss_frac: tuple[float, ...]
    step_frac: float
    piece: Hanging
    temp_c: float
    rh_frac: float
    speed_m_per_s: float


def _slab(thick: float, length: float, width: float, water: float, fat: float, salt: float) -> Hanging:
    """Dries from one face; the other, and most of the edges, are under fat, bone or skin."""
    mass = 1060 * thick * length * width
    return Hanging("slab", thick, length, width, mass, water, fat, salt, 1.0, 0.0, 1, 0.3)


def _strip(water: float) -> Hanging:
    """The lean of a belly, 2 cm of it, open all round: as in `published_sets.py`."""
    return Hanging("slab", 0.02, 0.3, 0.2, 1.25, water, 0.03, 0.03, 1.0, 0.0, 2)


def _of_moisture(moist: float, later: tuple[float, ...]) -> tuple[float, ...]:
    """Loss of a sample from its moisture, per cent, before and after; its solids stay."""
    return tuple(1 - (100 - moist) / (100 - x) for x in later)


def curves() -> tuple[Curve, ...]:
    """All of them, in sets that share air and way."""
    strip, rib = _slab(0.065, 0.35, 0.20, 0.72, 0.05, 0.0), _slab(0.10, 0.40, 0.22, 0.66, 0.12, 0.0)
    butt, loin = _slab(0.10, 0.30, 0.22, 0.72, 0.05, 0.0), _slab(0.06, 0.25, 0.15, 0.70, 0.08, 0.0)
    cooler, jar = (1.0, 0.80, 0.5), (2.0, 0.85, 0.1)
    found = [
        Curve(name, BEEF, "cooler", cut, (14, 21, 28, 35), loss, 0.001, piece, *cooler)
        for name, cut, loss, piece in (
            ("ribeye", "rib", (0.060, 0.076, 0.097, 0.117), rib),
            ("strip loin (fitted)", "loin", (0.082, 0.095, 0.112, 0.119), strip),
            ("top sirloin", "rump", (0.089, 0.112, 0.127, 0.150), butt),
        )
    ]
    found += [
        Curve(
            "loin, plain jar", JARS, "jar", "loin", (10, 20, 30), (0.0417, 0.0859, 0.1016), 1e-4, loin, *jar
        ),
        Curve(
            "loin, porous jar",
            JARS,
            "jar",
            "loin",
            (10, 20, 30, 40),
            (0.0492, 0.0750, 0.0758, 0.0953),
            1e-4,
            loin,
            *jar,
        ),
    ]
    for name, salted, later in (
        ("belly lean, salt", 71.28, (57.19, 41.63)),
        ("belly lean, 80/20", 73.05, (58.79, 42.15)),
        ("belly lean, III", 73.20, (59.24, 43.03)),
        ("belly lean, IV", 73.57, (61.67, 45.01)),
    ):
        loss = _of_moisture(salted, later)
        lean = _strip(salted / 100)
        found.append(Curve(name, BACON, "room", "belly", (6, 12), loss, 1e-4, lean, 17.0, 0.82, 0.3))
    return tuple(found)


@dataclass(frozen=True)
class Told:
    """One figure beside what was forecast of it. weighed: how many printed before it were told."""

    curve: str
    taught: int
    weighed: int
    day: int
    printed: float
    quantiles: tuple[float, ...]

    def held(self, band: int) -> bool:
        """Whether the band holds it."""
        low, high = BANDS[band]
        return self.quantiles[low] <= self.printed <= self.quantiles[high]


@cache
def simulated(curve: Curve) -> tuple[Ensemble, AirProgramme]:
    """The dear part."""
    usual = UsualAir(curve.temp_c, curve.rh_frac)
    air = air_programme(readings=None, usual=usual, horizon_s=60 * DAY, priors=PRIORS)
    piece = HangingPiece(curve.piece, curve.speed_m_per_s, PARAMETERS, LEAN)
    return ensemble(simulate=piece, programme=air, priors=PRIORS), air


def weighed(curve: Curve) -> tuple[WeighIn, ...]:
    """What was printed, as weigh-ins."""
    mass, step = curve.piece.mass_kg, curve.step_frac * curve.piece.mass_kg
    return tuple(
        WeighIn(day * DAY, mass * (1 - loss), step)
        for day, loss in zip(curve.days, curve.loss_frac, strict=True)
    )


def taught_by(curve: Curve) -> Lesson:
    """What a course teaches."""
    mass = curve.piece.mass_kg
    return lesson(
        piece=curve.name,
        chamber=curve.shared,
        cut=curve.cut,
        ensemble=simulated(curve)[0],
        hanging=WeighIn(0.0, mass, 0.0),
        weigh_ins=weighed(curve),
        priors=PRIORS,
    )


def forecast_of(curve: Curve, count: int, belief: Belief | None, taught: int) -> list[Told]:
    """Every figure after the first `count`, forecast from those."""
    mass = curve.piece.mass_kg
    found = posterior(
        ensemble=simulated(curve)[0],
        hanging=WeighIn(0.0, mass, 0.0),
        weigh_ins=weighed(curve)[:count],
        priors=PRIORS,
        belief=belief,
    )
    at = np.array(curve.days[count:]) * DAY
    mean, sd, weight = found.predict_mass(at_s=at)
    levels = mixture_quantiles(mean=mean, sd=sd, weight=weight, levels=ENDS)
    loss = (1 - levels / mass)[::-1]
    return [
        Told(curve.name, taught, count, day, printed, tuple(loss[:, i]))
        for i, (day, printed) in enumerate(zip(curve.days[count:], curve.loss_frac[count:], strict=True))
    ]


def study() -> list[Told]:
    """Every figure of every course from all that was printed before it, begun from nothing and from the
    other courses of its set."""
    out: list[Told] = []
    every = curves()
    lessons = {one.name: taught_by(one) for one in every}
    for one in every:
        others = [lessons[x.name] for x in every if x.where == one.where and x.name != one.name]
        known = learn(lessons=others, priors=LEVELS).belief(chamber=one.shared, cut=one.cut)
        for count in range(len(one.days)):
            out += forecast_of(one, count, None, 0)
            out += forecast_of(one, count, known, len(others))
    return out


def shown(told: Sequence[Told]) -> str:
    """A table in Markdown: each course begun from nothing and from its set, the figures it was not told."""
    out = [
        "| course | taught by | nothing weighed: 50 / 80 / 95 % | off by, points "
        "| some weighed: 50 / 80 / 95 % | off by, points |",
        "|---|---|---|---|---|---|",
    ]
    for curve, taught in dict.fromkeys((one.curve, one.taught) for one in told):
        cells = []
        for some in (False, True):
            of = [x for x in told if (x.curve, x.taught, x.weighed > 0) == (curve, taught, some)]
            held = " / ".join(f"{sum(x.held(b) for x in of)}" for b in BANDS)
            off = " ".join(f"{100 * (x.quantiles[3] - x.printed):+.1f}" for x in of)
            cells += [f"{held} of {len(of)}", off]
        out.append(f"| {curve} | {taught} | {' | '.join(cells)} |")
    for taught in (False, True):
        for some in (False, True):
            of = [x for x in told if (x.taught > 0, x.weighed > 0) == (taught, some)]
            shares = " / ".join(f"{100 * sum(x.held(b) for x in of) / len(of):.0f}" for b in BANDS)
            begun = "taught by their set" if taught else "taught by none"
            when = "some weighed" if some else "nothing weighed"
            out.append(f"\n{begun}, {when}: {shares} % of {len(of)} figures in the 50, 80 and 95 % bands.")
    return "\n".join(out)


HEADING = "## Published courses"


def section(told: Sequence[Told]) -> str:
    """Its part of docs/calibration.md, from its heading to the end."""
    return f"""{HEADING}

Made by `python benchmarks/published_curves.py --write`, a few seconds. Shrink of dry-aged beef (J. Anim.
Sci. Technol. 58:20, 2016, table 1; each age is the mean of other cuts), of pork loin hung in earthenware
(Food Sci. Anim. Resour. 43:901, 2023, table 3) and of the lean of dry-cured belly (J. Food Sci. Technol.
53:3795, 2016, table 1, from its moisture). Size, cover and air are printed for none of them. Taken are
1 °C, 80 % for the beef, 2 °C, 85 % for the jars, 17 °C, 82 % for the belly; slabs that dry from one face,
6.5 cm strip, 10 cm rib and rump, 6 cm loin; the lean 2 cm from both faces, as in
`benchmarks/published_sets.py` (4 cm from one face, tried first, holds none of its figures). The strip loin
was used in choosing the diffusivity.

Each figure is forecast from those printed before it, or with nothing weighed; begun from no piece, or from
what the other courses of its set taught. The columns say how many figures lie in each band, and by how much
the middle of the forecast lies above the printed loss, figure by figure. Means of other pieces scatter more
than one piece does, which the forecast is not told.

{shown(told)}
"""


def main() -> None:
    """Print, and write where asked."""
    told = study()
    print(shown(told))
    if "--write" in sys.argv:
        page = Path(__file__).parent.parent / "docs" / "calibration.md"
        hand = page.read_text("utf-8").partition(HEADING)[0].rstrip()
        page.write_text(f"{hand}\n\n{section(told)}", "utf-8")


if __name__ == "__main__":
    main()
