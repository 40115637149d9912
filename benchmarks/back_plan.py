"""Whether plans back from a date work as often as they say: worlds lived through beside the chance stated.

Run: python benchmarks/back_plan.py [--worlds 1000] [--demo]
Every world's piece is dried by the drying model itself, with effects, errors and the model's own error
drawn anew; none of it comes from the plan's draws or from the forecast's quantiles. What hangs already in
the demo is drawn from what its weigh-ins leave possible, and then dried from its hanging on. Exit 1 where
a share lies further than 3.3 binomial standard errors from its chance.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import sys
import tempfile
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent / "tests" / "plans"))

import back_plan_worlds as worlds_of

DAY = 86400.0
MOST_SD = 3.3
CASES = [(level, rh) for level in ("level_low", "level_mid", "level_high") for rh in (0.66, 0.72, 0.76)]


def told(what: str, stated: float, came: float, worlds: int, odd: float | None = None) -> bool:
    """Print one line; whether it is within sampling."""
    off = worlds_of.sd_from(stated, came, worlds)
    more = "" if odd is None else f", {odd:.3f} where odd pieces are as wide as learning thinks"
    print(f"{what:44} stated {stated:.3f}, came {came:.3f} ({off:+.1f} se){more}")
    return abs(off) < MOST_SD


def cases(worlds: int) -> bool:
    """Invented wants: two of a round and one of a loin, at three chances in three airs."""
    good = True
    by = worlds_of.TODAY + timedelta(days=150)
    wants = [
        worlds_of.want(kg=0.7, by=by, of=worlds_of.request(thickness_m=0.05)),
        worlds_of.want(key="loin", kg=0.3, by=by, of=worlds_of.frozen(thickness_m=0.045)),
    ]
    for level, rh in CASES:
        chambers = [worlds_of.air(rh_frac=rh)]
        plan = worlds_of.planned(wants, chambers, rules=replace(worlds_of.RULES, level=level))
        rng = np.random.default_rng([7, round(100 * rh)])
        came = worlds_of.lived(plan, wants, chambers, rng, worlds=worlds)
        odd = worlds_of.lived(plan, wants, chambers, rng, worlds=worlds, odd=True)
        for one in plan.wants:
            share = came.wants[one.asked.id].mean()
            good &= told(f"{level} {rh:.2f} {one.asked.name}", one.chance, share, worlds)
        good &= told(f"{level} {rh:.2f} all", plan.chance, came.all.mean(), worlds, odd.all.mean())
    return good


def demo(worlds: int) -> bool:
    """The demo's own plan: what is to be made and what hangs already."""
    from saltfare.actions import back_plan as action
    from saltfare.actions.context import Context, Settings
    from saltfare.core.library import Library
    from saltfare.faces.demo import demo_journal
    from saltfare.jobs import Cache
    from saltfare.journal.store import Journal

    now = datetime(2026, 11, 25, 10, tzinfo=UTC)
    with tempfile.TemporaryDirectory() as folder:
        path = demo_journal(Path(folder), now, zone="Europe/Berlin")
        with Journal.open(path) as journal:
            context = Context(
                journal, Cache(Path(folder) / "cache"), Library(), now, lambda n: bytes(n),
                Settings(zone="Europe/Berlin"),
            )  # fmt: skip
            return _demo(context, action, worlds)


def _demo(context: Any, action: Any, worlds: int) -> bool:
    from saltfare.plans.back_plan import back_plan
    from saltfare.plans.back_plan_courses import DishWant

    given = action.BackPlanGiven()
    there = action.room(context.journal)
    bench = action._bench(context)
    taken: set[str] = set()
    wants = [action._filled(context, one, there, bench, taken, {}) for one in action._wanted(context, given)]
    serving = [u for want in wants for u in want.asked.under_way]
    away = tuple(action.Away(first=a, last=b) for a, b in action.spans(action.away_days(context.journal)))
    plan = back_plan(
        today=context.today, asked=[want.asked for want in wants], room=action._room(there), away=away,
        under_way=action._all_under_way(context, bench, serving), rules=action._rules(context, "level_mid"),
    )  # fmt: skip
    rng = np.random.default_rng(11)
    good, together = True, np.ones(worlds, bool)
    airs = {c.key: c for want in wants for c in _airs(context, want, there, bench)}
    cured = [want.filled for want in wants if want.filled and not isinstance(want.filled, DishWant)]
    made = replace(plan, wants=tuple(w for w in plan.wants if w.made and w.made[0].make.kind == "piece"))
    lived = (
        worlds_of.lived(made, cured, list(airs.values()), rng, worlds=worlds, learned=bench.learned)
        if made.wants
        else None
    )
    for want in plan.wants:
        came = np.ones(worlds, bool)
        if lived is not None and want.asked.id in lived.wants:
            came &= lived.wants[want.asked.id]
            alone = np.mean(
                np.all([p.course.days.worlds <= (p.by - p.begun).days for p in want.made], axis=0)
            )
            told("  of it to be made", float(alone), came.mean(), worlds)
        for one in want.made:
            if one.make.kind == "dish":
                left = (one.by - one.begun).days - one.course.tail_days
                came &= rng.choice(one.course.days.worlds, worlds) <= left
        for under in want.asked.under_way:
            left = (want.asked.needed_by - context.today).days
            own = _under_way(context, under, rng, worlds) <= left
            told(f"  of it under way: {under.name}", under.days.chance(days=left), own.mean(), worlds)
            came &= own
        together &= came
        good &= told(f"demo: {want.asked.name}", want.chance, came.mean(), worlds)
        for one in want.made:
            days = {t.code: t.on.isoformat() for t in one.tasks if t.code != "look"}
            print("   ", one.make.name, ", ".join(f"{code} {on}" for code, on in days.items()))
    return told("demo: all", plan.chance, together.mean(), worlds) and good


def _airs(context: Any, want: Any, there: Any, bench: Any) -> list[Any]:
    from saltfare.actions.back_wants import chamber_airs

    cured = want.one.wish.cured
    return [] if cured is None or not want.asked.makes else chamber_airs(context, there, cured, bench.priors)


def _under_way(context: Any, under: Any, rng: np.random.Generator, worlds: int) -> np.ndarray:
    """Days from now until a hanging piece is at its mass: what its weigh-ins leave possible, dried anew."""
    from saltfare.actions.piece_forecast import cast
    from saltfare.core.errors import NotFound
    from saltfare.journal.piece import State, piece
    from saltfare.plans.forecast_drying import HangingPiece
    from saltfare.plans.forecast_posterior import model_error_cov, posterior

    try:
        state = piece(context.journal, under.code)
    except NotFound:
        return np.broadcast_to(under.days.worlds[:1], worlds)  # a batch: its days are told as one
    if state.state is State.AT_ITS_MASS:
        return np.zeros(worlds)
    if not state.hung:
        return rng.choice(under.days.worlds, worlds)
    made = cast(context, state)
    found = posterior(
        ensemble=made.run.ensemble, hanging=made.hanging, weigh_ins=made.weigh_ins, priors=made.priors,
        belief=made.belief,
    )  # fmt: skip
    weight = np.concatenate([s.weight for s in found.sets])
    owner = np.concatenate([np.full(s.weight.size, i) for i, s in enumerate(found.sets)])
    at = np.concatenate([np.arange(s.weight.size) for s in found.sets])
    pick = rng.choice(weight.size, worlds, p=weight / weight.sum())
    fine = found.axes[0].size
    ln, e = np.empty((2, worlds)), np.empty((5, worlds))
    time = made.run.ensemble.time_s
    error = np.zeros((time.size, worlds))
    data = np.array([w.time_s for w in found.weigh_ins])
    for n, chosen in enumerate(pick):
        s = found.sets[owner[chosen]]
        a = at[chosen]
        i, j = divmod(int(s.points[a]), fine)
        ln[:, n] = found.axes[0][i], found.axes[1][j]
        normal = s.normals
        # inputs: mean `shift`, precision chol chol'
        e[:, n] = normal.shift[:, a] + np.linalg.solve(normal.chol[:, :, a].T, rng.standard_normal(5))
        # the model's own error given what those inputs leave of the weigh-ins
        gain = model_error_cov(a_s=time, b_s=data, priors=s.priors) @ normal.whiten.T
        left = normal.residual[:, a] - np.einsum("pk,p->k", normal.effect[:, :, a], e[:, n])
        rest = model_error_cov(a_s=time, b_s=time, priors=s.priors) - gain @ gain.T
        root = _root(s, rest)
        error[:, n] = gain @ left + root @ rng.standard_normal(root.shape[1])
    run, programme = made.run, made.run.programme
    law, body, meat = run.rows
    from saltfare.models.drying import DryingParameters
    from saltfare.models.sorption import ProteinIsotherm

    hang = HangingPiece(
        run.piece, run.speed_m_per_s, DryingParameters.from_rows(law=law, body=body),
        ProteinIsotherm.from_row(meat),
    )  # fmt: skip
    unread = ~programme.read[:, None]
    rh = programme.rh_frac[:, None] + made.priors.hygrometer_bias_frac * e[0]
    rh = rh + unread * programme.assumed.humidity_sd_frac * e[2]
    temp = programme.temp_c[:, None] + unread * programme.assumed.temp_sd_c * e[3]
    loss = np.asarray(
        hang(
            diffusivity_multiplier=np.exp(ln[0]), resistance_multiplier=np.exp(ln[1]),
            water_shift_frac=made.priors.initial_water_frac * e[1], end_time_s=programme.end_time_s,
            temp_c=temp, rh_frac=np.clip(rh, 0.10, 0.995), out_time_s=time,
        ).loss_frac
    ) + error  # fmt: skip
    step = made.hanging.step_kg / made.hanging.mass_kg
    noise = float(np.hypot(step / np.sqrt(12.0), made.priors.repeatability_frac))
    # the last input is the error of the mass at hanging, of which every loss is told
    loss = loss + noise * e[4] * (loss - 1)
    wanted = np.full(worlds, 1 - made.forecast.target_mass_kg / made.hanging.mass_kg)
    ready = np.full(worlds, np.inf)
    for n in range(worlds):
        hit = np.flatnonzero(loss[:, n] >= wanted[n])
        if hit.size:
            i = max(int(hit[0]), 1)
            gap = (loss[:, n] - wanted[n])[i - 1 : i + 1]
            ready[n] = time[i - 1] + np.clip(-gap[0] / (gap[1] - gap[0]), 0, 1) * (time[i] - time[i - 1])
    return np.ceil(np.maximum(ready - made.hung_s, 0.0) / DAY - 1e-9)


_ROOTS: dict[int, np.ndarray] = {}


def _root(s: Any, rest: np.ndarray) -> np.ndarray:
    key = id(s)
    if key not in _ROOTS:
        value, vector = np.linalg.eigh(rest)
        _ROOTS[key] = vector * np.sqrt(np.maximum(value, 0.0))
    return _ROOTS[key]


def main() -> None:
    """Live through the cases, and the demo's plan where asked for."""
    asked = argparse.ArgumentParser()
    asked.add_argument("--worlds", type=int, default=1000)
    asked.add_argument("--demo", action="store_true")
    given = asked.parse_args()
    good = cases(given.worlds)
    if given.demo:
        good &= demo(given.worlds)
    sys.exit(0 if good else 1)


if __name__ == "__main__":
    main()
