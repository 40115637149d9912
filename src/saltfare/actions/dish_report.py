"""What a plan of a dish shows: composition, allergens, cost, the mass to stop at, hours, the pouch at camp.

Every figure hangs on the trace of what made it, down to the rows of the foods.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import timedelta

from saltfare.actions.context import Context
from saltfare.actions.dish_beside import Carried, carried, meat_answers
from saltfare.actions.dish_recipe import FoodKnown, food_known, line_of
from saltfare.actions.dish_report_shapes import (
    BesideShown,
    ClassShown,
    CostShown,
    DietShown,
    DishReport,
    LineShown,
    NutrientShown,
    OwnBesideShown,
    PartShown,
    PouchShown,
    StepOfDish,
    TrayPoint,
    TraysShown,
    TrayWeightShown,
    WhenShown,
)
from saltfare.actions.dish_toxin import toxin_note
from saltfare.actions.shapes import Tracer
from saltfare.core.figure import Figure, Note
from saltfare.core.tables import Row
from saltfare.journal import events_dish as kinds
from saltfare.journal.dish import DishState
from saltfare.models import dish as dishes
from saltfare.models import trays_end
from saltfare.models.composition import NUTRIENTS, Amounts, portion, salt_from_sodium
from saltfare.models.cooking import ingredient_amounts
from saltfare.models.declared import ClassFound, Declared, allergens_found, diet_found
from saltfare.models.soaking_heat import boiling_temp
from saltfare.models.trays_end import Band
from saltfare.plans.dish_plan import kind_of, pouch_at
from saltfare.plans.dish_plan_parts import DishLine, DishPlan, DishStep, When
from saltfare.plans.dish_plan_pouch import Camp, PouchPlan, pouch_plan
from saltfare.plans.dish_plan_refit import RULES, tray_forecast

MAIN = (
    *("energy", "energy_general", "energy_eu", "water", "protein", "fat", "saturates"),
    *("carbohydrate", "carbohydrate_available", "sugars", "fibre", "salt_equivalent", "sodium"),
)
_MORE = tuple(name for name in NUTRIENTS if name not in MAIN)
_HUNDRED_KG = 0.1


def report(
    context: Context,
    choice: kinds.DishChoice,
    *,
    plan: DishPlan | None,
    cooked_kg: float | None = None,
    left_behind_kg: float = 0.0,
    weights: Sequence[TrayWeightShown] = (),
    notes: Sequence[Note] = (),
    unusual: Sequence[str] = (),
    of: DishState | None = None,
) -> DishReport:
    """Everything to show of a dish. plan: None where its solids are not known. of: the batch it is."""
    tracer = Tracer()
    lines = [line_of(context, line) for line in choice.lines]
    foods_beside = [line for line in choice.beside if line.own is None]
    known = [food_known(context, line.food) if line.food else None for line in choice.lines]
    made = plan.dish if plan else as_cooked(lines, cooked_kg, left_behind_kg)
    trace = _composition_trace(context, tracer, choice, lines, known, made)
    each = plan.packs.each if plan else None
    water = dishes.water_frac(amounts=made.cooked)
    shown = _nutrients(made.cooked, made.dried, each, trace)
    laws = _laws(context, lines)
    dried = made.dried
    return DishReport(
        lines=tuple(_line(context, *one, made) for one in zip(choice.lines, lines, known, strict=True)),
        beside_lines=tuple(
            _line(
                context,
                line,
                line_of(context, line),
                food_known(context, line.food) if line.food else None,
                None,
            )
            for line in foods_beside
        ),
        order=_order(lines, dried.mass_kg if dried else made.cooked.mass_kg),
        put_in=tracer.figure(made.put_in.mass_kg, "mass", trace),
        cooked=tracer.figure(made.cooked.mass_kg, "mass", trace),
        cooked_weighed=made.weighed,
        water=tracer.figure(water, "fraction", trace, notes=_missing_notes(made.cooked, "water")),
        dried=tracer.figure(dried.mass_kg, "mass", trace) if dried else None,
        servings=choice.servings,
        packs=plan.packs.count if plan else choice.packs,
        pack=tracer.figure(each.mass_kg, "mass", trace) if each else None,
        left_over=tracer.figure(plan.packs.left_over_kg, "mass", trace) if plan else None,
        main=tuple(one for one in shown if one.nutrient in MAIN),
        more=tuple(one for one in shown if one.nutrient in _MORE),
        us=laws["us"],
        eu=laws["eu"],
        diets=_diets(context, _declared(lines)),
        cost=_cost(choice, lines, plan.packs.count if plan else choice.packs),
        trays=_trays(context, tracer, plan, weights) if plan else None,
        pouch=_pouch(context, tracer, plan, plan.pouch) if plan and plan.pouch else None,
        cold=_cold(context, tracer, plan) if plan else None,
        beside=_beside(context, choice, plan, trace, of),
        steps=tuple(_step(step) for step in plan.steps) if plan else (),
        without_composition=made.without_composition,
        unusual=tuple(unusual),
        notes=(*notes, *toxin_note(context, choice.lines), *_notes(plan, made, lines)),
        traces=tracer.traces,
    )


def as_cooked(lines: Sequence[DishLine], cooked_kg: float | None, left_behind_kg: float) -> dishes.Dish:
    """The dish as put in and as cooked, where it is not known when it is dry. Raises Refused."""
    return dishes.dish(
        ingredients=[line.ingredient for line in lines],
        cooked_mass_kg=cooked_kg,
        left_behind_kg=left_behind_kg,
        target_water_frac=None,
        drying=None,
    )


def _composition_trace(
    context: Context,
    tracer: Tracer,
    choice: kinds.DishChoice,
    lines: Sequence[DishLine],
    known: Sequence[FoodKnown | None],
    made: dishes.Dish,
) -> str:
    inputs: dict[str, str | float | int | None] = {}
    rows: list[Row] = []
    for line, of, food in zip(choice.lines, lines, known, strict=True):
        inputs[line.name] = of.ingredient.edible_kg
        if food is not None:
            rows.append(food.row)
        for ref in (of.ingredient.retention, of.ingredient.change):
            if ref is not None:
                table, _, row_id = ref.ref.partition(":")
                rows.append(context.library.row(table, row_id))
    inputs["cooked_mass"] = made.cooked.mass_kg if made.weighed else None
    inputs["target_water"] = choice.target_water.value
    return tracer.trace(dishes.dish, inputs, tuple({row.ref: row for row in rows}.values()))


def _line(
    context: Context,
    line: kinds.RecipeLine,
    of: DishLine,
    known: FoodKnown | None,
    made: dishes.Dish | None,
) -> LineShown:
    lies = kind_of(line=of, library=context.library)
    row = context.library.row("tray_foods", lies)
    price = line.price_minor
    return LineShown(
        name=line.name,
        food=line.food,
        food_name=known.row.text("name") if known else "",
        ref=known.row.ref if known else "",
        typed=line.mass.typed,
        mass_kg=line.mass.value,
        share_frac=of.ingredient.edible_kg / made.put_in.mass_kg if made else 0.0,
        lies=lies,
        lies_said=bool(line.kind),
        size_m=of.size_m if of.size_m is not None else row.number_or_none("size_mm"),
        cooking=line.cooking,
        water_frac=known.row.number_or_none("water") if known else None,
        cost_minor=None if price is None else round(price * line.mass.value),
        measures=tuple(m.name for m in known.measures[:6]) if known else (),
    )


def _nutrients(
    cooked: Amounts, dried: Amounts | None, each: Amounts | None, trace: str
) -> tuple[NutrientShown, ...]:
    """Each nutrient per 100 g and in a pack; what is not known of a part is named, never counted as none."""
    out = []
    for name in (*MAIN, *_MORE):
        missing = cooked.missing.get("sodium" if name == "salt_equivalent" else name, ())
        kind = "energy:kcal" if name.startswith("energy") else "mass:g" if name in MAIN else "mass:mg"
        if name == "energy_eu":
            kind = "energy:kJ"
        if name == "sodium":
            kind = "mass:mg"

        def told(amounts: Amounts | None, kg: float | None, name: str = name, kind: str = kind) -> Figure:
            value = None
            if amounts is not None:
                of = portion(amounts=amounts, mass_kg=kg) if kg is not None else amounts
                value = _value(of, name)
            return Figure(value, kind, trace=trace)

        out.append(
            NutrientShown(
                nutrient=name,
                cooked=told(cooked, _HUNDRED_KG),
                dried=told(dried, _HUNDRED_KG) if dried else None,
                pack=told(each, None) if each else None,
                missing=missing,
            )
        )
    return tuple(out)


def _value(amounts: Amounts, name: str) -> float | None:
    if name == "salt_equivalent":
        sodium = amounts.at_least("sodium")
        return None if sodium is None else salt_from_sodium(sodium_kg=sodium)
    return amounts.at_least(name)


def _missing_notes(amounts: Amounts, nutrient: str) -> tuple[Note, ...]:
    missing = amounts.missing.get(nutrient, ())
    return (Note("nutrient_incomplete", {"ingredients": ", ".join(missing)}),) if missing else ()


def _order(lines: Sequence[DishLine], finished_kg: float) -> tuple[tuple[str, float], ...]:
    put_in = [(one.ingredient.name, one.ingredient.edible_kg, one.pantry == "water") for one in lines]
    return dishes.ingredient_order(
        masses_kg=[(name, kg) for name, kg, water in put_in if not water],
        water_kg=sum(kg for _, kg, water in put_in if water),
        finished_kg=finished_kg,
        water_name=next((name for name, _, water in put_in if water), "water"),
    )


def _laws(context: Context, lines: Sequence[DishLine]) -> Mapping[str, tuple[ClassShown, ...]]:
    rows = list(context.library.rows("allergens"))
    pairs = _declared(lines)
    return {
        law: _classes(
            allergens_found(ingredients=pairs, classes={row.text("id"): row.text(law) for row in rows})
        )
        for law in ("us", "eu")
    }


def _classes(found: Sequence[ClassFound]) -> tuple[ClassShown, ...]:
    return tuple(
        ClassShown(allergen_class=c.allergen_class, presence=c.presence.value, by=c.by, unsure=c.unsure)
        for c in found
    )


def _declared(lines: Sequence[DishLine]) -> list[tuple[str, Declared]]:
    return [(line.ingredient.name, line.declared) for line in lines]


def _diets(context: Context, declared: Sequence[tuple[str, Declared]]) -> tuple[DietShown, ...]:
    out = []
    for row in context.library.rows("diets"):
        found = diet_found(
            ingredients=declared,
            leaves_out=frozenset(row.text("leaves_out").split()),
        )
        out.append(
            DietShown(
                diet=row.text("id"), answer=found.answer.value, because=found.because, unsure=found.unsure
            )
        )
    return tuple(out)


def _cost(choice: kinds.DishChoice, lines: Sequence[DishLine], packs: int) -> CostShown:
    cost = dishes.ingredients_cost(
        bought_kg=[(line.ingredient.name, line.ingredient.mass_kg) for line in lines],
        price_minor_per_kg={
            line.name: float(line.price_minor) for line in choice.lines if line.price_minor is not None
        },
    )
    free = {line.ingredient.name for line in lines if line.pantry == "water"}
    return CostShown(
        known_minor=cost.known_minor,
        pack_minor=dishes.shares_minor(total_minor=cost.known_minor, weights=[1.0] * packs)[0],
        without_price=tuple(name for name in cost.without_price if name not in free),
    )


def _when(when: When) -> WhenShown:
    return WhenShown(low=when.low, middle=when.middle, high=when.high)


def _trays(
    context: Context, tracer: Tracer, plan: DishPlan, weights: Sequence[TrayWeightShown]
) -> TraysShown:
    request, forecast, library = plan.request, plan.forecast, context.library
    rules = tuple(library.row(RULES, name) for name in ("solids", "film", "diffusivity", "model_error"))
    rows = tuple(library.row(*ref.split(":", 1)) for ref in plan.rows)
    inputs: dict[str, str | float | int | None] = {
        "trayed_mass": plan.trayed_kg,
        "dish_water": plan.water_frac,
        "target_water": request.target_water_frac,
        "weights": len(request.weights),
    }
    ends = tracer.trace(trays_end.end_mass, inputs, (rules[0],))
    hours = tracer.trace(
        tray_forecast,
        {**inputs, "dryer_temperature": request.dryer.temp_c, "trays": request.dryer.trays},
        (*rules, *rows),
    )
    energy = tracer.trace(trays_end.drying_energy, {"power_w": request.dryer.power_w})

    def band(value: Band, kind: str, trace: str) -> Figure:
        return tracer.figure(value.middle, kind, trace, span=(value.low, value.high), interval="band_80")

    solids = plan.solids.solids_frac * plan.trayed_kg
    return TraysShown(
        laid=tracer.figure(plan.trayed_kg, "mass", ends),
        solids=tracer.figure(solids, "mass", ends),
        end=band(plan.end_kg, "mass", ends),
        end_water=band(plan.water_at_end, "fraction", ends),
        start=request.start,
        dry=_when(plan.dry),
        nothing_wet=_when(plan.nothing_wet),
        bed=request.bed,
        overnight=plan.overnight,
        wet_warm=band(forecast.wet_warm_s, "time", hours),
        thinner=None if plan.thinner_load_kg is None else tracer.figure(plan.thinner_load_kg, "mass", hours),
        slow=plan.slow,
        parts=tuple(PartShown(name=name, dry_s=dry) for name, dry in forecast.part_dry_s),
        food_temp_c=forecast.food_temp_c,
        end_point=plan.end_point,
        energy=band(plan.energy.by_power_j or plan.energy.by_water_j, "energy:kWh", energy),
        cost_minor=plan.energy.cost_minor,
        air=band(forecast.air, "ratio", hours),
        diffusivity=band(forecast.diffusivity, "ratio", hours),
        solids_learnt=band(forecast.solids, "ratio", hours),
        curve=tuple(
            TrayPoint(
                at=request.start + timedelta(seconds=point.time_s),
                low_kg=point.mass_kg.low,
                middle_kg=point.mass_kg.middle,
                high_kg=point.mass_kg.high,
            )
            for point in forecast.curve
        ),
        weights=tuple(weights),
    )


def _pouch(context: Context, tracer: Tracer, plan: DishPlan, pouch: PouchPlan) -> PouchShown:
    camp = plan.request.camp
    if camp is None:
        raise ValueError("a pouch has a camp")
    return pouch_shown(context, tracer, plan, pouch, camp)


def pouch_shown(context: Context, tracer: Tracer, plan: DishPlan, pouch: PouchPlan, camp: Camp) -> PouchShown:
    """A pouch at a camp, with where its figures come from."""
    library = context.library
    rows = tuple(
        library.row(RULES, name)
        for name in ("water_back", "hold_back", "soak_energy", "cooling", "wet_clock")
    )
    trace = tracer.trace(
        pouch_plan,
        {
            "pack_mass": plan.packs.each.mass_kg,
            "camp_altitude": camp.altitude_m,
            "camp_air": camp.air_temp_c,
            "cover": camp.cover,
            "taste": plan.request.taste_factor,
            "tests": len(plan.request.trials),
        },
        (*rows, library.row("pouch_covers", camp.cover)),
    )

    def band(value: Band, kind: str) -> Figure:
        return tracer.figure(value.middle, kind, trace, span=(value.low, value.high), interval="band_80")

    def plain(value: float, kind: str) -> Figure:
        return tracer.figure(value, kind, trace)

    low, middle, high = pouch.soft_s
    return PouchShown(
        pack=plain(plan.packs.each.mass_kg, "mass"),
        water=band(pouch.water_kg, "mass:g"),
        first_pour=plain(pouch.pour.first_kg, "mass:g"),
        held_back=plain(pouch.pour.held_back_kg, "mass:g"),
        cups=pouch.pour.cups,
        soft_low_s=low,
        soft_s=middle,
        soft_high_s=high,
        slow=pouch.slow,
        stir_s=pouch.stir_s,
        boil=tracer.figure(
            pouch.boil_c, "temperature", tracer.trace(boiling_temp, {"camp_altitude": camp.altitude_m})
        ),
        altitude_m=camp.altitude_m,
        air_c=camp.air_temp_c,
        wind_m_per_s=camp.wind_m_per_s,
        cover=camp.cover,
        water_c=camp.water_temp_c,
        hot=plain(pouch.above_hot_s, "time"),
        eat_within=plain(pouch.eat_within_s, "time"),
        unstirred_dry=plain(pouch.unstirred_dry_frac, "fraction"),
        unstirred_even=plain(pouch.unstirred_even_s, "time"),
        learnt_water=band(pouch.learnt_water, "ratio"),
        learnt_minutes=band(pouch.learnt_minutes, "ratio"),
        tests=len(plan.request.trials),
        notes=pouch.notes,
    )


def _cold(context: Context, tracer: Tracer, plan: DishPlan) -> PouchShown | None:
    """The same pack soaked cold, in water as cold as the camp's air and never below freezing."""
    camp = plan.request.camp
    if camp is None or camp.water_temp_c is not None or camp.air_temp_c < 1.0:
        return None
    cold = Camp(
        altitude_m=camp.altitude_m,
        air_temp_c=camp.air_temp_c,
        wind_m_per_s=camp.wind_m_per_s,
        cover=camp.cover,
        water_temp_c=camp.air_temp_c,
        pouch_area_m2=camp.pouch_area_m2,
        pouch_height_m=camp.pouch_height_m,
        cup_m3=camp.cup_m3,
    )
    return pouch_shown(context, tracer, plan, pouch_at(plan=plan, camp=cold, library=context.library), cold)


def _beside(
    context: Context, choice: kinds.DishChoice, plan: DishPlan | None, trace: str, of: DishState | None
) -> BesideShown | None:
    if plan is None or plan.beside is None:
        return None
    beside = plan.beside
    return BesideShown(
        names=tuple(line.name for line in choice.beside),
        added=_whole(beside.added, trace),
        together=_whole(beside.together, trace),
        us=_classes(beside.allergens["us"]),
        eu=_classes(beside.allergens["eu"]),
        diets=_diets(context, beside.declared),
        own=tuple(_own(context, one) for one in carried(context, choice, of=of) if one.code),
    )


def _own(context: Context, one: Carried) -> OwnBesideShown:
    return OwnBesideShown(
        code=one.code,
        name=one.part.name,
        mass_kg=one.part.amounts.mass_kg,
        hangs=one.hangs,
        answers=meat_answers(context, one.code),
        agents=one.agents,
        notes=one.notes,
        against=one.against,
    )


def _whole(amounts: Amounts, trace: str) -> tuple[NutrientShown, ...]:
    """The main nutrients of all of something, as `pack`."""
    return tuple(one for one in _nutrients(amounts, None, amounts, trace) if one.nutrient in MAIN)


def _step(step: DishStep) -> StepOfDish:
    params: dict[str, str | float | int] = {} if step.mass_kg is None else {"mass_kg": step.mass_kg}
    return StepOfDish(code=step.code, at=step.at, until=step.until, params=params)


def _notes(plan: DishPlan | None, made: dishes.Dish, lines: Sequence[DishLine]) -> tuple[Note, ...]:
    found = [Note("composition_missing", {"ingredient": name}) for name in made.without_composition]
    uncounted = [
        one.ingredient.name
        for one in lines
        if one.ingredient.food is not None
        and one.ingredient.retention is None
        and one.ingredient.change is None
        and one.pantry is None
        and ingredient_amounts(ingredient=one.ingredient, cooked=False).at_least("vitamin_c")
    ]
    if uncounted:
        found.append(Note("retention_not_counted", {"ingredients": ", ".join(dict.fromkeys(uncounted))}))
    if made.drying_estimated:
        found.append(Note("drying_retention_estimated"))
    if plan is None:
        without = made.cooked.missing.get("water", ())
        found.append(Note("solids_unknown", {"ingredients": ", ".join(without)}))
        if not made.weighed:
            found.append(Note("cooked_mass_not_weighed"))
        return tuple(found)
    return (*plan.notes, *found)
