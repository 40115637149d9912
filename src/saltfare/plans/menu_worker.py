"""A menu planned in a process of its own, which streams what it has and can be ended at any moment.

Solvers do not always listen; ending the process always works. What was streamed last is the answer then,
checked again here, and marked as stopped, because another run may stop elsewhere.
"""

from __future__ import annotations

import io
import multiprocessing
import threading
from collections.abc import Iterator
from multiprocessing.connection import Connection

from saltfare.plans.menu_program import End
from saltfare.plans.menu_shapes import MenuProblem, Plan, Preset
from saltfare.plans.menu_stages import Effort, Outcome, Progress, outcome_of, plan_menu


def _work(pipe: Connection, problem: MenuProblem, preset: Preset, effort: Effort, start: Plan | None) -> None:
    # the solver greets on file 1, which may be where the parent answers in JSON; whatever is opened next
    # takes the number of what was closed
    io.FileIO(1, "w").close()
    with io.FileIO("/dev/null", "w"):

        def report(progress: Progress) -> bool:
            if progress.plan is not None or progress.reached == progress.reached:
                pipe.send(progress)
            return False

        pipe.send(plan_menu(problem, preset=preset, effort=effort, report=report, start=start))
        pipe.close()


class MenuRun:
    """A planning under way in its own process. Iterate for progress; `outcome` holds the end of it."""

    def __init__(
        self,
        problem: MenuProblem,
        *,
        preset: Preset,
        effort: Effort,
        start: Plan | None = None,
        seconds: float | None = None,
    ) -> None:
        self._problem, self._preset = problem, preset
        spawn = multiprocessing.get_context("spawn")
        self._pipe, theirs = spawn.Pipe(duplex=False)
        self._process = spawn.Process(
            target=_work, args=(theirs, problem, preset, effort, start), daemon=True
        )
        self._process.start()
        theirs.close()
        self._stopped = threading.Event()
        self._timer = None if seconds is None else threading.Timer(seconds, self.stop)
        if self._timer is not None:
            self._timer.daemon = True
            self._timer.start()
        self._plan = Plan({})
        self.outcome: Outcome | None = None

    def stop(self) -> None:
        """End the process; the best plan streamed so far becomes the outcome."""
        self._stopped.set()
        self._process.terminate()

    @property
    def is_working(self) -> bool:
        """Whether the process still runs."""
        return self._process.is_alive()

    def __iter__(self) -> Iterator[Progress]:
        """Progress as it comes, until the outcome is there."""
        while self.outcome is None:
            try:
                got = self._pipe.recv()
            except (EOFError, OSError):
                break
            if isinstance(got, Outcome):
                self.outcome = got
            else:
                if got.plan is not None:
                    self._plan = got.plan
                yield got
        if self._timer is not None:
            self._timer.cancel()
        if self.outcome is None:
            self.outcome = outcome_of(self._problem, self._preset, self._plan, (), End.STOPPED)
        self._process.join()
        self._pipe.close()
