"""What is believed of pieces together, world by world: those of one chamber or cut are alike in part."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from saltfare.plans.back_plan_chance import WORLDS, normal_column
from saltfare.plans.learning import Learned

Floats = NDArray[np.float64]


def multipliers(*, learned: Learned, piece: str, chamber: str, cut: str, worlds: int = WORLDS) -> Floats:
    """ln diffusivity and ln resistance of a piece in each world: (2, worlds).

    Of one piece alone mean and covariance are those of `Learned.belief`. Population, chamber and cut are
    the same for every piece that shares them, whatever they are planned for.

    Parameters
    ----------
    learned : Learned
    piece, chamber, cut : names of what is the piece's own and what it shares
    worlds : int

    Source
    ------
    saltfare_derived, moments of a mixture of normal distributions
    """
    p, weight = learned.priors, learned.weight
    mean = weight @ learned.mean
    away = learned.mean - mean
    cov = np.einsum("s,sde->de", weight, learned.cov + away[:, :, None] * away[:, None, :])
    root = np.linalg.cholesky(cov + 1e-14 * np.eye(mean.size))
    latent = np.stack([normal_column(name=f"learned {i}", worlds=worlds) for i in range(mean.size)])
    effects = mean[:, None] + root @ latent
    out = effects[:2].copy()
    for what, key, keys, var, offset in (
        ("chamber", chamber, learned.chambers, p.chamber_var, 1),
        ("cut", cut, learned.cuts, p.cut_var, 1 + len(learned.chambers)),
    ):
        if key in keys:
            at = 2 * (offset + keys.index(key))
            out += effects[at : at + 2]
        else:
            out += _normal(f"{what} {key}", var, worlds)
    own = float(weight @ learned.spread**2) * p.plain_var * p.widened
    return np.asarray(out + _normal(f"piece {piece}", own, worlds))


def _normal(name: str, var: Floats, worlds: int) -> Floats:
    return np.stack(
        [
            np.sqrt(v) * normal_column(name=f"{name} {of}", worlds=worlds)
            for v, of in zip(var, "DR", strict=True)
        ]
    )
