"""What a weigh-in costs: the command that records it and issues a forecast, then the page it changes.

Run: python benchmarks/weigh_in.py [pieces that taught]
A household of that many pieces in one chamber read every two hours; nothing is asserted.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import math
import sys
import tempfile
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from time import perf_counter, process_time

sys.path.insert(0, str(Path(__file__).parent.parent / "tests" / "actions"))

from households import BEGAN, House

from saltfare.journal.store import Journal

AIR = {"temperature": "13 C", "humidity": "75 %", "air_speed": "0.1 m/s"}
TAUGHT = {24: "1.44 kg", 28: "1.36 kg", 34: "1.29 kg", 41: "1.22 kg"}


def timed(what: str, function: Callable[[], object]) -> None:
    """Print what it took."""
    cpu, wall = process_time(), perf_counter()
    function()
    spent, took = 1e3 * (process_time() - cpu), 1e3 * (perf_counter() - wall)
    print(f"{what}: {spent:.0f} ms of processor, {took:.0f} ms")


def main() -> None:
    """Print the table."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 8
    folder = Path(tempfile.mkdtemp())
    with Journal.open(folder / "journal.db") as journal:
        house = House(journal, folder)
        house.do("describe_chamber", name="Cupboard", **AIR)
        rows = [
            {
                "at": (BEGAN + timedelta(days=21, hours=2 * i)).isoformat(),
                "temperature": f"{13 + 0.5 * math.sin(i):.1f} C",
                "humidity": f"{75 + 3 * math.sin(i / 7):.1f} %",
            }
            for i in range(12 * 26)
        ]
        house.do("read_air", 47, key="cupboard", rows=rows)
        why = {"mass": "as weighed"}
        for _ in range(count):
            code = house.hung(chamber="cupboard")
            for day, mass in TAUGHT.items():
                house.do("weigh_in", day, code=code, mass=mass, reasons=why)
        new = house.hung(chamber="cupboard")
        for day, mass in list(TAUGHT.items())[:3]:
            house.do("weigh_in", day, code=new, mass=mass, reasons=why)
        house.do("piece", 47, code=new)
        print(f"{count} pieces taught")
        timed("the weigh-in", lambda: house.do("weigh_in", 47, code=new, mass="1.20 kg", reasons=why))
        timed("the page after it", lambda: house.do("piece", 47, code=new))
        timed("the page again", lambda: house.do("piece", 47, code=new))
        timed("the bench", lambda: house.do("bench", 47))
        timed("what was learned", lambda: house.do("learned", 47))


if __name__ == "__main__":
    main()
