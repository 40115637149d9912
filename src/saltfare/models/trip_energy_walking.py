"""Power of walking with a load over ground that rises, falls or gives way: rival equations side by side.

Slope is rise over run, negative downhill, in every equation here. Copies of the downhill correction that
take the slope without its sign make going down dearer than the level; ours is checked against that.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Self

from saltfare.core.errors import OutOfRange
from saltfare.core.tables import Row
from saltfare.models.trip_energy import HOUR_S, positive, within

# Whether the ground factor multiplies the slope term of the 2022 equation: copies disagree and the paper
# was not reachable. `uphill` multiplies it only where that makes the cost larger.
GroundOnSlope = Literal["uphill", "never", "always"]


@dataclass(frozen=True, slots=True)
class Ground:
    """The factor by which ground multiplies the cost of moving; 1 on a paved way."""

    factor: float

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of the table `terrain`."""
        return cls(row.number("factor"))


def ground_snow_depth(*, depth_m: float, density_kg_per_m3: float) -> Ground:
    """Ground factor of snow from its depth and density, by how deep the foot goes.

    Parameters
    ----------
    depth_m : depth of the snow, up to 0.5 [m]
    density_kg_per_m3 : density of the snow, under 1186 [kg/m3]

    Returns
    -------
    ground factor

    Raises
    ------
    OutOfRange

    Source
    ------
    richmond_2019, abstract: sinkage and the cubic in it
    """
    model = "ground_snow_depth"
    within(value=depth_m, low=0.0, high=0.5, model=model, quantity="depth_m")
    within(value=density_kg_per_m3, low=10.0, high=920.0, model=model, quantity="density_kg_per_m3")
    z_cm = 100.0 * depth_m * (1.0 - density_kg_per_m3 / 1186.0)
    return Ground(0.0005 * z_cm**3 + 0.0001 * z_cm**2 + 0.1072 * z_cm + 1.2604)


def ground_snow_footprint(*, depression_m: float) -> Ground:
    """Ground factor of soft snow from the depth of the footprint.

    Parameters
    ----------
    depression_m : depth of the footprint, up to 0.4 [m]

    Returns
    -------
    ground factor

    Raises
    ------
    OutOfRange

    Source
    ------
    pandolf_1976, soft snow: 1.3 and 0.08 for each cm
    """
    within(value=depression_m, low=0.0, high=0.4, model="ground_snow_footprint", quantity="depression_m")
    return Ground(1.3 + 8.0 * depression_m)


def _pandolf(W: float, L: float, V: float, G: float, eta: float) -> float:
    return 1.5 * W + 2.0 * (W + L) * (L / W) ** 2 + eta * (W + L) * (1.5 * V * V + 0.35 * V * G)


def _checked(model: str, mass_kg: float, load_kg: float, speed_m_per_s: float, fastest: float) -> None:
    positive(value=mass_kg, model=model, quantity="mass_kg")
    within(value=load_kg, low=0.0, high=mass_kg, model=model, quantity="load_kg")
    within(value=speed_m_per_s, low=0.0, high=fastest, model=model, quantity="speed_m_per_s")


def power_walk_pandolf(
    *, mass_kg: float, load_kg: float, speed_m_per_s: float, grade_frac: float, ground: Ground
) -> float:
    """Power of standing or walking with a load on the level or uphill. Reads low for modern loads.

    Parameters
    ----------
    mass_kg : body mass [kg]
    load_kg : everything carried and worn, up to the body mass [kg]
    speed_m_per_s : speed over the ground, up to 2.5 [m/s]
    grade_frac : rise over run, 0 to 0.25 [-]
    ground : ground factor

    Returns
    -------
    power [W]

    Raises
    ------
    OutOfRange : downhill too, which the equation does not describe

    Source
    ------
    pandolf_1977, equation for metabolic rate
    """
    _checked("power_walk_pandolf", mass_kg, load_kg, speed_m_per_s, 2.5)
    within(value=grade_frac, low=0.0, high=0.25, model="power_walk_pandolf", quantity="grade_frac")
    return _pandolf(mass_kg, load_kg, speed_m_per_s, 100.0 * grade_frac, ground.factor)


def power_walk_pandolf_downhill(
    *, mass_kg: float, load_kg: float, speed_m_per_s: float, grade_frac: float, ground: Ground
) -> float:
    """Power of walking downhill with a load: the level equation less a correction, slope signed in both.

    The two branches do not join at the level: the correction is about -22 W there for a light pack.

    Parameters
    ----------
    mass_kg : body mass [kg]
    load_kg : everything carried and worn, up to the body mass [kg]
    speed_m_per_s : speed over the ground, up to 2.5 [m/s]
    grade_frac : rise over run, -0.12 to under 0, the slopes tested [-]
    ground : ground factor

    Returns
    -------
    power [W]

    Raises
    ------
    OutOfRange

    Source
    ------
    santee_2001, downhill correction
    pandolf_1977, equation for metabolic rate
    """
    model = "power_walk_pandolf_downhill"
    _checked(model, mass_kg, load_kg, speed_m_per_s, 2.5)
    if not -0.12 <= grade_frac < 0.0:
        raise OutOfRange(model, "grade_frac", grade_frac, -0.12, 0.0)
    W, L, V, G, eta = mass_kg, load_kg, speed_m_per_s, 100.0 * grade_frac, ground.factor
    fall = eta * (G * (W + L) * V / 3.5 - (W + L) * (G + 6.0) ** 2 / W + (25.0 - V * V))
    return _pandolf(W, L, V, G, eta) - fall


def _grade_2019(S: float, G: float) -> float:
    """The slope term, W/kg; G in percent."""
    return float(0.34 * S * G * (1.0 - 1.05 ** (1.0 - 1.1 ** (G + 32.0))))


def power_walk_looney_2019(*, moved_kg: float, speed_m_per_s: float, grade_frac: float) -> float:
    """Power of walking on firm ground, up and down, without a heavy load.

    Parameters
    ----------
    moved_kg : body mass, or body and load as one mass [kg]
    speed_m_per_s : speed, up to 1.96 [m/s]
    grade_frac : rise over run, -0.40 to 0.45 [-]

    Returns
    -------
    power; error of the fit 0.20 W/kg on the level, 0.42 on slopes [W]

    Raises
    ------
    OutOfRange

    Source
    ------
    looney_2019, graded walking equation
    """
    model = "power_walk_looney_2019"
    positive(value=moved_kg, model=model, quantity="moved_kg")
    S = within(value=speed_m_per_s, low=0.0, high=1.96, model=model, quantity="speed_m_per_s")
    G = 100.0 * within(value=grade_frac, low=-0.40, high=0.45, model=model, quantity="grade_frac")
    return moved_kg * float(1.44 + 1.94 * S**0.43 + 0.24 * S**4 + _grade_2019(S, G))


def power_walk_looney_2022(
    *,
    mass_kg: float,
    load_kg: float,
    speed_m_per_s: float,
    grade_frac: float,
    ground: Ground,
    resting_power_w: float,
    ground_on_slope: GroundOnSlope,
) -> float:
    """Power of walking with a heavy pack.

    Parameters
    ----------
    mass_kg : body mass [kg]
    load_kg : load, up to 0.66 of the body mass [kg]
    speed_m_per_s : speed, up to 1.97; measured from 0.45 [m/s]
    grade_frac : rise over run, -0.40 to 0.45, as of the slope term [-]
    ground : ground factor
    resting_power_w : resting power [W]
    ground_on_slope : whether the ground factor multiplies the slope term; undecided between copies,
        `uphill` takes the dearer reading on both sides of the level

    Returns
    -------
    power [W]

    Raises
    ------
    OutOfRange

    Source
    ------
    looney_2022, load carriage equation; ground on the slope term undecided
    """
    model = "power_walk_looney_2022"
    _checked(model, mass_kg, load_kg, speed_m_per_s, 1.97)
    ratio = within(value=load_kg / mass_kg, low=0.0, high=0.66, model=model, quantity="load_frac")
    within(value=grade_frac, low=-0.40, high=0.45, model=model, quantity="grade_frac")
    positive(value=resting_power_w, model=model, quantity="resting_power_w")
    S, eta = speed_m_per_s, ground.factor
    slope = _grade_2019(S, 100.0 * grade_frac)
    if ground_on_slope == "always" or (ground_on_slope == "uphill" and grade_frac > 0.0):
        slope *= eta
    moving = 0.19 + eta * (1.78 * S**0.58 + 0.27 * S**4) + slope
    return resting_power_w + mass_kg * float(moving * (1.0 + 1.96 * ratio**1.36))


def walking_time_naismith(*, distance_m: float, ascent_m: float) -> float:
    """Time on the way for a fit walker: three miles an hour, and an hour more for each 2000 ft of climb.

    Parameters
    ----------
    distance_m : length of the way [m]
    ascent_m : sum of all rises [m]

    Returns
    -------
    time without pauses [s]

    Raises
    ------
    OutOfRange

    Source
    ------
    naismith_1892, page 136, rule of three miles an hour and 2000 feet
    """
    model = "walking_time_naismith"
    within(value=distance_m, low=0.0, high=200_000.0, model=model, quantity="distance_m")
    within(value=ascent_m, low=0.0, high=20_000.0, model=model, quantity="ascent_m")
    return HOUR_S * (distance_m / (3.0 * 1609.344) + ascent_m / (2000.0 * 0.3048))


@dataclass(frozen=True, slots=True)
class WalkEstimate:
    """One equation's answer; None where the case lies outside it, with the quantity that does."""

    model: str
    power_w: float | None
    outside: str


def power_walk_models(
    *,
    mass_kg: float,
    load_kg: float,
    speed_m_per_s: float,
    grade_frac: float,
    ground: Ground,
    resting_power_w: float,
    ground_on_slope: GroundOnSlope,
) -> tuple[WalkEstimate, ...]:
    """Every walking equation side by side, newest first; the spread between them is what is not known.

    The 2019 equation has no ground factor: it answers only for firm ground, on body and load as one mass.

    Parameters
    ----------
    mass_kg, load_kg : body mass; everything carried [kg]
    speed_m_per_s : speed [m/s]
    grade_frac : rise over run [-]
    ground : ground factor
    resting_power_w : resting power [W]
    ground_on_slope : as of `power_walk_looney_2022`

    Returns
    -------
    an estimate for each equation

    Source
    ------
    looney_2022, load carriage equation
    looney_2019, graded walking equation
    pandolf_1977, equation for metabolic rate
    santee_2001, downhill correction
    """
    firm = ground.factor <= 1.1
    given = {
        "mass_kg": mass_kg,
        "load_kg": load_kg,
        "speed_m_per_s": speed_m_per_s,
        "grade_frac": grade_frac,
    }

    def looney_2022() -> float:
        return power_walk_looney_2022(
            **given, ground=ground, resting_power_w=resting_power_w, ground_on_slope=ground_on_slope
        )

    def pandolf() -> float:
        walk = power_walk_pandolf if grade_frac >= 0.0 else power_walk_pandolf_downhill
        return walk(**given, ground=ground)

    def looney_2019() -> float:
        if not firm:
            raise OutOfRange("power_walk_looney_2019", "ground", ground.factor, 1.0, 1.1)
        return power_walk_looney_2019(
            moved_kg=mass_kg + load_kg, speed_m_per_s=speed_m_per_s, grade_frac=grade_frac
        )

    out = []
    for name, answer in (("looney_2022", looney_2022), ("pandolf", pandolf), ("looney_2019", looney_2019)):
        try:
            out.append(WalkEstimate(name, answer(), ""))
        except OutOfRange as outside:
            out.append(WalkEstimate(name, None, outside.quantity))
    return tuple(out)
