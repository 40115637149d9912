"""How long a wrong guess makes the next one wait, and when none is taken at all.

NIST SP 800-63B-4, 3.2.2: at most 100 consecutive failures, and waits that grow. One device is slowed
early; all together are slowed late, so that a household's own slips do not shut the household out.
"""

from __future__ import annotations

from datetime import datetime

LOCK_AFTER = 100
FREE_EACH, FIRST_EACH_S, LONGEST_EACH_S = 3, 2.0, 900.0
FREE_ALL, FIRST_ALL_S, LONGEST_ALL_S = 10, 1.0, 60.0


def delay_each_s(failures: int) -> float:
    """What one device waits after so many failures in a row [s]."""
    return _doubled(failures - FREE_EACH, FIRST_EACH_S, LONGEST_EACH_S)


def delay_all_s(failures: int) -> float:
    """What everybody waits after so many failures in a row [s]."""
    return _doubled(failures - FREE_ALL, FIRST_ALL_S, LONGEST_ALL_S)


def _doubled(beyond: int, first_s: float, longest_s: float) -> float:
    if beyond < 0:
        return 0.0
    return min(longest_s, first_s * 2.0 ** min(beyond, 32))


def remaining_s(delay_s: float, since: datetime | None, now: datetime) -> float:
    """What is left of a wait [s]. A clock set back makes it begin anew, never longer."""
    if since is None or delay_s == 0:
        return 0.0
    return max(0.0, delay_s - max(0.0, (now - since).total_seconds()))
