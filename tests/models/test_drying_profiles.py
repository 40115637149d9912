"""What lies across a hanging piece: the shells add up to the piece, and shrink as it does."""

from __future__ import annotations

import numpy as np
import pytest

from saltfare.core.library import Library
from saltfare.models.drying import Air, Drying, DryingParameters, Hanging, Members, hang
from saltfare.models.sorption import ProteinIsotherm

LIBRARY = Library()
PARAMETERS = DryingParameters.from_library(library=LIBRARY, law="lean_default", body="whole_muscle")
PROTEIN = ProteinIsotherm.from_row(LIBRARY.row("isotherms", "lean_meat"))
DAY_S = 86400.0


def dried(shape: str, *, profiles: bool = True, faces: int = 2) -> tuple[Hanging, Drying]:
    width = 0.0 if shape == "cylinder" else 0.2
    piece = Hanging(shape, 0.06, 0.25, width, 1.0, 0.70, 0.05, 0.03, 1.0, 0.0, faces)  # type: ignore[arg-type]
    times = np.array([0.0, 5.0, 30.0]) * DAY_S
    air = Air(times[-1:], np.array([12.0]), np.array([0.75]), np.array([0.1]))
    made = hang(
        piece=piece,
        air=air,
        members=Members(np.array([0.7, 1.0, 1.4]), np.ones(3)),
        parameters=PARAMETERS,
        protein=PROTEIN,
        out_time_s=times,
        profiles=profiles,
    )
    return piece, made


@pytest.mark.parametrize("shape", ["cylinder", "slab"])
def test_the_shells_add_up_to_the_piece(shape: str) -> None:
    """Water and volume taken shell by shell are those of the whole (mass balance; plain geometry)."""
    piece, made = dried(shape)
    across = made.profiles
    assert across is not None
    assert across.water_ratio.shape[:2] == (3, 3)
    assert across.edges_m.shape[2] == across.water_ratio.shape[2] + 1
    body = PARAMETERS.body
    powers = 2 if shape == "cylinder" else 1
    share = np.diff(across.edges_m**powers, axis=2) / across.edges_m[..., -1:] ** powers
    fixed = (
        1 / body.solids_kg_per_m3
        + across.fat_ratio / body.fat_kg_per_m3
        + made.salt_ratio / body.salt_kg_per_m3
    )
    volume = across.water_ratio / body.water_kg_per_m3 + fixed[None, :, None]
    solids = share / volume
    solids /= solids.sum(axis=2, keepdims=True)
    mean = (solids * across.water_ratio).sum(axis=2)
    # what is recorded between two stages of a step is a straight line, the loss a parabola
    assert mean == pytest.approx(made.water_mean, rel=2e-3)
    mass = piece.mass_kg * across.solids_frac * (1 + mean + across.fat_ratio + made.salt_ratio)
    assert mass == pytest.approx(made.mass_kg, rel=2e-3)


def test_the_edge_is_half_the_thickness_and_draws_in() -> None:
    for shape, faces, span in (("cylinder", 2, 0.03), ("slab", 2, 0.03), ("slab", 1, 0.06)):
        _, made = dried(shape, faces=faces)
        assert made.profiles is not None
        edge = made.profiles.edges_m[:, :, -1]
        assert edge[0] == pytest.approx(span, rel=1e-12)
        assert (np.diff(edge, axis=0) < 0).all()
        # of a body that shrinks alike in all directions each length goes with the cube root of the volume
        assert PARAMETERS.body.shrinkage_power == pytest.approx(1 / 3, rel=1e-3)
        body, water = PARAMETERS.body, made.water_mean
        fixed = 1 / body.solids_kg_per_m3 + made.profiles.fat_ratio / body.fat_kg_per_m3
        fixed = fixed + made.salt_ratio / body.salt_kg_per_m3
        volume = fixed + water / body.water_kg_per_m3
        assert edge / span == pytest.approx((volume / volume[0]) ** (1 / 3), rel=1e-3)


def test_it_is_driest_outside_and_wettest_in_the_middle() -> None:
    _, made = dried("cylinder")
    assert made.profiles is not None
    assert (np.diff(made.profiles.water_ratio[1:], axis=2) < 0).all()


def test_asking_for_profiles_changes_nothing_else() -> None:
    _, plain = dried("cylinder", profiles=False)
    _, made = dried("cylinder")
    assert plain.profiles is None
    assert np.array_equal(plain.mass_kg, made.mass_kg)
