"""What each page of the demo costs: the first time, with nothing worked out beyond what building it left,
and again; and what building the demo costs.

Each page is asked in a process of its own, on a copy of the demo as it was built, so that none pays for
another; processor time, also as multiples of the list of pieces asked again. Nothing is asserted.

Run: python benchmarks/pages.py [parts of addresses, to ask those alone]
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import shutil
import sys
import tempfile
import threading
from collections.abc import Callable
from multiprocessing import get_context
from pathlib import Path
from queue import SimpleQueue
from time import process_time
from typing import Any

from starlette.testclient import TestClient

from saltfare.faces.opening import House, opened
from saltfare.faces.web.app import create_app
from saltfare.journal.dish import dishes
from saltfare.journal.lot import lots
from saltfare.journal.piece import State, pieces
from saltfare.journal.trip import trips

AGAIN = 3
UNIT = "/pieces"
_HERE = "http://127.0.0.1"


def addresses(house: House) -> list[str]:
    """The pages people look at, with every one of what differs most."""
    journal = house.context().journal
    hanging = [one.code for one in pieces(journal) if one.state is State.HANGING]
    salted = [one.code for one in pieces(journal) if one.state is State.IN_SALT]
    made = {lot.origin: lot.code for lot in lots(journal) if not lot.is_gone}
    walks = [one.code for one in trips(journal) if one.cancelled is None]
    menus = [one.code for one in trips(journal) if one.menu is not None]
    return [
        "/",
        UNIT,
        *(f"/pieces/{code}" for code in (*hanging[:1], *salted[:1])),
        "/dishes",
        *(f"/dishes/{one.code}" for one in dishes(journal)),
        "/shelf",
        "/shelf/beside",
        *(f"/L/{code}" for code in made.values()),
        *(f"/shelf/keeping/{code}" for code in list(made.values())[:1]),
        *(f"/shelf/worth/{code}" for code in list(made.values())[:1]),
        *(f"/labels/{code}" for code in list(made.values())[:1]),
        "/trips",
        *(f"/trips/{code}" for code in walks),
        *(f"/trips/{code}/items" for code in walks[-1:]),
        *(f"/trips/{code}/menu" for code in menus[-1:]),
        "/plan-back",
        "/chambers",
        "/sources",
        "/settings",
    ]


def costs(house: House, address: str) -> tuple[int, float, float]:
    """The status a page answers with, what it costs first, and the least it costs again [s]."""
    with TestClient(create_app(house.context), base_url=_HERE) as client:
        for thread in threading.enumerate():
            if thread.name == "charts":  # the renderer, which a server starts before anybody asks
                thread.join()

        def once() -> tuple[int, float]:
            began = process_time()
            status = client.get(address).status_code
            return status, process_time() - began

        status, first = once()
        return status, first, min(once()[1] for _ in range(AGAIN))


def built(folder: Path) -> float:
    """Build the demo; what that took."""
    began = process_time()
    with opened(demo=True, directory=folder):
        return process_time() - began


def listed(folder: Path) -> list[str]:
    """The addresses there are."""
    with opened(demo=True, directory=folder) as house:
        return addresses(house)


def asked(folder: Path, address: str) -> tuple[int, float, float]:
    """What one page costs on a demo as it was built."""
    with tempfile.TemporaryDirectory() as copy:
        shutil.copytree(folder, copy, dirs_exist_ok=True)
        with opened(demo=True, directory=Path(copy)) as house:
            return costs(house, address)


def apart(function: Callable[..., Any], *given: Any) -> Any:
    """What a function gives in a process of its own, which has imported all that this one has."""
    context = get_context("fork")
    answer = context.SimpleQueue()
    process = context.Process(target=_answer, args=(answer, function, given))
    process.start()
    found = answer.get()
    process.join()
    if isinstance(found, Exception):
        raise found
    return found


def _answer(answer: SimpleQueue[Any], function: Callable[..., Any], given: tuple[Any, ...]) -> None:
    try:
        answer.put(function(*given))
    except Exception as error:
        answer.put(error)


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        print(f"building the demo: {apart(built, folder):.1f} s of processor")
        wanted = [one for one in apart(listed, folder) if any(w in one for w in sys.argv[1:] or [""])]
        unit = apart(asked, folder, UNIT)[2]
        print(f"{'':28} {'first':>22} {'again':>22}")
        for address in wanted:
            status, first, again = apart(asked, folder, address)
            said = "" if status == 200 else f"  answered {status}"
            print(f"{address:28} {_said(first, unit)} {_said(again, unit)}{said}", flush=True)


def _said(took: float, unit: float) -> str:
    return f"{took / unit:8.1f} x ({1e3 * took:6.0f} ms)"


if __name__ == "__main__":
    main()
