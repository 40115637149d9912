"""Labels of packs: what one says, printing them, and what was printed.

A label tells what the lot, its batch or its piece tell; nothing on it is worked out anew but the rounding
a law asks for. What is not known is said to be not known.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Annotated, Literal

from pydantic import Field

from saltfare import __version__
from saltfare.actions.context import Context
from saltfare.actions.dish_beside import meat_answers
from saltfare.actions.dish_toxin import batch_not_logged, cooling_not_logged
from saltfare.actions.label_panel import panel_of
from saltfare.actions.label_shapes import (
    BesideShown,
    IngredientShown,
    Keep,
    Kind,
    LabelShown,
    Law,
    NutrientLine,
    WaterShown,
)
from saltfare.actions.pack_content import dish_content, pack_content
from saltfare.actions.pack_keeping import pack_keeping
from saltfare.actions.pack_whole import BesidePack, PackContent, with_beside
from saltfare.actions.shapes import Command, Done, Output, Query, Tracer, done
from saltfare.actions.shelf_lots import Asked, shelf_lot
from saltfare.actions.tags import DEFAULT_ADDRESS
from saltfare.core.errors import NotFound, OutOfRange, Problem, Refused
from saltfare.core.fields import Frozen, Measured, Quantity
from saltfare.core.figure import Answer, Note
from saltfare.journal.chamber import SETTINGS, settings
from saltfare.journal.codes import parse_code
from saltfare.journal.dish import DishStage, DishState
from saltfare.journal.dish import dish as dish_of
from saltfare.journal.events import SettingChanged
from saltfare.journal.events_dish import STREAM as DISHES
from saltfare.journal.events_lot import STREAM, LabelPrinted
from saltfare.journal.lot import LotState
from saltfare.journal.lot import lot as lot_of
from saltfare.models.composition import salt_from_sodium
from saltfare.models.declared import Presence
from saltfare.models.fill_line import fill_height

_MUG, _ADDRESS = "mug_m3", "tag_address"
_WET_CLOCK = "wet_clock_started"
_LINE = ("energy", "protein", "fat", "carbohydrate", "sugars", "salt_equivalent")
_J_PER_KCAL = 4184.0
_KINDS: dict[str, Kind] = {
    "piece": "cured",
    "dish": "dish",
    "bought": "bought",
    "mixed": "mixed",
    "other": "other",
}


class LabelGiven(Query):
    """A lot or a batch under way by its code. panel: with a law's panel of nutrients, or the plain line."""

    code: str = Field(max_length=40)
    panel: Law | None = None


class SheetShown(Frozen):
    """A sheet of labels, or a single one. label_height_m: None where it is as long as it takes."""

    id: str
    page_width_m: float
    page_height_m: float | None
    rows: int
    columns: int
    label_width_m: float
    label_height_m: float | None
    left_m: float
    top_m: float
    gap_x_m: float
    gap_y_m: float


class SheetsGiven(Query):
    """Nothing."""


class SheetsShown(Output):
    """What labels can be printed on, and the mug water is counted in."""

    sheets: tuple[SheetShown, ...]
    mug_m3: float | None


class PrintLabelsGiven(Command):
    """Labels of a lot. copies: left out for one a pack that is left. sheet: of those there are; skip: places
    of the first sheet that are used up. extent: `brief` leaves ingredients and nutrients to the page of the
    code, never the allergens."""

    code: str = Field(max_length=40)
    copies: int | None = Field(default=None, ge=1, le=500)
    sheet: str = Field(default="a4_4x2", max_length=40)
    skip: int = Field(default=0, ge=0, le=60)
    extent: Literal["full", "brief"] = "full"
    panel: Law | None = None


class PrintedGiven(Query):
    """A printing by the event it was kept as."""

    event_id: str = Field(max_length=40)


class PrintedShown(Output):
    """Labels as they were printed. label: as it was then."""

    event_id: str
    code: str
    copies: int
    skip: int
    sheet: SheetShown
    extent: Literal["full", "brief"]
    label: LabelShown


class MugGiven(Command):
    """The own mug: what it holds."""

    mug: Annotated[Measured, Quantity("mug")]


def label(context: Context, given: LabelGiven) -> LabelShown:
    """All a label says of a pack of a lot, or of a batch under way; of one that is packed, its lot's."""
    code = parse_code(given.code)
    if context.journal.stream_head(STREAM + code):
        return _of_lot(context, lot_of(context.journal, code), given.panel)
    if context.journal.stream_head(DISHES + code):
        return _of_batch(context, dish_of(context.journal, code), given.panel)
    raise NotFound("lot", code)


def label_sheets(context: Context, given: SheetsGiven) -> SheetsShown:
    """What labels can be printed on, and the mug water is counted in."""
    rows = context.library.rows("label_sheets")
    return SheetsShown(sheets=tuple(_sheet(context, row.text("id")) for row in rows), mug_m3=_mug(context))


def print_labels(context: Context, given: PrintLabelsGiven) -> Done:
    """Keep what the labels of a lot say as they are printed, and how many."""
    code = parse_code(given.code)
    if context.journal.stream_head(DISHES + code):
        raise Refused(Problem("label_before_packing", "code", code))
    state = lot_of(context.journal, code)
    sheet = _sheet(context, given.sheet)
    if given.skip >= sheet.rows * sheet.columns:
        raise Refused(
            Problem("label_skip_above_sheet", "skip", str(given.skip), str(sheet.rows * sheet.columns - 1))
        )
    if state.is_gone:
        raise Refused(Problem("label_lot_gone", "code", state.name))
    told = _of_lot(context, state, given.panel)
    kept = {
        "label": told.model_dump(mode="json", exclude={"traces"}),
        "sheet": given.sheet,
        "skip": given.skip,
        "extent": given.extent,
    }
    copies = given.copies or max(state.packs_left + state.opened, 1)
    body = LabelPrinted(copies=copies, label=kept, program=__version__)
    return done(context, given, [(STREAM + code, body)])


def printed_labels(context: Context, given: PrintedGiven) -> PrintedShown:
    """Labels as they were printed, to be seen or printed again."""
    event = context.journal.event(given.event_id)
    body = event.body
    if not isinstance(body, LabelPrinted) or "label" not in body.label:
        raise NotFound("label", given.event_id)
    return PrintedShown(
        event_id=event.id,
        code=event.stream.removeprefix(STREAM),
        copies=body.copies,
        skip=body.label["skip"],
        sheet=_sheet(context, body.label["sheet"]),
        extent=body.label["extent"],
        label=LabelShown.model_validate(body.label["label"]),
    )


def set_mug(context: Context, given: MugGiven) -> Done:
    """Keep what the own mug holds: labels count water in it."""
    return done(context, given, [(SETTINGS, SettingChanged(name=_MUG, value=given.mug.value))])


def _mug(context: Context) -> float | None:
    found = settings(context.journal).get(_MUG)
    return None if found is None else float(found)


def _sheet(context: Context, sheet: str) -> SheetShown:
    try:
        row = context.library.row("label_sheets", sheet)
    except NotFound:
        known = ", ".join(row.text("id") for row in context.library.rows("label_sheets"))
        raise Refused(Problem("not_one_of", "sheet", sheet, known)) from None
    return SheetShown(
        id=row.text("id"),
        page_width_m=row.number("page_width"),
        page_height_m=row.number_or_none("page_height"),
        rows=int(row.number("rows")),
        columns=int(row.number("columns")),
        label_width_m=row.number("label_width"),
        label_height_m=row.number_or_none("label_height"),
        left_m=row.number("left"),
        top_m=row.number("top"),
        gap_x_m=row.number("gap_x"),
        gap_y_m=row.number("gap_y"),
    )


def _of_lot(context: Context, state: LotState, law: Law | None) -> LabelShown:
    made = state.made
    content = pack_content(context, state)
    kind = _KINDS[state.origin]
    keeping = pack_keeping(context, state)
    pouch = made.pouch
    takes = pouch.takes_boiling_water if pouch else None
    if takes is None and pouch and pouch.film:
        try:
            takes = {"yes": True, "no": False}.get(
                context.library.row("films", pouch.film).text("boiling_water")
            )
        except NotFound:
            takes = None
    size = content.pouch_m
    if pouch and pouch.width and pouch.height:
        size = (pouch.width.value, pouch.height.value)
    absorber = made.sealed == "no_oxygen" or bool(pouch and (pouch.absorber or pouch.desiccant))
    keep: Keep = "cool_dry" if kind == "dish" else "as_printed" if kind == "bought" else "cold"
    if kind in ("cured", "mixed"):
        keep = _meat_kept(shelf_lot(context, state).answers)
    return _label(
        context,
        content,
        code=state.code,
        kind=kind,
        name=state.name,
        under_way=False,
        law=law,
        maker=made.maker,
        packs=made.packs,
        packed_on=made.packed_on,
        planning_date=keeping.planning_date,
        printed_on=made.printed_on,
        takes=takes,
        size=size,
        absorber=absorber,
        keep=keep,
        notes=(Note("label_planning_doubtful"),) if keeping.doubtful else (),
        cooling=cooling_not_logged(context, state),
    )


def _meat_kept(answers: Sequence[tuple[Asked, Answer]]) -> Keep:
    return "cool_dry" if dict(answers).get("kept") is Answer.MEETS else "cold"


def _beside(context: Context, one: BesidePack) -> BesideShown:
    if not one.own:
        return BesideShown(name=one.name, mass_kg=one.mass_kg)
    answers = meat_answers(context, one.own)
    return BesideShown(
        name=one.name, mass_kg=one.mass_kg, code=one.own, keep=_meat_kept(answers), answers=answers
    )


def _of_batch(context: Context, state: DishState, law: Law | None) -> LabelShown:
    if state.state is DishStage.PACKED and state.lots:
        return _of_lot(context, lot_of(context.journal, state.lots[0]), law)
    if state.ended:
        raise Refused(Problem("label_batch_over", "code", state.name))
    content = dish_content(context, state)
    return _label(
        context,
        content,
        code=state.code,
        kind="dish",
        name=state.name,
        under_way=True,
        law=law,
        maker="",
        packs=state.choice.packs,
        packed_on=None,
        planning_date=None,
        printed_on=None,
        takes=None,
        size=content.pouch_m,
        absorber=True,
        keep="cool_dry",
        notes=(),
        cooling=batch_not_logged(context, state),
    )


def _label(
    context: Context,
    content: PackContent,
    *,
    code: str,
    kind: Kind,
    name: str,
    under_way: bool,
    law: Law | None,
    maker: str,
    packs: int,
    packed_on: date | None,
    planning_date: date | None,
    printed_on: date | None,
    takes: bool | None,
    size: tuple[float, float] | None,
    absorber: bool,
    keep: Keep,
    notes: tuple[Note, ...],
    cooling: bool,
) -> LabelShown:
    tracer = Tracer()
    tracer.traces.update(content.traces)
    water = _water(context, content, size)
    both = with_beside(context, content)
    declared = [(one.name, one.declared) for one in both.put_in]
    nutrients = tuple(_nutrient(content, tracer, nutrient) for nutrient in _LINE)
    together = content.together
    lacking = [line.nutrient for line in nutrients if line.figure.value is None]
    lacking += ["planning_date"] if planning_date is None else []
    salt = together.value("sodium") if together else None
    return LabelShown(
        code=code,
        kind=kind,
        under_way=under_way,
        name=name,
        what=content.parts if kind == "mixed" else (_what(content, kind),),
        maker=maker,
        net_kg=content.mass_kg,
        packs=packs,
        nutrients=nutrients,
        together_kcal=None
        if together is None
        else tracer.figure(together.value("energy"), "energy:kcal", content.trace),
        together_salt=None
        if together is None
        else tracer.figure(None if salt is None else salt_from_sodium(sodium_kg=salt), "mass", content.trace),
        panel=None if law is None else panel_of(context, content, law),
        ingredients=_ingredients(content),
        ingredients_printed=content.printed,
        contains=_contains(context, both),
        may_hold=tuple(
            dict.fromkeys(
                (allergen, one) for one, told in declared for allergen in sorted(told.allergens_unsure)
            )
        ),
        unsure=tuple(dict.fromkeys(one for one, told in declared if told.allergens is None)),
        agents=both.agents,
        water=water,
        takes_boiling_water=takes,
        beside=tuple(_beside(context, one) for one in content.beside),
        packed_on=packed_on,
        planning_date=planning_date,
        printed_on=printed_on,
        keep=keep,
        cautions=_cautions(content, kind, water, takes, absorber, cooling),
        address=str(settings(context.journal).get(_ADDRESS, DEFAULT_ADDRESS)),
        lacking=tuple(lacking),
        notes=(*content.notes, *notes),
        traces=tracer.traces,
    )


def _what(content: PackContent, kind: Kind) -> str:
    """The cut of cured meat; what is in a dish is told by its ingredients."""
    return content.put_in[0].name if kind == "cured" else ""


def _nutrient(content: PackContent, tracer: Tracer, nutrient: str) -> NutrientLine:
    amounts, kind = content.amounts, "mass"
    if nutrient == "energy":
        value, kind = content.kcal, "energy:kcal"
        value = None if value is None else value * _J_PER_KCAL
    elif nutrient == "salt_equivalent":
        sodium = amounts.value("sodium")
        value = None if sodium is None else salt_from_sodium(sodium_kg=sodium)
    else:
        value = amounts.value(nutrient)
    missing = amounts.missing.get("sodium" if nutrient == "salt_equivalent" else nutrient, ())
    return NutrientLine(
        nutrient=nutrient, figure=tracer.figure(value, kind, content.trace), missing=tuple(missing)
    )


def _ingredients(content: PackContent) -> tuple[IngredientShown, ...]:
    known: dict[str, frozenset[str]] = {}
    for one in content.put_in:
        known[one.name] = known.get(one.name, frozenset()) | (one.declared.allergens or frozenset())
    return tuple(
        IngredientShown(name=name, share_frac=share, allergens=tuple(sorted(known.get(name, ()))))
        for name, share in content.ingredients
    )


def _contains(context: Context, content: PackContent) -> tuple[str, ...]:
    """Allergens of either law that are in it, or in what is added at camp, in the order of the table."""
    found = {allergen for one in content.put_in for allergen in one.declared.allergens or ()}
    found |= {
        allergen
        for law in content.allergens.values()
        for one in law
        if one.presence is Presence.CONTAINS
        for _, allergen in one.by
    }
    return tuple(row.text("id") for row in context.library.rows("allergens") if row.text("id") in found)


def _water(context: Context, content: PackContent, size: tuple[float, float] | None) -> WaterShown | None:
    if content.water_to_add_ml is None:
        return None
    volume = content.water_to_add_ml * 1e-6
    mug = _mug(context) or (None if content.cup_ml is None else content.cup_ml * 1e-6)
    fill = None
    if size is not None:
        true = context.library.row("keeping_rules", "true_density").number("density")
        try:
            fill = fill_height(volume_m3=volume + content.mass_kg / true, width_m=size[0], height_m=size[1])
        except OutOfRange:
            fill = None
    low, high = content.minutes_span
    first = content.first_pour_ml
    return WaterShown(
        volume_m3=volume,
        first_m3=None if first is None else first * 1e-6,
        cups=None if mug is None else volume / mug,
        mug_m3=mug,
        minutes=(low, content.minutes, high),
        stir_minutes=content.stir_minutes,
        cold_minutes=content.cold_minutes,
        cover=content.cover,
        fill_m=fill,
    )


def _cautions(
    content: PackContent,
    kind: Kind,
    water: WaterShown | None,
    takes: bool | None,
    absorber: bool,
    cooling: bool,
) -> tuple[Note, ...]:
    codes = []
    if water is not None:
        codes += ["label_absorber_out"] if absorber else []
        codes += ["label_water_scalds"]
        codes += ["label_not_in_this_pouch" if takes is False else "label_pouch_for_boiling_water"]
    elif absorber:
        codes.append("label_absorber_not_food")
    if kind in ("cured", "mixed") or any(one.own for one in content.beside):
        codes.append("label_cured_meat")
    codes += ["label_cooling_not_logged"] if cooling else []
    codes += ["label_traces_not_known", "label_law_first"]
    # the pouch in hand is all there is at camp, so its hours go on paper
    wet = [Note("label_once_wet", one.params) for one in content.notes if one.code == _WET_CLOCK]
    lost = [Note("label_beside_not_had", {"name": one.name}) for one in content.beside if one.against]
    return (*wet, *lost, *(Note(code) for code in codes))
