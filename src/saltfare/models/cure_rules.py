"""Published ceilings on nitrite and nitrate: which of them a way of salting falls under, in whose units.

Sodium and potassium salts are different weights of the same ion: each is held to the row printed for
it, to the row of the ion, or by mole to the row of the sodium salt.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal, Self

from saltfare.core.numerics import check_range
from saltfare.core.tables import Row
from saltfare.models.salting import CureLimit

Way = Literal["dry", "immersed", "pumped"]


@dataclass(frozen=True, slots=True)
class Agent:
    """One curing salt: the ion it brings, the sodium salt of that ion, and their molar masses [kg/mol]."""

    name: str
    ion: str
    sodium_name: str
    salt_kg_per_mol: float
    ion_kg_per_mol: float
    sodium_kg_per_mol: float

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of the table `cure_agents`."""
        masses = (row.number(column) for column in ("salt_molar", "ion_molar", "sodium_molar"))
        return cls(row.text("id"), row.text("ion"), row.text("sodium_salt"), *masses)

    @property
    def as_sodium(self) -> float:
        """kg of the sodium salt that brings as much of the ion as a kg of this salt."""
        return self.sodium_kg_per_mol / self.salt_kg_per_mol


def ion_share(*, agent: Agent) -> float:
    """Ion in a curing salt.

    Parameters
    ----------
    agent : the salt

    Returns
    -------
    kg of ion per kg of salt [kg/kg]

    Source
    ------
    iupac_2021, standard atomic weights
    """
    return agent.ion_kg_per_mol / agent.salt_kg_per_mol


def share_as_ion(*, share_frac: float, agent: Agent) -> float:
    """A share of a curing salt as a share of its ion.

    Parameters
    ----------
    share_frac : salt per kg of meat [kg/kg]
    agent : the salt

    Returns
    -------
    ion per kg of meat [kg/kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    iupac_2021, standard atomic weights
    """
    check_range(share_frac, low=0.0, high=1.0, model="share_as_ion", quantity="share_frac")
    return share_frac * ion_share(agent=agent)


def share_as_sodium_salt(*, share_frac: float, agent: Agent) -> float:
    """A share of a curing salt as the share of the sodium salt that brings as much of the same ion.

    Parameters
    ----------
    share_frac : salt per kg of meat [kg/kg]
    agent : the salt

    Returns
    -------
    sodium salt per kg of meat [kg/kg]

    Raises
    ------
    OutOfRange

    Source
    ------
    iupac_2021, standard atomic weights
    """
    check_range(share_frac, low=0.0, high=1.0, model="share_as_sodium_salt", quantity="share_frac")
    return share_frac * agent.as_sodium


@dataclass(frozen=True, slots=True)
class Ceiling:
    """A published limit, and as how many kg of what it speaks of a kg of the salt in hand counts."""

    row: Row
    limit: CureLimit
    counts_as: float

    @property
    def of_salt_frac(self) -> float:
        """The limit in terms of the salt in hand."""
        return self.limit.limit_frac / self.counts_as


def ceilings_for(
    *, rows: Iterable[Row], rules: str, is_belly: bool, ways: Sequence[Way], agent: Agent
) -> tuple[Ceiling, ...]:
    """Every limit in force on a curing salt for a piece and the ways it is salted.

    A row printed for the salt itself stands before that of its ion, and both before the sodium salt's.

    Parameters
    ----------
    rows : the table `cure_limits`
    rules : whose rules, as the column `rules` names them
    is_belly : the piece is bacon by the rule
    ways : every way it is salted
    agent : the salt in hand

    Returns
    -------
    ceilings, ingoing and finished, and minima

    Source
    ------
    cfr_9_424_21, paragraph (c)
    cfr_9_424_22, paragraph (b)
    eu_2023_2108, annex, category 08.3
    cfia_nitrites, use of nitrites
    """
    product = "bacon" if is_belly else "not_bacon"
    fits = [
        row
        for row in rows
        if rules in row.text("rules").split()
        and row.text("status") == "in_force"
        and row.text("product") in (product, "any")
        and (row.text("method") in ways or row.text("method") == "any")
    ]
    chosen: dict[tuple[str, str, str], Ceiling] = {}
    counts = {agent.name: 1.0, agent.ion: ion_share(agent=agent)}
    counts.setdefault(agent.sodium_name, agent.as_sodium)
    for name, factor in counts.items():
        for row in fits:
            if row.text("agent") == name:
                limit = CureLimit.from_row(row)
                key = (row.text("method"), limit.basis, row.text("bound"))
                chosen.setdefault(key, Ceiling(row, limit, factor))
    return tuple(chosen.values())


def lowest_ceiling(*, ceilings: Sequence[Ceiling]) -> Ceiling | None:
    """The ingoing ceiling that binds: the lowest over all ways, to which the sum of all of them is held.

    Parameters
    ----------
    ceilings : from `ceilings_for`

    Returns
    -------
    the lowest that is a ceiling on what goes in; None where there is none

    Source
    ------
    fsis_7620_3, more than one method: what every method brings is summed
    saltfare_chosen, the sum is held to the lowest of their ceilings
    """
    ingoing = [c for c in ceilings if c.limit.basis != "finished" and c.row.text("bound") == "most"]
    return min(ingoing, key=lambda c: c.of_salt_frac, default=None)
