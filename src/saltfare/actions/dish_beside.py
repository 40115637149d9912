"""What is carried beside the pouches of a dish: a food, or meat of one's own by the code of its lot or piece.

Either is told in one way, by what it gives as eaten and what went into it. Own meat is what its piece tells:
reckoned from the cut and what was put on, never analysed, and said so.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import fsum

from saltfare.actions.context import Context
from saltfare.actions.cured_content import cured_share, down_kg
from saltfare.actions.dish_recipe import line_of
from saltfare.actions.judged_card import criteria_of
from saltfare.actions.judged_items import item
from saltfare.actions.shapes import Output, Query
from saltfare.actions.shelf_lots import Asked, answers_of
from saltfare.core.errors import NotFound, Problem, Refused
from saltfare.core.fields import Frozen
from saltfare.core.figure import Answer, Note
from saltfare.journal import events_dish as kinds
from saltfare.journal.codes import parse_code
from saltfare.journal.dish import DishStage, DishState
from saltfare.journal.dish import dishes as dish_states
from saltfare.journal.lot import LotState
from saltfare.journal.lot import lot as lot_of
from saltfare.journal.lot import lots as lot_states
from saltfare.journal.piece import PieceState, State
from saltfare.journal.piece import piece as piece_of
from saltfare.journal.piece import pieces as piece_states
from saltfare.models.composition import DERIVED, NUTRIENTS, Amounts, missing_all
from saltfare.models.cooking import ingredient_amounts
from saltfare.models.declared import UNKNOWN, Declared
from saltfare.plans.dish_plan_parts import BesidePart

# Masses add up to within a thousandth of a gram.
_SLACK_KG = 1e-6


@dataclass(frozen=True, slots=True)
class OwnMeat:
    """Cured meat of one's own. lot: None of a piece that hangs."""

    code: str
    name: str
    piece: PieceState
    lot: LotState | None

    @property
    def left_kg(self) -> float:
        """All there is of it."""
        if self.lot is not None:
            return self.lot.packs_left * self.lot.made.mass.value
        return self.piece.last_mass_kg or 0.0

    def free_kg(self, trip: str = "") -> float:
        """What no other trip holds."""
        if self.lot is None:
            return self.left_kg
        held = fsum(n for by, n in self.lot.reserved.items() if by != trip)
        return max(self.lot.packs_left - held, 0) * self.lot.made.mass.value


@dataclass(frozen=True, slots=True)
class Carried:
    """What is carried beside each pack. put_in: name, mass that went in, what is known of it. code: of the
    own lot or piece, "" for a food. against: why it cannot be had as things stand."""

    part: BesidePart
    put_in: tuple[tuple[str, float, Declared], ...]
    code: str = ""
    hangs: bool = False
    agents: tuple[str, ...] = ()
    notes: tuple[Note, ...] = ()
    against: Problem | None = None


class OwnMeatGiven(Query):
    """Nothing."""


class OwnMeatLine(Frozen):
    """Meat to carry beside a dish. pack_kg: of a pack, None of a piece that hangs. free_kg: what neither a
    trip nor another dish holds."""

    code: str
    name: str
    hangs: bool
    pack_kg: float | None
    free_kg: float


class OwnMeatShown(Output):
    """Cured meat of one's own that can be carried beside a dish."""

    meat: tuple[OwnMeatLine, ...]


def own_meat(context: Context, given: OwnMeatGiven) -> OwnMeatShown:
    """Cured meat of one's own that a dish can have beside it: lots of pieces, and pieces at their mass."""
    codes = [one.code for one in lot_states(context.journal) if _is_cured(one)]
    codes += [one.code for one in piece_states(context.journal) if one.state is State.AT_ITS_MASS]
    lines = []
    for code in codes:
        try:
            meat = meat_of(context, code)
        except Refused:
            continue
        free = meat.free_kg() - _claimed_kg(context, meat.code, "")
        if free > _SLACK_KG:
            pack = meat.lot.made.mass.value if meat.lot else None
            lines.append(
                OwnMeatLine(code=code, name=meat.name, hangs=meat.lot is None, pack_kg=pack, free_kg=free)
            )
    return OwnMeatShown(meat=tuple(lines))


def _is_cured(lot: LotState) -> bool:
    return bool(lot.made.piece) and not lot.made.parts and not lot.made.maker


def meat_of(context: Context, text: str, *, field: str = "own") -> OwnMeat:
    """The meat a code stands for; of a piece taken down, the lot of it with most left. Raises Refused."""
    code = parse_code(text)
    journal = context.journal
    try:
        lot = lot_of(journal, code)
    except NotFound:
        return _of_piece(context, code, field)
    if lot.made.maker:
        params: dict[str, str | float | int] = {"name": lot.name, "maker": lot.made.maker}
        raise Refused(Problem("beside_of_others", field, code, params=params))
    if not _is_cured(lot):
        raise Refused(Problem("beside_not_cured", field, code, params={"name": lot.name}))
    try:
        return OwnMeat(code, lot.name, piece_of(journal, lot.made.piece or ""), lot)
    except NotFound:
        raise Refused(Problem("content_not_told", field, code)) from None


def _of_piece(context: Context, code: str, field: str) -> OwnMeat:
    try:
        piece = piece_of(context.journal, code)
    except NotFound:
        raise Refused(Problem("beside_unknown", field, code)) from None
    packed = [one for one in lot_states(context.journal) if _is_cured(one) and one.made.piece == code]
    if packed:
        most = max(packed, key=lambda one: one.free)
        return OwnMeat(most.code, most.name, piece, most)
    return OwnMeat(code, piece.name, piece, None)


def carried(
    context: Context, choice: kinds.DishChoice, *, of: DishState | None = None
) -> tuple[Carried, ...]:
    """What is carried beside each pack of a dish. of: the batch, to tell what stands against it now."""
    return tuple(
        _food(context, line) if line.own is None else _own(context, line, choice, of)
        for line in choice.beside
    )


def _food(context: Context, line: kinds.BesideLine) -> Carried:
    of = line_of(context, line)
    name, kg = of.ingredient.name, of.ingredient.edible_kg
    amounts = ingredient_amounts(ingredient=of.ingredient, cooked=False)
    return Carried(
        BesidePart(name=name, amounts=amounts, declared=((name, of.declared),)), ((name, kg, of.declared),)
    )


def _own(context: Context, line: kinds.BesideLine, choice: kinds.DishChoice, of: DishState | None) -> Carried:
    code, kg = line.own or "", line.mass.value
    try:
        meat = meat_of(context, code)
        found = cured_share(context, meat.piece, whole_kg=down_kg(meat.piece), mass_kg=kg)
    except Refused as error:
        nothing = Amounts(kg, {}, missing_all(name=line.name, nutrients=(*NUTRIENTS, *DERIVED)))
        part = BesidePart(name=line.name, amounts=nothing, declared=((line.name, UNKNOWN),))
        unknown = Note("content_not_known", {"name": line.name})
        return Carried(part, ((line.name, kg, UNKNOWN),), code, notes=(unknown,), against=error.problems[0])
    part = BesidePart(
        name=line.name,
        amounts=found.amounts,
        declared=tuple((name, declared) for name, _, declared in found.put_in),
    )
    against = None
    if of is not None and of.ended is None:
        packs = packs_wanting(context, of)
        against = stands_against(context, meat, packs=packs, each_kg=kg, but=of.code) if packs else None
    notes = (Note("beside_reckoned", {"name": line.name}), *found.whole.notes)
    return Carried(part, found.put_in, meat.code, meat.lot is None, found.whole.agents, notes, against)


def packs_wanting(context: Context, state: DishState) -> int:
    """Packs of a batch that still want what is beside them and no trip holds."""
    if state.ended is not None:
        return 0
    packed = sum(lot_of(context.journal, code).free for code in state.lots)
    return packed if state.state is DishStage.PACKED else max(state.choice.packs, packed)


def _claimed_kg(context: Context, code: str, but: str) -> float:
    """What other dishes want of it."""
    claimed = 0.0
    for state in dish_states(context.journal):
        if state.code == but:
            continue
        for line in state.choice.beside:
            if line.own is not None and _resolves(context, line.own) == code:
                claimed += packs_wanting(context, state) * line.mass.value
    return claimed


def _resolves(context: Context, code: str) -> str:
    try:
        return meat_of(context, code).code
    except Refused:
        return ""


def stands_against(
    context: Context, meat: OwnMeat, *, packs: int, each_kg: float, but: str = "", field: str = "own"
) -> Problem | None:
    """Why so much of it cannot go with so many packs; None where it can. but: the batch that asks."""
    name, piece = meat.name, meat.piece
    if meat.lot is None:
        if piece.ended is not None or piece.state is State.TAKEN_DOWN:
            return Problem("beside_gone", field, meat.code, params={"name": name})
        if piece.state is not State.AT_ITS_MASS:
            return Problem("beside_not_at_mass", field, meat.code, params={"name": name})
    if meat.lot is not None and meat.lot.state == "thrown_out":
        return Problem("beside_thrown_out", field, meat.code, params={"name": name})
    if meat.left_kg <= 0.0:
        return Problem("beside_gone", field, meat.code, params={"name": name})
    wanted, left = packs * each_kg, meat.left_kg
    told: dict[str, str | float | int] = {"name": name, "wanted_kg": wanted, "left_kg": left}
    if wanted > left + _SLACK_KG:
        return Problem("beside_too_little", field, meat.code, params=told)
    free = max(meat.free_kg() - _claimed_kg(context, meat.code, but), 0.0)
    if wanted > free + _SLACK_KG:
        return Problem("beside_reserved", field, meat.code, params={**told, "free_kg": free})
    return None


def own_beside(context: Context, text: str, *, packs: int, each_kg: float, but: str, field: str) -> OwnMeat:
    """The own meat that was typed, where it can go with so many packs. Raises Refused."""
    try:
        meat = meat_of(context, text, field=field)
    except Refused as refused:
        raise Refused(*(replace(problem, field=field) for problem in refused.problems)) from None
    found = stands_against(context, meat, packs=packs, each_kg=each_kg, but=but, field=field)
    if found is not None:
        raise Refused(found)
    return meat


def meat_answers(context: Context, code: str) -> tuple[tuple[Asked, Answer], ...]:
    """What the criteria answer of own meat, as its own page says it; nothing where it is gone."""
    try:
        return answers_of(context, item(context, code), criteria_of(context))
    except (NotFound, Refused):
        return ()
