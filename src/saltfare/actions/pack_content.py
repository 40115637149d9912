"""What one pack of a lot holds: energy, nutrients, water, allergens, and what is added to eat it.

What is not known of a part is not known of the pack: it is None and the part is named, never nought.
"""

from __future__ import annotations

from dataclasses import replace
from math import fsum

from saltfare.actions.context import Context
from saltfare.actions.cured_content import cured_share, down_kg
from saltfare.actions.dish_beside import Carried, carried
from saltfare.actions.dish_recipe import line_of
from saltfare.actions.dish_view import plan_of
from saltfare.actions.food_book import food_row
from saltfare.actions.pack_food import foods_of
from saltfare.actions.pack_keeping import bulk_of
from saltfare.actions.pack_whole import BesidePack, PackContent, PutIn, content_made
from saltfare.actions.shapes import Tracer
from saltfare.core.errors import NotConverged, NotFound, OutOfRange, Problem, Refused
from saltfare.core.figure import Note
from saltfare.journal.dish import DishState
from saltfare.journal.dish import dish as dish_of
from saltfare.journal.events_lot import PackPart
from saltfare.journal.lot import LotState
from saltfare.journal.lot import lot as lot_of
from saltfare.journal.piece import PieceState
from saltfare.journal.piece import piece as piece_of
from saltfare.journal.pouch import lot_said
from saltfare.journal.shelf import bought as bought_of
from saltfare.models.composition import (
    DERIVED,
    NUTRIENTS,
    Amounts,
    Food,
    energies_known,
    missing_all,
    portion,
    salt_from_sodium,
    total,
)
from saltfare.models.cured_food import cured_amounts
from saltfare.models.declared import UNKNOWN, Declared
from saltfare.models.label_food import Law, food_from_label
from saltfare.plans.dish_plan import dish_plan, pouch_at

_WATER = ("water", "14411")
_MOST_DEEP = 4


def pack_content(context: Context, lot: LotState) -> PackContent:
    """What one pack of a lot holds; where nothing tells, everything is missing under the lot's name."""
    return _content(context, lot, 0)


def piece_content(context: Context, state: PieceState, *, mass_kg: float | None = None) -> PackContent:
    """What a piece holds at a mass; without one at its last mass, or at its target where it still dries.

    Raises Refused (content_not_told) where its mass is not known.
    """
    mass = mass_kg
    if mass is None:
        last, target = state.last_mass_kg, state.target_now_kg
        mass = last if target is None or state.taken_down or (last or target) < target else target
    if mass is None or not mass > 0.0:
        raise Refused(Problem("content_not_told", "code", state.code))
    return _of_piece(context, state, whole_kg=mass, pack_kg=mass)


def dish_content(context: Context, state: DishState, *, pack_kg: float | None = None) -> PackContent:
    """What a pack of a batch holds, as packed or as planned. Raises Refused (content_not_told)."""
    try:
        plan = plan_of(context, state, pack_kg=pack_kg)
    except (Refused, OutOfRange, NotConverged):
        raise Refused(Problem("content_not_told", "code", state.code)) from None
    lines, each, pouch = plan.request.lines, plan.packs.each, plan.pouch
    tracer = Tracer()
    trace = tracer.trace(
        dish_plan,
        {"code": state.code, "pack_mass": each.mass_kg, "target_water": plan.request.target_water_frac},
        tuple({one.food: food_row(context, one.food) for one in state.choice.lines if one.food}.values()),
    )
    # what was laid on the trays, and of that one pack
    laid = plan.trayed_kg / plan.dish.cooked.mass_kg
    dried = plan.packs.count * each.mass_kg + plan.packs.left_over_kg
    share = each.mass_kg / dried * laid
    put_in = tuple(
        PutIn(
            line.ingredient.name,
            line.ingredient.edible_kg * share,
            line.declared,
            line.pantry == _WATER[0] or (said.food in _WATER),
        )
        for line, said in zip(lines, state.choice.lines, strict=True)
    )
    beside = carried(context, state.choice, of=state)
    notes = [*(pouch.notes if pouch else ()), *(note for one in beside for note in one.notes)]
    water = pouch.pour.volume_m3 * 1e6 if pouch else None
    soft = pouch.soft_s if pouch else (None, None, None)
    cold = None
    if plan.request.camp is not None:
        camp = replace(plan.request.camp, water_temp_c=plan.request.camp.air_temp_c)
        soaked = pouch_at(plan=plan, camp=camp, library=context.library)
        # a soak that outlasts the hours it may stay wet is no way to bring it back
        late = soaked.soft_s[2]
        cold = soaked.soft_s[1] if late is not None and late <= soaked.eat_within_s else None
    return content_made(
        context,
        each,
        put_in,
        parts=(state.name,),
        water_to_add_ml=water,
        minutes=_minutes(soft[1]),
        minutes_span=(_minutes(soft[0]), _minutes(soft[2])),
        stir_minutes=tuple(s / 60.0 for s in pouch.stir_s) if pouch else (),
        cold_minutes=_minutes(cold),
        first_pour_ml=None
        if pouch is None or water is None
        else water * pouch.pour.first_kg / pouch.water_kg.middle,
        beside=tuple(_beside(one) for one in beside),
        together=plan.beside.together if plan.beside else None,
        pouch_m=(state.choice.camp.pouch_width.value, state.choice.camp.pouch_height.value),
        cover=state.choice.camp.cover,
        cup_ml=state.choice.camp.cup.value * 1e6 if state.choice.camp.cup else None,
        servings=state.choice.servings * each.mass_kg / dried,
        notes=tuple(notes),
        trace=trace,
        traces=tracer.traces,
    )


def _beside(one: Carried) -> BesidePack:
    return BesidePack(
        name=one.part.name,
        amounts=one.part.amounts,
        put_in=tuple(PutIn(*told) for told in one.put_in),
        agents=one.agents,
        own=one.code,
        against=one.against,
    )


def _minutes(time_s: float | None) -> float | None:
    return None if time_s is None else time_s / 60.0


def _content(context: Context, lot: LotState, deep: int) -> PackContent:
    if deep > _MOST_DEEP:
        return _unknown(context, lot)
    made, mass = lot.made, lot.made.mass.value
    try:
        if made.parts:
            found = _mixed(context, lot, deep)
        elif made.piece:
            state = piece_of(context.journal, made.piece)
            found = _of_piece(context, state, whole_kg=down_kg(state), pack_kg=mass)
        elif made.dish:
            found = dish_content(context, dish_of(context.journal, made.dish), pack_kg=mass)
        elif made.bought:
            found = _bought(context, made.bought, mass)
        else:
            found = _unknown(context, lot)
    except (NotFound, Refused):
        found = _unknown(context, lot)
    return replace(found, volume_ml=_volume_ml(context, lot))


def _unknown(context: Context, lot: LotState) -> PackContent:
    """A pack of which nothing is known but what its owner told of its food; the lines of a recipe that
    cannot be reckoned keep what is declared of them."""
    mass, name = lot.made.mass.value, lot.name
    put_in: tuple[PutIn, ...] = (PutIn(name, mass, UNKNOWN),)
    beside: tuple[BesidePack, ...] = ()
    if lot.made.dish:
        try:
            batch = dish_of(context.journal, lot.made.dish)
            beside = tuple(_beside(one) for one in carried(context, batch.choice, of=batch))
            lines = [line_of(context, one) for one in batch.choice.lines]
            put_in = tuple(
                PutIn(
                    line.ingredient.name,
                    line.ingredient.edible_kg,
                    line.declared,
                    line.pantry == _WATER[0],
                )
                for line in lines
            )
        except (NotFound, Refused):
            pass
    said = lot_said(context.journal, lot.code).food
    known: dict[str, float] = {}
    if said is not None:
        known["water"] = said.water.value * mass
        if said.fat is not None:
            known["fat"] = said.fat.value * mass
        if said.salt is not None:
            known["sodium"] = said.salt.value * mass / salt_from_sodium(sodium_kg=1.0)
    missing = missing_all(name=name, nutrients=[one for one in (*NUTRIENTS, *DERIVED) if one not in known])
    tracer = Tracer()
    return content_made(
        context,
        Amounts(mass, known, missing),
        put_in,
        parts=(name,),
        beside=beside,
        notes=(Note("content_not_known", {"name": name}),),
        trace=tracer.trace(total, {"net_mass": mass}),
        traces=tracer.traces,
    )


def _volume_ml(context: Context, lot: LotState) -> float | None:
    """The pouch's own where it was told, else the food as it lies poured."""
    pouch = lot.made.pouch
    if pouch is not None and pouch.volume is not None:
        return pouch.volume.value * 1e6
    try:
        foods = foods_of(context, lot).foods
        return 1e6 * fsum(food.mass_kg / bulk_of(context, food.kinds[0])[1] for food in foods)
    except (Refused, NotFound, OutOfRange, NotConverged):
        return None


# a cured piece


def _of_piece(context: Context, state: PieceState, *, whole_kg: float, pack_kg: float) -> PackContent:
    found = cured_share(context, state, whole_kg=whole_kg, mass_kg=pack_kg)
    tracer = Tracer()
    inputs = {
        "green_weight": state.green_weight_kg,
        "fat_share": found.whole.fat_frac,
        "salt_taken_up": found.whole.salt_kg,
        "finished_mass": found.uncut_kg,
    }
    trace = tracer.trace(cured_amounts, inputs, found.whole.rows)
    return content_made(
        context,
        found.amounts,
        tuple(PutIn(*one) for one in found.put_in),
        parts=(state.name,),
        agents=found.whole.agents,
        notes=found.whole.notes,
        trace=trace,
        traces=tracer.traces,
    )


# a bought pack


def _bought(context: Context, key: str, mass_kg: float) -> PackContent:
    told = bought_of(context.journal, key).described
    printed = {
        name: value.value
        for name in (*("energy", "protein", "fat", "carbohydrate", "sugars", "fibre"), "salt", "sodium")
        if (value := getattr(told, name)) is not None
    }
    # a label that gives sodium counts fibre in carbohydrate, one that gives salt does not
    law: Law = "us" if told.sodium is not None and told.salt is None else "eu"
    basis = told.mass.value if told.per == "pack" else 0.1
    label = food_from_label(amounts=printed, basis_kg=basis, law=law, water_frac=None)
    food = Food(f"bought:{key}", told.name, {**label.per_kg, "alcohol": 0.0}, (None, None, None), None, None)
    known = {name: value * mass_kg for name, value in food.per_kg.items()}
    known |= energies_known(food=food, mass_kg=mass_kg, known=known, listed_j=known.get("energy"))
    if law == "eu" and told.carbohydrate is not None:
        known["carbohydrate_available"] = told.carbohydrate.value / basis * mass_kg
    missing = missing_all(name=told.name, nutrients=[n for n in (*NUTRIENTS, *DERIVED) if n not in known])
    declared = Declared(
        None if told.allergens is None else frozenset(told.allergens),
        frozenset(told.may_contain),
        None if told.holds is None else frozenset(told.holds),
        frozenset(told.may_hold),
    )
    tracer = Tracer()
    trace = tracer.trace(food_from_label, {"label": told.name, "basis_mass": basis, "net_mass": mass_kg})
    scale = mass_kg / told.mass.value
    return content_made(
        context,
        Amounts(mass_kg, known, missing),
        (PutIn(told.name, mass_kg, declared),),
        parts=(told.name,),
        printed=told.ingredients,
        water_to_add_ml=None if told.water is None else told.water.value * scale * 1e6,
        minutes=_minutes(told.wait.value) if told.wait else None,
        cold_minutes=_minutes(told.cold_wait.value) if told.cold_wait else None,
        servings=(told.servings.value if told.servings else 1.0) * scale,
        notes=label.notes,
        trace=trace,
        traces=tracer.traces,
    )


# a mixed pack


def _mixed(context: Context, lot: LotState, deep: int) -> PackContent:
    """The parts by the mass of each that went in, and the piece or dish itself for the rest."""
    made = lot.made
    found = [_part(context, part, deep + 1) for part in made.parts]
    rest = made.mass.value - fsum(one.mass_kg for one in found)
    if (made.piece or made.dish) and rest > 0.0:
        alone = made.model_copy(update={"parts": (), "mass": made.mass.model_copy(update={"value": rest})})
        found.append(_content(context, replace(lot, made=alone), deep + 1))
    tracer = Tracer()
    for one in found:
        tracer.traces.update(one.traces)
    masses = {f"mass_{i}": one.mass_kg for i, one in enumerate(found, 1)}
    trace = tracer.trace(total, masses)
    waters = [one.water_to_add_ml for one in found if one.water_to_add_ml is not None]
    slow = max(found, key=lambda one: one.minutes or 0.0)
    return content_made(
        context,
        total(parts=[one.amounts for one in found]),
        tuple(item for one in found for item in one.put_in),
        parts=tuple(name for one in found for name in one.parts),
        agents=tuple(dict.fromkeys(agent for one in found for agent in one.agents)),
        printed="; ".join(one.printed for one in found if one.printed),
        water_to_add_ml=fsum(waters) if waters else None,
        minutes=slow.minutes,
        minutes_span=slow.minutes_span,
        stir_minutes=slow.stir_minutes,
        cold_minutes=max((one.cold_minutes for one in found if one.cold_minutes), default=None),
        servings=max(one.servings for one in found),
        notes=tuple({note.code: note for one in found for note in one.notes}.values()),
        trace=trace,
        traces=tracer.traces,
    )


def _part(context: Context, part: PackPart, deep: int) -> PackContent:
    """What went in of a lot, or of a batch or piece that never was one."""
    mass = part.mass.value
    journal = context.journal
    try:
        return _scaled(context, _content(context, lot_of(journal, part.code), deep), mass)
    except NotFound:
        pass
    try:
        return dish_content(context, dish_of(journal, part.code), pack_kg=mass)
    except NotFound:
        state = piece_of(journal, part.code)
        return _of_piece(context, state, whole_kg=down_kg(state), pack_kg=mass)


def _scaled(context: Context, found: PackContent, mass_kg: float) -> PackContent:
    factor = mass_kg / found.mass_kg
    water = found.water_to_add_ml
    return replace(
        found,
        amounts=portion(amounts=found.amounts, mass_kg=mass_kg),
        put_in=tuple(replace(one, mass_kg=one.mass_kg * factor) for one in found.put_in),
        water_to_add_ml=None if water is None else water * factor,
        servings=found.servings * factor,
    )
