"""What follows from a request and the library alone, worked out once for each request as it reads.

Nothing here can grow old: a request says everything the answer rests on, and the library its version.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from threading import Lock
from typing import Generic, TypeVar

from saltfare.core.library import Library

Q = TypeVar("Q")
R = TypeVar("R")


class Once(Generic[Q, R]):
    """A pure function of a request and the library; its last answers, which nobody changes, are kept.

    A refusal is not kept. most: how many answers.
    """

    def __init__(self, make: Callable[[Q, Library], R], *, most: int) -> None:
        self._make, self._most = make, most
        self._kept: OrderedDict[tuple[str, str], R] = OrderedDict()
        self._guard = Lock()

    def __call__(self, request: Q, library: Library) -> R:
        """The answer to a request that says all of itself in its repr."""
        key = (library.version, repr(request))
        with self._guard:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
        made = self._make(request, library)
        with self._guard:
            self._kept[key] = made
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)
        return made
