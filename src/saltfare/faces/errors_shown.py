"""Errors in the one shape that every face gives: code, field, given, allowed, mend, text."""

from __future__ import annotations

from typing import Any

from saltfare.core.errors import Conflict, JournalError, NotFound, OutOfRange, Problem, Refused, SaltfareError
from saltfare.faces.words import Words


def problems(error: Exception) -> tuple[Problem, ...]:
    """Any error of ours as problems; anything else is not ours to explain and is raised again."""
    if isinstance(error, Refused):
        return error.problems
    if isinstance(error, NotFound):
        return (Problem("not_found", given=error.key, params={"what": error.what, "key": error.key}),)
    if isinstance(error, Conflict):
        seen = {"seen": error.seen, "now": error.now}
        return (Problem("moved_on", "seen_version", str(error.seen), str(error.now), seen),)
    if isinstance(error, OutOfRange):
        return (
            Problem(
                "out_of_range",
                error.quantity,
                f"{error.value:g}",
                f"{error.low:g} to {error.high:g}",
                {"model": error.model, "quantity": error.quantity},
            ),
        )
    if isinstance(error, JournalError):
        return (error.problem,)
    if isinstance(error, SaltfareError):
        return (Problem("not_computed", given=str(error)),)
    raise error


def status(error: Exception) -> int:
    """The HTTP status of an error of ours."""
    for kind, code in ((NotFound, 404), (Conflict, 409), (JournalError, 503)):
        if isinstance(error, kind):
            return code
    return 422


def as_json(error: Exception, words: Words) -> dict[str, Any]:
    """`{"errors": [{code, field, given, allowed, mend, text}]}`."""
    out = []
    for problem in problems(error):
        said = words.problem(problem)
        out.append(
            {
                "code": problem.code,
                "field": problem.field,
                "given": problem.given,
                "allowed": problem.allowed,
                "mend": said.mend,
                "text": said.text,
            }
        )
    return {"errors": out}
