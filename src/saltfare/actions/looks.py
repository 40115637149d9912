"""What looks or smells wrong, and what is done about it: common practice, never a criterion.

A doubt ends in throwing out, and tasting is never a test.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from saltfare.actions.context import Context
from saltfare.actions.judged_items import Item, item
from saltfare.actions.shapes import Output, Query
from saltfare.core.fields import Frozen
from saltfare.core.figure import Note
from saltfare.journal.events_handling import Mould, Smell
from saltfare.journal.piece import State

Outcome = Literal["throw_out", "open_and_look", "wipe_and_watch", "nothing_seen"]
_WORST_FIRST: tuple[Outcome, ...] = ("throw_out", "open_and_look", "wipe_and_watch", "nothing_seen")
_BAD_SMELLS = frozenset({"sour", "ammonia", "rancid", "putrid"})


class LooksGiven(Query):
    """What was seen, smelt and felt, of a piece or lot or of anything; `not_sure` counts as wrong.

    mould_is: what the mould is like; a dry white bloom counts only on the outside of a piece that hangs
    whole. needle: a clean needle pushed to the bone or the middle, and smelt.
    """

    code: str | None = Field(default=None, max_length=40)
    mould: tuple[Mould, ...] = Field(default=(), max_length=7)
    mould_is: Literal["dry_outside", "wet_or_furry", "inside", "not_sure"] | None = None
    smell: Smell | Literal["not_sure"] | None = None
    needle: Literal["clean", "sour", "not_sure"] | None = None
    slime: Literal["no", "yes", "not_sure"] | None = None
    soft_spot: Literal["no", "yes", "not_sure"] | None = None
    gap: Literal["none", "not_opened", "clean_and_dry", "wet_or_mouldy", "not_sure"] | None = None
    pack: Literal["flat", "swollen", "not_sure"] | None = None


class SignShown(Frozen):
    """One sign with what it asks for, and where that is from."""

    rule: str
    decision: Outcome
    why: Note
    cite: str


class LooksShown(Output):
    """What to do: the worst of the signs rules. code: of the piece or lot asked about, as it is printed."""

    code: str | None
    kind: str
    name: str
    version: int
    decision: Outcome
    signs: tuple[SignShown, ...]


def looks_wrong(context: Context, given: LooksGiven) -> LooksShown:
    """What to do about what looks, smells or feels wrong; a doubt ends in throwing out."""
    found = item(context, given.code) if given.code else None
    rules = _rules(given, found)
    signs = []
    for rule in dict.fromkeys(rules):
        row = context.library.row("look_rules", rule)
        decision: Outcome = row.text("decision")  # type: ignore[assignment]
        signs.append(
            SignShown(rule=rule, decision=decision, why=Note(f"look_{rule}"), cite=row.text("source"))
        )
    worst = min((s.decision for s in signs), key=_WORST_FIRST.index, default="nothing_seen")
    notes = [Note("tasting_is_no_test")]
    if worst == "nothing_seen":
        notes.append(Note("looks_prove_nothing"))
    return LooksShown(
        code=found.code if found else None,
        kind=found.kind if found else "",
        name=found.name if found else "",
        version=found.version if found else 0,
        decision=worst,
        signs=tuple(sorted(signs, key=lambda sign: _WORST_FIRST.index(sign.decision))),
        notes=tuple(notes),
    )


def _rules(given: LooksGiven, found: Item | None) -> list[str]:
    answers = (given.mould_is, given.smell, given.needle, given.slime, given.soft_spot, given.gap, given.pack)
    out = ["not_sure"] if "not_sure" in answers else []
    out += _mould(given, found)
    out += ["slime"] if given.slime == "yes" else []
    out += ["needle_sour"] if given.needle == "sour" else []
    out += ["smell_bad"] if given.smell in _BAD_SMELLS else []
    out += ["soft_spot"] if given.soft_spot == "yes" else []
    out += ["gap_seen"] if given.gap == "not_opened" else []
    out += ["gap_bad"] if given.gap == "wet_or_mouldy" else []
    out += ["pack_swollen"] if given.pack == "swollen" else []
    return out


def _mould(given: LooksGiven, found: Item | None) -> list[str]:
    colours = set(given.mould) - {"none"}
    if given.mould_is == "inside":
        return ["mould_inside"]
    if not colours:
        return ["mould_white_other"] if given.mould_is == "wet_or_furry" else []
    if colours - {"white"}:
        return ["mould_coloured"]
    state = found.piece if found and not found.lot else None
    hangs = state is not None and state.state in (State.HANGING, State.AT_ITS_MASS) and state.is_intact
    return ["mould_white_dry" if given.mould_is == "dry_outside" and hangs else "mould_white_other"]
