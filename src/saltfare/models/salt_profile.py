"""Salt across a piece while it lies in salt and after: one-dimensional, by finite volumes.

Salt is told per kilogram of the meat's water, place as a share of the way from the middle (or the shut
face) to the surface, time as a Fourier number. What the surface touches is a reservoir: salt that is
still dry holds it at saturation; once all is dissolved a liquid of limited volume follows what it gives;
with no liquid nothing passes any more. A box of salt, a weighed dose, a brine and a rest are all that.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from saltfare.core.errors import NotConverged
from saltfare.core.numerics import Array, check_range, solve_tridiagonals

Shape = Literal["slab", "cylinder"]
# Diffusivity at a salt content over the diffusivity the Fourier number is told with.
Relative = Callable[[Array], Array]

# Two-stage singly diagonally implicit rule, second order and L-stable: gamma = 1 - 1/sqrt(2).
_GAMMA = 1.0 - 1.0 / math.sqrt(2.0)
# Cells are thinner towards the surface, where salt enters: edge = 1 - (1 - k/n)^power.
_GRADING = 1.6
_ROUNDS = 60
# A film thinner than this share of the meat's water holds nothing worth following.
_LEAST_LIQUID = 1e-9


@dataclass(frozen=True, slots=True)
class Profile:
    """Salt in a piece, cell by cell from the middle outwards.

    edges: shares of the way, 0 to 1. volumes: shares of the volume. salt_ratio: kg per kg of the meat's
    water.
    """

    shape: Shape
    edges: Array
    volumes: Array
    salt_ratio: Array

    @property
    def centre(self) -> float:
        """Salt in the middle, or at the shut face."""
        return float(self.salt_ratio[0])

    @property
    def mean(self) -> float:
        """Salt of the whole piece per kg of its water."""
        return float(self.volumes @ self.salt_ratio)


@dataclass(frozen=True, slots=True)
class Reservoir:
    """What the surface touches, per kg of the meat's water.

    salt_ratio: kg of salt in it, dry and dissolved; infinite for a box of salt that is never used up.
    liquid_ratio: kg of water in its liquid; 0 where none gathers. saturation: kg of salt per kg of water in
    saturated brine.
    """

    salt_ratio: float
    liquid_ratio: float
    saturation: float

    @property
    def strength(self) -> float | None:
        """kg of salt per kg of water at the surface; None where nothing passes."""
        if self.salt_ratio > self.liquid_ratio * self.saturation:
            return self.saturation
        return self.salt_ratio / self.liquid_ratio if self.liquid_ratio > _LEAST_LIQUID else None


@dataclass(frozen=True, slots=True)
class Course:
    """How salt went in: at Fourier numbers from 0, the middle, the whole, and what is left outside.

    dissolved_at: Fourier number at which the last dry salt dissolved, None where it never did or none was.
    """

    fourier: Array
    centre: Array
    mean: Array
    outside: Array
    dissolved_at: float | None
    profile: Profile
    reservoir: Reservoir


def profile_even(*, shape: Shape, cells: int, salt_ratio: float) -> Profile:
    """A piece with its salt evenly spread.

    Parameters
    ----------
    shape : `slab` or `cylinder`
    cells : how many, 8 to 2000
    salt_ratio : salt per kg of the meat's water [kg/kg]

    Returns
    -------
    the profile

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_derived, volumes between the edges
    """
    check_range(cells, low=8, high=2000, model="profile_even", quantity="cells")
    check_range(salt_ratio, low=0.0, high=1.0, model="profile_even", quantity="salt_ratio")
    edges = 1.0 - (1.0 - np.arange(cells + 1) / cells) ** _GRADING
    edges[0], edges[-1] = 0.0, 1.0
    volumes = np.diff(edges if shape == "slab" else edges**2)
    return Profile(shape, edges, volumes, np.full(cells, float(salt_ratio)))


def course_of_salt(
    *,
    profile: Profile,
    reservoir: Reservoir | None,
    fourier: float,
    steps: int,
    relative: Relative | None,
) -> Course:
    """Salt from a profile through a stretch of time in touch with a reservoir, or with nothing.

    Parameters
    ----------
    profile : the piece at the beginning
    reservoir : what the surface touches; None for a rest, when nothing passes
    fourier : D t / L^2 of the whole stretch, L from the middle or the shut face to the surface [-]
    steps : time steps, at even steps of the square root of time, 4 to 20000
    relative : diffusivity at a salt content over that of the Fourier number; None where it is constant

    Returns
    -------
    the course; salt of piece and reservoir together is kept to rounding

    Raises
    ------
    OutOfRange, NotConverged

    Source
    ------
    saltfare_derived, Fick's law over cells, each flux counted once
    crank_1975_sources, constant surface, limited volume and shut surface
    """
    check_range(fourier, low=0.0, high=1e3, model="course_of_salt", quantity="fourier")
    check_range(steps, low=4, high=20000, model="course_of_salt", quantity="steps")
    march = _March(profile, reservoir, relative)
    marks = fourier * (np.arange(steps + 1) / steps) ** 2
    rows = [march.row()]
    for before, after in pairwise(marks):
        if after > before:
            march.advance(float(before), float(after - before))
        rows.append(march.row())
    centre, mean, outside = (np.array(column) for column in zip(*rows, strict=True))
    left = march.reservoir or Reservoir(0.0, 0.0, 1.0)
    return Course(marks, centre, mean, outside, march.dissolved_at, march.profile, left)


class _March:
    """The state while it is marched: salt of the cells, and of the reservoir."""

    def __init__(self, profile: Profile, reservoir: Reservoir | None, relative: Relative | None) -> None:
        self.profile = profile
        self.reservoir = reservoir
        self.relative = relative
        self.dissolved_at: float | None = None
        middles = 0.5 * (profile.edges[:-1] + profile.edges[1:])
        area = np.ones_like(profile.edges) if profile.shape == "slab" else 2.0 * profile.edges
        self.inner = area[1:-1] / np.diff(middles)
        self.outer = float(area[-1] / (1.0 - middles[-1]))

    def row(self) -> tuple[float, float, float]:
        outside = self.reservoir.salt_ratio if self.reservoir else 0.0
        return self.profile.centre, self.profile.mean, outside

    def advance(self, at: float, length: float) -> None:
        """One step, cut in two where the last dry salt dissolves within it."""
        while length > 0.0:
            dry = self._dry()
            if dry is None:
                self._limited(length)
                return
            salt = self._held_step(length)
            gain = self._gain(salt)
            if gain <= dry:
                self._keep(salt, gain)
                return
            # the last of it dissolves within this step: find when
            part = max(self._time_of_gain(dry, length), length * 1e-12)
            salt = self._held_step(part)
            self._keep(salt, self._gain(salt))
            self.dissolved_at = at + part
            at, length = at + part, length - part

    def _time_of_gain(self, gain: float, length: float) -> float:
        return float(brentq(lambda h: self._gain(self._held_step(h)) - gain, 0.0, length, xtol=1e-16))

    def _dry(self) -> float | None:
        """Salt the piece can still take before none is dry; None where none is."""
        found = self.reservoir
        if found is None:
            return None
        dry = found.salt_ratio - found.liquid_ratio * found.saturation
        return dry if dry > 1e-15 else None

    def _gain(self, salt: Array) -> float:
        return float(self.profile.volumes @ (salt - self.profile.salt_ratio))

    def _keep(self, salt: Array, gain: float) -> None:
        before = self.profile
        self.profile = Profile(before.shape, before.edges, before.volumes, salt)
        if self.reservoir is not None:
            left = self.reservoir
            self.reservoir = Reservoir(left.salt_ratio - gain, left.liquid_ratio, left.saturation)

    def _held_step(self, length: float) -> Array:
        """The surface held at saturation."""
        held = self.reservoir.saturation if self.reservoir else 0.0
        return self._step(length, self.profile.salt_ratio, self.profile.volumes, held)

    def _limited(self, length: float) -> None:
        """The surface follows a liquid of limited volume, or is shut."""
        left, volumes, salt = self.reservoir, self.profile.volumes, self.profile.salt_ratio
        if left is None or left.liquid_ratio <= _LEAST_LIQUID:
            self._keep(self._step(length, salt, volumes, None), 0.0)
            return
        both = self._step(
            length,
            np.append(salt, left.salt_ratio / left.liquid_ratio),
            np.append(volumes, left.liquid_ratio),
            None,
        )
        self._keep(both[:-1], self._gain(both[:-1]))

    def _step(self, length: float, start: Array, capacity: Array, held: float | None) -> Array:
        """Two stages of the implicit rule; `capacity` has a cell more where a liquid follows."""
        first = self._stage(length, start, start, capacity, held)
        base = start + (1.0 - _GAMMA) / _GAMMA * (first - start)
        return self._stage(length, base, first, capacity, held)

    def _stage(self, length: float, base: Array, guess: Array, capacity: Array, held: float | None) -> Array:
        """Solve `x - gamma h F(x) = base`; diffusivity that hangs on salt is found by repeating."""
        cells = len(self.profile.volumes)
        found = guess
        for _ in range(_ROUNDS):
            inner, outer = self.inner, self.outer
            if self.relative is not None:
                factor = self.relative(found[:cells])
                # two half cells in series
                inner = inner * 2.0 * factor[:-1] * factor[1:] / (factor[:-1] + factor[1:])
                outer = outer * float(factor[-1])
            links = inner if len(base) == cells else np.append(inner, outer)
            share = _GAMMA * length
            diagonal, right = capacity.copy(), capacity * base
            diagonal[:-1] += share * links
            diagonal[1:] += share * links
            if held is not None:
                diagonal[-1] += share * outer
                right[-1] += share * outer * held
            upper, lower = np.zeros((1, len(base))), np.zeros((1, len(base)))
            upper[0, :-1] = lower[0, 1:] = -share * links
            fresh = solve_tridiagonals(lower=lower, diagonal=diagonal[None], upper=upper, right=right[None])[
                0
            ]
            if self.relative is None or float(np.max(np.abs(fresh - found))) < 1e-13:
                return np.asarray(fresh)
            found = fresh
        raise NotConverged("salt across a piece", 0, float(np.max(np.abs(fresh - found))))


def share_at_fourier(*, course: Course, fourier: float, of: Literal["centre", "mean"]) -> float:
    """Salt of the middle or of the whole at a Fourier number within a course.

    Parameters
    ----------
    course : a course of salt
    fourier : within the course [-]
    of : `centre` or `mean`

    Returns
    -------
    salt per kg of the meat's water [kg/kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_derived, monotone cubic between the steps
    """
    end = float(course.fourier[-1])
    check_range(fourier, low=0.0, high=end, model="share_at_fourier", quantity="fourier")
    values = course.centre if of == "centre" else course.mean
    # at even steps of the square root of time the curves are smooth
    return float(PchipInterpolator(np.sqrt(course.fourier), values)(math.sqrt(fourier)))


def fourier_from_share(*, course: Course, salt_ratio: float, of: Literal["centre", "mean"]) -> float | None:
    """When the middle or the whole first holds so much salt. Inverse of `share_at_fourier`.

    Parameters
    ----------
    course : a course of salt
    salt_ratio : salt per kg of the meat's water [kg/kg]
    of : `centre` or `mean`

    Returns
    -------
    Fourier number; None where the course ends before [-]

    Source
    ------
    saltfare_derived, monotone cubic between the steps
    """
    values = course.centre if of == "centre" else course.mean
    reached = np.flatnonzero(values >= salt_ratio)
    if not len(reached):
        return None
    after = int(reached[0])
    if after == 0:
        return 0.0
    root = np.sqrt(course.fourier)
    curve = PchipInterpolator(root, values)
    found = brentq(lambda x: float(curve(x)) - salt_ratio, root[after - 1], root[after], xtol=1e-13)
    return float(found) ** 2
