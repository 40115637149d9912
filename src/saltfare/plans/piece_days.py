"""The ways of salting and the days each takes: to the middle, by uptake, or rubbed on twice."""

from __future__ import annotations

import math
from dataclasses import replace

from saltfare.core.figure import Note
from saltfare.core.library import Library
from saltfare.models import brine, salt_diffusion, salt_profile
from saltfare.models.salt_profile import Profile, Reservoir
from saltfare.plans.piece_parts import NEEDLES, Amount, Dose, Objections, PieceRequest, SaltingTime
from saltfare.plans.piece_time import (
    DAY_S,
    LEAST_RATIO,
    LONG,
    RULES,
    Setting,
    centre_amount,
    course_fresh,
    course_on,
    even_ratio,
    needle_centre,
    needle_spacing,
    profile_after,
    reservoir_of,
    rested,
    setting_of,
    through_amount,
    trade_rule,
)


def salting_time(
    *, request: PieceRequest, dose: Dose, water_frac: float, library: Library, against: Objections
) -> SaltingTime:
    """Days in salt and at rest. Raises OutOfRange."""
    at = setting_of(request=request, dose=dose, water_frac=water_frac, library=library)
    if request.method in ("excess_salt", "brine_uptake"):
        return _by_uptake(at, against)
    if request.twice is not None:
        return _twice(at)
    return _to_the_middle(at)


def _to_the_middle(at: Setting) -> SaltingTime:
    """A dose or a brine left until the middle has its share of the even spread."""
    request = at.request
    low, best, high = at.diffusivity
    needle = _needle(at) if request.method in NEEDLES else None
    if request.method == "pumped":
        return _timed(at, needle or (0.0, 0.0, 0.0), None)
    outside = reservoir_of(at)
    course = course_fresh(shape=request.shape, reservoir=outside, fourier=LONG)
    final = even_ratio(outside)
    found = salt_profile.fourier_from_share(
        course=course, salt_ratio=at.part.number("pct") * final, of="centre"
    )
    fourier = LONG if found is None else found
    times = tuple(at.time(fourier, d) for d in (high, best, low))
    if needle is not None:
        times = tuple(max(pair) for pair in zip(times, needle, strict=True))
    return _timed(at, (times[0], times[1], times[2]), outside)


def _needle(at: Setting) -> tuple[float, float, float]:
    """Until what was pumped has spread between the stitches: a slab of their distance, a limit case."""
    spacing = needle_spacing(at)

    def until(diffusivity: float) -> float:
        return salt_diffusion.time_from_centre_share(
            centre_frac=at.part.number("pct"),
            thickness_m=spacing,
            shape="slab",
            is_one_sided=False,
            diffusivity_m2_per_s=diffusivity,
        )

    low, best, high = at.diffusivity
    return until(high), until(best), until(low)


def _timed(at: Setting, times: tuple[float, float, float], outside: Reservoir | None) -> SaltingTime:
    """The plan's days from the times to the middle (fast, middle, slow)."""
    request = at.request
    fast, best, slow = times
    trade = trade_rule(at)
    typed = request.salting_time_s
    longest = max(best, trade.value) if request.method == "weighed_dose" else best
    days = max(math.ceil((typed if typed is not None else longest) / DAY_S - 1e-9), 1)
    planned = days * DAY_S
    profiles = tuple(profile_after(at, outside, planned, d) for d in at.diffusivity)
    through = through_amount(at, best, fast, slow)
    if outside is None:
        centre = needle_centre(at, planned)
    else:
        final = even_ratio(outside)
        shares = [p.centre / final for p in profiles]
        centre = centre_amount(at, planned, shares)
    by = trade if typed is None and request.method == "weighed_dose" and trade.value > best else through
    notes = []
    if typed is not None and planned < best:
        notes.append(
            Note("salting_short", {"planned_s": planned, "through_s": best, "centre_frac": centre.value})
        )
    if request.method == "weighed_dose" and trade.value < 0.9 * best:
        notes.append(Note("trade_falls_short", {"trade_s": trade.value, "through_s": best}))
    return rested(at, days, by, through, trade, centre, profiles, notes, always=False)


def _by_uptake(at: Setting, against: Objections) -> SaltingTime:
    """A box, or a brine taken out early: until the whole has taken up what is wanted, then a rest."""
    request = at.request
    low, best, high = at.diffusivity
    outside = reservoir_of(at)
    course = course_fresh(shape=request.shape, reservoir=outside, fourier=LONG)
    wanted = max(request.salt_frac / at.water_ratio, LEAST_RATIO)
    found = salt_profile.fourier_from_share(course=course, salt_ratio=wanted, of="mean")
    most = float(course.mean[-1]) * at.water_ratio
    boxed = request.method == "excess_salt"
    if found is None:
        against.refuse(
            "uptake_out_of_reach",
            "salt_share",
            f"{request.salt_frac * 100:g} %",
            f"{most * 100:.1f} %",
            salt_frac=request.salt_frac,
            most_frac=most,
        )
        found = LONG
    times = tuple(at.time(found, d) for d in (high, best, low))
    typed = request.salting_time_s
    days = max(math.ceil((typed if typed is not None else times[1]) / DAY_S - 1e-9), 1)
    planned = days * DAY_S
    profiles = tuple(profile_after(at, outside, planned, d) for d in at.diffusivity)
    if boxed and profiles[1].centre > 0.5 * at.saturation:
        against.refuse(
            "box_saturates",
            "salting_days" if typed is not None else "thickness",
            f"{days} d",
            days=days,
            centre_frac=profiles[1].centre / at.saturation,
        )
    through = through_amount(at, times[1], times[0], times[2], "uptake_reached")
    trade = trade_rule(at)
    taken = [p.mean * at.water_ratio for p in profiles]
    uptake = Amount(
        quantity="salt_uptake",
        value=taken[1],
        kind="fraction",
        model=salt_profile.course_of_salt,
        inputs={"time_s": planned, **at.inputs},
        rows=(at.salt, at.library.row(RULES, "salt_saturation")),
        low=min(taken),
        high=max(taken),
        interval="published_spread",
    )
    notes = [Note("timed_on_uptake")]
    if boxed and taken[1] > 1.25 * request.salt_frac:
        notes.append(Note("box_overshoots", {"uptake_frac": taken[1], "salt_frac": request.salt_frac}))
    if not boxed and not 0.8 <= taken[1] / max(request.salt_frac, 1e-9) <= 1.25:
        notes.append(Note("uptake_differs", {"uptake_frac": taken[1], "salt_frac": request.salt_frac}))
    if typed is not None and planned < times[1]:
        notes.append(Note("uptake_short", {"planned_s": planned, "through_s": times[1]}))
    if not 2 / 3 <= trade.value / times[1] <= 1.5:
        notes.append(Note("trade_differs", {"trade_s": trade.value, "through_s": times[1]}))
    shares = [p.centre / p.mean if p.mean > 0 else 0.0 for p in profiles]
    centre = centre_amount(at, planned, shares)
    return rested(at, days, through, through, trade, centre, profiles, notes, uptake=uptake, always=True)


def _twice(at: Setting) -> SaltingTime:
    """Rubbed on twice: the first part, drained, then the second until the middle has its share."""
    request, twice = at.request, at.request.twice
    if twice is None:
        raise AssertionError("one application is not two")
    first = twice.first_frac
    if first is None:
        first = at.library.row(RULES, "first_share").number("pct")
    gap = twice.first_time_s
    if gap is None:
        gap = at.library.row(RULES, "second_after").number("days")
    first_days = max(math.ceil(gap / DAY_S - 1e-9), 1)
    water = at.water_ratio * at.dose.base_kg
    gone: list[tuple[float, float, float]] = []

    def second(diffusivity: float) -> tuple[Profile, Reservoir]:
        begun = course_fresh(
            shape=request.shape,
            reservoir=reservoir_of(at, first),
            fourier=min(at.fourier(first_days * DAY_S, diffusivity), 2 * LONG),
        )
        left = begun.reservoir
        gone.append(_drained(at, left, first))
        # what is weighed as drained is gone; what is not weighed is counted as still there
        salt = max(left.salt_ratio - gone[-1][1] / water, 0.0) + (1.0 - first) * at.dose.salt_kg / water
        return begun.profile, Reservoir(max(salt, LEAST_RATIO), left.liquid_ratio, at.saturation)

    low, best, high = at.diffusivity
    times, ends = [], []
    for d in (high, best, low):
        profile, outside = second(d)
        final = (profile.mean + outside.salt_ratio) / (1.0 + outside.liquid_ratio)
        course = course_on(profile, outside, LONG)
        found = salt_profile.fourier_from_share(
            course=course, salt_ratio=at.part.number("pct") * final, of="centre"
        )
        times.append(first_days * DAY_S + at.time(LONG if found is None else found, d))
        ends.append(final)
    trade, typed = trade_rule(at), request.salting_time_s
    wanted = typed if typed is not None else max(times[1], trade.value)
    days = max(math.ceil(wanted / DAY_S - 1e-9), first_days + 1)
    profiles, shares = [], []
    for d, final in zip((low, best, high), reversed(ends), strict=True):
        profile, outside = second(d)
        stretch = min(at.fourier((days - first_days) * DAY_S, d), 2 * LONG)
        profiles.append(course_on(profile, outside, stretch).profile)
        shares.append(profiles[-1].centre / final)
    planned = days * DAY_S
    through, centre = through_amount(at, times[1], times[0], times[2]), centre_amount(at, planned, shares)
    notes = []
    if typed is not None and planned < times[1]:
        notes.append(
            Note("salting_short", {"planned_s": planned, "through_s": times[1], "centre_frac": centre.value})
        )
    if trade.value < 0.9 * times[1]:
        notes.append(Note("trade_falls_short", {"trade_s": trade.value, "through_s": times[1]}))
    by = trade if typed is None and trade.value > times[1] else through
    made = rested(
        at, days, by, through, trade, centre, tuple(profiles), notes, first_days=first_days, always=False
    )
    return replace(made, drained=_drained_amount(at, gone[1]))


def _drained(at: Setting, left: Reservoir, first: float) -> tuple[float, float, float]:
    """Salt in the liquid as weighed: least, likely, most. Of unknown strength it is as the model has it."""
    twice = at.request.twice
    if twice is None or twice.drained_kg is None:
        return 0.0, 0.0, 0.0
    applied = first * at.dose.salt_kg
    strength = at.library.row(RULES, "salt_saturation").number("pct")
    least, most = brine.salt_with_liquid_bounds(
        liquid_kg=twice.drained_kg, applied_kg=applied, saturation_frac=strength
    )
    if twice.drained_salt_frac is not None:
        known = brine.salt_with_liquid(
            liquid_kg=twice.drained_kg,
            strength_frac=twice.drained_salt_frac,
            applied_kg=applied,
            saturation_frac=strength,
        )
        return known, known, known
    ratio = left.strength or 0.0
    return least, min(twice.drained_kg * ratio / (1.0 + ratio), most), most


def _drained_amount(at: Setting, found: tuple[float, float, float]) -> Amount | None:
    twice = at.request.twice
    if twice is None or twice.drained_kg is None:
        return None
    least, likely, most = found
    known = twice.drained_salt_frac is not None
    return Amount(
        quantity="salt_drained",
        value=likely,
        kind="mass",
        model=brine.salt_with_liquid if known else brine.salt_with_liquid_bounds,
        inputs={"liquid_kg": twice.drained_kg, "strength_frac": twice.drained_salt_frac},
        rows=(at.library.row(RULES, "salt_saturation"),),
        low=None if known else least,
        high=None if known else most,
        interval=None if known else "salt_bounds",
    )
