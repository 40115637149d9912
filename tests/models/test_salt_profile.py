"""Salt across a piece: against exact series, printed roots, another solver, and its own balance."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from saltfare.core import tables
from saltfare.core.errors import OutOfRange
from saltfare.models import salt_diffusion
from saltfare.models.salt_diffusion import SaltDiffusivity
from saltfare.models.salt_profile import (
    Course,
    Reservoir,
    Shape,
    course_of_salt,
    fourier_from_share,
    profile_even,
    share_at_fourier,
)

SATURATED = 0.264 / 0.736
shapes = st.sampled_from(["slab", "cylinder"])


def course(
    shape: Shape,
    reservoir: Reservoir | None,
    *,
    fourier: float = 2.0,
    cells: int = 120,
    steps: int = 200,
    start: float = 0.0,
) -> Course:
    fresh = profile_even(shape=shape, cells=cells, salt_ratio=start)
    return course_of_salt(profile=fresh, reservoir=reservoir, fourier=fourier, steps=steps, relative=None)


# --- a surface held at one strength: a box of salt ---------------------------------------------------

# Evaluated series of Crank (1975), constant surface: Fo, slab mean, slab middle, cylinder mean, middle
TABLE = [
    (0.05, 0.25231, 0.00313, 0.45212, 0.0129),
    (0.10, 0.35682, 0.05069, 0.60582, 0.15164),
    (0.20, 0.50409, 0.22769, 0.78215, 0.49851),
    (0.50, 0.76395, 0.62922, 0.96162, 0.91111),
    (1.00, 0.93126, 0.89202, 0.99787, 0.99507),
    (2.00, 0.99417, 0.99084, 0.99999, 0.99998),
]


@pytest.mark.parametrize(("fourier", "slab", "slab_mid", "cylinder", "cylinder_mid"), TABLE)
def test_constant_surface_series_are_the_tabulated_ones(
    fourier: float, slab: float, slab_mid: float, cylinder: float, cylinder_mid: float
) -> None:
    assert salt_diffusion.mean_share_constant(fourier=fourier, shape="slab") == pytest.approx(slab, abs=6e-6)
    assert salt_diffusion.centre_share_constant(fourier=fourier, shape="slab") == pytest.approx(
        slab_mid, abs=6e-6
    )
    assert salt_diffusion.mean_share_constant(fourier=fourier, shape="cylinder") == pytest.approx(
        cylinder, abs=6e-6
    )
    assert salt_diffusion.centre_share_constant(fourier=fourier, shape="cylinder") == pytest.approx(
        cylinder_mid, abs=6e-5
    )


@pytest.mark.parametrize("shape", ["slab", "cylinder"])
def test_cells_follow_the_series_of_a_constant_surface(shape: Shape) -> None:
    found = course(shape, Reservoir(math.inf, 0.0, 1.0))
    for fourier, *_ in TABLE:
        mean = salt_diffusion.mean_share_constant(fourier=fourier, shape=shape)
        middle = salt_diffusion.centre_share_constant(fourier=fourier, shape=shape)
        assert share_at_fourier(course=found, fourier=fourier, of="mean") == pytest.approx(mean, abs=3e-5)
        # the innermost cell lies a hair off the middle
        assert share_at_fourier(course=found, fourier=fourier, of="centre") == pytest.approx(
            middle, abs=1.5e-4
        )


def test_early_uptake_goes_with_the_root_of_time() -> None:
    # Crank 1975, short times of a half space: M = 2 sqrt(Fo / pi)
    found = course("slab", Reservoir(math.inf, 0.0, 1.0), fourier=0.02)
    assert found.mean[-1] == pytest.approx(2 * math.sqrt(0.02 / math.pi), rel=2e-4)


# --- a weighed dose: a finite source ------------------------------------------------------------------


@pytest.mark.parametrize(("shape", "limit"), [("slab", 0.304), ("cylinder", 0.219)])
def test_a_dose_dissolved_at_once_is_the_limit(shape: Shape, limit: float) -> None:
    at_once = course(shape, Reservoir(0.04, 0.0, 1e4))
    found = fourier_from_share(course=at_once, salt_ratio=0.9 * 0.04, of="centre")
    assert found == pytest.approx(limit, abs=1e-3)
    series = salt_diffusion.fourier_from_centre_share(centre_frac=0.9, shape=shape)
    assert found == pytest.approx(series, rel=2e-3)


@pytest.mark.parametrize("shape", ["slab", "cylinder"])
def test_a_dose_takes_as_long_to_dissolve_as_a_held_surface_takes_to_give_it(shape: Shape) -> None:
    found = course(shape, Reservoir(0.0426, 0.0, SATURATED))
    assert found.dissolved_at is not None
    share = salt_diffusion.mean_share_constant(fourier=found.dissolved_at, shape=shape)
    assert share * SATURATED == pytest.approx(0.0426, rel=2e-3)
    # after that nothing passes any more
    later = found.fourier > found.dissolved_at
    assert np.ptp(found.mean[later]) < 1e-12


def test_sixty_millimetres_are_through_within_the_practice_band() -> None:
    # common practice: a weighed dose at 60 mm is through in 14 to 21 days; no outside check
    band = tables.load("salting_bands").row("weighed_60_mm")
    for liquid in (0.0, 0.05):
        found = course("slab", Reservoir(0.0426, liquid, SATURATED))
        fourier = fourier_from_share(course=found, salt_ratio=0.9 * 0.0426 / (1 + liquid), of="centre")
        assert fourier is not None
        days = fourier * 0.030**2 / 1.9e-10 / 86400
        assert band.number("low") <= days <= band.number("high")


# --- a brine: a limited volume ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("taken", "root"),
    # Crank 1975, table 4.1, first root of tan q = -r q by the share taken up in the end, 1/(1 + r);
    # from memory, and each is put into the equation itself
    [(0.2, 1.7155), (0.4, 1.9071), (0.5, 2.0288), (0.6, 2.1746), (0.8, 2.5704)],
)
def test_roots_of_the_limited_volume_are_the_printed_ones(taken: float, root: float) -> None:
    r = 1 / taken - 1
    found = salt_diffusion.limited_volume_root(volume_ratio=r, shape="slab", index=1)
    assert found == pytest.approx(root, abs=1e-4)
    assert math.tan(found) == pytest.approx(-r * found, rel=1e-9)


@pytest.mark.parametrize("shape", ["slab", "cylinder"])
@pytest.mark.parametrize("ratio", [0.5, 1.0, 3.0])
def test_cells_follow_the_series_of_a_limited_volume(shape: Shape, ratio: float) -> None:
    salt = 0.1 * ratio
    found = course(shape, Reservoir(salt, ratio, SATURATED))
    even = salt / (1 + ratio)
    for fourier in (0.05, 0.2, 0.6):
        series = salt_diffusion.mean_share_limited(fourier=fourier, volume_ratio=ratio, shape=shape)
        assert share_at_fourier(course=found, fourier=fourier, of="mean") / even == pytest.approx(
            series, abs=3e-4
        )


def test_a_large_brine_is_a_constant_surface() -> None:
    for fourier in (0.1, 0.5):
        limited = salt_diffusion.mean_share_limited(fourier=fourier, volume_ratio=1e5, shape="slab")
        constant = salt_diffusion.mean_share_constant(fourier=fourier, shape="slab")
        assert limited == pytest.approx(constant, abs=1e-4)


# --- balance, order, convergence ----------------------------------------------------------------------


@settings(max_examples=40, deadline=None)
@given(
    shape=shapes,
    salt=st.floats(1e-6, 0.6),
    liquid=st.floats(0.0, 4.0),
    start=st.floats(0.0, 0.1),
    fourier=st.floats(1e-4, 4.0),
    bend=st.floats(0.0, 2.5),
)
def test_salt_of_piece_and_surroundings_is_kept(
    shape: Shape, salt: float, liquid: float, start: float, fourier: float, bend: float
) -> None:
    fresh = profile_even(shape=shape, cells=24, salt_ratio=start)
    outside = Reservoir(salt, liquid, SATURATED)
    relative = (lambda c: np.exp(-bend * c)) if bend > 1.0 else None
    found = course_of_salt(profile=fresh, reservoir=outside, fourier=fourier, steps=20, relative=relative)
    total = found.mean + found.outside
    assert np.max(np.abs(total - (start + salt))) < 1e-9 * max(start + salt, 1.0)
    resting = course_of_salt(profile=found.profile, reservoir=None, fourier=1.0, steps=20, relative=relative)
    assert np.max(np.abs(resting.mean - found.mean[-1])) < 1e-9
    assert found.profile.salt_ratio.min() > -1e-6
    assert found.profile.salt_ratio.max() <= max(SATURATED, start) + 1e-9


@settings(max_examples=25, deadline=None)
@given(shape=shapes, salt=st.floats(0.01, 0.2), liquid=st.floats(0.0, 0.3))
def test_the_middle_only_gains_and_a_rest_evens(shape: Shape, salt: float, liquid: float) -> None:
    found = course(shape, Reservoir(salt, liquid, SATURATED), cells=24, steps=40)
    assert (np.diff(found.centre) > -1e-7).all()
    stopped = course(shape, Reservoir(math.inf, 0.0, SATURATED), cells=24, steps=40, fourier=0.02)
    rest = course_of_salt(profile=stopped.profile, reservoir=None, fourier=3.0, steps=40, relative=None)
    assert np.ptp(rest.profile.salt_ratio) < 1e-3 * rest.profile.mean
    assert rest.centre[-1] > stopped.centre[-1]


@pytest.mark.parametrize("shape", ["slab", "cylinder"])
def test_the_grid_of_a_plan_is_fine_enough(shape: Shape) -> None:
    from saltfare.plans.piece_time import CELLS, STEPS

    def nine_tenths(cells: int, steps: int) -> float:
        found = course(shape, Reservoir(0.0426, 0.05, SATURATED), fourier=3.0, cells=cells, steps=steps)
        got = fourier_from_share(course=found, salt_ratio=0.9 * 0.0426 / 1.05, of="centre")
        assert got is not None
        return got

    assert nine_tenths(CELLS, STEPS) == pytest.approx(nine_tenths(10 * CELLS, 10 * STEPS), rel=5e-3)


def test_a_film_of_next_to_nothing_is_no_liquid() -> None:
    none, film = (course("slab", Reservoir(0.05, liquid, SATURATED)) for liquid in (0.0, 5e-324))
    assert np.isfinite(film.centre).all()
    assert film.centre == pytest.approx(none.centre, abs=1e-12)


def test_two_runs_on_end_are_one() -> None:
    whole = course("cylinder", Reservoir(0.05, 0.2, SATURATED), fourier=0.4)
    half = course("cylinder", Reservoir(0.05, 0.2, SATURATED), fourier=0.2)
    rest = course_of_salt(
        profile=half.profile, reservoir=half.reservoir, fourier=0.2, steps=200, relative=None
    )
    assert rest.profile.salt_ratio == pytest.approx(whole.profile.salt_ratio, rel=2e-4)


@pytest.mark.deep
@pytest.mark.parametrize("bend", [-3.0, 3.0])
def test_diffusivity_that_falls_or_rises_with_salt_agrees_with_fipy(bend: float) -> None:
    # FiPy (NIST), implicit finite volumes with sweeps: D = exp(-bend c), surface held, one face
    fipy = pytest.importorskip("fipy")
    end, steps, cells = 0.15, 300, 200
    mesh = fipy.Grid1D(nx=cells, dx=1.0 / cells)
    salt = fipy.CellVariable(mesh=mesh, value=0.0, hasOld=True)
    salt.constrain(SATURATED, mesh.facesRight)
    equation = fipy.TransientTerm() == fipy.DiffusionTerm(coeff=fipy.numerix.exp(-bend * salt.faceValue))
    marks = end * (np.arange(steps + 1) / steps) ** 2
    for before, after in pairwise(marks):
        salt.updateOld()
        for _ in range(4):
            equation.sweep(var=salt, dt=float(after - before))
    fresh = profile_even(shape="slab", cells=200, salt_ratio=0.0)
    found = course_of_salt(
        profile=fresh,
        reservoir=Reservoir(math.inf, 0.0, SATURATED),
        fourier=end,
        steps=300,
        relative=lambda c: np.exp(-bend * c),
    )
    assert found.mean[-1] == pytest.approx(float(np.mean(salt.value)), rel=3e-3)
    middles = 0.5 * (found.profile.edges[1:] + found.profile.edges[:-1])
    theirs = np.interp(middles, (np.arange(cells) + 0.5) / cells, salt.value)
    inner = middles < 0.99
    assert np.max(np.abs(found.profile.salt_ratio - theirs)[inner]) < 2e-3 * SATURATED


# --- warmth -------------------------------------------------------------------------------------------

SALT = SaltDiffusivity.from_row(tables.load("diffusion_salt").row("nacl_span"))


@given(colder=st.floats(-2.0, 24.0), more=st.floats(0.1, 1.0))
def test_salt_moves_faster_when_warmer(colder: float, more: float) -> None:
    here = salt_diffusion.diffusivity_salt(temp_c=colder, salt=SALT)
    warmer = salt_diffusion.diffusivity_salt(temp_c=colder + more, salt=SALT)
    assert here[0] <= here[1] <= here[2]
    assert all(a < b for a, b in zip(here, warmer, strict=True))


def test_at_its_own_temperature_it_is_the_printed_one() -> None:
    # Food Engineering Series 2015, chapter 47: (1.90 +- 0.28)e-10 m2/s at 5 C; our span holds it
    printed = tables.load("diffusion_salt").row("nacl_pork_loin")
    low, best, high = salt_diffusion.diffusivity_salt(temp_c=5.0, salt=SALT)
    assert best == pytest.approx(printed.number("d"), rel=1e-12)
    assert low < printed.number("d_low") < printed.number("d_high") < high


def test_nitrite_and_nitrate_time_nothing() -> None:
    rows = tables.load("diffusion_salt")
    for name in ("nitrite_pork", "nitrate_pork_across", "nitrate_pork_along"):
        with pytest.raises(Exception, match="holds no number"):
            SaltDiffusivity.from_row(rows.row(name))


@pytest.mark.parametrize(
    "call",
    [
        lambda: profile_even(shape="slab", cells=4, salt_ratio=0.0),
        lambda: profile_even(shape="slab", cells=40, salt_ratio=math.nan),
        lambda: course("slab", None, fourier=-1.0),
        lambda: course("slab", None, fourier=math.nan),
        lambda: share_at_fourier(course=course("slab", None, fourier=1.0), fourier=1.1, of="mean"),
        lambda: salt_diffusion.diffusivity_salt(temp_c=40.0, salt=SALT),
        lambda: salt_diffusion.mean_share_limited(fourier=1e-9, volume_ratio=1.0, shape="slab"),
        lambda: salt_diffusion.limited_volume_root(volume_ratio=0.0, shape="slab", index=1),
        lambda: salt_diffusion.centre_share_constant(fourier=0.0, shape="slab"),
    ],
)
def test_what_cannot_be_is_out_of_range(call: object) -> None:
    assert callable(call)
    with pytest.raises(OutOfRange):
        call()
