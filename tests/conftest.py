"""The same examples every time, and how long each folder of tests took, told at the end of every run."""

from __future__ import annotations

from collections import Counter
from typing import Any

from hypothesis import settings

# what passes here passes there; to look further: --hypothesis-profile=anew --hypothesis-seed=N
settings.register_profile("same", derandomize=True, database=None)
settings.register_profile("anew", derandomize=False)
settings.load_profile("same")


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """Seconds of work by folder; of several workers, their sum."""
    seconds: Counter[str] = Counter()
    for reports in terminalreporter.stats.values():
        for report in reports:
            if hasattr(report, "duration") and hasattr(report, "nodeid"):
                place = report.nodeid.partition("::")[0].split("/")
                seconds["/".join(place[:-1]) if len(place) > 2 else "/".join(place)] += report.duration
    if seconds:
        terminalreporter.section("seconds of work by folder")
        for folder, took in seconds.most_common():
            terminalreporter.write_line(f"{took:8.1f}  {folder}")
