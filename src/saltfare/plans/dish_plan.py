"""A dish from recipe, trays and packing to a dated plan: amounts, the mass to stop at, when, and what then.

The end point is a mass with its interval, never a time; the clock says when to look. Every batch has one
test pouch, and what it shows goes into the next label.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np

from saltfare.core import tables
from saltfare.core.errors import Problem, Refused
from saltfare.core.library import Library
from saltfare.models import dish as dishes
from saltfare.models import trays, trays_end
from saltfare.models.air import latent_heat
from saltfare.models.composition import Amounts, total
from saltfare.models.cooking import ingredient_amounts
from saltfare.models.declared import ClassFound, Declared, allergens_found
from saltfare.models.thermal import Composition, density_choi_okos
from saltfare.models.trays import Dryer, TrayLoad, TrayPart
from saltfare.models.trays_air import Gab
from saltfare.models.trays_end import Band, EndPoint, Solids
from saltfare.models.trays_layers import Diffusivity
from saltfare.plans.dish_plan_notes import FALLBACK, notes_of, steps_of
from saltfare.plans.dish_plan_parts import (
    Beside,
    DishLine,
    DishPlan,
    DishRequest,
    DryingCost,
    Overnight,
    When,
)
from saltfare.plans.dish_plan_pouch import Camp, PouchPart, PouchPlan, pouch_plan
from saltfare.plans.dish_plan_refit import RULES, TrayForecast, TrayPriors, tray_forecast

_Z80 = 1.2815515655446004  # 10th and 90th of a hundred of a normal distribution
_THINNER_ROUNDS = 6


def dish_plan(*, request: DishRequest, library: Library) -> DishPlan:
    """Plan a dish, or go on with one under way.

    Parameters
    ----------
    request : what was asked and weighed
    library : the figures it rests on

    Raises
    ------
    Refused with what stands against it; OutOfRange

    Source
    ------
    saltfare_chosen, order of a plan
    """
    made = dishes.dish(
        ingredients=[line.ingredient for line in request.lines],
        cooked_mass_kg=request.cooked_mass_kg,
        left_behind_kg=request.left_behind_kg,
        target_water_frac=request.target_water_frac,
        drying=request.drying,
    )
    water = dishes.water_frac(amounts=made.cooked)
    if made.dried is None or water is None:
        missing = ", ".join(made.cooked.missing.get("water", ()))
        raise Refused(Problem("solids_unknown", "ingredients", missing, params={"ingredients": missing}))
    problems = _problems(request, made.cooked.mass_kg)
    if problems:
        raise Refused(*problems)
    rule = {row.text("id"): row for row in library.rows(RULES)}
    laid_kg = request.trayed_mass_kg if request.trayed_mass_kg is not None else made.cooked.mass_kg
    solids = Solids(1.0 - water, rule["solids"].number("sd"))
    if request.spoonful is not None:
        left = rule["constant_mass_water"]
        solids = trays_end.spoonful_solids(
            wet_kg=request.spoonful.wet_kg, dry_kg=request.spoonful.dry_kg,
            scale_step_kg=request.scale_step_kg, left_kg_per_kg=left.number("share"),
            left_sd_kg_per_kg=left.number("sd"),
        )  # fmt: skip
    composition = _composition(made.cooked)
    kinds = [kind_of(line=line, library=library) for line in request.lines]
    parts = _parts(request.lines, kinds, library)
    load = TrayLoad(
        mass_kg=laid_kg, water_frac=1.0 - solids.solids_frac,
        density_kg_per_m3=float(density_choi_okos(composition=composition, temp_c=40.0)),
        parts=parts, turned=request.turned,
    )  # fmt: skip
    isotherms = tuple(Gab.from_row(row) for row in library.rows("tray_isotherms"))
    priors = TrayPriors.of(library=library, solids_sd=solids.sd)
    forecast = tray_forecast(
        dryer=request.dryer, load=load, target_water_frac=request.target_water_frac, isotherms=isotherms,
        priors=priors, weights=request.weights, scale_step_kg=request.scale_step_kg,
    )  # fmt: skip
    end = forecast.mass_kg
    packed = _packed(made.dried, made.cooked.mass_kg, laid_kg)
    packs = dishes.dish_packs(amounts=packed, count=request.packs, pack_mass_kg=request.pack_mass_kg)
    limit_s = rule["wet_warm"].number("time_h")
    long = forecast.wet_warm_s.middle > limit_s
    thinner = (
        _thinner(request.dryer, load, request.target_water_frac, isotherms, priors, limit_s) if long else None
    )
    laws = _laws([(line.ingredient.name, line.declared) for line in request.lines], library)
    beside = _beside(request, made, packs.each, library)
    water_end = trays_end.water_at_mass(
        mass_kg=laid_kg, water_frac=load.water_frac, solids_sd=_sd(forecast.solids), end_kg=end.middle, z=_Z80
    )  # fmt: skip
    dry, nothing_wet = _when(request.start, forecast.dry_s), _when(request.start, forecast.wet_end_s)
    slow = max(forecast.part_dry_s, key=lambda part: math.inf if part[1] is None else part[1])[0]
    plan = DishPlan(
        request=request,
        dish=made,
        trayed_kg=laid_kg,
        water_frac=load.water_frac,
        solids=solids,
        end_kg=end,
        water_at_end=water_end,
        forecast=forecast,
        dry=dry,
        nothing_wet=nothing_wet,
        overnight=_overnight(request, dry, nothing_wet),
        end_point=_end_point(request, end, rule),
        slow=slow,
        thinner_load_kg=thinner,
        energy=_energy(request, forecast, laid_kg - end.middle, rule),
        packs=packs,
        pouch=None,
        allergens=laws,
        beside=beside,
        steps=(),
        notes=(),
        rows=tuple(dict.fromkeys(part.diffusivity.ref for part in parts)),
    )
    pouch = None if request.camp is None else pouch_at(plan=plan, camp=request.camp, library=library)
    return replace(
        plan,
        pouch=pouch,
        steps=steps_of(plan=plan),
        notes=notes_of(plan=plan, kinds=kinds, library=library),
    )


def pouch_at(*, plan: DishPlan, camp: Camp, library: Library) -> PouchPlan:
    """A pack of a plan brought back somewhere, corrected by its test pouches.

    Parameters
    ----------
    plan : of the dish
    camp : where and how
    library : the figures it rests on

    Raises
    ------
    Refused, OutOfRange

    Source
    ------
    saltfare_derived, balances of water and heat
    """
    request, each = plan.request, plan.packs.each
    kinds = [kind_of(line=line, library=library) for line in request.lines]
    return pouch_plan(
        dry_kg=each.mass_kg, dry_water=plan.water_at_end, dish_water_frac=1.0 - plan.solids.solids_frac,
        composition=_composition(each), parts=_soaking(request.lines, kinds, library), camp=camp,
        taste_factor=request.taste_factor, trials=request.trials, library=library,
    )  # fmt: skip


def _problems(request: DishRequest, cooked_kg: float) -> tuple[Problem, ...]:
    found = []
    if request.start.tzinfo is None:
        found.append(Problem("start_without_zone", "start", str(request.start)))
    laid = request.trayed_mass_kg
    if laid is not None and not 0.0 < laid < math.inf:
        found.append(Problem("mass_not_positive", "trayed_mass", f"{laid:.6g} kg"))
    elif laid is not None and laid > cooked_kg * (1.0 + 1e-6):
        masses: dict[str, str | float | int] = {"trayed_kg": laid, "cooked_kg": cooked_kg}
        found.append(Problem("trayed_heavier_than_cooked", "trayed_mass", params=masses))
    if not 0.0 < request.scale_step_kg < 1.0:
        found.append(Problem("mass_not_positive", "scale_step", f"{request.scale_step_kg:.6g} kg"))
    found += trays_end.tray_weight_problems(
        laid_kg=laid if laid is not None else cooked_kg, weights=request.weights
    )
    return tuple(found)


def _composition(amounts: Amounts) -> Composition:
    """What heat and volume ask for; what the table closes to within a few hundredths is brought to 1.

    Nothing shown rests on it but density and heat: what is not known of an ingredient there counts as the
    rest of it.
    """
    names = ("water", "protein", "fat", "carbohydrate", "ash")
    found = [amounts.at_least(name) or 0.0 for name in names]
    whole = math.fsum(found)
    return Composition(*(value / whole for value in found))


def _parts(lines: Sequence[DishLine], kinds: Sequence[str], library: Library) -> tuple[TrayPart, ...]:
    """Parts on the trays by their solids.

    What is spread or dissolved is one part, its diffusivity the mean of the logarithms by solids; a dish
    with pieces only carries what is dissolved on them.
    """
    pieces: list[tuple[str, float, str, float | None, Diffusivity]] = []
    spread: list[tuple[str, float, Diffusivity]] = []
    loose = 0.0
    for line, kind in zip(lines, kinds, strict=True):
        amounts = ingredient_amounts(ingredient=line.ingredient, cooked=True)
        solids = dishes.solids_kg(amounts=amounts) or 0.0
        row = library.row("tray_foods", kind)
        if row.text("shape") == "none":
            loose += solids
            continue
        if solids <= 0.0:
            continue
        diffusivity = Diffusivity.from_row(library.row("diffusion_trays", row.text("diffusivity")))
        if row.text("shape") == "spread":
            spread.append((line.ingredient.name, solids, diffusivity))
        else:
            size = line.size_m if line.size_m is not None else row.number("size_mm")
            pieces.append((line.ingredient.name, solids, row.text("shape"), size, diffusivity))
    if not pieces and not spread:
        sauce = library.row("tray_foods", FALLBACK).text("diffusivity")
        spread.append((FALLBACK, 1.0, Diffusivity.from_row(library.row("diffusion_trays", sauce))))
        loose = 0.0
    whole = math.fsum([loose, *(s for _, s, *_ in pieces), *(s for _, s, _ in spread)])
    in_spread = math.fsum(s for _, s, _ in spread)
    parts = []
    if spread:
        largest = max(spread, key=lambda one: one[1])
        log = math.fsum(s * math.log(d.at_ref_m2_per_s) for _, s, d in spread) / in_spread
        mean = replace(largest[2], at_ref_m2_per_s=math.exp(log))
        parts.append(TrayPart(name=largest[0], share_frac=(in_spread + loose) / whole, shape="spread",
                              size_m=None, diffusivity=mean))  # fmt: skip
    scale = 1.0 if spread else whole / (whole - loose)
    parts += [
        TrayPart(name=n, share_frac=s * scale / whole, shape=shape, size_m=size, diffusivity=d)
        for n, s, shape, size, d in pieces
    ]
    return tuple(parts)


def _soaking(lines: Sequence[DishLine], kinds: Sequence[str], library: Library) -> tuple[PouchPart, ...]:
    return tuple(
        PouchPart(
            name=line.ingredient.name,
            soak=library.row("tray_foods", kind).text("soak"),
            size_m=line.size_m,
        )
        for line, kind in zip(lines, kinds, strict=True)
    )


def _packed(dried: Amounts, cooked_kg: float, laid_kg: float) -> Amounts:
    """The dried dish that went over the trays: in the share of the pot that was laid there."""
    share = laid_kg / cooked_kg
    known = {name: value * share for name, value in dried.known.items()}
    return Amounts(dried.mass_kg * share, known, dried.missing)


def _thinner(
    dryer: Dryer,
    load: TrayLoad,
    target: float,
    isotherms: tuple[Gab, ...],
    priors: TrayPriors,
    limit_s: float,
) -> float | None:
    """The load that would be wet and warm for no longer than the limit, None where a tenth still is."""
    low, high = 0.1 * load.mass_kg, load.mass_kg
    if _wet_warm(dryer, load, low, target, isotherms, priors) > limit_s:
        return None
    for _ in range(_THINNER_ROUNDS):
        middle = 0.5 * (low + high)
        over = _wet_warm(dryer, load, middle, target, isotherms, priors) > limit_s
        low, high = (low, middle) if over else (middle, high)
    return low


def _wet_warm(
    dryer: Dryer,
    load: TrayLoad,
    mass_kg: float,
    target: float,
    isotherms: tuple[Gab, ...],
    priors: TrayPriors,
) -> float:
    one = np.ones(1)
    run = trays.tray_run(
        dryer=dryer, load=replace(load, mass_kg=mass_kg), target_water_frac=target, isotherms=isotherms,
        doubts=trays.Doubts(one, one, one), film_factor=priors.film_factor,
        heat_kept_frac=priors.heat_kept_frac, wet_aw=priors.wet_aw, growth_temp_c=priors.growth_temp_c,
        horizon_s=48 * 3600.0,
    )  # fmt: skip
    return float(run.wet_warm_s[0])


def _when(start: datetime, ends: tuple[float | None, float | None, float | None]) -> When:
    low, middle, high = (None if s is None else start + timedelta(seconds=s) for s in ends)
    return When(low=low, middle=middle, high=high)


def _overnight(request: DishRequest, dry: When, nothing_wet: When) -> Overnight | None:
    """Whether the dryer may be switched off for the night: only when nothing is wet any more, by the late
    end of the interval."""
    if request.bed is None:
        return None
    if nothing_wet.high is None or nothing_wet.high > request.bed:
        return "do_not_stop"
    return "dry_before" if dry.high is not None and dry.high <= request.bed else "may_stop"


def _end_point(request: DishRequest, end: Band, rule: Mapping[str, tables.Row]) -> EndPoint | None:
    if not request.weights:
        return None
    return trays_end.end_point(
        weights=request.weights, thickest_brittle=request.thickest_brittle, end_high_kg=end.high,
        change_frac=rule["constant"].number("share"), apart_s=rule["constant"].number("time_h"),
    )  # fmt: skip


def _sd(band: Band) -> float:
    return math.log(band.high / band.low) / (2.0 * _Z80)


def _energy(
    request: DishRequest, forecast: TrayForecast, gone_kg: float, rule: Mapping[str, tables.Row]
) -> DryingCost:
    dryer = request.dryer
    by_power = None
    if dryer.power_w is not None and dryer.duty_frac is not None and None not in forecast.dry_s:
        hours = [s for s in forecast.dry_s if s is not None]
        by_power = Band(*(
            trays_end.drying_energy(power_w=[dryer.power_w], duty_frac=[dryer.duty_frac], time_s=[s])
            for s in hours
        ))  # fmt: skip
    names = ("sec_low", "sec_usual", "sec_high")
    by_water = Band(*(gone_kg * 1e6 * rule[name].number("factor") for name in names))
    cost = None
    if request.price_minor_per_kwh is not None:
        price, said = request.price_minor_per_kwh, by_power or by_water
        low, middle, high = (
            trays_end.energy_cost_minor(energy_j=e, price_minor_per_kwh=price)
            for e in (said.low, said.middle, said.high)
        )
        cost = (low, middle, high)
    least = gone_kg * float(latent_heat(temp_c=forecast.food_temp_c))
    return DryingCost(by_power_j=by_power, by_water_j=by_water, least_j=least, cost_minor=cost)


def _laws(
    ingredients: Sequence[tuple[str, Declared]], library: Library
) -> Mapping[str, tuple[ClassFound, ...]]:
    rows = list(library.rows("allergens"))
    return {
        law: allergens_found(ingredients=ingredients, classes={row.text("id"): row.text(law) for row in rows})
        for law in ("us", "eu")
    }


def _beside(request: DishRequest, made: dishes.Dish, each: Amounts, library: Library) -> Beside | None:
    if not request.beside:
        return None
    added = total(parts=[part.amounts for part in request.beside])
    # as eaten: the pack with its water back, which holds no more than water
    share = each.mass_kg / made.dried.mass_kg if made.dried is not None else 1.0
    back = made.cooked.mass_kg * share - each.mass_kg
    known = dict(each.known)
    if "water" in known:
        known["water"] += back
    eaten = Amounts(each.mass_kg + back, known, each.missing)
    both = [(line.ingredient.name, line.declared) for line in request.lines]
    both += [told for part in request.beside for told in part.declared]
    return Beside(
        added=added,
        together=total(parts=[eaten, added]),
        declared=tuple(both),
        allergens=_laws(both, library),
    )


def kind_of(*, line: DishLine, library: Library) -> str:
    """Row of `tray_foods` a line is taken as: as said, by the pantry, or else sauce.

    Parameters
    ----------
    line : of a recipe
    library : the figures it rests on

    Raises
    ------
    NotFound for a kind that is not there

    Source
    ------
    saltfare_chosen, usual cut of a cooked dish
    """
    if line.kind is not None:
        return library.row("tray_foods", line.kind).text("id")
    for row in library.rows("tray_foods"):
        if line.pantry is not None and line.pantry in row.text("pantry").split():
            return row.text("id")
    return FALLBACK
