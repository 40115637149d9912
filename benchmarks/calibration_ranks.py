"""Where the date that came lies in what was said of it, on days that were fixed beforehand.

With true chances the places are even (Talts et al. 2018, arXiv:1804.06788), if nothing of what came has a
hand in when one asks. The shares of docs/calibration.md are asked for a half or a quarter of the way, which
nobody knows before: an early piece is then asked about early. So ranks have days of their own here, and one
piece a chamber, so that no two share anything.
"""

from __future__ import annotations

from hashlib import sha256
from pathlib import Path
from statistics import fmean, stdev
from typing import Any

import calibration_worlds as worlds
import numpy as np

from saltfare.plans.forecast_ensemble import ensemble

DAYS = (0, 7, 21)
TENTHS = 10
_CHI_95 = 16.919  # of chi square on 9, common tables

# a kept answer is taken again only where this file is as it was
WORLD = "ranks " + sha256(Path(__file__).read_bytes()).hexdigest()[:6]


def ranked(job: tuple[str, int]) -> list[dict[str, Any]]:
    """A piece of a chamber of its own, as the priors have both: by day, the chance given of being ready by
    the moment it was, among what was left once it was not yet."""
    seed = job[1]
    chamber = worlds.drawn_chamber("prior", np.random.default_rng([seed, len(worlds.WORLDS)]))
    rng = np.random.default_rng([seed, len(worlds.WORLDS), 1])
    hung = worlds._hung("prior", chamber, seed, rng)
    one = worlds._weighed_out(hung, worlds._dried([hung], chamber)[0], rng)
    rows: list[dict[str, Any]] = []
    for day in DAYS:
        now = day * worlds.DAY
        if one.ready_s <= now:
            continue
        weigh_ins = [w for w in one.weigh_ins if w.time_s <= now]
        programme = worlds._programme(one, now, worlds.HORIZON_S)
        simulated = ensemble(simulate=worlds._told(one), programme=programme, priors=worlds.PRIORS)
        made = worlds._forecast(one, simulated, programme, weigh_ins, None)
        past = made.ready_frac_at(time_s=now) if day else 0.0
        chance = (made.ready_frac_at(time_s=one.ready_s) - past) / max(1.0 - past, 1e-12)
        rows.append({"world": job[0], "seed": seed, "day": day, "chance": chance})
    return rows


def section(rows: list[dict[str, Any]]) -> str:
    """Counts by tenths for each day, with chi square and the mean place."""
    head = " | ".join(f"{10 * i} to {10 * i + 10} %" for i in range(TENTHS))
    out = [f"| on day | pieces | {head} | chi square | mean place |", "|---" * (TENTHS + 4) + "|"]
    for day in DAYS:
        found = [row["chance"] for row in rows if row["day"] == day]
        if len(found) < 2:
            continue
        counts = [sum(min(int(TENTHS * c), TENTHS - 1) == i for c in found) for i in range(TENTHS)]
        each = len(found) / TENTHS
        square = sum((c - each) ** 2 / each for c in counts)
        error = stdev(found) / len(found) ** 0.5
        out.append(
            f"| {day} | {len(found)} | {' | '.join(map(str, counts))} | {square:.1f} "
            f"| {fmean(found):.3f} ± {error:.3f} |"
        )
    return "\n".join(out) + f"\n\nChi square is on 9; 95 % of even ranks lie below {_CHI_95:.1f}. Even: 0.5."
