"""How much green meat to buy for so many packs, and what a thickness means in days.

A chain of shares, each with its band: trimmed, lost in salt, lost in hanging, trimmed again. Forward it
gives what is left of what was bought, backward what to buy.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from saltfare.core.library import Library
from saltfare.core.numerics import check_range
from saltfare.models import drying_piece, salt_diffusion, salt_profile, salting
from saltfare.models.salt_diffusion import SaltDiffusivity, Shape
from saltfare.models.salt_profile import Reservoir
from saltfare.models.sorption import ProteinIsotherm
from saltfare.plans.piece_time import DAY_S, LEAST_RATIO, LONG, RULES, course_fresh, even_ratio


@dataclass(frozen=True, slots=True)
class Band:
    """A share with its ends: least, usual, most."""

    low: float
    mid: float
    high: float

    @classmethod
    def known(cls, share: float) -> Band:
        """A share the person knows."""
        return cls(share, share, share)


@dataclass(frozen=True, slots=True)
class Shares:
    """What goes on the way from the butcher to the pack. trim: of what is bought; net_loss: of green weight;
    loss: of the weight at hanging; end_trim: of what is taken down."""

    trim: Band
    net_loss: Band
    loss: Band
    end_trim: Band

    @property
    def kept(self) -> Band:
        """What is left of what was bought; the least where all goes against it."""

        def left(trim: float, net_loss: float, loss: float, end_trim: float) -> float:
            return finished_from_bought(
                bought_kg=1.0, trim_frac=trim, net_loss_frac=net_loss, loss_frac=loss, end_trim_frac=end_trim
            )

        parts = (self.trim, self.net_loss, self.loss, self.end_trim)
        return Band(
            left(*(part.high for part in parts)),
            left(*(part.mid for part in parts)),
            left(*(part.low for part in parts)),
        )


def finished_from_bought(
    *, bought_kg: float, trim_frac: float, net_loss_frac: float, loss_frac: float, end_trim_frac: float
) -> float:
    """Finished meat of what was bought.

    Parameters
    ----------
    bought_kg : as it comes from the butcher [kg]
    trim_frac : cut off before salting, of what was bought
    net_loss_frac : lost in salt, of green weight; below zero for a gain
    loss_frac : lost in hanging, of the weight at hanging
    end_trim_frac : cut off afterwards, of what is taken down

    Returns
    -------
    finished meat [kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_derived, one share after another
    """
    return bought_kg * _kept(trim_frac, net_loss_frac, loss_frac, end_trim_frac)


def bought_from_finished(
    *, finished_kg: float, trim_frac: float, net_loss_frac: float, loss_frac: float, end_trim_frac: float
) -> float:
    """What to buy for so much finished meat. Inverse of `finished_from_bought`.

    Parameters
    ----------
    finished_kg : finished meat [kg]
    trim_frac, net_loss_frac, loss_frac, end_trim_frac : as there

    Returns
    -------
    mass to buy [kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_derived, one share after another
    """
    return finished_kg / _kept(trim_frac, net_loss_frac, loss_frac, end_trim_frac)


def _kept(*shares: float) -> float:
    left = 1.0
    for share in shares:
        check_range(share, low=-0.5, high=0.95, model="finished_from_bought", quantity="share lost")
        left *= 1.0 - share
    return left


def loss_to_aw(
    *, aw: float, water_frac: float, fat_frac: float, salt_frac: float, protein: ProteinIsotherm
) -> float:
    """Loss from hanging at which the whole piece, evenly spread, lies at a water activity.

    Parameters
    ----------
    aw : water activity
    water_frac, fat_frac, salt_frac : of the weight at hanging
    protein : isotherm of the lean

    Returns
    -------
    loss of the weight at hanging

    Raises
    ------
    OutOfRange

    Source
    ------
    additive_rule_chosen, isopiestic addition of protein and brine
    """
    mass = drying_piece.mass_at_aw(
        aw=aw,
        hanging_kg=1.0,
        water_frac=water_frac,
        fat_frac=fat_frac,
        salt_frac=salt_frac,
        protein=protein,
    )
    return salting.loss_between(before_kg=1.0, after_kg=float(mass))


def time_in_salt(
    *,
    thickness_m: float,
    shape: Shape,
    salt_frac: float,
    water_frac: float,
    temp_c: float,
    library: Library,
) -> float:
    """Time a weighed dose lies on a piece: the longer of diffusion's and the trade's, in whole days.

    The same as a plan's of that piece, rubbed once and not skin-on.

    Parameters
    ----------
    thickness_m, shape : of the piece
    salt_frac, water_frac : of green weight
    temp_c : where it lies [°C]
    library : the figures it rests on

    Returns
    -------
    time [s]

    Raises
    ------
    OutOfRange

    Source
    ------
    saltfare_chosen, order of a plan
    """
    salt = SaltDiffusivity.from_row(library.row("diffusion_salt", "nacl_span"))
    strength = library.row(RULES, "salt_saturation").number("pct")
    outside = Reservoir(
        max(salt_frac / water_frac, LEAST_RATIO),
        library.row(RULES, "bag_liquid").number("pct") / water_frac,
        strength / (1.0 - strength),
    )
    course = course_fresh(shape=shape, reservoir=outside, fourier=LONG)
    part = library.row(RULES, "centre_share").number("pct")
    through = salt_profile.fourier_from_share(
        course=course, salt_ratio=part * even_ratio(outside), of="centre"
    )
    way = salt_diffusion.salt_way(thickness_m=thickness_m, shape=shape, is_one_sided=False)
    middle = salt_diffusion.diffusivity_salt(temp_c=temp_c, salt=salt)[1]
    inch = library.row(RULES, "trade_days")
    trade = salt_diffusion.time_trade_inch(
        thickness_m=thickness_m, time_per_step_s=inch.number("days"), step_m=inch.number("inches")
    )
    longest = max((LONG if through is None else through) * way**2 / middle, trade)
    return max(math.ceil(longest / DAY_S - 1e-9), 1) * DAY_S
