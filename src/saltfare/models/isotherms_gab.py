"""The isotherm of Guggenheim, Anderson and de Boer, its special case BET, and the heat of sorption."""

from __future__ import annotations

import numpy as np

from saltfare.core.numerics import Array, Floats, check_range

# Molar gas constant of the SI, exact, J/(mol K); kelvin at 0 °C.
GAS_J_PER_MOL_K = 8.31446261815324
KELVIN = 273.15


def gab(*, aw: Array, monolayer: Floats, guggenheim: Floats, k: Floats) -> tuple[Array, Array]:
    """Water ratio by GAB and its slope in activity, without a range check: the inner loop of a solver.

    Parameters
    ----------
    aw, monolayer, guggenheim, k : as in `water_ratio_gab`

    Returns
    -------
    water ratio and slope

    Source
    ------
    andrieu_1985, GAB equation
    """
    free = 1.0 - k * aw
    bound = free + guggenheim * k * aw
    ratio = monolayer * guggenheim * k * aw / (free * bound)
    # the slope without a division by aw, so that it holds at zero
    slope = monolayer * guggenheim * k / (free * bound) + ratio * (k / free - k * (guggenheim - 1.0) / bound)
    return np.asarray(ratio), np.asarray(slope)


def water_ratio_gab(*, aw: Floats, monolayer: float, guggenheim: float, k: float) -> Array:
    """Water held by the equation of Guggenheim, Anderson and de Boer.

    Parameters
    ----------
    aw : water activity, 0 to below 1/k [-]
    monolayer : kg of water per kg of dry solids that cover every site once [kg/kg]
    guggenheim, k : the two constants [-]

    Returns
    -------
    kg of water per kg of dry solids [kg/kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    andrieu_1985, GAB equation
    """
    a = check_range(aw, low=0.0, high=min(1.0, (1.0 - 1e-9) / k), model="water_ratio_gab", quantity="aw")
    return gab(aw=a, monolayer=monolayer, guggenheim=guggenheim, k=k)[0][()]


def aw_gab(*, water_ratio: Floats, monolayer: float, guggenheim: float, k: float) -> Array:
    """Water activity by GAB: the lower root of its quadratic.

    Parameters
    ----------
    water_ratio : kg of water per kg of dry solids, above 0 [kg/kg]
    monolayer : [kg/kg]
    guggenheim, k : [-]

    Returns
    -------
    water activity, possibly above 1 where k is below 1 [-]

    Raises
    ------
    OutOfRange

    Source
    ------
    andrieu_1985, GAB equation
    """
    x = check_range(water_ratio, low=1e-12, high=np.inf, model="aw_gab", quantity="water_ratio")
    # alpha a^2 + (beta - 1/X) a + gamma = 0, after multiplying by X; the form that does not cancel
    alpha = x * k * (1.0 - guggenheim) / (monolayer * guggenheim)
    beta = x * (guggenheim - 2.0) / (monolayer * guggenheim) - 1.0
    gamma = x / (monolayer * guggenheim * k)
    return np.asarray(2.0 * gamma / (-beta + np.sqrt(beta * beta - 4.0 * alpha * gamma)))[()]


def water_ratio_bet(*, aw: Floats, monolayer: float, guggenheim: float) -> Array:
    """Water held by the equation of Brunauer, Emmett and Teller: GAB with k = 1, up to 0.5.

    Parameters
    ----------
    aw : water activity, 0 to 0.5 [-]
    monolayer : [kg/kg]
    guggenheim : the constant [-]

    Returns
    -------
    kg of water per kg of dry solids [kg/kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    vitae_2011_review, BET holds from 0.05 to about 0.45
    """
    a = check_range(aw, low=0.0, high=0.5, model="water_ratio_bet", quantity="aw")
    return gab(aw=a, monolayer=monolayer, guggenheim=guggenheim, k=1.0)[0][()]


def aw_monolayer_gab(*, guggenheim: float, k: float) -> float:
    """Water activity at which the water held is the monolayer.

    Parameters
    ----------
    guggenheim, k : constants of GAB; k = 1 for BET [-]

    Returns
    -------
    water activity [-]

    Source
    ------
    saltfare_derived, GAB solved for X equal to the monolayer
    """
    return float(1.0 / (k * (1.0 + np.sqrt(guggenheim))))


def net_heat_of_sorption(*, aw: Floats, temp_c: Floats) -> float:
    """Heat that binds water beyond condensing it, from activities of one water content.

    Parameters
    ----------
    aw : activities at the temperatures [-]
    temp_c : two or more temperatures [°C]

    Returns
    -------
    net isosteric heat [J/mol]

    Source
    ------
    saltfare_derived, slope of ln(aw) against 1/T (Clausius-Clapeyron)
    """
    inverse = 1.0 / (np.asarray(temp_c, dtype=np.float64) + KELVIN)
    slope = np.polynomial.Polynomial.fit(inverse, np.log(aw), 1).convert().coef[1]
    return float(-slope * GAS_J_PER_MOL_K)
