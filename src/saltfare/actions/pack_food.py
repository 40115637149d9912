"""What lies in one pack of a lot, as sorption and keeping take it: its foods with solids, water and fat."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import numpy as np

from saltfare.actions.context import Context
from saltfare.actions.dish_recipe import line_of
from saltfare.actions.judged_facts import jar_value
from saltfare.actions.judged_items import item
from saltfare.actions.piece_forecast import made_of
from saltfare.actions.stream_tails import tails, tails_of
from saltfare.core.errors import NotConverged, NotFound, OutOfRange, Problem, Refused
from saltfare.core.figure import Note
from saltfare.core.library import Library
from saltfare.core.tables import Row
from saltfare.journal import events_handling as handling
from saltfare.journal import events_judged as judged
from saltfare.journal import events_piece as pieces
from saltfare.journal.dish import dish as dish_of
from saltfare.journal.lot import LotState
from saltfare.journal.lot import lot as lot_of
from saltfare.journal.piece import PieceState
from saltfare.journal.piece import piece as piece_of
from saltfare.journal.pouch import isotherm as own_isotherm
from saltfare.journal.pouch import lot_said
from saltfare.models.cooking import ingredient_amounts
from saltfare.models.isotherms import AW_FLOOR, FoodClass, Isotherm, SaltedMeat, food_class
from saltfare.models.isotherms_fit import isotherm_from_pairs
from saltfare.models.mixing import Part, blend, cured_part, dry_part, part_aw
from saltfare.models.sorption import ProteinIsotherm
from saltfare.plans.dish_plan import kind_of

FOODS = "keeping_foods"
# Where the isotherm of lean meat was seen not to move with temperature (models/sorption, docs/pouch).
_MEAT_TEMP_C = (4.0, 40.0)
_WHOLE_FRAC = 0.9
_MOST_DEEP = 4


@dataclass(frozen=True, slots=True)
class Food:
    """One food of a pack. kinds: rows of `keeping_foods`, most of it first; fat_frac: of its mass, None
    where nobody said."""

    name: str
    kinds: tuple[str, ...]
    mass_kg: float
    fat_frac: float | None
    part: Part
    rows: tuple[Row, ...]

    def scaled(self, factor: float) -> Food:
        """So many times as much of it."""
        part = replace(
            self.part, solids_kg=factor * self.part.solids_kg, water_kg=factor * self.part.water_kg
        )
        return replace(self, mass_kg=factor * self.mass_kg, part=part)


@dataclass(frozen=True, slots=True)
class Foods:
    """What is in one pack, what was taken where nobody said, and remarks."""

    foods: tuple[Food, ...]
    assumed: tuple[tuple[str, str], ...] = ()
    notes: tuple[Note, ...] = ()


def tails_of_food(context: Context, lot: LotState) -> dict[str, str]:
    """The streams that tell what is in a lot, as they end: part of the key of what rests on it."""
    streams: dict[str, None] = {}
    _streams(context, lot, streams, 0)
    return {**tails(context, streams), **tails_of(context, "isotherm/"), **tails_of(context, "food/")}


def _streams(context: Context, lot: LotState, into: dict[str, None], deep: int) -> None:
    into["lot/" + lot.code] = None
    if lot.made.piece:
        _forebears(context, lot.made.piece, into)
    if lot.made.dish:
        into["dish/" + lot.made.dish] = None
    if lot.made.bought:
        into["bought/" + lot.made.bought] = None
    for part in lot.made.parts if deep < _MOST_DEEP else ():
        try:
            _streams(context, lot_of(context.journal, part.code), into, deep + 1)
        except NotFound:
            into["dish/" + part.code] = None


def _forebears(context: Context, code: str, into: dict[str, None]) -> None:
    """A piece, and those it was cut from or tied of: their history is its own."""
    own = context.journal.fold(pieces.STREAM + code, tuple)
    if not own or pieces.STREAM + code in into:
        return
    into[pieces.STREAM + code] = None
    first = own[0].body
    before = (first.parent,) if isinstance(first, handling.SplitOff) else ()
    for one in tuple(first.parts) if isinstance(first, handling.TiedTogether) else before:
        _forebears(context, one, into)


def foods_of(context: Context, lot: LotState, *, deep: int = 0) -> Foods:
    """What is in one pack. Raises Refused (food_not_told) where that cannot be told."""
    said = lot_said(context.journal, lot.code).food
    if said is not None:
        return _told(context, lot, said)
    if lot.made.parts:
        return _mixed(context, lot, deep)
    if lot.made.piece:
        return _cured(context, lot)
    if lot.made.dish:
        return _dish(context, lot)
    raise Refused(Problem("food_not_told", "code", lot.code))


def _mixed(context: Context, lot: LotState, deep: int) -> Foods:
    """The parts by the mass of each that went in, and the piece or dish itself for the rest."""
    if deep >= _MOST_DEEP:
        raise Refused(Problem("food_not_told", "code", lot.code))
    foods: list[Food] = []
    assumed: list[tuple[str, str]] = []
    notes: list[Note] = []
    for part in lot.made.parts:
        try:
            source = lot_of(context.journal, part.code)
        except NotFound:
            raise Refused(Problem("food_not_told", "code", part.code)) from None
        found = foods_of(context, source, deep=deep + 1)
        whole = sum(food.mass_kg for food in found.foods)
        foods += [food.scaled(part.mass.value / whole) for food in found.foods]
        assumed += found.assumed
        notes += found.notes
    rest = lot.made.mass.value - sum(part.mass.value for part in lot.made.parts)
    if lot.made.piece or lot.made.dish:
        own = foods_of(context, replace(lot, made=lot.made.model_copy(update={"parts": ()})), deep=deep + 1)
        whole = sum(food.mass_kg for food in own.foods)
        foods += [food.scaled(max(rest, 0.0) / whole) for food in own.foods if rest > 0.0]
        assumed += own.assumed
        notes += own.notes
    return Foods(tuple(foods), tuple(dict.fromkeys(assumed)), tuple(notes))


def _told(context: Context, lot: LotState, said: Any) -> Foods:
    """As its owner says."""
    found = food_as_said(
        context,
        name=lot.name,
        food=said.food,
        isotherm=said.isotherm,
        mass_kg=lot.made.mass.value,
        water_frac=said.water.value,
        fat_frac=said.fat.value if said.fat else None,
        salt_frac=said.salt.value if said.salt else 0.0,
    )
    return Foods((found,))


def food_as_said(
    context: Context,
    *,
    name: str,
    food: str,
    isotherm: str | None,
    mass_kg: float,
    water_frac: float,
    fat_frac: float | None,
    salt_frac: float,
) -> Food:
    """A food of a class, or on an own isotherm. Raises Refused for a class that is not there."""
    library = context.library
    fat = fat_frac or 0.0
    if food.startswith("meat_"):
        protein = library.row("isotherms", "lean_meat")
        part = cured_part(
            name=name,
            mass_kg=mass_kg,
            water_frac=water_frac,
            fat_frac=fat,
            salt_frac=salt_frac,
            protein=ProteinIsotherm.from_row(protein),
            temp_low_c=_MEAT_TEMP_C[0],
            temp_high_c=_MEAT_TEMP_C[1],
        )
        return Food(name, (food,), mass_kg, fat_frac, part, (protein,))
    try:
        made = food_class(library=library, class_id=food)
    except NotFound:
        known = ", ".join(row.text("id") for row in library.rows(FOODS))
        raise Refused(Problem("not_one_of", "food", food, known)) from None
    shape = made.isotherm if isotherm is None else own_of(context, isotherm, made)
    part = dry_part(name=name, mass_kg=mass_kg, water_frac=water_frac, fat_frac=fat, isotherm=shape)
    table, _, row_id = made.row.partition(":")
    return Food(
        name,
        (food,),
        mass_kg,
        fat_frac,
        part,
        (library.row("food_classes", food), library.row(table, row_id)),
    )


def own_of(context: Context, key: str, like: FoodClass) -> Isotherm:
    """The isotherm of a person's own pairs. Raises Refused where there is none of that key."""
    try:
        kept = own_isotherm(context.journal, key).body
    except NotFound:
        known = ", ".join(sorted(_own_keys(context)))
        raise Refused(Problem("not_one_of", "isotherm", key, known)) from None
    water = np.array([pair.water.value for pair in kept.pairs])
    fat = kept.fat.value if kept.fat else 0.0
    return isotherm_from_pairs(
        aw=np.array([pair.aw.value for pair in kept.pairs]),
        water_ratio=water / (1.0 - water - fat),
        temp_c=kept.temperature.value,
        span_c=context.library.row("keeping_rules", "own_span").number("temp"),
        like=like.isotherm,
    ).isotherm


def _own_keys(context: Context) -> tuple[str, ...]:
    from saltfare.journal.pouch import isotherms

    return tuple(isotherms(context.journal))


def _cured(context: Context, lot: LotState) -> Foods:
    """Cured meat from the mass balance of its piece, its water set right by a measured activity."""
    try:
        state = piece_of(context.journal, lot.made.piece or "")
        water, fat, salt = _shares(context, state)
    except (NotFound, Refused, OutOfRange, NotConverged):
        raise Refused(Problem("food_not_told", "code", lot.code)) from None
    mass = lot.made.mass.value
    food = food_as_said(
        context,
        name=lot.name,
        food="meat_cut",
        isotherm=None,
        mass_kg=mass,
        water_frac=water,
        fat_frac=fat,
        salt_frac=salt,
    )
    since = state.last_weight[0] if state.last_weight else lot.made_at
    food, note = _as_measured(context, lot, food, since)
    notes = (note or Note("keeping_water_by_mass"),)
    whole = state.last_mass_kg or 0.0
    kind = "meat_cut"
    moist = context.library.row("keeping_rules", "fresh_water_limit").number("share")
    if lot.made.packs == 1 and mass >= _WHOLE_FRAC * whole:
        kind = "meat_whole"
    elif part_aw(part=food.part, temp_c=20.0)[0] < moist:
        kind = "meat_dried"
    return Foods((replace(food, kinds=(kind,)),), notes=notes)


def _shares(context: Context, state: PieceState) -> tuple[float, float, float]:
    """Water, fat and salt of the piece as it was taken down, of its mass then. Raises Refused."""
    last = state.last_weight
    if not state.hung or last is None:
        raise Refused(Problem("food_not_told", "code", state.code))
    at, mass = last
    down = state.taken_down[-1] if state.taken_down else None
    if down is not None and down.body.mass is not None:
        trim = down.body.trim.value if down.body.trim else 0.0
        at, mass = down.at, down.body.mass.value + trim
    made, now = made_of(context, state), state.comparable_kg(mass, at)
    water = made.water_kg - (state.hung[-1].body.mass.value - now)
    if not 0.0 < water < now:
        raise Refused(Problem("food_not_told", "code", state.code))
    return water / now, made.fat_kg / now, made.salt_kg / now


def _dish(context: Context, lot: LotState) -> Foods:
    """A dried dish: the isotherms of its lines by their dry solids, its water as it was aimed at."""
    library = context.library
    try:
        batch = dish_of(context.journal, lot.made.dish or "")
    except NotFound:
        raise Refused(Problem("food_not_told", "code", lot.code)) from None
    parts: list[Part] = []
    by_kind: dict[str, float] = {}
    fat, dry, unknown = 0.0, 0.0, []
    for line in batch.choice.lines:
        made = line_of(context, line)
        known = ingredient_amounts(ingredient=made.ingredient, cooked=True)
        water = known.known.get("water")
        if made.ingredient.food is None or water is None:
            unknown.append(line.name)
            continue
        line_fat = known.known.get("fat", 0.0)
        solids = known.mass_kg - water - line_fat
        fat, dry = fat + line_fat, dry + known.mass_kg - water
        kind = _kind_on_trays(library, kind_of(line=made, library=library))
        if kind is None or solids <= 0.0:
            continue
        by_kind[kind] = by_kind.get(kind, 0.0) + solids
        parts.append(Part(line.name, solids, 0.0, _isotherm(library, kind)))
    if not parts:
        raise Refused(Problem("food_not_told", "code", lot.code))
    aimed = batch.choice.target_water
    mass = lot.made.mass.value
    fat_frac = (1.0 - aimed.value) * fat / dry
    part = dry_part(
        name=lot.name, mass_kg=mass, water_frac=aimed.value, fat_frac=fat_frac, isotherm=blend(parts=parts)
    )
    kinds = tuple(sorted(by_kind, key=lambda one: -by_kind[one]))
    food = Food(lot.name, kinds, mass, fat_frac, part, tuple(library.row(FOODS, kind) for kind in kinds))
    food, note = _as_measured(context, lot, food, lot.made_at)
    assumed = [("unknown_line", name) for name in unknown]
    assumed += [] if note else [("water", aimed.typed)]
    return Foods((food,), tuple(assumed), (note,) if note else ())


def _kind_on_trays(library: Library, tray: str) -> str | None:
    for row in library.rows(FOODS):
        if tray in row.text("trays").split():
            return row.text("id")
    return None


def _isotherm(library: Library, kind: str) -> Isotherm:
    if kind.startswith("meat_"):
        return SaltedMeat(ProteinIsotherm.from_row(library.row("isotherms", "lean_meat")), 0.0, *_MEAT_TEMP_C)
    return food_class(library=library, class_id=kind).isotherm


def _as_measured(context: Context, lot: LotState, food: Food, since: datetime) -> tuple[Food, Note | None]:
    """The food with its water set right by the water activity measured last, where one was."""
    measured = _measured_aw(context, lot, since)
    if measured is None or not AW_FLOOR < measured < food.part.isotherm.ceiling(20.0):
        return food, None
    ratio = float(food.part.isotherm.water(aw=np.asarray(measured), temp_c=20.0)[0])
    part = replace(food.part, water_kg=food.part.solids_kg * ratio)
    return replace(food, part=part), Note("keeping_measured_aw", {"aw": round(measured, 3)})


def _measured_aw(context: Context, lot: LotState, since: datetime) -> float | None:
    """The water activity measured last, of the lot or of its piece once it was weighed last."""
    try:
        found = item(context, lot.code)
    except (NotFound, Refused):
        return None
    value = None
    for happened in found.of(judged.MeasurementTaken):
        body = happened.body
        if not isinstance(body, judged.MeasurementTaken) or body.quantity != "water_activity":
            continue
        if happened.at >= since:
            try:
                value = jar_value(context, body.jar)[0] if body.jar else body.value.value
            except OutOfRange:
                continue
    return value
