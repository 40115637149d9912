"""Isotherms from a person's own pairs: fitted on sight, kept as typed, and made anew whenever asked for."""

from __future__ import annotations

from typing import Annotated

import numpy as np
from pydantic import Field

from saltfare.actions.chambers import key_of as name_key
from saltfare.actions.context import Context
from saltfare.actions.pouch_shapes import Fat
from saltfare.actions.shapes import Command, Done, Output, Query, Tracer, done
from saltfare.core.errors import NotConverged, NotFound, OutOfRange, Problem, Refused
from saltfare.core.fields import Called, Frozen, Measured, Quantity
from saltfare.core.figure import Figure, Note
from saltfare.core.tables import Row
from saltfare.journal.events_pouch import ISOTHERM, IsothermKept, Pair
from saltfare.journal.pouch import isotherms as kept_isotherms
from saltfare.models.isotherms import Gab, Oswin, Scaled, food_class
from saltfare.models.isotherms_fit import OwnIsotherm, isotherm_from_pairs

SampleWater = Annotated[Measured, Quantity("sample_water")]
_CURVE_AW = np.linspace(0.05, 0.95, 37)


class PairGiven(Frozen):
    """Water of a sample, of its whole mass, and the water activity it read."""

    water: SampleWater
    aw: Annotated[Measured, Quantity("sample_aw")]


class FitGiven(Query):
    """Pairs measured of one food at one temperature. like: class of foods it is most like."""

    like: str = Field(max_length=40)
    fat: Fat | None = None
    temperature: Annotated[Measured, Quantity("sample_temperature")]
    pairs: tuple[PairGiven, ...] = Field(min_length=1, max_length=60)


class KeepIsothermGiven(Command):
    """Pairs to keep under a name."""

    name: Called
    like: str = Field(max_length=40)
    fat: Fat | None = None
    temperature: Annotated[Measured, Quantity("sample_temperature")]
    pairs: tuple[PairGiven, ...] = Field(min_length=1, max_length=60)
    origin: str = Field(default="", max_length=200)


class CurveAt(Frozen):
    """Water of the whole food at one activity, by the own isotherm and by that of its class."""

    aw: float
    water_frac: float
    like_frac: float
    within: bool


class FitShown(Output):
    """form: gab, oswin or scaled, by how many pairs there are. constants: of the equation, by name.

    misfit: of the water ratio. factor: how far a scaled one lies from its class.
    """

    form: str
    constants: dict[str, float]
    misfit: Figure
    aw_low: float
    aw_high: float
    temp_low_c: float
    temp_high_c: float
    curve: tuple[CurveAt, ...]
    trace: str


class OwnIsothermsGiven(Query):
    """Nothing."""


class OwnIsothermShown(Frozen):
    """One that was kept."""

    key: str
    name: str
    like: str
    pairs: int
    event_id: str


class OwnIsothermsShown(Output):
    """All that were kept, and the classes of foods the library has an isotherm for."""

    own: tuple[OwnIsothermShown, ...]
    classes: tuple[str, ...]


def fit_isotherm(context: Context, given: FitGiven) -> FitShown:
    """The isotherm that a person's own pairs of water and water activity support, and how well it fits."""
    own, rows = _fitted(context, given)
    tracer = Tracer()
    trace = tracer.trace(isotherm_from_pairs, {"like": given.like, "pairs": len(given.pairs)}, rows)
    within = own.isotherm.within
    fat = given.fat.value if given.fat else 0.0
    temp_c = given.temperature.value
    like = food_class(library=context.library, class_id=given.like).isotherm
    top = min(own.isotherm.ceiling(temp_c), like.ceiling(temp_c))
    points = _CURVE_AW[top > _CURVE_AW]
    mine = own.isotherm.water(aw=points, temp_c=temp_c)[0]
    theirs = like.water(aw=points, temp_c=temp_c)[0]
    notes = [Note("own_pairs_few", {"pairs": len(given.pairs)})] if own.form == "scaled" else []
    return FitShown(
        form=own.form,
        constants=_constants(own),
        misfit=tracer.figure(own.rms, "fraction", trace),
        aw_low=within.aw_low or 0.0,
        aw_high=within.aw_high or 0.0,
        temp_low_c=within.temp_low_c or 0.0,
        temp_high_c=within.temp_high_c or 0.0,
        curve=tuple(
            CurveAt(
                aw=float(a),
                water_frac=_of_whole(float(x), fat),
                like_frac=_of_whole(float(y), fat),
                within=bool((within.aw_low or 0.0) <= a <= (within.aw_high or 0.0)),
            )
            for a, x, y in zip(points, mine, theirs, strict=True)
        ),
        trace=trace,
        notes=tuple(notes),
        traces=tracer.traces,
    )


def _of_whole(ratio: float, fat_frac: float) -> float:
    """Water of the whole food from water per fat-free solids; fat as a share of the sample as measured."""
    solids = 1.0 / (1.0 + ratio) * (1.0 - fat_frac)
    return solids * ratio


def _fitted(context: Context, given: FitGiven | KeepIsothermGiven) -> tuple[OwnIsotherm, tuple[Row, ...]]:
    try:
        made = food_class(library=context.library, class_id=given.like)
        row = context.library.row("food_classes", given.like)
    except NotFound:
        known = ", ".join(one.text("id") for one in context.library.rows("food_classes"))
        raise Refused(Problem("not_one_of", "like", given.like, known)) from None
    water = np.array([pair.water.value for pair in given.pairs])
    aw = np.array([pair.aw.value for pair in given.pairs])
    fat = given.fat.value if given.fat else 0.0
    problems = [
        Problem("part_without_solids", f"pairs.{index}.water", given.pairs[index].water.typed)
        for index in np.flatnonzero(water + fat >= 1.0)
    ]
    problems += [
        Problem("aw_not_between", f"pairs.{index}.aw", given.pairs[index].aw.typed)
        for index in np.flatnonzero((aw <= 0.0) | (aw >= 1.0))
    ]
    if problems:
        raise Refused(*problems)
    try:
        own = isotherm_from_pairs(
            aw=aw,
            water_ratio=water / (1.0 - water - fat),
            temp_c=given.temperature.value,
            span_c=context.library.row("keeping_rules", "own_span").number("temp"),
            like=made.isotherm,
        )
    except (OutOfRange, NotConverged) as error:
        raise Refused(Problem("pairs_do_not_fit", "pairs", type(error).__name__)) from None
    return own, (row,)


def _constants(own: OwnIsotherm) -> dict[str, float]:
    isotherm = own.isotherm
    if isinstance(isotherm, Gab):
        return {"monolayer": isotherm.monolayer, "guggenheim": isotherm.guggenheim, "k": isotherm.k}
    if isinstance(isotherm, Oswin):
        return {"level": isotherm.level, "power": isotherm.power}
    if isinstance(isotherm, Scaled):
        return {"factor": isotherm.factor}
    raise AssertionError(own.form)


def keep_isotherm(context: Context, given: KeepIsothermGiven) -> Done:
    """Keep a person's own pairs of a food, so that packs and mixes of it rest on them."""
    _fitted(context, given)
    body = IsothermKept(
        name=given.name,
        like=given.like,
        fat=given.fat,
        temperature=given.temperature,
        pairs=tuple(Pair(water=pair.water, aw=pair.aw) for pair in given.pairs),
        origin=given.origin,
    )
    return done(context, given, [(ISOTHERM + name_key(given.name), body)])


def own_isotherms(context: Context, given: OwnIsothermsGiven) -> OwnIsothermsShown:
    """The isotherms kept of own measurements, and the classes of foods the library knows."""
    return OwnIsothermsShown(
        own=tuple(
            OwnIsothermShown(
                key=key,
                name=kept.body.name,
                like=kept.body.like,
                pairs=len(kept.body.pairs),
                event_id=kept.event_id,
            )
            for key, kept in kept_isotherms(context.journal).items()
        ),
        classes=tuple(row.text("id") for row in context.library.rows("food_classes")),
    )
