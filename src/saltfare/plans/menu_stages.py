"""The menu solved: a greedy answer at once, then goal after goal, each held while the next is made small.

A small trip is solved whole. A large one is built day by day beside the rest of the trip in the rough, then
improved a few days at a time; its bounds come from the rough model of the whole trip, which has every
choice the fine one has. Everything counts nodes and rounds, nothing reads a clock: same input, same answer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from saltfare.plans.menu_admit import Admission, admission
from saltfare.plans.menu_answers import goal_at, goal_limit, plan_of, values_of, worth_offering
from saltfare.plans.menu_check import Broken, broken_rules
from saltfare.plans.menu_greedy import greedy
from saltfare.plans.menu_model import SCALE, Keep, MenuModel, coarse_layer, fine_layer, menu_model
from saltfare.plans.menu_program import End, Limits, Solved, Vector, solve
from saltfare.plans.menu_shapes import Goal, MenuProblem, Plan, Preset, Value
from saltfare.plans.menu_totals import Shortness, goal_value, shortness

_SHORT_WEIGHT = 20.0  # a kcal short against a gram carried, while a large trip is built
_ROUNDING = 1e-6


@dataclass(frozen=True, slots=True)
class Effort:
    """How hard to try, in things counted.

    gap: share of the answer within which a goal counts as reached. slack, slack_most: room left to a
    reached goal while the next is made small: its gap, within these. whole_columns: largest model solved
    whole. nodes, stall_nodes: of one solve. mains, extras: offered for a sitting and a day while a large
    trip is built. window_columns, window_nodes: size of the days improved together and nodes for it.
    rounds: improvements for each leading goal. later_rounds, later_columns: for the goals after mass, which
    only choose between good plans.
    """

    gap: float = 0.01
    slack: float = 0.005
    slack_most: float = 0.02
    whole_columns: int = 3000
    nodes: int = 300
    stall_nodes: int = 150
    mains: int = 8
    extras: int = 16
    window_columns: int = 1600
    window_nodes: int = 10
    rounds: int = 6
    later_rounds: int = 2
    later_columns: int = 300


@dataclass(frozen=True, slots=True)
class Progress:
    """How far it is: the goal at work, what is reached and the best that could be, and the plan so far."""

    goal: Goal
    reached: float
    bound: float
    plan: Plan | None


@dataclass(frozen=True, slots=True)
class Outcome:
    """A plan and what is known of it. values: the goals in order. broken: rules it breaks, empty unless
    what is held contradicts them. end: STOPPED marks a plan that another run may not give."""

    plan: Plan
    values: tuple[Value, ...]
    short: Shortness
    broken: tuple[Broken, ...]
    end: End


# True ends the work; the best plan so far is kept.
Report = Callable[[Progress], bool]


class _Stopped(Exception):
    """The person, or the clock, ended the work."""


class _Run:
    """One planning: the plan so far and what each goal may still be."""

    def __init__(
        self, problem: MenuProblem, preset: Preset, effort: Effort, report: Report, start: Plan | None
    ) -> None:
        self.problem, self.goals, self.effort, self.report = problem, preset.goals, effort, report
        self.table: Admission = admission(problem)
        self.plan = greedy(problem, self.table, start=None if start is None else start.servings)
        self.values: list[Value] = []
        self.most: list[tuple[Goal, int]] = []
        self.end = End.PROVEN
        self.days = range(len(problem.days))
        self.tell(self.goals[0], None)

    def tell(self, goal: Goal, bound: float | None) -> None:
        reached = float(goal_value(self.problem, self.plan, goal))
        if self.report(Progress(goal, reached, 0.0 if bound is None else bound, self.plan)):
            raise _Stopped

    def watch(
        self, goal: Goal, base: float = 0.0, outer_bound: float | None = None
    ) -> Callable[[float, float], bool]:
        """What the solver calls; bounds of a window bound only the window and are not passed on."""
        last = [0.0, 0.0]

        def heard(objective: float, bound: float) -> bool:
            here = [objective, bound]
            if here == last:
                return self.report(Progress(goal, float("nan"), float("nan"), None))
            last[:] = here
            least = bound * SCALE[goal] if outer_bound is None else outer_bound
            return self.report(Progress(goal, (objective + base) * SCALE[goal], least, None))

        return heard

    def holds(self, plan: Plan, goal: Goal) -> bool:
        """Whether a plan keeps every rule and every earlier goal, and is better in this one."""
        problem = self.problem
        if goal_value(problem, plan, goal) >= goal_value(problem, self.plan, goal):
            return False
        if any(goal_value(problem, plan, g) > most for g, most in self.most):
            return False
        return not broken_rules(problem, plan)

    def settle(self, goal: Goal, bound: float) -> None:
        """Close a goal: note it, and hold it with room at least its gap."""
        reached = goal_value(self.problem, self.plan, goal)
        value = Value(goal, reached, min(float(reached), bound))
        self.values.append(value)
        least = 0.0 if goal is Goal.SHORT else self.effort.slack
        room = min(max(value.gap, least), max(least, self.effort.slack_most))
        self.most.append((goal, int(reached * (1.0 + room))))
        self.tell(goal, value.bound)

    def limits(self, model: MenuModel, start: Plan) -> None:
        """Rows that hold earlier goals in a model whose days are part of a plan."""
        values = values_of(model, start)
        for goal, most in self.most:
            inside = goal_at(model, goal, values)
            outside = goal_value(self.problem, start, goal) / SCALE[goal] - inside
            goal_limit(model, goal, max(most / SCALE[goal] - outside, inside) + _ROUNDING)

    # whole --------------------------------------------------------------------------------------------

    def solve_whole(self, model: MenuModel, goal: Goal) -> None:
        problem, effort = self.problem, self.effort
        gap = effort.gap if goal is not Goal.SHORT else 1e-4
        limits = Limits(gap, effort.nodes, effort.stall_nodes)

        def better(values: Vector) -> None:
            found = plan_of(model, values, {})
            if self.holds(found, goal):
                self.plan = found
                now = float(goal_value(problem, found, goal))
                self.report(Progress(goal, now, 0.0, found))

        solved = solve(
            model.program,
            model.goals[goal],
            limits,
            start=values_of(model, self.plan),
            watch=self.watch(goal),
            better=better,
        )
        if solved.end in (End.NODES, End.NOTHING):
            self.end = End.NODES
        if solved.values is not None:
            found = plan_of(model, solved.values, {})
            if self.holds(found, goal) or (
                broken_rules(problem, self.plan) and not broken_rules(problem, found)
            ):
                self.plan = found
        self.settle(goal, _bound(solved, goal))
        reached = goal_value(problem, self.plan, goal)
        inside = goal_at(model, goal, values_of(model, self.plan))
        goal_limit(model, goal, max(self.most[-1][1], reached) / SCALE[goal] + abs(inside) * 1e-9 + _ROUNDING)

    # in parts -----------------------------------------------------------------------------------------

    def bound_of(self, goal: Goal) -> float:
        """The bound of a goal by the rough model, earlier goals held."""
        model = menu_model(
            self.problem, self.table, [coarse_layer(self.problem, self.table, self.days, whole=True)]
        )
        for earlier, most in self.most:
            goal_limit(model, earlier, most / SCALE[earlier] + _ROUNDING)
        solved = solve(model.program, model.goals[goal], Limits(1e-6, 1, 1), relaxed=True)
        return max(0.0, solved.objective * SCALE[goal]) if solved.values is not None else 0.0

    def build(self) -> None:
        """Day by day, the rest of the trip beside it in the rough."""
        problem, table, effort = self.problem, self.table, self.effort
        lead = self.goals[1]
        coarse = menu_model(problem, table, [coarse_layer(problem, table, self.days, whole=True)])
        solved = solve(coarse.program, _joint(coarse, lead), Limits(1e-6, 1, 1), relaxed=True)
        if solved.values is None:
            return
        keep: Keep = worth_offering(problem, coarse, solved, mains=effort.mains, extras=effort.extras)
        plan = Plan({})
        for d in self.days:
            plan = self._next_day(plan, d, lead, keep)
        # filling up feeds every day to its ration, which a built trip needs only where a day found nothing
        for found in (plan, greedy(problem, table, start=plan.servings)):
            if not broken_rules(problem, found) and self._leads(found, lead) < self._leads(self.plan, lead):
                self.plan = found

    def _leads(self, plan: Plan, lead: Goal) -> tuple[int, int]:
        return goal_value(self.problem, plan, Goal.SHORT), goal_value(self.problem, plan, lead)

    def _next_day(self, plan: Plan, d: int, lead: Goal, keep: Keep) -> Plan:
        problem, table, effort = self.problem, self.table, self.effort
        later = self.days[d + 1 :]
        layers = [fine_layer(problem, [d])]
        if later:
            layers.append(coarse_layer(problem, table, later, whole=False, guide=True))
        for offer in (keep, None):
            model = menu_model(
                problem, table, layers, rest=plan.servings, settled=range(d), keep=offer, even=bool(later)
            )
            solved = solve(
                model.program,
                _joint(model, lead),
                # of the whole trip still open, so a fifth of the gap is a good part of a day
                Limits(effort.gap / 5, effort.window_nodes, effort.window_nodes),
                watch=self.watch(lead, outer_bound=0.0),
            )
            if solved.values is not None and goal_at(model, Goal.SHORT, solved.values) < 1e-3:
                break
        if solved.values is None:
            return plan
        return plan_of(model, solved.values, plan.servings)

    def improve(self, goal: Goal, bound: float, rounds: int, columns: int, limits: Limits) -> None:
        """Some days at a time, all else settled, for as many rounds."""
        count = len(self.days)
        per_day = max(1, sum(len(s) > 0 for s in self.table.slots[0]) * len(self.problem.people))
        size = max(1, min(count, columns // per_day))
        for turn in range(rounds):
            if goal_value(self.problem, self.plan, goal) <= bound * (1.0 + self.effort.gap) + _ROUNDING:
                return
            window = self._worst_days(goal, size, turn)
            others = [d for d in self.days if d not in window]
            layer = fine_layer(self.problem, window)
            model = menu_model(self.problem, self.table, [layer], rest=self.plan.servings, settled=others)
            self.limits(model, self.plan)
            start = values_of(model, self.plan)
            base = goal_value(self.problem, self.plan, goal) / SCALE[goal] - goal_at(model, goal, start)
            solved = solve(
                model.program, model.goals[goal], limits, start=start, watch=self.watch(goal, base, bound)
            )
            if solved.values is None:
                continue
            found = plan_of(model, solved.values, self.plan.servings)
            if self.holds(found, goal):
                self.plan = found
                self.tell(goal, bound)

    def _worst_days(self, goal: Goal, size: int, turn: int) -> list[int]:
        """The days to take together: runs of them from the end, where a trip built from the front is
        worst, moving on each turn, with one day from elsewhere."""
        count = len(self.days)
        if size >= count:
            return list(self.days)
        first = (count - 1 - turn * size) % count
        days = [(first - k) % count for k in range(size - 1 if size > 2 else size)]
        extra = (first + count // 2 + turn) % count
        if size > 2 and extra not in days:
            days.append(extra)
        return sorted(set(days))

    def run(self) -> None:
        """The goals up to mass in earnest, those after it by a few improvements."""
        effort = self.effort
        lead = self.goals.index(Goal.MASS) + 1
        leading, later = self.goals[:lead], self.goals[lead:]
        closely = Limits(effort.gap / 10, effort.window_nodes, effort.window_nodes)
        model = menu_model(self.problem, self.table, [fine_layer(self.problem)])
        if len(model.program.lower) <= effort.whole_columns:
            for goal in leading:
                self.solve_whole(model, goal)
        else:
            self.end = End.NODES
            self.build()
            for goal in leading:
                bound = self.bound_of(goal)
                self.improve(goal, bound, effort.rounds, effort.window_columns, closely)
                self.settle(goal, bound)
        for goal in later:
            bound = self.bound_of(goal)
            self.improve(goal, bound, effort.later_rounds, effort.later_columns, Limits(0.02, 2, 2))
            self.settle(goal, bound)


def _bound(solved: Solved, goal: Goal) -> float:
    return max(0.0, solved.bound * SCALE[goal]) if solved.bound < float("inf") else 0.0


def _joint(model: MenuModel, lead: Goal) -> Sequence[tuple[int, float]]:
    """Shortness first, then the lead goal, then mass: weighed together while a trip is built."""
    terms = [(c, _SHORT_WEIGHT * v) for c, v in model.goals[Goal.SHORT]]
    terms += model.goals[lead]
    if lead is not Goal.MASS:
        terms += [(c, 0.05 * v) for c, v in model.goals[Goal.MASS]]
    return terms


def plan_menu(
    problem: MenuProblem,
    *,
    preset: Preset,
    effort: Effort,
    report: Report = lambda _: False,
    start: Plan | None = None,
) -> Outcome:
    """The menu of a trip.

    problem: checked by `problems_of_menu` before. start: a plan to begin from, as after one pouch is eaten.
    report: called with every better answer; True ends the work with the best so far.
    """
    last: list[Progress] = []

    def note(progress: Progress) -> bool:
        if progress.plan is not None:
            last[:] = [progress]
        return report(progress)

    run: _Run | None = None
    try:
        run = _Run(problem, preset, effort, note, start)
        run.run()
        plan, values, end = run.plan, run.values, run.end
    except _Stopped:
        plan = last[0].plan or Plan({})
        values, end = ([] if run is None else run.values), End.STOPPED
    return outcome_of(problem, preset, plan, values, end)


def outcome_of(
    problem: MenuProblem, preset: Preset, plan: Plan, values: Iterable[Value], end: End
) -> Outcome:
    """A plan with everything known of it; goals not come to stand with the bound zero."""
    known = {value.goal: value for value in values}
    return Outcome(
        plan,
        tuple(
            Value(
                goal,
                (now := goal_value(problem, plan, goal)),
                min(float(now), known[goal].bound if goal in known else 0.0),
            )
            for goal in preset.goals
        ),
        shortness(problem, plan),
        broken_rules(problem, plan),
        end,
    )
