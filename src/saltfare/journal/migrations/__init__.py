"""Short numbered steps that bring a file from one schema to the next.

A step never changes once released, and none recreates the event table. Each runs with its record in
one transaction; a step that fails leaves the file as it was.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from sqlalchemy import Connection

from saltfare.journal.migrations import m0001_first


@dataclass(frozen=True, slots=True)
class Step:
    """One step: its number, its name, and what it does inside the transaction it is given."""

    number: int
    name: str
    apply: Callable[[Connection], None]


STEPS: tuple[Step, ...] = (Step(1, "first", m0001_first.apply),)
