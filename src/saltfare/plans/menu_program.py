"""A mixed-integer program as plain arrays, and one solve of it: the only place that touches the solver.

Same program, same answer: one thread, a fixed seed, and limits counted in nodes. A program knows nothing of
food, so that it can be tested on published problems.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

import highspy
import numpy as np
import numpy.typing as npt

Vector = npt.NDArray[np.float64]
_SEED = 7
_WHOLE = 1e-6


class End(StrEnum):
    """Why a solve ended."""

    PROVEN = "proven"  # within the gap asked for
    NODES = "nodes"
    STOPPED = "stopped"  # by the person or by the clock: another run may differ
    INFEASIBLE = "infeasible"
    NOTHING = "nothing"  # a limit came before any answer


@dataclass(slots=True)
class Program:
    """Columns and rows under construction. Every row belongs to a named group, "" for none."""

    lower: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    whole: list[bool] = field(default_factory=list)
    row_lower: list[float] = field(default_factory=list)
    row_upper: list[float] = field(default_factory=list)
    starts: list[int] = field(default_factory=lambda: [0])
    columns: list[int] = field(default_factory=list)
    values: list[float] = field(default_factory=list)
    groups: list[str] = field(default_factory=list)

    def column(self, *, upper: float = math.inf, whole: bool = False, lower: float = 0.0) -> int:
        """A new column; its number."""
        self.lower.append(lower)
        self.upper.append(upper)
        self.whole.append(whole)
        return len(self.lower) - 1

    def row(
        self,
        terms: Sequence[tuple[int, float]],
        *,
        low: float = -math.inf,
        high: float = math.inf,
        group: str = "",
    ) -> None:
        """A new row over columns that appear once each."""
        for column, value in terms:
            self.columns.append(column)
            self.values.append(value)
        self.starts.append(len(self.columns))
        self.row_lower.append(low)
        self.row_upper.append(high)
        self.groups.append(group)

    def terms(self, row: int) -> list[tuple[int, float]]:
        """The columns and values of a row."""
        at = slice(self.starts[row], self.starts[row + 1])
        return list(zip(self.columns[at], self.values[at], strict=True))

    def fix(self, column: int, *, low: float, high: float) -> None:
        """New bounds for a column."""
        self.lower[column] = low
        self.upper[column] = high


@dataclass(frozen=True, slots=True)
class Limits:
    """When a solve ends: gap reached, nodes counted, nodes without a better answer; and the clock, if any."""

    gap: float
    nodes: int
    stall_nodes: int
    seconds: float | None = None


@dataclass(frozen=True, slots=True)
class Solved:
    """What a solve gave. bound: the least the objective can be. values: None where there is no answer."""

    end: End
    objective: float
    bound: float
    values: Vector | None
    duals: Vector | None = None
    reduced: Vector | None = None


# Called with (objective, bound) at each better answer and now and then between; True stops the solve.
Watch = Callable[[float, float], bool]
# Called with every better answer as it is found, in the columns of the program.
Better = Callable[[Vector], None]


def solve(
    program: Program,
    objective: Sequence[tuple[int, float]],
    limits: Limits,
    *,
    start: Vector | None = None,
    relaxed: bool = False,
    watch: Watch | None = None,
    better: Better | None = None,
) -> Solved:
    """The least of the objective over the program.

    relaxed: columns need not be whole; duals and reduced costs come back.
    start: an answer to begin from.
    """
    solver = _solver(program, objective, limits, relaxed=relaxed)
    if start is not None and not relaxed:
        begin = highspy.HighsSolution()
        begin.col_value = list(start)
        solver.setSolution(begin)
    if watch is not None and not relaxed:
        _listen(solver, watch, better)
    solver.run()
    return _read(solver, program, relaxed=relaxed)


def _solver(
    program: Program, objective: Sequence[tuple[int, float]], limits: Limits, *, relaxed: bool
) -> highspy.Highs:
    solver = highspy.Highs()  # type: ignore[no-untyped-call]
    solver.silent()
    solver.setOptionValue("threads", 1)
    solver.setOptionValue("parallel", "off")
    solver.setOptionValue("random_seed", _SEED)
    solver.setOptionValue("mip_rel_gap", limits.gap)
    solver.setOptionValue("mip_abs_gap", 1e-6)
    solver.setOptionValue("mip_max_nodes", limits.nodes)
    solver.setOptionValue("mip_max_stall_nodes", limits.stall_nodes)
    if limits.seconds is not None:
        solver.setOptionValue("time_limit", limits.seconds)
    lp = highspy.HighsLp()
    lp.num_col_, lp.num_row_ = len(program.lower), len(program.row_lower)
    cost = np.zeros(len(program.lower))
    for column, value in objective:
        cost[column] += value
    lp.col_cost_ = cost
    lp.col_lower_, lp.col_upper_ = np.array(program.lower), np.array(program.upper)
    lp.row_lower_, lp.row_upper_ = np.array(program.row_lower), np.array(program.row_upper)
    lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    lp.a_matrix_.start_ = np.array(program.starts, dtype=np.int32)
    lp.a_matrix_.index_ = np.array(program.columns, dtype=np.int32)
    lp.a_matrix_.value_ = np.array(program.values)
    if not relaxed:
        kinds = (highspy.HighsVarType.kContinuous, highspy.HighsVarType.kInteger)
        lp.integrality_ = [kinds[whole] for whole in program.whole]
    solver.passModel(lp)
    return solver


def _listen(solver: highspy.Highs, watch: Watch, better: Better | None) -> None:
    stop = [False]

    def found(event: highspy.HighsCallbackEvent) -> None:
        if better is not None:
            better(np.array(event.data_out.mip_solution))
        heard(event)

    def heard(event: highspy.HighsCallbackEvent) -> None:
        out = event.data_out
        stop[0] = stop[0] or watch(float(out.mip_primal_bound), float(out.mip_dual_bound))

    def asked(event: highspy.HighsCallbackEvent) -> None:
        heard(event)
        if stop[0]:
            event.interrupt()

    solver.cbMipImprovingSolution.subscribe(found)
    solver.cbMipInterrupt.subscribe(asked)


def _read(solver: highspy.Highs, program: Program, *, relaxed: bool) -> Solved:
    status, info = solver.getModelStatus(), solver.getInfo()
    kinds = highspy.HighsModelStatus
    if status in (kinds.kInfeasible, kinds.kUnboundedOrInfeasible):
        return Solved(End.INFEASIBLE, math.inf, math.inf, None)
    end = {
        kinds.kOptimal: End.PROVEN,
        kinds.kModelEmpty: End.PROVEN,
        kinds.kSolutionLimit: End.NODES,
        kinds.kIterationLimit: End.NODES,
    }.get(status, End.STOPPED)
    solution = solver.getSolution()
    if relaxed:
        if end is not End.PROVEN:
            return Solved(End.NOTHING, math.inf, -math.inf, None)
        return Solved(
            end,
            info.objective_function_value,
            info.objective_function_value,
            np.array(solution.col_value),
            np.array(solution.row_dual),
            np.array(solution.col_dual),
        )
    bound = float(info.mip_dual_bound) if any(program.whole) else float(info.objective_function_value)
    if info.primal_solution_status != highspy.SolutionStatus.kSolutionStatusFeasible:
        return Solved(End.NOTHING if end is not End.STOPPED else end, math.inf, bound, None)
    values = np.array(solution.col_value)
    mask = np.array(program.whole, dtype=bool)
    if mask.any() and float(np.abs(values[mask] - np.round(values[mask])).max()) > 1e3 * _WHOLE:
        return Solved(End.NOTHING, math.inf, bound, None)
    return Solved(end, float(info.objective_function_value), bound, values)
