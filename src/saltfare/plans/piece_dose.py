"""What is weighed out for a piece, rounded to what the scale shows, held to the published ceilings."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from saltfare.core.errors import Problem, Refused
from saltfare.core.figure import Note
from saltfare.core.library import Library
from saltfare.core.tables import Row
from saltfare.core.units import factor, parse
from saltfare.models import salting
from saltfare.models.salting import CureLimit, CureMix
from saltfare.plans.piece_parts import Amount, Dose, LimitCheck, Objections, PieceRequest

RULES = "salting_rules"
_PPM = factor("fraction", "ppm")


def refuse_measure(text: str) -> None:
    """Refuse a dose of cure mix typed as a volume, with the reason.

    Raises
    ------
    Refused cure_by_volume
    """
    for measures in ("metric", "us", "imperial"):
        try:
            parse(text, "volume", measures=measures)
        except Refused:
            continue
        raise Refused(Problem("cure_by_volume", "cure_mix_dose", text, "3.2 g"))


def weigh_out(
    *, request: PieceRequest, cut: Row, target_kg: float, library: Library, against: Objections
) -> Dose:
    """The dose of a piece. target_kg: finished mass, for the bounds on the finished piece."""
    green, step = request.green_mass_kg, request.scale_step_kg
    notes: list[Note] = []
    base_rows: tuple[Row, ...] = ()
    base = green
    if request.skin_on:
        skin = library.row(RULES, "skin_share")
        base = salting.base_mass_skin_on(green_mass_kg=green, skin_frac=skin.number("pct"))
        base_rows = (skin,)
        notes.append(Note("skin_allowance", {"skin_frac": skin.number("pct"), "base_kg": base}))
    mix = _mix(request, cut, against)
    aim_row = library.row(RULES, "nitrite_aim")
    aim = request.nitrite_frac if request.nitrite_frac is not None else aim_row.number("ppm")
    ceilings = _ceilings(cut, library)
    mix_kg, cure, nitrite, nitrate = 0.0, None, None, None
    if mix is not None and aim > 0:
        ceiling = CureLimit.from_row(ceilings["sodium_nitrite"]).limit_frac
        if aim > ceiling * (1 + 1e-9):
            against.refuse(
                "nitrite_over_limit",
                "nitrite_aim",
                f"{aim / _PPM:g} ppm",
                f"{ceiling / _PPM:g} ppm",
                aim_frac=aim,
                limit_frac=ceiling,
            )
        wanted = salting.mix_mass_from_ingoing_dry(
            ingoing_frac=aim, agent_frac=mix.nitrite_frac, base_mass_kg=base
        )
        mix_kg = _shown(wanted, step)
        if mix_kg * mix.nitrite_frac > ceiling * base * (1 + 1e-9):
            mix_kg = math.floor(wanted / step * (1 + 1e-12)) * step  # never rounded past a ceiling
        if mix_kg <= 0:
            against.refuse("scale_too_coarse", "scale_step", allowed="", dose_kg=wanted, step_kg=step)
            mix_kg = wanted
        rows = (*base_rows, aim_row) if request.nitrite_frac is None else base_rows
        cure = _weighed(
            "cure_mix_dose",
            mix_kg,
            step,
            salting.mix_mass_from_ingoing_dry,
            {"ingoing_frac": aim, "agent_frac": mix.nitrite_frac, "base_mass_kg": base},
            rows,
        )
        nitrite = _ingoing("nitrite_ingoing", cure, mix.nitrite_frac, base, base_rows)
        if mix.nitrate_frac > 0:
            nitrate = _ingoing("nitrate_ingoing", cure, mix.nitrate_frac, base, base_rows)
        notes += _scale_notes(cure, wanted, request.salt_frac * base - mix_kg * mix.salt_frac, step, library)
    elif mix is not None:
        notes.append(Note("mix_not_used"))
    inside = mix.salt_frac if mix is not None else 0.0
    plain = salting.salt_mass_beside_mix(
        salt_frac=request.salt_frac, green_mass_kg=base, mix_mass_kg=mix_kg, mix_salt_frac=inside
    )
    if plain < -step / 2:
        against.refuse(
            "mix_brings_more_salt",
            "salt_share",
            f"{request.salt_frac * 100:g} %",
            mix_salt_frac=mix_kg * inside / base,
            salt_frac=request.salt_frac,
        )
    salt = _weighed(
        "salt_dose",
        _shown(plain, step) if plain > 0 else 0.0,
        step,
        salting.salt_mass_beside_mix,
        {
            "salt_frac": request.salt_frac,
            "green_mass_kg": base,
            "mix_mass_kg": mix_kg,
            "mix_salt_frac": inside,
        },
        base_rows,
    )
    all_salt = salt.value + mix_kg * inside
    sugar = _share("sugar_dose", request.sugar_frac, base, step) if request.sugar_frac > 0 else None
    spices = tuple(
        _share("spice_dose", share, base, step, name=name) for name, share in request.spices.items()
    )
    share = Amount(
        quantity="salt_share",
        value=all_salt / base,
        kind="fraction",
        model=salting.salt_mass_beside_mix,
        inputs=salt.inputs,
        rows=base_rows,
        low=max(all_salt - step, 0.0) / base,
        high=(all_salt + step) / base,
        interval="scale_step",
    )
    checks = _limit_checks(nitrite, nitrate, ceilings, base, target_kg, request, library, against)
    return Dose(
        base_kg=base,
        salt_kg=all_salt,
        sugar_kg=sugar.value if sugar else 0.0,
        cure_mix=cure,
        salt=salt,
        sugar=sugar,
        spices=spices,
        salt_share=share,
        nitrite=nitrite,
        nitrate=nitrate,
        limits=checks,
        notes=tuple(notes),
    )


def _mix(request: PieceRequest, cut: Row, against: Objections) -> CureMix | None:
    label = request.mix
    if label is None:
        return None
    if label.nitrite_frac is None:
        against.refuse("mix_strength_missing", "mix_nitrite_share", mix=label.name)
        return None
    nitrate = label.nitrate_frac or 0.0
    salt = label.salt_frac if label.salt_frac is not None else 1.0 - label.nitrite_frac - nitrate
    if label.nitrite_frac + nitrate + salt > 1.0 + 1e-6 or salt < 0:
        against.refuse("mix_over_whole", "mix_salt_share", f"{salt * 100:g} %", mix=label.name)
        return None
    if nitrate > 0 and cut.text("bacon_like") == "yes":
        against.refuse("nitrate_on_belly", "mix_nitrate_share", f"{nitrate * 100:g} %", "0 %", mix=label.name)
    if label.nitrite_frac <= 0:
        against.refuse("mix_without_nitrite", "mix_nitrite_share", "0 %", mix=label.name)
        return None
    return CureMix(label.nitrite_frac, nitrate, salt)


def _ceilings(cut: Row, library: Library) -> dict[str, Row]:
    """The ingoing ceiling on each agent: the inspected trade's, which the home is held to as well."""
    belly = cut.text("bacon_like") == "yes"
    ids = ("us_bacon_dry_nitrite", "us_bacon_nitrate") if belly else ("us_dry_nitrite", "us_dry_nitrate")
    rows = (library.row("cure_limits", row_id) for row_id in ids)
    return {row.text("agent"): row for row in rows}


def _limit_checks(
    nitrite: Amount | None,
    nitrate: Amount | None,
    ceilings: dict[str, Row],
    base: float,
    target_kg: float,
    request: PieceRequest,
    library: Library,
    against: Objections,
) -> tuple[LimitCheck, ...]:
    checks = []
    going = {"sodium_nitrite": nitrite, "sodium_nitrate": nitrate}
    for agent, row in ceilings.items():
        amount = going[agent]
        if amount is None:
            continue
        limit = CureLimit.from_row(row)
        code = "under_ceiling"
        if amount.value > limit.limit_frac * (1 + 1e-9):
            code = "over_ceiling"
            if agent == "sodium_nitrate" and limit.limit_frac > 0:  # nitrite with its aim, belly with its mix
                against.refuse(
                    "nitrate_over_limit",
                    "mix_nitrate_share",
                    f"{amount.value / _PPM:.0f} ppm",
                    f"{limit.limit_frac / _PPM:g} ppm",
                    going_frac=amount.value,
                    limit_frac=limit.limit_frac,
                )
        elif amount.high is not None and amount.high > limit.limit_frac * (1 + 1e-9):
            code = "scale_may_exceed_ceiling"
        checks.append(_check(row, limit, amount, code))
    finished = (
        ("us_home_nitrite", "us_home_nitrate") if request.rules == "us_home" else ("us_finished_nitrite",)
    )
    for row_id in finished:
        row = library.row("cure_limits", row_id)
        limit = CureLimit.from_row(row)
        ingoing = going[limit.agent]
        if ingoing is None:
            continue
        bound = Amount(
            quantity="nitrite_finished" if limit.agent == "sodium_nitrite" else "nitrate_finished",
            value=salting.agent_finished_bound(
                ingoing_frac=ingoing.value, base_mass_kg=base, finished_mass_kg=target_kg
            ),
            kind="fraction:ppm",
            model=salting.agent_finished_bound,
            inputs={"ingoing_frac": ingoing.value, "base_mass_kg": base, "finished_mass_kg": target_kg},
        )
        over = bound.value > limit.limit_frac * (1 + 1e-9)
        checks.append(_check(row, limit, bound, "bound_over_limit" if over else "bound_under_limit"))
    return tuple(checks)


def _check(row: Row, limit: CureLimit, amount: Amount, code: str) -> LimitCheck:
    return LimitCheck(
        limit=row,
        limit_frac=limit.limit_frac,
        agent=limit.agent,
        basis=limit.basis,
        amount=amount,
        note=Note(code, {"limit_frac": limit.limit_frac, "share_frac": amount.value}),
    )


def _scale_notes(cure: Amount, wanted: float, plain: float, step: float, library: Library) -> list[Note]:
    """The dose should be at least so many divisions of the scale, else it is pre-blended or weighed finer."""
    rule = library.row(RULES, "scale_divisions")
    least = rule.number("count")
    if salting.divisions_of_scale(mass_kg=cure.value, scale_step_kg=step) >= least * (1 - 1e-9):
        return []
    times = math.ceil(least * step / wanted)
    blend = max(plain, 0.0)
    return [
        Note(
            "weigh_finer_or_blend",
            {
                "divisions": math.floor(cure.value / step + 1e-9),
                "least": least,
                "finer_kg": wanted / least,
                "times": times,
                "cure_kg": wanted * times,
                "salt_kg": blend * times,
                "portion_kg": wanted + blend,
            },
        )
    ]


def _shown(mass_kg: float, step_kg: float) -> float:
    """The mass nearest to `mass_kg` that the scale can show."""
    return round(mass_kg / step_kg) * step_kg


def _weighed(
    quantity: str,
    mass_kg: float,
    step_kg: float,
    model: Callable[..., Any],
    inputs: dict[str, float],
    rows: tuple[Row, ...] = (),
    name: str = "",
) -> Amount:
    low, high = salting.dose_interval_scale(mass_kg=mass_kg, scale_step_kg=step_kg)
    return Amount(
        quantity=quantity,
        value=mass_kg,
        kind="mass",
        model=model,
        inputs={**inputs, "scale_step_kg": step_kg},
        rows=rows,
        low=low,
        high=high,
        interval="scale_step",
        name=name,
    )


def _share(quantity: str, share: float, base: float, step: float, *, name: str = "") -> Amount:
    mass = salting.share_mass(share_frac=share, base_mass_kg=base)
    return _weighed(
        quantity,
        _shown(mass, step),
        step,
        salting.share_mass,
        {"share_frac": share, "base_mass_kg": base},
        name=name,
    )


def _ingoing(quantity: str, cure: Amount, strength: float, base: float, rows: tuple[Row, ...]) -> Amount:
    def going(mass: float | None) -> float:
        return salting.agent_ingoing_dry(mix_mass_kg=mass or 0.0, agent_frac=strength, base_mass_kg=base)

    return Amount(
        quantity=quantity,
        value=going(cure.value),
        kind="fraction:ppm",
        model=salting.agent_ingoing_dry,
        inputs={"mix_mass_kg": cure.value, "agent_frac": strength, "base_mass_kg": base},
        rows=rows,
        low=going(cure.low),
        high=going(cure.high),
        interval="scale_step",
    )
