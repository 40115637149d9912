"""Days in salt and at rest, and the salt across the piece at their end.

Each way of salting is a reservoir the surface touches. One course to the end gives the time to the middle
for any diffusivity, for it is told in Fourier numbers.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

from saltfare.core.figure import Note
from saltfare.core.library import Library
from saltfare.core.tables import Row
from saltfare.models import salt_diffusion, salt_profile
from saltfare.models.salt_diffusion import SaltDiffusivity
from saltfare.models.salt_profile import Course, Profile, Reservoir, Shape
from saltfare.plans.piece_parts import (
    BRINES,
    Amount,
    Dose,
    PieceRequest,
    SaltingTime,
)

RULES = "salting_rules"
DAY_S = 86400.0
# With these, times to the middle differ by less than 0.5 % from ten times as many (tests).
CELLS, STEPS = 32, 48
# By then the slowest boundary here is within 0.2 % of its end.
LONG = 3.0
# An empty dose has no course; one a millionth as strong has the same shares.
LEAST_RATIO = 1e-6


@lru_cache(maxsize=512)
def course_fresh(*, shape: Shape, reservoir: Reservoir, fourier: float) -> Course:
    """A piece without salt in touch with a reservoir."""
    fresh = salt_profile.profile_even(shape=shape, cells=CELLS, salt_ratio=0.0)
    return salt_profile.course_of_salt(
        profile=fresh, reservoir=reservoir, fourier=fourier, steps=STEPS, relative=None
    )


def course_on(profile: Profile, reservoir: Reservoir | None, fourier: float) -> Course:
    """A piece that has salt already."""
    return salt_profile.course_of_salt(
        profile=profile, reservoir=reservoir, fourier=fourier, steps=STEPS, relative=None
    )


@dataclass(frozen=True, slots=True)
class Setting:
    """What the days hang on. water_ratio: the meat's water per kg of what takes up salt."""

    request: PieceRequest
    dose: Dose
    water_ratio: float
    way_m: float
    diffusivity: tuple[float, float, float]
    salt: Row
    part: Row
    saturation: float
    library: Library

    def fourier(self, time_s: float, diffusivity: float) -> float:
        """Fourier number of a time."""
        return diffusivity * time_s / self.way_m**2

    def time(self, fourier: float, diffusivity: float) -> float:
        """Time of a Fourier number."""
        return fourier * self.way_m**2 / diffusivity

    @property
    def inputs(self) -> dict[str, str | float | int | None]:
        """For the traces."""
        return {
            "thickness_m": self.request.thickness_m,
            "shape": self.request.shape,
            "is_one_sided": int(self.request.skin_on),
            "temp_c": self.request.salting_temp_c,
            "salt_ratio": self.dose.salt_kg / self.dose.base_kg / self.water_ratio,
            "diffusivity_m2_per_s": self.diffusivity[1],
        }


def setting_of(*, request: PieceRequest, dose: Dose, water_frac: float, library: Library) -> Setting:
    """What the days hang on. Raises OutOfRange for a temperature no diffusivity is known at."""
    salt = library.row("diffusion_salt", "nacl_span")
    strength = library.row(RULES, "salt_saturation").number("pct")
    return Setting(
        request=request,
        dose=dose,
        water_ratio=water_frac,
        way_m=salt_diffusion.salt_way(
            thickness_m=request.thickness_m, shape=request.shape, is_one_sided=request.skin_on
        ),
        diffusivity=salt_diffusion.diffusivity_salt(
            temp_c=request.salting_temp_c, salt=SaltDiffusivity.from_row(salt)
        ),
        salt=salt,
        part=library.row(RULES, "centre_share"),
        saturation=strength / (1.0 - strength),
        library=library,
    )


def reservoir_of(at: Setting, share: float = 1.0) -> Reservoir:
    """What the surface touches at first. share: of a dose that is rubbed on in parts."""
    dose, water = at.dose, at.water_ratio * at.dose.base_kg
    if at.request.method == "excess_salt":
        return Reservoir(math.inf, 0.0, at.saturation)
    if at.request.method in BRINES:
        made = {amount.quantity: amount.value for amount in dose.brine}
        salt = made["brine_mass"] * made["brine_strength"]
        return Reservoir(max(salt / water, LEAST_RATIO), made["brine_water"] / water, at.saturation)
    bag = at.library.row(RULES, "bag_liquid").number("pct")
    liquid = bag * at.request.green_mass_kg / water
    return Reservoir(max(share * dose.salt_kg / water, LEAST_RATIO), liquid, at.saturation)


def even_ratio(outside: Reservoir) -> float:
    """Salt per kg of water once it is even in meat and liquid."""
    even = outside.salt_ratio / (1.0 + outside.liquid_ratio)
    return even if even < outside.saturation else outside.saturation


def needle_spacing(at: Setting) -> float:
    """Between the stitches of the needle."""
    chosen = at.request.brine
    if chosen is not None and chosen.spacing_m is not None:
        return chosen.spacing_m
    return at.library.row(RULES, "needle_spacing").number("inches")


def trade_rule(at: Setting) -> Amount:
    """The trade's own rule for this way of salting."""
    rules, request = at.library, at.request
    if request.method == "excess_salt":
        row = rules.row(RULES, "box_days")
        value = row.number("days") * request.green_mass_kg
        return practice_time("box_days", value, {"green_mass_kg": request.green_mass_kg}, (row,))
    if request.method in BRINES:
        ends = [rules.row(RULES, f"pickle_days_{end}") for end in ("low", "high")]
        low, high = (row.number("days") * request.green_mass_kg / row.number("pounds") for row in ends)
        amount = practice_time("pickle_days", low, {"green_mass_kg": request.green_mass_kg}, tuple(ends))
        return Amount(
            quantity=amount.quantity,
            value=low,
            kind="time",
            model=amount.model,
            inputs=amount.inputs,
            rows=amount.rows,
            low=low,
            high=high,
            interval="practice_range",
        )
    inch = rules.row(RULES, "trade_days")
    value = salt_diffusion.time_trade_inch(
        thickness_m=request.thickness_m,
        time_per_step_s=inch.number("days"),
        step_m=inch.number("inches"),
    )
    return practice_time("trade_days", value, {"thickness_m": request.thickness_m}, (inch,))


def practice_time(quantity: str, value: float, inputs: dict[str, float], rows: tuple[Row, ...]) -> Amount:
    """Days by a rule of the trade."""
    return Amount(
        quantity=quantity,
        value=value,
        kind="time",
        model=salt_diffusion.time_trade_inch,
        inputs=dict(inputs),
        rows=rows,
    )


def through_amount(
    at: Setting, best: float, fast: float, slow: float, quantity: str = "salt_through"
) -> Amount:
    """Time until the salt is where it should be, with the spread of its diffusivity."""
    return Amount(
        quantity=quantity,
        value=best,
        kind="time",
        model=salt_profile.fourier_from_share,
        inputs={"centre_frac": at.part.number("pct"), **at.inputs},
        rows=(at.salt, at.part),
        low=fast,
        high=slow,
        interval="published_spread",
    )


def centre_amount(at: Setting, time_s: float, shares: list[float]) -> Amount:
    """Salt in the middle. shares: with the least, the middle and the greatest diffusivity."""
    held = [min(share, 1.0) for share in shares]  # rounding may stand a hair above the even spread
    return Amount(
        quantity="centre_share",
        value=held[1],
        kind="fraction",
        model=salt_profile.course_of_salt,
        inputs={"time_s": time_s, **at.inputs},
        rows=(at.salt,),
        low=min(held),
        high=max(held),
        interval="published_spread",
    )


def needle_centre(at: Setting, time_s: float) -> Amount:
    """Salt half-way between two stitches of the needle."""
    spacing = needle_spacing(at)
    shares = [
        salt_diffusion.centre_share_at(
            time_s=time_s, thickness_m=spacing, shape="slab", is_one_sided=False, diffusivity_m2_per_s=d
        )
        for d in at.diffusivity
    ]
    return centre_amount(at, time_s, shares)


def profile_after(at: Setting, outside: Reservoir | None, time_s: float, diffusivity: float) -> Profile:
    """Salt across the piece after a time; what was pumped counts as even."""
    if outside is None:
        ratio = at.dose.salt_kg / at.dose.base_kg / at.water_ratio
        return salt_profile.profile_even(shape=at.request.shape, cells=CELLS, salt_ratio=min(ratio, 1.0))
    fourier = min(at.fourier(time_s, diffusivity), 2 * LONG)  # even long before
    return course_fresh(shape=at.request.shape, reservoir=outside, fourier=fourier).profile


def rested(
    at: Setting,
    days: int,
    by: Amount,
    through: Amount,
    trade: Amount,
    centre: Amount,
    profiles: tuple[Profile, ...],
    notes: list[Note],
    *,
    always: bool,
    uptake: Amount | None = None,
    first_days: int | None = None,
) -> SaltingTime:
    """The salting with its rest. always: whether this way is always followed by one."""
    typed, planned = at.request.rest_time_s, days * DAY_S
    rest_days, rest = 0, None
    if always or typed is not None:
        part = at.part.number("pct")
        times = []
        for profile, d in zip(profiles, at.diffusivity, strict=True):
            course = course_on(profile, None, LONG)
            found = salt_profile.fourier_from_share(
                course=course, salt_ratio=part * profile.mean, of="centre"
            )
            times.append(at.time(LONG if found is None else found, d))
        rest_days = math.ceil((typed if typed is not None else times[1]) / DAY_S - 1e-9)
        rest = Amount(
            quantity="rest_days",
            value=rest_days * DAY_S,
            kind="time",
            model=salt_profile.course_of_salt,
            inputs={"centre_frac": part, **at.inputs},
            rows=(at.salt, at.part),
            low=None if typed is not None else min(*times, rest_days * DAY_S),
            high=None if typed is not None else max(*times, rest_days * DAY_S),
            interval=None if typed is not None else "published_spread",
        )
        if typed is not None and typed < times[1]:
            notes.append(Note("rest_short", {"planned_s": rest_days * DAY_S, "even_s": times[1]}))
        profiles = tuple(
            course_on(p, None, min(at.fourier(rest_days * DAY_S, d), 2 * LONG)).profile if rest_days else p
            for p, d in zip(profiles, at.diffusivity, strict=True)
        )
    if at.dose.nitrite is not None or at.dose.nitrate is not None:
        notes.append(Note("nitrite_travel_unknown"))
    chosen = Amount(
        quantity="salting_days", value=planned, kind="time", model=by.model, inputs=by.inputs, rows=by.rows
    )
    return SaltingTime(
        days=days,
        planned=chosen,
        through=through,
        trade=trade,
        centre=centre,
        notes=tuple(notes),
        rest_days=rest_days,
        rest=rest,
        first_days=first_days,
        profiles=profiles,
        uptake=uptake,
    )
