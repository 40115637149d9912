"""A cooked dish on trays: how its parts lie there, how long they take, how long they are wet and warm.

Every part (rice, a bean, the sauce) is a slab by its own smallest way out; all share the air that reaches
the trays. With little on the trays the pieces decide, with much the air does.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Self

import numpy as np

from saltfare.core.errors import Problem, Refused
from saltfare.core.numerics import Array, check_range
from saltfare.core.tables import Row
from saltfare.models import air_film
from saltfare.models.trays_air import (
    DryingSurface,
    Gab,
    crowding,
    drying_surface,
    gab_at,
    room_air_heated_rh,
    water_gab,
)
from saltfare.models.trays_layers import Diffusivity, diffusivity_arrhenius
from saltfare.models.trays_march import Course, Slabs, drying_course, time_reached, time_within

# Of the grid: times come out within 0.5 % of a grid four times as fine, of thin pieces too (tests).
_NODES, _STEPS = 12, 200
# First mode of a slab over that of a cylinder, a sphere and a cube, in half of the smallest measure.
_CYLINDER = 0.5 * math.pi / 2.404825557695773
_SLABS = {"slab": 1.0, "cylinder": _CYLINDER, "sphere": 0.5, "cube": 1.0 / math.sqrt(3.0)}


@dataclass(frozen=True, slots=True)
class TrayKind:
    """What a tray lets the air reach: area that gives off water over area of tray, and area that takes up
    heat over area that gives off water."""

    vapour_faces: float
    heat_ratio: float

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of the table `tray_kinds`."""
        return cls(row.number("vapour_faces"), row.number("heat_ratio"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Dryer:
    """Trays and the air over them.

    tray_length_m: along the air. power_w: of heater and fan, duty_frac: share of the time it is on; None
    where not known. inside_rh_frac: measured over the trays, None to take the room's air, heated.
    """

    trays: int
    tray_area_m2: float
    tray_length_m: float
    kind: TrayKind
    temp_c: float
    speed_m_per_s: float
    room_temp_c: float
    room_rh_frac: float
    inside_rh_frac: float | None
    power_w: float | None
    duty_frac: float | None
    pressure_pa: float

    @property
    def area_m2(self) -> float:
        """Of all trays."""
        return self.trays * self.tray_area_m2

    @property
    def mean_power_w(self) -> float | None:
        """Power over the time, None where power or duty is not known."""
        return None if self.power_w is None or self.duty_frac is None else self.power_w * self.duty_frac


@dataclass(frozen=True, slots=True, kw_only=True)
class TrayPart:
    """One part of a dish on the trays.

    share_frac: of the dish's solids. shape: slab, cylinder, sphere or cube by size_m (thickness, diameter,
    side), or spread: then size_m is None and the depth follows from the load.
    """

    name: str
    share_frac: float
    shape: str
    size_m: float | None
    diffusivity: Diffusivity


@dataclass(frozen=True, slots=True, kw_only=True)
class TrayLoad:
    """What lies on the trays: mass, share of water, density, parts, and whether a spread is turned over or
    broken up half-way."""

    mass_kg: float
    water_frac: float
    density_kg_per_m3: float
    parts: tuple[TrayPart, ...]
    turned: bool


@dataclass(frozen=True, slots=True)
class Doubts:
    """Multipliers of what the air carries off, of the diffusivity and of the solids, one set a member;
    arrays (n,). air: film, stream and heat together, which a scale cannot tell apart."""

    air: Array
    diffusivity: Array
    solids: Array


@dataclass(frozen=True, slots=True)
class TrayRun:
    """A load dried under each set of doubts.

    time_s (k,). water (k, n): of the dish [kg/kg solids]. water_frac (n,): share of water laid on the trays.
    dry_s (n,): when the dish is down to its target, NaN beyond the horizon. part_dry_s (p, n): each part.
    wet_end_s (n,): when the middle of the last part is no longer wet. wet_warm_s (n,): time some part was
    wet and at a temperature of growth. food_temp_c (k, n): the coolest part. crowding: share of the drying
    left by trays in one stream. depth_m: of what is spread.
    """

    time_s: Array
    water: Array
    water_frac: Array
    dry_s: Array
    part_dry_s: Array
    wet_end_s: Array
    wet_warm_s: Array
    food_temp_c: Array
    crowding: float
    depth_m: float

    def mass_ratio(self, *, at_s: Array) -> Array:
        """Mass over mass laid on the trays, at times (m,), (m, n)."""
        solids = 1.0 - self.water_frac
        at = np.array([np.interp(at_s, self.time_s, w) for w in self.water.T]).T
        return np.asarray(solids * (1.0 + at))


def half_thickness(*, shape: str, size_m: float) -> float:
    """Half the thickness of the slab that loses its last water as fast as a piece of this shape.

    Parameters
    ----------
    shape : slab, cylinder, sphere or cube
    size_m : its thickness, diameter or side [m]

    Returns
    -------
    half thickness [m]

    Raises
    ------
    Refused: shape_unknown; OutOfRange

    Source
    ------
    crank_1975, first terms of slab, cylinder and sphere with a constant surface
    """
    if shape not in _SLABS:
        raise Refused(Problem("shape_unknown", "shape", shape, ", ".join(_SLABS)))
    size = float(check_range(size_m, low=2e-4, high=0.1, model="half_thickness", quantity="size_m"))
    return 0.5 * size * _SLABS[shape]


def tray_film(*, dryer: Dryer, wet_bulb_c: float, film_factor: float) -> float:
    """Heat film over the trays: a smooth plate as long as a tray, times a factor for trays and their load.

    Parameters
    ----------
    dryer : trays and air
    wet_bulb_c : temperature of what is wet [°C]
    film_factor : over that of a smooth plate

    Returns
    -------
    film coefficient [W/(m2 K)]

    Raises
    ------
    OutOfRange

    Source
    ------
    mechanical_engineers_handbook, volume 4, page 170
    saltfare_chosen, factor of the row film
    """
    plain = air_film.heat_film(
        shape="slab", size_m=dryer.tray_length_m, speed_m_per_s=dryer.speed_m_per_s, temp_c=dryer.temp_c,
        buoyancy_k=max(dryer.temp_c - wet_bulb_c, 0.0), pressure_pa=dryer.pressure_pa,
    )  # fmt: skip
    return float(plain) * film_factor


def dryer_problems(*, dryer: Dryer, load: TrayLoad) -> tuple[Problem, ...]:
    """What of dryer and load cannot be, as problems.

    Parameters
    ----------
    dryer, load : as given

    Source
    ------
    saltfare_chosen, what a tray, a heater and a share can be
    """
    found = []
    if dryer.trays < 1 or not 0.0 < dryer.tray_area_m2 < math.inf or not 0.0 < dryer.tray_length_m < math.inf:
        found.append(
            Problem("tray_area_impossible", "dryer.trays", f"{dryer.trays} x {dryer.tray_area_m2:g}")
        )
    if dryer.power_w is not None and not 0.0 < dryer.power_w < math.inf:
        found.append(Problem("power_not_positive", "dryer.power", f"{dryer.power_w:g}"))
    if dryer.duty_frac is not None and not 0.0 < dryer.duty_frac <= 1.0:
        found.append(Problem("duty_impossible", "dryer.duty", f"{dryer.duty_frac:g}"))
    if not dryer.temp_c > dryer.room_temp_c:
        found.append(Problem("dryer_colder_than_room", "dryer.temperature", f"{dryer.temp_c:g} C"))
    if not 0.0 < load.mass_kg < math.inf:
        found.append(Problem("mass_not_positive", "trayed_mass", f"{load.mass_kg:.6g} kg"))
    if not 0.0 < load.water_frac < 1.0:
        found.append(Problem("water_impossible", "water", f"{load.water_frac:g}"))
    if not load.parts or abs(math.fsum(p.share_frac for p in load.parts) - 1.0) > 1e-6:
        found.append(Problem("dish_empty", "parts"))
    return tuple(found)


def tray_run(
    *,
    dryer: Dryer,
    load: TrayLoad,
    target_water_frac: float,
    isotherms: tuple[Gab, ...],
    doubts: Doubts,
    film_factor: float,
    heat_kept_frac: float,
    wet_aw: float,
    growth_temp_c: tuple[float, float],
    horizon_s: float,
) -> TrayRun:
    """Dry a load under every set of doubts at once.

    Parameters
    ----------
    dryer, load : trays, air and what lies there
    target_water_frac : share of water when dry
    isotherms : constants in order of temperature
    doubts : multipliers (n,)
    film_factor : film over that of a smooth plate
    heat_kept_frac : share of the mean power that goes into the air
    wet_aw : activity above which the food counts as wet
    growth_temp_c : lowest and highest temperature of growth [°C]
    horizon_s : how far to look [s]

    Returns
    -------
    the run

    Raises
    ------
    Refused: what `dryer_problems` finds, target_wetter_than_dish, air_too_humid_for_target; OutOfRange

    Source
    ------
    saltfare_derived, parts as slabs that share the air
    """
    problems = dryer_problems(dryer=dryer, load=load)
    if problems:
        raise Refused(*problems)
    if not 0.0 < target_water_frac < load.water_frac:
        shares: dict[str, str | float | int] = {
            "target_frac": target_water_frac,
            "dish_frac": load.water_frac,
        }
        raise Refused(Problem("target_wetter_than_dish", "target_water", params=shares))
    rh = dryer.inside_rh_frac
    if rh is None:
        rh = room_air_heated_rh(
            room_temp_c=dryer.room_temp_c, room_rh_frac=dryer.room_rh_frac, temp_c=dryer.temp_c,
            pressure_pa=dryer.pressure_pa,
        )  # fmt: skip
    gab = gab_at(curves=isotherms, temp_c=dryer.temp_c)
    surface = drying_surface(
        gab=gab, temp_c=dryer.temp_c, rh_frac=rh, pressure_pa=dryer.pressure_pa,
        heat_ratio=dryer.kind.heat_ratio,
    )  # fmt: skip
    target = target_water_frac / (1.0 - target_water_frac)
    if target <= 1.02 * surface.water[0]:
        least = float(surface.water[0] / (1.0 + surface.water[0]))
        raise Refused(
            Problem("air_too_humid_for_target", "target_water", f"{target_water_frac:g}",
                    params={"target_frac": target_water_frac, "least_frac": least})
        )  # fmt: skip
    return _dried(dryer, load, surface, gab, target, doubts,
                  film_factor, heat_kept_frac, wet_aw, growth_temp_c, horizon_s)  # fmt: skip


def _dried(
    dryer: Dryer, load: TrayLoad, surface: DryingSurface, gab: Gab, target: float, doubts: Doubts,
    film_factor: float, heat_kept_frac: float, wet_aw: float, growth: tuple[float, float], horizon_s: float,
) -> TrayRun:  # fmt: skip
    halves, depth = _halves(dryer, load)
    volume_m = load.mass_kg / load.density_kg_per_m3 / dryer.area_m2  # of the load over the area of tray
    shares = np.array([part.share_frac for part in load.parts])
    areas = shares * volume_m / halves
    open_faces = min(dryer.kind.vapour_faces, float(areas.sum()))
    film = tray_film(dryer=dryer, wet_bulb_c=float(surface.temp_c[-1]), film_factor=film_factor)
    power = dryer.mean_power_w
    heating = None if power is None else power * heat_kept_frac
    crowd = crowding(
        film_w_per_m2_k=film * dryer.kind.heat_ratio, wet_area_m2=open_faces * dryer.area_m2,
        heating_w=heating, temp_c=dryer.temp_c, room_temp_c=dryer.room_temp_c,
    )  # fmt: skip
    solids = np.minimum((1.0 - load.water_frac) * doubts.solids, 0.999)  # more solids than mass cannot be
    water_frac = 1.0 - solids
    n, parts = solids.size, len(load.parts)
    diffusivity = np.array([
        float(diffusivity_arrhenius(diffusivity=p.diffusivity, temp_c=dryer.temp_c)) for p in load.parts
    ])  # fmt: skip
    # each member's parts side by side: (p, n) laid end to end
    spread = diffusivity[:, None] * doubts.diffusivity / halves[:, None] ** 2
    under = load.density_kg_per_m3 * solids * halves[:, None]
    slabs = Slabs(
        spread.ravel(),
        (film * crowd * open_faces / float(areas.sum()) * doubts.air / under).ravel(),
        np.broadcast_to(water_frac / solids, (parts, n)).ravel(),
    )
    course = drying_course(slabs=slabs, surface=surface, horizon_s=horizon_s, nodes=_NODES, steps=_STEPS)
    return _told(course, surface, shares, n, target, float(water_gab(gab=gab, aw=wet_aw)), growth, water_frac,
                 crowd, depth)  # fmt: skip


def _told(
    course: Course, surface: DryingSurface, shares: Array, n: int, target: float, wet: float,
    growth: tuple[float, float], water_frac: Array, crowd: float, depth: float,
) -> TrayRun:  # fmt: skip
    k, p = course.time_s.size, shares.size
    mean = course.mean.reshape(k, p, n)
    dish = np.einsum("p,kpn->kn", shares, mean)
    temp = surface.temperature(water=course.face).reshape(k, p, n)
    # above zero where a part is wet in its middle and at a temperature of growth
    held = course.middle.reshape(k, p, n) / wet - 1.0
    margin = np.minimum(held, np.minimum(temp - growth[0], growth[1] - temp) / (growth[1] - growth[0]))
    level = np.full(p * n, target)
    reached = time_reached(time_s=course.time_s, values=course.mean, level=level).reshape(p, n)
    ends = time_reached(time_s=course.time_s, values=course.middle, level=np.full(p * n, wet)).reshape(p, n)
    return TrayRun(
        course.time_s,
        dish,
        water_frac,
        time_reached(time_s=course.time_s, values=dish, level=np.full(n, target)),
        reached,
        ends.max(axis=0),
        time_within(time_s=course.time_s, margin=margin.max(axis=1)),
        temp.min(axis=1),
        crowd,
        depth,
    )


def _halves(dryer: Dryer, load: TrayLoad) -> tuple[Array, float]:
    """Half thickness of each part, and depth of all that is spread."""
    spread = math.fsum(p.share_frac for p in load.parts if p.shape == "spread")
    depth = spread * load.mass_kg / load.density_kg_per_m3 / dryer.area_m2
    out = []
    for part in load.parts:
        if part.shape == "spread":
            out.append(0.5 * depth if load.turned else depth)
        elif part.size_m is None:
            raise Refused(Problem("piece_size_missing", "parts", part.name))
        else:
            out.append(half_thickness(shape=part.shape, size_m=part.size_m))
    return np.array(out), depth
