"""The march of an ensemble of hanging pieces through time, every step shown to have converged.

Two stages a step (singly diagonally implicit, second order, L-stable: Alexander 1977, equation for
s = 2), one step for all members. The water of record is advanced with the fluxes at the accepted
stages, so it is conserved to rounding and what is left of a residual does not add up.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from saltfare.core.errors import NotConverged
from saltfare.core.numerics import Array, solve_tridiagonals
from saltfare.models.drying_shells import Flows, Shells
from saltfare.models.drying_surface import Surface

# The first look at a stage only gives Newton's rule its direction: its surface may be rough.
FIRST_LOOK_K = 0.02
GAMMA = 1.0 - 0.5 * np.sqrt(2.0)


@dataclass(frozen=True, slots=True)
class Rules:
    """How finely to march. Fractions are of the water at hanging.

    residual: most left of a stage's balance, summed over the shells of a member, over the water that
    leaves in the step; residual_floor: the same over the water at hanging, where nearly nothing leaves.
    step_error: estimate of a step's error at which the step is taken again, shorter.
    """

    residual: float
    residual_floor: float
    step_error: float
    first_step_s: float
    least_step_s: float
    most_step_s: float
    rounds: int


@dataclass(slots=True)
class Course:
    """What is recorded at the times asked for; lists of (n,) arrays, and the march's own account.

    keeps: whether `ratio`, the profiles (n, N), is recorded too.
    """

    loss: list[Array] = field(default_factory=list)
    aw_surface: list[Array] = field(default_factory=list)
    temp_surface_k: list[Array] = field(default_factory=list)
    water_surface: list[Array] = field(default_factory=list)
    water_core: list[Array] = field(default_factory=list)
    crust_m: list[Array] = field(default_factory=list)
    keeps: bool = False
    ratio: list[Array] = field(default_factory=list)
    steps: int = 0
    splits: int = 0
    solves: int = 0
    worst_residual: float = 0.0


@dataclass(frozen=True, slots=True)
class State:
    """Where the march stands; arrays (n, N)."""

    water: Array  # of record, kg in each shell per kg of solids
    ratio: Array  # of the last accepted stage
    flows: Flows
    stretch: int  # the air of `flows`


class Split(Exception):
    """The step is to be taken again, shorter."""

    def __init__(self, member: int, residual: float) -> None:
        self.member, self.residual = member, residual


def march(
    *, shells: Shells, surfaces: Callable[[int], Surface], end_time_s: Array, water_ratio: Array,
    out_time_s: Array, rules: Rules, crust_below: float, profiles: bool = False,
) -> Course:  # fmt: skip
    """March from an even profile through every stretch of air to the last time asked for.

    Parameters
    ----------
    shells : the members' insides
    surfaces : the air at stretch k
    end_time_s : ends of the stretches, (k,) [s]
    water_ratio : at the start, (n,) [kg/kg]
    out_time_s : rising times to record, (m,) [s]
    rules : tolerances and steps
    crust_below : water ratio below which the outside is crust [kg/kg]
    profiles : record every shell's water ratio too

    Returns
    -------
    the course, lists of m arrays (n,)

    Raises
    ------
    NotConverged naming the member whose step could not be split further

    Source
    ------
    alexander_1977, two stages, gamma = 1 - sqrt(2)/2
    """
    course = Course(keeps=profiles)
    weights = shells.weights
    ratio = np.repeat(water_ratio[:, None], len(weights), axis=1)
    surface = surfaces(0)
    course.solves += 1
    flows = shells.flows(water=ratio, surface=surface, start_k=surface.temp_k - 1.0)
    state = State(ratio * weights, ratio, flows, 0)
    total = water_ratio.copy()
    clock, out, wished = 0.0, 0, rules.first_step_s
    for k, end in enumerate(end_time_s):
        if out >= len(out_time_s):
            break
        surface = surfaces(k)
        stop = float(min(end, out_time_s[-1]))
        while clock < stop:
            left = stop - clock
            step = left if left <= 1.05 * wished else (0.5 * left if left < 2.0 * wished else wished)
            try:
                middle, after, error = advance(
                    shells=shells,
                    surface=surface,
                    stretch=k,
                    state=state,
                    step=step,
                    scale=total,
                    rules=rules,
                    course=course,
                )
                if error > 4.0 and step > 4.0 * rules.least_step_s:
                    raise Split(-1, error)
            except Split as split:
                course.splits += 1
                wished = 0.25 * step
                if wished < rules.least_step_s:
                    raise NotConverged("drying step", split.member, split.residual) from None
                continue
            course.steps += 1
            fresh = clock + step if step < left else stop
            while out < len(out_time_s) and out_time_s[out] <= fresh * (1.0 + 1e-12):
                _record(
                    course,
                    shells,
                    state,
                    middle,
                    after,
                    (out_time_s[out] - clock) / step,
                    step,
                    total,
                    crust_below,
                )
                out += 1
            grow = min(3.0, max(0.3, 0.9 / np.sqrt(max(error, 1e-6))))
            # a step cut short by the air says little about how long the next may be
            wished = min(rules.most_step_s, max(wished, step * grow) if step < wished else step * grow)
            state, clock = after, fresh
    return course


def _solve_stage(
    shells: Shells, surface: Surface, base: Array, ratio: Array, flows: Flows, span: float, scale: Array,
    rules: Rules, course: Course,
) -> tuple[Array, Flows]:  # fmt: skip
    """Solve `w X + span * drain(X) = base` by Newton's rule, all members at once.

    ratio, flows: where to start, and flows there good enough for a direction; never accepted as they are.
    """
    weights, start_k = shells.weights, flows.skin.temp_k
    for turn in range(rules.rounds + 1):
        if turn:
            flows = shells.flows(water=ratio, surface=surface, start_k=start_k)
            course.solves += 1
        gap = span * flows.drain
        gap += weights * ratio
        gap -= base
        left = np.abs(gap).sum(axis=1)
        worst = left / (rules.residual * span * np.abs(flows.out) + rules.residual_floor * scale)
        if turn and (worst <= 1.0).all():
            course.worst_residual = max(course.worst_residual, float(np.max(left / scale)))
            return ratio, flows
        if turn == rules.rounds:
            break
        diagonal = span * flows.diagonal
        diagonal += weights
        change = solve_tridiagonals(
            lower=span * flows.lower, diagonal=diagonal, upper=span * flows.upper, right=gap
        )
        # Newton's rule may overshoot below dry: never by more than to a fifth
        fresh = np.maximum(ratio - change, 0.2 * ratio)
        start_k = flows.skin.temp_k + flows.skin.d_temp * (fresh[:, -1] - ratio[:, -1])
        ratio = fresh
    member = int(np.argmax(np.where(np.isfinite(worst), worst, np.inf)))
    raise Split(member, float((left / scale)[member]))


def advance(
    *, shells: Shells, surface: Surface, stretch: int, state: State, step: float, scale: Array, rules: Rules,
    course: Course,
) -> tuple[State, State, float]:  # fmt: skip
    """One step of the march.

    Parameters
    ----------
    shells, surface, stretch : the insides, and the air and its number
    state : where the step starts
    step : its length [s]
    scale : water at hanging, (n,) [kg/kg]
    rules : tolerances
    course : where solves and residuals are counted

    Returns
    -------
    the state at the first stage, the state at the end, the step's error over that allowed

    Raises
    ------
    Split where a stage does not converge

    Source
    ------
    alexander_1977, two stages, gamma = 1 - sqrt(2)/2
    """
    span = GAMMA * step
    known = state.flows
    try:
        if state.stretch != stretch:
            known = shells.in_other_air(
                flows=known, water=state.ratio, surface=surface, tolerance_k=FIRST_LOOK_K
            )
        ratio, first = _solve_stage(
            shells, surface, state.water, state.ratio, known, span, scale, rules, course
        )
        middle = State(state.water - span * first.drain, ratio, first, stretch)
        base = state.water - (step - span) * first.drain
        # from the first stage, whose flows and slopes are at hand
        ratio, last = _solve_stage(shells, surface, base, ratio, first, span, scale, rules, course)
    except NotConverged as failure:
        raise Split(failure.member, failure.residual) from None
    after = State(base - span * last.drain, ratio, last, stretch)
    # first order against second: the water that leaves, were it all at the rate of the end
    error = (1.0 - GAMMA) * step * np.abs(first.out - last.out) / scale
    return middle, after, float(np.max(error) / rules.step_error)


def _record(
    course: Course, shells: Shells, state: State, middle: State, after: State, part: float, step: float,
    total: Array, crust_below: float,
) -> None:  # fmt: skip
    """Read the course at a fraction of the step: the flux is a straight line through the stages."""
    first, last = middle.flows.out, after.flows.out
    slope = (last - first) / (1.0 - GAMMA)
    lost = step * part * (first + slope * (0.5 * part - GAMMA))
    course.loss.append(total - state.water.sum(axis=1) + lost)
    if part <= GAMMA:
        one, two, share = state, middle, part / GAMMA
    else:
        one, two, share = middle, after, (part - GAMMA) / (1.0 - GAMMA)

    def between(a: Array, b: Array) -> Array:
        return np.asarray(a + share * (b - a))

    course.aw_surface.append(between(one.flows.skin.aw, two.flows.skin.aw))
    course.temp_surface_k.append(between(one.flows.skin.temp_k, two.flows.skin.temp_k))
    ratio, held = between(one.ratio, two.ratio), between(one.flows.skin.water, two.flows.skin.water)
    course.water_surface.append(held)
    course.water_core.append(shells.core(water=ratio))
    course.crust_m.append(shells.crust_m(water=ratio, surface_water=held, below=crust_below))
    if course.keeps:
        course.ratio.append(ratio)
