"""What a food is made of, and the energy of it: amounts that add, with what is missing named.

An amount is known or it is missing; a missing one is never counted as zero. A sum keeps the part that
is known and names what it leaves out, so that it reads as "at least".
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Self

from saltfare.core.tables import Row

# The columns of a food that are amounts, in the table's order.
NUTRIENTS = (
    *("water", "energy", "protein", "fat", "carbohydrate", "fibre", "sugars", "ash", "alcohol"),
    *("saturates", "monounsaturates", "polyunsaturates", "trans_fat", "cholesterol"),
    *("sodium", "potassium", "calcium", "iron", "magnesium", "phosphorus", "zinc", "copper", "selenium"),
    *("vitamin_c", "thiamin", "riboflavin", "niacin", "vitamin_b6", "folate", "folate_dfe", "vitamin_b12"),
    *("vitamin_a", "vitamin_d", "vitamin_e", "vitamin_k", "choline"),
)
# What is derived from them and adds in the same way.
DERIVED = (
    *("energy_specific", "energy_general", "energy_eu", "energy_eu_kcal"),
    *("carbohydrate_available", "protein_eu"),
)
PARTS = ("water", "protein", "fat", "carbohydrate", "ash", "alcohol")
_ENERGIES = ("energy", "energy_specific", "energy_general", "energy_eu", "energy_eu_kcal")
# kcal per g to J per kg, thermochemical calorie
_KCAL_PER_G = 4.184e6
# Specific energy of alcohol, kcal/g: Merrill & Watt 1973, table 13.
_ALCOHOL_SPECIFIC = 6.93
# 21 CFR 101.9(c)(1)(i)(B): kcal/g of protein, fat, total carbohydrate; 7 for alcohol as Annex XIV.
_GENERAL = (4.0, 9.0, 4.0, 7.0)
# Regulation 1169/2011 Annex XIV, kJ/g: protein, fat, carbohydrate without fibre, fibre, alcohol.
_EU_KJ = (17.0, 37.0, 17.0, 8.0, 29.0)
# The same annex, kcal/g.
_EU_KCAL = (4.0, 9.0, 4.0, 2.0, 7.0)
# Annex I, points 10 and 11.
_EU_NITROGEN, _EU_SALT = 6.25, 2.5


@dataclass(frozen=True, slots=True)
class Food:
    """A food of the table or a person's own.

    ref: "table:id". per_kg: what is known, by nutrient, per kg of the edible part; energy in J.
    factors: specific energy of protein, fat, carbohydrate in J/kg, None where the table gives none.
    nitrogen_factor: protein per nitrogen. refuse_frac: share of the food as bought that is not eaten.
    """

    ref: str
    name: str
    per_kg: Mapping[str, float]
    factors: tuple[float | None, float | None, float | None]
    nitrogen_factor: float | None
    refuse_frac: float | None

    @classmethod
    def from_row(cls, row: Row) -> Self:
        """From a row of the food table.

        The table gives no alcohol where none was looked for: all that is drunk for it, and all that is
        made with it, has its figure. So a missing one is taken as none.
        """
        known = {name: row.number_or_none(name) for name in NUTRIENTS}
        if known["alcohol"] is None:
            known["alcohol"] = 0.0
        return cls(
            row.ref,
            row.text("name"),
            {name: value for name, value in known.items() if value is not None},
            (
                row.number_or_none("protein_factor"),
                row.number_or_none("fat_factor"),
                row.number_or_none("carbohydrate_factor"),
            ),
            row.number_or_none("nitrogen_factor"),
            row.number_or_none("refuse"),
        )


@dataclass(frozen=True, slots=True)
class Amounts:
    """So much food and what is in it.

    known: by nutrient, what is known [kg; energy J]. missing: by nutrient, the names of what is in the
    food but not in the figure. A nutrient in neither is not counted anywhere.
    """

    mass_kg: float
    known: Mapping[str, float]
    missing: Mapping[str, tuple[str, ...]]

    def value(self, nutrient: str) -> float | None:
        """The amount, None where a part of it is missing."""
        return None if self.missing.get(nutrient) else self.known.get(nutrient)

    def at_least(self, nutrient: str) -> float | None:
        """The part that is known, None where nothing is."""
        return self.known.get(nutrient)


def energy_specific(
    *,
    protein_kg: float,
    fat_kg: float,
    carbohydrate_kg: float,
    alcohol_kg: float,
    protein_factor_j_per_kg: float,
    fat_factor_j_per_kg: float,
    carbohydrate_factor_j_per_kg: float,
) -> float:
    """Energy by the food's own factors; carbohydrate includes fibre, for which its factor allows.

    Parameters
    ----------
    protein_kg, fat_kg, carbohydrate_kg, alcohol_kg : total carbohydrate by difference [kg]
    protein_factor_j_per_kg, fat_factor_j_per_kg, carbohydrate_factor_j_per_kg : of the food [J/kg]

    Returns
    -------
    energy [J]

    Source
    ------
    merrill_watt_1973, table 13
    """
    return (
        protein_kg * protein_factor_j_per_kg
        + fat_kg * fat_factor_j_per_kg
        + carbohydrate_kg * carbohydrate_factor_j_per_kg
        + alcohol_kg * _ALCOHOL_SPECIFIC * _KCAL_PER_G
    )


def energy_general(*, protein_kg: float, fat_kg: float, carbohydrate_kg: float, alcohol_kg: float) -> float:
    """Energy by the general factors 4, 9, 4 and 7 kcal/g on total carbohydrate.

    Parameters
    ----------
    protein_kg, fat_kg, carbohydrate_kg, alcohol_kg : total carbohydrate by difference [kg]

    Returns
    -------
    energy [J]

    Source
    ------
    cfr_21_101_9, (c)(1)(i)(B)
    eu_1169_2011, Annex XIV for alcohol
    """
    amounts = (protein_kg, fat_kg, carbohydrate_kg, alcohol_kg)
    return _KCAL_PER_G * sum(factor * mass for factor, mass in zip(_GENERAL, amounts, strict=True))


def energy_eu(
    *, protein_kg: float, fat_kg: float, available_kg: float, fibre_kg: float, alcohol_kg: float
) -> float:
    """Energy as the EU declares it in kJ.

    Parameters
    ----------
    protein_kg, fat_kg, fibre_kg, alcohol_kg : protein as 6.25 times nitrogen [kg]
    available_kg : carbohydrate without fibre [kg]

    Returns
    -------
    energy [J]

    Source
    ------
    eu_1169_2011, Annex XIV
    """
    amounts = (protein_kg, fat_kg, available_kg, fibre_kg, alcohol_kg)
    return 1e6 * sum(factor * mass for factor, mass in zip(_EU_KJ, amounts, strict=True))


def energy_eu_kcal(
    *, protein_kg: float, fat_kg: float, available_kg: float, fibre_kg: float, alcohol_kg: float
) -> float:
    """Energy as the EU declares it in kcal, whose factors are rounded by themselves.

    Parameters
    ----------
    protein_kg, fat_kg, fibre_kg, alcohol_kg : protein as 6.25 times nitrogen [kg]
    available_kg : carbohydrate without fibre [kg]

    Returns
    -------
    energy [J]

    Source
    ------
    eu_1169_2011, Annex XIV
    """
    amounts = (protein_kg, fat_kg, available_kg, fibre_kg, alcohol_kg)
    return _KCAL_PER_G * sum(factor * mass for factor, mass in zip(_EU_KCAL, amounts, strict=True))


def salt_from_sodium(*, sodium_kg: float) -> float:
    """Salt as the EU declares it.

    Parameters
    ----------
    sodium_kg : sodium from whatever source [kg]

    Returns
    -------
    salt equivalent [kg]

    Source
    ------
    eu_1169_2011, Annex I point 11
    """
    return _EU_SALT * sodium_kg


def energies_known(
    *, food: Food, mass_kg: float, known: Mapping[str, float], listed_j: float | None
) -> dict[str, float]:
    """What follows from the amounts of one food: energy five ways, available carbohydrate, EU protein.

    Whatever needs an amount or factor that is missing is left out; protein of a food whose nitrogen factor
    the table does not give is taken as it stands. Where cooking changed the food the
    listed energy is moved by the change, by specific factors where there are any, else by general ones.

    Parameters
    ----------
    food : the food as listed
    mass_kg : of it before cooking [kg]
    known : amounts after cooking [kg]
    listed_j : energy the table lists for that mass before cooking, None where missing [J]

    Returns
    -------
    by name of `DERIVED`, and energy [kg; J]

    Source
    ------
    usda_sr28, energy (nutrient 208) and its factors
    eu_1169_2011, Annexes I and XIV
    """
    out: dict[str, float] = {}
    four = tuple(known.get(name) for name in ("protein", "fat", "carbohydrate", "alcohol"))
    fibre = known.get("fibre")
    protein, fat, carbohydrate, alcohol = four
    protein_eu = available = None
    if protein is not None:
        scale = _EU_NITROGEN / food.nitrogen_factor if food.nitrogen_factor else 1.0
        out["protein_eu"] = protein_eu = protein * scale
    if carbohydrate is not None and fibre is not None:
        out["carbohydrate_available"] = available = carbohydrate - fibre
    if protein is None or fat is None or carbohydrate is None or alcohol is None:
        return out
    out["energy_general"] = energy_general(
        protein_kg=protein, fat_kg=fat, carbohydrate_kg=carbohydrate, alcohol_kg=alcohol
    )
    needed = [
        factor if factor is not None else (0.0 if amount == 0 else None)
        for factor, amount in zip(food.factors, (protein, fat, carbohydrate), strict=True)
    ]
    if needed[0] is not None and needed[1] is not None and needed[2] is not None:
        out["energy_specific"] = energy_specific(
            protein_kg=protein,
            fat_kg=fat,
            carbohydrate_kg=carbohydrate,
            alcohol_kg=alcohol,
            protein_factor_j_per_kg=needed[0],
            fat_factor_j_per_kg=needed[1],
            carbohydrate_factor_j_per_kg=needed[2],
        )
    if protein_eu is not None and available is not None and fibre is not None:
        parts = {
            "protein_kg": protein_eu,
            "fat_kg": fat,
            "available_kg": available,
            "fibre_kg": fibre,
            "alcohol_kg": alcohol,
        }
        out["energy_eu"], out["energy_eu_kcal"] = energy_eu(**parts), energy_eu_kcal(**parts)
    if listed_j is not None:
        factors = (*food.factors, _ALCOHOL_SPECIFIC * _KCAL_PER_G)
        change = 0.0
        for name, factor, general in zip(
            ("protein", "fat", "carbohydrate", "alcohol"), factors, _GENERAL, strict=True
        ):
            moved = known[name] - food.per_kg[name] * mass_kg
            change += moved * (general * _KCAL_PER_G if factor is None else factor)
        out["energy"] = listed_j + change
    return out


def total(*, parts: Iterable[Amounts]) -> Amounts:
    """The sum of several amounts, each nutrient with the names of what it leaves out.

    Parameters
    ----------
    parts : amounts [kg; J]

    Returns
    -------
    amounts

    Source
    ------
    greenfield_southgate_2003, calculation of recipes, sum of ingredients
    """
    mass_kg, known, missing = 0.0, dict[str, float](), dict[str, dict[str, None]]()
    for part in parts:
        mass_kg += part.mass_kg
        for name, value in part.known.items():
            known[name] = known.get(name, 0.0) + value
        for name, left_out in part.missing.items():
            missing.setdefault(name, {}).update(dict.fromkeys(left_out))
    return Amounts(mass_kg, known, {name: tuple(left_out) for name, left_out in missing.items() if left_out})


def portion(*, amounts: Amounts, mass_kg: float) -> Amounts:
    """So much of a food that is the same throughout; `mass_kg=0.1` gives it per 100 g.

    Parameters
    ----------
    amounts : of the whole
    mass_kg : of the portion [kg]

    Returns
    -------
    amounts of the portion

    Source
    ------
    greenfield_southgate_2003, calculation of recipes, per 100 g or portion
    """
    share = mass_kg / amounts.mass_kg
    return Amounts(mass_kg, {name: value * share for name, value in amounts.known.items()}, amounts.missing)


def without_alcohol(*, amounts: Amounts, kept_frac: float) -> Amounts:
    """The same food when only so much of its alcohol is left; its mass falls by what went.

    Parameters
    ----------
    amounts : before
    kept_frac : share of the alcohol that is left [-]

    Returns
    -------
    amounts after

    Source
    ------
    saltfare_derived, mass and energy of the alcohol taken off
    """
    gone = amounts.known.get("alcohol", 0.0) * (1.0 - kept_frac)
    if gone == 0.0:
        return amounts
    by_name = {
        "energy": _ALCOHOL_SPECIFIC * _KCAL_PER_G,
        "energy_specific": _ALCOHOL_SPECIFIC * _KCAL_PER_G,
        "energy_general": _GENERAL[3] * _KCAL_PER_G,
        "energy_eu": _EU_KJ[4] * 1e6,
        "energy_eu_kcal": _EU_KCAL[4] * _KCAL_PER_G,
        "alcohol": 1.0,
    }
    known = {name: value - gone * by_name.get(name, 0.0) for name, value in amounts.known.items()}
    return Amounts(amounts.mass_kg - gone, known, amounts.missing)


def closure_gap(*, amounts: Amounts) -> float | None:
    """Water, protein, fat, carbohydrate, ash and alcohol less the mass itself, as a share of it.

    Near zero by construction where carbohydrate is by difference; up to a few hundredths in meats and
    fish, whose carbohydrate is set to 0.

    Parameters
    ----------
    amounts : of a food or dish

    Returns
    -------
    gap, None where one of the parts is missing [-]

    Source
    ------
    usda_sr28, carbohydrate by difference (nutrient 205)
    """
    values = [amounts.value(name) for name in PARTS]
    found = [value for value in values if value is not None]
    return None if len(found) < len(values) else sum(found) / amounts.mass_kg - 1.0


def missing_all(*, name: str, nutrients: Sequence[str]) -> dict[str, tuple[str, ...]]:
    """Every one of the nutrients missing for one name: what an ingredient without composition gives.

    Source
    ------
    saltfare_chosen, missing is named and never zero
    """
    return dict.fromkeys(nutrients, (name,))
