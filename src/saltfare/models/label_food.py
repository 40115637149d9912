"""A person's own food, read off its label, in the columns of the food table.

A US label counts fibre in carbohydrate, an EU label does not; an EU label gives salt for sodium. No label
gives water: it is typed, or estimated as what the rest leaves, and said to be an estimate.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from saltfare.core.errors import Problem, Refused
from saltfare.core.figure import Note
from saltfare.models.composition import NUTRIENTS, energy_eu, energy_general, salt_from_sodium

Law = Literal["us", "eu"]
# Half of the coarsest step a label rounds to, 1 g, on either side.
_ROUNDING_KG = 1e-3
# A label may round and use other factors; beyond this share something is mistyped.
_ENERGY_APART = 0.25
_WHOLES = (("saturates", "fat"), ("sugars", "carbohydrate"), ("trans_fat", "fat"))


@dataclass(frozen=True, slots=True)
class LabelFood:
    """What a label says, per kg as sold.

    per_kg: by nutrient of the table [kg/kg; energy J/kg]. water_estimated: whether water is what the rest
    leaves. notes: what a reader should know, as keys of the words.
    """

    per_kg: Mapping[str, float]
    water_estimated: bool
    notes: tuple[Note, ...]


def food_from_label(
    *, amounts: Mapping[str, float], basis_kg: float, law: Law, water_frac: float | None
) -> LabelFood:
    """A food from the amounts on its label.

    Parameters
    ----------
    amounts : by nutrient as printed, per basis, and `salt` where the label gives salt [kg; energy J]
    basis_kg : what the label counts by: 100 g, or a serving [kg]
    law : whose label: carbohydrate with fibre (us) or without (eu)
    water_frac : share of water, None to estimate it where that can be done [kg/kg]

    Returns
    -------
    the food per kg

    Raises
    ------
    Refused: mass_not_positive, nutrient_unknown, label_negative, label_exceeds_basis,
    label_part_exceeds_whole, water_impossible

    Source
    ------
    eu_1169_2011, Annexes I and XIV
    cfr_21_101_9, (c)(6): total carbohydrate includes fibre
    saltfare_chosen, water as what the rest leaves
    """
    _refuse(amounts, basis_kg, law, water_frac)
    printed = dict(amounts)
    salt = printed.pop("salt", None)
    if salt is not None and "sodium" not in printed:
        printed["sodium"] = salt / salt_from_sodium(sodium_kg=1.0)
    notes = []
    if law == "eu" and "carbohydrate" in printed:
        if "fibre" in printed:
            printed["carbohydrate"] += printed["fibre"]
        else:
            del printed["carbohydrate"]
            notes.append(Note("label_fibre_missing"))
    per_kg = {name: value / basis_kg for name, value in printed.items()}
    reckoned = _energy_reckoned(printed, law)
    if "energy" in printed and reckoned is not None:
        apart = printed["energy"] - reckoned
        # 40 kJ: rounding of a nearly empty food is no mistake
        if abs(apart) > max(_ENERGY_APART * reckoned, 4e4):
            said = {"printed_j": printed["energy"], "reckoned_j": reckoned, "apart_j": abs(apart)}
            notes.append(Note("label_energy_above" if apart > 0.0 else "label_energy_below", said))
    estimated = False
    if water_frac is not None:
        per_kg["water"] = water_frac
    elif "water" not in per_kg and {"protein", "fat", "carbohydrate", "sodium"} <= set(per_kg):
        rest = sum(per_kg.get(name, 0.0) for name in ("protein", "fat", "carbohydrate", "alcohol"))
        ash = per_kg.get("ash", salt_from_sodium(sodium_kg=per_kg["sodium"]))
        # rounding of a dry food's label can leave less than nothing, and then nothing is left
        per_kg["water"] = left if (left := 1.0 - rest - ash) > 0.0 else 0.0
        estimated = True
        notes.append(Note("label_water_estimated", {"water_frac": per_kg["water"]}))
    elif "water" not in per_kg:
        notes.append(Note("label_water_missing"))
    return LabelFood(per_kg, estimated, tuple(notes))


def _refuse(amounts: Mapping[str, float], basis_kg: float, law: Law, water_frac: float | None) -> None:
    problems = []
    if not 0.0 < basis_kg < math.inf:
        raise Refused(Problem("mass_not_positive", "basis", f"{basis_kg:.6g} kg"))
    for name, value in amounts.items():
        if name not in (*NUTRIENTS, "salt"):
            problems.append(Problem("nutrient_unknown", f"amounts.{name}", name))
        elif not 0.0 <= value < math.inf:
            problems.append(Problem("label_negative", f"amounts.{name}", f"{value:.6g}"))
    if water_frac is not None and not 0.0 <= water_frac < 1.0:
        problems.append(Problem("water_impossible", "water", f"{water_frac:.6g}"))
    if problems:
        raise Refused(*problems)
    wholes = (*_WHOLES, ("fibre", "carbohydrate")) if law == "us" else _WHOLES
    for part, whole in wholes:
        if amounts.get(part, 0.0) > amounts.get(whole, math.inf) + _ROUNDING_KG:
            problems.append(
                Problem("label_part_exceeds_whole", f"amounts.{part}", params={"part": part, "whole": whole})
            )
    parts = ["protein", "fat", "carbohydrate", "alcohol"] + (["fibre"] if law == "eu" else [])
    whole_kg = sum(amounts.get(name, 0.0) for name in parts)
    whole_kg += amounts.get("water", 0.0) if water_frac is None else water_frac * basis_kg
    if whole_kg > basis_kg + len(parts) * _ROUNDING_KG:
        params: dict[str, str | float | int] = {"parts_kg": whole_kg, "basis_kg": basis_kg}
        problems.append(Problem("label_exceeds_basis", "amounts", params=params))
    if problems:
        raise Refused(*problems)


def _energy_reckoned(printed: Mapping[str, float], law: Law) -> float | None:
    """What protein, fat and carbohydrate (total) give, None where one of them is not printed."""
    if not {"protein", "fat", "carbohydrate"} <= set(printed):
        return None
    three = {"protein_kg": printed["protein"], "fat_kg": printed["fat"]}
    alcohol_kg, fibre_kg = printed.get("alcohol", 0.0), printed.get("fibre", 0.0)
    if law == "eu":
        available_kg = printed["carbohydrate"] - fibre_kg
        return energy_eu(**three, available_kg=available_kg, fibre_kg=fibre_kg, alcohol_kg=alcohol_kg)
    return energy_general(**three, carbohydrate_kg=printed["carbohydrate"], alcohol_kg=alcohol_kg)
