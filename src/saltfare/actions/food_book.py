"""The foods there are: the usual ones, the table's, and own ones kept off their labels."""

from __future__ import annotations

from datetime import datetime
from hashlib import sha256
from typing import Annotated, Literal

from pydantic import Field

from saltfare.actions.chambers import key_of
from saltfare.actions.context import Context
from saltfare.actions.dish_recipe import food_known
from saltfare.actions.find_food import FoodGiven, FoodsFound, find_food
from saltfare.actions.own_foods import label_of, own_foods
from saltfare.actions.shapes import Command, Done, Output, Query, Tracer, done
from saltfare.core.errors import NotFound, Problem, Refused
from saltfare.core.fields import CalledLong, Frozen, Measured, Quantity
from saltfare.core.figure import Figure
from saltfare.core.foods import groups
from saltfare.core.tables import Row
from saltfare.journal.dish import dishes
from saltfare.journal.events_food import STREAM, FoodDropped, FoodKept
from saltfare.journal.food import FoodState
from saltfare.journal.food import food as state_of
from saltfare.journal.food import foods as states
from saltfare.models.declared import UNKNOWN, Declared
from saltfare.models.label_food import food_from_label

Nutrient = Annotated[Measured, Quantity("label_mass")]
Word = Annotated[str, Field(max_length=40)]
# What a label may print, in the order it is asked for.
PRINTED = (
    *("energy", "fat", "saturates", "trans_fat", "cholesterol", "carbohydrate", "fibre", "sugars"),
    *("protein", "salt", "sodium", "potassium", "calcium", "iron"),
)
_PER_100_G = Measured(typed="100 g", value=0.1)
_ROUNDING = 1e-9


def food_row(context: Context, food_id: str) -> Row:
    """A usual ingredient's, a table's or an own food's row, by its id. Raises Refused (food_unknown)."""
    return food_known(context, food_id).row


def find(context: Context, text: str, most: int = 8) -> FoodsFound:
    """The foods a text may mean, best first, own ones among them."""
    return find_food(context, FoodGiven(name=text, most=most))


def known_by_name(context: Context, name: str) -> Declared:
    """What is known of an ingredient called exactly so: usual, or kept; unknown where nothing is."""
    wanted = " ".join(name.casefold().split())
    for one in own_foods(context).values():
        if " ".join(one.row.text("name").casefold().split()) == wanted:
            return one.declared
    for row in context.library.rows("pantry"):
        called = (row.text("label"), *row.text("also").split(";"))
        if wanted in (" ".join(text.casefold().split()) for text in called):
            return Declared.from_row(row)
    return UNKNOWN


class KeepFoodGiven(Command):
    """A food as its label says; what the label does not say is left out, never nought.

    food: an own food whose label is typed anew. per: what the amounts are printed for; serving: how much a
    serving is, pack: what the packet holds. law: whose label it is: carbohydrate with fibre (us) or without
    (eu). water: its share, where known. allergens: left out where nothing is said of them, an empty list
    where the label says there are none. holds: what ways of eating leave out, likewise.
    """

    food: str | None = Field(default=None, max_length=64)
    name: CalledLong
    group: str = Field(default="", max_length=2)
    law: Literal["us", "eu"] = "eu"
    per: Literal["100_g", "serving"] = "100_g"
    serving: Annotated[Measured, Quantity("serving")] | None = None
    pack: Annotated[Measured, Quantity("net_mass")] | None = None
    energy: Annotated[Measured, Quantity("label_energy")] | None = None
    fat: Nutrient | None = None
    saturates: Nutrient | None = None
    trans_fat: Nutrient | None = None
    cholesterol: Nutrient | None = None
    carbohydrate: Nutrient | None = None
    fibre: Nutrient | None = None
    sugars: Nutrient | None = None
    protein: Nutrient | None = None
    salt: Nutrient | None = None
    sodium: Nutrient | None = None
    potassium: Nutrient | None = None
    calcium: Nutrient | None = None
    iron: Nutrient | None = None
    water: Annotated[Measured, Quantity("dish_water")] | None = None
    allergens: tuple[Word, ...] | None = Field(default=None, max_length=40)
    may_contain: tuple[Word, ...] = Field(default=(), max_length=40)
    holds: tuple[Word, ...] | None = Field(default=None, max_length=40)
    may_hold: tuple[Word, ...] = Field(default=(), max_length=40)


class FoodKeptShown(Done):
    """What a recipe names it by; remarks on its label are in the notes."""

    food: str


class FoodsGiven(Query):
    """all: those no longer offered too."""

    all: bool = False


class OwnFoodShown(Frozen):
    """An own food. label: as typed last, to fill a form from. energy, protein: of 100 g. missing: nutrients
    a label may print that are not known. used_in: batches whose recipe names it."""

    food: str
    label: FoodKept
    version: int
    kept_id: str
    kept_at: datetime
    dropped: bool
    dropped_id: str | None
    energy: Figure
    protein: Figure
    water: Figure
    missing: tuple[str, ...]
    used_in: tuple[str, ...]


class FoodsShown(Output):
    """Own foods, and the words a label may be told in. groups: number and name."""

    foods: tuple[OwnFoodShown, ...]
    allergens: tuple[str, ...]
    holds: tuple[str, ...]
    groups: tuple[tuple[str, str], ...]


class DropFoodGiven(Command):
    """An own food that is not offered any more. Recipes that name it keep it."""

    food: str = Field(max_length=64)
    why: str = Field(default="", max_length=1000)


def keep_food(context: Context, given: KeepFoodGiven) -> FoodKeptShown:
    """Keep a food of your own off its label, or its label typed anew."""
    problems = _problems(context, given)
    if problems:
        raise Refused(*problems)
    amounts = {name: told for name in PRINTED if (told := getattr(given, name)) is not None}
    basis = given.serving if given.per == "serving" and given.serving is not None else _PER_100_G
    if not amounts:
        raise Refused(Problem("label_empty", "energy"))
    try:
        found = food_from_label(
            amounts={name: told.value for name, told in amounts.items()},
            basis_kg=basis.value,
            law=given.law,
            water_frac=given.water.value if given.water else None,
        )
    except Refused as refused:
        raise Refused(*(_at_field(one) for one in refused.problems)) from None
    key = given.food or _new_key(context, given.name)
    body = FoodKept(
        name=given.name.strip(),
        group=given.group,
        law=given.law,
        basis=basis,
        pack=given.pack,
        amounts=amounts,
        water=given.water,
        allergens=given.allergens,
        may_contain=given.may_contain,
        holds=given.holds,
        may_hold=given.may_hold,
    )
    did = done(context, given, [(STREAM + key, body)])
    return FoodKeptShown(**{**dict(did), "notes": found.notes}, food=key)


def foods(context: Context, given: FoodsGiven) -> FoodsShown:
    """The foods of your own, as their labels say."""
    tracer = Tracer()
    used = _used(context)
    shown = [
        _shown(context, state, tracer, used)
        for state in states(context.journal)
        if given.all or not state.dropped
    ]
    allergens, holds = words_of_labels(context)
    return FoodsShown(
        foods=tuple(shown),
        allergens=allergens,
        holds=holds,
        groups=tuple(groups().items()),
        traces=tracer.traces,
    )


def drop_food(context: Context, given: DropFoodGiven) -> Done:
    """Offer a food of your own no longer; recipes that name it keep it."""
    state = _there(context, given.food, "food")
    if state.dropped:
        raise Refused(Problem("food_dropped_already", "food", state.name))
    return done(
        context,
        given,
        [(STREAM + state.key, FoodDropped(why=given.why))],
        seen={STREAM + state.key: state.version},
    )


def words_of_labels(context: Context) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The allergens of the library, and the words ways of eating leave out."""
    allergens = tuple(row.text("id") for row in context.library.rows("allergens"))
    holds = {word: None for row in context.library.rows("diets") for word in row.text("leaves_out").split()}
    return allergens, tuple(holds)


def _problems(context: Context, given: KeepFoodGiven) -> list[Problem]:
    out = []
    if given.food is not None:
        _there(context, given.food, "food")
    elif any(
        not one.dropped and one.name.casefold() == given.name.strip().casefold()
        for one in states(context.journal)
    ):
        out.append(Problem("own_food_exists", "name", given.name.strip()[:60]))
    if given.group and given.group not in groups():
        out.append(Problem("not_one_of", "group", given.group, ", ".join(groups())))
    if given.per == "serving" and given.serving is None:
        out.append(Problem("serving_missing", "serving"))
    serving, pack = given.serving, given.pack
    if serving is not None and pack is not None and serving.value > pack.value * (1.0 + _ROUNDING):
        masses: dict[str, str | float | int] = {"serving_kg": serving.value, "pack_kg": pack.value}
        out.append(Problem("serving_above_pack", "serving", serving.typed, params=masses))
    allergens, holds = words_of_labels(context)
    for field, known in (
        *(("allergens", allergens), ("may_contain", allergens)),
        *(("holds", holds), ("may_hold", holds)),
    ):
        out += [
            Problem("not_one_of", field, word, ", ".join(known))
            for word in getattr(given, field) or ()
            if word not in known
        ]
    return out


def _at_field(problem: Problem) -> Problem:
    """A problem of the label at the field that was typed."""
    field = problem.field.removeprefix("amounts.")
    at = {"amounts": "energy", "basis": "serving"}.get(field, field)
    return Problem(problem.code, at, problem.given, problem.allowed, problem.params)


def _there(context: Context, key: str, field: str) -> FoodState:
    try:
        return state_of(context.journal, key)
    except NotFound:
        raise Refused(Problem("food_unknown", field, key[:60])) from None


def _new_key(context: Context, name: str) -> str:
    """An id that no other food has: `own-` and the letters of its name."""
    try:
        plain = key_of(name)[:40]
    except Refused:  # a name in another script
        plain = sha256(name.encode()).hexdigest()[:10]
    taken = {stream.removeprefix(STREAM) for stream in context.journal.streams(STREAM)}
    key, n = f"own-{plain}", 1
    while key in taken:
        n += 1
        key = f"own-{plain}-{n}"
    return key


def _shown(
    context: Context, state: FoodState, tracer: Tracer, used: dict[str, tuple[str, ...]]
) -> OwnFoodShown:
    label, kept = label_of(state), state.kept
    trace = tracer.trace(food_from_label, {"label": kept.name, "serving": kept.basis.value, "law": kept.law})

    def per_100_g(name: str, kind: str) -> Figure:
        value = label.per_kg.get(name)
        shown = value if name == "water" or value is None else 0.1 * value
        return tracer.figure(shown, kind, trace)

    printed = {"sodium" if name == "salt" else name for name in PRINTED}
    return OwnFoodShown(
        food=state.key,
        label=kept,
        version=state.version,
        kept_id=state.kept_id,
        kept_at=state.kept_at,
        dropped=state.dropped,
        dropped_id=state.dropped_id,
        energy=per_100_g("energy", "energy"),
        protein=per_100_g("protein", "mass"),
        water=Figure(label.per_kg.get("water"), "fraction", trace=trace, notes=label.notes),
        missing=tuple(name for name in PRINTED if name in printed and name not in label.per_kg),
        used_in=used.get(state.key, ()),
    )


def _used(context: Context) -> dict[str, tuple[str, ...]]:
    """Batches by the foods their recipes name."""
    out: dict[str, tuple[str, ...]] = {}
    for state in dishes(context.journal):
        for food in {line.food for line in (*state.choice.lines, *state.choice.beside) if line.food}:
            out[food] = (*out.get(food, ()), state.code)
    return out
