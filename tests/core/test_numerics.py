from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from saltfare.core.errors import NotConverged, OutOfRange
from saltfare.core.numerics import Array, check_range, root_increasing, solve_tridiagonals


def test_range_names_the_value_that_is_outside() -> None:
    assert check_range([1.0, 2.0], low=1.0, high=2.0, model="m", quantity="q").tolist() == [1.0, 2.0]
    with pytest.raises(OutOfRange) as caught:
        check_range(np.array([1.0, 3.0]), low=1.0, high=2.0, model="m", quantity="q")
    assert caught.value.value == 3.0
    with pytest.raises(OutOfRange):
        check_range(float("nan"), low=1.0, high=2.0, model="m", quantity="q")


def test_roots_agree_with_brentq_across_a_step() -> None:
    heights = np.linspace(-0.9, 0.9, 37)

    def stepped(x: Array) -> tuple[Array, Array]:
        tanh = np.tanh((x - 0.3) / 1e-4)
        return tanh + 1e-3 * x - heights, (1 - tanh**2) / 1e-4 + 1e-3

    found = root_increasing(stepped, low=np.full(37, -500.0), high=np.full(37, 500.0),
                            start=np.full(37, 0.0), tolerance=1e-12, what="step")  # fmt: skip
    for h, x in zip(heights, found, strict=True):

        def one(v: float, h: float = h) -> float:
            return float(np.tanh((v - 0.3) / 1e-4) + 1e-3 * v - h)

        assert x == pytest.approx(brentq(one, -500, 500, xtol=1e-13), abs=1e-10)


def test_a_root_outside_the_bracket_names_its_member() -> None:
    target = np.array([0.5, 2.0])
    with pytest.raises(NotConverged) as caught:
        root_increasing(lambda x: (x - target, np.ones(2)), low=np.zeros(2), high=np.ones(2),
                        start=np.full(2, 0.2), tolerance=1e-12, what="line")  # fmt: skip
    assert caught.value.member == 1


def test_a_value_that_is_no_number_is_not_taken_for_a_root() -> None:
    with pytest.raises(NotConverged):
        root_increasing(lambda x: (x * np.nan, x * np.nan), low=np.zeros(1), high=np.ones(1),
                        start=np.full(1, 0.2), tolerance=1e-12, what="nothing")  # fmt: skip


def test_members_of_one_tridiagonal_call_agree_with_full_matrices() -> None:
    rng = np.random.default_rng(1)
    lower, diagonal, upper, right = rng.uniform(-1, 1, (4, 5, 7))
    diagonal += 4
    found = solve_tridiagonals(lower=lower, diagonal=diagonal, upper=upper, right=right)
    for k in range(5):
        full = np.diag(diagonal[k]) + np.diag(lower[k, 1:], -1) + np.diag(upper[k, :-1], 1)
        assert found[k] == pytest.approx(np.linalg.solve(full, right[k]), rel=1e-12)


def test_a_singular_member_is_named() -> None:
    zero, one = np.zeros((2, 3)), np.ones((2, 3))
    diagonal = np.array([[1.0, 1.0, 1.0], [1.0, 0.0, 1.0]])
    with pytest.raises(NotConverged) as caught:
        solve_tridiagonals(lower=zero, diagonal=diagonal, upper=zero, right=one)
    assert caught.value.member == 1
