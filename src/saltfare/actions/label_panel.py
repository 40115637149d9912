"""The panel of nutrients two laws describe, with their own factors and rounding."""

from __future__ import annotations

from saltfare.actions.context import Context
from saltfare.actions.label_shapes import Law, Panel, PanelLine, Printed
from saltfare.actions.pack_whole import PackContent
from saltfare.core.tables import Row
from saltfare.core.units import to_unit
from saltfare.models.composition import Amounts, portion, salt_from_sodium
from saltfare.models.label_rounding import Band, daily_share, label_rounded, servings_said

_PER_KG = 0.1
# kg to the unit of a line; micrograms have no name among the units people type.
_UG_PER_KG = 1e9


def panel_of(context: Context, content: PackContent, law: Law) -> Panel:
    """A panel of one pack: per serving (us), or per 100 g and per pack (eu)."""
    servings = servings_said(servings=content.servings)
    serving_kg = content.mass_kg / servings
    bases = (serving_kg,) if law == "us" else (_PER_KG, content.mass_kg)
    each = [portion(amounts=content.amounts, mass_kg=mass) for mass in bases]
    lines = tuple(
        _line(context, row, each) for row in context.library.rows("label_panel") if row.text("law") == law
    )
    return Panel(law=law, servings=servings, serving_kg=serving_kg, lines=lines)


def _line(context: Context, row: Row, each: list[Amounts]) -> PanelLine:
    nutrient, unit = row.text("nutrient"), row.text("unit")
    found = [_amount(amounts, nutrient, unit) for amounts in each]
    bands = _bands(context, row.text("rule"))
    daily = row.number_or_none("daily")
    percent = None
    if daily is not None and row.text("percent_rule") and found[-1] is not None:
        # of the amount as declared, so that 0 g is never 2 % of anything
        declared = _rounded(found[-1], bands)
        of = found[-1] if declared.less_than else declared.value
        percent = _rounded(daily_share(amount=of, daily=daily), _bands(context, row.text("percent_rule")))
    lies_in = "sodium" if nutrient == "salt" else nutrient
    return PanelLine(
        id=row.text("id"),
        unit=unit,
        indent=int(row.number("indent")),
        each=tuple(None if value is None else _rounded(value, bands) for value in found),
        percent=percent,
        missing=tuple(each[0].missing.get(lies_in, ())),
    )


def _amount(amounts: Amounts, nutrient: str, unit: str) -> float | None:
    if nutrient == "salt":
        sodium = amounts.value("sodium")
        value = None if sodium is None else salt_from_sodium(sodium_kg=sodium)
    elif nutrient == "added_sugars":
        # no table tells them; where there are no sugars there are none added
        value = 0.0 if amounts.value("sugars") == 0.0 else None
    else:
        value = amounts.value(nutrient)
    if value is None:
        return None
    if unit == "ug":
        return value * _UG_PER_KG
    return to_unit(value, "energy" if unit in ("kJ", "kcal") else "mass", unit)


def _bands(context: Context, rule: str) -> list[Band]:
    return [Band.from_row(row) for row in context.library.rows("label_rounding") if row.text("rule") == rule]


def _rounded(value: float, bands: list[Band]) -> Printed:
    # a sum of floats may end a hair below nothing
    found = label_rounded(amount=abs(value) if abs(value) < 1e-9 else value, bands=bands)
    return Printed(value=found.value, less_than=found.less_than, places=found.places)
