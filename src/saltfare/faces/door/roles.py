"""What a visitor may do: look, record, or all. Asked of every action before it is run.

The scope belongs to the action, not to the address: whichever page or address runs it, the same is
asked. What a later part of the house brings is for `all` until it is listed here.
"""

from __future__ import annotations

from collections.abc import MutableMapping
from dataclasses import dataclass
from typing import Any

from saltfare.actions.registry import Action
from saltfare.core.errors import Problem, SaltfareError
from saltfare.faces.door.store import ROLES, Role

BENCH_PARTS = frozenset({"bench", "pieces", "chambers", "dishes", "shelf"})
"""Parts whose commands are the work at the bench."""
FOR_ALL = frozenset({"correct"})
"""Commands of those parts that take back what others recorded."""
FOR_RECORD = frozenset({"after_trip"})
"""Commands of other parts that record what happened: whoever was there enters how a trip went."""


@dataclass(frozen=True, slots=True)
class Visitor:
    """Who a request comes from: a device that signed in, or somebody at the machine itself (no key)."""

    role: Role
    key: str = ""
    name: str = ""

    def may(self, need: Role) -> bool:
        """Whether what needs that role is open to this visitor."""
        return ROLES.index(self.role) >= ROLES.index(need)


AT_THE_MACHINE = Visitor("all")


class NotPermitted(SaltfareError):
    """The visitor's role does not cover it."""

    def __init__(self, need: Role) -> None:
        self.need = need
        self.problem = Problem("not_permitted", params={"need": need})
        super().__init__(f"needs {need}")


def needed(action: Action) -> Role:
    """The least role that may run an action."""
    if action.kind == "query":
        return "look"
    bench = action.part in BENCH_PARTS and action.name not in FOR_ALL
    return "record" if bench or action.name in FOR_RECORD else "all"


def visitor(scope: MutableMapping[str, Any]) -> Visitor | None:
    """Who asks. Without a door in front, whoever reaches this machine's own address is at it."""
    state = scope.get("state", {})
    found: Visitor | None = state.get("visitor", AT_THE_MACHINE)
    return found


def permit(scope: MutableMapping[str, Any], need: Role) -> None:
    """Raise NotPermitted where the visitor may not."""
    who = visitor(scope)
    if who is None or not who.may(need):
        raise NotPermitted(need)
