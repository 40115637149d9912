"""The hanging piece written a second time, slowly: one member, scipy's root finder and integrator.

Same equations and same shells; radii, areas and half thicknesses are written out, saturation comes
from psychrolib, the surface is searched in water activity with the temperature inside.
"""

from __future__ import annotations

from itertools import pairwise
from math import exp, pi

import numpy as np
import psychrolib
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from saltfare.core.library import Library
from saltfare.models import air_film
from saltfare.models.drying import Air, DryingParameters, Hanging, density_additive, volume_stated
from saltfare.models.drying_shells import shell_weights
from saltfare.models.sorption import ProteinIsotherm, water_ratio_salted_meat

psychrolib.SetUnitSystem(psychrolib.SI)
LIBRARY = Library()
LEAN = ProteinIsotherm.from_row(LIBRARY.row("isotherms", "lean_meat"))
PARAMETERS = DryingParameters.from_library(library=LIBRARY, law="lean_default", body="whole_muscle")
DAY = 86400.0


def a_piece(
    *, shape: str = "cylinder", thickness: float = 0.1, length: float = 0.25, width: float = 0.0,
    water: float = 0.725, fat: float = 0.025, salt: float = 0.027, open_frac: float = 1.0,
    casing: float = 0.0, faces: int = 2,
) -> Hanging:  # fmt: skip
    """An invented piece that fills its shape."""
    density = density_additive(water_frac=water, fat_frac=fat, salt_frac=salt, body=PARAMETERS.body)
    volume = volume_stated(shape=shape, thickness_m=thickness, length_m=length, width_m=width)  # type: ignore[arg-type]
    mass = float(density) * volume
    return Hanging(shape, thickness, length, width, mass, water, fat, salt, open_frac, casing, faces)  # type: ignore[arg-type]


def constant_air(*, days: float, temp: float = 13.0, rh: float = 0.75, speed: float = 0.1) -> Air:
    """One stretch."""
    return Air(np.array([days * DAY]), np.array([temp]), np.array([rh]), np.array([speed]))


def swinging_air(*, days: int, high: float, low: float, temp: float = 13.0, speed: float = 0.1) -> Air:
    """Half a day at each of two humidities."""
    ends = np.arange(1, 2 * days + 1) * 0.5 * DAY
    rh = np.where(np.arange(2 * days) % 2 == 0, high, low)
    return Air(ends, np.full(len(ends), temp), rh, np.full(len(ends), speed))


class Twin:
    """One member of one piece in one stretch of air."""

    def __init__(self, piece: Hanging, spread: float, resist: float, shells: int, grading: float) -> None:
        law, body = PARAMETERS.law, PARAMETERS.body
        self.piece, self.law, self.body, self.resist = piece, law, body, resist
        solids_frac = 1 - piece.water_frac - piece.fat_frac - piece.salt_frac
        self.solids = piece.mass_kg * solids_frac
        self.x0, self.salt, fat = (
            f / solids_frac for f in (piece.water_frac, piece.salt_frac, piece.fat_frac)
        )
        self.v_fixed = 1 / body.solids_kg_per_m3 + fat / body.fat_kg_per_m3 + self.salt / body.salt_kg_per_m3
        self.v0 = self.v_fixed + self.x0 / body.water_kg_per_m3
        phi = fat / body.fat_kg_per_m3 / self.v0
        self.spread = spread * 2 * (1 - phi) / (2 + phi)
        self.m = self.solids * shell_weights(shells=shells, grading=grading)
        total = self.solids * self.v0
        if piece.shape == "cylinder":
            self.long0 = total / (pi * piece.thickness_m**2 / 4)
            self.kappa = piece.open_frac + piece.thickness_m / 2 / piece.length_m
        else:
            self.face0 = total / piece.thickness_m * piece.drying_faces
            edges = 2 * (piece.length_m + piece.width_m) * piece.thickness_m
            self.kappa = piece.open_frac + edges / (piece.drying_faces * piece.length_m * piece.width_m)

    def set_air(self, temp: float, rh: float, speed: float) -> None:
        """The stretch's air and films."""
        size = (
            self.piece.thickness_m
            if self.piece.shape == "cylinder"
            else min(self.piece.length_m, self.piece.width_m)
        )
        h = float(
            air_film.heat_film(
                shape=self.piece.shape,
                size_m=size,
                speed_m_per_s=speed,
                temp_c=temp,
                buoyancy_k=self.body.buoyancy_k,
                pressure_pa=self.body.pressure_pa,
            )
        )
        k = float(
            air_film.vapour_film_lewis(heat_film_w_per_m2_k=h, temp_c=temp, pressure_pa=self.body.pressure_pa)
        )
        self.heat = h + 4 * self.body.emissivity * 5.670374419e-8 * (temp + 273.15) ** 3
        self.r = self.resist * (1 / k + self.piece.casing_resistance_s_per_m)
        self.temp, self.vapour = temp, rh * psychrolib.GetSatVapPres(temp)

    def leaving(self, a: float) -> tuple[float, float]:
        """Flux and surface temperature where the surface has activity a."""

        def flux(t: float) -> float:
            return (a * psychrolib.GetSatVapPres(t) - self.vapour) / (461.523 * (t + 273.15) * self.r)

        def heat(t: float) -> float:
            return self.heat * (self.temp - t) - (2.501e6 - 2361 * t) * flux(t)

        t = brentq(heat, 0.5, self.temp + 25, xtol=1e-11)
        return flux(t), t

    def diffusivity(self, x: np.ndarray, t: float) -> np.ndarray:
        """The law written out."""
        warm = exp(
            -self.law.activation_j_per_mol
            / 8.314462618
            * (1 / (t + 273.15) - 1 / (self.law.temp_ref_c + 273.15))
        )
        drag = np.exp(-self.law.water_drag * (1 / (1 + x) - 1 / (1 + self.law.water_ratio_ref)))
        return self.spread * self.law.diffusivity_m2_per_s * warm * drag

    def rates(self, x: np.ndarray) -> tuple[np.ndarray, float]:
        """dX/dt of the shells and the water leaving the piece [kg/s]."""
        v = self.v_fixed + x / self.body.water_kg_per_m3
        inside = np.cumsum(self.m * v)
        shrunk = inside[-1] / (self.solids * self.v0)
        if self.piece.shape == "cylinder":
            length = self.long0 * shrunk**self.body.shrinkage_power
            area = 2 * pi * np.sqrt(inside / (pi * length)) * length
        else:
            area = np.full(len(x), self.face0 * shrunk ** (2 * self.body.shrinkage_power))

        def carry(t: float) -> np.ndarray:
            return self.diffusivity(x, t) / v

        def excess(a: float) -> float:
            j, t = self.leaving(a)
            surface = float(water_ratio_salted_meat(aw=a, salt_ratio=self.salt, protein=LEAN))
            half = self.m[-1] * v[-1] / (2 * area[-1])
            return float(carry(t)[-1] / half * (x[-1] - surface) - j)

        a = brentq(excess, 0.1, 0.998, xtol=1e-12)
        j, t = self.leaving(a)
        c = carry(t)
        left = self.m[:-1] * v[:-1] / (2 * area[:-1]) / c[:-1]
        right = self.m[1:] * v[1:] / (2 * area[:-1]) / c[1:]
        between = self.kappa * area[:-1] * (x[:-1] - x[1:]) / (left + right)
        out = self.kappa * area[-1] * j
        flux = np.append(between, out)
        drain = flux - np.concatenate([[0.0], between])
        return -drain / self.m, float(out)

    def losses(self, air: Air, times: np.ndarray, *, method: str = "LSODA", rtol: float = 1e-6) -> np.ndarray:
        """Loss over the mass at hanging at those times, all at ends of stretches or inside the first."""
        x, out, ends = np.full(len(self.m), self.x0), [], [0.0, *air.end_time_s]
        for k, (begin, end) in enumerate(pairwise(ends)):
            self.set_air(float(air.temp_c[k]), float(air.rh_frac[k]), float(air.speed_m_per_s[k]))
            at = [t for t in times if begin < t <= end]
            extra = {"lband": 1, "uband": 1} if method == "LSODA" else {}
            run = solve_ivp(
                lambda _, y: self.rates(y)[0],
                (begin, end),
                x,
                method=method,
                rtol=rtol,
                atol=1e-8,
                t_eval=sorted({*at, end}),
                **extra,
            )
            assert run.success
            for t, y in zip(run.t, run.y.T, strict=True):
                if t in at:
                    out.append(float(self.m @ (self.x0 - y)) / self.piece.mass_kg)
            x = run.y[:, -1]
        return np.array(out)


def bessel_zero_sum(fourier: float, *, centre: bool) -> float:
    """Cylinder: remaining fraction, mean or in the middle (crank_1975, chapter 5)."""
    from scipy.special import j1, jn_zeros

    b = jn_zeros(0, 60)
    terms = np.exp(-(b**2) * fourier)
    return float((2 / (b * j1(b)) * terms).sum() if centre else (4 / b**2 * terms).sum())


def slab_sum(fourier: float, *, centre: bool) -> float:
    """Slab of half thickness: remaining fraction, mean or in the middle (crank_1975, chapter 4)."""
    n = np.arange(60)
    odd = 2 * n + 1
    terms = np.exp(-(odd**2) * pi**2 * fourier / 4)
    return float((4 / pi * (-1.0) ** n / odd * terms).sum() if centre else (8 / pi**2 / odd**2 * terms).sum())
