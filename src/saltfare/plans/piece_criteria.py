"""The published criteria a plan is held against, built once for a library."""

from __future__ import annotations

from functools import lru_cache

from saltfare.core.library import Library
from saltfare.models.criteria import Criteria


class _Keyed:
    """A library told apart by its version: a library itself cannot be a key."""

    __slots__ = ("library", "version")

    def __init__(self, library: Library) -> None:
        self.library = library
        self.version = library.version

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Keyed) and other.version == self.version

    def __hash__(self) -> int:
        return hash(self.version)


def criteria_of(*, library: Library) -> Criteria:
    """Every published criterion of a library."""
    return _built(_Keyed(library))


@lru_cache(maxsize=8)
def _built(keyed: _Keyed) -> Criteria:
    return Criteria.from_library(keyed.library)
