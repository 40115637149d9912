"""One piece's forecast ensemble beside the same equations by scipy, member by member.

Run: python benchmarks/hanging.py [members]
Both are timed in one run on one machine and told as a ratio; nothing is asserted.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from time import perf_counter, process_time

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent / "tests" / "models"))

from drying_march_twin import ArrayTwin
from drying_twin import DAY, LEAN, PARAMETERS, Twin, a_piece, constant_air

from saltfare.models.drying import GRADING, SHELLS, Air, Members, hang

DAYS = 80
SINGLE = 3  # members integrated by scipy; the rest would be the same again


def airs() -> dict[str, Air]:
    """Constant, and a chamber read every six hours or every hour."""
    out = {"constant air": constant_air(days=DAYS)}
    for hours in (6, 1):
        ends = np.arange(hours, 24 * DAYS + 1, hours) * 3600.0
        rh = 0.77 + 0.03 * np.sin(2 * np.pi * (ends - 1800.0 * hours) / DAY)
        out[f"air every {hours} h"] = Air(ends, np.full(len(ends), 13.0), rh, np.full(len(ends), 0.1))
    return out


def timed(function: Callable[[], object]) -> tuple[object, float, float]:
    """Result, processor seconds, seconds."""
    cpu, wall = process_time(), perf_counter()
    found = function()
    return found, process_time() - cpu, perf_counter() - wall


def main() -> None:
    """Print the table."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    rng = np.random.default_rng(1)
    members = Members(np.exp(0.6 * rng.standard_normal(count)), np.exp(0.5 * rng.standard_normal(count)))
    piece, times = a_piece(), np.arange(1, DAYS + 1) * DAY
    per_member = {}
    for name, air in airs().items():
        for shells in (SHELLS, 40):
            found, cpu, wall = timed(
                lambda air=air, shells=shells: hang(  # type: ignore[misc]
                    piece=piece, air=air, members=members, parameters=PARAMETERS, protein=LEAN,
                    out_time_s=times, shells=shells,
                )
            )  # fmt: skip
            print(f"{count} members, {shells} shells, {DAYS} d, {name}: {cpu:.2f} s processor, {wall:.2f} s; "
                  f"{found.steps} steps, {found.solves} evaluations, {found.splits} splits")  # type: ignore[attr-defined] # fmt: skip
            if shells == SHELLS:
                per_member[name] = cpu / count, found.loss_frac[-1]  # type: ignore[attr-defined]
    name = "constant air"
    ours, loss = per_member[name]
    for title, kind in (("root finding in plain scipy", Twin), ("surface solved as ours is", ArrayTwin)):
        spent = []
        for i in range(SINGLE):
            twin = kind(
                piece, members.diffusivity_multiplier[i], members.resistance_multiplier[i], SHELLS, GRADING
            )
            theirs, cpu, _ = timed(
                lambda twin=twin: twin.losses(airs()[name], times, method="BDF", rtol=1e-5)
            )  # type: ignore[misc]
            spent.append(cpu)
            points = 100 * abs(theirs[-1] - loss[i])  # type: ignore[index]
            print(f"  member {i}: scipy BDF {cpu:.3f} s, differs by {points:.4f} points")
        print(f"per member, {title}: scipy BDF {np.mean(spent):.4f} s, ensemble {ours:.5f} s, "
              f"ratio {np.mean(spent) / ours:.0f}")  # fmt: skip


if __name__ == "__main__":
    main()
