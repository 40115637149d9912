"""A brine for a piece: recipe in grams and litres, what it brings, and what the law counts of it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from saltfare.core.figure import Note
from saltfare.core.library import Library
from saltfare.models import brine, salting
from saltfare.models.brine import BrineDensity
from saltfare.models.salting import CureMix
from saltfare.plans.piece_limits import Book
from saltfare.plans.piece_parts import Amount, BrineChoice, Objections, PieceRequest
from saltfare.plans.piece_weighing import shown_by_scale, weighed

RULES = "salting_rules"


@dataclass(frozen=True, slots=True)
class Bath:
    """A brine as made up, and per kg of cure mix or salt in it what reaches the meat.

    ingoing_per_kg: share of the base that a kg of an agent in the brine counts as, by the handbook.
    salt_share_frac: salt the meat takes up; aim_frac: nitrite of the aim that comes this way.
    """

    cure: Amount | None
    salt: Amount
    sugar: Amount | None
    amounts: tuple[Amount, ...]
    kept: tuple[Amount, ...]
    ingoing_per_kg: float
    ingoing_model: Callable[..., Any]
    ingoing_inputs: dict[str, float]
    salt_share_frac: float
    share_model: Callable[..., Any]
    share_inputs: dict[str, float]
    aim_frac: float
    wanted_kg: float
    plain_kg: float
    water_kg: float
    all_salt_kg: float
    notes: tuple[Note, ...]


def bath_of(
    *,
    request: PieceRequest,
    base_kg: float,
    water_frac: float,
    mix: CureMix | None,
    aim_frac: float,
    book: Book,
    library: Library,
    against: Objections,
) -> Bath:
    """The brine of a piece. aim_frac: nitrite wanted in all, as the sodium salt.

    With a rub beside the needle each brings nitrite in the proportion of the salt it brings.
    """
    choice, step, method = request.brine, request.scale_step_kg, request.method
    if choice is None:
        raise AssertionError("a brine without a brine was not refused")
    whole, even = choice.mass_kg, method == "brine_equilibrium"
    strengths = BrineDensity.from_rows(library.rows("brine_density"))
    # what the rule counts per kg of green weight, told per kg of the mass that takes up cure
    uptake = 0.0 if choice.uptake_frac is None else choice.uptake_frac * request.green_mass_kg / base_kg
    strength = choice.strength_frac
    share = request.salt_frac
    if method == "pumped_rubbed" and strength is not None:
        share = strength * uptake
        if share >= request.salt_frac:
            against.refuse(
                "needle_brings_all_salt",
                "brine_strength",
                f"{strength * 100:g} %",
                share_frac=share,
                salt_frac=request.salt_frac,
            )
            share = request.salt_frac
    aim = aim_frac * (share / request.salt_frac if request.salt_frac > 0 else 1.0)
    actual = book.actual_frac("nitrite_ion", aim) if mix is not None and aim > 0 else 0.0
    model: Callable[..., float]
    if even:
        per_kg, model = 1.0 / (base_kg + whole), brine.agent_ingoing_even
        inputs = {"green_mass_kg": base_kg, "brine_kg": whole}
    else:
        per_kg, model = uptake / whole, brine.agent_ingoing_pick_up
        inputs = {"uptake_frac": uptake, "brine_kg": whole}
    wanted, mix_kg = 0.0, 0.0
    if mix is not None and actual > 0:
        wanted = actual / per_kg / mix.nitrite_frac
        mix_kg = shown_by_scale(wanted, step)
        if not book.allows("nitrite_ion", mix_kg * mix.nitrite_frac * per_kg):
            mix_kg = math.floor(wanted / step * (1 + 1e-12)) * step
        if mix_kg <= 0:
            against.refuse("scale_too_coarse", "scale_step", allowed="", dose_kg=wanted, step_kg=step)
            mix_kg = wanted
    inside = mix.salt_frac if mix is not None else 0.0
    others = mix_kg * (1.0 - inside)
    sugar_kg = request.sugar_frac * (base_kg + whole if even else whole / uptake)
    if strength is not None:
        salt_kg = strength * whole
    elif even:
        salt_kg = brine.salt_mass_from_share_by_water(
            salt_frac=share,
            green_mass_kg=base_kg,
            water_frac=water_frac,
            brine_kg=whole,
            others_kg=others + sugar_kg,
        )
    else:
        salt_kg = share / uptake * whole
    most = strengths.strength_frac[-1]
    if salt_kg > most * whole * (1 + 1e-9):
        against.refuse(
            "brine_too_strong",
            "brine_strength" if strength is not None else "salt_share",
            f"{salt_kg / whole * 100:.0f} %",
            f"{most * 100:g} %",
            strength_frac=salt_kg / whole,
            most_frac=most,
        )
        salt_kg = most * whole
    plain = salt_kg - mix_kg * inside
    if plain < -step / 2:
        against.refuse(
            "mix_brings_more_salt",
            "salt_share",
            f"{share * 100:g} %",
            mix_salt_frac=mix_kg * inside * share / salt_kg if salt_kg > 0 else 0.0,
            salt_frac=share,
        )
    shown_salt = shown_by_scale(plain, step) if plain > 0 else 0.0
    all_salt = shown_salt + mix_kg * inside
    water = whole - all_salt - others - sugar_kg
    if water < 0.5 * whole:
        against.refuse("brine_without_water", "sugar_share", f"{water / whole * 100:.0f} %")
        water = 0.5 * whole
    if even:
        brought = brine.share_by_water(
            solute_kg=all_salt, green_mass_kg=base_kg, water_frac=water_frac, brine_water_kg=water
        )
        share_model: Callable[..., Any] = brine.share_by_water
        share_inputs = {
            "solute_kg": all_salt,
            "green_mass_kg": base_kg,
            "water_frac": water_frac,
            "brine_water_kg": water,
        }
    else:
        brought = all_salt * uptake / whole
        share_model, share_inputs = brine.agent_ingoing_pick_up, {"agent_kg": all_salt, **inputs}
    told = request.salt_frac if method != "pumped_rubbed" else brought
    if strength is not None and abs(brought - told) > 0.05 * max(told, brought):
        against.refuse(
            "strength_and_share_disagree",
            "brine_strength",
            f"{strength * 100:g} %",
            f"{brought * 100:.2f} %",
            brought_frac=brought,
            salt_frac=told,
        )
    rows = tuple(library.rows("brine_density"))
    clear = all_salt / (all_salt + water)
    volume = brine.volume_brine(brine_kg=whole, strength_frac=min(clear, most), table=strengths)
    cure = None
    if mix_kg > 0 and mix is not None:
        cure = weighed(
            "cure_mix_dose",
            mix_kg,
            step,
            brine.agent_mass_from_even if even else brine.agent_mass_from_pick_up,
            {"ingoing_frac": actual, **inputs},
        )
    salt = weighed(
        "salt_dose",
        shown_salt,
        step,
        brine.salt_mass_from_share_by_water if even else brine.agent_mass_from_pick_up,
        {"salt_frac": share, **inputs},
    )
    sugar = None
    if sugar_kg > 0:
        sugar = weighed(
            "sugar_dose", shown_by_scale(sugar_kg, step), step, salting.share_mass, {"brine_kg": whole}
        )
    strength_amount = Amount(
        quantity="brine_strength",
        value=all_salt / whole,
        kind="fraction",
        model=share_model,
        inputs=share_inputs,
    )
    amounts: tuple[Amount, ...] = (
        weighed("brine_mass", whole, step, salting.share_mass, {"brine_kg": whole}),
        weighed("brine_water", water, step, salting.share_mass, {"brine_kg": whole}),
        strength_amount,
        Amount(
            quantity="brine_volume",
            value=volume,
            kind="volume",
            model=brine.volume_brine,
            inputs={"brine_kg": whole, "strength_frac": clear},
            rows=rows[:1],
        ),
    )
    kept: tuple[Amount, ...] = ()
    if method == "pumped_rubbed":
        amounts += tuple(
            replace(one, quantity=name)
            for one, name in ((cure, "brine_cure_mix"), (salt, "brine_salt"))
            if one is not None
        )
    if even and cure is not None and mix is not None:
        by_water = {**share_inputs, "solute_kg": mix_kg * mix.nitrite_frac}
        kept = (
            Amount(
                quantity="nitrite_by_water",
                value=brine.share_by_water(**by_water) * book.agents["nitrite_ion"].as_sodium,
                kind="fraction:ppm",
                model=brine.share_by_water,
                inputs=by_water,
            ),
        )
    return Bath(
        cure=cure,
        salt=salt,
        sugar=sugar,
        amounts=amounts,
        kept=kept,
        ingoing_per_kg=per_kg,
        ingoing_model=model,
        ingoing_inputs=inputs,
        salt_share_frac=brought,
        share_model=share_model,
        share_inputs=share_inputs,
        aim_frac=aim,
        wanted_kg=wanted,
        plain_kg=plain,
        water_kg=water,
        all_salt_kg=all_salt,
        notes=_notes(request, choice, all_salt / volume, library),
    )


def water_sign(*, salt_kg_per_m3: float, library: Library) -> int:
    """1 where a brine swells the meat, -1 where it draws water, 0 about the balance."""
    return brine.water_flux_sign(
        salt_kg_per_m3=salt_kg_per_m3,
        balance_kg_per_m3=library.row(RULES, "water_balance").number("kg_per_m3"),
        spread_kg_per_m3=library.row(RULES, "water_balance_spread").number("kg_per_m3"),
    )


def _notes(
    request: PieceRequest, choice: BrineChoice, salt_kg_per_m3: float, library: Library
) -> tuple[Note, ...]:
    found = [Note("brine_by_mass")]
    if request.method in ("brine_uptake", "brine_equilibrium"):
        sign = water_sign(salt_kg_per_m3=salt_kg_per_m3, library=library)
        found.append(Note({1: "brine_swells", 0: "brine_in_balance", -1: "brine_draws_water"}[sign]))
    else:
        found.append(Note("injected_not_intact"))
        if library.row("cuts", request.cut).text("bacon_like") == "yes":
            found.append(Note("pumped_bacon_asks_more"))
    return tuple(found)
