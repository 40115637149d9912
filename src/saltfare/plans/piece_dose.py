"""What is weighed out for a piece: onto it, into a brine, or both, rounded to what the scale shows."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from saltfare.core.errors import Problem, Refused
from saltfare.core.figure import Note
from saltfare.core.library import Library
from saltfare.core.tables import Row
from saltfare.core.units import parse
from saltfare.models import brine, salting
from saltfare.models.cure_rules import Agent
from saltfare.models.salting import CureMix
from saltfare.plans.piece_brine import Bath, bath_of
from saltfare.plans.piece_limits import Book, book_of, limit_checks
from saltfare.plans.piece_parts import BRINES, NEEDLES, Amount, Dose, Objections, PieceRequest
from saltfare.plans.piece_weighing import share_weighed, shown_by_scale, weighed

RULES = "salting_rules"


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


@dataclass(frozen=True, slots=True)
class _Rub:
    """What is weighed out to be rubbed on."""

    cure: Amount | None
    salt: Amount
    mix_kg: float
    salt_kg: float
    wanted_kg: float
    plain_kg: float


def weigh_out(
    *,
    request: PieceRequest,
    cut: Row,
    water_frac: float,
    target_kg: float,
    library: Library,
    against: Objections,
) -> Dose:
    """The dose of a piece. water_frac: of the green piece. target_kg: finished mass, for the bounds on it."""
    green, step, method = request.green_mass_kg, request.scale_step_kg, request.method
    notes: list[Note] = []
    base_rows: tuple[Row, ...] = ()
    base = green
    if request.skin_on:
        skin = library.row(RULES, "skin_share")
        base = salting.base_mass_skin_on(green_mass_kg=green, skin_frac=skin.number("pct"))
        base_rows = (skin,)
        notes.append(Note("skin_allowance", {"skin_frac": skin.number("pct"), "base_kg": base}))
    mix = _mix(request, cut, against)
    book = book_of(request=request, cut=cut, mix=mix, library=library)
    aim_row = library.row(RULES, "nitrite_aim")
    aim = request.nitrite_frac if request.nitrite_frac is not None else aim_row.number("ppm")
    if mix is not None and aim <= 0:
        notes.append(Note("mix_not_used"))
        mix, aim = None, 0.0
    if mix is None:
        aim = 0.0
    if aim > 0:
        book.hold_aim(aim, against)
    aim_rows = base_rows if request.nitrite_frac is not None else (*base_rows, aim_row)
    bath: Bath | None = None
    salt_frac = request.salt_frac
    if method in BRINES or method in NEEDLES:
        bath = bath_of(
            request=request,
            base_kg=base,
            water_frac=water_frac,
            mix=mix,
            aim_frac=aim,
            book=book,
            library=library,
            against=against,
        )
        notes += bath.notes
        aim -= bath.aim_frac
        # a needle that brings all of it is refused; nothing is then left to rub on
        salt_frac = max(salt_frac - bath.salt_share_frac, 0.0)
    rub: _Rub | None = None
    if method == "excess_salt":
        rub = _boxed(request, base, base_rows, library)
    elif bath is None or method == "pumped_rubbed":
        needle = 0.0
        if bath is not None and bath.cure is not None and mix is not None:
            needle = bath.cure.value * mix.nitrite_frac * bath.ingoing_per_kg
        rub = _rubbed(request, base, salt_frac, aim, needle, mix, book, aim_rows, against)
    cure, salt = (bath.cure, bath.salt) if rub is None and bath is not None else (None, None)
    if rub is not None:
        cure, salt = rub.cure, rub.salt
        if cure is not None:
            notes += _scale_notes(cure, rub.wanted_kg, rub.plain_kg, step, library)
    elif bath is not None and cure is not None:
        notes += _scale_notes(cure, bath.wanted_kg, bath.plain_kg, step, library)
    if salt is None:
        raise AssertionError("a dose without salt")
    rubbed = rub.salt_kg if rub is not None else 0.0
    all_salt = rubbed + (bath.salt_share_frac * base if bath is not None else 0.0)
    sugar = bath.sugar if bath is not None and rub is None else None
    if rub is not None and request.sugar_frac > 0:
        sugar = share_weighed("sugar_dose", request.sugar_frac, base, step)
    spices = tuple(
        share_weighed("spice_dose", share, base, step, name=name) for name, share in request.spices.items()
    )
    share = Amount(
        quantity="salt_share",
        value=all_salt / base,
        kind="fraction",
        model=salt.model if bath is None else bath.share_model,
        inputs=salt.inputs if bath is None else bath.share_inputs,
        rows=base_rows,
        low=max(all_salt - step, 0.0) / base,
        high=(all_salt + step) / base,
        interval="scale_step",
    )
    going = {
        kind: _going(kind, mix, agent, rub, bath, base, base_rows) for kind, agent in book.agents.items()
    }
    checks = limit_checks(
        going=going, book=book, base_kg=base, target_kg=target_kg, request=request, against=against
    )
    notes += book.notes(going)
    return Dose(
        base_kg=base,
        salt_kg=all_salt,
        sugar_kg=request.sugar_frac * base if bath is not None else (sugar.value if sugar else 0.0),
        cure_mix=cure,
        salt=salt,
        sugar=sugar,
        spices=spices,
        salt_share=share,
        nitrite=going.get("nitrite_ion"),
        nitrate=going.get("nitrate_ion"),
        limits=checks,
        notes=tuple(notes),
        stays=method != "weighed_dose",
        brine=bath.amounts if bath is not None else (),
        applications=_applications(request, cure, salt, sugar, spices, library),
        kept=bath.kept if bath is not None else (),
    )


def _rubbed(
    request: PieceRequest,
    base: float,
    salt_frac: float,
    aim: float,
    needle: float,
    mix: CureMix | None,
    book: Book,
    rows: tuple[Row, ...],
    against: Objections,
) -> _Rub:
    """A weighed dose of cure mix and salt. needle: nitrite that goes in by the needle, as the mix's salt."""
    step = request.scale_step_kg
    mix_kg, wanted, cure = 0.0, 0.0, None
    if mix is not None and aim > 0:
        actual = book.actual_frac("nitrite_ion", aim)
        wanted = salting.mix_mass_from_ingoing_dry(
            ingoing_frac=actual, agent_frac=mix.nitrite_frac, base_mass_kg=base
        )
        mix_kg = shown_by_scale(wanted, step)
        if not book.allows("nitrite_ion", needle + mix_kg * mix.nitrite_frac / base):
            # never rounded past a ceiling, what the needle brings counted
            room = book.room_frac("nitrite_ion", needle) * base / mix.nitrite_frac
            mix_kg = math.floor(min(wanted, room) / step * (1 + 1e-12)) * step
        if mix_kg <= 0:
            against.refuse("scale_too_coarse", "scale_step", allowed="", dose_kg=wanted, step_kg=step)
            mix_kg = wanted
        cure = weighed(
            "cure_mix_dose",
            mix_kg,
            step,
            salting.mix_mass_from_ingoing_dry,
            {"ingoing_frac": actual, "agent_frac": mix.nitrite_frac, "base_mass_kg": base},
            rows,
        )
    inside = mix.salt_frac if mix is not None else 0.0
    plain = salting.salt_mass_beside_mix(
        salt_frac=salt_frac, green_mass_kg=base, mix_mass_kg=mix_kg, mix_salt_frac=inside
    )
    if plain < -step / 2:
        against.refuse(
            "mix_brings_more_salt",
            "salt_share",
            f"{salt_frac * 100:g} %",
            mix_salt_frac=mix_kg * inside / base,
            salt_frac=salt_frac,
        )
    salt = weighed(
        "salt_dose",
        shown_by_scale(plain, step) if plain > 0 else 0.0,
        step,
        salting.salt_mass_beside_mix,
        {"salt_frac": salt_frac, "green_mass_kg": base, "mix_mass_kg": mix_kg, "mix_salt_frac": inside},
        rows[:1] if request.skin_on else (),
    )
    return _Rub(cure, salt, mix_kg, salt.value + mix_kg * inside, wanted, plain)


def _boxed(request: PieceRequest, base: float, rows: tuple[Row, ...], library: Library) -> _Rub:
    """The heap a piece is laid in; what it takes up is a matter of days, not of this mass."""
    cover, step = library.row(RULES, "box_cover"), request.scale_step_kg
    heap = salting.share_mass(share_frac=cover.number("pct"), base_mass_kg=base)
    salt = weighed(
        "salt_dose",
        shown_by_scale(heap, step),
        step,
        salting.share_mass,
        {"share_frac": cover.number("pct"), "base_mass_kg": base},
        (*rows, cover),
    )
    return _Rub(None, salt, 0.0, request.salt_frac * base, 0.0, 0.0)


def _applications(
    request: PieceRequest,
    cure: Amount | None,
    salt: Amount,
    sugar: Amount | None,
    spices: tuple[Amount, ...],
    library: Library,
) -> tuple[tuple[Amount, ...], ...]:
    """What goes on at each of two applications, each rounded to the scale; together they are the dose."""
    twice, step = request.twice, request.scale_step_kg
    if twice is None:
        return ()
    first = twice.first_frac
    if first is None:
        first = library.row(RULES, "first_share").number("pct")
    parts: tuple[list[Amount], list[Amount]] = ([], [])
    for amount in (cure, salt, sugar, *spices):
        if amount is None:
            continue
        now = shown_by_scale(amount.value * first, step)
        for part, mass in zip(parts, (now, amount.value - now), strict=True):
            part.append(
                weighed(
                    amount.quantity,
                    max(mass, 0.0),
                    step,
                    salting.share_mass,
                    {"share_frac": first, "base_mass_kg": amount.value},
                    amount.rows,
                    amount.name,
                )
            )
    return tuple(parts[0]), tuple(parts[1])


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
    elif nitrate > 0 and (request.method in BRINES or request.method in NEEDLES):
        against.refuse("nitrate_in_brine", "mix_nitrate_share", f"{nitrate * 100:g} %", "0 %", mix=label.name)
    if label.nitrite_frac <= 0:
        against.refuse("mix_without_nitrite", "mix_nitrite_share", "0 %", mix=label.name)
        return None
    return CureMix(
        label.nitrite_frac, nitrate, salt, f"{label.nitrite_salt}_nitrite", f"{label.nitrate_salt}_nitrate"
    )


def _going(
    kind: str,
    mix: CureMix | None,
    agent: Agent,
    rub: _Rub | None,
    bath: Bath | None,
    base: float,
    rows: tuple[Row, ...],
) -> Amount | None:
    """What of a curing salt goes in by every way together, told as the sodium salt."""
    share = 0.0 if mix is None else (mix.nitrite_frac if kind == "nitrite_ion" else mix.nitrate_frac)
    if share <= 0 or (rub is None and bath is None):
        return None
    quantity = "nitrite_ingoing" if kind == "nitrite_ion" else "nitrate_ingoing"
    as_sodium = agent.as_sodium
    by_rub = rub.cure if rub is not None else None
    by_bath = bath.cure if bath is not None else None
    if by_rub is None and by_bath is None:
        return None

    def total(mix_rub: float, mix_bath: float) -> float:
        found = 0.0
        if by_rub is not None:
            found += salting.agent_ingoing_dry(mix_mass_kg=mix_rub, agent_frac=share, base_mass_kg=base)
        if bath is not None and by_bath is not None:
            found += mix_bath * share * bath.ingoing_per_kg
        return found * as_sodium

    def end(low: bool) -> float:
        masses = [
            0.0 if one is None else float((one.low if low else one.high) or 0.0) for one in (by_rub, by_bath)
        ]
        return total(*masses)

    model: Callable[..., Any] = salting.agent_ingoing_dry
    inputs: dict[str, str | float | int | None] = {}
    if by_rub is not None:
        inputs |= {"mix_mass_kg": by_rub.value, "agent_frac": share, "base_mass_kg": base}
    if bath is not None and by_bath is not None:
        model = bath.ingoing_model if by_rub is None else brine.agent_ingoing_summed
        inputs |= {"agent_kg": by_bath.value * share, **bath.ingoing_inputs}
    return Amount(
        quantity=quantity,
        value=total(by_rub.value if by_rub else 0.0, by_bath.value if by_bath else 0.0),
        kind="fraction:ppm",
        model=model,
        inputs=inputs,
        rows=rows,
        low=end(True),
        high=end(False),
        interval="scale_step",
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
